//! Plans that the reserve limits.
//!
//! Where the fuel on board is too little for what would be best, walks that begin there come to a halt as soon as the reserve is kept, far from the
//! best that keeps it: to burn less at no loss several things must change at once. So what a search proposes is flown again as if fuel cost
//! so much more (its shadow price, the Lagrange multiplier of the reserve) that the flight it proposes first just keeps the reserve, and what
//! it finds is settled by the objective itself.

use super::cruise::{AtLevel, cost_per_m};
use super::descent::carried;
use super::plan::Draft;
use super::refine::{Kept, MOVE_WORTH, Pilot, lever_changes, rounded};
use super::search::{Search, SolveError, guessed_flow_kg_s};
use crate::aircraft::Levers;
use crate::flight::{Flown, Limit, Script};
use crate::trip::CostRates;

/// A reserve that costs no more than this share of the objective is left to the first search.
const MATTERS: f64 = 1e-3;
/// The best so many flights at the shadow price are settled by the objective itself.
const SEEDS: usize = 3;
/// The settings of cruise that are looked at are coarse: they may burn this share more than is to be burned.
const ROOM: f64 = 0.01;
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
    let rates = problem.cost_rates();
    let search = Search::proposing(problem);
    // Who keeps what is passed by leaves nothing.
    let search = if pilot.keeps() || !is_sought(rates) {
        search
    } else {
        search.before_the_reserve()
    };
    let first = search.proposed(pilot, seeds)?;
    if !is_sought(rates) {
        return search.completed(pilot, &first);
    }
    let limited = |best: Option<&Flown>| {
        let short = pilot.cheapest_short_of_fuel();
        best.map_or(short < f64::INFINITY, |f| matters(f.cost, short))
    };
    let mut completed = None;
    if !first.best().is_some_and(|f| limited(Some(f))) {
        let draft = search.completed(pilot, &first);
        // Nor does it where the thriftiest flight burns too much.
        let hopeless = matches!(draft, Err(SolveError::Fuel { .. }));
        if hopeless || !limited(draft.as_ref().ok().map(|d| &d.flown)) {
            return draft;
        }
        completed = Some(draft);
    }
    let best = match &completed {
        Some(draft) => draft.as_ref().ok().map(|d| &d.flown),
        None => first.best(),
    };
    let mut seeds: Vec<Script> = best.iter().map(|f| f.script_free()).collect();
    let per_kg = shadow_price(&search);
    let mut dearer = problem.clone();
    dearer.charge.per_kg += per_kg;
    let other = Pilot::keeping(&dearer);
    let at_price = search.at_prices(&dearer, dearer.cost_rates());
    let proposed = at_price.proposed(&other, &[]).ok();
    let priced = proposed.as_ref().and_then(|p| p.best());
    seeds.extend(priced.map(Flown::script_free));
    let flown = best.into_iter().chain(priced);
    seeds.extend(flown.filter_map(|f| set_anew(&search, f, rates)));
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
    let next = search
        .at_prices(problem, dearer.cost_rates())
        .plan_with(pilot, &seeds);
    let chosen = match (completed, next) {
        (Some(Ok(draft)), Ok(next)) => Ok(cheaper(draft, next)),
        (_, Ok(next)) => Ok(next),
        (Some(draft), Err(_)) => draft,
        (None, Err(_)) => search.completed(pilot, &first),
    };
    chosen.map(|draft| Draft {
        flights: pilot.flights(),
        ..draft
    })
}

/// Whether a shadow price of fuel is looked for at these prices: where fuel alone counts it changes nothing.
fn is_sought(rates: CostRates) -> bool {
    rates.per_s > 0.0 || rates.per_rev > 0.0
}

/// Whether the reserve costs a flight that keeps it more than is left to the first search, beside one that breaks it alone.
pub(super) fn matters(cost: f64, short_of_fuel: f64) -> bool {
    cost - short_of_fuel > MATTERS * cost.abs()
}

fn cheaper(a: Draft, b: Draft) -> Draft {
    if Pilot::charged(&a.flown) <= Pilot::charged(&b.flown) {
        a
    } else {
        b
    }
}

/// The script of a flight with its last cruise set to what costs the least of all that burns about as much by the mile, or less, in the middle of
/// the route: what a change of mixture, manifold pressure and RPM together would come to. `None` where that is what it has.
fn set_anew(search: &Search, flown: &Flown, rates: CostRates) -> Option<Script> {
    let p = search.p;
    let mut script = flown.script_free();
    let last = *script.last_cruise();
    let options = search.options(last.level_m);
    let middle_m = 0.5 * p.length_m;
    let mut near_m_s = options.iter().map(|o| o.tas_m_s).fold(0.0, f64::max);
    let level = AtLevel::new(p, last.level_m, middle_m, search.middle_kg());
    let (now, _) = level.setting(last.levers(), &mut near_m_s)?;
    let sample = level.sample;
    let fuel = CostRates::OF_FUEL;
    let most_per_m = cost_per_m(fuel, &now, &sample) * (1.0 + ROOM);
    let best = options
        .iter()
        .filter(|o| cost_per_m(fuel, o, &sample) <= most_per_m)
        .min_by(|a, b| {
            let [a, b] = [a, b].map(|o| cost_per_m(rates, o, &sample));
            a.total_cmp(&b)
        })?;
    let Levers {
        throttle,
        rev_s,
        mixture,
    } = best.levers;
    let cruise = script.cruise.last_mut()?;
    (cruise.throttle, cruise.rev_s, cruise.mixture) = (throttle, rev_s, mixture);
    script.descent = carried(&script.descent, &last, cruise);
    let script = rounded(p, &script);
    (*script.last_cruise() != last).then_some(script)
}

/// The price of a kilogram, in the objective's unit, with which the flight that the search proposes first just keeps the reserve.
fn shadow_price(search: &Search) -> f64 {
    let problem = search.p;
    let rates = problem.cost_rates();
    let flow = guessed_flow_kg_s(problem);
    let scale = rates.rate(flow, problem.aircraft.engine.spec.rated_rev_s) / flow;
    let keeps = |per_kg: f64| {
        let rates = CostRates {
            per_kg: rates.per_kg + per_kg,
            ..rates
        };
        search
            .at_prices(problem, rates)
            .first_flight_anew()
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
    high
}
