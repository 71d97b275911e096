//! Points of a flown flight that a pilot looks for: the places of the route, and where what is done changes.

use super::flown::{Flown, Mark, SegmentKind, TrackPoint};
use crate::trip::{Problem, Start};

/// Two points of the path nearer than this are one place, m.
const NEAR_M: f64 = 1.0;

/// What a waymark is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WaymarkKind {
    /// Lift-off.
    Departure,
    /// In flight, where the flight begins.
    Start,
    /// The first level is reached.
    TopOfClimb,
    /// A place on the way.
    Via,
    /// Climb or descent to another level begins.
    LevelChange,
    /// The descent begins.
    TopOfDescent,
    /// Level, and slowing to pattern speed begins.
    SlowDown,
    /// Pattern altitude and speed are met.
    PatternPoint,
    /// Landed.
    Destination,
}

/// One point.
#[derive(Debug, Clone, PartialEq)]
pub struct Waymark {
    /// What it is.
    pub kind: WaymarkKind,
    /// Identifier of the place; of others the short words of the trade, numbered where there are several.
    pub name: String,
    /// The path there.
    pub at: TrackPoint,
    /// The path just before it is level cruise.
    pub cruising: bool,
}

/// The path at a distance \[m\]: state, heights, speeds and wind between two points, the rest as at the earlier. `None` without a
/// recorded path up to there.
pub fn point_at(track: &[TrackPoint], distance_m: f64) -> Option<TrackPoint> {
    let i = track.partition_point(|t| t.state.distance_m < distance_m - NEAR_M);
    let next = *track.get(i)?;
    let Some(before) = i.checked_sub(1).and_then(|i| track.get(i)) else {
        return Some(next);
    };
    let span = next.state.distance_m - before.state.distance_m;
    let x = if span > 0.0 {
        ((distance_m - before.state.distance_m) / span).clamp(0.0, 1.0)
    } else {
        1.0
    };
    let blend = |a: f64, b: f64| a + x * (b - a);
    let mut at = *before;
    let (a, b) = (&before.state, &next.state);
    at.state.distance_m = blend(a.distance_m, b.distance_m);
    at.state.time_s = blend(a.time_s, b.time_s);
    at.state.pressure_altitude_m = blend(a.pressure_altitude_m, b.pressure_altitude_m);
    at.state.fuel_kg = blend(a.fuel_kg, b.fuel_kg);
    at.state.revolutions = blend(a.revolutions, b.revolutions);
    at.state.tas_m_s = blend(a.tas_m_s, b.tas_m_s);
    at.indicated_m = blend(before.indicated_m, next.indicated_m);
    at.true_altitude_m = blend(before.true_altitude_m, next.true_altitude_m);
    at.ias_m_s = blend(before.ias_m_s, next.ias_m_s);
    at.ground_speed_m_s = blend(before.ground_speed_m_s, next.ground_speed_m_s);
    at.wind_along_m_s = blend(before.wind_along_m_s, next.wind_along_m_s);
    at.mass_kg = blend(before.mass_kg, next.mass_kg);
    Some(at)
}

/// The waymarks of a recorded flight, in the order of the flight; empty for one that kept no path.
pub fn waymarks(problem: &Problem, flown: &Flown) -> Vec<Waymark> {
    let (Some(first), Some(last)) = (flown.track.first(), flown.track.last()) else {
        return Vec::new();
    };
    let cruising = |distance_m: f64| {
        let i = flown
            .track
            .partition_point(|t| t.state.distance_m < distance_m - NEAR_M);
        i.checked_sub(1)
            .and_then(|i| flown.segments.get(flown.track[i].segment))
            .is_some_and(|s| s.kind == SegmentKind::Cruise)
    };
    let mut all: Vec<Waymark> = Vec::new();
    let mut mark = |kind, name: String, at: Option<TrackPoint>| {
        if let Some(at) = at {
            all.push(Waymark {
                kind,
                name,
                at,
                cruising: cruising(at.state.distance_m),
            });
        }
    };
    let over = |distance_m: f64| point_at(&flown.track, distance_m);
    // Time and fuel as the flight has them: the transient after setting power is added where a cruise ends, so that the path has two
    // points there.
    let noted = |mark: &Mark| {
        over(mark.distance_m).map(|mut at| {
            (at.state.time_s, at.state.fuel_kg) = (mark.time_s, mark.fuel_kg);
            at
        })
    };
    let begins = |kind: SegmentKind| {
        let found = flown.segments.iter().filter(move |s| s.kind == kind);
        found.filter_map(|s| flown.track.get(s.first).copied())
    };
    // A flight that begins in the air on its level has no climb.
    if flown.top_of_climb.distance_m > first.state.distance_m + NEAR_M {
        mark(
            WaymarkKind::TopOfClimb,
            "TOC".to_owned(),
            noted(&flown.top_of_climb),
        );
    }
    for leg in problem.legs.iter().skip(1) {
        mark(WaymarkKind::Via, leg.from.clone(), over(leg.from_m));
    }
    let changes: Vec<TrackPoint> = begins(SegmentKind::LevelChange).collect();
    for (i, at) in changes.iter().enumerate() {
        let name = match changes.len() {
            1 => "NEW LEVEL".to_owned(),
            _ => format!("NEW LEVEL {}", i + 1),
        };
        mark(WaymarkKind::LevelChange, name, Some(*at));
    }
    mark(
        WaymarkKind::TopOfDescent,
        "TOD".to_owned(),
        noted(&flown.top_of_descent),
    );
    mark(
        WaymarkKind::SlowDown,
        "SLOW DOWN".to_owned(),
        begins(SegmentKind::SlowDown).next_back(),
    );
    // A let-down in turns over the field has none.
    if flown.script.descent.circle.is_none() {
        mark(
            WaymarkKind::PatternPoint,
            "PATTERN".to_owned(),
            over(problem.length_m - problem.arrival.before_m),
        );
    }
    // By time, since a path that waits has two of one distance; the sort keeps the order above where they are one.
    all.sort_by(|a, b| a.at.state.time_s.total_cmp(&b.at.state.time_s));
    let (kind, ident) = match problem.start {
        Start::Ground => (WaymarkKind::Departure, &problem.departure.ident),
        Start::InFlight { .. } => (WaymarkKind::Start, &problem.departure.ident),
    };
    let end = |kind, ident: &str, at: &TrackPoint| Waymark {
        kind,
        name: ident.to_owned(),
        at: *at,
        cruising: false,
    };
    all.insert(0, end(kind, ident, first));
    all.push(end(
        WaymarkKind::Destination,
        &problem.destination.ident,
        last,
    ));
    all
}

#[cfg(test)]
mod tests;
