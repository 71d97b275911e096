//! The weather of a trip: `[weather]` and the files it names, to wind fields and altimeter settings.
//!
//! # Which forecasts a flight uses
//! Winds aloft come from one kind of source: bulletins, GRIB2 files, or a table in the trip. Each valid time is one forecast
//! with a period of use: a bulletin's own, and for the others the time from the forecast before to the one after where these
//! are no more than [`BRIDGED_H`] away, else [`STANDS_H`] either way. A flight uses every forecast whose period touches it,
//! blended by the time over each point. It must depart inside a period; if it lasts beyond the last that joins on, it is warned.
//! A table without a time holds throughout.
//!
//! How long the flight lasts is not known here: it is taken to fly at no less than [`SLOWEST_KT`] over the ground.
//!
//! # What the trip says itself
//! goes before what a weather report says: `altimeter_inhg`, and a whole `[[weather.surface]]` row.

use std::ops::Range as Span;
use std::path::{Path, PathBuf};

use jiff::{SignedDuration, Timestamp};
use toml::de::DeValue;

use super::bulletin::{self, Bulletin, ResolvedTimes, resolve_times};
use super::check;
use super::diagnostic::{FileError, Finding, FindingKind, quoted, read_text, span_at};
use super::grib2;
use super::report::{self, Report};
use super::sheet::{Num, Section, Sheet};
use super::stations::StationPosition;
use super::trip::{moment, not_found};
use super::trip_places::angle;
use super::winds::{surface_station, wind_slices};
use crate::air::isa::SEA_LEVEL_PRESSURE_PA;
use crate::air::triangle::wind_vector_m_s;
use crate::air::{Datum, FieldError, LevelValue, Station, WindField};
use crate::earth::geodesic::{Leg, distance_m};
use crate::earth::place::{Position, parse_latitude_deg, parse_longitude_deg};
use crate::quantity::{Distance, Ias, M_PER_FT, M_PER_NM, ManifoldPressure, ZERO_C_K};
use crate::trip::{Cloud, Forecast, Place, Source, SourceKind, Weather};

/// Forecasts this far apart are joined, h: models are issued in steps of one, three or six hours, late ones in twelve.
pub const BRIDGED_H: i64 = 12;
/// A forecast without a neighbour stands for this long before and after its time, h: as a bulletin without a period of use.
pub const STANDS_H: i64 = 3;
/// Least speed over the ground by which the end of a flight is estimated, kt: a slow aeroplane in a strong head wind.
pub const SLOWEST_KT: f64 = 60.0;
/// The latest that a flight is put off to see whether it is better then, h.
pub const LATEST_LEAVE_H: i64 = 3;
/// Distance between the points of the route that are looked up in the wind field, nm: well inside the 150 nm radius.
const LOOK_EVERY_NM: f64 = 20.0;
/// The air is asked for up to this much above the greatest altitude of the trip, m: a step over it, and what a low altimeter setting
/// adds to the pressure altitude.
const ABOVE_TOP_M: f64 = 5_000.0 * M_PER_FT;
/// Levels of a table from here on are pressure altitude, below it true altitude, as in bulletins (ft).
const FIRST_PRESSURE_LEVEL_FT: f64 = 18_000.0;
/// A weather report older than this, or for so much later, is remarked upon, h.
const STALE_H: i64 = 3;

/// The route as the weather needs it.
pub(super) struct Route<'a> {
    /// The places, in order.
    pub places: Vec<&'a Place>,
    /// Name and line of each leg that has one.
    pub lines: Vec<(&'a str, &'a Leg)>,
    /// Positions of stations of bulletins that go before the built-in table's.
    pub stations: Vec<StationPosition>,
}

impl Route<'_> {
    /// Points along the route, at most [`LOOK_EVERY_NM`] apart: name of the leg, distance from its start \[m\], and where.
    fn points(&self) -> impl Iterator<Item = (&str, f64, Position)> {
        self.lines.iter().flat_map(|(name, line)| {
            let pieces = line.pieces(LOOK_EVERY_NM * M_PER_NM);
            (0..=pieces).map(move |i| {
                let along_m = line.distance_m() * f64::from(i) / f64::from(pieces);
                (*name, along_m, line.point_at(along_m))
            })
        })
    }

    /// How long the flight may last.
    fn lasts(&self) -> SignedDuration {
        let length_m: f64 = self.lines.iter().map(|(_, line)| line.distance_m()).sum();
        let hours = 1.0 + length_m / (SLOWEST_KT * M_PER_NM);
        SignedDuration::from_secs_f64(hours * 3_600.0)
    }
}

/// From when to when.
pub type Period = (Timestamp, Timestamp);

/// A file named in the trip.
type Named = (String, Span<usize>);

/// The weather as far as it stands in the trip itself.
pub(super) struct ReadWeather {
    bulletins: Vec<Named>,
    grib: Vec<Named>,
    metar: Vec<Named>,
    altimeter_pa: Option<(f64, f64)>,
    surface: Vec<Station>,
    /// A table of winds: the time it is for, if it says, and its columns.
    aloft: Vec<(Option<Timestamp>, Station)>,
    pub(super) clouds: Vec<Cloud>,
    span: Span<usize>,
}

pub(super) fn weather(sheet: &Sheet<'_>, section: Section<'_>, places: &[&Place]) -> ReadWeather {
    let list = |key: &'static str, what: &str| {
        if section.has(key) {
            section.texts(key, what)
        } else {
            Vec::new()
        }
    };
    let bulletins = list(
        "bulletins",
        "a list of winds-aloft bulletins like [\"weather/winds.txt\"]",
    );
    let grib = list(
        "grib",
        "a list of GRIB2 files like [\"weather/winds.grib2\"]",
    );
    let metar = list(
        "metar",
        "a list of files of weather reports like [\"weather/metar.txt\"], or of reports",
    );
    let altimeter_pa =
        (section.has("altimeter_inhg") || metar.is_empty()).then(|| altimeter_pa(&section));
    let mut surface: Vec<Station> = Vec::new();
    for row in section.rows("surface") {
        let ident = row.text("place", "the ident of a place of the trip");
        let from = row.number("wind_from_deg", "direction");
        let speed = row.number("wind_kt", "wind speed");
        let temperature = row.optional("temperature_c", "temperature");
        let at = here(&row, "place");
        row.finish();
        let Some(place) = of_trip(sheet, &at, &ident, places) else {
            continue;
        };
        if surface.iter().any(|s| s.name == ident) {
            let message = format!("{} = {} has an observation already", at.key, quoted(&ident));
            sheet.contradiction(&at, message, &[], "keep one of the two");
        }
        let Some(elevation_m) = place.elevation_m else {
            let message = format!(
                "{} = {} has no elevation, which an observation needs",
                at.key,
                quoted(&ident)
            );
            sheet.contradiction(&at, message, &[], "give the place its elevation_ft");
            continue;
        };
        surface.push(surface_station(
            &station_of(place, elevation_m),
            wind_vector_m_s(from.value.to_radians(), Ias::kt(speed.value).to_m_s()),
            temperature.map(|t| t.value + ZERO_C_K),
        ));
    }
    let aloft = aloft(sheet, &section, places);
    let kinds = [
        ("bulletins", !bulletins.is_empty()),
        ("grib", !grib.is_empty()),
        ("aloft", !aloft.is_empty()),
    ];
    let given: Vec<&str> = kinds.iter().filter(|k| k.1).map(|k| k.0).collect();
    let tried = ["bulletins", "grib", "aloft"].map(|key| section.has(key));
    if !tried.contains(&true) {
        section.missing(
            "bulletins",
            "a list of winds-aloft bulletins, or `grib` with a list of GRIB2 files, or [[weather.aloft]] with a table",
        );
    } else if let [first, second, ..] = given.as_slice() {
        let at = here(&section, second_key(second));
        let message =
            format!("winds aloft are given twice, by weather.{first} and weather.{second}");
        sheet.contradiction(&at, message, &[], "keep one kind of winds aloft");
    }
    let span = section.span();
    let clouds = super::cloud::clouds(sheet, &section);
    section.finish();
    ReadWeather {
        bulletins,
        grib,
        metar,
        altimeter_pa,
        surface,
        aloft,
        clouds,
        span,
    }
}

fn second_key(key: &str) -> &'static str {
    if key == "grib" { "grib" } else { "aloft" }
}

fn here(section: &Section<'_>, key: &'static str) -> Num {
    Num {
        value: f64::NAN,
        span: section.span_of(key),
        key: section.path(key),
    }
}

fn station_of(place: &Place, elevation_m: f64) -> StationPosition {
    StationPosition {
        id: place.ident.clone(),
        lat_deg: place.position.lat_deg(),
        lon_deg: place.position.lon_deg(),
        elevation_m,
    }
}

/// The place of the trip with an identifier; notes that there is none.
fn of_trip<'a>(
    sheet: &Sheet<'_>,
    at: &Num,
    ident: &str,
    places: &[&'a Place],
) -> Option<&'a Place> {
    let found = places.iter().find(|p| p.ident == ident).copied();
    if found.is_none() && !ident.is_empty() {
        let known: Vec<&str> = places.iter().map(|p| p.ident.as_str()).collect();
        let message = format!("{} = {} is no place of this trip", at.key, quoted(ident));
        let hint = format!("the places are {}", known.join(", "));
        sheet.contradiction(at, message, &[], &hint);
    }
    found
}

/// The table of winds.
fn aloft(
    sheet: &Sheet<'_>,
    section: &Section<'_>,
    places: &[&Place],
) -> Vec<(Option<Timestamp>, Station)> {
    let mut out: Vec<(Option<Timestamp>, Station)> = Vec::new();
    for row in section.rows("aloft") {
        let at = here(&row, "place");
        let (name, position) = if row.has("place") {
            let ident = row.text("place", "the ident of a place of the trip");
            let place = of_trip(sheet, &at, &ident, places);
            (ident, place.map(|p| p.position))
        } else {
            let lat = angle(sheet, &row, "lat", "latitude", parse_latitude_deg);
            let lon = angle(sheet, &row, "lon", "longitude", parse_longitude_deg);
            (format!("{lat:.2}, {lon:.2}"), Position::new(lat, lon).ok())
        };
        let valid = if row.has("valid_utc") {
            moment(sheet, &row, "valid_utc")
        } else {
            None
        };
        if !row.has("levels") {
            row.missing(
                "levels",
                "rows like { altitude_ft = 6000, wind_from_deg = 240, wind_kt = 20, temperature_c = 5 }",
            );
        }
        let mut heights = Vec::new();
        let mut levels = Vec::new();
        for level in row.rows("levels") {
            let height = level.number("altitude_ft", "altitude");
            let from = level.number("wind_from_deg", "direction");
            let speed = level.number("wind_kt", "wind speed");
            let temperature = level.optional("temperature_c", "temperature");
            level.finish();
            let (u_m_s, v_m_s) =
                wind_vector_m_s(from.value.to_radians(), Ias::kt(speed.value).to_m_s());
            levels.push(LevelValue {
                datum: if height.value < FIRST_PRESSURE_LEVEL_FT {
                    Datum::TrueAltitude
                } else {
                    Datum::PressureAltitude
                },
                height_m: height.value * M_PER_FT,
                u_m_s,
                v_m_s,
                temperature_k: temperature.map(|t| t.value + ZERO_C_K),
            });
            heights.push(height);
        }
        let name_of_row = row.path("");
        row.finish();
        sheet.rising(&heights.iter().collect::<Vec<_>>());
        if let Some((other, _)) = out.first()
            && other.is_some() != valid.is_some()
        {
            let message = format!(
                "{} has {} valid_utc, but the row before has {}",
                name_of_row.trim_end_matches('.'),
                if valid.is_some() { "a" } else { "no" },
                if valid.is_some() { "none" } else { "one" }
            );
            sheet.contradiction(
                &at,
                message,
                &[],
                "give every row of the table a time, or none",
            );
        }
        if out.iter().any(|(v, s)| *v == valid && s.name == name) {
            let message = format!("{} has a column at that time already", quoted(&name));
            sheet.contradiction(&at, message, &[], "put all its levels in one row");
        }
        if let Some(position) = position {
            let station = Station {
                name,
                lat_deg: position.lat_deg(),
                lon_deg: position.lon_deg(),
                elevation_m: 0.0,
                levels,
            };
            out.push((valid, station));
        }
    }
    out
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

/// From when to when each of some forecasts is used, by their times in order: see the head of this module.
pub fn periods(valid: &[Timestamp]) -> Vec<Period> {
    let hours = SignedDuration::from_hours;
    let near = |other: Option<&Timestamp>, here: Timestamp| {
        other
            .copied()
            .filter(|o| here.duration_since(*o).unsigned_abs() <= hours(BRIDGED_H).unsigned_abs())
    };
    let off = |t: Timestamp, by: i64| t.saturating_add(hours(by)).unwrap_or(t);
    (0..valid.len())
        .map(|i| {
            let t = valid[i];
            let before = near(i.checked_sub(1).and_then(|b| valid.get(b)), t);
            let after = near(valid.get(i + 1), t);
            (
                before.unwrap_or_else(|| off(t, -STANDS_H)),
                after.unwrap_or_else(|| off(t, STANDS_H)),
            )
        })
        .collect()
}

/// One valid time.
#[derive(Debug, Clone, PartialEq)]
struct Slice {
    valid: Timestamp,
    field: WindField,
    source: Source,
}

impl Slice {
    /// Whether it is for use at some moment from one to the other.
    fn touches(&self, from: Timestamp, to: Timestamp) -> bool {
        self.source
            .period
            .is_none_or(|(begin, end)| begin <= to && from <= end)
    }
}

/// The winds aloft a trip has, for more times than its flight may need.
#[derive(Debug, Clone, PartialEq)]
pub struct WindsOnHand {
    slices: Vec<Slice>,
    lasts: SignedDuration,
}

/// The winds aloft of one flight.
#[derive(Debug, Clone, PartialEq)]
pub struct Chosen {
    /// Forecasts, earliest first.
    pub forecasts: Vec<Forecast>,
    /// Where they are from.
    pub sources: Vec<Source>,
    /// Up to when they are for use.
    pub until: Option<Timestamp>,
}

impl WindsOnHand {
    /// Every forecast there is, for use at some time of this trip or not, earliest first.
    pub fn all(&self) -> Vec<Forecast> {
        let of = |s: &Slice| Forecast {
            valid: s.valid,
            field: s.field.clone(),
        };
        self.slices.iter().map(of).collect()
    }

    /// The forecasts of a flight that starts up at a time; `None` if none is for use then.
    pub fn at(&self, departure: Timestamp) -> Option<Chosen> {
        if !self.slices.iter().any(|s| s.touches(departure, departure)) {
            return None;
        }
        // As far as one period joins the next.
        let mut until = Some(departure);
        loop {
            let reached = self.slices.iter().filter_map(|s| {
                let end = until?;
                s.touches(departure.min(end), end)
                    .then_some(s.source.period.map(|p| p.1))
            });
            // a forecast without a period holds for ever
            let next = reached.fold(until, |best, end| match (best, end) {
                (Some(a), Some(b)) => Some(a.max(b)),
                _ => None,
            });
            if next == until {
                break;
            }
            until = next;
        }
        let lands = departure.saturating_add(self.lasts).unwrap_or(departure);
        let end = until.map_or(lands, |u| u.min(lands));
        let used = self.slices.iter().filter(|s| s.touches(departure, end));
        let (mut forecasts, mut sources) = (Vec::new(), Vec::new());
        for slice in used {
            forecasts.push(Forecast {
                valid: slice.valid,
                field: slice.field.clone(),
            });
            sources.push(slice.source.clone());
        }
        Some(Chosen {
            forecasts,
            sources,
            until,
        })
    }
}

/// What the files of the weather come to.
pub(super) struct Loaded {
    /// The weather of the flight.
    pub weather: Weather,
    /// The winds aloft for other times of departure.
    pub on_hand: WindsOnHand,
}

/// No weather: standard altimeter settings, and no forecast.
pub(super) fn none(route: &Route<'_>) -> Loaded {
    Loaded {
        weather: Weather {
            forecasts: vec![],
            valid_until: None,
            sources: vec![],
            departure_altimeter_pa: SEA_LEVEL_PRESSURE_PA,
            destination_altimeter_pa: SEA_LEVEL_PRESSURE_PA,
            departure_temperature_k: None,
            destination_temperature_k: None,
        },
        on_hand: WindsOnHand {
            slices: vec![],
            lasts: route.lasts(),
        },
    }
}

/// Reads the files of the weather.
pub(super) fn load(
    sheet: &Sheet<'_>,
    folder: &Path,
    mut read: ReadWeather,
    departure: Timestamp,
    route: &Route<'_>,
    top_m: f64,
) -> Result<Loaded, FileError> {
    let reports = reports(sheet, folder, &mut read, departure, route)?;
    let lasts = route.lasts();
    let over = lasts.saturating_add(SignedDuration::from_hours(LATEST_LEAVE_H));
    let window = (
        departure,
        departure.saturating_add(over).unwrap_or(departure),
    );
    let (slices, unused) = if !read.bulletins.is_empty() {
        from_bulletins(sheet, folder, &read, window, route)?
    } else if !read.grib.is_empty() {
        from_grib(sheet, folder, &read, window, route, top_m)?
    } else {
        from_table(sheet, &read)?
    };
    let on_hand = WindsOnHand { slices, lasts };
    let Some(chosen) = on_hand.at(departure) else {
        return Err(none_holds(sheet, &read, &on_hand, unused, departure));
    };
    for (forecast, source) in chosen.forecasts.iter().zip(&chosen.sources) {
        covers(sheet, &forecast.field, &read, source, route, top_m)?;
    }
    let (mut departure_pa, mut destination_pa) = read.altimeter_pa.unwrap_or((f64::NAN, f64::NAN));
    let ends = [route.places.first(), route.places.last()];
    for (pa, place) in [&mut departure_pa, &mut destination_pa]
        .into_iter()
        .zip(ends)
    {
        let Some(place) = place.filter(|_| pa.is_nan()) else {
            continue;
        };
        let found = reports.iter().find(|r| r.station == place.ident);
        *pa = found.and_then(|r| r.altimeter_pa).ok_or_else(|| {
            let message = format!(
                "weather.altimeter_inhg is missing, and no weather report gives it for {}",
                place.ident
            );
            let at = Some(read.span.clone());
            sheet.fail(
                Finding::new(FindingKind::Missing, "weather.altimeter_inhg", at, message)
                    .label("in this section")
                    .hint("add `altimeter_inhg = `, or a report of that place with A or Q and four figures"),
            )
        })?;
    }
    let mut sources = chosen.sources;
    sources.extend(reports.iter().map(|r| said(r, departure, &read, route)));
    let temperature = |place: Option<&&Place>| {
        let station = read
            .surface
            .iter()
            .find(|s| Some(&s.name) == place.map(|p| &p.ident));
        station.and_then(|s| s.levels.first()?.temperature_k)
    };
    Ok(Loaded {
        weather: Weather {
            forecasts: chosen.forecasts,
            valid_until: chosen.until,
            sources,
            departure_altimeter_pa: departure_pa,
            destination_altimeter_pa: destination_pa,
            departure_temperature_k: temperature(route.places.first()),
            destination_temperature_k: temperature(route.places.last()),
        },
        on_hand,
    })
}

/// The latest report of each place of the route that has one; its wind and temperature join the surface observations where the
/// trip has none of that place.
fn reports(
    sheet: &Sheet<'_>,
    folder: &Path,
    read: &mut ReadWeather,
    departure: Timestamp,
    route: &Route<'_>,
) -> Result<Vec<Report>, FileError> {
    let mut all: Vec<Report> = Vec::new();
    for (i, (entry, span)) in read.metar.iter().enumerate() {
        let key = format!("weather.metar[{}]", i + 1);
        if report::looks_like_report(entry) {
            all.extend(report::decode(entry, departure).map_err(|e| {
                sheet.fail(
                    Finding::new(FindingKind::Syntax, &key, Some(span.clone()), e.message)
                        .label("this report")
                        .hint(report::WAY_OUT),
                )
            })?);
            continue;
        }
        let path = folder.join(entry);
        let text = match read_text(&path) {
            Err(error) if error.is_unreadable() => {
                return Err(not_found(sheet, &key, span.clone(), &error));
            }
            other => other?,
        };
        all.extend(read_reports(&text, &path, &key, departure)?);
    }
    all.sort_by_key(|r| std::cmp::Reverse(r.time));
    let of_route = |r: &Report| route.places.iter().any(|p| p.ident == r.station);
    if let Some(other) = all.iter().find(|r| !of_route(r))
        && !all.iter().any(of_route)
    {
        let names: Vec<&str> = route.places.iter().map(|p| p.ident.as_str()).collect();
        let message = format!(
            "no weather report is of a place of this trip: there is one of {}",
            other.station
        );
        let span = read.metar.first().map(|(_, span)| span.clone());
        return Err(sheet.fail(
            Finding::new(FindingKind::Contradiction, "weather.metar", span, message)
                .label("not used")
                .hint(format!(
                    "give reports of {}; the wind of another place may stand in [[weather.surface]]",
                    names.join(", ")
                )),
        ));
    }
    let mut used: Vec<Report> = Vec::new();
    for report in all {
        let place = route.places.iter().find(|p| p.ident == report.station);
        let (Some(place), false) = (place, used.iter().any(|u| u.station == report.station)) else {
            continue;
        };
        let given = read.surface.iter().any(|s| s.name == report.station);
        if let (false, Some(wind), Some(elevation_m)) = (given, report.wind_m_s, place.elevation_m)
        {
            let position = station_of(place, elevation_m);
            read.surface
                .push(surface_station(&position, wind, report.temperature_k));
        }
        used.push(report);
    }
    Ok(used)
}

/// What is said of a report.
fn said(report: &Report, departure: Timestamp, read: &ReadWeather, route: &Route<'_>) -> Source {
    let mut notes = report.notes.clone();
    let off = departure.duration_since(report.time);
    if off.abs() > SignedDuration::from_hours(STALE_H) {
        notes.push(format!(
            "observed {:.0} h {} start-up",
            off.as_secs_f64().abs() / 3_600.0,
            if off.is_negative() { "after" } else { "before" }
        ));
    }
    let place = route.places.iter().find(|p| p.ident == report.station);
    if place.is_some_and(|p| p.elevation_m.is_none()) {
        notes.push("its wind and temperature are not used: the place has no elevation_ft".into());
    }
    let ends = [route.places.first(), route.places.last()];
    let end = ends
        .into_iter()
        .flatten()
        .any(|p| p.ident == report.station);
    if end && report.altimeter_pa.is_some() && read.altimeter_pa.is_some() {
        notes.push("the altimeter setting is that of the trip itself".into());
    }
    Source {
        kind: SourceKind::Report,
        name: report.station.clone(),
        valid: Some(report.time),
        period: None,
        notes,
    }
}

/// A file whose forecasts are not for the time asked for.
struct Unused {
    key: &'static str,
    index: usize,
    period: (Timestamp, Timestamp),
}

/// A bulletin with its file and times.
struct Dated {
    file: usize,
    bulletin: Bulletin,
    times: ResolvedTimes,
}

type Slices = (Vec<Slice>, Vec<Unused>);

/// The bulletins of a text, what is wrong shown where it stands; `key` is that of the trip that names the file.
pub(super) fn read_bulletins(
    text: &str,
    path: &Path,
    key: &str,
) -> Result<Vec<Bulletin>, FileError> {
    bulletin::decode(text).map_err(|e| {
        let found = quoted(&e.found);
        let message = match &e.station {
            Some(station) => {
                format!("{found} of station {station} cannot be read as winds aloft")
            }
            None if !text.to_ascii_uppercase().contains("DATA BASED ON") => {
                "this is not a winds-aloft bulletin: no line of it has DATA BASED ON".to_owned()
            }
            None => format!("this is not a winds-aloft bulletin: found {found}"),
        };
        let rest = span_at(text, e.line, e.column);
        // only what was found, where it stands there as quoted
        let exact = text
            .get(rest.start..)
            .is_some_and(|t| starts_with(t, &e.found));
        let span = if exact {
            rest.start..rest.start + e.found.len()
        } else {
            rest
        };
        let finding = Finding::new(FindingKind::Syntax, key, Some(span), message)
            .label(format!("expected {}", e.expected))
            .hint(e.way_out);
        let error = FileError::new(path, text, vec![finding]);
        check::meant("a bulletin of winds aloft", path, text, error)
    })
}

/// The weather reports of a text, the same way.
pub(super) fn read_reports(
    text: &str,
    path: &Path,
    key: &str,
    near: Timestamp,
) -> Result<Vec<Report>, FileError> {
    report::decode(text, near).map_err(|e| {
        let at = span_at(text, e.line, 1);
        let finding = Finding::new(FindingKind::Syntax, key, Some(at), e.message)
            .label("this report")
            .hint(report::WAY_OUT);
        FileError::new(path, text, vec![finding])
    })
}

/// The winds of the bulletins that are for use in a window of time.
fn from_bulletins(
    sheet: &Sheet<'_>,
    folder: &Path,
    read: &ReadWeather,
    (from, to): (Timestamp, Timestamp),
    route: &Route<'_>,
) -> Result<Slices, FileError> {
    let mut all: Vec<Dated> = Vec::new();
    for (file, (name, span)) in read.bulletins.iter().enumerate() {
        let path = folder.join(name);
        let key = format!("weather.bulletins[{}]", file + 1);
        let text = match read_text(&path) {
            Err(mut error) if error.is_unreadable() => {
                if let Some(finding) = error.findings.first_mut().filter(|_| grib2::is_grib(&path))
                {
                    finding.message = format!("{} is GRIB2, not a bulletin", path.display());
                    finding.hint = Some("name it in weather.grib instead".to_owned());
                }
                return Err(not_found(sheet, &key, span.clone(), &error));
            }
            other => other?,
        };
        let bulletins = read_bulletins(&text, &path, &key)?;
        for bulletin in bulletins {
            let times = resolve_times(&bulletin, from).map_err(|e| {
                let line = text
                    .lines()
                    .position(|l| l.to_ascii_uppercase().contains("VALID"))
                    .map_or(1, |i| i + 1);
                let at = Some(span_at(&text, line, 1));
                let finding = Finding::new(FindingKind::Syntax, &key, at, e.to_string())
                    .label("these times")
                    .hint("check the date of departure and the bulletin");
                FileError::new(&path, &text, vec![finding])
            })?;
            all.push(Dated {
                file,
                bulletin,
                times,
            });
        }
    }
    let (used, other): (Vec<Dated>, Vec<Dated>) = all
        .into_iter()
        .partition(|d| d.times.use_from <= to && from <= d.times.use_to);
    let unused = other.iter().map(|d| Unused {
        key: "bulletins",
        index: d.file,
        period: (d.times.use_from, d.times.use_to),
    });
    let unused = unused.collect();
    if used.is_empty() {
        return Ok((Vec::new(), unused));
    }
    let names = |valid: Option<Timestamp>| {
        let of = used
            .iter()
            .filter(|d| valid.is_none_or(|v| v == d.times.valid));
        let mut files: Vec<usize> = of.map(|d| d.file).collect();
        files.dedup();
        let names: Vec<&str> = files
            .iter()
            .map(|i| read.bulletins[*i].0.as_str())
            .collect();
        (names.join(", "), files.first().copied())
    };
    let bulletins: Vec<Bulletin> = used.iter().map(|d| d.bulletin.clone()).collect();
    let slices = wind_slices(&bulletins, from, &route.stations, &read.surface).map_err(|e| {
        let (names, first) = names(None);
        let span = first.map(|i| read.bulletins[i].1.clone());
        unusable(sheet, "weather.bulletins", span, format!("{names}: {e}"))
    })?;
    let slices = slices.into_iter().map(|slice| Slice {
        valid: slice.times.valid,
        field: slice.field,
        source: Source {
            kind: SourceKind::Bulletin,
            name: names(Some(slice.times.valid)).0,
            valid: Some(slice.times.valid),
            period: Some((slice.times.use_from, slice.times.use_to)),
            notes: bulletin::in_short(&slice.notes),
        },
    });
    Ok((slices.collect(), unused))
}

fn unusable(sheet: &Sheet<'_>, key: &str, span: Option<Span<usize>>, message: String) -> FileError {
    sheet.fail(
        Finding::new(FindingKind::Weather, key, span, message)
            .label("these winds cannot be used")
            .hint("give other winds, or correct these or the surface observations"),
    )
}

/// The winds of the GRIB2 files that are for use in a window of time.
fn from_grib(
    sheet: &Sheet<'_>,
    folder: &Path,
    read: &ReadWeather,
    (from, to): (Timestamp, Timestamp),
    route: &Route<'_>,
    top_m: f64,
) -> Result<Slices, FileError> {
    const KEY: &str = "weather.grib";
    let span = read.grib.first().map(|g| g.1.clone());
    let paths: Vec<PathBuf> = read.grib.iter().map(|g| folder.join(&g.0)).collect();
    let points: Vec<Position> = route.points().map(|p| p.2).collect();
    let Some(area) = grib2::Area::of(&points) else {
        let message = "the route has no middle to cut a grid around".to_owned();
        return Err(unusable(sheet, KEY, span, message));
    };
    let ask = grib2::Ask {
        area,
        from,
        to,
        top_m: top_m + ABOVE_TOP_M,
    };
    let named = |error: FileError| {
        let at = read
            .grib
            .iter()
            .position(|g| folder.join(&g.0) == error.path);
        match at {
            Some(i) if error.is_unreadable() => {
                let key = format!("{KEY}[{}]", i + 1);
                not_found(sheet, &key, read.grib[i].1.clone(), &error)
            }
            _ => error,
        }
    };
    let times: Vec<Timestamp> = grib2::times_of(&paths)
        .map_err(named)?
        .into_iter()
        .collect();
    let all = periods(&times);
    let unused = all.first().zip(all.last()).map(|(first, last)| Unused {
        key: "grib",
        index: 0,
        period: (first.0, last.1),
    });
    let mut slices = Vec::new();
    for forecast in grib2::read(&paths, &ask).map_err(named)? {
        let files: Vec<&str> = forecast
            .files
            .iter()
            .filter_map(|i| read.grib.get(*i).map(|g| g.0.as_str()))
            .collect();
        let mut notes = vec![format!("run of {}", minute(forecast.run))];
        notes.extend(forecast.notes.iter().cloned());
        let model_ground = |p: &grib2::GridPoint| p.ground_m.is_some() || p.ground_pa.is_some();
        if !forecast.points.iter().any(model_ground) {
            notes.push(
                "it does not say where its ground is: levels below the nearest field of the trip were left out".into(),
            );
        }
        let stations: Vec<Station> = forecast
            .points
            .iter()
            .map(|p| p.station(nearest_elevation_m(p, &route.places)))
            .collect();
        let field = WindField::on_mesh(forecast.width, &stations, &read.surface).map_err(|e| {
            unusable(
                sheet,
                KEY,
                span.clone(),
                format!("{}: {e}", files.join(", ")),
            )
        })?;
        let period = times
            .iter()
            .position(|t| *t == forecast.valid)
            .and_then(|i| all.get(i).copied());
        slices.push(Slice {
            valid: forecast.valid,
            field,
            source: Source {
                kind: SourceKind::Grid,
                name: files.join(", "),
                valid: Some(forecast.valid),
                period,
                notes,
            },
        });
    }
    Ok((slices, unused.into_iter().collect()))
}

/// Elevation (m) of the place that is nearest to a grid point and has one; sea level without any.
pub(super) fn nearest_elevation_m(point: &grib2::GridPoint, places: &[&Place]) -> f64 {
    let Ok(here) = Position::new(point.lat_deg, point.lon_deg) else {
        return 0.0;
    };
    let places = places.iter().filter(|p| p.elevation_m.is_some());
    let far = |p: &&&Place| distance_m(here, p.position);
    places
        .min_by(|a, b| far(a).total_cmp(&far(b)))
        .and_then(|p| p.elevation_m)
        .map_or(0.0, |e| e.max(0.0))
}

/// A time to the minute, as people write it.
pub(super) fn minute(time: Timestamp) -> String {
    time.strftime("%Y-%m-%d %H:%MZ").to_string()
}

/// The winds of the table in the trip.
fn from_table(sheet: &Sheet<'_>, read: &ReadWeather) -> Result<Slices, FileError> {
    let mut times: Vec<Timestamp> = read.aloft.iter().filter_map(|a| a.0).collect();
    times.sort_unstable();
    times.dedup();
    let periods = periods(&times);
    let each: Vec<(Option<Timestamp>, Option<Period>)> = if times.is_empty() {
        vec![(None, None)]
    } else {
        let times = times.into_iter().map(Some);
        times.zip(periods.into_iter().map(Some)).collect()
    };
    let mut slices = Vec::new();
    for (valid, period) in each {
        let of = read.aloft.iter().filter(|a| a.0 == valid);
        let mut stations: Vec<Station> = of.map(|a| a.1.clone()).collect();
        let names: Vec<String> = stations.iter().map(|s| s.name.clone()).collect();
        stations.extend_from_slice(&read.surface);
        let field = WindField::new(&stations).map_err(|e| {
            unusable(
                sheet,
                "weather.aloft",
                Some(read.span.clone()),
                e.to_string(),
            )
        })?;
        slices.push(Slice {
            // a table without a time is alone, and any time will do
            valid: valid.unwrap_or(Timestamp::UNIX_EPOCH),
            field,
            source: Source {
                kind: SourceKind::Table,
                name: names.join(", "),
                valid,
                period,
                notes: Vec::new(),
            },
        });
    }
    Ok((slices, Vec::new()))
}

/// Whether a text starts with another, capitals and small letters of ASCII being the same.
fn starts_with(text: &str, start: &str) -> bool {
    text.get(..start.len())
        .is_some_and(|t| t.eq_ignore_ascii_case(start))
}

/// The error of a departure that no forecast is for.
fn none_holds(
    sheet: &Sheet<'_>,
    read: &ReadWeather,
    on_hand: &WindsOnHand,
    unused: Vec<Unused>,
    departure: Timestamp,
) -> FileError {
    let mut findings = Vec::new();
    let mut add =
        |key: String, name: &str, span: Span<usize>, (from, to): (Timestamp, Timestamp)| {
            let message = format!(
                "{name} is for use from {from} to {to}, but the trip departs at {departure}"
            );
            let winds = if read.bulletins.is_empty() {
                "winds"
            } else {
                "the bulletin"
            };
            let hint = if departure < from {
                format!("depart later, or give {winds} of the period before")
            } else {
                format!("depart earlier, or give {winds} of the period after")
            };
            findings.push(
                Finding::new(FindingKind::Weather, &key, Some(span), message)
                    .label("does not hold the departure")
                    .hint(hint),
            );
        };
    for u in unused {
        let list = if u.key == "grib" {
            &read.grib
        } else {
            &read.bulletins
        };
        if let Some((name, span)) = list.get(u.index) {
            let key = format!("weather.{}[{}]", u.key, u.index + 1);
            add(key, name, span.clone(), u.period);
        }
    }
    for slice in &on_hand.slices {
        let (Some(period), false) = (slice.source.period, slice.source.kind == SourceKind::Grid)
        else {
            continue;
        };
        let (key, span) = match slice.source.kind {
            SourceKind::Bulletin => {
                let first = slice.source.name.split(", ").next().unwrap_or("");
                let at = read
                    .bulletins
                    .iter()
                    .position(|b| b.0 == first)
                    .unwrap_or(0);
                (
                    format!("weather.bulletins[{}]", at + 1),
                    read.bulletins.get(at).map(|b| b.1.clone()),
                )
            }
            _ => ("weather.aloft".to_owned(), None),
        };
        let span = span.unwrap_or_else(|| read.span.clone());
        add(key, &slice.source.name, span, period);
    }
    let last = findings.pop();
    for finding in findings {
        sheet.note(finding);
    }
    sheet.fail(last.unwrap_or_else(|| {
        Finding::new(
            FindingKind::Weather,
            "weather",
            Some(read.span.clone()),
            "no winds aloft are given".to_owned(),
        )
    }))
}

/// An error if a point of the route is outside a forecast.
fn covers(
    sheet: &Sheet<'_>,
    field: &WindField,
    read: &ReadWeather,
    source: &Source,
    route: &Route<'_>,
    height_m: f64,
) -> Result<(), FileError> {
    for (leg, along_m, point) in route.points() {
        let why = match field.at(point.lat_deg(), point.lon_deg(), height_m, height_m) {
            Err(FieldError::TooFar {
                station,
                distance_m,
                ..
            }) => format!(
                "the nearest station, {station}, is {:.0} nm away, and 150 nm is the limit",
                Distance::m(distance_m).to_nm()
            ),
            Err(FieldError::OffMesh { distance_m, .. }) => format!(
                "the grid ends; its nearest point is {:.0} nm away",
                Distance::m(distance_m).to_nm()
            ),
            Err(e @ FieldError::Hole { .. }) => e.to_string(),
            _ => continue,
        };
        let message = format!(
            "{} does not cover the route: on the leg {leg}, {:.0} nm from its start, at {point}, {why}",
            source.name,
            Distance::m(along_m).to_nm(),
        );
        let lists = [&read.bulletins, &read.grib];
        let named = lists
            .into_iter()
            .flatten()
            .find(|(name, _)| source.name.starts_with(name.as_str()));
        let (key, hint) = match source.kind {
            SourceKind::Grid => (
                "weather.grib",
                "check the places, or give a file whose grid holds the route",
            ),
            SourceKind::Table => (
                "weather.aloft",
                "check the places, or add a row of [[weather.aloft]] for a place near there",
            ),
            SourceKind::Bulletin | SourceKind::Report => (
                "weather.bulletins",
                "check the places, or give a bulletin with stations along the route",
            ),
        };
        let label = source
            .period
            .map_or("these winds".to_owned(), |(from, to)| {
                format!("for use from {from} to {to}")
            });
        let span = named.map_or(read.span.clone(), |n| n.1.clone());
        return Err(sheet.fail(
            Finding::new(FindingKind::Weather, key, Some(span), message)
                .label(label)
                .hint(hint),
        ));
    }
    Ok(())
}
