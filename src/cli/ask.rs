//! A trip typed as options instead of a file: turned into the text of a trip file, which the one reader reads. What is wrong with it is
//! said of the options.

use super::plan::Least;
use super::{Failure, profile};
use crate::files::diagnostic::{FileError, FindingKind};
use crate::files::grib2::is_grib;
use crate::files::report::looks_like_report;
use crate::files::shipped;
use crate::files::trip::{TripFile, parse_trip};
use crate::files::trip_text::{
    Draft, DraftPlace, DraftPrices, MAX_ALTITUDE_FT, PERSON_LB, STANDARD_INHG, via_list,
};
use crate::solve::TripError;
use crate::trip::ProblemError;
use clap::{Args, ValueEnum};
use jiff::{Timestamp, ToSpan};
use std::path::{Path, PathBuf};

/// Start-up, when nobody says when, is the next multiple of this after now, min.
const START_UP_MIN: i64 = 5;
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

/// What stands in a draft for an option that was not typed.
struct Fallback {
    profile: &'static str,
    from: &'static str,
    to: &'static str,
    winds: &'static str,
    fuel_gal: f64,
}

/// In a file to be filled in.
const EXAMPLE: Fallback = Fallback {
    profile: "profile.toml",
    from: "KBNO",
    to: "KPIH",
    winds: "winds.txt",
    fuel_gal: 50.0,
};

/// The trip as typed, its paths put through `path`. Without `fallback` what cannot be guessed must have been typed.
fn draft(
    args: &AskArgs,
    profile: Option<&Path>,
    least: Option<Least>,
    now: Timestamp,
    fallback: Option<&Fallback>,
    path: &dyn Fn(&Path) -> String,
) -> Result<Draft, Failure> {
    let missing = |flag: &str, what: &str| {
        Failure::input(format!("{flag} is missing: {what}")).hint(
            "a trip without a file needs at least --profile, --from, --to, --winds and --fuel; or give a trip file",
        )
    };
    let profile = match (profile, fallback) {
        (Some(p), _) => path(p),
        (None, Some(f)) => f.profile.to_owned(),
        (None, None) => return Err(missing("--profile", "the aircraft")),
    };
    let place = |typed: &Option<String>, flag: &str, what: &str, other: Option<&str>| match (
        typed, other,
    ) {
        (Some(p), _) => Ok(p.trim().to_owned()),
        (None, Some(other)) => Ok(other.to_owned()),
        (None, None) => Err(missing(flag, what)),
    };
    let mut route = Vec::new();
    if args.gpx_route.is_none() {
        let from = place(
            &args.from,
            "--from",
            "the departure",
            fallback.map(|f| f.from),
        )?;
        let to = place(&args.to, "--to", "the destination", fallback.map(|f| f.to))?;
        let via = args.via.iter().flat_map(|v| via_list(v));
        let at = |ident: String, elevation_ft: Option<f64>| DraftPlace {
            ident,
            elevation_ft,
        };
        route.push(at(from, args.from_elevation));
        route.extend(via.map(|v| at(v, None)));
        route.push(at(to, args.to_elevation));
    }
    let (grib, bulletins): (Vec<&PathBuf>, Vec<&PathBuf>) =
        args.winds.iter().partition(|file| is_grib(file));
    if let (Some(one), Some(other)) = (grib.first(), bulletins.first()) {
        return Err(Failure::input(format!(
            "--winds: {} is GRIB2, but {} is not",
            one.display(),
            other.display()
        ))
        .hint("give one kind of winds aloft: bulletins or GRIB2"));
    }
    let paths = |files: Vec<&PathBuf>| files.into_iter().map(|f| path(f)).collect::<Vec<_>>();
    let (grib, mut winds) = (paths(grib), paths(bulletins));
    if args.winds.is_empty() {
        let example = fallback.ok_or_else(|| missing("--winds", "the winds aloft"))?;
        winds.push(example.winds.to_owned());
    }
    let metar = args.metar.iter().map(|typed| {
        if looks_like_report(typed) {
            typed.clone()
        } else {
            path(Path::new(typed))
        }
    });
    let fuel_gal = match (args.fuel.as_deref().map(str::trim), fallback) {
        (Some("least"), _) => None,
        (Some(typed), _) => Some(
            typed
                .parse::<f64>()
                .ok()
                .filter(|g| g.is_finite())
                .ok_or_else(|| {
                    Failure::input(format!(
                        "--fuel {typed}: not a number of US gallons, nor least"
                    ))
                    .hint("give what is on board at start-up as 50, or least for the least that leaves the reserve")
                })?,
        ),
        (None, Some(f)) => Some(f.fuel_gal),
        (None, None) => return Err(missing("--fuel", "what is on board")),
    };
    let depart = match &args.depart {
        Some(typed) => typed.trim().parse::<Timestamp>().map_err(|e| {
            Failure::input(format!("--depart {typed}: not a time: {e}"))
                .hint("give the date and time in UTC, as 2026-01-31T16:00Z")
        })?,
        None => now,
    };
    let prices = match (args.hourly, args.fuel_price) {
        (Some(hourly), Some(fuel_per_gal)) => Some(DraftPrices {
            hourly: profile::checked("--hourly", "price", hourly)?,
            basis: match args.basis {
                Some(BasisWord::Clock) => "clock",
                Some(BasisWord::Airborne) | None => "airborne",
            },
            fuel_per_gal: profile::checked("--fuel-price", "price", fuel_per_gal)?,
        }),
        (None, None) if args.basis.is_none() => None,
        (hourly, fuel) => {
            let lacks = if hourly.is_none() {
                "--hourly"
            } else {
                "--fuel-price"
            };
            let given = if hourly.is_some() {
                "--hourly"
            } else if fuel.is_some() {
                "--fuel-price"
            } else {
                "--basis"
            };
            return Err(Failure::input(format!("{given} is given without {lacks}"))
                .hint("give both prices; one that does not matter may be 0"));
        }
    };
    let objective = match (least, prices) {
        (Some(Least::Money), None) => {
            return Err(Failure::input("--objective money without prices")
                .hint("give --hourly and --fuel-price, or --objective time or fuel"));
        }
        (Some(Least::Time), _) | (None, None) => "time",
        (Some(Least::Fuel), _) => "fuel",
        (Some(Least::Money) | None, Some(_)) => "money",
    };
    let altimeter_inhg = match args.altimeter[..] {
        [] if args.metar.is_empty() => Some([STANDARD_INHG; 2]),
        [] => None,
        [one] => Some([one; 2]),
        [a, b] => Some([a, b]),
        _ => {
            return Err(Failure::input(format!(
                "--altimeter has {} settings",
                args.altimeter.len()
            ))
            .hint("give one, or those of departure and destination as 30.12,30.05"));
        }
    };
    let legs = route.len().saturating_sub(1);
    let minimum_ft = match args.minimum_altitude[..] {
        [] => Vec::new(),
        [_] | [_, ..] if args.gpx_route.is_some() => {
            return Err(Failure::input("--minimum-altitude with --gpx-route")
                .hint("write the trip with fellrun new trip --gpx-route and give each leg its own in the file"));
        }
        [one] => vec![one; legs],
        ref each if each.len() == legs => each.to_vec(),
        ref each => {
            return Err(Failure::input(format!(
                "--minimum-altitude has {} altitudes, but the route {legs} leg(s)",
                each.len()
            ))
            .hint("give one for all legs, or one for each"));
        }
    };
    if args.mountainous && args.gpx_route.is_some() {
        return Err(Failure::input("--mountainous with --gpx-route").hint(
            "write the trip with fellrun new trip --gpx-route and say it of each leg in the file",
        ));
    }
    Ok(Draft {
        profile,
        depart,
        night: args.night,
        variation_deg: args.variation,
        places: args.places.iter().map(|p| path(p)).collect(),
        route,
        gpx: args.gpx_route.as_deref().map(path),
        alternate: args.alternate.clone(),
        ends_ft: [args.from_elevation, args.to_elevation],
        minimum_ft,
        mountainous_legs: if args.mountainous { legs } else { 0 },
        start: args.at_altitude.zip(args.at_ias),
        people_lb: args.people.unwrap_or(PERSON_LB),
        baggage_lb: args.baggage.unwrap_or(0.0),
        fuel_gal,
        prices,
        winds,
        grib,
        metar: metar.collect(),
        altimeter_inhg,
        terrain: args.terrain.as_deref().map(path),
        corridor_nm: args.corridor,
        keep_outs: args.keep_out.iter().map(|f| path(f)).collect(),
        objective,
        rules: args.rules.unwrap_or(RulesWord::UsVfr).word(),
        max_altitude_ft: args.max_altitude.unwrap_or(if args.oxygen {
            MAX_ALTITUDE_FT.1
        } else {
            MAX_ALTITUDE_FT.0
        }),
        oxygen: args.oxygen,
        reserve_min: args.reserve,
        pattern_altitude_ft: args.pattern_altitude,
    })
}

/// Now, or the next multiple of five minutes after it.
fn start_up(under_way: bool) -> Timestamp {
    let now = Timestamp::now();
    let past = now.as_second().rem_euclid(60 * START_UP_MIN);
    let wait = if under_way || past == 0 {
        0
    } else {
        60 * START_UP_MIN - past
    };
    let whole = Timestamp::from_second(now.as_second()).unwrap_or(now);
    whole.checked_add(wait.seconds()).unwrap_or(now)
}

/// What was taken for granted.
fn granted(args: &AskArgs, draft: &Draft) -> Option<String> {
    let mut words = Vec::new();
    let mut say = |typed: bool, what: String| {
        if !typed {
            words.push(what);
        }
    };
    say(args.depart.is_some(), format!("start-up {}", draft.depart));
    say(
        args.people.is_some(),
        format!("one person of {PERSON_LB:.0} lb"),
    );
    say(args.baggage.is_some(), "no baggage".to_owned());
    say(
        draft.altimeter_inhg != Some([STANDARD_INHG; 2]) || !args.altimeter.is_empty(),
        format!("altimeter {STANDARD_INHG} inHg"),
    );
    say(args.rules.is_some(), format!("rules {}", draft.rules));
    say(
        args.max_altitude.is_some(),
        format!("at most {:.0} ft", draft.max_altitude_ft),
    );
    say(
        args.pattern_altitude.is_some(),
        "pattern 1,000 ft above the field".to_owned(),
    );
    say(
        draft.prices.is_some() || draft.objective != "time",
        "least time, since no prices".to_owned(),
    );
    (!words.is_empty())
        .then(|| format!("Taken for granted, since not typed: {}.", words.join(", ")))
}

/// The option that a key of the trip text comes from.
fn flag(key: &str, places: usize) -> Option<&'static str> {
    if let Some((index, rest)) = key.strip_prefix("place[").and_then(|k| k.split_once(']')) {
        let i: usize = index.parse().ok()?;
        let elevation = rest == ".elevation_ft";
        return Some(match (i, elevation) {
            (1, false) => "--from",
            (1, true) => "--from-elevation",
            (i, false) if i == places => "--to",
            (i, true) if i == places => "--to-elevation",
            _ => "--via",
        });
    }
    let head = key.split('[').next().unwrap_or(key);
    if head == "alternate" || head.starts_with("alternate.") {
        return Some("--alternate");
    }
    Some(match head {
        "profile" => "--profile",
        "departure_utc" => "--depart",
        "variation_deg" => "--variation",
        "places" => "--places",
        "route.gpx" => "--gpx-route",
        "route.departure_elevation_ft" => "--from-elevation",
        "route.destination_elevation_ft" => "--to-elevation",
        "start.altitude_ft" => "--at-altitude",
        "start.ias_kt" => "--at-ias",
        "leg" => "--minimum-altitude",
        "load.people_lb" => "--people",
        "load.baggage_lb" => "--baggage",
        "fuel.on_board_gal" => "--fuel",
        "prices.hourly" => "--hourly",
        "prices.fuel_per_gal" => "--fuel-price",
        "weather.bulletins" | "weather.grib" => "--winds",
        "weather.metar" => "--metar",
        "terrain.folder" => "--terrain",
        "terrain.corridor_nm" => "--corridor",
        "limits.keep_outs" => "--keep-out",
        "altimeter_inhg"
        | "weather.altimeter_inhg"
        | "weather.altimeter_inhg.departure"
        | "weather.altimeter_inhg.destination" => "--altimeter",
        "limits.max_altitude_ft" => "--max-altitude",
        "limits.reserve_min" => "--reserve",
        "arrival.pattern_altitude_ft" => "--pattern-altitude",
        _ => return None,
    })
}

/// A message of the reader with the options in the place of the keys.
fn in_options(message: &str, places: usize) -> String {
    let is_key = |c: char| c.is_ascii_alphanumeric() || "_.[]".contains(c);
    let mut out = String::new();
    let mut rest = message;
    while let Some(first) = rest.chars().next() {
        let end = rest.find(|c| !is_key(c)).unwrap_or(rest.len());
        if end == 0 {
            out.push(first);
            rest = &rest[first.len_utf8()..];
            continue;
        }
        let (word, after) = rest.split_at(end);
        // a key is a path of two parts at least, but for the few at the head of the file
        match flag(word, places).filter(|_| word.contains(['.', '[', '_'])) {
            Some(option) => {
                out.push_str(option);
                rest = after.strip_prefix(" =").unwrap_or(after);
            }
            None => {
                out.push_str(word);
                rest = after;
            }
        }
    }
    out
}

/// What is wrong with the options, or with a file they name.
fn said_of_options(error: &FileError, draft: &Draft) -> Failure {
    if error.path != Path::new(COMMAND_LINE) {
        return Failure::drawn(error.render_for_stderr());
    }
    let places = draft.route.len();
    let mut message = Vec::new();
    let mut hints: Vec<String> = Vec::new();
    for finding in &error.findings {
        let option = flag(&finding.key, places);
        let unknown_elevation = finding.kind == FindingKind::Missing
            && matches!(option, Some("--from-elevation" | "--to-elevation"));
        let (text, hint) = if unknown_elevation {
            let from = option == Some("--from-elevation");
            let (which, what) = if from {
                ("--from", "departure")
            } else {
                ("--to", "destination")
            };
            let ident = match (&draft.gpx, from) {
                (Some(gpx), _) => format!("--gpx-route {gpx}"),
                (None, true) => format!("{which} {}", draft.route.first().map_or("", |p| &p.ident)),
                (None, false) => format!("{which} {}", draft.route.last().map_or("", |p| &p.ident)),
            };
            (
                format!("{ident}: the elevation of the {what} is not known"),
                Some(format!(
                    "give {which}-elevation in feet, or the place with its elevation in a file (--places)"
                )),
            )
        } else {
            let text = in_options(&finding.message, places);
            let text = match option {
                Some(option) if !text.contains(option) => format!("{option}: {text}"),
                _ => text,
            };
            (text, finding.hint.as_ref().map(|h| in_options(h, places)))
        };
        message.push(text);
        hints.extend(hint.filter(|h| !hints.contains(h)));
    }
    let failure = Failure::input(message.join("\nerror: "));
    if hints.is_empty() {
        failure
    } else {
        failure.hint(hints.join("\nhint: "))
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

/// Why a trip typed as options cannot be flown, with the option where one is to blame.
pub(super) fn not_flown(error: &TripError) -> Failure {
    let option = match error {
        TripError::Problem(ProblemError::Tanks { .. } | ProblemError::LeastInFlight) => "--fuel: ",
        TripError::Problem(ProblemError::TooHeavy { .. }) => "--fuel, --people, --baggage: ",
        TripError::Problem(ProblemError::NoFuel { .. }) => "--fuel: ",
        TripError::Problem(ProblemError::StartInGround { .. }) => "--at-altitude: ",
        TripError::Problem(ProblemError::StartSpeed { .. }) => "--at-ias: ",
        _ => "",
    };
    Failure::input(format!("{option}{error}"))
}
