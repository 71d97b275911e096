//! From a problem to a plan.

use super::advice::advice;
use super::cruise::{self, CruiseOption};
use super::levels::{LevelCost, Sequence, sequences};
use super::plan::{
    Alternative, AlternativeKind, Draft, Ideal, Part, Plan, Termination, Totals, Warning, Workings,
    open_part,
};
use super::power::{needed_thrust_n, reading_for};
use super::refine::{Pilot, continuous, keep_tied, rounded, settle, to_step};
use super::{circling, descent, ideal};
use crate::air::isa;
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{Configuration, Levers, Throttle};
use crate::flight::{
    Climb, ClimbState, Cruise, Descent, DescentPart, Flown, Limit, Mark, PathRule, Reduction,
    Script, State, ThrottleRule, climb_states, fly_recorded, joined, level_speed_m_s,
};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use crate::reflight::{self, Mismatch};
use crate::trip::{CostRates, HourBasis, Leg, Objective, Problem, Rules, Start, legal_levels};
use std::borrow::Cow;
use std::cell::{Cell, RefCell};
use std::collections::HashMap;

/// Level sequences that are flown in full.
const SEQUENCES: usize = 3;
/// More of them that are tried where none of those can be flown.
const MORE_SEQUENCES: usize = 8;
/// A sequence dearer than the cheapest by this share in the search's own model is not flown.
const SEQUENCE_WINDOW: f64 = 0.012;
/// A climb that breaks limits is charged this share of its cost for each scale unit, while climbs are compared.
const CLIMB_PENALTY: f64 = 0.05;
/// At a fixed pitch power goes with the cube of crankshaft speed and with manifold pressure times crankshaft speed, so an inch of mercury
/// at 23 in is worth 50 rpm at 2,400: one step of a reduction, rev/s.
const REV_STEP_S: f64 = 50.0 / 60.0;
/// Descents that are tried while more than one start is wanted.
const MOST_STARTS: usize = 3;
/// Times the descent is priced again from the cruise that was settled to.
const MOST_AGAIN: usize = 3;
/// The schedule has settled when the time of the flight changes by less than this share (DESIGN section 6.4).
const SCHEDULE_SHARE: f64 = 1e-3;
/// Flights on the way to it.
const MOST_SCHEDULES: u32 = 6;
/// Rate of the ordinary descent, m/s: 500 ft/min (common practice, no source).
pub(super) const ORDINARY_M_S: f64 = 500.0 * M_S_PER_FPM;
/// Cruise power is set this much before cruise speed is reached.
const SET_BEFORE_M_S: f64 = 2.0 * M_S_PER_KT;

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SolveError {
    /// A leg has no legal level.
    #[error(
        "leg {from} to {to}: no cruise altitude is allowed between its minimum of {minimum_ft:.0} ft and {maximum_ft:.0} ft (rules for a magnetic course of {course_deg:.0} deg, ground clearance in true height, oxygen). What would free it: {ways}"
    )]
    NoLevel {
        /// From.
        from: String,
        /// To.
        to: String,
        /// Least altitude.
        minimum_ft: f64,
        /// Greatest altitude.
        maximum_ft: f64,
        /// What would free it, in words.
        ways: String,
        /// Magnetic course.
        course_deg: f64,
    },
    /// Legal levels, but the aeroplane cannot cruise or climb there.
    #[error(
        "the aeroplane reaches none of the allowed altitudes ({levels}) with the climb rate and cruise settings the profile and trip allow: {why}"
    )]
    Unreachable {
        /// The levels, in words.
        levels: String,
        /// What stands in the way at the nearest of them, and what would free it, in words.
        why: String,
    },
    /// Not enough fuel.
    #[error(
        "out of fuel: the thriftiest plan found needs {required_gal:.1} gal with the reserve of {reserve_min:.0} min, and {on_board_gal:.1} gal are on board. What would free it: more fuel, less load, or a stop on the way"
    )]
    Fuel {
        /// Needed.
        required_gal: f64,
        /// On board.
        on_board_gal: f64,
        /// Reserve.
        reserve_min: f64,
    },
    /// No plan keeps a bound that was asked for.
    #[error("{asked}: {nearest}")]
    Bound {
        /// What was asked for, in words.
        asked: String,
        /// The nearest figure that can be had, in words.
        nearest: String,
    },
    /// A plan was found in outline but no script keeps every limit.
    #[error(
        "no flight keeps every limit of the trip; limits in the way: {limits}. What would free it: {ways}"
    )]
    Infeasible {
        /// The limits, in words.
        limits: String,
        /// What would free the trip of each, in words.
        ways: String,
    },
}

/// Plans a trip.
///
/// # Errors
/// [`SolveError`] when no plan keeps every limit, saying which is in the way.
pub fn plan(problem: &Problem) -> Result<Plan, SolveError> {
    Ok(plan_with_workings(problem)?.0)
}

/// [`plan`] with the flights that it only has the figures of.
///
/// # Errors
/// As [`plan`].
pub fn plan_with_workings(problem: &Problem) -> Result<(Plan, Workings), SolveError> {
    let (mut problem, draft) = circling::planned(on_schedule(problem))?;
    set_clock(&mut problem, &draft.flown);
    Ok(super::why::told(&problem, draft))
}

/// The problem on the clock of a flight: the cheapest the level search proposes, with a plain descent, on the clock of which the
/// search is made again until that no longer changes. As it is in air that does not change.
pub fn on_schedule(problem: &Problem) -> Cow<'_, Problem> {
    let mut scheduled = Cow::Borrowed(problem);
    if problem.air.is_steady() {
        return scheduled;
    }
    for _ in 0..MOST_SCHEDULES {
        let search = Search::new(&scheduled, scheduled.cost_rates());
        let Some(flown) = search.first_flight() else {
            break;
        };
        let change_s = (flown.time_s - scheduled.time_s(problem.length_m)).abs();
        set_clock(&mut scheduled, &flown);
        if change_s < SCHEDULE_SHARE * flown.time_s {
            break;
        }
    }
    scheduled
}

/// Puts the problem on the clock of a recorded flight, if its air changes.
pub(super) fn set_clock(problem: &mut Cow<'_, Problem>, flown: &Flown) {
    if problem.air.is_steady() {
        return;
    }
    let mut clock: Vec<(f64, f64)> = Vec::with_capacity(flown.track.len());
    for state in flown.track.iter().map(|t| t.state) {
        if clock.last().is_none_or(|c| state.distance_m > c.0) {
            clock.push((state.distance_m, state.time_s));
        }
    }
    problem.to_mut().clock = clock;
}

/// A plan without a word on what each choice is worth, on the clock that the problem has.
///
/// # Errors
/// As [`plan`].
pub(super) fn bare(problem: &Problem) -> Result<Draft, SolveError> {
    if problem.bounds.is_free() {
        plan_from(problem, &[])
    } else {
        super::bounded::plan(problem)
    }
}

/// Whether a flight that keeps every limit is soon found.
pub(super) fn can_be_flown(problem: &Problem) -> bool {
    let rates = problem.cost_rates();
    let search = Search::new(problem, rates);
    let Ok(levels) = search.level_costs() else {
        return false;
    };
    let pilot = Pilot::new(problem);
    let proposals = sequences(problem, rates, &levels);
    let alone = proposals.iter().filter(|s| s.steps.len() == 1);
    let several = proposals.iter().filter(|s| s.steps.len() > 1);
    alone
        .take(SEQUENCES)
        .chain(several.take(SEQUENCES))
        .any(|s| search.fly_sequence(&pilot, &levels, s, 1).is_ok())
}

/// A script with its derived entries filled in: the speed at which cruise power is set after each climb, and a throttle left alone in
/// the descent at its cruise setting.
pub fn prepared(problem: &Problem, script: &Script) -> Script {
    let mut script = script.clone();
    Search::new(problem, problem.cost_rates()).prepare(&mut script);
    script
}

/// What the search compares: cost with broken limits and lever changes charged, in the objective's unit.
pub fn charged(flown: &Flown) -> f64 {
    Pilot::charged(flown)
}

/// [`plan`] with more scripts to settle from than those the search finds.
pub(super) fn plan_from(problem: &Problem, seeds: &[Script]) -> Result<Draft, SolveError> {
    plan_with(&Pilot::new(problem), seeds)
}

/// [`plan_from`] with a pilot of the caller's.
pub(super) fn plan_with(pilot: &Pilot, seeds: &[Script]) -> Result<Draft, SolveError> {
    let problem = pilot.problem();
    for (leg, levels) in problem.legs.iter().zip(&problem.levels) {
        if levels.levels_m.is_empty() {
            return Err(SolveError::NoLevel {
                from: leg.from.clone(),
                to: leg.to.clone(),
                minimum_ft: leg.minimum_m / M_PER_FT,
                maximum_ft: problem.ceiling_m(leg.from_m) / M_PER_FT,
                course_deg: leg.magnetic_rad.to_degrees(),
                ways: ways_to_a_level(problem, leg),
            });
        }
    }
    let rates = problem.cost_rates();
    let search = Search::new(problem, rates);
    let levels = search.level_costs()?;
    let proposals = sequences(problem, rates, &levels);
    let mut broken = Vec::new();
    let mut flown: Vec<(Sequence, Flown)> = Vec::new();
    let window = proposals
        .first()
        .map_or(0.0, |p| p.cost.abs() * SEQUENCE_WINDOW + p.cost);
    // The cheapest few, and the cheapest that holds one level, which a flight is most sure to have room for; then, if none of them
    // can be flown, some of the rest, one level before several.
    let (near, far): (Vec<&Sequence>, Vec<&Sequence>) = proposals
        .iter()
        .enumerate()
        .map(|(i, s)| (i < SEQUENCES && s.cost <= window, s))
        .fold((vec![], vec![]), |(mut near, mut far), (close, s)| {
            if close {
                near.push(s)
            } else {
                far.push(s)
            }
            (near, far)
        });
    let alone = |s: &&Sequence| s.steps.len() == 1;
    let single = if near.iter().any(alone) {
        None
    } else {
        far.iter().copied().find(alone)
    };
    let rest = far
        .iter()
        .copied()
        .filter(alone)
        .chain(far.iter().copied().filter(|s| s.steps.len() > 1))
        .filter(|s| Some(*s) != single)
        .take(MORE_SEQUENCES);
    for sequence in near.iter().copied().chain(single) {
        let starts = if flown.is_empty() { MOST_STARTS } else { 1 };
        match search.fly_sequence(pilot, &levels, sequence, starts) {
            Ok(f) => flown.push((sequence.clone(), f)),
            Err(b) => broken.extend(b),
        }
    }
    for sequence in rest {
        if !flown.is_empty() {
            break;
        }
        match search.fly_sequence(pilot, &levels, sequence, 1) {
            Ok(f) => flown.push((sequence.clone(), f)),
            Err(b) => broken.extend(b),
        }
    }
    for seed in seeds {
        match settle(pilot, seed, &|s| search.prepare(s)) {
            Ok(f) => {
                let steps = f.script.cruise.iter().map(|c| (c.level_m, c.from_m));
                let sequence = Sequence {
                    steps: steps.collect(),
                    cost: f.cost,
                };
                flown.push((sequence, f));
            }
            Err(b) => broken.extend(b),
        }
    }
    flown.sort_by(|a, b| Pilot::charged(&a.1).total_cmp(&Pilot::charged(&b.1)));
    let Some((_, best)) = flown.first().cloned() else {
        return Err(search.why_not(broken));
    };
    let best = search.descent_again(pilot, best, None);
    let searched = *best.script.last_cruise();
    let best = search.with_second_speed(pilot, &levels, best);
    // Continuous refinement of the best, then rounding again with the neighbours.
    let tie = |script: &mut Script| search.prepare(script);
    let unrounded = continuous(pilot, &best.script_free(), &tie);
    let again = unrounded
        .as_ref()
        .and_then(|(script, _)| settle(pilot, &rounded(problem, script), &tie).ok());
    let best = again
        .filter(|a| Pilot::charged(a) < Pilot::charged(&best))
        .unwrap_or(best);
    // What was chosen since it was last settled may have moved the rest.
    let best = settle(pilot, &best.script_free(), &tie)
        .ok()
        .filter(|s| Pilot::charged(s) < Pilot::charged(&best))
        .unwrap_or(best);
    let best = if same_setting(&searched, best.script.last_cruise()) {
        best
    } else {
        search.descent_again(pilot, best, Some(searched))
    };
    // Flown as it will be flown. If that lies on the wrong side of a limit, by the search's own error, it is settled again with
    // flights of that kind; if that fails, the next best sequence has its turn.
    let exact = Pilot::exact(problem);
    let mut finished: Option<(Flown, Mismatch)> = None;
    // Recorded with its path. A plan that the independent integrator cannot confirm gives way to one that it can; whether it confirms this one.
    let confirmed = |f: &Flown, finished: &mut Option<(Flown, Mismatch)>| {
        let Ok(recorded) = fly_recorded(problem, &f.script) else {
            return false;
        };
        let mismatch = reflown(problem, &recorded);
        let confirmed = mismatch.within_bounds(problem.aircraft.fuel.density_kg_m3);
        if confirmed || finished.is_none() {
            *finished = Some((recorded, mismatch));
        }
        confirmed
    };
    for candidate in std::iter::once(&best).chain(flown.iter().skip(1).map(|f| &f.1)) {
        let kept = match exact.fly(&candidate.script_free()) {
            Some(f) if f.audit.violation() == 0.0 => Ok(f),
            _ => settle(&exact, &candidate.script, &tie),
        };
        match kept {
            Ok(f) => {
                if confirmed(&f, &mut finished) {
                    break;
                }
            }
            Err(in_the_way) => broken.extend(in_the_way),
        }
    }
    // What the search's own error hid, as room that there is not, is looked for again with flights of the exact kind.
    if finished.is_none() {
        let again = flown.iter().map(|f| &f.0).chain(far.iter().copied());
        for sequence in again.take(MORE_SEQUENCES) {
            let kept = search.fly_sequence(&exact, &levels, sequence, MOST_STARTS);
            if kept.is_ok_and(|f| confirmed(&f, &mut finished)) {
                break;
            }
        }
    }
    let Some((final_flown, mismatch)) = finished else {
        return Err(search.why_not(broken));
    };
    Ok(Draft {
        flown: final_flown,
        mismatch,
        unrounded,
        others: flown.into_iter().skip(1).map(|(_, f)| f).collect(),
        flights: pilot.flights(),
    })
}

/// The flight before rounding, flown as finely as the plan. Where rounding found better, or the unrounded flight lies on the wrong side
/// of a limit by the search's own error, it is the plan itself.
fn before_rounding(problem: &Problem, script: Option<Script>, plan: &Flown) -> Flown {
    script
        .and_then(|script| fly_recorded(problem, &script).ok())
        .filter(|f| f.audit.violation() == 0.0 && f.cost <= plan.cost)
        .unwrap_or_else(|| plan.clone())
}

/// A flight set beside the plan.
pub(super) fn alternative(
    problem: &Problem,
    kind: AlternativeKind,
    flown: Flown,
    plan: &Flown,
) -> Alternative {
    Alternative {
        kind,
        totals: totals(problem, &flown),
        difference: flown.cost - plan.cost,
        charged_difference: Pilot::charged(&flown) - Pilot::charged(plan),
        flown,
    }
}

/// By how much the re-flight of a flight misses it; not a number where it cannot be re-flown at all.
pub(super) fn reflown(problem: &Problem, flown: &Flown) -> Mismatch {
    match reflight::refly(problem, &flown.script) {
        Ok(r) => Mismatch::between(problem, flown, &r),
        Err(_) => Mismatch {
            time_s: f64::NAN,
            fuel_kg: f64::NAN,
            height_m: f64::NAN,
            speed_m_s: f64::NAN,
            barred_m: f64::NAN,
        },
    }
}

/// Totals of a flown flight.
pub fn totals(problem: &Problem, flown: &Flown) -> Totals {
    let p = &problem.aircraft.procedures;
    let block_time_s = flown.time_s + p.taxi_time_s;
    let block_fuel_kg = flown.fuel_kg + p.taxi_fuel_kg;
    let landing_fuel_kg = problem.fuel_kg - block_fuel_kg;
    let flow = flown.cruise_fuel_kg_s;
    let reserve_required_kg = problem.reserve_kg(flow);
    let hours_cost = match problem.prices.basis {
        HourBasis::Clock => problem.prices.per_s * block_time_s,
        HourBasis::Airborne => problem.prices.per_s * flown.time_s,
        HourBasis::Tachometer(reference) => problem.prices.per_s * flown.revolutions / reference,
    };
    Totals {
        time_s: flown.time_s,
        fuel_kg: flown.fuel_kg,
        block_time_s,
        block_fuel_kg,
        money: hours_cost + problem.prices.fuel_per_kg * block_fuel_kg,
        distance_m: problem.length_m,
        landing_fuel_kg,
        reserve_s: landing_fuel_kg.max(0.0) / flow,
        reserve_required_kg,
        legal_reserve_kg: problem.rules.reserve_s(problem.night) * flow,
        alternate_kg: problem.alternate_kg,
        fuel_required_kg: block_fuel_kg + problem.alternate_kg + reserve_required_kg,
    }
}

/// How long a flight of this time \[s\] from take-off goes on after the period its forecasts are for, s; `None` where it does not.
pub(super) fn past_forecast_s(problem: &Problem, time_s: f64) -> Option<f64> {
    let until = problem.valid_until?;
    #[expect(clippy::cast_precision_loss, reason = "seconds of a few days")]
    let left_s = (until.as_second() - problem.departure_time.as_second()) as f64;
    let over_s = problem.aircraft.procedures.taxi_time_s + time_s - left_s;
    (over_s > 0.0).then_some(over_s)
}

pub(super) fn warnings(
    problem: &Problem,
    flown: &Flown,
    totals: &Totals,
    mismatch: &Mismatch,
) -> Vec<Warning> {
    let mut out: Vec<Warning> = problem.notes.iter().cloned().map(Warning::Note).collect();
    out.extend(past_forecast_s(problem, totals.time_s).map(Warning::ForecastEnds));
    let short = totals.alternate_kg + totals.reserve_required_kg - totals.landing_fuel_kg;
    if short > 0.0 {
        out.push(Warning::BelowReserve(short));
    }
    // The legal least is to be left at the alternate where the rules are those of instruments (14 CFR 91.167).
    let onward_kg = match problem.rules {
        Rules::UsIfr | Rules::IcaoIfr => totals.alternate_kg,
        Rules::UsVfr | Rules::IcaoVfr | Rules::None => 0.0,
    };
    let short = onward_kg + totals.legal_reserve_kg - totals.landing_fuel_kg;
    if short > 0.0 {
        out.push(Warning::BelowLegalReserve(short));
    }
    if problem.aircraft.procedures.map_limit.is_empty() && !problem.aircraft.propeller.is_fixed() {
        out.push(Warning::NoLimitLine);
    }
    if problem.aircraft.procedures.pattern_m_s > problem.aircraft.speeds.vlo_extend_m_s {
        out.push(Warning::PatternAboveVlo);
    }
    if !mismatch.within_bounds(problem.aircraft.fuel.density_kg_m3) {
        out.push(Warning::Reflight);
    }
    out.extend(advice(problem, flown));
    out
}

/// What alone would give a leg without level one, in words.
fn ways_to_a_level(problem: &Problem, leg: &Leg) -> String {
    // The air is known this far above the trip's greatest altitude.
    let more_m = 2_000.0 * M_PER_FT;
    let frees = |change: &dyn Fn(&mut Problem, &mut Leg)| {
        let (mut p, mut l) = (problem.clone(), leg.clone());
        change(&mut p, &mut l);
        !legal_levels(&p, &l).levels_m.is_empty()
    };
    let mut ways = Vec::new();
    let field_m = problem
        .departure
        .elevation_m
        .max(problem.destination.elevation_m);
    if field_m + problem.limits.clearance_m > problem.limits.max_altitude_m {
        ways.push(
            "fields that lie lower: one of this trip is, with the clearance, above the greatest altitude (limits.max_altitude_ft)",
        );
    }
    if frees(&|p, _| p.rules = Rules::None) {
        ways.push("rules that allow other levels on this course (limits.rules)");
    }
    if frees(&|_, l| l.maximum_m = None) {
        ways.push("a higher maximum_altitude_ft of the leg");
    }
    if frees(&|p, l| {
        p.limits.max_altitude_m += more_m;
        l.maximum_m = l.maximum_m.map(|m| m + more_m);
    }) {
        ways.push("a higher greatest altitude (limits.max_altitude_ft)");
    }
    if frees(&|p, _| p.limits.oxygen = true) {
        ways.push("oxygen on board (limits.oxygen)");
    }
    if frees(&|_, l| l.minimum_m = f64::NEG_INFINITY) {
        ways.push("a lower minimum_altitude_ft of the leg, if the chart has it");
    }
    if ways.is_empty() {
        ways.push("no one limit alone: a route over lower ground (a via place), or warmer air");
    }
    ways.join("; ")
}

/// Limits as a pilot would name them.
fn in_words(limits: &[Limit]) -> String {
    limits
        .iter()
        .map(|l| l.words())
        .collect::<Vec<_>>()
        .join(", ")
}

/// Least room from the departure to the pattern point that levels can be used in, m: where none can and there is less, room is named.
const LEAST_ROOM_M: f64 = 10.0 * M_PER_NM;
pub(super) struct Search<'a> {
    pub(super) p: &'a Problem,
    pub(super) rates: CostRates,
    /// Mass at the middle of the route, kg.
    middle_kg: f64,
    /// Descents priced so far, by the cruise they begin from.
    priced: RefCell<Vec<Priced>>,
    /// Steady indicated airspeeds \[m/s\] found so far at the mass of lift-off, by levers, level and distance.
    steady: RefCell<HashMap<[u64; 6], Option<f64>>>,
}

/// Descents found from a cruise.
struct Priced {
    cruise: Cruise,
    found: Vec<descent::Candidate>,
    /// By the whole search, rather than carried over from another cruise.
    anew: bool,
}

impl Priced {
    fn begins_in(&self, cruise: &Cruise) -> bool {
        same_setting(&self.cruise, cruise)
    }
}

/// Whether two cruises are at one level with one setting.
fn same_setting(a: &Cruise, b: &Cruise) -> bool {
    a.level_m == b.level_m
        && a.throttle == b.throttle
        && a.rev_s == b.rev_s
        && a.mixture == b.mixture
}

impl<'a> Search<'a> {
    pub(super) fn new(p: &'a Problem, rates: CostRates) -> Self {
        // A first guess of the burn at 65 % power; the flights find their own.
        let flow = 0.65 * p.aircraft.engine.spec.rated_power_w * 7.5e-8;
        let burn = flow * p.length_m / 70.0;
        let middle_kg = p.zero_fuel_kg + p.fuel_kg
            - p.aircraft.procedures.taxi_fuel_kg
            - 0.5 * burn.min(p.fuel_kg);
        Self {
            p,
            rates,
            middle_kg,
            priced: RefCell::new(vec![]),
            steady: RefCell::default(),
        }
    }

    /// Mass at the middle of the route, kg.
    pub(super) fn middle_kg(&self) -> f64 {
        self.middle_kg
    }

    pub(super) fn lift_off_kg(&self) -> f64 {
        let pr = &self.p.aircraft.procedures;
        self.p.zero_fuel_kg + self.p.fuel_kg - pr.taxi_fuel_kg - pr.take_off_fuel_kg
    }

    /// Speed to a step the pilot can fly, at or above the given one.
    pub(super) fn speed_up(&self, ias_m_s: f64) -> f64 {
        let step = self.p.aircraft.procedures.speed_step_m_s;
        (ias_m_s / step - 1e-6).ceil() * step
    }

    /// The slowest climb after lift-off, indicated, m/s: Vy, or what cools the engine.
    pub(super) fn slowest_climb_m_s(&self) -> f64 {
        let p = self.p;
        p.aircraft
            .least_climb_ias_m_s(p.departure.elevation_m, self.lift_off_kg())
    }

    /// Indicated altitude, in whole 500 ft, at which climb mixture is leaned: where density altitude passes the profile's.
    fn lean_at_m(&self) -> f64 {
        let p = self.p;
        let limit = p.aircraft.procedures.full_rich_density_altitude_m;
        let mut level = 0.0;
        while level <= p.limits.max_altitude_m {
            let hp = p.pressure_altitude_m(0.0, level);
            if isa::density_altitude_m(hp, p.air.at(0.0, hp, 0.0).temperature_k) > limit {
                return level;
            }
            level += 500.0 * M_PER_FT;
        }
        f64::INFINITY
    }

    /// A script with everything but cruise and descent chosen.
    pub(super) fn skeleton(&self, ias_m_s: f64, rev_s: f64) -> Script {
        let p = self.p;
        let field_da = p.density_altitude_m(&p.departure, 0.0);
        let mixture = p.aircraft.high_power_mixture(field_da);
        let initial = (self.slowest_climb_m_s() / M_S_PER_KT).ceil() * M_S_PER_KT;
        let interval = PA_PER_INHG / p.limits.map_reduction_pa_s;
        Script {
            initial_ias_m_s: initial,
            initial_mixture: mixture,
            climb: Climb {
                ias_m_s: ias_m_s.max(initial),
                second: None,
                rev_s,
                mixture,
                lean_at_m: self.lean_at_m(),
                circle: circling::over_departure(p),
            },
            cruise: vec![],
            descent: Descent {
                first: DescentPart {
                    throttle: ThrottleRule::Full,
                    rev_s,
                    mixture,
                    path: PathRule::Rate(p.limits.max_descent_m_s),
                    gear_down: false,
                },
                second: None,
                reduce_at_m: p.arrival.pattern_altitude_m,
                to_go_m: f64::NAN,
                circle: circling::over_destination(p),
            },
            reduction: Reduction {
                step_pa: PA_PER_INHG,
                step_rev_s: REV_STEP_S,
                interval_s: interval,
                floor_pa: p.limits.least_map_pa,
                floor_rev_s: p.aircraft.propeller.lowest_governed_rev_s,
            },
        }
    }

    /// Climb speeds and RPM to try.
    fn climbs(&self) -> Vec<(f64, f64)> {
        let p = self.p;
        let low = self.speed_up(self.slowest_climb_m_s());
        let high = p.aircraft.speeds.vno_m_s - 20.0 * M_S_PER_KT;
        let mut out = Vec::new();
        let mut ias = low;
        while ias <= high {
            for &rev in &p.aircraft.procedures.climb_rev_s {
                out.push((ias, rev));
            }
            ias += 10.0 * M_S_PER_KT;
        }
        out
    }

    pub(super) fn cost_of(&self, s: &State) -> f64 {
        self.rates.of(s.time_s, s.fuel_kg, s.revolutions)
    }

    /// By how much the rate of climb on reaching a level misses the least, m/s; zero if it does not.
    pub(super) fn climb_rate_short(&self, at: &ClimbState) -> f64 {
        let leg = &self.p.legs[self.p.leg_index(at.state.distance_m)];
        (leg.least_climb_m_s() - at.rate_m_s).max(0.0)
    }

    /// Options, climb and descent of every level that some leg allows and the aeroplane reaches.
    fn level_costs(&self) -> Result<Vec<LevelCost>, SolveError> {
        let p = self.p;
        let mut all: Vec<f64> = p
            .levels
            .iter()
            .flat_map(|l| l.levels_m.iter().copied())
            .collect();
        // A level is above the pattern, or there is nothing to descend from.
        all.retain(|&l| l > p.arrival.pattern_altitude_m + 1.0);
        all.sort_by(f64::total_cmp);
        all.dedup_by(|a, b| (*a - *b).abs() < 1.0);
        let middle = 0.5 * p.length_m;
        let options: Vec<Vec<CruiseOption>> = all.iter().map(|&l| self.options(l)).collect();
        // Cost, distance and what is charged for what is barred.
        let mut climb: Vec<Option<(f64, f64, f64)>> = vec![None; all.len()];
        let per_m: Vec<f64> = all
            .iter()
            .zip(&options)
            .map(|(&l, o)| cruise::least_per_m(p, self.rates, o, l, middle))
            .collect();
        for (ias, rev) in self.climbs() {
            let script = self.skeleton(ias, rev);
            for (i, at) in climb_states(p, &script, &all).iter().enumerate() {
                let state = &at.state;
                if self.climb_rate_short(at) > 0.0 || !per_m[i].is_finite() {
                    continue;
                }
                let cost = self.cost_of(state);
                let c = (
                    cost * (1.0 + CLIMB_PENALTY * (at.violation - at.barred)),
                    state.distance_m,
                    cost * CLIMB_PENALTY * at.barred,
                );
                let worth = |x: (f64, f64, f64)| x.0 + x.2 - per_m[i] * x.1;
                if climb[i].is_none_or(|b| worth(c) < worth(b)) {
                    climb[i] = Some(c);
                }
            }
        }
        let mut out = Vec::new();
        for (i, &level_m) in all.iter().enumerate() {
            if options[i].is_empty() {
                continue;
            }
            let reach = match p.start {
                Start::Ground => climb[i],
                Start::InFlight { .. } => self.reach(level_m, &options[i]),
            };
            let Some(reach) = reach else { continue };
            // A level that the flight begins at or above need not be climbed to, and is not where it cannot be.
            let climb = climb[i].unwrap_or((f64::INFINITY, 0.0, 0.0));
            let mut level = LevelCost {
                level_m,
                options: options[i].clone(),
                climb: (climb.0, climb.1),
                reach: (reach.0, reach.1),
                descent: (0.0, 0.0),
                barred: (reach.2, 0.0),
            };
            let script = self
                .with_cruise(&[(level_m, 0.0)], std::slice::from_ref(&level))
                .unwrap_or_else(|| self.skeleton(0.0, p.aircraft.procedures.climb_rev_s[0]));
            // A plain descent stands for all of them in the level search: power as in cruise, greatest rate.
            if let Some(c) = self.plain_descent(&script, &level, per_m[i]) {
                level.descent = (c.cost, c.distance_m);
                level.barred.1 = c.barred;
                out.push(level);
            }
        }
        if out.is_empty() {
            let levels = all
                .iter()
                .map(|l| format!("{:.0} ft", l / M_PER_FT))
                .collect::<Vec<_>>()
                .join(", ");
            // The lowest level asks least of climb and cruise.
            let why = match (options.first(), climb.first()) {
                _ if p.length_m - p.arrival.before_m < LEAST_ROOM_M => format!(
                    "from the departure to the pattern point there are {:.1} nm, too few to climb, cruise and let down. What would free it: \
                     a longer route, or a pattern point nearer to the field (arrival.before_nm)",
                    ((p.length_m - p.arrival.before_m) / M_PER_NM).max(0.0)
                ),
                (Some(options), _) if options.is_empty() => {
                    "no setting that the profile allows holds level flight there at 1.3 Vs or more and within the speed limit of the air. \
                     What would free it: less load, lower minimum altitudes where the chart has them, or more cruise power or fewer RPM to \
                     avoid in the profile, if they are wrong there"
                        .to_owned()
                }
                _ if per_m.first().is_some_and(|c| !c.is_finite()) => {
                    "no ground speed is left against the wind. What would free it: another time".to_owned()
                }
                (_, Some(None)) if p.start == Start::Ground => {
                    "the least rate of climb is not kept on the way up. What would free it: less load, or lower minimum altitudes where the \
                     chart has them"
                        .to_owned()
                }
                _ => "no descent from there to the pattern can be flown. What would free it: a greater rate of descent \
                      (limits.max_descent_fpm), or a lower least manifold pressure (limits.least_map_inhg)"
                    .to_owned(),
            };
            return Err(SolveError::Unreachable { levels, why });
        }
        Ok(out)
    }

    /// The cheapest way from where a flight begins in the air to a level: cost, distance and what is charged for what is barred.
    fn reach(&self, level_m: f64, options: &[CruiseOption]) -> Option<(f64, f64, f64)> {
        let (cruise, per_m) = self.best_cruise(level_m, 0.0, self.p.length_m, options)?;
        let (_, at) = self.join(cruise, per_m)?;
        let cost = self.cost_of(&at.state);
        (self.climb_rate_short(&at) <= 0.0 || at.rate_m_s == 0.0).then_some((
            cost * (1.0 + CLIMB_PENALTY * (at.violation - at.barred)),
            at.state.distance_m,
            cost * CLIMB_PENALTY * at.barred,
        ))
    }

    /// The script that takes a flight from where it begins in the air to its first cruise at the least cost, and the state there.
    pub(super) fn join(&self, cruise: Cruise, per_m: f64) -> Option<(Script, ClimbState)> {
        let tried = self.climbs().into_iter().filter_map(|(ias, rev)| {
            let mut script = self.skeleton(ias, rev);
            script.cruise = vec![cruise];
            self.prepare(&mut script);
            let at = joined(self.p, &script).ok()?;
            let climbs = at.rate_m_s > 0.0;
            let short = if climbs {
                self.climb_rate_short(&at)
            } else {
                0.0
            };
            let worth = self.cost_of(&at.state)
                * (1.0 + CLIMB_PENALTY * (at.violation + short / (10.0 * M_S_PER_FPM)))
                - per_m * at.state.distance_m;
            Some((worth, script, at))
        });
        let best = tried.min_by(|a, b| a.0.total_cmp(&b.0));
        best.map(|(_, script, at)| (script, at))
    }

    fn plain_descent(
        &self,
        script: &Script,
        level: &LevelCost,
        per_m: f64,
    ) -> Option<descent::Candidate> {
        let p = self.p;
        let start = self.cruise_state(level.level_m, &level.options, script)?;
        let mut best: Option<descent::Candidate> = None;
        let propeller = &p.aircraft.propeller;
        let pricing = descent::Pricing::new(p, self.rates, script, start, per_m);
        // With the cruise RPM; where the propeller then drives on too hard to slow down, with the coarsest.
        for (coarse, map_in) in [false, true]
            .into_iter()
            .flat_map(|coarse| [15.0, 17.0, 19.0, 21.0].map(|map_in| (coarse, map_in)))
        {
            if coarse && best.is_some() {
                break;
            }
            for fraction in [1.0, 0.7] {
                let mut trial = script.descent;
                if propeller.is_fixed() {
                    // As far up the range of RPM as the manifold pressure is up its own, the greatest of all left to climbs.
                    let (low, high) = (
                        propeller.lowest_governed_rev_s,
                        propeller.highest_governed_rev_s,
                    );
                    trial.first.throttle = ThrottleRule::Rpm;
                    trial.first.rev_s = low + (map_in - 15.0) / 8.0 * (high - low);
                } else {
                    trial.first.throttle = ThrottleRule::Held(map_in * PA_PER_INHG);
                    if coarse {
                        trial.first.rev_s = propeller.lowest_governed_rev_s;
                    }
                }
                trial.first.path = PathRule::Rate(fraction * p.limits.max_descent_m_s);
                let Some(c) = pricing.price(trial) else {
                    continue;
                };
                let score = |c: &descent::Candidate| c.worth + 1e3 * c.violation;
                if best.as_ref().is_none_or(|b| score(&c) < score(b)) {
                    best = Some(c);
                }
            }
        }
        best
    }

    /// The flight of the first proposal of the level search that can be flown, with a plain descent, path recorded.
    fn first_flight(&self) -> Option<Flown> {
        let p = self.p;
        let levels = self.level_costs().ok()?;
        sequences(p, self.rates, &levels)
            .iter()
            .find_map(|sequence| {
                let mut script = self.with_cruise(&sequence.steps, &levels)?;
                let last_m = sequence.steps.last()?.0;
                let level = levels.iter().find(|l| (l.level_m - last_m).abs() < 1.0)?;
                let middle_m = 0.5 * p.length_m;
                let per_m = cruise::least_per_m(p, self.rates, &level.options, last_m, middle_m);
                script.descent = self.plain_descent(&script, level, per_m)?.descent;
                fly_recorded(p, &script).ok()
            })
    }

    /// A state in steady cruise some way before the pattern.
    pub(super) fn cruise_state(
        &self,
        level_m: f64,
        options: &[CruiseOption],
        script: &Script,
    ) -> Option<State> {
        let p = self.p;
        let s = (p.length_m - p.arrival.before_m - 40.0 * M_PER_NM).max(0.4 * p.length_m);
        let cruise = script.cruise.last()?;
        let levers = cruise.levers();
        let hp = p.pressure_altitude_m(s, level_m);
        let (air, _) = p.air_state(s, hp, p.time_s(s));
        let end_kg = 2.0 * self.middle_kg - self.lift_off_kg();
        let guess = options.iter().map(|o| o.tas_m_s).fold(60.0, f64::max);
        let near = Cell::new(Nearby::NONE);
        let (tas, _) = level_speed_m_s(p, air, end_kg, levers, guess, &near)?;
        Some(State {
            time_s: p.time_s(s),
            distance_m: s,
            pressure_altitude_m: hp,
            tas_m_s: tas,
            fuel_kg: self.lift_off_kg() - end_kg,
            revolutions: 0.0,
        })
    }

    /// The cheapest of the options of a level over a stretch, and its cost per metre.
    pub(super) fn best_cruise(
        &self,
        level_m: f64,
        from_m: f64,
        to_m: f64,
        options: &[CruiseOption],
    ) -> Option<(Cruise, f64)> {
        let samples: Vec<_> = (0..5)
            .map(|k| {
                let s = from_m + (to_m - from_m) * (f64::from(k) + 0.5) / 5.0;
                let hp = self.p.pressure_altitude_m(s, level_m);
                self.p.air.at(s, hp, self.p.time_s(s))
            })
            .collect();
        let price = |o: &CruiseOption| -> f64 {
            samples
                .iter()
                .map(|a| cruise::cost_per_m(self.rates, o, a))
                .sum()
        };
        let best = options
            .iter()
            .min_by(|a, b| price(a).total_cmp(&price(b)))?;
        let cruise = Cruise {
            level_m,
            from_m,
            throttle: best.levers.throttle,
            rev_s: best.levers.rev_s,
            mixture: best.levers.mixture,
            set_at_ias_m_s: 0.0,
        };
        Some((cruise, price(best) / 5.0))
    }

    /// Settings that may be cruised with at a level in the middle of the route.
    pub(super) fn options(&self, level_m: f64) -> Vec<CruiseOption> {
        cruise::options(self.p, level_m, 0.5 * self.p.length_m, self.middle_kg)
    }

    /// The script of a sequence with the best climb and cruise of the cost field.
    fn with_cruise(&self, steps: &[(f64, f64)], levels: &[LevelCost]) -> Option<Script> {
        let p = self.p;
        let find = |m: f64| levels.iter().find(|l| (l.level_m - m).abs() < 1.0);
        let mut script: Option<Script> = None;
        let mut cruises = Vec::new();
        for (i, &(level_m, from_m)) in steps.iter().enumerate() {
            let level = find(level_m)?;
            let to_m = steps.get(i + 1).map_or(p.length_m, |n| n.1);
            let (cruise, per_m) = self.best_cruise(level_m, from_m, to_m, &level.options)?;
            cruises.push(cruise);
            if script.is_none() && p.start != Start::Ground {
                script = Some(self.join(cruise, per_m)?.0);
            }
            if script.is_none() {
                let worth = |(ias, rev): (f64, f64)| {
                    let s = self.skeleton(ias, rev);
                    match climb_states(p, &s, &[level_m]).first() {
                        Some(at) => {
                            let short = self.climb_rate_short(at) / (10.0 * M_S_PER_FPM);
                            self.cost_of(&at.state) * (1.0 + CLIMB_PENALTY * (at.violation + short))
                                - per_m * at.state.distance_m
                        }
                        None => f64::INFINITY,
                    }
                };
                let (ias, rev) = self
                    .climbs()
                    .into_iter()
                    .map(|c| (c, worth(c)))
                    .min_by(|a, b| a.1.total_cmp(&b.1))?
                    .0;
                script = Some(self.skeleton(ias, rev));
            }
        }
        let mut script = script?;
        script.cruise = cruises;
        let last = *script.last_cruise();
        script.descent.first.rev_s = last.rev_s;
        script.descent.first.mixture = last.mixture;
        self.prepare(&mut script);
        Some(script)
    }

    /// Derived entries of a script: the speed at which cruise power is set, and a throttle left alone at its cruise setting.
    pub(super) fn prepare(&self, script: &mut Script) {
        let p = self.p;
        for c in &mut script.cruise {
            // What full throttle does not give cannot be set: it is full throttle, and told as that.
            let from_m = c.from_m.max(0.1 * p.length_m);
            if matches!(c.throttle, Throttle::Map(pa) if pa > cruise::full_throttle_pa(p, from_m, c.level_m, c.rev_s))
            {
                c.throttle = Throttle::Full;
            }
        }
        keep_tied(script);
        self.call_full_throttle_so(script);
        let climb = Levers {
            throttle: Throttle::Full,
            rev_s: script.climb.rev_s,
            mixture: p.aircraft.engine.best_power_mixture(),
        };
        for c in &mut script.cruise {
            let s = if c.from_m > 0.0 {
                c.from_m
            } else {
                0.1 * p.length_m
            };
            let cruise = self.steady_ias_m_s(c.levers(), c.level_m, s);
            let at_climb_power = self.steady_ias_m_s(climb, c.level_m, s);
            let speed = match (cruise, at_climb_power) {
                (Some(a), Some(b)) => a.min(b - SET_BEFORE_M_S),
                (Some(a), None) | (None, Some(a)) => a,
                (None, None) => 0.0,
            };
            c.set_at_ias_m_s = ((speed - SET_BEFORE_M_S) / M_S_PER_KT).floor() * M_S_PER_KT;
        }
    }

    /// Indicated airspeed [m/s] of steady flight at a level \[m\] and distance \[m\] with the mass of lift-off; `None` where there is none.
    fn steady_ias_m_s(&self, levers: Levers, level_m: f64, distance_m: f64) -> Option<f64> {
        let [kind, figure] = levers.throttle.bits();
        let asked = [
            kind,
            figure,
            levers.rev_s.to_bits(),
            levers.mixture as u64,
            level_m.to_bits(),
            distance_m.to_bits(),
        ];
        if let Some(&known) = self.steady.borrow().get(&asked) {
            return known;
        }
        let p = self.p;
        let hp = p.pressure_altitude_m(distance_m, level_m);
        let (air, _) = p.air_state(distance_m, hp, p.time_s(distance_m));
        let guess = p.aircraft.tas_from_ias(air, p.aircraft.speeds.vno_m_s);
        let near = Cell::new(Nearby::ROUGHLY);
        let found = level_speed_m_s(p, air, self.lift_off_kg(), levers, guess, &near)
            .map(|(v, _)| p.aircraft.ias_from_tas(air, v));
        self.steady.borrow_mut().insert(asked, found);
        found
    }

    /// Descent candidates, those in two parts with them where all are wanted; sequences that end in the same cruise share them.
    fn descents(
        &self,
        script: &Script,
        start: State,
        per_m: f64,
        all: bool,
    ) -> Vec<descent::Candidate> {
        let Some(last) = script.cruise.last().copied() else {
            return vec![];
        };
        if let Some(known) = self.priced.borrow().iter().find(|k| k.begins_in(&last)) {
            return known.found.clone();
        }
        let pricing = descent::Pricing::new(self.p, self.rates, script, start, per_m);
        // The descent from one cruise is much like that from another, unless limits are hard to keep.
        let kept = |found: &Vec<descent::Candidate>| found.iter().any(|c| c.violation == 0.0);
        let near = self
            .priced
            .borrow()
            .iter()
            .find(|known| kept(&known.found))
            .map(|known| pricing.search_near(&known.cruise, &known.found));
        let near = near.filter(kept);
        let found = near.unwrap_or_else(|| {
            if all {
                pricing.search()
            } else {
                pricing.search_quickly()
            }
        });
        self.priced.borrow_mut().push(Priced {
            cruise: last,
            found: found.clone(),
            anew: false,
        });
        found
    }

    /// What the whole search finds from a cruise, searched once for each.
    fn descents_anew(&self, pricing: &descent::Pricing, last: &Cruise) -> Vec<descent::Candidate> {
        let known = self
            .priced
            .borrow()
            .iter()
            .find(|k| k.anew && k.begins_in(last))
            .map(|k| k.found.clone());
        known.map_or_else(
            || {
                let found = pricing.search();
                self.priced.borrow_mut().push(Priced {
                    cruise: *last,
                    found: found.clone(),
                    anew: true,
                });
                found
            },
            // Distance may be worth a little more or less than it was.
            |found| pricing.again(&found),
        )
    }

    /// A settled flight with its descent looked for again from the cruise it was settled to, and settled from there while that is better:
    /// from every start where the cruise is another than it was, else by walks.
    fn descent_again(&self, pilot: &Pilot, mut best: Flown, mut from: Option<Cruise>) -> Flown {
        for _ in 0..MOST_AGAIN {
            let last = *best.script.last_cruise();
            let anew = from.is_none_or(|c| !same_setting(&c, &last));
            from = Some(last);
            let Some(better) = self.descent_better(pilot, &best, anew) else {
                break;
            };
            best = better;
        }
        best
    }

    fn descent_better(&self, pilot: &Pilot, best: &Flown, anew: bool) -> Option<Flown> {
        let p = self.p;
        let script = best.script_free();
        let last = *script.cruise.last()?;
        let start = self.cruise_state(last.level_m, &[], &script)?;
        let sample = p
            .air
            .at(start.distance_m, start.pressure_altitude_m, start.time_s);
        let ground_speed = cruise::ground_speed_m_s(start.tas_m_s, &sample);
        let per_m = self.rates.rate(best.cruise_fuel_kg_s, last.rev_s) / ground_speed;
        let pricing = descent::Pricing::new(p, self.rates, &script, start, per_m);
        let settled = pricing
            .better(
                &script.descent,
                anew.then(|| self.descents_anew(&pricing, &last)),
            )
            .into_iter()
            .filter_map(|found| {
                let trial = Script {
                    descent: found.descent,
                    ..script.clone()
                };
                settle(pilot, &trial, &|s| self.prepare(s)).ok()
            });
        settled
            .min_by(|a, b| Pilot::charged(a).total_cmp(&Pilot::charged(b)))
            .filter(|f| Pilot::charged(f) < Pilot::charged(best))
    }

    /// A throttle left alone where it gives as much as full throttle does is full throttle.
    fn call_full_throttle_so(&self, script: &mut Script) {
        let p = self.p;
        let (Some(last), ThrottleRule::LeftAlone(map)) =
            (script.cruise.last(), script.descent.first.throttle)
        else {
            return;
        };
        let rev_s = script.descent.first.rev_s;
        let full = cruise::full_throttle_pa(p, 0.8 * p.length_m, last.level_m, rev_s);
        if last.throttle == Throttle::Full && map > full - 0.5 * p.aircraft.procedures.map_step_pa {
            script.descent.first.throttle = ThrottleRule::Full;
        }
    }

    /// The best rounded flight of one sequence, or the limits that were in the way.
    fn fly_sequence(
        &self,
        pilot: &Pilot,
        levels: &[LevelCost],
        sequence: &Sequence,
        starts: usize,
    ) -> Result<Flown, Vec<Limit>> {
        let p = self.p;
        let Some(script) = self.with_cruise(&sequence.steps, levels) else {
            return Err(vec![]);
        };
        let last_level = sequence.steps[sequence.steps.len() - 1].0;
        let level = levels
            .iter()
            .find(|l| (l.level_m - last_level).abs() < 1.0)
            .ok_or(vec![])?;
        let Some(start) = self.cruise_state(last_level, &level.options, &script) else {
            return Err(vec![]);
        };
        let per_m =
            cruise::least_per_m(p, self.rates, &level.options, last_level, start.distance_m);
        let candidates = self.descents(&script, start, per_m, pilot.keeps());
        let prepare = |s: &mut Script| self.prepare(s);
        let mut best: Option<Flown> = None;
        let mut broken = Vec::new();
        // As many clean as with the gear down, so that a permission takes nothing away.
        let mut kept = [0; 2];
        for (i, candidate) in candidates.iter().enumerate() {
            let kept = &mut kept[usize::from(candidate.descent.last().gear_down)];
            // The later ones are for where the first cannot be flown.
            if *kept == starts || (*kept > 0 && i >= MOST_STARTS) {
                continue;
            }
            let mut trial = script.clone();
            trial.descent = candidate.descent;
            let trial = rounded(p, &trial);
            match settle(pilot, &trial, &prepare) {
                Ok(f) => {
                    *kept += 1;
                    if best
                        .as_ref()
                        .is_none_or(|b| Pilot::charged(&f) < Pilot::charged(b))
                    {
                        best = Some(f);
                    }
                }
                Err(in_the_way) => broken.extend(in_the_way),
            }
        }
        best.ok_or(broken)
    }

    /// Cruise RPM, MAP reduced to hold the cruise IAS at 500 fpm (or the trip's rate if less): everything else as in the plan. At
    /// fixed pitch the RPM is reduced.
    pub(super) fn ordinary(&self, pilot: &Pilot, plan: &Flown) -> Option<Flown> {
        self.reduced(
            pilot,
            &plan.script_free(),
            plan.top_of_descent,
            ORDINARY_M_S,
        )
    }

    /// The same at another rate \[m/s\] for a script that starts down near a mark.
    pub(super) fn reduced(
        &self,
        pilot: &Pilot,
        script: &Script,
        start: Mark,
        rate_m_s: f64,
    ) -> Option<Flown> {
        let p = self.p;
        let mut script = script.clone();
        let last = *script.cruise.last()?;
        let hp = 0.5
            * (p.pressure_altitude_m(start.distance_m, last.level_m)
                + p.pressure_altitude_m(p.length_m, p.arrival.pattern_altitude_m));
        let rate = rate_m_s.min(p.limits.max_descent_m_s);
        let cruise_hp = p.pressure_altitude_m(start.distance_m, last.level_m);
        let (cruise_air, _) = p.air_state(start.distance_m, cruise_hp, start.time_s);
        let mass = self.lift_off_kg() - start.fuel_kg;
        let levers = last.levers();
        let near = Cell::new(Nearby::NONE);
        let (tas, _) = level_speed_m_s(p, cruise_air, mass, levers, 75.0, &near)?;
        let ias = p.aircraft.ias_from_tas(cruise_air, tas);
        // MAP, or RPM at fixed pitch, for that IAS at that rate, half-way down.
        let half_way_m = p.length_m - 30.0 * M_PER_NM;
        let (air, sample) = p.air_state(half_way_m, hp, p.time_s(half_way_m));
        let v = p.aircraft.tas_from_ias(air, ias);
        let needed = needed_thrust_n(
            p,
            air,
            &sample,
            hp,
            (v, rate),
            (mass, Configuration::default()),
        );
        let fixed = p.aircraft.propeller.is_fixed();
        let procedures = &p.aircraft.procedures;
        let (step, least) = if fixed {
            (
                procedures.rev_step_s,
                p.aircraft.propeller.lowest_governed_rev_s,
            )
        } else {
            (procedures.map_step_pa, p.limits.least_map_pa)
        };
        let first = to_step(reading_for(p, air, v, levers, needed), step).max(least);
        let held = |reading: f64, path: PathRule| Descent {
            first: DescentPart {
                throttle: if fixed {
                    ThrottleRule::Rpm
                } else {
                    ThrottleRule::Held(reading)
                },
                rev_s: if fixed { reading } else { last.rev_s },
                mixture: last.mixture,
                path,
                gear_down: false,
            },
            second: None,
            reduce_at_m: p.arrival.pattern_altitude_m,
            to_go_m: f64::NAN,
            circle: circling::over_destination(p),
        };
        // With so little power at cruise RPM the blades may reach the fine stop and the RPM sag: harmless, and flown so.
        let keeps = |flown: &Flown| flown.audit.broken().iter().all(|&l| l == Limit::Governor);
        // Slower where the air does not allow that speed, and gentler where it is not slow enough.
        for share in [1.0, 0.8, 0.6, 0.4] {
            let mut reading = first;
            while reading >= least - 1e-6 {
                script.descent = held(reading, PathRule::Rate(share * rate));
                if let Some(flown) = pilot.fly(&script).filter(keeps) {
                    return Some(flown);
                }
                reading -= step;
            }
        }
        // Or slowed down level first to the speed the air allows all the way, and then down with it.
        let fastest = descent::fastest_all_the_way_m_s(p, last.level_m, mass);
        for slower in [0.0, 1.0, 2.0] {
            let speed = fastest - slower * p.aircraft.procedures.speed_step_m_s;
            let mut reading = least;
            while reading <= first + step {
                script.descent = held(reading, PathRule::Ias(speed));
                if let Some(flown) = pilot.fly(&script).filter(keeps) {
                    return Some(flown);
                }
                reading += step;
            }
        }
        None
    }

    /// The plan of a flight, alternatives and flights flown left open.
    pub(super) fn finished(&self, draft: Draft) -> (Plan, Workings) {
        let (p, flown) = (self.p, draft.flown);
        let totals = totals(p, &flown);
        let path = ideal::ideal(p, self.rates, &flown);
        let (script, converged) = draft.unrounded.unzip();
        let converged = converged.unwrap_or(false);
        let unrounded = before_rounding(p, script, &flown);
        let mut warnings = warnings(p, &flown, &totals, &draft.mismatch);
        if !converged {
            warnings.push(Warning::NotConverged);
        }
        let plan = Plan {
            objective: p.objective,
            objective_value: flown.cost,
            unrounded_value: unrounded.cost.min(flown.cost),
            binding: flown.audit.binding(),
            ideal: self.ideal_of(&flown, path),
            flown,
            totals,
            reflight: draft.mismatch,
            alternatives: vec![],
            left_out: vec![],
            sensitivity: vec![],
            later: vec![],
            alternate: None,
            warnings,
            termination: if converged {
                Termination::Converged
            } else {
                Termination::StepsExhausted
            },
            flights: draft.flights,
        };
        let workings = Workings {
            unrounded,
            ideal: path,
        };
        (plan, workings)
    }

    /// The ideal flight beside a flight.
    pub(super) fn ideal(&self, flown: &Flown) -> Ideal {
        self.ideal_of(flown, ideal::ideal(self.p, self.rates, flown))
    }

    /// The ideal flight's figures over the flown part: outside what it optimises it is the plan's own.
    fn ideal_of(&self, plan: &Flown, path: Option<Part>) -> Ideal {
        let (time_s, fuel_kg, cost) = match (path, open_part(self.p, plan)) {
            (Some(i), Some(own)) => (
                plan.time_s - own.time_s + i.time_s,
                plan.fuel_kg - own.fuel_kg + i.fuel_kg,
                plan.cost - own.cost + i.cost,
            ),
            _ => (plan.time_s, plan.fuel_kg, plan.cost),
        };
        let per_s = match self.p.prices.basis {
            HourBasis::Tachometer(_) => 0.0,
            _ => self.p.prices.per_s,
        };
        Ideal {
            objective_value: cost,
            money: if self.p.objective == Objective::Money {
                cost
            } else {
                per_s * time_s + self.p.prices.fuel_per_kg * fuel_kg
            },
            time_s,
            fuel_kg,
            margin: plan.cost / cost - 1.0,
        }
    }

    /// Why no sequence can be flown.
    fn why_not(&self, broken: Vec<Limit>) -> SolveError {
        let mut limits: Vec<Limit> = Limit::ALL
            .into_iter()
            .filter(|l| broken.contains(l))
            .collect();
        let short_of_fuel = limits.contains(&Limit::Fuel) && limits.len() <= 2;
        if short_of_fuel && let Some((required_kg, reserve_s)) = self.thriftiest() {
            let gal = self.p.aircraft.fuel.density_kg_m3 * crate::quantity::M3_PER_GAL;
            return SolveError::Fuel {
                required_gal: required_kg / gal,
                on_board_gal: self.p.fuel_kg / gal,
                reserve_min: reserve_s / 60.0,
            };
        }
        if limits.is_empty() {
            limits.push(Limit::Distance);
        }
        let mut words = in_words(&limits);
        if limits.contains(&Limit::Forbidden) {
            words.push_str(&format!(" ({})", self.p.forbidden_names().join(", ")));
        }
        let ways: Vec<&str> = limits.iter().map(|l| l.way_out()).collect();
        SolveError::Infeasible {
            limits: words,
            ways: ways.join("; "),
        }
    }

    /// Fuel the thriftiest plan needs with the reserve, with the tanks as full as they can be for the question's sake.
    fn thriftiest(&self) -> Option<(f64, f64)> {
        let mut p = self.p.clone();
        p.objective = Objective::Fuel;
        p.limits.reserve_s = 0.0;
        p.limits.reserve_kg = 0.0;
        p.zero_fuel_kg += p.fuel_kg - 2.0 * p.aircraft.fuel.usable_kg;
        p.fuel_kg = 2.0 * p.aircraft.fuel.usable_kg;
        let rates = p.cost_rates();
        let search = Search::new(&p, rates);
        let levels = search.level_costs().ok()?;
        let pilot = Pilot::new(&p);
        let sequence = sequences(&p, rates, &levels).into_iter().next()?;
        let flown = search.fly_sequence(&pilot, &levels, &sequence, 1).ok()?;
        let t = totals(&p, &flown);
        Some((
            t.block_fuel_kg + t.alternate_kg + self.p.reserve_kg(flown.cruise_fuel_kg_s),
            self.p.reserve_kg(flown.cruise_fuel_kg_s) / flown.cruise_fuel_kg_s,
        ))
    }
}

impl Flown {
    /// The script with its top of descent left open again.
    pub(super) fn script_free(&self) -> Script {
        let mut script = self.script.clone();
        script.descent.to_go_m = f64::NAN;
        script
    }
}
