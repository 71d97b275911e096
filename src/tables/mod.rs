//! The aircraft written out: a table of power settings for the pilot, a grid of points for a machine.
//!
//! Every figure is [`crate::aircraft::Aircraft::perform`] at the point it belongs to; nothing is interpolated.
//!
//! **Invariant:** nothing here knows of a trip or of an optimiser.

pub mod grid;
pub mod settings;
