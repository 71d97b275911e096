//! Plans under a bound: no later than, no more fuel than, no less fuel left than.
//!
//! Weighting time against fuel alone cannot reach every plan: levels and settings make hollows. So the flights of the frontier of fuel
//! against time, which has those in hollows too, that lie next to the bound are settled under the bound itself, as one more limit of the
//! rounded, flown plan, and the best of all is taken.

use super::frontier::{self, threads};
use super::plan::Draft;
use super::search::{SolveError, plan_from, totals};
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

/// Plans a trip under its bounds.
///
/// # Errors
/// [`SolveError`]; [`SolveError::Bound`] with the nearest figure that can be had where no plan keeps a bound.
pub(super) fn plan(problem: &Problem) -> Result<Draft, SolveError> {
    let free = Problem {
        bounds: Bounds::default(),
        ..problem.clone()
    };
    let first = plan_from(&free, &[])?;
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
        let least = if scarce.objective() == problem.objective {
            first.clone()
        } else {
            let alone = Problem {
                objective: scarce.objective(),
                ..free.clone()
            };
            plan_from(&alone, &[])?
        };
        if over(&least.flown, scarce) > 0.0 {
            return Err(refused(problem, scarce, &least));
        }
        seeds.push(least.flown.script);
    }
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
    plan_from(problem, &scripts)
}

/// What was asked for and the nearest that can be had.
fn refused(problem: &Problem, scarce: Scarce, least: &Draft) -> SolveError {
    let t = totals(problem, &least.flown);
    let gal = |kg: f64| kg / problem.aircraft.fuel.density_kg_m3 / M3_PER_GAL;
    match scarce {
        Scarce::Time => {
            let taken_s = problem.aircraft.procedures.taxi_time_s + least.flown.time_s;
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
