//! Winds that do not fit the trip: none for its departure, or a part of the route outside them.

use std::ops::Range as Span;

use jiff::Timestamp;

use super::Route;
use super::on_hand::WindsOnHand;
use super::section::ReadWeather;
use super::winds::Unused;
use crate::air::{FieldError, WindField};
use crate::files::diagnostic::{FileError, Finding, FindingKind};
use crate::files::sheet::Sheet;
use crate::quantity::Distance;
use crate::trip::{Source, SourceKind};

/// The error of a departure that no forecast is for.
pub(super) fn none_holds(
    sheet: &Sheet<'_>,
    read: &ReadWeather,
    on_hand: &WindsOnHand,
    unused: Vec<Unused>,
    departure: Timestamp,
) -> FileError {
    let mut findings = Vec::new();
    let mut add =
        |key: String, name: &str, span: Span<usize>, (from, to): (Timestamp, Timestamp)| {
            let message = format!(
                "{name} is for use from {from} to {to}, but the trip departs at {departure}"
            );
            let winds = if read.bulletins.is_empty() {
                "winds"
            } else {
                "the bulletin"
            };
            let hint = if departure < from {
                format!("depart later, or give {winds} of the period before")
            } else {
                format!("depart earlier, or give {winds} of the period after")
            };
            findings.push(
                Finding::new(FindingKind::Weather, &key, Some(span), message)
                    .label("does not hold the departure")
                    .hint(hint),
            );
        };
    for u in unused {
        let list = if u.key == "grib" {
            &read.grib
        } else {
            &read.bulletins
        };
        if let Some((name, span)) = list.get(u.index) {
            let key = format!("weather.{}[{}]", u.key, u.index + 1);
            add(key, name, span.clone(), u.period);
        }
    }
    for slice in &on_hand.slices {
        let (Some(period), false) = (slice.source.period, slice.source.kind == SourceKind::Grid)
        else {
            continue;
        };
        let (key, span) = match slice.source.kind {
            SourceKind::Bulletin => {
                let first = slice.source.name.split(", ").next().unwrap_or("");
                let at = read
                    .bulletins
                    .iter()
                    .position(|b| b.0 == first)
                    .unwrap_or(0);
                (
                    format!("weather.bulletins[{}]", at + 1),
                    read.bulletins.get(at).map(|b| b.1.clone()),
                )
            }
            _ => ("weather.aloft".to_owned(), None),
        };
        let span = span.unwrap_or_else(|| read.span.clone());
        add(key, &slice.source.name, span, period);
    }
    let last = findings.pop();
    for finding in findings {
        sheet.note(finding);
    }
    sheet.fail(last.unwrap_or_else(|| {
        Finding::new(
            FindingKind::Weather,
            "weather",
            Some(read.span.clone()),
            "no winds aloft are given".to_owned(),
        )
    }))
}

/// An error if a point of the route is outside a forecast.
pub(super) fn covers(
    sheet: &Sheet<'_>,
    field: &WindField,
    read: &ReadWeather,
    source: &Source,
    route: &Route<'_>,
    height_m: f64,
) -> Result<(), FileError> {
    for (leg, along_m, point) in route.points() {
        let why = match field.at(point.lat_deg(), point.lon_deg(), height_m, height_m) {
            Err(FieldError::TooFar {
                station,
                distance_m,
                ..
            }) => format!(
                "the nearest station, {station}, is {:.0} nm away, and 150 nm is the limit",
                Distance::m(distance_m).to_nm()
            ),
            Err(FieldError::OffMesh { distance_m, .. }) => format!(
                "the grid ends; its nearest point is {:.0} nm away",
                Distance::m(distance_m).to_nm()
            ),
            Err(e @ FieldError::Hole { .. }) => e.to_string(),
            _ => continue,
        };
        let message = format!(
            "{} does not cover the route: on the leg {leg}, {:.0} nm from its start, at {point}, {why}",
            source.name,
            Distance::m(along_m).to_nm(),
        );
        let lists = [&read.bulletins, &read.grib];
        let named = lists
            .into_iter()
            .flatten()
            .find(|(name, _)| source.name.starts_with(name.as_str()));
        let (key, hint) = match source.kind {
            SourceKind::Grid => (
                "weather.grib",
                "check the places, or give a file whose grid holds the route",
            ),
            SourceKind::Table => (
                "weather.aloft",
                "check the places, or add a row of [[weather.aloft]] for a place near there",
            ),
            SourceKind::Bulletin | SourceKind::Report => (
                "weather.bulletins",
                "check the places, or give a bulletin with stations along the route",
            ),
        };
        let label = source
            .period
            .map_or("these winds".to_owned(), |(from, to)| {
                format!("for use from {from} to {to}")
            });
        let span = named.map_or(read.span.clone(), |n| n.1.clone());
        return Err(sheet.fail(
            Finding::new(FindingKind::Weather, key, Some(span), message)
                .label(label)
                .hint(hint),
        ));
    }
    Ok(())
}
