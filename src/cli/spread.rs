//! `fellrun spread`: how sure a plan is.

use super::ask::AskArgs;
use super::beside::Asked;
use super::plan::{Least, asked, not_planned};
use super::{Failure, UnitsArg, profile};
use crate::brief::{SpreadFigures, USUAL_SOURCE, spread_csv, spread_json, spread_svg, spread_text};
use crate::files::trip::TripFile;
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT, range};
use crate::solve::{SpreadAsk, plan_trip, spread, threads};
use crate::trip::{ForecastError, Problem, Trip, resolve};
use clap::Args;
use std::path::PathBuf;

/// Arguments of `spread` as typed.
#[derive(Debug, Args)]
#[command(
    after_help = "The forecast error: each component of the wind, and the temperature, are wrong by a normal deviate that is alike at places near each \
                  other by (1 + d/L) exp(-d/L) in distance times the same in height, and stays as it is for the whole flight. The usual values are \
                  from memory: wind about what aircraft reports against forecasts of some hours gave (Schwartz and others, Weather and Forecasting \
                  15, 2000), temperature and lengths round values.\nThe plan is flown as it is, no lever moved but the start down. It advises: the \
                  approved flight manual, a weather briefing and the pilot in command decide."
)]
pub struct SpreadArgs {
    /// The trip, a TOML file; it names the aircraft profile and the weather. Without one, see below
    #[arg(value_name = "TRIP.toml")]
    pub trip: Option<PathBuf>,
    /// The aircraft profile, a file or the name of one that comes with fellrun, instead of the one the trip names
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// What is to be least, instead of what the trip says
    #[arg(long, value_enum, value_name = "WHAT")]
    pub objective: Option<Least>,
    /// Standard deviation of the wind, along the course and across it [default: 8, from memory]
    #[arg(long, value_name = "KT", allow_negative_numbers = true)]
    pub wind_error: Option<f64>,
    /// Standard deviation of the temperature [default: 2, from memory]
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub temperature_error: Option<f64>,
    /// Take both from how much the forecasts of the trip differ from one time to the next, as if one were meant for the other
    #[arg(long, conflicts_with_all = ["wind_error", "temperature_error"])]
    pub from_forecasts: bool,
    /// Length L of the correlation by distance [default: 100, from memory]
    #[arg(long, value_name = "NM", allow_negative_numbers = true)]
    pub error_length: Option<f64>,
    /// Length L of the correlation by height [default: 3000, from memory]
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub error_height: Option<f64>,
    /// How many winds
    #[arg(long, value_name = "N", default_value_t = 1_000)]
    pub samples: u32,
    /// What they are drawn from: the same seed gives the same answer
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Units of text and chart; JSON and CSV name the unit in each key and stay as they are
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Write time, fuel and what each level loses as a chart, .svg or .png by its ending; - for SVG to standard output; may be given more
    /// than once
    #[arg(long, value_name = "PATH")]
    pub chart: Vec<PathBuf>,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
    /// Write the plan sample by sample as CSV; - for standard output
    #[arg(long, value_name = "PATH")]
    pub csv: Option<PathBuf>,
    /// A trip without a file.
    #[command(flatten)]
    pub ask: AskArgs,
}

/// The error of the forecast as typed, else the usual one; the forecasts of the trip are looked at later.
fn typed_error(args: &SpreadArgs) -> Result<ForecastError, Failure> {
    let of = |option: &str, key: &str, typed: Option<f64>, unit: f64, usual: f64| match typed {
        Some(x) => profile::checked(option, key, x).map(|x| x * unit),
        None => Ok(usual),
    };
    let usual = ForecastError::USUAL;
    let (wind, warm) = (args.wind_error, args.temperature_error);
    Ok(ForecastError {
        wind_m_s: of(
            "--wind-error",
            "wind error",
            wind,
            M_S_PER_KT,
            usual.wind_m_s,
        )?,
        temperature_k: of(
            "--temperature-error",
            "temperature error",
            warm,
            1.0,
            usual.temperature_k,
        )?,
        distance_m: of(
            "--error-length",
            "correlation distance",
            args.error_length,
            M_PER_NM,
            usual.distance_m,
        )?,
        height_m: of(
            "--error-height",
            "correlation height",
            args.error_height,
            M_PER_FT,
            usual.height_m,
        )?,
    })
}

/// By how much the forecasts of a trip differ, over the heights that are flown at; and in words.
fn from_forecasts(
    file: &TripFile,
    planned: &Problem,
    error: ForecastError,
) -> Result<(ForecastError, String), Failure> {
    let mut trip = Trip {
        fuel: crate::trip::FuelLoad::Kg(planned.fuel_kg),
        ..file.trip.clone()
    };
    trip.weather.forecasts = file.winds.all();
    let count = trip.weather.forecasts.len();
    let all = resolve(&trip, file.aircraft.clone()).map_err(Failure::input)?;
    let low_m = all.departure.elevation_m.min(all.destination.elevation_m);
    let differ = all.change_between_forecasts(low_m, all.limits.max_altitude_m);
    let (wind_m_s, temperature_k) = differ.ok_or_else(|| {
        Failure::input("--from-forecasts: the trip has one forecast, and it takes two to differ").hint(
            "name bulletins or forecast hours of several times, or give --wind-error and --temperature-error",
        )
    })?;
    let times: Vec<String> = trip
        .weather
        .forecasts
        .iter()
        .map(|f| f.valid.strftime("%dT%H:%MZ").to_string())
        .collect();
    let source = format!(
        "from the {count} forecasts of the trip, valid {}: root mean square of the difference from each to the next along the route, from the \
         ground to the greatest altitude; lengths {}",
        times.join(", "),
        if error.distance_m == ForecastError::USUAL.distance_m
            && error.height_m == ForecastError::USUAL.height_m
        {
            "round values from memory"
        } else {
            "as typed"
        }
    );
    let error = ForecastError {
        wind_m_s,
        temperature_k,
        ..error
    };
    Ok((error, source))
}

/// Flies the plan in many winds and writes what is asked for: files first, the text last; it goes to standard error when standard output
/// is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &SpreadArgs) -> Result<(), Failure> {
    let mut error = typed_error(args)?;
    range("samples")
        .check(f64::from(args.samples))
        .map_err(|e| Failure::input(format!("--samples {}: {e}", args.samples)))?;
    let beside = Asked {
        charts: &args.chart,
        json: args.json.as_ref(),
        csv: args.csv.as_ref(),
        ..Asked::default()
    }
    .open(&args.ask.inputs(args.trip.iter().chain(&args.profile)))?;
    let trip = args.trip.as_deref();
    let file = asked(trip, &args.ask, args.profile.as_deref(), args.objective)?;
    let (problem, plan) =
        plan_trip(&file.trip, &file.aircraft).map_err(|e| not_planned(trip, &e))?;
    let typed = [
        args.wind_error,
        args.temperature_error,
        args.error_length,
        args.error_height,
    ];
    let mut source = match typed.iter().flatten().count() {
        0 => USUAL_SOURCE.to_owned(),
        4 => "as typed".to_owned(),
        _ => format!("as typed; what was not, {USUAL_SOURCE}"),
    };
    if args.from_forecasts {
        (error, source) = from_forecasts(&file, &problem, error)?;
    }
    let ask = SpreadAsk {
        error,
        samples: args.samples as usize,
        seed: args.seed,
    };
    let found = spread(&problem, &plan, ask, threads());
    let figures = SpreadFigures::in_units(&found, &plan, &problem, &source, args.units.into());
    // What a program reads is the same whatever is asked for.
    let keyed = || SpreadFigures::new(&found, &plan, &problem, &source);
    beside
        .chart(|| spread_svg(&figures))?
        .json(|| spread_json(&keyed()))?
        .csv(|| spread_csv(&figures))?
        .with_text(&spread_text(&figures, profile::columns()))
}
