//! Flying a script from lift-off to the field.

use super::audit::{Audit, Limit};
use super::kernel::{
    Control, Instant, State, Vertical, ground_speed_m_s, instant, level_speed_m_s, lift_off_kg,
    step_height, step_time,
};
use super::script::{Cruise, Descent, PathRule, Reduction, Script, ThrottleRule};
use crate::aircraft::{Configuration, Governed, Levers, Performance, Speeds, Throttle};
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::trip::{AirSample, MOUNTAIN_CLIMB_M_S, PLAIN_CLIMB_M_S, Problem};
use std::cell::Cell;

/// Take-off power stays to this height above the field, m (DESIGN section 5: 1,000 ft).
const INITIAL_CLIMB_M: f64 = 1_000.0 * M_PER_FT;
/// Step in height of climbs, m.
const CLIMB_STEP_M: f64 = 250.0;
/// Step in time where the speed is free, s, for a recorded flight: a fifth of the time constant of the speed or less.
const TIME_STEP_S: f64 = 7.5;
/// The same while searching.
const SEARCH_STEP_S: f64 = 12.0;
/// The same while descents are priced.
const PRICING_STEP_S: f64 = 20.0;
/// Top of descent found nearer than this in a search is moved in closed form: the cruise is longer or shorter by the miss, m.
const SHIFT_M: f64 = 1.0 * M_PER_NM;
/// Cruise is flown afresh from this far before the top of descent while that is searched for, m.
const REWIND_M: f64 = 25.0 * M_PER_NM;
/// Trims of a held manifold pressure: at each whole thousand feet of indicated altitude, m.
const TRIM_M: f64 = 1_000.0 * M_PER_FT;
/// Longest step in cruise, m.
const CRUISE_STEP_M: f64 = 10.0 * M_PER_NM;
/// Tries to meet the pattern point.
const MOST_TRIES: usize = 12;
/// The pattern speed must be met this near the pattern point, m.
const TOD_TOLERANCE_M: f64 = 3.0;
/// Longest acceleration or slow-down, s; beyond it the speed is not reached.
const LONGEST_CHANGE_S: f64 = 1_200.0;
/// Below this acceleration [m/s²] at climb power the speed is as good as reached.
const LEAST_ACCELERATION_M_S2: f64 = 0.01;
/// A speed to be held is met this near, m/s.
const ON_SPEED_M_S: f64 = 2e-3;
/// Slower than this no aeroplane of the kind flies, m/s.
const LEAST_TAS_M_S: f64 = 15.0;
/// Less ground speed than this is none, m/s.
const LEAST_GROUND_SPEED_M_S: f64 = 5.0;
/// Nearer than this to the steady speed the approach is taken in closed form, m/s.
const TRANSIENT_M_S: f64 = 2.0;
/// The same in a recorded flight, whose clock must not jump, m/s.
const RECORDED_TRANSIENT_M_S: f64 = 0.05;
/// Largest change of cruise speed from one point to the next taken in a single Newton step, m/s.
const NEWTON_M_S: f64 = 0.5;
/// A level is held at least this long before it is changed, m: less is no cruise.
pub const SHORTEST_CRUISE_M: f64 = 10.0 * M_PER_NM;
/// Cruise is flown at least this many times the stall speed (DESIGN section 5).
const CRUISE_OVER_STALL: f64 = 1.3;

/// A stretch flown with one setting and one rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SegmentKind {
    /// Take-off power to 1,000 ft above the field.
    InitialClimb,
    /// Level, to climb speed.
    Accelerate,
    /// Climb.
    Climb,
    /// Level at climb power, to cruise speed.
    LevelOff,
    /// Cruise.
    Cruise,
    /// Climb or descent from one cruise level to another.
    LevelChange,
    /// Descent.
    Descent,
    /// Level, to pattern speed.
    SlowDown,
    /// From the pattern point to the field, gear down.
    Pattern,
    /// Circuit and landing.
    Circuit,
}

/// One point of the flown path, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackPoint {
    /// State.
    pub state: State,
    /// What the altimeter shows, m.
    pub indicated_m: f64,
    /// Height above mean sea level, m.
    pub true_altitude_m: f64,
    /// Indicated airspeed, m/s.
    pub ias_m_s: f64,
    /// Ground speed, m/s.
    pub ground_speed_m_s: f64,
    /// Rate of pressure altitude, m/s.
    pub rate_m_s: f64,
    /// Manifold pressure, Pa.
    pub map_pa: f64,
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// Row of the mixture table.
    pub mixture: usize,
    /// Brake power over rated power.
    pub power_fraction: f64,
    /// Fuel flow, kg/s.
    pub fuel_kg_s: f64,
    /// Wind along the course, m/s.
    pub wind_along_m_s: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Index of the segment.
    pub segment: usize,
}

/// A segment of the flown path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Kind.
    pub kind: SegmentKind,
    /// Index of its first point in the track.
    pub first: usize,
    /// Index of its last point in the track.
    pub last: usize,
    /// Row of the mixture table.
    pub mixture: usize,
}

/// Where and when something happens, for the totals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Along the route, m.
    pub distance_m: f64,
    /// Since lift-off, s.
    pub time_s: f64,
    /// Fuel burned since lift-off, kg.
    pub fuel_kg: f64,
}

impl From<&State> for Mark {
    fn from(s: &State) -> Self {
        Self {
            distance_m: s.distance_m,
            time_s: s.time_s,
            fuel_kg: s.fuel_kg,
        }
    }
}

/// A flown flight.
#[derive(Debug, Clone, PartialEq)]
pub struct Flown {
    /// The script, top of descent filled in.
    pub script: Script,
    /// Lift-off to landing, s.
    pub time_s: f64,
    /// Fuel from the start of the take-off run to landing, kg.
    pub fuel_kg: f64,
    /// Revolutions from lift-off to landing.
    pub revolutions: f64,
    /// Objective over the flown part (time, fuel or money), in SI: s, kg or money.
    pub cost: f64,
    /// First level reached.
    pub top_of_climb: Mark,
    /// Top of descent.
    pub top_of_descent: Mark,
    /// Level at pattern altitude.
    pub level_off: Mark,
    /// Pattern speed met.
    pub slowed: Mark,
    /// Limits.
    pub audit: Audit,
    /// Fuel flow at the end of the last cruise stretch, kg/s.
    pub cruise_fuel_kg_s: f64,
    /// Segments; empty unless recorded.
    pub segments: Vec<Segment>,
    /// Path; empty unless recorded.
    pub track: Vec<TrackPoint>,
}

/// A start for the search of the top of descent, from a flight much like this one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hint {
    /// Top of descent, m along the route.
    pub top_of_descent_m: f64,
}

/// Why a script cannot be flown to the end.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum FlightError {
    /// No rate of climb left.
    #[error("the aeroplane stops climbing at {altitude_ft:.0} ft")]
    CannotClimb {
        /// Indicated altitude.
        altitude_ft: f64,
    },
    /// No level flight with the cruise setting.
    #[error("the cruise setting does not hold level flight at {altitude_ft:.0} ft")]
    CannotCruise {
        /// Indicated altitude.
        altitude_ft: f64,
    },
    /// Speed not reached by power or drag.
    #[error(
        "the aeroplane does not slow to pattern speed with the power reduced as far as allowed"
    )]
    NeverSlows,
    /// The held IAS does not descend.
    #[error("the descent setting does not descend")]
    CannotDescend,
    /// The speed falls away.
    #[error("the speed falls away: thrust and height lost do not make up for drag")]
    StopsFlying,
    /// No top of descent meets the pattern point.
    #[error("no top of descent brings the aeroplane to the pattern point at pattern speed")]
    NoTopOfDescent,
    /// The wind is as strong as the aeroplane.
    #[error("no ground speed is left against the wind")]
    NoGroundSpeed,
}

/// Steady cruise at the end of a stretch.
#[derive(Debug, Clone, Copy)]
struct Steady {
    fuel_kg_s: f64,
    rev_s: f64,
    ground_speed_m_s: f64,
}

/// What a flyer comes back to.
type Saved = (State, Audit, Option<Vec<TrackPoint>>, Vec<Segment>);

/// A point of the path as ground and speed limit see it.
#[derive(Debug, Clone, Copy)]
struct Passing {
    distance_m: f64,
    true_altitude_m: f64,
    indicated_m: f64,
    ias_m_s: f64,
}

impl Passing {
    /// The point this share of the way to another.
    fn toward(self, other: Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + share * (b - a);
        Self {
            distance_m: mix(self.distance_m, other.distance_m),
            true_altitude_m: mix(self.true_altitude_m, other.true_altitude_m),
            indicated_m: mix(self.indicated_m, other.indicated_m),
            ias_m_s: mix(self.ias_m_s, other.ias_m_s),
        }
    }
}

/// The gauge that power is set by, and what a hand can set on it.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Gauge {
    /// Under a governor; readings in Pa.
    ManifoldPressure { settable: f64 },
    /// Fixed pitch; readings in rev/s.
    Tachometer { settable: f64 },
}

impl Gauge {
    fn reading(self, set: &Performance) -> f64 {
        match self {
            Self::ManifoldPressure { .. } => set.map_pa,
            Self::Tachometer { .. } => set.rev_s,
        }
    }

    /// The levers of a descent at a reading.
    fn levers(self, reading: f64, d: &Descent) -> Levers {
        let (throttle, rev_s) = match self {
            Self::ManifoldPressure { .. } => (Throttle::Map(reading), d.rev_s),
            Self::Tachometer { .. } => (Throttle::Rpm, reading),
        };
        Levers {
            throttle,
            rev_s,
            mixture: d.mixture,
        }
    }

    /// Readings nearer than this are the same: a few ten-thousandths of an inch, a hundredth of a revolution per minute.
    fn same(self) -> f64 {
        match self {
            Self::ManifoldPressure { .. } => 1.0,
            Self::Tachometer { .. } => 0.01 / 60.0,
        }
    }

    fn floor(self, cuts: &Reduction) -> f64 {
        match self {
            Self::ManifoldPressure { .. } => cuts.floor_pa,
            Self::Tachometer { .. } => cuts.floor_rev_s,
        }
    }

    /// The next step of a reduction: at most one step down, to a value a hand can set.
    fn next_cut(self, cuts: &Reduction, now: f64) -> f64 {
        let (step, settable) = match self {
            Self::ManifoldPressure { settable } => (cuts.step_pa, settable),
            Self::Tachometer { settable } => (cuts.step_rev_s, settable),
        };
        let cut = ((now - step) / settable - 1e-6).ceil() * settable;
        cut.max(self.floor(cuts).min(now)).min(now)
    }
}

/// What lies on either side of an edge is asked this far from it, m.
const EDGE_M: f64 = 0.01;

struct Flyer<'a> {
    p: &'a Problem,
    last: Option<Passing>,
    state: State,
    audit: Audit,
    track: Option<Vec<TrackPoint>>,
    segments: Vec<Segment>,
    step_s: f64,
    /// Blade angle of the last instant, where the next search begins.
    near: Cell<f64>,
}

/// Flies a script without keeping the path.
///
/// # Errors
/// [`FlightError`] where it cannot be flown to the end. A flight that breaks limits is returned with its [`Audit`].
pub fn fly(problem: &Problem, script: &Script, hint: Option<Hint>) -> Result<Flown, FlightError> {
    Flyer::at_lift_off(problem, script, false).whole(script, hint)
}

/// Flies a script and keeps path and segments.
///
/// # Errors
/// As [`fly`].
pub fn fly_recorded(problem: &Problem, script: &Script) -> Result<Flown, FlightError> {
    Flyer::at_lift_off(problem, script, true).whole(script, None)
}

/// The climb on reaching a level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClimbState {
    /// State.
    pub state: State,
    /// Rate of climb, m/s.
    pub rate_m_s: f64,
    /// Violations of limits on the way, scale units.
    pub violation: f64,
}

/// Flies the climb of a script and gives what it comes to on reaching each of these indicated altitudes [m, lowest first]; the
/// list ends where the aeroplane stops climbing.
pub fn climb_states(problem: &Problem, script: &Script, levels_m: &[f64]) -> Vec<ClimbState> {
    let mut flyer = Flyer::at_lift_off(problem, script, false);
    let mut out = Vec::with_capacity(levels_m.len());
    if flyer.reach_climb_speed(script).is_err() {
        return out;
    }
    for &level in levels_m {
        let Ok(rate) = flyer.climb_on(script, script.climb.ias_m_s, level, SegmentKind::Climb)
        else {
            break;
        };
        out.push(ClimbState {
            state: flyer.state,
            rate_m_s: rate,
            violation: flyer.audit.violation(),
        });
    }
    out
}

/// A descent and slow-down flown from a given state, wherever that ends.
#[derive(Debug, Clone, PartialEq)]
pub struct LetDown {
    /// Where pattern speed is met.
    pub end: State,
    /// Limits on the way.
    pub audit: Audit,
}

/// Flies the descent and slow-down of a script from a state in its last cruise stretch.
///
/// # Errors
/// [`FlightError`] where it cannot be flown.
pub fn let_down(problem: &Problem, script: &Script, start: State) -> Result<LetDown, FlightError> {
    let mut flyer = Flyer::at_lift_off(problem, script, false);
    flyer.state = start;
    flyer.step_s = PRICING_STEP_S;
    let last = &script.cruise[script.cruise.len() - 1];
    flyer.descend(script, last)?;
    Ok(LetDown {
        end: flyer.state,
        audit: flyer.audit,
    })
}

impl<'a> Flyer<'a> {
    fn at_lift_off(problem: &'a Problem, script: &Script, record: bool) -> Self {
        let field_hp = problem.pressure_altitude_m(0.0, problem.departure.elevation_m);
        let (air, _) = problem.air_state(0.0, field_hp);
        Flyer {
            p: problem,
            last: None,
            state: State {
                time_s: 0.0,
                distance_m: 0.0,
                pressure_altitude_m: field_hp,
                tas_m_s: problem.aircraft.tas_from_ias(air, script.initial_ias_m_s),
                fuel_kg: 0.0,
                revolutions: 0.0,
            },
            audit: Audit::default(),
            track: record.then(Vec::new),
            segments: vec![],
            step_s: if record { TIME_STEP_S } else { SEARCH_STEP_S },
            near: Cell::new(f64::NAN),
        }
    }
}

/// Level flight, clean, speed free.
fn level_control(levers: Levers) -> Control {
    Control {
        levers,
        vertical: Vertical::Level,
        configuration: Configuration::default(),
    }
}

impl Flyer<'_> {
    fn indicated_m(&self) -> f64 {
        self.p
            .indicated_m(self.state.distance_m, self.state.pressure_altitude_m)
    }

    fn mass_kg(&self) -> f64 {
        lift_off_kg(self.p) - self.state.fuel_kg
    }

    fn ias_m_s(&self, i: &Instant) -> f64 {
        self.p.aircraft.ias_from_tas(i.air, i.tas_m_s)
    }

    /// Opens a segment.
    fn begin(&mut self, kind: SegmentKind, mixture: usize) {
        if let Some(track) = &self.track {
            self.segments.push(Segment {
                kind,
                first: track.len(),
                last: track.len(),
                mixture,
            });
        }
    }

    /// Keeps a point of the path and checks the limits that hold always.
    fn visit(&mut self, i: &Instant, control: &Control) {
        let p = self.p;
        let indicated_m = self.indicated_m();
        let ias_m_s = self.ias_m_s(i);
        let here = Passing {
            distance_m: self.state.distance_m,
            true_altitude_m: i.sample.true_altitude_m,
            indicated_m,
            ias_m_s,
        };
        self.pass(here, i.mass_kg);
        let set = &i.performance;
        let most_rev_s = p.aircraft.propeller.highest_governed_rev_s;
        if p.aircraft.propeller.is_fixed() {
            self.audit.note(Limit::Redline, set.rev_s - most_rev_s);
            self.audit.note(
                Limit::ManifoldPressure,
                set.map_pa - p.aircraft.map_limit_pa(set.rev_s),
            );
            // The RPM of a full-throttle climb and of the circuit are nobody's choice.
            let chosen = matches!(control.levers.throttle, Throttle::Rpm | Throttle::Fixed(_));
            if chosen && p.aircraft.in_avoid_band(set.rev_s, set.map_pa) {
                self.audit.note(Limit::RpmBand, 1.0);
            }
            if control.levers.throttle == Throttle::Rpm && set.governed != Governed::Yes {
                self.audit
                    .note(Limit::Governor, (set.rev_s - control.levers.rev_s).abs());
            }
        } else if control.levers.rev_s < most_rev_s - 1e-9 {
            // With the lever full forward (take-off, circuit) neither limit line nor bands hold, and the RPM may sag.
            if set.governed != Governed::Yes {
                self.audit
                    .note(Limit::Governor, (set.rev_s - control.levers.rev_s).abs());
            }
            self.audit.note(
                Limit::ManifoldPressure,
                set.map_pa - p.aircraft.map_limit_pa(set.rev_s),
            );
            if p.aircraft.in_avoid_band(set.rev_s, set.map_pa) {
                self.audit.note(Limit::RpmBand, 1.0);
            }
        }
        if let Some(track) = &mut self.track {
            let segment = self.segments.len().saturating_sub(1);
            if let Some(s) = self.segments.last_mut() {
                s.last = track.len();
            }
            track.push(TrackPoint {
                state: State {
                    tas_m_s: i.tas_m_s,
                    ..self.state
                },
                indicated_m,
                true_altitude_m: i.sample.true_altitude_m,
                ias_m_s,
                ground_speed_m_s: i.ground_speed_m_s,
                rate_m_s: i.rate_m_s,
                map_pa: set.map_pa,
                rev_s: set.rev_s,
                mixture: control.levers.mixture,
                power_fraction: set.power_fraction,
                fuel_kg_s: set.fuel_kg_s,
                wind_along_m_s: i.sample.along_m_s,
                mass_kg: i.mass_kg,
                segment,
            });
        }
    }

    /// Holds a point of the path, and the path since the last one, against ground and speed limit. Both change in steps, with
    /// distance and with height, so the path is also looked at where a step lies between two points, on both its sides.
    fn pass(&mut self, here: Passing, mass_kg: f64) {
        self.hold(here, here.distance_m, here.indicated_m, mass_kg);
        if let Some(last) = self.last.replace(here) {
            let p = self.p;
            let (s0, s1) = (last.distance_m, here.distance_m);
            for edge in p.floor_edges_m() {
                if s0 < edge && edge < s1 {
                    let at = last.toward(here, (edge - s0) / (s1 - s0));
                    self.hold(at, edge - EDGE_M, at.indicated_m, mass_kg);
                    self.hold(at, edge + EDGE_M, at.indicated_m, mass_kg);
                }
            }
            let (h0, h1) = (last.indicated_m, here.indicated_m);
            for &(edge, _) in &p.limits.air {
                if (h0 - edge) * (h1 - edge) < 0.0 {
                    let at = last.toward(here, (edge - h0) / (h1 - h0));
                    self.hold(at, at.distance_m, edge - EDGE_M, mass_kg);
                    self.hold(at, at.distance_m, edge + EDGE_M, mass_kg);
                }
            }
        }
    }

    /// Notes ground and speed limit of one place for a point of the path.
    fn hold(&mut self, at: Passing, distance_m: f64, indicated_m: f64, mass_kg: f64) {
        let p = self.p;
        let above_ground = at.true_altitude_m - p.ground_m(distance_m);
        let fraction = mass_kg / p.aircraft.masses.max_take_off_kg;
        let top = p
            .limits
            .speed_limit_m_s(&p.aircraft.speeds, fraction, indicated_m, above_ground);
        self.audit.note(Limit::Airspeed, at.ias_m_s - top);
        if let Some(floor_m) = p.floor_m(distance_m) {
            self.audit.note(Limit::Ground, floor_m - at.true_altitude_m);
        }
    }

    /// Climbs at a held IAS to an indicated altitude.
    fn climb(
        &mut self,
        levers: Levers,
        ias_m_s: f64,
        to_indicated_m: f64,
    ) -> Result<Instant, FlightError> {
        let control = Control {
            vertical: Vertical::Ias(ias_m_s),
            ..self.climb_power(levers)
        };
        let mut here = instant(self.p, &self.state, &control, &self.near);
        self.visit(&here, &control);
        loop {
            let left = self
                .p
                .pressure_altitude_m(self.state.distance_m, to_indicated_m)
                - self.state.pressure_altitude_m;
            if left < 0.05 {
                return Ok(here);
            }
            let steps = (left / CLIMB_STEP_M).ceil();
            let next = step_height(
                self.p,
                &self.state,
                &here,
                &control,
                left / steps,
                &self.near,
            );
            let Some(next) = next.filter(|s| s.time_s - self.state.time_s < LONGEST_CHANGE_S)
            else {
                return Err(FlightError::CannotClimb {
                    altitude_ft: self.indicated_m() / M_PER_FT,
                });
            };
            self.state = next;
            here = instant(self.p, &self.state, &control, &self.near);
            self.visit(&here, &control);
        }
    }

    /// Flies with the speed free until it passes a target IAS, upwards or downwards.
    fn change_speed(
        &mut self,
        control: &Control,
        to_ias_m_s: f64,
        up: bool,
    ) -> Result<(), FlightError> {
        let began = self.state.time_s;
        let mut here = instant(self.p, &self.state, control, &self.near);
        self.visit(&here, control);
        let p = self.p;
        let short = |i: &Instant| {
            let ias = p.aircraft.ias_from_tas(i.air, i.tas_m_s);
            if up {
                to_ias_m_s - ias
            } else {
                ias - to_ias_m_s
            }
        };
        while short(&here) > 1e-4 {
            let toward = if up {
                here.acceleration_m_s2
            } else {
                -here.acceleration_m_s2
            };
            if toward < LEAST_ACCELERATION_M_S2 || self.state.time_s - began > LONGEST_CHANGE_S {
                return if up {
                    Ok(())
                } else {
                    Err(FlightError::NeverSlows)
                };
            }
            let mut dt = self.step_s;
            let mut next = step_time(self.p, &self.state, &here, control, dt, &self.near);
            let mut there = instant(self.p, &next, control, &self.near);
            // The last step is shortened until the speed is met.
            for _ in 0..6 {
                let miss = short(&there);
                if miss > -1e-5 {
                    break;
                }
                let slope = (short(&here) - miss) / dt;
                dt = (dt + miss / slope).max(1e-3);
                next = step_time(self.p, &self.state, &here, control, dt, &self.near);
                there = instant(self.p, &next, control, &self.near);
            }
            self.state = next;
            self.still_flying()?;
            here = there;
            self.visit(&here, control);
        }
        Ok(())
    }

    /// Notes how close the power comes to the band of the mixture: in cruise, descent and slow-down. Take-off, climb and circuit
    /// have a rule of their own (DESIGN section 5).
    fn note_mixture(&mut self, i: &Instant, mixture: usize) {
        let mix = &self.p.aircraft.engine.spec.mixtures[mixture];
        self.audit.note(
            Limit::Mixture,
            i.performance.power_fraction - mix.max_power_fraction,
        );
    }

    /// Cruises to a distance: quasi-steady between wind nodes, two Gauss points a step.
    fn cruise(&mut self, leg: &Cruise, to_m: f64) -> Result<Steady, FlightError> {
        let levers = Levers {
            throttle: leg.throttle,
            rev_s: leg.rev_s,
            mixture: leg.mixture,
        };
        let control = level_control(levers);
        let p = self.p;
        let cannot = FlightError::CannotCruise {
            altitude_ft: leg.level_m / M_PER_FT,
        };
        let air_at = |s_m: f64| p.air_state(s_m, p.pressure_altitude_m(s_m, leg.level_m));
        let gs_of = |tas: f64, sample: &AirSample| {
            let gs = ground_speed_m_s(tas, 0.0, sample);
            if gs < LEAST_GROUND_SPEED_M_S {
                Err(FlightError::NoGroundSpeed)
            } else {
                Ok(gs)
            }
        };
        let (air, sample) = air_at(self.state.distance_m);
        let mass = self.mass_kg();
        let (mut v, mut tau) =
            level_speed_m_s(p, air, mass, levers, self.state.tas_m_s).ok_or(cannot)?;
        // Far from the steady speed the approach to it is flown.
        let nearly_m_s = if self.track.is_some() {
            RECORDED_TRANSIENT_M_S
        } else {
            TRANSIENT_M_S
        };
        while (self.state.tas_m_s - v).abs() > nearly_m_s && self.state.distance_m < to_m {
            let here = instant(p, &self.state, &control, &self.near);
            self.visit(&here, &control);
            let dt = self
                .step_s
                .min((to_m - self.state.distance_m) / here.ground_speed_m_s.max(1.0) + 1e-3);
            self.state = step_time(p, &self.state, &here, &control, dt, &self.near);
            self.still_flying()?;
        }
        let mut gs = gs_of(v, &sample)?;
        if (self.state.tas_m_s - v).abs() > nearly_m_s {
            // The stretch is over before the speed has settled.
            let here = instant(p, &self.state, &control, &self.near);
            self.visit(&here, &control);
            return Ok(Steady {
                fuel_kg_s: here.performance.fuel_kg_s,
                rev_s: here.performance.rev_s,
                ground_speed_m_s: here.ground_speed_m_s,
            });
        }
        let set_at = |air, v| {
            p.aircraft
                .perform_under_redline(air, v, levers, &Cell::new(f64::NAN))
        };
        let mut perf = set_at(air, v);
        // Transient after setting power: the excess speed decays with tau, so the aeroplane is (V0 - V) tau ahead.
        let saved_s = (self.state.tas_m_s - v) * tau / gs;
        self.state.time_s -= saved_s;
        self.state.fuel_kg -= saved_s * perf.fuel_kg_s;
        self.state.revolutions -= saved_s * perf.rev_s;
        self.cruise_visit(v, &control);
        let first_m_s = v;
        while self.state.distance_m < to_m - 1e-6 {
            let end = p
                .legs
                .iter()
                .map(|l| l.to_m)
                .find(|&b| b > self.state.distance_m + 1e-6)
                .unwrap_or(to_m)
                .min(to_m);
            let left = end - self.state.distance_m;
            let ds = left / (left / CRUISE_STEP_M).ceil();
            // Gauss points of the unit interval, weights 1/2 each.
            let half = 0.5 * 3.0_f64.sqrt() / 3.0;
            let (mut dt, mut fuel, mut revs) = (0.0, 0.0, 0.0);
            for x in [0.5 - half, 0.5 + half] {
                let mass = self.mass_kg() - perf.fuel_kg_s * x * ds / gs;
                let (air, sample) = air_at(self.state.distance_m + x * ds);
                // The speed changes little from point to point: one Newton step with the slope of the last full solution, and a
                // full solution where that moves far.
                perf = set_at(air, v);
                let excess =
                    perf.thrust_n - p.aircraft.drag_n(air, v, mass, Configuration::default());
                let change = excess * tau / mass;
                if change.abs() < NEWTON_M_S {
                    v += change;
                } else {
                    (v, tau) = level_speed_m_s(p, air, mass, levers, v).ok_or(cannot)?;
                    perf = set_at(air, v);
                }
                gs = gs_of(v, &sample)?;
                let share = 0.5 * ds / gs;
                dt += share;
                fuel += share * perf.fuel_kg_s;
                revs += share * perf.rev_s;
                self.audit.note(
                    Limit::CruisePower,
                    perf.power_fraction - p.aircraft.procedures.cruise_power_fraction,
                );
            }
            self.state.time_s += dt;
            self.state.fuel_kg += fuel;
            self.state.revolutions += revs;
            self.state.distance_m += ds;
            self.state.pressure_altitude_m =
                p.pressure_altitude_m(self.state.distance_m, leg.level_m);
            self.cruise_visit(v, &control);
        }
        // The speed lags behind the steady one by tau while that changes with wind, weight and air.
        let lag_s = (first_m_s - v) * tau / gs;
        self.state.time_s -= lag_s;
        self.state.fuel_kg -= lag_s * perf.fuel_kg_s;
        self.state.revolutions -= lag_s * perf.rev_s;
        Ok(Steady {
            fuel_kg_s: perf.fuel_kg_s,
            rev_s: perf.rev_s,
            ground_speed_m_s: gs,
        })
    }

    fn cruise_visit(&mut self, tas_m_s: f64, control: &Control) {
        self.state.tas_m_s = tas_m_s;
        let here = instant(self.p, &self.state, control, &self.near);
        self.visit(&here, control);
        self.note_mixture(&here, control.levers.mixture);
        self.note_low_speed(&here);
    }

    fn note_low_speed(&mut self, here: &Instant) {
        let aircraft = &self.p.aircraft;
        let stall = Speeds::at_mass(
            aircraft.speeds.vs_m_s,
            here.mass_kg,
            aircraft.masses.max_take_off_kg,
        );
        self.audit.note(
            Limit::LowSpeed,
            CRUISE_OVER_STALL * stall - self.ias_m_s(here),
        );
    }

    /// Flies from one cruise level to the next.
    fn change_level(
        &mut self,
        script: &Script,
        from: &Cruise,
        to: &Cruise,
    ) -> Result<(), FlightError> {
        if to.level_m > from.level_m {
            // Flown at the speed of the moment: slowing down to climb speed first would give height away.
            let now = self.ias_now();
            if now < script.climb.ias_m_s {
                let levers = self.climb_levers(script);
                self.begin(SegmentKind::LevelChange, levers.mixture);
                self.change_speed(&self.climb_power(levers), script.climb.ias_m_s, true)?;
            }
            let ias = script.climb.ias_m_s.max(now);
            let rate = self.climb_on(script, ias, to.level_m, SegmentKind::LevelChange)?;
            self.note_climb_rate(rate);
            let levers = self.climb_levers(script);
            self.begin(SegmentKind::LevelOff, levers.mixture);
            self.change_speed(&self.climb_power(levers), to.set_at_ias_m_s, true)
        } else {
            let levers = Levers {
                throttle: from.throttle,
                rev_s: from.rev_s,
                mixture: from.mixture,
            };
            self.begin(SegmentKind::LevelChange, levers.mixture);
            let rate = Vertical::Rate(-self.p.limits.max_descent_m_s);
            let control = Control {
                levers,
                vertical: rate,
                configuration: Configuration::default(),
            };
            let mut here = instant(self.p, &self.state, &control, &self.near);
            self.visit(&here, &control);
            loop {
                let left = self.state.pressure_altitude_m
                    - self
                        .p
                        .pressure_altitude_m(self.state.distance_m, to.level_m);
                if left < 0.05 {
                    return Ok(());
                }
                let dt = (left / self.p.limits.max_descent_m_s).min(self.step_s);
                self.state = step_time(self.p, &self.state, &here, &control, dt, &self.near);
                self.still_flying()?;
                here = instant(self.p, &self.state, &control, &self.near);
                self.visit(&here, &control);
            }
        }
    }

    /// The speed has not fallen away, as it does where thrust and height lost do not make up for drag.
    fn still_flying(&self) -> Result<(), FlightError> {
        let s = &self.state;
        let whole = s.distance_m.is_finite() && s.pressure_altitude_m.is_finite();
        if whole && s.tas_m_s > LEAST_TAS_M_S {
            Ok(())
        } else {
            Err(FlightError::StopsFlying)
        }
    }

    fn ias_now(&self) -> f64 {
        let (air, _) = self
            .p
            .air_state(self.state.distance_m, self.state.pressure_altitude_m);
        self.p.aircraft.ias_from_tas(air, self.state.tas_m_s)
    }

    /// Level at climb power, speed free, cowl flaps open where there are any.
    fn climb_power(&self, levers: Levers) -> Control {
        Control {
            configuration: Configuration {
                cowl_flaps_open: self.p.aircraft.equipment.cowl_flaps,
                ..Configuration::default()
            },
            ..level_control(levers)
        }
    }

    fn climb_levers(&self, script: &Script) -> Levers {
        let c = &script.climb;
        let lean = self.indicated_m() >= c.lean_at_m - 0.1;
        Levers {
            throttle: Throttle::Full,
            rev_s: c.rev_s,
            mixture: if lean {
                self.p.aircraft.engine.best_power_mixture()
            } else {
                c.mixture
            },
        }
    }

    fn note_climb_rate(&mut self, rate_m_s: f64) {
        let leg = &self.p.legs[self.p.leg_index(self.state.distance_m)];
        let least = if leg.mountainous {
            MOUNTAIN_CLIMB_M_S
        } else {
            PLAIN_CLIMB_M_S
        };
        self.audit.note(Limit::ClimbRate, least - rate_m_s);
    }

    /// Take-off power to a thousand feet, then the climb setting and the speed of the climb.
    fn reach_climb_speed(&mut self, script: &Script) -> Result<(), FlightError> {
        let p = self.p;
        let take_off = Levers {
            throttle: Throttle::Full,
            rev_s: p.aircraft.propeller.highest_governed_rev_s,
            mixture: script.initial_mixture,
        };
        self.begin(SegmentKind::InitialClimb, take_off.mixture);
        self.climb(
            take_off,
            script.initial_ias_m_s,
            p.departure.elevation_m + INITIAL_CLIMB_M,
        )?;
        let levers = self.climb_levers(script);
        if script.climb.ias_m_s > script.initial_ias_m_s + 1e-6 {
            self.begin(SegmentKind::Accelerate, levers.mixture);
            self.change_speed(&self.climb_power(levers), script.climb.ias_m_s, true)?;
        }
        Ok(())
    }

    /// Climbs on to an indicated altitude with the climb setting; the rate of climb on reaching it [m/s].
    fn climb_on(
        &mut self,
        script: &Script,
        ias_m_s: f64,
        to_m: f64,
        kind: SegmentKind,
    ) -> Result<f64, FlightError> {
        let lean_at_m = script.climb.lean_at_m;
        if lean_at_m > self.indicated_m() && lean_at_m < to_m {
            let levers = self.climb_levers(script);
            self.begin(kind, levers.mixture);
            self.climb(levers, ias_m_s, lean_at_m)?;
        }
        let levers = self.climb_levers(script);
        self.begin(kind, levers.mixture);
        Ok(self.climb(levers, ias_m_s, to_m)?.rate_m_s)
    }

    fn whole(&mut self, script: &Script, hint: Option<Hint>) -> Result<Flown, FlightError> {
        let p = self.p;
        let climb = &script.climb;
        self.reach_climb_speed(script)?;
        let first = &script.cruise[0];
        let rate = self.climb_on(script, climb.ias_m_s, first.level_m, SegmentKind::Climb)?;
        self.note_climb_rate(rate);
        let speeds = &p.aircraft.speeds;
        let vy = speeds.vy_at_m_s(
            self.state.pressure_altitude_m,
            self.mass_kg(),
            p.aircraft.masses.max_take_off_kg,
        );
        self.audit.note(
            Limit::LowSpeed,
            vy.max(speeds.least_cooling_m_s) - climb.ias_m_s,
        );
        let top_of_climb = Mark::from(&self.state);
        // Level: accelerate at climb power, then set cruise power.
        let levers = self.climb_levers(script);
        self.begin(SegmentKind::LevelOff, levers.mixture);
        self.change_speed(&self.climb_power(levers), first.set_at_ias_m_s, true)?;
        for pair in script.cruise.windows(2) {
            self.begin(SegmentKind::Cruise, pair[0].mixture);
            self.audit.note(
                Limit::Distance,
                self.state.distance_m + SHORTEST_CRUISE_M - pair[1].from_m,
            );
            self.cruise(&pair[0], pair[1].from_m)?;
            self.change_level(script, &pair[0], &pair[1])?;
        }
        let last = &script.cruise[script.cruise.len() - 1];
        let pattern_m = p.length_m - p.arrival.before_m;
        self.begin(SegmentKind::Cruise, last.mixture);
        let last_level_m = self.state.distance_m;
        let (steady, top_of_descent, level_off) = if script.descent.to_go_m.is_finite() {
            let tod_m = p.length_m - script.descent.to_go_m;
            self.audit
                .note(Limit::Distance, self.state.distance_m - tod_m);
            let steady = self.cruise(last, tod_m.max(self.state.distance_m))?;
            let top = Mark::from(&self.state);
            (steady, top, self.descend(script, last)?)
        } else {
            self.let_down_to_meet(script, last, pattern_m, hint)?
        };
        if script.cruise.len() > 1 {
            self.audit.note(
                Limit::Distance,
                last_level_m + SHORTEST_CRUISE_M - top_of_descent.distance_m,
            );
        }
        let cruise_fuel_kg_s = steady.fuel_kg_s;
        let slowed = Mark::from(&self.state);
        self.arrive()?;
        let burned = self.state.fuel_kg + p.aircraft.procedures.take_off_fuel_kg;
        let reserve_kg = p.limits.reserve_s * cruise_fuel_kg_s;
        self.audit.note(
            Limit::Fuel,
            burned + reserve_kg - (p.fuel_kg - p.aircraft.procedures.taxi_fuel_kg),
        );
        let rates = p.cost_rates();
        let mut resolved = script.clone();
        resolved.descent.to_go_m = p.length_m - top_of_descent.distance_m;
        Ok(Flown {
            script: resolved,
            time_s: self.state.time_s,
            fuel_kg: burned,
            revolutions: self.state.revolutions,
            cost: rates.per_s * self.state.time_s
                + rates.per_kg * burned
                + rates.per_rev * self.state.revolutions,
            top_of_climb,
            top_of_descent,
            level_off,
            slowed,
            audit: std::mem::take(&mut self.audit),
            cruise_fuel_kg_s,
            segments: std::mem::take(&mut self.segments),
            track: self.track.take().unwrap_or_default(),
        })
    }

    /// Cruises, descends and slows down so that pattern speed is met at the pattern point: flown, and flown again with the top of
    /// descent moved by the miss. A search stops at a small miss and moves the rest in closed form; a recorded flight goes on until
    /// it is met.
    fn let_down_to_meet(
        &mut self,
        script: &Script,
        last: &Cruise,
        pattern_m: f64,
        hint: Option<Hint>,
    ) -> Result<(Steady, Mark, Mark), FlightError> {
        let recording = self.track.is_some();
        let mut tod_m = hint.map_or_else(
            || {
                let rate = match script.descent.path {
                    PathRule::Rate(r) => r,
                    PathRule::Ias(_) => self.p.limits.max_descent_m_s,
                };
                let down_s = (last.level_m - self.p.arrival.pattern_altitude_m) / rate + 60.0;
                pattern_m - down_s * self.state.tas_m_s.max(40.0)
            },
            |h| h.top_of_descent_m,
        );
        let top_of_climb_m = self.state.distance_m;
        let origin = self.save();
        // Most of the cruise is flown once; if the top of descent proves to lie before that, it is flown again.
        let mut saved = self.cruise_and_save(last, tod_m - REWIND_M)?;
        for _ in 0..MOST_TRIES {
            if tod_m < self.state.distance_m && self.state.distance_m > top_of_climb_m {
                self.restore(origin.clone());
                saved = self.cruise_and_save(last, tod_m - REWIND_M)?;
            }
            let from_m = tod_m.max(top_of_climb_m);
            let steady = self.cruise(last, from_m)?;
            let top = self.state;
            let level_off = self.descend(script, last)?;
            let miss_m = pattern_m - self.state.distance_m;
            let met = if recording {
                miss_m.abs() < TOD_TOLERANCE_M
            } else {
                miss_m.abs() < SHIFT_M
            };
            if met || tod_m + miss_m < top_of_climb_m {
                // The rest in closed form; for a recorded flight it is within the tolerance and nothing is moved.
                let move_m = if recording { 0.0 } else { miss_m };
                let dt = move_m / steady.ground_speed_m_s;
                self.audit
                    .note(Limit::Distance, top_of_climb_m - (tod_m + miss_m));
                self.state.time_s += dt;
                self.state.fuel_kg += dt * steady.fuel_kg_s;
                self.state.revolutions += dt * steady.rev_s;
                self.state.distance_m += move_m;
                let shift = |m: Mark| Mark {
                    distance_m: m.distance_m + move_m,
                    time_s: m.time_s + dt,
                    fuel_kg: m.fuel_kg + dt * steady.fuel_kg_s,
                };
                return Ok((steady, shift(Mark::from(&top)), shift(level_off)));
            }
            tod_m += miss_m;
            self.restore(saved.clone());
        }
        Err(FlightError::NoTopOfDescent)
    }

    fn save(&self) -> Saved {
        (
            self.state,
            self.audit.clone(),
            self.track.clone(),
            self.segments.clone(),
        )
    }

    fn restore(&mut self, saved: Saved) {
        (self.state, self.audit, self.track, self.segments) = saved;
        self.last = None;
    }

    fn cruise_and_save(&mut self, leg: &Cruise, to_m: f64) -> Result<Saved, FlightError> {
        if to_m > self.state.distance_m {
            self.cruise(leg, to_m)?;
        }
        Ok(self.save())
    }

    /// Descends from cruise and slows down; returns where the pattern altitude was reached.
    fn descend(&mut self, script: &Script, last: &Cruise) -> Result<Mark, FlightError> {
        let p = self.p;
        let d = &script.descent;
        let cuts = &script.reduction;
        let pattern_m = p.arrival.pattern_altitude_m;
        self.begin(SegmentKind::Descent, d.mixture);
        // Power from the cruise setting down to the descent setting, one step an interval.
        let cruise = self.set_here(Levers {
            throttle: last.throttle,
            rev_s: last.rev_s,
            mixture: last.mixture,
        });
        let gauge = self.gauge();
        let from = gauge.reading(&cruise);
        let target = match d.throttle {
            ThrottleRule::Held(map_pa) | ThrottleRule::LeftAlone(map_pa) => Some(map_pa),
            ThrottleRule::Rpm => Some(d.rev_s),
            ThrottleRule::Full | ThrottleRule::Untouched => None,
        };
        if let Some(map_pa) = d.throttle.set_map_pa() {
            self.audit
                .note(Limit::LeastManifoldPressure, p.limits.least_map_pa - map_pa);
        }
        let mut reading = match target {
            Some(t) if t < from => gauge.next_cut(cuts, from).max(t),
            Some(t) => t,
            None => f64::INFINITY,
        };
        let mut next_cut_s = self.state.time_s + cuts.interval_s;
        let mut settling = target.is_some_and(|t| reading > t + gauge.same());
        let mut reducing = false;
        let mut on_speed = false;
        let mut fixed: Option<f64> = None;
        let mut trim_m = f64::NAN;
        let configuration = Configuration::default();
        loop {
            let indicated = self.indicated_m();
            if indicated <= pattern_m + 0.05 {
                break;
            }
            if !reducing && indicated <= d.reduce_at_m + 0.05 && d.reduce_at_m > pattern_m {
                reducing = true;
                let now =
                    gauge.reading(&self.set_here(self.descent_levers(d, reading, settling, fixed)));
                settling = false;
                reading = gauge.next_cut(cuts, now);
                next_cut_s = self.state.time_s + cuts.interval_s;
                fixed = None;
            }
            if (reducing || settling) && self.state.time_s >= next_cut_s - 1e-6 {
                let floor = if reducing {
                    gauge.floor(cuts)
                } else {
                    target.unwrap_or(reading)
                };
                reading = gauge.next_cut(cuts, reading).max(floor.min(reading));
                next_cut_s += cuts.interval_s;
                settling = settling && reading > floor + gauge.same();
            }
            // Trims: the throttle stays between them and the MAP rises.
            let mut stop_m = pattern_m;
            if !reducing && !settling {
                match d.throttle {
                    ThrottleRule::Full | ThrottleRule::Rpm => fixed = None,
                    ThrottleRule::Held(set) => {
                        let due = !trim_m.is_finite() || indicated <= trim_m + 0.05;
                        if due {
                            fixed = Some(self.conductance(self.set_here(gauge.levers(set, d))));
                            trim_m = ((indicated - 0.1) / TRIM_M).floor() * TRIM_M;
                        }
                        stop_m = stop_m.max(trim_m);
                    }
                    ThrottleRule::LeftAlone(set) => {
                        if fixed.is_none() {
                            fixed = Some(self.conductance(self.set_here(gauge.levers(set, d))));
                        }
                    }
                    ThrottleRule::Untouched => {
                        if fixed.is_none() {
                            fixed = Some(self.conductance(cruise));
                        }
                    }
                }
                if d.reduce_at_m > pattern_m && indicated > d.reduce_at_m {
                    stop_m = stop_m.max(d.reduce_at_m);
                }
            }
            let levers = self.descent_levers(d, reading, reducing || settling, fixed);
            let vertical = match d.path {
                PathRule::Rate(r) => Vertical::Rate(-r),
                PathRule::Ias(ias) => {
                    // From a faster cruise: level with the power of the descent until slowed to it; from a slower one: down at
                    // the greatest rate until it is reached.
                    let now = self.ias_now();
                    on_speed = on_speed || (now - ias).abs() <= ON_SPEED_M_S;
                    match (on_speed, now > ias) {
                        (true, _) => Vertical::Ias(ias),
                        (false, true) => Vertical::Level,
                        (false, false) => Vertical::Rate(-p.limits.max_descent_m_s),
                    }
                }
            };
            let toward_speed = matches!(d.path, PathRule::Ias(_)) && !on_speed;
            let control = Control {
                levers,
                vertical,
                configuration,
            };
            let here = instant(p, &self.state, &control, &self.near);
            self.visit(&here, &control);
            self.note_mixture(&here, d.mixture);
            let slowing = vertical == Vertical::Level;
            if slowing && here.acceleration_m_s2 > -LEAST_ACCELERATION_M_S2 && !settling {
                return Err(FlightError::NeverSlows);
            }
            if !slowing && here.rate_m_s > -0.05 {
                return Err(FlightError::CannotDescend);
            }
            self.audit.note(
                Limit::DescentRate,
                -here.rate_m_s - p.limits.max_descent_m_s,
            );
            self.note_low_speed(&here);
            let mut dt = self.step_s;
            if reducing || settling {
                dt = dt.min((next_cut_s - self.state.time_s).max(0.1));
            }
            let height_left = indicated - stop_m;
            if !slowing {
                dt = dt.min(height_left / -here.rate_m_s);
            }
            let mut next = step_time(p, &self.state, &here, &control, dt, &self.near);
            if let PathRule::Ias(ias) = d.path
                && toward_speed
            {
                // Meet the speed, not pass it.
                let ias_of = |s: &State| {
                    let (air, _) = p.air_state(s.distance_m, s.pressure_altitude_m);
                    p.aircraft.ias_from_tas(air, s.tas_m_s)
                };
                let sign = if slowing { -1.0 } else { 1.0 };
                let short = sign * (ias - ias_of(&self.state));
                for _ in 0..6 {
                    let over = sign * (ias_of(&next) - ias);
                    if over < 1e-3 {
                        break;
                    }
                    dt *= (short / (short + over)).clamp(0.02, 1.0);
                    next = step_time(p, &self.state, &here, &control, dt, &self.near);
                }
            }
            self.state = next;
            self.still_flying()?;
            if matches!(vertical, Vertical::Ias(_)) {
                // TAS follows from the held IAS.
                let there = instant(p, &self.state, &control, &self.near);
                self.state.tas_m_s = there.tas_m_s;
            }
        }
        let level_off = Mark::from(&self.state);
        // The pattern speed is met from above.
        self.audit.note(
            Limit::LowSpeed,
            p.aircraft.procedures.pattern_m_s - self.ias_now(),
        );
        // Level at pattern altitude: go on reducing, gear at its speed, until pattern speed.
        if !reducing {
            let now =
                gauge.reading(&self.set_here(self.descent_levers(d, reading, settling, fixed)));
            reading = gauge.next_cut(cuts, now);
            next_cut_s = self.state.time_s + cuts.interval_s;
        }
        self.slow_down(script, reading, next_cut_s)?;
        Ok(level_off)
    }

    fn slow_down(
        &mut self,
        script: &Script,
        mut reading: f64,
        mut next_cut_s: f64,
    ) -> Result<(), FlightError> {
        let p = self.p;
        let cuts = &script.reduction;
        let d = &script.descent;
        let gauge = self.gauge();
        self.begin(SegmentKind::SlowDown, d.mixture);
        let began = self.state.time_s;
        let target = p.aircraft.procedures.pattern_m_s;
        let vlo = p.aircraft.speeds.vlo_extend_m_s;
        loop {
            if self.state.time_s >= next_cut_s - 1e-6 {
                reading = gauge.next_cut(cuts, reading);
                next_cut_s += cuts.interval_s;
            }
            let gear_down = self.ias_now() <= vlo + 1e-4;
            let control = Control {
                levers: gauge.levers(reading, d),
                vertical: Vertical::Level,
                configuration: Configuration {
                    gear_down,
                    ..Configuration::default()
                },
            };
            let here = instant(p, &self.state, &control, &self.near);
            self.visit(&here, &control);
            let ias = self.ias_m_s(&here);
            if ias <= target + 1e-4 {
                return Ok(());
            }
            if self.state.time_s - began > LONGEST_CHANGE_S {
                return Err(FlightError::NeverSlows);
            }
            let stop = if gear_down { target } else { target.max(vlo) };
            let mut dt = self.step_s.min((next_cut_s - self.state.time_s).max(0.1));
            let mut next = step_time(p, &self.state, &here, &control, dt, &self.near);
            for _ in 0..MOST_TRIES {
                let after = instant(p, &next, &control, &self.near);
                let over = self.ias_m_s(&after) - stop;
                if over > -1e-5 {
                    break;
                }
                // A step so long that the speed is lost altogether says nothing of where the target lies.
                let share = (ias - stop) / (ias - stop - over);
                dt *= if share.is_finite() {
                    share.clamp(0.0, 1.0)
                } else {
                    0.25
                };
                next = step_time(p, &self.state, &here, &control, dt.max(1e-4), &self.near);
            }
            self.state = next;
            self.still_flying()?;
        }
    }

    /// What these levers give here and now.
    fn set_here(&self, levers: Levers) -> Performance {
        let (air, _) = self
            .p
            .air_state(self.state.distance_m, self.state.pressure_altitude_m);
        self.p
            .aircraft
            .perform_under_redline(air, self.state.tas_m_s, levers, &self.near)
    }

    /// Conductance of the throttle that gives what is set here.
    fn conductance(&self, set: Performance) -> f64 {
        let (air, _) = self
            .p
            .air_state(self.state.distance_m, self.state.pressure_altitude_m);
        let aircraft = &self.p.aircraft;
        aircraft.engine.conductance(
            set.map_pa,
            set.rev_s,
            aircraft.intake(air, self.state.tas_m_s),
        )
    }

    /// The levers of the moment in a descent: at the reading of a reduction, with the throttle left where it is, or at full
    /// throttle, or at the RPM held. Under a governor never over the limit line.
    fn descent_levers(
        &self,
        d: &Descent,
        reading: f64,
        by_reading: bool,
        fixed: Option<f64>,
    ) -> Levers {
        let gauge = self.gauge();
        if by_reading {
            return gauge.levers(reading, d);
        }
        let throttle = match (fixed, gauge) {
            (Some(g), Gauge::Tachometer { .. }) => Throttle::Fixed(g),
            (None, Gauge::Tachometer { .. }) if d.throttle == ThrottleRule::Rpm => Throttle::Rpm,
            (None, Gauge::Tachometer { .. }) => Throttle::Full,
            (throttle, Gauge::ManifoldPressure { .. }) => {
                let throttle = throttle.map_or(Throttle::Full, Throttle::Fixed);
                let (air, _) = self
                    .p
                    .air_state(self.state.distance_m, self.state.pressure_altitude_m);
                let aircraft = &self.p.aircraft;
                let intake = aircraft.intake(air, self.state.tas_m_s);
                let limit_pa = aircraft.map_limit_pa(d.rev_s);
                if aircraft.engine.map_pa(throttle, d.rev_s, intake) > limit_pa {
                    Throttle::Map(limit_pa)
                } else {
                    throttle
                }
            }
        };
        Levers {
            throttle,
            rev_s: d.rev_s,
            mixture: d.mixture,
        }
    }

    fn gauge(&self) -> Gauge {
        let aircraft = &self.p.aircraft;
        let procedures = &aircraft.procedures;
        if aircraft.propeller.is_fixed() {
            Gauge::Tachometer {
                settable: procedures.rev_step_s,
            }
        } else {
            Gauge::ManifoldPressure {
                settable: procedures.map_step_pa,
            }
        }
    }

    /// From the point where pattern speed is met to the field, and the circuit: level at pattern speed, gear down, propeller
    /// forward, with the power that holds the speed.
    fn arrive(&mut self) -> Result<(), FlightError> {
        let p = self.p;
        let mixture = p
            .aircraft
            .high_power_mixture(p.density_altitude_m(&p.destination));
        self.begin(SegmentKind::Pattern, mixture);
        let configuration = Configuration {
            gear_down: true,
            ..Configuration::default()
        };
        let rev_s = p.aircraft.propeller.highest_governed_rev_s;
        let level = p.arrival.pattern_altitude_m;
        let balanced = |s_m: f64, mass_kg: f64| {
            let hp = p.pressure_altitude_m(s_m, level);
            let (air, sample) = p.air_state(s_m, hp);
            let tas = p
                .aircraft
                .tas_from_ias(air, p.aircraft.procedures.pattern_m_s);
            let drag = p.aircraft.drag_n(air, tas, mass_kg, configuration);
            let excess = |map| {
                let levers = Levers {
                    throttle: Throttle::Map(map),
                    rev_s,
                    mixture,
                };
                p.aircraft.perform(air, tas, levers).thrust_n - drag
            };
            let (mut low, mut high) = (0.0, air.pressure_pa);
            for _ in 0..30 {
                let mid = 0.5 * (low + high);
                if excess(mid) > 0.0 {
                    high = mid
                } else {
                    low = mid
                }
            }
            (0.5 * (low + high), ground_speed_m_s(tas, 0.0, &sample), tas)
        };
        let left = (p.length_m - self.state.distance_m).max(0.0);
        let (map, gs, tas) = balanced(self.state.distance_m + 0.5 * left, self.mass_kg());
        if gs < LEAST_GROUND_SPEED_M_S {
            return Err(FlightError::NoGroundSpeed);
        }
        let control = Control {
            levers: Levers {
                throttle: Throttle::Map(map),
                rev_s,
                mixture,
            },
            vertical: Vertical::Level,
            configuration,
        };
        let pass = |flyer: &mut Self, dt: f64, ds: f64| {
            flyer.state.tas_m_s = tas;
            let here = instant(p, &flyer.state, &control, &flyer.near);
            flyer.visit(&here, &control);
            flyer.state.time_s += dt;
            flyer.state.fuel_kg += dt * here.performance.fuel_kg_s;
            flyer.state.revolutions += dt * here.performance.rev_s;
            flyer.state.distance_m += ds;
            flyer.state.pressure_altitude_m = p.pressure_altitude_m(flyer.state.distance_m, level);
            let here = instant(p, &flyer.state, &control, &flyer.near);
            flyer.visit(&here, &control);
        };
        pass(self, left / gs, left);
        self.begin(SegmentKind::Circuit, mixture);
        pass(self, p.arrival.circuit_s, 0.0);
        Ok(())
    }
}
