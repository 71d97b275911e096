//! Tests of profile and trip files: the demo files load, and every kind of error says file, line, key and way out.

mod bulletins;
mod demo;
mod mutated;
mod refused;

use std::path::{Path, PathBuf};

use super::diagnostic::FileError;
use super::profile::parse_profile;
use super::trip::{TripFile, parse_trip};

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn text(path: &str) -> String {
    std::fs::read_to_string(root(path)).expect("a file of this repository")
}

const PROFILE: &str = "profiles/retractable-200hp.toml";
const FIRST: &str = "examples/first-trip.toml";
const TRIPS: [&str; 3] = [
    FIRST,
    "examples/hot-afternoon.toml",
    "examples/into-the-wind.toml",
];

/// The text with one piece replaced; the piece must be there.
fn with(text: &str, old: &str, new: &str) -> String {
    assert!(text.contains(old), "{old:?} is not in the file any more");
    text.replacen(old, new, 1)
}

fn profile_error(old: &str, new: &str) -> FileError {
    let changed = with(&text(PROFILE), old, new);
    parse_profile(&changed, Path::new("p.toml")).expect_err("a wrong profile")
}

fn trip_with(old: &str, new: &str) -> Result<TripFile, FileError> {
    parse_trip(&with(&text(FIRST), old, new), &root(FIRST), None)
}

fn trip_error(old: &str, new: &str) -> FileError {
    trip_with(old, new).expect_err("a wrong trip")
}

/// What is drawn, with the folder of the repository cut off.
fn drawn(error: &FileError) -> String {
    error
        .render(false)
        .replace(&format!("{}/", env!("CARGO_MANIFEST_DIR")), "")
}
