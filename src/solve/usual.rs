//! The flight as it is usually flown: one power setting at one level, and down at one rate with the power reduced.

use super::cruise::{AtLevel, settable_rev_s};
use super::refine::Pilot;
use super::search::Search;
use crate::aircraft::Levers;
use crate::flight::{Cruise, Flown, Limit, Mark, Script};
use crate::trip::Problem;

/// Sequences of levels that are tried, the nearest to the level wanted first.
const MOST_LEVELS: usize = 8;
/// Power is tried in steps down to this much of what is wanted, where limits of speed are in the way.
const LEAST_SHARE: f64 = 0.8;

/// A fixed way to fly, whatever the wind.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    /// Cruise power, as a share of rated power.
    pub power_fraction: f64,
    /// Crankshaft speed in cruise, rev/s: the nearest that may be set is. At fixed pitch it is that which gives the power.
    pub rev_s: f64,
    /// Name of the mixture in cruise; best power if none is named.
    pub mixture: Option<String>,
    /// Cruise level, indicated, m: on each leg the nearest that is allowed there.
    pub level_m: f64,
    /// Climb, indicated, m/s; never slower than the slowest climb allowed, which it is if none is given.
    pub climb_m_s: Option<f64>,
    /// Rate of descent, m/s, but no more than the trip allows.
    pub descent_m_s: f64,
}

/// The flight as usual, flown as exactly as a plan, and its limits kept.
///
/// # Errors
/// The limits in the way of the first level tried; none named where no setting cruises there.
pub fn usual_flight(problem: &Problem, usual: &Usual) -> Result<Flown, Vec<Limit>> {
    let search = Search::new(problem, problem.cost_rates());
    let exact = Pilot::exact(problem);
    let mut in_the_way: Option<Vec<Limit>> = None;
    for steps in sequences(problem, usual.level_m) {
        let Some((script, start)) = script(&search, usual, &steps) else {
            continue;
        };
        if let Some(flown) = search.reduced(&exact, &script, start, usual.descent_m_s) {
            return Ok(flown);
        }
        if in_the_way.is_none() {
            in_the_way = exact.fly(&script).map(|f| f.audit.broken());
        }
    }
    Err(in_the_way.unwrap_or_default())
}

/// Levels with where each is left for, m: on every leg the nearest that is allowed there to one wanted, for each wanted that some leg allows, the
/// nearest to the usual one first and of two as near the higher.
fn sequences(problem: &Problem, level_m: f64) -> Vec<Vec<(f64, f64)>> {
    let above_pattern = |m: &&f64| **m > problem.arrival.pattern_altitude_m + 1.0;
    let nearest = |levels: &[f64], wanted_m: f64| {
        let far = |m: f64| (m - wanted_m).abs();
        levels
            .iter()
            .filter(above_pattern)
            .copied()
            .min_by(|&a, &b| far(a).total_cmp(&far(b)).then(b.total_cmp(&a)))
    };
    let mut wanted: Vec<f64> = problem
        .levels
        .iter()
        .flat_map(|l| l.levels_m.iter())
        .filter(above_pattern)
        .copied()
        .collect();
    let far = |m: f64| (m - level_m).abs();
    wanted.sort_by(|&a, &b| far(a).total_cmp(&far(b)).then(b.total_cmp(&a)));
    let mut out: Vec<Vec<(f64, f64)>> = Vec::new();
    for wanted_m in wanted {
        let mut steps: Vec<(f64, f64)> = Vec::new();
        for (leg, levels) in problem.legs.iter().zip(&problem.levels) {
            let Some(m) = nearest(&levels.levels_m, wanted_m) else {
                return out;
            };
            if steps.last().is_none_or(|s| (s.0 - m).abs() > 1.0) {
                steps.push((m, leg.from_m));
            }
        }
        let same = |known: &Vec<(f64, f64)>| {
            known.len() == steps.len()
                && known
                    .iter()
                    .zip(&steps)
                    .all(|(a, b)| (a.0 - b.0).abs() < 1.0)
        };
        if !out.iter().any(same) {
            out.push(steps);
        }
        if out.len() == MOST_LEVELS {
            break;
        }
    }
    out
}

/// The script of a sequence of levels, its descent left to be found, and about where that begins.
fn script(search: &Search, usual: &Usual, steps: &[(f64, f64)]) -> Option<(Script, Mark)> {
    let p = search.p;
    let slowest = search.speed_up(search.slowest_climb_m_s());
    let climb = usual.climb_m_s.map_or(slowest, |v| v.max(slowest));
    let mut script = search.skeleton(climb, *p.aircraft.procedures.climb_rev_s.first()?);
    for (i, &(level_m, from_m)) in steps.iter().enumerate() {
        let to_m = steps.get(i + 1).map_or(p.length_m, |next| next.1);
        let levers = setting(search, usual, level_m, 0.5 * (from_m + to_m))?;
        script.cruise.push(Cruise {
            level_m,
            from_m,
            throttle: levers.throttle,
            rev_s: levers.rev_s,
            mixture: levers.mixture,
            set_at_ias_m_s: 0.0,
        });
    }
    let last = *script.cruise.last()?;
    script.descent.first.rev_s = last.rev_s;
    script.descent.first.mixture = last.mixture;
    search.prepare(&mut script);
    let start = search.cruise_state(last.level_m, &[], &script)?;
    Some((script, Mark::from(&start)))
}

/// The setting that may be set and whose power is nearest to the usual.
fn setting(search: &Search, usual: &Usual, level_m: f64, at_m: f64) -> Option<Levers> {
    let p = search.p;
    let (engine, procedures) = (&p.aircraft.engine, &p.aircraft.procedures);
    let named = usual.mixture.as_ref().and_then(|name| {
        let mixtures = &engine.spec.mixtures;
        mixtures
            .iter()
            .position(|m| m.name.eq_ignore_ascii_case(name))
    });
    let mixture = named.unwrap_or_else(|| engine.best_power_mixture());
    let here = AtLevel::new(p, level_m, at_m, search.middle_kg());
    let revs = settable_rev_s(p, procedures.rev_step_s);
    let revs = if p.aircraft.propeller.is_fixed() {
        revs
    } else {
        let far = |rev_s: f64| (rev_s - usual.rev_s).abs();
        let nearest = revs.into_iter().min_by(|&a, &b| far(a).total_cmp(&far(b)));
        nearest.into_iter().collect()
    };
    let mut near_m_s = here.guess_m_s;
    let mut best: Option<(f64, Levers)> = None;
    let highest = revs.last().copied();
    for rev_s in revs.into_iter().rev() {
        for throttle in here
            .throttles(rev_s, highest == Some(rev_s), procedures.map_step_pa)
            .into_iter()
            .rev()
        {
            let levers = Levers {
                throttle,
                rev_s,
                mixture,
            };
            let Some((_, power)) = here.setting(levers, &mut near_m_s) else {
                continue;
            };
            let off = (power - usual.power_fraction).abs();
            if best.is_none_or(|b| off < b.0) {
                best = Some((off, levers));
            }
            // Power falls from here on.
            if power < LEAST_SHARE * usual.power_fraction {
                break;
            }
        }
    }
    best.map(|b| b.1)
}
