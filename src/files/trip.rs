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

use std::ops::Range as Span;
use std::path::Path;

use jiff::Timestamp;
use toml::de::DeValue;

use super::check;
use super::diagnostic::{FileError, Finding, FindingKind, quoted, read_text};
use super::hgt;
use super::keep_out::load_keep_outs;
use super::places::Gazetteer;
use super::profile::load_named;
use super::sheet::{Num, Section, Sheet};
use super::trip_places::{
    ReadPlace, alternate, own_places, places, route_places, table_note, typed_note,
};
use super::weather::{self, Route, WindsOnHand, weather};
use crate::aircraft::Aircraft;
use crate::earth::geodesic::Leg;
use crate::earth::keep_out::Volume;
use crate::quantity::{
    Distance, Duration, Ias, M_PER_FT, M_PER_NM, M_S_PER_FPM, M3_PER_GAL, ManifoldPressure, Mass,
    Rpm, range,
};
use crate::trip::{
    Airspace, Alternate, Arrival, FuelLoad, HourBasis, LegGround, Limits, Objective, Place, Prices,
    Roughness, Rules, Start, Trip,
};

/// Clearance over ground when the trip gives none, ft: 14 CFR 91.177(a)(2), plain and mountainous.
const CLEARANCE_FT: f64 = 1_000.0;
/// The same in mountains.
const MOUNTAIN_CLEARANCE_FT: f64 = 2_000.0;
/// Greatest rate of descent when the trip gives none, fpm (DESIGN section 5: for ears).
const MAX_DESCENT_FPM: f64 = 500.0;
/// Planned reserve when the trip gives none, min: by day and by night.
const RESERVE_MIN: (f64, f64) = (45.0, 60.0);
/// Where pattern altitude and speed are reached when the trip does not say, nm before the field.
const BEFORE_NM: f64 = 5.0;
/// Time in the circuit when the trip does not say, min.
const CIRCUIT_MIN: f64 = 3.0;
/// By this much the last row of ground may miss the end of its leg, nm: rounding, not another leg's rows.
const GROUND_END_NM: f64 = 2.0;

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

/// A leg with where it runs; no line if its ends are one place or not known.
struct ReadLeg {
    ground: LegGround,
    line: Option<Leg>,
    name: String,
    /// Whether the trip gives its least cruise altitude; else that follows from the ground.
    minimum_given: bool,
}

/// A step of altitudes.
const HUNDRED_FT_M: f64 = 100.0 * M_PER_FT;
/// What is said of a leg whose ground nobody gave.
const NO_TERRAIN: &str = "no terrain data";

/// Least cruise altitude of a leg whose trip gives none, m: the clearance over its highest ground, or where that is not known
/// over the highest of some fields; rounded up to whole hundreds of feet.
fn least_cruise_m<'a>(
    leg: &LegGround,
    fields: impl Iterator<Item = &'a ReadPlace>,
    limits: &Limits,
) -> f64 {
    let highest = |heights: &mut dyn Iterator<Item = f64>| heights.reduce(f64::max);
    let ground_m = highest(&mut leg.ground.iter().map(|g| g.1));
    let field_m = highest(&mut fields.filter_map(|p| p.place.elevation_m));
    let clearance_m = limits_clearance_m(limits, leg.mountainous);
    up_to_hundred_ft(ground_m.or(field_m).unwrap_or(0.0) + clearance_m)
}

/// The next whole hundred of feet, m; one that is whole stays what it is, for all its rounding in metres.
fn up_to_hundred_ft(altitude_m: f64) -> f64 {
    (altitude_m / HUNDRED_FT_M - 1e-6).ceil() * HUNDRED_FT_M
}

fn limits_clearance_m(limits: &Limits, mountainous: bool) -> f64 {
    if mountainous {
        limits.mountain_clearance_m
    } else {
        limits.clearance_m
    }
}

/// A leg of which the trip says nothing.
fn unknown_leg(from: &ReadPlace, to: &ReadPlace) -> ReadLeg {
    ReadLeg {
        ground: LegGround {
            ground: Vec::new(),
            under_track: Vec::new(),
            minimum_m: f64::NAN,
            maximum_m: None,
            mountainous: false,
            source: NO_TERRAIN.to_owned(),
        },
        line: from.line_to(to),
        name: format!("{} to {}", from.place.ident, to.place.ident),
        minimum_given: false,
    }
}

fn legs(sheet: &Sheet<'_>, root: &Section<'_>, places: &[ReadPlace]) -> Vec<ReadLeg> {
    let rows = root.rows("leg");
    if rows.is_empty() {
        let each = places.windows(2);
        return each.map(|pair| unknown_leg(&pair[0], &pair[1])).collect();
    }
    let expected = places.len().saturating_sub(1);
    if rows.len() != expected && places.len() > 1 {
        let message = format!(
            "{} places make {expected} leg(s), but {} [[leg]] is given",
            places.len(),
            rows.len()
        );
        let span = rows.last().map_or(root.span(), Section::span);
        sheet.note(
            Finding::new(FindingKind::Missing, "leg", Some(span), message)
                .label("the last leg given")
                .hint("give one [[leg]] for each two places that follow each other, in order, or none at all"),
        );
    }
    let mut legs = Vec::new();
    for (i, row) in rows.into_iter().enumerate() {
        let minimum = row.optional("minimum_altitude_ft", "altitude");
        let maximum = row.optional("maximum_altitude_ft", "altitude");
        let mountainous = row.answer("mountainous");
        let source = if minimum.is_some() || row.has("ground") || row.has("source") {
            row.text("source", "where ground and minimum altitude come from")
        } else {
            NO_TERRAIN.to_owned()
        };
        let (mut ends, mut heights) = (Vec::new(), Vec::new());
        for stretch in row.rows("ground") {
            ends.push(stretch.number("to_nm", "distance"));
            heights.push(stretch.number("ground_ft", "elevation"));
            stretch.finish();
        }
        row.finish();
        sheet.rising(&ends.iter().collect::<Vec<_>>());
        if let Some(minimum) = &minimum {
            for height in &heights {
                sheet.rising(&[height, minimum]);
            }
            if let Some(maximum) = &maximum {
                sheet.at_least(maximum, minimum);
            }
        }
        let (mut line, mut name) = (None, format!("leg {}", i + 1));
        if let (Some(from), Some(to)) = (places.get(i), places.get(i + 1)) {
            name = format!("{} to {}", from.place.ident, to.place.ident);
            for (place, height) in [(from, heights.first()), (to, heights.last())] {
                if let (Some(elevation), Some(height)) = (&place.elevation, height) {
                    sheet.at_least(height, elevation);
                }
            }
            line = from.line_to(to);
            if let (Some(line), Some(end)) = (&line, ends.last()) {
                ground_reaches(sheet, &name, line, end);
            }
        }
        let ground: Vec<(f64, f64)> = ends
            .iter()
            .zip(&heights)
            .map(|(to, h)| (to.value * M_PER_NM, h.value * M_PER_FT))
            .collect();
        let minimum_given = minimum.is_some();
        let minimum_m = minimum.map_or(f64::NAN, |m| m.value * M_PER_FT);
        let ground = LegGround {
            ground,
            under_track: Vec::new(),
            minimum_m,
            maximum_m: maximum.map(|m| m.value * M_PER_FT),
            mountainous,
            source,
        };
        legs.push(ReadLeg {
            ground,
            line,
            name,
            minimum_given,
        });
    }
    legs
}

/// Notes ground rows that end elsewhere than their leg: they are those of another leg, or the route has changed.
fn ground_reaches(sheet: &Sheet<'_>, name: &str, line: &Leg, end: &Num) {
    let length_nm = Distance::m(line.distance_m()).to_nm();
    if (end.value - length_nm).abs() > GROUND_END_NM {
        let message = format!(
            "{} = {}, but the leg {name} is {length_nm:.1} nm long",
            end.key, end.value
        );
        sheet.contradiction(
            end,
            message,
            &[],
            "the ground of a leg ends where the leg ends; check the places and the rows",
        );
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

/// Prices as far as they do not hang on the aircraft's fuel.
struct ReadPrices {
    per_s: f64,
    basis: HourBasis,
    fuel_per_gal: f64,
}

impl ReadPrices {
    /// Of a trip that names none.
    const NONE: Self = Self {
        per_s: 0.0,
        basis: HourBasis::Airborne,
        fuel_per_gal: 0.0,
    };
}

fn prices(sheet: &Sheet<'_>, section: Section<'_>, objective: Option<Objective>) -> ReadPrices {
    #[derive(Clone, Copy, PartialEq)]
    enum Basis {
        Clock,
        Airborne,
        Tachometer,
    }
    let hourly = section.number("hourly", "price");
    let basis = section.choice(
        "basis",
        &[
            ("clock", Basis::Clock),
            ("airborne", Basis::Airborne),
            ("tachometer", Basis::Tachometer),
        ],
    );
    // without a reading by tachometer the key has no meaning, and is refused as unknown
    let basis = match basis {
        Some(Basis::Tachometer) => HourBasis::Tachometer(
            Rpm::per_min(section.number("tach_reference_rpm", "rpm").value).to_rev_s(),
        ),
        Some(Basis::Airborne) => HourBasis::Airborne,
        Some(Basis::Clock) | None => HourBasis::Clock,
    };
    let fuel_per_gal = section.number("fuel_per_gal", "price");
    section.finish();
    if objective == Some(Objective::Money) && hourly.value + fuel_per_gal.value == 0.0 {
        let message = "the objective is money, but every price is 0".to_owned();
        let hint = "give a price, or choose time or fuel as the objective";
        sheet.contradiction(&hourly, message, &[&fuel_per_gal], hint);
    }
    ReadPrices {
        per_s: hourly.value / Duration::h(1.0).to_s(),
        basis,
        fuel_per_gal: fuel_per_gal.value,
    }
}

fn objective(section: Section<'_>) -> Option<Objective> {
    let kind = section.choice(
        "kind",
        &[
            ("money", Objective::Money),
            ("time", Objective::Time),
            ("fuel", Objective::Fuel),
        ],
    );
    section.finish();
    kind
}

/// The limits as far as they do not hang on the aircraft.
struct ReadLimits {
    max_altitude: Num,
    limits: Limits,
    least_map: Option<Num>,
    reduction: Option<Num>,
    reserve_gal: f64,
}

impl ReadLimits {
    /// With what the trip leaves to the profile; the trip may be stricter than the profile, never looser.
    fn with(
        self,
        sheet: &Sheet<'_>,
        aircraft: &Aircraft,
        kg_per_gal: f64,
    ) -> Result<Limits, FileError> {
        let mut limits = self.limits;
        limits.reserve_kg = self.reserve_gal * kg_per_gal;
        limits.least_map_pa = aircraft.procedures.least_descent_map_pa;
        limits.map_reduction_pa_s = aircraft.procedures.map_reduction_pa_s;
        let hint = "the profile's own limit stands; change it there, or leave the key out";
        if let Some(map) = self.least_map {
            let asked_pa = ManifoldPressure::inhg(map.value).to_pa();
            // the same number typed in both files is converted the same way, so they compare equal
            if asked_pa < limits.least_map_pa {
                let own = ManifoldPressure::pa(limits.least_map_pa).to_inhg();
                let message = format!(
                    "{} = {} is below the profile's least of {own:.1} inHg",
                    map.key, map.value
                );
                sheet.contradiction(&map, message, &[], hint);
            }
            limits.least_map_pa = asked_pa;
        }
        if let Some(rate) = self.reduction {
            let asked_pa_s = ManifoldPressure::inhg(rate.value).to_pa() / Duration::min(1.0).to_s();
            if asked_pa_s > limits.map_reduction_pa_s {
                let own = ManifoldPressure::pa(limits.map_reduction_pa_s).to_inhg()
                    * Duration::min(1.0).to_s();
                let message = format!(
                    "{} = {} is above the profile's greatest of {own:.1} inHg/min",
                    rate.key, rate.value
                );
                sheet.contradiction(&rate, message, &[], hint);
            }
            limits.map_reduction_pa_s = asked_pa_s;
        }
        sheet.verdict()?;
        Ok(limits)
    }
}

fn limits(sheet: &Sheet<'_>, section: Section<'_>, night: bool) -> (ReadLimits, Option<Rules>) {
    let max_altitude = section.number("max_altitude_ft", "altitude");
    let clearance = section.number_or("clearance_ft", "clearance", CLEARANCE_FT);
    let mountains = section.number_or("mountain_clearance_ft", "clearance", MOUNTAIN_CLEARANCE_FT);
    let smooth_near_ground = section.flag("smooth_near_ground");
    let descent = section.number_or("max_descent_fpm", "rate of descent", MAX_DESCENT_FPM);
    let least_map = section.optional("least_map_inhg", "manifold pressure");
    let reduction = section.optional("map_reduction_inhg_per_min", "pressure rate");
    let oxygen = section.flag("oxygen");
    let oxygen_above = section.optional("oxygen_above_ft", "altitude");
    let reserve_gal = section.optional("reserve_gal", "fuel");
    // A reserve in gallons stands for itself.
    let reserve_min = match (&reserve_gal, night) {
        (Some(_), _) => 0.0,
        (None, true) => RESERVE_MIN.1,
        (None, false) => RESERVE_MIN.0,
    };
    let reserve = section.number_or("reserve_min", "reserve", reserve_min);
    let rules = section.choice(
        "rules",
        &[
            ("us-vfr", Rules::UsVfr),
            ("us-ifr", Rules::UsIfr),
            ("icao-vfr", Rules::IcaoVfr),
            ("icao-ifr", Rules::IcaoIfr),
            ("none", Rules::None),
        ],
    );
    // Only where a country may have turned the sectors has the key a meaning; elsewhere it is refused as unknown.
    let sector = match rules {
        Some(Rules::IcaoVfr | Rules::IcaoIfr) => {
            section.number_or("sector_from_deg", "direction", 0.0).value
        }
        _ => 0.0,
    };
    let (mut tops, mut air) = (Vec::new(), Vec::new());
    for row in section.rows("air") {
        let top = row.number("up_to_ft", "altitude");
        let kind = row.choice(
            "air",
            &[
                ("smooth", Roughness::Smooth),
                ("light", Roughness::Light),
                ("rough", Roughness::Rough),
            ],
        );
        row.finish();
        air.push((top.value * M_PER_FT, kind.unwrap_or(Roughness::Light)));
        tops.push(top);
    }
    section.finish();
    sheet.rising(&tops.iter().collect::<Vec<_>>());
    sheet.at_least(&mountains, &clearance);
    let limits = Limits {
        max_altitude_m: max_altitude.value * M_PER_FT,
        clearance_m: clearance.value * M_PER_FT,
        mountain_clearance_m: mountains.value * M_PER_FT,
        air,
        smooth_near_ground,
        max_descent_m_s: descent.value * M_S_PER_FPM,
        least_map_pa: f64::NAN,
        map_reduction_pa_s: f64::NAN,
        oxygen,
        no_oxygen_m: oxygen_above.map_or(rules.unwrap_or(Rules::None).no_oxygen_m(), |n| {
            n.value * M_PER_FT
        }),
        reserve_s: Duration::min(reserve.value).to_s(),
        reserve_kg: f64::NAN,
        sector_from_rad: sector.to_radians(),
    };
    (
        ReadLimits {
            max_altitude,
            limits,
            least_map,
            reduction,
            reserve_gal: reserve_gal.map_or(0.0, |n| n.value),
        },
        rules,
    )
}

/// The files of keep-out volumes that a trip names.
struct ReadKeepOuts {
    files: Vec<(String, Span<usize>)>,
    margin_m: f64,
}

fn keep_outs(section: &Section<'_>) -> ReadKeepOuts {
    let files = if section.has("keep_outs") {
        section.texts(
            "keep_outs",
            "a list of GeoJSON files like [\"restricted.geojson\"]",
        )
    } else {
        vec![]
    };
    // without a file the margin has no meaning, and is refused as unknown
    let margin_m = if files.is_empty() {
        0.0
    } else {
        section.number_or("keep_out_margin_nm", "margin", 0.0).value * M_PER_NM
    };
    ReadKeepOuts { files, margin_m }
}

impl ReadKeepOuts {
    fn load(&self, sheet: &Sheet<'_>, folder: &Path) -> Result<Vec<Volume>, FileError> {
        let mut volumes = Vec::new();
        for (i, (name, span)) in self.files.iter().enumerate() {
            match load_keep_outs(&folder.join(name)) {
                Err(error) if error.is_unreadable() => {
                    let key = format!("limits.keep_outs[{}]", i + 1);
                    return Err(not_found(sheet, &key, span.clone(), &error));
                }
                other => volumes.extend(other?),
            }
        }
        Ok(volumes)
    }
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
