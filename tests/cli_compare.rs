//! `fellrun compare` as typed: its outputs, what is held equal, and what it says of input that does not work.

use crate::command::{PROFILE, demo_trip_text, json, number, printed, refused, root, written};
use serde_json::Value;
use std::fs;

const TRIP: &str = "examples/first-trip.toml";

#[test]
fn closed_form_each_aircraft_has_the_plan_it_has_alone() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (svg, out) = (path("c.svg"), path("c.json"));
    let text = printed(&[
        "compare",
        TRIP,
        "--profile",
        "retractable-200hp",
        "--profile",
        "retractable-285hp",
        "--chart",
        &svg,
        "--json",
        &out,
    ]);
    assert!(
        text.starts_with("One trip, several aircraft: advice"),
        "{text}"
    );
    for line in text.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    assert!(
        text.contains("The same for all") && text.contains("flight manual"),
        "{text}"
    );
    let figures: Value = serde_json::from_slice(&fs::read(&out).expect("written")).expect("JSON");
    for (i, profile) in ["retractable-200hp", "retractable-285hp"]
        .into_iter()
        .enumerate()
    {
        let alone = json(&["plan", TRIP, "--profile", profile]);
        let plan = &figures["aircraft"][i]["plan"];
        assert_eq!(plan["totals"], alone["totals"], "{profile}");
        assert_eq!(plan["levels_ft"], alone["levels_ft"], "{profile}");
    }
    let of = |i: usize, key: &str| number(&figures, &format!("/aircraft/{i}/plan/{key}"));
    let more = of(1, "totals/time_min") - of(0, "totals/time_min");
    assert!((of(1, "more/time_min") - more).abs() < 2e-6);
    assert!(figures["aircraft"][0]["plan"]["more"].is_null());
    assert_eq!(of(0, "fuel_on_board_gal"), of(1, "fuel_on_board_gal"));
    let drawing = fs::read_to_string(&svg).expect("written");
    for word in ["<svg", "KBNO", "A: ", "B: ", "Advisory only."] {
        assert!(drawing.contains(word), "{word}");
    }
}

#[test]
fn closed_form_a_changed_entry_is_a_second_column() {
    // Less drag at the same power is faster and takes no more fuel; the profile's own figure typed again changes nothing.
    let set = |entry: &str| json(&["compare", TRIP, "--profile", PROFILE, "--set", entry]);
    let profile: toml::Table = fs::read_to_string(root().join(PROFILE))
        .expect("reads")
        .parse()
        .expect("TOML");
    let cd0 = profile["drag"]["cd0"].as_float().expect("a number");
    let same = set(&format!("drag.cd0={cd0}"));
    let plan = |v: &Value, i: usize| v["aircraft"][i]["plan"]["totals"].clone();
    assert_eq!(plan(&same, 0), plan(&same, 1));
    let less = set(&format!("drag.cd0={}", 0.9 * cd0));
    assert_eq!(plan(&less, 0), plan(&same, 0));
    assert!(number(&less, "/aircraft/1/plan/more/cost") < 0.0);
    assert_eq!(
        less["aircraft"][1]["changed"][0],
        format!("drag.cd0={}", 0.9 * cd0)
    );
}

#[test]
fn closed_form_fuel_as_it_fits_and_an_aircraft_that_cannot() {
    // Tanks of 30 gal take 30 of the 55; a trainer that cannot reach the levels has a column that says so.
    let figures = json(&[
        "compare",
        TRIP,
        "--profile",
        PROFILE,
        "--set",
        "fuel.usable_gal=30",
    ]);
    let plan = &figures["aircraft"][1]["plan"];
    assert!((number(plan, "/fuel_on_board_gal") - 30.0).abs() < 1e-5);
    assert!((number(plan, "/fuel_left_behind_gal") - 25.0).abs() < 1e-5);
    assert_eq!(plan["left_behind_for"], "tanks");
    let heavy = [
        "compare",
        TRIP,
        "--profile",
        PROFILE,
        "--set",
        "weights.empty_lb=2500",
    ];
    let text = printed(&heavy);
    assert!(text.contains("cannot fly it"), "{text}");
    let figures = json(&heavy);
    assert!(figures["aircraft"][1]["plan"].is_null());
    assert!(
        figures["aircraft"][1]["not_flown"]
            .as_str()
            .is_some_and(|w| w.contains("lb"))
    );
    assert!(figures["aircraft"][0]["plan"]["totals"]["time_min"].is_number());
}

#[test]
fn closed_form_errors_of_the_comparison_touch_nothing() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let kept = written(folder.path(), "kept.svg", "old");
    let kept = kept.to_str().expect("UTF-8");
    let set = |entry| {
        [
            "compare",
            TRIP,
            "--profile",
            PROFILE,
            "--chart",
            kept,
            "--set",
            entry,
        ]
    };
    for (entry, words) in [
        ("drag.cd0", &["SECTION.KEY=VALUE"][..]),
        (
            "wing.cd0=1",
            &["no section \"wing\"", "fellrun new profile"],
        ),
        ("drag.cd0=-1", &["cd0", "retractable-200hp.toml"]),
        ("drag.cdx=1", &["cdx"]),
        ("weights.max_take_off_lb=light", &["max_take_off_lb"]),
    ] {
        refused(&set(entry), words);
    }
    for (args, words) in [
        (&["compare", TRIP][..], &["--profile"][..]),
        (
            &[
                "compare",
                "none.toml",
                "--profile",
                PROFILE,
                "--chart",
                kept,
            ],
            &["none.toml"],
        ),
        (&["compare", "--profile", PROFILE], &["nothing to compare"]),
        (
            &[
                "compare",
                TRIP,
                "--profile",
                "none.toml",
                "--profile",
                PROFILE,
            ],
            &["none.toml", "retractable-200hp"],
        ),
    ] {
        refused(args, words);
    }
    let five: Vec<&str> = ["compare", TRIP]
        .into_iter()
        .chain(["--profile", PROFILE].repeat(5))
        .collect();
    refused(&five, &["5 aircraft", "4 are the most"]);
    // None that can: an error with each reason.
    let low = demo_trip_text().replace("max_altitude_ft = 12500", "max_altitude_ft = 8000");
    let low = written(folder.path(), "low.toml", low);
    let low = low.to_str().expect("UTF-8");
    refused(
        &[
            "compare",
            low,
            "--profile",
            "retractable-285hp",
            "--chart",
            kept,
        ],
        &["none of these", "no cruise altitude is allowed"],
    );
    assert_eq!(fs::read_to_string(kept).expect("reads"), "old");
}
