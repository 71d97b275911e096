//! The same trip with one thing about it other than forecast or weighed.

use super::Problem;
use super::route_air::Added;

/// What is other than planned with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// This much more wind along the course at every place and height, m/s, a tail wind positive.
    AlongWind(f64),
    /// This much more load, kg.
    Load(f64),
    /// This much warmer at every place and height, K.
    Temperature(f64),
}

impl Problem {
    /// The problem with a change made to it. Pressure altitudes and altimeter settings stay; with the temperature change densities,
    /// true heights and so the legal levels, and where ice is in cloud.
    pub fn changed(&self, change: Change) -> Self {
        match change {
            Change::AlongWind(m_s) => self.in_other_air(&|_, _| Added {
                along_m_s: m_s,
                ..Added::default()
            }),
            Change::Temperature(kelvin) => self.in_other_air(&|_, _| Added {
                temperature_k: kelvin,
                ..Added::default()
            }),
            Change::Load(kg) => Self {
                zero_fuel_kg: self.zero_fuel_kg + kg,
                ..self.clone()
            },
        }
    }

    /// The problem with something added to the air at every node of its table, by column and row.
    pub(super) fn in_other_air(&self, more: &dyn Fn(usize, usize) -> Added) -> Self {
        let mut p = self.clone();
        let surface_m = |s_m: f64| {
            let share = s_m / self.length_m;
            let (a, b) = (self.departure.elevation_m, self.destination.elevation_m);
            self.pressure_altitude_m(s_m, a + share * (b - a))
        };
        p.air.add(&surface_m, more);
        p.settle_levels();
        p
    }

    /// By how much the mass at take-off is over the greatest, kg; below zero is room.
    pub fn over_take_off_kg(&self) -> f64 {
        self.zero_fuel_kg + self.fuel_kg
            - self.aircraft.procedures.taxi_fuel_kg
            - self.aircraft.masses.max_take_off_kg
    }
}

#[cfg(test)]
mod tests {
    use crate::quantity::{M_PER_FT, M_PER_NM};
    use crate::trip::RouteAir;
    use crate::trip::route_air::Added;

    fn warm_k(air: &mut RouteAir, temperature_k: f64) {
        let more = Added {
            temperature_k,
            ..Added::default()
        };
        air.add(&|_| 0.0, &|_, _| more);
    }

    fn add_along_m_s(air: &mut RouteAir, along_m_s: f64) {
        let more = Added {
            along_m_s,
            ..Added::default()
        };
        air.add(&|_| 0.0, &|_, _| more);
    }

    /// `RouteAir::uniform` sums its heights by mid-points of 500 ft: far under a metre off. A wrong anchor or sign is tens of metres off.
    const HEIGHT_M: f64 = 1.0;

    #[test]
    fn closed_form_warmed_air_is_the_air_of_that_deviation() {
        let length_m = 100.0 * M_PER_NM;
        let air = |deviation_k| RouteAir::uniform(length_m, 5.0, 3.0, deviation_k, 6_000.0);
        for kelvin in [10.0, -10.0] {
            let mut warmed = air(0.0);
            warm_k(&mut warmed, kelvin);
            let direct = air(kelvin);
            for hp_m in [0.0, 1_500.0, 4_000.0 * M_PER_FT, 5_900.0] {
                let (a, b) = (
                    warmed.at(0.4 * length_m, hp_m, 0.0),
                    direct.at(0.4 * length_m, hp_m, 0.0),
                );
                assert!((a.temperature_k - b.temperature_k).abs() < 1e-9);
                assert!(
                    (a.true_altitude_m - b.true_altitude_m).abs() < HEIGHT_M,
                    "{kelvin} K at {hp_m} m: {} {}",
                    a.true_altitude_m,
                    b.true_altitude_m
                );
                assert_eq!(a.along_m_s, b.along_m_s);
            }
        }
    }

    #[test]
    fn closed_form_changes_reach_every_slice() {
        let length_m = 100.0 * M_PER_NM;
        let changing = |deviation_k, along| {
            let air = |d| RouteAir::uniform(length_m, along, 3.0, d, 6_000.0);
            let slices = vec![(0.0, air(deviation_k)), (600.0, air(deviation_k + 4.0))];
            RouteAir::through_time(slices).expect("rising times")
        };
        let mut changed = changing(0.0, 5.0);
        warm_k(&mut changed, 10.0);
        add_along_m_s(&mut changed, -7.0);
        let direct = changing(10.0, -2.0);
        for time_s in [0.0, 250.0, 600.0] {
            for s in [0.0, 0.4 * length_m, length_m] {
                let (a, b) = (
                    changed.at(s, 2_000.0, time_s),
                    direct.at(s, 2_000.0, time_s),
                );
                assert!((a.temperature_k - b.temperature_k).abs() < 1e-9);
                assert!((a.true_altitude_m - b.true_altitude_m).abs() < HEIGHT_M);
                assert_eq!((a.along_m_s, a.cross_m_s), (b.along_m_s, b.cross_m_s));
            }
        }
    }

    #[test]
    fn closed_form_wind_is_added_at_every_height() {
        let mut air = RouteAir::uniform(10_000.0, 5.0, 3.0, 0.0, 6_000.0);
        add_along_m_s(&mut air, -7.0);
        for hp_m in [-300.0, 0.0, 5_000.0] {
            let sample = air.at(4_000.0, hp_m, 0.0);
            assert_eq!((sample.along_m_s, sample.cross_m_s), (-2.0, 3.0));
            assert_eq!(sample.along_per_m, 0.0);
        }
    }
}
