//! The section `[weather]` as far as it stands in the trip itself.

use std::ops::Range as Span;

use jiff::Timestamp;
use toml::de::DeValue;

use super::station_of;
use crate::air::triangle::wind_vector_m_s;
use crate::air::{LevelValue, Station};
use crate::earth::place::{Position, parse_latitude_deg, parse_longitude_deg};
use crate::files::bulletin::datum_of_level;
use crate::files::diagnostic::quoted;
use crate::files::sheet::{Num, Section, Sheet};
use crate::files::trip::moment;
use crate::files::trip_places::angle;
use crate::files::winds::surface_station;
use crate::quantity::{Ias, M_PER_FT, ManifoldPressure, ZERO_C_K};
use crate::trip::{Cloud, Place};

/// A file named in the trip.
type Named = (String, Span<usize>);

/// The weather as far as it stands in the trip itself.
pub(in crate::files) struct ReadWeather {
    pub(super) bulletins: Vec<Named>,
    pub(super) grib: Vec<Named>,
    pub(super) metar: Vec<Named>,
    pub(super) altimeter_pa: Option<(f64, f64)>,
    pub(super) surface: Vec<Station>,
    /// A table of winds: the time it is for, if it says, and its columns.
    pub(super) aloft: Vec<(Option<Timestamp>, Station)>,
    pub(in crate::files) clouds: Vec<Cloud>,
    pub(super) span: Span<usize>,
}

pub(in crate::files) fn weather(
    sheet: &Sheet<'_>,
    section: Section<'_>,
    places: &[&Place],
) -> ReadWeather {
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
    let clouds = crate::files::cloud::clouds(sheet, &section);
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
                datum: datum_of_level(height.value),
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
