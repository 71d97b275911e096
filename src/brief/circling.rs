//! Circling over the fields in cockpit figures and words.

use super::measure::Units;
use super::units::{Fuel, ft, kt, min, nm, plain};
use super::words::{feet, knots, near, number, up};
use crate::flight::{Circled, Flown, TrackPoint, turns};
use schemars::JsonSchema;
use serde::Serialize;

/// A stretch flown in turns over a field.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CirclingFigures {
    /// Indicated altitude where it begins.
    pub from_ft: f64,
    /// Indicated altitude where it ends.
    pub to_ft: f64,
    /// Indicated airspeed where it begins.
    pub ias_kt: f64,
    /// Turns, with their part of one.
    pub turns: f64,
    /// Bank.
    pub bank_deg: f64,
    /// How long it lasts; over the destination down to pattern speed.
    pub time_min: f64,
    /// What it burns.
    pub fuel_gal: f64,
    /// Where along the route.
    pub distance_nm: f64,
    /// In words.
    pub sentence: String,
}

/// "about 4 turns", "less than a turn".
pub(super) fn turns_words(turns: f64) -> String {
    match near(turns, 0) {
        _ if turns < 0.75 => "less than a turn".to_owned(),
        n if n < 1.5 => "about a turn".to_owned(),
        n => format!("about {} turns", number(n, 0)),
    }
}

/// The figures of what a flight circles, up or down.
pub(super) fn circling(c: &Circled, climbs: bool, fuel: Fuel, units: Units) -> CirclingFigures {
    let (from_ft, to_ft) = (ft(c.begin.indicated_m), ft(c.end.indicated_m));
    let time_min = min(c.end.state.time_s - c.begin.state.time_s);
    let fuel_gal = fuel.gal(c.end.state.fuel_kg - c.begin.state.fuel_kg);
    let way = if climbs {
        format!("climb circling over the field to {} ft", feet(to_ft))
    } else {
        format!("let down circling over the field from {} ft", feet(from_ft))
    };
    CirclingFigures {
        from_ft,
        to_ft,
        ias_kt: kt(c.begin.ias_m_s),
        turns: plain(c.turns),
        bank_deg: plain(c.begin.bank_rad.to_degrees()),
        time_min,
        fuel_gal,
        distance_nm: nm(c.begin.state.distance_m),
        sentence: format!(
            "{way}, {}, {} min, {}",
            turns_words(c.turns),
            number(up(time_min, 0), 0),
            units.burned(fuel_gal)
        ),
    }
}

impl CirclingFigures {
    /// Rows of the chart.
    pub(super) fn rows(&self, climbs: bool) -> [String; 3] {
        let (way, height) = if climbs {
            ("circling climb", format!("to {} ft", feet(self.to_ft)))
        } else {
            ("circling down", format!("from {} ft", feet(self.from_ft)))
        };
        [
            format!("{way} {} KIAS", knots(self.ias_kt)),
            height,
            format!(
                "{}, {} min",
                turns_words(self.turns),
                number(up(self.time_min, 0), 0)
            ),
        ]
    }
}

/// Both of a flight: up over the departure, and down over the destination.
pub(super) fn of_flight(flown: &Flown, fuel: Fuel, units: Units) -> [Option<CirclingFigures>; 2] {
    [
        flown
            .circling_climb()
            .map(|c| circling(&c, true, fuel, units)),
        flown
            .circling_descent()
            .map(|c| circling(&c, false, fuel, units)),
    ]
}

/// Turns of a segment; none on the route.
pub(super) fn turns_of(path: &[TrackPoint]) -> Option<f64> {
    let turns = plain(turns(path));
    (turns > 0.0).then_some(turns)
}

/// "circling to 6,500 ft" and "circling from 8,000 ft": what a plan in a line adds.
pub(super) fn in_short(flown: &Flown) -> [Option<String>; 2] {
    [
        flown
            .circling_climb()
            .map(|c| format!("circling to {} ft", feet(ft(c.end.indicated_m)))),
        flown
            .circling_descent()
            .map(|c| format!("circling from {} ft", feet(ft(c.begin.indicated_m)))),
    ]
}
