//! The table of airports that ships with the tool.
//!
//! `airports/airports.csv` is compiled in as it stands and searched in place: no run reads the whole table to find one field.
//! It was trimmed from the MIT-licensed `airportsdata` set; `airports/SOURCE.md` says how, and what the set itself warns of:
//! **elevations are often wrong**. Whoever uses one says so.

use std::cmp::Ordering;

use crate::earth::geodesic;
use crate::earth::place::Position;
use crate::quantity::M_PER_FT;

/// `ident,lat_deg,lon_deg,elevation_ft,name`, sorted by the bytes of `ident`, after one heading line.
const TABLE: &str = include_str!("airports/airports.csv");

/// What is said wherever an elevation of the table is used.
pub const ELEVATION_WARNING: &str =
    "elevations of the built-in airport table are often wrong: check";

/// An airport of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Airport {
    /// ICAO code, or FAA identifier.
    pub ident: &'static str,
    /// Where it is.
    pub position: Position,
    /// Elevation as the table has it, m.
    pub elevation_m: f64,
    /// Name.
    pub name: &'static str,
}

/// The rows of the table, without the heading line.
fn rows() -> &'static str {
    TABLE.split_once('\n').map_or("", |(_, rows)| rows)
}

/// A row; `None` if it does not parse. A test reads every row, so that cannot happen unseen.
fn airport(line: &'static str) -> Option<Airport> {
    let mut cells = line.splitn(5, ',');
    let ident = cells.next()?;
    let mut number = || cells.next()?.parse::<f64>().ok();
    let (lat, lon, elevation_ft) = (number()?, number()?, number()?);
    Some(Airport {
        ident,
        position: Position::new(lat, lon).ok()?,
        elevation_m: elevation_ft * M_PER_FT,
        name: cells.next()?,
    })
}

/// The airport in the row of exactly this identifier.
fn exactly(ident: &str) -> Option<Airport> {
    let rows = rows();
    // the row sought begins in low..high; both are starts of rows
    let (mut low, mut high) = (0, rows.len());
    while low < high {
        let middle = low + (high - low) / 2;
        // a byte position need not be a character boundary; a line feed always is one
        let bytes = rows.as_bytes();
        let begin = bytes[low..middle]
            .iter()
            .rposition(|b| *b == b'\n')
            .map_or(low, |i| low + i + 1);
        let end = bytes[begin..high]
            .iter()
            .position(|b| *b == b'\n')
            .map_or(high, |i| begin + i);
        let line = &rows[begin..end];
        let key = line.split(',').next().unwrap_or(line);
        match key.cmp(ident) {
            Ordering::Equal => return airport(line),
            Ordering::Less => low = (end + 1).min(high),
            Ordering::Greater => high = begin,
        }
    }
    None
}

/// The airport of an ICAO code or FAA identifier, capitals or not.
///
/// An FAA identifier of three characters is also found under K and itself, as it is written in a flight plan: `BNO` and
/// `KBNO`, `U76` and `KU76`.
pub fn find(ident: &str) -> Option<Airport> {
    let ident = ident.trim().to_ascii_uppercase();
    exactly(&ident)
        .or_else(|| (ident.len() == 3).then(|| exactly(&format!("K{ident}")))?)
        .or_else(|| exactly(ident.strip_prefix('K').filter(|rest| rest.len() == 3)?))
}

/// Every row of the table, by identifier. Reading all takes some milliseconds: [`find`] does not.
pub fn all() -> impl Iterator<Item = Airport> {
    rows().lines().filter_map(airport)
}

/// The airport nearest to a position, if there is one within this distance \[m\], and how far it is \[m\]. Reads the table.
pub fn nearest(position: Position, within_m: f64) -> Option<(Airport, f64)> {
    // a degree of latitude is never shorter than 110 km: spares the geodesics of most rows
    const M_PER_DEG: f64 = 110_000.0;
    all()
        .filter(|a| (a.position.lat_deg() - position.lat_deg()).abs() * M_PER_DEG <= within_m)
        .map(|a| (a, geodesic::distance_m(a.position, position)))
        .filter(|(_, far_m)| *far_m <= within_m)
        .min_by(|a, b| a.1.total_cmp(&b.1))
}
