//! The page in a browser: Chromium, driven by `tests/browser/page.mjs`, reads it, points at it, types and touches, and holds what it
//! shows against the JSON of the same plan. `.ci/run` installs what that needs.

use crate::command::{PROFILE, fellrun, root, typed};
use std::path::Path;
use std::process::Command;

/// Largest page, bytes.
const MOST_BYTES: u64 = 600_000;

/// A file of this folder.
fn path(folder: &Path, name: &str, ending: &str) -> String {
    let path = folder.join(format!("{name}.{ending}"));
    path.to_str().expect("a temporary path is text").to_owned()
}

/// Writes a page and a JSON with what is asked, the page no larger than it may be.
fn write(folder: &Path, name: &str, asked: &[&str], json: &str) {
    let (page, json) = (path(folder, name, "html"), path(folder, name, json));
    let mut args = asked.to_vec();
    args.extend(["--page", &page, "--json", &json]);
    let (status, _, err) = fellrun(&args);
    assert_eq!(status, Some(0), "{asked:?}: {err}");
    let bytes = std::fs::metadata(&page).expect("the page").len();
    println!("{name}: {bytes} bytes");
    assert!(bytes < MOST_BYTES, "{name}: {bytes} bytes");
}

/// Runs a driver over the pages of a folder; so many must be right.
fn driven(driver: &str, folder: &Path, pages: usize) {
    let mut node = Command::new("node");
    node.arg(root().join("tests/browser").join(driver))
        .arg(folder);
    if let Some(shots) = std::env::var_os("FELLRUN_SCREENSHOTS") {
        node.arg(shots);
    }
    let out = node
        .output()
        .expect("Node.js starts: .ci/run installs it where it is missing");
    let said = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    assert!(
        out.status.success(),
        "{}{}",
        said(&out.stdout),
        said(&out.stderr)
    );
    assert_eq!(said(&out.stdout).matches(": right").count(), pages);
}

#[test]
#[ignore = "BROWSER TESTS LEFT OUT: they need Chromium, Node.js and npm; .ci/run installs these and runs them"]
fn crosscheck_the_page_in_a_browser() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let dir = folder.path();
    for trip in ["first-trip", "hot-afternoon", "into-the-wind"] {
        let asked = ["plan", &format!("examples/{trip}.toml")];
        write(dir, trip, &asked, "json");
    }
    let trainer = ["--profile", "profiles/trainer-160hp.toml", "--fuel", "40"];
    write(dir, "fixed-pitch", &typed(&trainer), "json");
    let onward = ["--profile", PROFILE, "--alternate", "KTWF", "--sensitivity"];
    write(dir, "onward", &typed(&onward), "json");
    driven("page.mjs", dir, 5);
}

#[test]
#[ignore = "BROWSER TESTS LEFT OUT: they need Chromium, Node.js and npm; .ci/run installs these and runs them"]
fn crosscheck_fuel_against_time_in_a_browser() {
    const TRIP: &str = "examples/first-trip.toml";
    let folder = tempfile::tempdir().expect("a temporary folder");
    let dir = folder.path();
    write(dir, "frontier", &["frontier", TRIP], "json");
    let trainer = ["--profile", "profiles/trainer-160hp.toml", "--fuel", "40"];
    let of = |args: &[&'static str]| -> Vec<&'static str> {
        let rest = args.iter().skip(1).copied();
        std::iter::once("frontier").chain(rest).collect()
    };
    let least = typed(&["--fuel", "least"]);
    // Pages of a plan, and the same trip for the frontier: least money, a bound that no plan of the frontier just meets, the quickest, a fixed
    // pitch, a load that goes with the plan.
    let plans: [(&str, Vec<&str>, Vec<&str>); 5] = [
        ("plan", vec!["plan", TRIP], vec!["frontier", TRIP]),
        (
            "bounded",
            vec!["plan", TRIP, "--fuel-at-most", "16.2"],
            vec!["frontier", TRIP],
        ),
        (
            "quickest",
            vec!["plan", "examples/into-the-wind.toml", "--objective", "time"],
            vec!["frontier", "examples/into-the-wind.toml"],
        ),
        ("fixed-pitch", typed(&trainer), of(&typed(&trainer))),
        ("least", least.clone(), of(&least)),
    ];
    for (name, mut plan, frontier) in plans {
        plan.push("--frontier");
        write(dir, name, &plan, "plan");
        let json = path(dir, name, "json");
        let mut args = frontier;
        args.extend(["--json", &json]);
        assert_eq!(fellrun(&args).0, Some(0), "{args:?}");
    }
    driven("stops.mjs", dir, 6);
}
