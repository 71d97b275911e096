//! Worksheets: every answer found again by code of the tests' own, a thousand seeds, the model behind the numbers, and the command.

#[path = "worksheet/again.rs"]
mod again;
#[path = "worksheet/model.rs"]
mod model;
#[path = "worksheet/seeds.rs"]
mod seeds;
#[path = "worksheet/shell.rs"]
mod shell;

use fellrun::aircraft::Aircraft;
use fellrun::teach::worksheet::{
    Exercise, Grade, RuleBook, SheetAsk, Teacher, Topic, sheet, suits,
};
use std::path::{Path, PathBuf};

/// Every profile that ships.
const PROFILES: [&str; 5] = [
    "retractable-200hp",
    "retractable-285hp",
    "trainer-160hp",
    "turbo-retractable-300hp",
    "twin-200hp",
];

fn profile_path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("profiles/{name}.toml"))
}

fn aircraft(name: &str) -> Aircraft {
    fellrun::files::profile::load_profile(&profile_path(name)).expect("a profile that ships")
}

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
