//! Charts of whole plans, as pictures: against those that were looked at, and for labels that meet.
#![cfg(feature = "png")]

use crate::common::text_boxes;

use std::path::{Path, PathBuf};

use fellrun::brief::{Figures, png, svg};
use fellrun::files::trip::{load_trip, parse_trip};
use fellrun::solve::plan_trip;
use resvg::tiny_skia::Pixmap;

/// Demo trips whose charts are kept.
const DEMOS: [&str; 3] = ["first-trip", "hot-afternoon", "into-the-wind"];
/// Pixels of the chart, each way, that make one of the picture kept.
const SHRINK: u32 = 4;
/// A pixel is another where red, green or blue is this far off, of 255: more than the edge of a line that moved by a tenth of a chart
/// unit (a twentieth of these pixels, of at most 255 steps), less than half of the thinnest line.
const OTHER: f64 = 40.0;
/// Share of pixels that may be other. One digit of a label is some 40 of 176,500 pixels, 0.02 %; a top of descent 3 nm off changes more than
/// four times this (below).
const MOST_OTHER: f64 = 0.001;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn figures_of(trip: &fellrun::trip::Trip, aircraft: &fellrun::aircraft::Aircraft) -> Figures {
    let (problem, plan) = plan_trip(trip, aircraft).unwrap_or_else(|e| panic!("{e}"));
    Figures::new(&plan, &problem)
}

fn demo(name: &str) -> Figures {
    let path = root().join(format!("examples/{name}.toml"));
    let file = load_trip(&path, None).unwrap_or_else(|e| panic!("{e}"));
    figures_of(&file.trip, &file.aircraft)
}

/// A picture, smaller: each pixel the mean of a square of them.
struct Small {
    width: u32,
    height: u32,
    pixels: Vec<[f64; 3]>,
}

fn decoded(bytes: &[u8], shrink: u32) -> Small {
    let map = Pixmap::decode_png(bytes).expect("a PNG");
    let (width, height) = (map.width() / shrink, map.height() / shrink);
    let mean = |x: u32, y: u32| {
        let mut sum = [0.0; 3];
        for dy in 0..shrink {
            for dx in 0..shrink {
                let p = map.pixel(shrink * x + dx, shrink * y + dy).expect("inside");
                for (s, c) in sum.iter_mut().zip([p.red(), p.green(), p.blue()]) {
                    *s += f64::from(c);
                }
            }
        }
        sum.map(|s| s / f64::from(shrink * shrink))
    };
    let pixels = (0..height)
        .flat_map(|y| (0..width).map(move |x| (x, y)))
        .map(|(x, y)| mean(x, y))
        .collect();
    Small {
        width,
        height,
        pixels,
    }
}

fn small(f: &Figures) -> Small {
    decoded(&png(f).expect("draws"), SHRINK)
}

/// Share of pixels that are other.
fn other(a: &Small, b: &Small) -> f64 {
    assert_eq!((a.width, a.height), (b.width, b.height));
    assert!(!a.pixels.is_empty());
    let differs =
        |(p, q): (&[f64; 3], &[f64; 3])| p.iter().zip(q).any(|(x, y)| (x - y).abs() > OTHER);
    let count = a
        .pixels
        .iter()
        .zip(&b.pixels)
        .filter(|&x| differs(x))
        .count();
    count as f64 / a.pixels.len() as f64
}

fn kept(name: &str) -> PathBuf {
    root().join(format!("tests/data/charts/{name}.png"))
}

fn keep(picture: &Small, path: &Path) {
    let mut map = Pixmap::new(picture.width, picture.height).expect("a picture");
    for (bytes, p) in map.data_mut().chunks_exact_mut(4).zip(&picture.pixels) {
        for (byte, c) in bytes.iter_mut().zip(p) {
            *byte = c.round() as u8;
        }
        bytes[3] = 255;
    }
    std::fs::write(path, map.encode_png().expect("a PNG")).expect("written");
}

/// The charts of the demo trips look as those a person has looked at (tests/data/charts/SOURCE.md). With FELLRUN_KEEP_CHARTS set they
/// are written anew instead.
#[test]
fn regress_charts_look_as_those_that_were_looked_at() {
    for name in DEMOS {
        let picture = small(&demo(name));
        if std::env::var_os("FELLRUN_KEEP_CHARTS").is_some() {
            keep(&picture, &kept(name));
            continue;
        }
        let bytes = std::fs::read(kept(name)).expect("a picture kept");
        let share = other(&picture, &decoded(&bytes, 1));
        assert!(
            share <= MOST_OTHER,
            "{name}: {:.3} % of the pixels are other; look at the chart, then FELLRUN_KEEP_CHARTS=1 cargo test --test whole chart::",
            100.0 * share
        );
    }
}

/// Everything from the top of descent on begins so much later.
fn later_down(f: &Figures, by_nm: f64) -> Figures {
    let mut f = f.clone();
    let (tod, end) = (f.top_of_descent_nm, f.pattern_point_nm);
    // The way down is pressed together; what is before stays, but for the end of the cruise.
    let moved = |nm: f64| {
        if nm < tod - 1e-6 || nm > end {
            nm
        } else {
            nm + by_nm * (end - nm) / (end - tod)
        }
    };
    f.top_of_descent_nm = moved(tod);
    for p in &mut f.track {
        p.distance_nm = moved(p.distance_nm);
    }
    for s in &mut f.segments {
        s.start.distance_nm = moved(s.start.distance_nm);
        s.end.distance_nm = moved(s.end.distance_nm);
    }
    f
}

#[test]
fn closed_form_a_wrong_chart_does_not_pass_for_the_right_one() {
    let f = demo(DEMOS[0]);
    let right = small(&f);
    assert_eq!(other(&right, &small(&f)), 0.0);
    let wrong = |f: &Figures| other(&right, &small(f)) / MOST_OTHER;
    let late = wrong(&later_down(&f, 3.0));
    assert!(late > 4.0, "{late}");
    // A line left out.
    let mut alone = f.clone();
    alone.conditions.freezing.clear();
    assert!(wrong(&alone) > 1.0, "{}", wrong(&alone));
    // A level 500 ft off.
    let mut lower = f.clone();
    for p in &mut lower.track {
        p.indicated_altitude_ft -= 500.0;
    }
    assert!(wrong(&lower) > 4.0, "{}", wrong(&lower));
}

/// The first demo trip with pieces of its text replaced, in a folder with a keep-out volume.
fn changed(folder: &Path, changes: &[(&str, &str)]) -> Figures {
    let text = std::fs::read_to_string(root().join("examples/first-trip.toml")).expect("a demo");
    let mut text = text
        .replace(
            "../profiles",
            &root().join("profiles").display().to_string(),
        )
        .replace(
            "weather/FBUS",
            &root().join("examples/weather/FBUS").display().to_string(),
        );
    for (old, new) in changes {
        assert!(text.contains(old), "{old:?} is not in the demo any more");
        text = text.replace(old, new);
    }
    let file = parse_trip(&text, &folder.join("trip.toml"), None).unwrap_or_else(|e| panic!("{e}"));
    figures_of(&file.trip, &file.aircraft)
}

#[test]
fn crosscheck_no_label_of_a_plan_meets_another() {
    let folder = tempfile::tempdir().expect("a folder");
    let rings = "[[[-117.5,43.0],[-117.0,43.0],[-117.0,44.0],[-117.5,44.0],[-117.5,43.0]]]";
    let range = format!(
        "{{\"type\":\"FeatureCollection\",\"features\":[{{\"type\":\"Feature\",\"properties\":{{\"name\":\"Owyhee test range\",\
         \"lower_ft\":8000,\"upper_ft\":10600}},\"geometry\":{{\"type\":\"Polygon\",\"coordinates\":{rings}}}}}]}}"
    );
    std::fs::write(folder.path().join("range.geojson"), range).expect("written");
    let keep_out = (
        "[limits]",
        "[limits]\nkeep_outs = [\"range.geojson\"]\nkeep_out_margin_nm = 1",
    );
    let cloud = (
        "[objective]",
        "[[weather.cloud]]\nbase_ft = 10800\ntop_ft = 12000\nfrom_nm = 50\nto_nm = 100\n[objective]",
    );
    let profile = "retractable-200hp.toml";
    let all: Vec<Vec<(&str, &str)>> = vec![
        vec![(profile, "retractable-285hp.toml")],
        vec![(profile, "turbo-retractable-300hp.toml")],
        vec![(profile, "twin-200hp.toml")],
        vec![
            (profile, "trainer-160hp.toml"),
            ("on_board_gal = 55", "on_board_gal = 46"),
            ("people_lb = 340", "people_lb = 200"),
            ("minimum_altitude_ft = 8800", "minimum_altitude_ft = 7400"),
            ("minimum_altitude_ft = 8900", "minimum_altitude_ft = 7400"),
            ("mountainous = true", "mountainous = false"),
            ("ground_ft = 79", "ground_ft = 59"),
            ("ground_ft = 77", "ground_ft = 57"),
            ("ground_ft = 73", "ground_ft = 53"),
            ("ground_ft = 69", "ground_ft = 59"),
            ("ground_ft = 68", "ground_ft = 58"),
        ],
        vec![keep_out],
        vec![cloud],
        vec![("rules = \"us-vfr\"", "rules = \"none\""), keep_out],
    ];
    for changes in all {
        let f = changed(folder.path(), &changes);
        text_boxes::none_meets(&svg(&f).expect("draws"));
    }
    for name in DEMOS {
        text_boxes::none_meets(&svg(&demo(name)).expect("draws"));
    }
    let started = load_trip(&root().join("tests/data/start/sixty-out.toml"), None)
        .unwrap_or_else(|e| panic!("{e}"));
    let f = figures_of(&started.trip, &started.aircraft);
    text_boxes::none_meets(&svg(&f).expect("draws"));
}
