//! A season: what a year of trips takes by each policy, as figures, JSON and CSV.

use super::figures::cautions;
use super::frontier::PriceFigures;
use super::json::pretty;
use super::measure::Units;
use super::units::{Fuel, fpm, ft, kt, min, percent, plain, rpm};
use crate::quantity::M3_PER_GAL;
use crate::solve::{
    MEASURES, Measure, POLICIES, Percentiles, Policy, SeasonFlights, SeasonTrip, SeasonYear, Usual,
    YearOf, Yearly, season_year,
};
use schemars::JsonSchema;
use serde::Serialize;

/// The title of this face.
pub const SEASON_TITLE: &str =
    "Season: what a year of trips takes; advice, not a weather briefing, not a filed flight plan";

/// A season flown: what the figures are made of.
#[derive(Debug, Clone, Copy)]
pub struct Season<'a> {
    /// File of the log, as typed.
    pub log: &'a str,
    /// Name of each trip.
    pub names: &'a [String],
    /// How often a year each is flown.
    pub times: &'a [f64],
    /// The trips.
    pub trips: &'a [SeasonTrip],
    /// Name of each wind.
    pub winds: &'a [String],
    /// Where the winds are from, in words.
    pub winds_from: &'a str,
    /// Flown as usual.
    pub usual: &'a Usual,
    /// Crankshaft speed at which an hour is a tachometer hour, rev/s.
    pub tachometer_rev_s: f64,
    /// By trip and wind the flights, or why there are none.
    pub flown: &'a [Vec<Result<SeasonFlights, String>>],
}

/// What is flown as usual.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct UsualFigures {
    /// Cruise power over rated power.
    pub power_percent: f64,
    /// Crankshaft speed in cruise, or the nearest to it that may be set; at fixed pitch that which gives the power.
    pub rpm: f64,
    /// Mixture in cruise.
    pub mixture: String,
    /// Level, or the nearest to it that is allowed on each leg.
    pub altitude_ft: f64,
    /// Indicated airspeed of the climb; none: the slowest climb allowed, Vy or what cools the engine.
    pub climb_ias_kt: Option<f64>,
    /// Rate of descent.
    pub descent_fpm: f64,
}

/// What flying costs.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ChargeFigures {
    /// The hour and the gallon; with a wet rate the gallon costs nothing.
    pub prices: PriceFigures,
    /// Put aside for the overhaul, a tachometer hour.
    pub overhaul_hour_cost: f64,
    /// What one's own hour from start-up to shutdown is worth.
    pub own_hour_cost: f64,
}

/// A figure over the winds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct OverWinds {
    /// Mean.
    pub mean: f64,
    /// A tenth of the winds give less.
    pub p10: f64,
    /// Half of them do.
    pub p50: f64,
    /// Nine tenths of them do.
    pub p90: f64,
}

/// What is counted, each as `T`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct MeasureFigures<T> {
    /// Fuel from start-up to shutdown.
    pub fuel_gal: T,
    /// Hours from start-up to shutdown.
    pub clock_h: T,
    /// Hours from take-off to landing.
    pub airborne_h: T,
    /// Hours of the tachometer.
    pub tachometer_h: T,
    /// Money paid: hours, fuel and what is put aside for the overhaul.
    pub cost: T,
    /// Money paid, and what one's own time is worth.
    pub cost_with_own_time: T,
}

/// A year by one policy.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PolicyFigures {
    /// as_usual, least_time, least_fuel or least_money.
    pub policy: &'static str,
    /// The year, over the winds: had it all been flown in one of them.
    pub year: MeasureFigures<OverWinds>,
    /// Saved in a year against flying as usual, in the same wind; below zero it takes more.
    pub saved: MeasureFigures<OverWinds>,
    /// Saved in a year where every flight meets a wind of its own: between these two in eight years of ten (the sum of many flights taken for normal).
    pub saved_in_own_winds: MeasureFigures<(f64, f64)>,
}

/// A wind a trip is not flown in.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct NotFlownFigures {
    /// Name of the wind.
    pub wind: String,
    /// Why not.
    pub why: String,
}

/// One flight of a trip by one policy, the mean over the winds it is flown in.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FlightFigures {
    /// as_usual, least_time, least_fuel or least_money.
    pub policy: &'static str,
    /// The flight.
    pub mean: MeasureFigures<f64>,
    /// What it saves against the flight as usual.
    pub saved: MeasureFigures<f64>,
}

/// One trip of the season.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SeasonTripFigures {
    /// Name.
    pub name: String,
    /// Flown so often a year.
    pub times: f64,
    /// Aircraft.
    pub aircraft: String,
    /// What it costs.
    pub charges: ChargeFigures,
    /// Winds it is flown in.
    pub flown_in: usize,
    /// Winds it is not flown in.
    pub not_flown: Vec<NotFlownFigures>,
    /// One flight by each policy; empty where it is flown in no wind, and then it does not count in the year.
    pub flights: Vec<FlightFigures>,
}

/// A season in cockpit figures.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SeasonFigures {
    /// In which units the faces for eyes are.
    #[serde(skip)]
    #[schemars(skip)]
    pub units: Units,
    /// Title.
    pub title: &'static str,
    /// File of the log.
    pub log: String,
    /// Where the winds are from.
    pub winds_from: String,
    /// Name of each wind.
    pub winds: Vec<String>,
    /// Flown as usual.
    pub usual: UsualFigures,
    /// Crankshaft speed at which an hour is a tachometer hour.
    pub tachometer_rpm: f64,
    /// Flights a year that are counted.
    pub flights_a_year: f64,
    /// The year, by policy, as usual first.
    pub policies: Vec<PolicyFigures>,
    /// The trips.
    pub trips: Vec<SeasonTripFigures>,
    /// What is not checked and who decides.
    pub cautions: Vec<String>,
}

/// How a policy is called where a program reads it.
pub fn policy_word(policy: Policy) -> &'static str {
    match policy {
        Policy::Usual => "as_usual",
        Policy::Time => "least_time",
        Policy::Fuel => "least_fuel",
        Policy::Money => "least_money",
    }
}

/// A measure in its cockpit unit.
fn unit(measure: Measure, value: f64, tachometer_rev_s: f64) -> f64 {
    plain(match measure {
        Measure::Fuel => value / M3_PER_GAL,
        Measure::Clock | Measure::Airborne => value / 3_600.0,
        Measure::Revolutions => value / tachometer_rev_s / 3_600.0,
        Measure::Paid | Measure::Whole => value,
    })
}

fn measures<T, U: Copy>(
    values: &[U; 6],
    of: impl Fn(U, &dyn Fn(f64) -> f64) -> T,
    tachometer_rev_s: f64,
) -> MeasureFigures<T> {
    let [
        fuel_gal,
        clock_h,
        airborne_h,
        tachometer_h,
        cost,
        cost_with_own_time,
    ] = std::array::from_fn(|i| of(values[i], &|x| unit(MEASURES[i], x, tachometer_rev_s)));
    MeasureFigures {
        fuel_gal,
        clock_h,
        airborne_h,
        tachometer_h,
        cost,
        cost_with_own_time,
    }
}

fn spread(s: Percentiles, of: &dyn Fn(f64) -> f64) -> OverWinds {
    OverWinds {
        mean: of(s.mean),
        p10: of(s.p10),
        p50: of(s.p50),
        p90: of(s.p90),
    }
}

fn charges(trip: &SeasonTrip, tachometer_rev_s: f64) -> ChargeFigures {
    let c = &trip.charges;
    ChargeFigures {
        prices: PriceFigures::of(&c.prices, trip.aircraft.fuel.density_kg_m3),
        overhaul_hour_cost: plain(3_600.0 * tachometer_rev_s * c.overhaul_per_rev),
        own_hour_cost: plain(3_600.0 * c.own_time_per_s),
    }
}

fn year(season: &Season) -> SeasonYear {
    let yearly: Vec<Yearly> = season
        .trips
        .iter()
        .zip(season.times)
        .map(|(trip, &times)| Yearly {
            times,
            charges: trip.charges,
            density_kg_m3: trip.aircraft.fuel.density_kg_m3,
        })
        .collect();
    let flown: Vec<Vec<Option<&SeasonFlights>>> = season
        .flown
        .iter()
        .map(|winds| winds.iter().map(|f| f.as_ref().ok()).collect())
        .collect();
    season_year(&yearly, &flown)
}

impl SeasonFigures {
    /// The figures of a season; faces for eyes are in `units`, figures in the units of their keys whatever is asked for.
    pub fn in_units(season: &Season, units: Units) -> Self {
        let tach = season.tachometer_rev_s;
        let year = year(season);
        let of_policy = |(&policy, of): (&Policy, &YearOf)| PolicyFigures {
            policy: policy_word(policy),
            year: measures(&of.year, spread, tach),
            saved: measures(&of.saved, spread, tach),
            saved_in_own_winds: measures(
                &of.saved_in_own_winds,
                |(low, high), unit| (unit(low), unit(high)),
                tach,
            ),
        };
        let trips = season.trips.iter().enumerate().map(|(i, trip)| {
            let not_flown: Vec<NotFlownFigures> = season.flown[i]
                .iter()
                .zip(season.winds)
                .filter_map(|(f, wind)| {
                    let why = f.as_ref().err()?.clone();
                    let wind = wind.clone();
                    Some(NotFlownFigures { wind, why })
                })
                .collect();
            let means = year.flights[i].iter().flatten();
            let usual = means.clone().next().copied().unwrap_or_default();
            let flights = means.zip(POLICIES);
            SeasonTripFigures {
                name: season.names[i].clone(),
                times: plain(season.times[i]),
                aircraft: trip.aircraft.name.clone(),
                charges: charges(trip, tach),
                flown_in: season.winds.len() - not_flown.len(),
                not_flown,
                flights: flights
                    .map(|(mean, policy)| FlightFigures {
                        policy: policy_word(policy),
                        mean: measures(mean, |x, unit| unit(x), tach),
                        saved: measures(
                            &std::array::from_fn(|m| usual[m] - mean[m]),
                            |x, unit| unit(x),
                            tach,
                        ),
                    })
                    .collect(),
            }
        });
        let usual = season.usual;
        let mixture = usual.mixture.clone().or_else(|| {
            let engine = &season.trips.first()?.aircraft.engine;
            let best = engine.spec.mixtures.get(engine.best_power_mixture())?;
            Some(best.name.clone())
        });
        let mut said: Vec<String> = Vec::new();
        for trip in season.trips {
            for caution in cautions(&trip.aircraft) {
                if !said.contains(&caution) {
                    said.push(caution);
                }
            }
        }
        Self {
            units,
            title: SEASON_TITLE,
            log: season.log.to_owned(),
            winds_from: season.winds_from.to_owned(),
            winds: season.winds.to_vec(),
            usual: UsualFigures {
                power_percent: percent(usual.power_fraction),
                rpm: rpm(usual.rev_s),
                mixture: mixture.unwrap_or_default(),
                altitude_ft: ft(usual.level_m),
                climb_ias_kt: usual.climb_m_s.map(kt),
                descent_fpm: fpm(usual.descent_m_s),
            },
            tachometer_rpm: rpm(tach),
            flights_a_year: plain(year.flights_a_year),
            policies: POLICIES.iter().zip(&year.policies).map(of_policy).collect(),
            trips: trips.collect(),
            cautions: said,
        }
    }

    /// What every trip costs, if they all cost the same.
    pub(super) fn same_charges(&self) -> Option<&ChargeFigures> {
        let first = &self.trips.first()?.charges;
        let same = self.trips.iter().all(|t| t.charges == *first);
        same.then_some(first)
    }

    /// Whether one's own time is worth anything.
    pub(super) fn own_time(&self) -> bool {
        self.trips.iter().any(|t| t.charges.own_hour_cost > 0.0)
    }
}

/// The season as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn season_json(f: &SeasonFigures) -> Result<String, serde_json::Error> {
    pretty(f)
}

/// The flights of a season as CSV, one line for each trip in each wind by each policy, and one without a policy where it is not flown; levels are
/// parted by ";".
///
/// # Errors
/// Only if the text cannot be written to memory, which would be our bug.
pub fn season_csv(season: &Season) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        "trip",
        "times",
        "wind",
        "policy",
        "time_min",
        "block_time_min",
        "block_fuel_gal",
        "tachometer_h",
        "cost",
        "own_time_cost",
        "levels_ft",
        "not_flown",
    ])?;
    for (i, trip) in season.trips.iter().enumerate() {
        let fuel = Fuel::new(trip.aircraft.fuel.density_kg_m3);
        for (flown, wind) in season.flown[i].iter().zip(season.winds) {
            let head = [&season.names[i], &season.times[i].to_string(), wind].map(String::clone);
            match flown {
                Err(why) => {
                    let empty = std::iter::repeat_n(String::new(), 8);
                    out.write_record(head.into_iter().chain(empty).chain([why.clone()]))?;
                }
                Ok(flights) => {
                    for (f, policy) in flights.iter().zip(POLICIES) {
                        let levels: Vec<String> =
                            f.levels_m.iter().map(|&m| ft(m).to_string()).collect();
                        let hours = f.revolutions / season.tachometer_rev_s / 3_600.0;
                        let cells = [
                            policy_word(policy).to_owned(),
                            min(f.time_s).to_string(),
                            min(f.block_time_s).to_string(),
                            fuel.gal(f.block_fuel_kg).to_string(),
                            plain(hours).to_string(),
                            plain(trip.charges.paid(f)).to_string(),
                            plain(trip.charges.own_time(f)).to_string(),
                            levels.join(";"),
                            String::new(),
                        ];
                        out.write_record(head.clone().into_iter().chain(cells))?;
                    }
                }
            }
        }
    }
    out.into_inner().map_err(|e| e.into_error().into())
}
