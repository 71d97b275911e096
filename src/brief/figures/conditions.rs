//! What the plan was made in: wind and temperature by height and stretch, the height of 0 °C, and weight along the route.

use super::path::Point;
use crate::brief::freezing::{FreezingPoint, freezing};
use crate::brief::stretches::stretches;
use crate::brief::units::{celsius, ft, kt, nm};
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::solve::Plan;
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// Step in height of the table of conditions, m.
const CONDITION_STEP_M: f64 = 1_000.0 * M_PER_FT;
/// Spacing of the weight schedule, m.
const WEIGHT_STEP_M: f64 = 25.0 * M_PER_NM;

/// Wind and temperature at one height.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WindLevel {
    /// Pressure altitude.
    pub pressure_altitude_ft: f64,
    /// What the altimeter shows there.
    pub indicated_altitude_ft: f64,
    /// Along the course, a tail wind positive.
    pub wind_along_kt: f64,
    /// Across the course, from the left positive.
    pub wind_cross_kt: f64,
    /// Temperature.
    pub temperature_c: f64,
}

/// Conditions over one stretch, taken in its middle.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct StretchWind {
    /// From.
    pub from_nm: f64,
    /// To.
    pub to_nm: f64,
    /// By height.
    pub levels: Vec<WindLevel>,
}

/// Weight at one distance.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WeightPoint {
    /// Along the route.
    pub distance_nm: f64,
    /// Weight.
    pub weight_lb: f64,
}

/// What the plan was made in.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Conditions {
    /// Wind and temperature per 1,000 ft and stretch.
    pub winds: Vec<StretchWind>,
    /// Where the air is at 0 °C, along the route.
    pub freezing: Vec<FreezingPoint>,
    /// Weight along the route.
    pub weights: Vec<WeightPoint>,
}

pub(super) fn conditions(plan: &Plan, problem: &Problem, track: &[Point]) -> Conditions {
    let top_m = plan
        .flown
        .script
        .cruise
        .iter()
        .map(|c| c.level_m)
        .fold(0.0, f64::max)
        + 2.0 * CONDITION_STEP_M;
    let mut winds = Vec::new();
    for (_, from_m, length_m) in stretches(problem) {
        let middle_m = from_m + 0.5 * length_m;
        // From the sea up where the ground is not known.
        let ground_m = problem.ground_m(middle_m).unwrap_or(0.0);
        let ground_hp_m = problem.pressure_altitude_m(middle_m, ground_m);
        let mut hp_m = (ground_hp_m / CONDITION_STEP_M).floor() * CONDITION_STEP_M;
        let mut levels = Vec::new();
        while hp_m <= top_m {
            let air = problem.air.at(middle_m, hp_m, problem.time_s(middle_m));
            levels.push(WindLevel {
                pressure_altitude_ft: ft(hp_m),
                indicated_altitude_ft: ft(problem.indicated_m(middle_m, hp_m)),
                wind_along_kt: kt(air.along_m_s),
                wind_cross_kt: kt(air.cross_m_s),
                temperature_c: celsius(air.temperature_k),
            });
            hp_m += CONDITION_STEP_M;
        }
        winds.push(StretchWind {
            from_nm: nm(from_m),
            to_nm: nm(from_m + length_m),
            levels,
        });
    }
    let mut weights: Vec<WeightPoint> = Vec::new();
    for p in track {
        let due = weights
            .last()
            .is_none_or(|w| p.distance_nm >= w.distance_nm + nm(WEIGHT_STEP_M) - 1e-3);
        if due {
            weights.push(WeightPoint {
                distance_nm: p.distance_nm,
                weight_lb: p.weight_lb,
            });
        }
    }
    if let (Some(end), Some(last)) = (track.last(), weights.last())
        && end.weight_lb < last.weight_lb
    {
        weights.push(WeightPoint {
            distance_nm: end.distance_nm,
            weight_lb: end.weight_lb,
        });
    }
    Conditions {
        winds,
        freezing: freezing(problem, top_m),
        weights,
    }
}
