//! Ground and least cruise altitude of the legs: `[[leg]]`, or terrain tiles.

use crate::earth::geodesic::Leg;
use crate::files::diagnostic::{Finding, FindingKind};
use crate::files::sheet::{Num, Section, Sheet};
use crate::files::trip_places::ReadPlace;
use crate::quantity::{Distance, M_PER_FT, M_PER_NM};
use crate::trip::{LegGround, Limits};

/// By this much the last row of ground may miss the end of its leg, nm: rounding, not another leg's rows.
const GROUND_END_NM: f64 = 2.0;

/// A leg with where it runs; no line if its ends are one place or not known.
pub(super) struct ReadLeg {
    pub(super) ground: LegGround,
    pub(super) line: Option<Leg>,
    pub(super) name: String,
    /// Whether the trip gives its least cruise altitude; else that follows from the ground.
    pub(super) minimum_given: bool,
}

/// A step of altitudes.
const HUNDRED_FT_M: f64 = 100.0 * M_PER_FT;
/// What is said of a leg whose ground nobody gave.
const NO_TERRAIN: &str = "no terrain data";

/// Least cruise altitude of a leg whose trip gives none, m: the clearance over its highest ground, or where that is not known
/// over the highest of some fields; rounded up to whole hundreds of feet.
pub(super) fn least_cruise_m<'a>(
    leg: &LegGround,
    fields: impl Iterator<Item = &'a ReadPlace>,
    limits: &Limits,
) -> f64 {
    let highest = |heights: &mut dyn Iterator<Item = f64>| heights.reduce(f64::max);
    let ground_m = highest(&mut leg.ground.iter().map(|g| g.1));
    let field_m = highest(&mut fields.filter_map(|p| p.place.elevation_m));
    let clearance_m = limits_clearance_m(limits, leg.mountainous);
    up_to_hundred_ft(ground_m.or(field_m).unwrap_or(0.0) + clearance_m)
}

/// The next whole hundred of feet, m; one that is whole stays what it is, for all its rounding in metres.
fn up_to_hundred_ft(altitude_m: f64) -> f64 {
    (altitude_m / HUNDRED_FT_M - 1e-6).ceil() * HUNDRED_FT_M
}

fn limits_clearance_m(limits: &Limits, mountainous: bool) -> f64 {
    if mountainous {
        limits.mountain_clearance_m
    } else {
        limits.clearance_m
    }
}

/// A leg of which the trip says nothing.
pub(super) fn unknown_leg(from: &ReadPlace, to: &ReadPlace) -> ReadLeg {
    ReadLeg {
        ground: LegGround {
            ground: Vec::new(),
            under_track: Vec::new(),
            minimum_m: f64::NAN,
            maximum_m: None,
            mountainous: false,
            source: NO_TERRAIN.to_owned(),
        },
        line: from.line_to(to),
        name: format!("{} to {}", from.place.ident, to.place.ident),
        minimum_given: false,
    }
}

pub(super) fn legs(sheet: &Sheet<'_>, root: &Section<'_>, places: &[ReadPlace]) -> Vec<ReadLeg> {
    let rows = root.rows("leg");
    if rows.is_empty() {
        let each = places.windows(2);
        return each.map(|pair| unknown_leg(&pair[0], &pair[1])).collect();
    }
    let expected = places.len().saturating_sub(1);
    if rows.len() != expected && places.len() > 1 {
        let message = format!(
            "{} places make {expected} leg(s), but {} [[leg]] is given",
            places.len(),
            rows.len()
        );
        let span = rows.last().map_or(root.span(), Section::span);
        sheet.note(
            Finding::new(FindingKind::Missing, "leg", Some(span), message)
                .label("the last leg given")
                .hint("give one [[leg]] for each two places that follow each other, in order, or none at all"),
        );
    }
    let mut legs = Vec::new();
    for (i, row) in rows.into_iter().enumerate() {
        let minimum = row.optional("minimum_altitude_ft", "altitude");
        let maximum = row.optional("maximum_altitude_ft", "altitude");
        let mountainous = row.answer("mountainous");
        let source = if minimum.is_some() || row.has("ground") || row.has("source") {
            row.text("source", "where ground and minimum altitude come from")
        } else {
            NO_TERRAIN.to_owned()
        };
        let (mut ends, mut heights) = (Vec::new(), Vec::new());
        for stretch in row.rows("ground") {
            ends.push(stretch.number("to_nm", "distance"));
            heights.push(stretch.number("ground_ft", "elevation"));
            stretch.finish();
        }
        row.finish();
        sheet.rising(&ends.iter().collect::<Vec<_>>());
        if let Some(minimum) = &minimum {
            for height in &heights {
                sheet.rising(&[height, minimum]);
            }
            if let Some(maximum) = &maximum {
                sheet.at_least(maximum, minimum);
            }
        }
        let (mut line, mut name) = (None, format!("leg {}", i + 1));
        if let (Some(from), Some(to)) = (places.get(i), places.get(i + 1)) {
            name = format!("{} to {}", from.place.ident, to.place.ident);
            for (place, height) in [(from, heights.first()), (to, heights.last())] {
                if let (Some(elevation), Some(height)) = (&place.elevation, height) {
                    sheet.at_least(height, elevation);
                }
            }
            line = from.line_to(to);
            if let (Some(line), Some(end)) = (&line, ends.last()) {
                ground_reaches(sheet, &name, line, end);
            }
        }
        let ground: Vec<(f64, f64)> = ends
            .iter()
            .zip(&heights)
            .map(|(to, h)| (to.value * M_PER_NM, h.value * M_PER_FT))
            .collect();
        let minimum_given = minimum.is_some();
        let minimum_m = minimum.map_or(f64::NAN, |m| m.value * M_PER_FT);
        let ground = LegGround {
            ground,
            under_track: Vec::new(),
            minimum_m,
            maximum_m: maximum.map(|m| m.value * M_PER_FT),
            mountainous,
            source,
        };
        legs.push(ReadLeg {
            ground,
            line,
            name,
            minimum_given,
        });
    }
    legs
}

/// Notes ground rows that end elsewhere than their leg: they are those of another leg, or the route has changed.
fn ground_reaches(sheet: &Sheet<'_>, name: &str, line: &Leg, end: &Num) {
    let length_nm = Distance::m(line.distance_m()).to_nm();
    if (end.value - length_nm).abs() > GROUND_END_NM {
        let message = format!(
            "{} = {}, but the leg {name} is {length_nm:.1} nm long",
            end.key, end.value
        );
        sheet.contradiction(
            end,
            message,
            &[],
            "the ground of a leg ends where the leg ends; check the places and the rows",
        );
    }
}
