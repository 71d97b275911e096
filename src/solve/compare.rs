//! One trip flown by several aircraft, each planned by itself.

use super::least::{TripError, plan_trip};
use super::plan::Plan;
use super::workers::each_of;
use crate::aircraft::Aircraft;
use crate::trip::{FuelLoad, Problem, ProblemError, Trip};

/// A trip planned for one aircraft, with as much of the fuel asked for as it can take.
#[derive(Debug, Clone)]
pub struct Fitted {
    /// The trip made definite for it.
    pub problem: Problem,
    /// Its plan.
    pub plan: Plan,
    /// By how much less fuel than asked for is on board, and what does not let it take more; `None` where all is.
    pub less: Option<(f64, KeptOff)>,
}

/// What keeps fuel on the ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeptOff {
    /// The tanks are full.
    Tanks,
    /// The greatest take-off weight is reached.
    TakeOffWeight,
}

/// The fuel a trip asks for, cut to what the aircraft takes with the load of the trip \[kg\], and why; `None` where it takes all.
fn fitted(trip: &Trip, aircraft: &Aircraft) -> Option<(f64, f64, KeptOff)> {
    let FuelLoad::Kg(asked_kg) = trip.fuel else {
        return None;
    };
    let by_weight_kg = aircraft.masses.max_take_off_kg - aircraft.masses.empty_kg - trip.load_kg
        + aircraft.procedures.taxi_fuel_kg;
    let (most_kg, why) = if by_weight_kg < aircraft.fuel.usable_kg {
        (by_weight_kg, KeptOff::TakeOffWeight)
    } else {
        (aircraft.fuel.usable_kg, KeptOff::Tanks)
    };
    // Rounding of a weight does not count.
    (most_kg < asked_kg - 1e-6 && most_kg > 0.0).then_some((most_kg, asked_kg - most_kg, why))
}

/// Plans a trip for an aircraft. Fuel that it cannot take, for its tanks or its weight, stays on the ground; people and baggage do not.
///
/// # Errors
/// [`TripError`]; with less fuel than asked for, of the trip with that.
pub fn plan_as_fits(trip: &Trip, aircraft: &Aircraft) -> Result<Fitted, TripError> {
    let all = plan_trip(trip, aircraft);
    let too_much = matches!(
        all,
        Err(TripError::Problem(
            ProblemError::Tanks { .. } | ProblemError::TooHeavy { .. }
        ))
    );
    match fitted(trip, aircraft).filter(|_| too_much) {
        None => all.map(|(problem, plan)| Fitted {
            problem,
            plan,
            less: None,
        }),
        Some((most_kg, by_kg, why)) => {
            let lighter = Trip {
                fuel: FuelLoad::Kg(most_kg),
                ..trip.clone()
            };
            plan_trip(&lighter, aircraft).map(|(problem, plan)| Fitted {
                problem,
                plan,
                less: Some((by_kg, why)),
            })
        }
    }
}

/// [`plan_as_fits`] for each of several aircraft, each with the trip as read for it; on so many threads, the answers the same on any number.
pub fn compare(asked: &[(Trip, Aircraft)], threads: usize) -> Vec<Result<Fitted, TripError>> {
    each_of(threads, asked, |(trip, aircraft)| {
        plan_as_fits(trip, aircraft)
    })
}
