//! The crosscheck with `flight`, and that its bounds catch what they should.

use super::{planned, rate};
use crate::aircraft::Throttle;
use crate::flight::testbed::*;
use crate::flight::{Cruise, DescentPart, PathRule, Script, ThrottleRule, fly_recorded};
use crate::quantity::{M_PER_NM, M3_PER_GAL};
use crate::reflight::{Mismatch, Reflown, refly};
use crate::trip::Problem;

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
    // The manifold pressure of the cruise at a speed of the propeller that allows 24.2 in, and the reduction begins with the descent.
    let mut over_line = script(alone(25.0), rate(500.0), 20_000.0);
    over_line.cruise = vec![Cruise {
        throttle: Throttle::Map(25.0 * IN),
        ..cruise(3_000.0, 0.0)
    }];
    over_line.descent.first.rev_s = 1_550.0 * RPM;
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
            "throttle as it is from the height of a trim",
            calm(250.0),
            // A hair below it, as rounding leaves heights in steps.
            second(3_000.0 - 1e-9, ThrottleRule::Untouched, rate(300.0)),
        ),
        (
            "set above the limit line of the new RPM, reduced from the start",
            calm(200.0),
            over_line,
        ),
        (
            "reduced from the height of a trim",
            calm(250.0),
            script(held(20.0), rate(500.0), 3_000.0),
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
    /// Steps of flight's Runge-Kutta and its quasi-steady cruise, over three hours; what the transient after setting power saves in a cruise is
    /// twice as much, and a plan may miss by more still.
    const CLOSE_S: f64 = 1.0;
    const CLOSE_GAL: f64 = 0.01;
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
        let gal = m.fuel_kg / (M3_PER_GAL * DENSITY_KG_M3);
        assert!(
            m.time_s.abs() < CLOSE_S && gal.abs() < CLOSE_GAL,
            "{name}: {m:?}"
        );
    }
}

#[test]
fn closed_form_no_two_steps_of_the_throttle_within_an_interval() {
    let alone = |inches: f64| ThrottleRule::LeftAlone(inches * IN);
    // Five steps down to what the descent wants, the last of them 120 s after it began; level 5 s after that.
    let mut short = script(alone(15.0), rate(500.0), 1_800.0);
    short.cruise = vec![cruise(2_842.0, 0.0)];
    // The same, but then a second part wants less, or leaves the throttle for the few seconds to the reduction for the pattern.
    let then = |throttle: ThrottleRule, reduce_at_ft: f64| {
        let mut two = script(alone(15.0), rate(500.0), reduce_at_ft);
        two.cruise = vec![cruise(5_000.0, 0.0)];
        let second = DescentPart {
            throttle,
            ..two.descent.first
        };
        two.descent.second = Some((3_958.0 * FT, second));
        two
    };
    for (s, least) in [
        (short, 6),
        (then(alone(13.5), 1_800.0), 6),
        (then(ThrottleRule::Untouched, 3_900.0), 6),
    ] {
        let p = problem(aircraft(1.0), 100.0, CALM);
        let flown = fly_recorded(&p, &s).expect("the test script can be flown");
        let reflown = refly(&p, &flown.script).expect("flown before");
        let mismatch = Mismatch::between(&p, &flown, &reflown);
        assert!(mismatch.within_bounds(DENSITY_KG_M3), "{mismatch:?}");
        let (top_s, slowed_s) = (flown.top_of_descent.time_s, flown.slowed.time_s);
        let steps = |path: Vec<(f64, f64)>| -> Vec<f64> {
            let fell = |w: &[(f64, f64)]| w[0].1 - w[1].1 > 0.4 * IN;
            path.windows(2)
                .filter(|w| fell(w) && w[1].0 > top_s - 1.0 && w[1].0 < slowed_s - 1e-3)
                .map(|w| w[1].0)
                .collect()
        };
        let planned = flown.track.iter().map(|t| (t.state.time_s, t.map_pa));
        let again = reflown.samples.iter().map(|t| (t.time_s, t.map_pa));
        for times in [steps(planned.collect()), steps(again.collect())] {
            assert!(times.len() >= least, "{times:?}");
            let apart = |t: &[f64]| t[1] - t[0] > s.reduction.interval_s - 1.0;
            assert!(times.windows(2).all(apart), "{times:?}");
        }
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
