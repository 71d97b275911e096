//! A station, checked and taken apart: its column, and its observation at the ground.

use super::column::{Column, Profile};
use super::error::FieldError;
use super::sphere::UnitVector;
use super::{Datum, Station};

/// Greatest height accepted (m); guards against a height in the wrong unit.
const HEIGHT_LIMIT_M: f64 = 30_000.0;
/// Greatest wind component accepted (m/s).
const WIND_LIMIT_M_S: f64 = 200.0;
/// Least and greatest temperature accepted (K).
const TEMPERATURE_LIMITS_K: (f64, f64) = (150.0, 350.0);

#[derive(Debug, Clone, PartialEq)]
pub(super) struct Surface {
    pub(super) place: UnitVector,
    pub(super) height_m: f64,
    pub(super) wind: [f64; 2],
    pub(super) temperature_k: Option<f64>,
}

/// The column of a station and its surface observation, as far as it has them.
pub(super) fn read_station(
    station: &Station,
) -> Result<(Option<Column>, Option<Surface>), FieldError> {
    let check = |what, value: f64, least, greatest| {
        if value >= least && value <= greatest {
            Ok(())
        } else {
            Err(FieldError::OutOfRange {
                station: station.name.clone(),
                what,
                value,
                least,
                greatest,
            })
        }
    };
    check("latitude [deg]", station.lat_deg, -90.0, 90.0)?;
    check("longitude [deg]", station.lon_deg, -720.0, 720.0)?;
    check(
        "elevation [m]",
        station.elevation_m,
        -1_000.0,
        HEIGHT_LIMIT_M,
    )?;
    let place = UnitVector::new(station.lat_deg, station.lon_deg);
    let mut levels = station.levels.clone();
    for level in &levels {
        check("height [m]", level.height_m, -1_000.0, HEIGHT_LIMIT_M)?;
        check(
            "wind to the east [m/s]",
            level.u_m_s,
            -WIND_LIMIT_M_S,
            WIND_LIMIT_M_S,
        )?;
        check(
            "wind to the north [m/s]",
            level.v_m_s,
            -WIND_LIMIT_M_S,
            WIND_LIMIT_M_S,
        )?;
        if let Some(t) = level.temperature_k {
            let (least, greatest) = TEMPERATURE_LIMITS_K;
            check("temperature [K]", t, least, greatest)?;
        }
    }
    levels.sort_by(|a, b| a.height_m.total_cmp(&b.height_m));
    let pick = |datum: Datum| levels.iter().filter(move |l| l.datum == datum);
    for datum in [Datum::TrueAltitude, Datum::PressureAltitude, Datum::Surface] {
        for (a, b) in pick(datum).zip(pick(datum).skip(1)) {
            if a.height_m == b.height_m || datum == Datum::Surface {
                return Err(FieldError::SameHeight {
                    station: station.name.clone(),
                    height_m: b.height_m,
                });
            }
        }
    }
    if let (Some(low), Some(high)) = (
        pick(Datum::TrueAltitude).next_back(),
        pick(Datum::PressureAltitude).next(),
    ) && high.height_m <= low.height_m
    {
        return Err(FieldError::DatumOrder {
            station: station.name.clone(),
            pressure_m: high.height_m,
            true_m: low.height_m,
        });
    }
    let surface = pick(Datum::Surface).next().map(|level| Surface {
        place,
        height_m: level.height_m,
        wind: [level.u_m_s, level.v_m_s],
        temperature_k: level.temperature_k,
    });
    let wind_of = |datum| {
        pick(datum)
            .map(|l| (l.height_m, [l.u_m_s, l.v_m_s]))
            .collect()
    };
    let temperature_of = |datum| {
        pick(datum)
            .filter_map(|l| l.temperature_k.map(|t| (l.height_m, t)))
            .collect()
    };
    let column = levels
        .iter()
        .any(|l| l.datum != Datum::Surface)
        .then(|| Column {
            name: station.name.clone(),
            place,
            wind: Profile {
                by_true: wind_of(Datum::TrueAltitude),
                by_pressure: wind_of(Datum::PressureAltitude),
            },
            temperature: Profile {
                by_true: temperature_of(Datum::TrueAltitude),
                by_pressure: temperature_of(Datum::PressureAltitude),
            },
        });
    Ok((column, surface))
}
