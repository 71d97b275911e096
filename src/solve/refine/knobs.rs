//! What a pilot sets in a script by a figure: the bounds of each knob, the steps it is set in, and rounding to them.

use crate::aircraft::Throttle;
use crate::flight::{Descent, DescentPart, PathRule, Script, ThrottleRule};
use crate::quantity::{M_PER_FT, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use crate::solve::descent::{MOST_LEAD_M, RATE_STEP_M_S, REDUCE_STEP_M};
use crate::trip::Problem;

/// A part of the descent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Which {
    First,
    Second,
}

impl Which {
    fn of(self, descent: &Descent) -> Option<&DescentPart> {
        match self {
            Self::First => Some(&descent.first),
            Self::Second => descent.second.as_ref().map(|(_, part)| part),
        }
    }

    fn of_mut(self, descent: &mut Descent) -> Option<&mut DescentPart> {
        match self {
            Self::First => Some(&mut descent.first),
            Self::Second => descent.second.as_mut().map(|(_, part)| part),
        }
    }
}

/// One continuous choice with its bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Knob {
    ClimbIas,
    /// Where the second speed of the climb begins, and what it is.
    ClimbAt,
    ClimbSecond,
    CruiseMap(usize),
    CruiseRev(usize),
    /// Of the first part of the descent, or of the second.
    PartMap(Which),
    PartRev(Which),
    PartPath(Which),
    ReduceAt,
    SecondAt,
    ChangeAt(usize),
}

/// The second speed of a climb begins at a multiple of this, indicated, m.
pub(in crate::solve) const CLIMB_AT_STEP_M: f64 = 500.0 * M_PER_FT;

/// Lowest and highest indicated altitude \[m\] at which the second speed of a climb to a level \[m\] may begin: after the initial
/// climb and what is circled of it, and so far below the level that slowing down to it does not lead past that.
pub(in crate::solve) fn second_climb_from_m(problem: &Problem, level_m: f64) -> (f64, f64) {
    let field_m = problem.departure.elevation_m + 1_500.0 * M_PER_FT;
    let circled_m = problem.circling.climb_to_m.map(|m| m + CLIMB_AT_STEP_M);
    let first_m = circled_m.map_or(field_m, |m| m.max(field_m));
    (first_m, level_m - CLIMB_AT_STEP_M)
}

/// Whether an indicated altitude \[m\] is clearly above or below each height at which the air's limit changes, for a speed that
/// changes there on the way up: nobody changes it to the foot.
pub(in crate::solve) fn clear_both_ways(problem: &Problem, from_m: f64) -> bool {
    const CLEAR_M: f64 = 100.0 * M_PER_FT;
    let near = |edge_m: f64| (from_m - edge_m).abs() < CLEAR_M;
    !problem
        .limits
        .speed_edges_m(&problem.aircraft.speeds)
        .any(near)
}

/// The knobs of a script with bounds (SI).
pub(super) fn knobs(problem: &Problem, script: &Script) -> Vec<(Knob, f64, f64)> {
    let a = &problem.aircraft;
    let p = &a.propeller;
    let vno = a.speeds.vno_m_s;
    let (slowest, fastest) = (a.speeds.least_cooling_m_s, vno - 10.0 * M_S_PER_KT);
    let mut out = vec![(Knob::ClimbIas, slowest, fastest)];
    if script.climb.second.is_some() {
        let (low, high) = second_climb_from_m(problem, script.cruise[0].level_m);
        out.push((Knob::ClimbAt, low, high));
        out.push((Knob::ClimbSecond, slowest, fastest));
    }
    for (i, c) in script.cruise.iter().enumerate() {
        if let Throttle::Map(_) = c.throttle {
            out.push((Knob::CruiseMap(i), 13.0 * PA_PER_INHG, 30.0 * PA_PER_INHG));
        }
        // At fixed pitch full throttle leaves the RPM to the air.
        if !(p.is_fixed() && c.throttle == Throttle::Full) {
            out.push((
                Knob::CruiseRev(i),
                p.lowest_governed_rev_s,
                p.highest_governed_rev_s,
            ));
        }
        if i > 0 {
            out.push((Knob::ChangeAt(i), 0.0, problem.length_m));
        }
    }
    let pattern = problem.arrival.pattern_altitude_m;
    out.extend(part_knobs(problem, Which::First, &script.descent.first));
    if let PathRule::Rate(_) = script.descent.first.path {
        out.push((Knob::ReduceAt, pattern, pattern + MOST_LEAD_M));
    }
    if let Some((_, part)) = &script.descent.second {
        let level = script.last_cruise().level_m;
        out.push((Knob::SecondAt, pattern, level));
        out.extend(part_knobs(problem, Which::Second, part));
    }
    out
}

/// The knobs of one part of the descent.
fn part_knobs(problem: &Problem, which: Which, part: &DescentPart) -> Vec<(Knob, f64, f64)> {
    let (a, p) = (&problem.aircraft, &problem.aircraft.propeller);
    let mut out = Vec::new();
    if part.throttle.set_map_pa().is_some() {
        let least = problem.limits.least_map_pa;
        out.push((Knob::PartMap(which), least, 30.0 * PA_PER_INHG));
    }
    if !p.is_fixed() || part.throttle == ThrottleRule::Rpm {
        out.push((
            Knob::PartRev(which),
            p.lowest_governed_rev_s,
            p.highest_governed_rev_s,
        ));
    }
    let (low, high) = match part.path {
        PathRule::Rate(_) => (100.0 * M_S_PER_FPM, problem.limits.max_descent_m_s),
        PathRule::Ias(_) => (a.procedures.pattern_m_s, a.speeds.vno_m_s),
    };
    out.push((Knob::PartPath(which), low, high));
    out
}

pub(super) fn get(script: &Script, knob: Knob) -> f64 {
    let part = |w: Which| w.of(&script.descent);
    match knob {
        Knob::ClimbIas => script.climb.ias_m_s,
        Knob::ClimbAt => script.climb.second.map_or(f64::NAN, |s| s.0),
        Knob::ClimbSecond => script.climb.second.map_or(f64::NAN, |s| s.1),
        Knob::CruiseMap(i) => match script.cruise[i].throttle {
            Throttle::Map(p) => p,
            _ => f64::NAN,
        },
        Knob::CruiseRev(i) => script.cruise[i].rev_s,
        Knob::ChangeAt(i) => script.cruise[i].from_m,
        Knob::PartMap(w) => part(w)
            .and_then(|p| p.throttle.set_map_pa())
            .unwrap_or(f64::NAN),
        Knob::PartRev(w) => part(w).map_or(f64::NAN, |p| p.rev_s),
        Knob::PartPath(w) => part(w).map_or(f64::NAN, |p| p.path.value()),
        Knob::ReduceAt => script.descent.reduce_at_m,
        Knob::SecondAt => script.descent.second.map_or(f64::NAN, |s| s.0),
    }
}

pub(super) fn set(script: &mut Script, knob: Knob, value: f64) {
    match knob {
        Knob::ClimbIas => script.climb.ias_m_s = value,
        Knob::ClimbAt => {
            if let Some((from_m, _)) = &mut script.climb.second {
                *from_m = value;
            }
        }
        Knob::ClimbSecond => {
            if let Some((_, ias_m_s)) = &mut script.climb.second {
                *ias_m_s = value;
            }
        }
        Knob::CruiseMap(i) => script.cruise[i].throttle = Throttle::Map(value),
        Knob::CruiseRev(i) => script.cruise[i].rev_s = value,
        Knob::ChangeAt(i) => script.cruise[i].from_m = value,
        Knob::PartMap(w) => {
            if let Some(part) = w.of_mut(&mut script.descent) {
                part.throttle = part.throttle.with_map_pa(value);
            }
        }
        Knob::PartRev(w) => {
            if let Some(part) = w.of_mut(&mut script.descent) {
                part.rev_s = value;
            }
        }
        Knob::PartPath(w) => {
            if let Some(part) = w.of_mut(&mut script.descent) {
                part.path = part.path.with_value(value);
            }
        }
        Knob::ReduceAt => script.descent.reduce_at_m = value,
        Knob::SecondAt => {
            if let Some((from_m, _)) = &mut script.descent.second {
                *from_m = value;
            }
        }
    }
}

/// A figure this near a multiple of its step, as a share of the step, is that multiple.
const SAME_SETTING: f64 = 1e-6;

/// Steps a pilot can set for each knob, and the range the value is kept in.
pub(super) fn step(problem: &Problem, script: &Script, knob: Knob) -> f64 {
    let pr = &problem.aircraft.procedures;
    match knob {
        Knob::ClimbIas | Knob::ClimbSecond => pr.speed_step_m_s,
        Knob::ClimbAt => CLIMB_AT_STEP_M,
        Knob::CruiseMap(_) | Knob::PartMap(_) => pr.map_step_pa,
        Knob::CruiseRev(_) | Knob::PartRev(_) => pr.rev_step_s,
        Knob::PartPath(w) => match w.of(&script.descent).map(|p| p.path) {
            Some(PathRule::Rate(_)) => RATE_STEP_M_S,
            _ => pr.speed_step_m_s,
        },
        Knob::ReduceAt | Knob::SecondAt => REDUCE_STEP_M,
        Knob::ChangeAt(_) => crate::quantity::M_PER_NM,
    }
}

/// The nearest multiple of a step.
pub fn to_step(x: f64, step: f64) -> f64 {
    (x / step).round() * step
}

/// So many steps on from a figure: from a multiple of the step to a multiple of it to the last bit, whatever the way there, so that one setting
/// is one script.
pub fn by_steps(x: f64, steps: f64, step: f64) -> f64 {
    counted_from(0.0, x, steps, step).unwrap_or(x + steps * step)
}

/// The same for the height \[m\] at which the power reduction begins, which may be counted from the pattern altitude too.
pub fn reduction_by_steps(problem: &Problem, at_m: f64, steps: f64) -> f64 {
    let pattern_m = problem.arrival.pattern_altitude_m;
    counted_from(0.0, at_m, steps, REDUCE_STEP_M)
        .or_else(|| counted_from(pattern_m, at_m, steps, REDUCE_STEP_M))
        .unwrap_or(at_m + steps * REDUCE_STEP_M)
}

/// So many steps on from a figure that is a whole number of steps from the origin; `None` for any other.
fn counted_from(origin: f64, x: f64, steps: f64, step: f64) -> Option<f64> {
    let here = ((x - origin) / step).round();
    let off = ((x - origin) / step - here).abs();
    (off < SAME_SETTING).then_some(origin + (here + steps) * step)
}

/// Rounds every knob of a script to what a pilot can set.
pub fn rounded(problem: &Problem, script: &Script) -> Script {
    let mut out = script.clone();
    for (knob, low, high) in knobs(problem, script) {
        let s = step(problem, script, knob);
        let mut x = to_step(get(script, knob), s);
        if let Knob::ReduceAt = knob {
            x = x.max(problem.arrival.pattern_altitude_m);
        }
        if x > high + 1e-9 {
            x = (high / s).floor() * s;
        }
        if x < low - 1e-9 {
            x = (low / s).ceil() * s;
        }
        set(&mut out, knob, x);
    }
    out
}

/// A LeftAlone or Untouched descent starts from the cruise setting while that moves.
pub fn keep_tied(script: &mut Script) {
    let last = *script.last_cruise();
    if let (ThrottleRule::LeftAlone(_), Throttle::Map(p)) =
        (script.descent.first.throttle, last.throttle)
    {
        script.descent.first.throttle = ThrottleRule::LeftAlone(p);
    }
    if script.descent.first.throttle == ThrottleRule::Untouched {
        script.descent.first.rev_s = last.rev_s;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half inches, 50 rpm and knots are no round figures in SI: by plain sums the way there would show.
    #[test]
    fn closed_form_a_lever_up_and_down_again_is_where_it_was() {
        for step in [0.5 * PA_PER_INHG, 50.0 / 60.0, M_S_PER_KT, 250.0 * M_PER_FT] {
            for n in 1..60 {
                let at = f64::from(n) * step;
                for ways in [[3.0, -1.0, -2.0], [-1.0, 8.0, -7.0], [0.0, 4.0, -4.0]] {
                    let end = ways.iter().fold(at, |x, &k| by_steps(x, k, step));
                    assert_eq!(end.to_bits(), to_step(at, step).to_bits(), "{n} {step}");
                }
            }
        }
        // The reduction begins at whole steps above the pattern altitude as well, which is seldom one itself.
        let pattern_m = 5_480.0 * M_PER_FT;
        for n in 0..16 {
            let at = pattern_m + f64::from(n) * REDUCE_STEP_M;
            let up = counted_from(pattern_m, at, 3.0, REDUCE_STEP_M).expect("whole steps");
            let down = counted_from(pattern_m, up, -3.0, REDUCE_STEP_M).expect("whole steps");
            assert_eq!(down.to_bits(), at.to_bits(), "{n}");
        }
        // What lies between two settings keeps its place between them.
        assert!((by_steps(10.3, 2.0, 1.0) - 12.3).abs() < 1e-12);
    }
}
