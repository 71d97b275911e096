//! The one table of allowed ranges: it gives the check, the message and the property-test generator.

use std::fmt;

/// The allowed range of one input, in the unit the user types.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Key of the row, by which input code names it.
    pub key: &'static str,
    /// Unit as typed by the user.
    pub unit: &'static str,
    /// Least allowed value.
    pub min: f64,
    /// Greatest allowed value.
    pub max: f64,
}

/// A value outside its [`Range`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutOfRange {
    /// The value given.
    pub value: f64,
    /// The range it missed.
    pub range: Range,
}

/// From here on a number is written with a power of ten.
const MANY_DIGITS: f64 = 1e12;

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Range { unit, min, max, .. } = self.range;
        // A number of more digits than a line is wide is told by its power of ten.
        let value = match self.value {
            v if v.is_finite() && v.abs() >= MANY_DIGITS => format!("{v:e}"),
            v => v.to_string(),
        };
        write!(
            f,
            "{value} is not in the required range of {min}..={max} {unit}"
        )
    }
}

impl std::error::Error for OutOfRange {}

impl Range {
    /// Gives the value back if it is finite and inside the range.
    ///
    /// # Errors
    /// [`OutOfRange`] otherwise.
    pub fn check(self, value: f64) -> Result<f64, OutOfRange> {
        if value.is_finite() && value >= self.min && value <= self.max {
            Ok(value)
        } else {
            Err(OutOfRange { value, range: self })
        }
    }
}

const fn row(key: &'static str, unit: &'static str, min: f64, max: f64) -> Range {
    Range {
        key,
        unit,
        min,
        max,
    }
}

/// Every bounded input. The bounds are those of the aeroplanes and trips this tool is for, wide enough for any
/// light piston aeroplane and narrow enough that a value in the wrong unit fails.
const TABLE: &[Range] = &[
    row("latitude", "deg", -90.0, 90.0),
    row("longitude", "deg", -180.0, 180.0),
    row("elevation", "ft", -1_500.0, 15_000.0),
    row("altitude", "ft", -1_500.0, 45_000.0),
    row("height", "ft", 0.0, 30_000.0),
    row("distance", "nm", 0.0, 3_000.0),
    row("speed", "kt", 20.0, 400.0),
    row("wind speed", "kt", 0.0, 250.0),
    row("direction", "deg", 0.0, 360.0),
    row("temperature", "C", -80.0, 60.0),
    row("altimeter setting", "inHg", 26.0, 32.0),
    row("manifold pressure", "inHg", 5.0, 60.0),
    row("pressure difference", "inHg", 0.0, 10.0),
    row("pressure rate", "inHg/min", 0.1, 30.0),
    row("rpm", "rpm", 300.0, 4_000.0),
    row("rpm step", "rpm", 1.0, 500.0),
    row("map step", "inHg", 0.05, 5.0),
    row("speed step", "kt", 0.5, 20.0),
    row("mass", "lb", 0.0, 20_000.0),
    row("fuel", "gal", 0.0, 600.0),
    row("fuel flow", "gph", 0.0, 100.0),
    row("fuel density", "lb/gal", 5.0, 8.0),
    row("minutes", "min", 0.0, 600.0),
    row("hours", "h", 0.0, 48.0),
    row("power", "hp", 20.0, 1_500.0),
    row("percent", "%", 0.0, 100.0),
    row("power percent", "%", 20.0, 100.0),
    row("displacement", "cu in", 50.0, 2_000.0),
    row("compression ratio", "", 5.0, 14.0),
    row("volumetric efficiency", "", 0.5, 1.1),
    row("fraction", "", 0.0, 1.0),
    row("factor", "", 0.5, 1.2),
    row("fuel-air ratio", "", 0.035, 0.13),
    row("friction coefficient", "bar", 0.0, 5.0),
    row("wing area", "sq ft", 30.0, 1_000.0),
    row("drag coefficient", "", 0.005, 0.1),
    row("drag increment", "", 0.0, 0.2),
    row("induced drag factor", "", 0.02, 0.15),
    row("propeller diameter", "in", 40.0, 120.0),
    row("blades", "", 2.0, 6.0),
    row("blade angle", "deg", 5.0, 90.0),
    row("blade station", "r/R", 0.1, 1.0),
    row("blade chord", "chord/R", 0.01, 0.5),
    row("blade thickness", "thickness/chord", 0.02, 1.0),
    row("blade twist", "deg", -40.0, 60.0),
    row("temperature difference", "C", 0.0, 60.0),
    row("isa deviation", "C", -60.0, 60.0),
    row("altitude step", "ft", 10.0, 10_000.0),
    row("rate of descent", "fpm", 50.0, 4_000.0),
    row("price", "in your money", 0.0, 100_000.0),
    row("variation", "deg", -180.0, 180.0),
    row("flap setting", "deg", 0.0, 90.0),
    row("seats", "", 1.0, 20.0),
    row("usable fuel", "gal", 1.0, 600.0),
    row("allowance", "gal", 0.0, 20.0),
    row("relative power", "", 0.3, 1.0),
    row("chord scale", "", 0.4, 2.5),
    row("tank time", "min", 5.0, 240.0),
    row("circuit time", "min", 0.0, 60.0),
    row("reserve", "min", 0.0, 240.0),
    row("pattern distance", "nm", 0.0, 30.0),
    row("track tolerance", "nm", 0.1, 20.0),
    row("clearance", "ft", 500.0, 10_000.0),
    row("corridor", "nm", 0.5, 20.0),
    row("margin", "nm", 0.0, 20.0),
    row("keep-out height", "ft", -1_500.0, 100_000.0),
    row("ISA deviation", "C", -60.0, 60.0),
    row("rate of climb", "fpm", -2_000.0, 6_000.0),
    row("glide ratio", "", 2.0, 40.0),
    row("trust", "", 0.001, 1_000.0),
    row("standard error percent", "%", 0.1, 50.0),
    row("map standard error", "inHg", 0.02, 3.0),
    row("engines", "", 1.0, 2.0),
    row("exhaust pressure rise", "", 0.0, 2.0),
    row("compressor efficiency", "", 0.4, 0.9),
    row("year", "", 1990.0, 2099.0),
    row("wind error", "kt", 0.0, 60.0),
    row("temperature error", "C", 0.0, 20.0),
    row("correlation distance", "nm", 1.0, 100_000.0),
    row("correlation height", "ft", 100.0, 1_000_000.0),
    row("samples", "", 1.0, 100_000.0),
    row("flights a year", "", 0.0, 10_000.0),
    row("wind component", "kt", -250.0, 250.0),
    row("correlation", "", -1.0, 1.0),
];

/// The row of that key.
///
/// # Panics
/// If there is no such row: keys are literals of this crate, and a test asks for each of them.
pub fn range(key: &str) -> Range {
    match TABLE.iter().find(|r| r.key == key) {
        Some(r) => *r,
        None => panic!("no range named {key:?} in the table"),
    }
}

/// Every row, for tests and documentation.
pub fn all() -> &'static [Range] {
    TABLE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_ranges_reject_what_is_outside() {
        assert!(!TABLE.is_empty());
        for r in TABLE {
            assert!(r.min < r.max, "{}", r.key);
            assert!(r.check(r.min).is_ok() && r.check(r.max).is_ok());
            let below = r.min - 1e-3 * (r.max - r.min);
            for bad in [f64::NAN, f64::INFINITY, below, r.max * 1.01 + 1.0] {
                assert!(r.check(bad).is_err(), "{} {bad}", r.key);
            }
        }
    }

    #[test]
    fn closed_form_keys_are_unique() {
        for (i, a) in TABLE.iter().enumerate() {
            assert!(TABLE[i + 1..].iter().all(|b| b.key != a.key), "{}", a.key);
        }
    }
}
