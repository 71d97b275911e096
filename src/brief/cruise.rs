//! How each level of the cruise is set.

use super::figures::{SegmentFigures, mixture_name};
use super::units::{ft, inhg, nm, rpm};
use super::words::{inches, revs, setting};
use crate::aircraft::Throttle;
use crate::flight::Cruise;
use crate::solve::Plan;
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// One level of the cruise as it is set.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CruiseFigures {
    /// Level, indicated.
    pub level_ft: f64,
    /// Where it is reached, for the first; where the change to it begins, for the others.
    pub from_nm: f64,
    /// Throttle or manifold pressure, and RPM, in words.
    pub setting: String,
    /// Mixture.
    pub mixture: String,
}

/// How each level is flown.
pub(super) fn cruise(
    plan: &Plan,
    problem: &Problem,
    segments: &[SegmentFigures],
) -> Vec<CruiseFigures> {
    let fixed = problem.aircraft.propeller.is_fixed();
    let mut flown = segments.iter().filter(|s| s.kind == "cruise");
    let figures = |(i, c): (usize, &Cruise)| {
        let (flown_inhg, flown_rpm) = flown
            .next()
            .map_or((0.0, 0.0), |s| (s.start.map_inhg, s.end.rpm));
        let set = match c.throttle {
            Throttle::Full if fixed => format!("full throttle ({} rpm)", revs(flown_rpm)),
            Throttle::Full => setting(
                fixed,
                &format!("full throttle ({} in)", inches(flown_inhg)),
                rpm(c.rev_s),
            ),
            Throttle::Map(p) => setting(fixed, &format!("{} in", inches(inhg(p))), rpm(c.rev_s)),
            Throttle::Fixed(_) | Throttle::Shut | Throttle::Rpm => {
                setting(fixed, &format!("{} in", inches(flown_inhg)), rpm(c.rev_s))
            }
        };
        let from_m = if i == 0 {
            plan.flown.top_of_climb.distance_m
        } else {
            c.from_m
        };
        CruiseFigures {
            level_ft: ft(c.level_m),
            from_nm: nm(from_m),
            setting: set,
            mixture: mixture_name(problem, c.mixture),
        }
    };
    plan.flown
        .script
        .cruise
        .iter()
        .enumerate()
        .map(figures)
        .collect()
}
