//! The places of the flight in order: course, heading, time, height and fuel to each.

use super::units::{Fuel, course_deg, ft, kt, min, nm};
use crate::flight::{SegmentKind, TrackPoint};
use crate::solve::Plan;
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// Places nearer than this are one, m.
const ONE_PLACE_M: f64 = 1.0;

/// A place of the flight and the way to it from the one before.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WaypointFigures {
    /// Its name; TOC and TOD for top of climb and top of descent.
    pub place: String,
    /// departure, top_of_climb, place, top_of_descent, pattern or destination.
    pub kind: &'static str,
    /// Along the route.
    pub distance_nm: f64,
    /// The same, to go.
    pub to_go_nm: f64,
    /// From the place before; zero at the first.
    pub leg_distance_nm: f64,
    /// Magnetic course of the leg of the route on the way to it; none at the first.
    pub magnetic_course_deg: Option<f64>,
    /// Magnetic heading with the wind half-way there at the planned height; none at the first.
    pub magnetic_heading_deg: Option<f64>,
    /// Heading less course, to the right positive; none at the first.
    pub wind_correction_deg: Option<f64>,
    /// Ground speed, on the mean of the way; none at the first.
    pub gs_kt: Option<f64>,
    /// From the place before.
    pub leg_time_min: f64,
    /// Since lift-off.
    pub time_min: f64,
    /// To landing, the circuit counted.
    pub time_to_go_min: f64,
    /// Indicated altitude there.
    pub indicated_altitude_ft: f64,
    /// Left there as planned.
    pub fuel_left_gal: f64,
    /// Least to go on with from there: to the destination, circuit, the reserve, and on to the alternate where there is one.
    pub least_fuel_gal: f64,
}

/// The path at a distance: time \[s\], fuel burned since lift-off \[kg\], indicated altitude \[m\].
fn at(track: &[TrackPoint], distance_m: f64) -> Option<(f64, f64, f64)> {
    let i = track.partition_point(|t| t.state.distance_m < distance_m - 1e-6);
    let b = track.get(i).or(track.last())?;
    let Some(a) = i.checked_sub(1).and_then(|i| track.get(i)) else {
        return Some((b.state.time_s, b.state.fuel_kg, b.indicated_m));
    };
    let way_m = b.state.distance_m - a.state.distance_m;
    let x = if way_m > 0.0 {
        ((distance_m - a.state.distance_m) / way_m).clamp(0.0, 1.0)
    } else {
        1.0
    };
    let mix = |a: f64, b: f64| a + x * (b - a);
    Some((
        mix(a.state.time_s, b.state.time_s),
        mix(a.state.fuel_kg, b.state.fuel_kg),
        mix(a.indicated_m, b.indicated_m),
    ))
}

/// The places of a plan.
pub(super) fn waypoints(plan: &Plan, problem: &Problem) -> Vec<WaypointFigures> {
    let flown = &plan.flown;
    let fuel = Fuel::new(problem.aircraft.fuel.density_kg_m3);
    let procedures = &problem.aircraft.procedures;
    let mut marks: Vec<(f64, &'static str, String)> = Vec::new();
    for (i, leg) in problem.legs.iter().enumerate() {
        let kind = if i == 0 { "departure" } else { "place" };
        marks.push((leg.from_m, kind, leg.from.clone()));
    }
    let climbs = flown.segments.iter().any(|s| {
        (s.kind.climbs() || s.kind == SegmentKind::InitialClimb) && s.first < flown.track.len()
    });
    if climbs {
        let toc_m = flown.top_of_climb.distance_m;
        marks.push((toc_m, "top_of_climb", "TOC".to_owned()));
    }
    let tod_m = flown.top_of_descent.distance_m;
    marks.push((tod_m, "top_of_descent", "TOD".to_owned()));
    // Over the field where the let-down circles there.
    if flown.script.descent.circle.is_none() {
        let pattern_m = problem.length_m - problem.arrival.before_m;
        marks.push((pattern_m, "pattern", "pattern point".to_owned()));
    }
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    if let Some(last) = problem.legs.last() {
        marks.push((problem.length_m, "destination", last.to.clone()));
    }
    let burned_kg = flown.fuel_kg - procedures.take_off_fuel_kg;
    let after_kg = plan.totals.reserve_required_kg + plan.totals.alternate_kg;
    let left_at_lift_off_kg =
        problem.fuel_kg - procedures.taxi_fuel_kg - procedures.take_off_fuel_kg;
    let mut out: Vec<WaypointFigures> = Vec::new();
    let mut before_m = 0.0;
    for (distance_m, kind, place) in marks {
        let Some((time_s, fuel_kg, indicated_m)) = at(&flown.track, distance_m) else {
            continue;
        };
        let way_m: f64 = distance_m - before_m;
        let before = out.last();
        let leg_time_s = before.map_or(0.0, |b| time_s - 60.0 * b.time_min);
        let heading = (before.is_some() && way_m > ONE_PLACE_M)
            .then(|| heading(problem, &flown.track, 0.5 * (before_m + distance_m)))
            .flatten();
        let row = WaypointFigures {
            place,
            kind,
            distance_nm: nm(distance_m),
            to_go_nm: nm(problem.length_m - distance_m),
            leg_distance_nm: nm(way_m),
            magnetic_course_deg: heading.map(|h| course_deg(h.0)),
            magnetic_heading_deg: heading.map(|h| course_deg(h.0 + h.1)),
            wind_correction_deg: heading.map(|h| super::units::plain(h.1.to_degrees())),
            gs_kt: (before.is_some() && leg_time_s > 0.0).then(|| kt(way_m / leg_time_s)),
            leg_time_min: min(leg_time_s),
            time_min: min(time_s),
            time_to_go_min: min(flown.time_s - time_s),
            indicated_altitude_ft: ft(indicated_m),
            fuel_left_gal: fuel.gal(left_at_lift_off_kg - fuel_kg),
            least_fuel_gal: fuel.gal(burned_kg - fuel_kg + after_kg),
        };
        before_m = distance_m;
        out.push(row);
    }
    out
}

/// Magnetic course at a distance, and the correction for the wind there at the height and speed of the path, rad.
fn heading(problem: &Problem, track: &[TrackPoint], distance_m: f64) -> Option<(f64, f64)> {
    let i = track.partition_point(|t| t.state.distance_m < distance_m);
    let t = track.get(i).or(track.last())?;
    let (time_s, _, indicated_m) = at(track, distance_m)?;
    let hp = problem.pressure_altitude_m(distance_m, indicated_m);
    let (_, sample) = problem.air_state(distance_m, hp, time_s);
    let leg = &problem.legs[problem.leg_index(distance_m)];
    let correction = -(sample.cross_m_s / t.state.tas_m_s).clamp(-1.0, 1.0).asin();
    Some((leg.magnetic_rad, correction))
}
