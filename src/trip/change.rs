//! The same trip with one thing about it other than forecast or weighed.

use super::{Problem, legal_levels};

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
    /// true heights and so the legal levels.
    pub fn changed(&self, change: Change) -> Self {
        let mut p = self.clone();
        match change {
            Change::AlongWind(m_s) => p.air.add_along_m_s(m_s),
            Change::Load(kg) => p.zero_fuel_kg += kg,
            Change::Temperature(kelvin) => {
                p.air.warm_k(kelvin, &|s_m| {
                    let share = s_m / self.length_m;
                    let (a, b) = (self.departure.elevation_m, self.destination.elevation_m);
                    self.pressure_altitude_m(s_m, a + share * (b - a))
                });
                p.levels = p.legs.iter().map(|l| legal_levels(&p, l)).collect();
            }
        }
        p
    }

    /// By how much the mass at take-off is over the greatest, kg; below zero is room.
    pub fn over_take_off_kg(&self) -> f64 {
        self.zero_fuel_kg + self.fuel_kg
            - self.aircraft.procedures.taxi_fuel_kg
            - self.aircraft.masses.max_take_off_kg
    }
}
