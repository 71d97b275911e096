//! Which limit makes a trip infeasible: each is lifted alone, and a flight is looked for.

use super::search::{SolveError, can_be_flown};
use super::workers::{each_of, threads};
use crate::flight::Limit;
use crate::quantity::{M_PER_FT, M_S_PER_FPM};
use crate::trip::{Problem, Roughness, Rules};

/// A rate of descent to try, m/s: twice the usual.
const STEEP_M_S: f64 = 1_000.0 * M_S_PER_FPM;
/// Load to leave behind, as a share of the greatest take-off mass.
const LESS_LOAD: f64 = 0.1;
/// Ground as good as none, m.
const NO_GROUND_M: f64 = -10_000.0 * M_PER_FT;

/// The error of a trip that no flight keeps every limit of, with what alone would free it, found by trying. Other errors stay.
pub(super) fn tried(problem: &Problem, error: SolveError) -> SolveError {
    let SolveError::Infeasible { limits, ways } = error else {
        return error;
    };
    let lifts = lifts(problem);
    let flies = each_of(threads(), &lifts, |(_, _, p)| can_be_flown(p));
    let found: Vec<(Limit, String)> = lifts
        .into_iter()
        .zip(flies)
        .filter(|(_, flies)| *flies)
        .map(|((limit, words, _), _)| (limit, words))
        .collect();
    if found.is_empty() {
        return SolveError::Infeasible { limits, ways };
    }
    let mut names: Vec<&str> = Vec::new();
    for (limit, _) in &found {
        if !names.contains(&limit.words()) {
            names.push(limit.words());
        }
    }
    // Where no flight came so far as to break a limit, only room was named.
    let limits = if limits == Limit::Distance.words() {
        names.join(", ")
    } else {
        limits
    };
    let words: Vec<String> = found.into_iter().map(|(_, words)| words).collect();
    SolveError::Infeasible {
        limits,
        ways: format!("any one of these, each tried alone: {}", words.join("; ")),
    }
}

/// Takes the ground away.
pub(super) fn without_ground(p: &mut Problem) {
    for leg in &mut p.legs {
        let rows = leg.ground.iter_mut().chain(&mut leg.under_track);
        rows.for_each(|row| row.2 = NO_GROUND_M);
    }
}

/// The problem with one limit lifted, for each that it has, with what that is in words.
fn lifts(problem: &Problem) -> Vec<(Limit, String, Problem)> {
    let mut out = Vec::new();
    let mut lift = |limit: Limit, words: String, change: &dyn Fn(&mut Problem)| {
        let mut p = problem.clone();
        change(&mut p);
        out.push((limit, words, p));
    };
    for name in problem.forbidden_names() {
        let words = format!("no {name}: a via place round it, or another time");
        lift(Limit::Forbidden, words, &|p| {
            p.forbidden.retain(|x| x.name != name);
            p.forbidden_to_turns.retain(|x| x.name != name);
        });
    }
    if problem.legs.iter().any(|l| l.maximum_m.is_some()) {
        let words = "no maximum_altitude_ft of a leg".to_owned();
        lift(Limit::Ceiling, words, &|p| {
            p.legs.iter_mut().for_each(|l| l.maximum_m = None);
            p.find_levels();
        });
    }
    let words = "lower ground in climb and descent: a via place round the high ground".to_owned();
    lift(Limit::Ground, words, &without_ground);
    if problem.rules != Rules::None {
        let words = "other levels than the rules have for these courses (limits.rules)".to_owned();
        lift(Limit::Level, words, &|p| {
            p.rules = Rules::None;
            p.find_levels();
        });
    }
    if problem.limits.max_descent_m_s < STEEP_M_S {
        let words = "a steeper descent (limits.max_descent_fpm = 1000)".to_owned();
        lift(Limit::DescentRate, words, &|p| {
            p.limits.max_descent_m_s = STEEP_M_S;
        });
    }
    let words = "smoother air ([[limits.air]])".to_owned();
    lift(Limit::Airspeed, words, &|p| {
        p.limits.air = vec![(f64::INFINITY, Roughness::Smooth)];
        p.limits.smooth_near_ground = true;
    });
    let load_kg = LESS_LOAD * problem.aircraft.masses.max_take_off_kg;
    let words = format!("{:.0} lb less load", load_kg / crate::quantity::KG_PER_LB);
    lift(Limit::ClimbRate, words, &|p| p.zero_fuel_kg -= load_kg);
    out
}
