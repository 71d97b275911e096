//! Quantities: unit newtypes for public edges, unit factors for `files`, `brief` and `cli`, and the one
//! table of allowed ranges.
//!
//! # Conventions
//! Inside the crate every number is in base SI units; a raw `f64` carries its unit as a suffix of its name
//! (`_m`, `_pa`, `_m_s`, `_kg_s`, `_rad`, `_k`). Cockpit units exist only in `files`, `brief` and `cli`, which
//! convert through the constructors and accessors here. Two quantities of one dimension and different meaning
//! (indicated and pressure altitude, IAS and TAS) are different types.

mod draw;
mod ranges;

pub use draw::{Draw, even_share, normal_below};
pub use ranges::{OutOfRange, Range, all as all_ranges, range};

/// Metres in a foot (international foot, exact by definition).
pub const M_PER_FT: f64 = 0.3048;
/// Metres in a nautical mile (exact by definition).
pub const M_PER_NM: f64 = 1852.0;
/// Metres per second in a knot.
pub const M_S_PER_KT: f64 = M_PER_NM / 3600.0;
/// Metres per second in a foot per minute.
pub const M_S_PER_FPM: f64 = M_PER_FT / 60.0;
/// Pascals in an inch of mercury at 0 °C (NIST SP 811, table B.8).
pub const PA_PER_INHG: f64 = 3386.389;
/// Kilograms in a pound (exact by definition).
pub const KG_PER_LB: f64 = 0.453_592_37;
/// Cubic metres in a US gallon (exact by definition).
pub const M3_PER_GAL: f64 = 3.785_411_784e-3;
/// Watts in a horsepower of 550 ft lbf/s.
pub const W_PER_HP: f64 = 745.699_871_582_270_2;
/// Cubic metres in a cubic inch (exact by definition).
pub const M3_PER_CUIN: f64 = 1.638_706_4e-5;
/// Kelvin at 0 °C.
pub const ZERO_C_K: f64 = 273.15;
/// Standard acceleration of free fall, m/s² (CGPM 1901).
pub const G_M_S2: f64 = 9.806_65;

/// Declares one newtype over `f64` in a base SI unit with a constructor and an accessor for each unit.
macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $si:ident / $to_si:ident, $($from:ident / $to:ident = $factor:expr),* $(,)?) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// From the base SI unit.
            pub const fn $si(value: f64) -> Self { Self(value) }
            /// In the base SI unit.
            pub const fn $to_si(self) -> f64 { self.0 }
            $(
                /// From the unit in the name.
                pub fn $from(value: f64) -> Self { Self(value * $factor) }
                /// In the unit in the name.
                pub fn $to(self) -> f64 { self.0 / $factor }
            )*
        }
    };
}

quantity!(
    /// What the altimeter shows with the altimeter setting of the place set.
    IndicatedAltitude, m / to_m, ft / to_ft = M_PER_FT);
quantity!(
    /// Height in the standard atmosphere at which the pressure is that of the air outside.
    PressureAltitude, m / to_m, ft / to_ft = M_PER_FT);
quantity!(
    /// Geometric height above mean sea level.
    TrueAltitude, m / to_m, ft / to_ft = M_PER_FT);
quantity!(
    /// Indicated airspeed; equal to calibrated airspeed unless the aircraft profile has a correction table.
    Ias, m_s / to_m_s, kt / to_kt = M_S_PER_KT);
quantity!(
    /// True airspeed.
    Tas, m_s / to_m_s, kt / to_kt = M_S_PER_KT);
quantity!(
    /// Manifold pressure, absolute.
    ManifoldPressure, pa / to_pa, inhg / to_inhg = PA_PER_INHG);
quantity!(
    /// Crankshaft speed; the propeller turns with it (no gearing).
    Rpm, rev_s / to_rev_s, per_min / to_per_min = (1.0 / 60.0));
quantity!(
    /// A distance along the route.
    Distance, m / to_m, nm / to_nm = M_PER_NM);
quantity!(
    /// A mass.
    Mass, kg / to_kg, lb / to_lb = KG_PER_LB);
quantity!(
    /// A span of time.
    Duration, s / to_s, min / to_min = 60.0, h / to_h = 3600.0);

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative rounding of one multiplication and one division.
    const ROUND_TRIP: f64 = 1e-14;

    #[test]
    fn closed_form_units_go_round() {
        for x in [0.1, 29.92, 2700.0, 9500.0] {
            assert!((ManifoldPressure::inhg(x).to_inhg() / x - 1.0).abs() < ROUND_TRIP);
            assert!((Rpm::per_min(x).to_per_min() / x - 1.0).abs() < ROUND_TRIP);
            assert!((Ias::kt(x).to_kt() / x - 1.0).abs() < ROUND_TRIP);
        }
    }

    #[test]
    fn published_unit_factors() {
        // NIST SP 811 appendix B.8 (from memory): 1 kt = 0.514444 m/s, 1 hp (550 ft lbf/s) = 745.6999 W,
        // 1 US gal = 3.785412e-3 m3, 1 cu in = 1.638706e-5 m3.
        assert!((M_S_PER_KT - 0.514_444).abs() < 5e-7);
        assert!((W_PER_HP - 745.6999).abs() < 5e-5);
        assert!((M3_PER_GAL - 3.785_412e-3).abs() < 5e-10);
        assert!((M3_PER_CUIN - 1.638_706e-5).abs() < 5e-12);
    }
}
