//! From one settable descent to its neighbours: the moves of a lever, and whether a descent is within the range of every lever.

use super::grid::fastest_all_the_way_m_s;
use super::same;
use crate::aircraft::{Procedures, Throttle};
use crate::flight::{Cruise, Descent, DescentPart, PathRule, Script, ThrottleRule};
use crate::quantity::{M_PER_FT, M_S_PER_FPM};
use crate::solve::refine::{by_steps, reduction_by_steps, same_rev, to_step};
use crate::trip::Problem;

/// A descent from one cruise as it is from another: RPM, mixture and a part throttle that were left as in cruise still are, in both parts.
pub(in crate::solve) fn carried(descent: &Descent, from: &Cruise, to: &Cruise) -> Descent {
    let mut d = *descent;
    let carry = |part: &mut DescentPart| {
        // At a fixed pitch an RPM that is held is a choice of its own.
        if part.throttle != ThrottleRule::Rpm && same_rev(part.rev_s, from.rev_s) {
            part.rev_s = to.rev_s;
        }
        if part.mixture == from.mixture {
            part.mixture = to.mixture;
        }
    };
    carry(&mut d.first);
    if let Some((_, second)) = &mut d.second {
        carry(second);
    }
    if let (ThrottleRule::LeftAlone(_), Throttle::Map(pa)) = (d.first.throttle, to.throttle) {
        d.first.throttle = ThrottleRule::LeftAlone(pa);
    }
    d
}

/// One change of a descent.
#[derive(Debug, Clone, Copy)]
pub(super) enum Move {
    /// Manifold pressure, RPM, rate (50 ft/min) or IAS, and the height at which the power reduction begins (250 ft), in settable steps.
    Turn([f64; 4]),
    /// The reduction begins on levelling off, with another RPM, in settable steps.
    ReduceLate(f64),
    /// The same for the second part: manifold pressure, RPM, path, and the height at which it begins.
    Second([f64; 4]),
    /// The path of both parts where it is the same, in settable steps.
    BothPaths(f64),
    SecondMixture(usize),
    SecondGear(bool),
    OnePart,
    Mixture(usize),
    LeftAlone(bool),
    CruiseRev,
    /// The other kind of path, at this share of the greatest rate or at this many steps below the greatest speed.
    Rate(f64),
    Ias(f64),
}

/// Step of the rate of descent, m/s.
pub(in crate::solve) const RATE_STEP_M_S: f64 = 50.0 * M_S_PER_FPM;
/// Step of the height at which the power reduction begins, m.
pub(in crate::solve) const REDUCE_STEP_M: f64 = 250.0 * M_PER_FT;
/// The power reduction begins at most this far above the pattern, m.
pub(in crate::solve) const MOST_LEAD_M: f64 = 4_000.0 * M_PER_FT;

pub(super) fn moves(problem: &Problem, descent: &Descent, scale: f64, pairs: bool) -> Vec<Move> {
    let mut out = Vec::new();
    let turn = |pairs: &[(usize, f64)]| {
        let mut by = [0.0; 4];
        for &(i, k) in pairs {
            by[i] = k;
        }
        Move::Turn(by)
    };
    for k in [scale, -scale] {
        out.extend((0..4).map(|i| turn(&[(i, k)])));
        for i in 0..4 {
            for j in (i + 1..4).filter(|&j| pairs || (i, j) == (0, 1)) {
                out.push(turn(&[(i, k), (j, k)]));
                out.push(turn(&[(i, k), (j, -k)]));
            }
        }
        out.push(turn(&[(0, k), (1, -2.0 * k)]));
        if scale <= 1.0 {
            out.push(turn(&[(0, 2.0 * k), (1, -3.0 * k)]));
            out.push(turn(&[(2, 2.0 * k), (1, -k)]));
            out.push(turn(&[(2, 2.0 * k), (1, k)]));
            out.push(Move::ReduceLate(k));
        }
    }
    out.extend((0..problem.aircraft.engine.spec.mixtures.len()).map(Move::Mixture));
    if descent.second.is_some() {
        for k in [scale, -scale] {
            for i in 0..4 {
                let mut by = [0.0; 4];
                by[i] = k;
                out.push(Move::Second(by));
            }
            out.push(Move::Second([k, 0.0, -k, 0.0]));
            out.push(Move::Second([k, 0.0, k, 0.0]));
            out.push(Move::BothPaths(k));
        }
        out.extend((0..problem.aircraft.engine.spec.mixtures.len()).map(Move::SecondMixture));
        out.push(Move::OnePart);
    }
    if problem.aircraft.brakes_with_gear() && !descent.first.gear_down {
        out.extend([true, false].map(Move::SecondGear));
    }
    out.extend([
        Move::LeftAlone(true),
        Move::LeftAlone(false),
        Move::CruiseRev,
    ]);
    match descent.first.path {
        PathRule::Rate(_) => out.extend([0.0, 2.0].map(Move::Ias)),
        PathRule::Ias(_) => out.extend([1.0, 0.6].map(Move::Rate)),
    }
    out
}

/// The settable rate of descent \[m/s\] nearest a share of the greatest, and not above that.
pub(super) fn settable_rate_m_s(problem: &Problem, share: f64) -> f64 {
    let most = problem.limits.max_descent_m_s;
    let greatest = (most / RATE_STEP_M_S + 1e-9).floor() * RATE_STEP_M_S;
    to_step(share * most, RATE_STEP_M_S).min(greatest)
}

/// A part with manifold pressure, RPM and path moved by settable steps; `None` where it has no manifold pressure to move.
fn turned(
    pr: &Procedures,
    from: &DescentPart,
    map: f64,
    rev: f64,
    path: f64,
) -> Option<DescentPart> {
    let throttle = match from.throttle.set_map_pa() {
        Some(p) => from.throttle.with_map_pa(by_steps(p, map, pr.map_step_pa)),
        None if map == 0.0 => from.throttle,
        None => return None,
    };
    let step_m_s = match from.path {
        PathRule::Rate(_) => RATE_STEP_M_S,
        PathRule::Ias(_) => pr.speed_step_m_s,
    };
    Some(DescentPart {
        throttle,
        rev_s: by_steps(from.rev_s, rev, pr.rev_step_s),
        path: from
            .path
            .with_value(by_steps(from.path.value(), path, step_m_s)),
        ..*from
    })
}

/// The descent after a change; `None` where that leads nowhere new or out of the range of a lever.
pub(super) fn moved(
    problem: &Problem,
    script: &Script,
    from: &Descent,
    change: Move,
) -> Option<Descent> {
    let pr = &problem.aircraft.procedures;
    let fixed = problem.aircraft.propeller.is_fixed();
    let cruise = *script.last_cruise();
    let pattern_m = problem.arrival.pattern_altitude_m;
    let mut d = *from;
    match change {
        Move::Turn([map, rev, path, reduce]) => {
            d.first = turned(pr, &d.first, map, rev, path)?;
            if reduce != 0.0 && matches!(d.last().path, PathRule::Ias(_)) {
                return None;
            }
            d.reduce_at_m = reduction_by_steps(problem, d.reduce_at_m, reduce);
        }
        Move::ReduceLate(rev) => {
            d.reduce_at_m = pattern_m;
            d.first = turned(pr, &d.first, 0.0, rev, 0.0)?;
        }
        Move::Mixture(m) => d.first.mixture = m,
        Move::OnePart => d.second = None,
        Move::SecondGear(down) => d.second.as_mut()?.1.gear_down = down,
        Move::SecondMixture(m) => d.second.as_mut()?.1.mixture = m,
        Move::Second([map, rev, path, at]) => {
            let (from_m, part) = d.second.as_mut()?;
            *from_m = by_steps(*from_m, at, REDUCE_STEP_M);
            *part = turned(pr, part, map, rev, path)?;
        }
        Move::BothPaths(path) => {
            let (_, part) = d.second.as_mut()?;
            if part.path != d.first.path {
                return None;
            }
            d.first = turned(pr, &d.first, 0.0, 0.0, path)?;
            part.path = d.first.path;
        }
        Move::LeftAlone(alone) => {
            d.first.throttle = match (d.first.throttle, fixed, alone) {
                (_, true, true) => ThrottleRule::Untouched,
                (_, true, false) => ThrottleRule::Rpm,
                (ThrottleRule::Held(p), false, true) => ThrottleRule::LeftAlone(p),
                (ThrottleRule::LeftAlone(p), false, false) => ThrottleRule::Held(p),
                _ => return None,
            }
        }
        Move::CruiseRev => d.first.rev_s = cruise.rev_s,
        Move::Rate(share) => d.first.path = PathRule::Rate(settable_rate_m_s(problem, share)),
        Move::Ias(below) => {
            let mass_kg = problem.zero_fuel_kg + problem.fuel_kg;
            let fast = fastest_all_the_way_m_s(problem, cruise.level_m, mass_kg);
            d.first.path = PathRule::Ias(by_steps(fast, -below, pr.speed_step_m_s));
            d.reduce_at_m = pattern_m;
        }
    }
    // Left alone, the throttle stays where a cruise at part throttle has it.
    if let (ThrottleRule::LeftAlone(_), Throttle::Map(pa)) = (d.first.throttle, cruise.throttle) {
        d.first.throttle = ThrottleRule::LeftAlone(pa);
    }
    if matches!(d.last().path, PathRule::Ias(_)) {
        d.reduce_at_m = pattern_m;
    }
    d.reduce_at_m = d.reduce_at_m.max(pattern_m);
    (inside(problem, &cruise, &d) && !same(&d, from)).then_some(d)
}

/// Whether a descent from a cruise is within the range of every lever.
pub(super) fn inside(problem: &Problem, cruise: &Cruise, d: &Descent) -> bool {
    let pr = &problem.aircraft.procedures;
    let propeller = &problem.aircraft.propeller;
    let pattern_m = problem.arrival.pattern_altitude_m;
    let most = problem.limits.max_descent_m_s;
    let revs = propeller.lowest_governed_rev_s - 1e-9..=propeller.highest_governed_rev_s + 1e-9;
    let settable = |part: &DescentPart| {
        revs.contains(&part.rev_s)
            && part
                .throttle
                .set_map_pa()
                .is_none_or(|p| p >= problem.limits.least_map_pa - 1e-6)
            && match part.path {
                PathRule::Rate(r) => (100.0 * M_S_PER_FPM..=most + 1e-9).contains(&r),
                PathRule::Ias(v) => {
                    (pr.pattern_m_s..=problem.aircraft.speeds.vno_m_s + 1e-9).contains(&v)
                }
            }
    };
    // The power reduction belongs to the last part.
    settable(&d.first)
        && d.reduce_at_m <= pattern_m + MOST_LEAD_M
        && d.second.is_none_or(|(from_m, part)| {
            settable(&part)
                && from_m > d.reduce_at_m + 1.0
                && from_m < cruise.level_m - 1.0
                && clear_of_edges(problem, from_m)
        })
}

/// Whether a second part that begins at an indicated altitude \[m\] begins clearly above or below each height at which the air's limit
/// changes: nobody holds a height to the foot, and the slow-down for slower air begins above it.
pub(in crate::solve) fn clear_of_edges(problem: &Problem, from_m: f64) -> bool {
    const CLEAR_M: f64 = 100.0 * M_PER_FT;
    let near = |edge_m: f64| from_m > edge_m - 1.0 && from_m < edge_m + CLEAR_M;
    !problem
        .limits
        .speed_edges_m(&problem.aircraft.speeds)
        .any(near)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flight::testbed::{cruise, script};
    use crate::quantity::{M_S_PER_KT, PA_PER_INHG};

    #[test]
    fn closed_form_a_descent_goes_along_with_its_cruise() {
        let path = PathRule::Ias(140.0 * M_S_PER_KT);
        let part = |map_in: f64| Throttle::Map(map_in * PA_PER_INHG);
        let from = Cruise {
            throttle: part(23.0),
            ..cruise(9_500.0, 0.0)
        };
        let to = Cruise {
            throttle: part(21.0),
            rev_s: from.rev_s - 5.0,
            mixture: from.mixture + 1,
            ..from
        };
        let left = ThrottleRule::LeftAlone(23.0 * PA_PER_INHG);
        let mut d = script(left, path, 1_800.0).descent;
        (d.first.rev_s, d.first.mixture) = (from.rev_s, from.mixture);
        // A second part with an RPM of its own.
        let second = DescentPart {
            rev_s: from.rev_s - 8.0,
            ..d.first
        };
        d.second = Some((1_000.0, second));
        let there = carried(&d, &from, &to);
        let expected = DescentPart {
            throttle: ThrottleRule::LeftAlone(21.0 * PA_PER_INHG),
            rev_s: to.rev_s,
            mixture: to.mixture,
            ..d.first
        };
        assert_eq!(there.first, expected);
        let (rev_s, mixture) = (second.rev_s, to.mixture);
        let expected = DescentPart {
            rev_s,
            mixture,
            ..second
        };
        assert_eq!(there.second, Some((1_000.0, expected)));
        // Held RPM at a fixed pitch is a choice, whatever cruise has.
        d.first.throttle = ThrottleRule::Rpm;
        assert_eq!(
            carried(&d, &from, &to).first.rev_s.to_bits(),
            from.rev_s.to_bits()
        );
    }
}
