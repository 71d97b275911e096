//! The changes a pilot could make to a rounded script: which there are, and the script after each.

use super::alike::Alike;
use super::knobs::{
    CLIMB_AT_STEP_M, Knob, Which, by_steps, clear_both_ways, get, knobs, reduction_by_steps, set,
    step, to_step,
};
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{Levers, Throttle};
use crate::flight::{DescentPart, PathRule, Script, ThrottleRule, level_speed_m_s};
use crate::solve::cruise::full_throttle_pa;
use crate::solve::descent::{RATE_STEP_M_S, clear_of_edges};
use crate::trip::Problem;
use std::cell::Cell;

/// One change a pilot could make to a rounded script.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Move {
    /// A knob by a number of its steps.
    Turn(Knob, f64),
    /// The same with what stays where that knob is ([`Alike`]).
    TurnAlike(Knob, f64),
    /// Manifold pressure and RPM of a cruise stretch together, in steps.
    CruisePair(usize, f64, f64),
    /// Manifold pressure and RPM of the descent together, in steps.
    DescentPair(f64, f64),
    /// Manifold pressure and RPM of the last cruise stretch; RPM, path and height of the power reduction of the descent, in steps: what a throttle
    /// left alone gives on the way down decides how coarse the propeller may be, and power how steep the path and how long the slow-down; RPM of one
    /// alone would be a lever more to move.
    CruiseAndDown([f64; 5]),
    /// Down at a rate \[m/s\] with power as in cruise.
    PowerOn(f64),
    /// An entry of the climb RPM list.
    ClimbRev(usize),
    /// Mixture of a cruise stretch, and its RPM by steps: how much power a mixture allows decides how much RPM may be set.
    CruiseMixture(usize, usize, f64),
    /// Mixture of the last cruise stretch and the descent.
    BothMixture(usize),
    /// Mixture of the descent, and its RPM by steps: how much power a mixture allows decides how coarse the propeller may be.
    DescentMixture(usize, f64),
    /// Full throttle in a cruise stretch.
    FullThrottle(usize),
    /// From full throttle to a manifold pressure this many steps below what it gives, and RPM by steps: where full throttle at more RPM is
    /// more power than may be had, a little less of it may be quicker.
    PartThrottle(usize, f64, f64),
    /// Throttle left alone in the descent, or held, the descent RPM by steps, and the height at which the power reduction begins: what
    /// gives more power may need a coarser propeller, and more room to slow down.
    LeftAlone(bool, f64, f64),
    /// Descent RPM as in cruise.
    CruiseRevDown,
    /// Gear down in the first part of the descent, and in the second.
    Gear(bool, bool),
    /// No second part of the descent.
    OnePart,
    /// The first speed of the climb and the height of the second together, in steps.
    ClimbPair(f64, f64),
    /// One of the two speeds of the climb for the whole of it.
    OneSpeed(f64),
}

impl Move {
    /// Whether it is a single step of one lever, or of two against each other.
    pub(super) fn is_near(self) -> bool {
        match self {
            Self::Turn(_, k) | Self::TurnAlike(_, k) => k.abs() <= 1.0,
            Self::CruisePair(_, a, b) | Self::DescentPair(a, b) | Self::ClimbPair(a, b) => {
                a.abs() <= 1.0 && b.abs() <= 1.0
            }
            Self::PartThrottle(_, k, rev) => k == 0.0 && rev == 0.0,
            Self::DescentMixture(_, rev) => rev == 0.0,
            Self::LeftAlone(_, rev, lead) => rev == 0.0 && lead == 0.0,
            _ => true,
        }
    }

    /// Whether it is one that is left to the last walk: of 10,500 flights in the walks of six trips 1,300 were of these, and 15 led on. Our choice.
    pub(super) fn seldom_leads_on(self) -> bool {
        match self {
            Self::DescentMixture(_, rev) => rev != 0.0,
            Self::LeftAlone(_, rev, lead) => rev < -2.0 || rev != 0.0 && lead != 0.0,
            _ => false,
        }
    }
}

/// Every move from a script.
pub(super) fn moves(problem: &Problem, script: &Script) -> Vec<Move> {
    let mut out = Vec::new();
    for (knob, _, _) in knobs(problem, script) {
        out.extend([-1.0, 1.0, -2.0, 2.0].map(|k| Move::Turn(knob, k)));
    }
    let pairs = [
        (1.0, -1.0),
        (-1.0, 1.0),
        (1.0, -2.0),
        (-1.0, 2.0),
        (2.0, -1.0),
        (-2.0, 1.0),
    ];
    for (map, rev) in pairs {
        out.extend((0..script.cruise.len()).map(|i| Move::CruisePair(i, map, rev)));
        out.push(Move::DescentPair(map, rev));
    }
    out.extend((0..problem.aircraft.procedures.climb_rev_s.len()).map(Move::ClimbRev));
    for m in 0..problem.aircraft.engine.spec.mixtures.len() {
        out.extend((0..script.cruise.len()).map(|i| Move::CruiseMixture(i, m, 0.0)));
        out.push(Move::BothMixture(m));
        out.extend([0.0, -2.0, 2.0].map(|rev| Move::DescentMixture(m, rev)));
    }
    for i in 0..script.cruise.len() {
        out.push(Move::FullThrottle(i));
        out.extend([0.0, 1.0, 2.0].map(|k| Move::PartThrottle(i, k, 0.0)));
    }
    for lead in [0.0, 3.0] {
        out.extend([0.0, -2.0, -4.0].map(|rev| Move::LeftAlone(true, rev, lead)));
    }
    out.push(Move::LeftAlone(false, 0.0, 0.0));
    out.push(Move::CruiseRevDown);
    if script.descent.second.is_some() {
        out.push(Move::OnePart);
    }
    if problem.aircraft.brakes_with_gear() {
        // Never up again in the second part.
        let parts = [(false, false), (false, true), (true, true)];
        out.extend(parts.map(|(first, second)| Move::Gear(first, second)));
    }
    if let Some((_, second_m_s)) = script.climb.second {
        out.extend(pairs.map(|(ias, at)| Move::ClimbPair(ias, at)));
        out.extend([script.climb.ias_m_s, second_m_s].map(Move::OneSpeed));
    }
    out
}

/// Moves of several levers together, for the last walk: each of them alone leads over a limit, or to one lever more to move. Which they are is our
/// choice, of what alternatives were found to better plans by.
pub(super) fn moves_together(problem: &Problem, script: &Script) -> Vec<Move> {
    let mut out = Vec::new();
    let mixtures = problem.aircraft.engine.spec.mixtures.len();
    for (i, cruise) in script.cruise.iter().enumerate() {
        if cruise.throttle == Throttle::Full {
            out.extend([1.0, 2.0].map(|rev| Move::PartThrottle(i, 0.0, rev)));
        }
        let next = [cruise.mixture.checked_sub(1), Some(cruise.mixture + 1)];
        for m in next.into_iter().flatten().filter(|&m| m < mixtures) {
            let revs = [-1.0, 1.0, -2.0, 2.0, -3.0, 3.0];
            out.extend(revs.map(|rev| Move::CruiseMixture(i, m, rev)));
        }
    }
    let knobs = knobs(problem, script);
    let turns = |knob: &Knob| knobs.iter().any(|k| k.0 == *knob);
    let alike = Alike::of(script);
    if !alike.follows(Knob::PartRev(Which::First)) {
        out.extend([-1.0, 1.0, -2.0, 2.0].map(|k| Move::CruiseAndDown([0.0, k, k, 0.0, 0.0])));
    }
    for knob in alike.leaders(script).filter(turns) {
        out.extend([-1.0, 1.0, -2.0, 2.0].map(|k| Move::TurnAlike(knob, k)));
    }
    for k in [1.0, -1.0] {
        let down = |path: f64, reduce: f64| Move::CruiseAndDown([0.0, 0.0, k, path, reduce]);
        out.extend([down(-k, 0.0), down(-k, -k), down(0.0, k), down(0.0, -k)]);
        if let ThrottleRule::LeftAlone(_) = script.descent.first.throttle {
            for rev in [0.0, -k, -3.0 * k] {
                let downs = [-k, -2.0 * k, -3.0 * k];
                out.extend(downs.map(|down| Move::CruiseAndDown([k, rev, down, 0.0, 0.0])));
            }
            out.push(Move::CruiseAndDown([k, k, k, 0.0, k]));
        }
    }
    // From the least rate that is held to where a walk comes from one steeper.
    let slow = [2.0, 3.0, 5.0, 7.0].map(|steps| steps * RATE_STEP_M_S);
    let allowed = |rate_m_s: &f64| *rate_m_s <= problem.limits.max_descent_m_s;
    out.extend(slow.into_iter().filter(allowed).map(Move::PowerOn));
    out
}

/// The script after a move; `None` where the move leads nowhere new or out of the range of a lever.
pub(super) fn moved(problem: &Problem, script: &Script, change: Move) -> Option<Script> {
    let mut s = script.clone();
    let pr = &problem.aircraft.procedures;
    let full_pa = |i: usize| {
        let now = script.cruise[i];
        full_throttle_pa(problem, now.from_m, now.level_m, now.rev_s)
    };
    let fixed = problem.aircraft.propeller.is_fixed();
    let full_rev_s = |i: usize| {
        let now = script.cruise[i];
        let hp = problem.pressure_altitude_m(now.from_m, now.level_m);
        let (air, _) = problem.air_state(now.from_m, hp, problem.time_s(now.from_m));
        let levers = Levers {
            throttle: Throttle::Full,
            rev_s: now.rev_s,
            mixture: now.mixture,
        };
        let mass_kg = problem.zero_fuel_kg + problem.fuel_kg;
        let near = Cell::new(Nearby::NONE);
        let (tas, _) = level_speed_m_s(problem, air, mass_kg, levers, 70.0, &near)?;
        let set = problem
            .aircraft
            .perform_under_redline(air, tas, levers, &near);
        Some(set.rev_s)
    };
    // At a fixed pitch full throttle leaves the RPM to the air.
    let left_to_the_air = |i: usize| fixed && script.cruise[i].throttle == Throttle::Full;
    let turned = |knob: Knob, k: f64, s: &mut Script| {
        let value = match knob {
            Knob::ReduceAt => reduction_by_steps(problem, script.descent.reduce_at_m, k),
            _ => by_steps(get(script, knob), k, step(problem, script, knob)),
        };
        set(s, knob, value);
    };
    // Invariant of a script: there is one.
    let last = script.cruise.len() - 1;
    let by_rate = matches!(script.descent.last().path, PathRule::Rate(_));
    match change {
        Move::CruiseMixture(i, _, rev) if rev != 0.0 && left_to_the_air(i) => return None,
        Move::CruiseAndDown([_, rev, ..]) if rev != 0.0 && left_to_the_air(last) => return None,
        // At a held speed it begins on levelling off.
        Move::CruiseAndDown([.., reduce]) if reduce != 0.0 && !by_rate => return None,
        Move::Turn(knob, k) => turned(knob, k, &mut s),
        Move::TurnAlike(knob, k) => {
            turned(knob, k, &mut s);
            Alike::of(script).keep(&mut s);
        }
        Move::CruisePair(i, map, rev) => {
            let Throttle::Map(p) = script.cruise[i].throttle else {
                return None;
            };
            s.cruise[i].throttle = Throttle::Map(by_steps(p, map, pr.map_step_pa));
            s.cruise[i].rev_s = by_steps(s.cruise[i].rev_s, rev, pr.rev_step_s);
        }
        Move::DescentPair(map, rev) => {
            let p = script.descent.first.throttle.set_map_pa()?;
            set(
                &mut s,
                Knob::PartMap(Which::First),
                by_steps(p, map, pr.map_step_pa),
            );
            s.descent.first.rev_s = by_steps(s.descent.first.rev_s, rev, pr.rev_step_s);
        }
        Move::CruiseAndDown([map, rev, down, path, reduce]) => {
            let cruise = &mut s.cruise[last];
            match cruise.throttle {
                Throttle::Map(p) => {
                    cruise.throttle = Throttle::Map(by_steps(p, map, pr.map_step_pa));
                }
                _ if map != 0.0 => return None,
                _ => {}
            }
            cruise.rev_s = by_steps(cruise.rev_s, rev, pr.rev_step_s);
            let way = Knob::PartPath(Which::First);
            let path = by_steps(get(script, way), path, step(problem, script, way));
            set(&mut s, way, path);
            let d = &mut s.descent;
            d.first.rev_s = by_steps(d.first.rev_s, down, pr.rev_step_s);
            d.reduce_at_m = reduction_by_steps(problem, d.reduce_at_m, reduce);
        }
        Move::PowerOn(rate_m_s) => {
            let cruise = script.cruise[last];
            s.descent.first = DescentPart {
                throttle: match cruise.throttle {
                    _ if fixed => ThrottleRule::Untouched,
                    Throttle::Map(pa) => ThrottleRule::LeftAlone(pa),
                    _ => {
                        let pa = full_pa(last);
                        ThrottleRule::LeftAlone(to_step(pa, pr.map_step_pa))
                    }
                },
                rev_s: cruise.rev_s,
                mixture: cruise.mixture,
                path: PathRule::Rate(rate_m_s),
                gear_down: false,
            };
            s.descent.second = None;
        }
        Move::ClimbRev(i) => s.climb.rev_s = pr.climb_rev_s[i],
        Move::CruiseMixture(i, m, rev) => {
            s.cruise[i].mixture = m;
            s.cruise[i].rev_s = by_steps(s.cruise[i].rev_s, rev, pr.rev_step_s);
        }
        Move::BothMixture(m) => {
            s.cruise[last].mixture = m;
            s.descent.first.mixture = m;
        }
        Move::DescentMixture(m, rev) => {
            s.descent.first.mixture = m;
            s.descent.first.rev_s = by_steps(s.descent.first.rev_s, rev, pr.rev_step_s);
        }
        Move::FullThrottle(i) => s.cruise[i].throttle = Throttle::Full,
        // There the throttle is what sets RPM.
        Move::PartThrottle(_, _, rev) if fixed && rev != 0.0 => return None,
        Move::PartThrottle(i, k, _) if fixed => {
            let top = ((full_rev_s(i)? / pr.rev_step_s).floor() - k) * pr.rev_step_s;
            s.cruise[i].throttle = Throttle::Rpm;
            s.cruise[i].rev_s = top;
        }
        Move::PartThrottle(i, k, rev) => {
            let now = script.cruise[i];
            let rev_s = by_steps(now.rev_s, rev, pr.rev_step_s);
            let full_pa = full_throttle_pa(problem, now.from_m, now.level_m, rev_s);
            let top = ((full_pa / pr.map_step_pa).floor() - k) * pr.map_step_pa;
            (s.cruise[i].throttle, s.cruise[i].rev_s) = (Throttle::Map(top), rev_s);
        }
        Move::LeftAlone(true, ..) if fixed => s.descent.first.throttle = ThrottleRule::Untouched,
        Move::LeftAlone(false, ..) if fixed => {
            // From the RPM that cruise has.
            if script.descent.first.throttle == ThrottleRule::Untouched
                && script.cruise[last].throttle == Throttle::Full
            {
                s.descent.first.rev_s = (full_rev_s(last)? / pr.rev_step_s).floor() * pr.rev_step_s;
            }
            s.descent.first.throttle = ThrottleRule::Rpm;
        }
        Move::LeftAlone(alone, rev, lead) => {
            s.descent.first.rev_s = by_steps(s.descent.first.rev_s, rev, pr.rev_step_s);
            s.descent.reduce_at_m = reduction_by_steps(problem, s.descent.reduce_at_m, lead);
            let p = script
                .descent
                .first
                .throttle
                .set_map_pa()
                .unwrap_or_else(|| full_pa(last));
            let p = to_step(p, pr.map_step_pa);
            s.descent.first.throttle = if alone {
                ThrottleRule::LeftAlone(p)
            } else {
                ThrottleRule::Held(p)
            };
        }
        Move::Gear(first, second) => s.descent.set_gear(first, second),
        Move::OnePart => s.descent.second = None,
        Move::ClimbPair(ias, at) => {
            let (from_m, _) = s.climb.second.as_mut()?;
            *from_m = by_steps(*from_m, at, CLIMB_AT_STEP_M);
            s.climb.ias_m_s = by_steps(s.climb.ias_m_s, ias, pr.speed_step_m_s);
        }
        Move::OneSpeed(ias_m_s) => (s.climb.ias_m_s, s.climb.second) = (ias_m_s, None),
        Move::CruiseRevDown => s.descent.first.rev_s = script.cruise[last].rev_s,
    }
    let inside = knobs(problem, &s).iter().all(|&(knob, low, high)| {
        let x = get(&s, knob);
        x >= low - 1e-9 && x <= high + 1e-9
    });
    // The power reduction belongs to the last part.
    let inside = inside
        && s.descent.second.is_none_or(|(from_m, _)| {
            from_m > s.descent.reduce_at_m + 1.0 && clear_of_edges(problem, from_m)
        });
    let inside = inside && s.climb.second.is_none_or(|c| clear_both_ways(problem, c.0));
    (inside && s != *script).then_some(s)
}
