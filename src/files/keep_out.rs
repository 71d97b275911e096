//! Keep-out volumes from GeoJSON (RFC 7946).
//!
//! A file holds features with a `Polygon` or `MultiPolygon`, holes allowed, longitude first. Properties of each: `name` (text),
//! `lower_ft` and `upper_ft` (what the altimeter shows, ft; `null`: from the ground up, and without a top). Others are left alone.

use std::ops::Range as Span;
use std::path::Path;

use geojson::{Feature, GeoJson, GeometryValue, JsonValue};

use super::check;
use super::diagnostic::{FileError, Finding, FindingKind, quoted, read_text, span_at};
use crate::earth::keep_out::{Area, Volume};
use crate::quantity::{M_PER_FT, range};

/// Reads the volumes of a file.
///
/// # Errors
/// [`FileError`] with everything that is wrong with any of its features, each by number and name.
pub fn load_keep_outs(path: &Path) -> Result<Vec<Volume>, FileError> {
    let text = read_text(path)?;
    parse_keep_outs(&text, path)
        .map_err(|e| check::meant("a file of keep-out volumes", path, &text, e))
}

/// The same from text; `path` is only for messages.
///
/// # Errors
/// As [`load_keep_outs`].
pub fn parse_keep_outs(text: &str, path: &Path) -> Result<Vec<Volume>, FileError> {
    let refused = |message: String, span: Span<usize>| {
        let finding = Finding::new(FindingKind::Syntax, "", Some(span), message)
            .label("here")
            .hint(
                "give a GeoJSON FeatureCollection of polygons with the properties name, lower_ft and upper_ft",
            );
        FileError::new(path, text, vec![finding])
    };
    // Asked first, since it knows the line.
    if let Err(why) = serde_json::from_str::<JsonValue>(text) {
        let at = span_at(text, why.line(), why.column().max(1));
        return Err(refused(format!("this is not JSON: {why}"), at));
    }
    let whole = 0..text.len().min(1);
    let features = match text.parse::<GeoJson>() {
        Ok(GeoJson::FeatureCollection(all)) => all.features,
        Ok(GeoJson::Feature(one)) => vec![one],
        Ok(GeoJson::Geometry(_)) => {
            return Err(refused(
                "this is a geometry without properties, so its heights are not known".to_owned(),
                whole,
            ));
        }
        Err(why) => return Err(refused(format!("this is not GeoJSON: {why}"), whole)),
    };
    if features.is_empty() {
        return Err(refused("there is no feature in it".to_owned(), whole));
    }
    let begins = features_begin(text);
    let (mut volumes, mut findings) = (Vec::new(), Vec::new());
    for (i, feature) in features.iter().enumerate() {
        match volume(feature) {
            Ok(volume) => volumes.push(volume),
            Err((key, message, hint)) => {
                let name = feature.property("name").and_then(JsonValue::as_str);
                let name = name.map_or(String::new(), |n| format!(" {}", quoted(n)));
                let key = format!("feature[{}].{key}", i + 1);
                let message = format!("feature {}{name}: {message}", i + 1);
                let at = begins.get(i).map_or(whole.clone(), |&b| b..b + 1);
                findings.push(
                    Finding::new(FindingKind::Contradiction, &key, Some(at), message)
                        .label("the feature begins here")
                        .hint(hint),
                );
            }
        }
    }
    if findings.is_empty() {
        Ok(volumes)
    } else {
        Err(FileError::new(path, text, findings))
    }
}

/// Where the features of a collection begin in the text of a JSON object; none where it is no collection.
fn features_begin(text: &str) -> Vec<usize> {
    let mut out = Vec::new();
    let (mut open, mut key, mut inside) = (Vec::new(), "", false);
    let mut bytes = text.bytes().enumerate();
    while let Some((i, byte)) = bytes.next() {
        match byte {
            b'"' => {
                // To the end of the string; what is escaped does not end it.
                let mut end = i + 1;
                while let Some((j, byte)) = bytes.next() {
                    end = j;
                    match byte {
                        b'\\' => {
                            bytes.next();
                        }
                        b'"' => break,
                        _ => {}
                    }
                }
                if open.len() == 1 {
                    key = text.get(i + 1..end).unwrap_or_default();
                }
            }
            b'{' | b'[' => {
                if byte == b'[' && open.len() == 1 {
                    inside = key == "features";
                }
                if byte == b'{' && open.len() == 2 && inside {
                    out.push(i);
                }
                open.push(byte);
            }
            b'}' | b']' => {
                open.pop();
            }
            _ => {}
        }
    }
    out
}

/// What is wrong with a feature: key, message, way out.
type Wrong = (&'static str, String, &'static str);

fn volume(feature: &Feature) -> Result<Volume, Wrong> {
    let name = match feature.property("name") {
        Some(JsonValue::String(text)) if !text.trim().is_empty() => text.trim().to_owned(),
        _ => {
            let message = "the property name is missing, empty or no text".to_owned();
            return Err(("name", message, "say what the volume is called"));
        }
    };
    let lower_m = height_m(feature, "lower_ft", f64::NEG_INFINITY)?;
    let upper_m = height_m(feature, "upper_ft", f64::INFINITY)?;
    if lower_m >= upper_m {
        let message = format!(
            "lower_ft = {:.0} is not below upper_ft = {:.0}",
            lower_m / M_PER_FT,
            upper_m / M_PER_FT
        );
        return Err(("lower_ft", message, "correct one of the two"));
    }
    let parts = match feature.geometry.as_ref().map(|g| &g.value) {
        Some(GeometryValue::Polygon { coordinates }) => std::slice::from_ref(coordinates),
        Some(GeometryValue::MultiPolygon { coordinates }) => coordinates.as_slice(),
        Some(other) => {
            let message = format!("its geometry is a {}, not an area", other.type_name());
            return Err(("geometry", message, "give a Polygon or MultiPolygon"));
        }
        None => {
            let message = "it has no geometry".to_owned();
            return Err(("geometry", message, "give a Polygon or MultiPolygon"));
        }
    };
    let mut areas = Vec::with_capacity(parts.len());
    for part in parts {
        let mut rings = Vec::with_capacity(part.len());
        for ring in part {
            let corner = |p: &geojson::Position| match p.as_slice() {
                [lon, lat, ..] => Some([*lon, *lat]),
                _ => None,
            };
            let Some(corners) = ring.iter().map(corner).collect() else {
                let message = "a position has fewer than two numbers".to_owned();
                return Err((
                    "geometry",
                    message,
                    "write each position [longitude, latitude]",
                ));
            };
            rings.push(corners);
        }
        let area =
            Area::new(&rings).map_err(|e| ("geometry", e.to_string(), "correct the positions"))?;
        areas.push(area);
    }
    if areas.is_empty() {
        let message = "its MultiPolygon has no part".to_owned();
        return Err(("geometry", message, "give at least one polygon"));
    }
    Ok(Volume {
        name,
        areas,
        lower_m,
        upper_m,
    })
}

/// A height in m; what `null` stands for where it is that.
fn height_m(feature: &Feature, key: &'static str, open_m: f64) -> Result<f64, Wrong> {
    const HINT: &str = "give feet as the altimeter shows them, or null for no such bound";
    match feature.property(key) {
        Some(JsonValue::Null) => Ok(open_m),
        Some(JsonValue::Number(n)) => {
            let ft = n.as_f64().unwrap_or(f64::NAN);
            let ft = range("keep-out height")
                .check(ft)
                .map_err(|e| (key, format!("{key}: {e}"), HINT))?;
            Ok(ft * M_PER_FT)
        }
        Some(other) => Err((key, format!("{key} = {other} is not a number"), HINT)),
        None => Err((key, format!("the property {key} is missing"), HINT)),
    }
}
