//! The independent integrator that flies the lever card; shares no code with `flight`.

/// By how much the re-flight misses the plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mismatch {
    /// Re-flown less planned time, lift-off to landing, s.
    pub time_s: f64,
    /// Re-flown less planned fuel, kg.
    pub fuel_kg: f64,
    /// Indicated height above the pattern altitude at the pattern point, m.
    pub height_m: f64,
    /// Indicated speed above pattern speed at the pattern point, m/s.
    pub speed_m_s: f64,
}
