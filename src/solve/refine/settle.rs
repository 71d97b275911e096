//! The walk from a rounded script to better neighbours, until none is better.

use super::knobs::Knob;
use super::moves::{Move, moved, moves, moves_together};
use super::pilot::Charge;
use super::{Pilot, UNFLYABLE};
use crate::flight::{Flown, Limit, PathRule, Script, ThrottleRule};
use crate::trip::Problem;
use std::ops::RangeInclusive;

/// Relative improvement below which a neighbour is no better (DESIGN section 5: ties within 0.01 %).
const TIE: f64 = 1e-5;

/// A walk that comes to a halt where a limit is broken goes on with broken limits charged so many times as much, until none is or they are
/// charged the most: what keeps a limit may cost more than the charge for breaking it a little.
const STRICTER: f64 = 8.0;
const STRICTEST: f64 = 64.0;

/// How far a walk looks and goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Single steps only.
    pub near: bool,
    /// Several levers together too where one or two do not help.
    pub thorough: bool,
    /// Flights flown at most.
    pub most_flights: usize,
}

impl Reach {
    /// Every move of one lever or two, until none is better.
    const ALL: Self = Self {
        near: false,
        thorough: false,
        most_flights: usize::MAX,
    };
    /// The same with those of several levers.
    pub const THOROUGH: Self = Self {
        thorough: true,
        ..Self::ALL
    };
}

/// Walks from a rounded script to better neighbours, taking each improvement as it is found, until a whole round of moves finds
/// none; what is surely dearer, for what it came to before, is not flown. Returns the flown best.
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
    // A pilot that keeps what it passes by is after that, and not after where the walk ends.
    let strictest = if pilot.keeps() { 1.0 } else { STRICTEST };
    within_limits(walked(pilot, start, prepare, reach, 1.0..=strictest))
}

/// [`settle`] that stays where a limit is broken if no step helps as limits are charged at first; `None` where no script could be flown.
pub(in crate::solve) fn settle_loosely(
    pilot: &Pilot,
    start: &Script,
    prepare: &dyn Fn(&mut Script),
) -> Option<Flown> {
    walked(pilot, start, prepare, Reach::ALL, 1.0..=1.0)
}

/// [`settle`] from where [`settle_loosely`] stayed.
///
/// # Errors
/// As [`settle`].
pub(in crate::solve) fn settle_strictly(
    pilot: &Pilot,
    start: &Script,
    prepare: &dyn Fn(&mut Script),
) -> Result<Flown, Vec<Limit>> {
    within_limits(walked(
        pilot,
        start,
        prepare,
        Reach::ALL,
        STRICTER..=STRICTEST,
    ))
}

fn within_limits(flown: Option<Flown>) -> Result<Flown, Vec<Limit>> {
    match flown {
        Some(f) if f.audit.violation() == 0.0 => Ok(f),
        Some(f) => Err(f.audit.broken()),
        None => Err(vec![]),
    }
}

/// A script with the power coming off a step sooner, and a step later, where that is chosen: so it begins down elsewhere, and what grazed the
/// ground may clear it.
fn sooner_and_later(problem: &Problem, script: &Script) -> impl Iterator<Item = Script> {
    let chosen = matches!(script.descent.first.path, PathRule::Rate(_));
    let steps = [1.0, -1.0].into_iter().filter(move |_| chosen);
    steps.filter_map(|k| moved(problem, script, Move::Turn(Knob::ReduceAt, k)))
}

/// A flight, or where it grazes the ground and nothing else the cheapest of it and of those that reduce power a step sooner or later.
pub(in crate::solve) fn clear_of_ground(pilot: &Pilot, flown: Flown) -> Flown {
    if !Charge::of(&flown).grazes {
        return flown;
    }
    sooner_and_later(pilot.problem(), &flown.script_free())
        .filter_map(|script| pilot.fly(&script))
        .fold(flown, |best, f| {
            if Pilot::charged(&f) < Pilot::charged(&best) {
                f
            } else {
                best
            }
        })
}

/// The walk, with broken limits charged so many times what is usual: the least as it begins, and ever more, up to the most, while it comes
/// to a halt where one is broken.
fn walked(
    pilot: &Pilot,
    start: &Script,
    prepare: &dyn Fn(&mut Script),
    reach: Reach,
    strictness: RangeInclusive<f64>,
) -> Option<Flown> {
    let problem = pilot.problem();
    let (mut strict, strictest) = strictness.into_inner();
    let mut here = start.clone();
    here.descent.to_go_m = f64::NAN;
    prepare(&mut here);
    let mut best = pilot.fly(&here);
    let charged = |best: &Option<Flown>, strict: f64| {
        best.as_ref()
            .map_or(UNFLYABLE, |f| Charge::of(f).at(strict))
    };
    let mut cost = charged(&best, strict);
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
        let far = |m: &Move| reach.near && !m.is_near();
        list.retain(|m| !far(m) && (reach.thorough || !m.seldom_leads_on()));
        if reach.thorough {
            list.extend(moves_together(problem, s));
        }
        list
    };
    let neighbour = |here: &Script, change: Move| {
        let mut near = moved(problem, here, change)?;
        prepare(&mut near);
        (near != *here).then_some(near)
    };
    let before = pilot.flights();
    let mut list = within(&here);
    // Who flies as the plan is flown begins by a limit that coarse flights did not miss: there the first step that is charged less may lead away from those
    // that mend it for less, so the cheapest of all is taken.
    if pilot.is_exact()
        && let Some(over) = best.as_ref().filter(|f| f.audit.violation() > 0.0)
    {
        let mut beat = cost;
        let mut mended = None;
        for &change in &list {
            if pilot.flights() - before >= reach.most_flights {
                break;
            }
            let Some(near) = neighbour(&here, change) else {
                continue;
            };
            if let Some((flown, c)) = pilot.cheaper(&near, beat, Some(over), strict) {
                beat = c;
                mended = Some((near, flown));
            }
        }
        if let Some((near, flown)) = mended {
            here = near;
            list = within(&here);
            (best, cost) = (Some(flown), beat);
        }
    }
    let mut next = 0;
    let mut since = 0;
    // The cost falls with each step taken and the grid is finite; a full round without a step ends it.
    while pilot.flights() - before < reach.most_flights {
        if since >= list.len() {
            let broken = best.as_ref().is_some_and(|f| f.audit.violation() > 0.0);
            if !broken || strict >= strictest {
                break;
            }
            strict *= STRICTER;
            cost = charged(&best, strict);
            since = 0;
        }
        let change = list[next % list.len()];
        next += 1;
        since += 1;
        let Some(near) = neighbour(&here, change) else {
            continue;
        };
        let beat = cost - TIE * cost.abs();
        if best
            .as_ref()
            .is_some_and(|b| pilot.surely_dearer(b, &here, &near, beat, strict))
        {
            continue;
        }
        let cheaper = |near: &Script| pilot.cheaper(near, beat, best.as_ref(), strict);
        let mut found = cheaper(&near).map(|(flown, c)| (near.clone(), flown, c));
        if let Some(best) = &best {
            pilot.learn(best, &here, &near);
        }
        // What only grazes the ground may clear it otherwise.
        if found.is_none() && pilot.grazes(&near, beat) {
            found = sooner_and_later(problem, &near).find_map(|mut other| {
                prepare(&mut other);
                cheaper(&other).map(|(flown, c)| (other, flown, c))
            });
        }
        let Some((near, flown, c)) = found else {
            continue;
        };
        cost = c;
        // A rule of another kind has other knobs, and what goes together depends on more.
        if reach.thorough || shape(&near) != shape(&here) {
            list = within(&near);
        }
        here = near;
        best = Some(flown);
        // Go on in the same direction first.
        next -= 1;
        since = 0;
    }
    if let Some(best) = &best {
        pilot.settled(best);
    }
    best
}
