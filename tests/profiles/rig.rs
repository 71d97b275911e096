//! A rig to ask an aircraft what a pilot would: speed in level flight, climb, glide. Own code, so that the tests do not lean on
//! the trip integrators.

use crate::common::profile;
use fellrun::air::{isa, speed};
use fellrun::aircraft::{
    AirState, Aircraft, Configuration, EngineState, GlidePropeller, Levers, Performance, Throttle,
};
use fellrun::quantity::{G_M_S2, KG_PER_LB, M_PER_FT, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use std::sync::LazyLock;

/// The profiles of `profiles/`, by kind.
pub static DEMO: LazyLock<Aircraft> = LazyLock::new(|| profile("retractable-200hp"));
pub static SIX: LazyLock<Aircraft> = LazyLock::new(|| profile("retractable-285hp"));
pub static TURBO: LazyLock<Aircraft> = LazyLock::new(|| profile("turbo-retractable-300hp"));
pub static TRAINER: LazyLock<Aircraft> = LazyLock::new(|| profile("trainer-160hp"));
pub static TWIN: LazyLock<Aircraft> = LazyLock::new(|| profile("twin-200hp"));

/// Rev/min in rev/s.
pub const RPM: f64 = 1.0 / 60.0;
/// Pounds per kilogram-second of fuel flow at 6 lb per gallon: gallons per hour of 1 kg/s.
pub const GPH: f64 = KG_PER_LB * 6.0 / 3600.0;

/// All profiles with their names.
pub fn all() -> [(&'static str, &'static Aircraft); 5] {
    [
        ("demo", &DEMO),
        ("six seats", &SIX),
        ("turbo", &TURBO),
        ("trainer", &TRAINER),
        ("twin", &TWIN),
    ]
}

/// Air at a pressure altitude [ft], this much [K] off standard.
pub fn air(altitude_ft: f64, deviation_k: f64) -> AirState {
    let h = altitude_ft * M_PER_FT;
    AirState::new(isa::pressure_pa(h), isa::temperature_k(h) + deviation_k)
}

/// True airspeed [m/s] of an indicated one [kt].
pub fn tas_m_s(aircraft: &Aircraft, ias_kt: f64, air: AirState) -> f64 {
    let cas = aircraft.cas_from_ias(ias_kt * M_S_PER_KT);
    speed::cas_to_tas_m_s(cas, air.pressure_pa, air.temperature_k)
}

/// Indicated airspeed [kt] of a true one [m/s].
pub fn ias_kt(aircraft: &Aircraft, tas_m_s: f64, air: AirState) -> f64 {
    let cas = speed::tas_to_cas_m_s(tas_m_s, air.pressure_pa, air.temperature_k);
    aircraft.ias_from_cas(cas) / M_S_PER_KT
}

/// Levers in cockpit units.
pub fn levers(throttle: Throttle, rpm: f64, mixture: usize) -> Levers {
    Levers {
        throttle,
        rev_s: rpm * RPM,
        mixture,
    }
}

/// A throttle by manifold pressure [inHg].
pub fn map(inhg: f64) -> Throttle {
    Throttle::Map(inhg * PA_PER_INHG)
}

/// Drag [N] at greatest take-off mass.
pub fn drag_n(aircraft: &Aircraft, air: AirState, tas: f64, configuration: Configuration) -> f64 {
    aircraft.drag_n(air, tas, aircraft.masses.max_take_off_kg, configuration)
}

/// Level flight at greatest take-off mass: true airspeed [m/s] where thrust is drag, the faster of two, and what the engine does.
pub fn level(aircraft: &Aircraft, air: AirState, levers: Levers) -> (f64, Performance) {
    let spare = |tas: f64| {
        aircraft.perform(air, tas, levers).thrust_n
            - drag_n(aircraft, air, tas, Configuration::default())
    };
    let (mut low, mut high) = (0.0, 160.0);
    assert!(spare(high) < 0.0);
    // from above, for below lies the slow side of the drag curve
    while spare(high) < 0.0 {
        low = high - 1.0;
        high = low;
        assert!(low > 30.0, "no level flight");
    }
    high = low + 1.0;
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if spare(middle) > 0.0 {
            low = middle
        } else {
            high = middle
        }
    }
    (low, aircraft.perform(air, low, levers))
}

/// Steady rate of climb [ft/min] for a thrust, at greatest take-off mass and constant true airspeed.
pub fn rate_fpm(
    aircraft: &Aircraft,
    air: AirState,
    tas: f64,
    thrust_n: f64,
    configuration: Configuration,
) -> f64 {
    let weight_n = aircraft.masses.max_take_off_kg * G_M_S2;
    (thrust_n - drag_n(aircraft, air, tas, configuration)) * tas / weight_n / M_S_PER_FPM
}

/// Best glide at greatest take-off mass: ratio, indicated speed [kt].
pub fn best_glide(
    aircraft: &Aircraft,
    air: AirState,
    propeller: GlidePropeller,
    engine: EngineState,
) -> (f64, f64) {
    let weight_n = aircraft.masses.max_take_off_kg * G_M_S2;
    (50..140)
        .map(|kt| {
            let tas = tas_m_s(aircraft, f64::from(kt), air);
            let thrust = aircraft.glide_drag(air, tas, propeller, engine).thrust_n;
            let sine = (drag_n(aircraft, air, tas, Configuration::default()) - thrust) / weight_n;
            ((1.0 - sine * sine).max(0.0).sqrt() / sine, f64::from(kt))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .expect("the range of speeds is not empty")
}

/// Everything at its worst: dead, throttle shut, oil pressure there.
pub const DEAD: EngineState = EngineState::Dead {
    throttle_open: false,
    oil_pressure: true,
};
