//! What comes out of a flight.

use super::audit::Audit;
use super::kernel::State;
use super::script::Script;
use crate::air::turn;

/// A stretch flown with one setting and one rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SegmentKind {
    /// Take-off power to 1,000 ft above the field.
    InitialClimb,
    /// Level, to climb speed.
    Accelerate,
    /// Climb.
    Climb,
    /// Climb in turns over the departure.
    CirclingClimb,
    /// Level at climb power, to cruise speed.
    LevelOff,
    /// Cruise.
    Cruise,
    /// Climb or descent from one cruise level to another.
    LevelChange,
    /// Descent.
    Descent,
    /// Descent in turns over the destination.
    CirclingDescent,
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
    /// Bank of a turn over a field, rad; zero on the route.
    pub bank_rad: f64,
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
    /// Mean fuel flow of the cruise, changes of level left out, by which the reserve is reckoned, kg/s.
    pub cruise_fuel_kg_s: f64,
    /// Fuel flow at the end of the last cruise stretch, kg/s.
    pub last_cruise_fuel_kg_s: f64,
    /// Segments; empty unless recorded.
    pub segments: Vec<Segment>,
    /// Path; empty unless recorded.
    pub track: Vec<TrackPoint>,
}

impl SegmentKind {
    /// A climb, straight or circling.
    pub fn climbs(self) -> bool {
        matches!(self, Self::Climb | Self::CirclingClimb)
    }

    /// A descent to the pattern, straight or circling.
    pub fn descends(self) -> bool {
        matches!(self, Self::Descent | Self::CirclingDescent)
    }
}

/// A stretch of a recorded path flown in turns over a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circled {
    /// Its first point.
    pub begin: TrackPoint,
    /// Its last.
    pub end: TrackPoint,
    /// Whole and parts of turns.
    pub turns: f64,
}

/// Turns flown on a recorded path or a part of it.
pub fn turns(path: &[TrackPoint]) -> f64 {
    let rate = |t: &TrackPoint| turn::rate_rad_s(t.state.tas_m_s, t.bank_rad);
    let turned = path
        .windows(2)
        .filter(|w| w[0].bank_rad > 0.0 && w[1].bank_rad > 0.0);
    let angle_rad: f64 = turned
        .map(|w| 0.5 * (rate(&w[0]) + rate(&w[1])) * (w[1].state.time_s - w[0].state.time_s))
        .sum();
    angle_rad / std::f64::consts::TAU
}

impl Flown {
    /// The part of a recorded path flown in turns over the departure, if there is one.
    pub fn circling_climb(&self) -> Option<Circled> {
        let climbed = self
            .track
            .partition_point(|t| t.state.time_s < self.top_of_descent.time_s);
        self.circled(0, climbed)
    }

    /// The part of a recorded path flown in turns over the destination down to the pattern and its speed, if there is one.
    pub fn circling_descent(&self) -> Option<Circled> {
        let down = self
            .track
            .partition_point(|t| t.state.time_s < self.top_of_descent.time_s);
        self.circled(down, self.track.len())
    }

    fn circled(&self, from: usize, to: usize) -> Option<Circled> {
        let part = self.track.get(from..to)?;
        let first = part.iter().position(|t| t.bank_rad > 0.0)?;
        let last = part.iter().rposition(|t| t.bank_rad > 0.0)?;
        Some(Circled {
            begin: part[first],
            end: part[last],
            turns: turns(&part[first..=last]),
        })
    }
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
    /// The held IAS does not descend, or by less than 100 ft/min (90 in fine steps): that would be cruise, by none of its rules.
    #[error("the descent setting does not descend, or by less than 100 ft/min")]
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
    /// It breaks limits by more than the search that asked for it has use for.
    #[error("given up: the limits are broken by far")]
    GivenUp,
}
