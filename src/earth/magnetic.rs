//! Magnetic variation (declination) from the World Magnetic Model.
//!
//! Source: WMM2020 and WMM2025 (NOAA NCEI and British Geological Survey), evaluated by the `world_magnetic_model`
//! crate; checked against the official test values of WMM2025 in `tests/published_earth.rs`. The model's own standard
//! error is about 0.3 to 0.5 degrees in middle latitudes, and local rock may add more.

use jiff::civil::Date;
use world_magnetic_model::uom::si::f32::{Angle, Length};
use world_magnetic_model::uom::si::{angle::degree, length::meter};
use world_magnetic_model::{GeomagneticField, WarningZone, time};

use super::place::Position;

/// First year of the bundled models; valid from its 1 January.
pub const FIRST_YEAR: i16 = 2020;
/// Last year of the bundled models; valid to its 31 December.
pub const LAST_YEAR: i16 = 2029;
/// Heights (m) are clamped to this range, in which the model holds.
pub const HEIGHT_LIMITS_M: (f64, f64) = (-1_000.0, 850_000.0);

/// Why no variation could be given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MagneticError {
    /// The height is not a finite number.
    #[error("looking up magnetic variation: the height is not a finite number of metres")]
    Height,
    /// The model refused the place and date.
    #[error("looking up magnetic variation at {lat_deg:.4} {lon_deg:.4} deg on {date}: {reason}")]
    Model {
        /// Latitude (deg).
        lat_deg: f64,
        /// Longitude (deg).
        lon_deg: f64,
        /// Date used.
        date: Date,
        /// The model's own words.
        reason: String,
    },
}

/// How far a compass can be trusted here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CompassZone {
    /// Horizontal field of at least 6,000 nT.
    Good,
    /// Horizontal field of 2,000 to 6,000 nT: compasses become sluggish.
    Caution,
    /// Horizontal field under 2,000 nT: compasses and variation are unreliable.
    Unreliable,
}

/// Magnetic variation at a place and date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variation {
    /// Variation, positive east (rad): magnetic course = true course - variation.
    pub variation_rad: f64,
    /// The model's standard error here (rad).
    pub standard_error_rad: f64,
    /// The date used.
    pub date_used: Date,
    /// The date asked for lies outside the models (2020 to 2029); the nearest day inside was used.
    pub date_outside_model: bool,
    /// How far a compass can be trusted.
    pub zone: CompassZone,
}

/// Magnetic variation at a place, a height above the WGS 84 ellipsoid (m) (height above sea level will do) and a date.
///
/// # Errors
/// [`MagneticError`] for a height that is not finite, or if the model refuses.
pub fn variation(place: Position, height_m: f64, date: Date) -> Result<Variation, MagneticError> {
    if !height_m.is_finite() {
        return Err(MagneticError::Height);
    }
    let date_used = if date.year() < FIRST_YEAR {
        jiff::civil::date(FIRST_YEAR, 1, 1)
    } else if date.year() > LAST_YEAR {
        jiff::civil::date(LAST_YEAR, 12, 31)
    } else {
        date
    };
    let refused = |reason: String| MagneticError::Model {
        lat_deg: place.lat_deg(),
        lon_deg: place.lon_deg(),
        date: date_used,
        reason,
    };
    let day = u16::try_from(date_used.day_of_year()).map_err(|e| refused(e.to_string()))?;
    let model_date = time::Date::from_ordinal_date(i32::from(date_used.year()), day)
        .map_err(|e| refused(e.to_string()))?;
    let (least, greatest) = HEIGHT_LIMITS_M;
    let field = GeomagneticField::new(
        Length::new::<meter>(height_m.clamp(least, greatest) as f32),
        Angle::new::<degree>(place.lat_deg() as f32),
        Angle::new::<degree>(place.lon_deg() as f32),
        model_date,
    )
    .map_err(|e| refused(e.to_string()))?;
    Ok(Variation {
        variation_rad: f64::from(field.declination().get::<degree>()).to_radians(),
        standard_error_rad: f64::from(field.declination_uncertainty().get::<degree>()).to_radians(),
        date_used,
        date_outside_model: date_used != date,
        zone: match field.declination_warning() {
            None => CompassZone::Good,
            Some(WarningZone::CautionZone) => CompassZone::Caution,
            Some(_) => CompassZone::Unreliable,
        },
    })
}
