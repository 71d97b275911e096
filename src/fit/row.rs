//! The rows of a handbook in SI units.

use crate::aircraft::{Configuration, EngineState, GlidePropeller};

/// What a figure of a row is. All in SI units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Brake power over rated power.
    PowerFraction,
    /// Fuel flow of the whole aeroplane, kg/s.
    FuelFlow,
    /// True airspeed in level flight, m/s.
    Tas,
    /// Indicated (calibrated) airspeed in level flight, m/s.
    Ias,
    /// Manifold pressure at full throttle, Pa; or a manifold pressure that was set and must be within reach.
    ManifoldPressure,
    /// Rate of climb in pressure altitude, m/s.
    ClimbRate,
    /// Time of a climb between two altitudes, s.
    ClimbTime,
    /// Fuel of a climb, kg.
    ClimbFuel,
    /// Air distance of a climb, m.
    ClimbDistance,
    /// Distance over height of a glide.
    GlideRatio,
    /// Sink in pressure altitude, m/s.
    SinkRate,
    /// Stall speed, m/s indicated.
    StallSpeed,
}

/// One figure of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// What it is.
    pub quantity: Quantity,
    /// Its value.
    pub value: f64,
    /// Its standard error, above zero.
    pub sigma: f64,
}

/// How the throttle was set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Setting {
    /// Full.
    FullThrottle,
    /// To this manifold pressure, Pa.
    Map(f64),
    /// Fixed pitch: to this crankshaft speed.
    Speed,
    /// To this fraction of rated power, whatever the manifold pressure.
    Power(f64),
}

/// Engine settings of a row with power on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EngineSetting {
    /// Throttle.
    pub throttle: Setting,
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// Row of the mixture table.
    pub mixture: usize,
}

/// Where and how heavy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Condition {
    /// Pressure altitude, m.
    pub pressure_altitude_m: f64,
    /// Temperature above the standard of that altitude, K.
    pub deviation_k: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// What hangs out.
    pub configuration: Configuration,
}

/// What a row describes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Flight {
    /// Level and steady.
    Cruise {
        /// Engine settings.
        engine: EngineSetting,
    },
    /// Climbing through an altitude at an indicated speed.
    Climb {
        /// Engine settings.
        engine: EngineSetting,
        /// Indicated airspeed, m/s.
        ias_m_s: f64,
    },
    /// Climbing from an altitude to that of the condition; constant mass and deviation.
    ClimbSpan {
        /// Engine settings.
        engine: EngineSetting,
        /// Indicated airspeed, m/s.
        ias_m_s: f64,
        /// Pressure altitude at the beginning, m.
        from_m: f64,
    },
    /// Power off at an indicated speed.
    Glide {
        /// Indicated airspeed, m/s.
        ias_m_s: f64,
        /// Propeller lever.
        lever: GlidePropeller,
        /// Engine.
        engine: EngineState,
    },
    /// Stalling, clean, power off.
    Stall,
}

/// One row: a flight condition and what was read there.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// How messages name it, such as `cruise 3`.
    pub label: String,
    /// Where and how heavy.
    pub condition: Condition,
    /// What is flown.
    pub flight: Flight,
    /// What was read.
    pub seen: Vec<Seen>,
}
