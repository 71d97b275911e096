//! Trips: TOML, with the aircraft profile and the weather it names, to [`Trip`].
//!
//! Paths in a trip start from the folder of the trip file. The unit of a number is the ending of its key. Unknown keys are
//! errors. A bulletin's text has neither month nor year: it is placed in the month that brings it nearest to the departure.
//!
//! # Keys
//! | section | keys (with default) |
//! | --- | --- |
//! | top of the file | `title`, `profile`, `departure_utc`, `night` (false), `variation_deg` (magnetic model), east positive |
//! | `[start]`, in flight only | `altitude_ft` (indicated), `ias_kt`: the first place is where the aircraft is now, `departure_utc` is now, `on_board_gal` is what is left, and no taxi or take-off is flown |
//! | | `places` (none): a list of files of places of one's own ([`super::places`]), stations of bulletins among them |
//! | `[[place]]`, in order | `ident`, `lat`, `lon` (those of the ident: [`super::places::Gazetteer`]), `elevation_ft` (the same; needed at both ends, but not where the flight begins in the air, and for an observation) |
//! | `[route]`, instead of `[[place]]` | `gpx`: a path, `name` (of the only route, else of the only track), `tolerance_nm` (1: how far a track may lie off its legs), `departure_elevation_ft`, `destination_elevation_ft` (that of the field within a mile) |
//! | `[[leg]]`, in order, all or none | `minimum_altitude_ft` (highest ground, else highest field of the trip, and the clearance, up to 100 ft), `maximum_altitude_ft` (that of `[limits]`; kept in climb and descent too), `mountainous`, `source`, `ground` = rows of `to_nm`, `ground_ft` (that of `[terrain]`, else unknown; with both the higher counts) |
//! | `[alternate]` (none) | `ident`, `lat`, `lon`, `elevation_ft` as for a place; `minimum_altitude_ft` (highest ground of `[terrain]`, else the higher of the two fields, and the clearance, up to 100 ft), `mountainous` (false), `pattern_altitude_ft` (as for the destination) |
//! | `[load]` | `people_lb`, `baggage_lb` (0) |
//! | `[fuel]` | `on_board_gal`: a number or `"least"` |
//! | `[prices]` (none, unless the objective is money) | `hourly`, `basis` (clock, airborne, tachometer), `tach_reference_rpm` (tachometer only), `fuel_per_gal` |
//! | `[weather]` | winds aloft, one of: `bulletins` or `grib`, a list of paths, or the rows below; `metar`: a list of paths or reports; `altimeter_inhg` (the reports'): a number or `{ departure, destination }` |
//! | `[[weather.aloft]]` | `place`, or `lat` and `lon`; `valid_utc` (throughout); `levels` = rows of `altitude_ft` (true; from 18,000 ft pressure altitude), `wind_from_deg` (true), `wind_kt`, `temperature_c` (unknown) |
//! | `[[weather.surface]]` | `place`, `wind_from_deg` (true), `wind_kt`, `temperature_c` (unknown) |
//! | `[[weather.cloud]]` | `base_ft`, `top_ft`, `from_nm`, `to_nm` (the whole route); indicated |
//! | `[terrain]` | `folder`, `corridor_nm` (4): see [`super::hgt`] |
//! | `[objective]` | `kind` (money, time, fuel) |
//! | `[limits]` | `rules` (us-vfr, us-ifr, icao-vfr, icao-ifr, none), `max_altitude_ft`, `clearance_ft` (1,000), `mountain_clearance_ft` (2,000), `max_descent_fpm` (500), `least_map_inhg` and `map_reduction_inhg_per_min` (the profile's), `smooth_near_ground` (false), `oxygen` (false), `oxygen_above_ft` (pressure altitude above which no level is planned without it: us and none 12,500, icao 10,000), `reserve_min` (45, at night 60; 0 with `reserve_gal`), `reserve_gal` (0, besides the minutes), `sector_from_deg` (0; icao only: where the half of the compass with odd thousands begins), `keep_outs` (a list of GeoJSON files, see [`super::keep_out`]), `keep_out_margin_nm` (0) |
//! | `[[limits.air]]`, lowest first | `up_to_ft`, `air` (smooth, light, rough); light above the last |
//! | `[arrival]` | `pattern_altitude_ft` (1,000 ft above the field, rounded up to 100 ft), `before_nm` (5), `circuit_min` (3) |

mod keep_outs;
mod legs;
mod limits;
mod prices;

use std::ops::Range as Span;
use std::path::Path;

use jiff::Timestamp;

use keep_outs::keep_outs;
use legs::{least_cruise_m, legs, unknown_leg};
use limits::limits;
use prices::{ReadPrices, objective, prices};

use toml::de::DeValue;

use super::diagnostic::{FileError, Finding, FindingKind, quoted, read_text};
use super::places::Gazetteer;
use super::profile::load_named;
use super::sheet::{Num, Section, Sheet};
use super::trip_places::{
    ReadPlace, alternate, own_places, places, route_places, table_note, typed_note,
};
use super::weather::{self, Route, WindsOnHand, weather};
use super::{check, hgt};
use crate::aircraft::Aircraft;
use crate::quantity::{Distance, Duration, Ias, M_PER_FT, M3_PER_GAL, Mass, range};
use crate::trip::{
    Airspace, Alternate, Arrival, FuelLoad, Objective, Place, Prices, Rules, Start, Trip,
};

/// Where pattern altitude and speed are reached when the trip does not say, nm before the field.
const BEFORE_NM: f64 = 5.0;
/// Time in the circuit when the trip does not say, min.
const CIRCUIT_MIN: f64 = 3.0;

/// A trip with all that its file names.
#[derive(Debug, Clone)]
pub struct TripFile {
    /// The trip.
    pub trip: Trip,
    /// The aircraft.
    pub aircraft: Aircraft,
    /// The winds aloft, for other times of departure as well.
    pub winds: WindsOnHand,
    /// What was taken from elsewhere than the trip, and must be said with the plan.
    pub notes: Vec<String>,
}

/// Reads a trip, the profile and the weather it names. `profile` replaces the profile of the trip; it is a path as
/// typed, not relative to the trip.
///
/// # Errors
/// [`FileError`] with everything that is wrong with the first of these files that is wrong.
pub fn load_trip(path: &Path, profile: Option<&Path>) -> Result<TripFile, FileError> {
    let text = read_text(path)?;
    parse_trip(&text, path, profile).map_err(|e| check::meant("a trip", path, &text, e))
}

/// The same from the text of the trip; `path` says where the paths in it start from.
///
/// # Errors
/// As [`load_trip`].
pub fn parse_trip(text: &str, path: &Path, profile: Option<&Path>) -> Result<TripFile, FileError> {
    parse(text, path, profile, true)
}

/// [`parse_trip`] with what it says of the weather put aside, files and cloud included: the trip has no forecast, and is flown in air that is
/// given to it.
///
/// # Errors
/// As [`load_trip`].
pub fn parse_trip_without_weather(
    text: &str,
    path: &Path,
    profile: Option<&Path>,
) -> Result<TripFile, FileError> {
    parse(text, path, profile, false)
}

fn parse(
    text: &str,
    path: &Path,
    profile: Option<&Path>,
    with_weather: bool,
) -> Result<TripFile, FileError> {
    let text = super::diagnostic::without_mark(text);
    let sheet = Sheet::new(path, text);
    let table = sheet.parse()?;
    let root = sheet.root(&table);
    let folder = path.parent().unwrap_or(Path::new(""));

    let title = root.text("title", "the title of the trip");
    let named_profile = root.text("profile", "the path of an aircraft profile");
    let profile_span = root.span_of("profile");
    let departure = moment(&sheet, &root, "departure_utc");
    let night = root.flag("night");
    let variation = root.optional("variation_deg", "variation");
    let start = start(&root);
    let gazetteer = Gazetteer::new(own_places(&sheet, &root, folder)?);
    let (places, notes) = if root.has("route") {
        route_places(&sheet, &root, folder, start, &gazetteer)?
    } else {
        (places(&sheet, &root, start, &gazetteer), Vec::new())
    };
    let limits_section = root.section("limits");
    let keep_outs = keep_outs(&limits_section);
    let (limits, rules) = limits(&sheet, limits_section, night);
    let mut legs = legs(&sheet, &root, &places);
    let load = load(root.section("load"));
    let on_board = on_board(root.section("fuel"));
    let objective = objective(root.section("objective"));
    if objective == Some(Objective::Money) && !root.has("prices") {
        root.lacks(
            "prices",
            "least money is asked for, but the section [prices] is missing",
            "add [prices] with hourly, basis and fuel_per_gal, or ask for time or fuel (objective.kind)",
        );
    }
    let prices = if root.has("prices") {
        prices(&sheet, root.section("prices"), objective)
    } else {
        ReadPrices::NONE
    };
    let arrival = arrival(&sheet, root.optional_section("arrival"), &places);
    let alternate = alternate(&sheet, &root, places.last(), &gazetteer);
    let terrain = hgt::section(&root);
    let named: Vec<&Place> = places.iter().map(|p| &p.place).collect();
    let weather = if with_weather {
        Some(weather(&sheet, root.section("weather"), &named))
    } else {
        // Known, and not looked into.
        root.has("weather");
        None
    };
    root.finish();
    sheet.verdict()?;
    let mut onward = alternate.as_ref().zip(places.last()).map(|(to, from)| {
        let mut leg = unknown_leg(from, &to.place);
        leg.ground.mountainous = to.mountainous;
        leg
    });
    let ground_notes = match &terrain {
        Some(terrain) => {
            let legs = legs.iter_mut().chain(&mut onward);
            let each = legs.map(|l| (&mut l.ground, l.line, l.name.as_str()));
            hgt::raise(&sheet, folder, terrain, each)?
        }
        None => vec![],
    };
    for leg in legs.iter_mut().filter(|l| !l.minimum_given) {
        leg.ground.minimum_m = least_cruise_m(&leg.ground, places.iter(), &limits.limits);
    }
    let airspace = Airspace {
        keep_outs: keep_outs.load(&sheet, folder)?,
        margin_m: keep_outs.margin_m,
        clouds: weather.as_ref().map_or(vec![], |w| w.clouds.clone()),
    };

    // No finding, so every choice was read; the fall-backs below are never seen.
    let departure_time = departure.unwrap_or(Timestamp::UNIX_EPOCH);
    let loaded = match profile {
        Some(typed) => load_named(Path::new(""), typed),
        None => load_named(folder, Path::new(&named_profile)),
    };
    let aircraft = match loaded {
        Err(error) if profile.is_none() && error.is_unreadable() => {
            return Err(not_found(&sheet, "profile", profile_span, &error));
        }
        other => other?,
    };
    let lines = legs
        .iter()
        .filter_map(|l| Some((l.name.as_str(), l.line.as_ref()?)));
    let route = Route {
        places: places.iter().map(|p| &p.place).collect(),
        lines: lines.collect(),
        stations: gazetteer.stations(),
    };
    let top_m = limits.max_altitude.value * M_PER_FT;
    let loaded = match weather {
        Some(weather) => weather::load(&sheet, folder, weather, departure_time, &route, top_m)?,
        None => weather::none(&route),
    };

    let kg_per_gal = aircraft.fuel.density_kg_m3 * M3_PER_GAL;
    let limits = limits.with(&sheet, &aircraft, kg_per_gal)?;
    let tabled = places
        .iter()
        .chain(alternate.as_ref().map(|read| &read.place));
    let notes = notes
        .into_iter()
        .chain(table_note(tabled.clone()))
        .chain(typed_note(tabled))
        .collect();
    let alternate = alternate.zip(onward).map(|(read, leg)| {
        let ends = [places.last(), Some(&read.place)];
        let least_m = least_cruise_m(&leg.ground, ends.into_iter().flatten(), &limits);
        Alternate {
            place: read.place.place,
            ground: leg.ground.ground,
            under_track: leg.ground.under_track,
            minimum_m: read.minimum_m.unwrap_or(least_m),
            mountainous: read.mountainous,
            source: leg.ground.source,
            pattern_altitude_m: read.pattern_m,
        }
    });
    let trip = Trip {
        title,
        departure_time,
        start,
        places: places.into_iter().map(|p| p.place).collect(),
        ground: legs.into_iter().map(|l| l.ground).collect(),
        load_kg: load,
        fuel: on_board.map_or(FuelLoad::Least, |gal| FuelLoad::Kg(gal * kg_per_gal)),
        prices: Prices {
            fuel_per_kg: prices.fuel_per_gal / kg_per_gal,
            per_s: prices.per_s,
            basis: prices.basis,
        },
        weather: loaded.weather,
        objective: objective.unwrap_or(Objective::Money),
        limits,
        rules: rules.unwrap_or(Rules::None),
        night,
        variation_rad: variation.map(|v| v.value.to_radians()),
        arrival,
        alternate,
        bounds: crate::trip::Bounds::default(),
        airspace,
        notes: ground_notes,
    };
    Ok(TripFile {
        trip,
        aircraft,
        winds: loaded.on_hand,
        notes,
    })
}

/// The error of a file that is named in the trip and cannot be read.
pub(super) fn not_found(
    sheet: &Sheet<'_>,
    key: &str,
    span: Span<usize>,
    error: &FileError,
) -> FileError {
    let why = error.findings.first();
    let message = why.map_or(String::new(), |f| f.message.clone());
    let mut finding =
        Finding::new(FindingKind::Unreadable, key, Some(span), message).label("named here");
    finding.hint = why.and_then(|f| f.hint.clone());
    sheet.fail(finding)
}

/// A moment, such as start-up.
pub(super) fn moment(
    sheet: &Sheet<'_>,
    root: &Section<'_>,
    key: &'static str,
) -> Option<Timestamp> {
    const FORM: &str = "a date and time like 2026-01-31T16:00:00Z";
    let (value, span) = root.any(key, FORM)?;
    let text = match value {
        DeValue::Datetime(time) => time.to_string(),
        DeValue::String(text) => text.trim().to_owned(),
        _ => {
            root.wrong_form(key, FORM);
            return None;
        }
    };
    let at = Num {
        value: f64::NAN,
        span,
        key: root.path(key),
    };
    let Ok(time) = text.parse::<Timestamp>() else {
        let message = format!("{} = {} is not a moment in time", at.key, quoted(&text));
        sheet.contradiction(
            &at,
            message,
            &[],
            &format!("write {FORM}; Z says that it is UTC"),
        );
        return None;
    };
    let year = f64::from(jiff::tz::TimeZone::UTC.to_datetime(time).year());
    if let Err(wrong) = range("year").check(year) {
        sheet.contradiction(
            &at,
            format!("{}: the year {}", at.key, wrong.to_string().trim_end()),
            &[],
            "correct the year",
        );
        return None;
    }
    Some(time)
}

/// How the flight begins.
fn start(root: &Section<'_>) -> Start {
    if !root.has("start") {
        return Start::Ground;
    }
    let section = root.section("start");
    let altitude = section.number("altitude_ft", "altitude");
    let ias = section.number("ias_kt", "speed");
    section.finish();
    Start::InFlight {
        indicated_m: altitude.value * M_PER_FT,
        ias_m_s: Ias::kt(ias.value).to_m_s(),
    }
}

/// What is carried besides fuel (kg).
fn load(section: Section<'_>) -> f64 {
    let people = section.number("people_lb", "mass");
    let baggage = section.number_or("baggage_lb", "mass", 0.0);
    section.finish();
    Mass::lb(people.value + baggage.value).to_kg()
}

/// Fuel at start-up (gal); `None` for the least.
fn on_board(section: Section<'_>) -> Option<f64> {
    const KEY: &str = "on_board_gal";
    let fuel = match section.any(KEY, "a number of gallons, or \"least\"") {
        Some((DeValue::String(text), _)) if text == "least" => None,
        Some((DeValue::Integer(_) | DeValue::Float(_), _)) => {
            Some(section.number(KEY, "fuel").value)
        }
        Some(_) => {
            section.wrong_form(KEY, "a number of gallons, or \"least\",");
            None
        }
        None => None,
    };
    section.finish();
    fuel
}

fn arrival(sheet: &Sheet<'_>, section: Section<'_>, places: &[ReadPlace]) -> Arrival {
    let pattern = section.optional("pattern_altitude_ft", "altitude");
    let before = section.number_or("before_nm", "pattern distance", BEFORE_NM);
    let circuit = section.number_or("circuit_min", "circuit time", CIRCUIT_MIN);
    section.finish();
    let elevation = places.last().and_then(|p| p.elevation.as_ref());
    if let (Some(elevation), Some(pattern)) = (elevation, &pattern) {
        sheet.rising(&[elevation, pattern]);
    }
    let usual_ft = elevation.map_or(f64::NAN, |e| usual_pattern_ft(e.value));
    Arrival {
        pattern_altitude_m: pattern.map_or(usual_ft, |p| p.value) * M_PER_FT,
        before_m: Distance::nm(before.value).to_m(),
        circuit_s: Duration::min(circuit.value).to_s(),
    }
}

/// Pattern altitude of a field when nobody gives it, ft: 1,000 ft above it (FAA AIM 4-3-3), rounded up to whole hundreds.
pub(super) fn usual_pattern_ft(elevation_ft: f64) -> f64 {
    ((elevation_ft + 1_000.0) / 100.0).ceil() * 100.0
}
