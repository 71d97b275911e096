//! Tests of the re-flight: closed forms, and the crosscheck with `flight`.

use super::motion::Model;
use super::testbed::*;
use super::{Mismatch, Phase, ReflightError, Reflown, refly};
use crate::air::{isa, speed};
use crate::flight::{DescentPart, Flown, PathRule, Script, ThrottleRule, fly};
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
    fly(problem, script, None, &Default::default()).expect("the test script can be flown")
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
    let windy_day = Day {
        along_kt: -20.0,
        cross_kt: 15.0,
        deviation_k: 12.0,
        altimeter_inhg: STANDARD_INHG,
    };
    let high_low = Day {
        altimeter_inhg: (30.02, 29.72),
        ..CALM
    };
    let calm = |nm: f64| problem(aeroplane.clone(), nm, CALM);
    let mut steps = script(held(18.0), rate(500.0), 1_800.0);
    steps.cruise = vec![
        cruise(5_500.0, 0.0),
        cruise(9_500.0, 90.0),
        cruise(7_500.0, 200.0),
    ];
    let mut coarse = script(alone(19.0), rate(500.0), 1_800.0);
    coarse.descent.first.rev_s = 1_900.0 * RPM;
    let second = |from_ft: f64, throttle, path| {
        let mut two = script(held(20.0), rate(500.0), 1_800.0);
        two.descent.second = Some((
            from_ft * FT,
            DescentPart {
                throttle,
                path,
                rev_s: 2_100.0 * RPM,
                mixture: 1,
                gear_down: false,
            },
        ));
        two
    };
    let climb_two = |from_ft: f64, first_kt: f64, second_kt: f64, lean_ft: f64| {
        let mut two = script(held(18.0), rate(500.0), 1_800.0);
        two.climb.ias_m_s = first_kt * KT;
        two.climb.second = Some((from_ft * FT, second_kt * KT));
        two.climb.lean_at_m = lean_ft * FT;
        two
    };
    let geared = |path: PathRule| {
        let mut down = script(held(16.0), path, 1_800.0);
        down.descent.first.gear_down = true;
        down
    };
    let geared_late = {
        let mut two = second(5_000.0, held(15.0), PathRule::Ias(100.0 * KT));
        two.descent.set_gear(false, true);
        two
    };
    vec![
        ("gear down, rate", calm(250.0), geared(rate(500.0))),
        (
            "gear down, ias",
            problem(aeroplane.clone(), 250.0, windy_day),
            geared(PathRule::Ias(110.0 * KT)),
        ),
        ("gear down in the second part", calm(250.0), geared_late),
        (
            "climb slowed on the way",
            problem(aeroplane.clone(), 250.0, windy_day),
            climb_two(6_000.0, 115.0, 90.0, 5_000.0),
        ),
        (
            "climb faster on the way, leaned there",
            calm(300.0),
            climb_two(5_000.0, 90.0, 115.0, 5_000.0),
        ),
        (
            "climb slowed where it levels off",
            calm(250.0),
            climb_two(9_400.0, 120.0, 90.0, 6_000.0),
        ),
        (
            "two parts, slowed in the second",
            calm(300.0),
            second(5_500.0, held(15.0), PathRule::Ias(100.0 * KT)),
        ),
        (
            "two parts, throttle untouched",
            problem(aeroplane.clone(), 250.0, windy_day),
            second(4_200.0, ThrottleRule::Untouched, rate(300.0)),
        ),
        (
            "two parts, power up again",
            calm(200.0),
            second(5_000.0, alone(22.0), rate(400.0)),
        ),
        (
            "held rate calm 300",
            calm(300.0),
            script(held(18.0), rate(500.0), 1_800.0),
        ),
        (
            "held rate early cut",
            calm(300.0),
            script(held(18.0), rate(500.0), 3_300.0),
        ),
        ("left alone rate", calm(200.0), coarse),
        (
            "left alone rate early cut",
            calm(200.0),
            script(alone(19.0), rate(400.0), 3_000.0),
        ),
        (
            "held ias",
            calm(200.0),
            script(held(17.0), PathRule::Ias(150.0 * KT), 1_800.0),
        ),
        (
            "left alone ias early cut",
            calm(200.0),
            script(alone(16.0), PathRule::Ias(145.0 * KT), 2_500.0),
        ),
        (
            "held above cruise map",
            calm(200.0),
            script(held(21.5), rate(500.0), 1_800.0),
        ),
        (
            "head wind, cross wind, warm",
            problem(aeroplane.clone(), 250.0, windy_day),
            script(held(18.0), rate(500.0), 1_800.0),
        ),
        ("three levels", calm(300.0), steps),
        (
            "altimeter 30.02 to 29.72",
            problem(aeroplane.clone(), 300.0, high_low),
            script(held(18.0), rate(500.0), 1_800.0),
        ),
        (
            "changing wind held rate",
            windy(aeroplane.clone(), 6.0, STANDARD_INHG),
            script(held(18.0), rate(500.0), 1_800.0),
        ),
        (
            "changing wind left alone ias",
            windy(aeroplane, 6.0, STANDARD_INHG),
            script(alone(16.0), PathRule::Ias(145.0 * KT), 2_500.0),
        ),
    ]
}

#[test]
fn crosscheck_reflight_agrees_with_flight() {
    // The bounds are those the plan is held to: 2 s, 0.05 gal, 50 ft, 2 kt.
    let all = cases();
    assert!(all.len() >= 10);
    for (name, problem, script) in &all {
        let flown = planned(problem, script);
        let began = std::time::Instant::now();
        let reflown = refly(problem, &flown.script).expect("what flight flies can be re-flown");
        let took = began.elapsed();
        let m = Mismatch::between(problem, &flown, &reflown);
        show(name, &m, &reflown, took);
        assert!(m.within_bounds(DENSITY_KG_M3), "{name}: {m:?}");
    }
}

#[test]
fn crosscheck_marks_agree_with_flight() {
    /// Steps of flight's Runge-Kutta and its cruise between wind nodes, s; the least setting error worth catching (one
    /// step of manifold pressure missed) is some seconds.
    const MARK_S: f64 = 0.5;
    let problem = problem(aircraft(1.0), 300.0, CALM);
    let flown = planned(
        &problem,
        &script(ThrottleRule::Held(18.0 * IN), rate(500.0), 3_300.0),
    );
    let reflown = refly(&problem, &flown.script).expect("flown before");
    for (a, b) in [
        (flown.top_of_climb, reflown.top_of_climb),
        (flown.top_of_descent, reflown.top_of_descent),
        (flown.level_off, reflown.level_off),
        (flown.slowed, reflown.slowed),
    ] {
        assert!((a.time_s - b.time_s).abs() < MARK_S, "{a:?} {b:?}");
        assert!(
            (a.distance_m - b.distance_m).abs() < MARK_S * 80.0,
            "{a:?} {b:?}"
        );
    }
    // Two hours at 2,400 rev/min and half a second: 20 revolutions.
    assert!((flown.revolutions - reflown.revolutions).abs() < MARK_S * 45.0);
}

#[test]
fn crosscheck_bounds_catch_half_a_percent_of_fuel() {
    // 0.5 % of some 23 gal is 0.11 gal, over twice the bound.
    let script = script(ThrottleRule::Held(18.0 * IN), rate(500.0), 1_800.0);
    let right = problem(aircraft(1.0), 300.0, CALM);
    let flown = planned(&right, &script);
    let wrong = problem(aircraft(1.005), 300.0, CALM);
    let reflown = refly(&wrong, &flown.script).expect("half a percent more fuel is still flown");
    let m = Mismatch::between(&right, &flown, &reflown);
    assert!(!m.within_bounds(DENSITY_KG_M3), "{m:?}");
    assert!(m.fuel_kg > 0.05 * M3_PER_GAL * DENSITY_KG_M3, "{m:?}");
}

#[test]
fn crosscheck_bounds_catch_a_second_climb_speed_left_out() {
    let problem = problem(aircraft(1.0), 300.0, CALM);
    let mut two = script(ThrottleRule::Held(18.0 * IN), rate(500.0), 1_800.0);
    two.climb.second = Some((4_000.0 * FT, 120.0 * KT));
    let flown = planned(&problem, &two);
    let right = Mismatch::between(
        &problem,
        &flown,
        &refly(&problem, &flown.script).expect("flown"),
    );
    assert!(right.within_bounds(DENSITY_KG_M3), "{right:?}");
    let mut one = flown.script.clone();
    one.climb.second = None;
    let reflown = refly(&problem, &one).expect("one speed is flown too");
    let m = Mismatch::between(&problem, &flown, &reflown);
    assert!(!m.within_bounds(DENSITY_KG_M3), "{m:?}");
}

#[test]
fn crosscheck_bounds_catch_a_gear_left_up() {
    let problem = problem(aircraft(1.0), 250.0, CALM);
    let mut down = script(ThrottleRule::Held(16.0 * IN), rate(500.0), 1_800.0);
    down.descent.first.gear_down = true;
    let flown = planned(&problem, &down);
    let m = |script: &Script| {
        let reflown = refly(&problem, script).expect("flown either way");
        Mismatch::between(&problem, &flown, &reflown)
    };
    assert!(m(&flown.script).within_bounds(DENSITY_KG_M3));
    let mut up = flown.script.clone();
    up.descent.first.gear_down = false;
    assert!(!m(&up).within_bounds(DENSITY_KG_M3), "{:?}", m(&up));
}

#[test]
fn crosscheck_bounds_catch_a_late_top_of_descent() {
    let problem = problem(aircraft(1.0), 300.0, CALM);
    let flown = planned(
        &problem,
        &script(ThrottleRule::Held(18.0 * IN), rate(500.0), 1_800.0),
    );
    let mut late = flown.script.clone();
    late.descent.to_go_m -= 0.5 * M_PER_NM;
    let reflown = refly(&problem, &late).expect("half a mile late is still flown");
    let m = Mismatch::between(&problem, &flown, &reflown);
    assert!(!m.within_bounds(DENSITY_KG_M3), "{m:?}");
    assert!(m.speed_m_s > 2.0 * KT, "{m:?}");
}

#[test]
fn closed_form_bounds_refuse_what_is_not_a_number() {
    let good = Mismatch {
        time_s: 0.0,
        fuel_kg: 0.0,
        height_m: 0.0,
        speed_m_s: 0.0,
        barred_m: 0.0,
    };
    assert!(good.within_bounds(DENSITY_KG_M3));
    for bad in [
        Mismatch {
            time_s: f64::NAN,
            ..good
        },
        Mismatch {
            fuel_kg: f64::NAN,
            ..good
        },
        Mismatch {
            height_m: f64::NAN,
            ..good
        },
        Mismatch {
            speed_m_s: f64::NAN,
            ..good
        },
        Mismatch {
            time_s: -2.01,
            ..good
        },
        // 0.051 gal of 2.72 kg each.
        Mismatch {
            fuel_kg: 0.139,
            ..good
        },
        Mismatch {
            height_m: -51.0 * FT,
            ..good
        },
        Mismatch {
            speed_m_s: 2.1 * KT,
            ..good
        },
        Mismatch {
            barred_m: f64::NAN,
            ..good
        },
        Mismatch {
            barred_m: 51.0 * FT,
            ..good
        },
    ] {
        assert!(!bad.within_bounds(DENSITY_KG_M3), "{bad:?}");
    }
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
