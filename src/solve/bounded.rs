//! Plans under a bound: no later than, no more fuel than, no less fuel left than.
//!
//! Weighting time against fuel alone cannot reach every plan: levels and settings make hollows. So the flights of the frontier of fuel
//! against time, which has those in hollows too, that lie next to the bound are settled under the bound itself, as one more limit of the
//! rounded, flown plan, and the best of all is taken, what the frontier itself has within the bound among them.

use super::frontier::{self, Candidate};
use super::plan::Draft;
use super::refine::{Pilot, Tried};
use super::search::{SolveError, confirmed_flight, plan_from, totals};
use super::workers::threads;
use super::{reserve, why};
use crate::flight::{Flown, Script};
use crate::quantity::M3_PER_GAL;
use crate::trip::{Bounds, Objective, Problem};

/// Flights of the frontier next to the bound that are settled under it: those that keep it, and those that do not.
const SEEDS: (usize, usize) = (4, 2);

/// The bounded quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scarce {
    Time,
    Fuel,
}

impl Scarce {
    fn objective(self) -> Objective {
        match self {
            Self::Time => Objective::Time,
            Self::Fuel => Objective::Fuel,
        }
    }
}

/// By how much a flight misses a bound; below zero is room.
fn excess(problem: &Problem, scarce: Scarce, time_s: f64, fuel_kg: f64) -> f64 {
    let p = &problem.aircraft.procedures;
    match scarce {
        Scarce::Time => problem
            .bounds
            .within_s
            .map_or(f64::NEG_INFINITY, |w| p.taxi_time_s + time_s - w),
        Scarce::Fuel => problem
            .bounds
            .block_fuel_kg(problem.fuel_kg)
            .map_or(f64::NEG_INFINITY, |most| p.taxi_fuel_kg + fuel_kg - most),
    }
}

/// Plans a trip under its bounds, if it has any.
///
/// # Errors
/// [`SolveError`]; [`SolveError::Bound`] with the nearest figure that can be had where no plan keeps a bound.
pub(super) fn plan(problem: &Problem) -> Result<Draft, SolveError> {
    let free = Problem {
        bounds: Bounds::default(),
        ..problem.clone()
    };
    let first = reserve::plan_within(&Pilot::new(&free), &[])?;
    let over = |f: &Flown, scarce| excess(problem, scarce, f.time_s, f.fuel_kg);
    let broken: Vec<Scarce> = [Scarce::Time, Scarce::Fuel]
        .into_iter()
        .filter(|&s| over(&first.flown, s) > 0.0)
        .collect();
    if broken.is_empty() {
        return Ok(first);
    }
    let mut seeds: Vec<Script> = vec![];
    for &scarce in &broken {
        // The least there is, by itself.
        let alone = Problem {
            objective: scarce.objective(),
            ..free.clone()
        };
        let draft = if alone.objective == problem.objective {
            first.clone()
        } else {
            reserve::plan_within(&Pilot::new(&alone), &[])?
        };
        // What the plan without the bound would be told as: an alternative may be better yet.
        let least = if over(&draft.flown, scarce) > 0.0 {
            why::chosen(&alone, draft)
        } else {
            draft.flown
        };
        if over(&least, scarce) > 0.0 {
            return Err(refused(problem, scarce, &least));
        }
        seeds.push(least.script);
    }
    // Each keeps its own bound, flown as finely as any plan.
    let least_of_each = seeds.clone();
    let line = frontier::line(&free, threads())?.0;
    for &scarce in &broken {
        let mut near: Vec<(f64, &Script)> = line
            .iter()
            .map(|c| {
                let over = excess(problem, scarce, c.at.time_s, c.at.fuel_kg);
                (over, &c.script)
            })
            .collect();
        near.sort_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
        let kept = near.iter().filter(|n| n.0 <= 0.0).take(SEEDS.0);
        let broken = near.iter().filter(|n| n.0 > 0.0).take(SEEDS.1);
        seeds.extend(kept.chain(broken).map(|n| n.1.clone()));
    }
    let mut scripts: Vec<Script> = vec![];
    for mut script in seeds {
        script.descent.to_go_m = 0.0;
        if !scripts.contains(&script) {
            scripts.push(script);
        }
    }
    let settled = plan_from(problem, &scripts);
    // Flown as finely as any plan: a search may lose a bound that they keep by the error of its own longer steps.
    let best = best_first(problem, &line);
    let mut confirmed = best
        .iter()
        .take(SEEDS.0)
        .map(|c| &c.script)
        .chain(&least_of_each)
        .filter_map(|script| confirmed_flight(problem, script));
    let Some((flown, mismatch)) = confirmed.next() else {
        return settled;
    };
    let (others, flights) = match settled {
        Ok(draft) if Pilot::charged(&draft.flown) <= Pilot::charged(&flown) => return Ok(draft),
        Ok(draft) => (draft.others, draft.flights),
        Err(_) => (vec![], 0),
    };
    Ok(Draft {
        flown,
        mismatch,
        unrounded: None,
        others,
        flights,
        tried: Tried::default(),
    })
}

/// The flights of a frontier that keep the bounds, best first.
fn best_first<'a>(problem: &Problem, line: &'a [Candidate]) -> Vec<&'a Candidate> {
    let bounded = [Scarce::Time, Scarce::Fuel];
    let mut kept: Vec<&Candidate> = line
        .iter()
        .filter(|c| {
            let keeps = |&s: &Scarce| excess(problem, s, c.at.time_s, c.at.fuel_kg) <= 0.0;
            bounded.iter().all(keeps)
        })
        .collect();
    let worth = |c: &Candidate| match problem.objective {
        Objective::Time => c.at.time_s,
        Objective::Fuel => c.at.fuel_kg,
        Objective::Money => c.money,
    };
    kept.sort_by(|a, b| worth(a).total_cmp(&worth(b)));
    kept
}

/// What was asked for and the nearest that can be had.
fn refused(problem: &Problem, scarce: Scarce, least: &Flown) -> SolveError {
    let t = totals(problem, least);
    let gal = |kg: f64| kg / problem.aircraft.fuel.density_kg_m3 / M3_PER_GAL;
    match scarce {
        Scarce::Time => {
            let taken_s = problem.aircraft.procedures.taxi_time_s + least.time_s;
            SolveError::Bound {
                asked: format!(
                    "no plan lands within {:.1} min of start-up",
                    problem.bounds.within_s.unwrap_or(f64::NAN) / 60.0
                ),
                nearest: format!("the quickest takes {:.1} min", taken_s / 60.0),
            }
        }
        Scarce::Fuel => {
            let asked = match (problem.bounds.most_fuel_kg, problem.bounds.least_landing_kg) {
                (Some(most), _) if t.block_fuel_kg > most => {
                    format!("no plan burns {:.1} gal or less", gal(most))
                }
                (_, Some(left)) => format!("no plan lands with {:.1} gal", gal(left)),
                (most, None) => format!(
                    "no plan burns {:.1} gal or less",
                    gal(most.unwrap_or(f64::NAN))
                ),
            };
            SolveError::Bound {
                asked,
                nearest: format!(
                    "the thriftiest burns {:.1} gal from start-up to shutdown and lands with {:.1} gal",
                    gal(t.block_fuel_kg),
                    gal(t.landing_fuel_kg)
                ),
            }
        }
    }
}
