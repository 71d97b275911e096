//! `fellrun frontier`: fuel against time.

use super::output::{self, Target};
use super::plan::picture;
use super::{Failure, UnitsArg, profile};
use crate::brief::{FrontierFigures, frontier_csv, frontier_json, frontier_svg, frontier_text};
use crate::files::trip::load_trip;
use crate::solve::frontier_of_trip;
use clap::Args;
use std::path::PathBuf;

/// Arguments of `frontier` as typed.
#[derive(Debug, Args)]
pub struct FrontierArgs {
    /// The trip, a TOML file; it names the aircraft profile and the weather
    #[arg(value_name = "TRIP.toml")]
    pub trip: PathBuf,
    /// The aircraft profile, a file or the name of one that comes with fellrun, instead of the one the trip names
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// Units of text and chart; JSON and CSV name the unit in each key and stay as they are
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Write fuel over time as a chart, .svg or .png by its ending; - for SVG to standard output; may be given more than once
    #[arg(long, value_name = "PATH")]
    pub chart: Vec<PathBuf>,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
    /// Write one line for each plan as CSV; - for standard output
    #[arg(long, value_name = "PATH")]
    pub csv: Option<PathBuf>,
}

/// Finds the plans and writes what is asked for: files first, the text last; it goes to standard error when standard output is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &FrontierArgs) -> Result<(), Failure> {
    let charts = args
        .chart
        .iter()
        .map(|path| picture(path))
        .collect::<Result<Vec<_>, _>>()?;
    let others = [&args.json, &args.csv].into_iter().flatten();
    let targets: Vec<Target> = charts
        .iter()
        .map(|c| c.1.clone())
        .chain(others.map(|p| Target::new(p)))
        .collect();
    let outputs = output::open(&targets, &[&args.trip])?;
    let file = load_trip(&args.trip, args.profile.as_deref())
        .map_err(|e| Failure::drawn(e.render_for_stderr()))?;
    let (problem, frontier) = frontier_of_trip(&file.trip, &file.aircraft)
        .map_err(|e| Failure::input(format!("{}: {e}", args.trip.display())))?;
    let figures = FrontierFigures::in_units(&frontier, &problem, args.units.into());
    // What a program reads is the same whatever is asked for.
    let keyed = || FrontierFigures::new(&frontier, &problem);
    let mut contents = Vec::new();
    for (kind, _) in &charts {
        contents.push(kind.of(frontier_svg(&figures))?);
    }
    if args.json.is_some() {
        contents.push(frontier_json(&keyed()).map_err(Failure::bug)?.into_bytes());
    }
    if args.csv.is_some() {
        contents.push(frontier_csv(&keyed()).map_err(Failure::bug)?);
    }
    output::commit(outputs, &contents)?;
    output::talk(&frontier_text(&figures, profile::columns()), &targets)
}
