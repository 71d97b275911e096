//! `fellrun descend`: ways down side by side, and where coarse and fast pays.

use super::beside::{Picture, picture};
use super::output::{self, Target};
use super::{Failure, UnitsArg, profile};
use crate::aircraft::Aircraft;
use crate::brief::{
    self, DescendFigures, descend_json, descend_page, descend_question, descend_text,
};
use crate::files::trip::load_trip;
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, M3_PER_GAL, PA_PER_INHG};
use crate::solve::{
    CruiseAsk, DescentMap, MapAxes, cruise_of, descent_map, flight_of_trip, room_m, study,
};
use crate::trip::{DescentAsk, Roughness};
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// Height of the cruise above the field unless it is typed, ft.
const CRUISE_OVER_FIELD_FT: f64 = 9_500.0;
/// Height of the pattern above the field unless it is typed, ft.
const PATTERN_OVER_FIELD_FT: f64 = 1_000.0;
/// Pattern altitude and speed are met this far before the field unless it is typed, nm: as in a trip.
const BEFORE_NM: f64 = 5.0;
/// Greatest rate of descent unless it is typed, ft/min: as in a trip.
const MAX_DESCENT_FPM: f64 = 500.0;
/// Prices unless they are typed, of an hour and of a gallon: those of the demo trips.
const HOURLY: f64 = 120.0;
/// See [`HOURLY`].
const FUEL_PRICE: f64 = 6.5;
/// Heights to lose of a map, ft, and winds, kt.
const HEIGHTS_FT: [f64; 7] = [
    2_000.0, 3_000.0, 4_000.0, 5_000.0, 6_000.0, 7_000.0, 8_000.0,
];
/// See [`HEIGHTS_FT`].
const WINDS_KT: [f64; 9] = [-40.0, -30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0, 40.0];
/// Prices of an hour of a map, and of a gallon.
const HOURS: [f64; 9] = [0.0, 30.0, 60.0, 90.0, 120.0, 160.0, 200.0, 250.0, 300.0];
/// See [`HOURS`].
const GALLONS: [f64; 6] = [3.0, 5.0, 7.0, 9.0, 11.0, 13.0];

/// How rough the air is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Air {
    /// Up to Vno, but not near the ground
    Smooth,
    /// Up to Vno less 10 kt
    Light,
    /// Up to Va at the weight of the moment
    Rough,
}

impl From<Air> for Roughness {
    fn from(air: Air) -> Self {
        match air {
            Air::Smooth => Self::Smooth,
            Air::Light => Self::Light,
            Air::Rough => Self::Rough,
        }
    }
}

/// What a map is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Over {
    /// Wind along the course, and height to lose
    Wind,
    /// Price of an hour, and of fuel
    Prices,
}

/// Arguments of `descend` as typed.
#[derive(Debug, Args, Default)]
pub struct DescendArgs {
    /// The trip, a TOML file: its last cruise is where all begin. Without one, a descent is typed with --profile and what follows
    #[arg(value_name = "TRIP.toml")]
    pub trip: Option<PathBuf>,
    /// The aircraft profile; beside a trip, instead of the one it names
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// Indicated altitude of the cruise [default: 9500 above the field]
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub altitude_ft: Option<f64>,
    /// Distance from there to the field [default: room for the shallowest]
    #[arg(long, value_name = "NM", allow_negative_numbers = true)]
    pub distance_nm: Option<f64>,
    /// Head wind at every height; a tail wind below zero [default: 0]
    #[arg(long, value_name = "KT", allow_negative_numbers = true)]
    pub wind_kt: Option<f64>,
    /// How much warmer than standard it is; colder below zero
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub isa_dev_c: Option<f64>,
    /// How rough the air is [default: light]
    #[arg(long, value_enum, value_name = "HOW")]
    pub air: Option<Air>,
    /// Elevation of the field [default: 0]
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub field_ft: Option<f64>,
    /// Pattern altitude, indicated [default: 1000 above the field]
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub pattern_ft: Option<f64>,
    /// Pattern altitude and speed are met this far before the field [default: 5]
    #[arg(long, value_name = "NM", allow_negative_numbers = true)]
    pub before_nm: Option<f64>,
    /// Weight in cruise; without it the greatest at take-off
    #[arg(long, value_name = "LB", allow_negative_numbers = true)]
    pub weight_lb: Option<f64>,
    /// RPM of the cruise; without it the cruise is that of the least money
    #[arg(long, value_name = "RPM", allow_negative_numbers = true)]
    pub rpm: Option<f64>,
    /// Manifold pressure of the cruise
    #[arg(long, value_name = "IN", allow_negative_numbers = true)]
    pub map_inhg: Option<f64>,
    /// Mixture of the cruise by its name in the profile
    #[arg(long, value_name = "NAME")]
    pub mixture: Option<String>,
    /// Greatest rate of descent [default: 500]
    #[arg(long, value_name = "FPM", allow_negative_numbers = true)]
    pub max_descent_fpm: Option<f64>,
    /// Least manifold pressure in the descent, instead of the profile's
    #[arg(long, value_name = "IN", allow_negative_numbers = true)]
    pub least_map_inhg: Option<f64>,
    /// Price of an hour without fuel [default: 120]
    #[arg(long, value_name = "PRICE", allow_negative_numbers = true)]
    pub hourly: Option<f64>,
    /// Price of a gallon [default: 6.5]
    #[arg(long, value_name = "PRICE", allow_negative_numbers = true)]
    pub fuel_price: Option<f64>,
    /// Show where which descent is best as well, as a map, in this air and in rough air
    #[arg(long, value_enum, value_name = "OVER")]
    pub map: Option<Over>,
    /// Units of text, charts and page; JSON names the unit in each key and stays as it is, options are read in theirs
    #[arg(long, value_enum, value_name = "UNITS", default_value_t = UnitsArg::Us)]
    pub units: UnitsArg,
    /// Write the chart, .svg or .png by its ending; - for SVG to standard output; may be given more than once
    #[arg(long, value_name = "PATH")]
    pub chart: Vec<PathBuf>,
    /// Write the map as a chart likewise
    #[arg(long, value_name = "PATH", requires = "map")]
    pub map_chart: Vec<PathBuf>,
    /// Write one HTML page with tables and charts; - for standard output
    #[arg(long, value_name = "PATH")]
    pub page: Option<PathBuf>,
    /// Write every figure as JSON; - for standard output
    #[arg(long, value_name = "PATH")]
    pub json: Option<PathBuf>,
}

impl DescendArgs {
    /// The first option typed that belongs to a descent without a trip.
    fn first_typed(&self) -> Option<&'static str> {
        let typed = [
            ("--altitude-ft", self.altitude_ft.is_some()),
            ("--distance-nm", self.distance_nm.is_some()),
            ("--wind-kt", self.wind_kt.is_some()),
            ("--isa-dev-c", self.isa_dev_c.is_some()),
            ("--air", self.air.is_some()),
            ("--field-ft", self.field_ft.is_some()),
            ("--pattern-ft", self.pattern_ft.is_some()),
            ("--before-nm", self.before_nm.is_some()),
            ("--weight-lb", self.weight_lb.is_some()),
            ("--rpm", self.rpm.is_some()),
            ("--map-inhg", self.map_inhg.is_some()),
            ("--mixture", self.mixture.is_some()),
            ("--max-descent-fpm", self.max_descent_fpm.is_some()),
            ("--least-map-inhg", self.least_map_inhg.is_some()),
            ("--hourly", self.hourly.is_some()),
            ("--fuel-price", self.fuel_price.is_some()),
            ("--map", self.map.is_some()),
        ];
        typed.iter().find(|t| t.1).map(|t| t.0)
    }
}

/// The descent typed, with what was taken for granted.
fn ask(
    args: &DescendArgs,
    aircraft: &Aircraft,
    path: &Path,
) -> Result<(DescentAsk, Vec<String>), Failure> {
    let mut granted = Vec::new();
    let mut or = |typed: Option<f64>, default: f64, said: &str| {
        typed.unwrap_or_else(|| {
            granted.push(said.to_owned());
            default
        })
    };
    let field_ft = profile::checked("--field-ft", "elevation", args.field_ft.unwrap_or(0.0))?;
    let pattern_ft = args.pattern_ft.unwrap_or(field_ft + PATTERN_OVER_FIELD_FT);
    let pattern_ft = profile::checked("--pattern-ft", "altitude", pattern_ft)?;
    let altitude_ft = args.altitude_ft.unwrap_or(field_ft + CRUISE_OVER_FIELD_FT);
    let altitude_ft = profile::checked("--altitude-ft", "altitude", altitude_ft)?;
    if pattern_ft <= field_ft {
        return Err(Failure::input(format!(
            "--pattern-ft {pattern_ft}: not above the field at {field_ft} ft"
        ))
        .hint("give an altitude, not a height above the field"));
    }
    if altitude_ft < pattern_ft + LEAST_HEIGHT_FT {
        return Err(Failure::input(format!(
            "--altitude-ft {altitude_ft}: there must be {LEAST_HEIGHT_FT} ft or more to lose to the pattern at {pattern_ft} ft"
        ))
        .hint("give a higher cruise, or a lower --pattern-ft"));
    }
    let head_kt = args.wind_kt.unwrap_or(0.0);
    profile::checked("--wind-kt", "wind speed", head_kt.abs())?;
    let isa_deviation_k = match args.isa_dev_c {
        Some(c) => profile::checked("--isa-dev-c", "isa deviation", c)?,
        None => 0.0,
    };
    let max_fpm = or(
        args.max_descent_fpm,
        MAX_DESCENT_FPM,
        "greatest rate of descent 500 fpm (--max-descent-fpm)",
    );
    let max_fpm = profile::checked("--max-descent-fpm", "rate of descent", max_fpm)?;
    let hourly = or(
        args.hourly,
        HOURLY,
        "an hour without fuel costs 120 (--hourly)",
    );
    let hourly = profile::checked("--hourly", "price", hourly)?;
    let fuel_price = or(
        args.fuel_price,
        FUEL_PRICE,
        "a gallon costs 6.50 (--fuel-price)",
    );
    let fuel_price = profile::checked("--fuel-price", "price", fuel_price)?;
    let before_nm = args.before_nm.unwrap_or(BEFORE_NM);
    let before_nm = profile::checked("--before-nm", "pattern distance", before_nm)?;
    let least_map_pa = args
        .least_map_inhg
        .map(|i| profile::checked("--least-map-inhg", "manifold pressure", i))
        .transpose()?
        .map(|i| i * PA_PER_INHG);
    let mass_kg = match args.weight_lb {
        Some(lb) => profile::mass_kg(aircraft, path, lb)?,
        None => aircraft.masses.max_take_off_kg,
    };
    let mut ask = DescentAsk {
        cruise_m: altitude_ft * M_PER_FT,
        distance_m: f64::NAN,
        along_m_s: -head_kt * M_S_PER_KT,
        isa_deviation_k,
        air: args.air.unwrap_or(Air::Light).into(),
        field_m: field_ft * M_PER_FT,
        pattern_m: pattern_ft * M_PER_FT,
        before_m: before_nm * M_PER_NM,
        mass_kg,
        max_descent_m_s: max_fpm * M_S_PER_FPM,
        least_map_pa,
        per_s: hourly / 3_600.0,
        fuel_per_kg: fuel_price / (aircraft.fuel.density_kg_m3 * M3_PER_GAL),
    };
    ask.distance_m = match args.distance_nm {
        Some(typed) => {
            let d = profile::checked("--distance-nm", "distance", typed)?;
            if d < before_nm + LEAST_ROOM_NM {
                return Err(Failure::input(format!(
                    "--distance-nm {typed}: the field must be {LEAST_ROOM_NM} nm or more beyond the pattern point, {before_nm} nm before it"
                ))
                .hint("leave it out for as much room as the shallowest descent takes"));
            }
            d * M_PER_NM
        }
        None => room_m(&ask, aircraft),
    };
    Ok((ask, granted))
}

/// Least height to lose, ft.
const LEAST_HEIGHT_FT: f64 = 500.0;
/// Least distance from the start to the pattern point, nm.
const LEAST_ROOM_NM: f64 = 5.0;

/// The cruise setting typed.
fn cruise(args: &DescendArgs, aircraft: &Aircraft, path: &Path) -> Result<CruiseAsk, Failure> {
    let mixture = args
        .mixture
        .as_ref()
        .map(|name| profile::mixture(aircraft, path, name))
        .transpose()?;
    let fixed = aircraft.propeller.is_fixed();
    let power = match (args.map_inhg, args.rpm) {
        (None, None) => None,
        (Some(inhg), _) if fixed => {
            return Err(Failure::input(format!(
                "--map-inhg {inhg}: {} has a fixed-pitch propeller, which is set by RPM",
                path.display()
            ))
            .hint("give --rpm alone"));
        }
        (None, Some(rpm)) if !fixed => {
            return Err(Failure::input(format!(
                "--rpm {rpm}: a cruise setting needs its manifold pressure too"
            ))
            .hint("give --map-inhg as well, or neither for the cruise of the least money"));
        }
        (Some(inhg), None) => {
            return Err(Failure::input(format!(
                "--map-inhg {inhg}: a cruise setting needs its RPM too"
            ))
            .hint("give --rpm as well, or neither for the cruise of the least money"));
        }
        (map, Some(rpm)) => {
            profile::checked("--rpm", "rpm", rpm)?;
            let p = &aircraft.propeller;
            let (low, high) = (
                60.0 * p.lowest_governed_rev_s,
                60.0 * p.highest_governed_rev_s,
            );
            if rpm < low - 1e-6 || rpm > high + 1e-6 {
                return Err(Failure::input(format!(
                    "--rpm {rpm}: {} allows {low:.0} to {high:.0} rpm",
                    path.display()
                ))
                .hint("give an RPM in that range"));
            }
            let map_pa = match map {
                Some(inhg) => {
                    profile::checked("--map-inhg", "manifold pressure", inhg)? * PA_PER_INHG
                }
                None => 0.0,
            };
            let limit_pa = aircraft.map_limit_pa(rpm / 60.0);
            if map_pa > limit_pa + 1.0 {
                return Err(Failure::input(format!(
                    "--map-inhg {}: over the limit of {:.1} in at {rpm} rpm",
                    map_pa / PA_PER_INHG,
                    limit_pa / PA_PER_INHG
                ))
                .hint(
                    "give less manifold pressure or more RPM (procedures.map_limit of the profile)",
                ));
            }
            Some((map_pa, rpm / 60.0))
        }
    };
    Ok(CruiseAsk { power, mixture })
}

fn axes(over: Over, aircraft: &Aircraft) -> MapAxes {
    match over {
        Over::Wind => MapAxes::Wind {
            along_m_s: WINDS_KT.iter().map(|w| w * M_S_PER_KT).collect(),
            heights_m: HEIGHTS_FT.iter().map(|h| h * M_PER_FT).collect(),
        },
        Over::Prices => {
            let gal_kg = aircraft.fuel.density_kg_m3 * M3_PER_GAL;
            MapAxes::Prices {
                per_s: HOURS.iter().map(|h| h / 3_600.0).collect(),
                per_kg: GALLONS.iter().map(|g| g / gal_kg).collect(),
            }
        }
    }
}

/// The figures of a descent typed.
fn typed(args: &DescendArgs) -> Result<DescendFigures, Failure> {
    let Some(path) = &args.profile else {
        return Err(Failure::input("no descent is given").hint(
            "give a trip file, or --profile and what else is known: --altitude-ft, --wind-kt, --field-ft",
        ));
    };
    let aircraft = profile::load(path)?;
    let (ask, mut granted) = ask(args, &aircraft, path)?;
    let setting = cruise(args, &aircraft, path)?;
    let wrong = |e: &dyn std::fmt::Display| {
        Failure::input(format!("{}: {e}", path.display()))
            .hint("give another --altitude-ft, --weight-lb or cruise setting (--map-inhg, --rpm, --mixture)")
    };
    let (problem, script) = cruise_of(&ask, &aircraft, setting).map_err(|e| wrong(&e))?;
    let found = study(&problem, &script).map_err(|e| wrong(&e))?;
    if setting.power.is_none() {
        granted.push(
            "cruise at the setting of the least money (--map-inhg, --rpm, --mixture)".to_owned(),
        );
    }
    granted
        .push("the same wind at every height; flat ground; standard altimeter setting".to_owned());
    let map: Option<DescentMap> = args
        .map
        .map(|over| descent_map(&ask, &aircraft, setting, axes(over, &aircraft)));
    let Some(&last) = script.cruise.last() else {
        return Err(Failure::bug("a study without a cruise"));
    };
    let said = (descend_question(&ask), granted);
    Ok(DescendFigures::new(
        &found,
        &problem,
        last,
        map.as_ref(),
        said,
    ))
}

/// The figures of the last cruise of a trip.
fn of_trip(path: &Path, args: &DescendArgs) -> Result<DescendFigures, Failure> {
    if let Some(option) = args.first_typed() {
        return Err(Failure::input(format!(
            "{option} belongs to a descent without a trip, but {} is given",
            path.display()
        ))
        .hint("change the trip file, or leave it out and give --profile"));
    }
    let file = load_trip(path, args.profile.as_deref())
        .map_err(|e| Failure::drawn(e.render_for_stderr()))?;
    let wrong = |e: &dyn std::fmt::Display| Failure::input(format!("{}: {e}", path.display()));
    let (problem, flown) = flight_of_trip(&file.trip, &file.aircraft).map_err(|e| wrong(&e))?;
    let found = study(&problem, &flown.script).map_err(|e| wrong(&e))?;
    let Some(&last) = flown.script.cruise.last() else {
        return Err(Failure::bug("a plan without a cruise"));
    };
    let ends = |i: usize| problem.legs.get(i).map_or("", |l| l.from.as_str());
    let to = problem.legs.last().map_or("", |l| l.to.as_str());
    let question = format!(
        "From the last cruise of the plan {} to {to}, with the wind, ground and limits of the trip",
        ends(0)
    );
    let said = (question, vec![]);
    Ok(DescendFigures::new(&found, &problem, last, None, said))
}

/// One answer besides the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Face {
    Chart(Picture),
    Map(Picture),
    Page,
    Json,
}

fn written(face: Face, f: &DescendFigures) -> Result<Vec<u8>, Failure> {
    let text = match face {
        Face::Chart(picture) => return picture.of(brief::descend_svg(f)),
        Face::Map(picture) => return picture.of(brief::descend_map_svg(f)),
        Face::Page => descend_page(f).map_err(Failure::bug),
        Face::Json => descend_json(f).map_err(Failure::bug),
    };
    text.map(String::into_bytes)
}

/// Works the study out and writes what is asked for: files first, the text last; the text goes to standard error when standard output
/// is taken.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &DescendArgs) -> Result<(), Failure> {
    let mut faces = Vec::new();
    for path in &args.chart {
        let (kind, target) = picture(path)?;
        faces.push((Face::Chart(kind), target));
    }
    for path in &args.map_chart {
        let (kind, target) = picture(path)?;
        faces.push((Face::Map(kind), target));
    }
    faces.extend(args.page.iter().map(|p| (Face::Page, Target::new(p))));
    faces.extend(args.json.iter().map(|p| (Face::Json, Target::new(p))));
    let targets: Vec<Target> = faces.iter().map(|(_, t)| t.clone()).collect();
    let inputs: Vec<&Path> = args
        .profile
        .as_deref()
        .into_iter()
        .chain(args.trip.as_deref())
        .collect();
    let outputs = output::open(&targets, &inputs)?;
    let figures = DescendFigures {
        units: args.units.into(),
        ..match &args.trip {
            Some(path) => of_trip(path, args)?,
            None => typed(args)?,
        }
    };
    let contents = faces
        .iter()
        .map(|&(f, _)| written(f, &figures))
        .collect::<Result<Vec<_>, _>>()?;
    output::commit(outputs, &contents)?;
    output::talk(&descend_text(&figures, profile::columns()), &targets)
}
