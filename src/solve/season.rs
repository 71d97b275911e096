//! A season: each of its trips in each of some winds, flown for least time, least fuel and least money, and as usual.
//!
//! Every flight is searched for, rounded and flown as that of a plan; what explains a plan (ideal flight, alternatives) is left out. Of the
//! flights of a trip in a wind each policy takes the one that is best for it, whichever search came by it.

use super::alternate;
use super::circling;
use super::least::FUEL_STEP_M3;
use super::plan::Draft;
use super::refine::{MOVE_WORTH, lever_changes};
use super::search::{reflown, totals};
use super::usual::{Usual, usual_flight};
use super::workers::each_of;
use super::{SolveError, TripError};
use crate::air::{FieldError, WindField};
use crate::aircraft::Aircraft;
use crate::flight::{Flown, Limit};
use crate::trip::{
    Bounds, CostRates, Forecast, FuelLoad, HourBasis, Objective, Prices, Problem, Trip, Weather,
    resolve,
};
use std::borrow::Cow;

/// How a season is flown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Policy {
    /// A fixed way, whatever the wind.
    Usual,
    /// Least time.
    Time,
    /// Least fuel.
    Fuel,
    /// Least money, one's own time charged.
    Money,
}

/// Every policy, in the order of [`SeasonFlights`].
pub const POLICIES: [Policy; 4] = [Policy::Usual, Policy::Time, Policy::Fuel, Policy::Money];

/// What flying costs, besides what the trip says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charges {
    /// The hour and the fuel.
    pub prices: Prices,
    /// Put aside for the overhaul of the engine, for each revolution.
    pub overhaul_per_rev: f64,
    /// What one's own time is worth, for each second from start-up to shutdown.
    pub own_time_per_s: f64,
}

impl Charges {
    /// What least money charges besides prices.
    fn besides(&self) -> CostRates {
        CostRates {
            per_s: self.own_time_per_s,
            per_kg: 0.0,
            per_rev: self.overhaul_per_rev,
        }
    }

    /// What is paid for a flight: hours, fuel and what is put aside for the overhaul.
    pub fn paid(&self, flight: &FlightOf) -> f64 {
        let hours = match self.prices.basis {
            HourBasis::Clock => flight.block_time_s,
            HourBasis::Airborne => flight.time_s,
            HourBasis::Tachometer(reference_rev_s) => flight.revolutions / reference_rev_s,
        };
        self.prices.per_s * hours
            + self.prices.fuel_per_kg * flight.block_fuel_kg
            + self.overhaul_per_rev * flight.revolutions
    }

    /// What one's own time in a flight is worth.
    pub fn own_time(&self, flight: &FlightOf) -> f64 {
        self.own_time_per_s * flight.block_time_s
    }
}

/// What one flight takes.
#[derive(Debug, Clone, PartialEq)]
pub struct FlightOf {
    /// Take-off to landing, s.
    pub time_s: f64,
    /// Start-up to shutdown, s.
    pub block_time_s: f64,
    /// Start-up to shutdown, kg.
    pub block_fuel_kg: f64,
    /// Revolutions of the crankshaft from take-off to landing.
    pub revolutions: f64,
    /// Cruise levels, first to last, m indicated.
    pub levels_m: Vec<f64>,
}

/// A trip in a wind, by policy as in [`POLICIES`].
pub type SeasonFlights = [FlightOf; 4];

/// Why a trip is not flown in a wind.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SeasonError {
    /// No plan.
    #[error(transparent)]
    Plan(#[from] TripError),
    /// There is no air to fly in.
    #[error("no wind there: {0}")]
    Air(#[from] FieldError),
    /// The usual way breaks limits.
    #[error("as usual it cannot be flown{}", said(.0))]
    Usual(Vec<Limit>),
}

fn said(limits: &[Limit]) -> String {
    let words: Vec<&str> = limits.iter().map(|l| l.words()).collect();
    if words.is_empty() {
        String::new()
    } else {
        format!("; limits in the way: {}", words.join(", "))
    }
}

/// A trip of a season. Its own forecasts, prices and bounds are put aside.
#[derive(Debug, Clone)]
pub struct SeasonTrip {
    /// The trip.
    pub trip: Trip,
    /// Its aircraft.
    pub aircraft: Aircraft,
    /// What it costs.
    pub charges: Charges,
}

impl SeasonTrip {
    /// The trip in a wind that does not change.
    pub fn in_wind(&self, field: WindField) -> Trip {
        Trip {
            prices: self.charges.prices,
            bounds: Bounds::default(),
            weather: Weather {
                forecasts: vec![Forecast {
                    valid: self.trip.departure_time,
                    field,
                }],
                ..self.trip.weather.clone()
            },
            ..self.trip.clone()
        }
    }
}

/// What a flight costs a policy, lever changes charged as the search charges them.
fn charged(rates: CostRates, flown: &Flown) -> f64 {
    rates.of(flown.time_s, flown.fuel_kg, flown.revolutions)
        * (1.0 + MOVE_WORTH * lever_changes(&flown.script))
}

/// A problem as one policy has it.
fn asked(problem: &Problem, objective: Objective, charges: &Charges) -> Problem {
    Problem {
        objective,
        charge: if objective == Objective::Money {
            charges.besides()
        } else {
            CostRates::default()
        },
        ..problem.clone()
    }
}

type Found = (Problem, Draft);

/// The best flight of a problem, straight or else circling. Bounds are none.
fn found(problem: &Problem) -> Result<Found, SolveError> {
    let (problem, draft) = circling::found(Cow::Borrowed(problem))?;
    Ok((problem.into_owned(), draft))
}

/// The quickest flight with the fuel of the trip, or the least load that leaves its reserve on that and on the usual flight; the problem it was found for has the load and the
/// fuel for the alternate, which every policy then carries.
fn quickest(of: &SeasonTrip, trip: &Trip, way: &Usual) -> Result<Found, TripError> {
    let with = |fuel: FuelLoad| -> Result<Found, TripError> {
        let trip = Trip {
            fuel,
            ..trip.clone()
        };
        let problem = resolve(&trip, of.aircraft.clone())?;
        let (mut problem, draft) = found(&asked(&problem, Objective::Time, &of.charges))?;
        let Some(to) = &trip.alternate else {
            return Ok((problem, draft));
        };
        let ends = totals(&problem, &draft.flown);
        let on = alternate::on_to(&trip, to, &of.aircraft, &problem, &ends).map_err(Box::new)?;
        problem.alternate_kg = on.fuel_kg;
        if totals(&problem, &draft.flown).fuel_required_kg > problem.fuel_kg {
            return Ok(found(&problem)?);
        }
        Ok((problem, draft))
    };
    let heaviest = with(trip.fuel)?;
    if trip.fuel != FuelLoad::Least {
        return Ok(heaviest);
    }
    let (problem, draft) = &heaviest;
    let needed_kg = |flown: &Flown| totals(problem, flown).fuel_required_kg;
    let as_usual = usual_flight(problem, way).map_or(0.0, |f| needed_kg(&f));
    let step_kg = FUEL_STEP_M3 * of.aircraft.fuel.density_kg_m3;
    let steps = (needed_kg(&draft.flown).max(as_usual) / step_kg - 1e-9).ceil();
    // The lighter aeroplane needs less; where rounding has it otherwise the heavier one stands.
    with(FuelLoad::Kg(steps * step_kg)).or(Ok(heaviest))
}

/// A trip flown in a wind by every policy, with the fuel that the trip has on board.
///
/// # Errors
/// [`SeasonError`] when one of them cannot be flown: then there is nothing to compare.
pub fn season_flights(
    of: &SeasonTrip,
    field: WindField,
    way: &Usual,
) -> Result<SeasonFlights, SeasonError> {
    let trip = of.in_wind(field);
    let (base, quickest) = quickest(of, &trip, way)?;
    let as_usual = usual_flight(&base, way).map_err(SeasonError::Usual)?;
    let least = |objective| -> Result<Found, TripError> {
        Ok(found(&asked(&base, objective, &of.charges))?)
    };
    let (fuel, thriftiest) = least(Objective::Fuel)?;
    let (money, cheapest) = least(Objective::Money)?;
    // The usual flight is a plan where it keeps every limit and is confirmed as a plan is.
    let density = of.aircraft.fuel.density_kg_m3;
    let confirmed =
        as_usual.audit.violation() == 0.0 && reflown(&base, &as_usual).within_bounds(density);
    let mut all = vec![&quickest.flown, &thriftiest.flown, &cheapest.flown];
    all.extend(confirmed.then_some(&as_usual));
    let best = |problem: &Problem| {
        let rates = problem.cost_rates();
        let least = all
            .iter()
            .min_by(|a, b| charged(rates, a).total_cmp(&charged(rates, b)));
        flight_of(problem, least.copied().unwrap_or(&quickest.flown))
    };
    Ok([
        flight_of(&base, &as_usual),
        best(&base),
        best(&fuel),
        best(&money),
    ])
}

/// Flies trips in winds, pairs of indices, on so many threads; each is told to `done` as soon as it is flown, in any order, and what it comes to
/// does not hang on the number of threads. `wind` gives the wind \[by index\] over a trip.
pub fn fly_season(
    trips: &[SeasonTrip],
    wind: impl Fn(usize, usize) -> Result<WindField, FieldError> + Sync,
    way: &Usual,
    pairs: &[(usize, usize)],
    threads: usize,
    done: impl Fn(usize, usize, &Result<SeasonFlights, SeasonError>) + Sync,
) -> Vec<Result<SeasonFlights, SeasonError>> {
    each_of(threads, pairs, |&(trip, of_wind)| {
        let flown = wind(trip, of_wind)
            .map_err(SeasonError::Air)
            .and_then(|field| season_flights(&trips[trip], field, way));
        done(trip, of_wind, &flown);
        flown
    })
}

fn flight_of(problem: &Problem, flown: &Flown) -> FlightOf {
    let t = totals(problem, flown);
    FlightOf {
        time_s: t.time_s,
        block_time_s: t.block_time_s,
        block_fuel_kg: t.block_fuel_kg,
        revolutions: flown.revolutions,
        levels_m: flown.script.cruise.iter().map(|c| c.level_m).collect(),
    }
}
