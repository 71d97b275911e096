//! What the throttle hand reads, and the steps it takes by it.

use crate::aircraft::{Levers, Performance, Throttle};
use crate::flight::flyer::Flyer;
use crate::flight::script::{DescentPart, Reduction};

/// The gauge that power is set by, and what a hand can set on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Gauge {
    /// Under a governor; readings in Pa.
    ManifoldPressure { settable: f64 },
    /// Fixed pitch; readings in rev/s.
    Tachometer { settable: f64 },
}

impl Gauge {
    pub(super) fn reading(self, set: &Performance) -> f64 {
        match self {
            Self::ManifoldPressure { .. } => set.map_pa,
            Self::Tachometer { .. } => set.rev_s,
        }
    }

    /// The levers of a descent at a reading.
    pub(super) fn levers(self, reading: f64, d: &DescentPart) -> Levers {
        let (throttle, rev_s) = match self {
            Self::ManifoldPressure { .. } => (Throttle::Map(reading), d.rev_s),
            Self::Tachometer { .. } => (Throttle::Rpm, reading),
        };
        Levers {
            throttle,
            rev_s,
            mixture: d.mixture,
        }
    }

    /// Readings nearer than this are the same: a few ten-thousandths of an inch, a hundredth of a revolution per minute.
    pub(super) fn same(self) -> f64 {
        match self {
            Self::ManifoldPressure { .. } => 1.0,
            Self::Tachometer { .. } => 0.01 / 60.0,
        }
    }

    pub(super) fn floor(self, cuts: &Reduction) -> f64 {
        match self {
            Self::ManifoldPressure { .. } => cuts.floor_pa,
            Self::Tachometer { .. } => cuts.floor_rev_s,
        }
    }

    pub(super) fn step(self, cuts: &Reduction) -> f64 {
        match self {
            Self::ManifoldPressure { .. } => cuts.step_pa,
            Self::Tachometer { .. } => cuts.step_rev_s,
        }
    }

    /// The next step of a reduction: at most one step down, to a value a hand can set.
    pub(super) fn next_cut(self, cuts: &Reduction, now: f64) -> f64 {
        let (Self::ManifoldPressure { settable } | Self::Tachometer { settable }) = self;
        let cut = ((now - self.step(cuts)) / settable - 1e-6).ceil() * settable;
        cut.max(self.floor(cuts).min(now)).min(now)
    }
}

impl Flyer<'_> {
    pub(super) fn gauge(&self) -> Gauge {
        let aircraft = &self.p.aircraft;
        let procedures = &aircraft.procedures;
        if aircraft.propeller.is_fixed() {
            Gauge::Tachometer {
                settable: procedures.rev_step_s,
            }
        } else {
            Gauge::ManifoldPressure {
                settable: procedures.map_step_pa,
            }
        }
    }
}
