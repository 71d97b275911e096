//! `fellrun spread` as typed: its outputs, and what it says of input that does not work.

use crate::command::{PROFILE, WINDS, json, number, printed, refused, root, written};
use fellrun::brief::{SpreadFigures, spread_svg, spread_text};
use fellrun::files::trip::load_trip;
use fellrun::solve::{SpreadAsk, plan_trip, spread};
use fellrun::trip::ForecastError;
use serde_json::Value;
use std::fs;

const TRIP: &str = "examples/first-trip.toml";

#[test]
fn closed_form_spread_by_the_command() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (svg, csv, out) = (path("s.svg"), path("s.csv"), path("s.json"));
    let args = [
        "spread",
        TRIP,
        "--samples",
        "25",
        "--chart",
        &svg,
        "--csv",
        &csv,
        "--json",
        &out,
    ];
    let text = printed(&args);
    assert!(text.starts_with("How sure the plan is: advice"), "{text}");
    for line in text.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    assert!(
        text.contains("from memory") && text.contains("flight manual"),
        "{text}"
    );
    let figures: Value = serde_json::from_slice(&fs::read(&out).expect("written")).expect("JSON");
    assert_eq!(number(&figures, "/forecast_error/wind_kt"), 8.0);
    // As the plan's JSON has them.
    let single = json(&["plan", TRIP]);
    assert_eq!(figures["levels"][0]["totals"], single["totals"]);
    assert_eq!(figures["levels"][0]["levels_ft"], single["levels_ft"]);
    // The percentiles are those of the samples: read again from the file of them.
    let rows = fs::read_to_string(&csv).expect("written");
    let mut reader = csv::Reader::from_reader(rows.as_bytes());
    let at = reader
        .headers()
        .expect("heads")
        .iter()
        .position(|h| h == "time_min");
    let at = at.expect("a column");
    let times = reader
        .records()
        .map(|r| r.expect("a row")[at].parse::<f64>().expect("a number"));
    let mut times: Vec<f64> = times.collect();
    times.sort_by(f64::total_cmp);
    // The middle of 25 is the 13th, and the tenths lie at 2.4 and 21.6 steps.
    assert_eq!(times.len(), 25);
    let between = |i: usize, share: f64| times[i] + share * (times[i + 1] - times[i]);
    for (key, expected) in [
        ("p10", between(2, 0.4)),
        ("p50", times[12]),
        ("p90", between(21, 0.6)),
    ] {
        let found = number(&figures, &format!("/time_min/{key}"));
        assert!((found - expected).abs() < 2e-6, "{key}: {found} {expected}");
    }
    let best: f64 = figures["levels"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|l| number(l, "/best_percent"))
        .sum();
    assert!((best - 100.0).abs() < 1e-4, "{best}");
    let drawing = fs::read_to_string(&svg).expect("written");
    for word in ["<svg", "KBNO", "P10", "P90", "Advisory only."] {
        assert!(drawing.contains(word), "{word}");
    }
    // The same typed again is the same, and another seed is another answer.
    assert_eq!(printed(&args), text);
    let other = printed(&["spread", TRIP, "--samples", "25", "--seed", "2"]);
    assert_ne!(other, text);
}

#[test]
fn closed_form_the_error_from_the_forecasts_of_a_trip() {
    // For use from 02 to 09 Z; the other from then on.
    let early = "tests/data/fb/FBUS31_FD1US1_2026-01-31_310158Z.txt";
    let typed = [
        "spread",
        "--profile",
        PROFILE,
        "--from",
        "KBNO",
        "--to",
        "KPIH",
        "--fuel",
        "50",
        "--depart",
        "2026-01-31T08:00Z",
        "--samples",
        "3",
        "--from-forecasts",
        "--winds",
        early,
    ];
    refused(&typed, &["one forecast", "--wind-error"]);
    let mut both = typed.to_vec();
    both.extend(["--winds", WINDS]);
    let figures = json(&both);
    let wind = number(&figures, "/forecast_error/wind_kt");
    let warm = number(&figures, "/forecast_error/temperature_c");
    // A component of the wind over south Idaho in hours: knots, not tenths or tens.
    assert!(
        (1.0..30.0).contains(&wind) && (0.2..10.0).contains(&warm),
        "{wind} {warm}"
    );
    let source = figures["forecast_error"]["source"].as_str().expect("words");
    assert!(source.contains("2 forecasts"), "{source}");
}

#[test]
fn closed_form_text_fits_a_narrow_screen_and_a_level_flight_has_no_choice() {
    let file = load_trip(&root().join(TRIP), None).expect("a demo trip");
    let (problem, plan) = plan_trip(&file.trip, &file.aircraft).expect("a plan");
    let ask = SpreadAsk {
        error: ForecastError::USUAL,
        samples: 9,
        seed: 3,
    };
    let found = spread(&problem, &plan, ask, 2);
    let figures = SpreadFigures::new(&found, &plan, &problem, "for the test");
    for line in spread_text(&figures, 80).lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    // One level alone is said to be, and drawn.
    let mut alone = found.clone();
    alone.ways.truncate(1);
    alone.choice = fellrun::solve::Choice::OnlyOne;
    let figures = SpreadFigures::new(&alone, &plan, &problem, "for the test");
    assert!(spread_text(&figures, 100).contains("nothing to choose"));
    assert!(spread_svg(&figures).is_ok());
}

#[test]
fn closed_form_errors_of_the_spread_touch_nothing() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let kept = written(folder.path(), "kept.svg", "old");
    let kept = kept.to_str().expect("UTF-8");
    for (args, words) in [
        (
            &["spread", "none.toml", "--chart", kept][..],
            &["none.toml"][..],
        ),
        (&["spread"], &["no trip is given"]),
        (&["spread", TRIP, "--from", "KBNO"], &["--from"]),
        (
            &["spread", TRIP, "--samples", "0", "--chart", kept],
            &["--samples 0", "1..=100000"],
        ),
        (
            &["spread", TRIP, "--wind-error", "-1", "--chart", kept],
            &["--wind-error -1", "0..=60 kt"],
        ),
        (
            &["spread", TRIP, "--wind-error", "NaN", "--chart", kept],
            &["--wind-error NaN"],
        ),
        (
            &["spread", TRIP, "--from-forecasts", "--wind-error", "5"],
            &["cannot be used with"],
        ),
        (
            &["spread", TRIP, "--from-forecasts", "--chart", kept],
            &["one forecast"],
        ),
    ] {
        refused(args, words);
    }
    assert_eq!(fs::read_to_string(kept).expect("reads"), "old");
}
