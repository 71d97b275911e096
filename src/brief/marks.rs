//! Places of the route and points where what is done changes, in cockpit figures, each with its place on the Earth and its time.

use super::units::{Fuel, celsius, degrees, ft, kt, min, nm};
use super::words::{feet, number, tens, up};
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
    pub(super) fn at(&self, time_s: f64) -> Timestamp {
        let since_epoch_s = self.take_off.as_duration().as_secs_f64() + time_s;
        #[expect(clippy::cast_possible_truncation, reason = "seconds of a calendar")]
        let whole = Timestamp::from_second(since_epoch_s.round() as i64);
        whole.unwrap_or(self.take_off)
    }

    /// The same as text.
    pub(super) fn utc(&self, time_s: f64) -> String {
        self.at(time_s).to_string()
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
    /// What the altimeter shows; at the destination the elevation of the field.
    pub indicated_altitude_ft: f64,
    /// Above mean sea level.
    pub true_altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// Outside air temperature there.
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
        WaymarkKind::Via => (
            "via",
            format!("on the way, {} ft", tens(ft(mark.at.indicated_m))),
        ),
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
            // The circuit is flown level, but it ends on the ground.
            let (pressure_altitude_m, indicated_m, true_m) = match m.kind {
                WaymarkKind::Destination => {
                    let ground_m = problem.destination.elevation_m;
                    let field_m = problem.pressure_altitude_m(state.distance_m, ground_m);
                    (field_m, ground_m, ground_m)
                }
                _ => (
                    state.pressure_altitude_m,
                    m.at.indicated_m,
                    m.at.true_altitude_m,
                ),
            };
            let air = problem
                .air
                .at(state.distance_m, pressure_altitude_m, state.time_s);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::{Figures, sample};

    #[test]
    fn closed_form_a_change_of_level_is_marked_where_it_begins() {
        // What the scripts of the sample say: up at 130 nm, down at 150 nm.
        const NEAR_NM: f64 = 1e-3;
        let shapes = sample::shapes();
        for (plan, text, from_nm) in [
            (&shapes[0], "from 10,500 to 11,500 ft", 130.0),
            (&shapes[2], "from 10,500 to 8,500 ft", 150.0),
        ] {
            let figures = Figures::new(plan, sample::problem());
            let changes: Vec<&MarkFigures> = figures
                .marks
                .iter()
                .filter(|m| m.kind == "level_change")
                .collect();
            let [change] = changes[..] else {
                panic!("{changes:?}")
            };
            assert_eq!(
                (change.name.as_str(), change.text.as_str()),
                ("NEW LEVEL", text)
            );
            assert!((change.distance_nm - from_nm).abs() < NEAR_NM, "{change:?}");
        }
    }

    #[test]
    fn closed_form_marks_are_in_the_order_of_the_flight_on_its_path() {
        for plan in sample::shapes() {
            let figures = Figures::new(&plan, sample::problem());
            let marks = &figures.marks;
            assert_eq!(marks[0].kind, "departure");
            assert_eq!(marks[marks.len() - 1].kind, "destination");
            for pair in marks.windows(2) {
                assert!(pair[0].time_min <= pair[1].time_min, "{pair:?}");
                assert!(pair[0].fuel_left_gal >= pair[1].fuel_left_gal, "{pair:?}");
            }
            let down = marks.iter().find(|m| m.kind == "top_of_descent");
            let down = down.expect("a top of descent");
            assert_eq!(down.distance_nm, figures.top_of_descent_nm);
        }
    }
}
