//! A descent asked for without a trip: an aircraft in cruise some way before a field, in a steady wind.

use super::{
    Arrival, Field, HourBasis, Leg, LegLevels, Limits, Objective, Prices, Problem, Roughness,
    RouteAir, Rules, Start,
};
use crate::aircraft::Aircraft;
use crate::earth::geodesic;
use crate::quantity::M_PER_FT;
use jiff::Timestamp;

/// The air is known this far above the cruise, m.
const ABOVE_M: f64 = 3_000.0 * M_PER_FT;
/// The circuit after the field is reached, s: the default of a trip.
const CIRCUIT_S: f64 = 180.0;

/// What is asked. Standard altimeter setting; the ground is flat and as high as the field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DescentAsk {
    /// Cruise, indicated, m.
    pub cruise_m: f64,
    /// From where the flight begins to the field, m.
    pub distance_m: f64,
    /// Wind along the course at every height, a tail wind positive, m/s.
    pub along_m_s: f64,
    /// How much warmer than standard it is, K.
    pub isa_deviation_k: f64,
    /// How rough the air is at every height.
    pub air: Roughness,
    /// Elevation of the field, m.
    pub field_m: f64,
    /// Pattern altitude, indicated, m.
    pub pattern_m: f64,
    /// Pattern altitude and speed are met this far before the field, m.
    pub before_m: f64,
    /// Mass where the flight begins, kg.
    pub mass_kg: f64,
    /// Greatest rate of descent, m/s.
    pub max_descent_m_s: f64,
    /// Least manifold pressure in the descent, Pa; the profile's if none is given.
    pub least_map_pa: Option<f64>,
    /// Price of an hour in the air, by the second.
    pub per_s: f64,
    /// Price of fuel, by kg.
    pub fuel_per_kg: f64,
}

impl DescentAsk {
    /// The question made definite: in flight at the cruise altitude, at an indicated airspeed \[m/s\], with no limits but those of a
    /// descent: fuel, landing mass and rules of levels are not asked for.
    pub fn problem(&self, mut aircraft: Aircraft, ias_m_s: f64) -> Problem {
        aircraft.masses.max_landing_kg = aircraft.masses.max_landing_kg.max(self.mass_kg);
        let field = |ident: &str| Field {
            ident: ident.to_owned(),
            elevation_m: self.field_m,
            datum_m: 0.0,
        };
        let top_m = self.cruise_m + ABOVE_M;
        let leg = Leg {
            from: "cruise".to_owned(),
            to: "field".to_owned(),
            line: geodesic::Leg::nowhere(self.distance_m),
            from_m: 0.0,
            to_m: self.distance_m,
            true_rad: 0.0,
            magnetic_rad: 0.0,
            magnetic_ends_rad: [0.0; 2],
            variation_rad: 0.0,
            ground: vec![(0.0, self.distance_m, self.field_m)],
            under_track: vec![],
            minimum_m: self.field_m,
            maximum_m: None,
            mountainous: false,
            ground_source: "flat, as high as the field".to_owned(),
        };
        // Full tanks, so that no reserve is in the way; what the flight weighs is what was asked.
        let fuel_kg = aircraft.fuel.usable_kg;
        let least_map_pa = self
            .least_map_pa
            .unwrap_or(aircraft.procedures.least_descent_map_pa);
        let map_reduction_pa_s = aircraft.procedures.map_reduction_pa_s;
        let problem = Problem {
            title: "descent".to_owned(),
            departure_time: Timestamp::UNIX_EPOCH,
            start: Start::Ground,
            valid_until: None,
            sources: vec![],
            length_m: self.distance_m,
            air: RouteAir::uniform(
                self.distance_m,
                self.along_m_s,
                0.0,
                self.isa_deviation_k,
                top_m,
            ),
            departure: field("cruise"),
            destination: field("field"),
            zero_fuel_kg: self.mass_kg - fuel_kg,
            fuel_kg,
            alternate_kg: 0.0,
            alternate_ground_m: None,
            objective: Objective::Money,
            prices: Prices {
                per_s: self.per_s,
                basis: HourBasis::Airborne,
                fuel_per_kg: self.fuel_per_kg,
            },
            limits: Limits {
                max_altitude_m: top_m,
                clearance_m: 0.0,
                mountain_clearance_m: 0.0,
                air: vec![(f64::INFINITY, self.air)],
                smooth_near_ground: false,
                max_descent_m_s: self.max_descent_m_s,
                least_map_pa,
                map_reduction_pa_s,
                oxygen: true,
                no_oxygen_m: f64::INFINITY,
                reserve_s: 0.0,
                reserve_kg: 0.0,
                sector_from_rad: 0.0,
            },
            rules: Rules::None,
            night: false,
            arrival: Arrival {
                pattern_altitude_m: self.pattern_m,
                before_m: self.before_m,
                circuit_s: CIRCUIT_S,
            },
            levels: vec![],
            forbidden: vec![],
            forbidden_to_turns: vec![],
            clouds: vec![],
            circling: super::Circling::default(),
            bounds: super::Bounds::default(),
            charge: super::CostRates::default(),
            clock: vec![],
            notes: vec![],
            legs: vec![leg],
            aircraft,
        };
        let mut problem = problem.in_flight(self.cruise_m, ias_m_s);
        problem.levels = vec![LegLevels {
            levels_m: vec![self.cruise_m],
        }];
        problem
    }
}
