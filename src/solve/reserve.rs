//! Plans that the reserve limits.
//!
//! Where the fuel on board is too little for what would be best, walks that begin there come to a halt as soon as the reserve is kept, far from the
//! best that keeps it: to burn less at no loss several things must change at once. So the search is made again as if fuel cost so much
//! more (its shadow price, the Lagrange multiplier of the reserve) that the flight it proposes just keeps the reserve, and what it finds
//! is settled by the objective itself.

use super::plan::Draft;
use super::refine::{Kept, MOVE_WORTH, Pilot, lever_changes};
use super::search::{Search, SolveError, guessed_flow_kg_s, plan_with};
use crate::flight::{Limit, Script};
use crate::trip::{CostRates, Problem};

/// A reserve that costs no more than this share of the objective is left to the first search.
const MATTERS: f64 = 1e-3;
/// The best so many flights of each search are settled by the objective itself.
const SEEDS: usize = 3;
/// The shadow price is looked for within this factor of what the objective charges for the burning of a kilogram.
const MOST_FACTOR: f64 = 64.0;
/// Halvings of that range on a scale of ratios: to a factor of 1.14.
const HALVINGS: u32 = 6;

/// Plans a trip with a pilot, from what the search finds and from some scripts more.
///
/// # Errors
/// As [`super::plan`].
pub(super) fn plan_within(pilot: &Pilot, seeds: &[Script]) -> Result<Draft, SolveError> {
    let problem = pilot.problem();
    let first = plan_with(pilot, seeds, 0.0);
    let short = pilot.cheapest_short_of_fuel();
    let costs = match &first {
        Ok(first) => first.flown.cost - short > MATTERS * first.flown.cost.abs(),
        Err(_) => short < f64::INFINITY,
    };
    let rates = problem.cost_rates();
    // Where the thriftiest flight burns too much, or fuel alone counts, a shadow price changes nothing.
    let hopeless = matches!(first, Err(SolveError::Fuel { .. }));
    if !costs || hopeless || (rates.per_s <= 0.0 && rates.per_rev <= 0.0) {
        return first;
    }
    let prices = shadow_prices(problem);
    let mut seeds: Vec<Script> = first.iter().map(|d| d.flown.script_free()).collect();
    for per_kg in prices {
        let mut dearer = problem.clone();
        dearer.charge.per_kg += per_kg;
        let other = Pilot::keeping(&dearer);
        if let Ok(draft) = plan_with(&other, &[], 0.0) {
            seeds.push(draft.flown.script_free());
        }
        let flights = other.flights();
        let kept = other.into_kept();
        // What keeps the reserve is here; of that the best by the objective itself.
        let charged = |k: &Kept| {
            let cost = rates.of(k.time_s, k.fuel_kg, k.revolutions);
            cost * (1.0 + MOVE_WORTH * lever_changes(&k.script))
        };
        let mut order: Vec<(f64, &Kept)> = kept.iter().map(|k| (charged(k), k)).collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        seeds.extend(order.iter().take(SEEDS).map(|(_, k)| k.script.clone()));
        pilot.absorb(flights, kept);
    }
    let next = plan_with(pilot, &seeds, prices[0]);
    let chosen = match (&next, &first) {
        (Ok(a), Ok(b)) if Pilot::charged(&a.flown) < Pilot::charged(&b.flown) => next,
        (Ok(_), Err(_)) => next,
        _ => first,
    };
    chosen.map(|draft| Draft {
        flights: pilot.flights(),
        ..draft
    })
}

/// Prices of a kilogram, in the objective's unit, with which the flight that the search proposes first keeps the reserve, and just does not.
fn shadow_prices(problem: &Problem) -> [f64; 2] {
    let rates = problem.cost_rates();
    let flow = guessed_flow_kg_s(problem);
    let scale = rates.rate(flow, problem.aircraft.engine.spec.rated_rev_s) / flow;
    let keeps = |per_kg: f64| {
        let rates = CostRates {
            per_kg: rates.per_kg + per_kg,
            ..rates
        };
        Search::new(problem, rates)
            .first_flight()
            .is_some_and(|f| f.audit.excess(Limit::Fuel) <= 0.0)
    };
    let (mut low, mut high) = (scale / MOST_FACTOR, scale * MOST_FACTOR);
    for _ in 0..HALVINGS {
        let middle = (low * high).sqrt();
        if keeps(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    [high, low]
}
