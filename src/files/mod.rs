//! Readers of the formats pilots have at hand.
//!
//! **Invariant:** cockpit units (feet, knots, degrees Celsius) are turned into SI units here. `files` builds the types
//! of `air` and `earth`; those know nothing of files.

pub mod airports;
pub mod answers;
pub mod bulletin;
pub mod check;
pub mod climate;
mod cloud;
mod csv_text;
pub mod diagnostic;
pub mod edit;
pub mod gpx;
pub mod grib2;
pub mod handbook;
pub mod hgt;
pub mod keep_out;
pub mod notes;
pub mod places;
pub mod profile;
pub mod report;
pub mod route;
pub mod season_log;
pub mod season_winds;
mod sheet;
pub mod shipped;
pub mod stations;
pub mod trip;
mod trip_places;
pub mod trip_text;
pub mod weather;
pub mod winds;

#[cfg(test)]
mod tests;
