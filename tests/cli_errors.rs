//! What a user sees when a trip does not work: file, line and key where there is one, the way out, exit 1, no output touched.

use crate::command::demo_trip_text;
use assert_cmd::Command;
use std::path::{Path, PathBuf};

/// The first demo trip with replacements, beside the folders it names, in a temporary folder.
fn edited(folder: &Path, edits: &[(&str, &str)]) -> PathBuf {
    let mut text = demo_trip_text();
    for (old, new) in edits {
        assert!(
            text.contains(old),
            "{old:?} is not in the demo trip any more"
        );
        text = text.replacen(old, new, 1);
    }
    let path = folder.join("trip.toml");
    std::fs::write(&path, text).expect("writes");
    path
}

/// Runs `plan` with an output that exists already; exit status, standard error, and whether the output was left alone.
fn refused(edits: &[(&str, &str)]) -> (Option<i32>, String, bool) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let trip = edited(folder.path(), edits);
    let json = folder.path().join("plan.json");
    std::fs::write(&json, "before").expect("writes");
    let out = Command::cargo_bin("fellrun")
        .expect("the binary of this crate")
        .args([
            "plan",
            &trip.to_string_lossy(),
            "--json",
            &json.to_string_lossy(),
        ])
        .output()
        .expect("starts");
    assert!(out.stdout.is_empty());
    let untouched = std::fs::read_to_string(&json).expect("reads") == "before";
    (
        out.status.code(),
        String::from_utf8_lossy(&out.stderr).into_owned(),
        untouched,
    )
}

/// Edits and the words the message must have.
type Case<'a> = (&'a [(&'a str, &'a str)], &'a [&'a str]);

#[test]
fn closed_form_errors_name_the_place_and_the_way_out() {
    let cases: &[Case] = &[
        // Broken TOML.
        (&[("[load]", "[load")], &["trip.toml", "^"]),
        // Unknown key.
        (
            &[("max_descent_fpm", "max_decent_fpm")],
            &["max_decent_fpm", "max_descent_fpm", "trip.toml"],
        ),
        // Wrong unit, out of range.
        (
            &[("departure = 30.12", "departure = 1020")],
            &["1020", "26", "32", "inHg"],
        ),
        // Missing bulletin.
        (
            &[("FBUS33_FD3US3_2026-01-31_310158Z", "nothing")],
            &["nothing.txt", "bulletins"],
        ),
        // Bulletin too far from the time.
        (
            &[("2026-01-31T16:00:00Z", "2026-01-29T16:00:00Z")],
            &["bulletins", "for use from", "depart later"],
        ),
        // Out of fuel.
        (
            &[("on_board_gal = 55", "on_board_gal = 14")],
            &[
                "out of fuel",
                "14.0 gal are on board",
                "gal with the reserve",
            ],
        ),
        // No level.
        (
            &[("max_altitude_ft = 12500", "max_altitude_ft = 9000")],
            &["no cruise altitude", "KBNO", "8800", "9000"],
        ),
        // Too heavy.
        (
            &[("people_lb = 340", "people_lb = 900")],
            &["take-off mass", "lb over"],
        ),
        // More fuel than the tanks hold.
        (&[("on_board_gal = 55", "on_board_gal = 80")], &["80", "64"]),
    ];
    assert!(!cases.is_empty());
    for (edits, words) in cases {
        let (status, err, untouched) = refused(edits);
        assert_eq!(status, Some(1), "{edits:?}: {err}");
        assert!(untouched, "{edits:?}: the output was touched");
        assert!(!err.contains("panicked"), "{err}");
        for word in *words {
            assert!(err.contains(word), "{edits:?}: {word:?} is not in: {err}");
        }
    }
}
