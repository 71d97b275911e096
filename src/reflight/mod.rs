//! The independent re-flight: an adaptive integrator with its own equations flies the lever card, and says by how much the plan
//! misses.
//!
//! It gets what the pilot gets (the [`Script`]), the aircraft and the weather, and nothing else. It shares no code with `flight`,
//! only the plain data types of the script and, for the comparison, of the flown flight.
//!
//! # What is done differently from `flight`
//! * an embedded Runge-Kutta pair of Dormand and Prince, order 5(4), with step control to 1e-8, in place of fixed steps;
//! * cruise is integrated like everything else; nothing is quasi-steady;
//! * true airspeed is a state everywhere; at a held IAS it follows from the analytic derivative of the CAS-TAS relation;
//! * triggers are found as roots of event functions;
//! * from the pattern point on, the power that holds the speed is solved at every instant.
//!
//! # Equations
//! In the module `motion`. Work of thrust and drag, of wind shear, and the energy that leaves with the burned fuel are integrated as
//! states of their own, so that [`Energy::residual_j`] tests the whole.
//!
//! # What this does not model
//! What `flight` does not either: the turn at via points, flare, ground roll, the change of the along-course wind with distance and
//! time in the equation of motion (its change with height is in), and the pilot's reaction times.
//!
//! **Invariant:** nothing here calls a function of `flight` or `solve`.

mod event;
mod mismatch;
mod motion;
mod pilot;
#[cfg(test)]
mod tests;

pub use mismatch::Mismatch;

use crate::aircraft::Configuration;
use crate::flight::{Mark, Script};
use crate::trip::Problem;

/// What is going on at a [`Sample`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// Take-off power to 1,000 ft above the field.
    InitialClimb,
    /// To the speed of the climb.
    ToClimbSpeed,
    /// Climb.
    Climb,
    /// Climb in turns over the departure.
    CirclingClimb,
    /// Level at climb power, to cruise speed.
    LevelOff,
    /// Cruise.
    Cruise,
    /// From one cruise level to another.
    LevelChange,
    /// Descent.
    Descent,
    /// Descent in turns over the destination.
    CirclingDescent,
    /// Level at pattern altitude, to pattern speed.
    SlowDown,
    /// At pattern speed to the field.
    Pattern,
    /// Circuit and landing.
    Circuit,
}

/// One point of the re-flown path, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Since lift-off, s.
    pub time_s: f64,
    /// Along the route, m.
    pub distance_m: f64,
    /// Pressure altitude, m.
    pub pressure_altitude_m: f64,
    /// What the altimeter shows, m.
    pub indicated_m: f64,
    /// Height above mean sea level by the air table, m.
    pub true_altitude_m: f64,
    /// True airspeed, m/s.
    pub tas_m_s: f64,
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
    /// Fuel burned since lift-off, kg.
    pub fuel_kg: f64,
    /// Fuel flow, kg/s.
    pub fuel_kg_s: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Brake power over rated power.
    pub power_fraction: f64,
    /// Thrust, N.
    pub thrust_n: f64,
    /// Drag, N.
    pub drag_n: f64,
    /// Gear and flaps.
    pub configuration: Configuration,
    /// Phase.
    pub phase: Phase,
}

/// Where the energy went between lift-off and the field, J.
///
/// `thrust - drag = change + shear + carried`, each integrated on its own but `change`, which is the difference of
/// `m (g z + V²/2)` between the two ends.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Energy {
    /// Work of the thrust, `∫ T V dt`.
    pub thrust_j: f64,
    /// Work against the drag, `∫ D V dt`.
    pub drag_j: f64,
    /// Work against wind shear, `∫ m V (dw/dh_p) dh_p`.
    pub shear_j: f64,
    /// Energy that left with the burned fuel, `∫ (g z + V²/2) dm_fuel`.
    pub carried_j: f64,
    /// Change of `m (g z + V²/2)`.
    pub change_j: f64,
}

impl Energy {
    /// What is left of `thrust - drag - shear - carried - change`, J: the error of the integration.
    pub fn residual_j(&self) -> f64 {
        self.thrust_j - self.drag_j - self.shear_j - self.carried_j - self.change_j
    }
}

/// How hard the integrator worked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Effort {
    /// Accepted steps.
    pub steps: u32,
    /// Rejected steps.
    pub rejected: u32,
    /// Evaluations of the equations of motion.
    pub evaluations: u32,
}

/// The flight as the re-flight finds it.
#[derive(Debug, Clone, PartialEq)]
pub struct Reflown {
    /// Lift-off to landing, s.
    pub time_s: f64,
    /// Fuel from the start of the take-off run to landing, kg.
    pub fuel_kg: f64,
    /// Revolutions of the crankshaft from lift-off to landing.
    pub revolutions: f64,
    /// The pattern point: where pattern altitude and speed should be met, `arrival.before_m` before the field. Of a flight that lets down
    /// circling: where it begins to circle, which should be over the field at the height for it.
    pub pattern_point: Sample,
    /// First level reached.
    pub top_of_climb: Mark,
    /// Top of descent.
    pub top_of_descent: Mark,
    /// Level at pattern altitude.
    pub level_off: Mark,
    /// Pattern speed met.
    pub slowed: Mark,
    /// Geometric height at the field as integrated along the path, m; differs from that of the air table where temperature changes
    /// along the route, which the equation of motion leaves out.
    pub geometric_end_m: f64,
    /// The path: every step of the integrator.
    pub samples: Vec<Sample>,
    /// Energy balance.
    pub energy: Energy,
    /// Turns flown over the departure and over the destination.
    pub turns: [f64; 2],
    /// Work of the integrator.
    pub effort: Effort,
}

/// Why a script cannot be flown to the end.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReflightError {
    /// The script has no cruise.
    #[error("re-flying the lever card: it has no cruise setting")]
    NoCruise,
    /// The top of descent is not given.
    #[error("re-flying the lever card: it does not say where the descent begins")]
    NoTopOfDescent,
    /// No rate of climb left.
    #[error("re-flying the lever card: the aeroplane stops climbing at {altitude_ft:.0} ft")]
    CannotClimb {
        /// Indicated altitude.
        altitude_ft: f64,
    },
    /// The held IAS does not descend.
    #[error(
        "re-flying the lever card: the descent setting does not descend at {altitude_ft:.0} ft"
    )]
    CannotDescend {
        /// Indicated altitude.
        altitude_ft: f64,
    },
    /// Speed is lost in level flight.
    #[error(
        "re-flying the lever card: the setting does not hold level flight at {altitude_ft:.0} ft"
    )]
    CannotHoldLevel {
        /// Indicated altitude.
        altitude_ft: f64,
    },
    /// Speed not reached by power or drag.
    #[error(
        "re-flying the lever card: the aeroplane does not slow to {target_kt:.0} kt within {limit_min:.0} min"
    )]
    NeverSlows {
        /// Indicated speed wanted.
        target_kt: f64,
        /// Time allowed.
        limit_min: f64,
    },
    /// The wind is as strong as the aeroplane.
    #[error("re-flying the lever card: no ground speed is left against the wind")]
    NoGroundSpeed,
    /// The pattern point was not passed in flight.
    #[error("re-flying the lever card: the pattern point is not on the flown path")]
    NoPatternPoint,
    /// A phase takes longer than any flight.
    #[error("re-flying the lever card: {phase:?} has no end within {limit_h:.0} h")]
    Endless {
        /// Phase.
        phase: Phase,
        /// Time allowed.
        limit_h: f64,
    },
    /// The integrator gave up.
    #[error("re-flying the lever card: integrating {phase:?}: {what}")]
    Integration {
        /// Phase.
        phase: Phase,
        /// What the integrator says.
        what: String,
    },
}

/// Re-flies a script from lift-off to the field with an adaptive integrator.
///
/// The script must say where the descent begins (`descent.to_go_m` finite), as the pilot's card does.
///
/// # Errors
/// [`ReflightError`] where it cannot be flown to the end.
pub fn refly(problem: &Problem, script: &Script) -> Result<Reflown, ReflightError> {
    pilot::fly_card(problem, script)
}
