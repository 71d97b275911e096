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

use crate::quantity::M3_PER_CUIN;

/// Ratio of specific heats of the charge.
const KAPPA: f64 = 1.4;
/// Specific gas constant of dry air, J/(kg K).
const R_AIR: f64 = 287.052_87;
/// Sea-level standard temperature, K.
pub(crate) const T_REF_K: f64 = 288.15;
/// Sea-level standard pressure, Pa.
pub(crate) const P_REF_PA: f64 = 101_325.0;

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
    /// Brake power at sea level, standard day, full throttle, best-power mixture, no ram, W.
    pub rated_power_w: f64,
    /// Crankshaft speed of the rated power, rev/s.
    pub rated_rev_s: f64,
    /// Pressure lost between intake and manifold at full throttle, rated speed, sea level, Pa.
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
}

/// The air around the engine.
#[derive(Debug, Clone, Copy)]
pub struct Intake {
    /// Pressure before the throttle: ambient and ram, Pa.
    pub upstream_pa: f64,
    /// Ambient pressure, into which the exhaust blows, Pa.
    pub ambient_pa: f64,
    /// Outside air temperature, K.
    pub temperature_k: f64,
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
    #[error("the induction loss leaves less than half of the ambient pressure")]
    LossTooHigh,
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
        let map_rated_pa = P_REF_PA - spec.induction_loss_pa;
        let ratio = map_rated_pa / P_REF_PA;
        if ratio <= 0.5 {
            return Err(EngineError::LossTooHigh);
        }
        let mut engine = Self {
            a,
            b,
            conductance_full: spec.rated_rev_s * (a * ratio - b) / (ratio * (1.0 - ratio)).sqrt(),
            conductance_shut: 0.0,
            work_j_kg: 0.0,
            best_power,
            spec,
        };
        let sea_level = Intake {
            upstream_pa: P_REF_PA,
            ambient_pa: P_REF_PA,
            temperature_k: T_REF_K,
        };
        let rated_air = engine.air_flow_kg_s(map_rated_pa, engine.spec.rated_rev_s, sea_level);
        let losses = engine.friction_w(engine.spec.rated_rev_s)
            + engine.pumping_w(map_rated_pa, engine.spec.rated_rev_s, sea_level);
        engine.work_j_kg = (engine.spec.rated_power_w + losses)
            / (rated_air * engine.spec.mixtures[best_power].relative_power);
        // Shut throttle: choked, so the air flow is that of G/2 at any speed.
        let idle_air = engine.spec.idle_fuel_kg_s / engine.spec.mixtures[0].fuel_air;
        let per_conductance = engine.flow_factor(T_REF_K) * P_REF_PA * 0.5;
        engine.conductance_shut = idle_air / per_conductance;
        if engine.conductance_shut >= engine.conductance_full {
            return Err(EngineError::IdleTooHigh);
        }
        Ok(engine)
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
            / (2.0 * R_AIR * (T_REF_K * inlet_k).sqrt())
    }

    /// Air flow [kg/s] at a manifold pressure; module equation 1. Never negative.
    pub fn air_flow_kg_s(&self, map_pa: f64, rev_s: f64, intake: Intake) -> f64 {
        let charge_pa = (self.a * map_pa - self.b * intake.ambient_pa).max(0.0);
        self.flow_factor(intake.temperature_k) * charge_pa * rev_s
    }

    /// Friction power \[W\].
    pub fn friction_w(&self, rev_s: f64) -> f64 {
        let n = rev_s * 60.0 / 1000.0;
        let [c0, c1, c2] = self.spec.friction_pa;
        (c0 + n * (c1 + n * c2)) * self.spec.displacement_m3 * rev_s / 2.0
    }

    /// Pumping power \[W\]; negative where the manifold pressure exceeds the exhaust pressure.
    pub fn pumping_w(&self, map_pa: f64, rev_s: f64, intake: Intake) -> f64 {
        (intake.ambient_pa - map_pa) * self.spec.displacement_m3 * rev_s / 2.0
    }

    /// Manifold pressure over upstream pressure for a throttle conductance [rev/s].
    fn pressure_ratio(&self, conductance: f64, rev_s: f64, exhaust_ratio: f64) -> f64 {
        // (a x - b e)² N² = G² x (1 - x); choked: (a x - b e) N = G / 2. The larger root is the flow through the engine.
        let (n2, g2) = (rev_s * rev_s, conductance * conductance);
        let be = self.b * exhaust_ratio;
        let qa = self.a * self.a * n2 + g2;
        let qb = 2.0 * self.a * be * n2 + g2;
        let qc = be * be * n2;
        let x = (qb + (qb * qb - 4.0 * qa * qc).max(0.0).sqrt()) / (2.0 * qa);
        if x >= 0.5 || rev_s <= 0.0 {
            x.min(1.0)
        } else {
            ((be + 0.5 * conductance / rev_s) / self.a).min(0.5)
        }
    }

    /// Manifold pressure \[Pa\] for a throttle position. A stopped engine reads the upstream pressure.
    pub fn map_pa(&self, throttle: Throttle, rev_s: f64, intake: Intake) -> f64 {
        let at = |conductance: f64| {
            intake.upstream_pa
                * self.pressure_ratio(conductance, rev_s, intake.ambient_pa / intake.upstream_pa)
        };
        match throttle {
            Throttle::Full => at(self.conductance_full),
            Throttle::Shut => at(self.conductance_shut),
            Throttle::Fixed(g) => at(g.clamp(self.conductance_shut, self.conductance_full)),
            Throttle::Map(map) => map.clamp(at(self.conductance_shut), at(self.conductance_full)),
        }
    }

    /// The throttle conductance [rev/s] that gives this manifold pressure: what stays when the throttle is left alone.
    pub fn conductance(&self, map_pa: f64, rev_s: f64, intake: Intake) -> f64 {
        let x = (map_pa / intake.upstream_pa).clamp(0.0, 1.0 - 1e-9);
        let flow = rev_s * (self.a * x - self.b * intake.ambient_pa / intake.upstream_pa).max(0.0);
        let psi = if x > 0.5 { (x * (1.0 - x)).sqrt() } else { 0.5 };
        (flow / psi).clamp(self.conductance_shut, self.conductance_full)
    }

    /// Power and fuel flow at a manifold pressure.
    pub fn at_map(&self, map_pa: f64, rev_s: f64, mixture: usize, intake: Intake) -> EngineOutput {
        let mix = &self.spec.mixtures[mixture.min(self.spec.mixtures.len() - 1)];
        let air = self.air_flow_kg_s(map_pa, rev_s, intake);
        let indicated = air * self.work_j_kg * mix.relative_power;
        EngineOutput {
            map_pa,
            power_w: indicated - self.friction_w(rev_s) - self.pumping_w(map_pa, rev_s, intake),
            fuel_kg_s: (air * mix.fuel_air).max(self.spec.idle_fuel_kg_s),
            indicated_w: indicated,
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
        self.at_map(self.map_pa(throttle, rev_s, intake), rev_s, mixture, intake)
    }

    /// The manifold pressure \[Pa\] that gives this brake power; brake power is linear in it. Not limited to what the
    /// throttle can reach.
    pub fn map_for_power_pa(
        &self,
        power_w: f64,
        rev_s: f64,
        mixture: usize,
        intake: Intake,
    ) -> f64 {
        let at = |p| self.at_map(p, rev_s, mixture, intake).power_w;
        let (low, high) = (0.5 * intake.ambient_pa, intake.ambient_pa);
        let (f_low, f_high) = (at(low), at(high));
        low + (power_w - f_low) * (high - low) / (f_high - f_low)
    }
}

/// Displacement in cubic inches, for messages.
pub fn displacement_cuin(spec: &EngineSpec) -> f64 {
    spec.displacement_m3 / M3_PER_CUIN
}
