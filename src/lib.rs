//! Trip planner for constant-speed-propeller aeroplanes.

pub mod aircraft;
