//! WHAT is asked: route, load, weather, rules, limits and objective. No algorithm lives here beyond making the
//! question definite ([`Problem`]).
//!
//! **Invariant:** this module never imports `solve`, `flight` or `files`.

mod air_error;
mod airspace;
mod change;
mod circling;
mod descent_ask;
mod levels;
mod noted;
mod patch;
mod position;
mod problem;
mod route_air;

pub use air_error::{AirError, ErrorField, ForecastError, correlation};
pub use airspace::{Airspace, Cloud};
pub use change::Change;
pub use circling::Circling;
pub use descent_ask::DescentAsk;
pub use levels::{LegLevels, MOUNTAIN_CLIMB_M_S, PLAIN_CLIMB_M_S, legal_levels, rule_allows};
pub use noted::{Noted, NotedFuel};
pub use patch::{Patch, PatchKind, PathPoint};
pub use problem::{
    CostRates, Field, Leg, LevelGround, Note, Problem, ProblemError, TERMINAL_M, resolve,
};
pub use route_air::{AirColumn, AirSample, RouteAir};

use crate::air::field::WindField;
use crate::earth::place::Position;
use jiff::Timestamp;

/// A place on the route.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Identifier or name as typed.
    pub ident: String,
    /// Where it is.
    pub position: Position,
    /// Elevation, m; fields have one, points along the way need none.
    pub elevation_m: Option<f64>,
}

/// Ground and minimum height of one leg.
#[derive(Debug, Clone, PartialEq)]
pub struct LegGround {
    /// Highest ground by stretch: (end of the stretch from the start of the leg in m, ground in m). The last stretch runs to
    /// the end of the leg. Empty: the ground is not known.
    pub ground: Vec<(f64, f64)>,
    /// Highest ground right under the track in the same form; empty where it is not known. It holds the way out of a field and in.
    pub under_track: Vec<(f64, f64)>,
    /// Least cruise altitude, m.
    pub minimum_m: f64,
    /// Greatest altitude, if there is one besides that of the trip, m: kept in climb and descent as in cruise.
    pub maximum_m: Option<f64>,
    /// Mountainous: the larger clearance and climb rate apply.
    pub mountainous: bool,
    /// Where the figures come from.
    pub source: String,
}

/// How the flight begins.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Start {
    /// Standing at the departure: start-up, taxi, take-off.
    #[default]
    Ground,
    /// In flight at the first place of the route, now: no taxi and no take-off. The height counts as a level where the rules
    /// allow it; where they do not, the climb or descent to a level begins at once.
    InFlight {
        /// Indicated altitude, m.
        indicated_m: f64,
        /// Indicated airspeed, m/s.
        ias_m_s: f64,
    },
}

/// How much fuel is on board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FuelLoad {
    /// This much at start-up, kg.
    Kg(f64),
    /// The least that leaves the reserve.
    Least,
}

/// What an hour is paid by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HourBasis {
    /// Start-up to shutdown.
    Clock,
    /// Take-off to landing.
    Airborne,
    /// Crankshaft revolutions over those of an hour at this speed, rev/s.
    Tachometer(f64),
}

/// Prices of the trip, in the owner's money.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prices {
    /// Per second of the basis.
    pub per_s: f64,
    /// What is counted.
    pub basis: HourBasis,
    /// Per kg of fuel.
    pub fuel_per_kg: f64,
}

impl Prices {
    /// Whether anything costs money: a trip may leave prices out when money is not its objective.
    pub fn are_given(&self) -> bool {
        self.per_s > 0.0 || self.fuel_per_kg > 0.0
    }
}

/// What is to be least.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Objective {
    /// Time from take-off to landing.
    Time,
    /// Fuel from take-off to landing.
    Fuel,
    /// Money at the trip's prices.
    Money,
}

/// Rules for cruise altitudes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rules {
    /// 14 CFR 91.159.
    UsVfr,
    /// 14 CFR 91.179, uncontrolled airspace.
    UsIfr,
    /// ICAO Annex 2 appendix 3 and SERA.5005(g), VFR.
    IcaoVfr,
    /// The same, IFR.
    IcaoIfr,
    /// Any multiple of 500 ft.
    None,
}

impl Rules {
    /// Whether the rules are those of visual flight.
    pub fn visual(self) -> bool {
        matches!(self, Self::UsVfr | Self::IcaoVfr)
    }

    /// Whether the rules are those of instrument flight.
    pub fn instrument(self) -> bool {
        matches!(self, Self::UsIfr | Self::IcaoIfr)
    }

    /// Pressure altitude \[m\] above which the pilot needs oxygen once 30 minutes are over: 14 CFR 91.211(a)(1), 12,500 ft; NCO.OP.190,
    /// 10,000 ft. The planner does not use up the minutes: without oxygen it plans no level above.
    pub fn no_oxygen_m(self) -> f64 {
        let ft = match self {
            Self::UsVfr | Self::UsIfr | Self::None => 12_500.0,
            Self::IcaoVfr | Self::IcaoIfr => 10_000.0,
        };
        ft * crate::quantity::M_PER_FT
    }

    /// Legal least of fuel at landing, s of cruise: 14 CFR 91.151 and 91.167, and NCO.OP.125, with the same figures: 30 min by day in
    /// visual flight, else 45 min.
    pub fn reserve_s(self, night: bool) -> f64 {
        60.0 * if night || self.instrument() {
            45.0
        } else {
            30.0
        }
    }
}

/// How rough the air is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Roughness {
    /// Up to Vno.
    Smooth,
    /// Up to Vno less 10 kt.
    Light,
    /// Up to Va at the weight of the moment.
    Rough,
}

/// Limits of the trip.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Not above this indicated altitude, m.
    pub max_altitude_m: f64,
    /// Clearance over ground: plain, m.
    pub clearance_m: f64,
    /// Clearance over ground: mountainous, m.
    pub mountain_clearance_m: f64,
    /// Air by height: (up to this indicated altitude in m, roughness), lowest first; light above the last.
    pub air: Vec<(f64, Roughness)>,
    /// Smooth air is believed within 3,000 ft of the ground.
    pub smooth_near_ground: bool,
    /// Greatest rate of descent, m/s.
    pub max_descent_m_s: f64,
    /// Least manifold pressure in the descent, Pa.
    pub least_map_pa: f64,
    /// Greatest reduction of manifold pressure, Pa/s.
    pub map_reduction_pa_s: f64,
    /// Oxygen is on board and will be used.
    pub oxygen: bool,
    /// No level is above this pressure altitude without oxygen, m.
    pub no_oxygen_m: f64,
    /// Planned reserve, s of planned cruise fuel flow.
    pub reserve_s: f64,
    /// Planned reserve besides that, kg.
    pub reserve_kg: f64,
    /// Where the sector of odd thousands begins, magnetic course, rad; it is half a turn wide.
    pub sector_from_rad: f64,
}

/// Arrival.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrival {
    /// Pattern altitude, indicated, m.
    pub pattern_altitude_m: f64,
    /// Pattern altitude and speed are reached this far before the field, m.
    pub before_m: f64,
    /// Time in the circuit after reaching the field, s.
    pub circuit_s: f64,
}

/// Winds and temperatures aloft at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The time.
    pub valid: Timestamp,
    /// The field.
    pub field: WindField,
}

/// What kind of thing weather is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SourceKind {
    /// Winds-aloft bulletins.
    Bulletin,
    /// Files of a weather model.
    Grid,
    /// A table of winds in the trip.
    Table,
    /// A weather report of an aerodrome.
    Report,
}

/// Where weather is from.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// What kind.
    pub kind: SourceKind,
    /// Files as the trip names them, or places.
    pub name: String,
    /// The time it is for or was observed at; a table may hold throughout.
    pub valid: Option<Timestamp>,
    /// From when to when it is for use, if that is limited.
    pub period: Option<(Timestamp, Timestamp)>,
    /// What a careful reader would remark.
    pub notes: Vec<String>,
}

/// Altimeter settings and what is known at the surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Weather {
    /// Winds and temperatures aloft, earliest first: at least one. Between two times they are blended, outside held.
    pub forecasts: Vec<Forecast>,
    /// The forecast is for use up to this time, if that is known.
    pub valid_until: Option<Timestamp>,
    /// Where all this is from.
    pub sources: Vec<Source>,
    /// Altimeter setting at the departure, Pa.
    pub departure_altimeter_pa: f64,
    /// Altimeter setting at the destination, Pa.
    pub destination_altimeter_pa: f64,
    /// Temperature at the departure field, K, if known.
    pub departure_temperature_k: Option<f64>,
    /// Temperature at the destination field, K, if known.
    pub destination_temperature_k: Option<f64>,
}

/// Where to go when the destination cannot be landed at.
#[derive(Debug, Clone, PartialEq)]
pub struct Alternate {
    /// The field, with its elevation.
    pub place: Place,
    /// Highest ground on the way from the destination, as of a leg; may be empty.
    pub ground: Vec<(f64, f64)>,
    /// Highest ground right under the track, as of a leg; may be empty.
    pub under_track: Vec<(f64, f64)>,
    /// Least cruise altitude there, m: where the ground is not known it is held off by nothing else.
    pub minimum_m: f64,
    /// Mountainous: a better climb is asked for.
    pub mountainous: bool,
    /// Where the ground comes from.
    pub source: String,
    /// Pattern altitude, indicated, m.
    pub pattern_altitude_m: f64,
}

impl Alternate {
    /// The way there as a leg.
    pub fn leg(&self) -> LegGround {
        LegGround {
            ground: self.ground.clone(),
            under_track: self.under_track.clone(),
            minimum_m: self.minimum_m,
            maximum_m: None,
            mountainous: self.mountainous,
            source: self.source.clone(),
        }
    }
}

/// A trip as asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Trip {
    /// Title on the brief.
    pub title: String,
    /// Start-up.
    pub departure_time: Timestamp,
    /// How it begins; in flight `departure_time` is now, and the fuel is what is left.
    pub start: Start,
    /// Route: departure, via points, destination.
    pub places: Vec<Place>,
    /// Ground, one entry a leg.
    pub ground: Vec<LegGround>,
    /// People, baggage and what else is carried besides fuel, kg.
    pub load_kg: f64,
    /// Fuel at start-up.
    pub fuel: FuelLoad,
    /// Prices.
    pub prices: Prices,
    /// Weather.
    pub weather: Weather,
    /// What is to be least.
    pub objective: Objective,
    /// Limits.
    pub limits: Limits,
    /// Rules for cruise altitudes.
    pub rules: Rules,
    /// Keep-out volumes and cloud.
    pub airspace: Airspace,
    /// Night: for the legal reserve.
    pub night: bool,
    /// Magnetic variation, rad, east positive, if the trip gives it.
    pub variation_rad: Option<f64>,
    /// Arrival.
    pub arrival: Arrival,
    /// Alternate; the fuel to go on to it from a go-around at the destination is kept besides the reserve.
    pub alternate: Option<Alternate>,
    /// What the plan must keep, whatever is least.
    pub bounds: Bounds,
    /// Said to the pilot: what was noted while the trip was read.
    pub notes: Vec<Note>,
}

/// Bounds that the rounded, flown plan must keep, whatever its objective.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Bounds {
    /// Longest from start-up to landing, s.
    pub within_s: Option<f64>,
    /// Most fuel from start-up to shutdown, kg.
    pub most_fuel_kg: Option<f64>,
    /// Least fuel left at shutdown, kg.
    pub least_landing_kg: Option<f64>,
}

impl Bounds {
    /// Whether nothing is bounded.
    pub fn is_free(&self) -> bool {
        *self == Self::default()
    }

    /// Most block fuel \[kg\] that keeps both fuel bounds with this much on board, if there is one.
    pub fn block_fuel_kg(&self, on_board_kg: f64) -> Option<f64> {
        let left = self.least_landing_kg.map(|l| on_board_kg - l);
        match (self.most_fuel_kg, left) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }
}

/// Below this altitude, m, no more than [`SLOW_M_S`] indicated is flown (14 CFR 91.117(a); SERA.6001 has the same for visual flight).
pub const SLOW_BELOW_M: f64 = 10_000.0 * crate::quantity::M_PER_FT;
/// See [`SLOW_BELOW_M`]: 250 kt, m/s.
pub const SLOW_M_S: f64 = 250.0 * crate::quantity::M_S_PER_KT;

impl Limits {
    /// Greatest indicated airspeed [m/s] at an indicated altitude, height above ground and mass (DESIGN section 5).
    pub fn speed_limit_m_s(
        &self,
        speeds: &crate::aircraft::Speeds,
        mass_fraction: f64,
        indicated_m: f64,
        above_ground_m: f64,
    ) -> f64 {
        const TEN_KT_M_S: f64 = 10.0 * crate::quantity::M_S_PER_KT;
        let law_m_s = if indicated_m < SLOW_BELOW_M {
            SLOW_M_S
        } else {
            f64::INFINITY
        };
        let air_m_s = match self.roughness(indicated_m, above_ground_m) {
            Roughness::Smooth => speeds.vno_m_s,
            Roughness::Light => speeds.vno_m_s - TEN_KT_M_S,
            Roughness::Rough => {
                (speeds.va_m_s * mass_fraction.sqrt()).min(speeds.vno_m_s - TEN_KT_M_S)
            }
        };
        air_m_s.min(law_m_s)
    }

    /// Whether [`Limits::speed_limit_m_s`] may change with the height above the ground: smooth air that is not counted on near it.
    pub fn speed_goes_by_ground(&self) -> bool {
        !self.smooth_near_ground && self.air.iter().any(|a| a.1 == Roughness::Smooth)
    }

    /// Indicated altitudes at which [`Limits::speed_limit_m_s`] may change in a step, m.
    pub fn speed_edges_m(
        &self,
        speeds: &crate::aircraft::Speeds,
    ) -> impl Iterator<Item = f64> + '_ {
        let law = (speeds.vno_m_s > SLOW_M_S).then_some(SLOW_BELOW_M);
        self.air.iter().map(|a| a.0).chain(law)
    }

    /// Indicated altitudes \[m\] between two others at which how rough the air is may change.
    pub fn air_edges_m(&self, low_m: f64, high_m: f64) -> impl Iterator<Item = f64> + '_ {
        self.air
            .iter()
            .map(|a| a.0)
            .filter(move |&h| h > low_m && h < high_m)
    }

    /// How rough the air is taken to be at an indicated altitude and height above ground.
    pub fn roughness(&self, indicated_m: f64, above_ground_m: f64) -> Roughness {
        const NEAR_GROUND_M: f64 = 3_000.0 * crate::quantity::M_PER_FT;
        let band = self
            .air
            .iter()
            .find(|(top, _)| indicated_m <= *top)
            .map_or(Roughness::Light, |(_, r)| *r);
        if above_ground_m < NEAR_GROUND_M && !self.smooth_near_ground {
            band.max(Roughness::Light)
        } else {
            band
        }
    }
}
