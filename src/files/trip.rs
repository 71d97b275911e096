//! Trips: TOML, with the aircraft profile and the bulletins it names, to [`Trip`].
//!
//! Paths in a trip start from the folder of the trip file. The unit of a number is the ending of its key. Unknown keys are
//! errors. A bulletin's text has neither month nor year: it is placed in the month that brings it nearest to the departure.
//!
//! # Keys
//! | section | keys (with default) |
//! | --- | --- |
//! | top of the file | `title`, `profile`, `departure_utc`, `night` (false), `variation_deg` (magnetic model), east positive |
//! | `[start]`, in flight only | `altitude_ft` (indicated), `ias_kt`: the first place is where the aircraft is now, `departure_utc` is now, `on_board_gal` is what is left, and no taxi or take-off is flown |
//! | | `places` (none): a list of files of places of one's own ([`super::places`]) |
//! | `[[place]]`, in order | `ident`, `lat`, `lon` (those of the ident: [`super::places::Gazetteer`]), `elevation_ft` (the same; needed at both ends, but not where the flight begins in the air, and for an observation) |
//! | `[route]`, instead of `[[place]]` | `gpx`: a path, `name` (of the only route, else of the only track), `tolerance_nm` (1: how far a track may lie off its legs), `departure_elevation_ft`, `destination_elevation_ft` (that of the field within a mile) |
//! | `[[leg]]`, in order, all or none | `minimum_altitude_ft` (highest ground, else highest field of the trip, and the clearance, up to 100 ft), `maximum_altitude_ft` (that of `[limits]`; kept in climb and descent too), `mountainous`, `source`, `ground` = rows of `to_nm`, `ground_ft` (unknown) |
//! | `[alternate]` (none) | `ident`, `lat`, `lon`, `elevation_ft` as for a place; `minimum_altitude_ft` (the higher of the two fields and the clearance, up to 100 ft), `mountainous` (false), `pattern_altitude_ft` (as for the destination) |
//! | `[load]` | `people_lb`, `baggage_lb` (0) |
//! | `[fuel]` | `on_board_gal`: a number or `"least"` |
//! | `[prices]` (none, unless the objective is money) | `hourly`, `basis` (clock, airborne, tachometer), `tach_reference_rpm` (tachometer only), `fuel_per_gal` |
//! | `[weather]` | `bulletins`: a list of paths, `altimeter_inhg`: a number or `{ departure, destination }` |
//! | `[[weather.surface]]` | `place`, `wind_from_deg` (true), `wind_kt`, `temperature_c` (unknown) |
//! | `[objective]` | `kind` (money, time, fuel) |
//! | `[limits]` | `rules` (us-vfr, us-ifr, icao-vfr, icao-ifr, none), `max_altitude_ft`, `clearance_ft` (1,000), `mountain_clearance_ft` (2,000), `max_descent_fpm` (500), `least_map_inhg` and `map_reduction_inhg_per_min` (the profile's), `smooth_near_ground` (false), `oxygen` (false), `reserve_min` (45, at night 60) |
//! | `[[limits.air]]`, lowest first | `up_to_ft`, `air` (smooth, light, rough); light above the last |
//! | `[arrival]` | `pattern_altitude_ft` (1,000 ft above the field, rounded up to 100 ft), `before_nm` (5), `circuit_min` (3) |

use std::ops::Range as Span;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use toml::de::DeValue;

use super::bulletin::{self, Bulletin, ResolvedTimes, resolve_times};
use super::diagnostic::{FileError, Finding, FindingKind, quoted, read_text, span_at};
use super::places::Gazetteer;
use super::profile::load_profile;
use super::sheet::{Num, Section, Sheet};
use super::stations::StationPosition;
use super::trip_places::{ReadPlace, alternate, own_places, places, route_places, table_note};
use super::winds::{surface_station, wind_slices};
use crate::air::triangle::wind_vector_m_s;
use crate::air::{FieldError, Station, WindField};
use crate::aircraft::Aircraft;
use crate::earth::geodesic::Leg;
use crate::quantity::{
    Distance, Duration, Ias, M_PER_FT, M_PER_NM, M_S_PER_FPM, M3_PER_GAL, ManifoldPressure, Mass,
    Rpm, ZERO_C_K, range,
};
use crate::trip::{
    Alternate, Arrival, Forecast, FuelLoad, HourBasis, LegGround, Limits, Objective, Prices,
    Roughness, Rules, Start, Trip, Weather,
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
/// Distance between the points of the route that are looked up in the wind field, nm: well inside the 150 nm radius.
const LOOK_EVERY_NM: f64 = 20.0;

/// A trip with all that its file names.
#[derive(Debug, Clone)]
pub struct TripFile {
    /// The trip.
    pub trip: Trip,
    /// The aircraft.
    pub aircraft: Aircraft,
    /// Where the aircraft was read from.
    pub profile_path: PathBuf,
    /// The bulletin chosen.
    pub bulletin: BulletinUsed,
    /// What was taken from elsewhere than the trip, and must be said with the plan.
    pub notes: Vec<String>,
}

/// The bulletin that was chosen among those the trip names.
#[derive(Debug, Clone, PartialEq)]
pub struct BulletinUsed {
    /// Its file, or files where several have the same valid time.
    pub paths: Vec<PathBuf>,
    /// Its times: after `use_to` the flight is outside the forecast.
    pub times: ResolvedTimes,
    /// Remarks a careful reader would make.
    pub notes: Vec<bulletin::Note>,
}

/// Reads a trip, the profile and the bulletins it names. `profile` replaces the profile of the trip; it is a path as
/// typed, not relative to the trip.
///
/// # Errors
/// [`FileError`] with everything that is wrong with the first of these files that is wrong.
pub fn load_trip(path: &Path, profile: Option<&Path>) -> Result<TripFile, FileError> {
    let text = read_text(path)?;
    parse_trip(&text, path, profile)
}

/// The same from the text of the trip; `path` says where the paths in it start from.
///
/// # Errors
/// As [`load_trip`].
pub fn parse_trip(text: &str, path: &Path, profile: Option<&Path>) -> Result<TripFile, FileError> {
    let text = super::diagnostic::without_mark(text);
    let sheet = Sheet::new(path, text);
    let table = sheet.parse()?;
    let root = sheet.root(&table);
    let folder = path.parent().unwrap_or(Path::new(""));

    let title = root.text("title", "the title of the trip");
    let named_profile = root.text("profile", "the path of an aircraft profile");
    let profile_span = root.span_of("profile");
    let departure = departure_time(&sheet, &root);
    let night = root.flag("night");
    let variation = root.optional("variation_deg", "variation");
    let start = start(&root);
    let gazetteer = Gazetteer::new(own_places(&sheet, &root, folder)?);
    let (places, notes) = if root.has("route") {
        route_places(&sheet, &root, folder, start, &gazetteer)?
    } else {
        (places(&sheet, &root, start, &gazetteer), Vec::new())
    };
    let (limits, rules) = limits(&sheet, root.section("limits"), night);
    let legs = legs(&sheet, &root, &places, &limits.limits);
    let load = load(root.section("load"));
    let on_board = on_board(root.section("fuel"));
    let objective = objective(root.section("objective"));
    let prices = if root.has("prices") || objective == Some(Objective::Money) {
        prices(&sheet, root.section("prices"), objective)
    } else {
        ReadPrices::NONE
    };
    let arrival = arrival(&sheet, root.optional_section("arrival"), &places);
    let alternate = alternate(&sheet, &root, &gazetteer);
    let weather = weather(&sheet, root.section("weather"), &places);
    root.finish();
    sheet.verdict()?;

    // No finding, so every choice was read; the fall-backs below are never seen.
    let departure_time = departure.unwrap_or(Timestamp::UNIX_EPOCH);
    let profile_path = profile.map_or_else(|| folder.join(&named_profile), Path::to_owned);
    let aircraft = match load_profile(&profile_path) {
        Err(error) if profile.is_none() && error.is_unreadable() => {
            return Err(not_found(&sheet, "profile", profile_span, &error));
        }
        other => other?,
    };
    let (field, bulletin) = choose_bulletin(&sheet, folder, &weather, departure_time)?;
    covers(
        &sheet,
        &field,
        &weather,
        &bulletin,
        &legs,
        limits.max_altitude.value * M_PER_FT,
    )?;

    let kg_per_gal = aircraft.fuel.density_kg_m3 * M3_PER_GAL;
    let limits = limits.with(&sheet, &aircraft)?;
    let alternate = alternate.map(|read| {
        let to = [places.last(), Some(&read.place)];
        let higher_m = to.iter().filter_map(|p| p.as_ref()?.place.elevation_m);
        let clearance_m = limits_clearance_m(&limits, read.mountainous);
        let least_m = up_to_hundred_ft(higher_m.fold(0.0, f64::max) + clearance_m);
        (
            Alternate {
                place: read.place.place.clone(),
                minimum_m: read.minimum_m.unwrap_or(least_m),
                mountainous: read.mountainous,
                pattern_altitude_m: read.pattern_m,
            },
            read,
        )
    });
    let tabled = places
        .iter()
        .chain(alternate.as_ref().map(|(_, read)| &read.place));
    let notes = notes.into_iter().chain(table_note(tabled)).collect();
    let alternate = alternate.map(|(alternate, _)| alternate);
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
        weather: Weather {
            forecasts: vec![Forecast {
                valid: bulletin.times.valid,
                field,
            }],
            valid_until: Some(bulletin.times.use_to),
            departure_altimeter_pa: weather.altimeter_pa.0,
            destination_altimeter_pa: weather.altimeter_pa.1,
            departure_temperature_k: weather.temperatures_k.0,
            destination_temperature_k: weather.temperatures_k.1,
        },
        objective: objective.unwrap_or(Objective::Money),
        limits,
        rules: rules.unwrap_or(Rules::None),
        night,
        variation_rad: variation.map(|v| v.value.to_radians()),
        arrival,
        alternate,
        bounds: crate::trip::Bounds::default(),
    };
    Ok(TripFile {
        trip,
        aircraft,
        profile_path,
        bulletin,
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

/// Start-up.
fn departure_time(sheet: &Sheet<'_>, root: &Section<'_>) -> Option<Timestamp> {
    const KEY: &str = "departure_utc";
    const FORM: &str = "a date and time like 2026-01-31T16:00:00Z";
    let (value, span) = root.any(KEY, FORM)?;
    let text = match value {
        DeValue::Datetime(time) => time.to_string(),
        DeValue::String(text) => text.trim().to_owned(),
        _ => {
            root.wrong_form(KEY, FORM);
            return None;
        }
    };
    let at = Num {
        value: f64::NAN,
        span,
        key: KEY.to_owned(),
    };
    let Ok(time) = text.parse::<Timestamp>() else {
        let message = format!("{KEY} = {} is not a moment in time", quoted(&text));
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
            format!("{KEY}: the year {}", wrong.to_string().trim_end()),
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
}

/// A step of altitudes.
const HUNDRED_FT_M: f64 = 100.0 * M_PER_FT;
/// What is said of a leg whose ground nobody gave.
const NO_TERRAIN: &str = "no terrain data";

/// Least cruise altitude of a leg whose trip gives none, m: the clearance over its highest ground, or where that is not known
/// over the highest field of the trip; rounded up to whole hundreds of feet.
fn least_cruise_m(
    ground: &[(f64, f64)],
    mountainous: bool,
    places: &[ReadPlace],
    limits: &Limits,
) -> f64 {
    let highest = |heights: &mut dyn Iterator<Item = f64>| heights.reduce(f64::max);
    let ground_m = highest(&mut ground.iter().map(|g| g.1));
    let field_m = highest(&mut places.iter().filter_map(|p| p.place.elevation_m));
    let clearance_m = limits_clearance_m(limits, mountainous);
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

/// Legs of which the trip says nothing.
fn unknown_legs(places: &[ReadPlace], limits: &Limits) -> Vec<ReadLeg> {
    let leg = |pair: &[ReadPlace]| ReadLeg {
        ground: LegGround {
            ground: Vec::new(),
            minimum_m: least_cruise_m(&[], false, places, limits),
            maximum_m: None,
            mountainous: false,
            source: NO_TERRAIN.to_owned(),
        },
        line: pair[0].line_to(&pair[1]),
        name: format!("{} to {}", pair[0].place.ident, pair[1].place.ident),
    };
    places.windows(2).map(leg).collect()
}

fn legs(
    sheet: &Sheet<'_>,
    root: &Section<'_>,
    places: &[ReadPlace],
    limits: &Limits,
) -> Vec<ReadLeg> {
    let rows = root.rows("leg");
    if rows.is_empty() {
        return unknown_legs(places, limits);
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
        let minimum_m = minimum.map_or_else(
            || least_cruise_m(&ground, mountainous, places, limits),
            |m| m.value * M_PER_FT,
        );
        let ground = LegGround {
            ground,
            minimum_m,
            maximum_m: maximum.map(|m| m.value * M_PER_FT),
            mountainous,
            source,
        };
        legs.push(ReadLeg { ground, line, name });
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
}

impl ReadLimits {
    /// With what the trip leaves to the profile; the trip may be stricter than the profile, never looser.
    fn with(self, sheet: &Sheet<'_>, aircraft: &Aircraft) -> Result<Limits, FileError> {
        let mut limits = self.limits;
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
    let reserve = section.number_or(
        "reserve_min",
        "reserve",
        if night { RESERVE_MIN.1 } else { RESERVE_MIN.0 },
    );
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
        reserve_s: Duration::min(reserve.value).to_s(),
    };
    (
        ReadLimits {
            max_altitude,
            limits,
            least_map,
            reduction,
        },
        rules,
    )
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

/// The weather as far as it stands in the trip itself.
struct ReadWeather {
    bulletins: Vec<(String, Span<usize>)>,
    altimeter_pa: (f64, f64),
    surface: Vec<Station>,
    temperatures_k: (Option<f64>, Option<f64>),
}

fn weather(sheet: &Sheet<'_>, section: Section<'_>, places: &[ReadPlace]) -> ReadWeather {
    let bulletins = section.texts(
        "bulletins",
        "a list of winds-aloft bulletins like [\"weather/winds.txt\"]",
    );
    let altimeter_pa = altimeter_pa(&section);
    let mut surface = Vec::new();
    let mut temperatures_k = (None, None);
    let mut seen: Vec<String> = Vec::new();
    for row in section.rows("surface") {
        let ident = row.text("place", "the ident of a place of the trip");
        let from = row.number("wind_from_deg", "direction");
        let speed = row.number("wind_kt", "wind speed");
        let temperature = row.optional("temperature_c", "temperature");
        let at = Num {
            value: f64::NAN,
            span: row.span_of("place"),
            key: row.path("place"),
        };
        row.finish();
        let Some(index) = places.iter().position(|p| p.place.ident == ident) else {
            if !ident.is_empty() {
                let known: Vec<&str> = places.iter().map(|p| p.place.ident.as_str()).collect();
                let message = format!("{} = {} is no place of this trip", at.key, quoted(&ident));
                sheet.contradiction(
                    &at,
                    message,
                    &[],
                    &format!("the places are {}", known.join(", ")),
                );
            }
            continue;
        };
        if seen.contains(&ident) {
            let message = format!("{} = {} has an observation already", at.key, quoted(&ident));
            sheet.contradiction(&at, message, &[], "keep one of the two");
        }
        let place = &places[index].place;
        let Some(elevation_m) = place.elevation_m else {
            let message = format!(
                "{} = {} has no elevation, which an observation needs",
                at.key,
                quoted(&ident)
            );
            sheet.contradiction(&at, message, &[], "give the place its elevation_ft");
            continue;
        };
        let temperature_k = temperature.map(|t| t.value + ZERO_C_K);
        if index == 0 {
            temperatures_k.0 = temperature_k;
        }
        if index + 1 == places.len() {
            temperatures_k.1 = temperature_k;
        }
        let position = StationPosition {
            id: ident.clone(),
            lat_deg: place.position.lat_deg(),
            lon_deg: place.position.lon_deg(),
            elevation_m,
        };
        let vector = wind_vector_m_s(from.value.to_radians(), Ias::kt(speed.value).to_m_s());
        surface.push(surface_station(&position, vector, temperature_k));
        seen.push(ident);
    }
    section.finish();
    ReadWeather {
        bulletins,
        altimeter_pa,
        surface,
        temperatures_k,
    }
}

/// Altimeter settings (Pa) at departure and destination.
fn altimeter_pa(section: &Section<'_>) -> (f64, f64) {
    const KEY: &str = "altimeter_inhg";
    const FORM: &str = "a number, or { departure = 30.12, destination = 30.05 }";
    let pa = |n: Num| ManifoldPressure::inhg(n.value).to_pa();
    match section.any(KEY, FORM) {
        Some((DeValue::Table(_), _)) => {
            let both = section.section(KEY);
            let two = (
                both.number("departure", "altimeter setting"),
                both.number("destination", "altimeter setting"),
            );
            both.finish();
            (pa(two.0), pa(two.1))
        }
        Some((DeValue::Integer(_) | DeValue::Float(_), _)) => {
            let one = pa(section.number(KEY, "altimeter setting"));
            (one, one)
        }
        Some(_) => {
            section.wrong_form(KEY, FORM);
            (f64::NAN, f64::NAN)
        }
        None => (f64::NAN, f64::NAN),
    }
}

/// A bulletin with its file and times.
struct Dated {
    file: usize,
    bulletin: Bulletin,
    times: ResolvedTimes,
}

/// The wind field of the bulletin whose period of use holds the departure; of several, the one whose valid time is nearest
/// to it, then the later one.
fn choose_bulletin(
    sheet: &Sheet<'_>,
    folder: &Path,
    weather: &ReadWeather,
    departure: Timestamp,
) -> Result<(WindField, BulletinUsed), FileError> {
    let mut all: Vec<Dated> = Vec::new();
    for (file, (name, span)) in weather.bulletins.iter().enumerate() {
        let path = folder.join(name);
        let key = format!("weather.bulletins[{}]", file + 1);
        let text = match read_text(&path) {
            Err(error) if error.is_unreadable() => {
                return Err(not_found(sheet, &key, span.clone(), &error));
            }
            other => other?,
        };
        let wrong = |span, message: String, label: String, hint: String| {
            let finding = Finding::new(FindingKind::Syntax, &key, Some(span), message);
            FileError::new(&path, &text, vec![finding.label(label).hint(hint)])
        };
        let bulletins = bulletin::decode(&text).map_err(|e| {
            let found = quoted(&e.found);
            let message = match &e.station {
                Some(station) => {
                    format!("{found} of station {station} cannot be read as winds aloft")
                }
                None => format!("this is not a winds-aloft bulletin: found {found}"),
            };
            let rest = span_at(&text, e.line, e.column);
            // only what was found, where it stands there as quoted
            let exact = text
                .get(rest.start..)
                .is_some_and(|t| starts_with(t, &e.found));
            let span = if exact {
                rest.start..rest.start + e.found.len()
            } else {
                rest
            };
            wrong(
                span,
                message,
                format!("expected {}", e.expected),
                e.way_out.to_owned(),
            )
        })?;
        for bulletin in bulletins {
            let times = resolve_times(&bulletin, departure).map_err(|e| {
                let line = text
                    .lines()
                    .position(|l| l.to_ascii_uppercase().contains("VALID"))
                    .map_or(1, |i| i + 1);
                let hint = "check the date of departure and the bulletin".to_owned();
                wrong(
                    span_at(&text, line, 1),
                    e.to_string(),
                    "these times".to_owned(),
                    hint,
                )
            })?;
            all.push(Dated {
                file,
                bulletin,
                times,
            });
        }
    }
    let nearness = |t: &ResolvedTimes| {
        let off = (t.valid.as_second() - departure.as_second()).abs();
        (
            off,
            std::cmp::Reverse(t.data.as_second()),
            std::cmp::Reverse(t.valid.as_second()),
        )
    };
    let holds = |t: &ResolvedTimes| t.use_from <= departure && departure <= t.use_to;
    let Some(best) = all
        .iter()
        .filter(|d| holds(&d.times))
        .map(|d| d.times)
        .min_by_key(nearness)
    else {
        return Err(none_holds(sheet, weather, &all, departure));
    };
    all.retain(|d| d.times.valid == best.valid && holds(&d.times));
    let mut files: Vec<usize> = all.iter().map(|d| d.file).collect();
    files.dedup();
    let names: Vec<&str> = files
        .iter()
        .map(|i| weather.bulletins[*i].0.as_str())
        .collect();
    let span = files
        .first()
        .map_or(0..0, |i| weather.bulletins[*i].1.clone());
    let bulletins: Vec<Bulletin> = all.into_iter().map(|d| d.bulletin).collect();
    let unusable = |why: String| {
        sheet.fail(
            Finding::new(
                FindingKind::Weather,
                "weather.bulletins",
                Some(span.clone()),
                format!("{}: {why}", names.join(", ")),
            )
            .label("these winds cannot be used")
            .hint("give another bulletin, or correct this one or the surface observations"),
        )
    };
    let slices = wind_slices(&bulletins, departure, &[], &weather.surface)
        .map_err(|e| unusable(e.to_string()))?;
    let slice = slices
        .into_iter()
        .next()
        .ok_or_else(|| unusable("no wind in it".to_owned()))?;
    let paths = names.iter().map(|name| folder.join(name)).collect();
    Ok((
        slice.field,
        BulletinUsed {
            paths,
            times: slice.times,
            notes: slice.notes,
        },
    ))
}

/// Whether a text starts with another, capitals and small letters of ASCII being the same.
fn starts_with(text: &str, start: &str) -> bool {
    text.get(..start.len())
        .is_some_and(|t| t.eq_ignore_ascii_case(start))
}

/// The error of a departure that no bulletin is for.
fn none_holds(
    sheet: &Sheet<'_>,
    weather: &ReadWeather,
    all: &[Dated],
    departure: Timestamp,
) -> FileError {
    let mut last = None;
    for dated in all {
        let (name, span) = &weather.bulletins[dated.file];
        let times = dated.times;
        let message = format!(
            "{name} is for use from {} to {}, but the trip departs at {departure}",
            times.use_from, times.use_to
        );
        let hint = if departure < times.use_from {
            "depart later, or give the bulletin of the period before"
        } else {
            "depart earlier, or give the bulletin of the period after"
        };
        if let Some(before) = last.replace(
            Finding::new(
                FindingKind::Weather,
                &format!("weather.bulletins[{}]", dated.file + 1),
                Some(span.clone()),
                message,
            )
            .label("does not hold the departure")
            .hint(hint),
        ) {
            sheet.note(before);
        }
    }
    sheet.fail(last.unwrap_or_else(|| {
        Finding::new(
            FindingKind::Weather,
            "weather.bulletins",
            None,
            "no bulletin is given".to_owned(),
        )
    }))
}

/// An error if a point of the route is too far from every station of the bulletin.
fn covers(
    sheet: &Sheet<'_>,
    field: &WindField,
    weather: &ReadWeather,
    used: &BulletinUsed,
    legs: &[ReadLeg],
    height_m: f64,
) -> Result<(), FileError> {
    for leg in legs {
        let Some(line) = &leg.line else { continue };
        let steps = (line.distance_m() / (LOOK_EVERY_NM * M_PER_NM))
            .ceil()
            .max(1.0);
        // at most the length of half the Earth by 20 nm, 540
        for i in 0..=steps as u32 {
            let along_m = line.distance_m() * f64::from(i) / steps;
            let point = line.point_at(along_m);
            let air = field.at(point.lat_deg(), point.lon_deg(), height_m, height_m);
            if let Err(FieldError::TooFar {
                station,
                distance_m,
                ..
            }) = air
            {
                let names: Vec<String> =
                    used.paths.iter().map(|p| p.display().to_string()).collect();
                let message = format!(
                    "{} does not cover the route: on the leg {}, {:.0} nm from its start, at {point}, the nearest station, \
                     {station}, is {:.0} nm away, and 150 nm is the limit",
                    names.join(", "),
                    leg.name,
                    Distance::m(along_m).to_nm(),
                    Distance::m(distance_m).to_nm(),
                );
                let first = used.paths.first();
                let span = weather
                    .bulletins
                    .iter()
                    .find(|(name, _)| first.is_some_and(|p| p.ends_with(name)));
                return Err(sheet.fail(
                    Finding::new(
                        FindingKind::Weather,
                        "weather.bulletins",
                        span.map(|(_, s)| s.clone()),
                        message,
                    )
                    .label(format!(
                        "for use from {} to {}",
                        used.times.use_from, used.times.use_to
                    ))
                    .hint("check the places, or give a bulletin with stations along the route"),
                ));
            }
        }
    }
    Ok(())
}
