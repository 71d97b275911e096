//! The four-stroke spark-ignition engine: air flow, power, fuel flow, throttle.
//!
//! # Conventions
//! Crankshaft speed `rev_s` is in revolutions per second; pressures are absolute. One engine; the whole
//! aeroplane's figures are made by [`super::Aircraft`].
//!
//! # Equations
//! Air flow per engine [kg/s]:
//! `m = eta_v (V_d N / 2) (a p_man - b p_exh) / (R sqrt(T_ref T_i))` with `a = (k-1)/k + r/(k(r-1))`,
//! `b = 1/(k(r-1))`. The bracket is `p_man` times the residual-gas term
//! `(k-1)/k + (r - p_exh/p_man)/(k(r-1))` of Heywood, *Internal Combustion Engine Fundamentals* (1988),
//! section 6.2.2 (from memory). The square root is the usual 1/sqrt(T) correction of power charts
//! (engine-manual example 157 to 163 hp, REFERENCES A.4): the charge is heated half-way to the walls, so the
//! volumetric efficiency grows as sqrt(T).
//!
//! Brake power \[W\]: `P = m e x_mix - fmep V_d N / 2 - (p_exh - p_man) V_d N / 2`, where `e` [J/kg of air] is found
//! from the rated power and `x_mix` is the indicated power relative to the best-power mixture.
//!
//! Fuel flow [kg/s]: `max(m FA_mix, idle flow)`; it never comes from brake power, so an engine driven by the
//! propeller still burns fuel.
//!
//! Throttle: the subcritical orifice `m ~ G sqrt(p_man (p_up - p_man))`, choked at `p_man <= p_up / 2` (the short form
//! used for pneumatic valves; from memory). Both sides fall as 1/sqrt(T), so the ratio `p_man / p_up` follows from
//! `N`, `G` and the exhaust pressure alone.
//!
//! # Turbocharging
//! With `p_up` the ambient pressure and ram, `p_d` the pressure before the throttle (the deck), `m` the air flow:
//!
//! * the controller holds the deck at `p_d = p_c` where the turbine can, else `p_d = p_up + K m`: the turbine is a fixed nozzle,
//!   so its pressure ratio, and with it that of the compressor, is a function of the flow referred to ambient pressure. `K` makes
//!   the deck reach `p_c` at full throttle and rated speed up to the critical altitude of the profile, in still standard air.
//!   Above it manifold pressure falls in proportion to ambient pressure; at lower speeds and with the throttle part shut the
//!   turbine gives up lower down. The linear law is this program's choice, no source;
//! * exhaust pressure before the turbine `p_exh = p_amb + s (p_d - p_up)`. The power balance of turbine and compressor with all
//!   gas through the turbine, 1,100 K before it and 0.33 for the product of the efficiencies gives `s` = 0.81 at sea level with a pressure
//!   ratio of 1.2 and 0.80 at 17,000 ft with 2.3 (worked by hand, no source): the default is [`DEFAULT_EXHAUST_RISE`];
//! * charge temperature `T_1 = T (1 + ((p_d/p_up)^((k-1)/k) - 1) / eta_c)` after the compressor and `T_1 - e (T_1 - T)` after the
//!   intercooler (the definitions of both efficiencies; any gas-turbine textbook).
//!
//! The same code serves both kinds: without a turbocharger `p_d = p_up`, `p_exh = p_amb` and the charge is at outside temperature.

mod breathing;

use crate::air::isa;
use crate::air::isa::GAS_CONSTANT_J_KG_K;

pub use breathing::{Charge, Intake};

/// Ratio of specific heats of the charge.
const KAPPA: f64 = 1.4;
/// Lower heating value of aviation gasoline, J/kg (43.5 MJ/kg, the specification's least value; from memory).
pub const HEATING_VALUE_J_KG: f64 = 43.5e6;
/// Sea-level standard temperature, K.
pub(crate) const T_REF_K: f64 = 288.15;
/// Sea-level standard pressure, Pa.
pub(crate) const P_REF_PA: f64 = 101_325.0;

/// Pressure rise before the turbine over the pressure rise in the compressor, when the profile gives none.
pub const DEFAULT_EXHAUST_RISE: f64 = 0.8;
/// Isentropic efficiency of the compressor when the profile gives none: small centrifugal compressors reach about 0.7 at
/// their best point (from memory).
pub const DEFAULT_COMPRESSOR_EFFICIENCY: f64 = 0.65;
/// Steps of a bracketed search; 60 bisections exhaust a double.
const MAX_STEPS: u32 = 60;

/// A turbocharger with its controller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turbo {
    /// Pressure altitude up to which the controller holds [`Turbo::rated_map_pa`] at rated speed and full throttle, standard day,
    /// no ram, m.
    pub critical_altitude_m: f64,
    /// Manifold pressure of the rated power; the controller lets no more through, Pa.
    pub rated_map_pa: f64,
    /// Rise of the exhaust pressure before the turbine over ambient, relative to the rise in the compressor.
    pub exhaust_rise: f64,
    /// Isentropic efficiency of the compressor.
    pub compressor_efficiency: f64,
    /// Part of the heat of compression that the intercooler takes away; zero without one.
    pub intercooler: f64,
}

/// One row of the mixture table.
#[derive(Debug, Clone, PartialEq)]
pub struct Mixture {
    /// The name pilots use: full rich, best power, peak EGT, lean of peak.
    pub name: String,
    /// Fuel mass over air mass.
    pub fuel_air: f64,
    /// Indicated power relative to the best-power mixture at the same air flow.
    pub relative_power: f64,
    /// Greatest fraction of rated power at which this mixture may be used.
    pub max_power_fraction: f64,
}

/// What the maker's sheet or the owner knows of an engine.
#[derive(Debug, Clone, PartialEq)]
pub struct EngineSpec {
    /// Swept volume of all cylinders, m³.
    pub displacement_m3: f64,
    /// Compression ratio.
    pub compression_ratio: f64,
    /// Brake power at sea level, standard day, best-power mixture, no ram, full throttle (turbocharged: at rated
    /// manifold pressure), W.
    pub rated_power_w: f64,
    /// Crankshaft speed of the rated power, rev/s.
    pub rated_rev_s: f64,
    /// Pressure lost between intake (turbocharged: compressor) and manifold at full throttle, rated speed, sea level, Pa.
    pub induction_loss_pa: f64,
    /// Fraction of the flight dynamic pressure recovered at the intake.
    pub ram_recovery: f64,
    /// Volumetric efficiency at the reference temperature with exhaust and manifold pressure equal.
    pub volumetric_efficiency: f64,
    /// How much warmer the induction air is than the air outside, K.
    pub charge_heating_k: f64,
    /// Friction mean effective pressure `c0 + c1 n + c2 n²` in Pa with n in thousands of rev/min.
    pub friction_pa: [f64; 3],
    /// Fuel flow with the throttle shut, kg/s.
    pub idle_fuel_kg_s: f64,
    /// Mixture settings, richest first.
    pub mixtures: Vec<Mixture>,
    /// The turbocharger, if there is one.
    pub turbo: Option<Turbo>,
}

/// An engine ready to be asked.
#[derive(Debug, Clone)]
pub struct Engine {
    /// The figures it was made from.
    pub spec: EngineSpec,
    a: f64,
    b: f64,
    /// Throttle conductance at full throttle, rev/s.
    conductance_full: f64,
    /// Throttle conductance with the throttle shut, rev/s.
    conductance_shut: f64,
    /// Indicated work per kilogram of air at the best-power mixture, J/kg.
    work_j_kg: f64,
    best_power: usize,
    /// Pressure before the throttle that the controller of the turbocharger holds, Pa.
    deck_pa: f64,
    /// Pressure rise the turbocharger can give for each unit of air flow, Pa s/kg.
    rise_pa_s_kg: f64,
}

/// Where the throttle is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Throttle {
    /// Against the forward stop.
    Full,
    /// Wherever it must be for this manifold pressure, Pa; full throttle if that is not reached.
    Map(f64),
    /// Left where it is: the conductance of [`Engine::conductance`], rev/s.
    Fixed(f64),
    /// Against the idle stop.
    Shut,
    /// Fixed pitch: wherever it must be for the tachometer to show [`super::Levers::rev_s`]; full or shut throttle if that is out of
    /// reach. A governor holds the speed at any throttle, so with one this is full throttle. An engine asked alone
    /// takes it as full throttle; [`super::Aircraft::perform`] finds the place.
    Rpm,
}

impl Throttle {
    /// Its kind and its figure as bits, for keys: the same for the same throttle alone.
    pub fn bits(self) -> [u64; 2] {
        let (kind, figure) = match self {
            Self::Full => (0, 0.0),
            Self::Map(pa) => (1, pa),
            Self::Fixed(conductance) => (2, conductance),
            Self::Shut => (3, 0.0),
            Self::Rpm => (4, 0.0),
        };
        [kind, f64::to_bits(figure)]
    }
}

/// What the engine does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EngineOutput {
    /// Manifold pressure, Pa.
    pub map_pa: f64,
    /// Brake power; negative when the propeller drives the engine, W.
    pub power_w: f64,
    /// Fuel flow, kg/s.
    pub fuel_kg_s: f64,
    /// Brake power at this air flow with the best-power mixture would be `power_w` plus this, W.
    pub indicated_w: f64,
}

/// Why an engine cannot be made from its figures.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EngineError {
    /// The table has no row.
    #[error("the mixture table is empty")]
    NoMixture,
    /// Idle air flow above the full-throttle flow.
    #[error("the idle fuel flow needs more air than full throttle gives")]
    IdleTooHigh,
    /// The manifold pressure at full throttle would be below half of ambient.
    #[error("the induction loss leaves less than half of the pressure before the throttle")]
    LossTooHigh,
    /// The turbocharger would have nothing to do.
    #[error("the air at the critical altitude is denser than the rated manifold pressure needs")]
    NothingToBoost,
}

impl Engine {
    /// Makes the engine and finds its work per kilogram of air from the rated power.
    ///
    /// # Errors
    /// [`EngineError`] if the figures contradict each other.
    pub fn new(spec: EngineSpec) -> Result<Self, EngineError> {
        let r = spec.compression_ratio;
        let a = (KAPPA - 1.0) / KAPPA + r / (KAPPA * (r - 1.0));
        let b = 1.0 / (KAPPA * (r - 1.0));
        let best_power = spec
            .mixtures
            .iter()
            .enumerate()
            .max_by(|x, y| x.1.relative_power.total_cmp(&y.1.relative_power))
            .map(|(i, _)| i)
            .ok_or(EngineError::NoMixture)?;
        // Rated condition: sea level, full throttle, rated speed.
        let sea_level = Intake {
            upstream_pa: P_REF_PA,
            ambient_pa: P_REF_PA,
            temperature_k: T_REF_K,
        };
        let (map_rated_pa, deck_pa, rated) = match &spec.turbo {
            None => (
                P_REF_PA - spec.induction_loss_pa,
                P_REF_PA,
                Charge::plain(sea_level),
            ),
            Some(turbo) => {
                let deck_pa = turbo.rated_map_pa + spec.induction_loss_pa;
                // A turbonormalised engine holds sea-level pressure, which the ambient air there may exceed.
                let (rated, _) = Charge::compressed(turbo, deck_pa.max(P_REF_PA), sea_level);
                (turbo.rated_map_pa, deck_pa, rated)
            }
        };
        let ratio = map_rated_pa / (map_rated_pa + spec.induction_loss_pa);
        if ratio <= 0.5 {
            return Err(EngineError::LossTooHigh);
        }
        let exhaust_ratio = rated.exhaust_pa / (map_rated_pa + spec.induction_loss_pa);
        let mut engine = Self {
            a,
            b,
            conductance_full: spec.rated_rev_s * (a * ratio - b * exhaust_ratio)
                / (ratio * (1.0 - ratio)).sqrt(),
            conductance_shut: 0.0,
            work_j_kg: 0.0,
            best_power,
            deck_pa,
            rise_pa_s_kg: 0.0,
            spec,
        };
        let rated_rev_s = engine.spec.rated_rev_s;
        let rated_air = engine.air_flow_kg_s(map_rated_pa, rated_rev_s, rated);
        let losses =
            engine.friction_w(rated_rev_s) + engine.pumping_w(map_rated_pa, rated_rev_s, rated);
        engine.work_j_kg = (engine.spec.rated_power_w + losses)
            / (rated_air * engine.spec.mixtures[best_power].relative_power);
        if let Some(turbo) = engine.spec.turbo {
            let ambient_pa = isa::pressure_pa(turbo.critical_altitude_m);
            let critical = Intake {
                upstream_pa: ambient_pa,
                ambient_pa,
                temperature_k: isa::temperature_k(turbo.critical_altitude_m),
            };
            if ambient_pa >= deck_pa {
                return Err(EngineError::NothingToBoost);
            }
            let (charge, _) = Charge::compressed(&turbo, deck_pa, critical);
            let (map_pa, _) = engine.manifold_pa(engine.conductance_full, rated_rev_s, charge);
            let air = engine.air_flow_kg_s(map_pa, rated_rev_s, charge);
            engine.rise_pa_s_kg = (deck_pa - ambient_pa) / air;
        }
        // Shut throttle: choked, so the air flow is that of G/2 at any speed.
        let idle_air = engine.spec.idle_fuel_kg_s / engine.spec.mixtures[0].fuel_air;
        let per_conductance = engine.flow_factor(T_REF_K) * P_REF_PA * 0.5;
        engine.conductance_shut = idle_air / per_conductance;
        if engine.conductance_shut >= engine.conductance_full {
            return Err(EngineError::IdleTooHigh);
        }
        Ok(engine)
    }

    /// Indicated power over the heat of the fuel at full throttle and rated speed at sea level with the best-power mixture.
    pub fn indicated_efficiency(&self) -> f64 {
        let sea_level = Intake {
            upstream_pa: P_REF_PA,
            ambient_pa: P_REF_PA,
            temperature_k: T_REF_K,
        };
        let out = self.run(
            Throttle::Full,
            self.spec.rated_rev_s,
            self.best_power,
            sea_level,
        );
        out.indicated_w / (out.fuel_kg_s * HEATING_VALUE_J_KG)
    }

    /// Efficiency of the air-standard cycle of constant volume, which no engine of this compression ratio reaches:
    /// `1 - r^(1 - k)` with k = 1.4 of cold air (Heywood, ch. 5, from memory).
    pub fn ideal_efficiency(&self) -> f64 {
        1.0 - self.spec.compression_ratio.powf(1.0 - KAPPA)
    }

    /// Row of the mixture that gives most power.
    pub fn best_power_mixture(&self) -> usize {
        self.best_power
    }

    /// Row of the richest mixture.
    pub fn full_rich_mixture(&self) -> usize {
        0
    }

    /// `eta_v V_d / (2 R sqrt(T_ref T_i))`, kg/(s Pa) per rev/s.
    fn flow_factor(&self, temperature_k: f64) -> f64 {
        let inlet_k = temperature_k + self.spec.charge_heating_k;
        self.spec.volumetric_efficiency * self.spec.displacement_m3
            / (2.0 * GAS_CONSTANT_J_KG_K * (T_REF_K * inlet_k).sqrt())
    }

    /// Air flow [kg/s] at a manifold pressure; module equation 1. Never negative.
    fn air_flow_kg_s(&self, map_pa: f64, rev_s: f64, charge: Charge) -> f64 {
        let charge_pa = (self.a * map_pa - self.b * charge.exhaust_pa).max(0.0);
        self.flow_factor(charge.temperature_k) * charge_pa * rev_s
    }

    /// Friction power \[W\].
    pub fn friction_w(&self, rev_s: f64) -> f64 {
        let n = rev_s * 60.0 / 1000.0;
        let [c0, c1, c2] = self.spec.friction_pa;
        (c0 + n * (c1 + n * c2)) * self.spec.displacement_m3 * rev_s / 2.0
    }

    /// Pumping power \[W\]; negative where the manifold pressure exceeds the exhaust pressure.
    fn pumping_w(&self, map_pa: f64, rev_s: f64, charge: Charge) -> f64 {
        (charge.exhaust_pa - map_pa) * self.spec.displacement_m3 * rev_s / 2.0
    }

    /// The throttle conductance [rev/s] that gives this manifold pressure: what stays when the throttle is left alone.
    pub fn conductance(&self, map_pa: f64, rev_s: f64, intake: Intake) -> f64 {
        let charge = self.charge(map_pa, rev_s, intake);
        let x = (map_pa / charge.upstream_pa).clamp(0.0, 1.0 - 1e-9);
        let flow = rev_s * (self.a * x - self.b * charge.exhaust_pa / charge.upstream_pa).max(0.0);
        let psi = if x > 0.5 { (x * (1.0 - x)).sqrt() } else { 0.5 };
        (flow / psi).clamp(self.conductance_shut, self.conductance_full)
    }

    /// Power and fuel flow at a manifold pressure.
    pub fn at_map(&self, map_pa: f64, rev_s: f64, mixture: usize, intake: Intake) -> EngineOutput {
        self.at_charge(map_pa, rev_s, mixture, self.charge(map_pa, rev_s, intake))
    }

    /// The same with the charge known ([`Engine::charge`]).
    pub fn at_charge(
        &self,
        map_pa: f64,
        rev_s: f64,
        mixture: usize,
        charge: Charge,
    ) -> EngineOutput {
        let mix = &self.spec.mixtures[mixture.min(self.spec.mixtures.len() - 1)];
        let air = self.air_flow_kg_s(map_pa, rev_s, charge);
        let indicated = air * self.work_j_kg * mix.relative_power;
        EngineOutput {
            map_pa,
            power_w: indicated - self.friction_w(rev_s) - self.pumping_w(map_pa, rev_s, charge),
            fuel_kg_s: (air * mix.fuel_air).max(self.spec.idle_fuel_kg_s),
            indicated_w: indicated,
        }
    }

    /// A dead engine turned by its propeller: friction and pumping at the manifold pressure the throttle leaves. Nothing burns,
    /// and without hot gas a turbocharger does nothing.
    pub fn dead(&self, throttle: Throttle, rev_s: f64, intake: Intake) -> EngineOutput {
        let charge = Charge::plain(intake);
        let at = |conductance: f64| self.manifold_pa(conductance, rev_s, charge).0;
        let (shut, full) = (self.conductance_shut, self.conductance_full);
        let map_pa = match throttle {
            Throttle::Full | Throttle::Rpm => at(full),
            Throttle::Shut => at(shut),
            Throttle::Fixed(g) => at(g.clamp(shut, full)),
            Throttle::Map(map) => map.clamp(at(shut), at(full)),
        };
        EngineOutput {
            map_pa,
            power_w: -self.friction_w(rev_s) - self.pumping_w(map_pa, rev_s, charge),
            fuel_kg_s: 0.0,
            indicated_w: 0.0,
        }
    }

    /// Power and fuel flow at a throttle position.
    pub fn run(
        &self,
        throttle: Throttle,
        rev_s: f64,
        mixture: usize,
        intake: Intake,
    ) -> EngineOutput {
        let (map_pa, charge) = self.breathing(throttle, rev_s, intake);
        self.at_charge(map_pa, rev_s, mixture, charge)
    }

    /// The manifold pressure \[Pa\] that gives this brake power. Brake power is linear in it, nearly so with a turbocharger. Not limited
    /// to what the throttle can reach.
    pub fn map_for_power_pa(
        &self,
        power_w: f64,
        rev_s: f64,
        mixture: usize,
        intake: Intake,
    ) -> f64 {
        let short_w = |p| self.at_map(p, rev_s, mixture, intake).power_w - power_w;
        let secant = |(p, f): (f64, f64), (q, g): (f64, f64)| q - g * (q - p) / (g - f);
        let (low, high) = (0.5 * intake.ambient_pa, intake.ambient_pa);
        let mut last = (low, short_w(low));
        let mut here = (high, short_w(high));
        if self.spec.turbo.is_none() {
            return secant(last, here);
        }
        for _ in 0..MAX_STEPS {
            let next = secant(last, here);
            (last, here) = (here, (next, short_w(next)));
            // A step this small leaves less than a millionth of an inch of mercury.
            if (here.0 - last.0).abs() < 1e-3 || here.1 == 0.0 {
                break;
            }
        }
        here.0
    }
}
