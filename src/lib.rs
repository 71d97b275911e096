//! Trip planner for constant-speed-propeller aeroplanes.
