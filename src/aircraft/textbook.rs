//! The textbook power plant: constant propulsive efficiency and specific consumption.
//!
//! Performance theory has closed forms for it (best range at best lift/drag, Carson's speed, Breguet), and so it serves to hold
//! solver and flight mechanics against them, and to show a lesson what the real engine and propeller add. No aircraft profile
//! uses it.

use super::engine::{P_REF_PA, T_REF_K};
use super::{AirState, Governed, Levers, Performance, Throttle};

/// Constant efficiency and consumption; power proportional to manifold pressure over temperature, so that full-throttle power goes
/// with density as in the worked examples of Anderson, *Introduction to Flight*, ch. 6 (from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Textbook {
    /// Shaft power at sea level, standard day, full throttle, W.
    pub power_w: f64,
    /// Thrust power over shaft power.
    pub efficiency: f64,
    /// Fuel per shaft energy, kg/J.
    pub consumption_kg_j: f64,
}

impl Textbook {
    /// Thrust, power and fuel flow at a true airspeed [m/s, above zero]. A throttle position left alone is a manifold pressure
    /// the engine model works out; it is handed over in `fixed_pa`.
    pub(super) fn perform(
        &self,
        air: AirState,
        tas_m_s: f64,
        levers: Levers,
        fixed_pa: f64,
    ) -> Performance {
        let map_pa = match levers.throttle {
            Throttle::Full => air.pressure_pa,
            Throttle::Map(p) => p.min(air.pressure_pa),
            Throttle::Shut => 0.0,
            _ => fixed_pa,
        };
        let share = map_pa / P_REF_PA * T_REF_K / air.temperature_k;
        let shaft_power_w = self.power_w * share;
        Performance {
            map_pa,
            rev_s: levers.rev_s,
            blade_angle_rad: 0.0,
            governed: Governed::Yes,
            shaft_power_w,
            power_fraction: share,
            thrust_n: self.efficiency * shaft_power_w / tas_m_s.max(1.0),
            fuel_kg_s: self.consumption_kg_j * shaft_power_w,
        }
    }
}
