//! In which units fuel, fuel flow, weight and the altimeter setting are written for eyes, and to which step.
//!
//! Figures stay in the units of their keys; here alone they are turned into the units a pilot asked for, and rounded to the safe side
//! after that, once. Feet, knots, nautical miles, °C and the inches of manifold pressure are the same in both.

use super::words::{down, near, number, up};
use crate::quantity::{KG_PER_LB, M3_PER_GAL, PA_PER_INHG};
use std::fmt;

/// Units of volume, weight and air pressure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Units {
    /// US gallons, pounds, inches of mercury.
    #[default]
    Us,
    /// Litres, kilograms, hectopascals.
    Metric,
}

/// A figure as it is written, and its unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Amount {
    /// The figure alone, for the column of a table whose head names the unit.
    pub(super) figure: String,
    /// The unit.
    pub(super) unit: &'static str,
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.figure, self.unit)
    }
}

/// What a figure is rounded to.
#[derive(Debug, Clone, Copy)]
struct Step {
    size: f64,
    places: usize,
}

const fn step(size: f64, places: usize) -> Step {
    Step { size, places }
}

impl Step {
    /// Rounded so to whole steps, and written.
    fn write(self, x: f64, round: fn(f64, i32) -> f64) -> String {
        number(round(x / self.size, 0) * self.size, self.places)
    }
}

/// The units of one system and their steps.
struct System {
    volume: &'static str,
    flow: &'static str,
    volume_of_a_gallon: f64,
    /// In tables and sentences.
    table: Step,
    /// On the card, read in a shaking cockpit against a gauge: about half a gallon.
    card: Step,
    /// Of a year, and of weights as they are.
    whole: Step,
    /// Differences between plans.
    fine: Step,
    /// What the re-flight misses.
    trace: Step,
    /// Miles on a unit of volume.
    range: Step,
    weight: &'static str,
    weight_of_a_pound: f64,
    weights: Step,
    pressure: &'static str,
    pressure_of_an_inch: f64,
}

const US: System = System {
    volume: "gal",
    flow: "gph",
    volume_of_a_gallon: 1.0,
    table: step(0.1, 1),
    card: step(0.5, 1),
    whole: step(1.0, 0),
    fine: step(0.01, 2),
    trace: step(0.001, 3),
    range: step(0.1, 1),
    weight: "lb",
    weight_of_a_pound: 1.0,
    weights: step(10.0, 0),
    pressure: "inHg",
    pressure_of_an_inch: 1.0,
};

/// Each step is the round one next to that in gallons or pounds: a tenth of a gallon is 0.38 L, half a gallon 1.9 L, ten pounds 4.5 kg;
/// a whole litre is the shortest.
const METRIC: System = System {
    volume: "L",
    flow: "L/h",
    volume_of_a_gallon: M3_PER_GAL * 1_000.0,
    table: step(0.5, 1),
    card: step(2.0, 0),
    whole: step(1.0, 0),
    fine: step(0.1, 1),
    trace: step(0.01, 2),
    range: step(0.01, 2),
    weight: "kg",
    weight_of_a_pound: KG_PER_LB,
    weights: step(5.0, 0),
    pressure: "hPa",
    pressure_of_an_inch: PA_PER_INHG / 100.0,
};

/// A setting reported in whole hectopascals is that many still after it went through inches, hPa.
const WHOLE_HPA: f64 = 0.01;

impl Units {
    fn system(self) -> &'static System {
        match self {
            Self::Us => &US,
            Self::Metric => &METRIC,
        }
    }

    /// Unit of fuel.
    pub(super) fn volume(self) -> &'static str {
        self.system().volume
    }

    /// Unit of fuel flow.
    pub(super) fn flow_unit(self) -> &'static str {
        self.system().flow
    }

    /// Unit of weight.
    pub(super) fn weight_unit(self) -> &'static str {
        self.system().weight
    }

    /// A volume of fuel \[gal\] in this unit, not rounded: for the axis of a chart.
    pub(super) fn of_gallons(self, gal: f64) -> f64 {
        gal * self.system().volume_of_a_gallon
    }

    fn fuel(self, gal: f64, step: Step, round: fn(f64, i32) -> f64) -> Amount {
        Amount {
            figure: step.write(self.of_gallons(gal), round),
            unit: self.volume(),
        }
    }

    /// Fuel burned or needed \[gal\], rounded up.
    pub(super) fn burned(self, gal: f64) -> Amount {
        self.fuel(gal, self.system().table, up)
    }

    /// Fuel left or saved \[gal\], rounded down.
    pub(super) fn left(self, gal: f64) -> Amount {
        self.fuel(gal, self.system().table, down)
    }

    /// Fuel noted in flight \[gal\], to the nearest.
    pub(super) fn noted(self, gal: f64) -> Amount {
        self.fuel(gal, self.system().table, near)
    }

    /// Fuel needed \[gal\], on the card.
    pub(super) fn needed_on_card(self, gal: f64) -> Amount {
        self.fuel(gal, self.system().card, up)
    }

    /// Fuel left \[gal\], on the card.
    pub(super) fn left_on_card(self, gal: f64) -> Amount {
        self.fuel(gal, self.system().card, down)
    }

    /// A difference in fuel \[gal\], rounded as the caller's table does.
    pub(super) fn difference(self, gal: f64, round: fn(f64, i32) -> f64) -> Amount {
        self.fuel(gal, self.system().fine, round)
    }

    /// A small error in fuel \[gal\], to the nearest.
    pub(super) fn trace(self, gal: f64) -> Amount {
        self.fuel(gal, self.system().trace, near)
    }

    /// Fuel flow \[gph\], rounded up.
    pub(super) fn flow(self, gph: f64) -> Amount {
        Amount {
            unit: self.flow_unit(),
            ..self.burned(gph)
        }
    }

    /// Fuel of a year \[gal\] where there is no room for tenths, to the nearest.
    pub(super) fn in_whole(self, gal: f64) -> Amount {
        self.fuel(gal, self.system().whole, near)
    }

    /// How far a unit of fuel goes \[nm/gal\], its figure alone.
    pub(super) fn nm_per_volume(self, nm_per_gal: f64, round: fn(f64, i32) -> f64) -> String {
        let system = self.system();
        let x = nm_per_gal / system.volume_of_a_gallon;
        system.range.write(x, round)
    }

    /// Two flows \[gph\] beside each other, to the nearest.
    pub(super) fn mean_flow(self, gph: f64) -> Amount {
        Amount {
            unit: self.flow_unit(),
            ..self.noted(gph)
        }
    }

    fn pounds(self, lb: f64, step: Step, round: fn(f64, i32) -> f64) -> Amount {
        let system = self.system();
        Amount {
            figure: step.write(lb * system.weight_of_a_pound, round),
            unit: system.weight,
        }
    }

    /// A weight \[lb\], rounded up.
    pub(super) fn weight(self, lb: f64) -> Amount {
        self.pounds(lb, self.system().weights, up)
    }

    /// A weight too much \[lb\], rounded up to a whole one.
    pub(super) fn overweight(self, lb: f64) -> Amount {
        self.pounds(lb, self.system().whole, up)
    }

    /// A load or a weight as it is \[lb\], to a whole one.
    pub(super) fn load(self, lb: f64) -> Amount {
        self.pounds(lb, self.system().whole, near)
    }

    /// An altimeter setting \[inHg\]: in hectopascals whole ones and down, as they are reported (WMO-No. 306, FM 15; from memory), where it
    /// reads low.
    pub(super) fn altimeter(self, inhg: f64) -> Amount {
        let system = self.system();
        let x = inhg * system.pressure_of_an_inch;
        Amount {
            figure: match self {
                Self::Us => number(x, 2),
                Self::Metric => (x + WHOLE_HPA).floor().to_string(),
            },
            unit: system.pressure,
        }
    }

    /// Money for a gallon, in money for a unit of volume.
    pub(super) fn price(self, per_gal: f64) -> String {
        number(per_gal / self.system().volume_of_a_gallon, 2)
    }

    /// "gallon" or "litre".
    pub(super) fn volume_word(self) -> &'static str {
        match self {
            Self::Us => "gallon",
            Self::Metric => "litre",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_litres_are_rounded_after_they_are_litres() {
        // A US gallon is 231 cubic inches, 3.785411784 L (NIST Handbook 44, appendix C).
        let m = Units::Metric;
        for (gal, burned, left) in [
            (15.82, "60.0 L", "59.5 L"),   // 59.885
            (37.95, "144.0 L", "143.5 L"), // 143.656
            (10.0, "38.0 L", "37.5 L"),    // 37.854
            (0.5 / 3.785_411_784, "0.5 L", "0.5 L"),
        ] {
            assert_eq!(m.burned(gal).to_string(), burned, "{gal}");
            assert_eq!(m.left(gal).to_string(), left, "{gal}");
        }
        assert_eq!(m.left_on_card(37.95).to_string(), "142 L");
        assert_eq!(m.needed_on_card(37.95).to_string(), "144 L");
        assert_eq!(m.flow(6.55).to_string(), "25.0 L/h"); // 24.794
        assert_eq!(m.difference(-0.05, near).to_string(), "-0.2 L"); // -0.189
        assert_eq!(m.price(6.0), "1.59");
        assert_eq!(m.nm_per_volume(17.9, down), "4.72"); // 4.7287
        assert_eq!(m.in_whole(1_000.0).to_string(), "3,785 L"); // 3,785.41
    }

    #[test]
    fn closed_form_gallons_are_as_they_were() {
        let us = Units::Us;
        assert_eq!(us.burned(15.82).to_string(), "15.9 gal");
        assert_eq!(us.left(37.95).to_string(), "37.9 gal");
        assert_eq!(us.left_on_card(37.95).to_string(), "37.5 gal");
        assert_eq!(us.needed_on_card(37.55).to_string(), "38.0 gal");
        assert_eq!(us.weight(2_341.0).to_string(), "2,350 lb");
        assert_eq!(us.altimeter(29.92).to_string(), "29.92 inHg");
        assert_eq!(us.price(6.0), "6.00");
        assert_eq!(us.nm_per_volume(17.96, down), "17.9");
        assert_eq!(us.in_whole(1_000.4).to_string(), "1,000 gal");
    }

    #[test]
    fn closed_form_weights_and_altimeter_settings() {
        // A pound is 0.45359237 kg, a conventional inch of mercury 3,386.389 Pa (both NIST SP 811, appendix B).
        let m = Units::Metric;
        assert_eq!(m.weight(2_341.0).to_string(), "1,065 kg"); // 1,061.9
        assert_eq!(m.load(100.0).to_string(), "45 kg");
        assert_eq!(m.overweight(44.1).to_string(), "21 kg"); // 20.003
        assert_eq!(m.altimeter(29.92).to_string(), "1013 hPa"); // 1,013.2
        assert_eq!(m.altimeter(30.10).to_string(), "1019 hPa"); // 1,019.3
        // What was reported whole, by way of inches to a millionth.
        for hpa in 950..=1_050 {
            let inhg = (f64::from(hpa) / 33.863_89 * 1e6).round() / 1e6;
            assert_eq!(m.altimeter(inhg).figure, hpa.to_string());
        }
    }
}
