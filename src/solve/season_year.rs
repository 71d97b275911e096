//! What the flights of a season come to in a year.

use super::percentiles::Percentiles;
use super::season::{Charges, FlightOf, SeasonFlights};

/// What is counted of a year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// Fuel from start-up to shutdown, m³.
    Fuel,
    /// Time from start-up to shutdown, s.
    Clock,
    /// Time from take-off to landing, s.
    Airborne,
    /// Revolutions of the crankshaft.
    Revolutions,
    /// Money paid.
    Paid,
    /// Money paid, and what one's own time is worth.
    Whole,
}

/// Every measure, in the order of the figures of a year.
pub const MEASURES: [Measure; 6] = [
    Measure::Fuel,
    Measure::Clock,
    Measure::Airborne,
    Measure::Revolutions,
    Measure::Paid,
    Measure::Whole,
];

impl Measure {
    fn of(self, yearly: &Yearly, flight: &FlightOf) -> f64 {
        let charges = &yearly.charges;
        match self {
            Self::Fuel => flight.block_fuel_kg / yearly.density_kg_m3,
            Self::Clock => flight.block_time_s,
            Self::Airborne => flight.time_s,
            Self::Revolutions => flight.revolutions,
            Self::Paid => charges.paid(flight),
            Self::Whole => charges.paid(flight) + charges.own_time(flight),
        }
    }
}

/// How often a trip is flown, and what it is counted with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Yearly {
    /// Flights a year.
    pub times: f64,
    /// What they cost.
    pub charges: Charges,
    /// Density of the fuel, kg/m³.
    pub density_kg_m3: f64,
}

fn mean(values: &[f64]) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "hundreds of winds")]
    let n = values.len() as f64;
    values.iter().sum::<f64>() / n
}

/// Of a sample, from the mean of it; nought of one value.
fn variance(values: &[f64]) -> f64 {
    let middle = mean(values);
    #[expect(clippy::cast_precision_loss, reason = "hundreds of winds")]
    let free = values.len().saturating_sub(1).max(1) as f64;
    values.iter().map(|x| (x - middle).powi(2)).sum::<f64>() / free
}

/// How values, one in each wind, are spread.
fn over_winds(values: &[f64]) -> Percentiles {
    Percentiles::of(values.iter().copied()).unwrap_or(Percentiles::NONE)
}

/// A tenth of a normal distribution lies this many standard deviations below its mean, and a tenth above (from memory; a test integrates it).
const TENTH_SIGMA: f64 = 1.281_551_565_544_6;

/// A year by one policy: by measure as in [`MEASURES`].
#[derive(Debug, Clone, PartialEq)]
pub struct YearOf {
    /// The year, had it all been flown in one of the winds.
    pub year: [Percentiles; 6],
    /// The same saved against flying as usual.
    pub saved: [Percentiles; 6],
    /// Between these lie eight years of ten where every flight meets a wind of its own, saved against flying as usual.
    pub saved_in_own_winds: [(f64, f64); 6],
}

/// What the flights of a season come to.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonYear {
    /// By policy as in [`super::POLICIES`].
    pub policies: Vec<YearOf>,
    /// Of each trip by policy the means of one flight over the winds it is flown in; `None` of one flown in no wind.
    pub flights: Vec<Option<Vec<[f64; 6]>>>,
    /// Flights a year that are counted.
    pub flights_a_year: f64,
}

/// What a season comes to; `flown` has the flights of each trip in each wind.
///
/// A trip that is not flown in a wind waits for another: in that wind it counts with its mean over those in which it is. One flown in none does
/// not count.
pub fn season_year(trips: &[Yearly], flown: &[Vec<Option<&SeasonFlights>>]) -> SeasonYear {
    let policies = super::POLICIES.len();
    let winds = flown.iter().map(Vec::len).max().unwrap_or(0);
    let of = |trip: usize, policy: usize, measure: Measure| -> Vec<Option<f64>> {
        let each = flown[trip].iter();
        each.map(|f| f.map(|f| measure.of(&trips[trip], &f[policy])))
            .collect()
    };
    let known = |values: &[Option<f64>]| -> Vec<f64> { values.iter().flatten().copied().collect() };
    let counts: Vec<bool> = flown
        .iter()
        .map(|t| t.iter().any(Option::is_some))
        .collect();
    let counted = || (0..flown.len()).filter(|&t| counts[t]);
    // The year in each wind.
    let in_winds = |policy: usize, measure: Measure| -> Vec<f64> {
        let mut years = vec![0.0; winds];
        for trip in counted() {
            let values = of(trip, policy, measure);
            let waits = mean(&known(&values));
            for (year, value) in years.iter_mut().zip(values) {
                *year += trips[trip].times * value.unwrap_or(waits);
            }
        }
        years
    };
    let own_winds = |policy: usize, measure: Measure, saved: f64| -> (f64, f64) {
        let variance: f64 = counted()
            .map(|trip| {
                let usual = known(&of(trip, 0, measure));
                let own = known(&of(trip, policy, measure));
                let saved: Vec<f64> = usual.iter().zip(&own).map(|(a, b)| a - b).collect();
                trips[trip].times * variance(&saved)
            })
            .sum();
        let off = TENTH_SIGMA * variance.sqrt();
        (saved - off, saved + off)
    };
    let of_policy = |policy: usize| {
        let years = MEASURES.map(|m| in_winds(policy, m));
        let usual = MEASURES.map(|m| in_winds(0, m));
        let saved: [Percentiles; 6] = std::array::from_fn(|m| {
            let saved: Vec<f64> = usual[m].iter().zip(&years[m]).map(|(a, b)| a - b).collect();
            over_winds(&saved)
        });
        YearOf {
            year: std::array::from_fn(|m| over_winds(&years[m])),
            saved,
            saved_in_own_winds: std::array::from_fn(|m| {
                own_winds(policy, MEASURES[m], saved[m].mean)
            }),
        }
    };
    let means = |trip: usize| {
        counts[trip].then(|| {
            (0..policies)
                .map(|p| MEASURES.map(|m| mean(&known(&of(trip, p, m)))))
                .collect()
        })
    };
    SeasonYear {
        policies: (0..policies).map(of_policy).collect(),
        flights: (0..flown.len()).map(means).collect(),
        flights_a_year: counted().map(|t| trips[t].times).sum(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trip::{HourBasis, Prices};

    /// Sums of a few numbers below ten thousand.
    const ROUNDING: f64 = 1e-9;

    fn charges(basis: HourBasis) -> Charges {
        Charges {
            prices: Prices {
                per_s: 0.03,
                basis,
                fuel_per_kg: 2.5,
            },
            overhaul_per_rev: 1e-4,
            own_time_per_s: 0.01,
        }
    }

    fn flight(time_s: f64, fuel_kg: f64) -> FlightOf {
        FlightOf {
            time_s,
            block_time_s: time_s + 480.0,
            block_fuel_kg: fuel_kg,
            revolutions: 40.0 * time_s,
            levels_m: vec![],
        }
    }

    #[test]
    fn closed_form_money_of_a_flight() {
        // 3,600 s in the air, 4,080 by the clock, 144,000 revolutions (3,600 s at 40 rev/s), 30 kg at 2.5, 14.4 for the overhaul.
        let f = flight(3_600.0, 30.0);
        for (basis, hours) in [
            (HourBasis::Airborne, 0.03 * 3_600.0),
            (HourBasis::Clock, 0.03 * 4_080.0),
            (HourBasis::Tachometer(50.0), 0.03 * 2_880.0),
        ] {
            let c = charges(basis);
            assert!((c.paid(&f) - (hours + 75.0 + 14.4)).abs() < ROUNDING);
            assert!((c.own_time(&f) - 40.8).abs() < ROUNDING);
        }
    }

    #[test]
    fn closed_form_a_tenth_of_the_normal_distribution() {
        // Simpson's rule over the density from the mean to TENTH_SIGMA: 0.4.
        let density = |x: f64| (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt();
        let n = 200;
        let h = TENTH_SIGMA / f64::from(n);
        let weight = |i: i32| match i {
            0 | 200 => 1.0,
            i if i % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let sum: f64 = (0..=n).map(|i| weight(i) * density(h * f64::from(i))).sum();
        assert!((sum * h / 3.0 - 0.4).abs() < 1e-10);
    }

    #[test]
    fn closed_form_a_year_is_its_flights_and_those_that_wait_count_with_their_mean() {
        // Two trips, 3 and 10 times a year, in two winds; the second is flown in the first wind alone; a third is flown in none.
        let of = |usual: f64, best: f64| -> SeasonFlights {
            [usual, best, best, best].map(|kg| flight(100.0 * kg, kg))
        };
        let a = [of(20.0, 18.0), of(30.0, 26.0)];
        let b = of(10.0, 9.0);
        let flown = vec![
            vec![Some(&a[0]), Some(&a[1])],
            vec![Some(&b), None],
            vec![None, None],
        ];
        let c = charges(HourBasis::Clock);
        let trips = [3.0, 10.0, 4.0].map(|times| Yearly {
            times,
            charges: c,
            density_kg_m3: 1.0,
        });
        let year = season_year(&trips, &flown);
        assert_eq!(year.flights_a_year, 13.0);
        assert!(year.flights[2].is_none());
        // Fuel as usual: 3 x 20 + 10 x 10 = 160 and 3 x 30 + 10 x 10 = 190; saved 3 x 2 + 10 = 16 and 3 x 4 + 10 = 22.
        let usual = &year.policies[0];
        assert!((usual.year[0].mean - 175.0).abs() < ROUNDING);
        assert!((usual.year[0].p90 - 187.0).abs() < ROUNDING);
        assert_eq!(usual.saved[0].p90, 0.0);
        let time = &year.policies[1];
        assert!((time.saved[0].mean - 19.0).abs() < ROUNDING);
        assert!((time.saved[0].p10 - 16.6).abs() < ROUNDING);
        // In winds of their own: the first saves 2 or 4 kg, variance 2 of the sample, three times a year; the second always 1.
        let off = TENTH_SIGMA * 6.0_f64.sqrt();
        let (low, high) = time.saved_in_own_winds[0];
        assert!((low - (19.0 - off)).abs() < ROUNDING && (high - (19.0 + off)).abs() < ROUNDING);
        // Money paid is that of each flight.
        let paid = 3.0 * 0.5 * (c.paid(&a[0][1]) + c.paid(&a[1][1])) + 10.0 * c.paid(&b[1]);
        assert!((time.year[4].mean - paid).abs() < ROUNDING);
        assert!(time.year[5].mean > time.year[4].mean);
    }
}
