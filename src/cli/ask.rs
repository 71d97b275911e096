//! A trip typed as options instead of a file: turned into the text of a trip file, which the one reader reads. What is wrong with it is
//! said of the options.

mod draft;
mod said;

pub(super) use said::not_flown;

use super::Failure;
use super::plan::Least;
use crate::files::shipped;
use crate::files::trip::{TripFile, parse_trip};
use clap::{Args, ValueEnum};
use draft::{EXAMPLE, draft, granted, start_up};
use said::said_of_options;
use std::path::{Path, PathBuf};

/// What stands for the path of a trip that has no file.
const COMMAND_LINE: &str = "command line";

/// Rules for cruise altitudes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum RulesWord {
    /// 14 CFR 91.159
    UsVfr,
    /// 14 CFR 91.179
    UsIfr,
    /// ICAO Annex 2 and SERA, VFR
    IcaoVfr,
    /// The same, IFR
    IcaoIfr,
    /// Any multiple of 500 ft
    None,
}

impl RulesWord {
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::UsVfr => "us-vfr",
            Self::UsIfr => "us-ifr",
            Self::IcaoVfr => "icao-vfr",
            Self::IcaoIfr => "icao-ifr",
            Self::None => "none",
        }
    }
}

/// What an hour is paid by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum BasisWord {
    /// Start-up to shutdown
    Clock,
    /// Take-off to landing
    Airborne,
}

/// A trip without a file, as typed.
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "A trip without a file")]
pub struct AskArgs {
    /// Departure: identifier, position (43.2,-114.1 or 4312N11406W), or a place of --places
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    pub from: Option<String>,
    /// Destination
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    pub to: Option<String>,
    /// Points on the way, in order, with commas or given more than once
    #[arg(long, value_name = "PLACE,...", allow_hyphen_values = true)]
    pub via: Vec<String>,
    /// Alternate: fuel to go on to it from a go-around at the destination is kept besides the reserve
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    pub alternate: Option<String>,
    /// Route from a GPX file instead: its route, or its track thinned to turning points
    #[arg(long, value_name = "FILE", conflicts_with_all = ["from", "to", "via"])]
    pub gpx_route: Option<PathBuf>,
    /// Your own places: CSV (ident,lat,lon,elevation_ft,name) or waypoints in GPX; may be given more than once
    #[arg(long, value_name = "FILE")]
    pub places: Vec<PathBuf>,
    /// Elevation of the departure, where the table is wrong or has none
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub from_elevation: Option<f64>,
    /// Elevation of the destination
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub to_elevation: Option<f64>,
    /// Winds and temperatures aloft: bulletins or GRIB2, by their content; may be given more than once
    #[arg(long, value_name = "FILE")]
    pub winds: Vec<PathBuf>,
    /// Fuel on board at start-up, US gallons, or least: the least that leaves the reserve
    #[arg(long, value_name = "GAL", allow_hyphen_values = true)]
    pub fuel: Option<String>,
    /// Start-up, UTC, as 2026-01-31T16:00Z [default: the next five minutes from now]
    #[arg(long, value_name = "UTC")]
    pub depart: Option<String>,
    /// People [default: 190]
    #[arg(long, value_name = "LB", allow_negative_numbers = true)]
    pub people: Option<f64>,
    /// Baggage [default: 0]
    #[arg(long, value_name = "LB", allow_negative_numbers = true)]
    pub baggage: Option<f64>,
    /// Altimeter setting, or those of departure and destination with a comma [default: the reports', else 29.92]
    #[arg(
        long,
        value_name = "INHG",
        value_delimiter = ',',
        allow_negative_numbers = true
    )]
    pub altimeter: Vec<f64>,
    /// Weather reports (METAR): a file, or the report itself; may be given more than once
    #[arg(long, value_name = "FILE")]
    pub metar: Vec<String>,
    /// Folder of SRTM tiles (N43W116.hgt): the highest ground along the way
    #[arg(long, value_name = "FOLDER")]
    pub terrain: Option<PathBuf>,
    /// Half-width of the strip whose ground counts [default: 4]
    #[arg(
        long,
        value_name = "NM",
        allow_negative_numbers = true,
        requires = "terrain"
    )]
    pub corridor: Option<f64>,
    /// Volumes to keep out of: GeoJSON polygons with name, lower_ft and upper_ft; may be given more than once
    #[arg(long, value_name = "FILE")]
    pub keep_out: Vec<PathBuf>,
    /// Price of an hour without fuel, in your own money
    #[arg(long, value_name = "MONEY", allow_negative_numbers = true)]
    pub hourly: Option<f64>,
    /// What an hour is paid by [default: airborne]
    #[arg(long, value_enum, value_name = "BASIS")]
    pub basis: Option<BasisWord>,
    /// Price of a gallon
    #[arg(long, value_name = "MONEY", allow_negative_numbers = true)]
    pub fuel_price: Option<f64>,
    /// Rules for cruise altitudes [default: us-vfr]
    #[arg(long, value_enum, value_name = "RULES")]
    pub rules: Option<RulesWord>,
    /// Least cruise altitude: one for all legs, or one for each with commas
    #[arg(
        long,
        value_name = "FT,...",
        value_delimiter = ',',
        allow_negative_numbers = true
    )]
    pub minimum_altitude: Vec<f64>,
    /// Every leg is mountainous: more clearance, and a better climb, are asked for
    #[arg(long)]
    pub mountainous: bool,
    /// Greatest altitude [default: 12500, with oxygen 17500]
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub max_altitude: Option<f64>,
    /// Pattern altitude of the destination [default: 1,000 ft above it]
    #[arg(long, value_name = "FT", allow_negative_numbers = true)]
    pub pattern_altitude: Option<f64>,
    /// At night
    #[arg(long)]
    pub night: bool,
    /// Oxygen is on board and will be used
    #[arg(long)]
    pub oxygen: bool,
    /// Reserve [default: 45, at night 60]
    #[arg(long, value_name = "MIN", allow_negative_numbers = true)]
    pub reserve: Option<f64>,
    /// Magnetic variation, east positive [default: that of the magnetic model]
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    pub variation: Option<f64>,
    /// In flight now, at --from: indicated altitude. Not to be typed while hand-flying
    #[arg(
        long,
        value_name = "FT",
        allow_negative_numbers = true,
        requires = "at_ias"
    )]
    pub at_altitude: Option<f64>,
    /// In flight now: indicated airspeed
    #[arg(
        long,
        value_name = "KT",
        allow_negative_numbers = true,
        requires = "at_altitude"
    )]
    pub at_ias: Option<f64>,
}

impl AskArgs {
    /// The files that are read: those `named`, and those of these options.
    pub fn inputs<'a>(&'a self, named: impl Iterator<Item = &'a PathBuf>) -> Vec<&'a Path> {
        let several = self.winds.iter().chain(&self.places).chain(&self.keep_out);
        let all = named.chain(several).chain(&self.gpx_route);
        all.map(PathBuf::as_path).collect()
    }

    /// The first of these options that was typed.
    fn first_typed(&self) -> Option<&'static str> {
        let given = [
            ("--from", self.from.is_some()),
            ("--to", self.to.is_some()),
            ("--via", !self.via.is_empty()),
            ("--alternate", self.alternate.is_some()),
            ("--gpx-route", self.gpx_route.is_some()),
            ("--places", !self.places.is_empty()),
            ("--from-elevation", self.from_elevation.is_some()),
            ("--to-elevation", self.to_elevation.is_some()),
            ("--winds", !self.winds.is_empty()),
            ("--fuel", self.fuel.is_some()),
            ("--depart", self.depart.is_some()),
            ("--people", self.people.is_some()),
            ("--baggage", self.baggage.is_some()),
            ("--altimeter", !self.altimeter.is_empty()),
            ("--metar", !self.metar.is_empty()),
            ("--terrain", self.terrain.is_some()),
            ("--corridor", self.corridor.is_some()),
            ("--keep-out", !self.keep_out.is_empty()),
            ("--hourly", self.hourly.is_some()),
            ("--basis", self.basis.is_some()),
            ("--fuel-price", self.fuel_price.is_some()),
            ("--rules", self.rules.is_some()),
            ("--minimum-altitude", !self.minimum_altitude.is_empty()),
            ("--mountainous", self.mountainous),
            ("--max-altitude", self.max_altitude.is_some()),
            ("--pattern-altitude", self.pattern_altitude.is_some()),
            ("--night", self.night),
            ("--oxygen", self.oxygen),
            ("--reserve", self.reserve.is_some()),
            ("--variation", self.variation.is_some()),
            ("--at-altitude", self.at_altitude.is_some()),
            ("--at-ias", self.at_ias.is_some()),
        ];
        given
            .iter()
            .find(|(_, typed)| *typed)
            .map(|(flag, _)| *flag)
    }

    /// Nothing of a trip without a file may be typed beside a trip file.
    ///
    /// # Errors
    /// The first option that was.
    pub(super) fn none_beside(&self, trip: &Path) -> Result<(), Failure> {
        match self.first_typed() {
            None => Ok(()),
            Some(flag) => Err(Failure::input(format!(
                "{flag} is of a trip without a file, but {} is given",
                trip.display()
            ))
            .hint(format!(
                "change the trip file, or begin one with fellrun new trip {flag} ..."
            ))),
        }
    }
}

/// The trip typed as options, read as if it stood in a file of the current folder.
///
/// # Errors
/// [`Failure`] that names the option.
pub(super) fn trip(
    args: &AskArgs,
    profile: Option<&Path>,
    least: Option<Least>,
) -> Result<TripFile, Failure> {
    if args.first_typed().is_none() {
        return Err(Failure::input("no trip is given").hint(
            "give a trip file, or --profile, --from, --to, --winds and --fuel; fellrun new trip writes a file to begin with",
        ));
    }
    let now = start_up(args.at_altitude.is_some());
    let as_typed = |p: &Path| p.display().to_string();
    let draft = draft(args, profile, least, now, None, &as_typed)?;
    let mut file = parse_trip(&draft.text(), Path::new(COMMAND_LINE), None)
        .map_err(|e| said_of_options(&e, &draft))?;
    file.notes.splice(0..0, granted(args, &draft));
    Ok(file)
}

/// The trip typed as options as the text of a commented trip file for this folder; examples stand where nothing was typed.
///
/// # Errors
/// [`Failure`] that names the option.
pub(super) fn template(
    args: &AskArgs,
    profile: Option<&Path>,
    least: Option<Least>,
    folder: Option<&Path>,
) -> Result<String, Failure> {
    // paths in a file start from its own folder
    let elsewhere = folder.is_some_and(|f| !f.as_os_str().is_empty());
    let from_there = |p: &Path| {
        if p.to_str()
            .is_some_and(|name| shipped::profile(name).is_some())
            && !p.exists()
        {
            return p.display().to_string();
        }
        let whole = std::path::absolute(p).ok().filter(|_| elsewhere);
        whole.unwrap_or_else(|| p.to_owned()).display().to_string()
    };
    let now = start_up(args.at_altitude.is_some());
    Ok(draft(args, profile, least, now, Some(&EXAMPLE), &from_there)?.text())
}
