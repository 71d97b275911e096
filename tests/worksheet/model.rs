//! The numbers that exercises take from the model, held against the model asked directly.

use super::{PROFILES, ask, drawn, given, profile};
use fellrun::air::isa;
use fellrun::aircraft::{
    AirState, Aircraft, Configuration, EngineState, GlidePropeller, Levers, Throttle,
};
use fellrun::quantity::{G_M_S2, KG_PER_LB, M_PER_FT, M_S_PER_KT, M3_PER_GAL, PA_PER_INHG};
use fellrun::teach::worksheet::{SheetAsk, Teacher, Topic};

/// Half a knot of speed is 0.4 % of it and 0.8 % of drag, 0.05 in of MAP 0.3 % of thrust and as much again by the speed.
const BALANCE: f64 = 0.02;
/// A twentieth by rounding, and what 0.05 in of MAP is worth.
const FLOW_GPH: f64 = 0.15;
/// A tenth by rounding, and the curve of the drag over the speeds.
const LOSS_KT_S: f64 = 0.055;
/// A ratio is printed in tenths, the speed in knots; the height at which it is taken is the middle one.
const RATIO: f64 = 0.02;

fn air(ft: f64) -> AirState {
    let m = ft * M_PER_FT;
    AirState::new(isa::pressure_pa(m), isa::temperature_k(m))
}

fn sheet(
    teacher: &Teacher,
    topics: Vec<Topic>,
    seed: u64,
) -> Vec<fellrun::teach::worksheet::Exercise> {
    let some = SheetAsk {
        topics,
        ..ask(teacher.aircraft(), seed, 12)
    };
    drawn(teacher, &some)
}

fn levers(aircraft: &Aircraft, map_in: f64, rpm: f64) -> Levers {
    Levers {
        throttle: Throttle::Map(map_in * PA_PER_INHG),
        rev_s: rpm / 60.0,
        mixture: aircraft.engine.best_power_mixture(),
    }
}

/// Each printed row of a table is level flight: thrust is drag there, and the flow is that of the engine.
#[test]
fn crosscheck_rows_of_tables_are_level_flight() {
    let mut checked = 0;
    for name in PROFILES.into_iter().filter(|n| *n != "trainer-160hp") {
        let a = profile(name);
        let teacher = Teacher::new(&a);
        for seed in 0..3 {
            for e in sheet(&teacher, vec![Topic::Settings, Topic::Rpm], seed) {
                let t = e.table.as_ref().expect("a table");
                for row in &t.rows {
                    let (ft, rpm, map) = match e.topic {
                        Topic::Rpm => (given(&e, "altitude"), row[0], row[1]),
                        _ => (row[0], given(&e, "rpm"), row[1]),
                    };
                    let last = row.len() - 1;
                    let (gph, tas) = (row[last - 1], row[last] * M_S_PER_KT);
                    let air = air(ft);
                    let set = a.perform(air, tas, levers(&a, map, rpm));
                    let drag =
                        a.drag_n(air, tas, a.masses.max_take_off_kg, Configuration::default());
                    assert!(
                        (set.thrust_n / drag - 1.0).abs() < BALANCE,
                        "{name} {}: {row:?}",
                        e.kind
                    );
                    let flow = set.fuel_kg_s * 3_600.0 / (a.fuel.density_kg_m3 * M3_PER_GAL);
                    assert!(
                        (flow - gph).abs() < FLOW_GPH,
                        "{name} {}: {flow} {row:?}",
                        e.kind
                    );
                    checked += 1;
                }
            }
        }
    }
    assert!(checked > 300);
}

/// The flows of a descent are those of the engine at the manifold pressure and RPM named, which hardly know the speed.
#[test]
fn crosscheck_flows_of_a_descent_are_those_of_the_engine() {
    let mut checked = 0;
    for name in PROFILES.into_iter().filter(|n| *n != "trainer-160hp") {
        let a = profile(name);
        let teacher = Teacher::new(&a);
        for e in sheet(&teacher, vec![Topic::Fuel], 4) {
            if e.kind != "fuel_by_mean_flow" {
                continue;
            }
            for (height, flow) in [("from", "top"), ("to", "bottom")] {
                let intake = a.intake(air(given(&e, height)), 130.0 * M_S_PER_KT);
                let out = a.engine.at_map(
                    given(&e, "map") * PA_PER_INHG,
                    given(&e, "rpm") / 60.0,
                    a.engine.best_power_mixture(),
                    intake,
                );
                let kg_s = out.fuel_kg_s * f64::from(a.engines);
                let gph = kg_s * 3_600.0 / (a.fuel.density_kg_m3 * M3_PER_GAL);
                assert!(
                    (gph - given(&e, flow)).abs() < FLOW_GPH,
                    "{name}: {gph} {e:?}"
                );
                checked += 1;
            }
        }
    }
    assert!(checked >= 24);
}

/// The loss of speed, by flying the slow-down in steps of a twentieth of a second.
#[test]
fn crosscheck_loss_of_speed_is_that_of_the_equation_of_motion() {
    let mut checked = 0;
    for name in PROFILES {
        let a = profile(name);
        let teacher = Teacher::new(&a);
        for e in sheet(&teacher, vec![Topic::Slowdown], 3) {
            if e.kind != "slow_seconds" {
                continue;
            }
            let air = air(given(&e, "altitude"));
            let [from, to] = ["from_ias", "to_ias"].map(|n| given(&e, n));
            let tas = |kt: f64| a.tas_from_ias(air, kt * M_S_PER_KT);
            let set = if a.propeller.is_fixed() {
                Levers {
                    throttle: Throttle::Shut,
                    ..levers(&a, 15.0, 2_400.0)
                }
            } else {
                levers(&a, given(&e, "map"), given(&e, "rpm"))
            };
            let mass = a.masses.max_take_off_kg;
            let (mut v, mut seconds) = (tas(from), 0.0);
            while v > tas(to) {
                let excess = a.perform(air, v, set).thrust_n
                    - a.drag_n(air, v, mass, Configuration::default());
                v += excess / mass * 0.05;
                seconds += 0.05;
            }
            let loss = (from - to) / seconds;
            assert!(
                (loss - given(&e, "loss")).abs() < LOSS_KT_S,
                "{name}: {loss} {e:?}"
            );
            checked += 1;
        }
    }
    assert!(checked >= 15);
}

/// The glide ratio from the forces at the printed speed: weight over drag less (negative) thrust, and what thickening air takes as it is
/// flown at constant indicated airspeed.
#[test]
fn crosscheck_glide_ratios_are_those_of_the_forces() {
    let mut checked = 0;
    for name in PROFILES {
        let a = profile(name);
        let teacher = Teacher::new(&a);
        for e in sheet(&teacher, vec![Topic::Glide], 2) {
            let engine = EngineState::Dead {
                throttle_open: false,
                oil_pressure: true,
            };
            let mass = given(&e, "weight") * KG_PER_LB;
            let ratio = |ias: f64, lever: GlidePropeller| {
                let at = |ft: f64| a.tas_from_ias(air(ft), ias * M_S_PER_KT);
                let v = at(3_000.0);
                let thrust = a.glide_drag(air(3_000.0), v, lever, engine).thrust_n;
                let drag = a.drag_n(air(3_000.0), v, mass, Configuration::default());
                let per_m = (at(3_100.0) - at(2_900.0)) / (200.0 * M_PER_FT);
                mass * G_M_S2 * (1.0 + v / G_M_S2 * per_m) / (drag - thrust)
            };
            let forward = ratio(given(&e, "ias"), GlidePropeller::LeverForward);
            let printed = given(&e, "ratio");
            assert!(
                (forward - printed).abs() < RATIO * printed,
                "{name}: {forward} {e:?}"
            );
            if e.kind == "glide_lever_slack" {
                let back = ratio(given(&e, "ias"), GlidePropeller::LeverBack);
                assert!((back / forward - 1.0).abs() < 1e-6, "{name}: {back} {e:?}");
            }
            if e.kind == "glide_lever" {
                let back = ratio(given(&e, "back_ias"), GlidePropeller::LeverBack);
                let printed = given(&e, "back");
                assert!(
                    (back - printed).abs() < RATIO * printed,
                    "{name}: {back} {e:?}"
                );
            }
            checked += 1;
        }
    }
    assert!(checked >= 60);
}
