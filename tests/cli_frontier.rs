//! `fellrun frontier` as typed: its outputs, and what it says of input that does not work.

use crate::command::{PROFILE, demo_trip_text, json, printed, refused, typed, written};
use serde_json::Value;
use std::fs;

const TRIP: &str = "examples/first-trip.toml";

#[test]
fn closed_form_frontier_by_the_command() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (svg, png) = (path("f.svg"), path("f.png"));
    let (csv, out) = (path("f.csv"), path("f.json"));
    let text = printed(&[
        "frontier", TRIP, "--chart", &svg, "--chart", &png, "--csv", &csv, "--json", &out,
    ]);
    assert!(text.starts_with("Fuel against time: advice"), "{text}");
    for line in text.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    let figures: Value = serde_json::from_slice(&fs::read(&out).expect("written")).expect("JSON");
    let plans = figures["plans"].as_array().expect("a list");
    // As the plan's JSON has them.
    let single = json(&["plan", TRIP]);
    let keys =
        |v: &Value| -> Vec<String> { v.as_object().expect("an object").keys().cloned().collect() };
    for p in plans {
        assert_eq!(keys(&p["totals"]), keys(&single["totals"]));
        assert!(p["levels_ft"][0].is_number() && p["cruise"][0]["rpm"].is_number());
    }
    assert!(figures["cautions"].as_array().is_some_and(|c| c.len() >= 4));
    let rows = fs::read_to_string(&csv).expect("written");
    assert_eq!(rows.lines().count(), plans.len() + 1);
    let drawing = fs::read_to_string(&svg).expect("written");
    for word in ["<svg", "KBNO", "best value", "cheapest", "Advisory only."] {
        assert!(drawing.contains(word), "{word}");
    }
    let pixels = fs::read(&png).expect("written");
    assert!(pixels.starts_with(b"\x89PNG"));
}

/// What stands between two marks in a text, each time.
fn between<'a>(text: &'a str, from: &str, to: &str) -> Vec<&'a str> {
    let parts = text.split(from).skip(1);
    parts.filter_map(|p| p.split(to).next()).collect()
}

#[test]
fn closed_form_pages_of_the_frontier_of_a_trip_typed() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (alone, sheet) = (path("f.html"), path("p.html"));
    let trip = typed(&[]);
    let mut asked = trip.clone();
    asked[0] = "frontier";
    asked.extend(["--page", &alone]);
    let frontier = json(&asked);
    let plans = frontier["plans"].as_array().expect("a list").len();
    let mut asked = trip.clone();
    asked.extend(["--frontier", "--page", &sheet]);
    let plan = json(&asked);
    assert_eq!(plan["frontier"], frontier);
    for (page, most) in [(alone, plans), (sheet, plans + 1)] {
        let text = fs::read_to_string(page).expect("written");
        assert!(text.len() < 600_000, "{} bytes", text.len());
        // Each stop in words twice, in two drawings, and on two lines; one of them is shown.
        let last: usize = between(&text, "id=\"stop\" type=\"range\" min=\"0\" max=\"", "\"")[0]
            .parse()
            .expect("a number");
        assert!(last + 1 == plans || last + 1 == most, "{last}");
        assert_eq!(text.matches("class=\"stop\"").count(), 2 * (last + 1));
        assert_eq!(text.matches("<g data-stop=").count(), 2 * (last + 1));
        assert_eq!(text.matches(" class=\"shown\"").count(), 2);
        for points in between(&text, "data-points=\"", "\"") {
            assert_eq!(points.split(' ').count(), last + 1);
        }
    }
    // Without these no face of a plan speaks of them.
    assert!(json(&trip).get("frontier").is_none());
}

#[test]
fn closed_form_pages_of_the_frontier_in_litres() {
    // NIST Handbook 44, appendix C; fuel burned is told in half litres, rounded up after that.
    const LITRES_OF_A_GALLON: f64 = 3.785_411_784;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (alone, sheet) = (path("f.html"), path("p.html"));
    let metric = ["--units", "metric", "--page"];
    let frontier = json(&[&["frontier", TRIP], &metric[..], &[&alone]].concat());
    let plan = json(&[&["plan", TRIP, "--frontier"], &metric[..], &[&sheet]].concat());
    assert_eq!(frontier, json(&["frontier", TRIP]));
    assert_eq!(plan["frontier"], frontier);
    let plans = frontier["plans"].as_array().expect("a list");
    assert!(plans.len() >= 3);
    for page in [alone, sheet] {
        let text = fs::read_to_string(page).expect("written");
        assert!(!text.contains(" gal"));
        let said = between(&text, "data-said=\"", "\"");
        for plan in plans {
            let number = format!("Plan {} of {}, ", plan["order"], plans.len());
            let Some(said) = said.iter().find(|s| s.starts_with(&number)) else {
                panic!("{number} is nowhere");
            };
            // The sheet's own plan may stand in the place of one that reads like it.
            if said.contains("the plan of this sheet") {
                continue;
            }
            let gal = plan["totals"]["fuel_gal"].as_f64().expect("a number");
            let litres = (2.0 * LITRES_OF_A_GALLON * gal).ceil() / 2.0;
            assert!(said.contains(&format!(", fuel {litres:.1} L, ")), "{said}");
        }
    }
}

#[test]
fn closed_form_errors_of_the_frontier_touch_nothing() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let none = folder.path().join("none.svg");
    let none = none.to_str().expect("UTF-8");
    let low = demo_trip_text().replace("max_altitude_ft = 12500", "max_altitude_ft = 8000");
    let low = written(folder.path(), "low.toml", low);
    let low = low.to_str().expect("UTF-8");
    for (args, words) in [
        (
            &["frontier", "none.toml", "--chart", none][..],
            &["none.toml"][..],
        ),
        (&["frontier", TRIP, "--chart", "f.pdf"], &[".svg or .png"]),
        (
            &["frontier", TRIP, "--json", "-", "--csv", "-"],
            &["standard output"],
        ),
        (&["frontier", PROFILE, "--chart", none], &["retractable"]),
        (&["frontier"], &["no trip is given"]),
        (
            &["frontier", TRIP, "--from", "KBNO", "--page", none],
            &["a page is .html"],
        ),
        (
            &["frontier", TRIP, "--from", "KBNO"],
            &["--from is of a trip without a file"],
        ),
        (
            &["frontier", "--from", "KBNO", "--to", "KPIH"],
            &["--profile is missing"],
        ),
        (
            &["plan", TRIP, "--frontier", "--chart", none],
            &["--frontier adds to the page", "fellrun frontier"],
        ),
        (
            &["frontier", low, "--chart", none],
            &["low.toml", "no cruise altitude is allowed"],
        ),
    ] {
        refused(args, words);
    }
    assert!(!std::path::Path::new(none).exists());
}
