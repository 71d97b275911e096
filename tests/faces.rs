//! Every figure that a face shows is the JSON's of the same plan, rounded to the safe side: fuel burned and the distance of the top of
//! descent up, fuel left and rates of climb down, times to the minute.
//!
//! Each demo trip is planned in both units with every face at once; the figures are read out of what is written by a reader of the
//! test's own, and what each must be is reckoned from the JSON alone.

mod cards;
mod drawn;
mod reading;
mod sheet;

use crate::command::{printed, root};
use cards::cards;
use drawn::{chart, exports};
use reading::Way::{Down, Near, Up};
use reading::{METRIC, Must, Text, US, Units, at, html_text, plain};
use serde_json::Value;
use sheet::{page, segments, sheet};
use std::sync::OnceLock;

const TRIPS: [&str; 3] = ["first-trip", "hot-afternoon", "into-the-wind"];
/// A foot, m (exact).
const M_PER_FT: f64 = 0.3048;

/// What one run wrote.
struct Faces {
    units: Units,
    json_text: String,
    json: Value,
    sheet: String,
    files: Vec<(&'static str, String)>,
}

impl Faces {
    fn file(&self, name: &str) -> &str {
        let found = self.files.iter().find(|f| f.0 == name);
        &found.unwrap_or_else(|| panic!("no {name}")).1
    }
}

fn planned(trip: &str, units: Units) -> Faces {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let faces = [
        ("--json", "plan.json"),
        ("--card", "card.txt"),
        ("--card", "card.md"),
        ("--card", "card.html"),
        ("--page", "page.html"),
        ("--chart", "chart.svg"),
        ("--csv", "track.csv"),
        ("--csv-segments", "segments.csv"),
        ("--gpx", "plan.gpx"),
        ("--kml", "plan.kml"),
    ];
    let path = |name: &str| folder.path().join(name).to_str().expect("UTF-8").to_owned();
    let trip = root().join(format!("examples/{trip}.toml"));
    let mut args = vec!["plan".to_owned(), trip.to_str().expect("UTF-8").to_owned()];
    args.extend(["--units".to_owned(), units.name.to_owned()]);
    for (option, name) in faces {
        args.extend([option.to_owned(), path(name)]);
    }
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let sheet = printed(&args);
    let files: Vec<(&str, String)> = faces
        .iter()
        .map(|f| {
            (
                f.1,
                std::fs::read_to_string(path(f.1)).expect("was written"),
            )
        })
        .collect();
    let json_text = files[0].1.clone();
    Faces {
        units,
        json: serde_json::from_str(&json_text).expect("JSON"),
        json_text,
        sheet,
        files,
    }
}

/// All trips in both units, US first.
fn all() -> &'static Vec<[Faces; 2]> {
    static ONCE: OnceLock<Vec<[Faces; 2]>> = OnceLock::new();
    ONCE.get_or_init(|| {
        TRIPS
            .iter()
            .map(|t| [planned(t, US), planned(t, METRIC)])
            .collect()
    })
}

fn list<'a>(json: &'a Value, pointer: &str) -> &'a Vec<Value> {
    let list = json.pointer(pointer).and_then(Value::as_array);
    list.unwrap_or_else(|| panic!("{pointer} is a list"))
}

fn word<'a>(json: &'a Value, pointer: &str) -> &'a str {
    let text = json.pointer(pointer).and_then(Value::as_str);
    text.unwrap_or_else(|| panic!("{pointer} is text"))
}

/// Fuel burned or needed, and fuel left, in tables and sentences.
fn burned(f: &Faces, gal: f64) -> Must {
    ("fuel burned", gal * f.units.per_gal, f.units.table, Up)
}

fn left(f: &Faces, gal: f64) -> Must {
    ("fuel left", gal * f.units.per_gal, f.units.table, Down)
}

fn flow(f: &Faces, gph: f64) -> Must {
    ("fuel flow", gph * f.units.per_gal, f.units.table, Up)
}

/// The top of descent: distance to go up, minutes after take-off down, minutes before landing up. Each is to the early side.
fn top_of_descent(j: &Value) -> [Must; 3] {
    let after = at(j, "/top_of_descent_min");
    [
        ("TOD to go", at(j, "/top_of_descent_to_go_nm"), 1.0, Up),
        ("TOD after take-off", after, 1.0, Down),
        (
            "TOD before landing",
            at(j, "/totals/time_min") - after,
            1.0,
            Up,
        ),
    ]
}

fn top_of_climb(j: &Value) -> [Must; 2] {
    [
        ("TOC", at(j, "/top_of_climb_nm"), 1.0, Up),
        ("TOC after", at(j, "/top_of_climb_min"), 1.0, Up),
    ]
}

/// The plan in one line, wherever it stands; on the card fuel is to its step.
fn in_one_line(text: &Text, f: &Faces, step: f64) {
    let j = &f.json;
    throttle(text, f);
    text.says(
        &format!("down at {{}} nm, lands with {{}} {}", f.units.volume),
        &[
            top_of_descent(j)[0],
            (
                "landing fuel",
                at(j, "/totals/landing_fuel_gal") * f.units.per_gal,
                step,
                Down,
            ),
        ],
    );
}

/// The throttle reading of the plan in one line, where one level is flown.
fn throttle(text: &Text, f: &Faces) {
    let all = list(&f.json, "/segments").iter();
    let cruises: Vec<&Value> = all.filter(|s| s["kind"] == "cruise").collect();
    if let [one] = cruises[..] {
        text.may_say(
            "full throttle ({} in) / {}, down",
            &[
                ("MAP", at(one, "/start/map_inhg"), 0.1, Near),
                ("RPM", at(one, "/end/rpm"), 10.0, Near),
            ],
        );
    }
}

fn rough(text: &Text, j: &Value) {
    if j["if_rough"].is_null() || j["if_rough"]["descends"] == false {
        return;
    }
    text.may_say(
        ": {} KIAS or less (Va at that weight), about {} fpm down",
        &[
            ("Va", at(j, "/if_rough/ias_kt"), 1.0, Down),
            ("rate", at(j, "/if_rough/rate_fpm"), 10.0, Down),
        ],
    );
}

/// Speeds and fuel flow of the first cruise, in a pattern that ends with the flow.
fn cruise(text: &Text, f: &Faces, pattern: &str, speeds: &[&str]) {
    let cruises = list(&f.json, "/segments")
        .iter()
        .filter(|s| s["kind"] == "cruise");
    let cruises: Vec<&Value> = cruises.collect();
    assert!(!cruises.is_empty());
    if let [one] = cruises[..] {
        let mut must: Vec<Must> = speeds
            .iter()
            .map(|k| ("speed", at(one, &format!("/start/{k}")), 1.0, Near))
            .collect();
        must.push(flow(f, at(one, "/start/fuel_flow_gph")));
        text.may_say(&format!("{pattern}{}", f.units.flow), &must);
    }
}

#[test]
fn crosscheck_the_sheet_shows_the_figures_of_the_json() {
    for f in all().iter().flatten() {
        let text = Text::new(&format!("terminal, {}", f.units.name), &f.sheet);
        sheet(&text, f);
        for unit in [f.units.volume, f.units.weight, f.units.pressure] {
            text.none_left(unit);
        }
        segments(f);
    }
}

#[test]
fn crosscheck_the_page_shows_the_figures_of_the_json() {
    all().iter().flatten().for_each(page);
}

#[test]
fn crosscheck_the_card_shows_the_figures_of_the_json() {
    all().iter().flatten().for_each(cards);
}

#[test]
fn crosscheck_the_chart_shows_the_figures_of_the_json() {
    all().iter().flatten().for_each(chart);
}

#[test]
fn crosscheck_exports_have_the_figures_of_the_json() {
    all().iter().flatten().for_each(exports);
}

/// A program finds the same keys and figures whatever units a pilot asks for, and an eye no gallon where litres were asked for.
#[test]
fn closed_form_units_change_what_is_read_by_eyes_alone() {
    for [us, metric] in all() {
        assert_eq!(us.json_text, metric.json_text);
        for name in ["track.csv", "segments.csv"] {
            assert_eq!(us.file(name), metric.file(name), "{name}");
        }
        let mut faces: Vec<(&str, String)> = vec![("terminal", metric.sheet.clone())];
        for name in ["card.txt", "card.md", "plan.gpx", "plan.kml"] {
            faces.push((name, plain(metric.file(name))));
        }
        faces.push(("card.html", html_text(metric.file("card.html"))));
        faces.push(("page.html", html_text(metric.file("page.html"))));
        for (name, text) in faces {
            let word = |w: &&str| {
                ["gal", "gph", "lb", "inHg"].contains(&w.trim_matches(|c: char| !c.is_alphabetic()))
            };
            assert_eq!(text.split_whitespace().find(word), None, "{name}");
        }
    }
}

/// The reader of this test sees what is wrong: a figure that is another, one rounded to the unsafe side, one too coarse.
#[test]
fn closed_form_the_reader_refuses_what_is_wrong() {
    let refused = |text: &str, must: Must| {
        let text = Text::new("trial", text);
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            text.says("burns {} gal", &[must])
        }))
        .is_err()
    };
    let must = ("fuel", 15.82, 0.1, Up);
    assert!(!refused("it burns 15.9 gal, then", must));
    for wrong in [
        "burns 15.8 gal",
        "burns 16.0 gal",
        "burns 15.85 gal",
        "burns 15.9 gal and burns 15.8 gal",
        "takes 15.9 gal",
    ] {
        assert!(refused(wrong, must), "{wrong}");
    }
    assert!(refused("burns 15.9 gal", ("fuel", 15.82, 0.1, Down)));
    let text = Text::new("trial", "a 3.5 gal, b 4.5 gal.");
    text.says("a {} gal", &[("a", 3.5, 0.1, Near)]);
    assert!(
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| text.none_left("gal"))).is_err()
    );
    text.says("b {} gal", &[("b", 4.5, 0.1, Near)]);
    text.none_left("gal");
}
