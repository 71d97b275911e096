//! Refinement on the fully flown plan: continuous by argmin, rounded by search of the neighbours.

use super::cruise::full_throttle_pa;
use super::descent::{MOST_LEAD_M, RATE_STEP_M_S, REDUCE_STEP_M, clear_of_edges};
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{Levers, Throttle};
use crate::flight::{
    Circle, Descent, DescentPart, FlightError, Flown, Hint, Limit, Memory, PathRule, Script,
    ThrottleRule, fly_fine, fly_within, level_speed_m_s, trigger_m,
};
use crate::quantity::{M_PER_FT, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use crate::trip::Problem;
use argmin::core::{CostFunction, Executor, State as _};
use argmin::solver::neldermead::NelderMead;
use std::cell::{Cell, RefCell};
use std::collections::HashMap;

/// A flight that breaks limits is charged this share of its cost for each scale unit of violation.
pub const PENALTY: f64 = 0.02;
/// Each lever change must be worth this share of the objective (DESIGN section 5: 0.1 %).
pub const MOVE_WORTH: f64 = 1e-3;
/// Lever changes of a change of level: one to begin it, and manifold pressure, RPM and mixture set anew after it.
pub const LEVEL_CHANGE_MOVES: f64 = 4.0;
/// What a flight that cannot be flown is charged, in the objective's own unit (s, kg or money): far above any flight.
const UNFLYABLE: f64 = 1e9;
/// Relative improvement below which a neighbour is no better (DESIGN section 5: ties within 0.01 %).
const TIE: f64 = 1e-5;
/// A neighbour saves no more than this share of the cost.
const MOST_GAIN: f64 = 0.1;
/// Coarse and fine flights of one script differ by less than this share of the cost.
pub(super) const COARSE_ERROR: f64 = 2e-3;
/// Nor do they differ in how far they break limits by more than this, in scale units, where one of them keeps all.
const COARSE_VIOLATION: f64 = 3.0;
/// Flights of the simplex: a step takes one or two, but where it lies across a limit and shrinks, one for each knob.
const SIMPLEX_FLIGHTS: usize = 300;
/// The simplex has converged when the costs of its corners differ by this share of the cost.
const SIMPLEX_SPREAD: f64 = 2e-5;

/// Flies scripts, counts them and remembers the last top of descent.
pub struct Pilot<'a> {
    problem: &'a Problem,
    flights: Cell<usize>,
    hint: Cell<Option<Hint>>,
    /// Of coarse flights, and of fine ones.
    memory: [RefCell<Memory>; 2],
    /// What settable scripts that were flown were charged: walks come by the same ones again and again.
    known: RefCell<HashMap<Vec<u64>, f64>>,
    exact: bool,
    /// Of a pilot that keeps them: what walks flew within all limits.
    kept: Option<RefCell<Vec<Kept>>>,
}

/// A settable flight within all limits.
#[derive(Debug, Clone)]
pub struct Kept {
    /// Time, s.
    pub time_s: f64,
    /// Fuel, kg.
    pub fuel_kg: f64,
    /// The script, its top of descent left to be found.
    pub script: Script,
}

impl<'a> Pilot<'a> {
    /// A pilot for one problem.
    pub fn new(problem: &'a Problem) -> Self {
        Self {
            problem,
            flights: Cell::new(0),
            hint: Cell::new(None),
            memory: Default::default(),
            known: RefCell::default(),
            exact: false,
            kept: None,
        }
    }

    /// A pilot that keeps every flight within all limits that its walks come by.
    pub fn keeping(problem: &'a Problem) -> Self {
        Self {
            kept: Some(RefCell::default()),
            ..Self::new(problem)
        }
    }

    /// Whether it does.
    pub fn keeps(&self) -> bool {
        self.kept.is_some()
    }

    /// What was kept.
    pub fn into_kept(self) -> Vec<Kept> {
        self.kept.map(RefCell::into_inner).unwrap_or_default()
    }

    /// A pilot that flies every script as the final plan is flown: fine steps, top of descent met and then rounded to the
    /// trigger the pilot is given. For where a searched plan proves to lie on the wrong side of a limit by the search's own error.
    pub fn exact(problem: &'a Problem) -> Self {
        Self {
            exact: true,
            ..Self::new(problem)
        }
    }

    /// The problem.
    pub fn problem(&self) -> &'a Problem {
        self.problem
    }

    /// Flights flown.
    pub fn flights(&self) -> usize {
        self.flights.get()
    }

    /// Flies a script; `None` if it cannot be flown.
    pub fn fly(&self, script: &Script) -> Option<Flown> {
        self.flights.set(self.flights.get() + 1);
        let flown = if self.exact {
            self.finely(script)
        } else {
            self.coarsely(script, f64::INFINITY)
        };
        flown.ok().filter(|f| f.cost.is_finite())
    }

    fn coarsely(&self, script: &Script, most_violation: f64) -> Result<Flown, FlightError> {
        let hint = self.hint.get();
        let flown = fly_within(self.problem, script, hint, &self.memory[0], most_violation)?;
        self.found_descent(&flown);
        Ok(flown)
    }

    fn finely(&self, script: &Script) -> Result<Flown, FlightError> {
        let met = self.with_descent_met(script)?;
        fly_fine(self.problem, &met, None, &self.memory[1])
    }

    /// A script with the top of descent, as a trigger the pilot can see, that meets the pattern in a fine flight; `None` if it cannot be
    /// flown.
    pub fn met(&self, script: &Script) -> Option<Script> {
        self.flights.set(self.flights.get() + 1);
        self.with_descent_met(script).ok()
    }

    fn with_descent_met(&self, script: &Script) -> Result<Script, FlightError> {
        let met = fly_fine(self.problem, script, self.hint.get(), &self.memory[1])?;
        self.found_descent(&met);
        Ok(with_trigger(&met.script))
    }

    /// The next flight's top of descent is looked for first where this one has it.
    pub fn found_descent(&self, flown: &Flown) {
        self.hint.set(Some(Hint {
            top_of_descent_m: flown.top_of_descent.distance_m,
        }));
    }

    /// Flies a script if it can be cheaper, violations and lever changes charged, than a flown one that is charged `beat`; the flight and
    /// what it is charged.
    fn cheaper(&self, script: &Script, beat: f64, flown: Option<&Flown>) -> Option<(Flown, f64)> {
        let key = key(script);
        if self.known.borrow().get(&key).is_some_and(|&c| c >= beat) {
            return None;
        }
        self.flights.set(self.flights.get() + 1);
        // Violations so charged that nothing a neighbour may save could make up for them.
        let most_violation = flown.map_or(f64::INFINITY, |f| {
            (beat / (f.cost * (1.0 - MOST_GAIN)) - 1.0) / PENALTY
        });
        let charged = |f: &Result<Flown, FlightError>| {
            let charged = f.as_ref().map_or(UNFLYABLE, Self::charged);
            if charged.is_finite() {
                charged
            } else {
                UNFLYABLE
            }
        };
        let mut trial = self.coarsely(script, most_violation);
        if matches!(trial, Err(FlightError::GivenUp)) {
            return None;
        }
        if let (Some(kept), Ok(f)) = (&self.kept, &trial)
            && f.audit.violation() == 0.0
        {
            kept.borrow_mut().push(Kept {
                time_s: f.time_s,
                fuel_kg: f.fuel_kg,
                script: script.clone(),
            });
        }
        let mut cost = charged(&trial);
        // A fine flight costs as much as ten coarse ones; it may keep limits that the coarse one misses a little.
        let hopeful = |f: &Flown| {
            let missed = (f.audit.violation() - COARSE_VIOLATION).max(0.0);
            let moves = MOVE_WORTH * lever_changes(&f.script);
            f.cost * (1.0 + PENALTY * missed + moves) < beat * (1.0 + COARSE_ERROR)
        };
        if self.exact && trial.as_ref().is_ok_and(hopeful) {
            trial = self.finely(script);
            cost = charged(&trial);
        }
        self.known.borrow_mut().insert(key, cost);
        trial.ok().filter(|_| cost < beat).map(|f| (f, cost))
    }

    /// Cost of a flown flight with its violations and its lever changes charged.
    pub fn charged(flown: &Flown) -> f64 {
        flown.cost
            * (1.0 + PENALTY * flown.audit.violation() + MOVE_WORTH * lever_changes(&flown.script))
    }
}

/// What a flight of a script is told by, as bits.
pub(super) fn key(script: &Script) -> Vec<u64> {
    let part = |p: &DescentPart| {
        let (rule, map_pa) = match p.throttle {
            ThrottleRule::Full => (0, 0.0),
            ThrottleRule::Held(pa) => (1, pa),
            ThrottleRule::LeftAlone(pa) => (2, pa),
            ThrottleRule::Rpm => (3, 0.0),
            ThrottleRule::Untouched => (4, 0.0),
        };
        let path = u64::from(matches!(p.path, PathRule::Ias(_)));
        [
            rule,
            f64::to_bits(map_pa),
            p.rev_s.to_bits(),
            p.mixture as u64,
            path,
            p.path.value().to_bits(),
            u64::from(p.gear_down),
        ]
    };
    let (climb, d) = (&script.climb, &script.descent);
    let second = climb.second.unwrap_or((f64::NAN, f64::NAN));
    let circle =
        |c: Option<Circle>| c.map_or([0; 2], |c| [c.height_m, c.bank_rad].map(f64::to_bits));
    let mut out = vec![
        climb.ias_m_s.to_bits(),
        second.0.to_bits(),
        second.1.to_bits(),
        climb.rev_s.to_bits(),
        climb.mixture as u64,
        climb.lean_at_m.to_bits(),
        script.initial_ias_m_s.to_bits(),
        script.initial_mixture as u64,
        d.reduce_at_m.to_bits(),
        d.to_go_m.to_bits(),
    ];
    for c in &script.cruise {
        out.extend([c.level_m, c.from_m, c.rev_s, c.set_at_ias_m_s].map(f64::to_bits));
        out.extend(c.throttle.bits());
        out.push(c.mixture as u64);
    }
    out.extend(circle(climb.circle));
    out.extend(circle(d.circle));
    out.extend(part(&d.first));
    if let Some((from_m, second)) = &d.second {
        out.push(from_m.to_bits());
        out.extend(part(second));
    }
    out
}

/// The script with its top of descent as a trigger the pilot can see: tenths of a mile to go, rounded to the early side.
pub fn with_trigger(script: &Script) -> Script {
    let mut script = script.clone();
    script.descent.to_go_m = trigger_m(script.descent.to_go_m);
    script
}

/// Lever changes of a script that a plainer one would not have: in the descent a new RPM, a new mixture, a manifold pressure to
/// hold, an early reduction and an early gear; a second speed of the climb; and those of each change of level on the way.
pub fn lever_changes(script: &Script) -> f64 {
    let last = *script.last_cruise();
    let d = &script.descent.first;
    let mut n = usize::from(script.climb.second.is_some());
    n += usize::from(script.descent.last().gear_down);
    n += usize::from(d.throttle != ThrottleRule::Rpm && (d.rev_s - last.rev_s).abs() > 1e-6);
    n += usize::from(d.mixture != last.mixture);
    // A manifold pressure set for the descent: held, or left alone where cruise had full throttle.
    n += usize::from(match d.throttle {
        ThrottleRule::Held(_) | ThrottleRule::Rpm => true,
        ThrottleRule::LeftAlone(_) => last.throttle == Throttle::Full,
        ThrottleRule::Full | ThrottleRule::Untouched => false,
    });
    if let Some((_, second)) = script.descent.second {
        // What the second part sets anew; another path is a change of its own.
        n += usize::from(
            second.throttle.set_map_pa().is_some() || second.throttle == ThrottleRule::Rpm,
        );
        n += usize::from(
            second.throttle != ThrottleRule::Rpm && (second.rev_s - d.rev_s).abs() > 1e-6,
        );
        n += usize::from(second.mixture != d.mixture);
        n += usize::from(second.path != d.path);
    }
    #[expect(clippy::cast_precision_loss, reason = "a few")]
    {
        n as f64 + LEVEL_CHANGE_MOVES * (script.cruise.len() - 1) as f64
    }
}

/// A part of the descent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Which {
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
enum Knob {
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
pub(super) const CLIMB_AT_STEP_M: f64 = 500.0 * M_PER_FT;

/// Lowest and highest indicated altitude \[m\] at which the second speed of a climb to a level \[m\] may begin: after the initial
/// climb and what is circled of it, and so far below the level that slowing down to it does not lead past that.
pub(super) fn second_climb_from_m(problem: &Problem, level_m: f64) -> (f64, f64) {
    let field_m = problem.departure.elevation_m + 1_500.0 * M_PER_FT;
    let circled_m = problem.circling.climb_to_m.map(|m| m + CLIMB_AT_STEP_M);
    let first_m = circled_m.map_or(field_m, |m| m.max(field_m));
    (first_m, level_m - CLIMB_AT_STEP_M)
}

/// Whether an indicated altitude \[m\] is clearly above or below each height at which the air's limit changes, for a speed that
/// changes there on the way up: nobody changes it to the foot.
pub(super) fn clear_both_ways(problem: &Problem, from_m: f64) -> bool {
    const CLEAR_M: f64 = 100.0 * M_PER_FT;
    let near = |edge_m: f64| (from_m - edge_m).abs() < CLEAR_M;
    !problem
        .limits
        .speed_edges_m(&problem.aircraft.speeds)
        .any(near)
}

/// The knobs of a script with bounds (SI).
fn knobs(problem: &Problem, script: &Script) -> Vec<(Knob, f64, f64)> {
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

fn get(script: &Script, knob: Knob) -> f64 {
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

fn set(script: &mut Script, knob: Knob, value: f64) {
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

/// Steps a pilot can set for each knob, and the range the value is kept in.
fn step(problem: &Problem, script: &Script, knob: Knob) -> f64 {
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

struct Flights<'a, 'p> {
    pilot: &'a Pilot<'p>,
    base: &'a Script,
    knobs: &'a [(Knob, f64, f64)],
    best: &'a RefCell<Option<(f64, Script)>>,
    prepare: &'a dyn Fn(&mut Script),
    flown: Cell<usize>,
}

/// The box is mapped to the whole line by a sine, so the simplex never meets a wall.
fn from_line(theta: f64, low: f64, high: f64) -> f64 {
    low + 0.5 * (high - low) * (1.0 + theta.sin())
}

fn to_line(x: f64, low: f64, high: f64) -> f64 {
    (2.0 * (x - low) / (high - low) - 1.0)
        .clamp(-1.0, 1.0)
        .asin()
}

impl CostFunction for Flights<'_, '_> {
    type Param = Vec<f64>;
    type Output = f64;

    fn cost(&self, theta: &Self::Param) -> Result<f64, argmin::core::Error> {
        let flown = self.flown.get();
        if flown == SIMPLEX_FLIGHTS {
            return Err(argmin::core::ArgminError::ConditionViolated {
                text: "as many flights as are allowed".to_owned(),
            }
            .into());
        }
        self.flown.set(flown + 1);
        let mut script = self.base.clone();
        for (&(knob, low, high), &t) in self.knobs.iter().zip(theta) {
            set(&mut script, knob, from_line(t, low, high));
        }
        (self.prepare)(&mut script);
        let Some(flown) = self.pilot.fly(&script) else {
            return Ok(UNFLYABLE);
        };
        let cost = Pilot::charged(&flown);
        if flown.audit.violation() == 0.0 {
            let mut best = self.best.borrow_mut();
            if best.as_ref().is_none_or(|b| cost < b.0) {
                *best = Some((cost, script));
            }
        }
        Ok(if cost.is_finite() { cost } else { UNFLYABLE })
    }
}

/// Refines the continuous choices of a script with argmin's simplex; the best script that keeps every limit, and whether the
/// simplex met its tolerance.
pub fn continuous(
    pilot: &Pilot,
    base: &Script,
    prepare: &dyn Fn(&mut Script),
) -> Option<(Script, bool)> {
    let problem = pilot.problem();
    // With the lever full forward other limits hold than a hair behind it, so that is no continuous choice.
    let forward = problem.aircraft.propeller.highest_governed_rev_s - 1e-9;
    let knobs: Vec<_> = knobs(problem, base)
        .into_iter()
        .filter(|&(knob, _, _)| {
            !matches!(knob, Knob::CruiseRev(_) | Knob::PartRev(_)) || get(base, knob) < forward
        })
        .collect();
    let best = RefCell::new(None);
    let flights = Flights {
        pilot,
        base,
        knobs: &knobs,
        best: &best,
        prepare,
        flown: Cell::new(0),
    };
    let start: Vec<f64> = knobs
        .iter()
        .map(|&(k, low, high)| to_line(get(base, k), low, high))
        .collect();
    let mut simplex = vec![start.clone()];
    for (i, &(knob, low, high)) in knobs.iter().enumerate() {
        let mut vertex = start.clone();
        let x = get(base, knob);
        let moved = x + 3.0 * step(problem, base, knob);
        let moved = if moved > high {
            x - 3.0 * step(problem, base, knob)
        } else {
            moved
        };
        vertex[i] = to_line(moved, low, high);
        simplex.push(vertex);
    }
    let scale = flights.cost(&start).ok()?;
    let solver = NelderMead::new(simplex)
        .with_sd_tolerance(SIMPLEX_SPREAD * scale.abs().max(1e-9))
        .ok()?;
    let run = Executor::new(flights, solver).run();
    let converged = run.as_ref().is_ok_and(|r| {
        r.state().get_termination_reason()
            == Some(&argmin::core::TerminationReason::SolverConverged)
    });
    drop(run);
    best.into_inner().map(|(_, script)| (script, converged))
}

/// The nearest multiple of a step.
pub fn to_step(x: f64, step: f64) -> f64 {
    (x / step).round() * step
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

/// One change a pilot could make to a rounded script.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Move {
    /// A knob by a number of its steps.
    Turn(Knob, f64),
    /// Manifold pressure and RPM of a cruise stretch together, in steps.
    CruisePair(usize, f64, f64),
    /// Manifold pressure and RPM of the descent together, in steps.
    DescentPair(f64, f64),
    /// An entry of the climb RPM list.
    ClimbRev(usize),
    /// Mixture of a cruise stretch.
    CruiseMixture(usize, usize),
    /// Mixture of the last cruise stretch and the descent.
    BothMixture(usize),
    /// Mixture of the descent, and its RPM by steps: how much power a mixture allows decides how coarse the propeller may be.
    DescentMixture(usize, f64),
    /// Full throttle in a cruise stretch.
    FullThrottle(usize),
    /// From full throttle to a manifold pressure this many steps below what it gives.
    PartThrottle(usize, f64),
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
    fn is_near(self) -> bool {
        match self {
            Self::Turn(_, k) => k.abs() <= 1.0,
            Self::CruisePair(_, a, b) | Self::DescentPair(a, b) | Self::ClimbPair(a, b) => {
                a.abs() <= 1.0 && b.abs() <= 1.0
            }
            Self::PartThrottle(_, k) | Self::DescentMixture(_, k) => k == 0.0,
            Self::LeftAlone(_, rev, lead) => rev == 0.0 && lead == 0.0,
            _ => true,
        }
    }
}

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

/// Every move from a script.
fn moves(problem: &Problem, script: &Script) -> Vec<Move> {
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
        out.extend((0..script.cruise.len()).map(|i| Move::CruiseMixture(i, m)));
        out.push(Move::BothMixture(m));
        out.extend([0.0, -2.0, 2.0].map(|rev| Move::DescentMixture(m, rev)));
    }
    for i in 0..script.cruise.len() {
        out.push(Move::FullThrottle(i));
        out.extend([0.0, 1.0, 2.0].map(|k| Move::PartThrottle(i, k)));
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

/// The script after a move; `None` where the move leads nowhere new or out of the range of a lever.
fn moved(problem: &Problem, script: &Script, change: Move) -> Option<Script> {
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
    match change {
        Move::Turn(knob, k) => set(
            &mut s,
            knob,
            get(script, knob) + k * step(problem, script, knob),
        ),
        Move::CruisePair(i, map, rev) => {
            let Throttle::Map(p) = script.cruise[i].throttle else {
                return None;
            };
            s.cruise[i].throttle = Throttle::Map(p + map * pr.map_step_pa);
            s.cruise[i].rev_s += rev * pr.rev_step_s;
        }
        Move::DescentPair(map, rev) => {
            let p = script.descent.first.throttle.set_map_pa()?;
            set(
                &mut s,
                Knob::PartMap(Which::First),
                p + map * pr.map_step_pa,
            );
            s.descent.first.rev_s += rev * pr.rev_step_s;
        }
        Move::ClimbRev(i) => s.climb.rev_s = pr.climb_rev_s[i],
        Move::CruiseMixture(i, m) => s.cruise[i].mixture = m,
        Move::BothMixture(m) => {
            if let Some(c) = s.cruise.last_mut() {
                c.mixture = m;
            }
            s.descent.first.mixture = m;
        }
        Move::DescentMixture(m, rev) => {
            s.descent.first.mixture = m;
            s.descent.first.rev_s += rev * pr.rev_step_s;
        }
        Move::FullThrottle(i) => s.cruise[i].throttle = Throttle::Full,
        Move::PartThrottle(i, k) if fixed => {
            let top = ((full_rev_s(i)? / pr.rev_step_s).floor() - k) * pr.rev_step_s;
            s.cruise[i].throttle = Throttle::Rpm;
            s.cruise[i].rev_s = top;
        }
        Move::PartThrottle(i, k) => {
            let top = ((full_pa(i) / pr.map_step_pa).floor() - k) * pr.map_step_pa;
            s.cruise[i].throttle = Throttle::Map(top);
        }
        Move::LeftAlone(true, ..) if fixed => s.descent.first.throttle = ThrottleRule::Untouched,
        Move::LeftAlone(false, ..) if fixed => {
            let last = script.cruise.len() - 1;
            // From the RPM that cruise has.
            if script.descent.first.throttle == ThrottleRule::Untouched
                && script.cruise[last].throttle == Throttle::Full
            {
                s.descent.first.rev_s = (full_rev_s(last)? / pr.rev_step_s).floor() * pr.rev_step_s;
            }
            s.descent.first.throttle = ThrottleRule::Rpm;
        }
        Move::LeftAlone(alone, rev, lead) => {
            s.descent.first.rev_s += rev * pr.rev_step_s;
            s.descent.reduce_at_m += lead * REDUCE_STEP_M;
            let last = script.cruise.len() - 1;
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
            *from_m += at * CLIMB_AT_STEP_M;
            s.climb.ias_m_s += ias * pr.speed_step_m_s;
        }
        Move::OneSpeed(ias_m_s) => (s.climb.ias_m_s, s.climb.second) = (ias_m_s, None),
        Move::CruiseRevDown => s.descent.first.rev_s = script.last_cruise().rev_s,
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
