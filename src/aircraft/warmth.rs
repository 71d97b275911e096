//! How warm it is, and what the airspeed indicator shows in that air.

use super::{AirState, Aircraft};
use crate::air::{isa, speed};

/// How warm it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Warmth {
    /// Warmer than standard by this, K.
    AboveStandard(f64),
    /// This outside air temperature, K, at every altitude.
    Outside(f64),
}

impl Warmth {
    /// The air at a pressure altitude \[m\].
    pub fn air(self, pressure_altitude_m: f64) -> AirState {
        let temperature_k = match self {
            Self::AboveStandard(k) => isa::temperature_k(pressure_altitude_m) + k,
            Self::Outside(k) => k,
        };
        AirState::new(isa::pressure_pa(pressure_altitude_m), temperature_k)
    }
}

impl Aircraft {
    /// Indicated airspeed [m/s] of a true airspeed [m/s].
    pub fn ias_from_tas(&self, air: AirState, tas_m_s: f64) -> f64 {
        let cas = speed::mach_to_cas_m_s(tas_m_s / air.sound_m_s, air.pressure_pa);
        self.ias_from_cas(cas)
    }

    /// True airspeed [m/s] of an indicated airspeed [m/s].
    pub fn tas_from_ias(&self, air: AirState, ias_m_s: f64) -> f64 {
        let cas = self.cas_from_ias(ias_m_s);
        speed::cas_to_mach(cas, air.pressure_pa) * air.sound_m_s
    }
}
