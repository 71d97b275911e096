//! A trip from the question as asked: fuel given, or the least that leaves the reserve; with the alternate, if it has one.

use super::alternate::{self, AlternateError, AlternateFlight};
use super::circling;
use super::plan::Draft;
use super::search::{on_schedule, past_forecast_s, set_clock, totals};
use super::why;
use super::{Plan, SolveError, Warning};
use crate::aircraft::Aircraft;
use crate::flight::Flown;
use crate::quantity::M3_PER_GAL;
use crate::trip::{FuelLoad, Problem, ProblemError, Trip, resolve};

/// Fuel is loaded in multiples of this, m³ (half a US gallon).
pub(super) const FUEL_STEP_M3: f64 = 0.5 * M3_PER_GAL;
/// Loads tried. Each is the last flight's need, and a lighter aeroplane needs less, so a few suffice.
const MOST_LOADS: usize = 8;

/// Why a trip has no plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TripError {
    /// The question does not fit together.
    #[error(transparent)]
    Problem(#[from] ProblemError),
    /// It does, but nothing can be flown.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// There is no flight to the alternate.
    #[error(transparent)]
    Alternate(#[from] Box<AlternateError>),
}

/// Makes a trip definite and plans it. With [`FuelLoad::Least`] the load is the least multiple of half a gallon that covers the
/// block fuel, the fuel for the alternate and the reserve of the plan flown with that load.
///
/// # Errors
/// [`TripError`].
pub fn plan_trip(trip: &Trip, aircraft: &Aircraft) -> Result<(Problem, Plan), TripError> {
    let told = |(problem, draft, alternate): Found| {
        let mut plan = Plan {
            alternate,
            ..why::told(&problem, draft).0
        };
        if let Some(on) = &plan.alternate
            && past_forecast_s(&problem, plan.totals.time_s).is_none()
        {
            let over_s = past_forecast_s(&problem, plan.totals.time_s + on.time_s);
            plan.warnings
                .extend(over_s.map(Warning::ForecastEndsOnward));
        }
        (problem, plan)
    };
    loaded(trip, aircraft, told, |_, plan| plan.totals.fuel_required_kg)
}

/// The flight of [`plan_trip`] without what a plan tells besides: ideal flight, sensitivity, alternatives on record.
///
/// # Errors
/// [`TripError`].
pub fn flight_of_trip(trip: &Trip, aircraft: &Aircraft) -> Result<(Problem, Flown), TripError> {
    let chosen = |(problem, draft, _): Found| {
        let flown = why::chosen(&problem, draft);
        (problem, flown)
    };
    loaded(trip, aircraft, chosen, |problem, flown| {
        totals(problem, flown).fuel_required_kg
    })
}

type Found = (Problem, Draft, Option<AlternateFlight>);

/// What a draft is told as, with the load asked for; `required_kg` is the fuel that takes.
fn loaded<T>(
    trip: &Trip,
    aircraft: &Aircraft,
    told: impl Fn(Found) -> (Problem, T),
    required_kg: impl Fn(&Problem, &T) -> f64,
) -> Result<(Problem, T), TripError> {
    let with = |fuel: FuelLoad| -> Result<Found, TripError> {
        let problem = resolve(
            &Trip {
                fuel,
                ..trip.clone()
            },
            aircraft.clone(),
        )?;
        let (mut problem, mut answer) = circling::planned(on_schedule(&problem))?;
        let mut onward = None;
        if let Some(to) = &trip.alternate {
            let ends = totals(&problem, &answer.flown);
            let on = alternate::on_to(trip, to, aircraft, &problem, &ends).map_err(Box::new)?;
            problem.to_mut().alternate_kg = on.fuel_kg;
            // A plan that leaves enough is the best of those that do.
            if totals(&problem, &answer.flown).fuel_required_kg > problem.fuel_kg {
                (problem, answer) = circling::planned(problem)?;
            }
            onward = Some(on);
        }
        set_clock(&mut problem, &answer.flown);
        Ok((problem.into_owned(), answer, onward))
    };
    let needed_kg = |(problem, draft, _): &Found| totals(problem, &draft.flown).fuel_required_kg;
    let mut found = with(trip.fuel)?;
    if trip.fuel != FuelLoad::Least {
        return Ok(told(found));
    }
    let step_kg = FUEL_STEP_M3 * aircraft.fuel.density_kg_m3;
    let steps = |kg: f64| (kg / step_kg - 1e-9).ceil();
    let mut load = steps(needed_kg(&found));
    let mut least: Option<(Problem, T)> = None;
    for _ in 0..MOST_LOADS {
        match with(FuelLoad::Kg(load * step_kg)) {
            Ok(next) => {
                let need = steps(needed_kg(&next));
                if need < load {
                    (found, load) = (next, need);
                    continue;
                }
                // An alternative that becomes the plan may need less.
                let next = told(next);
                let need = steps(required_kg(&next.0, &next.1));
                if need >= load {
                    return Ok(next);
                }
                (least, load) = (Some(next), need);
            }
            // The load of the flight before was the least after all, or the next step up is.
            Err(TripError::Solve(_)) => match least {
                Some(before) => return Ok(before),
                None => load += 1.0,
            },
            Err(e) => return Err(e),
        }
    }
    Ok(least.unwrap_or_else(|| told(found)))
}
