//! The track and the segments as CSV: the columns are the keys of the JSON, those of a segment's ends with the end before them.

use super::{Figures, Point, SegmentFigures};
use serde::Serialize;

/// The path, one point a row.
///
/// # Errors
/// Only if the figures cannot be written, which would be our bug.
pub fn track_csv(figures: &Figures) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    for point in &figures.track {
        out.serialize(point)?;
    }
    out.into_inner().map_err(|e| e.into_error().into())
}

/// What a segment has besides its ends.
#[derive(Serialize)]
struct Between {
    kind: &'static str,
    time_min: f64,
    distance_nm: f64,
    fuel_gal: f64,
    map_peak_inhg: f64,
    turns: Option<f64>,
}

/// Names and cells of a row, as `serde` has them.
fn row(figure: impl Serialize) -> Result<[csv::StringRecord; 2], csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.serialize(figure)?;
    let text = out
        .into_inner()
        .map_err(|e| csv::Error::from(e.into_error()))?;
    let mut read = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(text.as_slice());
    let mut records = [csv::StringRecord::new(), csv::StringRecord::new()];
    for record in &mut records {
        read.read_record(record)?;
    }
    Ok(records)
}

/// The segments, one a row: what is done, its start, its end, and what lies between.
///
/// # Errors
/// As [`track_csv`].
pub fn segments_csv(figures: &Figures) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    for (i, s) in figures.segments.iter().enumerate() {
        let SegmentFigures {
            kind,
            start,
            end,
            time_min,
            distance_nm,
            fuel_gal,
            map_peak_inhg,
            turns,
        } = s;
        let between = row(Between {
            kind,
            time_min: *time_min,
            distance_nm: *distance_nm,
            fuel_gal: *fuel_gal,
            map_peak_inhg: *map_peak_inhg,
            turns: *turns,
        })?;
        let ends: [&Point; 2] = [start, end];
        let [start, end] = ends.map(row);
        let (start, end) = (start?, end?);
        if i == 0 {
            let at = |end: &str, names: &csv::StringRecord| -> Vec<String> {
                names.iter().map(|n| format!("{end}.{n}")).collect()
            };
            let names = between[0].iter().map(str::to_owned);
            out.write_record(
                names
                    .chain(at("start", &start[0]))
                    .chain(at("end", &end[0])),
            )?;
        }
        out.write_record(between[1].iter().chain(&start[1]).chain(&end[1]))?;
    }
    out.into_inner().map_err(|e| e.into_error().into())
}
