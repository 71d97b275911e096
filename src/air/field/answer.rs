//! Wind and temperature at one point, and what was filled in.

use crate::air::isa;

/// What an answer owes to rule 3 of the module header rather than to the forecast.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Fill {
    /// How far the point lies below the lowest forecast wind, averaged with the stations' weights; 0 if none (m).
    pub wind_below_m: f64,
    /// The same for the lowest forecast temperature (m).
    pub temperature_below_m: f64,
    /// A surface observation took part.
    pub surface_used: bool,
    /// No station near gives any temperature: the standard atmosphere was used.
    pub standard_temperature: bool,
}

/// Wind and temperature at one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Wind to the east (m/s).
    pub u_m_s: f64,
    /// Wind to the north (m/s).
    pub v_m_s: f64,
    /// Temperature (K).
    pub temperature_k: f64,
    /// What was filled in below the forecast.
    pub fill: Fill,
}

impl Air {
    /// Still air with the standard temperature plus a deviation (K), for trips without a forecast.
    pub fn standard(pressure_altitude_m: f64, deviation_k: f64) -> Air {
        Air {
            u_m_s: 0.0,
            v_m_s: 0.0,
            temperature_k: isa::temperature_k(pressure_altitude_m) + deviation_k,
            fill: Fill {
                standard_temperature: true,
                ..Fill::default()
            },
        }
    }

    /// Linear blend of two answers for the same point: `fraction` 0 gives `self`, 1 gives `later`. Vectors are
    /// blended, never directions. The fraction is not clamped; the caller refuses times outside its slices.
    pub fn between(&self, later: &Air, fraction: f64) -> Air {
        let mix = |a: f64, b: f64| a + (b - a) * fraction;
        Air {
            u_m_s: mix(self.u_m_s, later.u_m_s),
            v_m_s: mix(self.v_m_s, later.v_m_s),
            temperature_k: mix(self.temperature_k, later.temperature_k),
            fill: Fill {
                wind_below_m: self.fill.wind_below_m.max(later.fill.wind_below_m),
                temperature_below_m: self
                    .fill
                    .temperature_below_m
                    .max(later.fill.temperature_below_m),
                surface_used: self.fill.surface_used || later.fill.surface_used,
                standard_temperature: self.fill.standard_temperature
                    || later.fill.standard_temperature,
            },
        }
    }
}
