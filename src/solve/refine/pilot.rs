//! Who flies the scripts of a search: coarsely, or as finely as the plan; what each was charged, and what was kept.

use super::reckon::Reckoner;
use super::tried::Tried;
use super::{MOVE_WORTH, PENALTY, UNFLYABLE, lever_changes};
use crate::flight::{
    Circle, DescentPart, FlightError, Flown, Hint, Limit, Memory, PathRule, Script, ThrottleRule,
    fly_fine, fly_within, trigger_m,
};
use crate::solve::foresight::Foresight;
use crate::trip::Problem;
use std::cell::{Cell, RefCell};
use std::collections::HashMap;

/// A neighbour saves no more than this share of the cost.
const MOST_GAIN: f64 = 0.1;
/// Ground is grazed where clearance lacks no more than so many scale units.
const GRAZES: f64 = 2.0;
/// Coarse and fine flights of one script differ by less than this share of the cost.
pub(in crate::solve) const COARSE_ERROR: f64 = 2e-3;
/// Nor do they differ in how far they break limits by more than this, in scale units, where one of them keeps all.
const COARSE_VIOLATION: f64 = 3.0;

/// Flies scripts, counts them and learns where descents begin.
pub struct Pilot<'a> {
    problem: &'a Problem,
    flights: Cell<usize>,
    foresight: RefCell<Foresight>,
    /// Of coarse flights, and of fine ones.
    memory: [RefCell<Memory>; 2],
    /// What settable scripts that were flown come to: walks come by the same ones again and again.
    known: RefCell<HashMap<Vec<u64>, Charge>>,
    exact: bool,
    /// Least cost of a flight that broke no limit but the reserve; infinite while there was none.
    short_of_fuel: Cell<f64>,
    /// What the cheapest flight that a walk settled within all limits was charged; infinite while there was none.
    settled: Cell<f64>,
    /// Of a pilot that keeps them: what walks flew within all limits.
    kept: Option<RefCell<Vec<Kept>>>,
    /// What changes of a part of a script came to.
    tried: RefCell<Tried>,
    /// What changes of cruise power come to, unless all are flown.
    reckoner: RefCell<Option<Reckoner<'a>>>,
}

/// What a flight comes to, in the objective's unit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Charge {
    /// Cost, lever changes charged.
    plain: f64,
    /// Charged for broken limits where a walk is as strict as at first.
    broken: f64,
    /// What it breaks is clearance from the ground, by little, and nothing else.
    pub(super) grazes: bool,
    /// There is room for it on the route: else its cost is of a path that there is not.
    has_room: bool,
}

impl Charge {
    const UNFLYABLE: Self = Self {
        plain: UNFLYABLE,
        broken: 0.0,
        grazes: false,
        has_room: false,
    };

    pub(super) fn of(flown: &Flown) -> Self {
        Self {
            plain: flown.cost * (1.0 + MOVE_WORTH * lever_changes(&flown.script)),
            broken: flown.cost * PENALTY * flown.audit.violation(),
            grazes: flown.audit.violation() < GRAZES && flown.audit.broken() == [Limit::Ground],
            has_room: has_room(flown),
        }
    }

    /// With broken limits charged so many times as much as at first.
    pub(super) fn at(self, strictness: f64) -> f64 {
        self.plain + strictness * self.broken
    }
}

/// Whether there is room on the route for a flight.
pub(super) fn has_room(flown: &Flown) -> bool {
    flown.audit.excess(Limit::Distance) <= 0.0
}

/// A settable flight within all limits.
#[derive(Debug, Clone)]
pub struct Kept {
    /// Time, s.
    pub time_s: f64,
    /// Fuel, kg.
    pub fuel_kg: f64,
    /// Revolutions of the crankshaft.
    pub revolutions: f64,
    /// The script, its top of descent left to be found.
    pub script: Script,
}

impl<'a> Pilot<'a> {
    /// A pilot for one problem.
    pub fn new(problem: &'a Problem) -> Self {
        Self {
            problem,
            flights: Cell::new(0),
            foresight: RefCell::default(),
            memory: Default::default(),
            known: RefCell::default(),
            exact: false,
            short_of_fuel: Cell::new(f64::INFINITY),
            settled: Cell::new(f64::INFINITY),
            kept: None,
            tried: RefCell::default(),
            reckoner: RefCell::new(Some(Reckoner::new(problem))),
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

    /// Counts the flights of another pilot among its own, and keeps what that kept if it keeps any.
    pub fn absorb(&self, flights: usize, others: Vec<Kept>) {
        self.flights.set(self.flights.get() + flights);
        if let Some(kept) = &self.kept {
            kept.borrow_mut().extend(others);
        }
    }

    /// A pilot that flies every script as the final plan is flown: fine steps, top of descent met and then rounded to the
    /// trigger the pilot is given. For where a searched plan proves to lie on the wrong side of a limit by the search's own error.
    pub fn exact(problem: &'a Problem) -> Self {
        Self {
            exact: true,
            ..Self::new(problem)
        }
    }

    /// The same, who knows what changes of a part of a script came to in another search of the problem.
    pub(in crate::solve) fn knowing(self, tried: Tried) -> Self {
        Self {
            tried: RefCell::new(tried),
            ..self
        }
    }

    /// What changes of a part of a script came to.
    pub(in crate::solve) fn tried(&self) -> Tried {
        self.tried.borrow().clone()
    }

    /// Whether a script is surely no cheaper than `beat`, broken limits charged so many times what is usual, for what the change that leads
    /// there from a flown one came to before, or is reckoned to come to. A pilot that keeps what it passes by flies what may keep all limits all the
    /// same.
    pub(super) fn surely_dearer(
        &self,
        flown: &Flown,
        here: &Script,
        near: &Script,
        beat: f64,
        strictness: f64,
    ) -> bool {
        let moves = 1.0 + MOVE_WORTH * lever_changes(near);
        let tried = || self.tried.borrow().least(here, near, flown.cost);
        if !self.keeps() && tried().is_some_and(|cost| cost * moves > beat) {
            return true;
        }
        let reckoned = self.reckoner.borrow();
        let least = reckoned.as_ref().and_then(|r| r.least(flown, here, near));
        least.is_some_and(|least| {
            (least.violation > 0.0 || !self.keeps())
                && least.cost * (moves + strictness * PENALTY * least.violation) > beat
        })
    }

    /// Forgets what changes came to, and reckons no more: what a script comes to is again told by its own flight alone.
    pub(in crate::solve) fn tries_all_again(&self) {
        self.tried.take();
        self.reckoner.take();
    }

    /// Learns what a change from a flown script came to, where the script after it was flown.
    pub(super) fn learn(&self, flown: &Flown, here: &Script, near: &Script) {
        if self.keeps() || !has_room(flown) {
            return;
        }
        let known = self.known.borrow();
        if let Some(charge) = known.get(&key(near)).filter(|c| c.has_room) {
            let cost = charge.plain / (1.0 + MOVE_WORTH * lever_changes(near));
            self.tried.borrow_mut().take(here, near, cost / flown.cost);
        }
    }

    /// Whether it flies every script as the final plan is flown.
    pub(super) fn is_exact(&self) -> bool {
        self.exact
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

    /// Cost of the cheapest flight flown that broke no limit but the reserve; infinite if there was none.
    pub fn cheapest_short_of_fuel(&self) -> f64 {
        self.short_of_fuel.get()
    }

    /// What the cheapest flight that a walk settled within all limits was charged; infinite if there was none.
    pub fn least_settled(&self) -> f64 {
        self.settled.get()
    }

    /// Takes note of the end of a walk.
    pub(super) fn settled(&self, flown: &Flown) {
        if flown.audit.violation() == 0.0 {
            let least = self.settled.get().min(Self::charged(flown));
            self.settled.set(least);
        }
    }

    fn coarsely(&self, script: &Script, most_violation: f64) -> Result<Flown, FlightError> {
        let hint = self.expected_descent(script);
        let flown = fly_within(self.problem, script, hint, &self.memory[0], most_violation)?;
        self.found_descent(&flown);
        if flown.cost < self.short_of_fuel.get() && flown.audit.broken() == [Limit::Fuel] {
            self.short_of_fuel.set(flown.cost);
        }
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
        let hint = self.expected_descent(script);
        let met = fly_fine(self.problem, script, hint, &self.memory[1])?;
        self.found_descent(&met);
        Ok(with_trigger(&met.script))
    }

    /// The next flight's top of descent is looked for first by where this one has it.
    pub fn found_descent(&self, flown: &Flown) {
        let to_go_m = flown.script.descent.to_go_m;
        let mut foresight = self.foresight.borrow_mut();
        foresight.take(self.problem, &flown.script, to_go_m);
    }

    fn expected_descent(&self, script: &Script) -> Option<Hint> {
        let to_go_m = self.foresight.borrow().of(self.problem, script)?;
        Some(Hint {
            top_of_descent_m: self.problem.length_m - to_go_m,
        })
    }

    /// Flies a script if it can be cheaper, lever changes and so many times what is usual for violations charged, than a flown one that is
    /// charged `beat`; the flight and what it is charged.
    pub(super) fn cheaper(
        &self,
        script: &Script,
        beat: f64,
        flown: Option<&Flown>,
        strictness: f64,
    ) -> Option<(Flown, f64)> {
        let key = key(script);
        let known = self.known.borrow().get(&key).copied();
        if known.is_some_and(|c| c.at(strictness) >= beat) {
            return None;
        }
        self.flights.set(self.flights.get() + 1);
        // Violations so charged that nothing a neighbour may save could make up for them.
        let penalty = strictness * PENALTY;
        let forgiven = if self.exact { COARSE_VIOLATION } else { 0.0 };
        let most_violation = flown.map_or(f64::INFINITY, |f| {
            (beat / (f.cost * (1.0 - MOST_GAIN)) - 1.0) / penalty + forgiven
        });
        let charge = |f: &Result<Flown, FlightError>| {
            let charge = f.as_ref().map_or(Charge::UNFLYABLE, Charge::of);
            if charge.at(strictness).is_finite() {
                charge
            } else {
                Charge::UNFLYABLE
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
                revolutions: f.revolutions,
                script: script.clone(),
            });
        }
        let mut charged = charge(&trial);
        // A fine flight costs as much as ten coarse ones; it may keep limits that the coarse one misses a little.
        let hopeful = |f: &Flown| {
            let missed = (f.audit.violation() - COARSE_VIOLATION).max(0.0);
            let moves = MOVE_WORTH * lever_changes(&f.script);
            f.cost * (1.0 + penalty * missed + moves) < beat * (1.0 + COARSE_ERROR)
        };
        let finely = self.exact && trial.as_ref().is_ok_and(hopeful);
        if finely {
            trial = self.finely(script);
            charged = charge(&trial);
        }
        // What a coarse flight breaks a fine one may keep, where more is hoped for.
        if finely || !self.exact || trial.is_err() {
            self.known.borrow_mut().insert(key, charged);
        }
        let cost = charged.at(strictness);
        trial.ok().filter(|_| cost < beat).map(|f| (f, cost))
    }

    /// Whether a script that was flown would be charged less than this if it were not for the ground, which it grazes.
    pub(super) fn grazes(&self, script: &Script, beat: f64) -> bool {
        let known = self.known.borrow();
        let charge = known.get(&key(script));
        charge.is_some_and(|c| c.grazes && c.plain < beat)
    }

    /// Cost of a flown flight with its violations and its lever changes charged.
    pub fn charged(flown: &Flown) -> f64 {
        Charge::of(flown).at(1.0)
    }
}

/// What a flight of a script is told by, as bits.
pub(in crate::solve) fn key(script: &Script) -> Vec<u64> {
    let mut out = Vec::with_capacity(64);
    climb_bits(script, &mut out);
    descent_bits(script, &mut out);
    for c in &script.cruise {
        out.push(c.set_at_ias_m_s.to_bits());
    }
    cruise_bits(script, &mut out);
    out
}

fn circle_bits(circle: Option<Circle>) -> [u64; 2] {
    circle.map_or([0; 2], |c| [c.height_m, c.bank_rad].map(f64::to_bits))
}

/// What a script says of the climb, as bits.
pub(super) fn climb_bits(script: &Script, out: &mut Vec<u64>) {
    let climb = &script.climb;
    let second = climb.second.unwrap_or((f64::NAN, f64::NAN));
    out.extend([
        climb.ias_m_s.to_bits(),
        second.0.to_bits(),
        second.1.to_bits(),
        climb.rev_s.to_bits(),
        climb.mixture as u64,
        climb.lean_at_m.to_bits(),
        script.initial_ias_m_s.to_bits(),
        script.initial_mixture as u64,
    ]);
    out.extend(circle_bits(climb.circle));
}

/// What a script says of the cruise, but for what follows from the rest: the speed at which it is set.
pub(super) fn cruise_bits(script: &Script, out: &mut Vec<u64>) {
    for c in &script.cruise {
        out.extend([c.level_m, c.from_m, c.rev_s].map(f64::to_bits));
        out.extend(c.throttle.bits());
        out.push(c.mixture as u64);
    }
}

/// What a script says of the descent.
pub(super) fn descent_bits(script: &Script, out: &mut Vec<u64>) {
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
    let d = &script.descent;
    out.extend([d.reduce_at_m.to_bits(), d.to_go_m.to_bits()]);
    out.extend(circle_bits(d.circle));
    out.extend(part(&d.first));
    if let Some((from_m, second)) = &d.second {
        out.push(from_m.to_bits());
        out.extend(part(second));
    }
}

/// The script with its top of descent as a trigger the pilot can see: tenths of a mile to go, rounded to the early side.
pub fn with_trigger(script: &Script) -> Script {
    let mut script = script.clone();
    script.descent.to_go_m = trigger_m(script.descent.to_go_m);
    script
}
