//! The plan that comes next: the cheapest other way that goes by another level or down otherwise, with its path.

use super::figures::{choice, objective_value};
use super::units::{Fuel, ft, min, nm};
use crate::flight::SegmentKind;
use crate::solve::{Alternative, AlternativeKind, Plan};
use schemars::JsonSchema;
use serde::Serialize;

/// The runner-up.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RunnerUp {
    /// As among the alternatives.
    pub kind: &'static str,
    /// What was changed.
    pub name: String,
    /// Its objective less that of the plan, in the unit of the objective.
    pub difference: f64,
    /// Its path to the field.
    pub track: Vec<RunnerUpPoint>,
}

/// One point of its path.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct RunnerUpPoint {
    /// Along the route.
    pub distance_nm: f64,
    /// Since lift-off.
    pub time_min: f64,
    /// What the altimeter shows.
    pub indicated_altitude_ft: f64,
}

/// Whether an alternative chooses another level, or another way down.
fn by_path(kind: AlternativeKind) -> bool {
    match kind {
        AlternativeKind::OrdinaryDescent
        | AlternativeKind::Level(_)
        | AlternativeKind::CruiseRevDown
        | AlternativeKind::CoarseDown(_) => true,
        AlternativeKind::ClimbVy(_)
        | AlternativeKind::CruiseClimb(_)
        | AlternativeKind::CruiseThrottle(..)
        | AlternativeKind::CruiseRev(..)
        | AlternativeKind::CruiseRpmHeld(..) => false,
    }
}

impl RunnerUp {
    /// Of a plan, whose alternatives come the cheapest first. An ordinary descent is among them even where it breaks limits, and then is
    /// no runner-up.
    pub(super) fn new(plan: &Plan, fuel: Fuel) -> Option<Self> {
        let a = plan.alternatives.iter().find(|a| {
            by_path(a.kind)
                && (a.kind != AlternativeKind::OrdinaryDescent || a.flown.audit.broken().is_empty())
        })?;
        let (kind, name) = choice(a.kind, &a.flown.script);
        Some(Self {
            kind,
            name,
            difference: objective_value(plan.objective, fuel, a.difference),
            track: track(a),
        })
    }
}

fn track(a: &Alternative) -> Vec<RunnerUpPoint> {
    let circuit = |segment: usize| {
        a.flown
            .segments
            .get(segment)
            .is_some_and(|s| s.kind == SegmentKind::Circuit)
    };
    a.flown
        .track
        .iter()
        .filter(|t| !circuit(t.segment))
        .map(|t| RunnerUpPoint {
            distance_nm: nm(t.state.distance_m),
            time_min: min(t.state.time_s),
            indicated_altitude_ft: ft(t.indicated_m),
        })
        .collect()
}
