//! Plans under a bound: no later than, no more fuel than, no less fuel left than.
//!
//! Weighting time against fuel alone cannot reach every plan: levels make hollows in the frontier. So each sequence of levels is
//! flown under a range of weights, which gives its own frontier without hollows of that kind; the flights on either side of the bound
//! are then settled under the bound itself, as one more limit of the rounded, flown plan, and the best of all is taken.

use super::plan::Draft;
use super::search::{SolveError, flown_sequences, plan_from, totals};
use crate::flight::{Flown, Script};
use crate::quantity::M3_PER_GAL;
use crate::trip::{Bounds, CostRates, Objective, Problem};

/// Weights on the bounded quantity, as multiples of what the plan without bounds pays for each unit of it.
const WEIGHTS: [f64; 9] = [0.03, 0.06, 0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 16.0];
/// Halvings of the interval of weights that the bound lies in.
const HALVINGS: u32 = 3;
/// Flights nearest to the bound that are settled under it.
const MOST_SEEDS: usize = 8;

/// The bounded quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scarce {
    Time,
    Fuel,
}

impl Scarce {
    fn charge(self, weight: f64) -> CostRates {
        match self {
            Self::Time => CostRates {
                per_s: weight,
                ..CostRates::default()
            },
            Self::Fuel => CostRates {
                per_kg: weight,
                ..CostRates::default()
            },
        }
    }

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
    let mut seeds: Vec<(f64, Script)> = vec![];
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
        seeds.push((0.0, least.flown.script.clone()));
        let base = match scarce {
            Scarce::Time => first.flown.cost / first.flown.time_s,
            Scarce::Fuel => first.flown.cost / first.flown.fuel_kg,
        };
        let at = |weight: f64| -> Vec<Flown> {
            let weighted = Problem {
                charge: scarce.charge(weight * base),
                ..free.clone()
            };
            flown_sequences(&weighted)
                .into_iter()
                .filter_map(Result::ok)
                .collect()
        };
        let mut low = 0.0;
        let mut high = WEIGHTS[WEIGHTS.len() - 1];
        let mut look = |weight: f64| -> bool {
            let flown = at(weight);
            let meets = flown.iter().any(|f| over(f, scarce) <= 0.0);
            seeds.extend(flown.into_iter().map(|f| {
                // Distance from the bound, relative.
                let whole = match scarce {
                    Scarce::Time => f.time_s,
                    Scarce::Fuel => f.fuel_kg,
                };
                ((over(&f, scarce) / whole).abs(), f.script)
            }));
            meets
        };
        for weight in WEIGHTS {
            if look(weight) {
                high = weight;
                break;
            }
            low = weight;
        }
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if look(middle) {
                high = middle;
            } else {
                low = middle;
            }
        }
    }
    seeds.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut scripts: Vec<Script> = vec![];
    for (_, mut script) in seeds {
        script.descent.to_go_m = 0.0;
        if scripts.len() < MOST_SEEDS && !scripts.contains(&script) {
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
