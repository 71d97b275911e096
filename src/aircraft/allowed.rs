//! Which settings are allowed, and why another is not.

use super::{Aircraft, AvoidBand, Governed, Performance};

/// Float noise by which a value may pass a limit it stands on, relative.
const NOISE: f64 = 1e-9;

/// Why a setting is not allowed, or is left out of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Refusal {
    /// Manifold pressure above the limit line at this crankshaft speed, Pa.
    MapLimit {
        /// The limit.
        limit_pa: f64,
    },
    /// Crankshaft speed in a band to avoid.
    RpmBand(AvoidBand),
    /// Power above that at which this mixture may be used, as a fraction of rated power.
    MixtureBand {
        /// The most.
        most: f64,
    },
    /// Power above the greatest cruise power, as a fraction of rated power; allowed in the climb.
    CruisePower {
        /// The most.
        most: f64,
    },
    /// Crankshaft speed above the greatest the governor holds, rev/s.
    Overspeed {
        /// The most.
        most_rev_s: f64,
    },
    /// The propeller stops.
    Stopped,
    /// The blades lie on a pitch stop, and the crankshaft speed is not the one set.
    PitchStop(Governed),
    /// Full throttle does not give the power asked for.
    OutOfReach,
    /// No steady level flight.
    NotLevel,
    /// Slower than the least speed, m/s indicated.
    TooSlow {
        /// The least.
        least_m_s: f64,
    },
    /// Faster than the greatest speed, m/s indicated.
    TooFast {
        /// The most.
        most_m_s: f64,
    },
}

impl Refusal {
    /// A short name that does not change, for files.
    pub fn code(&self) -> &'static str {
        match self {
            Self::MapLimit { .. } => "map_limit",
            Self::RpmBand(_) => "rpm_band",
            Self::MixtureBand { .. } => "mixture_band",
            Self::CruisePower { .. } => "cruise_power",
            Self::Overspeed { .. } => "overspeed",
            Self::Stopped => "stopped",
            Self::PitchStop(_) => "pitch_stop",
            Self::OutOfReach => "out_of_reach",
            Self::NotLevel => "not_level",
            Self::TooSlow { .. } => "too_slow",
            Self::TooFast { .. } => "too_fast",
        }
    }
}

impl Aircraft {
    /// Why a setting is not allowed in cruise: limit line, band of crankshaft speed, mixture band, greatest cruise power, overspeed,
    /// stopped propeller. Nothing if it is allowed. Limits are held against what the gauges read, not what was set.
    pub fn refusals(
        &self,
        set: &Performance,
        mixture: usize,
    ) -> impl Iterator<Item = Refusal> + use<> {
        let over = |x: f64, most: f64| x > most * (1.0 + NOISE);
        let limit_pa = self.map_limit_pa(set.rev_s);
        // No row, no band; the engine takes the last row for a number too great.
        let band = self
            .engine
            .spec
            .mixtures
            .get(mixture)
            .or(self.engine.spec.mixtures.last())
            .map_or(f64::INFINITY, |m| m.max_power_fraction);
        let cruise = self.procedures.cruise_power_fraction;
        let most_rev_s = self.propeller.highest_governed_rev_s;
        let avoid = self.propeller.avoid.iter().find(|b| {
            set.rev_s > b.from_rev_s && set.rev_s < b.to_rev_s && set.map_pa > b.above_map_pa
        });
        let stopped = set.governed == Governed::Stopped;
        [
            stopped.then_some(Refusal::Stopped),
            over(set.rev_s, most_rev_s).then_some(Refusal::Overspeed { most_rev_s }),
            (!stopped && over(set.map_pa, limit_pa)).then_some(Refusal::MapLimit { limit_pa }),
            avoid.copied().map(Refusal::RpmBand),
            over(set.power_fraction, cruise).then_some(Refusal::CruisePower { most: cruise }),
            over(set.power_fraction, band).then_some(Refusal::MixtureBand { most: band }),
        ]
        .into_iter()
        .flatten()
    }
}
