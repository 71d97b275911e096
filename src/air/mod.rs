//! The air: standard atmosphere, altitudes, airspeeds, the wind triangle and the wind field.
//!
//! Everything here is in SI units with the unit in the name, takes plain numbers and does no input or output.
//!
//! **Invariant:** `air` imports nothing from `files`; the readers there build the types defined here.

pub mod field;
pub mod isa;
pub mod speed;
pub mod triangle;
pub mod turn;

pub use field::{Air, Datum, FieldError, Fill, LevelValue, Overhead, Station, WindField};
