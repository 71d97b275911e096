//! Trip planner for constant-speed-propeller aeroplanes.

pub mod air;
pub mod aircraft;
pub mod brief;
pub mod cli;
pub mod earth;
pub mod files;
pub mod fit;
pub mod flight;
pub mod quantity;
pub mod reflight;
pub mod solve;
pub mod trip;
