//! The main job on the demo trips: plans against the independent re-flight, against each other and against the ideal flight.

use crate::common::demo_trip;
use fellrun::aircraft::Aircraft;
use fellrun::flight::{PathRule, SegmentKind};
use fellrun::quantity::*;
use fellrun::reflight::{Mismatch, refly};
use fellrun::solve::{AlternativeKind, Plan, plan};
use fellrun::trip::{Objective, Problem, Roughness, resolve};
use std::path::Path;

/// No plan before rounding may beat the ideal flight by more than 0.1 % (DESIGN section 6.6).
const IDEAL_SLACK: f64 = 1e-3;

fn gal(a: &Aircraft, kg: f64) -> f64 {
    kg / (a.fuel.density_kg_m3 * M3_PER_GAL)
}

const TRIPS: [&str; 3] = [
    "first-trip.toml",
    "hot-afternoon.toml",
    "into-the-wind.toml",
];
const OBJECTIVES: [Objective; 3] = [Objective::Money, Objective::Time, Objective::Fuel];

fn each(check: impl Fn(&str, Objective, &Problem, &Plan)) {
    let mut checked = 0;
    for trip in TRIPS {
        for objective in OBJECTIVES {
            let p = demo_trip(trip, objective);
            let plan = plan(&p).unwrap_or_else(|e| panic!("{trip} {objective:?}: {e}"));
            check(trip, objective, &p, &plan);
            checked += 1;
        }
    }
    assert_eq!(checked, 9);
}

#[test]
fn crosscheck_demo_plans() {
    each(|trip, objective, p, plan| {
        let name = format!("{trip} {objective:?}");
        // Issue bars: |time| <= 2 s, |fuel| <= 0.05 gal, pattern point within 50 ft and 2 kt; no limit broken.
        let m = plan.reflight;
        assert!(m.time_s.abs() <= 2.0, "{name}: time {}", m.time_s);
        assert!(
            gal(&p.aircraft, m.fuel_kg).abs() <= 0.05,
            "{name}: fuel {}",
            m.fuel_kg
        );
        assert!(
            m.height_m.abs() <= 50.0 * M_PER_FT,
            "{name}: height {}",
            m.height_m
        );
        assert!(
            m.speed_m_s.abs() <= 2.0 * M_S_PER_KT,
            "{name}: speed {}",
            m.speed_m_s
        );
        assert_eq!(plan.flown.audit.broken(), [], "{name}");
        assert!(
            plan.unrounded_value >= plan.ideal.objective_value * (1.0 - IDEAL_SLACK),
            "{name}: beats the ideal"
        );
        assert!(plan.ideal.margin.is_finite());
        // Landing fuel covers the reserve asked for.
        assert!(
            plan.totals.landing_fuel_kg >= plan.totals.reserve_required_kg - 1e-6,
            "{name}"
        );
        // Settings a hand can set.
        let pr = &p.aircraft.procedures;
        let whole = |x: f64, step: f64| (x / step - (x / step).round()).abs() < 1e-6;
        let s = &plan.flown.script;
        assert!(
            whole(s.climb.ias_m_s, pr.speed_step_m_s)
                && whole(s.descent.first.rev_s, pr.rev_step_s),
            "{name}"
        );
        if let Some(map) = s.descent.first.throttle.set_map_pa() {
            assert!(
                whole(map, pr.map_step_pa),
                "{name}: descent MAP {}",
                map / PA_PER_INHG
            );
        }
        for c in &s.cruise {
            assert!(whole(c.rev_s, pr.rev_step_s), "{name}");
            if let fellrun::aircraft::Throttle::Map(p) = c.throttle {
                assert!(
                    whole(p, pr.map_step_pa),
                    "{name}: cruise MAP {}",
                    p / PA_PER_INHG
                );
            }
        }
        // Every sample: speed limit of its height band, by a formula of its own.
        let a = &p.aircraft.speeds;
        for t in &plan.flown.track {
            let ground = p.ground_m(t.state.distance_m).expect("a trip with ground");
            let agl = t.true_altitude_m - ground;
            let rough = p.limits.roughness(t.indicated_m, agl);
            let top = match rough {
                Roughness::Smooth => a.vno_m_s,
                Roughness::Light => a.vno_m_s - 10.0 * M_S_PER_KT,
                Roughness::Rough => {
                    a.va_m_s * (t.mass_kg / p.aircraft.masses.max_take_off_kg).sqrt()
                }
            };
            assert!(
                t.ias_m_s <= top + 0.1 * M_S_PER_KT,
                "{name}: {:.1} kt at {:.0} ft",
                t.ias_m_s / M_S_PER_KT,
                t.indicated_m / M_PER_FT
            );
            assert!(t.fuel_kg_s > 0.0);
        }
    });
}

#[test]
fn crosscheck_objectives_differ() {
    let plans: Vec<Plan> = OBJECTIVES
        .iter()
        .map(|&o| plan(&demo_trip("first-trip.toml", o)).expect("a plan"))
        .collect();
    let (money, time, fuel) = (&plans[0].totals, &plans[1].totals, &plans[2].totals);
    // Visibly: minutes and gallons apart, and in the right order.
    assert!(time.time_s + 120.0 < money.time_s && money.time_s + 120.0 < fuel.time_s);
    let kg = 1.0;
    assert!(fuel.fuel_kg + kg < money.fuel_kg && money.fuel_kg + kg < time.fuel_kg);
    assert!(money.money < time.money && money.money < fuel.money);
}

#[test]
fn crosscheck_coarse_descent_chosen_in_light_air_and_refused_in_rough() {
    let light = plan(&demo_trip("first-trip.toml", Objective::Money)).expect("a plan");
    let cruise = light.flown.script.cruise.last().expect("a cruise");
    let d = &light.flown.script.descent.first;
    // Propeller well back, power left on, faster than cruise on the way down.
    assert!(
        d.rev_s < cruise.rev_s - 200.0 / 60.0,
        "RPM {}",
        d.rev_s * 60.0
    );
    let ias = |plan: &Plan, kind| {
        let at = |t: &&fellrun::flight::TrackPoint| plan.flown.segments[t.segment].kind == kind;
        plan.flown
            .track
            .iter()
            .filter(at)
            .map(|t| t.ias_m_s)
            .fold(0.0, f64::max)
    };
    let gain = ias(&light, SegmentKind::Descent) - ias(&light, SegmentKind::Cruise);
    assert!(
        gain > 10.0 * M_S_PER_KT,
        "{} kt over cruise",
        gain / M_S_PER_KT
    );
    // Rough below 9,000 ft: the same aeroplane comes down at Va or less, slower than it cruised.
    let rough = plan(&demo_trip("hot-afternoon.toml", Objective::Money)).expect("a plan");
    let gain = ias(&rough, SegmentKind::Pattern).max(
        rough
            .flown
            .track
            .iter()
            .filter(|t| {
                rough.flown.segments[t.segment].kind == SegmentKind::Descent
                    && t.indicated_m < 8_900.0 * M_PER_FT
            })
            .map(|t| t.ias_m_s)
            .fold(0.0, f64::max),
    ) - ias(&rough, SegmentKind::Cruise);
    assert!(
        gain < 0.0,
        "{} kt over cruise in rough air",
        gain / M_S_PER_KT
    );
}

#[test]
fn crosscheck_ordinary_descent_is_dearer() {
    let p = demo_trip("first-trip.toml", Objective::Money);
    let best = plan(&p).expect("a plan");
    let ordinary = best
        .alternatives
        .iter()
        .find(|a| a.kind == AlternativeKind::OrdinaryDescent)
        .expect("the ordinary descent can be flown");
    assert!(ordinary.difference > 0.0);
    let d = &ordinary.flown.script.descent.first;
    assert_eq!(d.path, PathRule::Rate(500.0 * M_S_PER_FPM));
    assert_eq!(
        d.rev_s,
        ordinary.flown.script.cruise.last().expect("a cruise").rev_s
    );
}

#[test]
fn crosscheck_reflight_notices_mutations() {
    // Fuel flow half a per cent up, and top of descent half a mile late: each must break the bounds that the plan keeps.
    let p = demo_trip("first-trip.toml", Objective::Money);
    let plan = plan(&p).expect("a plan");
    let density = p.aircraft.fuel.density_kg_m3;
    assert!(plan.reflight.within_bounds(density));
    let mut thirsty = p.clone();
    for m in &mut thirsty.aircraft.engine.spec.mixtures {
        m.fuel_air *= 1.005;
    }
    let reflown = refly(&thirsty, &plan.flown.script).expect("it flies");
    assert!(!Mismatch::between(&thirsty, &plan.flown, &reflown).within_bounds(density));
    let mut late = plan.flown.script.clone();
    late.descent.to_go_m -= 0.5 * M_PER_NM;
    let reflown = refly(&p, &late).expect("it flies");
    assert!(!Mismatch::between(&p, &plan.flown, &reflown).within_bounds(density));
}

#[test]
fn regress_same_input_same_answer() {
    // Determinism, bit for bit (DESIGN section 6): pins the plan against itself.
    let p = demo_trip("first-trip.toml", Objective::Money);
    let (a, b) = (plan(&p).expect("a plan"), plan(&p).expect("a plan"));
    assert_eq!(a.flown, b.flown);
    assert_eq!(a.objective_value.to_bits(), b.objective_value.to_bits());
    assert_eq!(a.ideal, b.ideal);
}

#[test]
fn crosscheck_every_governed_profile_is_planned_and_confirmed() {
    // Turbocharged, twin and the larger single on the demo route, each confirmed by the re-flight and kept by every limit.
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut planned = 0;
    for name in ["retractable-285hp", "turbo-retractable-300hp", "twin-200hp"] {
        let profile = root.join("profiles").join(format!("{name}.toml"));
        let trip = root.join("examples/first-trip.toml");
        let file =
            fellrun::files::trip::load_trip(&trip, Some(&profile)).expect("the demo trip loads");
        for objective in [Objective::Money, Objective::Fuel] {
            let mut trip = file.trip.clone();
            trip.objective = objective;
            let p = resolve(&trip, file.aircraft.clone()).expect("it resolves");
            let plan = plan(&p).unwrap_or_else(|e| panic!("{name} {objective:?}: {e}"));
            assert!(
                plan.reflight.within_bounds(p.aircraft.fuel.density_kg_m3),
                "{name}: {:?}",
                plan.reflight
            );
            assert_eq!(plan.flown.audit.broken(), [], "{name}");
            assert!(
                plan.unrounded_value >= plan.ideal.objective_value * (1.0 - IDEAL_SLACK),
                "{name}"
            );
            planned += 1;
        }
    }
    assert_eq!(planned, 6);
}
