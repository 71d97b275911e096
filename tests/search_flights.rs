//! The long steps of a search against the small ones of a recorded flight: another way of stepping, of another order, over the same
//! equations. What a search believes of a descent decides between plans, so it must not be far from what is flown.

use crate::common::{demo_trip, trip_text};
use fellrun::files::trip::parse_trip;
use fellrun::flight::{
    Descent, PathRule, Script, SegmentKind, ThrottleRule, TrackPoint, let_down, let_down_recorded,
};
use fellrun::quantity::{M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use fellrun::solve::{plan, plan_trip};
use fellrun::trip::Objective;
use std::path::Path;

/// Of one descent, s: a neighbour in a search differs by seconds. Measured: 0.5 s, and 1.1 s with fixed pitch, for every descent the same.
const TIME_S: f64 = 1.5;
/// The same in fuel, kg. Measured: 0.004 kg; a second of cruise is 0.01 kg.
const FUEL_KG: f64 = 0.006;
/// A change of descent is worth this much at least, s: else the cases are all alike and show nothing.
const APART_S: f64 = 20.0;

#[test]
fn crosscheck_search_steps_against_recorded_ones() {
    let profiles = [
        ("retractable-200hp", 60),
        ("trainer-160hp", 40),
        ("retractable-285hp", 60),
        ("turbo-retractable-300hp", 70),
        ("twin-200hp", 90),
    ];
    let (mut compared, mut shortest, mut longest) = (0, f64::INFINITY, 0.0_f64);
    for (profile, fuel_gal) in profiles {
        let text = trip_text(profile, fuel_gal, &["KDEN", "KICT"], "");
        let file =
            parse_trip(&text, Path::new("trip.toml"), None).unwrap_or_else(|e| panic!("{e}"));
        let (problem, plan) =
            plan_trip(&file.trip, &file.aircraft).unwrap_or_else(|e| panic!("{profile}: {e}"));
        let top = plan.flown.top_of_descent;
        let at_top = |t: &&TrackPoint| t.state.distance_m <= top.distance_m + 1.0;
        let start = plan.flown.track.iter().rev().find(at_top).map(|t| t.state);
        let start = start.unwrap_or_else(|| panic!("{profile}: no cruise"));
        for script in variants(&plan.flown.script) {
            let quick = let_down(&problem, &script, start, f64::INFINITY, true);
            let fine = let_down_recorded(&problem, &script, start, start.distance_m);
            let (Ok(quick), Ok((fine, _))) = (quick, fine) else {
                continue;
            };
            // What one is ahead in distance, the other makes up at the speed at the end.
            let ahead_s = (fine.end.distance_m - quick.end.distance_m) / quick.end.tas_m_s;
            let time_s = quick.end.time_s + ahead_s - fine.end.time_s;
            let fuel_kg =
                quick.end.fuel_kg + ahead_s * plan.flown.last_cruise_fuel_kg_s - fine.end.fuel_kg;
            assert!(
                time_s.abs() < TIME_S,
                "{profile}: {time_s} s, {:?}",
                script.descent.first
            );
            assert!(
                fuel_kg.abs() < FUEL_KG,
                "{profile}: {fuel_kg} kg, {:?}",
                script.descent.first
            );
            compared += 1;
            if profile == "retractable-200hp" {
                let took_s = fine.end.time_s - start.time_s;
                (shortest, longest) = (shortest.min(took_s), longest.max(took_s));
            }
        }
    }
    assert!(compared >= 50, "{compared}");
    assert!(longest - shortest > APART_S, "{shortest} {longest}");
}

/// The steady speed moves with weight and wind while it is approached: by the speed it had at the beginning the whole cruise of this trip was
/// flown in steps of 10 s.
#[test]
fn regress_the_approach_to_cruise_ends_where_the_speed_is_met() {
    // The approach takes some 20 points, and each 10 nm of the rest one: 50 measured.
    const MOST_POINTS: usize = 100;
    let problem = demo_trip("first-trip.toml", Objective::Fuel);
    let plan = plan(&problem).expect("a plan");
    let cruise = plan.flown.segments.iter();
    let cruise = cruise.filter(|s| s.kind == SegmentKind::Cruise);
    let points: usize = cruise.map(|s| s.last - s.first + 1).sum();
    assert!((10..MOST_POINTS).contains(&points), "{points}");
}

/// The plan's script with other descents: rates, a held speed, powers, and the reduction begun early.
fn variants(script: &Script) -> Vec<Script> {
    let mut out = vec![];
    for path in [
        PathRule::Rate(300.0 * M_S_PER_FPM),
        PathRule::Rate(500.0 * M_S_PER_FPM),
        PathRule::Ias(130.0 * M_S_PER_KT),
    ] {
        for throttle in [
            ThrottleRule::Untouched,
            ThrottleRule::LeftAlone(20.0 * PA_PER_INHG),
            ThrottleRule::Held(18.0 * PA_PER_INHG),
            ThrottleRule::Held(23.0 * PA_PER_INHG),
        ] {
            for early_m in [0.0, 600.0] {
                let mut descent = Descent {
                    second: None,
                    to_go_m: f64::NAN,
                    ..script.descent
                };
                descent.first.path = path;
                descent.first.throttle = throttle;
                descent.first.gear_down = false;
                descent.reduce_at_m += early_m;
                out.push(Script {
                    descent,
                    ..script.clone()
                });
            }
        }
    }
    out
}
