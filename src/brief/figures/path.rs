//! The flown path point by point, and its segments.

use crate::brief::circling::turns_of;
use crate::brief::marks::Calendar;
use crate::brief::units::{Fuel, degrees, fpm, ft, inhg, kt, lb, min, nm, percent, plain, rpm};
use crate::flight::{SegmentKind, TrackPoint};
use crate::solve::Plan;
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// One point of the path.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Point {
    /// Along the route.
    pub distance_nm: f64,
    /// WGS 84, north positive.
    pub latitude_deg: f64,
    /// WGS 84, east positive.
    pub longitude_deg: f64,
    /// Since lift-off.
    pub time_min: f64,
    /// The same by the clock, to the second.
    pub time_utc: String,
    /// Pressure altitude.
    pub pressure_altitude_ft: f64,
    /// What the altimeter shows.
    pub indicated_altitude_ft: f64,
    /// Above mean sea level.
    pub true_altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// True airspeed.
    pub tas_kt: f64,
    /// Ground speed.
    pub gs_kt: f64,
    /// Rate of climb.
    pub vs_fpm: f64,
    /// Manifold pressure.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Mixture by its name in the profile.
    pub mixture: String,
    /// Brake power over rated power.
    pub power_percent: f64,
    /// Fuel flow.
    pub fuel_flow_gph: f64,
    /// Left in the tanks.
    pub fuel_left_gal: f64,
    /// Wind along the course, a tail wind positive.
    pub wind_along_kt: f64,
    /// Weight.
    pub weight_lb: f64,
    /// Index into the segments.
    pub segment: usize,
}

/// One segment.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SegmentFigures {
    /// What is done.
    pub kind: &'static str,
    /// Where it begins.
    pub start: Point,
    /// Where it ends.
    pub end: Point,
    /// How long it lasts.
    pub time_min: f64,
    /// How far it goes.
    pub distance_nm: f64,
    /// What it burns.
    pub fuel_gal: f64,
    /// Greatest manifold pressure in it.
    pub map_peak_inhg: f64,
    /// Turns flown in it; none on the route.
    pub turns: Option<f64>,
}

/// Word of a segment kind, as the JSON has it.
fn kind_key(kind: SegmentKind) -> &'static str {
    match kind {
        SegmentKind::InitialClimb => "initial_climb",
        SegmentKind::Accelerate => "accelerate",
        SegmentKind::Climb => "climb",
        SegmentKind::CirclingClimb => "circling_climb",
        SegmentKind::LevelOff => "level_off",
        SegmentKind::Cruise => "cruise",
        SegmentKind::LevelChange => "level_change",
        SegmentKind::Descent => "descent",
        SegmentKind::CirclingDescent => "circling_descent",
        SegmentKind::SlowDown => "slow_down",
        SegmentKind::Pattern => "pattern",
        SegmentKind::Circuit => "circuit",
    }
}

/// Name of a row of the mixture table; an index past its end is the last row, as the engine takes it.
pub(in crate::brief) fn mixture_name(problem: &Problem, row: usize) -> String {
    let rows = &problem.aircraft.engine.spec.mixtures;
    rows.get(row)
        .or(rows.last())
        .map_or_else(String::new, |m| m.name.clone())
}

fn point(
    problem: &Problem,
    calendar: &Calendar,
    fuel: Fuel,
    t: &TrackPoint,
    segment: usize,
) -> Point {
    let place = problem.position(t.state.distance_m);
    let procedures = &problem.aircraft.procedures;
    let left =
        problem.fuel_kg - procedures.taxi_fuel_kg - procedures.take_off_fuel_kg - t.state.fuel_kg;
    Point {
        distance_nm: nm(t.state.distance_m),
        latitude_deg: degrees(place.lat_deg()),
        longitude_deg: degrees(place.lon_deg()),
        time_min: min(t.state.time_s),
        time_utc: calendar.utc(t.state.time_s),
        pressure_altitude_ft: ft(t.state.pressure_altitude_m),
        indicated_altitude_ft: ft(t.indicated_m),
        true_altitude_ft: ft(t.true_altitude_m),
        ias_kt: kt(t.ias_m_s),
        tas_kt: kt(t.state.tas_m_s),
        gs_kt: kt(t.ground_speed_m_s),
        vs_fpm: fpm(t.rate_m_s),
        map_inhg: inhg(t.map_pa),
        rpm: rpm(t.rev_s),
        mixture: mixture_name(problem, t.mixture),
        power_percent: percent(t.power_fraction),
        fuel_flow_gph: fuel.gph(t.fuel_kg_s),
        fuel_left_gal: fuel.gal(left),
        wind_along_kt: kt(t.wind_along_m_s),
        weight_lb: lb(t.mass_kg),
        segment,
    }
}

/// Segments that have a path, and the path with its segments renumbered to them.
pub(super) fn segments_and_track(
    plan: &Plan,
    problem: &Problem,
    calendar: &Calendar,
    fuel: Fuel,
) -> (Vec<SegmentFigures>, Vec<Point>) {
    let flown = &plan.flown;
    let mut kept = Vec::new();
    let mut number_of = vec![0; flown.segments.len()];
    for (i, s) in flown.segments.iter().enumerate() {
        number_of[i] = kept.len();
        if flown.track.get(s.first).is_some_and(|t| t.segment == i) {
            kept.push(s);
        }
    }
    let track: Vec<Point> = flown
        .track
        .iter()
        .map(|t| {
            point(
                problem,
                calendar,
                fuel,
                t,
                number_of.get(t.segment).copied().unwrap_or(0),
            )
        })
        .collect();
    let mut segments = Vec::new();
    for (i, s) in kept.iter().enumerate() {
        let (Some(start), Some(last)) = (track.get(s.first), track.get(s.last)) else {
            continue;
        };
        // A segment ends where the next begins; its own last point may lie a step before.
        let mut end = last.clone();
        let next = kept.get(i + 1).map(|n| n.first);
        let upto = next.filter(|&n| n < track.len()).unwrap_or(s.last);
        if let Some(next) = kept.get(i + 1).and_then(|n| track.get(n.first)) {
            end.distance_nm = next.distance_nm;
            (end.latitude_deg, end.longitude_deg) = (next.latitude_deg, next.longitude_deg);
            end.time_min = next.time_min;
            end.time_utc.clone_from(&next.time_utc);
            end.pressure_altitude_ft = next.pressure_altitude_ft;
            end.indicated_altitude_ft = next.indicated_altitude_ft;
            end.true_altitude_ft = next.true_altitude_ft;
            end.fuel_left_gal = next.fuel_left_gal;
            end.weight_lb = next.weight_lb;
        }
        segments.push(SegmentFigures {
            kind: kind_key(s.kind),
            time_min: plain(end.time_min - start.time_min),
            distance_nm: plain(end.distance_nm - start.distance_nm),
            fuel_gal: plain(start.fuel_left_gal - end.fuel_left_gal),
            map_peak_inhg: track[s.first..=s.last]
                .iter()
                .map(|t| t.map_inhg)
                .fold(0.0, f64::max),
            turns: turns_of(&flown.track[s.first..=upto]),
            start: start.clone(),
            end,
        });
    }
    (segments, track)
}
