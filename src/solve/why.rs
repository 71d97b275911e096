//! What each choice of the plan is worth.
//!
//! Each alternative is settled anew in everything but its own choice, from the script of the plan by single steps. One that proves
//! better shows that the plan was not at its best: then the plan takes it over, and all are made again.

use super::cruise::settable_rev_s;
use super::descent::carried;
use super::if_changed::{CHANGES, same_settings};
use super::plan::{Alternative, AlternativeKind, Draft, LeftOut, Plan, Workings};
use super::refine::{
    COARSE_ERROR, Pilot, Reach, Tried, continuous, key, second_climb_from_m, settle_within,
};
use super::search::{Search, alternative, reflown};
use crate::aircraft::Throttle;
use crate::flight::{Flown, Limit, Script, fly_recorded, point_at};
use crate::quantity::M_S_PER_KT;
use crate::reflight::Mismatch;
use crate::trip::Problem;
use std::cell::{Cell, RefCell};

/// An alternative better than the plan by less than this share of its cost, lever changes charged, is as good.
const AS_GOOD: f64 = 1e-4;
/// What was settled beside a plan and is dearer than the next that is taken over by this share is passed over while others may be taken over.
const FAR_BEHIND: f64 = 0.02;
/// Single steps, and no more flights than a walk of several steps by several levers takes.
const REACH: Reach = Reach {
    near: true,
    thorough: false,
    most_flights: 160,
};
/// A flight that the search takes to keep a limit may miss it by this much, in scale units, when flown in fine steps.
const SEARCH_ERROR: f64 = 1.0;
/// A cruise climb is this much faster than Vy, rounded up to what is set: 15 to 20 kt (common practice, no source).
const CRUISE_CLIMB_M_S: f64 = 15.0 * M_S_PER_KT;

/// A plan with alternatives and sensitivity; another plan where an alternative proves better. What alternatives the plan has already
/// are looked at with the rest.
pub fn explained(problem: &Problem, plan: Plan) -> Plan {
    let draft = Draft {
        flown: plan.flown,
        mismatch: plan.reflight,
        unrounded: None,
        others: plan.alternatives.into_iter().map(|a| a.flown).collect(),
        flights: plan.flights,
        tried: Tried::default(),
    };
    told(problem, draft).0
}

/// The plan that a draft comes to, with alternatives and sensitivity; another where an alternative proves better.
pub(super) fn told(problem: &Problem, mut draft: Draft) -> (Plan, Workings) {
    let why = Why::after(problem, &draft);
    let (others, left_out) = why.chosen(&mut draft);
    if draft.unrounded.is_none() {
        let prepare = |s: &mut Script| why.search.prepare(s);
        draft.unrounded = continuous(&why.pilot, &draft.flown.script_free(), &prepare);
    }
    draft.flights += why.pilot.flights();
    let (mut plan, workings) = why.search.finished(draft);
    (plan.alternatives, plan.left_out) = why.recorded_all(&plan.flown, others, left_out);
    plan.sensitivity = CHANGES
        .iter()
        .map(|&change| same_settings(problem, &plan, change))
        .collect();
    (plan, workings)
}

/// The flight that is the plan a draft comes to, without what else a plan tells.
pub(super) fn chosen(problem: &Problem, mut draft: Draft) -> Flown {
    Why::after(problem, &draft).chosen(&mut draft);
    draft.flown
}

/// The best flights at other levels than a plan's, the cheapest first, flown as exactly as the plan, paths recorded. A level that no flight
/// within the limits goes is left out.
pub fn best_of_levels(problem: &Problem, plan: &Plan) -> Vec<Flown> {
    Why::new(problem).every_level(plan)
}

struct Why<'a> {
    problem: &'a Problem,
    search: Search<'a>,
    pilot: Pilot<'a>,
    exact: Pilot<'a>,
    /// What was recorded, by the key of the script.
    known: RefCell<Vec<(Vec<u64>, Option<Flown>)>>,
}

/// Sets the choice of an alternative in a script.
fn impose(kind: AlternativeKind, script: &mut Script) {
    let down = match kind {
        AlternativeKind::OrdinaryDescent | AlternativeKind::Level(_) => None,
        AlternativeKind::ClimbVy(v) | AlternativeKind::CruiseClimb(v) => {
            (script.climb.ias_m_s, script.climb.second) = (v, None);
            None
        }
        AlternativeKind::CruiseThrottle(i, throttle) => {
            script.cruise[i].throttle = throttle;
            None
        }
        AlternativeKind::CruiseRev(i, rev_s) => {
            script.cruise[i].rev_s = rev_s;
            None
        }
        AlternativeKind::CruiseRpmHeld(i, rev_s) => {
            (script.cruise[i].throttle, script.cruise[i].rev_s) = (Throttle::Rpm, rev_s);
            None
        }
        AlternativeKind::CruiseRevDown => Some(script.last_cruise().rev_s),
        AlternativeKind::CoarseDown(rev_s) => Some(rev_s),
    };
    if let Some(rev_s) = down {
        script.descent.first.rev_s = rev_s;
        if let Some((_, part)) = &mut script.descent.second {
            part.rev_s = rev_s;
        }
    }
}

fn levels(script: &Script) -> Vec<f64> {
    script.cruise.iter().map(|c| c.level_m).collect()
}

pub(super) fn same_levels(a: &Script, b: &Script) -> bool {
    let (a, b) = (levels(a), levels(b));
    a.len() == b.len() && a.iter().zip(&b).all(|(x, y)| (x - y).abs() < 1.0)
}

/// Another way than the plan's.
type Other = (AlternativeKind, Flown);

fn is_level(kind: AlternativeKind) -> bool {
    matches!(kind, AlternativeKind::Level(_))
}

impl<'a> Why<'a> {
    fn new(problem: &'a Problem) -> Self {
        Self {
            problem,
            search: Search::new(problem, problem.cost_rates()),
            pilot: Pilot::new(problem),
            exact: Pilot::exact(problem),
            known: RefCell::default(),
        }
    }

    /// With what the search of a draft knows.
    fn after(problem: &'a Problem, draft: &Draft) -> Self {
        Self {
            pilot: Pilot::new(problem).knowing(draft.tried.clone()),
            ..Self::new(problem)
        }
    }
}

impl Why<'_> {
    /// Takes over what proves better than a draft until nothing does; other ways than the last, and those left out.
    fn chosen(&self, draft: &mut Draft) -> (Vec<Other>, Vec<LeftOut>) {
        let mut before: Vec<Other> = vec![];
        // Each plan taken over is cheaper than the one before by a share of it, so this ends.
        loop {
            let any_passed = Cell::new(false);
            // While plans are taken over, what was far behind the last is passed over; beside the one that stays all are made.
            let least = Pilot::charged(&draft.flown) * (1.0 + FAR_BEHIND);
            let behind = |kind: AlternativeKind, start: &Script| {
                let far = |f: &Flown| Pilot::charged(f) > least && same_levels(&f.script, start);
                let passed = before.iter().any(|(k, f)| *k == kind && far(f));
                any_passed.set(any_passed.get() || passed);
                passed
            };
            let (mut found, mut left_out) = self.others(draft, behind);
            let mut next = self.better(draft, &found);
            if next.is_none() && any_passed.get() {
                (found, left_out) = self.others(draft, |_, _| false);
                next = self.better(draft, &found);
            }
            let Some(next) = next else {
                return (found, left_out);
            };
            before.retain(|(k, _)| found.iter().all(|(kind, _)| kind != k));
            before.extend(found);
            draft
                .others
                .push(std::mem::replace(&mut draft.flown, next.0));
            (draft.mismatch, draft.unrounded) = (next.1, None);
        }
    }

    /// Every other way than that of a draft that is not passed over, flown as a search flies, and the choices that no flight within the limits goes.
    fn others(
        &self,
        draft: &Draft,
        passed_over: impl Fn(AlternativeKind, &Script) -> bool,
    ) -> (Vec<Other>, Vec<LeftOut>) {
        let mut found: Vec<Other> = Vec::new();
        let mut left_out = Vec::new();
        let kind = AlternativeKind::OrdinaryDescent;
        match self.search.ordinary(&self.pilot, &draft.flown) {
            Some(f) => found.push((kind, f)),
            None => left_out.push(LeftOut {
                kind,
                limits: vec![],
            }),
        }
        for (kind, start) in self.starts(&draft.flown) {
            if passed_over(kind, &start) {
                continue;
            }
            match self.settled(kind, &start) {
                Ok(f) => found.push((kind, f)),
                Err(limits) => left_out.push(LeftOut { kind, limits }),
            }
        }
        for other in &draft.others {
            if same_levels(&other.script, &draft.flown.script) {
                continue;
            }
            let known = found
                .iter_mut()
                .find(|(kind, f)| is_level(*kind) && same_levels(&f.script, &other.script));
            match known {
                Some((_, f)) if Pilot::charged(other) < Pilot::charged(f) => *f = other.clone(),
                Some(_) => {}
                None => {
                    let kind = AlternativeKind::Level(other.script.cruise[0].level_m);
                    found.push((kind, other.clone()));
                }
            }
        }
        (found, left_out)
    }

    /// The cheapest of other ways that is better than a draft when flown as exactly, settled freely, with its re-flight.
    fn better(&self, draft: &Draft, others: &[Other]) -> Option<(Flown, Mismatch)> {
        let beat = Pilot::charged(&draft.flown);
        others
            .iter()
            .filter(|(_, f)| Pilot::charged(f) < beat * (1.0 + COARSE_ERROR))
            .filter_map(|(_, f)| self.recorded(f))
            .filter(|f| Pilot::charged(f) < beat * (1.0 - AS_GOOD) && f.audit.violation() == 0.0)
            .min_by(|a, b| Pilot::charged(a).total_cmp(&Pilot::charged(b)))
            .and_then(|f| self.taken_over(f))
    }

    /// Other ways than a plan's flown as exactly as that, the cheapest first, and the choices left out.
    fn recorded_all(
        &self,
        plan: &Flown,
        others: Vec<Other>,
        mut left_out: Vec<LeftOut>,
    ) -> (Vec<Alternative>, Vec<LeftOut>) {
        let mut found: Vec<Alternative> = Vec::new();
        for (kind, other) in others {
            let exactly = self.recorded(&other);
            // The ordinary descent is set beside the plan even where it breaks limits.
            let limits = match &exactly {
                Some(f) if f.audit.violation() > SEARCH_ERROR => f.audit.broken(),
                _ => vec![],
            };
            match exactly {
                Some(f) if limits.is_empty() || kind == AlternativeKind::OrdinaryDescent => {
                    found.push(alternative(self.problem, kind, f, plan));
                }
                _ => left_out.push(LeftOut { kind, limits }),
            }
        }
        // What a search found one way is not left out.
        left_out.retain(|l| match l.kind {
            AlternativeKind::Level(m) => !found.iter().any(|a| {
                is_level(a.kind)
                    && a.flown.script.cruise.len() == 1
                    && (a.flown.script.cruise[0].level_m - m).abs() < 1.0
            }),
            _ => true,
        });
        found.sort_by(|a, b| a.difference.total_cmp(&b.difference));
        (found, left_out)
    }

    /// Choices other than those of a plan, each with a script to begin from.
    fn starts(&self, plan: &Flown) -> Vec<(AlternativeKind, Script)> {
        let p = self.problem;
        let script = plan.script_free();
        let pr = &p.aircraft.procedures;
        let propeller = &p.aircraft.propeller;
        let mut kinds = Vec::new();
        // The climb.
        let vy = self.search.speed_up(self.search.slowest_climb_m_s());
        let climb = if script.climb.ias_m_s > vy + 0.5 * pr.speed_step_m_s {
            AlternativeKind::ClimbVy(vy)
        } else {
            AlternativeKind::CruiseClimb(self.search.speed_up(vy + CRUISE_CLIMB_M_S))
        };
        // Who begins in flight may have none.
        let mut segments = plan.segments.iter();
        if segments.any(|s| s.kind.climbs()) {
            kinds.push(climb);
        }
        // The longest cruise stretch.
        let end_m = |i: usize| {
            script
                .cruise
                .get(i + 1)
                .map_or(plan.top_of_descent.distance_m, |n| n.from_m)
        };
        let length_m = |i: usize| end_m(i) - script.cruise[i].from_m;
        let longest = (0..script.cruise.len())
            .max_by(|&a, &b| length_m(a).total_cmp(&length_m(b)))
            .unwrap_or(0);
        let cruise = script.cruise[longest];
        let middle_m = 0.5 * (cruise.from_m + end_m(longest));
        let middle_hp = p.pressure_altitude_m(middle_m, cruise.level_m);
        let (air, _) = p.air_state(middle_m, middle_hp, p.time_s(middle_m));
        let at_middle = point_at(&plan.track, middle_m);
        let throttle = |t| AlternativeKind::CruiseThrottle(longest, t);
        let rev = |r| AlternativeKind::CruiseRev(longest, r);
        if propeller.is_fixed() {
            let held = |r| AlternativeKind::CruiseRpmHeld(longest, r);
            match (cruise.throttle, at_middle) {
                (Throttle::Full, Some(at)) => {
                    // One step of the tachometer under what full throttle gives.
                    let under = ((at.rev_s / pr.rev_step_s - 0.5).floor()) * pr.rev_step_s;
                    kinds.push(held(under));
                }
                (Throttle::Rpm, _) => {
                    kinds.push(held(cruise.rev_s - pr.rev_step_s));
                    kinds.push(held(cruise.rev_s + pr.rev_step_s));
                }
                _ => {}
            }
        } else {
            let tas = at_middle.map_or(0.0, |t| t.state.tas_m_s);
            let intake = p.aircraft.intake(air, tas);
            let full_pa = p
                .aircraft
                .engine
                .map_pa(Throttle::Full, cruise.rev_s, intake);
            let step = pr.map_step_pa;
            match cruise.throttle {
                Throttle::Map(pa) => {
                    kinds.push(throttle(Throttle::Map(pa - step)));
                    kinds.push(throttle(if pa + step > full_pa {
                        Throttle::Full
                    } else {
                        Throttle::Map(pa + step)
                    }));
                }
                _ => kinds.push(throttle(Throttle::Map(
                    (full_pa / step - 0.5).floor() * step,
                ))),
            }
            let revs = settable_rev_s(p, pr.rev_step_s);
            let below = revs.iter().rev().find(|&&r| r < cruise.rev_s - 1e-6);
            let above = revs.iter().find(|&&r| r > cruise.rev_s + 1e-6);
            kinds.extend([below, above].into_iter().flatten().map(|&r| rev(r)));
            // The descent.
            let last = *script.last_cruise();
            if script.descent.first.rev_s < last.rev_s - 0.5 * pr.rev_step_s {
                kinds.push(AlternativeKind::CruiseRevDown);
            } else if let Some(&least) = revs.first()
                && least < last.rev_s - 0.5 * pr.rev_step_s
            {
                kinds.push(AlternativeKind::CoarseDown(least));
            }
        }
        let mut out: Vec<(AlternativeKind, Script)> =
            kinds.into_iter().map(|k| (k, script.clone())).collect();
        out.extend(self.other_levels(&script));
        out
    }

    /// The levels that every leg which allows the last of a script allows as well, the lowest first, m.
    fn common_levels_m(&self, script: &Script) -> Vec<f64> {
        let p = self.problem;
        let last = *script.last_cruise();
        let legs: Vec<_> = p
            .legs
            .iter()
            .zip(&p.levels)
            .filter(|(leg, levels)| leg.to_m > last.from_m && levels.allows(last.level_m))
            .map(|(_, levels)| levels)
            .collect();
        let Some(first) = legs.first() else {
            return vec![];
        };
        let all = first.levels_m.iter().copied();
        all.filter(|&m| legs.iter().all(|l| l.allows(m))).collect()
    }

    /// The next levels above and below the last of a script.
    fn other_levels(&self, script: &Script) -> Vec<(AlternativeKind, Script)> {
        let last_m = script.cruise[script.cruise.len() - 1].level_m;
        let all = self.common_levels_m(script);
        let below = all.iter().rev().find(|&&m| m < last_m - 1.0);
        let above = all.iter().find(|&&m| m > last_m + 1.0);
        let next = [below, above].into_iter().flatten();
        next.map(|&level_m| {
            (
                AlternativeKind::Level(level_m),
                self.at_level(script, level_m),
            )
        })
        .collect()
    }

    /// A script with another last level, the best cruise there, and a descent that is as that cruise where it was as the old one.
    fn at_level(&self, script: &Script, level_m: f64) -> Script {
        let p = self.problem;
        let last = script.cruise[script.cruise.len() - 1];
        let mut s = script.clone();
        s.cruise.pop();
        match s.cruise.last() {
            // Back at the level before: no change at all.
            Some(before) if (before.level_m - level_m).abs() < 1.0 => {}
            _ => {
                let options = self.search.options(level_m);
                let best = self
                    .search
                    .best_cruise(level_m, last.from_m, p.length_m, &options);
                s.cruise
                    .push(best.map_or(crate::flight::Cruise { level_m, ..last }, |b| b.0));
            }
        }
        if s.descent
            .second
            .is_some_and(|(from_m, _)| from_m >= level_m - 1.0)
        {
            s.descent.second = None;
        }
        let highest_m = second_climb_from_m(p, s.cruise[0].level_m).1;
        if s.climb.second.is_some_and(|c| c.0 > highest_m + 1.0) {
            s.climb.second = None;
        }
        s.descent = carried(&s.descent, &last, s.last_cruise());
        s
    }

    /// The best flight at each level beside a plan's: those the plan has as alternatives, and the last level changed to each other one.
    fn every_level(&self, plan: &Plan) -> Vec<Flown> {
        let known = plan.alternatives.iter().filter(|a| is_level(a.kind));
        let mut found: Vec<Flown> = known.map(|a| a.flown.clone()).collect();
        let script = plan.flown.script_free();
        for level_m in self.common_levels_m(&script) {
            let start = self.at_level(&script, level_m);
            let same = |f: &Flown| same_levels(&f.script, &start);
            if same(&plan.flown) || found.iter().any(same) {
                continue;
            }
            let settled = self.settled(AlternativeKind::Level(level_m), &start);
            let exactly = settled.ok().and_then(|f| self.recorded(&f));
            found.extend(exactly.filter(|f| f.audit.violation() <= SEARCH_ERROR));
        }
        found.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        found
    }

    /// The best flight with a choice, from a script by single steps.
    fn settled(&self, kind: AlternativeKind, start: &Script) -> Result<Flown, Vec<Limit>> {
        let prepare = |s: &mut Script| {
            impose(kind, s);
            self.search.prepare(s);
        };
        settle_within(&self.pilot, start, &prepare, REACH)
    }

    /// A flight of the search as the plan is flown, path recorded.
    fn recorded(&self, flown: &Flown) -> Option<Flown> {
        let asked = flown.script_free();
        let key = key(&asked);
        if let Some((_, known)) = self.known.borrow().iter().find(|(k, _)| *k == key) {
            return known.clone();
        }
        self.exact.found_descent(flown);
        let exactly = self
            .exact
            .met(&asked)
            .and_then(|script| fly_recorded(self.problem, &script).ok());
        self.known.borrow_mut().push((key, exactly.clone()));
        exactly
    }

    /// A better flight settled freely, or as it is where that is worse, with its re-flight; `None` if no independent re-flight
    /// confirms it.
    fn taken_over(&self, better: Flown) -> Option<(Flown, Mismatch)> {
        let p = self.problem;
        let density = p.aircraft.fuel.density_kg_m3;
        let prepare = |s: &mut Script| self.search.prepare(s);
        let free = settle_within(
            &self.pilot,
            &better.script_free(),
            &prepare,
            Reach::THOROUGH,
        );
        let freely = free
            .ok()
            .and_then(|f| self.recorded(&f))
            .filter(|f| f.audit.violation() == 0.0 && Pilot::charged(f) < Pilot::charged(&better));
        freely
            .into_iter()
            .chain(std::iter::once(better))
            .map(|f| {
                let mismatch = reflown(p, &f);
                (f, mismatch)
            })
            .find(|(_, mismatch)| mismatch.within_bounds(density))
    }
}
