//! From a problem to a plan: the level sequences proposed are flown, the best is refined and rounded, and what stays is flown as a plan is. The
//! parts are the script and its derived entries ([`script`]), what each level costs ([`level_costs`]), a sequence flown ([`sequence`]), descents
//! ([`descents`]), the ordinary one ([`ordinary`]), what was found flown as a plan is ([`as_it_will_be`]), totals and warnings
//! ([`mod@totals`]), the plan of a flight ([`finished`]), and why there is none ([`no_plan`]).

mod as_it_will_be;
mod descents;
mod finished;
mod level_costs;
mod no_plan;
mod ordinary;
mod script;
mod sequence;
mod totals;

pub use no_plan::SolveError;
pub(super) use ordinary::ORDINARY_M_S;
pub use totals::totals;
pub(super) use totals::{alternative, confirmed_flight, past_forecast_s, reflown, warnings};

use super::circling;
use super::cruise::CruiseOption;
use super::descent::DescentFlown;
use super::levels::{LevelCost, Sequence, sequences};
use super::plan::{Draft, Plan, Workings};
use super::refine::{Pilot, Reach, continuous, rounded, settle, settle_within};
use super::reserve;
use super::why::same_levels;
use crate::flight::{Cruise, Flown, Limit, Script};
use crate::quantity::M_PER_FT;
use crate::trip::{CostRates, Problem};
use descents::{Priced, same_setting};
use level_costs::ClimbFlown;
use no_plan::ways_to_a_level;
use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

/// Level sequences that are flown in full.
const SEQUENCES: usize = 3;
/// So many more of them at most are tried where none of those can be flown, or where what can be is dearer than they are in the search's own model.
const MORE_SEQUENCES: usize = 8;
/// A sequence dearer than the cheapest by this share in the search's own model is not flown.
const SEQUENCE_WINDOW: f64 = 0.012;
/// Flights of sequences so much dearer than the cheapest, as a share beyond what the cheapest gains by it, have descent and climb looked for again
/// too; so many at most.
const COMES_CLOSE: f64 = 2e-3;
const MOST_CLOSE: usize = 2;
/// A proposal may cost so much less than it promises, a share: the error of the level search in trips where limits bend flights.
const PROMISE_ERROR: f64 = 3e-3;
/// Where fuel costs nothing, as in least time, proposals are charged this share of what time costs for it: of settings that are as good as equally quick the thriftiest is the
/// best start, for a lighter aeroplane is quicker. The best proposal is flown without it too.
const THRIFT: f64 = 0.01;
/// Descents that are tried while more than one start is wanted.
const MOST_STARTS: usize = 3;
/// The schedule has settled when the time of the flight changes by less than this share (DESIGN section 6.4).
const SCHEDULE_SHARE: f64 = 1e-3;
/// Flights on the way to it.
const MOST_SCHEDULES: usize = 6;

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

/// The problem on the clock of a flight: the cheapest the level search proposes, with a plain descent, on the clock of which proposals
/// are made again until it no longer changes or has been had before. What each level costs is found once: the minutes by which the first
/// guess of the clock is wrong change a proposal little. As it is in air that does not change.
pub fn on_schedule(problem: &Problem) -> Cow<'_, Problem> {
    let mut scheduled = Cow::Borrowed(problem);
    if problem.air.is_steady() {
        return scheduled;
    }
    let search = Search::new(problem, problem.cost_rates());
    let Ok(levels) = search.level_costs() else {
        return scheduled;
    };
    let mut before: Vec<Script> = Vec::new();
    while before.len() < MOST_SCHEDULES {
        let Some(flown) = search.on(&scheduled).first_flight(&levels) else {
            break;
        };
        let change_s = (flown.time_s - scheduled.time_s(problem.length_m)).abs();
        set_clock(&mut scheduled, &flown);
        if change_s < SCHEDULE_SHARE * flown.time_s || before.contains(&flown.script) {
            break;
        }
        before.push(flown.script);
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
    Search::proposing(problem).plan_with(&Pilot::new(problem), seeds)
}

/// What a proposal may cost to be flown beside one that costs so much.
fn within_window(cost: f64) -> f64 {
    cost + SEQUENCE_WINDOW * cost.abs()
}

/// How many of the proposals, which come the cheapest first, are flown in any case.
fn nearest(proposals: &[Sequence]) -> usize {
    let window = proposals.first().map_or(0.0, |p| within_window(p.cost));
    proposals
        .iter()
        .take(SEQUENCES)
        .take_while(|s| s.cost <= window)
        .count()
}

fn every_leg_has_a_level(problem: &Problem) -> Result<(), SolveError> {
    let without = problem
        .legs
        .iter()
        .zip(&problem.levels)
        .find(|(_, levels)| levels.levels_m.is_empty());
    without.map_or(Ok(()), |(leg, _)| {
        Err(SolveError::NoLevel {
            from: leg.from.clone(),
            to: leg.to.clone(),
            minimum_ft: leg.minimum_m / M_PER_FT,
            maximum_ft: problem.ceiling_m(leg.from_m) / M_PER_FT,
            course_deg: leg.magnetic_rad.to_degrees(),
            ways: ways_to_a_level(problem, leg),
        })
    })
}

/// What the level search proposes, and what was flown of it and of scripts besides.
pub(super) struct Proposed {
    levels: Vec<LevelCost>,
    /// The cheapest first.
    proposals: Vec<Sequence>,
    /// Settled, the cheapest first.
    flown: Vec<(Sequence, Flown)>,
    /// Limits in the way of the rest.
    broken: Vec<Limit>,
}

impl Proposed {
    /// The cheapest of those flown.
    pub(super) fn best(&self) -> Option<&Flown> {
        self.flown.first().map(|f| &f.1)
    }
}

impl Search<'_> {
    /// [`plan_from`] with a pilot of the caller's. What is proposed is priced as the search prices, what is flown as the problem says.
    pub(super) fn plan_with(&self, pilot: &Pilot, seeds: &[Script]) -> Result<Draft, SolveError> {
        self.completed(pilot, &self.proposed(pilot, seeds)?)
    }

    /// Flies what the level search proposes, and some scripts more.
    pub(super) fn proposed(&self, pilot: &Pilot, seeds: &[Script]) -> Result<Proposed, SolveError> {
        every_leg_has_a_level(self.p)?;
        let levels = self.level_costs()?;
        let proposals = sequences(self.p, self.rates, &levels);
        let mut broken = Vec::new();
        let mut flown = self.fly_proposals(pilot, &levels, &proposals, &mut broken);
        for seed in seeds {
            match settle(pilot, seed, &|s| self.prepare(s)) {
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
        let charged = |f: &(Sequence, Flown)| Pilot::charged(&f.1);
        if self.thrifty
            && let Some((sequence, _)) = flown
                .iter()
                .min_by(|a, b| charged(a).total_cmp(&charged(b)))
            && let Some(other) = self.fly_without_thrift(pilot, &levels, sequence)
        {
            flown.push((sequence.clone(), other));
        }
        flown.sort_by(|a, b| charged(a).total_cmp(&charged(b)));
        Ok(Proposed {
            levels,
            proposals,
            flown,
            broken,
        })
    }

    /// The best of what was flown, completed, refined and flown as a plan is.
    pub(super) fn completed(
        &self,
        pilot: &Pilot,
        proposed: &Proposed,
    ) -> Result<Draft, SolveError> {
        let levels = &proposed.levels;
        let (mut flown, mut broken) = (proposed.flown.clone(), proposed.broken.clone());
        let Some((chosen, best, searched)) = self.best_completed(pilot, levels, &flown) else {
            return Err(self.why_not(broken));
        };
        flown[..=chosen].rotate_right(1);
        let (best, unrounded) = self.refined(pilot, best, searched);
        let far = &proposed.proposals[nearest(&proposed.proposals)..];
        let Some((final_flown, mismatch)) =
            self.flown_as_it_will_be(pilot, levels, &best, &flown, far, &mut broken)
        else {
            return Err(self.why_not(broken));
        };
        Ok(Draft {
            unrounded: unrounded.filter(|_| same_levels(&final_flown.script, &best.script)),
            flown: final_flown,
            mismatch,
            others: flown.into_iter().map(|(_, f)| f).collect(),
            flights: pilot.flights(),
            tried: pilot.tried(),
        })
    }

    /// Flights of the cheapest few proposals, and of the cheapest that holds one level, which a flight is most sure to have room for, unless the reserve's
    /// search follows and is where the best will be found; then, up to as many in all, of those near the cheapest flown, and, while
    /// none is as cheap as they promise or nearly so, of some of the rest, one level before several. Limits in the way are added to those that are broken. A pilot
    /// that keeps what it passes by flies for one search of many: where one level is missed another search has it.
    fn fly_proposals(
        &self,
        pilot: &Pilot,
        levels: &[LevelCost],
        proposals: &[Sequence],
        broken: &mut Vec<Limit>,
    ) -> Vec<(Sequence, Flown)> {
        let (near, far) = proposals.split_at(nearest(proposals));
        let alone = |s: &&Sequence| s.steps.len() == 1;
        let single = if near.iter().any(|s| s.steps.len() == 1) {
            None
        } else {
            far.iter().find(alone)
        };
        let rest = far
            .iter()
            .filter(alone)
            .chain(far.iter().filter(|s| s.steps.len() > 1))
            .filter(|s| Some(*s) != single);
        let mut flown: Vec<(Sequence, Flown)> = Vec::new();
        let mut fly =
            |sequence: &Sequence, starts: usize, flown: &mut Vec<(Sequence, Flown)>| match self
                .fly_sequence(pilot, levels, sequence, starts)
            {
                Ok(f) => flown.push((sequence.clone(), f)),
                Err(b) => broken.extend(b),
            };
        let least = |flown: &[(Sequence, Flown)]| {
            flown
                .iter()
                .map(|(_, f)| f.cost)
                .fold(f64::INFINITY, f64::min)
        };
        for sequence in near.iter().chain(single) {
            if self.left_to_the_reserve(pilot, least(&flown)) {
                break;
            }
            let starts = if flown.is_empty() { MOST_STARTS } else { 1 };
            fly(sequence, starts, &mut flown);
        }
        // Where the cheapest proposals prove dearer than another, those near that are as likely.
        let charged = |f: &(Sequence, Flown)| Pilot::charged(&f.1);
        let best = flown
            .iter()
            .min_by(|a, b| charged(a).total_cmp(&charged(b)))
            .filter(|_| !pilot.keeps());
        let unflown = far.iter().filter(|s| Some(*s) != single);
        let likely: Vec<&Sequence> = match best {
            Some((s, f)) => unflown
                .take_while(|other| other.cost <= within_window(s.cost))
                .filter(|other| self.promises_less(other, f, -2.0 * PROMISE_ERROR))
                .take(SEQUENCES.saturating_sub(flown.len()))
                .collect(),
            None => vec![],
        };
        for &sequence in &likely {
            if self.left_to_the_reserve(pilot, least(&flown)) {
                break;
            }
            fly(sequence, 1, &mut flown);
        }
        let rest = rest.filter(|s| !likely.contains(s));
        let mut more = 0;
        for sequence in rest {
            if self.left_to_the_reserve(pilot, least(&flown)) {
                break;
            }
            let beaten = flown
                .iter()
                .any(|(_, f)| !self.promises_less(sequence, f, -PROMISE_ERROR));
            if beaten || pilot.keeps() && !flown.is_empty() {
                continue;
            }
            fly(sequence, 1, &mut flown);
            more += 1;
            if more == MORE_SEQUENCES {
                break;
            }
        }
        flown
    }

    /// Whether the least cost of what was flown is so much more than that of what breaks the reserve alone that [`reserve`](super::reserve) will look
    /// for the best at the prices of that, of which this search knows nothing.
    fn left_to_the_reserve(&self, pilot: &Pilot, least: f64) -> bool {
        self.reserve_follows && reserve::matters(least, pilot.cheapest_short_of_fuel())
    }

    /// The flight of a sequence as the objective alone would have its cruise set, where that is another setting than the thrifty one.
    fn fly_without_thrift(
        &self,
        pilot: &Pilot,
        levels: &[LevelCost],
        sequence: &Sequence,
    ) -> Option<Flown> {
        let plain = self.at_prices(self.p, self.p.cost_rates());
        let [thrifty, quickest] =
            [self, &plain].map(|search| search.with_cruise(&sequence.steps, levels));
        let (thrifty, quickest) = (thrifty?, quickest?);
        let mut pairs = thrifty.cruise.iter().zip(&quickest.cruise);
        if pairs.all(|(a, b)| same_setting(a, b)) {
            return None;
        }
        plain.fly_down_from(pilot, levels, &quickest, 1).ok()
    }

    /// Whether a proposal promises to cost less than a flight, by more than a share of it and at the prices of the search. It is reckoned in
    /// the level search's own model, and what that leaves out is as the flight has it: from pattern speed to the landing, beyond cruising as far.
    fn promises_less(&self, sequence: &Sequence, flown: &Flown, by: f64) -> bool {
        let time_s = flown.time_s - flown.slowed.time_s;
        let fuel_kg = flown.fuel_kg - flown.slowed.fuel_kg;
        let revolutions = flown.revolutions * time_s / flown.time_s;
        let distance_m = self.p.length_m - flown.slowed.distance_m;
        let whole = self
            .rates
            .of(flown.time_s, flown.fuel_kg, flown.revolutions);
        let left_out =
            self.rates.of(time_s, fuel_kg, revolutions) - whole * distance_m / self.p.length_m;
        let charged = Pilot::charged(flown) * (whole / flown.cost);
        sequence.cost + left_out < charged * (1.0 - by)
    }

    /// The best of some flights, the cheapest first, with its descent searched again and perhaps a second climb speed; which it is, and the cruise
    /// from which the descent was searched. What comes close may be the better one once descent and climb are as good as they can be.
    fn best_completed(
        &self,
        pilot: &Pilot,
        levels: &[LevelCost],
        flown: &[(Sequence, Flown)],
    ) -> Option<(usize, Flown, Cruise)> {
        let completed = |f: &Flown| {
            let f = self.descent_again(pilot, f.clone(), None);
            let searched = *f.script.last_cruise();
            (self.with_second_speed(pilot, levels, f), searched)
        };
        let least = Pilot::charged(&flown.first()?.1);
        let mut best: Option<(usize, Flown, Cruise)> = None;
        // Another may gain by it what the best did.
        let mut close = least + COMES_CLOSE * least.abs();
        for (i, (_, f)) in flown
            .iter()
            .enumerate()
            .take(if pilot.keeps() { 1 } else { MOST_CLOSE })
        {
            let before = Pilot::charged(f);
            if before > close {
                break;
            }
            let (f, searched) = completed(f);
            let after = Pilot::charged(&f);
            close += before - after;
            if best
                .as_ref()
                .is_none_or(|(_, b, _)| after < Pilot::charged(b))
            {
                best = Some((i, f, searched));
            }
        }
        best
    }

    /// The best of the proposals, its descent searched again from the cruise `searched`, with its continuous choices refined and rounded again;
    /// and its script before rounding, with whether that search ended by itself.
    fn refined(
        &self,
        pilot: &Pilot,
        best: Flown,
        searched: Cruise,
    ) -> (Flown, Option<(Script, bool)>) {
        let tie = |script: &mut Script| self.prepare(script);
        let unrounded = continuous(pilot, &best.script_free(), &tie);
        let again = unrounded
            .as_ref()
            .and_then(|(script, _)| settle(pilot, &rounded(self.p, script), &tie).ok());
        let best = again
            .filter(|a| Pilot::charged(a) < Pilot::charged(&best))
            .unwrap_or(best);
        // What was chosen since it was last settled may have moved the rest; each neighbour is judged by its own flight.
        pilot.tries_all_again();
        let best = settle_within(pilot, &best.script_free(), &tie, Reach::THOROUGH)
            .ok()
            .filter(|s| Pilot::charged(s) < Pilot::charged(&best))
            .unwrap_or(best);
        let best = if same_setting(&searched, best.script.last_cruise()) {
            best
        } else {
            self.descent_again(pilot, best, Some(searched))
        };
        (best, unrounded)
    }
}

/// Fuel flow [kg/s] at 65 % power, as a first guess: 0.27 kg/kWh (0.44 lb/hp/h; common practice, no source).
pub(super) fn guessed_flow_kg_s(p: &Problem) -> f64 {
    0.65 * f64::from(p.aircraft.engines) * p.aircraft.engine.spec.rated_power_w * 7.5e-8
}

/// Mass in the middle of the route \[kg\], as a first guess: the flights find their own.
pub(super) fn middle_kg(p: &Problem) -> f64 {
    let burn = guessed_flow_kg_s(p) * p.length_m / 70.0;
    p.zero_fuel_kg + p.fuel_kg - p.aircraft.procedures.taxi_fuel_kg - 0.5 * burn.min(p.fuel_kg)
}

/// The search of one problem: what it found out so far.
pub(super) struct Search<'a> {
    pub(super) p: &'a Problem,
    pub(super) rates: CostRates,
    /// Whether fuel is in them that the objective does not ask for ([`THRIFT`]).
    thrifty: bool,
    /// Whether [`reserve`](super::reserve) goes on with what this search leaves.
    reserve_follows: bool,
    /// Mass at the middle of the route, kg.
    middle_kg: f64,
    /// Descents priced so far, by the cruise they begin from.
    priced: RefCell<Vec<Priced>>,
    unpriced: Rc<Unpriced>,
}

/// What searches found out that no price changes, and another clock hardly.
#[derive(Default)]
struct Unpriced {
    /// Settings that may be cruised with in the middle of the route, by level.
    options: RefCell<HashMap<u64, Rc<[CruiseOption]>>>,
    /// The climbs to try, where one was asked for.
    climbs: RefCell<Option<Rc<[ClimbFlown]>>>,
    /// Plain descents, by level and cruise.
    plain: RefCell<HashMap<[u64; 5], Vec<DescentFlown>>>,
    /// Steady indicated airspeeds \[m/s\] at the mass of lift-off, by levers, level and distance.
    steady: RefCell<HashMap<[u64; 6], Option<f64>>>,
}

impl<'a> Search<'a> {
    pub(super) fn new(p: &'a Problem, rates: CostRates) -> Self {
        Self {
            p,
            rates,
            thrifty: false,
            reserve_follows: false,
            middle_kg: middle_kg(p),
            priced: RefCell::new(vec![]),
            unpriced: Rc::default(),
        }
    }

    /// A search whose proposals are to be flown: where the objective does not ask for fuel it asks for a little, [`THRIFT`].
    pub(super) fn proposing(p: &'a Problem) -> Self {
        let mut rates = p.cost_rates();
        if rates.per_kg <= 0.0 {
            let per_s = rates.rate(0.0, p.aircraft.engine.spec.rated_rev_s);
            rates.per_kg = THRIFT * per_s / guessed_flow_kg_s(p);
            return Self {
                thrifty: true,
                ..Self::new(p, rates)
            };
        }
        Self::new(p, rates)
    }

    /// The same where [`reserve`](super::reserve) goes on with what is left.
    pub(super) fn before_the_reserve(self) -> Self {
        Self {
            reserve_follows: true,
            ..self
        }
    }

    /// A search of the same problem at other prices, which has what is known at any; or on another clock, to which that is near.
    pub(super) fn at_prices<'b>(&self, p: &'b Problem, rates: CostRates) -> Search<'b> {
        Search {
            p,
            rates,
            thrifty: false,
            reserve_follows: false,
            middle_kg: self.middle_kg,
            priced: RefCell::default(),
            unpriced: Rc::clone(&self.unpriced),
        }
    }

    /// The same search of the same problem on another clock.
    fn on<'b>(&self, p: &'b Problem) -> Search<'b> {
        self.at_prices(p, self.rates)
    }

    /// Mass at the middle of the route, kg.
    pub(super) fn middle_kg(&self) -> f64 {
        self.middle_kg
    }

    pub(super) fn lift_off_kg(&self) -> f64 {
        let pr = &self.p.aircraft.procedures;
        self.p.zero_fuel_kg + self.p.fuel_kg - pr.taxi_fuel_kg - pr.take_off_fuel_kg
    }
}
