//! The standard atmosphere of 1976, and the altitudes pilots derive from it.
//!
//! # Conventions
//! Heights are *geopotential* metres, which is what a barometric altimeter is calibrated in. Two layers are
//! modelled: the troposphere, lapse 6.5 K/km up to 11,000 m, and the isothermal layer above it.
//!
//! Valid from -5,000 m to 20,000 m. Outside that range the functions stay finite for finite input (no panic), but
//! the numbers no longer belong to the standard. NaN gives NaN.
//!
//! Source: U.S. Standard Atmosphere, 1976 (NOAA/NASA/USAF), section 1.2 and table 4; the same constants are in
//! ISO 2533 (equation numbers cited from memory). The constants and a table computed from them are in `tests/data/isa`.

use std::sync::LazyLock;

/// Sea-level temperature of the standard, 288.15 K.
pub const SEA_LEVEL_TEMPERATURE_K: f64 = 288.15;
/// Sea-level pressure of the standard, 101,325 Pa.
pub const SEA_LEVEL_PRESSURE_PA: f64 = 101_325.0;
/// Temperature lapse of the troposphere, 0.0065 K per metre of geopotential height.
pub const LAPSE_K_M: f64 = 0.006_5;
/// Standard acceleration of gravity, 9.80665 m/s^2.
pub const GRAVITY_M_S2: f64 = 9.806_65;
/// Specific gas constant of dry air, 287.05287 J/(kg K).
pub const GAS_CONSTANT_J_KG_K: f64 = 287.052_87;
/// Ratio of the specific heats of air, 1.4.
pub const HEAT_RATIO: f64 = 1.4;
/// Height of the tropopause, 11,000 m (36,089 ft).
pub const TROPOPAUSE_M: f64 = 11_000.0;
/// Greatest height for which the two layers modelled here are the standard, 20,000 m.
pub const CEILING_M: f64 = 20_000.0;
/// Temperature of the isothermal layer, 216.65 K.
pub const TROPOPAUSE_TEMPERATURE_K: f64 = SEA_LEVEL_TEMPERATURE_K - LAPSE_K_M * TROPOPAUSE_M;
/// Sea-level density of the standard, p0/(R T0) = 1.2250 kg/m^3.
pub const SEA_LEVEL_DENSITY_KG_M3: f64 =
    SEA_LEVEL_PRESSURE_PA / (GAS_CONSTANT_J_KG_K * SEA_LEVEL_TEMPERATURE_K);

/// Exponent g/(R L) of the pressure law, 5.25588.
const PRESSURE_EXPONENT: f64 = GRAVITY_M_S2 / (GAS_CONSTANT_J_KG_K * LAPSE_K_M);

/// Scale height R T/g of the isothermal layer, 6,341.6 m.
const SCALE_HEIGHT_M: f64 = GAS_CONSTANT_J_KG_K * TROPOPAUSE_TEMPERATURE_K / GRAVITY_M_S2;

/// Powers `x^k` for many `x` in a range, by the binomial series from the nearest of its nodes; as exact as `powf`.
#[derive(Debug)]
pub(super) struct Powers {
    low: f64,
    per_unit: f64,
    /// Binomial coefficients of `(1 + e)^k` from `e` on; `e` is less than 0.008.
    series: [f64; 6],
    /// `x`, `x^k` and `1/x`.
    nodes: Vec<(f64, f64, f64)>,
}

impl Powers {
    /// Steps of less than 0.016 of the lowest `x`.
    pub(super) fn new(exponent: f64, low: f64, high: f64, steps: u32) -> Self {
        let step = (high - low) / f64::from(steps);
        let mut series = [exponent; 6];
        let mut n = 1.0;
        for i in 1..series.len() {
            series[i] = series[i - 1] * (exponent - n) / (n + 1.0);
            n += 1.0;
        }
        Self {
            low,
            per_unit: 1.0 / step,
            series,
            nodes: (0..=steps)
                .map(|i| low + step * f64::from(i))
                .map(|x| (x, x.powf(exponent), 1.0 / x))
                .collect(),
        }
    }

    /// `None` outside the range.
    #[inline]
    fn at(&self, x: f64) -> Option<f64> {
        let &(node, power, inverse) = self.nearest((x - self.low) * self.per_unit)?;
        Some(power + power * self.gain((x - node) * inverse))
    }

    /// `(1 + r)^k - 1` without loss of digits where `r` is small; `None` more than half a step outside the range. The least `x` is 1, and the nodes are exact.
    #[inline]
    pub(super) fn less_one(&self, r: f64) -> Option<f64> {
        let &(node, power, inverse) = self.nearest(r * self.per_unit)?;
        Some((power - 1.0) + power * self.gain((r - (node - 1.0)) * inverse))
    }

    /// The node nearest to so many steps from the lowest.
    #[inline]
    fn nearest(&self, steps: f64) -> Option<&(f64, f64, f64)> {
        let place = steps + 0.5;
        if place.is_nan() || place < 0.0 {
            return None;
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "not negative, and the cast saturates"
        )]
        self.nodes.get(place as u32 as usize)
    }

    /// `(1 + e)^k - 1`.
    #[inline]
    fn gain(&self, e: f64) -> f64 {
        let [a, b, c, d, f, g] = self.series;
        let e2 = e * e;
        let sum = (a + b * e) + e2 * ((c + d * e) + e2 * (f + g * e));
        e * sum
    }
}

/// Pressure over sea-level pressure by temperature over sea-level temperature, from the tropopause to 5,000 m below the sea.
static PRESSURE_OF_TEMPERATURE: LazyLock<Powers> =
    LazyLock::new(|| Powers::new(PRESSURE_EXPONENT, 0.75, 1.12, 74));

/// The inverse, for pressures near that of the sea level: altimeter settings.
static TEMPERATURE_OF_PRESSURE: LazyLock<Powers> =
    LazyLock::new(|| Powers::new(1.0 / PRESSURE_EXPONENT, 0.75, 1.15, 40));

/// Pressure at the tropopause (Pa), 22,632.
fn tropopause_pressure_pa() -> f64 {
    SEA_LEVEL_PRESSURE_PA
        * (TROPOPAUSE_TEMPERATURE_K / SEA_LEVEL_TEMPERATURE_K).powf(PRESSURE_EXPONENT)
}

/// Standard temperature (K) at a pressure altitude (m).
///
/// `T = T0 - L h` up to 11,000 m, then 216.65 K. Valid -5,000 to 20,000 m.
///
/// Source: U.S. Standard Atmosphere 1976, equation 23.
pub fn temperature_k(pressure_altitude_m: f64) -> f64 {
    if pressure_altitude_m > TROPOPAUSE_M {
        TROPOPAUSE_TEMPERATURE_K
    } else {
        SEA_LEVEL_TEMPERATURE_K - LAPSE_K_M * pressure_altitude_m
    }
}

/// Standard pressure (Pa) at a pressure altitude (m); the meaning of "pressure altitude".
///
/// `p = p0 (T/T0)^(g/(R L))` up to 11,000 m, then `p = p11 exp(-g (h - 11,000)/(R T11))`. Valid -5,000 to 20,000 m.
///
/// Source: U.S. Standard Atmosphere 1976, equations 33a and 33b.
pub fn pressure_pa(pressure_altitude_m: f64) -> f64 {
    if pressure_altitude_m > TROPOPAUSE_M {
        tropopause_pressure_pa() * (-(pressure_altitude_m - TROPOPAUSE_M) / SCALE_HEIGHT_M).exp()
    } else {
        let ratio = temperature_k(pressure_altitude_m) / SEA_LEVEL_TEMPERATURE_K;
        SEA_LEVEL_PRESSURE_PA
            * PRESSURE_OF_TEMPERATURE
                .at(ratio)
                .unwrap_or_else(|| ratio.powf(PRESSURE_EXPONENT))
    }
}

/// Standard density (kg/m^3) at a pressure altitude (m): `p/(R T)` of the two functions above.
///
/// Source: U.S. Standard Atmosphere 1976, equation 42.
pub fn density_kg_m3(pressure_altitude_m: f64) -> f64 {
    density_from_kg_m3(
        pressure_pa(pressure_altitude_m),
        temperature_k(pressure_altitude_m),
    )
}

/// Density (kg/m^3) of dry air at a pressure (Pa) and temperature (K): `p/(R T)`.
pub fn density_from_kg_m3(pressure_pa: f64, temperature_k: f64) -> f64 {
    pressure_pa / (GAS_CONSTANT_J_KG_K * temperature_k)
}

/// Pressure altitude (m) at which the standard pressure is `pressure_pa`: the exact inverse of [`pressure_pa`].
///
/// Valid for 5.5 kPa to 178 kPa (20,000 to -5,000 m); pressures of zero or less give a non-finite answer.
pub fn pressure_altitude_m(pressure_pa: f64) -> f64 {
    let p11 = tropopause_pressure_pa();
    if pressure_pa < p11 {
        TROPOPAUSE_M - SCALE_HEIGHT_M * (pressure_pa / p11).ln()
    } else {
        let ratio = pressure_pa / SEA_LEVEL_PRESSURE_PA;
        let power = TEMPERATURE_OF_PRESSURE
            .at(ratio)
            .unwrap_or_else(|| ratio.powf(1.0 / PRESSURE_EXPONENT));
        SEA_LEVEL_TEMPERATURE_K / LAPSE_K_M * (1.0 - power)
    }
}

/// Density altitude (m): the height at which the standard air is as dense as air of `density_kg_m3`.
///
/// `h = (T0/L)(1 - (rho/rho0)^(1/(g/(R L) - 1)))` below the tropopause, logarithmic above.
///
/// Source: inversion of U.S. Standard Atmosphere 1976, equation 42. Valid as [`pressure_altitude_m`].
pub fn altitude_of_density_m(density_kg_m3: f64) -> f64 {
    let rho11 = density_from_kg_m3(tropopause_pressure_pa(), TROPOPAUSE_TEMPERATURE_K);
    if density_kg_m3 < rho11 {
        TROPOPAUSE_M - SCALE_HEIGHT_M * (density_kg_m3 / rho11).ln()
    } else {
        SEA_LEVEL_TEMPERATURE_K / LAPSE_K_M
            * (1.0
                - (density_kg_m3 / SEA_LEVEL_DENSITY_KG_M3).powf(1.0 / (PRESSURE_EXPONENT - 1.0)))
    }
}

/// Density altitude (m) of dry air at a pressure altitude (m) and a temperature (K).
///
/// Exact, unlike the 120 ft per degree C rule of thumb, which reads about 100 ft high at 8,000 ft density altitude.
/// Humidity is left out: saturated air at 30 C and sea level is 1.6 % lighter, some 500 ft of density altitude.
pub fn density_altitude_m(pressure_altitude_m: f64, temperature_k: f64) -> f64 {
    altitude_of_density_m(density_from_kg_m3(
        pressure_pa(pressure_altitude_m),
        temperature_k,
    ))
}

/// Pressure altitude (m) of an aircraft whose altimeter, set to `altimeter_setting_pa`, reads `indicated_m`.
///
/// `h_p = h_i + H(setting)`, where `H` is [`pressure_altitude_m`]. The relation is exact, not a rule of 1,000 ft
/// per inch: turning the setting knob shifts the scale by the pressure altitude of the new setting.
///
/// Valid for settings from 80 kPa to 110 kPa. Source: definition of the altimeter setting (ICAO Doc 7488,
/// introduction; FAA Instrument Flying Handbook, ch. 5, altimeter).
pub fn pressure_altitude_from_indicated_m(indicated_m: f64, altimeter_setting_pa: f64) -> f64 {
    indicated_m + pressure_altitude_m(altimeter_setting_pa)
}

/// What an altimeter set to `altimeter_setting_pa` reads (m) at a pressure altitude (m): the inverse of
/// [`pressure_altitude_from_indicated_m`].
pub fn indicated_from_pressure_altitude_m(
    pressure_altitude_m: f64,
    altimeter_setting_pa: f64,
) -> f64 {
    pressure_altitude_m - self::pressure_altitude_m(altimeter_setting_pa)
}

/// Pressure (Pa) at a field of elevation `elevation_m` that reports `altimeter_setting_pa`.
///
/// The setting is that with which an altimeter at the field reads the field's elevation, whatever the temperature.
pub fn station_pressure_pa(elevation_m: f64, altimeter_setting_pa: f64) -> f64 {
    pressure_pa(pressure_altitude_from_indicated_m(
        elevation_m,
        altimeter_setting_pa,
    ))
}

/// Altimeter setting (Pa) of a field of elevation `elevation_m` where the pressure is `station_pressure_pa`: the
/// inverse of [`station_pressure_pa`].
pub fn altimeter_setting_pa(elevation_m: f64, station_pressure_pa: f64) -> f64 {
    pressure_pa(pressure_altitude_m(station_pressure_pa) - elevation_m)
}

/// Speed of sound (m/s) at a temperature (K): `sqrt(1.4 R T)`. Valid for T > 0.
///
/// Source: U.S. Standard Atmosphere 1976, equation 50.
pub fn speed_of_sound_m_s(temperature_k: f64) -> f64 {
    (HEAT_RATIO * GAS_CONSTANT_J_KG_K * temperature_k).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The series against the library's power, over the range and beyond both ends.
    #[test]
    fn closed_form_powers() {
        // Three roundings.
        const RELATIVE: f64 = 5e-16;
        for (table, exponent) in [
            (&PRESSURE_OF_TEMPERATURE, PRESSURE_EXPONENT),
            (&TEMPERATURE_OF_PRESSURE, 1.0 / PRESSURE_EXPONENT),
        ] {
            let mut inside = 0;
            for i in 0..=10_000 {
                let x = 0.7 + 5e-5 * f64::from(i);
                if let Some(power) = table.at(x) {
                    let exact = x.powf(exponent);
                    assert!((power / exact - 1.0).abs() < RELATIVE, "{x}^{exponent}");
                    inside += 1;
                }
            }
            assert!(inside > 7_000);
            assert_eq!(table.at(f64::NAN), None);
            assert_eq!(table.at(0.7), None);
            assert_eq!(table.at(f64::INFINITY), None);
        }
    }

    /// What is left of a power when one is taken away, against the library's functions that lose no digits by it.
    #[test]
    fn closed_form_powers_less_one() {
        // At a node the digits that taking one away loses there; near zero a few roundings.
        const AT_NODES: f64 = 5e-14;
        const NEAR_ZERO: f64 = 1e-15;
        let exponent = 2.0 / 7.0;
        let table = Powers::new(exponent, 1.0, 1.5, 32);
        for i in 1..=5_000 {
            let r = 1e-4 * f64::from(i);
            let exact = (exponent * r.ln_1p()).exp_m1();
            let found = table.less_one(r).expect("inside");
            assert!((found / exact - 1.0).abs() < AT_NODES, "{r}");
            let small = 1e-9 * f64::from(i);
            let exact = (exponent * small.ln_1p()).exp_m1();
            let found = table.less_one(small).expect("inside");
            assert!((found / exact - 1.0).abs() < NEAR_ZERO, "{small}");
        }
        assert_eq!(table.less_one(0.0), Some(0.0));
        for outside in [-1.0, 0.6, f64::NAN, f64::INFINITY] {
            assert_eq!(table.less_one(outside), None);
        }
    }
}
