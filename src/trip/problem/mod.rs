//! The trip made definite: distances, courses, air along the route, legal levels, all in SI and ready to fly.

mod cost;
mod error;
mod floor;
mod resolve;
mod sample;

pub use cost::CostRates;
pub use error::ProblemError;
pub use floor::{LevelGround, TERMINAL_M};
pub use resolve::resolve;

use super::airspace::{self, Cloud};
use super::{
    Arrival, Bounds, Circling, LegLevels, Limits, MOUNTAIN_CLIMB_M_S, Objective, PLAIN_CLIMB_M_S,
    Patch, PatchKind, Prices, RouteAir, Rules, Source, Start, legal_levels,
};
use crate::air::isa;
use crate::aircraft::{AirState, Aircraft, Procedures, interpolate};
use crate::earth::geodesic;

/// One leg of the route.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// Place at its start.
    pub from: String,
    /// Place at its end.
    pub to: String,
    /// The shortest line between them.
    pub line: geodesic::Leg,
    /// Distance along the route at its start, m.
    pub from_m: f64,
    /// Distance along the route at its end, m.
    pub to_m: f64,
    /// True course at mid-leg, rad.
    pub true_rad: f64,
    /// Magnetic course at mid-leg, rad.
    pub magnetic_rad: f64,
    /// The same at its start and end, rad.
    pub magnetic_ends_rad: [f64; 2],
    /// Magnetic variation at mid-leg, rad, east positive.
    pub variation_rad: f64,
    /// Ground: (from, to, height), m along the route and m; empty where it is not known.
    pub ground: Vec<(f64, f64, f64)>,
    /// Ground right under the track, in the same form; empty where it is not known.
    pub under_track: Vec<(f64, f64, f64)>,
    /// Least cruise altitude, indicated, m.
    pub minimum_m: f64,
    /// Greatest altitude, indicated, m, if there is one besides that of the trip: kept in climb and descent as in cruise.
    pub maximum_m: Option<f64>,
    /// Mountainous.
    pub mountainous: bool,
    /// Where ground and minimum come from.
    pub ground_source: String,
}

impl Leg {
    /// Least rate of climb on reaching a level here, m/s.
    pub fn least_climb_m_s(&self) -> f64 {
        if self.mountainous {
            MOUNTAIN_CLIMB_M_S
        } else {
            PLAIN_CLIMB_M_S
        }
    }
}

/// A field at one end of the route.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Identifier.
    pub ident: String,
    /// Elevation, m.
    pub elevation_m: f64,
    /// Pressure altitude of the altimeter setting, m: what the altimeter shows is pressure altitude less this.
    pub datum_m: f64,
}

/// The trip made definite.
#[derive(Debug, Clone)]
pub struct Problem {
    /// The aircraft.
    pub aircraft: Aircraft,
    /// Title of the trip.
    pub title: String,
    /// Start-up, UTC.
    pub departure_time: jiff::Timestamp,
    /// How the flight begins. In flight nothing is spent on taxi and take-off: see [`Problem::in_flight`].
    pub start: Start,
    /// The forecast is for use up to this time, if that is known.
    pub valid_until: Option<jiff::Timestamp>,
    /// Where the weather is from.
    pub sources: Vec<Source>,
    /// Legs, first to last.
    pub legs: Vec<Leg>,
    /// Length of the route, m.
    pub length_m: f64,
    /// Air along it.
    pub air: RouteAir,
    /// Departure.
    pub departure: Field,
    /// Destination.
    pub destination: Field,
    /// Mass without fuel, kg.
    pub zero_fuel_kg: f64,
    /// Fuel at start-up, kg.
    pub fuel_kg: f64,
    /// Fuel kept besides the reserve to go on to the alternate, kg; zero without one. Zero here: the solver finds it.
    pub alternate_kg: f64,
    /// Highest ground on the way to the alternate, m; none where it is not known, or without an alternate.
    pub alternate_ground_m: Option<f64>,
    /// What is to be least.
    pub objective: Objective,
    /// Prices.
    pub prices: Prices,
    /// Limits.
    pub limits: Limits,
    /// Rules.
    pub rules: Rules,
    /// Night: for the legal reserve.
    pub night: bool,
    /// Arrival.
    pub arrival: Arrival,
    /// Legal levels, one entry a leg.
    pub levels: Vec<LegLevels>,
    /// Patches that no part of the flight may pass through.
    pub forbidden: Vec<Patch>,
    /// The same with room for turns all round: where no turn may pass through.
    pub forbidden_to_turns: Vec<Patch>,
    /// Layers of cloud, by which some of those patches were made.
    pub clouds: Vec<Cloud>,
    /// Bounds.
    pub bounds: Bounds,
    /// Added to the cost rates while a bound is searched for; zero in a problem as asked.
    pub charge: CostRates,
    /// When the flight is expected where, for those who look at a place and do not fly there ([`Problem::time_s`]): distance \[m\] and
    /// time since lift-off \[s\], both rising. A first guess here; the solver goes on from that. Empty in air that does not change.
    pub clock: Vec<(f64, f64)>,
    /// Turns over the fields; none in a problem as asked, the solver finds what is needed.
    pub circling: Circling,
    /// Said to the pilot.
    pub notes: Vec<Note>,
}

/// What the pilot is told about how the question was made definite.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// The magnetic model is asked outside its years and the nearest valid date was used.
    MagneticDate,
    /// Wind or temperature was filled in below the lowest forecast level, over this height at most, m.
    BelowForecast(f64),
    /// The magnetic course of a leg is so near the split of the sectors, or crosses it, that the levels of both were taken.
    NearSplit {
        /// From.
        from: String,
        /// To.
        to: String,
        /// Magnetic course at start, middle and end, rad.
        magnetic_rad: [f64; 3],
    },
    /// Tiles of ground near a leg that are not there; their ground was taken for the sea.
    GroundMissing {
        /// The leg.
        leg: String,
        /// The tiles, in words.
        tiles: String,
    },
    /// Posts near a leg that have no height; the highest of the stretches beside was taken.
    GroundVoid {
        /// The leg.
        leg: String,
        /// How many.
        posts: usize,
    },
    /// The ground of these legs (from, to) is not known: nothing holds the flight off it but the least cruise altitude.
    NoTerrain(Vec<(String, String)>),
}

impl Problem {
    /// Altimeter scale shift [m] at a distance [m]: indicated altitude is pressure altitude less this.
    ///
    /// The altimeter setting runs linearly along the route from that of the departure to that of the destination.
    fn altimeter_shift_m(&self, distance_m: f64) -> f64 {
        let x = (distance_m / self.length_m).clamp(0.0, 1.0);
        let (a, b) = (self.departure.datum_m, self.destination.datum_m);
        a + x * (b - a)
    }

    /// Pressure altitude \[m\] where the altimeter shows this \[m\], at a distance \[m\].
    pub fn pressure_altitude_m(&self, distance_m: f64, indicated_m: f64) -> f64 {
        indicated_m + self.altimeter_shift_m(distance_m)
    }

    /// What the altimeter shows \[m\] at a pressure altitude \[m\] and distance \[m\].
    pub fn indicated_m(&self, distance_m: f64, pressure_altitude_m: f64) -> f64 {
        pressure_altitude_m - self.altimeter_shift_m(distance_m)
    }

    /// Change of pressure altitude with distance while the altimeter shows the same.
    pub fn level_slope(&self) -> f64 {
        (self.destination.datum_m - self.departure.datum_m) / self.length_m
    }

    /// Reserve \[kg\] at this cruise fuel flow [kg/s]: what the trip asks for, and under any rules at least theirs.
    pub fn reserve_kg(&self, cruise_fuel_kg_s: f64) -> f64 {
        let asked = self.limits.reserve_s * cruise_fuel_kg_s + self.limits.reserve_kg;
        let legal = match self.rules {
            Rules::None => 0.0,
            rules => rules.reserve_s(self.night) * cruise_fuel_kg_s,
        };
        asked.max(legal)
    }

    /// The leg at a distance \[m\].
    pub fn leg_index(&self, distance_m: f64) -> usize {
        self.legs
            .partition_point(|l| l.to_m <= distance_m)
            .min(self.legs.len() - 1)
    }

    /// Indicated altitude \[m\] and airspeed [m/s] that the flight begins with: at lift-off at a speed, or in the air as it is.
    pub fn begins_at(&self, lift_off_ias_m_s: f64) -> (f64, f64) {
        match self.start {
            Start::Ground => (self.departure.elevation_m, lift_off_ias_m_s),
            Start::InFlight {
                indicated_m,
                ias_m_s,
            } => (indicated_m, ias_m_s),
        }
    }

    /// The problem of one who is in flight now, at the start of the route at an indicated altitude \[m\] and airspeed [m/s].
    pub fn in_flight(&self, indicated_m: f64, ias_m_s: f64) -> Self {
        let mut p = self.clone();
        p.start = Start::InFlight {
            indicated_m,
            ias_m_s,
        };
        nothing_before_flight(&mut p.aircraft.procedures);
        p.find_levels();
        p
    }

    /// Finds what hangs on the air: patches of ice in cloud, and legal levels.
    pub(super) fn settle_levels(&mut self) {
        let (straight, turning) = (
            airspace::ice(self, 0.0),
            airspace::ice(self, airspace::TURNING_ROOM_M),
        );
        for (patches, ice) in [
            (&mut self.forbidden, straight),
            (&mut self.forbidden_to_turns, turning),
        ] {
            patches.retain(|p| p.kind != PatchKind::Ice);
            patches.extend(ice);
        }
        self.find_levels();
    }

    /// Finds the legal levels of each leg, after something that they hang on has changed.
    pub fn find_levels(&mut self) {
        self.levels = self.legs.iter().map(|l| legal_levels(self, l)).collect();
    }

    /// Where pattern altitude and speed are to be met, m along the route: before the field as the trip says, or over it where the flight
    /// lets down circling.
    pub fn pattern_point_m(&self, circling: bool) -> f64 {
        if circling {
            self.length_m
        } else {
            self.length_m - self.arrival.before_m
        }
    }

    /// When the flight is expected at a distance \[m\], s since lift-off: by [`Problem::clock`], zero where that is empty.
    pub fn time_s(&self, distance_m: f64) -> f64 {
        if self.clock.is_empty() {
            0.0
        } else {
            interpolate(&self.clock, distance_m)
        }
    }

    /// Air for flying at a distance and pressure altitude \[m\] and a time since lift-off \[s\].
    pub fn air_state(
        &self,
        distance_m: f64,
        pressure_altitude_m: f64,
        time_s: f64,
    ) -> (AirState, super::AirSample) {
        let sample = self.air.at(distance_m, pressure_altitude_m, time_s);
        (
            AirState::new(isa::pressure_pa(pressure_altitude_m), sample.temperature_k),
            sample,
        )
    }

    /// Density altitude \[m\] at a field at a time since lift-off \[s\].
    pub fn density_altitude_m(&self, field: &Field, time_s: f64) -> f64 {
        let s = if field == &self.departure {
            0.0
        } else {
            self.length_m
        };
        let hp = self.pressure_altitude_m(s, field.elevation_m);
        isa::density_altitude_m(hp, self.air.at(s, hp, time_s).temperature_k)
    }
}

/// In flight nothing is spent any more on taxi and take-off.
fn nothing_before_flight(procedures: &mut Procedures) {
    procedures.taxi_fuel_kg = 0.0;
    procedures.taxi_time_s = 0.0;
    procedures.take_off_fuel_kg = 0.0;
}
