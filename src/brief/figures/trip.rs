//! What was asked: the trip in a few words, what was to be least, and the bounds beside it.

use super::Said;
use crate::brief::measure::Units;
use crate::brief::units::{Fuel, ft, kt};
use crate::trip::{Problem, Start};
use schemars::JsonSchema;
use serde::Serialize;

/// The trip in a few words.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TripFigures {
    /// Title as the trip file gives it.
    pub name: String,
    /// Aircraft.
    pub aircraft: String,
    /// Start-up; in flight the time the flight is planned from.
    pub departure_utc: String,
    /// Lift-off, from which times in minutes count.
    pub take_off_utc: String,
    /// How many engines it has; MAP and RPM are those of each, fuel and totals those of the aeroplane.
    pub engines: u32,
    /// Fixed pitch: power is set by RPM, and MAP is only computed.
    pub fixed_pitch: bool,
    /// Departure, via points, destination.
    pub places: Vec<String>,
    /// Where the flight begins in the air: height and speed there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_in_flight: Option<StartFigures>,
    /// Fuel on board at start-up, or where the flight begins in the air.
    pub fuel_on_board_gal: f64,
    /// Mass at take-off, or where the flight begins in the air.
    pub take_off_weight_lb: f64,
    /// Mass at landing.
    pub landing_weight_lb: f64,
    /// From start-up to take-off.
    pub taxi_fuel_gal: f64,
    /// Burned in the take-off run, part of the total but of no segment.
    pub take_off_run_fuel_gal: f64,
}

/// How a flight begins in the air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct StartFigures {
    /// Indicated altitude.
    pub altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
}

impl StartFigures {
    /// Of a trip that begins in the air.
    pub(in crate::brief) fn of(problem: &Problem) -> Option<Self> {
        match problem.start {
            Start::Ground => None,
            Start::InFlight {
                indicated_m,
                ias_m_s,
            } => Some(Self {
                altitude_ft: ft(indicated_m),
                ias_kt: kt(ias_m_s),
            }),
        }
    }
}

/// What was least.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ObjectiveFigures {
    /// time, fuel or money.
    pub kind: &'static str,
    /// Its value over the flown part.
    pub value: f64,
    /// min, gal or money.
    pub unit: &'static str,
    /// Bounds on the other quantities.
    pub bounds: Vec<Said>,
    /// By how much rounding to what a pilot can set made it dearer.
    pub rounding_loss_percent: f64,
}

/// What was asked to be kept besides.
pub(super) fn bounds(problem: &Problem, fuel: Fuel, units: Units) -> Vec<Said> {
    let b = &problem.bounds;
    let begin = match problem.start {
        Start::Ground => "start-up",
        Start::InFlight { .. } => "now",
    };
    let said = |kind, text| Said { kind, text };
    [
        b.within_s.map(|s| {
            said(
                "arrive_within",
                format!(
                    "landing within {} of {begin}",
                    crate::brief::words::clock((s / 60.0 + 1e-6).floor())
                ),
            )
        }),
        b.most_fuel_kg.map(|kg| {
            said(
                "fuel_at_most",
                format!(
                    "at most {} from {begin} to shutdown",
                    units.left(fuel.gal(kg))
                ),
            )
        }),
        b.least_landing_kg.map(|kg| {
            said(
                "land_with",
                format!("at least {} left", units.burned(fuel.gal(kg))),
            )
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}
