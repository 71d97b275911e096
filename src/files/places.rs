//! Where a place is: places of the user's own, the built-in airport table, and positions typed as they are.
//!
//! A file of places is CSV with a first line that names the columns, or GPX, whose waypoints are taken:
//!
//! | column | what |
//! | --- | --- |
//! | `ident` | what a trip calls it |
//! | `lat`, `lon` | degrees, or any form of [`crate::earth::place`] |
//! | `elevation_ft` | may be left out |
//! | `name` | may be left out |
//!
//! Lines that begin with `#` are comments. Capitals and small letters of an identifier are the same.

use std::path::{Path, PathBuf};

use super::airports::{self, Airport};
use super::check;
use super::csv_text::{Table, cell_finding, number};
use super::diagnostic::{FileError, FindingKind, did_you_mean, quoted, read_text};
use super::gpx;
use super::stations::StationPosition;
use crate::earth::geodesic;
use crate::earth::place::{Position, parse_latitude_deg, parse_longitude_deg};
use crate::quantity::{M_PER_FT, M_PER_NM};

/// Columns of a CSV file of places.
pub(super) const COLUMNS: [&str; 5] = ["ident", "lat", "lon", "elevation_ft", "name"];
/// A field this near to where a trip says a place is, is the same field, m: the table's positions are good to a fraction of a mile.
pub(super) const SAME_FIELD_M: f64 = 2.0 * M_PER_NM;

/// A place of the user's own.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnPlace {
    /// What a trip calls it.
    pub ident: String,
    /// Where it is.
    pub position: Position,
    /// Elevation, m, if the file gives it.
    pub elevation_m: Option<f64>,
    /// Name, may be empty.
    pub name: String,
    /// File it was read from.
    pub file: PathBuf,
}

/// Where a place was found.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// A place of the user's own.
    Own(OwnPlace),
    /// An airport of the built-in table.
    Table(Airport),
    /// The identifier is itself a position.
    Typed(Position),
}

impl Found {
    /// Where it is.
    pub fn position(&self) -> Position {
        match self {
            Self::Own(own) => own.position,
            Self::Table(airport) => airport.position,
            Self::Typed(position) => *position,
        }
    }

    /// Elevation, m, if it is known.
    pub fn elevation_m(&self) -> Option<f64> {
        match self {
            Self::Own(own) => own.elevation_m,
            Self::Table(airport) => Some(airport.elevation_m),
            Self::Typed(_) => None,
        }
    }
}

/// What identifiers are looked up in: the user's own places first, then the built-in table, then as a position.
#[derive(Debug, Clone, Default)]
pub struct Gazetteer {
    own: Vec<OwnPlace>,
}

impl Gazetteer {
    /// With these places; of two with one identifier the earlier counts.
    pub fn new(own: Vec<OwnPlace>) -> Self {
        Self { own }
    }

    /// The user's own places as stations of bulletins, whose identifiers are in capitals.
    pub(super) fn stations(&self) -> Vec<StationPosition> {
        let station = |p: &OwnPlace| StationPosition {
            id: p.ident.to_ascii_uppercase(),
            lat_deg: p.position.lat_deg(),
            lon_deg: p.position.lon_deg(),
            // serves checks alone
            elevation_m: p.elevation_m.unwrap_or(0.0),
        };
        self.own.iter().map(station).collect()
    }

    /// Looks an identifier up.
    pub fn find(&self, ident: &str) -> Option<Found> {
        let ident = ident.trim();
        let own = self
            .own
            .iter()
            .find(|p| p.ident.eq_ignore_ascii_case(ident));
        own.map(|p| Found::Own(p.clone()))
            .or_else(|| airports::find(ident).map(Found::Table))
            .or_else(|| Position::parse(ident).ok().map(Found::Typed))
    }

    /// The same where it lies within two miles of a position given besides.
    pub fn find_at(&self, ident: &str, position: Position) -> Option<Found> {
        self.find(ident)
            .filter(|f| geodesic::distance_m(f.position(), position) <= SAME_FIELD_M)
    }

    /// What to do about an identifier that is not found.
    pub(super) fn way_out(&self, ident: &str) -> String {
        let near = did_you_mean(ident, self.own.iter().map(|p| p.ident.as_str()));
        if let Some(word) = near {
            return format!("did you mean {word}?");
        }
        // It begins with a figure or a hemisphere and holds figures: meant as a position
        let figures = ident.chars().filter(char::is_ascii_digit).count();
        match Position::parse(ident) {
            Err(error) if figures >= 4 => error.to_string(),
            _ => "give an ICAO or FAA identifier, a position like 43-08.5N 115-43.8W, or lat and lon; or name it in a file of \
                  places"
                .to_owned(),
        }
    }
}

/// Reads a file of places: CSV or GPX, by its content.
///
/// # Errors
/// [`FileError`] with everything that is wrong with it.
pub fn load_places(path: &Path) -> Result<Vec<OwnPlace>, FileError> {
    let text = read_text(path)?;
    parse_places(&text, path).map_err(|e| match text.trim_start().starts_with('<') {
        true => e,
        false => check::meant("a file of places", path, &text, e),
    })
}

/// The same from its text.
///
/// # Errors
/// As [`load_places`].
pub fn parse_places(text: &str, path: &Path) -> Result<Vec<OwnPlace>, FileError> {
    if text.trim_start().starts_with('<') {
        let file = gpx::parse(text, path)?;
        let named = file.waypoints.into_iter().filter(|w| !w.name.is_empty());
        return Ok(named
            .map(|w| OwnPlace {
                ident: w.name,
                position: w.position,
                elevation_m: w.elevation_m,
                name: String::new(),
                file: path.to_owned(),
            })
            .collect());
    }
    let mut findings = Vec::new();
    let head_hint = format!("the first line names the columns: {}", COLUMNS.join(","));
    let Some(table) = Table::new(text, &COLUMNS, &head_hint, &mut findings) else {
        return Err(FileError::new(path, text, findings));
    };
    for name in ["ident", "lat", "lon"] {
        if table.column(name).is_none() {
            table.misses(name, &head_hint, &mut findings);
        }
    }
    let at = |name: &str| table.column(name);
    let (Some(ident_at), Some(lat_at), Some(lon_at)) = (at("ident"), at("lat"), at("lon")) else {
        return Err(FileError::new(path, text, findings));
    };
    let mut places: Vec<OwnPlace> = Vec::new();
    for line in &table.lines {
        let Some(row) = table.row(line, &mut findings) else {
            continue;
        };
        let mut note = |kind, key: &str, span, message: String, hint: &str| {
            findings.push(cell_finding(kind, key, span, message, hint));
        };
        let (ident, ident_span) = row[ident_at].clone();
        if ident.is_empty() {
            let message = "ident is empty".to_owned();
            note(
                FindingKind::Missing,
                "ident",
                ident_span,
                message,
                "name the place",
            );
        } else if places.iter().any(|p| p.ident.eq_ignore_ascii_case(&ident)) {
            let message = format!("{} stands twice", quoted(&ident));
            note(
                FindingKind::Contradiction,
                "ident",
                ident_span,
                message,
                "keep one of the two",
            );
        }
        let lat = parse_latitude_deg(&row[lat_at].0);
        let lon = parse_longitude_deg(&row[lon_at].0);
        for (angle, (_, span)) in [(&lat, &row[lat_at]), (&lon, &row[lon_at])] {
            if let Err(error) = angle {
                let message = error.to_string();
                note(
                    FindingKind::Contradiction,
                    "",
                    span.clone(),
                    message,
                    "correct it; latitude stands in the column lat, longitude in lon, in degrees",
                );
            }
        }
        let elevation_ft = at("elevation_ft").and_then(|i| {
            let key = "elevation_ft";
            number(key, "elevation", &row[i], "give feet", &mut findings)
        });
        let elevation_m = elevation_ft.map(|ft| ft * M_PER_FT);
        if let (Ok(lat), Ok(lon)) = (lat, lon)
            && let Ok(position) = Position::new(lat, lon)
        {
            places.push(OwnPlace {
                ident,
                position,
                elevation_m,
                name: at("name").map_or(String::new(), |i| row[i].0.clone()),
                file: path.to_owned(),
            });
        }
    }
    if places.is_empty() && findings.is_empty() {
        table.lacks_rows(
            "there is no place",
            "add a row for each place",
            &mut findings,
        );
    }
    if findings.is_empty() {
        Ok(places)
    } else {
        Err(FileError::new(path, text, findings))
    }
}
