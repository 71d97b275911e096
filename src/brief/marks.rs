//! Places of the route and points where what is done changes, in cockpit figures, each with its place on the Earth and its time.

use super::units::{Fuel, celsius, degrees, ft, kt, min, nm};
use super::words::{feet, number, up};
use crate::flight::{Waymark, WaymarkKind, waymarks};
use crate::quantity::M_PER_FT;
use crate::solve::Plan;
use crate::trip::Problem;
use jiff::{SignedDuration, Timestamp};
use schemars::JsonSchema;
use serde::Serialize;

/// Times of a flight by the clock.
pub(super) struct Calendar {
    take_off: Timestamp,
}

impl Calendar {
    /// Of a flight that leaves as planned.
    pub(super) fn new(problem: &Problem) -> Self {
        let taxi = SignedDuration::try_from_secs_f64(problem.aircraft.procedures.taxi_time_s);
        let start = problem.departure_time;
        Self {
            take_off: start
                .saturating_add(taxi.unwrap_or_default())
                .unwrap_or(start),
        }
    }

    /// A time since lift-off \[s\], to the nearest second.
    pub(super) fn utc(&self, time_s: f64) -> String {
        let since_epoch_s = self.take_off.as_duration().as_secs_f64() + time_s;
        #[expect(clippy::cast_possible_truncation, reason = "seconds of a calendar")]
        let whole = Timestamp::from_second(since_epoch_s.round() as i64);
        whole.unwrap_or(self.take_off).to_string()
    }
}

/// One point of the flight that a pilot looks for.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct MarkFigures {
    /// departure, start (in flight), top_of_climb, via, level_change, top_of_descent, slow_down, pattern_point or destination.
    pub kind: &'static str,
    /// Identifier of a place; of other points the short words of the trade.
    pub name: String,
    /// What happens there.
    pub text: String,
    /// Along the route.
    pub distance_nm: f64,
    /// Left of the route.
    pub to_go_nm: f64,
    /// WGS 84, north positive.
    pub latitude_deg: f64,
    /// WGS 84, east positive.
    pub longitude_deg: f64,
    /// Since lift-off.
    pub time_min: f64,
    /// The same by the clock, to the second.
    pub time_utc: String,
    /// What the altimeter shows; at the destination on landing.
    pub indicated_altitude_ft: f64,
    /// Above mean sea level.
    pub true_altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// Outside air temperature at the height flown.
    pub temperature_c: f64,
    /// Left in the tanks.
    pub fuel_left_gal: f64,
}

/// Key and words of a mark; `changes` counts the changes of level up to it.
fn words(mark: &Waymark, plan: &Plan, to_go_nm: f64, changes: usize) -> (&'static str, String) {
    let level = |i: usize| {
        let cruise = plan.flown.script.cruise.get(i);
        cruise.map_or(String::new(), |c| feet(ft(c.level_m)))
    };
    match mark.kind {
        WaymarkKind::Departure => ("departure", "take-off".to_owned()),
        WaymarkKind::Start => ("start", "the flight is here".to_owned()),
        WaymarkKind::TopOfClimb => ("top_of_climb", format!("top of climb, {} ft", level(0))),
        WaymarkKind::Via => ("via", "on the way".to_owned()),
        WaymarkKind::LevelChange => (
            "level_change",
            format!("from {} to {} ft", level(changes - 1), level(changes)),
        ),
        WaymarkKind::TopOfDescent => (
            "top_of_descent",
            format!("top of descent, {} nm to go", number(up(to_go_nm, 0), 0)),
        ),
        WaymarkKind::SlowDown => ("slow_down", "slow down to pattern speed".to_owned()),
        WaymarkKind::PatternPoint => (
            "pattern_point",
            "pattern altitude and speed are met".to_owned(),
        ),
        WaymarkKind::Destination => ("destination", "landing".to_owned()),
    }
}

/// The marks of a plan, in the order of the flight.
pub(super) fn figures(
    plan: &Plan,
    problem: &Problem,
    calendar: &Calendar,
    fuel: Fuel,
) -> Vec<MarkFigures> {
    let mut changes = 0;
    let before_kg =
        problem.aircraft.procedures.taxi_fuel_kg + problem.aircraft.procedures.take_off_fuel_kg;
    waymarks(problem, &plan.flown)
        .iter()
        .map(|m| {
            let state = &m.at.state;
            changes += usize::from(m.kind == WaymarkKind::LevelChange);
            let to_go_nm = nm(problem.length_m - state.distance_m);
            let (kind, text) = words(m, plan, to_go_nm, changes);
            let place = problem.position(state.distance_m);
            let air = problem.air.at(
                state.distance_m,
                state.pressure_altitude_m,
                state.time_s,
            );
            // The circuit is flown level, but it ends on the ground.
            let (indicated_m, true_m) = match m.kind {
                WaymarkKind::Destination => {
                    let ground_m = problem.destination.elevation_m;
                    (ground_m, ground_m)
                }
                _ => (m.at.indicated_m, m.at.true_altitude_m),
            };
            MarkFigures {
                kind,
                name: m.name.clone(),
                text,
                distance_nm: nm(state.distance_m),
                to_go_nm,
                latitude_deg: degrees(place.lat_deg()),
                longitude_deg: degrees(place.lon_deg()),
                time_min: min(state.time_s),
                time_utc: calendar.utc(state.time_s),
                indicated_altitude_ft: ft(indicated_m),
                true_altitude_ft: ft(true_m),
                ias_kt: kt(m.at.ias_m_s),
                temperature_c: celsius(air.temperature_k),
                fuel_left_gal: fuel.gal(problem.fuel_kg - before_kg - state.fuel_kg),
            }
        })
        .collect()
}

/// Metres of a height in feet, to the tenth, as GPX and KML have heights.
pub(super) fn metres(feet: f64) -> String {
    format!("{:.1}", feet * M_PER_FT)
}
