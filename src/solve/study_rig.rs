//! Who flies the ways down of a study.

use super::cruise::{self, settable_rev_s};
use super::descent::{Pricing, fastest_all_the_way_m_s};
use super::plan::Part;
use super::refine::Pilot;
use super::search::{ORDINARY_M_S, Search};
use super::study::{
    Down, Family, MINUTE_S, NoCoarse, SHALLOW_M_S, STEEP_M_S, StudyError, Thumbs, five_times_m_s,
    three_per_thousand_m, two_minutes_m,
};
use crate::aircraft::{Speeds, Throttle};
use crate::flight::{
    Cruise, Descent, DescentPart, FlightError, Flown, Hint, Limit, Mark, Memory, PathRule, Script,
    SegmentKind, State, ThrottleRule, TrackPoint, fly, fly_fine, fly_recorded, point_at,
};
use crate::quantity::{M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use crate::reflight::Mismatch;
use crate::trip::{Objective, Problem};
use std::cell::RefCell;

/// Steps of power that an ordinary descent is reduced by besides, where a fine flight misses a limit that a coarse one keeps.
const MORE_STEPS: u32 = 3;
/// Descents of the search that are flown in full.
const FLOWN: usize = 3;
/// A rate of descent within this of another is the same.
const RATE_SLACK_M_S: f64 = 10.0 * M_S_PER_FPM;
/// Manifold pressure within this of that of cruise is power left, Pa.
const LEFT_PA: f64 = 1.0 * PA_PER_INHG;

/// Who flies the ways down.
pub(super) struct Rig<'a> {
    p: &'a Problem,
    search: Search<'a>,
    pilot: Pilot<'a>,
    /// Everything but the descent, which is that of a plan if its place is known.
    script: Script,
    pub(super) last: Cruise,
    /// A state in the last cruise.
    start: State,
    /// Manifold pressure there, Pa.
    map_pa: f64,
    fuel_kg_s: f64,
    ground_speed_m_s: f64,
    /// Of coarse flights, and of fine ones.
    memory: [RefCell<Memory>; 2],
}

/// A fine flight and the limits it breaks.
pub(super) type Tried = Result<(Flown, Vec<Limit>), FlightError>;

pub(super) fn keeps(tried: &Tried) -> bool {
    tried.as_ref().is_ok_and(|(_, broken)| broken.is_empty())
}

impl<'a> Rig<'a> {
    pub(super) fn new(p: &'a Problem, script: &Script) -> Result<Self, StudyError> {
        let script = script.clone();
        let last = *script.cruise.last().ok_or(StudyError::NoCruise)?;
        let search = Search::new(p, p.cost_rates());
        let start = search
            .cruise_state(last.level_m, &[], &script)
            .ok_or(StudyError::NoCruise)?;
        let (air, sample) = p.air_state(start.distance_m, start.pressure_altitude_m, start.time_s);
        let set = p.aircraft.perform(air, start.tas_m_s, last.levers());
        Ok(Self {
            p,
            search,
            pilot: Pilot::new(p),
            last,
            start,
            map_pa: set.map_pa,
            fuel_kg_s: set.fuel_kg_s,
            ground_speed_m_s: cruise::ground_speed_m_s(start.tas_m_s, &sample),
            memory: Default::default(),
            script,
        })
    }

    /// The descent of the plan that the script is of, if it is of one.
    pub(super) fn own(&self) -> Option<Tried> {
        let own = self.script.descent;
        own.to_go_m.is_finite().then(|| self.flown(own))
    }

    pub(super) fn rate_m_s(&self) -> f64 {
        ORDINARY_M_S.min(self.p.limits.max_descent_m_s)
    }

    fn with(&self, descent: Descent) -> Script {
        Script {
            descent: Descent {
                to_go_m: f64::NAN,
                ..descent
            },
            ..self.script.clone()
        }
    }

    /// A descent flown in fine steps, path recorded.
    pub(super) fn flown(&self, descent: Descent) -> Tried {
        let script = self.with(descent);
        let near = fly(self.p, &script, None, &self.memory[0])?;
        let hint = Hint {
            top_of_descent_m: near.top_of_descent.distance_m,
        };
        let fine = fly_fine(self.p, &script, Some(hint), &self.memory[1])?;
        let flown = fly_recorded(self.p, &fine.script)?;
        let mut broken = flown.audit.broken();
        // With little power the blades may reach the fine stop and the RPM sag: harmless, and flown so.
        if !self.power_left(&descent.first) {
            broken.retain(|&l| l != Limit::Governor);
        }
        Ok((flown, broken))
    }

    pub(super) fn descent(&self, throttle: ThrottleRule, rev_s: f64, path: PathRule) -> Descent {
        Descent {
            first: DescentPart {
                throttle,
                rev_s,
                mixture: self.last.mixture,
                path,
                gear_down: false,
            },
            second: None,
            reduce_at_m: self.p.arrival.pattern_altitude_m,
            to_go_m: f64::NAN,
            circle: None,
        }
    }

    /// The throttle as it is in cruise.
    pub(super) fn throttle_left(&self) -> ThrottleRule {
        match self.last.throttle {
            _ if self.p.aircraft.propeller.is_fixed() => ThrottleRule::Untouched,
            Throttle::Map(pa) => ThrottleRule::LeftAlone(pa),
            _ => ThrottleRule::Full,
        }
    }

    fn power_left(&self, part: &DescentPart) -> bool {
        match part.throttle {
            ThrottleRule::Full | ThrottleRule::Untouched => true,
            ThrottleRule::Held(pa) | ThrottleRule::LeftAlone(pa) => pa >= self.map_pa - LEFT_PA,
            ThrottleRule::Rpm => false,
        }
    }

    fn is_coarse(&self, rev_s: f64) -> bool {
        rev_s < self.last.rev_s - 0.5 * self.p.aircraft.procedures.rev_step_s
    }

    pub(super) fn family(&self, descent: &Descent) -> Family {
        let part = &descent.first;
        let coarse = !self.p.aircraft.propeller.is_fixed() && self.is_coarse(part.rev_s);
        match (self.power_left(part), coarse) {
            (true, true) => Family::Coarse,
            (true, false) => Family::PowerLeft,
            (false, true) => Family::BothReduced,
            (false, false) => Family::Reduced,
        }
    }

    /// Power reduced to hold the cruise IAS at a rate; where that keeps no limits, the cruise IAS held at the greatest rate up to it, or the
    /// least power at it.
    pub(super) fn reduced(&self, rate_m_s: f64) -> Tried {
        let near = Mark::from(&self.start);
        let found = self
            .search
            .reduced(&self.pilot, &self.script, near, rate_m_s);
        let at_the_rate = |f: &Flown| match f.script.descent.first.path {
            PathRule::Rate(r) => r > rate_m_s - RATE_SLACK_M_S,
            PathRule::Ias(_) => true,
        };
        if !found.as_ref().is_some_and(at_the_rate)
            && let Some(held) = self.speed_held(rate_m_s)
        {
            return Ok(held);
        }
        let Some(found) = found else {
            return self.flown(self.least_power(PathRule::Rate(rate_m_s)));
        };
        let mut descent = found.script.descent;
        let mut tried = self.flown(descent);
        for _ in 0..MORE_STEPS {
            if keeps(&tried) {
                break;
            }
            let pr = &self.p.aircraft.procedures;
            let part = &mut descent.first;
            match part.throttle.set_map_pa() {
                Some(pa) => part.throttle = part.throttle.with_map_pa(pa - pr.map_step_pa),
                None => part.rev_s -= pr.rev_step_s,
            }
            let again = self.flown(descent);
            if keeps(&again) || tried.is_err() {
                tried = again;
            }
        }
        tried
    }

    /// The cruise IAS held, as far as the air allows it, with the least manifold pressure that goes down nowhere faster than a rate. In rough
    /// air no power is little enough for an ordinary rate at Va: the speed is what a pilot holds there.
    fn speed_held(&self, rate_m_s: f64) -> Option<(Flown, Vec<Limit>)> {
        let p = self.p;
        if p.aircraft.propeller.is_fixed() {
            return None;
        }
        let mass_kg = p.zero_fuel_kg + p.fuel_kg - self.start.fuel_kg;
        let (air, _) = p.air_state(
            self.start.distance_m,
            self.start.pressure_altitude_m,
            self.start.time_s,
        );
        let cruise_m_s = p.aircraft.ias_from_tas(air, self.start.tas_m_s);
        let allowed_m_s = fastest_all_the_way_m_s(p, self.last.level_m, mass_kg);
        let knots = (cruise_m_s.min(allowed_m_s) / M_S_PER_KT + 1e-6).floor();
        let path = PathRule::Ias(knots * M_S_PER_KT);
        let step_pa = p.aircraft.procedures.map_step_pa;
        let mut descent = self.least_power(path);
        let slow_enough = |f: &Flown| steepest_m_s(f) < rate_m_s + RATE_SLACK_M_S;
        while let Some(pa) = descent
            .first
            .throttle
            .set_map_pa()
            .filter(|&pa| pa < self.map_pa)
        {
            let near = self.pilot.fly(&self.with(descent));
            if near.is_some_and(|f| f.audit.violation() == 0.0)
                && let Ok(tried) = self.flown(descent)
                && tried.1.is_empty()
                && slow_enough(&tried.0)
            {
                return Some(tried);
            }
            descent.first.throttle = descent.first.throttle.with_map_pa(pa + step_pa);
        }
        None
    }

    /// The least power there may be, at the RPM of cruise; at fixed pitch the lowest RPM.
    fn least_power(&self, path: PathRule) -> Descent {
        let p = self.p;
        if p.aircraft.propeller.is_fixed() {
            let lowest = p.aircraft.propeller.lowest_governed_rev_s;
            self.descent(ThrottleRule::Rpm, lowest, path)
        } else {
            let step = p.aircraft.procedures.map_step_pa;
            let least = (p.limits.least_map_pa / step - 1e-6).ceil() * step;
            self.descent(ThrottleRule::Held(least), self.last.rev_s, path)
        }
    }

    /// The throttle left with the propeller as coarse as keeps every limit; where none does, with the least broken.
    pub(super) fn coarse(&self, revs: &[f64]) -> Tried {
        let at = |rev_s| self.descent(self.throttle_left(), rev_s, PathRule::Rate(self.rate_m_s()));
        let mut least: Option<(f64, f64)> = None;
        for &rev_s in revs {
            let violation = match self.pilot.fly(&self.with(at(rev_s))) {
                Some(f) => f.audit.violation(),
                None => f64::INFINITY,
            };
            if violation == 0.0 {
                let tried = self.flown(at(rev_s));
                if keeps(&tried) {
                    return tried;
                }
            }
            if least.is_none_or(|l| violation < l.0) {
                least = Some((violation, rev_s));
            }
        }
        let rev_s = least.map_or(self.last.rev_s, |l| l.1);
        self.flown(at(rev_s))
    }

    /// Crankshaft speeds below that of cruise, or why there are none.
    pub(super) fn coarser(&self) -> Result<Vec<f64>, NoCoarse> {
        if self.p.aircraft.propeller.is_fixed() {
            return Err(NoCoarse::FixedPitch);
        }
        let mut revs = settable_rev_s(self.p, self.p.aircraft.procedures.rev_step_s);
        revs.retain(|&r| self.is_coarse(r));
        if revs.is_empty() {
            Err(NoCoarse::CruiseIsCoarsest)
        } else {
            Ok(revs)
        }
    }

    pub(super) fn steep(&self) -> Tried {
        let rate = STEEP_M_S.max(self.p.limits.max_descent_m_s);
        self.flown(self.least_power(PathRule::Rate(rate)))
    }

    /// No descent of the search covers more than the shallow one about does: what is shallower is cruise by another name, m.
    fn longest_m(&self) -> f64 {
        let height_m = self.last.level_m - self.p.arrival.pattern_altitude_m;
        let shallow_m = height_m / SHALLOW_M_S * self.ground_speed_m_s;
        shallow_m.min(self.pattern_m())
    }

    /// The cheapest of what the search finds and of other ways that keep every limit; where none does, the one least broken.
    pub(super) fn least(&self, objective: Objective, others: &[&Tried]) -> Tried {
        let contest = self.contest(objective, others, false)?;
        // Never empty.
        contest
            .into_iter()
            .next()
            .ok_or(FlightError::NoTopOfDescent)
    }

    /// What the search finds and other ways, flown in full: those that keep every limit first, the cheapest of them first, then the
    /// least broken. With each family, what the search found in a family none of whose flights keeps the limits is flown as well.
    pub(super) fn contest(
        &self,
        objective: Objective,
        others: &[&Tried],
        each_family: bool,
    ) -> Result<Vec<(Flown, Vec<Limit>)>, FlightError> {
        let rates = self.p.cost_rates_for(objective);
        let per_m = rates.rate(self.fuel_kg_s, self.last.rev_s) / self.ground_speed_m_s;
        let mut pricing = Pricing::new(self.p, rates, &self.script, self.start, per_m);
        pricing.longest_m = self.longest_m();
        let mut error = FlightError::NoTopOfDescent;
        let others = others.iter().filter_map(|t| t.as_ref().ok()).cloned();
        let others: Vec<(Flown, Vec<Limit>)> = others.collect();
        let mut tried: Vec<(Flown, Vec<Limit>)> = Vec::new();
        for candidate in &pricing.search() {
            let kept = || tried.iter().filter(|t| t.1.is_empty());
            let known = |family: Family| {
                let mut flights = kept().chain(others.iter().filter(|t| t.1.is_empty()));
                flights.any(|t| self.family(&t.0.script.descent) == family)
            };
            if kept().count() >= FLOWN && (!each_family || known(self.family(&candidate.descent))) {
                continue;
            }
            match self.flown(candidate.descent) {
                Ok(t) => tried.push(t),
                Err(e) => error = e,
            }
        }
        tried.extend(others);
        let cost = |f: &Flown| rates.of(f.time_s, f.fuel_kg, f.revolutions);
        let violation = |t: &(Flown, Vec<Limit>)| {
            if t.1.is_empty() {
                0.0
            } else {
                t.0.audit.violation()
            }
        };
        tried.sort_by(|a, b| {
            violation(a)
                .total_cmp(&violation(b))
                .then(cost(&a.0).total_cmp(&cost(&b.0)))
        });
        if tried.is_empty() {
            Err(error)
        } else {
            Ok(tried)
        }
    }

    pub(super) fn pattern_m(&self) -> f64 {
        self.p.length_m - self.p.arrival.before_m
    }

    /// What a way comes to from a common point.
    pub(super) fn told(
        &self,
        (flown, broken): (Flown, Vec<Limit>),
        from_m: f64,
        reflight: Mismatch,
    ) -> Option<Down> {
        let p = self.p;
        let part = part(p, &flown, from_m, self.pattern_m())?;
        let top_m = flown.top_of_descent.distance_m;
        let top_to_go_s = part_s(&flown, top_m, self.pattern_m())?;
        let kind = |t: &TrackPoint| flown.segments.get(t.segment).map(|s| s.kind);
        let down: Vec<&TrackPoint> = flown
            .track
            .iter()
            .filter(|t| kind(t) == Some(SegmentKind::Descent))
            .collect();
        let last_cruise = flown
            .track
            .iter()
            .rev()
            .find(|t| kind(t) == Some(SegmentKind::Cruise));
        let to_pattern: Vec<&TrackPoint> =
            last_cruise
                .into_iter()
                .chain(flown.track.iter().filter(|t| {
                    matches!(kind(t), Some(SegmentKind::Descent | SegmentKind::SlowDown))
                }))
                .collect();
        let least = |of: &dyn Fn(&TrackPoint) -> f64| {
            down.iter().map(|t| of(t)).fold(f64::INFINITY, f64::min)
        };
        let most = |of: &dyn Fn(&TrackPoint) -> f64| {
            down.iter().map(|t| of(t)).fold(f64::NEG_INFINITY, f64::max)
        };
        let speeds = &p.aircraft.speeds;
        let most_kg = p.aircraft.masses.max_take_off_kg;
        let air_limit = |t: &TrackPoint| {
            let above_m = p.above_ground_m(t.state.distance_m, t.true_altitude_m);
            let share = (t.mass_kg / most_kg).min(1.0);
            p.limits
                .speed_limit_m_s(speeds, share, t.indicated_m, above_m)
        };
        let va = |t: &TrackPoint| Speeds::at_mass(speeds.va_m_s, t.mass_kg.min(most_kg), most_kg);
        let fastest = most(&|t| t.ias_m_s);
        Some(Down {
            family: self.family(&flown.script.descent),
            part,
            top_to_go_m: self.pattern_m() - top_m,
            top_to_go_s,
            rate_m_s: (least(&|t| -t.rate_m_s).max(0.0), most(&|t| -t.rate_m_s)),
            ias_m_s: (least(&|t| t.ias_m_s), fastest),
            to_air_limit_m_s: least(&|t| air_limit(t) - t.ias_m_s),
            to_vno_m_s: speeds.vno_m_s - fastest,
            to_vne_m_s: speeds.vne_m_s - fastest,
            to_rough_m_s: least(&|t| va(t) - t.ias_m_s),
            map_fall_pa: greatest_fall(&to_pattern),
            least_map_pa: to_pattern
                .iter()
                .map(|t| t.map_pa)
                .fold(f64::INFINITY, f64::min),
            slow_down_m: flown.slowed.distance_m - flown.level_off.distance_m,
            reflight,
            broken,
            flown,
        })
    }

    pub(super) fn thumbs(&self, ordinary: &Down) -> Thumbs {
        let height_m = self.last.level_m - self.p.arrival.pattern_altitude_m;
        let flown = &ordinary.flown;
        let (top, off) = (flown.top_of_descent, flown.level_off);
        let mean_m_s = (off.distance_m - top.distance_m) / (off.time_s - top.time_s);
        let three_m = three_per_thousand_m(height_m);
        let needed_m_s = height_m * mean_m_s / three_m;
        let five_m_s = five_times_m_s(self.ground_speed_m_s);
        Thumbs {
            height_m,
            ground_speed_m_s: self.ground_speed_m_s,
            three_m,
            five_m_s,
            two_minutes_m: two_minutes_m(height_m, self.ground_speed_m_s),
            flown_m: ordinary.top_to_go_m,
            slow_down_m: ordinary.slow_down_m,
            needed_m_s,
            left_high_m: (needed_m_s - five_m_s) * three_m / mean_m_s,
        }
    }
}

/// Greatest rate of descent of a recorded flight on its way down, m/s.
fn steepest_m_s(flown: &Flown) -> f64 {
    let kind = |t: &TrackPoint| flown.segments.get(t.segment).map(|s| s.kind);
    flown
        .track
        .iter()
        .filter(|t| kind(t) == Some(SegmentKind::Descent))
        .map(|t| -t.rate_m_s)
        .fold(0.0, f64::max)
}

/// Greatest fall of manifold pressure within a minute along a path, Pa.
fn greatest_fall(path: &[&TrackPoint]) -> f64 {
    let mut fall: f64 = 0.0;
    for (i, a) in path.iter().enumerate() {
        let within = path[i..]
            .iter()
            .take_while(|b| b.state.time_s - a.state.time_s < MINUTE_S - 1e-6);
        for b in within {
            fall = fall.max(a.map_pa - b.map_pa);
        }
    }
    fall
}

/// A part of a recorded flight between two distances, money as its cost.
fn part(problem: &Problem, flown: &Flown, from_m: f64, to_m: f64) -> Option<Part> {
    let (a, b) = (
        point_at(&flown.track, from_m)?.state,
        point_at(&flown.track, to_m)?.state,
    );
    let (time_s, fuel_kg) = (b.time_s - a.time_s, b.fuel_kg - a.fuel_kg);
    let rates = problem.cost_rates_for(Objective::Money);
    Some(Part {
        cost: rates.of(time_s, fuel_kg, b.revolutions - a.revolutions),
        time_s,
        fuel_kg,
    })
}

fn part_s(flown: &Flown, from_m: f64, to_m: f64) -> Option<f64> {
    let (a, b) = (
        point_at(&flown.track, from_m)?,
        point_at(&flown.track, to_m)?,
    );
    Some(b.state.time_s - a.state.time_s)
}
