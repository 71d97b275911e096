//! The page in a browser: Chromium, driven by `tests/browser/page.mjs`, reads it, points at it, types and touches, and holds what it
//! shows against the JSON of the same plan. `.ci/run` installs what that needs.

mod command;

use command::{PROFILE, fellrun, root, typed};
use std::path::Path;
use std::process::Command;

/// Largest page, bytes.
const MOST_BYTES: u64 = 600_000;

/// Writes page and JSON of a plan.
fn write(folder: &Path, name: &str, plan: &[&str]) {
    let path = |ending: &str| {
        let path = folder.join(format!("{name}.{ending}"));
        path.to_str().expect("a temporary path is text").to_owned()
    };
    let (page, json) = (path("html"), path("json"));
    let mut args = plan.to_vec();
    args.extend(["--page", &page, "--json", &json]);
    let (status, _, err) = fellrun(&args);
    assert_eq!(status, Some(0), "{plan:?}: {err}");
    let bytes = std::fs::metadata(&page).expect("the page").len();
    assert!(bytes < MOST_BYTES, "{name}: {bytes} bytes");
}

#[test]
#[ignore = "BROWSER TESTS LEFT OUT: they need Chromium, Node.js and npm; .ci/run installs these and runs them"]
fn crosscheck_the_page_in_a_browser() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let dir = folder.path();
    for trip in ["first-trip", "hot-afternoon", "into-the-wind"] {
        write(dir, trip, &["plan", &format!("examples/{trip}.toml")]);
    }
    let trainer = ["--profile", "profiles/trainer-160hp.toml", "--fuel", "40"];
    write(dir, "fixed-pitch", &typed(&trainer));
    let onward = ["--profile", PROFILE, "--alternate", "KTWF", "--sensitivity"];
    write(dir, "onward", &typed(&onward));
    let mut node = Command::new("node");
    node.arg(root().join("tests/browser/page.mjs")).arg(dir);
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
    assert_eq!(said(&out.stdout).matches(": right").count(), 5);
}
