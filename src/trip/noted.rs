//! What a pilot noted on the day over a point of the trip.

/// Fuel as it was noted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NotedFuel {
    /// Left in the tanks, kg.
    Left(f64),
    /// Used since start-up (in flight: since the flight was planned), kg.
    Used(f64),
}

/// What was noted over one point. What is `None` was not noted.
#[derive(Debug, Clone, PartialEq)]
pub struct Noted {
    /// Which of the points that notes can be of, counted from 0.
    pub point: usize,
    /// Time since the take-off that was planned, or since the one that was flown: only differences of two notes count, s.
    pub time_s: f64,
    /// Whether `time_s` counts from the take-off that was planned.
    pub by_clock: bool,
    /// Fuel.
    pub fuel: Option<NotedFuel>,
    /// Indicated altitude, m.
    pub indicated_m: Option<f64>,
    /// Manifold pressure, Pa.
    pub map_pa: Option<f64>,
    /// Crankshaft speed, rev/s.
    pub rev_s: Option<f64>,
    /// Indicated airspeed, m/s.
    pub ias_m_s: Option<f64>,
    /// Outside air temperature, K.
    pub outside_k: Option<f64>,
    /// Row of the mixture table.
    pub mixture: Option<usize>,
    /// Fuel flow of the whole aeroplane, kg/s.
    pub fuel_kg_s: Option<f64>,
}
