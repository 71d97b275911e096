//! At bounds on time and fuel inside hollows of the frontier.

use super::{CASES, CHANGE_M, LEFT, WORTH_POLISH, in_steps, planned, planned_kept};
use crate::class::{Brute, Grid, Kept, change_points, levels, undominated};
use fellrun::flight::Script;
use fellrun::solve::plan_with_workings;
use fellrun::trip::{Bounds, Objective};
use std::time::Instant;

/// The trip with a hollow, of the ten, and weights on time [kg/s] that lead to the plans around it.
const HOLLOW_AT: usize = 5;
const WEIGHTS: [f64; 5] = [0.032, 0.05, 0.07, 0.1, 0.2];
/// Bounds on flight fuel and time in the hollow.
const IN_HOLLOW_KG: f64 = 135.5;
const IN_OTHER_HOLLOW_KG: f64 = 140.5;
const IN_HOLLOW_MIN: f64 = 142.7;
/// The best there lies above the hull of the frontier by more than this share of its time.
const HOLLOW: f64 = 0.001;
/// Settings of two levels under a bound, from the quickest to the thriftiest.
const THRIFTS: usize = 12;

/// The lower hull of flights none of which another beats: those that some weight on time and fuel would choose.
fn hull(flown: &[Kept]) -> Vec<&Kept> {
    let mut out: Vec<&Kept> = vec![];
    for c in flown {
        while let [.., a, b] = out[..] {
            let left = (b.fuel_kg - a.fuel_kg) * (c.time_s - a.time_s);
            if left < (c.fuel_kg - a.fuel_kg) * (b.time_s - a.time_s) {
                break;
            }
            out.pop();
        }
        out.push(c);
    }
    out
}

/// By how much time a flight lies above the hull, relative: at its fuel a mixture of two flights of the hull would take this much less.
fn above(hull: &[&Kept], flight: &Kept) -> f64 {
    let pair = hull
        .windows(2)
        .find(|w| w[1].fuel_kg <= flight.fuel_kg && flight.fuel_kg <= w[0].fuel_kg)
        .unwrap_or_else(|| {
            panic!(
                "between two of the hull: {} {:?}",
                flight.fuel_kg,
                hull.iter()
                    .map(|k| (k.time_s, k.fuel_kg))
                    .collect::<Vec<_>>()
            )
        });
    let x = (flight.fuel_kg - pair[0].fuel_kg) / (pair[1].fuel_kg - pair[0].fuel_kg);
    flight.time_s / (pair[0].time_s + x * (pair[1].time_s - pair[0].time_s)) - 1.0
}

/// At a bound inside a hollow of the frontier brute force over levels and settings finds nothing better than the solver by what it may
/// leave or more; and a hollow it is.
fn in_hollow(fuel_kg: f64, within_min: f64) {
    let case = &CASES[HOLLOW_AT];
    let (_, free, _) = planned(case, Objective::Fuel, Bounds::default());
    // Plans under weights on time: those of the hull on either side of the hollow among them.
    let weighted: Vec<Script> = WEIGHTS
        .iter()
        .map(|&per_s| {
            let mut p = free.clone();
            p.charge.per_s = per_s;
            plan_with_workings(&p).expect("plans").0.flown.script
        })
        .collect();
    let pr = &free.aircraft.procedures;
    let (objective, bound) = if fuel_kg.is_finite() {
        let most_fuel_kg = Some(pr.taxi_fuel_kg + fuel_kg);
        (
            Objective::Time,
            Bounds {
                most_fuel_kg,
                ..Bounds::default()
            },
        )
    } else {
        let within_s = Some(pr.taxi_time_s + 60.0 * within_min);
        (
            Objective::Fuel,
            Bounds {
                within_s,
                ..Bounds::default()
            },
        )
    };
    let begin = Instant::now();
    let (name, p, plan) = planned(case, objective, bound);
    let took_s = begin.elapsed().as_secs_f64();
    let mut seeds: Vec<Script> = weighted.clone();
    seeds.push(plan.flown.script.clone());
    // The frontier without the bound, level by level: is the bound in a hollow of it?
    let mut anyhow = Brute::new(&free);
    let mut all = vec![];
    for level_m in levels(&p) {
        let there: Vec<Script> = seeds
            .iter()
            .map(|s| crate::class::moved_to(s, level_m))
            .collect();
        all.extend(anyhow.frontier(Grid::Coarse, &there));
    }
    all.extend(
        seeds
            .iter()
            .filter_map(|s| anyhow.fly(s))
            .filter(|k| k.keeps),
    );
    // Under the bound.
    let mut brute = Brute::new(&p);
    let planned = planned_kept(&mut brute, &plan).charged;
    let mut at_levels = vec![];
    for level_m in levels(&p) {
        brute.start(None);
        for seed in &seeds {
            brute.offer(&crate::class::moved_to(seed, level_m));
        }
        for k in &all {
            if k.script.cruise[0].level_m.to_bits() == level_m.to_bits() {
                brute.offer(&k.script);
            }
        }
        let Some(kept) = brute.best.take().filter(|k| k.keeps) else {
            continue;
        };
        if kept.charged > planned * WORTH_POLISH {
            at_levels.push(kept);
            continue;
        }
        brute.start(Some(kept.clone()));
        brute.polish();
        seeds.push(brute.best.as_ref().expect("kept").script.clone());
        let there: Vec<Script> = seeds
            .iter()
            .map(|s| crate::class::moved_to(s, level_m))
            .collect();
        let fine = anyhow.frontier(Grid::Whole, &there);
        for k in &fine {
            brute.offer(&k.script);
        }
        brute.polish();
        all.extend(fine);
        at_levels.push(brute.best.take().expect("kept"));
    }
    all.extend(at_levels.iter().cloned());
    let frontier = undominated(all.clone());
    let hull = hull(&frontier);
    let best = at_levels
        .iter()
        .min_by(|a, b| a.charged.total_cmp(&b.charged))
        .expect("some level keeps the bound");
    // Two levels, with the settings of each that are about as thrifty.
    let mut two: Option<Kept> = None;
    let points_m = change_points(&p, 2.0 * CHANGE_M);
    let of = |level_m: f64| -> Vec<Kept> { frontier_of(&all, level_m) };
    for a_m in levels(&p) {
        for b_m in levels(&p)
            .into_iter()
            .filter(|b| b.to_bits() != a_m.to_bits())
        {
            let (a, b) = (of(a_m), of(b_m));
            brute.start(None);
            for x in 0..THRIFTS {
                let pick = |v: &[Kept]| v.get(x * v.len() / THRIFTS).cloned();
                let (Some(a), Some(b)) = (pick(&a), pick(&b)) else {
                    continue;
                };
                for &from_m in &points_m {
                    brute.offer(&in_steps(&[(&a, 0.0), (&b, from_m)]));
                }
            }
            let found = brute.best.take().filter(|k| k.keeps);
            if let Some(k) = found
                && two.as_ref().is_none_or(|t| k.charged < t.charged)
            {
                two = Some(k);
            }
        }
    }
    let two = two.map(|k| {
        brute.start(Some(k));
        brute.polish();
        brute.best.take().expect("kept")
    });
    let least = two
        .as_ref()
        .map_or(best.charged, |t| t.charged.min(best.charged));
    println!(
        "{name} {bound:?}: one level {:.3} %, two {:.3} % better, best at {:.0} m {:.1} min {:.2} kg, {:.2} % above the hull; plan {:.1} min {:.2} kg {:?}; {} flights, plan {took_s:.1} s, all {:.1} s",
        100.0 * (planned / best.charged - 1.0),
        two.as_ref()
            .map_or(f64::NAN, |t| 100.0 * (planned / t.charged - 1.0)),
        best.script.cruise[0].level_m,
        best.time_s / 60.0,
        best.fuel_kg,
        100.0 * above(&hull, best),
        plan.flown.time_s / 60.0,
        plan.flown.fuel_kg,
        plan.flown.script.cruise,
        brute.flights + anyhow.flights,
        begin.elapsed().as_secs_f64()
    );
    assert!(
        above(&hull, best) > HOLLOW,
        "{name}: {}",
        above(&hull, best)
    );
    let gain = planned / least - 1.0;
    assert!(
        gain < LEFT,
        "{name} {bound:?}: {gain}\n{:?}\n{:?}",
        plan.flown.script,
        best.script
    );
}

/// Between the plans at 8,500 ft and those at 10,500 ft that weights on time and fuel lead to, brute force ends at 12,500 ft.
#[test]
fn crosscheck_most_fuel_in_a_hollow_of_the_frontier() {
    in_hollow(IN_HOLLOW_KG, f64::INFINITY);
}

#[test]
fn crosscheck_latest_arrival_in_a_hollow_of_the_frontier() {
    in_hollow(f64::INFINITY, IN_HOLLOW_MIN);
}

#[test]
fn crosscheck_most_fuel_in_another_hollow_of_the_frontier() {
    in_hollow(IN_OTHER_HOLLOW_KG, f64::INFINITY);
}

/// Of these flights those at one level that no other of them beats, the quickest first.
fn frontier_of(all: &[Kept], level_m: f64) -> Vec<Kept> {
    let at = |k: &&Kept| k.script.cruise[0].level_m.to_bits() == level_m.to_bits();
    undominated(all.iter().filter(at).cloned().collect())
}
