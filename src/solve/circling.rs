//! Circling over the fields, where no straight climb or let-down keeps every limit.
//!
//! Only when the search finds no straight flight are turns tried: over the departure, over the destination, then over both, each to the
//! least height, in steps of 500 ft, from which the rest can be flown straight. What clears from a height is taken to clear from
//! any above it, so the height is found by halving.

use super::SolveError;
use super::bounded;
use super::infeasible::{tried, without_ground};
use super::plan::Draft;
use super::refine::Pilot;
use super::search::{can_be_flown, on_schedule};
use crate::flight::{Circle, Limit};
use crate::quantity::M_PER_FT;
use crate::trip::{Bounds, Circling, Problem, Start};
use std::borrow::Cow;

/// Bank of the turns, rad: 20 degrees, between the shallow and the medium turns of FAA-H-8083-3 (from memory), about rate one at
/// 125 kt; common practice for climbing turns.
const BANK_RAD: f64 = 20.0 * std::f64::consts::PI / 180.0;
/// Heights to circle to and from are whole multiples of this, m.
const STEP_M: f64 = 500.0 * M_PER_FT;
/// The take-off ends this high above the field, m (DESIGN section 5: 1,000 ft): no turn before.
const STRAIGHT_M: f64 = 1_000.0 * M_PER_FT;
/// Steps added where the least height proves not to do for the plan as it is flown in the end.
const MORE_STEPS: usize = 3;

/// The turns of the script of a problem over its departure.
pub(super) fn over_departure(problem: &Problem) -> Option<Circle> {
    problem.circling.climb_to_m.map(circle)
}

/// The same over its destination.
pub(super) fn over_destination(problem: &Problem) -> Option<Circle> {
    problem.circling.let_down_from_m.map(circle)
}

fn circle(height_m: f64) -> Circle {
    Circle {
        height_m,
        bank_rad: BANK_RAD,
    }
}

/// A problem with its plan in outline; or why there is none, and whether circling was tried.
type Sought<'a> = Result<(Cow<'a, Problem>, Draft), (SolveError, bool)>;

/// The plan of a problem in outline, straight or else circling, with the problem it was made for.
///
/// # Errors
/// [`SolveError`] of the straight search, with what alone would free the trip and that circling does not.
pub(super) fn planned(problem: Cow<'_, Problem>) -> Result<(Cow<'_, Problem>, Draft), SolveError> {
    sought(problem.clone()).map_err(|(e, circled)| match (circled, tried(&problem, e)) {
        (true, SolveError::Infeasible { limits, ways }) => SolveError::Infeasible {
            limits: format!("{limits}; {}", in_vain(&problem)),
            ways,
        },
        (_, other) => other,
    })
}

/// [`planned`] without a word on what would free the trip.
pub(super) fn found(problem: Cow<'_, Problem>) -> Result<(Cow<'_, Problem>, Draft), SolveError> {
    sought(problem).map_err(|(e, _)| e)
}

fn sought(problem: Cow<'_, Problem>) -> Sought<'_> {
    let error = match bounded::plan(&problem) {
        Ok(draft) => return Ok((problem, draft)),
        Err(e) => e,
    };
    if !may_help(&problem, &error) {
        return Err((error, false));
    }
    circled(&problem)
        .map(|(p, draft)| (Cow::Owned(p), draft))
        .ok_or((error, true))
}

/// Whether it is room for height that is wanting. Turns are no way to burn fuel or time.
fn may_help(problem: &Problem, error: &SolveError) -> bool {
    match error {
        SolveError::Unreachable { for_room, .. } => *for_room,
        SolveError::Infeasible { limits, .. } => {
            let free = || {
                let mut p = problem.clone();
                without_ground(&mut p);
                p.forbidden.clear();
                p.forbidden_to_turns.clear();
                can_be_flown(&p)
            };
            limits == Limit::Distance.words() || free()
        }
        _ => false,
    }
}

/// That circling was tried, in words.
fn in_vain(problem: &Problem) -> &'static str {
    match problem.start {
        Start::Ground => {
            "climbing circling over the departure and letting down circling over the destination were tried, each alone and both, and do not free it"
        }
        Start::InFlight { .. } => {
            "letting down circling over the destination was tried and does not free it"
        }
    }
}

/// Which fields are circled over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Fields {
    departure: bool,
    destination: bool,
}

/// The cheaper of the plans that circle over one field, or else the one that circles over both.
fn circled(problem: &Problem) -> Option<(Problem, Draft)> {
    let over = |departure, destination| {
        plan_over(
            problem,
            Fields {
                departure,
                destination,
            },
        )
    };
    let climbs = problem.start == Start::Ground;
    let up = climbs.then(|| over(true, false)).flatten();
    let down = over(false, true);
    let cost = |found: &(Problem, Draft)| Pilot::charged(&found.1.flown);
    up.into_iter()
        .chain(down)
        .min_by(|a, b| cost(a).total_cmp(&cost(b)))
        .or_else(|| climbs.then(|| over(true, true)).flatten())
}

/// The plan that circles over these fields, no higher than it must.
fn plan_over(problem: &Problem, fields: Fields) -> Option<(Problem, Draft)> {
    let levels = problem.levels.iter().flat_map(|l| &l.levels_m);
    let top_m = levels.copied().fold(f64::NEG_INFINITY, f64::max);
    let up_m = heights(problem.departure.elevation_m + STRAIGHT_M, top_m);
    let down_m = heights(problem.arrival.pattern_altitude_m, top_m);
    let last = |list: &[f64]| list.len().checked_sub(1);
    let at = |up: Option<usize>, down: Option<usize>| Problem {
        circling: Circling {
            climb_to_m: up.map(|i| up_m[i]),
            let_down_from_m: down.map(|i| down_m[i]),
        },
        ..problem.clone()
    };
    // A bound is kept, or refused, by the plan in the end.
    let flies = |up, down| {
        can_be_flown(&Problem {
            bounds: Bounds::default(),
            ..at(up, down)
        })
    };
    // With all the height there is, or half of it where that takes too much time and fuel.
    let halves = |list: &[f64], wanted: bool| -> Option<Vec<Option<usize>>> {
        if wanted {
            let top = last(list)?;
            let mut tries = vec![Some(top)];
            tries.extend((top > 1).then_some(Some(top / 2)));
            Some(tries)
        } else {
            Some(vec![None])
        }
    };
    let ups = halves(&up_m, fields.departure)?;
    let downs = halves(&down_m, fields.destination)?;
    let (mut up, mut down) = ups
        .iter()
        .flat_map(|&up| downs.iter().map(move |&down| (up, down)))
        .find(|&(up, down)| flies(up, down))?;
    up = up.map(|i| least(i, |i| flies(Some(i), down)));
    down = down.map(|i| least(i, |i| flies(up, Some(i))));
    for _ in 0..=MORE_STEPS {
        let problem = on_schedule(&at(up, down)).into_owned();
        match bounded::plan(&problem) {
            Ok(draft) => return Some((problem, draft)),
            Err(_) => {
                let higher = |i: Option<usize>, list: &[f64]| {
                    i.map(|i| (i + 1).min(last(list).unwrap_or(i)))
                };
                (up, down) = (higher(up, &up_m), higher(down, &down_m));
            }
        }
    }
    None
}

/// Whole steps above a height and up to another, m, and the next above that.
fn heights(above_m: f64, to_m: f64) -> Vec<f64> {
    let mut out = Vec::new();
    let mut height_m = ((above_m + 1.0) / STEP_M).ceil() * STEP_M;
    while height_m < to_m + STEP_M - 1.0 {
        out.push(height_m);
        height_m += STEP_M;
    }
    out
}

/// The least number up to one that holds for which it holds, by halving.
fn least(holds_at: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, holds_at);
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_the_least_height_is_found() {
        for wanted in 0..=9 {
            assert_eq!(least(9, |i| i >= wanted), wanted);
        }
        // 4,100 + 1,000 ft: from 5,500 ft in whole 500 ft up to what covers 7,400 ft.
        let found = heights(5_100.0 * M_PER_FT, 7_400.0 * M_PER_FT);
        let ft: Vec<f64> = found.iter().map(|m| (m / M_PER_FT).round()).collect();
        assert_eq!(ft, [5_500.0, 6_000.0, 6_500.0, 7_000.0, 7_500.0]);
        assert!(heights(8_000.0, 3_000.0).is_empty());
    }
}
