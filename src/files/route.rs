//! The route of a GPX file: its route as it stands, or its track thinned to the points where it turns.

use std::path::Path;

use geo::{Coord, LineString, SimplifyIdx};

use super::diagnostic::{FileError, Finding, FindingKind, quoted};
use super::gpx::{self, Line, Point};
use crate::earth::geodesic::{SHORTEST_LEG_M, distance_m};
use crate::earth::place::Position;
use crate::quantity::M_PER_NM;

/// How far a track may lie off the legs it is thinned to, nm, unless the trip says so.
pub const TOLERANCE_NM: f64 = 1.0;
/// Farthest point of a track from its middle, deg of arc: up to there lengths in the chart it is thinned on are right to a third.
const FARTHEST_DEG: f64 = 30.0;
/// A point nearer than this to the last one looked at says nothing of the course: part of the tolerance. What is left of it is that of the
/// thinning, so that no point lies farther off than asked for.
const NEAR_SHARE: f64 = 0.2;
/// Most points that are looked at: `geo` thins by recursion, which is this deep at worst. 1,000 nm at the usual tolerance.
const MOST_POINTS: usize = 5_000;
/// A minute of arc of the Earth's mean radius is this long, nm (6,371,009 m of radius).
const NM_PER_RAD: f64 = 6_371_009.0 / M_PER_NM;

/// A point of a route.
#[derive(Debug, Clone, PartialEq)]
pub struct RoutePoint {
    /// Its name, or its position where it has none or shares it with another place.
    pub name: String,
    /// It had no name of its own.
    pub unnamed: bool,
    /// Where it is.
    pub position: Position,
}

/// A route.
#[derive(Debug, Clone, PartialEq)]
pub struct Route {
    /// At least two points, no two that follow each other the same.
    pub points: Vec<RoutePoint>,
    /// What was read, and how it was thinned.
    pub note: String,
}

/// Reads the route of a GPX text: the one of that name; else its only route, or if it has no route its only track.
///
/// # Errors
/// [`FileError`]: not GPX, no or more than one such line, or less than two points in it.
pub fn parse(
    text: &str,
    path: &Path,
    name: Option<&str>,
    tolerance_nm: f64,
) -> Result<Route, FileError> {
    let file = gpx::parse(text, path)?;
    let fail = |message: String, hint: &str| {
        let finding = Finding::new(FindingKind::Contradiction, "", None, message).hint(hint);
        FileError::new(path, text, vec![finding])
    };
    let shown = path.display();
    let chosen = |lines: &[Line]| -> Vec<Line> {
        let named = |l: &&Line| name.is_none_or(|n| l.name == n);
        lines.iter().filter(named).cloned().collect()
    };
    let (routes, tracks) = (chosen(&file.routes), chosen(&file.tracks));
    let (track, line) = match (&routes[..], &tracks[..]) {
        ([line], _) => (false, line),
        ([], [line]) => (true, line),
        ([], []) => {
            let all: Vec<String> = file
                .routes
                .iter()
                .chain(&file.tracks)
                .map(|l| quoted(&l.name))
                .collect();
            return Err(match name {
                Some(name) => fail(
                    format!("{shown} has no route or track named {}", quoted(name)),
                    &format!(
                        "it has {}",
                        if all.is_empty() {
                            "none".to_owned()
                        } else {
                            all.join(", ")
                        }
                    ),
                ),
                None => fail(
                    format!("{shown} has no route and no track"),
                    "a route is <rte> with its <rtept>, a track <trk>; waypoints alone have no order",
                ),
            });
        }
        _ => {
            let many = if routes.is_empty() { &tracks } else { &routes };
            let all: Vec<String> = many.iter().map(|l| quoted(&l.name)).collect();
            return Err(fail(
                format!(
                    "{shown} has {} routes or tracks to choose from: {}",
                    many.len(),
                    all.join(", ")
                ),
                "say which by its name, or leave one in the file",
            ));
        }
    };
    let mut points: Vec<&Point> = Vec::new();
    for point in &line.points {
        let last = points.last();
        if last.is_none_or(|l| distance_m(l.position, point.position) >= SHORTEST_LEG_M) {
            points.push(point);
        }
    }
    let given = points.len();
    if track && given > 2 {
        let kept = turning_points(&points, tolerance_nm).map_err(|why| {
            fail(
                format!("the track of {shown} {why}"),
                "leave in it the points of this flight alone, or let it lie farther off its legs",
            )
        })?;
        points = kept
            .into_iter()
            .filter_map(|i| points.get(i).copied())
            .collect();
    }
    if points.len() < 2 {
        let what = if track { "track" } else { "route" };
        return Err(fail(
            format!(
                "the {what} of {shown} has {} point(s) that differ",
                points.len()
            ),
            "a route needs a departure and a destination",
        ));
    }
    let note = if track {
        format!(
            "Route from the track {} of {shown}: {given} points, {} of them kept, within {tolerance_nm} nm.",
            quoted(&line.name),
            points.len()
        )
    } else {
        format!(
            "Route from the route {} of {shown}: {given} points.",
            quoted(&line.name)
        )
    };
    let mut out: Vec<RoutePoint> = Vec::new();
    for point in points {
        // a name stands for one place; a second of the same name is called by where it is
        let taken = out
            .iter()
            .any(|o| o.name == point.name && o.position != point.position);
        let unnamed = track || point.name.is_empty();
        out.push(RoutePoint {
            name: if unnamed || taken {
                point.position.to_string()
            } else {
                point.name.clone()
            },
            unnamed,
            position: point.position,
        });
    }
    Ok(Route { points: out, note })
}

/// Indices of the points of a track that are kept so that no other lies farther than the tolerance \[nm\] from the legs between
/// them (Ramer, Douglas and Peucker, by `geo`).
///
/// The track is laid on a gnomonic chart around the middle of its extremes, where great circles are straight lines, so that a straight
/// flight stays one leg however long it is.
///
/// # Errors
/// In words: the track reaches farther than 30 degrees from there, or has too many points.
fn turning_points(points: &[&Point], tolerance_nm: f64) -> Result<Vec<usize>, &'static str> {
    const TOO_FAR: &str = "reaches too far for one flight";
    let unit = |p: Position| {
        let (lat, lon) = (p.lat_deg().to_radians(), p.lon_deg().to_radians());
        [lat.cos() * lon.cos(), lat.cos() * lon.sin(), lat.sin()]
    };
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let cross = |a: [f64; 3], b: [f64; 3]| {
        [
            a[1] * b[2] - a[2] * b[1],
            a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0],
        ]
    };
    let scaled = |a: [f64; 3]| {
        let length = dot(a, a).sqrt();
        (length > 1e-9).then(|| a.map(|x| x / length))
    };
    let all: Vec<[f64; 3]> = points.iter().map(|p| unit(p.position)).collect();
    let extreme = |axis: usize| {
        let of = |a: &&[f64; 3]| a[axis];
        let low = all.iter().map(|a| of(&a)).fold(f64::INFINITY, f64::min);
        let high = all.iter().map(|a| of(&a)).fold(f64::NEG_INFINITY, f64::max);
        0.5 * (low + high)
    };
    let centre = scaled([extreme(0), extreme(1), extreme(2)]).ok_or(TOO_FAR)?;
    // any two axes across the line to the centre will do
    let pole = if centre[2].abs() < 0.9 {
        [0.0, 0.0, 1.0]
    } else {
        [1.0, 0.0, 0.0]
    };
    let east = scaled(cross(pole, centre)).ok_or(TOO_FAR)?;
    let north = cross(centre, east);
    let chart: Option<Vec<Coord<f64>>> = all
        .iter()
        .map(|&a| {
            let depth = dot(a, centre);
            (depth >= FARTHEST_DEG.to_radians().cos()).then(|| Coord {
                x: NM_PER_RAD * dot(a, east) / depth,
                y: NM_PER_RAD * dot(a, north) / depth,
            })
        })
        .collect();
    let chart = chart.ok_or(TOO_FAR)?;
    let mut seen: Vec<usize> = vec![0];
    for (i, c) in chart.iter().enumerate().skip(1) {
        let last = seen.last().map_or(*c, |&l| chart[l]);
        let far_nm = (c.x - last.x).hypot(c.y - last.y);
        if far_nm >= NEAR_SHARE * tolerance_nm || i + 1 == chart.len() {
            seen.push(i);
        }
    }
    if seen.len() > MOST_POINTS {
        return Err("has more turns than 5,000 points can show at this tolerance");
    }
    let line = LineString(seen.iter().map(|&i| chart[i]).collect());
    let kept = line.simplify_idx((1.0 - NEAR_SHARE) * tolerance_nm);
    Ok(kept
        .into_iter()
        .filter_map(|i| seen.get(i).copied())
        .collect())
}
