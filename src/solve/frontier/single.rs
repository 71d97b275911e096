//! A plan of the frontier as a plan by itself, so that whatever tells a plan can tell it.

use super::Frontier;
use crate::solve::plan::{Plan, Termination};
use crate::solve::search::{Search, set_clock};
use crate::solve::workers::each_of;
use crate::trip::Problem;
use std::borrow::Cow;

impl Frontier {
    /// Its plans one by one, each on the clock of its own flight and beside the ideal flight of the problem's objective. They were found
    /// settable, not rounded, and nothing is said of what each choice is worth: such figures are nought or empty. `problem` is the one
    /// the frontier was made for.
    pub fn one_by_one(&self, problem: &Problem, threads: usize) -> Vec<(Problem, Plan)> {
        each_of(threads, &self.plans, |of| {
            let mut clocked = Cow::Borrowed(problem);
            set_clock(&mut clocked, &of.flown);
            let ideal = Search::new(&clocked, clocked.cost_rates()).ideal(&of.flown);
            let plan = Plan {
                objective: clocked.objective,
                objective_value: of.flown.cost,
                unrounded_value: of.flown.cost,
                ideal,
                reflight: of.reflight,
                alternatives: vec![],
                left_out: vec![],
                sensitivity: vec![],
                later: vec![],
                alternate: self.alternate.clone(),
                binding: of.flown.audit.binding(),
                warnings: of.warnings.clone(),
                termination: Termination::Converged,
                flights: self.flights,
                totals: of.totals,
                flown: of.flown.clone(),
            };
            (clocked.into_owned(), plan)
        })
    }
}
