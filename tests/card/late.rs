//! Descents begun late or early, against brute force over every setting and against the independent re-flight.

use crate::common::demo_trip;
use fellrun::flight::{DescentPart, Flown, Limit, PathRule, Script, ThrottleRule, fly_recorded};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use fellrun::reflight::refly;
use fellrun::solve::{Late, Plan, late, plan};
use fellrun::trip::{Objective, Problem};

/// The point where pattern speed is met, m: what a recorded flight is met by.
const MET_M: f64 = 4.0;
/// Bounds of the re-flight of any plan (DESIGN section 6.7, issue bars).
const HEIGHT_M: f64 = 50.0 * M_PER_FT;
const SPEED_M_S: f64 = 2.0 * M_S_PER_KT;
/// The last start is told in half miles, to the early side.
const LAST_M: f64 = 0.5 * M_PER_NM;

fn begun(plan: &Plan, part: DescentPart, later_m: f64) -> Script {
    let mut script = plan.flown.script.clone();
    script.descent.first = part;
    script.descent.second = None;
    script.descent.to_go_m -= later_m;
    script
}

fn meets(p: &Problem, flown: &Flown) -> bool {
    flown.slowed.distance_m <= p.length_m - p.arrival.before_m + MET_M
}

/// Limits broken by the whole flight, less what the end of fuel and level has to do with it.
fn broken(flown: &Flown) -> Vec<Limit> {
    flown.audit.broken()
}

fn planned(trip: &str) -> (Problem, Plan, Late) {
    let mut p = demo_trip(trip, Objective::Money);
    // More than the ears' 500 fpm, so that there is something to make up a late start with.
    p.limits.max_descent_m_s = 900.0 * M_S_PER_FPM;
    let answer = plan(&p).expect("a plan");
    let l = late(&p, &answer).expect("a descent");
    (p, answer, l)
}

#[test]
fn crosscheck_late_starts_work_and_the_last_is_the_last() {
    let mut worked = 0;
    for trip in ["first-trip.toml", "into-the-wind.toml"] {
        let (mut p, mut answer, mut l) = planned(trip);
        if l.last_m < LAST_M {
            // Planned at the greatest rate: with a plan for 500 fpm and 900 allowed when late there is room.
            p = demo_trip(trip, Objective::Money);
            answer = plan(&p).expect("a plan");
            p.limits.max_descent_m_s = 900.0 * M_S_PER_FPM;
            l = late(&p, &answer).expect("a descent");
        }
        assert!(l.last_m >= LAST_M, "{trip}: {}", l.last_m);
        for start in &l.starts {
            let Some(m) = &start.means else { continue };
            let script = begun(&answer, m.part, start.past_m);
            // By the flight, and by integrator and equations that share no code with it.
            let flown = fly_recorded(&p, &script).expect("flies");
            assert!(meets(&p, &flown), "{trip}: {} m", flown.slowed.distance_m);
            assert_eq!(broken(&flown), [], "{trip}: {start:?}");
            let again = refly(&p, &script).expect("re-flies");
            let at = &again.pattern_point;
            assert!((at.indicated_m - p.arrival.pattern_altitude_m).abs() < HEIGHT_M);
            assert!(at.ias_m_s - p.aircraft.procedures.pattern_m_s < SPEED_M_S);
            worked += 1;
        }
        // Every reading at every rate, half a mile and a little past the last: none does it.
        let planned = answer.flown.script.descent.first;
        let mut tried = 0;
        let past_m = l.last_m + LAST_M + 0.1 * M_PER_NM;
        let mut reading_inhg = 15.0;
        while reading_inhg < 23.0 {
            for step in 1..=18 {
                let part = DescentPart {
                    throttle: ThrottleRule::Held(reading_inhg * PA_PER_INHG),
                    path: PathRule::Rate(f64::from(step) * 50.0 * M_S_PER_FPM),
                    ..planned
                };
                if let Ok(flown) = fly_recorded(&p, &begun(&answer, part, past_m)) {
                    tried += 1;
                    assert!(
                        !meets(&p, &flown) || !broken(&flown).is_empty(),
                        "{trip}: {reading_inhg} in at step {step} would do"
                    );
                }
            }
            reading_inhg += 0.5;
        }
        assert!(tried > 50, "only {tried} flew");
    }
    println!("{worked} late starts");
}

#[test]
fn crosscheck_told_down_early_is_flown_and_costs_what_is_said() {
    let p = demo_trip("first-trip.toml", Objective::Money);
    let answer = plan(&p).expect("a plan");
    let early = late(&p, &answer).expect("a descent").early.expect("early");
    let to_go_m = answer.flown.script.descent.to_go_m;
    assert!((early.before_m - 0.5 * to_go_m).abs() < 1.0, "1.5 times");
    let again = refly(&p, &begun(&answer, early.part, -early.before_m)).expect("re-flies");
    // As any plan: 2 s; two flights are compared.
    let longer_s = again.time_s - answer.flown.time_s;
    assert!((longer_s - early.longer_s).abs() < 4.0, "{longer_s}");
    assert!(early.longer_s > 0.0, "the plan is quicker");
}
