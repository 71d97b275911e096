//! The walk from a rounded script to better neighbours, until none is better.

use super::moves::{Move, moved, moves};
use super::{Pilot, UNFLYABLE};
use crate::flight::{Flown, Limit, PathRule, Script, ThrottleRule};

/// Relative improvement below which a neighbour is no better (DESIGN section 5: ties within 0.01 %).
const TIE: f64 = 1e-5;

/// How far a walk looks and goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Single steps only.
    pub near: bool,
    /// Flights flown at most.
    pub most_flights: usize,
}

impl Reach {
    /// Every move, until none is better.
    const ALL: Self = Self {
        near: false,
        most_flights: usize::MAX,
    };
}

/// Walks from a rounded script to better neighbours, taking each improvement as it is found, until a whole round of moves finds
/// none. Returns the flown best.
///
/// # Errors
/// The limits in the way of the best script, if none on the way keeps every limit; none named if none could be flown at all.
pub fn settle(
    pilot: &Pilot,
    start: &Script,
    prepare: &dyn Fn(&mut Script),
) -> Result<Flown, Vec<Limit>> {
    settle_within(pilot, start, prepare, Reach::ALL)
}

/// [`settle`] with a bound on how far the walk looks and goes. What `prepare` sets, the walk cannot change.
///
/// # Errors
/// As [`settle`].
pub fn settle_within(
    pilot: &Pilot,
    start: &Script,
    prepare: &dyn Fn(&mut Script),
    reach: Reach,
) -> Result<Flown, Vec<Limit>> {
    let problem = pilot.problem();
    let mut here = start.clone();
    here.descent.to_go_m = f64::NAN;
    prepare(&mut here);
    let mut best = pilot.fly(&here);
    let mut cost = best.as_ref().map_or(UNFLYABLE, Pilot::charged);
    let shape = |s: &Script| {
        let held_rpm = s.descent.first.throttle == ThrottleRule::Rpm;
        let path = |p: PathRule| std::mem::discriminant(&p);
        (
            path(s.descent.first.path),
            held_rpm,
            s.descent.second.map(|x| path(x.1.path)),
        )
    };
    let within = |s: &Script| -> Vec<Move> {
        let mut list = moves(problem, s);
        list.retain(|m| !reach.near || m.is_near());
        list
    };
    let before = pilot.flights();
    let mut list = within(&here);
    let mut next = 0;
    let mut since = 0;
    // The cost falls with each step taken and the grid is finite; a full round without a step ends it.
    while since < list.len() && pilot.flights() - before < reach.most_flights {
        let change = list[next % list.len()];
        next += 1;
        since += 1;
        let Some(mut near) = moved(problem, &here, change) else {
            continue;
        };
        prepare(&mut near);
        if near == here {
            continue;
        }
        let beat = cost - TIE * cost.abs();
        let Some((flown, c)) = pilot.cheaper(&near, beat, best.as_ref()) else {
            continue;
        };
        cost = c;
        // A rule of another kind has other knobs.
        if shape(&near) != shape(&here) {
            list = within(&near);
        }
        here = near;
        best = Some(flown);
        // Go on in the same direction first.
        next -= 1;
        since = 0;
    }
    match best {
        Some(f) if f.audit.violation() == 0.0 => Ok(f),
        Some(f) => Err(f.audit.broken()),
        None => Err(vec![]),
    }
}
