//! Weather reports of the places of the route.

use std::path::Path;

use jiff::{SignedDuration, Timestamp};

use super::section::ReadWeather;
use super::{Route, station_of};
use crate::files::diagnostic::{FileError, Finding, FindingKind, read_text, span_at};
use crate::files::report::{self, Report};
use crate::files::sheet::Sheet;
use crate::files::trip::not_found;
use crate::files::winds::surface_station;
use crate::trip::{Source, SourceKind};

/// A weather report older than this, or for so much later, is remarked upon, h.
const STALE_H: i64 = 3;

/// The latest report of each place of the route that has one; its wind and temperature join the surface observations where the
/// trip has none of that place.
pub(super) fn reports(
    sheet: &Sheet<'_>,
    folder: &Path,
    read: &mut ReadWeather,
    departure: Timestamp,
    route: &Route<'_>,
) -> Result<Vec<Report>, FileError> {
    let mut all: Vec<Report> = Vec::new();
    for (i, (entry, span)) in read.metar.iter().enumerate() {
        let key = format!("weather.metar[{}]", i + 1);
        if report::looks_like_report(entry) {
            all.extend(report::decode(entry, departure).map_err(|e| {
                sheet.fail(
                    Finding::new(FindingKind::Syntax, &key, Some(span.clone()), e.message)
                        .label("this report")
                        .hint(report::WAY_OUT),
                )
            })?);
            continue;
        }
        let path = folder.join(entry);
        let text = match read_text(&path) {
            Err(error) if error.is_unreadable() => {
                return Err(not_found(sheet, &key, span.clone(), &error));
            }
            other => other?,
        };
        all.extend(read_reports(&text, &path, &key, departure)?);
    }
    all.sort_by_key(|r| std::cmp::Reverse(r.time));
    let of_route = |r: &Report| route.places.iter().any(|p| p.ident == r.station);
    if let Some(other) = all.iter().find(|r| !of_route(r))
        && !all.iter().any(of_route)
    {
        let names: Vec<&str> = route.places.iter().map(|p| p.ident.as_str()).collect();
        let message = format!(
            "no weather report is of a place of this trip: there is one of {}",
            other.station
        );
        let span = read.metar.first().map(|(_, span)| span.clone());
        return Err(sheet.fail(
            Finding::new(FindingKind::Contradiction, "weather.metar", span, message)
                .label("not used")
                .hint(format!(
                    "give reports of {}; the wind of another place may stand in [[weather.surface]]",
                    names.join(", ")
                )),
        ));
    }
    let mut used: Vec<Report> = Vec::new();
    for report in all {
        let place = route.places.iter().find(|p| p.ident == report.station);
        let (Some(place), false) = (place, used.iter().any(|u| u.station == report.station)) else {
            continue;
        };
        let given = read.surface.iter().any(|s| s.name == report.station);
        if let (false, Some(wind), Some(elevation_m)) = (given, report.wind_m_s, place.elevation_m)
        {
            let position = station_of(place, elevation_m);
            read.surface
                .push(surface_station(&position, wind, report.temperature_k));
        }
        used.push(report);
    }
    Ok(used)
}

/// What is said of a report.
pub(super) fn said(
    report: &Report,
    departure: Timestamp,
    read: &ReadWeather,
    route: &Route<'_>,
) -> Source {
    let mut notes = report.notes.clone();
    let off = departure.duration_since(report.time);
    if off.abs() > SignedDuration::from_hours(STALE_H) {
        notes.push(format!(
            "observed {:.0} h {} start-up",
            off.as_secs_f64().abs() / 3_600.0,
            if off.is_negative() { "after" } else { "before" }
        ));
    }
    let place = route.places.iter().find(|p| p.ident == report.station);
    if place.is_some_and(|p| p.elevation_m.is_none()) {
        notes.push("its wind and temperature are not used: the place has no elevation_ft".into());
    }
    let ends = [route.places.first(), route.places.last()];
    let end = ends
        .into_iter()
        .flatten()
        .any(|p| p.ident == report.station);
    if end && report.altimeter_pa.is_some() && read.altimeter_pa.is_some() {
        notes.push("the altimeter setting is that of the trip itself".into());
    }
    Source {
        kind: SourceKind::Report,
        name: report.station.clone(),
        valid: Some(report.time),
        period: None,
        notes,
    }
}

/// The weather reports of a text, the same way.
pub(in crate::files) fn read_reports(
    text: &str,
    path: &Path,
    key: &str,
    near: Timestamp,
) -> Result<Vec<Report>, FileError> {
    report::decode(text, near).map_err(|e| {
        let at = span_at(text, e.line, 1);
        let finding = Finding::new(FindingKind::Syntax, key, Some(at), e.message)
            .label("this report")
            .hint(report::WAY_OUT);
        FileError::new(path, text, vec![finding])
    })
}
