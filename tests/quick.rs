//! Formulas and printed tables: seconds, where [`whole`](../whole.rs) takes minutes. What `cargo mutants` holds against a change.

mod closed_form_aircraft;
mod closed_form_cruise;
mod closed_form_engine;
mod closed_form_field;
mod closed_form_flight;
mod common;
mod published;
mod published_air;
