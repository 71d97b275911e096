//! Tests of the re-flight: closed forms, and the crosscheck with `flight`.

mod agreement;

use super::motion::Model;
use super::{Phase, ReflightError, refly};
use crate::air::{isa, speed};
use crate::flight::testbed::*;
use crate::flight::{Flown, PathRule, Script, ThrottleRule, fly};
use crate::quantity::{M_PER_NM, M_S_PER_FPM};
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
    fly(problem, script, None, &Default::default()).expect("the test script can be flown")
}

#[test]
fn closed_form_work_of_thrust_less_drag_is_change_of_energy() {
    let held = script(ThrottleRule::Held(18.0 * IN), rate(500.0), 1_800.0);
    let speed = script(
        ThrottleRule::LeftAlone(16.0 * IN),
        PathRule::Ias(145.0 * KT),
        2_500.0,
    );
    let windy = windy(aircraft(1.0), 6.0, (30.02, 29.72));
    let calm = problem(aircraft(1.0), 200.0, CALM);
    for (problem, script) in [(&windy, &held), (&windy, &speed), (&calm, &held)] {
        let reflown = refly(problem, &planned(problem, script).script).expect("flown before");
        let e = reflown.energy;
        // Thrust of 1 to 2 kN over 370 km or more.
        assert!(e.thrust_j > 2e8, "{e:?}");
        assert!(
            e.residual_j().abs() < ENERGY_TOLERANCE * e.thrust_j,
            "{e:?}"
        );
        let left = e.thrust_j - e.drag_j - e.shear_j - e.carried_j - e.change_j;
        assert_eq!(e.residual_j(), left);
    }
    // The shear is there, and leaving it out would be seen.
    let e = refly(&windy, &planned(&windy, &held).script)
        .expect("flown before")
        .energy;
    assert!(
        e.shear_j.abs() > 100.0 * ENERGY_TOLERANCE * e.thrust_j,
        "{e:?}"
    );
    assert!(e.carried_j > 100.0 * ENERGY_TOLERANCE * e.thrust_j, "{e:?}");
}

#[test]
fn closed_form_geometric_height_is_that_of_the_air_table() {
    // The rate of geometric height is integrated along the path; the table was made by going up from the ground at each node. With
    // temperatures that depend on height alone they agree but for the air between the two field elevations and the change of
    // T/T_std with the altimeter setting: a few per cent of the 140 m that half an inch of mercury is worth, which is what
    // leaving out the slope of the pressure surfaces would cost.
    const HEIGHT_M: f64 = 10.0;
    for altimeter in [STANDARD_INHG, (30.17, 29.67), (29.67, 30.17)] {
        let problem = windy(aircraft(1.0), 0.0, altimeter);
        let flown = planned(
            &problem,
            &script(ThrottleRule::Held(18.0 * IN), rate(500.0), 1_800.0),
        );
        let reflown = refly(&problem, &flown.script).expect("flown before");
        let last = reflown.samples.last().expect("a flight has samples");
        let miss = reflown.geometric_end_m - last.true_altitude_m;
        assert!(miss.abs() < HEIGHT_M, "{altimeter:?}: {miss}");
    }
}

#[test]
fn closed_form_held_cas_slopes_are_those_of_the_speed_relations() {
    /// Central differences over 2 m of a function whose third derivative is tiny: rounding of 1e-16 x 100 / 1e-0.
    const SLOPE: f64 = 1e-9;
    let problem = problem(
        aircraft(1.0),
        300.0,
        Day {
            deviation_k: 12.0,
            ..CALM
        },
    );
    let model = Model::new(&problem);
    let tas = |cas: f64, hp: f64| {
        let t = isa::temperature_k(hp) + 12.0;
        speed::cas_to_tas_m_s(cas, isa::pressure_pa(hp), t)
    };
    for hp in [100.0, 1_000.0, 2_500.0, 5_000.0] {
        for cas in [40.0, 60.0, 80.0] {
            let (per_hp, per_s, _) = model.held_cas_slopes(0.0, 50_000.0, hp, tas(cas, hp));
            let measured = (tas(cas, hp + 1.0) - tas(cas, hp - 1.0)) / 2.0;
            assert!(
                (per_hp - measured).abs() < SLOPE,
                "{hp} {cas}: {per_hp} {measured}"
            );
            assert!(per_s.abs() < SLOPE);
        }
    }
}

#[test]
fn closed_form_triggers_are_met() {
    let problem = problem(
        aircraft(1.0),
        250.0,
        Day {
            along_kt: 15.0,
            deviation_k: -8.0,
            ..CALM
        },
    );
    let flown = planned(
        &problem,
        &script(ThrottleRule::Held(18.0 * IN), rate(500.0), 3_300.0),
    );
    let r = refly(&problem, &flown.script).expect("flown before");
    let last_of = |phase| {
        r.samples
            .iter()
            .rfind(|s| s.phase == phase)
            .expect("each phase has samples")
    };
    let near = |a: f64, b: f64, within: f64| assert!((a - b).abs() < within, "{a} {b}");
    near(
        last_of(Phase::InitialClimb).indicated_m,
        1_500.0 * FT,
        TRIGGER_HEIGHT_M,
    );
    near(
        last_of(Phase::ToClimbSpeed).ias_m_s,
        100.0 * KT,
        TRIGGER_SPEED_M_S,
    );
    near(
        last_of(Phase::Climb).indicated_m,
        9_500.0 * FT,
        TRIGGER_HEIGHT_M,
    );
    near(
        last_of(Phase::LevelOff).ias_m_s,
        115.0 * KT,
        TRIGGER_SPEED_M_S,
    );
    near(
        last_of(Phase::Cruise).distance_m,
        problem.length_m - flown.script.descent.to_go_m,
        TRIGGER_DISTANCE_M,
    );
    near(
        last_of(Phase::Descent).indicated_m,
        1_800.0 * FT,
        TRIGGER_HEIGHT_M,
    );
    near(
        last_of(Phase::SlowDown).ias_m_s,
        90.0 * KT,
        TRIGGER_SPEED_M_S,
    );
    near(
        last_of(Phase::Pattern).distance_m,
        problem.length_m,
        TRIGGER_DISTANCE_M,
    );
    near(
        r.pattern_point.distance_m,
        problem.length_m - problem.arrival.before_m,
        0.2,
    );
    // IAS is held where it is to be held, though it is integrated and not imposed.
    for (phase, kt) in [
        (Phase::InitialClimb, 85.0),
        (Phase::Climb, 100.0),
        (Phase::Pattern, 90.0),
    ] {
        let mut seen = 0;
        for s in r.samples.iter().filter(|s| s.phase == phase) {
            near(s.ias_m_s, kt * KT, HELD_IAS_M_S);
            seen += 1;
        }
        assert!(seen > 2);
    }
    // The throttle is trimmed at whole thousands of feet, and manifold pressure rises between them by under an inch.
    let held: Vec<f64> = r
        .samples
        .iter()
        .filter(|s| {
            s.phase == Phase::Descent
                && s.indicated_m > 3_301.0 * FT
                && s.indicated_m < 8_000.0 * FT
        })
        .map(|s| s.map_pa / IN)
        .collect();
    assert!(held.len() > 10);
    assert!(held.iter().all(|m| (17.99..19.0).contains(m)), "{held:?}");
    assert!(held.iter().any(|m| *m > 18.3));
    // Time and distance never run back.
    assert!(
        r.samples
            .windows(2)
            .all(|w| w[1].time_s >= w[0].time_s && w[1].distance_m >= w[0].distance_m)
    );
}

#[test]
fn closed_form_mass_and_fuel_agree() {
    let problem = problem(aircraft(1.0), 200.0, CALM);
    let flown = planned(
        &problem,
        &script(ThrottleRule::Held(18.0 * IN), rate(500.0), 1_800.0),
    );
    let r = refly(&problem, &flown.script).expect("flown before");
    let first = r.samples.first().expect("a flight has samples");
    let last = r.samples.last().expect("a flight has samples");
    // Lift-off mass: without taxi and take-off fuel, 4 kg in the test aircraft.
    assert!((first.mass_kg - (problem.zero_fuel_kg + problem.fuel_kg - 4.0)).abs() < 1e-9);
    assert!((first.mass_kg - last.mass_kg - last.fuel_kg).abs() < 1e-9);
    assert!((r.fuel_kg - last.fuel_kg - 1.0).abs() < 1e-9);
}

#[test]
fn regress_same_card_same_answer() {
    // Bit for bit: nothing random, nothing depends on the clock.
    let problem = windy(aircraft(1.0), 6.0, STANDARD_INHG);
    let flown = planned(
        &problem,
        &script(ThrottleRule::Held(18.0 * IN), rate(500.0), 1_800.0),
    );
    let one = refly(&problem, &flown.script).expect("flown before");
    let two = refly(&problem, &flown.script).expect("flown before");
    assert_eq!(one, two);
}

#[test]
fn regress_cards_that_cannot_be_flown_are_refused() {
    // Pins the kinds of error: each must be said, none may hang or panic.
    let problem = problem(aircraft(1.0), 200.0, CALM);
    let open = script(ThrottleRule::Held(18.0 * IN), rate(500.0), 1_800.0);
    assert_eq!(
        refly(&problem, &open).err(),
        Some(ReflightError::NoTopOfDescent)
    );
    let mut card = open.clone();
    card.descent.to_go_m = 45.0 * M_PER_NM;
    let mut empty = card.clone();
    empty.cruise.clear();
    assert_eq!(refly(&problem, &empty).err(), Some(ReflightError::NoCruise));
    let mut high = card.clone();
    high.cruise[0].level_m = 19_500.0 * FT;
    high.climb.ias_m_s = 120.0 * KT;
    assert!(
        matches!(
            refly(&problem, &high),
            Err(ReflightError::CannotClimb { .. })
        ),
        "{:?}",
        refly(&problem, &high).err()
    );
    let mut weak = card.clone();
    weak.cruise[0].throttle = crate::aircraft::Throttle::Map(9.0 * IN);
    assert!(matches!(
        refly(&problem, &weak),
        Err(ReflightError::CannotHoldLevel { .. })
    ));
    let mut powered = card.clone();
    powered.reduction.floor_pa = 26.0 * IN;
    powered.descent.first.throttle = ThrottleRule::Held(26.0 * IN);
    assert!(matches!(
        refly(&problem, &powered),
        Err(ReflightError::NeverSlows { .. })
    ));
    let mut slow = card;
    slow.descent.first.path = PathRule::Ias(119.0 * KT);
    slow.descent.first.throttle = ThrottleRule::Full;
    assert!(refly(&problem, &slow).is_err());
}
