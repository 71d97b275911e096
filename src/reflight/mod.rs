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

/// Placeholder replaced by the merge.
pub fn refly(_: &crate::trip::Problem, _: &crate::flight::Script) -> Result<(), ()> { Err(()) }
impl Mismatch { pub fn between(_: &crate::trip::Problem, _: &crate::flight::Flown, _: &()) -> Self { Self{time_s:0.0,fuel_kg:0.0,height_m:0.0,speed_m_s:0.0} } pub fn within_bounds(&self, _: f64)->bool {true} }
