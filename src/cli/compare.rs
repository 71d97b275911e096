//! `fellrun compare`: one trip by several aircraft, or by one with entries of its profile changed.

use super::ask::AskArgs;
use super::beside::Asked;
use super::plan::{Least, asked};
use super::{Failure, UnitsArg, profile};
use crate::brief::{CompareFigures, Compared, compare_json, compare_svg, compare_text};
use crate::files::edit::with_entry;
use crate::files::profile::{parse_profile, read_named};
use crate::files::trip::TripFile;
use crate::solve::{compare, threads};
use clap::Args;
use std::path::{Path, PathBuf};

/// Most aircraft: more columns are not read on one sheet.
const MOST: usize = 4;

/// Arguments of `compare` as typed.
#[derive(Debug, Args)]
#[command(
    after_help = "With one --profile the aircraft of the trip is the first column. With --set the first --profile comes once more, every entry given \
                  changed at once. Route, start-up, weather, load and what is least are the same for all; of the fuel each takes as much as its \
                  tanks and weight allow. An aircraft that cannot fly the trip is said to, and why."
)]
pub struct CompareArgs {
    /// The trip, a TOML file; it names the aircraft profile and the weather. Without one, see below
    #[arg(value_name = "TRIP.toml")]
    pub trip: Option<PathBuf>,
    /// An aircraft profile, a file or the name of one that comes with fellrun; given once for each aircraft
    #[arg(long, value_name = "PROFILE.toml", required = true)]
    pub profile: Vec<PathBuf>,
    /// The first profile once more with an entry changed, as drag.cd0=0.025; may be given more than once
    #[arg(long, value_name = "SECTION.KEY=VALUE")]
    pub set: Vec<String>,
    /// What is to be least, instead of what the trip says
    #[arg(long, value_enum, value_name = "WHAT")]
    pub objective: Option<Least>,
    /// Units of text and chart; JSON names the unit in each key and stays as it is
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Write paths, time, fuel and cost as a chart, .svg or .png by its ending; - for SVG to standard output; may be given more than once
    #[arg(long, value_name = "PATH")]
    pub chart: Vec<PathBuf>,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
    /// A trip without a file.
    #[command(flatten)]
    pub ask: AskArgs,
}

/// The text of a profile with entries changed.
fn edited(path: &Path, entries: &[String]) -> Result<String, Failure> {
    let mut text =
        read_named(Path::new(""), path).map_err(|e| Failure::drawn(e.render_for_stderr()))?;
    for entry in entries {
        text = with_entry(&text, entry).map_err(|e| {
            Failure::input(format!("--set {entry}: {}: {e}", path.display())).hint(
                "sections and keys are those of the profile: fellrun new profile writes one out",
            )
        })?;
    }
    parse_profile(&text, path).map_err(|e| {
        Failure::drawn(e.render_for_stderr()).hint("the profile as --set changed it")
    })?;
    Ok(text)
}

/// The trip read for the first profile with entries changed. The changed text was found to be in order under its own name; here it stands in
/// a file only so that the one reader of trips reads it.
fn read_edited(args: &CompareArgs, path: &Path) -> Result<TripFile, Failure> {
    let text = edited(path, &args.set)?;
    let cannot = |e: std::io::Error| Failure::input(format!("cannot write a changed profile: {e}"));
    let folder = tempfile::tempdir().map_err(cannot)?;
    let changed = folder.path().join("changed.toml");
    std::fs::write(&changed, text).map_err(cannot)?;
    asked(
        args.trip.as_deref(),
        &args.ask,
        Some(&changed),
        args.objective,
    )
}

/// Plans the trip for each aircraft and writes what is asked for: files first, the text last; it goes to standard error when standard
/// output is taken.
///
/// # Errors
/// [`Failure`], of input that does not work, or where no aircraft can fly the trip; then no output file was touched.
pub fn run(args: &CompareArgs) -> Result<(), Failure> {
    let beside = Asked {
        charts: &args.chart,
        json: args.json.as_ref(),
        ..Asked::default()
    }
    .open(&args.ask.inputs(args.trip.iter().chain(&args.profile)))?;
    let trip = args.trip.as_deref();
    let own = args.profile.len() == 1 && args.set.is_empty();
    if own && trip.is_none() {
        return Err(
            Failure::input("--profile is given once, and nothing to compare it with")
                .hint("give another --profile, or --set SECTION.KEY=VALUE"),
        );
    }
    let count = args.profile.len() + usize::from(own) + usize::from(!args.set.is_empty());
    if count > MOST {
        return Err(Failure::input(format!(
            "{count} aircraft are to be compared, and {MOST} are the most"
        ))
        .hint("compare some of them, and then the best of those with the rest"));
    }
    let read = |profile: Option<&Path>| asked(trip, &args.ask, profile, args.objective);
    let mut files: Vec<TripFile> = Vec::new();
    if own {
        files.push(read(None)?);
    }
    for path in &args.profile {
        files.push(read(Some(path))?);
    }
    let plain = files.len();
    if let Some(first) = args.profile.first().filter(|_| !args.set.is_empty()) {
        files.push(read_edited(args, first)?);
    }
    let questions: Vec<_> = files.into_iter().map(|f| (f.trip, f.aircraft)).collect();
    let outcomes = compare(&questions, threads());
    let compared: Vec<Compared> = questions
        .iter()
        .zip(&outcomes)
        .enumerate()
        .map(|(i, ((_, aircraft), outcome))| Compared {
            aircraft,
            changed: if i < plain { &[] } else { &args.set },
            outcome,
        })
        .collect();
    let trip = &questions[0].0;
    let figures = CompareFigures::in_units(trip, &compared, args.units.into());
    // What a program reads is the same whatever is asked for.
    let keyed = || CompareFigures::new(trip, &compared);
    if outcomes.iter().all(Result::is_err) {
        let each: Vec<String> = figures
            .aircraft
            .iter()
            .map(|a| format!("{}: {}", a.aircraft, a.not_flown.as_deref().unwrap_or("")))
            .collect();
        return Err(Failure::input(format!(
            "none of these aircraft can fly the trip\n{}",
            each.join("\n")
        )));
    }
    beside
        .chart(|| compare_svg(&figures))?
        .json(|| compare_json(&keyed()))?
        .with_text(&compare_text(&figures, profile::columns()))
}
