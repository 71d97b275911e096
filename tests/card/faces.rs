//! The faces of the card: pinned on the demo trip, and every line of the card in each.

use assert_cmd::Command;
use fellrun::brief::{Figures, card_html, card_markdown, card_text};
use fellrun::solve::plan;
use fellrun::trip::Objective;
use std::fs;
use std::path::Path;

fn figures() -> Figures {
    let p = crate::common::demo_trip("first-trip.toml", Objective::Money);
    let answer = plan(&p).expect("a plan");
    Figures::new(&answer, &p).with_late(&answer, &p)
}

#[test]
fn regress_the_text_of_the_demo_card() {
    // Pins what a pilot is handed; when it changes on purpose, look at it and accept it (INSTA_UPDATE=always).
    insta::assert_snapshot!("demo_text", card_text(&figures()));
}

#[test]
fn regress_the_markdown_of_the_demo_card() {
    insta::assert_snapshot!("demo_markdown", card_markdown(&figures()));
}

/// Words as they are in a face: one blank between two, marks of HTML undone.
fn flat(text: &str) -> String {
    let text = text
        .replace("&quot;", "\"")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&amp;", "&");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn closed_form_every_line_is_on_every_face() {
    let f = figures();
    let (html, markdown) = (flat(&card_html(&f)), flat(&card_markdown(&f)));
    for l in &f.lever_card {
        for words in [&l.trigger, &l.action, &l.expect] {
            assert!(html.contains(words.as_str()), "{words}");
            assert!(markdown.contains(words.as_str()), "{words}");
        }
    }
    let late = f.if_late.as_ref().expect("asked for");
    for words in late.starts.iter().map(|s| &s.text).chain(f.cautions.iter()) {
        assert!(
            html.contains(words.as_str()) && markdown.contains(words.as_str()),
            "{words}"
        );
    }
    // Nothing is fetched, nothing runs.
    for no in ["http:", "https:", "src=", "href=", "<script", "url("] {
        assert!(!html.contains(no), "{no}");
    }
    assert!(card_text(&f).lines().all(|l| l.chars().count() <= 80));
}

#[test]
fn closed_form_fuel_and_time_are_rounded_to_the_safe_side() {
    let f = figures();
    let text = card_text(&f);
    let row = |name: &str| -> Vec<String> {
        text.lines()
            .find(|l| l.starts_with(name) && !l.contains("time"))
            .unwrap_or_else(|| panic!("no {name}"))
            .split_whitespace()
            .map(str::to_owned)
            .collect()
    };
    for w in f.waypoints.iter().filter(|w| w.kind != "pattern") {
        let row = row(&w.place);
        let last: Vec<f64> = row[row.len() - 2..]
            .iter()
            .map(|x| x.parse().expect("a number"))
            .collect();
        let (left, least) = (last[0], last[1]);
        assert!(left <= w.fuel_left_gal + 1e-4 && left > w.fuel_left_gal - 0.5);
        assert!(least >= w.least_fuel_gal - 1e-4 && least < w.least_fuel_gal + 0.5);
        assert!((2.0 * left).fract() == 0.0 && (2.0 * least).fract() == 0.0);
    }
}

#[test]
fn closed_form_the_command_writes_each_kind_by_its_ending() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
    let run = |arguments: &[&str]| {
        Command::cargo_bin("fellrun")
            .expect("the binary of this crate")
            .arg("plan")
            .arg(&demo)
            .args(arguments)
            .current_dir(dir.path())
            .output()
            .expect("starts")
    };
    let out = run(&["--card", "a.html", "--card", "a.MD", "--card", "-"]);
    assert!(out.status.success());
    let stdout = String::from_utf8(out.stdout).expect("UTF-8");
    assert_eq!(stdout, card_text(&figures()));
    let read = |name: &str| fs::read_to_string(dir.path().join(name)).expect("written");
    assert!(read("a.html").starts_with("<!DOCTYPE html>"));
    assert_eq!(read("a.MD"), card_markdown(&figures()));
    let out = run(&["--card", "a.pdf"]);
    assert_eq!(out.status.code(), Some(1));
    let told = String::from_utf8(out.stderr).expect("UTF-8");
    assert!(told.contains(".html, .txt or .md"), "{told}");
}
