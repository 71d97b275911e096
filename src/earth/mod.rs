//! The Earth: geodesics on the ellipsoid, magnetic variation, and places as people write them.
//!
//! Latitudes and longitudes are degrees (`_deg`), positive north and east; courses are radians (`_rad`) clockwise
//! from true north.

pub mod geodesic;
pub mod keep_out;
pub mod magnetic;
pub mod place;
pub mod terrain;

pub use geodesic::Leg;
pub use place::Position;
