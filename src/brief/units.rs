//! SI to cockpit units, once for all faces.

use crate::quantity::{
    KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, M3_PER_GAL, PA_PER_INHG, ZERO_C_K,
};

/// A millionth of a unit is float noise in a cockpit figure; dropping it keeps JSON short and alike on every machine.
fn clean(x: f64) -> f64 {
    let rounded = (x * 1e6).round() / 1e6;
    if rounded == 0.0 { 0.0 } else { rounded }
}

/// Nautical miles.
pub fn nm(m: f64) -> f64 {
    clean(m / M_PER_NM)
}

/// Feet.
pub fn ft(m: f64) -> f64 {
    clean(m / M_PER_FT)
}

/// Knots.
pub fn kt(m_s: f64) -> f64 {
    clean(m_s / M_S_PER_KT)
}

/// Feet per minute.
pub fn fpm(m_s: f64) -> f64 {
    clean(m_s / M_S_PER_FPM)
}

/// Inches of mercury.
pub fn inhg(pa: f64) -> f64 {
    clean(pa / PA_PER_INHG)
}

/// Revolutions per minute.
pub fn rpm(rev_s: f64) -> f64 {
    clean(rev_s * 60.0)
}

/// Minutes.
pub fn min(s: f64) -> f64 {
    clean(s / 60.0)
}

/// Pounds.
pub fn lb(kg: f64) -> f64 {
    clean(kg / KG_PER_LB)
}

/// Degrees Celsius.
pub fn celsius(k: f64) -> f64 {
    clean(k - ZERO_C_K)
}

/// Degrees, 0 to 360.
pub fn course_deg(rad: f64) -> f64 {
    clean(rad.to_degrees().rem_euclid(360.0))
}

/// Degrees of latitude or longitude; a millionth is a tenth of a metre.
pub fn degrees(deg: f64) -> f64 {
    clean(deg)
}

/// Per cent of a fraction.
pub fn percent(fraction: f64) -> f64 {
    clean(fraction * 100.0)
}

/// A figure that has no unit to change (seconds, money, degrees).
pub fn plain(x: f64) -> f64 {
    clean(x)
}

/// Volumes of this aircraft's fuel.
#[derive(Debug, Clone, Copy)]
pub struct Fuel {
    kg_per_gal: f64,
}

impl Fuel {
    /// Of a density, kg/m³.
    pub fn new(density_kg_m3: f64) -> Self {
        Self {
            kg_per_gal: density_kg_m3 * M3_PER_GAL,
        }
    }

    /// US gallons.
    pub fn gal(self, kg: f64) -> f64 {
        clean(kg / self.kg_per_gal)
    }

    /// US gallons per hour.
    pub fn gph(self, kg_s: f64) -> f64 {
        clean(kg_s * 3600.0 / self.kg_per_gal)
    }
}
