//! Problems built in code for the integration tests: the demo aircraft, or one with the textbook power plant, in uniform air.
#![allow(dead_code, reason = "each test binary uses its own part")]

use fellrun::aircraft::{Aircraft, Textbook};
use fellrun::quantity::*;
use fellrun::trip::*;
use std::path::Path;

/// The demo aircraft.
pub fn demo() -> Aircraft {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles/retractable-200hp.toml");
    fellrun::files::profile::load_profile(&path).expect("the demo profile loads")
}

/// A demo trip, by its file name in examples/, for an objective.
pub fn demo_trip(trip: &str, objective: Objective) -> Problem {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("examples")
        .join(trip);
    let file = fellrun::files::trip::load_trip(&path, None).expect("the demo trip loads");
    let mut trip = file.trip;
    trip.objective = objective;
    resolve(&trip, file.aircraft).expect("the demo trip resolves")
}

/// The demo aircraft with constant efficiency and consumption, and no limit of power, RPM line or mixture that could interfere.
pub fn textbook(power_w: f64, efficiency: f64, consumption_kg_j: f64) -> Aircraft {
    let mut a = demo();
    a.textbook = Some(Textbook {
        power_w,
        efficiency,
        consumption_kg_j,
    });
    a.procedures.cruise_power_fraction = 1.0;
    a.procedures.map_limit = vec![(0.0, 1e6)];
    a.propeller.avoid.clear();
    a.engine
        .spec
        .mixtures
        .iter_mut()
        .for_each(|m| m.max_power_fraction = 2.0);
    a
}

/// A straight route in uniform air between fields at sea level, standard altimeter setting.
pub fn problem(aircraft: Aircraft, length_nm: f64, along_kt: f64, isa_deviation_k: f64) -> Problem {
    let length_m = length_nm * M_PER_NM;
    let field = |ident: &str| Field {
        ident: ident.into(),
        elevation_m: 0.0,
        datum_m: 0.0,
    };
    let fuel_kg = aircraft.fuel.usable_kg;
    let zero_fuel_kg = aircraft.masses.max_take_off_kg - fuel_kg;
    let top_m = 25_000.0 * M_PER_FT;
    let leg = Leg {
        from: "A".into(),
        to: "B".into(),
        from_m: 0.0,
        to_m: length_m,
        true_rad: 1.0,
        magnetic_rad: 1.0,
        variation_rad: 0.0,
        ground: vec![(0.0, length_m, 0.0)],
        minimum_m: 1_000.0 * M_PER_FT,
        maximum_m: None,
        mountainous: false,
        ground_source: "flat, for the test".into(),
    };
    let mut p = Problem {
        title: "test".into(),
        departure_time: "2026-06-01T12:00:00Z".parse().expect("a time"),
        start: Default::default(),
        valid_until: None,
        legs: vec![leg],
        length_m,
        air: RouteAir::uniform(length_m, along_kt * M_S_PER_KT, 0.0, isa_deviation_k, top_m),
        departure: field("A"),
        destination: field("B"),
        zero_fuel_kg,
        fuel_kg,
        objective: Objective::Money,
        prices: Prices {
            per_s: 120.0 / 3600.0,
            basis: HourBasis::Airborne,
            fuel_per_kg: 2.4,
        },
        limits: Limits {
            max_altitude_m: 12_500.0 * M_PER_FT,
            clearance_m: 1_000.0 * M_PER_FT,
            mountain_clearance_m: 2_000.0 * M_PER_FT,
            air: vec![],
            smooth_near_ground: false,
            max_descent_m_s: 500.0 * M_S_PER_FPM,
            least_map_pa: 15.0 * PA_PER_INHG,
            map_reduction_pa_s: 2.0 * PA_PER_INHG / 60.0,
            oxygen: true,
            reserve_s: 45.0 * 60.0,
        },
        rules: Rules::UsVfr,
        night: false,
        arrival: Arrival {
            pattern_altitude_m: 1_000.0 * M_PER_FT,
            before_m: 5.0 * M_PER_NM,
            circuit_s: 180.0,
        },
        levels: vec![],
        bounds: Default::default(),
        charge: Default::default(),
        clock: vec![],
        forbidden: vec![],
        notes: vec![],
        aircraft,
    };
    p.levels = p.legs.iter().map(|l| legal_levels(&p, l)).collect();
    p
}
