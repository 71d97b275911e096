//! The aircraft: airframe, engine, propeller, governor, and the procedures its owner flies it by.
//!
//! [`Aircraft::perform`] joins them at one flight condition: everything above this module asks only that.
//!
//! **Invariant:** nothing here reads files, knows of a trip or of an optimiser.

pub mod airframe;
mod allowed;
pub mod engine;
mod level;
mod performance;
pub mod propeller;
mod textbook;
mod warmth;

pub(crate) use airframe::interpolate;
pub use airframe::{Airframe, Configuration, Flap, Speeds};
pub use allowed::Refusal;
pub use engine::{Engine, EngineSpec, Mixture, Throttle, Turbo};
pub use level::LevelFlight;
pub use performance::{
    AirState, EngineState, GlidePropeller, Governed, Levers, OVERSPEED, Performance,
};
use propeller::{PropellerTable, Stops};
pub use textbook::Textbook;
pub use warmth::Warmth;

/// An aircraft profile, ready to fly.
#[derive(Debug, Clone)]
pub struct Aircraft {
    /// What it is, in the owner's words.
    pub name: String,
    /// Number of seats.
    pub seats: u32,
    /// Masses.
    pub masses: Masses,
    /// Fuel system.
    pub fuel: FuelSystem,
    /// Operating speeds.
    pub speeds: Speeds,
    /// Drag.
    pub airframe: Airframe,
    /// How many engines, all alike, each with its propeller.
    pub engines: u32,
    /// One engine.
    pub engine: Engine,
    /// One propeller and its governor.
    pub propeller: Propeller,
    /// What there is to handle besides the levers.
    pub equipment: Equipment,
    /// How the owner flies it.
    pub procedures: Procedures,
    /// Stands in for engine and propeller in comparisons with theory; no profile has one.
    pub textbook: Option<Textbook>,
}

/// Masses in kg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Masses {
    /// Empty, with oil and unusable fuel.
    pub empty_kg: f64,
    /// Greatest at take-off.
    pub max_take_off_kg: f64,
    /// Greatest at landing.
    pub max_landing_kg: f64,
}

/// The landing gear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Gear {
    /// It can be raised.
    #[default]
    Retractable,
    /// It stays down; its drag is part of the zero-lift drag, and no speed limits it.
    Fixed,
}

/// How fuel meets air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Induction {
    /// A carburettor, with heat against ice.
    Carburettor,
    /// Fuel injection, with an alternate air door.
    #[default]
    Injected,
}

/// What there is to handle besides the levers. It reaches the lever card; of it only cowl flaps change the performance, by
/// [`Airframe::cd_cooling`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Equipment {
    /// Landing gear.
    pub gear: Gear,
    /// Induction.
    pub induction: Induction,
    /// Cowl flaps.
    pub cowl_flaps: bool,
    /// An auxiliary fuel pump that is switched for take-off, landing and tank changes.
    pub auxiliary_pump: bool,
    /// Approved for flight in icing conditions: cloud at or below freezing may be flown through.
    pub approved_for_icing: bool,
}

/// Fuel system.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FuelSystem {
    /// Usable fuel, kg.
    pub usable_kg: f64,
    /// Density, kg/m³.
    pub density_kg_m3: f64,
}

/// What the hub does when the oil pressure is gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HubWithoutOil {
    /// Goes to the low pitch stop, as on most singles.
    Fine,
    /// Goes to the high pitch stop or feathers, as on most twins.
    Coarse,
}

/// A band of crankshaft speeds to avoid in continuous use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AvoidBand {
    /// Lower end, rev/s.
    pub from_rev_s: f64,
    /// Upper end, rev/s.
    pub to_rev_s: f64,
    /// Only where the manifold pressure is above this, Pa; zero for always.
    pub above_map_pa: f64,
}

/// A constant-speed propeller with its governor, or a fixed-pitch propeller: one whose stops are the same angle.
#[derive(Debug, Clone)]
pub struct Propeller {
    /// Thrust and torque.
    pub table: PropellerTable,
    /// Low (fine) and high (coarse) pitch stop at 0.75 R.
    pub stops: Stops,
    /// Lowest speed the governor can hold; fixed pitch: lowest speed to set in flight, rev/s.
    pub lowest_governed_rev_s: f64,
    /// Highest speed the governor can hold; fixed pitch: greatest speed allowed, rev/s.
    pub highest_governed_rev_s: f64,
    /// Without oil pressure.
    pub hub: HubWithoutOil,
    /// Speeds to avoid.
    pub avoid: Vec<AvoidBand>,
    /// Thrust on this airframe over thrust of the propeller alone.
    pub installed_factor: f64,
    /// Feathered, for a hub that can.
    pub feathered: Option<Feathered>,
}

/// A propeller feathered and still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feathered {
    /// Blade angle at 0.75 R, rad.
    pub angle_rad: f64,
    /// Thrust over `rho V^2 D^2`, below zero, by the blade elements themselves: the table ends at the high stop. No aeroplane of the kind glides
    /// so fast that it depends on Mach number.
    pub thrust: f64,
}

impl Feathered {
    /// A propeller feathered to a blade angle \[rad\].
    pub fn new(geometry: &propeller::PropellerGeometry, angle_rad: f64) -> Self {
        let still = propeller::BladeElements::new(geometry);
        Self {
            angle_rad,
            thrust: still
                .coefficients(std::f64::consts::FRAC_PI_2, angle_rad, 0.0)
                .thrust,
        }
    }
}

impl Propeller {
    /// Whether the pitch is fixed: throttle and mixture are then the only levers, and RPM follows.
    pub fn is_fixed(&self) -> bool {
        self.stops.low_rad == self.stops.high_rad
    }

    /// Whether the hub can feather.
    pub fn feathers(&self) -> bool {
        self.feathered.is_some()
    }
}

/// How the owner flies the aeroplane.
#[derive(Debug, Clone, PartialEq)]
pub struct Procedures {
    /// Fuel from start-up to take-off, kg.
    pub taxi_fuel_kg: f64,
    /// Time from start-up to take-off, s.
    pub taxi_time_s: f64,
    /// Fuel of the take-off run beyond that of the climb, kg.
    pub take_off_fuel_kg: f64,
    /// Crankshaft speeds allowed in the climb, rev/s, highest first.
    pub climb_rev_s: Vec<f64>,
    /// Greatest power in cruise and in the descent to the field as a fraction of rated power.
    pub cruise_power_fraction: f64,
    /// Greatest manifold pressure (Pa) by crankshaft speed (rev/s), lowest speed first. Empty: MAP (inHg) at most RPM/100.
    pub map_limit: Vec<(f64, f64)>,
    /// Up to this density altitude full rich is used for take-off, climb and go-around, m.
    pub full_rich_density_altitude_m: f64,
    /// Least manifold pressure in the descent, Pa.
    pub least_descent_map_pa: f64,
    /// Greatest reduction of manifold pressure, Pa/s.
    pub map_reduction_pa_s: f64,
    /// Manifold pressures are set in multiples of this, Pa.
    pub map_step_pa: f64,
    /// Crankshaft speeds are set in multiples of this, rev/s.
    pub rev_step_s: f64,
    /// Speeds are flown in multiples of this, m/s.
    pub speed_step_m_s: f64,
    /// Time on one tank before changing, s.
    pub tank_change_s: f64,
    /// Gear may be used to steepen a descent.
    pub gear_as_brake: bool,
    /// Speed in the circuit, m/s indicated.
    pub pattern_m_s: f64,
}

impl Aircraft {
    /// The greatest share of rated power in cruise with a row of the mixture table: that of the profile, or that of its band.
    pub fn most_cruise_power(&self, mixture: usize) -> f64 {
        let band = self.engine.spec.mixtures[mixture].max_power_fraction;
        band.min(self.procedures.cruise_power_fraction)
    }

    /// Calibrated airspeed [m/s] of an indicated one.
    pub fn cas_from_ias(&self, ias_m_s: f64) -> f64 {
        self.speeds.cas_from_ias_m_s(ias_m_s)
    }

    /// Indicated airspeed [m/s] of a calibrated one.
    pub fn ias_from_cas(&self, cas_m_s: f64) -> f64 {
        self.speeds.ias_from_cas_m_s(cas_m_s)
    }

    /// Least speed of level cruise, indicated, m/s: 1.3 Vs at a mass \[kg\] (DESIGN section 5).
    pub fn least_cruise_m_s(&self, mass_kg: f64) -> f64 {
        const OVER_STALL: f64 = 1.3;
        OVER_STALL * Speeds::at_mass(self.speeds.vs_m_s, mass_kg, self.masses.max_take_off_kg)
    }

    /// Whether the gear may steepen a descent: it can be lowered, and the profile allows it.
    pub fn brakes_with_gear(&self) -> bool {
        self.procedures.gear_as_brake && self.equipment.gear == Gear::Retractable
    }

    /// Least speed of a climb, indicated, m/s, at a pressure altitude \[m\] and a mass \[kg\]: Vy, or what cools the engine (DESIGN
    /// section 5).
    pub fn least_climb_ias_m_s(&self, pressure_altitude_m: f64, mass_kg: f64) -> f64 {
        let most_kg = self.masses.max_take_off_kg;
        self.speeds
            .vy_at_m_s(pressure_altitude_m, mass_kg, most_kg)
            .max(self.speeds.least_cooling_m_s)
    }

    /// Greatest manifold pressure \[Pa\] at a crankshaft speed by the profile's limit line. Without one RPM/100 inHg; at fixed pitch
    /// no limit, for there full throttle is allowed at every speed up to the greatest.
    pub fn map_limit_pa(&self, rev_s: f64) -> f64 {
        if self.procedures.map_limit.is_empty() && self.propeller.is_fixed() {
            f64::INFINITY
        } else if self.procedures.map_limit.is_empty() {
            crate::quantity::ManifoldPressure::inhg(rev_s * 60.0 / 100.0).to_pa()
        } else {
            airframe::interpolate(&self.procedures.map_limit, rev_s)
        }
    }

    /// Whether a crankshaft speed lies in a band to avoid at this manifold pressure.
    pub fn in_avoid_band(&self, rev_s: f64, map_pa: f64) -> bool {
        self.propeller
            .avoid
            .iter()
            .any(|b| rev_s > b.from_rev_s && rev_s < b.to_rev_s && map_pa > b.above_map_pa)
    }

    /// The mixture for take-off, climb and go-around at a density altitude \[m\]: full rich up to the profile's limit, best
    /// power above it.
    pub fn high_power_mixture(&self, density_altitude_m: f64) -> usize {
        if density_altitude_m <= self.procedures.full_rich_density_altitude_m {
            self.engine.full_rich_mixture()
        } else {
            self.engine.best_power_mixture()
        }
    }
}
