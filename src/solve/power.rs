//! The power of a steady descent.

use crate::air::isa;
use crate::aircraft::{AirState, Configuration, Levers, Throttle};
use crate::quantity::{G_M_S2, PA_PER_INHG};
use crate::trip::{AirSample, Problem};

/// Thrust \[N\] that holds a true airspeed and a rate of descent by the altimeter \[m/s\] at a pressure altitude \[m\] and mass \[kg\],
/// speed held and shear left out.
pub(super) fn needed_thrust_n(
    p: &Problem,
    air: AirState,
    sample: &AirSample,
    pressure_altitude_m: f64,
    (tas_m_s, rate_m_s): (f64, f64),
    (mass_kg, hangs_out): (f64, Configuration),
) -> f64 {
    let drag_n = p.aircraft.drag_n(air, tas_m_s, mass_kg, hangs_out);
    let warmth = sample.temperature_k / isa::temperature_k(pressure_altitude_m);
    drag_n - mass_kg * G_M_S2 * rate_m_s * warmth / tas_m_s
}

/// Manifold pressure \[Pa\], or at fixed pitch crankshaft speed \[rev/s\], that gives a thrust \[N\], the other levers as they are.
pub(super) fn reading_for(
    p: &Problem,
    air: AirState,
    tas_m_s: f64,
    levers: Levers,
    thrust_n: f64,
) -> f64 {
    let fixed = p.aircraft.propeller.is_fixed();
    let thrust = |reading| {
        let set = if fixed {
            Levers {
                throttle: Throttle::Rpm,
                rev_s: reading,
                ..levers
            }
        } else {
            Levers {
                throttle: Throttle::Map(reading),
                ..levers
            }
        };
        p.aircraft.perform(air, tas_m_s, set).thrust_n
    };
    let (mut low, mut high) = if fixed {
        let range = &p.aircraft.propeller;
        (range.lowest_governed_rev_s, range.highest_governed_rev_s)
    } else {
        (8.0 * PA_PER_INHG, air.pressure_pa)
    };
    for _ in 0..40 {
        let mid = 0.5 * (low + high);
        if thrust(mid) > thrust_n {
            high = mid
        } else {
            low = mid
        }
    }
    low
}
