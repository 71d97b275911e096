//! `fellrun winds`: the wind of a trip by height and stretch.

use super::beside::Asked;
use super::{Failure, profile};
use crate::brief::{WindsFigures, winds_json, winds_svg, winds_text};
use crate::files::trip::load_trip;
use crate::solve::on_schedule;
use crate::trip::resolve;
use clap::Args;
use std::path::PathBuf;

/// Arguments of `winds` as typed.
#[derive(Debug, Args)]
pub struct WindsArgs {
    /// The trip, a TOML file; it names the aircraft profile and the weather
    #[arg(value_name = "TRIP.toml")]
    pub trip: PathBuf,
    /// The aircraft profile, a file or the name of one that comes with fellrun, instead of the one the trip names
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// Write the winds as a drawing, .svg or .png by its ending; - for SVG to standard output
    #[arg(long, value_name = "PATH")]
    pub chart: Vec<PathBuf>,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
}

/// Reads the trip and writes what is asked for: files first, the text last; it goes to standard error when standard output is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &WindsArgs) -> Result<(), Failure> {
    let beside = Asked {
        charts: &args.chart,
        json: args.json.as_ref(),
        ..Asked::default()
    }
    .open(&[&args.trip])?;
    let file = load_trip(&args.trip, args.profile.as_deref())
        .map_err(|e| Failure::drawn(e.render_for_stderr()))?;
    let wrong = |e: &dyn std::fmt::Display| Failure::input(format!("{}: {e}", args.trip.display()));
    let problem = resolve(&file.trip, file.aircraft).map_err(|e| wrong(&e))?;
    // The winds at the time the flight is expected over each place.
    let figures = WindsFigures::new(&on_schedule(&problem));
    beside
        .chart(|| winds_svg(&figures))?
        .json(|| winds_json(&figures))?
        .with_text(&winds_text(&figures, profile::columns()))
}
