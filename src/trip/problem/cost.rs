//! What the objective charges.

use super::Problem;
use crate::trip::{HourBasis, Objective};

impl Problem {
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
            Objective::Fuel => CostRates::OF_FUEL,
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
    /// A kilogram of fuel costs one, and nothing else anything.
    pub const OF_FUEL: Self = Self {
        per_s: 0.0,
        per_kg: 1.0,
        per_rev: 0.0,
    };

    /// Cost of this much time \[s\], fuel \[kg\] and revolutions.
    pub fn of(self, time_s: f64, fuel_kg: f64, revolutions: f64) -> f64 {
        self.per_s * time_s + self.per_kg * fuel_kg + self.per_rev * revolutions
    }

    /// Cost rate [1/s] at a fuel flow [kg/s] and crankshaft speed [rev/s].
    pub fn rate(self, fuel_kg_s: f64, rev_s: f64) -> f64 {
        self.per_s + self.per_kg * fuel_kg_s + self.per_rev * rev_s
    }
}
