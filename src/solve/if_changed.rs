//! What a plan comes to when wind, weight or temperature is not as planned with: the same settings flown, or planned anew.

use super::circling;
use super::plan::{NotFlown, Plan, Sensitivity, Shifted};
use super::refine::with_trigger;
use super::search::{on_schedule, totals};
use crate::flight::{Flown, Hint, Memory, fly, fly_recorded};
use crate::quantity::{KG_PER_LB, M_S_PER_KT};
use crate::trip::{Change, Circling, Problem};
use std::cell::RefCell;

/// What a trip is looked at with besides: wind along the course, load and temperature to either side.
pub const CHANGES: [Change; 6] = [
    Change::AlongWind(-10.0 * M_S_PER_KT),
    Change::AlongWind(10.0 * M_S_PER_KT),
    Change::Load(100.0 * KG_PER_LB),
    Change::Load(-100.0 * KG_PER_LB),
    Change::Temperature(10.0),
    Change::Temperature(-10.0),
];

/// The settings of a plan flown in a changed trip, the top of descent found anew.
pub(super) fn same_settings(problem: &Problem, plan: &Plan, change: Change) -> Sensitivity {
    let changed = problem.changed(change);
    let flown = || -> Result<Flown, NotFlown> {
        let hint = Hint {
            top_of_descent_m: plan.flown.top_of_descent.distance_m,
        };
        let memory = RefCell::<Memory>::default();
        let found = fly(&changed, &plan.flown.script_free(), Some(hint), &memory)?;
        Ok(fly_recorded(&changed, &with_trigger(&found.script))?)
    };
    Sensitivity {
        change,
        anew: false,
        outcome: light_enough(&changed)
            .and_then(|()| flown())
            .map(|f| shifted(&changed, plan, f)),
    }
}

fn light_enough(changed: &Problem) -> Result<(), NotFlown> {
    let over_kg = changed.over_take_off_kg();
    if over_kg > 1e-6 {
        Err(NotFlown::TooHeavy(over_kg))
    } else {
        Ok(())
    }
}

fn shifted(changed: &Problem, plan: &Plan, flown: Flown) -> Shifted {
    Shifted {
        totals: totals(changed, &flown),
        difference: flown.cost - plan.flown.cost,
        broken: flown.audit.broken(),
        flown,
    }
}

/// What a plan made anew for each of [`CHANGES`] comes to beside a plan.
pub fn planned_anew(problem: &Problem, plan: &Plan) -> Vec<Sensitivity> {
    CHANGES
        .iter()
        .map(|&change| {
            // Straight first, whatever the plan does.
            let changed = Problem {
                circling: Circling::default(),
                ..problem.changed(change)
            };
            let outcome = light_enough(&changed)
                .and_then(|()| Ok(circling::found(on_schedule(&changed))?))
                .map(|(_, draft)| shifted(&changed, plan, draft.flown));
            Sensitivity {
                change,
                anew: true,
                outcome,
            }
        })
        .collect()
}
