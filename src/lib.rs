//! Trip planner for constant-speed-propeller aeroplanes.

pub mod air;
pub mod earth;
pub mod files;
