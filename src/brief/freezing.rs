//! Where the air along a route is at 0 °C.

use super::units::{celsius, ft, nm};
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// Farthest between points, m.
const APART_M: f64 = 10.0 * M_PER_NM;
/// The air is known in steps of this, m of pressure altitude, and is straight between them.
const STEP_M: f64 = 500.0 * M_PER_FT;

/// Where the air over one point of the route is at 0 °C, by the forecasts given.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FreezingPoint {
    /// Along the route.
    pub distance_nm: f64,
    /// Altitudes (indicated) at which the temperature passes 0 °C, lowest first; several where a layer is warmer than the air below it.
    pub crossings_ft: Vec<f64>,
    /// Temperature at the ground, or as low as the lower of the fields where the ground is not known.
    pub ground_temperature_c: f64,
}

/// Heights at which temperature passes 0 °C, from heights and temperatures from the bottom up, straight between.
pub(super) fn crossings(levels: &[(f64, f64)]) -> impl Iterator<Item = f64> {
    levels
        .windows(2)
        .filter(|w| (w[0].1 > 0.0) != (w[1].1 > 0.0))
        .map(|w| w[0].0 + (w[1].0 - w[0].0) * w[0].1 / (w[0].1 - w[1].1))
}

/// The points of a route, from its ground up to a pressure altitude \[m\].
pub(super) fn freezing(problem: &Problem, top_m: f64) -> Vec<FreezingPoint> {
    let mut points = Vec::new();
    for leg in &problem.legs {
        let pieces = ((leg.to_m - leg.from_m) / APART_M).ceil().max(1.0);
        let length_m = (leg.to_m - leg.from_m) / pieces;
        // The first point of a leg is the last of the one before.
        let mut at_m = leg.from_m + if points.is_empty() { 0.0 } else { length_m };
        while at_m < leg.to_m + 0.5 * length_m {
            points.push(point(problem, at_m.min(problem.length_m), top_m));
            at_m += length_m;
        }
    }
    points
}

fn point(problem: &Problem, at_m: f64, top_m: f64) -> FreezingPoint {
    let field_m = problem
        .departure
        .elevation_m
        .min(problem.destination.elevation_m);
    let ground_m = problem.ground_m(at_m).unwrap_or(field_m);
    let ground_hp_m = problem.pressure_altitude_m(at_m, ground_m);
    let level = |hp_m: f64| {
        let air = problem.air.at(at_m, hp_m, problem.time_s(at_m));
        (problem.indicated_m(at_m, hp_m), celsius(air.temperature_k))
    };
    // The ground, and whole steps over it.
    let mut levels = vec![level(ground_hp_m)];
    let mut steps = (ground_hp_m / STEP_M).floor() + 1.0;
    while steps * STEP_M <= top_m {
        levels.push(level(steps * STEP_M));
        steps += 1.0;
    }
    FreezingPoint {
        distance_nm: nm(at_m),
        crossings_ft: crossings(&levels).map(ft).collect(),
        ground_temperature_c: levels.first().map_or(0.0, |l| l.1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::sample;
    use crate::quantity::{M_S_PER_KT, ZERO_C_K};
    use crate::trip::RouteAir;

    #[test]
    fn closed_form_crossings_of_straight_lines() {
        // From 6 to -2 over 4,000 ft: 0 after three quarters. An inversion: down, up and down again.
        let found = |levels: &[(f64, f64)]| crossings(levels).collect::<Vec<_>>();
        assert_eq!(found(&[(2_000.0, 6.0), (6_000.0, -2.0)]), [5_000.0]);
        assert_eq!(
            found(&[(0.0, 1.0), (1_000.0, -1.0), (2_000.0, 3.0), (3_000.0, -3.0)]),
            [500.0, 1_250.0, 2_500.0]
        );
        assert!(found(&[(0.0, -1.0), (5_000.0, -9.0)]).is_empty());
        // On 0 °C and colder above: there it begins.
        assert_eq!(found(&[(0.0, 2.0), (500.0, 0.0), (1_000.0, -2.0)]), [500.0]);
    }

    #[test]
    fn closed_form_standard_air_freezes_where_its_lapse_says() {
        // ISA + 9: 24 °C at sea level less 6.5 °C per km (US Standard Atmosphere 1976): 0 °C at 3,692.3 m of pressure altitude.
        let mut problem = sample::problem().clone();
        problem.air = RouteAir::uniform(
            problem.length_m,
            -12.0 * M_S_PER_KT,
            0.0,
            9.0,
            16_000.0 * M_PER_FT,
        );
        let points = freezing(&problem, 14_000.0 * M_PER_FT);
        assert!(points.len() >= 30, "{}", points.len());
        let t0 = 288.15 + 9.0 - ZERO_C_K;
        for p in &points {
            let at_m = p.distance_nm * M_PER_NM;
            let expected_ft = problem.indicated_m(at_m, t0 / 6.5e-3) / M_PER_FT;
            assert_eq!(p.crossings_ft.len(), 1);
            // Temperature is straight in geopotential height, and the table steps by 500 ft.
            assert!(
                (p.crossings_ft[0] - expected_ft).abs() < 5.0,
                "{} {expected_ft}",
                p.crossings_ft[0]
            );
        }
        let ends = (points[0].distance_nm, points[points.len() - 1].distance_nm);
        assert!(ends.0 == 0.0 && (ends.1 - 292.0).abs() < 1e-6);
        for pair in points.windows(2) {
            let step = pair[1].distance_nm - pair[0].distance_nm;
            assert!((1.0..10.001).contains(&step), "{step}");
        }
    }
}
