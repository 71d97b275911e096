//! The descent begun too late, or told to begin too early, and the power for rough air: flown from the cruise of the plan.
//!
//! Nothing here is part of the search: it is asked for by a face that shows it.

use super::plan::Plan;
use super::power::{needed_thrust_n, reading_for};
use crate::aircraft::{Configuration, Levers, Speeds, Throttle};
use crate::flight::{
    DescentPart, Flown, Limit, Memory, PathRule, Script, SegmentKind, State, ThrottleRule,
    TrackPoint, fly_fine, fly_recorded, let_down_recorded,
};
use crate::quantity::{M_PER_NM, M_S_PER_FPM};
use crate::trip::Problem;
use std::cell::RefCell;

/// Starts are looked at every so far past the top of descent, m.
const EVERY_M: f64 = 5.0 * M_PER_NM;
/// The last start that still works is found to this, m, to the early side.
const LAST_STEP_M: f64 = 0.5 * M_PER_NM;
/// Rates of descent are flown in multiples of this, m/s.
const RATE_STEP_M_S: f64 = 50.0 * M_S_PER_FPM;
/// Rates that are needed are looked for up to this, m/s; what is over the limit of the trip is said and not offered.
const STEEPEST_M_S: f64 = 3_000.0 * M_S_PER_FPM;
/// In rough air less than this is no descent to go by, m/s: an up-draught of light turbulence undoes it (our choice).
const ROUGH_LEAST_M_S: f64 = 200.0 * M_S_PER_FPM;
/// The pattern point is met this near, m, as by a recorded flight.
const MET_M: f64 = 3.0;
/// Told down early means at this multiple of the distance to go at the top of descent.
const EARLY: f64 = 1.5;
/// As far past the top of descent at least, m, the rate that would be needed is told, whether or not it is allowed.
const TELL_M: f64 = 15.0 * M_PER_NM;
/// Settings of the throttle that are tried when told down early.
const EARLY_READINGS: usize = 5;
/// Less than this before the top of descent is not early, m.
const NOT_EARLY_M: f64 = 2.0 * M_PER_NM;

/// A descent half-way down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HalfWay {
    /// Indicated airspeed, m/s.
    pub ias_m_s: f64,
    /// Rate of descent by the altimeter, m/s.
    pub rate_m_s: f64,
}

/// What to set in a descent begun late.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LateMeans {
    /// What is set and held.
    pub part: DescentPart,
    /// The throttle stays by the plan's own rule; else power comes back.
    pub planned_power: bool,
    /// Indicated airspeed and rate of descent half-way down, m/s.
    pub half_way: HalfWay,
}

/// A descent begun late.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LateStart {
    /// Past the top of descent, m.
    pub past_m: f64,
    /// The rate that is needed with what helps most, whether or not it is allowed, m/s; infinite where none will do.
    pub needed_m_s: f64,
    /// What achieves it within every limit, if anything does.
    pub means: Option<LateMeans>,
}

/// A descent begun early.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Early {
    /// Before the top of descent, m.
    pub before_m: f64,
    /// What to set and hold.
    pub part: DescentPart,
    /// Indicated airspeed and rate of descent half-way down, m/s.
    pub half_way: HalfWay,
    /// Longer than the plan by, s.
    pub longer_s: f64,
    /// More fuel than the plan by, kg.
    pub more_kg: f64,
}

/// The descent of a plan begun elsewhere than planned.
#[derive(Debug, Clone, PartialEq)]
pub struct Late {
    /// Every 5 nm past the top of descent, as far as the first that does not work, and to 15 nm at least where there is room.
    pub starts: Vec<LateStart>,
    /// The last start that works within every limit, m past the top of descent; zero if none does.
    pub last_m: f64,
    /// Told down early, where there is a cruise to be told down from and a setting that keeps every limit.
    pub early: Option<Early>,
}

/// The power and speed for rough air in the descent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rough {
    /// Greatest indicated airspeed, Va at the weight half-way down, m/s.
    pub ias_m_s: f64,
    /// Manifold pressure \[Pa\], or at fixed pitch crankshaft speed \[rev/s\], that holds it at the rate of the descent.
    pub reading: f64,
    /// Rate of descent that it holds it at, m/s.
    pub rate_m_s: f64,
    /// With the gear down.
    pub gear_down: bool,
}

impl Rough {
    /// Whether it comes down at all: else the height is better held.
    pub fn descends(&self) -> bool {
        self.rate_m_s >= ROUGH_LEAST_M_S
    }
}

/// Flies the descent of a plan from where it would be begun too late or too early.
pub fn late(problem: &Problem, plan: &Plan) -> Option<Late> {
    let late = Descents::new(problem, &plan.flown)?;
    let mut starts: Vec<LateStart> = Vec::new();
    let mut last_m: f64 = 0.0;
    let mut first_reading = 0;
    let room_m = late.pattern_m - late.top.distance_m;
    let mut past_m = EVERY_M;
    let mut works = true;
    while past_m < room_m && (works || past_m <= TELL_M + 1.0) {
        let means = if works {
            late.means(past_m, first_reading)
        } else {
            None
        };
        let needed_m_s = match &means {
            Some((m, _)) => m.half_way.rate_m_s,
            None => late.needed_m_s(past_m),
        };
        starts.push(LateStart {
            past_m,
            needed_m_s,
            means: means.map(|m| m.0),
        });
        match means {
            Some((_, reading)) => (last_m, first_reading) = (past_m, reading),
            None => works = false,
        }
        past_m += EVERY_M;
    }
    // Between the last that works and the first that does not.
    let (mut low, mut high) = (0, whole(EVERY_M.min(room_m - last_m), LAST_STEP_M));
    while high - low > 1 {
        let middle = low.midpoint(high);
        let past_m = last_m + f64::from(middle) * LAST_STEP_M;
        if late.means(past_m, first_reading).is_some() {
            low = middle;
        } else {
            high = middle;
        }
    }
    last_m += f64::from(low) * LAST_STEP_M;
    Some(Late {
        starts,
        last_m,
        early: late.early(plan),
    })
}

/// The power for Va at the weight half-way down the first part of the descent, at the rate of the plan, with its propeller and
/// mixture; less a rate where no power that may be set is little enough, and with the gear down where it may be a brake and without
/// it there would hardly be a descent.
pub fn rough(problem: &Problem, plan: &Plan) -> Option<Rough> {
    let d = Descents::new(problem, &plan.flown)?;
    let clean = d.rough(d.planned.gear_down);
    if clean.rate_m_s < ROUGH_LEAST_M_S && !clean.gear_down && problem.aircraft.brakes_with_gear() {
        return Some(d.rough(true));
    }
    Some(clean)
}

/// The descents of a plan.
struct Descents<'a> {
    p: &'a Problem,
    script: &'a Script,
    /// At the top of descent.
    top: State,
    pattern_m: f64,
    planned: DescentPart,
    planned_rate_m_s: f64,
    half_way: TrackPoint,
    /// Readings under that of the top of descent, greatest first.
    readings: Vec<f64>,
}

impl<'a> Descents<'a> {
    fn new(p: &'a Problem, flown: &'a Flown) -> Option<Self> {
        // Who lets down in turns over the field is never late: there is one more turn.
        if flown.script.descent.circle.is_some() {
            return None;
        }
        let segment = flown
            .segments
            .iter()
            .find(|s| s.kind == SegmentKind::Descent)?;
        let points = flown.track.get(segment.first..=segment.last)?;
        let (first, half_way) = (points.first()?, half_way(points)?);
        let planned = flown.script.descent.first;
        let planned_rate_m_s = match planned.path {
            PathRule::Rate(r) => r,
            PathRule::Ias(_) => (-half_way.rate_m_s).max(RATE_STEP_M_S),
        };
        let mut out = Self {
            p,
            script: &flown.script,
            top: first.state,
            pattern_m: p.length_m - p.arrival.before_m,
            planned,
            planned_rate_m_s,
            half_way,
            readings: vec![],
        };
        let (step, least) = out.step_and_least();
        let fixed = p.aircraft.propeller.is_fixed();
        let begin = if fixed { first.rev_s } else { first.map_pa };
        let mut reading = ((begin / step - 1e-6).ceil() - 1.0) * step;
        while reading >= least - 1e-6 * step {
            out.readings.push(reading);
            reading -= step;
        }
        Some(out)
    }

    /// The power for Va, and what it makes of the descent half-way down.
    fn rough(&self, gear_down: bool) -> Rough {
        let (p, t) = (self.p, self.half_way);
        let most_kg = p.aircraft.masses.max_take_off_kg;
        let va = Speeds::at_mass(p.aircraft.speeds.va_m_s, t.mass_kg, most_kg);
        let ias_m_s = if gear_down {
            va.min(p.aircraft.speeds.vle_m_s)
        } else {
            va
        };
        let (air, sample) = p.air_state(
            t.state.distance_m,
            t.state.pressure_altitude_m,
            t.state.time_s,
        );
        let tas = p.aircraft.tas_from_ias(air, ias_m_s);
        let hangs_out = Configuration {
            gear_down,
            ..Configuration::default()
        };
        let needed_n = |rate_m_s: f64| {
            let hp = t.state.pressure_altitude_m;
            needed_thrust_n(p, air, &sample, hp, (tas, rate_m_s), (t.mass_kg, hangs_out))
        };
        let rate = self.planned_rate_m_s;
        let levers = Levers {
            throttle: Throttle::Full,
            rev_s: self.planned.rev_s,
            mixture: self.planned.mixture,
        };
        let (step, least) = self.step_and_least();
        let most = if p.aircraft.propeller.is_fixed() {
            f64::INFINITY
        } else {
            p.aircraft.map_limit_pa(levers.rev_s)
        };
        let exact = reading_for(p, air, tas, levers, needed_n(rate)).min(most);
        let settable = (exact / step + 1e-6).floor() * step;
        let reading = settable.max(least);
        let part = self.part(reading, rate, gear_down);
        let set = Levers {
            throttle: match part.throttle {
                ThrottleRule::Rpm => Throttle::Rpm,
                _ => Throttle::Map(reading),
            },
            rev_s: part.rev_s,
            ..levers
        };
        let thrust_n = p.aircraft.perform(air, tas, set).thrust_n;
        // What that power leaves of the drag is paid in height.
        let level_n = needed_n(0.0);
        let per_rate_n = (level_n - needed_n(rate)) / rate.max(1e-6);
        Rough {
            ias_m_s,
            reading,
            rate_m_s: ((level_n - thrust_n) / per_rate_n).max(0.0),
            gear_down,
        }
    }

    fn step_and_least(&self) -> (f64, f64) {
        let p = self.p;
        if p.aircraft.propeller.is_fixed() {
            let least = p.aircraft.propeller.lowest_governed_rev_s;
            (p.aircraft.procedures.rev_step_s, least)
        } else {
            (p.aircraft.procedures.map_step_pa, p.limits.least_map_pa)
        }
    }

    /// The planned part with a reading held and another rate.
    fn part(&self, reading: f64, rate_m_s: f64, gear_down: bool) -> DescentPart {
        let fixed = self.p.aircraft.propeller.is_fixed();
        DescentPart {
            throttle: if fixed {
                ThrottleRule::Rpm
            } else {
                ThrottleRule::Held(reading)
            },
            rev_s: if fixed { reading } else { self.planned.rev_s },
            gear_down,
            ..self.at_rate(self.planned, rate_m_s)
        }
    }

    /// A part at another rate; one that holds a speed goes on holding that, and the rate is what power and drag make of it.
    fn at_rate(&self, part: DescentPart, rate_m_s: f64) -> DescentPart {
        match self.planned.path {
            PathRule::Rate(_) => DescentPart {
                path: PathRule::Rate(rate_m_s),
                ..part
            },
            PathRule::Ias(_) => part,
        }
    }

    fn holds_speed(&self) -> bool {
        matches!(self.planned.path, PathRule::Ias(_))
    }

    fn script_with(&self, part: DescentPart) -> Script {
        let mut script = self.script.clone();
        script.descent.first = part;
        script.descent.second = None;
        script
    }

    /// Flown from so far past the top of descent: whether pattern altitude and speed are met at the pattern point, whether every limit
    /// is kept but that of the rate of descent where `steep`; how it goes half-way down.
    fn flown(&self, past_m: f64, part: DescentPart, steep: bool) -> Option<HalfWay> {
        let from_m = self.top.distance_m + past_m;
        let script = self.script_with(part);
        let (down, path) = let_down_recorded(self.p, &script, self.top, from_m).ok()?;
        let broken = down.audit.broken();
        let keeps = broken.iter().all(|&l| steep && l == Limit::DescentRate);
        let meets = down.end.distance_m <= self.pattern_m + MET_M;
        half_way(&path)
            .filter(|_| keeps && meets)
            .map(|t| HalfWay::from(&t))
    }

    fn gears(&self) -> &'static [bool] {
        if self.planned.gear_down {
            &[true]
        } else if self.p.aircraft.brakes_with_gear() {
            &[false, true]
        } else {
            &[false]
        }
    }

    /// What achieves it within every limit: the planned power with more rate, then power back as little as will do, then the gear; the
    /// least rate with that. With the number of the reading, from which on a still later start is to be tried.
    fn means(&self, past_m: f64, first_reading: usize) -> Option<(LateMeans, usize)> {
        let most_m_s = self.p.limits.max_descent_m_s;
        for &gear_down in self.gears() {
            let planned = DescentPart {
                gear_down,
                ..self.planned
            };
            // With the gear down as much power may do as without it less would not.
            let first = if gear_down && !self.planned.gear_down {
                0
            } else {
                first_reading
            };
            let lowered = (first..self.readings.len())
                .map(|i| (i, self.part(self.readings[i], most_m_s, gear_down)));
            let own = (first == 0).then_some((0, planned));
            for (i, part) in own.into_iter().chain(lowered) {
                let with = |rate_m_s: f64| self.at_rate(part, rate_m_s);
                let Some(mut half_way) = self.flown(past_m, with(most_m_s), false) else {
                    continue;
                };
                // The least rate that meets it.
                let mut least_m_s = most_m_s;
                let mut low = 0;
                let mut high = if self.holds_speed() {
                    0
                } else {
                    steps(most_m_s)
                };
                while high - low > 1 {
                    let middle = low.midpoint(high);
                    let rate_m_s = f64::from(middle) * RATE_STEP_M_S;
                    match self.flown(past_m, with(rate_m_s), false) {
                        Some(found) => (high, least_m_s, half_way) = (middle, rate_m_s, found),
                        None => low = middle,
                    }
                }
                let means = LateMeans {
                    part: with(least_m_s),
                    planned_power: part.throttle == self.planned.throttle
                        && part.rev_s == self.planned.rev_s,
                    half_way,
                };
                return Some((means, i));
            }
        }
        None
    }

    /// The least rate with least power, and the gear where it may be a brake, that would do; infinite where none does.
    fn needed_m_s(&self, past_m: f64) -> f64 {
        let gear_down = self.gears().contains(&true);
        let does = |step: u32| {
            let rate_m_s = f64::from(step) * RATE_STEP_M_S;
            let part = match self.readings.last() {
                Some(&reading) => self.part(reading, rate_m_s, gear_down),
                None => DescentPart {
                    gear_down,
                    ..self.at_rate(self.planned, rate_m_s)
                },
            };
            self.flown(past_m, part, true)
        };
        if self.holds_speed() {
            return does(1).map_or(f64::INFINITY, |h| h.rate_m_s);
        }
        let (mut low, mut high) = (0, steps(STEEPEST_M_S));
        // Steeper than what still slows down in time none works, so the least is looked for upwards.
        let mut step = steps(self.p.limits.max_descent_m_s);
        while step < high && does(step).is_none() {
            low = step;
            step = (step + step.div_ceil(4)).max(step + 1);
        }
        if step >= high {
            return f64::INFINITY;
        }
        high = step;
        while high - low > 1 {
            let middle = low.midpoint(high);
            if does(middle).is_some() {
                high = middle;
            } else {
                low = middle;
            }
        }
        f64::from(high) * RATE_STEP_M_S
    }

    /// Told down early: the gentlest rate that still meets the pattern point, with the power of the plan or with more, whichever costs
    /// least.
    fn early(&self, plan: &Plan) -> Option<Early> {
        let p = self.p;
        let to_go_m = p.length_m - self.top.distance_m;
        let cruise = plan
            .flown
            .segments
            .iter()
            .rfind(|s| s.kind == SegmentKind::Cruise)?;
        let begin_m = plan.flown.track.get(cruise.first)?.state.distance_m;
        let before_m = ((EARLY - 1.0) * to_go_m).min(self.top.distance_m - begin_m);
        if before_m < NOT_EARLY_M {
            return None;
        }
        let memory = RefCell::new(Memory::default());
        // What the plan itself breaks by its rounding is no fault of this.
        let known = plan.flown.audit.broken();
        let scripted = |part: DescentPart| {
            let mut script = self.script_with(part);
            script.descent.to_go_m = to_go_m + before_m;
            script
        };
        let try_with = |part: DescentPart| -> Option<(DescentPart, f64)> {
            let flown = fly_fine(p, &scripted(part), None, &memory).ok()?;
            let keeps = flown.audit.broken().iter().all(|l| known.contains(l));
            let meets = flown.slowed.distance_m <= self.pattern_m + MET_M;
            (keeps && meets).then_some((part, flown.cost))
        };
        let rate_m_s = self.planned_rate_m_s;
        let every = if self.holds_speed() {
            1
        } else {
            self.readings.len().div_ceil(EARLY_READINGS)
        };
        let other = self.readings.iter().step_by(every.max(1));
        let parts = std::iter::once(self.planned)
            .chain(other.map(|&r| self.part(r, rate_m_s, self.planned.gear_down)));
        let most = steps(p.limits.max_descent_m_s);
        let found = parts.filter_map(|part| {
            if self.holds_speed() {
                return try_with(part);
            }
            (1..=most)
                .find_map(|step| try_with(self.at_rate(part, f64::from(step) * RATE_STEP_M_S)))
        });
        let (part, _) = found.min_by(|a, b| a.1.total_cmp(&b.1))?;
        let flown = fly_recorded(p, &scripted(part)).ok()?;
        let mut segments = flown.segments.iter();
        let down = segments.find(|s| s.kind == SegmentKind::Descent)?;
        let half_way = half_way(flown.track.get(down.first..=down.last)?)?;
        Some(Early {
            before_m,
            part,
            half_way: HalfWay::from(&half_way),
            longer_s: flown.time_s - plan.flown.time_s,
            more_kg: flown.fuel_kg - plan.flown.fuel_kg,
        })
    }
}

impl From<&TrackPoint> for HalfWay {
    fn from(t: &TrackPoint) -> Self {
        Self {
            ias_m_s: t.ias_m_s,
            rate_m_s: -t.rate_m_s,
        }
    }
}

/// How many whole steps a value has.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "some tens at the most"
)]
fn whole(value: f64, step: f64) -> u32 {
    (value / step + 1e-6).floor().max(0.0) as u32
}

/// How many whole steps of rate a rate has, one at least.
fn steps(rate_m_s: f64) -> u32 {
    whole(rate_m_s, RATE_STEP_M_S).max(1)
}

/// The point half-way down.
fn half_way(path: &[TrackPoint]) -> Option<TrackPoint> {
    let (first, last) = (path.first()?, path.last()?);
    let half_m = 0.5 * (first.indicated_m + last.indicated_m);
    path.iter().find(|t| t.indicated_m <= half_m).copied()
}
