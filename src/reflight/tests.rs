//! Tests of the re-flight: closed forms, and the crosscheck with `flight`.

use super::motion::Model;
use super::testbed::*;
use super::{Mismatch, Phase, ReflightError, Reflown, refly};
use crate::air::{isa, speed};
use crate::flight::{Flown, PathRule, Script, ThrottleRule, fly};
use crate::quantity::{M_PER_NM, M_S_PER_FPM, M3_PER_GAL};
use crate::trip::Problem;

/// Energy balance over the work of the thrust. The tolerance of the integrator is 1e-8 a step; the least error worth
/// catching (the fuel's energy left out) is 1e-3.
const ENERGY_TOLERANCE: f64 = 1e-6;
/// Heights at triggers, m: a trigger is found to 1e-6 s, and 10 m/s are not exceeded.
const TRIGGER_HEIGHT_M: f64 = 1e-4;
/// Distances at triggers, m: 1e-6 s at 100 m/s.
const TRIGGER_DISTANCE_M: f64 = 1e-3;
/// Speeds at triggers, m/s.
const TRIGGER_SPEED_M_S: f64 = 1e-5;
/// Drift of a held IAS that is integrated, not imposed, m/s: 1e-8 a step over a hundred steps.
const HELD_IAS_M_S: f64 = 1e-4;

fn rate(fpm: f64) -> PathRule {
    PathRule::Rate(fpm * M_S_PER_FPM)
}

fn planned(problem: &Problem, script: &Script) -> Flown {
    fly(problem, script, None).expect("the test script can be flown")
}

fn show(name: &str, m: &Mismatch, r: &Reflown, took: std::time::Duration) {
    println!(
        "{name:<34} {:+7.3} s {:+8.4} gal {:+7.2} ft {:+6.3} kt  energy {:+.1e}  {:?}  {:.1} ms",
        m.time_s,
        m.fuel_kg / DENSITY_KG_M3 / M3_PER_GAL,
        m.height_m / FT,
        m.speed_m_s / KT,
        r.energy.residual_j() / r.energy.thrust_j,
        r.effort,
        took.as_secs_f64() * 1e3,
    );
}

/// Scripts of every kind the pilot may be given, with their names and days.
fn cases() -> Vec<(&'static str, Problem, Script)> {
    let held = |inches: f64| ThrottleRule::Held(inches * IN);
    let alone = |inches: f64| ThrottleRule::LeftAlone(inches * IN);
    let aeroplane = aircraft(1.0);
    let windy_day =
        Day { along_kt: -20.0, cross_kt: 15.0, deviation_k: 12.0, altimeter_inhg: (29.921_26, 29.921_26) };
    let high_low = Day { altimeter_inhg: (30.02, 29.72), ..CALM };
    let calm = |nm: f64| problem(aeroplane.clone(), nm, CALM);
    let mut steps = script(held(18.0), rate(500.0), 1_800.0);
    steps.cruise = vec![cruise(5_500.0, 0.0), cruise(9_500.0, 90.0), cruise(7_500.0, 200.0)];
    let mut coarse = script(alone(19.0), rate(500.0), 1_800.0);
    coarse.descent.rev_s = 1_900.0 * RPM;
    vec![
        ("held rate calm 300", calm(300.0), script(held(18.0), rate(500.0), 1_800.0)),
        ("held rate early cut", calm(300.0), script(held(18.0), rate(500.0), 3_300.0)),
        ("left alone rate", calm(200.0), coarse),
        ("left alone rate early cut", calm(200.0), script(alone(19.0), rate(400.0), 3_000.0)),
        ("held ias", calm(200.0), script(held(17.0), PathRule::Ias(150.0 * KT), 1_800.0)),
        ("left alone ias early cut", calm(200.0), script(alone(16.0), PathRule::Ias(145.0 * KT), 2_500.0)),
        ("held above cruise map", calm(200.0), script(held(21.5), rate(500.0), 1_800.0)),
        ("head wind, cross wind, warm", problem(aeroplane.clone(), 250.0, windy_day), script(held(18.0), rate(500.0), 1_800.0)),
        ("three levels", calm(300.0), steps),
        ("altimeter 30.02 to 29.72", problem(aeroplane.clone(), 300.0, high_low), script(held(18.0), rate(500.0), 1_800.0)),
        ("changing wind held rate", windy(aeroplane.clone()), script(held(18.0), rate(500.0), 1_800.0)),
        ("changing wind left alone ias", windy(aeroplane), script(alone(16.0), PathRule::Ias(145.0 * KT), 2_500.0)),
    ]
}

#[test]
fn crosscheck_reflight_agrees_with_flight() {
    let mut failed = vec![];
    let all = cases();
    assert!(all.len() >= 10);
    for (name, problem, script) in &all {
        let flown = match fly(problem, script, None) {
            Ok(f) => f,
            Err(e) => {
                println!("{name}: {e}");
                failed.push(*name);
                continue;
            }
        };
        let began = std::time::Instant::now();
        let reflown = match refly(problem, &flown.script) {
            Ok(r) => r,
            Err(e) => {
                println!("{name}: {e}");
                failed.push(*name);
                continue;
            }
        };
        let took = began.elapsed();
        let m = Mismatch::between(problem, &flown, &reflown);
        show(name, &m, &reflown, took);
        if !m.within_bounds(DENSITY_KG_M3) {
            failed.push(*name);
            for (what, a, b) in [
                ("top of climb", flown.top_of_climb, reflown.top_of_climb),
                ("top of descent", flown.top_of_descent, reflown.top_of_descent),
                ("level off", flown.level_off, reflown.level_off),
                ("slowed", flown.slowed, reflown.slowed),
            ] {
                println!(
                    "    {what:<15} {:+9.1} m {:+7.2} s {:+8.4} kg  at {:.1} nm {:.0} s",
                    b.distance_m - a.distance_m,
                    b.time_s - a.time_s,
                    b.fuel_kg - a.fuel_kg,
                    a.distance_m / M_PER_NM,
                    a.time_s
                );
            }
        }
    }
    assert!(failed.is_empty(), "out of bounds: {failed:?}");
}
