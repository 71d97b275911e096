//! Wind fields from bulletins, from GRIB2 files, and from the table in the trip.

use std::ops::Range as Span;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::Route;
use super::on_hand::{Period, Slice, periods};
use super::section::ReadWeather;
use crate::air::{Station, WindField};
use crate::earth::geodesic::distance_m;
use crate::earth::place::Position;
use crate::files::bulletin::{self, Bulletin, ResolvedTimes, resolve_times};
use crate::files::diagnostic::{FileError, Finding, FindingKind, quoted, read_text, span_at};
use crate::files::sheet::Sheet;
use crate::files::trip::not_found;
use crate::files::winds::wind_slices;
use crate::files::{check, grib2};
use crate::quantity::M_PER_FT;
use crate::trip::{Place, Source, SourceKind};

/// The air is asked for up to this much above the greatest altitude of the trip, m: a step over it, and what a low altimeter setting
/// adds to the pressure altitude.
const ABOVE_TOP_M: f64 = 5_000.0 * M_PER_FT;

/// A file whose forecasts are not for the time asked for.
pub(super) struct Unused {
    pub(super) key: &'static str,
    pub(super) index: usize,
    pub(super) period: (Timestamp, Timestamp),
}

/// A bulletin with its file and times.
struct Dated {
    file: usize,
    bulletin: Bulletin,
    times: ResolvedTimes,
}

type Slices = (Vec<Slice>, Vec<Unused>);

/// The bulletins of a text, what is wrong shown where it stands; `key` is that of the trip that names the file.
pub(in crate::files) fn read_bulletins(
    text: &str,
    path: &Path,
    key: &str,
) -> Result<Vec<Bulletin>, FileError> {
    bulletin::decode(text).map_err(|e| {
        let found = quoted(&e.found);
        let message = match &e.station {
            Some(station) => {
                format!("{found} of station {station} cannot be read as winds aloft")
            }
            None if !text.to_ascii_uppercase().contains("DATA BASED ON") => {
                "this is not a winds-aloft bulletin: no line of it has DATA BASED ON".to_owned()
            }
            None => format!("this is not a winds-aloft bulletin: found {found}"),
        };
        let rest = span_at(text, e.line, e.column);
        // only what was found, where it stands there as quoted
        let exact = text
            .get(rest.start..)
            .is_some_and(|t| starts_with(t, &e.found));
        let span = if exact {
            rest.start..rest.start + e.found.len()
        } else {
            rest
        };
        let finding = Finding::new(FindingKind::Syntax, key, Some(span), message)
            .label(format!("expected {}", e.expected))
            .hint(e.way_out);
        let error = FileError::new(path, text, vec![finding]);
        check::meant("a bulletin of winds aloft", path, text, error)
    })
}

/// The winds of the bulletins that are for use in a window of time.
pub(super) fn from_bulletins(
    sheet: &Sheet<'_>,
    folder: &Path,
    read: &ReadWeather,
    (from, to): (Timestamp, Timestamp),
    route: &Route<'_>,
) -> Result<Slices, FileError> {
    let mut all: Vec<Dated> = Vec::new();
    for (file, (name, span)) in read.bulletins.iter().enumerate() {
        let path = folder.join(name);
        let key = format!("weather.bulletins[{}]", file + 1);
        let text = match read_text(&path) {
            Err(mut error) if error.is_unreadable() => {
                if let Some(finding) = error.findings.first_mut().filter(|_| grib2::is_grib(&path))
                {
                    finding.message = format!("{} is GRIB2, not a bulletin", path.display());
                    finding.hint = Some("name it in weather.grib instead".to_owned());
                }
                return Err(not_found(sheet, &key, span.clone(), &error));
            }
            other => other?,
        };
        let bulletins = read_bulletins(&text, &path, &key)?;
        for bulletin in bulletins {
            let times = resolve_times(&bulletin, from).map_err(|e| {
                let line = text
                    .lines()
                    .position(|l| l.to_ascii_uppercase().contains("VALID"))
                    .map_or(1, |i| i + 1);
                let at = Some(span_at(&text, line, 1));
                let finding = Finding::new(FindingKind::Syntax, &key, at, e.to_string())
                    .label("these times")
                    .hint("check the date of departure and the bulletin");
                FileError::new(&path, &text, vec![finding])
            })?;
            all.push(Dated {
                file,
                bulletin,
                times,
            });
        }
    }
    let (used, other): (Vec<Dated>, Vec<Dated>) = all
        .into_iter()
        .partition(|d| d.times.use_from <= to && from <= d.times.use_to);
    let unused = other.iter().map(|d| Unused {
        key: "bulletins",
        index: d.file,
        period: (d.times.use_from, d.times.use_to),
    });
    let unused = unused.collect();
    if used.is_empty() {
        return Ok((Vec::new(), unused));
    }
    let names = |valid: Option<Timestamp>| {
        let of = used
            .iter()
            .filter(|d| valid.is_none_or(|v| v == d.times.valid));
        let mut files: Vec<usize> = of.map(|d| d.file).collect();
        files.dedup();
        let names: Vec<&str> = files
            .iter()
            .map(|i| read.bulletins[*i].0.as_str())
            .collect();
        (names.join(", "), files.first().copied())
    };
    let bulletins: Vec<Bulletin> = used.iter().map(|d| d.bulletin.clone()).collect();
    let slices = wind_slices(&bulletins, from, &route.stations, &read.surface).map_err(|e| {
        let (names, first) = names(None);
        let span = first.map(|i| read.bulletins[i].1.clone());
        unusable(sheet, "weather.bulletins", span, format!("{names}: {e}"))
    })?;
    let slices = slices.into_iter().map(|slice| Slice {
        valid: slice.times.valid,
        field: slice.field,
        source: Source {
            kind: SourceKind::Bulletin,
            name: names(Some(slice.times.valid)).0,
            valid: Some(slice.times.valid),
            period: Some((slice.times.use_from, slice.times.use_to)),
            notes: bulletin::in_short(&slice.notes),
        },
    });
    Ok((slices.collect(), unused))
}

fn unusable(sheet: &Sheet<'_>, key: &str, span: Option<Span<usize>>, message: String) -> FileError {
    sheet.fail(
        Finding::new(FindingKind::Weather, key, span, message)
            .label("these winds cannot be used")
            .hint("give other winds, or correct these or the surface observations"),
    )
}

/// The winds of the GRIB2 files that are for use in a window of time.
pub(super) fn from_grib(
    sheet: &Sheet<'_>,
    folder: &Path,
    read: &ReadWeather,
    (from, to): (Timestamp, Timestamp),
    route: &Route<'_>,
    top_m: f64,
) -> Result<Slices, FileError> {
    const KEY: &str = "weather.grib";
    let span = read.grib.first().map(|g| g.1.clone());
    let paths: Vec<PathBuf> = read.grib.iter().map(|g| folder.join(&g.0)).collect();
    let points: Vec<Position> = route.points().map(|p| p.2).collect();
    let Some(area) = grib2::Area::of(&points) else {
        let message = "the route has no middle to cut a grid around".to_owned();
        return Err(unusable(sheet, KEY, span, message));
    };
    let ask = grib2::Ask {
        area,
        from,
        to,
        top_m: top_m + ABOVE_TOP_M,
    };
    let named = |error: FileError| {
        let at = read
            .grib
            .iter()
            .position(|g| folder.join(&g.0) == error.path);
        match at {
            Some(i) if error.is_unreadable() => {
                let key = format!("{KEY}[{}]", i + 1);
                not_found(sheet, &key, read.grib[i].1.clone(), &error)
            }
            _ => error,
        }
    };
    let times: Vec<Timestamp> = grib2::times_of(&paths)
        .map_err(named)?
        .into_iter()
        .collect();
    let all = periods(&times);
    let unused = all.first().zip(all.last()).map(|(first, last)| Unused {
        key: "grib",
        index: 0,
        period: (first.0, last.1),
    });
    let mut slices = Vec::new();
    for forecast in grib2::read(&paths, &ask).map_err(named)? {
        let files: Vec<&str> = forecast
            .files
            .iter()
            .filter_map(|i| read.grib.get(*i).map(|g| g.0.as_str()))
            .collect();
        let mut notes = vec![format!("run of {}", minute(forecast.run))];
        notes.extend(forecast.notes.iter().cloned());
        let model_ground = |p: &grib2::GridPoint| p.ground_m.is_some() || p.ground_pa.is_some();
        if !forecast.points.iter().any(model_ground) {
            notes.push(
                "it does not say where its ground is: levels below the nearest field of the trip were left out".into(),
            );
        }
        let stations: Vec<Station> = forecast
            .points
            .iter()
            .map(|p| p.station(nearest_elevation_m(p, &route.places)))
            .collect();
        let field = WindField::on_mesh(forecast.width, &stations, &read.surface).map_err(|e| {
            unusable(
                sheet,
                KEY,
                span.clone(),
                format!("{}: {e}", files.join(", ")),
            )
        })?;
        let period = times
            .iter()
            .position(|t| *t == forecast.valid)
            .and_then(|i| all.get(i).copied());
        slices.push(Slice {
            valid: forecast.valid,
            field,
            source: Source {
                kind: SourceKind::Grid,
                name: files.join(", "),
                valid: Some(forecast.valid),
                period,
                notes,
            },
        });
    }
    Ok((slices, unused.into_iter().collect()))
}

/// Elevation (m) of the place that is nearest to a grid point and has one; sea level without any.
pub(in crate::files) fn nearest_elevation_m(point: &grib2::GridPoint, places: &[&Place]) -> f64 {
    let Ok(here) = Position::new(point.lat_deg, point.lon_deg) else {
        return 0.0;
    };
    let places = places.iter().filter(|p| p.elevation_m.is_some());
    let far = |p: &&&Place| distance_m(here, p.position);
    places
        .min_by(|a, b| far(a).total_cmp(&far(b)))
        .and_then(|p| p.elevation_m)
        .map_or(0.0, |e| e.max(0.0))
}

/// A time to the minute, as people write it.
pub(in crate::files) fn minute(time: Timestamp) -> String {
    time.strftime("%Y-%m-%d %H:%MZ").to_string()
}

/// The winds of the table in the trip.
pub(super) fn from_table(sheet: &Sheet<'_>, read: &ReadWeather) -> Result<Slices, FileError> {
    let mut times: Vec<Timestamp> = read.aloft.iter().filter_map(|a| a.0).collect();
    times.sort_unstable();
    times.dedup();
    let periods = periods(&times);
    let each: Vec<(Option<Timestamp>, Option<Period>)> = if times.is_empty() {
        vec![(None, None)]
    } else {
        let times = times.into_iter().map(Some);
        times.zip(periods.into_iter().map(Some)).collect()
    };
    let mut slices = Vec::new();
    for (valid, period) in each {
        let of = read.aloft.iter().filter(|a| a.0 == valid);
        let mut stations: Vec<Station> = of.map(|a| a.1.clone()).collect();
        let names: Vec<String> = stations.iter().map(|s| s.name.clone()).collect();
        stations.extend_from_slice(&read.surface);
        let field = WindField::new(&stations).map_err(|e| {
            unusable(
                sheet,
                "weather.aloft",
                Some(read.span.clone()),
                e.to_string(),
            )
        })?;
        slices.push(Slice {
            // a table without a time is alone, and any time will do
            valid: valid.unwrap_or(Timestamp::UNIX_EPOCH),
            field,
            source: Source {
                kind: SourceKind::Table,
                name: names.join(", "),
                valid,
                period,
                notes: Vec::new(),
            },
        });
    }
    Ok((slices, Vec::new()))
}

/// Whether a text starts with another, capitals and small letters of ASCII being the same.
fn starts_with(text: &str, start: &str) -> bool {
    text.get(..start.len())
        .is_some_and(|t| t.eq_ignore_ascii_case(start))
}
