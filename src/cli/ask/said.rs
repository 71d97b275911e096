//! What is wrong with a trip typed as options, said of the options instead of the keys of a file.

use super::COMMAND_LINE;
use crate::cli::Failure;
use crate::files::diagnostic::{FileError, FindingKind};
use crate::files::trip_text::Draft;
use crate::solve::TripError;
use crate::trip::ProblemError;
use std::path::Path;

/// The option that a key of the trip text comes from.
pub(super) fn flag(key: &str, places: usize) -> Option<&'static str> {
    if let Some((index, rest)) = key.strip_prefix("place[").and_then(|k| k.split_once(']')) {
        let i: usize = index.parse().ok()?;
        let elevation = rest == ".elevation_ft";
        return Some(match (i, elevation) {
            (1, false) => "--from",
            (1, true) => "--from-elevation",
            (i, false) if i == places => "--to",
            (i, true) if i == places => "--to-elevation",
            _ => "--via",
        });
    }
    let head = key.split('[').next().unwrap_or(key);
    if head == "alternate" || head.starts_with("alternate.") {
        return Some("--alternate");
    }
    Some(match head {
        "profile" => "--profile",
        "departure_utc" => "--depart",
        "variation_deg" => "--variation",
        "places" => "--places",
        "route.gpx" => "--gpx-route",
        "route.departure_elevation_ft" => "--from-elevation",
        "route.destination_elevation_ft" => "--to-elevation",
        "start.altitude_ft" => "--at-altitude",
        "start.ias_kt" => "--at-ias",
        "leg" => "--minimum-altitude",
        "load.people_lb" => "--people",
        "load.baggage_lb" => "--baggage",
        "fuel.on_board_gal" => "--fuel",
        "prices.hourly" => "--hourly",
        "prices.fuel_per_gal" => "--fuel-price",
        "weather.bulletins" | "weather.grib" => "--winds",
        "weather.metar" => "--metar",
        "terrain.folder" => "--terrain",
        "terrain.corridor_nm" => "--corridor",
        "limits.keep_outs" => "--keep-out",
        "altimeter_inhg"
        | "weather.altimeter_inhg"
        | "weather.altimeter_inhg.departure"
        | "weather.altimeter_inhg.destination" => "--altimeter",
        "limits.max_altitude_ft" => "--max-altitude",
        "limits.reserve_min" => "--reserve",
        "arrival.pattern_altitude_ft" => "--pattern-altitude",
        _ => return None,
    })
}

/// A message of the reader with the options in the place of the keys.
fn in_options(message: &str, places: usize) -> String {
    let is_key = |c: char| c.is_ascii_alphanumeric() || "_.[]".contains(c);
    let mut out = String::new();
    let mut rest = message;
    while let Some(first) = rest.chars().next() {
        let end = rest.find(|c| !is_key(c)).unwrap_or(rest.len());
        if end == 0 {
            out.push(first);
            rest = &rest[first.len_utf8()..];
            continue;
        }
        let (word, after) = rest.split_at(end);
        // a key is a path of two parts at least, but for the few at the head of the file
        match flag(word, places).filter(|_| word.contains(['.', '[', '_'])) {
            Some(option) => {
                out.push_str(option);
                rest = after.strip_prefix(" =").unwrap_or(after);
            }
            None => {
                out.push_str(word);
                rest = after;
            }
        }
    }
    out
}

/// What is wrong with the options, or with a file they name.
pub(super) fn said_of_options(error: &FileError, draft: &Draft) -> Failure {
    if error.path != Path::new(COMMAND_LINE) {
        return Failure::drawn(error.render_for_stderr());
    }
    let places = draft.route.len();
    let mut message = Vec::new();
    let mut hints: Vec<String> = Vec::new();
    for finding in &error.findings {
        let option = flag(&finding.key, places);
        let unknown_elevation = finding.kind == FindingKind::Missing
            && matches!(option, Some("--from-elevation" | "--to-elevation"));
        let (text, hint) = if unknown_elevation {
            let from = option == Some("--from-elevation");
            let (which, what) = if from {
                ("--from", "departure")
            } else {
                ("--to", "destination")
            };
            let ident = match (&draft.gpx, from) {
                (Some(gpx), _) => format!("--gpx-route {gpx}"),
                (None, true) => format!("{which} {}", draft.route.first().map_or("", |p| &p.ident)),
                (None, false) => format!("{which} {}", draft.route.last().map_or("", |p| &p.ident)),
            };
            (
                format!("{ident}: the elevation of the {what} is not known"),
                Some(format!(
                    "give {which}-elevation in feet, or the place with its elevation in a file (--places)"
                )),
            )
        } else {
            let text = in_options(&finding.message, places);
            let text = match option {
                Some(option) if !text.contains(option) => format!("{option}: {text}"),
                _ => text,
            };
            (text, finding.hint.as_ref().map(|h| in_options(h, places)))
        };
        message.push(text);
        hints.extend(hint.filter(|h| !hints.contains(h)));
    }
    let failure = Failure::input(message.join("\nerror: "));
    if hints.is_empty() {
        failure
    } else {
        failure.hint(hints.join("\nhint: "))
    }
}

/// Why a trip typed as options cannot be flown, with the option where one is to blame.
pub(in crate::cli) fn not_flown(error: &TripError) -> Failure {
    let option = match error {
        TripError::Problem(ProblemError::Tanks { .. } | ProblemError::LeastInFlight) => "--fuel: ",
        TripError::Problem(ProblemError::TooHeavy { .. }) => "--fuel, --people, --baggage: ",
        TripError::Problem(ProblemError::NoFuel { .. }) => "--fuel: ",
        TripError::Problem(ProblemError::StartInGround { .. }) => "--at-altitude: ",
        TripError::Problem(ProblemError::StartSpeed { .. }) => "--at-ias: ",
        _ => "",
    };
    Failure::input(format!("{option}{error}"))
}
