//! From the flight that was chosen to a plan: beside the ideal flight and the flight before rounding.

use super::Search;
use super::totals::{totals, warnings};
use crate::flight::{Flown, Script, fly_recorded};
use crate::solve::ideal;
use crate::solve::plan::{Draft, Ideal, Part, Plan, Termination, Warning, Workings, open_part};
use crate::trip::{HourBasis, Objective, Problem};

impl Search<'_> {
    /// The plan of a flight, alternatives and flights flown left open.
    pub(in crate::solve) fn finished(&self, draft: Draft) -> (Plan, Workings) {
        let (p, flown) = (self.p, draft.flown);
        let totals = totals(p, &flown);
        let path = ideal::ideal(p, self.rates, &flown);
        let (script, converged) = draft.unrounded.unzip();
        let converged = converged.unwrap_or(false);
        let unrounded = before_rounding(p, script, &flown);
        let mut warnings = warnings(p, &flown, &totals, &draft.mismatch);
        if !converged {
            warnings.push(Warning::NotConverged);
        }
        let plan = Plan {
            objective: p.objective,
            objective_value: flown.cost,
            unrounded_value: unrounded.cost.min(flown.cost),
            binding: flown.audit.binding(),
            ideal: self.ideal_of(&flown, path),
            flown,
            totals,
            reflight: draft.mismatch,
            alternatives: vec![],
            left_out: vec![],
            sensitivity: vec![],
            later: vec![],
            alternate: None,
            warnings,
            termination: if converged {
                Termination::Converged
            } else {
                Termination::StepsExhausted
            },
            flights: draft.flights,
        };
        let workings = Workings {
            unrounded,
            ideal: path,
        };
        (plan, workings)
    }

    /// The ideal flight beside a flight.
    pub(in crate::solve) fn ideal(&self, flown: &Flown) -> Ideal {
        self.ideal_of(flown, ideal::ideal(self.p, self.rates, flown))
    }

    /// The ideal flight's figures over the flown part: outside what it optimises it is the plan's own.
    fn ideal_of(&self, plan: &Flown, path: Option<Part>) -> Ideal {
        let (time_s, fuel_kg, cost) = match (path, open_part(self.p, plan)) {
            (Some(i), Some(own)) => (
                plan.time_s - own.time_s + i.time_s,
                plan.fuel_kg - own.fuel_kg + i.fuel_kg,
                plan.cost - own.cost + i.cost,
            ),
            _ => (plan.time_s, plan.fuel_kg, plan.cost),
        };
        let per_s = match self.p.prices.basis {
            HourBasis::Tachometer(_) => 0.0,
            _ => self.p.prices.per_s,
        };
        Ideal {
            objective_value: cost,
            money: if self.p.objective == Objective::Money {
                cost
            } else {
                per_s * time_s + self.p.prices.fuel_per_kg * fuel_kg
            },
            time_s,
            fuel_kg,
            margin: plan.cost / cost - 1.0,
        }
    }
}

/// The flight before rounding, flown as finely as the plan. Where rounding found better, or the unrounded flight lies on the wrong side
/// of a limit by the search's own error, it is the plan itself.
fn before_rounding(problem: &Problem, script: Option<Script>, plan: &Flown) -> Flown {
    script
        .and_then(|script| fly_recorded(problem, &script).ok())
        .filter(|f| f.audit.violation() == 0.0 && f.cost <= plan.cost)
        .unwrap_or_else(|| plan.clone())
}
