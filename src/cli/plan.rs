//! `fellrun plan`: a trip file in, or a trip typed as options; a trip sheet out.

mod bounds;
mod faces;

use super::ask::{self, AskArgs};
use super::output::{self, Target};
use super::{Failure, UnitsArg, profile};
use crate::brief::{self, Figures, FrontierFigures, Stops, Units};
use crate::files::diagnostic::read_text;
use crate::files::notes::{NotesFor, load_notes, parse_notes};
use crate::files::trip::{TripFile, load_trip};
use crate::files::weather::LATEST_LEAVE_H;
use crate::flight::{Waymark, waymarks};
use crate::solve::{
    Later, TripError, as_flown, frontier_of_trip, late, later, plan_trip, planned_anew,
};
use crate::trip::{Objective, Problem};
use bounds::bounds;
use clap::{Args, ValueEnum};
use faces::{Face, Options, face};
use std::path::{Path, PathBuf};

/// Arguments of `plan` as typed.
#[derive(Debug, Args)]
pub struct PlanArgs {
    /// The trip, a TOML file; it names the aircraft profile and the weather. Without one, see below
    #[arg(value_name = "TRIP.toml")]
    pub trip: Option<PathBuf>,
    /// The aircraft profile, a file or the name of one that comes with fellrun, instead of the one the trip names
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// What is to be least, instead of what the trip says
    #[arg(long, value_enum, value_name = "WHAT")]
    pub objective: Option<Least>,
    /// Land no later than this long after start-up, in minutes or as H:MM
    #[arg(long, value_name = "MIN")]
    pub arrive_within: Option<String>,
    /// Land no later than this time, UTC, as 2026-01-31T17:30Z
    #[arg(long, value_name = "UTC", conflicts_with = "arrive_within")]
    pub arrive_at: Option<String>,
    /// Burn no more than this from start-up to shutdown, US gallons
    #[arg(long, value_name = "GAL", allow_negative_numbers = true)]
    pub fuel_at_most: Option<f64>,
    /// Land with no less than this, US gallons
    #[arg(long, value_name = "GAL", allow_negative_numbers = true)]
    pub land_with: Option<f64>,
    /// Plan anew for other wind, weight and temperature, instead of flying the same settings in them
    #[arg(long)]
    pub sensitivity: bool,
    /// Plan the same trip for one and for three hours later as well, where the forecasts cover it
    #[arg(long, conflicts_with = "arrive_at")]
    pub leave: bool,
    /// Units of the sheet, the card, the chart and the page, and of the words in GPX and KML; JSON and CSV name the unit in each key
    /// and stay as they are, and what is typed or read stays in the units of its option or key
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Add the plans that no other beats in both time and fuel: to the page with a slider, to the JSON
    #[arg(long)]
    pub frontier: bool,
    /// Show times in this zone besides UTC, by its name in the time zone database, as America/Boise
    #[arg(long, value_name = "ZONE")]
    pub zone: Option<String>,
    /// Write the chart, .svg or .png by its ending; - for SVG to standard output; may be given more than once
    #[arg(long, value_name = "PATH")]
    pub chart: Vec<PathBuf>,
    /// Write the lever card, .html, .txt or .md by its ending; - for text to standard output; may be given more than once
    #[arg(long, value_name = "PATH")]
    pub card: Vec<PathBuf>,
    /// Write the sheet as one HTML page, with the chart to read off and the card to print; - for standard output; may be given more
    /// than once
    #[arg(long, value_name = "PATH")]
    pub page: Vec<PathBuf>,
    /// Write every figure of the plan as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
    /// Write the path point by point as CSV; - for standard output
    #[arg(long, value_name = "PATH")]
    pub csv: Option<PathBuf>,
    /// Write the segments as CSV; - for standard output
    #[arg(long, value_name = "PATH")]
    pub csv_segments: Option<PathBuf>,
    /// Write waypoints, route and path as GPX; - for standard output
    #[arg(long, value_name = "PATH")]
    pub gpx: Option<PathBuf>,
    /// Write the path in three dimensions as KML; - for standard output
    #[arg(long, value_name = "PATH")]
    pub kml: Option<PathBuf>,
    /// Set the plan beside what was noted in flight: CSV with place, time_utc or elapsed_min, and what else was noted
    #[arg(long, value_name = "NOTES.csv")]
    pub as_flown: Option<PathBuf>,
    /// Write what was noted in level cruise as rows for fellrun fit; - for standard output
    #[arg(long, value_name = "PATH", requires = "as_flown")]
    pub fit_rows: Option<PathBuf>,
    /// A trip without a file.
    #[command(flatten)]
    pub ask: AskArgs,
}

/// What is to be least.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Least {
    /// Time from take-off to landing
    Time,
    /// Fuel from take-off to landing
    Fuel,
    /// Money at the trip's prices
    Money,
}

impl From<Least> for Objective {
    fn from(least: Least) -> Self {
        match least {
            Least::Time => Self::Time,
            Least::Fuel => Self::Fuel,
            Least::Money => Self::Money,
        }
    }
}

/// Reads the trip with its aircraft and weather; what is typed goes before what the file says.
fn load(path: &Path, profile: Option<&Path>, least: Option<Least>) -> Result<TripFile, Failure> {
    let mut file = load_trip(path, profile).map_err(|e| Failure::drawn(e.render_for_stderr()))?;
    if let Some(least) = least {
        file.trip.objective = least.into();
        if least == Least::Money && !file.trip.prices.are_given() {
            return Err(Failure::input(format!(
                "--objective money: {} has no prices",
                path.display()
            ))
            .hint("add [prices] to the trip, or choose time or fuel"));
        }
    }
    Ok(file)
}

/// The trip of a file, or as typed.
pub(super) fn asked(
    trip: Option<&Path>,
    ask: &AskArgs,
    profile: Option<&Path>,
    least: Option<Least>,
) -> Result<TripFile, Failure> {
    match trip {
        Some(path) => {
            ask.none_beside(path)?;
            load(path, profile, least)
        }
        None => ask::trip(ask, profile, least),
    }
}

/// Why the trip of a file, or as typed, has no plan.
pub(super) fn not_planned(trip: Option<&Path>, error: &TripError) -> Failure {
    match trip {
        Some(path) => Failure::input(format!("{}: {error}", path.display())),
        None => ask::not_flown(error),
    }
}

/// How much later `--leave` looks, h; the last is the latest that forecasts are read for.
const LATER_H: [i64; 2] = [1, LATEST_LEAVE_H];

/// The trip started up so many hours later.
fn put_off(file: &TripFile, hours: i64) -> Later {
    let by = jiff::SignedDuration::from_hours(hours);
    let first = file.trip.departure_time;
    let departure = first.saturating_add(by).unwrap_or(first);
    let trip = file.winds.at(departure).map(|winds| {
        let mut trip = file.trip.clone();
        trip.departure_time = departure;
        trip.weather.forecasts = winds.forecasts;
        trip.weather.valid_until = winds.until;
        trip
    });
    later(departure, by.as_secs_f64(), trip.as_ref(), &file.aircraft)
}

/// What notes of this plan can be of.
fn notes_for(problem: &Problem, marks: &[Waymark]) -> NotesFor {
    let aircraft = &problem.aircraft;
    let mixtures = aircraft.engine.spec.mixtures.iter();
    NotesFor {
        points: marks.iter().map(|m| m.name.clone()).collect(),
        mixtures: mixtures.map(|m| m.name.clone()).collect(),
        start_up: problem.departure_time,
        taxi_s: aircraft.procedures.taxi_time_s,
        fuel_kg: problem.fuel_kg,
        density_kg_m3: aircraft.fuel.density_kg_m3,
    }
}

/// Plans a trip and writes what is asked for: files first, the sheet last. The sheet goes to standard error when standard
/// output is taken by `-`.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &PlanArgs) -> Result<(), Failure> {
    let options = Options::new(args)?;
    let targets: Vec<Target> = options.faces.iter().map(|(_, t)| t.clone()).collect();
    let named = args.trip.iter().chain(&args.profile).chain(&args.as_flown);
    let inputs = args.ask.inputs(named);
    let outputs = output::open(&targets, &inputs)?;
    if let Some(path) = &args.as_flown {
        // What is wrong with the notes alone is said before the search.
        let read = read_text(path).and_then(|text| parse_notes(&text, path, None));
        read.map_err(|e| Failure::drawn(e.render_for_stderr()))?;
    }
    let trip = args.trip.as_deref();
    let mut file = asked(trip, &args.ask, args.profile.as_deref(), args.objective)?;
    file.trip.bounds = bounds(args, &file.trip, file.aircraft.fuel.density_kg_m3)?;
    let (problem, mut plan) =
        plan_trip(&file.trip, &file.aircraft).map_err(|e| not_planned(trip, &e))?;
    if args.sensitivity {
        plan.sensitivity = planned_anew(&problem, &plan);
    }
    if args.leave {
        plan.later = LATER_H.iter().map(|&h| put_off(&file, h)).collect();
    }
    let flown = match &args.as_flown {
        Some(path) => {
            let marks = waymarks(&problem, &plan.flown);
            let noted = load_notes(path, &notes_for(&problem, &marks))
                .map_err(|e| Failure::drawn(e.render_for_stderr()))?;
            Some(as_flown(&problem, &marks, &noted))
        }
        None => None,
    };
    let tells_late = options.faces.iter().any(|(f, _)| f.tells_late());
    let late = tells_late.then(|| late(&problem, &plan)).flatten();
    let frontier = args
        .frontier
        .then(|| frontier_of_trip(&file.trip, &file.aircraft))
        .transpose()
        .map_err(|e| not_planned(trip, &e).hint("the plan itself is there without --frontier"))?;
    let figures_in = |units: Units| {
        let mut figures = Figures::in_units(&plan, &problem, units)
            .with_notes(&file.notes)
            .with_late_flown(late.as_ref(), &plan, &problem);
        if let Some(zone) = &options.zone {
            figures = figures.with_zone(zone);
        }
        if let Some(flown) = &flown {
            figures = figures.with_as_flown(flown, &problem);
        }
        if let Some((problem, frontier)) = &frontier {
            figures = figures.with_frontier(FrontierFigures::in_units(frontier, problem, units));
        }
        figures
    };
    let figures = figures_in(args.units.into());
    let has_page = options.faces.iter().any(|(f, _)| *f == Face::Page);
    let stops = frontier
        .as_ref()
        .filter(|_| has_page)
        .map(|(problem, frontier)| {
            Stops::in_units(frontier, problem, figures.units).about(&figures)
        });
    let read_by_programs = options.faces.iter().any(|(f, _)| f.is_keyed());
    let keyed = (read_by_programs && figures.units != Units::Us).then(|| figures_in(Units::Us));
    let contents = options
        .faces
        .iter()
        .map(|&(f, _)| {
            let of = keyed.as_ref().filter(|_| f.is_keyed());
            face(f, of.unwrap_or(&figures), stops.as_ref())
        })
        .collect::<Result<Vec<_>, _>>()?;
    let text = brief::terminal(&figures, profile::columns());
    output::commit(outputs, &contents)?;
    output::talk(&text, &targets)
}

#[cfg(test)]
mod tests {
    use super::bounds::minutes;
    use super::*;
    use std::fs;

    fn demo() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml")
    }

    fn args(trip: &Path, charts: &[&Path], json: Option<&Path>) -> PlanArgs {
        PlanArgs {
            trip: Some(trip.to_owned()),
            profile: None,
            objective: None,
            arrive_within: None,
            arrive_at: None,
            fuel_at_most: None,
            land_with: None,
            sensitivity: false,
            leave: false,
            units: UnitsArg::Us,
            frontier: false,
            zone: None,
            chart: charts.iter().map(|p| (*p).to_owned()).collect(),
            card: vec![],
            page: vec![],
            json: json.map(Path::to_owned),
            csv: None,
            csv_segments: None,
            gpx: None,
            kml: None,
            as_flown: None,
            fit_rows: None,
            ask: AskArgs::default(),
        }
    }

    #[test]
    fn closed_form_writes_every_face_by_its_ending() {
        let dir = tempfile::tempdir().expect("a temporary folder");
        let (svg, json) = (dir.path().join("a.SVG"), dir.path().join("plan"));
        let pages = [dir.path().join("a.html"), dir.path().join("b.HTM")];
        let mut typed = args(&demo(), &[&svg], Some(&json));
        typed.page = pages.to_vec();
        run(&typed).expect("runs");
        assert!(fs::read_to_string(&svg).expect("reads").starts_with("<svg"));
        for page in pages {
            let text = fs::read_to_string(&page).expect("reads");
            assert!(text.starts_with("<!DOCTYPE html>") && text.ends_with("</html>"));
        }
        assert!(fs::read_to_string(&json).expect("reads").starts_with("{\n"));
    }

    #[cfg(feature = "png")]
    #[test]
    fn closed_form_writes_png() {
        let dir = tempfile::tempdir().expect("a temporary folder");
        let png = dir.path().join("a.png");
        run(&args(&demo(), &[&png], None)).expect("runs");
        assert!(fs::read(&png).expect("reads").starts_with(b"\x89PNG"));
    }

    #[test]
    fn closed_form_on_error_no_file_is_touched() {
        let dir = tempfile::tempdir().expect("a temporary folder");
        let old = dir.path().join("a.svg");
        fs::write(&old, "old").expect("writes");
        let missing = dir.path().join("none.toml");
        let e =
            run(&args(&missing, &[&old], Some(&dir.path().join("new.json")))).expect_err("refused");
        assert_eq!(e.status(), 1);
        assert_eq!(fs::read_to_string(&old).expect("reads"), "old");
        assert_eq!(fs::read_dir(dir.path()).expect("lists").count(), 1);
    }

    #[test]
    fn closed_form_outputs_are_refused_before_anything_is_read() {
        let missing = Path::new("/nowhere/trip.toml");
        for (path, words) in [
            ("a.pdf", ".svg or .png"),
            ("/nowhere/at/all/a.svg", "cannot write"),
        ] {
            let e = run(&args(missing, &[Path::new(path)], None)).expect_err("refused");
            assert!(e.message.contains(words), "{}", e.message);
        }
        let mut typed = args(missing, &[], None);
        typed.page = vec![PathBuf::from("brief.pdf")];
        let e = run(&typed).expect_err("refused");
        assert!(e.message.contains("a page is .html"), "{}", e.message);
    }

    #[test]
    fn closed_form_minutes_typed() {
        for (typed, min) in [("95", 95.0), ("1:35", 95.0), ("0:05", 5.0), ("2.5", 2.5)] {
            assert_eq!(minutes(typed), Some(min), "{typed}");
        }
        // Hours beyond a 32-bit count of minutes stay what they are, to be refused as too long.
        assert_eq!(minutes("71582789:00"), Some(60.0 * 71_582_789.0));
        for typed in ["1:60", "x", "1:", ":5", "inf", "1:-5", "99999999999:00"] {
            assert_eq!(minutes(typed), None, "{typed}");
        }
    }

    #[test]
    fn closed_form_the_objective_typed_wins() {
        let file = load(&demo(), None, Some(Least::Fuel)).expect("loads");
        assert_eq!(file.trip.objective, Objective::Fuel);
    }
}
