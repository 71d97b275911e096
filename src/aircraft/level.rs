//! Level flight: the steady speed a setting holds.

use super::{AirState, Aircraft, Configuration, Levers, Speeds};

/// Step of the search for the fast side of the drag curve, m/s.
const SCAN_M_S: f64 = 4.0;
/// The search begins at this many times the never-exceed speed.
const OVER_NEVER_EXCEED: f64 = 1.25;
/// Bracketing steps; 60 bisections exhaust a double.
const MAX_STEPS: u32 = 60;
/// A speed is found this near, m/s.
const TOLERANCE_M_S: f64 = 1e-7;
/// Step over which the slope of the excess thrust is taken, m/s.
const SLOPE_M_S: f64 = 0.5;
/// A level speed whose time constant is longer than this, s, is not held by leaving the levers alone: our choice, no source.
const SLOWEST_SETTLING_S: f64 = 120.0;

/// Steady level flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelFlight {
    /// True airspeed, m/s.
    pub tas_m_s: f64,
    /// The levers, at that speed.
    pub levers: Levers,
    /// Time constant of the return to this speed after a gust, s.
    pub settling_s: f64,
}

impl Aircraft {
    /// Steady level flight, clean, on the fast side of the drag curve: the fastest speed at which thrust equals drag.
    ///
    /// `levers(v)` gives the levers at a true airspeed [m/s]; they depend on it where a power is held, for ram raises manifold
    /// pressure. `None` if thrust is below drag at every speed above the stall, or so little above it that the speed would take minutes
    /// to come back after a gust: that is no cruise. Equations: `T(V) = D(V)`; time constant `m / (dD/dV - dT/dV)`.
    ///
    /// Valid where drag is that of lift equal to weight ([`Aircraft::drag_n`]).
    pub fn level_flight(
        &self,
        air: AirState,
        mass_kg: f64,
        levers: impl Fn(f64) -> Levers,
    ) -> Option<LevelFlight> {
        let clean = Configuration::default();
        let excess =
            |v: f64| self.perform(air, v, levers(v)).thrust_n - self.drag_n(air, v, mass_kg, clean);
        let tas = |ias: f64| self.tas_from_ias(air, ias);
        let slowest = tas(Speeds::at_mass(
            self.speeds.vs_m_s,
            mass_kg,
            self.masses.max_take_off_kg,
        ));
        let mut fast = tas(OVER_NEVER_EXCEED * self.speeds.vne_m_s);
        let mut slow = fast;
        // Thrust falls and drag rises with speed on the fast side: seen from above, the first surplus ends the search.
        while excess(slow) <= 0.0 {
            fast = slow;
            slow -= SCAN_M_S;
            if slow.is_nan() || slow < slowest {
                return None;
            }
        }
        for _ in 0..MAX_STEPS {
            if fast - slow <= TOLERANCE_M_S {
                break;
            }
            let middle = 0.5 * (slow + fast);
            if excess(middle) > 0.0 {
                slow = middle;
            } else {
                fast = middle;
            }
        }
        let tas_m_s = 0.5 * (slow + fast);
        let slope = (excess(tas_m_s + SLOPE_M_S) - excess(tas_m_s - SLOPE_M_S)) / (2.0 * SLOPE_M_S);
        let settling_s = -mass_kg / slope;
        (slope < 0.0 && settling_s < SLOWEST_SETTLING_S).then(|| LevelFlight {
            tas_m_s,
            levers: levers(tas_m_s),
            settling_s,
        })
    }
}
