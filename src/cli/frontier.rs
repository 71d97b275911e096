//! `fellrun frontier`: fuel against time.

use super::ask::AskArgs;
use super::beside::Asked;
use super::plan::{asked, not_planned};
use super::{Failure, UnitsArg, profile};
use crate::brief::{
    FrontierFigures, Stops, frontier_csv, frontier_json, frontier_page, frontier_svg, frontier_text,
};
use crate::solve::frontier_of_trip;
use clap::Args;
use std::path::PathBuf;

/// Arguments of `frontier` as typed.
#[derive(Debug, Args)]
pub struct FrontierArgs {
    /// The trip, a TOML file; it names the aircraft profile and the weather. Without one, see below
    #[arg(value_name = "TRIP.toml")]
    pub trip: Option<PathBuf>,
    /// The aircraft profile, a file or the name of one that comes with fellrun, instead of the one the trip names
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// Units of text, chart and page; JSON and CSV name the unit in each key and stay as they are
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Write fuel over time as a chart, .svg or .png by its ending; - for SVG to standard output; may be given more than once
    #[arg(long, value_name = "PATH")]
    pub chart: Vec<PathBuf>,
    /// Write all as one HTML page with a slider from plan to plan; - for standard output; may be given more than once
    #[arg(long, value_name = "PATH")]
    pub page: Vec<PathBuf>,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
    /// Write one line for each plan as CSV; - for standard output
    #[arg(long, value_name = "PATH")]
    pub csv: Option<PathBuf>,
    /// A trip without a file.
    #[command(flatten)]
    pub ask: AskArgs,
}

/// Finds the plans and writes what is asked for: files first, the text last; it goes to standard error when standard output is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &FrontierArgs) -> Result<(), Failure> {
    let beside = Asked {
        charts: &args.chart,
        pages: &args.page,
        json: args.json.as_ref(),
        csv: args.csv.as_ref(),
    }
    .open(&args.ask.inputs(args.trip.iter().chain(&args.profile)))?;
    let trip = args.trip.as_deref();
    let file = asked(trip, &args.ask, args.profile.as_deref(), None)?;
    let (problem, frontier) =
        frontier_of_trip(&file.trip, &file.aircraft).map_err(|e| not_planned(trip, &e))?;
    let units = args.units.into();
    let figures = FrontierFigures::in_units(&frontier, &problem, units);
    // What a program reads is the same whatever is asked for.
    let keyed = || FrontierFigures::new(&frontier, &problem);
    beside
        .chart(|| frontier_svg(&figures))?
        .page(|| frontier_page(&Stops::in_units(&frontier, &problem, units)))?
        .json(|| frontier_json(&keyed()))?
        .csv(|| frontier_csv(&keyed()))?
        .with_text(&frontier_text(&figures, profile::columns()))
}
