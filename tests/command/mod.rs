//! The command run from the root of the repository, for the tests of what is typed.

use assert_cmd::Command;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// The demo aircraft.
pub const PROFILE: &str = "profiles/retractable-200hp.toml";
/// A bulletin, for use from 9 to 18 Z.
pub const WINDS: &str = "examples/weather/FBUS33_FD3US3_2026-01-31_310158Z.txt";
/// A time in it.
pub const DEPART: &str = "2026-01-31T16:00Z";

pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The first demo trip for any folder: the files it names by their whole paths.
pub fn demo_trip_text() -> String {
    let at = |folder: &str| format!("{}/{folder}/", root().display());
    std::fs::read_to_string(root().join("examples/first-trip.toml"))
        .expect("the demo trip")
        .replace("../profiles/", &at("profiles"))
        .replace("\"weather/", &format!("\"{}", at("examples/weather")))
}

/// Exit status, standard output, standard error.
pub fn fellrun(args: &[&str]) -> (Option<i32>, String, String) {
    let out = Command::cargo_bin("fellrun")
        .expect("the binary of this crate")
        .args(args)
        .current_dir(root())
        .output()
        .expect("starts");
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

/// A trip without a file, with these options besides; those given twice by `more` are left out.
pub fn typed<'a>(more: &[&'a str]) -> Vec<&'a str> {
    let mut args = vec!["plan"];
    for pair in [
        ["--profile", PROFILE],
        ["--from", "KBNO"],
        ["--to", "KPIH"],
        ["--winds", WINDS],
        ["--fuel", "50"],
        ["--depart", DEPART],
    ] {
        if !more.contains(&pair[0]) {
            args.extend(pair);
        }
    }
    args.extend(more);
    args
}

/// Standard output of what goes well.
pub fn printed(args: &[&str]) -> String {
    let (status, out, err) = fellrun(args);
    assert_eq!(status, Some(0), "{args:?}: {err}");
    out
}

/// The same with `--json -`.
pub fn json(args: &[&str]) -> Value {
    let mut args = args.to_vec();
    args.extend(["--json", "-"]);
    serde_json::from_str(&printed(&args)).expect("JSON")
}

/// What is refused as the user's input, in these words.
pub fn refused(args: &[&str], words: &[&str]) {
    let (status, out, err) = fellrun(args);
    assert_eq!(status, Some(1), "{args:?}: {out}{err}");
    assert!(out.is_empty() && !err.contains("panicked"), "{out}{err}");
    for word in words {
        assert!(err.contains(word), "{args:?} lacks {word:?}:\n{err}");
    }
}

/// The number at a place of some JSON.
pub fn number(value: &Value, pointer: &str) -> f64 {
    let number = value.pointer(pointer).and_then(Value::as_f64);
    number.unwrap_or_else(|| panic!("{pointer} is a number"))
}

/// A file with this content.
pub fn written(folder: &Path, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, content).expect("writes");
    path
}
