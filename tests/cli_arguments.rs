//! The command as the shell sees it: exit status, what goes to which stream, and no file left behind on an error.

use assert_cmd::Command;

fn fellrun() -> Command {
    Command::cargo_bin("fellrun").expect("the binary of this crate")
}

/// Runs and gives exit status, standard output and standard error.
fn run(args: &[&str]) -> (Option<i32>, String, String) {
    let out = fellrun().args(args).output().expect("starts");
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

#[test]
fn closed_form_help_and_version_are_data() {
    for args in [&["--help"][..], &["plan", "--help"], &["--version"]] {
        let (status, out, err) = run(args);
        assert_eq!(status, Some(0), "{args:?}");
        assert!(out.contains("fellrun") && err.is_empty(), "{args:?}");
    }
    let (_, out, _) = run(&["plan", "--help"]);
    for word in [
        "--objective",
        "time",
        "fuel",
        "money",
        "--chart",
        "--json",
        "TRIP.toml",
    ] {
        assert!(out.contains(word), "{word}");
    }
}

#[test]
fn closed_form_wrong_arguments_are_the_users_input() {
    for args in [
        &["plan"][..],
        &["plan", "x.toml", "--objective", "glory"],
        &["fly"],
        &["plan", "x.toml", "--chart", "a.pdf"],
    ] {
        let (status, out, err) = run(args);
        assert_eq!(status, Some(1), "{args:?}: {err}");
        assert!(out.is_empty() && err.contains("error"), "{args:?}: {err}");
        assert!(!err.contains("panicked"), "{err}");
    }
}

#[test]
fn closed_form_a_missing_trip_touches_no_output() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let json = folder.path().join("plan.json");
    let trip = folder.path().join("none.toml");
    let (status, out, err) = run(&[
        "plan",
        &trip.to_string_lossy(),
        "--json",
        &json.to_string_lossy(),
    ]);
    assert_eq!(status, Some(1), "{err}");
    assert!(
        out.is_empty() && err.starts_with("error") && err.contains("none.toml"),
        "{err}"
    );
    assert_eq!(std::fs::read_dir(folder.path()).expect("lists").count(), 0);
}
