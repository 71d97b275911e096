//! HOW the question is answered.
pub mod cruise;
mod plan;

pub use plan::{
    Alternative, AlternativeKind, Ideal, NO_DIFFERENCE_M3, NO_DIFFERENCE_S, Plan, Termination, Totals, Warning,
};
