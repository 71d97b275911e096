//! Readers of the formats pilots have at hand.
//!
//! **Invariant:** cockpit units (feet, knots, degrees Celsius) are turned into SI units here. `files` builds the types
//! of `air` and `earth`; those know nothing of files.

pub mod bulletin;
mod cloud;
pub mod diagnostic;
pub mod grib2;
pub mod handbook;
pub mod hgt;
pub mod keep_out;
pub mod profile;
pub mod report;
mod sheet;
pub mod stations;
pub mod trip;
pub mod weather;
pub mod winds;

#[cfg(test)]
mod tests;
