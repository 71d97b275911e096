//! GPX (version 1.0 and 1.1, topografix.com/GPX/1/1): waypoints, routes and tracks. Times, extensions and all else are passed over.

use std::path::Path;

use roxmltree::{Document, Node};

use super::diagnostic::{FileError, Finding, FindingKind, quoted};
use crate::earth::place::Position;

/// A point of a GPX file.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Its name; may be empty.
    pub name: String,
    /// Where it is (`lat`, `lon`: WGS 84 degrees).
    pub position: Position,
    /// `ele`, m, if given. For a point of a track that is the height of the aircraft.
    pub elevation_m: Option<f64>,
}

/// A route or a track.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its name; may be empty.
    pub name: String,
    /// Its points, in order; the segments of a track joined.
    pub points: Vec<Point>,
}

/// What is in a GPX file.
#[derive(Debug, Clone, PartialEq)]
pub struct Gpx {
    /// Waypoints (`wpt`).
    pub waypoints: Vec<Point>,
    /// Routes (`rte`).
    pub routes: Vec<Line>,
    /// Tracks (`trk`).
    pub tracks: Vec<Line>,
}

/// Elements of this name right inside another, whatever their namespace: versions 1.0 and 1.1 differ in it.
fn children<'a, 'i>(node: Node<'a, 'i>, name: &'static str) -> impl Iterator<Item = Node<'a, 'i>> {
    node.children()
        .filter(move |n| n.is_element() && n.tag_name().name() == name)
}

fn word(node: Node<'_, '_>, name: &'static str) -> Option<String> {
    let text = children(node, name).next()?.text()?.trim();
    Some(text.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// Reads GPX text; `path` is named in errors.
///
/// # Errors
/// [`FileError`]: not XML, not GPX, or a point without a latitude or longitude in range.
pub fn parse(text: &str, path: &Path) -> Result<Gpx, FileError> {
    let one = |finding| FileError::new(path, text, vec![finding]);
    let document = Document::parse(text).map_err(|error| {
        let at = error.pos();
        let (row, column) = match error {
            roxmltree::Error::UnexpectedEndOfStream => (text.lines().count(), 1),
            _ => (at.row as usize, at.col as usize),
        };
        let span = super::diagnostic::span_at(text, row, column);
        let message = format!("this is not XML: {error}");
        one(Finding::new(FindingKind::Syntax, "", Some(span), message)
            .label("here")
            .hint("GPX is XML that begins with <gpx ...>; write the file anew from what made it"))
    })?;
    let root = document.root_element();
    if root.tag_name().name() != "gpx" {
        let message = format!(
            "this is not GPX: it begins with <{}>",
            root.tag_name().name()
        );
        return Err(one(Finding::new(
            FindingKind::Syntax,
            "",
            Some(root.range()),
            message,
        )
        .label("<gpx> is expected")
        .hint("give a GPX file")));
    }
    let mut findings = Vec::new();
    let mut point = |node: Node<'_, '_>| {
        let mut angle = |name: &str, most: f64| {
            let written = node.attribute(name).unwrap_or("").trim();
            let value = written.parse::<f64>().ok().filter(|x| x.abs() <= most);
            if value.is_none() {
                let message = format!(
                    "{name} = {} of a point is not a number of degrees from -{most} to {most}",
                    quoted(written)
                );
                let begin = node.range().start;
                let span = begin..begin + text[node.range()].find('>').map_or(1, |i| i + 1);
                findings.push(
                    Finding::new(FindingKind::Contradiction, name, Some(span), message)
                        .label("this point")
                        .hint(match written.parse::<f64>() {
                            Ok(x) if name == "lat" && x.abs() > most && x.abs() <= 180.0 => {
                                "are lat and lon swapped? correct it, or take the point out"
                            }
                            _ => "correct it, or take the point out",
                        }),
                );
            }
            value
        };
        let (lat, lon) = (angle("lat", 90.0), angle("lon", 180.0));
        Some(Point {
            name: word(node, "name").unwrap_or_default(),
            position: Position::new(lat?, lon?).ok()?,
            elevation_m: word(node, "ele")
                .and_then(|e| e.parse().ok())
                .filter(|e: &f64| e.is_finite()),
        })
    };
    let waypoints = children(root, "wpt").filter_map(&mut point).collect();
    let routes = children(root, "rte")
        .map(|r| Line {
            name: word(r, "name").unwrap_or_default(),
            points: children(r, "rtept").filter_map(&mut point).collect(),
        })
        .collect();
    let tracks = children(root, "trk")
        .map(|t| Line {
            name: word(t, "name").unwrap_or_default(),
            points: children(t, "trkseg")
                .flat_map(|s| children(s, "trkpt"))
                .filter_map(&mut point)
                .collect(),
        })
        .collect();
    if findings.is_empty() {
        Ok(Gpx {
            waypoints,
            routes,
            tracks,
        })
    } else {
        Err(FileError::new(path, text, findings))
    }
}
