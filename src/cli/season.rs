//! `fellrun season`: a year of trips over a spread of winds, by four ways to fly.

use super::ask::RulesWord;
use super::beside::Asked;
use super::output;
use super::season_results::{Known, Outcome, Results, Sum};
use super::{Failure, UnitsArg, profile};
use crate::brief::{Season, SeasonFigures, season_csv, season_json, season_svg, season_text};
use crate::files::climate::{load_climate, shipped_climate};
use crate::files::diagnostic::FileError;
use crate::files::season_log::{DAY, RowsWith, SeasonRow, load_season};
use crate::files::season_winds::{SeasonWind, drawn_winds, load_winds};
use crate::quantity::{M_PER_FT, M_S_PER_FPM, M_S_PER_KT, M3_PER_GAL};
use crate::solve::{Charges, SeasonTrip, Usual, fly_season, threads};
use crate::trip::{HourBasis, Place, Prices};
use clap::{Args, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};
use jiff::Timestamp;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Winds that are drawn, when nobody says how many.
const DRAWN: u64 = 20;
/// Crankshaft speed of a tachometer hour, when nobody says, rpm: common practice, no source.
const TACHOMETER_RPM: f64 = 2_400.0;

/// What an hour is paid by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum HourWord {
    /// Start-up to shutdown
    Clock,
    /// Take-off to landing
    Airborne,
    /// By the tachometer
    Tachometer,
}

/// Arguments of `season` as typed.
#[derive(Debug, Args)]
pub struct SeasonArgs {
    /// The log, a CSV file: times,trip or times,from,via,to; how often a year each trip is flown
    #[arg(value_name = "LOG.csv")]
    pub log: PathBuf,
    /// The aircraft profile, a file or the name of one that comes with fellrun, instead of those the trips name; needed for rows without a trip file
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// Your own places for rows without a trip file; may be given more than once
    #[arg(long, value_name = "FILE")]
    pub places: Vec<PathBuf>,
    /// Folder of SRTM tiles for rows without a trip file: the highest ground along the way
    #[arg(long, value_name = "FOLDER")]
    pub terrain: Option<PathBuf>,
    /// Rules for cruise altitudes of rows without a trip file
    #[arg(long, value_enum, value_name = "RULES", default_value = "us-vfr")]
    pub rules: RulesWord,
    /// Day and time that rows without a trip file are flown at, for the magnetic variation alone
    #[arg(long, value_name = "UTC", default_value_t = DAY)]
    pub day: Timestamp,
    /// Units of text and chart; JSON and CSV name the unit in each key and stay as they are
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Write fuel, hours and money saved as a chart, .svg or .png by its ending; - for SVG to standard output; may be given more than once
    #[arg(long, value_name = "PATH")]
    pub chart: Vec<PathBuf>,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
    /// Write one line for each trip in each wind by each policy as CSV; - for standard output
    #[arg(long, value_name = "PATH")]
    pub csv: Option<PathBuf>,
    /// Keep each trip in each wind here as it is flown; a season that was stopped goes on from there
    #[arg(long, value_name = "PATH")]
    pub results: Option<PathBuf>,
    /// Threads to fly on [default: one for each core]; the answer is the same on any number
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1_024))]
    pub threads: Option<u16>,
    /// Winds aloft to fly in: bulletins or GRIB2, each valid time of each file one wind; may be given more than once
    #[arg(long, value_name = "FILE", num_args = 1.., help_heading = "Winds", conflicts_with_all = ["draw", "seed", "climate"])]
    pub winds: Vec<PathBuf>,
    /// Draw so many winds from a climate instead [default: 20]
    #[arg(long, value_name = "N", help_heading = "Winds", value_parser = clap::value_parser!(u64).range(1..=10_000))]
    pub draw: Option<u64>,
    /// What the winds are drawn by; the same seed gives the same winds [default: 1]
    #[arg(long, value_name = "N", help_heading = "Winds")]
    pub seed: Option<u64>,
    /// Climate to draw from, CSV: altitude_ft,from_west_kt,from_west_sd_kt,from_south_kt,from_south_sd_kt,correlation_below,isa_dev_c,isa_dev_sd_c [default: the United States in January and April]
    #[arg(long, value_name = "FILE", help_heading = "Winds")]
    pub climate: Option<PathBuf>,
    /// Price of an hour without fuel, in your own money [default: that of each trip file]
    #[arg(
        long,
        value_name = "MONEY",
        help_heading = "Costs",
        allow_negative_numbers = true,
        requires = "fuel_price"
    )]
    pub hourly: Option<f64>,
    /// Price of a gallon
    #[arg(
        long,
        value_name = "MONEY",
        help_heading = "Costs",
        allow_negative_numbers = true,
        requires = "hourly"
    )]
    pub fuel_price: Option<f64>,
    /// Price of an hour, fuel included, instead
    #[arg(long, value_name = "MONEY", help_heading = "Costs", allow_negative_numbers = true, conflicts_with_all = ["hourly", "fuel_price", "overhaul"])]
    pub wet_rate: Option<f64>,
    /// What an hour is paid by, where it is given here [default: airborne]
    #[arg(long, value_enum, value_name = "BASIS", help_heading = "Costs")]
    pub basis: Option<HourWord>,
    /// Crankshaft speed at which an hour is an hour of the tachometer [default: that of the first trip paid by it, else 2400]
    #[arg(
        long,
        value_name = "RPM",
        help_heading = "Costs",
        allow_negative_numbers = true
    )]
    pub tach_rpm: Option<f64>,
    /// Put aside for the overhaul of the engine, a tachometer hour
    #[arg(
        long,
        value_name = "MONEY",
        help_heading = "Costs",
        allow_negative_numbers = true,
        default_value_t = 0.0
    )]
    pub overhaul: f64,
    /// What an hour of your own time is worth, start-up to shutdown: least money counts it
    #[arg(
        long,
        value_name = "MONEY",
        help_heading = "Costs",
        allow_negative_numbers = true,
        default_value_t = 0.0
    )]
    pub own_time: f64,
    /// Flown as usual: cruise power, per cent of rated
    #[arg(
        long,
        value_name = "PERCENT",
        help_heading = "As usual",
        allow_negative_numbers = true,
        default_value_t = 65.0
    )]
    pub usual_power: f64,
    /// Flown as usual: RPM in cruise; at fixed pitch what gives the power
    #[arg(
        long,
        value_name = "RPM",
        help_heading = "As usual",
        allow_negative_numbers = true,
        default_value_t = 2_400.0
    )]
    pub usual_rpm: f64,
    /// Flown as usual: mixture in cruise, by its name in the profile [default: best power]
    #[arg(long, value_name = "NAME", help_heading = "As usual")]
    pub usual_mixture: Option<String>,
    /// Flown as usual: level, or the nearest to it that is allowed on each leg
    #[arg(
        long,
        value_name = "FT",
        help_heading = "As usual",
        allow_negative_numbers = true,
        default_value_t = 7_500.0
    )]
    pub usual_level: f64,
    /// Flown as usual: climb, indicated [default: Vy, or what cools the engine]
    #[arg(
        long,
        value_name = "KT",
        help_heading = "As usual",
        allow_negative_numbers = true
    )]
    pub usual_climb: Option<f64>,
    /// Flown as usual: rate of descent, but no more than the trip allows
    #[arg(
        long,
        value_name = "FPM",
        help_heading = "As usual",
        allow_negative_numbers = true,
        default_value_t = 500.0
    )]
    pub usual_descent: f64,
}

/// The usual way, for aircraft that have its mixture.
fn usual(args: &SeasonArgs, rows: &[SeasonRow]) -> Result<Usual, Failure> {
    if let Some(name) = &args.usual_mixture {
        for row in rows {
            let mixtures = &row.file.aircraft.engine.spec.mixtures;
            if !mixtures.iter().any(|m| m.name.eq_ignore_ascii_case(name)) {
                let names: Vec<String> = mixtures.iter().map(|m| format!("{:?}", m.name)).collect();
                return Err(Failure::input(format!(
                    "--usual-mixture {name:?}: {} has no mixture of that name",
                    row.file.aircraft.name
                ))
                .hint(format!("it has {}", names.join(", "))));
            }
        }
    }
    let checked = profile::checked;
    Ok(Usual {
        power_fraction: checked("--usual-power", "power percent", args.usual_power)? / 100.0,
        rev_s: checked("--usual-rpm", "rpm", args.usual_rpm)? / 60.0,
        mixture: args.usual_mixture.clone(),
        level_m: checked("--usual-level", "altitude", args.usual_level)? * M_PER_FT,
        climb_m_s: args
            .usual_climb
            .map(|kt| checked("--usual-climb", "speed", kt))
            .transpose()?
            .map(|kt| kt * M_S_PER_KT),
        descent_m_s: checked("--usual-descent", "rate of descent", args.usual_descent)?
            * M_S_PER_FPM,
    })
}

/// Crankshaft speed of a tachometer hour, rev/s.
fn tachometer_rev_s(args: &SeasonArgs, rows: &[SeasonRow]) -> Result<f64, Failure> {
    let of_trip = rows.iter().find_map(|r| match r.file.trip.prices.basis {
        HourBasis::Tachometer(rev_s) => Some(rev_s),
        HourBasis::Clock | HourBasis::Airborne => None,
    });
    Ok(match (args.tach_rpm, of_trip) {
        (Some(rpm), _) => profile::checked("--tach-rpm", "rpm", rpm)? / 60.0,
        (None, Some(rev_s)) => rev_s,
        (None, None) => TACHOMETER_RPM / 60.0,
    })
}

/// What each trip costs.
fn charges(args: &SeasonArgs, row: &SeasonRow, tachometer_rev_s: f64) -> Result<Charges, Failure> {
    let price = |option, money| profile::checked(option, "price", money);
    let kg_per_gal = row.file.aircraft.fuel.density_kg_m3 * M3_PER_GAL;
    let basis = match args.basis {
        Some(HourWord::Clock) => HourBasis::Clock,
        Some(HourWord::Airborne) | None => HourBasis::Airborne,
        Some(HourWord::Tachometer) => HourBasis::Tachometer(tachometer_rev_s),
    };
    let own = row.file.trip.prices;
    let prices = match (args.wet_rate, args.hourly.zip(args.fuel_price)) {
        (Some(wet), _) => Prices {
            per_s: price("--wet-rate", wet)? / 3_600.0,
            basis,
            fuel_per_kg: 0.0,
        },
        (None, Some((hourly, gallon))) => Prices {
            per_s: price("--hourly", hourly)? / 3_600.0,
            basis,
            fuel_per_kg: price("--fuel-price", gallon)? / kg_per_gal,
        },
        (None, None) if args.basis.is_some() => {
            return Err(
                Failure::input("--basis is given without a price of the hour")
                    .hint("give --hourly and --fuel-price, or --wet-rate, with it"),
            );
        }
        (None, None) if own.are_given() => own,
        (None, None) => {
            return Err(
                Failure::input(format!("{}: the trip has no prices", row.name)).hint(
                    "give --hourly and --fuel-price, or --wet-rate; or a trip file with [prices]",
                ),
            );
        }
    };
    Ok(Charges {
        prices,
        overhaul_per_rev: price("--overhaul", args.overhaul)? / (3_600.0 * tachometer_rev_s),
        own_time_per_s: price("--own-time", args.own_time)? / 3_600.0,
    })
}

fn drawn(e: FileError) -> Failure {
    Failure::drawn(e.render_for_stderr())
}

/// The winds, and where they are from in words.
fn winds(args: &SeasonArgs, rows: &[SeasonRow]) -> Result<(Vec<SeasonWind>, String), Failure> {
    if args.winds.is_empty() {
        let climate = match &args.climate {
            Some(path) => load_climate(path),
            None => shipped_climate(),
        };
        let climate = climate.map_err(drawn)?;
        let seed = args.seed.unwrap_or(1);
        let winds = drawn_winds(&climate, seed, args.draw.unwrap_or(DRAWN));
        let from = format!("drawn by seed {seed} from the climate of {}", climate.name);
        return Ok((winds, from));
    }
    let places: Vec<&Place> = rows
        .iter()
        .flat_map(|r| {
            let trip = &r.file.trip;
            trip.places
                .iter()
                .chain(trip.alternate.as_ref().map(|a| &a.place))
        })
        .collect();
    let winds = load_winds(&args.winds, &places, args.day).map_err(drawn)?;
    let files = args.winds.len();
    let from = if files == 1 {
        "those of the file given".to_owned()
    } else {
        format!("those of the {files} files given")
    };
    Ok((winds, from))
}

/// What the results hang on, in words, with a sum over all of it. How often a year a trip is flown is no part of it.
fn inputs(args: &SeasonArgs, trips: &[SeasonTrip], winds: &[SeasonWind], usual: &Usual) -> String {
    let mut sum = Sum::new();
    // A sum takes all that is written to it.
    let _ = write!(
        sum,
        "{}{trips:?}{winds:?}{usual:?}",
        env!("CARGO_PKG_VERSION")
    );
    format!(
        "{}, {} trips in {} winds, sum {:016x}",
        args.log.display(),
        trips.len(),
        winds.len(),
        sum.value()
    )
}

/// Flies what is not known yet, with a bar on a terminal, and keeps it.
fn fly(
    args: &SeasonArgs,
    trips: &[SeasonTrip],
    winds: &[SeasonWind],
    usual: &Usual,
) -> Result<Vec<Vec<Outcome>>, Failure> {
    let size = (trips.len(), winds.len());
    let (results, mut known) = match &args.results {
        Some(path) => {
            let (results, known) = Results::open(path, &inputs(args, trips, winds, usual), size)?;
            (Some(results), known)
        }
        None => (None, Known::new()),
    };
    let all = || (0..size.0).flat_map(|t| (0..size.1).map(move |w| (t, w)));
    let pairs: Vec<(usize, usize)> = all().filter(|at| !known.contains_key(at)).collect();
    if let (Some(path), false) = (&args.results, known.is_empty()) {
        let said = format!(
            "{} of {} flown before, by {}\n",
            known.len(),
            size.0 * size.1,
            path.display()
        );
        output::say(&said);
    }
    // Hidden where standard error is no terminal.
    let bar = ProgressBar::new((size.0 * size.1) as u64).with_position(known.len() as u64);
    if let Ok(style) =
        ProgressStyle::with_template("{bar:40} {pos} of {len} trips in a wind, {eta} to go")
    {
        bar.set_style(style);
    }
    let results = Mutex::new(results.map_or(Ok(None), |r| Ok(Some(r))));
    let threads = args.threads.map_or_else(threads, usize::from);
    let flown = fly_season(
        trips,
        |trip, wind| winds[wind].over(&trips[trip].trip),
        usual,
        &pairs,
        threads,
        |trip, wind, outcome| {
            bar.inc(1);
            let mut file = results.lock().unwrap_or_else(PoisonError::into_inner);
            if let Ok(Some(results)) = file.as_mut() {
                let outcome = outcome.clone().map_err(|e| e.to_string());
                if let Err(e) = results.add(trip, wind, &outcome) {
                    // Said in the end; what is flown is flown.
                    *file = Err(e);
                }
            }
        },
    );
    bar.finish_and_clear();
    results
        .into_inner()
        .unwrap_or_else(PoisonError::into_inner)?;
    let flown = flown
        .into_iter()
        .map(|f| f.map_err(|e| one_line(&e.to_string())));
    known.extend(pairs.into_iter().zip(flown));
    let mut by_trip: Vec<Vec<Outcome>> = vec![Vec::with_capacity(size.1); size.0];
    for ((trip, _), outcome) in known {
        by_trip[trip].push(outcome);
    }
    Ok(by_trip)
}

/// As it reads back from a results file.
pub(super) fn one_line(text: &str) -> String {
    text.replace(['\n', '\r'], " ")
}

/// Flies the season and writes what is asked for: files first, the text last; it goes to standard error when standard output is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched but the results file, which has what was flown.
pub fn run(args: &SeasonArgs) -> Result<(), Failure> {
    let inputs: Vec<&Path> = std::iter::once(&args.log)
        .chain(&args.profile)
        .chain(&args.places)
        .chain(&args.winds)
        .chain(&args.climate)
        .chain(&args.results)
        .map(PathBuf::as_path)
        .collect();
    let beside = Asked {
        charts: &args.chart,
        json: args.json.as_ref(),
        csv: args.csv.as_ref(),
        ..Asked::default()
    }
    .open(&inputs)?;
    let with = RowsWith {
        profile: args.profile.clone(),
        stand_in: None,
        places: args.places.clone(),
        terrain: args.terrain.clone(),
        rules: args.rules.word(),
        day: args.day,
    };
    let rows = load_season(&args.log, &with).map_err(drawn)?;
    let tachometer_rev_s = tachometer_rev_s(args, &rows)?;
    let usual = usual(args, &rows)?;
    let trips = rows
        .iter()
        .map(|row| {
            Ok(SeasonTrip {
                trip: row.file.trip.clone(),
                aircraft: row.file.aircraft.clone(),
                charges: charges(args, row, tachometer_rev_s)?,
            })
        })
        .collect::<Result<Vec<_>, Failure>>()?;
    let (winds, winds_from) = winds(args, &rows)?;
    let flown = fly(args, &trips, &winds, &usual)?;
    if let Some(why) = none_flown(&flown) {
        return Err(Failure::input(format!(
            "no trip of {} can be flown in any wind; of the first: {why}",
            args.log.display()
        ))
        .hint("fly one of them with fellrun plan to see what is in the way"));
    }
    let names: Vec<String> = rows.iter().map(|r| r.name.clone()).collect();
    let times: Vec<f64> = rows.iter().map(|r| r.times).collect();
    let wind_names: Vec<String> = winds.iter().map(|w| w.name.clone()).collect();
    let log = args.log.display().to_string();
    let season = Season {
        log: &log,
        names: &names,
        times: &times,
        trips: &trips,
        winds: &wind_names,
        winds_from: &winds_from,
        usual: &usual,
        tachometer_rev_s,
        flown: &flown,
    };
    let figures = SeasonFigures::in_units(&season, args.units.into());
    beside
        .chart(|| season_svg(&figures))?
        .json(|| season_json(&figures))?
        .csv(|| season_csv(&season))?
        .with_text(&season_text(&figures, profile::columns()))
}

/// Why the first is not flown, if none is.
fn none_flown(flown: &[Vec<Outcome>]) -> Option<&str> {
    let mut all = flown.iter().flatten();
    if all.clone().any(Result::is_ok) {
        return None;
    }
    all.find_map(|f| f.as_ref().err().map(String::as_str))
}
