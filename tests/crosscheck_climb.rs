//! The climb at two speeds against every pair of settable speeds and every settable height, each fully flown.

use crate::common::{demo_trip, two_speed_trip};
use fellrun::brief::Figures;
use fellrun::flight::{Flown, Memory, Script, SegmentKind, fly};
use fellrun::quantity::{M_PER_FT, M_S_PER_KT};
use fellrun::solve::{Plan, charged, plan, prepared};
use fellrun::trip::{Objective, Problem};
use std::cell::RefCell;

/// Flights of the same climb cost the same but for rounding; two climbs of the grid differ by a hundred times as much.
const SAME: f64 = 1e-6;

/// Everything but the climb as in a plan.
fn flown(
    p: &Problem,
    plan: &Plan,
    memory: &RefCell<Memory>,
    a: f64,
    second: Option<(f64, f64)>,
) -> Option<Flown> {
    let mut s: Script = plan.flown.script.clone();
    s.climb.ias_m_s = a * M_S_PER_KT;
    s.climb.second = second.map(|(ft, kt)| (ft * M_PER_FT, kt * M_S_PER_KT));
    let mut s = prepared(p, &s);
    s.descent.to_go_m = f64::NAN;
    fly(p, &s, None, memory)
        .ok()
        .filter(|f| f.audit.broken().is_empty())
}

/// Settable heights at which a second speed may begin, ft.
fn heights_ft(p: &Problem, plan: &Plan) -> Vec<f64> {
    let level_ft = plan.flown.script.cruise[0].level_m / M_PER_FT;
    let first_ft = p.departure.elevation_m / M_PER_FT + 1_500.0;
    (1..40)
        .map(|k| 500.0 * f64::from(k))
        .filter(|&h| h >= first_ft && h <= level_ft - 499.0)
        .collect()
}

#[test]
fn crosscheck_the_best_climb_at_two_speeds_is_found() {
    for p in [
        two_speed_trip(),
        demo_trip("first-trip.toml", Objective::Money),
    ] {
        let plan = plan(&p).expect("a plan");
        let memory = RefCell::default();
        let speeds: Vec<f64> = (16..34).map(|k| 5.0 * f64::from(k)).collect();
        let mut one = f64::INFINITY;
        let mut two = (f64::INFINITY, 0.0, 0.0, 0.0);
        let mut flights = 0;
        for &a in &speeds {
            let single = flown(&p, &plan, &memory, a, None);
            one = single.map_or(one, |f| one.min(charged(&f)));
            for h in heights_ft(&p, &plan) {
                for &b in &speeds {
                    let Some(f) = flown(&p, &plan, &memory, a, Some((h, b))) else {
                        continue;
                    };
                    flights += 1;
                    if charged(&f) < two.0 {
                        two = (charged(&f), a, h, b);
                    }
                }
            }
        }
        let climb = plan.flown.script.climb;
        let second = climb.second.map(|s| (s.0 / M_PER_FT, s.1 / M_S_PER_KT));
        let own = flown(&p, &plan, &memory, climb.ias_m_s / M_S_PER_KT, second)
            .map_or(f64::NAN, |f| charged(&f));
        println!("{flights} flights: one speed {one}, two {two:?}, the plan {own} {climb:?}");
        assert!(flights > 40, "{flights}");
        // It pays: a second speed saves more than its lever change.
        assert!(two.0 < one && climb.second.is_some());
        assert!(own < two.0 * (1.0 + SAME), "{two:?} {own}");
        // Flown within limits, and confirmed by the independent re-flight.
        assert_eq!(plan.flown.audit.broken(), []);
        let density = p.aircraft.fuel.density_kg_m3;
        assert!(plan.reflight.within_bounds(density), "{:?}", plan.reflight);
        // Never under Vy at the height and weight nor what cools, by a formula of its own.
        let rows = &p.aircraft.speeds.vy_m_s;
        let (low, high) = (rows[0], rows[1]);
        let mut checked = 0;
        for t in &plan.flown.track {
            if plan.flown.segments[t.segment].kind != SegmentKind::Climb {
                continue;
            }
            let x = (t.state.pressure_altitude_m - low.0) / (high.0 - low.0);
            let vy = (low.1 + x.clamp(0.0, 1.0) * (high.1 - low.1))
                * (t.mass_kg / p.aircraft.masses.max_take_off_kg).sqrt();
            let least = vy.max(p.aircraft.speeds.least_cooling_m_s);
            assert!(t.ias_m_s > least - 0.1 * M_S_PER_KT);
            checked += 1;
        }
        assert!(checked > 10);
    }
}

#[test]
fn crosscheck_the_card_has_the_second_speed() {
    let p = two_speed_trip();
    let plan = plan(&p).expect("a plan");
    let (from_m, ias_m_s) = plan.flown.script.climb.second.expect("two speeds");
    let figures = Figures::new(&plan, &p);
    let card = &figures.lever_card;
    let words = format!("NOSE UP to {:.0} KIAS, CLIMB at that", ias_m_s / M_S_PER_KT);
    let line = card.iter().find(|l| l.action.contains(&words));
    let line = line.unwrap_or_else(|| panic!("no {words}: {card:#?}"));
    let thousands = from_m / M_PER_FT;
    assert!(
        line.trigger.ends_with(" ft") && thousands > 999.0,
        "{line:?}"
    );
    let second = figures.second_climb_speed.expect("said");
    assert!((second.from_ft - thousands).abs() < 1e-6);
}

#[test]
fn crosscheck_no_second_speed_where_it_is_not_worth_a_lever_change() {
    for (trip, objective) in [
        ("hot-afternoon.toml", Objective::Money),
        ("first-trip.toml", Objective::Fuel),
    ] {
        let p = demo_trip(trip, objective);
        let plan = plan(&p).expect("a plan");
        let memory = RefCell::default();
        assert!(plan.flown.script.climb.second.is_none(), "{trip}");
        // None of a grid is better.
        let own = plan.flown.script.climb.ias_m_s / M_S_PER_KT;
        let first = flown(&p, &plan, &memory, own, None).expect("the plan");
        let mut flights = 0;
        for a in (17..26).map(|k| 5.0 * f64::from(k)) {
            for h in heights_ft(&p, &plan) {
                for b in (17..26).map(|k| 5.0 * f64::from(k)) {
                    if let Some(f) = flown(&p, &plan, &memory, a, Some((h, b))) {
                        flights += 1;
                        let better = charged(&f) < charged(&first) * (1.0 - SAME);
                        assert!(!better, "{trip} {a} {h} {b}");
                    }
                }
            }
        }
        assert!(flights > 40, "{trip}: {flights}");
    }
}
