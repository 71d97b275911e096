//! Why there is no plan, in words, and what would free the trip.

use super::Search;
use super::totals::totals;
use crate::flight::Limit;
use crate::quantity::M_PER_FT;
use crate::solve::levels::sequences;
use crate::solve::refine::Pilot;
use crate::trip::{Bounds, CostRates, Leg, Objective, Problem, Rules, legal_levels};

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SolveError {
    /// A leg has no legal level.
    #[error(
        "leg {from} to {to}: no cruise altitude is allowed between its minimum of {minimum_ft:.0} ft and {maximum_ft:.0} ft (rules for a magnetic course of {course_deg:.0} deg, ground clearance in true height, oxygen). What would free it: {ways}"
    )]
    NoLevel {
        /// From.
        from: String,
        /// To.
        to: String,
        /// Least altitude.
        minimum_ft: f64,
        /// Greatest altitude.
        maximum_ft: f64,
        /// What would free it, in words.
        ways: String,
        /// Magnetic course.
        course_deg: f64,
    },
    /// Legal levels, but the aeroplane cannot cruise or climb there.
    #[error(
        "the aeroplane reaches none of the allowed altitudes ({levels}) with the climb rate and cruise settings the profile and trip allow: {why}"
    )]
    Unreachable {
        /// The levels, in words.
        levels: String,
        /// What stands in the way at the nearest of them, and what would free it, in words.
        why: String,
        /// Whether a longer way may free it, as turns over a field are one.
        for_room: bool,
    },
    /// Not enough fuel.
    #[error(
        "out of fuel: the thriftiest plan found needs {required_gal:.1} gal with the reserve of {reserve_min:.0} min, and {on_board_gal:.1} gal are on board. What would free it: more fuel, less load, or a stop on the way"
    )]
    Fuel {
        /// Needed.
        required_gal: f64,
        /// On board.
        on_board_gal: f64,
        /// Reserve.
        reserve_min: f64,
    },
    /// No plan keeps a bound that was asked for.
    #[error("{asked}: {nearest}")]
    Bound {
        /// What was asked for, in words.
        asked: String,
        /// The nearest figure that can be had, in words.
        nearest: String,
    },
    /// A plan was found in outline but no script keeps every limit.
    #[error(
        "no flight keeps every limit of the trip; limits in the way: {limits}. What would free it: {ways}"
    )]
    Infeasible {
        /// The limits, in words.
        limits: String,
        /// What would free the trip of each, in words.
        ways: String,
    },
}

impl Search<'_> {
    /// Why no sequence can be flown.
    pub(super) fn why_not(&self, broken: Vec<Limit>) -> SolveError {
        let mut limits: Vec<Limit> = Limit::ALL
            .into_iter()
            .filter(|l| broken.contains(l))
            .collect();
        if limits.contains(&Limit::Fuel)
            && let Some((required_kg, reserve_s)) = self.thriftiest()
            && required_kg > self.p.fuel_kg
        {
            let gal = self.p.aircraft.fuel.density_kg_m3 * crate::quantity::M3_PER_GAL;
            return SolveError::Fuel {
                required_gal: required_kg / gal,
                on_board_gal: self.p.fuel_kg / gal,
                reserve_min: reserve_s / 60.0,
            };
        }
        if limits.is_empty() {
            limits.push(Limit::Distance);
        }
        let mut words = in_words(&limits);
        if limits.contains(&Limit::Forbidden) {
            words.push_str(&format!(" ({})", self.p.forbidden_names().join(", ")));
        }
        let ways: Vec<&str> = limits.iter().map(|l| l.way_out()).collect();
        SolveError::Infeasible {
            limits: words,
            ways: ways.join("; "),
        }
    }

    /// Fuel the thriftiest plan needs with the reserve, with the tanks as full as they can be for the question's sake.
    fn thriftiest(&self) -> Option<(f64, f64)> {
        let mut p = self.p.clone();
        p.objective = Objective::Fuel;
        p.charge = CostRates::default();
        p.bounds = Bounds::default();
        p.limits.reserve_s = 0.0;
        p.limits.reserve_kg = 0.0;
        p.zero_fuel_kg += p.fuel_kg - 2.0 * p.aircraft.fuel.usable_kg;
        p.fuel_kg = 2.0 * p.aircraft.fuel.usable_kg;
        let rates = p.cost_rates();
        let search = Search::new(&p, rates);
        let levels = search.level_costs().ok()?;
        let pilot = Pilot::new(&p);
        let sequence = sequences(&p, rates, &levels).into_iter().next()?;
        let flown = search.fly_sequence(&pilot, &levels, &sequence, 1).ok()?;
        let t = totals(&p, &flown);
        Some((
            t.block_fuel_kg + t.alternate_kg + self.p.reserve_kg(flown.cruise_fuel_kg_s),
            self.p.reserve_kg(flown.cruise_fuel_kg_s) / flown.cruise_fuel_kg_s,
        ))
    }
}

/// What alone would give a leg without level one, in words.
pub(super) fn ways_to_a_level(problem: &Problem, leg: &Leg) -> String {
    // The air is known this far above the trip's greatest altitude.
    let more_m = 2_000.0 * M_PER_FT;
    let frees = |change: &dyn Fn(&mut Problem, &mut Leg)| {
        let (mut p, mut l) = (problem.clone(), leg.clone());
        change(&mut p, &mut l);
        !legal_levels(&p, &l).levels_m.is_empty()
    };
    let mut ways = Vec::new();
    let field_m = problem
        .departure
        .elevation_m
        .max(problem.destination.elevation_m);
    if field_m + problem.limits.clearance_m > problem.limits.max_altitude_m {
        ways.push(
            "fields that lie lower: one of this trip is, with the clearance, above the greatest altitude (limits.max_altitude_ft)",
        );
    }
    if frees(&|p, _| p.rules = Rules::None) {
        ways.push("rules that allow other levels on this course (limits.rules)");
    }
    if frees(&|_, l| l.maximum_m = None) {
        ways.push("a higher maximum_altitude_ft of the leg");
    }
    if frees(&|p, l| {
        p.limits.max_altitude_m += more_m;
        l.maximum_m = l.maximum_m.map(|m| m + more_m);
    }) {
        ways.push("a higher greatest altitude (limits.max_altitude_ft)");
    }
    if frees(&|p, _| p.limits.oxygen = true) {
        ways.push("oxygen on board (limits.oxygen)");
    }
    if frees(&|_, l| l.minimum_m = f64::NEG_INFINITY) {
        ways.push("a lower minimum_altitude_ft of the leg, if the chart has it");
    }
    if ways.is_empty() {
        ways.push("no one limit alone: a route over lower ground (a via place), or warmer air");
    }
    ways.join("; ")
}

/// Limits as a pilot would name them.
fn in_words(limits: &[Limit]) -> String {
    limits
        .iter()
        .map(|l| l.words())
        .collect::<Vec<_>>()
        .join(", ")
}
