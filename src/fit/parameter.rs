//! What is fitted: the figures of an aircraft that no type plate gives, each with what is known of it beforehand.
//!
//! # Transformation
//! A parameter `p` with bounds `(low, high)` is fitted as `x = ln((p - low) / (high - p))`, so that no step leaves the
//! bounds; its prior is normal in `x` with the centre of the given mean and the slope `dp/dx` there.

use crate::aircraft::Aircraft;
use crate::aircraft::engine::{Engine, EngineError};

/// Indicated thermal efficiency at the best-power mixture: centre of the prior. With fuel-air ratio 0.080 and ordinary
/// friction it gives 0.40 to 0.45 lb/(hp h), the usual consumption (REFERENCES A.4, from memory).
pub const INDICATED_EFFICIENCY: f64 = 0.35;
/// Relative standard deviation of that prior: spans 0.37 to 0.48 lb/(hp h) at two deviations.
pub const INDICATED_EFFICIENCY_SD: f64 = 0.06;

/// One figure that is fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parameter {
    /// Zero-lift drag coefficient.
    Cd0,
    /// Induced drag factor.
    InducedFactor,
    /// Drag increment of the gear.
    GearDrag,
    /// Drag increment of the open cowl flaps.
    CoolingDrag,
    /// Installed over free propeller thrust.
    InstalledFactor,
    /// Rated power, W; only where the handbook does not give it.
    RatedPower,
    /// Compression ratio; only where the handbook does not give it.
    CompressionRatio,
    /// Induction loss, Pa.
    InductionLoss,
    /// Ram recovery.
    RamRecovery,
    /// Volumetric efficiency.
    VolumetricEfficiency,
    /// Heating of the charge, K.
    ChargeHeating,
    /// All three friction coefficients over those of the base aircraft.
    FrictionScale,
    /// Fuel-air ratio of a row of the mixture table.
    FuelAir(usize),
    /// Relative indicated power of a row of the mixture table.
    RelativePower(usize),
    /// Stall speed, clean, at the greatest take-off mass, m/s.
    StallSpeed,
}

/// What is known of a parameter before any row is read: a normal distribution between bounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Of what.
    pub parameter: Parameter,
    /// Centre.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
    /// Least value.
    pub low: f64,
    /// Greatest value.
    pub high: f64,
}

/// The spread and bounds of a standard prior: `sd`, `low`, `high`; relative to the centre where `relative`.
struct Spread {
    sd: f64,
    low: f64,
    high: f64,
    relative: bool,
}

impl Parameter {
    /// The value an aircraft has now.
    pub fn of(self, aircraft: &Aircraft) -> f64 {
        let spec = &aircraft.engine.spec;
        let mixture = |i: usize| &spec.mixtures[i.min(spec.mixtures.len() - 1)];
        match self {
            Self::Cd0 => aircraft.airframe.cd0,
            Self::InducedFactor => aircraft.airframe.k,
            Self::GearDrag => aircraft.airframe.cd_gear,
            Self::CoolingDrag => aircraft.airframe.cd_cooling,
            Self::InstalledFactor => aircraft.propeller.installed_factor,
            Self::RatedPower => spec.rated_power_w,
            Self::CompressionRatio => spec.compression_ratio,
            Self::InductionLoss => spec.induction_loss_pa,
            Self::RamRecovery => spec.ram_recovery,
            Self::VolumetricEfficiency => spec.volumetric_efficiency,
            Self::ChargeHeating => spec.charge_heating_k,
            Self::FrictionScale => 1.0,
            Self::FuelAir(i) => mixture(i).fuel_air,
            Self::RelativePower(i) => mixture(i).relative_power,
            Self::StallSpeed => aircraft.speeds.vs_m_s,
        }
    }

    /// Spreads and bounds are those of light piston aeroplanes in general: judgement, no source; the range table bounds
    /// every one of them too, so that a fitted profile can be read back.
    fn spread(self) -> Spread {
        let relative = |sd, low, high| Spread {
            sd,
            low,
            high,
            relative: true,
        };
        let plain = |sd, low, high| Spread {
            sd,
            low,
            high,
            relative: false,
        };
        match self {
            Self::Cd0 => plain(0.005, 0.008, 0.08),
            Self::InducedFactor => plain(0.010, 0.025, 0.14),
            Self::GearDrag => plain(0.006, 0.0, 0.08),
            Self::CoolingDrag => plain(0.002, 0.0, 0.03),
            Self::InstalledFactor => plain(0.03, 0.70, 1.10),
            Self::RatedPower => relative(0.10, 0.6, 1.6),
            Self::CompressionRatio => plain(0.6, 6.0, 11.5),
            Self::InductionLoss => plain(1_500.0, 100.0, 15_000.0),
            Self::RamRecovery => plain(0.15, 0.0, 1.0),
            Self::VolumetricEfficiency => plain(0.05, 0.55, 1.08),
            Self::ChargeHeating => plain(12.0, 0.0, 60.0),
            Self::FrictionScale => plain(0.20, 0.3, 2.5),
            Self::FuelAir(_) => relative(0.04, 0.8, 1.25),
            Self::RelativePower(_) => plain(0.015, 0.4, 1.0),
            Self::StallSpeed => relative(0.15, 0.5, 2.0),
        }
    }

    /// Puts a value into an aircraft. `base` is the aircraft of the priors, to which relative figures refer. The engine is
    /// not remade: see [`remake`].
    fn put(self, value: f64, base: &Aircraft, aircraft: &mut Aircraft) {
        let spec = &mut aircraft.engine.spec;
        match self {
            Self::Cd0 => aircraft.airframe.cd0 = value,
            Self::InducedFactor => aircraft.airframe.k = value,
            Self::GearDrag => aircraft.airframe.cd_gear = value,
            Self::CoolingDrag => aircraft.airframe.cd_cooling = value,
            Self::InstalledFactor => aircraft.propeller.installed_factor = value,
            Self::RatedPower => spec.rated_power_w = value,
            Self::CompressionRatio => spec.compression_ratio = value,
            Self::InductionLoss => spec.induction_loss_pa = value,
            Self::RamRecovery => spec.ram_recovery = value,
            Self::VolumetricEfficiency => spec.volumetric_efficiency = value,
            Self::ChargeHeating => spec.charge_heating_k = value,
            Self::FrictionScale => {
                spec.friction_pa = base.engine.spec.friction_pa.map(|c| c * value);
            }
            Self::FuelAir(i) => {
                if let Some(mixture) = spec.mixtures.get_mut(i) {
                    mixture.fuel_air = value;
                }
            }
            Self::RelativePower(i) => {
                if let Some(mixture) = spec.mixtures.get_mut(i) {
                    mixture.relative_power = value;
                }
            }
            Self::StallSpeed => aircraft.speeds.vs_m_s = value,
        }
    }
}

impl Prior {
    /// The standard prior around what the aircraft has now.
    ///
    /// Fuel-air ratios are bounded half-way to the neighbouring mixtures, so that the table stays richest first.
    pub fn standard(parameter: Parameter, aircraft: &Aircraft) -> Self {
        let mean = parameter.of(aircraft);
        let s = parameter.spread();
        let of = |x: f64| if s.relative { x * mean } else { x };
        let (mut low, mut high) = (of(s.low), of(s.high));
        if let Parameter::FuelAir(i) = parameter {
            let mixtures = &aircraft.engine.spec.mixtures;
            let half_way = |j: usize| mixtures.get(j).map(|m| (m.fuel_air * mean).sqrt());
            low = low.max(half_way(i + 1).unwrap_or(0.04));
            high = high.min(i.checked_sub(1).and_then(half_way).unwrap_or(0.125));
        }
        // a centre on a bound has no transformation
        let margin = 0.02 * (high - low);
        Self {
            parameter,
            mean: mean.clamp(low + margin, high - margin),
            sd: of(s.sd),
            low,
            high,
        }
    }

    /// The fitted variable of a value.
    pub(super) fn variable(self, p: f64) -> f64 {
        ((p - self.low) / (self.high - p)).ln()
    }

    /// The value of the fitted variable.
    pub(super) fn value_at(self, x: f64) -> f64 {
        self.low + (self.high - self.low) / (1.0 + (-x).exp())
    }

    /// `dp/dx` at a value.
    pub(super) fn slope(self, p: f64) -> f64 {
        (p - self.low) * (self.high - p) / (self.high - self.low)
    }

    /// Standard deviation of the prior in the fitted variable.
    pub(super) fn sd_x(self) -> f64 {
        self.sd / self.slope(self.mean)
    }
}

/// The base aircraft with the parameters put in and the engine remade.
pub(super) fn remake(
    base: &Aircraft,
    priors: &[Prior],
    values: impl Iterator<Item = f64>,
    aircraft: &mut Aircraft,
) -> Result<(), EngineError> {
    for (prior, value) in priors.iter().zip(values) {
        prior.parameter.put(value, base, aircraft);
    }
    aircraft.engine = Engine::new(aircraft.engine.spec.clone())?;
    Ok(())
}
