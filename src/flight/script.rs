//! What the pilot does: settings, speeds or rates, and the triggers at which they change.

use crate::aircraft::{Levers, Throttle};
use crate::quantity::M_PER_NM;

/// How the throttle is worked in a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ThrottleRule {
    /// Full throttle, retarded in time to stay on the limit line.
    Full,
    /// Set to this manifold pressure \[Pa\] and trimmed back to it at each whole thousand feet of indicated altitude; between trims
    /// the throttle stays and the manifold pressure rises on the way down.
    Held(f64),
    /// Set to this manifold pressure \[Pa\] at the start and then left alone, but retarded in time to stay on the limit line.
    LeftAlone(f64),
    /// Fixed pitch: worked so that the tachometer shows the speed of the descent.
    Rpm,
    /// Left where it was, but retarded in time to stay on the limit line, or at fixed pitch under the redline.
    Untouched,
}

impl ThrottleRule {
    /// The manifold pressure set at the start, if there is one, Pa.
    pub fn set_map_pa(self) -> Option<f64> {
        match self {
            Self::Full | Self::Rpm | Self::Untouched => None,
            Self::Held(p) | Self::LeftAlone(p) => Some(p),
        }
    }

    /// The rule with another manifold pressure \[Pa\]; the same where none is set.
    pub fn with_map_pa(self, map_pa: f64) -> Self {
        match self {
            Self::Held(_) => Self::Held(map_pa),
            Self::LeftAlone(_) => Self::LeftAlone(map_pa),
            Self::Full | Self::Rpm | Self::Untouched => self,
        }
    }
}

/// A stretch flown in steady turns over a field, no way made along the route: what a climb or let-down passes on one side of a height.
///
/// Wind carries a circle along and, turn by turn, back to nothing in speed: over whole turns it adds neither ground nor shear, and the
/// pilot who stays over the field steepens and shallows the bank about this one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Indicated altitude, m: of a climb the end of the turns, of a let-down their beginning.
    pub height_m: f64,
    /// Bank, rad; above zero and below a right angle.
    pub bank_rad: f64,
}

/// The climb after the first thousand feet: full throttle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Climb {
    /// Indicated airspeed, m/s.
    pub ias_m_s: f64,
    /// A second speed: the indicated altitude \[m\] from which, below the first level, and the indicated airspeed, m/s.
    pub second: Option<(f64, f64)>,
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// Mixture up to `lean_at_m`.
    pub mixture: usize,
    /// Indicated altitude \[m\] at which the mixture is leaned to best power; infinite for never.
    pub lean_at_m: f64,
    /// Turns over the departure, below this height.
    pub circle: Option<Circle>,
}

impl Climb {
    /// The speed of a climb that begins at an indicated altitude \[m\], m/s.
    pub fn ias_from_m_s(&self, indicated_m: f64) -> f64 {
        self.second
            .filter(|&(from_m, _)| indicated_m >= from_m)
            .map_or(self.ias_m_s, |(_, ias)| ias)
    }
}

/// A stretch at one level with one setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cruise {
    /// Indicated altitude, m.
    pub level_m: f64,
    /// Distance \[m\] at which the change to this level begins; ignored for the first.
    pub from_m: f64,
    /// Throttle.
    pub throttle: Throttle,
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// Mixture.
    pub mixture: usize,
    /// Cruise power is set as the speed passes this after a climb, indicated, m/s.
    pub set_at_ias_m_s: f64,
}

impl Cruise {
    /// Its levers.
    pub fn levers(&self) -> Levers {
        Levers {
            throttle: self.throttle,
            rev_s: self.rev_s,
            mixture: self.mixture,
        }
    }
}

/// What is held in the descent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PathRule {
    /// Rate of descent by the altimeter, m/s.
    Rate(f64),
    /// Indicated airspeed, m/s; once the power of the descent is set it goes down by 100 ft/min or more (90 as flown in
    /// fine steps), or it is none.
    Ias(f64),
}

impl PathRule {
    /// What is held, m/s.
    pub fn value(self) -> f64 {
        match self {
            Self::Rate(x) | Self::Ias(x) => x,
        }
    }

    /// The same kind of path at another rate or speed, m/s.
    pub fn with_value(self, value: f64) -> Self {
        match self {
            Self::Rate(_) => Self::Rate(value),
            Self::Ias(_) => Self::Ias(value),
        }
    }
}

/// What is set and held in a part of a descent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DescentPart {
    /// Throttle.
    pub throttle: ThrottleRule,
    /// Crankshaft speed, rev/s. Fixed pitch: what [`ThrottleRule::Rpm`] holds, nothing with another rule.
    pub rev_s: f64,
    /// Mixture.
    pub mixture: usize,
    /// What is held.
    pub path: PathRule,
    /// Flown with the gear down: slowed level to the speed it may be extended at, if faster. Once down it stays down.
    pub gear_down: bool,
}

/// The descent to the pattern, in one part or two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Descent {
    /// The first part, or the only one.
    pub first: DescentPart,
    /// A second part, from this indicated altitude \[m\] down; the power reduction begins below it.
    pub second: Option<(f64, DescentPart)>,
    /// Indicated altitude \[m\] at which the reduction of power for the pattern begins; the pattern altitude to begin on levelling off.
    pub reduce_at_m: f64,
    /// Top of descent: distance to go \[m\]. NaN: to be found so that the pattern speed is met at the pattern point.
    pub to_go_m: f64,
    /// Turns over the destination, below this height; pattern altitude and speed are then met over the field.
    pub circle: Option<Circle>,
}

impl Descent {
    /// Gear down in the first part and in the second, where there is one.
    pub fn set_gear(&mut self, first: bool, second: bool) {
        self.first.gear_down = first;
        if let Some((_, part)) = &mut self.second {
            part.gear_down = first || second;
        }
    }

    /// Down to where a descent from a level \[m\] is straight, indicated, m: the pattern altitude \[m\], or where the turns begin.
    pub fn straight_to_m(&self, pattern_altitude_m: f64, level_m: f64) -> f64 {
        self.circle.map_or(pattern_altitude_m, |c| {
            c.height_m.min(level_m).max(pattern_altitude_m)
        })
    }

    /// The part that ends at the pattern.
    pub fn last(&self) -> DescentPart {
        self.second.map_or(self.first, |(_, part)| part)
    }
}

/// How power is reduced: one step each interval, down to the floor, by the gauge there is: manifold pressure, or at fixed pitch the
/// tachometer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reduction {
    /// One step of manifold pressure, Pa.
    pub step_pa: f64,
    /// One step of crankshaft speed at fixed pitch, rev/s.
    pub step_rev_s: f64,
    /// Time between steps, s.
    pub interval_s: f64,
    /// Manifold pressure not below this, Pa.
    pub floor_pa: f64,
    /// Crankshaft speed at fixed pitch not below this, rev/s.
    pub floor_rev_s: f64,
}

/// The whole flight as the pilot is told it.
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    /// Speed of the initial climb, indicated, m/s.
    pub initial_ias_m_s: f64,
    /// Mixture of take-off and initial climb.
    pub initial_mixture: usize,
    /// Climb.
    pub climb: Climb,
    /// Cruise stretches, at least one.
    pub cruise: Vec<Cruise>,
    /// Descent.
    pub descent: Descent,
    /// Power reduction.
    pub reduction: Reduction,
}

impl Script {
    /// The cruise that the descent begins from.
    pub fn last_cruise(&self) -> &Cruise {
        // Invariant: there is one.
        &self.cruise[self.cruise.len() - 1]
    }
}

/// Top of descent is given in tenths of a mile, m.
const TOD_STEP_M: f64 = 0.1 * M_PER_NM;

/// Distance to go \[m\] at which the pilot is told to start down: in tenths of a mile, to the early side.
pub fn trigger_m(to_go_m: f64) -> f64 {
    (to_go_m / TOD_STEP_M - 1e-6).ceil() * TOD_STEP_M
}
