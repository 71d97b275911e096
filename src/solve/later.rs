//! The same trip at another time of departure.

use super::least::{TripError, plan_trip};
use super::plan::{Totals, Warning};
use crate::aircraft::Aircraft;
use crate::trip::Trip;
use jiff::Timestamp;

/// The trip, started up later.
#[derive(Debug, Clone)]
pub struct Later {
    /// Start-up.
    pub departure: Timestamp,
    /// Later than asked for by this, s.
    pub by_s: f64,
    /// What it comes to.
    pub outcome: Result<LaterPlan, NotPlanned>,
}

/// The plan of the trip started up later, in short.
#[derive(Debug, Clone, PartialEq)]
pub struct LaterPlan {
    /// Totals.
    pub totals: Totals,
    /// Cruise levels, m indicated, first to last.
    pub levels_m: Vec<f64>,
}

/// Why there is no such plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotPlanned {
    /// No forecast is for use at that departure.
    #[error("no forecast given is for use then")]
    NoForecast,
    /// The forecasts end before the flight does, s before.
    #[error("the forecasts given end {:.0} min before it lands", (.0 / 60.0).ceil())]
    ForecastEnds(f64),
    /// No plan.
    #[error(transparent)]
    Trip(#[from] TripError),
}

/// Plans a trip anew for a later departure, `by_s` \[s\] after the first; `trip` has the departure and the forecasts for it, and is
/// `None` where there are none.
pub fn later(departure: Timestamp, by_s: f64, trip: Option<&Trip>, aircraft: &Aircraft) -> Later {
    let plan = |trip: &Trip| {
        let (_, plan) = plan_trip(trip, aircraft)?;
        let ends = plan.warnings.iter().find_map(|w| match w {
            Warning::ForecastEnds(over_s) => Some(*over_s),
            _ => None,
        });
        match ends {
            Some(over_s) => Err(NotPlanned::ForecastEnds(over_s)),
            None => Ok(LaterPlan {
                totals: plan.totals,
                levels_m: plan.flown.script.cruise.iter().map(|c| c.level_m).collect(),
            }),
        }
    };
    Later {
        departure,
        by_s,
        outcome: trip.ok_or(NotPlanned::NoForecast).and_then(plan),
    }
}
