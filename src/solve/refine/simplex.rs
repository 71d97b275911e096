//! The continuous choices of a script refined with argmin's simplex.

use super::alike::Alike;
use super::knobs::{Knob, get, knobs, set, step};
use super::{Pilot, UNFLYABLE};
use crate::flight::Script;
use argmin::core::{CostFunction, Executor, State as _};
use argmin::solver::neldermead::NelderMead;
use std::cell::{Cell, RefCell};

/// Flights of the simplex once it is set up: a step takes one or two, but where it lies across a limit and shrinks, one for each knob.
const SIMPLEX_FLIGHTS: usize = 300;
/// The simplex has converged when the standard deviation of the costs of its corners is this share of the cost.
const SIMPLEX_SPREAD: f64 = 1e-4;
/// It begins with so many settable steps of each knob.
const FIRST_STEPS: f64 = 1.5;

struct Flights<'a, 'p> {
    pilot: &'a Pilot<'p>,
    base: &'a Script,
    knobs: &'a [(Knob, f64, f64)],
    best: &'a RefCell<Option<(f64, Script)>>,
    prepare: &'a dyn Fn(&mut Script),
    alike: Alike,
    flown: Cell<usize>,
    most: usize,
}

/// The box is mapped to the whole line by a sine, so the simplex never meets a wall.
fn from_line(theta: f64, low: f64, high: f64) -> f64 {
    low + 0.5 * (high - low) * (1.0 + theta.sin())
}

fn to_line(x: f64, low: f64, high: f64) -> f64 {
    (2.0 * (x - low) / (high - low) - 1.0)
        .clamp(-1.0, 1.0)
        .asin()
}

impl CostFunction for Flights<'_, '_> {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, theta: &Self::Param) -> Result<f64, argmin::core::Error> {
        let flown = self.flown.get();
        if flown == self.most {
            return Err(argmin::core::ArgminError::ConditionViolated {
                text: "as many flights as are allowed".to_owned(),
            }
            .into());
        }
        self.flown.set(flown + 1);
        let mut script = self.base.clone();
        for (&(knob, low, high), &t) in self.knobs.iter().zip(theta) {
            set(&mut script, knob, from_line(t, low, high));
        }
        self.alike.keep(&mut script);
        (self.prepare)(&mut script);
        let Some(flown) = self.pilot.fly(&script) else {
            return Ok(UNFLYABLE);
        };
        let cost = Pilot::charged(&flown);
        if flown.audit.violation() == 0.0 {
            let mut best = self.best.borrow_mut();
            if best.as_ref().is_none_or(|b| cost < b.0) {
                *best = Some((cost, script));
            }
        }
        Ok(if cost.is_finite() { cost } else { UNFLYABLE })
    }
}

/// Refines the continuous choices of a script with argmin's simplex; the best script that keeps every limit, and whether the
/// simplex met its tolerance.
pub fn continuous(
    pilot: &Pilot,
    base: &Script,
    prepare: &dyn Fn(&mut Script),
) -> Option<(Script, bool)> {
    let problem = pilot.problem();
    // With the lever full forward other limits hold than a hair behind it, so that is no continuous choice.
    let forward = problem.aircraft.propeller.highest_governed_rev_s - 1e-9;
    let alike = Alike::of(base);
    let knobs: Vec<_> = knobs(problem, base)
        .into_iter()
        .filter(|&(knob, _, _)| !alike.follows(knob))
        .filter(|&(knob, _, _)| {
            !matches!(knob, Knob::CruiseRev(_) | Knob::PartRev(_)) || get(base, knob) < forward
        })
        .collect();
    let best = RefCell::new(None);
    let flights = Flights {
        pilot,
        base,
        knobs: &knobs,
        best: &best,
        prepare,
        alike,
        flown: Cell::new(0),
        // The corners are flown twice for each knob, and again by the solver, which takes no refusal there.
        most: SIMPLEX_FLIGHTS + 4 * (knobs.len() + 1),
    };
    let start: Vec<f64> = knobs
        .iter()
        .map(|&(k, low, high)| to_line(get(base, k), low, high))
        .collect();
    let mut simplex = vec![start.clone()];
    for (i, &(knob, low, high)) in knobs.iter().enumerate() {
        let mut vertex = start.clone();
        let (x, by) = (get(base, knob), FIRST_STEPS * step(problem, base, knob));
        let mut corner = |to: f64| {
            vertex[i] = to_line(to, low, high);
            flights.cost(&vertex).unwrap_or(UNFLYABLE)
        };
        let inside = (low..=high).contains(&(x - by));
        // To the side that is cheaper: the other may lie across a limit.
        let up = x + by <= high && !(inside && corner(x - by) < corner(x + by));
        vertex[i] = to_line(if up { x + by } else { x - by }, low, high);
        simplex.push(vertex);
    }
    let scale = flights.cost(&start).ok()?;
    let solver = NelderMead::new(simplex)
        .with_sd_tolerance(SIMPLEX_SPREAD * scale.abs().max(1e-9))
        .ok()?;
    let run = Executor::new(flights, solver).run();
    let converged = run.as_ref().is_ok_and(|r| {
        r.state().get_termination_reason()
            == Some(&argmin::core::TerminationReason::SolverConverged)
    });
    drop(run);
    best.into_inner().map(|(_, script)| (script, converged))
}
