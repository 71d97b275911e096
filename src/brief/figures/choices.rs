//! Other ways to fly the trip, those no flight goes, and the trip when something is other than planned with.

use super::Said;
use super::levels_ft;
use super::totals::{TotalsFigures, objective_value, totals};
use crate::aircraft::Throttle;
use crate::brief::measure::Units;
use crate::brief::units::{Fuel, ft, inhg, kt, lb, min, nm, rpm};
use crate::brief::words::{feet, inches, knots, number, revs};
use crate::flight::Script;
use crate::solve::{Alternative, AlternativeKind, LeftOut, NotFlown, Plan, Sensitivity};
use crate::trip::{Change, Problem};
use schemars::JsonSchema;
use serde::Serialize;

/// Another way to fly the trip.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AlternativeFigures {
    /// ordinary_descent, level, climb, descent_rpm, cruise_map or cruise_rpm.
    pub kind: &'static str,
    /// What was changed.
    pub name: String,
    /// Its totals.
    pub totals: TotalsFigures,
    /// Its objective less that of the plan, in the unit of the objective.
    pub difference: f64,
    /// Its time less that of the plan.
    pub difference_min: f64,
    /// Its fuel less that of the plan.
    pub difference_gal: f64,
    /// The objective differs by less than 0.1 %.
    pub no_real_difference: bool,
    /// Where it starts down, to go.
    pub top_of_descent_to_go_nm: f64,
}

/// The trip when something is other than planned with.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SensitivityFigures {
    /// head_wind, tail_wind, heavier, lighter, warmer or colder.
    pub kind: &'static str,
    /// What is other.
    pub name: String,
    /// The plan was made anew for it; else the same settings were flown with the top of descent moved.
    pub planned_anew: bool,
    /// What it comes to; none where it cannot be flown.
    pub outcome: Option<ShiftedFigures>,
    /// Why it cannot be flown.
    pub not_flown: Option<String>,
}

/// What a change does to the plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ShiftedFigures {
    /// Totals.
    pub totals: TotalsFigures,
    /// Objective less that of the plan, in the unit of the objective.
    pub difference: f64,
    /// Time less that of the plan.
    pub difference_min: f64,
    /// Fuel less that of the plan.
    pub difference_gal: f64,
    /// Where it starts down, to go.
    pub top_of_descent_to_go_nm: f64,
    /// Cruise levels.
    pub levels_ft: Vec<f64>,
    /// Limits that the settings then break.
    pub broken_limits: Vec<&'static str>,
}

/// Key and words of a choice, in the script that has it.
pub(in crate::brief) fn choice(kind: AlternativeKind, script: &Script) -> (&'static str, String) {
    // Which stretch, where there are several.
    let stretch = |i: usize| match script.cruise.get(i) {
        Some(c) if script.cruise.len() > 1 => format!(" at {} ft", feet(ft(c.level_m))),
        _ => String::new(),
    };
    match kind {
        AlternativeKind::OrdinaryDescent => ("ordinary_descent", "ordinary descent".to_owned()),
        AlternativeKind::Level(_) => {
            let steps: Vec<String> = script
                .cruise
                .iter()
                .enumerate()
                .map(|(i, c)| {
                    let level = format!("{} ft", feet(ft(c.level_m)));
                    if i == 0 {
                        level
                    } else {
                        format!("{level} from {} nm", number(nm(c.from_m), 0))
                    }
                })
                .collect();
            ("level", format!("cruise at {}", steps.join(", ")))
        }
        AlternativeKind::ClimbVy(v) => ("climb", format!("climb at Vy, {} KIAS", knots(kt(v)))),
        AlternativeKind::CruiseClimb(v) => ("climb", format!("climb at {} KIAS", knots(kt(v)))),
        AlternativeKind::CruiseRevDown => (
            "descent_rpm",
            format!(
                "PROP stays at {} in the descent",
                revs(rpm(script.cruise.last().map_or(0.0, |c| c.rev_s)))
            ),
        ),
        AlternativeKind::CoarseDown(r) => (
            "descent_rpm",
            format!("PROP back to {} in the descent", revs(rpm(r))),
        ),
        AlternativeKind::CruiseThrottle(i, Throttle::Map(p)) => (
            "cruise_map",
            format!("cruise{} with {} in", stretch(i), inches(inhg(p))),
        ),
        AlternativeKind::CruiseThrottle(i, _) => (
            "cruise_map",
            format!("cruise{} with full throttle", stretch(i)),
        ),
        AlternativeKind::CruiseRev(i, r) | AlternativeKind::CruiseRpmHeld(i, r) => (
            "cruise_rpm",
            format!("cruise{} with {} rpm", stretch(i), revs(rpm(r))),
        ),
    }
}

/// A difference of less than 0.1 % of the objective, what a lever change must be worth, is none.
const NO_DIFFERENCE: f64 = 1e-3;

pub(super) fn alternative(
    a: &Alternative,
    plan: &Plan,
    problem: &Problem,
    fuel: Fuel,
) -> AlternativeFigures {
    let (kind, name) = choice(a.kind, &a.flown.script);
    AlternativeFigures {
        kind,
        name,
        totals: totals(problem, fuel, &a.totals, a.flown.cruise_fuel_kg_s),
        difference: objective_value(plan.objective, fuel, a.difference),
        difference_min: min(a.totals.time_s - plan.totals.time_s),
        difference_gal: fuel.gal(a.totals.fuel_kg - plan.totals.fuel_kg),
        no_real_difference: a.difference.abs() < NO_DIFFERENCE * plan.objective_value.abs(),
        top_of_descent_to_go_nm: nm(problem.length_m - a.flown.top_of_descent.distance_m),
    }
}

pub(super) fn left_out(l: &LeftOut, plan: &Plan) -> Said {
    let (kind, mut text) = choice(l.kind, &plan.flown.script);
    // The level is not in the script of the plan.
    if let AlternativeKind::Level(m) = l.kind {
        text = format!("cruise at {} ft", feet(ft(m)));
    }
    let why = if l.limits.is_empty() {
        "no such flight keeps every limit".to_owned()
    } else {
        l.limits
            .iter()
            .map(|l| l.words())
            .collect::<Vec<_>>()
            .join(", ")
    };
    Said {
        kind,
        text: format!("{text}: {why}"),
    }
}

/// Key and words of a change.
fn change_words(change: Change, units: Units) -> (&'static str, String) {
    match change {
        Change::AlongWind(w) if w < 0.0 => {
            ("head_wind", format!("{} kt more head wind", knots(kt(-w))))
        }
        Change::AlongWind(w) => ("tail_wind", format!("{} kt more tail wind", knots(kt(w)))),
        Change::Load(m) if m < 0.0 => ("lighter", format!("{} lighter", units.load(lb(-m)))),
        Change::Load(m) => ("heavier", format!("{} heavier", units.load(lb(m)))),
        Change::Temperature(k) if k < 0.0 => ("colder", format!("{} °C colder", number(-k, 0))),
        Change::Temperature(k) => ("warmer", format!("{} °C warmer", number(k, 0))),
    }
}

pub(super) fn sensitivity(
    s: &Sensitivity,
    plan: &Plan,
    problem: &Problem,
    fuel: Fuel,
    units: Units,
) -> SensitivityFigures {
    let (kind, name) = change_words(s.change, units);
    let flown = s.outcome.as_ref().map_err(|e| match e {
        NotFlown::TooHeavy(kg) => format!("{e} by {}", units.overweight(lb(*kg))),
        e => e.to_string(),
    });
    let changed = problem.changed(s.change);
    SensitivityFigures {
        kind,
        name,
        planned_anew: s.anew,
        outcome: flown.as_ref().ok().map(|f| ShiftedFigures {
            totals: totals(&changed, fuel, &f.totals, f.flown.cruise_fuel_kg_s),
            difference: objective_value(plan.objective, fuel, f.difference),
            difference_min: min(f.totals.time_s - plan.totals.time_s),
            difference_gal: fuel.gal(f.totals.fuel_kg - plan.totals.fuel_kg),
            top_of_descent_to_go_nm: nm(problem.length_m - f.flown.top_of_descent.distance_m),
            levels_ft: levels_ft(&f.flown),
            broken_limits: f.broken.iter().map(|l| l.words()).collect(),
        }),
        not_flown: flown.err(),
    }
}
