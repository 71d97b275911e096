//! Notes of a flight: what the pilot wrote down on the day, to [`Noted`].
//!
//! CSV with a first line that names the columns; lines that begin with `#` are comments; a cell may be left empty. One row for each
//! point noted, in the order of the flight.
//!
//! | column | what |
//! | --- | --- |
//! | `place` | a place of the route, or `TOC`, `NEW LEVEL`, `TOD`, `SLOW DOWN`, `PATTERN` |
//! | `time_utc` | when it was passed: `16:42`, `16:42:30`, `1642`, or with the date `2026-01-31T16:42Z`; the departure when it leaves the ground, the destination on landing |
//! | `elapsed_min` | or instead: minutes since take-off |
//! | `fuel_left_gal` | fuel left, US gallons |
//! | `fuel_used_gal` | or instead: fuel used since start-up |
//! | `altitude_ft` | indicated altitude |
//! | `map_inhg`, `rpm`, `mixture` | settings; the mixture by its name in the profile |
//! | `ias_kt` | indicated airspeed |
//! | `oat_c` | outside air temperature |
//! | `fuel_flow_gph` | fuel flow, of all engines together |
//! | `note` | a remark |

use std::ops::Range as Span;
use std::path::Path;

use jiff::{SignedDuration, Timestamp};

use super::check;
use super::csv_text::{Table, cell_finding, number};
use super::diagnostic::{FileError, Finding, FindingKind, did_you_mean, quoted, read_text};
use crate::quantity::{Duration, Ias, KG_PER_LB, M_PER_FT, M3_PER_GAL, ManifoldPressure, ZERO_C_K};
use crate::trip::{Noted, NotedFuel};

/// Columns of the file.
const COLUMNS: [&str; 13] = [
    "place",
    "time_utc",
    "elapsed_min",
    "fuel_left_gal",
    "fuel_used_gal",
    "altitude_ft",
    "map_inhg",
    "rpm",
    "mixture",
    "ias_kt",
    "oat_c",
    "fuel_flow_gph",
    "note",
];
/// Density of fuel where no aircraft says it, kg/m³: 6 lb a gallon.
const DENSITY_KG_M3: f64 = 6.0 * KG_PER_LB / M3_PER_GAL;
/// A gauge is read to a tenth of a gallon, m³: fuel left may seem to rise, or to be more than was filled, by this.
const GAUGE_M3: f64 = 0.1 * M3_PER_GAL;
/// Half a day, s.
const HALF_DAY_S: i64 = 43_200;

/// What notes are read for.
#[derive(Debug, Clone, PartialEq)]
pub struct NotesFor {
    /// Names of the points that notes can be of, in the order of the flight.
    pub points: Vec<String>,
    /// Names of the mixtures.
    pub mixtures: Vec<String>,
    /// Start-up as planned.
    pub start_up: Timestamp,
    /// From start-up to take-off as planned, s.
    pub taxi_s: f64,
    /// Fuel on board at start-up, kg.
    pub fuel_kg: f64,
    /// Density of the fuel, kg/m³.
    pub density_kg_m3: f64,
}

/// When a point was passed, as it was written.
#[derive(Debug, Clone, Copy)]
enum Written {
    /// Since take-off, s.
    Elapsed(f64),
    /// Date and time.
    Full(Timestamp),
    /// Time of day, s.
    OfDay(i64),
}

/// Reads notes of a flight.
///
/// # Errors
/// [`FileError`] with everything that is wrong with the file.
pub fn load_notes(path: &Path, trip: &NotesFor) -> Result<Vec<Noted>, FileError> {
    let text = read_text(path)?;
    parse_notes(&text, path, Some(trip))
        .map_err(|e| check::meant("a file of notes of a flight", path, &text, e))
}

/// The same from its text. Without a trip the rows are held against each other alone: points are numbered as they come, and mixtures
/// are left out.
///
/// # Errors
/// As [`load_notes`].
pub fn parse_notes(
    text: &str,
    path: &Path,
    trip: Option<&NotesFor>,
) -> Result<Vec<Noted>, FileError> {
    let mut findings = Vec::new();
    let notes = read(text, trip, &mut findings);
    match notes {
        Some(notes) if findings.is_empty() => Ok(notes),
        _ => Err(FileError::new(path, text, findings)),
    }
}

/// Whether a text is meant to be notes: its first line names the place and another of the columns.
pub(super) fn looks_like_notes(text: &str) -> bool {
    let line = |l: &&str| !l.trim().is_empty() && !l.starts_with('#');
    text.lines().find(line).is_some_and(|head| {
        let columns: Vec<&str> = head.split(',').map(str::trim).collect();
        columns.contains(&"place") && COLUMNS[1..].iter().any(|c| columns.contains(c))
    })
}

fn read(text: &str, trip: Option<&NotesFor>, findings: &mut Vec<Finding>) -> Option<Vec<Noted>> {
    let hint = format!(
        "the first line names the columns, place and time_utc or elapsed_min among them; known are {}",
        COLUMNS.join(", ")
    );
    let table = Table::new(text, &COLUMNS, &hint, findings)?;
    let place_at = table.column("place");
    if place_at.is_none() {
        table.misses("place", &hint, findings);
    }
    let (time_at, time_key) = one_of(&table, ["time_utc", "elapsed_min"], findings)?;
    if time_at.is_none() {
        table.misses("time_utc", &hint, findings);
    }
    let (fuel_at, fuel_key) = one_of(&table, ["fuel_left_gal", "fuel_used_gal"], findings)?;
    let (place_at, time_at) = (place_at?, time_at?);
    if table.lines.is_empty() {
        let message = "there is no note".to_owned();
        let hint = "add a row for each point noted";
        let (kind, head) = (FindingKind::Missing, table.head.clone());
        findings.push(cell_finding(kind, "", head, message, hint));
    }
    let density_kg_m3 = trip.map_or(DENSITY_KG_M3, |t| t.density_kg_m3);
    let kg_per_gal = M3_PER_GAL * density_kg_m3;
    let mut notes: Vec<Noted> = Vec::new();
    let mut clock = Clock::new(trip);
    let mut last_fuel: Option<(f64, Span<usize>)> = None;
    let mut next = 0;
    for (row_number, line) in table.lines.iter().enumerate() {
        let Some(row) = table.row(line, findings) else {
            continue;
        };
        let point = match trip {
            Some(trip) => {
                let found = point(trip, next, &row[place_at], findings);
                next = found.map_or(next, |i| i + 1);
                found
            }
            None if row[place_at].0.is_empty() => point_missing(&row[place_at].1, findings),
            None => Some(row_number),
        };
        let time_s = clock.read(time_key, &row[time_at], findings);
        let mut value = |key: &str, range_key: &str, unit: &str| {
            let cell = &row[table.column(key)?];
            number(key, range_key, cell, &format!("give {unit}"), findings)
        };
        let altitude_ft = value("altitude_ft", "altitude", "feet");
        let map_inhg = value("map_inhg", "manifold pressure", "inches of mercury");
        let rpm = value("rpm", "rpm", "revolutions per minute");
        let ias_kt = value("ias_kt", "speed", "knots");
        let oat_c = value("oat_c", "temperature", "degrees Celsius");
        let flow_gph = value("fuel_flow_gph", "fuel flow", "US gallons per hour");
        let gal = value(fuel_key, "fuel", "US gallons");
        let left = fuel_key == "fuel_left_gal";
        if let (Some(gal), Some(at)) = (gal, fuel_at) {
            let kg = gal * kg_per_gal;
            fuel_in_order(kg, left, fuel_key, &row[at].1, &last_fuel, trip, findings);
            last_fuel = Some((kg, row[at].1.clone()));
        }
        let mixture_at = table.column("mixture");
        let mixture = mixture_at.and_then(|i| mixture(trip?, &row[i], findings));
        if let (Some(point), Some(time_s)) = (point, time_s) {
            notes.push(Noted {
                point,
                time_s,
                by_clock: time_key == "time_utc",
                fuel: gal.map(|gal| {
                    let kg = gal * kg_per_gal;
                    if left {
                        NotedFuel::Left(kg)
                    } else {
                        NotedFuel::Used(kg)
                    }
                }),
                indicated_m: altitude_ft.map(|ft| ft * M_PER_FT),
                map_pa: map_inhg.map(|inhg| ManifoldPressure::inhg(inhg).to_pa()),
                rev_s: rpm.map(|rpm| rpm / 60.0),
                ias_m_s: ias_kt.map(|kt| Ias::kt(kt).to_m_s()),
                outside_k: oat_c.map(|c| c + ZERO_C_K),
                mixture,
                fuel_kg_s: flow_gph.map(|gph| gph * kg_per_gal / Duration::h(1.0).to_s()),
            });
        }
    }
    Some(notes)
}

/// The one of two columns that is there, and its name; both are a finding.
fn one_of(
    table: &Table<'_>,
    [first, second]: [&'static str; 2],
    findings: &mut Vec<Finding>,
) -> Option<(Option<usize>, &'static str)> {
    match (table.column(first), table.column(second)) {
        (Some(_), Some(at)) => {
            let message = format!("both {first} and {second} are there");
            let (kind, span) = (FindingKind::Contradiction, table.columns[at].1.clone());
            findings.push(cell_finding(
                kind,
                second,
                span,
                message,
                "keep one of the two",
            ));
            None
        }
        (None, Some(at)) => Some((Some(at), second)),
        (at, None) => Some((at, first)),
    }
}

fn point_missing(span: &Span<usize>, findings: &mut Vec<Finding>) -> Option<usize> {
    let message = "place is empty".to_owned();
    let hint = "name the point that was noted";
    let kind = FindingKind::Missing;
    findings.push(cell_finding(kind, "place", span.clone(), message, hint));
    None
}

/// Which point of the trip a cell names, from a point on.
fn point(
    trip: &NotesFor,
    from: usize,
    (cell, span): &(String, Span<usize>),
    findings: &mut Vec<Finding>,
) -> Option<usize> {
    if cell.is_empty() {
        return point_missing(span, findings);
    }
    let is = |name: &String| name.eq_ignore_ascii_case(cell);
    let later = trip.points.iter().skip(from).position(is);
    if let Some(i) = later {
        return Some(from + i);
    }
    let before = from.checked_sub(1).and_then(|i| trip.points.get(i));
    let (message, hint) = match before {
        Some(before) if trip.points.iter().any(is) => (
            format!("{} comes after {before}", quoted(cell)),
            format!(
                "notes stand in the order of the flight: {}",
                trip.points.join(", ")
            ),
        ),
        _ => (
            format!("{} is no point of this trip", quoted(cell)),
            match did_you_mean(cell, trip.points.iter().map(String::as_str)) {
                Some(word) => format!("did you mean {word}?"),
                None => format!("those are {}", trip.points.join(", ")),
            },
        ),
    };
    let kind = FindingKind::Contradiction;
    findings.push(cell_finding(kind, "place", span.clone(), message, &hint));
    None
}

/// The row of the mixture table that a cell names.
fn mixture(
    trip: &NotesFor,
    (cell, span): &(String, Span<usize>),
    findings: &mut Vec<Finding>,
) -> Option<usize> {
    if cell.is_empty() {
        return None;
    }
    let is = |name: &String| name.eq_ignore_ascii_case(cell);
    if let Some(i) = trip.mixtures.iter().position(is) {
        return Some(i);
    }
    let message = format!("mixture = {} is no mixture of the profile", quoted(cell));
    let hint = match did_you_mean(cell, trip.mixtures.iter().map(String::as_str)) {
        Some(word) => format!("did you mean {word}?"),
        None => format!("those are {}", trip.mixtures.join(", ")),
    };
    let kind = FindingKind::Contradiction;
    findings.push(cell_finding(kind, "mixture", span.clone(), message, &hint));
    None
}

/// Fuel left falls and fuel used rises, and neither is more than was there.
fn fuel_in_order(
    kg: f64,
    left: bool,
    key: &str,
    span: &Span<usize>,
    last: &Option<(f64, Span<usize>)>,
    trip: Option<&NotesFor>,
    findings: &mut Vec<Finding>,
) {
    let density_kg_m3 = trip.map_or(DENSITY_KG_M3, |t| t.density_kg_m3);
    let (gauge_kg, kg_per_gal) = (GAUGE_M3 * density_kg_m3, M3_PER_GAL * density_kg_m3);
    let mut wrong = |message: String, hint: &str, related: Option<Span<usize>>| {
        let kind = FindingKind::Contradiction;
        let finding = cell_finding(kind, key, span.clone(), message, hint);
        findings.push(match related {
            Some(related) => finding.related(related, "the note before"),
            None => finding,
        });
    };
    if let Some(trip) = trip.filter(|t| kg > t.fuel_kg + gauge_kg) {
        let message = format!(
            "{key} = {:.1} gal is more than the {:.1} gal on board at start-up",
            kg / kg_per_gal,
            trip.fuel_kg / kg_per_gal
        );
        wrong(
            message,
            "correct it, or the fuel of the trip to what was on board",
            None,
        );
    }
    if let Some((before_kg, before)) = last {
        let gained_kg = if left { kg - before_kg } else { before_kg - kg };
        if gained_kg > gauge_kg {
            let message = format!(
                "{key} = {:.1} gal, but {:.1} gal at the note before",
                kg / kg_per_gal,
                before_kg / kg_per_gal
            );
            let hint = if left {
                "fuel left becomes less; fuel used is fuel_used_gal"
            } else {
                "fuel used becomes more; fuel left is fuel_left_gal"
            };
            wrong(message, hint, Some(before.clone()));
        }
    }
}

/// Times one after another.
struct Clock {
    /// The take-off that was planned, if a trip says so.
    take_off: Option<Timestamp>,
    /// The last time read, and where it stands; by the clock since the epoch, else since take-off, s.
    last: Option<(f64, Span<usize>)>,
}

impl Clock {
    fn new(trip: Option<&NotesFor>) -> Self {
        let take_off = trip.map(|t| {
            let taxi = SignedDuration::try_from_secs_f64(t.taxi_s).unwrap_or_default();
            t.start_up.saturating_add(taxi).unwrap_or(t.start_up)
        });
        Self {
            take_off,
            last: None,
        }
    }

    /// Time of a cell \[s\]: by the clock since the planned take-off, else since take-off; later than the one before.
    fn read(
        &mut self,
        key: &str,
        cell: &(String, Span<usize>),
        findings: &mut Vec<Finding>,
    ) -> Option<f64> {
        let span = cell.1.clone();
        let written = if key == "elapsed_min" {
            if cell.0.is_empty() {
                None
            } else {
                let hint = "give minutes since take-off";
                Some(Written::Elapsed(
                    60.0 * number(key, "minutes", cell, hint, findings)?,
                ))
            }
        } else {
            match time_utc(&cell.0) {
                Ok(written) => written,
                Err(()) => {
                    let message = format!("time_utc = {} is not a time", quoted(&cell.0));
                    let hint = "write it as 16:42, 16:42:30, 1642 or 2026-01-31T16:42Z, all in UTC";
                    let kind = FindingKind::WrongType;
                    findings.push(cell_finding(kind, key, span, message, hint));
                    return None;
                }
            }
        };
        let Some(written) = written else {
            let message = format!("{key} is empty");
            let hint = "say when the point was passed, or take the row out";
            let kind = FindingKind::Missing;
            findings.push(cell_finding(kind, key, span, message, hint));
            return None;
        };
        let since_epoch = |t: Timestamp| t.as_duration().as_secs_f64();
        let origin_s = self.take_off.map_or(0.0, since_epoch);
        let s = match written {
            Written::Elapsed(s) => s,
            Written::Full(t) => since_epoch(t),
            Written::OfDay(of_day) => {
                // the nearest such time to the note before, to the planned take-off for the first
                let near_s = self.last.as_ref().map_or(origin_s, |l| l.0);
                #[expect(clippy::cast_possible_truncation, reason = "seconds of a calendar")]
                let near = near_s as i64;
                let off = (of_day - near + HALF_DAY_S).rem_euclid(2 * HALF_DAY_S) - HALF_DAY_S;
                #[expect(clippy::cast_precision_loss, reason = "seconds of a calendar")]
                let s = (near + off) as f64;
                s
            }
        };
        if let Some((before_s, before)) = &self.last
            && s <= *before_s
        {
            let message = format!("{key} = {} is not after the note before", quoted(&cell.0));
            let hint = "notes stand in the order of the flight, each later than the one before";
            let kind = FindingKind::Contradiction;
            let finding = cell_finding(kind, key, span, message, hint);
            findings.push(finding.related(before.clone(), "the note before"));
            return None;
        }
        self.last = Some((s, span));
        Some(match written {
            Written::Elapsed(s) => s,
            Written::Full(_) | Written::OfDay(_) => s - origin_s,
        })
    }
}

/// A time as typed; none in an empty cell.
fn time_utc(cell: &str) -> Result<Option<Written>, ()> {
    if cell.is_empty() {
        return Ok(None);
    }
    if let Ok(t) = cell.parse::<Timestamp>() {
        return Ok(Some(Written::Full(t)));
    }
    let typed = cell.strip_suffix(['Z', 'z']).unwrap_or(cell);
    let parts: Vec<&str> = match typed.split(':').collect::<Vec<_>>()[..] {
        [all] if all.len() == 4 && all.is_ascii() => vec![&all[..2], &all[2..]],
        ref parts => parts.to_vec(),
    };
    let figures = |p: &&str| {
        let good = (1..=2).contains(&p.len()) && p.bytes().all(|b| b.is_ascii_digit());
        good.then(|| p.parse::<i64>().ok()).flatten()
    };
    let figures: Option<Vec<i64>> = parts.iter().map(figures).collect();
    let (h, m, s) = match figures.as_deref() {
        Some([h, m]) => (*h, *m, 0),
        Some([h, m, s]) => (*h, *m, *s),
        _ => return Err(()),
    };
    if h < 24 && m < 60 && s < 60 {
        Ok(Some(Written::OfDay(3_600 * h + 60 * m + s)))
    } else {
        Err(())
    }
}
