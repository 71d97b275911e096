//! What `plan` writes for other programs, read by readers of others: JSON against the published schema by the `jsonschema` crate, GPX by
//! the `gpx` crate, CSV by `csv`, KML by `roxmltree`; and where the points are, against a geodesic of the test's own.

mod json;
mod path;

use crate::command::{self, fellrun, printed, root, written};
use serde_json::Value;

/// The first demo trip.
const TRIP: &str = "examples/first-trip.toml";

/// One run of `plan` on the first demo trip with every export: JSON, track, segments, GPX, KML.
fn exported() -> &'static (Value, [String; 4]) {
    static ONCE: std::sync::OnceLock<(Value, [String; 4])> = std::sync::OnceLock::new();
    ONCE.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let names = [
            "plan.json",
            "track.csv",
            "segments.csv",
            "plan.gpx",
            "plan.kml",
        ];
        let paths = names.map(|n| folder.path().join(n).to_str().expect("UTF-8").to_owned());
        let options = ["--json", "--csv", "--csv-segments", "--gpx", "--kml"];
        let mut args = vec!["plan", TRIP];
        for (option, path) in options.iter().zip(&paths) {
            args.extend([*option, path.as_str()]);
        }
        assert!(printed(&args).contains("Trip sheet"));
        let read = |p: &String| std::fs::read_to_string(p).expect("was written");
        let json = serde_json::from_str(&read(&paths[0])).expect("JSON");
        (json, [1, 2, 3, 4].map(|i| read(&paths[i])))
    })
}

fn rows<'a>(json: &'a Value, key: &str) -> &'a Vec<Value> {
    let rows = json[key].as_array().expect("an array");
    assert!(!rows.is_empty(), "{key} is empty");
    rows
}

#[test]
fn closed_form_names_that_xml_cannot_hold_are_made_to_fit() {
    let trip = std::fs::read_to_string(root().join(TRIP)).expect("the demo trip");
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (sub, files) in [
        ("examples", vec![]),
        ("profiles", vec!["retractable-200hp.toml"]),
    ] {
        std::fs::create_dir(folder.path().join(sub)).expect("a folder");
        for f in files {
            std::fs::copy(root().join(sub).join(f), folder.path().join(sub).join(f))
                .expect("copies");
        }
    }
    let weather = root().join("examples/weather");
    let odd = trip
        .replace("\"Burns to Pocatello\"", "\"A < B & \\\"C\\\" \\u0001 ü\"")
        .replace(
            "\"weather/",
            &format!("\"{}/", weather.to_str().expect("UTF-8")),
        );
    let path = written(&folder.path().join("examples"), "odd.toml", odd);
    let path = path.to_str().expect("UTF-8");
    for option in ["--gpx", "--kml"] {
        let text = printed(&["plan", path, option, "-"]);
        let document = roxmltree::Document::parse(&text).expect("XML");
        let name = document
            .descendants()
            .find(|n| n.tag_name().name() == "name")
            .and_then(|n| n.text())
            .expect("a name");
        assert!(
            name.starts_with("A < B & \"C\" \u{fffd} ü: KBNO to KPIH"),
            "{name}"
        );
    }
}

#[test]
fn closed_form_standard_output_takes_one() {
    let (status, out, err) = fellrun(&["plan", TRIP, "--gpx", "-", "--kml", "-"]);
    assert_eq!(status, Some(1), "{out}{err}");
    assert!(err.contains("both go to standard output"), "{err}");
}

/// Mountain time is 7 h behind UTC, 6 h in summer (15 U.S.C. 261 and 260a, from memory); in October 2011 it was summer time.
#[test]
fn published_times_of_the_day_in_a_zone() {
    let plan = command::json(&[
        "plan",
        "examples/first-trip.toml",
        "--zone",
        "America/Boise",
    ]);
    assert_eq!(plan["times"]["start_utc"], "2026-01-31T16:00:00Z");
    let zone = &plan["times"]["zone"];
    assert_eq!(zone["start"], "2026-01-31T09:00-07:00");
    let minutes = |t: &Value| {
        let t = t.as_str().expect("a time");
        let part = |range: std::ops::Range<usize>| t[range].parse::<f64>().expect("digits");
        60.0 * part(11..13) + part(14..16)
    };
    // To the minute: start down never late, the landing never early.
    let taxi_min = command::number(&plan, "/totals/block_time_min")
        - command::number(&plan, "/totals/time_min");
    let after = |what: &str, key: &str| {
        let off = minutes(&plan["times"][what]) - 16.0 * 60.0 - taxi_min;
        off - command::number(&plan, key)
    };
    assert!((-1.01..=0.01).contains(&after("top_of_descent_utc", "/top_of_descent_min")));
    assert!((-0.01..=1.01).contains(&after("landing_utc", "/totals/time_min")));
    let landing = minutes(&plan["times"]["landing_utc"]) - minutes(&zone["landing"]);
    assert!((landing - 7.0 * 60.0).abs() < 1e-9);
    let summer = command::json(&[
        "plan",
        "--profile",
        "retractable-200hp",
        "--from",
        "KBNO",
        "--to",
        "KPIH",
        "--fuel",
        "50",
        "--altimeter",
        "30",
        "--depart",
        "2011-10-11T01:00Z",
        "--zone",
        "America/Boise",
        "--winds",
        "tests/data/grib/gfs_2p5deg_20111008T00Z_f072_small_T_GH_UV.grib2",
    ]);
    assert_eq!(summer["times"]["zone"]["start"], "2011-10-10T19:00-06:00");
    command::refused(
        &["plan", "examples/first-trip.toml", "--zone", "Mars/Phobos"],
        &["--zone Mars/Phobos", "America/Boise"],
    );
}
