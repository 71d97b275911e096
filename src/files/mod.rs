//! Readers of the formats pilots have at hand.
//!
//! **Invariant:** cockpit units (feet, knots, degrees Celsius) are turned into SI units here. `files` builds the types
//! of `air` and `earth`; those know nothing of files.

pub mod bulletin;
pub mod diagnostic;
pub mod handbook;
pub mod profile;
mod sheet;
pub mod stations;
pub mod trip;
pub mod winds;

/// Metres in one foot, exact.
pub const METRES_PER_FOOT: f64 = 0.3048;
/// Metres per second in one knot (1,852 m per hour), exact.
pub const METRES_PER_SECOND_PER_KNOT: f64 = 1852.0 / 3600.0;
/// Zero degrees Celsius (K).
pub const ZERO_CELSIUS_K: f64 = 273.15;

#[cfg(test)]
mod tests;
