//! Plan against re-flight.

use super::{Phase, Reflown, Sample};
use crate::flight::{Flown, TrackPoint};
use crate::quantity::{M_PER_FT, M_S_PER_KT, M3_PER_GAL};
use crate::trip::Problem;

/// Greatest difference in time from lift-off to landing, s.
const TIME_BOUND_S: f64 = 2.0;
/// Greatest difference in fuel, US gal.
const FUEL_BOUND_GAL: f64 = 0.05;
/// Greatest difference in height at the pattern point, and greatest depth in what is barred, m: half of what an altimeter is read to.
const HEIGHT_BOUND_M: f64 = 50.0 * M_PER_FT;
/// Greatest difference in speed at the pattern point, m/s.
const SPEED_BOUND_M_S: f64 = 2.0 * M_S_PER_KT;

/// By how much the re-flight misses the plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mismatch {
    /// Re-flown less planned time, lift-off to landing, s.
    pub time_s: f64,
    /// Re-flown less planned fuel, kg.
    pub fuel_kg: f64,
    /// Indicated height above the pattern altitude at the pattern point, m. Of a flight that lets down circling: above the height where the
    /// plan begins to, over that place.
    pub height_m: f64,
    /// Indicated speed above pattern speed at the pattern point, m/s. Of a flight that lets down circling: above that of the plan where
    /// it begins to.
    pub speed_m_s: f64,
    /// How deep the re-flown path is in what is barred to it, forbidden patches and heights above those of the leg, m; zero where in
    /// none.
    pub barred_m: f64,
}

impl Mismatch {
    /// Re-flown less planned; height and speed at the pattern point less those asked for. A plan that lets down circling must be one with
    /// its path recorded.
    pub fn between(problem: &Problem, planned: &Flown, reflown: &Reflown) -> Self {
        let at = &reflown.pattern_point;
        let begins = planned
            .track
            .iter()
            .find(|t| t.bank_rad > 0.0 && t.state.time_s >= planned.top_of_descent.time_s);
        let (height_m, speed_m_s) = match (planned.script.descent.circle, begins) {
            (None, _) => (
                at.indicated_m - problem.arrival.pattern_altitude_m,
                at.ias_m_s - problem.aircraft.procedures.pattern_m_s,
            ),
            (Some(_), Some(begins)) => (over_place_m(reflown, begins), at.ias_m_s - begins.ias_m_s),
            (Some(_), None) => (f64::NAN, f64::NAN),
        };
        Self {
            time_s: reflown.time_s - planned.time_s,
            fuel_kg: reflown.fuel_kg - planned.fuel_kg,
            height_m,
            speed_m_s,
            barred_m: reflown
                .samples
                .windows(2)
                .map(|pair| [pair[0], pair[1]].map(|x| (x.distance_m, x.indicated_m)))
                .map(|[a, b]| problem.barred_depth_m(a, b))
                .fold(0.0, f64::max),
        }
    }

    /// Whether the plan holds: time within 2 s, fuel within 0.05 US gal of a fuel of this density [kg/m³], the pattern point within
    /// 50 ft and 2 kt, and nowhere more than 50 ft deep in what is barred. Not a number never holds.
    pub fn within_bounds(&self, density_kg_m3: f64) -> bool {
        self.time_s.abs() <= TIME_BOUND_S
            && self.fuel_kg.abs() <= FUEL_BOUND_GAL * M3_PER_GAL * density_kg_m3
            && self.height_m.abs() <= HEIGHT_BOUND_M
            && self.speed_m_s.abs() <= SPEED_BOUND_M_S
            && self.barred_m <= HEIGHT_BOUND_M
    }
}

/// How much higher the re-flown path is, m, over where the plan begins to circle: it circles at the same height, and comes to it that
/// much earlier or later along the slope that it comes down on.
fn over_place_m(reflown: &Reflown, planned: &TrackPoint) -> f64 {
    let at = &reflown.pattern_point;
    let later_m = at.distance_m - planned.state.distance_m;
    // The slope of the last straight stretch of the descent; circling from a level there is none.
    let straight = |x: &&Sample| x.phase == Phase::Descent && x.ground_speed_m_s > 0.0;
    let before = reflown.samples.iter().rev().find(straight);
    let slope = before.map_or(0.0, |x| -x.rate_m_s / x.ground_speed_m_s);
    at.indicated_m - planned.indicated_m + slope * later_m
}
