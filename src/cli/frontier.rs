//! `fellrun frontier`: fuel against time.

use super::ask::AskArgs;
use super::output::{self, Target};
use super::plan::{not_flown, page, picture, read};
use super::{Failure, profile};
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
    let charts = args
        .chart
        .iter()
        .map(|path| picture(path))
        .collect::<Result<Vec<_>, _>>()?;
    let pages = args
        .page
        .iter()
        .map(|path| page(path))
        .collect::<Result<Vec<_>, _>>()?;
    let others = [&args.json, &args.csv].into_iter().flatten();
    let targets: Vec<Target> = charts
        .iter()
        .map(|c| c.1.clone())
        .chain(pages)
        .chain(others.map(|p| Target::new(p)))
        .collect();
    let outputs = output::open(&targets)?;
    let trip = args.trip.as_deref();
    let file = read(trip, &args.ask, args.profile.as_deref(), None)?;
    let (problem, frontier) =
        frontier_of_trip(&file.trip, &file.aircraft).map_err(|e| not_flown(trip, &e))?;
    let figures = FrontierFigures::new(&frontier, &problem);
    let mut contents = Vec::new();
    for (kind, _) in &charts {
        contents.push(kind.of(frontier_svg(&figures))?);
    }
    if !args.page.is_empty() {
        let text = frontier_page(&Stops::new(&frontier, &problem)).map_err(Failure::bug)?;
        contents.extend(args.page.iter().map(|_| text.clone().into_bytes()));
    }
    if args.json.is_some() {
        contents.push(frontier_json(&figures).map_err(Failure::bug)?.into_bytes());
    }
    if args.csv.is_some() {
        contents.push(frontier_csv(&figures).map_err(Failure::bug)?);
    }
    output::commit(outputs, &contents)?;
    output::talk(&frontier_text(&figures, profile::columns()), &targets)
}
