//! Airspeeds: calibrated, equivalent and true, with compressibility.
//!
//! # Conventions
//! Calibrated airspeed (CAS) is the speed that gives the same impact pressure at standard sea level; equivalent
//! airspeed (EAS) gives the same incompressible dynamic pressure at standard sea-level density; true airspeed (TAS)
//! is the speed through the air. All in m/s.
//!
//! With `qc` the impact pressure and `M` the Mach number,
//! `qc/p = (1 + 0.2 M^2)^3.5 - 1`, and `qc/p0 = (1 + 0.2 (CAS/a0)^2)^3.5 - 1`.
//!
//! Valid for 0 <= M < 1 (isentropic, no shock). Negative speeds keep their sign; pressures and temperatures must be
//! positive, else the answer is not finite. Source: NASA RP-1046 (Gracey, Measurement of Aircraft Speed and
//! Altitude), ch. III, cited from memory; the standard's constants are in [`crate::air::isa`].

use super::isa::{
    Powers, SEA_LEVEL_DENSITY_KG_M3, SEA_LEVEL_PRESSURE_PA, SEA_LEVEL_TEMPERATURE_K,
    density_from_kg_m3, speed_of_sound_m_s,
};
use std::sync::LazyLock;

/// `(1 + 0.2 M^2)^3.5 - 1`, without loss of digits at low speed.
fn impact_ratio(mach: f64) -> f64 {
    impact_ratio_of(0.2 * mach * mach)
}

/// `(1 + x)^3.5 - 1` as `(1 + c)(1 + s) - 1` with `1 + c = (1 + x)^3` and `1 + s` the square root.
#[inline]
fn impact_ratio_of(x: f64) -> f64 {
    let s = x / (1.0 + (1.0 + x).sqrt());
    let c = x * (3.0 + x * (3.0 + x));
    c + s + c * s
}

/// `(1 + r)^(2/7)` for the impact ratios of up to Mach 0.78.
static OF_IMPACT_RATIO: LazyLock<Powers> = LazyLock::new(|| Powers::new(2.0 / 7.0, 1.0, 1.5, 32));

/// Inverse of [`impact_ratio`], with the sign of `sign`.
fn mach_of_impact_ratio(ratio: f64, sign: f64) -> f64 {
    let x = OF_IMPACT_RATIO
        .less_one(ratio)
        .unwrap_or_else(|| (ratio.ln_1p() / 3.5).exp_m1());
    (5.0 * x).sqrt().copysign(sign)
}

/// Mach number of a calibrated airspeed (m/s) at a static pressure (Pa).
pub fn cas_to_mach(cas_m_s: f64, pressure_pa: f64) -> f64 {
    let at_sea_level = impact_ratio(cas_m_s * (1.0 / speed_of_sound_m_s(SEA_LEVEL_TEMPERATURE_K)));
    mach_of_impact_ratio(
        at_sea_level * (SEA_LEVEL_PRESSURE_PA / pressure_pa),
        cas_m_s,
    )
}

/// Calibrated airspeed (m/s) of a Mach number at a static pressure (Pa): the inverse of [`cas_to_mach`].
pub fn mach_to_cas_m_s(mach: f64, pressure_pa: f64) -> f64 {
    let at_sea_level = impact_ratio(mach) * (pressure_pa * (1.0 / SEA_LEVEL_PRESSURE_PA));
    mach_of_impact_ratio(at_sea_level, mach) * speed_of_sound_m_s(SEA_LEVEL_TEMPERATURE_K)
}

/// Impact pressure (Pa) of a calibrated airspeed (m/s).
pub fn cas_to_impact_pa(cas_m_s: f64) -> f64 {
    SEA_LEVEL_PRESSURE_PA
        * impact_ratio(cas_m_s / speed_of_sound_m_s(SEA_LEVEL_TEMPERATURE_K)).copysign(cas_m_s)
}

/// Impact pressure (Pa) of a Mach number at a static pressure (Pa): that of its calibrated airspeed, at less than half the price.
pub fn mach_to_impact_pa(mach: f64, pressure_pa: f64) -> f64 {
    pressure_pa * impact_ratio(mach).copysign(mach)
}

/// True airspeed (m/s) of a calibrated airspeed (m/s) at a static pressure (Pa) and temperature (K).
pub fn cas_to_tas_m_s(cas_m_s: f64, pressure_pa: f64, temperature_k: f64) -> f64 {
    cas_to_mach(cas_m_s, pressure_pa) * speed_of_sound_m_s(temperature_k)
}

/// Calibrated airspeed (m/s) of a true airspeed (m/s): the inverse of [`cas_to_tas_m_s`].
pub fn tas_to_cas_m_s(tas_m_s: f64, pressure_pa: f64, temperature_k: f64) -> f64 {
    mach_to_cas_m_s(tas_m_s / speed_of_sound_m_s(temperature_k), pressure_pa)
}

/// Equivalent airspeed (m/s) of a true airspeed (m/s) in air of a density (kg/m^3): `TAS sqrt(rho/rho0)`.
pub fn tas_to_eas_m_s(tas_m_s: f64, density_kg_m3: f64) -> f64 {
    tas_m_s * (density_kg_m3 / SEA_LEVEL_DENSITY_KG_M3).sqrt()
}

/// True airspeed (m/s) of an equivalent airspeed (m/s) in air of a density (kg/m^3): `EAS sqrt(rho0/rho)`.
pub fn eas_to_tas_m_s(eas_m_s: f64, density_kg_m3: f64) -> f64 {
    eas_m_s * (SEA_LEVEL_DENSITY_KG_M3 / density_kg_m3).sqrt()
}

/// Equivalent airspeed (m/s) of a calibrated airspeed (m/s) at a static pressure (Pa); the temperature cancels.
pub fn cas_to_eas_m_s(cas_m_s: f64, pressure_pa: f64) -> f64 {
    let t = SEA_LEVEL_TEMPERATURE_K;
    tas_to_eas_m_s(
        cas_to_tas_m_s(cas_m_s, pressure_pa, t),
        density_from_kg_m3(pressure_pa, t),
    )
}

/// Calibrated airspeed (m/s) of an equivalent airspeed (m/s) at a static pressure (Pa).
pub fn eas_to_cas_m_s(eas_m_s: f64, pressure_pa: f64) -> f64 {
    let t = SEA_LEVEL_TEMPERATURE_K;
    tas_to_cas_m_s(
        eas_to_tas_m_s(eas_m_s, density_from_kg_m3(pressure_pa, t)),
        pressure_pa,
        t,
    )
}
