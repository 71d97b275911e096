//! The trip made definite: distances, courses, air along the route, legal levels, all in SI and ready to fly.

use super::airspace::{self, Cloud};
use super::levels::halves;
use super::route_air::{BOTTOM_M, Column, LegAir, STEP_M};
use super::{
    Arrival, Bounds, Circling, FuelLoad, HourBasis, LegLevels, Limits, MOUNTAIN_CLIMB_M_S,
    Objective, PLAIN_CLIMB_M_S, Patch, PatchKind, Place, Prices, RouteAir, Rules, Source, Start,
    Trip, legal_levels,
};
use crate::air::field::{FieldError, WindField};
use crate::air::{isa, triangle};
use crate::aircraft::{AirState, Aircraft, Procedures, Speeds, interpolate};
use crate::earth::geodesic::{self, GeodesicError};
use crate::earth::magnetic::{self, MagneticError};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT};
use jiff::tz::TimeZone;

/// Greatest distance between two nodes of the air table, m.
const NODE_M: f64 = 10.0 * M_PER_NM;
/// Within this distance of either field the climb and the let-down are flown over ground in sight: see [`Problem::floor_m`].
pub const TERMINAL_M: f64 = 20.0 * M_PER_NM;
/// Height over ground in the terminal stretches, m (14 CFR 91.119(c): 500 ft over other than congested areas).
const TERMINAL_CLEARANCE_M: f64 = 500.0 * M_PER_FT;
/// A first guess of the ground speed, m/s.
const FIRST_GUESS_M_S: f64 = 70.0;
/// What lies on either side of an edge is asked this far from it, m.
const EDGE_M: f64 = 0.01;
/// Within this distance of a field the ground under the track counts, not the highest to either side.
const FIELD_M: f64 = 10.0 * M_PER_NM;
/// It counts on the way in from this far before the pattern point, if that is farther out, m.
const BEFORE_PATTERN_M: f64 = 5.0 * M_PER_NM;
/// Nearer than this to a field its own obstacles decide, of which nothing is known here, m.
const RUNWAY_M: f64 = M_PER_NM;
/// Height over the ground under the track for each metre from the field: 48 ft in a nautical mile, the obstacle clearance of a
/// departure (FAA Aeronautical Information Manual 5-2-9, from memory); taken for the way in as well.
const OBSTACLE_SLOPE: f64 = 48.0 * M_PER_FT / M_PER_NM;

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

/// Why a trip cannot be made definite.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProblemError {
    /// A route needs two places.
    #[error("a route needs at least a departure and a destination; {0} place(s) given")]
    TooFewPlaces(usize),
    /// Two places of the route are the same.
    #[error("leg {from} to {to}: {source}")]
    Leg {
        /// From.
        from: String,
        /// To.
        to: String,
        /// What the geodesic says.
        source: GeodesicError,
    },
    /// Weather not to be had at a point of the route.
    #[error(
        "weather on leg {from} to {to}, {along_nm:.0} nm from its start, at {altitude_ft:.0} ft: {source}"
    )]
    Weather {
        /// From.
        from: String,
        /// To.
        to: String,
        /// Distance from the start of the leg, nm.
        along_nm: f64,
        /// Pressure altitude, ft.
        altitude_ft: f64,
        /// What the field says.
        source: Box<FieldError>,
    },
    /// Variation not to be had.
    #[error("magnetic variation on leg {from} to {to}: {source}")]
    Magnetic {
        /// From.
        from: String,
        /// To.
        to: String,
        /// What the model says.
        source: MagneticError,
    },
    /// A field without elevation.
    #[error("{0} is a field of the trip and needs an elevation")]
    NoElevation(String),
    /// The least load is asked for in flight.
    #[error("in flight the fuel on board is what it is: give it in gallons, not the least")]
    LeastInFlight,
    /// The flight begins under the ground.
    #[error(
        "the flight begins at {start_ft:.0} ft, and the highest ground of the stretch there is {ground_ft:.0} ft; give the indicated altitude now, in feet"
    )]
    StartInGround {
        /// Indicated altitude of the start.
        start_ft: f64,
        /// Ground.
        ground_ft: f64,
    },
    /// The flight begins slower than the stall or faster than may ever be flown.
    #[error(
        "the flight begins at {start_kt:.0} KIAS, and between the stall at that weight and never-exceed are {stall_kt:.0} to {never_kt:.0} KIAS; give the indicated airspeed now, in knots"
    )]
    StartSpeed {
        /// Indicated airspeed of the start.
        start_kt: f64,
        /// Stall, clean.
        stall_kt: f64,
        /// Never exceed.
        never_kt: f64,
    },
    /// Nothing is left after taxi.
    #[error(
        "{fuel_gal:.1} gal of fuel on board, and start-up and taxi take {taxi_gal:.1} gal: give the fuel on board at start-up, in US gallons"
    )]
    NoFuel {
        /// On board.
        fuel_gal: f64,
        /// Burnt before take-off.
        taxi_gal: f64,
    },
    /// Too much fuel for the tanks.
    #[error(
        "{fuel_gal:.1} gal of fuel, but the tanks hold {usable_gal:.1} gal usable: give no more, or correct the profile (fuel.usable_gal)"
    )]
    Tanks {
        /// Asked for.
        fuel_gal: f64,
        /// Usable.
        usable_gal: f64,
    },
    /// Too heavy.
    #[error(
        "take-off mass {mass_lb:.0} lb is {over_lb:.0} lb over the greatest of {max_lb:.0} lb: leave load or fuel behind"
    )]
    TooHeavy {
        /// Mass at take-off.
        mass_lb: f64,
        /// Limit.
        max_lb: f64,
        /// Difference.
        over_lb: f64,
    },
    /// Forecasts out of order.
    #[error("a trip needs a forecast, and of several each must be valid later than the one before")]
    ForecastTimes,
    /// Ground is given for another number of legs.
    #[error("the route has {legs} leg(s) but ground is given for {ground}")]
    GroundCount {
        /// Legs of the route.
        legs: usize,
        /// Ground entries.
        ground: usize,
    },
    /// The pattern altitude is not above the field.
    #[error("pattern altitude {pattern_ft:.0} ft is not above the field at {field_ft:.0} ft")]
    Pattern {
        /// Pattern altitude.
        pattern_ft: f64,
        /// Field.
        field_ft: f64,
    },
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

    /// Notes wind or temperature filled in below the forecast; of several forecasts the worst.
    fn note_below_forecast(&mut self, filled_m: f64) {
        let known = self.notes.iter_mut().find_map(|n| match n {
            Note::BelowForecast(m) => Some(m),
            _ => None,
        });
        match known {
            Some(m) => *m = m.max(filled_m),
            None => self.notes.push(Note::BelowForecast(filled_m)),
        }
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

    /// Clearance over ground \[m\].
    pub fn clearance_m(&self, mountainous: bool) -> f64 {
        if mountainous {
            self.limits.mountain_clearance_m
        } else {
            self.limits.clearance_m
        }
    }

    /// The leg at a distance \[m\].
    pub fn leg_index(&self, distance_m: f64) -> usize {
        self.legs
            .partition_point(|l| l.to_m <= distance_m)
            .min(self.legs.len() - 1)
    }

    /// Highest ground of the stretch at a distance \[m\], if the ground of the leg is known.
    pub fn ground_m(&self, distance_m: f64) -> Option<f64> {
        highest_m(&self.legs[self.leg_index(distance_m)].ground, distance_m)
    }

    /// How far a distance \[m\] is from the departure and from the destination, m. A start in flight is no field.
    fn off_fields_m(&self, distance_m: f64) -> (f64, f64) {
        let out_m = match self.start {
            Start::Ground => distance_m,
            Start::InFlight { .. } => f64::INFINITY,
        };
        (out_m, self.length_m - distance_m)
    }

    /// How far a distance \[m\] is from the nearer field, m, where that is so near that the ground under the track counts.
    fn near_field_m(&self, distance_m: f64) -> Option<f64> {
        let (out_m, to_go) = self.off_fields_m(distance_m);
        (out_m < FIELD_M || to_go < self.way_in_m()).then_some(out_m.min(to_go))
    }

    /// Length of the way in over which the ground under the track counts, m.
    fn way_in_m(&self) -> f64 {
        FIELD_M.max(self.arrival.before_m + BEFORE_PATTERN_M)
    }

    /// Height over ground \[m\] of a true height \[m\] at a distance \[m\], by which the air is smooth or not. None is counted on where
    /// the ground is not known: there the air is taken to be that near the ground.
    pub fn above_ground_m(&self, distance_m: f64, true_altitude_m: f64) -> f64 {
        self.ground_m(distance_m)
            .map_or(0.0, |ground_m| true_altitude_m - ground_m)
    }

    /// Lowest of the grounds [`Problem::ground_m`] of a part of the route \[m\]; `None` where any of it is not known.
    pub fn lowest_ground_m(&self, from_m: f64, to_m: f64) -> Option<f64> {
        let mut least = self.ground_m(from_m)?;
        for edge in self.floor_edges_m(from_m, to_m) {
            least = least.min(self.ground_m(edge)?);
        }
        Some(least)
    }

    /// Least of the heights [`Problem::floor_m`] of a part of the route \[m\]; `None` where any of it has none.
    pub fn lowest_floor_m(&self, from_m: f64, to_m: f64) -> Option<f64> {
        let mut least = self.floor_m(from_m)?.min(self.floor_m(to_m - EDGE_M)?);
        for edge in self.floor_edges_m(from_m, to_m) {
            least = least
                .min(self.floor_m(edge - EDGE_M)?)
                .min(self.floor_m(edge + EDGE_M)?);
        }
        Some(least)
    }

    /// Least true height \[m\] at a distance \[m\], in climb and let-down as well as in cruise.
    ///
    /// Beyond [`TERMINAL_M`] of both fields: ground and the clearance. Nearer: ground and 500 ft. Within 10 nm of a field, where
    /// the highest ground to either side says nothing of the way in: the ground right under the track and 48 ft for each mile from
    /// the field, where that ground is known; none in the last mile. A start in flight is no field. Where the ground is not known:
    /// none; then the least cruise altitude of the leg is all there is, and [`Note::NoTerrain`] says so.
    pub fn floor_m(&self, distance_m: f64) -> Option<f64> {
        if let Some(off_m) = self.near_field_m(distance_m) {
            let leg = &self.legs[self.leg_index(distance_m)];
            let ground = highest_m(&leg.under_track, distance_m)?;
            let clearance_m = (OBSTACLE_SLOPE * off_m).min(TERMINAL_CLEARANCE_M);
            return (off_m >= RUNWAY_M).then_some(ground + clearance_m);
        }
        let (out_m, to_go) = self.off_fields_m(distance_m);
        let ground = self.ground_m(distance_m)?;
        Some(if out_m < TERMINAL_M || to_go < TERMINAL_M {
            ground + TERMINAL_CLEARANCE_M
        } else {
            ground + self.clearance_m(self.legs[self.leg_index(distance_m)].mountainous)
        })
    }

    /// A height that [`Problem::floor_m`] and the ground are nowhere above in a part of the route \[m\], quicker than asking for each; `None`
    /// near a field, and where the ground is not known.
    pub fn floor_at_most_m(&self, from_m: f64, to_m: f64) -> Option<f64> {
        if self.near_field_m(from_m).is_some() || self.near_field_m(to_m).is_some() {
            return None;
        }
        let first = self.leg_index(from_m);
        let mut most_m = f64::NEG_INFINITY;
        for leg in self.legs[first..].iter().take_while(|l| l.from_m <= to_m) {
            let rows = &leg.ground;
            let begin = rows.partition_point(|g| g.1 <= from_m.max(leg.from_m));
            let end = begin + rows[begin..].partition_point(|g| g.1 < to_m.min(leg.to_m));
            // The last row goes on to the end of the leg.
            let rows = &rows[begin.min(rows.len().checked_sub(1)?)..=end.min(rows.len() - 1)];
            let ground_m = rows.iter().map(|g| g.2).fold(f64::NEG_INFINITY, f64::max);
            most_m =
                most_m.max(ground_m + self.clearance_m(leg.mountainous).max(TERMINAL_CLEARANCE_M));
        }
        Some(most_m)
    }

    /// Distances between two others \[m\] at which [`Problem::floor_m`] or the ground changes in a step, m, in no order.
    pub fn floor_edges_m(&self, from_m: f64, to_m: f64) -> impl Iterator<Item = f64> + '_ {
        let first = self.legs.partition_point(|l| l.to_m <= from_m);
        let legs = self.legs[first..]
            .iter()
            .take_while(move |l| l.from_m < to_m);
        let ends = move |rows: &'_ [(f64, f64, f64)]| {
            let first = rows.partition_point(|g| g.1 <= from_m);
            first..first + rows[first..].partition_point(|g| g.1 < to_m)
        };
        let grounds = legs.flat_map(move |l| {
            let near = self.near_field_m(from_m.max(l.from_m)).is_some()
                || self.near_field_m(to_m.min(l.to_m)).is_some();
            let under = near.then(|| &l.under_track[ends(&l.under_track)]);
            let ground = &l.ground[ends(&l.ground)];
            ground
                .iter()
                .chain(under.into_iter().flatten())
                .map(|g| g.1)
        });
        [
            RUNWAY_M,
            FIELD_M,
            TERMINAL_M,
            self.length_m - TERMINAL_M,
            self.length_m - self.way_in_m(),
            self.length_m - RUNWAY_M,
        ]
        .into_iter()
        .filter(move |&s| from_m < s && s < to_m)
        .chain(grounds)
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
        self.forbidden.retain(|p| p.kind != PatchKind::Ice);
        self.forbidden.extend(airspace::ice(self));
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

    /// Cost rate by the clock [objective unit / s], by fuel [objective unit / kg] and by revolution [objective unit].
    pub fn cost_rates(&self) -> CostRates {
        self.cost_rates_for(self.objective)
    }

    /// The same where something else is to be least.
    pub fn cost_rates_for(&self, objective: Objective) -> CostRates {
        let rates = match objective {
            Objective::Time => CostRates {
                per_s: 1.0,
                per_kg: 0.0,
                per_rev: 0.0,
            },
            Objective::Fuel => CostRates {
                per_s: 0.0,
                per_kg: 1.0,
                per_rev: 0.0,
            },
            Objective::Money => {
                let (per_s, per_rev) = match self.prices.basis {
                    HourBasis::Clock | HourBasis::Airborne => (self.prices.per_s, 0.0),
                    HourBasis::Tachometer(reference_rev_s) => {
                        (0.0, self.prices.per_s / reference_rev_s)
                    }
                };
                CostRates {
                    per_s,
                    per_kg: self.prices.fuel_per_kg,
                    per_rev,
                }
            }
        };
        CostRates {
            per_s: rates.per_s + self.charge.per_s,
            per_kg: rates.per_kg + self.charge.per_kg,
            per_rev: rates.per_rev + self.charge.per_rev,
        }
    }
}

/// What the objective charges.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CostRates {
    /// Per second.
    pub per_s: f64,
    /// Per kg of fuel.
    pub per_kg: f64,
    /// Per revolution of the crankshaft.
    pub per_rev: f64,
}

impl CostRates {
    /// Cost of this much time \[s\], fuel \[kg\] and revolutions.
    pub fn of(self, time_s: f64, fuel_kg: f64, revolutions: f64) -> f64 {
        self.per_s * time_s + self.per_kg * fuel_kg + self.per_rev * revolutions
    }

    /// Cost rate [1/s] at a fuel flow [kg/s] and crankshaft speed [rev/s].
    pub fn rate(self, fuel_kg_s: f64, rev_s: f64) -> f64 {
        self.per_s + self.per_kg * fuel_kg_s + self.per_rev * rev_s
    }
}

/// In flight nothing is spent any more on taxi and take-off.
fn nothing_before_flight(procedures: &mut Procedures) {
    procedures.taxi_fuel_kg = 0.0;
    procedures.taxi_time_s = 0.0;
    procedures.take_off_fuel_kg = 0.0;
}

fn field_of(place: &Place, altimeter_pa: f64) -> Result<Field, ProblemError> {
    Ok(Field {
        ident: place.ident.clone(),
        elevation_m: place
            .elevation_m
            .ok_or_else(|| ProblemError::NoElevation(place.ident.clone()))?,
        datum_m: isa::pressure_altitude_m(altimeter_pa),
    })
}

/// Height of the row at a distance \[m\], of rows of (from, to, height); of the last beyond them.
fn highest_m(rows: &[(f64, f64, f64)], distance_m: f64) -> Option<f64> {
    rows.get(rows.partition_point(|g| g.1 <= distance_m))
        .or(rows.last())
        .map(|g| g.2)
}

/// Makes a trip definite for an aircraft.
///
/// # Errors
/// [`ProblemError`] with what does not fit.
pub fn resolve(trip: &Trip, aircraft: Aircraft) -> Result<Problem, ProblemError> {
    let (Some(first), Some(last)) = (trip.places.first(), trip.places.last()) else {
        return Err(ProblemError::TooFewPlaces(trip.places.len()));
    };
    if trip.places.len() < 2 {
        return Err(ProblemError::TooFewPlaces(trip.places.len()));
    }
    if trip.ground.len() != trip.places.len() - 1 {
        return Err(ProblemError::GroundCount {
            legs: trip.places.len() - 1,
            ground: trip.ground.len(),
        });
    }
    let mut aircraft = aircraft;
    let mut first = first.clone();
    if let Start::InFlight { indicated_m, .. } = trip.start {
        nothing_before_flight(&mut aircraft.procedures);
        // Nothing below hangs on it where it is not known: the air table needs some height to begin with.
        let ground_m = match trip.ground[0].ground.first() {
            Some(g) => g.1,
            None => first.elevation_m.unwrap_or(0.0),
        };
        first.elevation_m = Some(ground_m);
        if indicated_m <= ground_m {
            return Err(ProblemError::StartInGround {
                start_ft: indicated_m / M_PER_FT,
                ground_ft: ground_m / M_PER_FT,
            });
        }
        if trip.fuel == FuelLoad::Least {
            return Err(ProblemError::LeastInFlight);
        }
    }
    let departure = field_of(&first, trip.weather.departure_altimeter_pa)?;
    let destination = field_of(last, trip.weather.destination_altimeter_pa)?;
    if trip.arrival.pattern_altitude_m <= destination.elevation_m {
        return Err(ProblemError::Pattern {
            pattern_ft: trip.arrival.pattern_altitude_m / M_PER_FT,
            field_ft: destination.elevation_m / M_PER_FT,
        });
    }
    let date = trip.departure_time.to_zoned_datetime(TimeZone::UTC).date();
    let mut notes = trip.notes.clone();
    let mut legs = Vec::new();
    let mut geodesics = Vec::new();
    let mut along_m = 0.0;
    for (pair, ground) in trip.places.windows(2).zip(&trip.ground) {
        let (from, to) = (pair[0].ident.clone(), pair[1].ident.clone());
        let line = geodesic::Leg::new(pair[0].position, pair[1].position).map_err(|source| {
            ProblemError::Leg {
                from: from.clone(),
                to: to.clone(),
                source,
            }
        })?;
        let true_rad = line.course_mid_rad();
        let mut variation_at = |share: f64| match trip.variation_rad {
            Some(v) => Ok(v),
            None => {
                let there = line.point_at(share * line.distance_m());
                let v = magnetic::variation(there, ground.minimum_m, date).map_err(|source| {
                    ProblemError::Magnetic {
                        from: from.clone(),
                        to: to.clone(),
                        source,
                    }
                })?;
                if v.date_outside_model && !notes.contains(&Note::MagneticDate) {
                    notes.push(Note::MagneticDate);
                }
                Ok(v.variation_rad)
            }
        };
        let variation_rad = variation_at(0.5)?;
        let magnetic_ends_rad = [
            triangle::wrap_rad(line.course_start_rad() - variation_at(0.0)?),
            triangle::wrap_rad(line.course_end_rad() - variation_at(1.0)?),
        ];
        let to_m = along_m + line.distance_m();
        let along_route = |rows: &[(f64, f64)]| {
            let mut start = along_m;
            let mut stretches = Vec::new();
            for &(end, height_m) in rows {
                let end = (along_m + end).min(to_m);
                if end > start {
                    stretches.push((start, end, height_m));
                    start = end;
                }
            }
            if let Some(s) = stretches.last_mut() {
                s.1 = to_m;
            }
            stretches
        };
        legs.push(Leg {
            from,
            to,
            line,
            from_m: along_m,
            to_m,
            true_rad,
            magnetic_rad: triangle::wrap_rad(true_rad - variation_rad),
            magnetic_ends_rad,
            variation_rad,
            ground: along_route(&ground.ground),
            under_track: along_route(&ground.under_track),
            minimum_m: ground.minimum_m,
            maximum_m: ground.maximum_m,
            mountainous: ground.mountainous,
            ground_source: ground.source.clone(),
        });
        geodesics.push(line);
        along_m = to_m;
    }
    let unknown = legs.iter().filter(|l: &&Leg| l.ground.is_empty());
    let unknown: Vec<_> = unknown.map(|l| (l.from.clone(), l.to.clone())).collect();
    if !unknown.is_empty() {
        notes.push(Note::NoTerrain(unknown));
    }
    let fuel_kg = match trip.fuel {
        FuelLoad::Kg(kg) => kg,
        FuelLoad::Least => aircraft.fuel.usable_kg.min(
            aircraft.masses.max_take_off_kg - aircraft.masses.empty_kg - trip.load_kg
                + aircraft.procedures.taxi_fuel_kg,
        ),
    };
    let gal_per_kg = 1.0 / (aircraft.fuel.density_kg_m3 * crate::quantity::M3_PER_GAL);
    if fuel_kg > aircraft.fuel.usable_kg + 1e-6 {
        return Err(ProblemError::Tanks {
            fuel_gal: fuel_kg * gal_per_kg,
            usable_gal: aircraft.fuel.usable_kg * gal_per_kg,
        });
    }
    let zero_fuel_kg = aircraft.masses.empty_kg + trip.load_kg;
    let take_off_kg = zero_fuel_kg + fuel_kg - aircraft.procedures.taxi_fuel_kg;
    if trip.fuel != FuelLoad::Least && fuel_kg <= aircraft.procedures.taxi_fuel_kg {
        return Err(ProblemError::NoFuel {
            fuel_gal: fuel_kg * gal_per_kg,
            taxi_gal: aircraft.procedures.taxi_fuel_kg * gal_per_kg,
        });
    }
    if let Start::InFlight { ias_m_s, .. } = trip.start {
        let greatest_kg = aircraft.masses.max_take_off_kg;
        let stall_m_s = Speeds::at_mass(aircraft.speeds.vs_m_s, take_off_kg, greatest_kg);
        if !(stall_m_s..=aircraft.speeds.vne_m_s).contains(&ias_m_s) {
            return Err(ProblemError::StartSpeed {
                start_kt: ias_m_s / M_S_PER_KT,
                stall_kt: stall_m_s / M_S_PER_KT,
                never_kt: aircraft.speeds.vne_m_s / M_S_PER_KT,
            });
        }
    }
    if take_off_kg > aircraft.masses.max_take_off_kg + 1e-6 || fuel_kg <= 0.0 {
        let lb = crate::quantity::KG_PER_LB;
        return Err(ProblemError::TooHeavy {
            mass_lb: take_off_kg / lb,
            max_lb: aircraft.masses.max_take_off_kg / lb,
            over_lb: (take_off_kg - aircraft.masses.max_take_off_kg) / lb,
        });
    }
    let mut problem = Problem {
        aircraft,
        title: trip.title.clone(),
        departure_time: trip.departure_time,
        start: trip.start,
        valid_until: trip.weather.valid_until,
        sources: trip.weather.sources.clone(),
        length_m: along_m,
        air: RouteAir::of_legs(vec![]),
        departure,
        destination,
        zero_fuel_kg,
        fuel_kg,
        alternate_kg: 0.0,
        alternate_ground_m: trip.alternate.as_ref().and_then(|to| {
            let heights = to.ground.iter().map(|row| row.1);
            heights.reduce(f64::max)
        }),
        objective: trip.objective,
        prices: trip.prices,
        limits: trip.limits.clone(),
        rules: trip.rules,
        night: trip.night,
        arrival: trip.arrival,
        levels: vec![],
        forbidden: airspace::patches(trip, &geodesics, along_m),
        clouds: trip.airspace.clouds.clone(),
        bounds: trip.bounds,
        charge: CostRates::default(),
        clock: vec![],
        circling: Circling::default(),
        notes,
        legs,
    };
    let mut slices = Vec::with_capacity(trip.weather.forecasts.len());
    for forecast in &trip.weather.forecasts {
        let since = forecast.valid.duration_since(trip.departure_time);
        let lift_off_s = problem.aircraft.procedures.taxi_time_s;
        let air = sample_air(&forecast.field, &geodesics, &mut problem)?;
        slices.push((since.as_secs_f64() - lift_off_s, air));
    }
    problem.air = RouteAir::through_time(slices).ok_or(ProblemError::ForecastTimes)?;
    if !problem.air.is_steady() {
        problem.clock = vec![(0.0, 0.0), (along_m, along_m / FIRST_GUESS_M_S)];
    }
    problem.settle_levels();
    for leg in &problem.legs {
        if problem.rules != Rules::None && halves(leg, problem.limits.sector_from_rad) == [true; 2]
        {
            let [start, end] = leg.magnetic_ends_rad;
            problem.notes.push(Note::NearSplit {
                from: leg.from.clone(),
                to: leg.to.clone(),
                magnetic_rad: [start, leg.magnetic_rad, end],
            });
        }
    }
    Ok(problem)
}

/// The air table of one forecast: at each node true height is found by going up from the surface, where the altimeter setting ties
/// pressure altitude to elevation, in steps of `dz = (T / T_std) dh_p` (hydrostatic), and the weather is asked there.
fn sample_air(
    field: &WindField,
    geodesics: &[geodesic::Leg],
    problem: &mut Problem,
) -> Result<RouteAir, ProblemError> {
    let mut legs = Vec::with_capacity(problem.legs.len());
    let top_m = problem.limits.max_altitude_m + 2_000.0 * M_PER_FT;
    let mut filled_m: f64 = 0.0;
    for (leg, line) in problem.legs.iter().zip(geodesics) {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few hundred at most"
        )]
        let intervals = (line.distance_m() / NODE_M).ceil().max(1.0) as usize;
        let mut columns = Vec::with_capacity(intervals + 1);
        for i in 0..=intervals {
            #[expect(clippy::cast_precision_loss, reason = "a few hundred at most")]
            let x_m = line.distance_m() * i as f64 / intervals as f64;
            let here = line.point_at(x_m);
            let course_rad = line.course_at_rad(x_m);
            let s = leg.from_m + x_m;
            let share = s / problem.length_m;
            let reference_m = problem.departure.elevation_m
                + share * (problem.destination.elevation_m - problem.departure.elevation_m);
            let reference_hp_m = problem.pressure_altitude_m(s, reference_m);
            let failed = |hp_m: f64, source| ProblemError::Weather {
                from: leg.from.clone(),
                to: leg.to.clone(),
                along_nm: x_m / M_PER_NM,
                altitude_ft: hp_m / M_PER_FT,
                source: Box::new(source),
            };
            let over = field
                .over(here.lat_deg(), here.lon_deg())
                .map_err(|e| failed(reference_hp_m, e))?;
            let ask = |true_m: f64, hp_m: f64| over.at(true_m, hp_m).map_err(|e| failed(hp_m, e));
            // True height of a pressure altitude by quarter steps from the reference, upwards or downwards.
            let walk = |mut z: f64, mut hp: f64, to_hp: f64| -> Result<f64, ProblemError> {
                let quarters = 4;
                let d = (to_hp - hp) / f64::from(quarters);
                for _ in 0..quarters {
                    let t = ask(z, hp)?.temperature_k;
                    let mid =
                        ask(z + 0.5 * d * t / isa::temperature_k(hp), hp + 0.5 * d)?.temperature_k;
                    z += d * mid / isa::temperature_k(hp + 0.5 * d);
                    hp += d;
                }
                Ok(z)
            };
            let mut column = Column {
                temperature_k: vec![],
                along_m_s: vec![],
                cross_m_s: vec![],
                true_altitude_m: vec![],
            };
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "under 100"
            )]
            let rows = ((top_m - BOTTOM_M) / STEP_M).ceil() as usize + 1;
            #[expect(clippy::cast_precision_loss, reason = "under 100")]
            let hp_of = |r: usize| BOTTOM_M + STEP_M * r as f64;
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "clamped"
            )]
            let anchor =
                (((reference_hp_m - BOTTOM_M) / STEP_M).ceil().max(0.0) as usize).min(rows - 1);
            let mut heights = vec![0.0; rows];
            heights[anchor] = walk(reference_m, reference_hp_m, hp_of(anchor))?;
            for r in anchor + 1..rows {
                heights[r] = walk(heights[r - 1], hp_of(r - 1), hp_of(r))?;
            }
            for r in (0..anchor).rev() {
                heights[r] = walk(heights[r + 1], hp_of(r + 1), hp_of(r))?;
            }
            let ground_m = problem
                .ground_m(s)
                .map_or(reference_m, |g| g.min(reference_m));
            for (r, &z) in heights.iter().enumerate() {
                let air = ask(z, hp_of(r))?;
                if z >= ground_m {
                    filled_m = filled_m
                        .max(air.fill.wind_below_m)
                        .max(air.fill.temperature_below_m);
                }
                let (along, cross) =
                    triangle::along_and_cross_m_s(course_rad, air.u_m_s, air.v_m_s);
                column.temperature_k.push(air.temperature_k);
                column.along_m_s.push(along);
                column.cross_m_s.push(cross);
                column.true_altitude_m.push(z);
            }
            columns.push(column);
        }
        legs.push(LegAir::new(leg.from_m, leg.to_m, &columns));
    }
    if filled_m > 1.0 {
        problem.note_below_forecast(filled_m);
    }
    Ok(RouteAir::of_legs(legs))
}
