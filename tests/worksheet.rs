//! Worksheets: every answer found again by code of the tests' own, a thousand seeds, the model behind the numbers, and the command.

mod again;
mod model;
mod seeds;
mod shell;

use crate::common::{PROFILES, profile, profile_path};
use fellrun::aircraft::Aircraft;
use fellrun::teach::worksheet::{
    Exercise, Grade, RuleBook, SheetAsk, Teacher, Topic, sheet, suits,
};

/// What a sheet of every topic that suits an aircraft asks for.
fn ask(aircraft: &Aircraft, seed: u64, count: usize) -> SheetAsk {
    SheetAsk {
        topics: Topic::ALL
            .into_iter()
            .filter(|&t| suits(t, aircraft))
            .collect(),
        grades: Grade::ALL.to_vec(),
        rules: RuleBook::ALL.to_vec(),
        seed,
        count,
    }
}

/// A given number by its name.
fn given(e: &Exercise, name: &str) -> f64 {
    let found = e.given.iter().find(|n| n.name == name);
    found
        .unwrap_or_else(|| panic!("{} gives no {name}", e.kind))
        .number
        .value
}

/// Draws a sheet.
fn drawn(teacher: &Teacher, ask: &SheetAsk) -> Vec<Exercise> {
    sheet(teacher, ask).unwrap_or_else(|e| panic!("{} {ask:?}: {e}", teacher.aircraft().name))
}
