//! What the chart of the page reads off along the route: the points of the path, already in words, so that the page rounds nothing.

use crate::brief::chart::setting;
use crate::brief::words::{clock, feet, knots, near, number};
use crate::brief::{Figures, Point, wording};
use serde::Serialize;

/// How many readings a point has.
const READINGS: usize = 9;

/// What the readings of a point are called, after the figure.
pub(super) fn names(f: &Figures) -> [String; READINGS] {
    let since = match f.trip.start_in_flight {
        Some(_) => "from now",
        None => "time flown",
    };
    let left = format!("{} left", f.units.volume());
    [
        "nm out", since, "ft", &left, "setting", "mixture", "KIAS", "kt GS", "segment",
    ]
    .map(str::to_owned)
}

#[derive(Serialize)]
struct Track {
    /// Length of the route, nm.
    length: f64,
    /// Distance of each point, nm.
    at: Vec<f64>,
    /// Readings of each point, in the order of their [`names`].
    rows: Vec<[String; READINGS]>,
    /// First point of each segment.
    starts: Vec<usize>,
}

fn row(f: &Figures, p: &Point) -> [String; READINGS] {
    let kind = f.segments.get(p.segment).map_or("", |s| s.kind);
    [
        number(near(p.distance_nm, 1), 1),
        clock(p.time_min),
        feet(p.indicated_altitude_ft),
        f.units.left(p.fuel_left_gal).figure,
        setting(f, p),
        p.mixture.clone(),
        knots(p.ias_kt),
        knots(p.gs_kt),
        wording::name_of(kind).to_owned(),
    ]
}

/// The path as JSON that may stand in a script element.
pub(super) fn json(f: &Figures) -> String {
    let starts = (0..f.segments.len())
        .filter_map(|i| f.track.iter().position(|p| p.segment == i))
        .collect();
    let track = Track {
        length: f.totals.distance_nm,
        at: f.track.iter().map(|p| near(p.distance_nm, 3)).collect(),
        rows: f.track.iter().map(|p| row(f, p)).collect(),
        starts,
    };
    // Numbers and text alone: there is nothing that could fail to be written. No "<" ends the element early.
    serde_json::to_string(&track)
        .unwrap_or_default()
        .replace('<', "\\u003c")
}
