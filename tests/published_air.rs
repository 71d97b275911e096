//! The air against published figures, closed forms and independent tables.

#![allow(
    clippy::unwrap_used,
    reason = "a test that cannot get at its data must fail"
)]

mod atmosphere;
mod field;
mod speeds;

use proptest::prelude::*;

/// Rounding of figures computed here or printed to the last digit of f64 chains: far below anything a pilot sees.
const ROUNDING: f64 = 1e-9;

/// Property tests keep no file of past failures: a failure worth keeping becomes a test of its own.
fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

fn close(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!(
        (got - want).abs() <= tolerance,
        "{what}: got {got}, want {want} within {tolerance}"
    );
}
