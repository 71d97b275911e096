//! The aeroplane: what makes thrust, what makes drag.

pub mod propeller;
