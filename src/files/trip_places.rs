//! The places of a trip: as its rows give them, as their identifiers are known, or as a GPX file has its route.

use std::path::Path;

use toml::de::DeValue;

use super::airports::{self, ELEVATION_WARNING};
use super::diagnostic::{FileError, Finding, FindingKind, quoted, read_text};
use super::places::{Found, Gazetteer, OwnPlace, load_places};
use super::route::{self, Route};
use super::sheet::{Num, Section, Sheet};
use super::trip::{not_found, usual_pattern_ft};
use crate::earth::geodesic::{Leg, SHORTEST_LEG_M, distance_m};
use crate::earth::place::{PlaceError, Position, parse_latitude_deg, parse_longitude_deg};
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::trip::{Place, Start};

/// A place, with the numbers others are checked against.
pub(super) struct ReadPlace {
    pub(super) place: Place,
    pub(super) elevation: Option<Num>,
    /// Whether its position could be read; if not, that has been noted, and nothing that hangs on it is.
    pub(super) known: bool,
    /// The elevation is that of the built-in table: the name of the airport there.
    pub(super) table_name: Option<&'static str>,
    /// Elevation in the built-in table where one far from it is typed, ft.
    pub(super) other_ft: Option<f64>,
}

impl ReadPlace {
    /// The line to another place; none if an end is not known or both are one.
    pub(super) fn line_to(&self, other: &Self) -> Option<Leg> {
        if self.known && other.known {
            Leg::new(self.place.position, other.place.position).ok()
        } else {
            None
        }
    }
}

/// The places of the files that the trip names.
pub(super) fn own_places(
    sheet: &Sheet<'_>,
    root: &Section<'_>,
    folder: &Path,
) -> Result<Vec<OwnPlace>, FileError> {
    let mut own = Vec::new();
    let files = root.optional_texts(
        "places",
        "a list of files of places like [\"my-places.csv\"]",
    );
    for (i, (name, span)) in files.into_iter().enumerate() {
        match load_places(&folder.join(&name)) {
            Err(error) if error.is_unreadable() => {
                return Err(not_found(
                    sheet,
                    &format!("places[{}]", i + 1),
                    span,
                    &error,
                ));
            }
            other => own.extend(other?),
        }
    }
    Ok(own)
}

/// What must be said of elevations that come from the built-in table.
pub(super) fn table_note<'a>(places: impl Iterator<Item = &'a ReadPlace>) -> Option<String> {
    let from_table: Vec<String> = places
        .filter_map(|p| {
            let ft = p.place.elevation_m? / M_PER_FT;
            Some(format!(
                "{} {} ft ({})",
                p.place.ident,
                thousands(ft),
                p.table_name?
            ))
        })
        .collect();
    if from_table.is_empty() {
        return None;
    }
    Some(format!(
        "Field elevations from the table: {}; {ELEVATION_WARNING}.",
        from_table.join(", ")
    ))
}

/// What must be said of elevations that are typed and far from those of the built-in table.
pub(super) fn typed_note<'a>(places: impl Iterator<Item = &'a ReadPlace>) -> Option<String> {
    let off: Vec<String> = places
        .filter_map(|p| {
            let (ft, table_ft) = (p.place.elevation_m? / M_PER_FT, p.other_ft?);
            Some(format!(
                "{} {} ft, in the table {} ft",
                p.place.ident,
                thousands(ft),
                thousands(table_ft)
            ))
        })
        .collect();
    (!off.is_empty()).then(|| {
        format!(
            "Field elevations as given are far from those of the table: {}; check them.",
            off.join("; ")
        )
    })
}

/// A whole number with a comma in thousands; elevations have at most two groups.
fn thousands(x: f64) -> String {
    let digits = format!("{:.0}", x.abs());
    let sign = if x <= -0.5 { "-" } else { "" };
    match digits.len().checked_sub(3) {
        Some(at @ 1..) => format!("{sign}{},{}", &digits[..at], &digits[at..]),
        _ => format!("{sign}{digits}"),
    }
}

/// Position and elevation of one row, as far as given or known.
struct Placed {
    position: Option<Position>,
    elevation: Option<Num>,
    table_name: Option<&'static str>,
    /// Elevation in the built-in table where one far from it is typed, ft.
    other_ft: Option<f64>,
}

/// Reads where a row of this identifier is. What the row gives goes before what is known of the identifier.
fn placed(sheet: &Sheet<'_>, row: &Section<'_>, ident: &str, gazetteer: &Gazetteer) -> Placed {
    let given = row.has("lat") || row.has("lon");
    let elevation = row.optional("elevation_ft", "elevation");
    let (position, found) = if given {
        let lat = angle(sheet, row, "lat", "latitude", parse_latitude_deg);
        let lon = angle(sheet, row, "lon", "longitude", parse_longitude_deg);
        let position = Position::new(lat, lon).ok();
        (position, position.and_then(|p| gazetteer.find_at(ident, p)))
    } else {
        let found = gazetteer.find(ident);
        if found.is_none() && !ident.is_empty() {
            let at = Num {
                value: f64::NAN,
                span: row.span_of("ident"),
                key: row.path("ident"),
            };
            let message = format!("{} = {} is no place that is known", at.key, quoted(ident));
            sheet.contradiction(&at, message, &[], &gazetteer.way_out(ident));
        }
        (found.as_ref().map(Found::position), found)
    };
    if let Some(typed) = &elevation {
        // A typed elevation goes before the table's, unless it is the table's in metres.
        let table_ft = match &found {
            Some(Found::Table(_)) => found.as_ref().and_then(Found::elevation_m),
            _ => None,
        };
        let table_ft = table_ft.map(|m| m / M_PER_FT);
        let off = |ft: f64| (ft - table_ft.unwrap_or(ft)).abs() > TABLE_OFF_FT;
        if off(typed.value) && !off(typed.value / M_PER_FT) {
            let message = format!(
                "{} = {} is the elevation of {} in metres: it is {:.0} ft",
                typed.key,
                typed.value,
                quoted(ident),
                table_ft.unwrap_or_default()
            );
            sheet.contradiction(typed, message, &[], "give feet");
        }
        let table_ft = table_ft.filter(|_| off(typed.value));
        return Placed {
            position,
            elevation,
            table_name: None,
            other_ft: table_ft,
        };
    }
    let known_m = found.as_ref().and_then(Found::elevation_m);
    Placed {
        position,
        elevation: known_m.map(|m| Num {
            value: m / M_PER_FT,
            span: row.span_of("ident"),
            key: row.path("elevation_ft"),
        }),
        table_name: match found {
            Some(Found::Table(airport)) => Some(airport.name),
            _ => None,
        },
        other_ft: None,
    }
}

pub(super) fn places(
    sheet: &Sheet<'_>,
    root: &Section<'_>,
    start: Start,
    gazetteer: &Gazetteer,
) -> Vec<ReadPlace> {
    let rows = root.rows("place");
    if rows.len() < 2 {
        let message = format!(
            "a trip needs a departure and a destination, but {} [[place]] is given",
            rows.len()
        );
        let span = rows.first().map_or(root.span(), Section::span);
        sheet.note(
            Finding::new(FindingKind::Missing, "place", Some(span), message)
                .label("in this file")
                .hint("add a [[place]] with its ident for each place of the route, in order; one that is not in the built-in table \
                       needs lat, lon and elevation_ft too"),
        );
    }
    let last = rows.len().saturating_sub(1);
    let mut places: Vec<ReadPlace> = Vec::new();
    for (i, row) in rows.into_iter().enumerate() {
        let ident = row.text("ident", "the identifier or name of the place");
        let Placed {
            position,
            mut elevation,
            table_name,
            other_ft,
        } = placed(sheet, &row, &ident, gazetteer);
        let needed = (i == 0 && start == Start::Ground) || i == last;
        if needed && elevation.is_none() && (position.is_some() || row.has("elevation_ft")) {
            elevation = Some(row.number("elevation_ft", "elevation"));
        }
        let span = row.span_of("ident");
        let row_span = span.clone();
        row.finish();
        if let Some(same) = places
            .iter()
            .find(|p| p.place.ident == ident && !ident.is_empty())
        {
            let at = Num {
                value: f64::NAN,
                span,
                key: format!("place[{}].ident", i + 1),
            };
            if same.known && position.is_some_and(|p| p != same.place.position) {
                let message = format!(
                    "{} = {} is the name of another place already",
                    at.key,
                    quoted(&ident)
                );
                sheet.contradiction(&at, message, &[], "give each place its own ident");
            }
        }
        if let (Some(here), Some(before)) = (position, places.last())
            && before.known
            && distance_m(before.place.position, here) < SHORTEST_LEG_M
        {
            let at = Num {
                value: f64::NAN,
                span: row_span.clone(),
                key: format!("place[{}]", i + 1),
            };
            let message = format!(
                "{} {} is where {} is: there is no leg between them",
                at.key,
                quoted(&ident),
                quoted(&before.place.ident)
            );
            let way = "take one of the two out, or correct its position; for a flight back to where it began name a place on the way";
            sheet.contradiction(&at, message, &[], way);
        }
        // what is not known was noted where it was read; the place stays in the list so that legs are counted rightly
        if let Some(somewhere) = position.or_else(|| Position::new(0.0, 0.0).ok()) {
            let elevation_m = elevation.as_ref().map(|e| e.value * M_PER_FT);
            places.push(ReadPlace {
                place: Place {
                    ident,
                    position: somewhere,
                    elevation_m,
                },
                elevation,
                known: position.is_some(),
                table_name,
                other_ft,
            });
        }
    }
    places
}

/// The alternate as far as it stands in the trip.
pub(super) struct ReadAlternate {
    pub(super) place: ReadPlace,
    pub(super) minimum_m: Option<f64>,
    pub(super) mountainous: bool,
    pub(super) pattern_m: f64,
}

/// Reads `[alternate]`; none if there is no such section, or if where it is is not known, which has been noted.
pub(super) fn alternate(
    sheet: &Sheet<'_>,
    root: &Section<'_>,
    destination: Option<&ReadPlace>,
    gazetteer: &Gazetteer,
) -> Option<ReadAlternate> {
    if !root.has("alternate") {
        return None;
    }
    let section = root.section("alternate");
    let ident = section.text("ident", "the identifier or name of the alternate");
    let at = placed(sheet, &section, &ident, gazetteer);
    let elevation = match at.elevation {
        Some(known) => known,
        // Where it is is not known: that was noted, and is enough.
        None if at.position.is_none() => Num {
            value: f64::NAN,
            span: section.span(),
            key: section.path("elevation_ft"),
        },
        None => section.number("elevation_ft", "elevation"),
    };
    if let (Some(here), Some(last)) = (at.position, destination)
        && last.known
        && distance_m(last.place.position, here) < AT_FIELD_M
    {
        let ident_at = Num {
            value: f64::NAN,
            span: section.span_of("ident"),
            key: section.path("ident"),
        };
        let message = format!(
            "{} = {} is the destination itself",
            ident_at.key,
            quoted(&ident)
        );
        sheet.contradiction(
            &ident_at,
            message,
            &[],
            "name another field, or leave [alternate] out",
        );
    }
    let minimum = section.optional("minimum_altitude_ft", "altitude");
    let mountainous = section.flag("mountainous");
    let pattern = section.optional("pattern_altitude_ft", "altitude");
    section.finish();
    if let Some(pattern) = &pattern {
        sheet.rising(&[&elevation, pattern]);
    }
    let pattern_ft = pattern.map_or_else(|| usual_pattern_ft(elevation.value), |p| p.value);
    Some(ReadAlternate {
        place: ReadPlace {
            place: Place {
                ident,
                position: at.position?,
                elevation_m: Some(elevation.value * M_PER_FT),
            },
            elevation: Some(elevation),
            known: true,
            table_name: at.table_name,
            other_ft: at.other_ft,
        },
        minimum_m: minimum.map(|m| m.value * M_PER_FT),
        mountainous,
        pattern_m: pattern_ft * M_PER_FT,
    })
}

/// A typed elevation farther than this from the table's is remarked upon, ft: the table is right to a few tens, and metres are off by
/// more from 720 ft up.
const TABLE_OFF_FT: f64 = 500.0;
/// An end of a route this near to a field of the built-in table is that field, m.
const AT_FIELD_M: f64 = M_PER_NM;

/// The places of the GPX file that `[route]` names, and what must be said of them.
pub(super) fn route_places(
    sheet: &Sheet<'_>,
    root: &Section<'_>,
    folder: &Path,
    start: Start,
    gazetteer: &Gazetteer,
) -> Result<(Vec<ReadPlace>, Vec<String>), FileError> {
    let section = root.section("route");
    if let Some(row) = root.rows("place").first() {
        let at = Num {
            value: f64::NAN,
            span: row.span(),
            key: "place".to_owned(),
        };
        let message = "the places are those of [route], but a [[place]] is given too".to_owned();
        sheet.contradiction(&at, message, &[], "keep [route] or the [[place]] rows");
    }
    let file = section.text("gpx", "the path of a GPX file");
    let span = section.span_of("gpx");
    let name = section.optional_text("name");
    let tolerance = section.number_or("tolerance_nm", "track tolerance", route::TOLERANCE_NM);
    let ends = ["departure_elevation_ft", "destination_elevation_ft"];
    let given = ends.map(|key| section.optional(key, "elevation"));
    if file.is_empty() || tolerance.value.is_nan() {
        section.finish();
        return Ok((Vec::new(), Vec::new()));
    }
    let path = folder.join(&file);
    let text = match read_text(&path) {
        Err(error) if error.is_unreadable() => {
            return Err(not_found(sheet, "route.gpx", span, &error));
        }
        other => other?,
    };
    let Route { points, note } = route::parse(&text, &path, name.as_deref(), tolerance.value)?;
    let last = points.len() - 1;
    let mut places = Vec::new();
    for (i, point) in points.into_iter().enumerate() {
        let own = gazetteer.find_at(&point.name, point.position);
        let end = [0, last].iter().position(|&e| e == i);
        let mut read = ReadPlace {
            place: Place {
                ident: point.name,
                position: point.position,
                elevation_m: None,
            },
            elevation: None,
            known: true,
            table_name: None,
            other_ft: None,
        };
        if let Some(e) = end {
            let field = airports::nearest(point.position, AT_FIELD_M).map(|(airport, _)| airport);
            let found = match own {
                Some(Found::Own(place)) => Some(Found::Own(place)),
                _ => field.map(Found::Table),
            };
            if let Some(Found::Table(airport)) = &found
                && point.unnamed
            {
                read.place.ident = airport.ident.to_owned();
            }
            let known_m = found.as_ref().and_then(Found::elevation_m);
            read.elevation = given[e].clone().or_else(|| {
                read.table_name = match found {
                    Some(Found::Table(airport)) => Some(airport.name),
                    _ => None,
                };
                known_m.map(|m| Num {
                    value: m / M_PER_FT,
                    span: span.clone(),
                    key: section.path(ends[e]),
                })
            });
            let needed = e == 1 || start == Start::Ground;
            if needed && read.elevation.is_none() {
                read.elevation = Some(section.number(ends[e], "elevation"));
            }
            read.place.elevation_m = read.elevation.as_ref().map(|n| n.value * M_PER_FT);
        }
        places.push(read);
    }
    section.finish();
    Ok((places, vec![note]))
}

/// A latitude or longitude (deg): a number or text; NaN if it is wrong.
pub(super) fn angle(
    sheet: &Sheet<'_>,
    row: &Section<'_>,
    key: &'static str,
    range_key: &str,
    parse: fn(&str) -> Result<f64, PlaceError>,
) -> f64 {
    let form = format!("the {range_key}: degrees like 43.1416, or text like \"43-08.5N\"");
    match row.any(key, &form) {
        Some((DeValue::String(text), span)) => parse(text).unwrap_or_else(|error| {
            let at = Num {
                value: f64::NAN,
                span,
                key: row.path(key),
            };
            sheet.contradiction(
                &at,
                format!("{}: {error}", at.key),
                &[],
                "correct it, or give decimal degrees",
            );
            f64::NAN
        }),
        Some((DeValue::Integer(_) | DeValue::Float(_), _)) => row.number(key, range_key).value,
        Some(_) => {
            row.wrong_form(key, "a number of degrees or text");
            f64::NAN
        }
        None => f64::NAN,
    }
}
