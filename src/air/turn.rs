//! Steady level-bank turns: rate, radius and load factor.
//!
//! A coordinated turn at a bank `phi`: lift `L cos phi = W` and `L sin phi = m V omega`, so
//! `omega = g tan phi / V`, `r = V / omega = V^2 / (g tan phi)`, `n = L / W = 1 / cos phi`.
//! Sources: FAA-H-8083-25 (Pilot's Handbook of Aeronautical Knowledge), chapter 5, which has the rate of turn as
//! `1,091 tan phi / V` (degrees a second, knots) and the radius as `V^2 / (11.26 tan phi)` (feet, knots); from memory. They hold in a
//! climb or descent as shallow as those flown here: the cosine of the path angle, within 1 %, is left out.

use crate::quantity::G_M_S2;

/// Rate of turn [rad/s] at a true airspeed [m/s] and a bank \[rad\]; zero without bank.
pub fn rate_rad_s(tas_m_s: f64, bank_rad: f64) -> f64 {
    G_M_S2 * bank_rad.tan() / tas_m_s
}

/// Radius \[m\] at a true airspeed [m/s] and a bank \[rad\] above zero.
pub fn radius_m(tas_m_s: f64, bank_rad: f64) -> f64 {
    tas_m_s / rate_rad_s(tas_m_s, bank_rad)
}

/// Lift over weight at a bank \[rad\] below a right angle; one without bank. Stall and manoeuvre margins go with its square root.
pub fn load_factor(bank_rad: f64) -> f64 {
    1.0 / bank_rad.cos()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{M_PER_FT, M_S_PER_KT};

    #[test]
    fn published_rate_and_radius_of_the_handbook() {
        // FAA-H-8083-25B, chapter 5, from memory: 120 kt and 30 degrees give 5.25 degrees a second and 2,215 ft, 240 kt 2.62 and
        // 8,861 ft. Half a unit of the last digit, and its constants: g in its units is 1,092.2, of which it has 1,091 (0.11 %), and
        // 11.294, of which it has 11.26 (0.30 %).
        const RATE: f64 = 1.2e-3;
        const RADIUS: f64 = 3.1e-3;
        let bank = 30.0_f64.to_radians();
        for (kt, deg_s, ft) in [(120.0, 5.25, 2_215.0), (240.0, 2.62, 8_861.0)] {
            let tas = kt * M_S_PER_KT;
            let rate = rate_rad_s(tas, bank).to_degrees();
            assert!((rate - deg_s).abs() < 0.005 + RATE * deg_s, "{rate}");
            let radius = radius_m(tas, bank) / M_PER_FT;
            assert!((radius - ft).abs() < 0.5 + RADIUS * ft, "{radius}");
        }
    }

    #[test]
    fn closed_form_load_factor() {
        assert_eq!(load_factor(0.0), 1.0);
        assert!((load_factor(60.0_f64.to_radians()) - 2.0).abs() < 1e-12);
        assert_eq!(rate_rad_s(50.0, 0.0), 0.0);
    }
}
