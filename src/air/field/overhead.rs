//! The field over one place.

use super::Datum;
use super::answer::{Air, Fill};
use super::column::{Column, Heights, SurfaceHere};
use super::error::FieldError;
use super::weights::Mean;
use crate::air::isa;

/// A column that speaks for a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Near<'a> {
    pub(super) column: &'a Column,
    pub(super) weight: f64,
    /// Cosine and sine of the angle its winds are turned by.
    pub(super) turn: (f64, f64),
}

/// The field over one place.
#[derive(Debug, Clone)]
pub struct Overhead<'a> {
    pub(super) columns: Vec<Near<'a>>,
    pub(super) surface: Option<SurfaceHere>,
}

impl Overhead<'_> {
    /// Wind and temperature at a true altitude and a pressure altitude (m).
    ///
    /// # Errors
    /// [`FieldError::AboveTop`], and [`FieldError::BadPoint`] for numbers that are no heights.
    pub fn at(&self, true_altitude_m: f64, pressure_altitude_m: f64) -> Result<Air, FieldError> {
        if !true_altitude_m.is_finite() || !pressure_altitude_m.is_finite() {
            return Err(FieldError::BadPoint);
        }
        let at = Heights {
            true_m: true_altitude_m,
            pressure_m: pressure_altitude_m,
        };
        let surface = self.surface;
        let mut wind = Mean::<3>::new();
        let mut temperature = Mean::<2>::new();
        let mut top: Option<(f64, f64, Datum)> = None;
        for near in &self.columns {
            let (column, w) = (near.column, near.weight);
            if let Some((above_m, height_m, datum, _)) = column.wind.highest(at)
                && above_m > 0.0
            {
                if top.is_none_or(|(least, _, _)| above_m < least) {
                    top = Some((above_m, height_m, datum));
                }
                continue;
            }
            if let Some(([u, v], below_m)) = column.wind_at(at, surface) {
                let (cos, sin) = near.turn;
                wind.add(w, [cos * u - sin * v, sin * u + cos * v, below_m]);
            }
            if let Some((t, below_m)) = column.temperature_at(at, surface) {
                temperature.add(w, [t, below_m]);
            }
        }
        let Some([u_m_s, v_m_s, wind_below_m]) = wind.get() else {
            let (above_m, top_m, datum) = top.unwrap_or((0.0, 0.0, Datum::TrueAltitude));
            return Err(FieldError::AboveTop {
                height_m: top_m + above_m,
                top_m,
                datum,
            });
        };
        let (temperature_k, temperature_below_m, standard_temperature) = match temperature.get() {
            Some([t, below_m]) => (t, below_m, false),
            None => (isa::temperature_k(pressure_altitude_m), 0.0, true),
        };
        Ok(Air {
            u_m_s,
            v_m_s,
            temperature_k,
            fill: Fill {
                wind_below_m,
                temperature_below_m,
                surface_used: surface.is_some_and(|s| s.say > 0.0)
                    && (wind_below_m > 0.0 || temperature_below_m > 0.0),
                standard_temperature,
            },
        })
    }
}
