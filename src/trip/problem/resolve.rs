//! From what is asked to the problem.

use super::cost::CostRates;
use super::error::ProblemError;
use super::sample::sample_air;
use super::{Field, Leg, Note, Problem, nothing_before_flight};
use crate::air::{isa, triangle};
use crate::aircraft::{Aircraft, Speeds};
use crate::earth::{geodesic, magnetic};
use crate::quantity::{M_PER_FT, M_S_PER_KT};
use crate::trip::levels::halves;
use crate::trip::{
    Circling, FuelLoad, Limits, Place, Roughness, RouteAir, Rules, Start, Trip, airspace,
};
use jiff::tz::TimeZone;

/// A first guess of the ground speed, m/s.
const FIRST_GUESS_M_S: f64 = 70.0;

fn field_of(place: &Place, altimeter_pa: f64) -> Result<Field, ProblemError> {
    Ok(Field {
        ident: place.ident.clone(),
        elevation_m: place
            .elevation_m
            .ok_or_else(|| ProblemError::NoElevation(place.ident.clone()))?,
        datum_m: isa::pressure_altitude_m(altimeter_pa),
    })
}

/// Bands of air one after the other that are equally rough as one: where they meet is no place for anything.
fn joined_bands(air: &[(f64, Roughness)]) -> Vec<(f64, Roughness)> {
    let mut bands: Vec<(f64, Roughness)> = Vec::with_capacity(air.len());
    for &(top_m, rough) in air {
        match bands.last_mut() {
            Some(last) if last.1 == rough => last.0 = top_m,
            _ => bands.push((top_m, rough)),
        }
    }
    // Above the last it is light.
    while bands.last().is_some_and(|b| b.1 == Roughness::Light) {
        bands.pop();
    }
    bands
}

/// Makes a trip definite for an aircraft.
///
/// # Errors
/// [`ProblemError`] with what does not fit.
pub fn resolve(trip: &Trip, aircraft: Aircraft) -> Result<Problem, ProblemError> {
    let (Some(first), Some(last)) = (trip.places.first(), trip.places.last()) else {
        return Err(ProblemError::TooFewPlaces(trip.places.len()));
    };
    if trip.places.len() < 2 {
        return Err(ProblemError::TooFewPlaces(trip.places.len()));
    }
    if trip.ground.len() != trip.places.len() - 1 {
        return Err(ProblemError::GroundCount {
            legs: trip.places.len() - 1,
            ground: trip.ground.len(),
        });
    }
    let mut aircraft = aircraft;
    let mut first = first.clone();
    if let Start::InFlight { indicated_m, .. } = trip.start {
        nothing_before_flight(&mut aircraft.procedures);
        // Nothing below hangs on it where it is not known: the air table needs some height to begin with.
        let ground_m = match trip.ground[0].ground.first() {
            Some(g) => g.1,
            None => first.elevation_m.unwrap_or(0.0),
        };
        first.elevation_m = Some(ground_m);
        if indicated_m <= ground_m {
            return Err(ProblemError::StartInGround {
                start_ft: indicated_m / M_PER_FT,
                ground_ft: ground_m / M_PER_FT,
            });
        }
        if trip.fuel == FuelLoad::Least {
            return Err(ProblemError::LeastInFlight);
        }
    }
    let departure = field_of(&first, trip.weather.departure_altimeter_pa)?;
    let destination = field_of(last, trip.weather.destination_altimeter_pa)?;
    if trip.arrival.pattern_altitude_m <= destination.elevation_m {
        return Err(ProblemError::Pattern {
            pattern_ft: trip.arrival.pattern_altitude_m / M_PER_FT,
            field_ft: destination.elevation_m / M_PER_FT,
        });
    }
    let date = trip.departure_time.to_zoned_datetime(TimeZone::UTC).date();
    let mut notes = trip.notes.clone();
    let mut legs = Vec::new();
    let mut geodesics = Vec::new();
    let mut along_m = 0.0;
    for (pair, ground) in trip.places.windows(2).zip(&trip.ground) {
        let (from, to) = (pair[0].ident.clone(), pair[1].ident.clone());
        let line = geodesic::Leg::new(pair[0].position, pair[1].position).map_err(|source| {
            ProblemError::Leg {
                from: from.clone(),
                to: to.clone(),
                source,
            }
        })?;
        let true_rad = line.course_mid_rad();
        let mut variation_at = |share: f64| match trip.variation_rad {
            Some(v) => Ok(v),
            None => {
                let there = line.point_at(share * line.distance_m());
                let v = magnetic::variation(there, ground.minimum_m, date).map_err(|source| {
                    ProblemError::Magnetic {
                        from: from.clone(),
                        to: to.clone(),
                        source,
                    }
                })?;
                if v.date_outside_model && !notes.contains(&Note::MagneticDate) {
                    notes.push(Note::MagneticDate);
                }
                Ok(v.variation_rad)
            }
        };
        let variation_rad = variation_at(0.5)?;
        let magnetic_ends_rad = [
            triangle::wrap_rad(line.course_start_rad() - variation_at(0.0)?),
            triangle::wrap_rad(line.course_end_rad() - variation_at(1.0)?),
        ];
        let to_m = along_m + line.distance_m();
        let along_route = |rows: &[(f64, f64)]| {
            let mut start = along_m;
            let mut stretches: Vec<(f64, f64, f64)> = Vec::new();
            for &(end, height_m) in rows {
                let end = (along_m + end).min(to_m);
                if end > start {
                    // Rows of one height are one stretch.
                    match stretches.last_mut() {
                        Some(last) if last.2 == height_m => last.1 = end,
                        _ => stretches.push((start, end, height_m)),
                    }
                    start = end;
                }
            }
            if let Some(s) = stretches.last_mut() {
                s.1 = to_m;
            }
            stretches
        };
        legs.push(Leg {
            from,
            to,
            line,
            from_m: along_m,
            to_m,
            true_rad,
            magnetic_rad: triangle::wrap_rad(true_rad - variation_rad),
            magnetic_ends_rad,
            variation_rad,
            ground: along_route(&ground.ground),
            under_track: along_route(&ground.under_track),
            minimum_m: ground.minimum_m,
            maximum_m: ground.maximum_m,
            mountainous: ground.mountainous,
            ground_source: ground.source.clone(),
        });
        geodesics.push(line);
        along_m = to_m;
    }
    let unknown = legs.iter().filter(|l: &&Leg| l.ground.is_empty());
    let unknown: Vec<_> = unknown.map(|l| (l.from.clone(), l.to.clone())).collect();
    if !unknown.is_empty() {
        notes.push(Note::NoTerrain(unknown));
    }
    let fuel_kg = match trip.fuel {
        FuelLoad::Kg(kg) => kg,
        FuelLoad::Least => aircraft.fuel.usable_kg.min(
            aircraft.masses.max_take_off_kg - aircraft.masses.empty_kg - trip.load_kg
                + aircraft.procedures.taxi_fuel_kg,
        ),
    };
    let gal_per_kg = 1.0 / (aircraft.fuel.density_kg_m3 * crate::quantity::M3_PER_GAL);
    if fuel_kg > aircraft.fuel.usable_kg + 1e-6 {
        return Err(ProblemError::Tanks {
            fuel_gal: fuel_kg * gal_per_kg,
            usable_gal: aircraft.fuel.usable_kg * gal_per_kg,
        });
    }
    let zero_fuel_kg = aircraft.masses.empty_kg + trip.load_kg;
    let take_off_kg = zero_fuel_kg + fuel_kg - aircraft.procedures.taxi_fuel_kg;
    if trip.fuel != FuelLoad::Least && fuel_kg <= aircraft.procedures.taxi_fuel_kg {
        return Err(ProblemError::NoFuel {
            fuel_gal: fuel_kg * gal_per_kg,
            taxi_gal: aircraft.procedures.taxi_fuel_kg * gal_per_kg,
        });
    }
    if let Start::InFlight { ias_m_s, .. } = trip.start {
        let greatest_kg = aircraft.masses.max_take_off_kg;
        let stall_m_s = Speeds::at_mass(aircraft.speeds.vs_m_s, take_off_kg, greatest_kg);
        if !(stall_m_s..=aircraft.speeds.vne_m_s).contains(&ias_m_s) {
            return Err(ProblemError::StartSpeed {
                start_kt: ias_m_s / M_S_PER_KT,
                stall_kt: stall_m_s / M_S_PER_KT,
                never_kt: aircraft.speeds.vne_m_s / M_S_PER_KT,
            });
        }
    }
    if take_off_kg > aircraft.masses.max_take_off_kg + 1e-6 || fuel_kg <= 0.0 {
        let lb = crate::quantity::KG_PER_LB;
        return Err(ProblemError::TooHeavy {
            mass_lb: take_off_kg / lb,
            max_lb: aircraft.masses.max_take_off_kg / lb,
            over_lb: (take_off_kg - aircraft.masses.max_take_off_kg) / lb,
        });
    }
    let mut problem = Problem {
        aircraft,
        title: trip.title.clone(),
        departure_time: trip.departure_time,
        start: trip.start,
        valid_until: trip.weather.valid_until,
        sources: trip.weather.sources.clone(),
        length_m: along_m,
        air: RouteAir::of_legs(vec![]),
        departure,
        destination,
        zero_fuel_kg,
        fuel_kg,
        alternate_kg: 0.0,
        alternate_ground_m: trip.alternate.as_ref().and_then(|to| {
            let heights = to.ground.iter().map(|row| row.1);
            heights.reduce(f64::max)
        }),
        objective: trip.objective,
        prices: trip.prices,
        limits: Limits {
            air: joined_bands(&trip.limits.air),
            ..trip.limits.clone()
        },
        rules: trip.rules,
        night: trip.night,
        arrival: trip.arrival,
        levels: vec![],
        forbidden: airspace::patches(trip, &geodesics, along_m, 0.0),
        forbidden_to_turns: airspace::patches(trip, &geodesics, along_m, airspace::TURNING_ROOM_M),
        clouds: trip.airspace.clouds.clone(),
        bounds: trip.bounds,
        charge: CostRates::default(),
        clock: vec![],
        circling: Circling::default(),
        notes,
        legs,
    };
    let mut slices = Vec::with_capacity(trip.weather.forecasts.len());
    for forecast in &trip.weather.forecasts {
        let since = forecast.valid.duration_since(trip.departure_time);
        let lift_off_s = problem.aircraft.procedures.taxi_time_s;
        let air = sample_air(&forecast.field, &geodesics, &mut problem)?;
        slices.push((since.as_secs_f64() - lift_off_s, air));
    }
    problem.air = RouteAir::through_time(slices).ok_or(ProblemError::ForecastTimes)?;
    if !problem.air.is_steady() {
        problem.clock = vec![(0.0, 0.0), (along_m, along_m / FIRST_GUESS_M_S)];
    }
    problem.settle_levels();
    for leg in &problem.legs {
        if problem.rules != Rules::None && halves(leg, problem.limits.sector_from_rad) == [true; 2]
        {
            let [start, end] = leg.magnetic_ends_rad;
            problem.notes.push(Note::NearSplit {
                from: leg.from.clone(),
                to: leg.to.clone(),
                magnetic_rad: [start, leg.magnetic_rad, end],
            });
        }
    }
    Ok(problem)
}
