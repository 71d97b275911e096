//! On to the alternate: the flight from a go-around at the destination, planned like any other.

use super::circling;
use super::search::on_schedule;
use super::{SolveError, Totals};
use crate::aircraft::Aircraft;
use crate::quantity::M_PER_FT;
use crate::trip::{
    Airspace, Alternate, Arrival, Bounds, FuelLoad, Limits, Problem, ProblemError, Start, Trip,
    Weather, resolve,
};

/// The go-around begins this high over the destination, m: 50 ft, where a threshold is crossed.
const GO_AROUND_M: f64 = 50.0 * M_PER_FT;

/// The flight to the alternate.
#[derive(Debug, Clone, PartialEq)]
pub struct AlternateFlight {
    /// Identifier.
    pub ident: String,
    /// Length of the way, m.
    pub distance_m: f64,
    /// Magnetic course at its middle, rad.
    pub magnetic_rad: f64,
    /// Level it is flown at, the last where there are several, m indicated.
    pub level_m: f64,
    /// Least cruise altitude, m indicated.
    pub minimum_m: f64,
    /// Go-around to landing, s.
    pub time_s: f64,
    /// The same, kg.
    pub fuel_kg: f64,
    /// Lets down circling over the alternate from this indicated altitude, if it does, m.
    pub let_down_from_m: Option<f64>,
}

/// Why there is no flight to the alternate.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AlternateError {
    /// The question does not fit together.
    #[error("on to the alternate {ident}: {source}")]
    Problem {
        /// The alternate.
        ident: String,
        /// What does not fit.
        source: ProblemError,
    },
    /// It does, but nothing can be flown.
    #[error("on to the alternate {ident}: {source}")]
    Solve {
        /// The alternate.
        ident: String,
        /// Why not.
        source: SolveError,
    },
}

/// The flight that goes on from the end of a plan, with the fuel left there. Where that is not enough it is flown with as much as the
/// aircraft can carry, so that what it takes can be said.
pub(super) fn on_to(
    trip: &Trip,
    alternate: &Alternate,
    aircraft: &Aircraft,
    problem: &Problem,
    plan: &Totals,
) -> Result<AlternateFlight, AlternateError> {
    let most_kg = aircraft
        .fuel
        .usable_kg
        .min(aircraft.masses.max_take_off_kg - problem.zero_fuel_kg);
    let left_kg = plan.landing_fuel_kg.min(most_kg);
    match flown(trip, alternate, aircraft, problem, plan, left_kg) {
        Err(AlternateError::Solve { .. }) if left_kg < most_kg => {
            flown(trip, alternate, aircraft, problem, plan, most_kg)
        }
        other => other,
    }
}

fn flown(
    trip: &Trip,
    alternate: &Alternate,
    aircraft: &Aircraft,
    problem: &Problem,
    plan: &Totals,
    fuel_kg: f64,
) -> Result<AlternateFlight, AlternateError> {
    let ident = || alternate.place.ident.clone();
    let wrong = |source| AlternateError::Problem {
        ident: ident(),
        source,
    };
    let destination = trip
        .places
        .last()
        .cloned()
        .ok_or_else(|| wrong(ProblemError::TooFewPlaces(0)))?;
    let landing = jiff::SignedDuration::try_from_secs_f64(plan.block_time_s)
        .ok()
        .and_then(|s| trip.departure_time.checked_add(s).ok())
        .unwrap_or(trip.departure_time);
    let onward = Trip {
        title: trip.title.clone(),
        departure_time: landing,
        start: Start::InFlight {
            indicated_m: problem.destination.elevation_m + GO_AROUND_M,
            ias_m_s: aircraft.procedures.pattern_m_s,
        },
        places: vec![destination, alternate.place.clone()],
        ground: vec![alternate.leg()],
        fuel: FuelLoad::Kg(fuel_kg),
        weather: Weather {
            departure_altimeter_pa: trip.weather.destination_altimeter_pa,
            departure_temperature_k: trip.weather.destination_temperature_k,
            destination_temperature_k: None,
            ..trip.weather.clone()
        },
        limits: Limits {
            // Kept at the end of both flights, and counted with the first.
            reserve_s: 0.0,
            ..trip.limits.clone()
        },
        arrival: Arrival {
            pattern_altitude_m: alternate.pattern_altitude_m,
            ..trip.arrival
        },
        airspace: Airspace {
            clouds: trip
                .airspace
                .clouds
                .iter()
                .filter_map(|cloud| cloud.from_the_end_of(problem.length_m))
                .collect(),
            ..trip.airspace.clone()
        },
        bounds: Bounds::default(),
        alternate: None,
        ..trip.clone()
    };
    let resolved = resolve(&onward, aircraft.clone()).map_err(wrong)?;
    let (_, flight) =
        circling::found(on_schedule(&resolved)).map_err(|source| AlternateError::Solve {
            ident: ident(),
            source,
        })?;
    let levels = &flight.flown.script.cruise;
    Ok(AlternateFlight {
        ident: ident(),
        distance_m: resolved.length_m,
        magnetic_rad: resolved.legs[0].magnetic_rad,
        level_m: levels.last().map_or(f64::NAN, |c| c.level_m),
        minimum_m: alternate.minimum_m,
        time_s: flight.flown.time_s,
        fuel_kg: flight.flown.fuel_kg,
        let_down_from_m: flight.flown.script.descent.circle.map(|c| c.height_m),
    })
}
