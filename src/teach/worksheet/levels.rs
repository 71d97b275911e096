//! Cruising levels of the rules.

use super::exercise::{Draft, Ending, Exercise, Grade, Topic, Unit};
use crate::quantity::Draw;
use crate::trip::{Rules, rule_allows};

const VFR: &str = "14 CFR 91.159(a): more than 3,000 ft above the ground, magnetic course 0 to 179 odd thousands plus 500 ft, 180 to 359 \
                   even thousands plus 500 ft";
const CLOUD: &str = "14 CFR 91.159(a), and 91.155(a): in Class E airspace below 10,000 ft MSL at least 500 ft below cloud";
const IFR: &str = "14 CFR 91.179(b): uncontrolled airspace below 18,000 ft, magnetic course 0 to 179 odd thousands, 180 to 359 even thousands";
const EXACT: &str = "the rule leaves no room";
/// So near the split of the half circles nothing is asked: a pilot there looks twice.
const CLEAR_DEG: f64 = 6.0;

/// A direction, 001 to 360.
fn turned(deg: f64) -> f64 {
    Unit::Direction.rounded(deg.rem_euclid(360.0))
}

fn clear(magnetic: f64) -> bool {
    let off = magnetic.rem_euclid(180.0);
    (CLEAR_DEG..=180.0 - CLEAR_DEG).contains(&off)
}

/// A true course and a variation, drawn, and the magnetic course; whether the variation is west.
fn magnetic(d: &mut Draft, draw: &mut Draw) -> (f64, bool) {
    let course = d.given("course", draw.step(1.0, 360.0, 1.0), Unit::Direction);
    let variation = d.given("variation", draw.step(4.0, 17.0, 1.0), Unit::Degrees);
    let west = draw.coin();
    let magnetic = turned(if west {
        course + variation
    } else {
        course - variation
    });
    d.worked("magnetic", magnetic, Unit::Direction);
    (magnetic, west)
}

/// The lowest level at or above a height, or the highest at or below it, ft.
fn level(rules: Rules, magnetic: f64, from_ft: f64, up: bool) -> Option<f64> {
    let allowed = |ft: &f64| rule_allows(rules, *ft, magnetic.to_radians(), 0.0);
    let mut levels = (0..36).map(|n| 500.0 * f64::from(n)).filter(allowed);
    if up {
        levels.find(|&l| l >= from_ft)
    } else {
        levels.take_while(|&l| l <= from_ft).last()
    }
}

/// Levels.
pub(super) fn levels(grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    match grade {
        Grade::Easy => {
            let mut d = Draft::new("level_vfr");
            let course = d.given("course", draw.step(1.0, 360.0, 1.0), Unit::Direction);
            let ground = d.given("ground", draw.step(300.0, 4_500.0, 100.0), Unit::Feet);
            let least = d.given(
                "least",
                ground + draw.step(3_100.0, 5_500.0, 100.0),
                Unit::Feet,
            );
            let east = course.rem_euclid(360.0) < 180.0;
            let answer = level(Rules::UsVfr, course, least, true)?;
            d.end(
                Topic::Levels,
                grade,
                Ending {
                    question: "Magnetic course {course}, US VFR, ground {ground} everywhere. What is the lowest cruising altitude of the \
                               rule at or above {least}?",
                    steps: vec![
                        if east {
                            "{course} lies from 0 to 179: odd thousands plus 500 ft."
                        } else {
                            "{course} lies from 180 to 359: even thousands plus 500 ft."
                        },
                        "{least} is more than 3,000 ft above {ground}, so the rule holds; the first such altitude from there up.",
                    ],
                    answer: if clear(course) { answer } else { f64::NAN },
                    unit: Unit::Feet,
                    tolerance: 0.0,
                    because: EXACT,
                    source: VFR,
                    sane: (3_500.0, 12_500.0),
                },
            )
        }
        Grade::Medium => {
            let mut d = Draft::new("level_by_variation");
            let (magnetic, west) = magnetic(&mut d, draw);
            let least = d.given("least", draw.step(4_000.0, 10_500.0, 100.0), Unit::Feet);
            let instrument = draw.coin();
            let rules = if instrument {
                Rules::UsIfr
            } else {
                Rules::UsVfr
            };
            let answer = level(rules, magnetic, least, true)?;
            let east = magnetic.rem_euclid(360.0) < 180.0;
            let question = match (west, instrument) {
                (true, false) => {
                    "True course {course}, variation {variation} west, US VFR more than 3,000 ft above the ground. What is the \
                                  lowest cruising altitude of the rule at or above {least}?"
                }
                (false, false) => {
                    "True course {course}, variation {variation} east, US VFR more than 3,000 ft above the ground. What is \
                                   the lowest cruising altitude of the rule at or above {least}?"
                }
                (true, true) => {
                    "True course {course}, variation {variation} west, US IFR in uncontrolled airspace. What is the lowest \
                                 cruising altitude of the rule at or above {least}?"
                }
                (false, true) => {
                    "True course {course}, variation {variation} east, US IFR in uncontrolled airspace. What is the lowest \
                                  cruising altitude of the rule at or above {least}?"
                }
            };
            d.end(
                Topic::Levels,
                grade,
                Ending {
                    question,
                    steps: vec![
                        if west {
                            "Magnetic course: {course} + {variation} (west is added) = {magnetic}."
                        } else {
                            "Magnetic course: {course} - {variation} (east is taken off) = {magnetic}."
                        },
                        match (east, instrument) {
                            (true, false) => "That lies from 0 to 179: odd thousands plus 500 ft.",
                            (false, false) => "That lies from 180 to 359: even thousands plus 500 ft.",
                            (true, true) => "That lies from 0 to 179: odd thousands.",
                            (false, true) => "That lies from 180 to 359: even thousands.",
                        },
                        "The first such altitude from {least} up.",
                    ],
                    answer: if clear(magnetic) { answer } else { f64::NAN },
                    unit: Unit::Feet,
                    tolerance: 0.0,
                    because: EXACT,
                    source: if instrument { IFR } else { VFR },
                    sane: (4_000.0, 12_500.0),
                },
            )
        }
        Grade::Hard => {
            let mut d = Draft::new("level_below_cloud");
            let (magnetic, west) = magnetic(&mut d, draw);
            let drift = draw.step(4.0, 12.0, 1.0);
            let drift = if draw.coin() { drift } else { -drift };
            let heading = d.given("heading", turned(magnetic + drift), Unit::Direction);
            let base = d.given("base", draw.step(6_000.0, 9_900.0, 100.0), Unit::Feet);
            let ground = d.given("ground", draw.step(300.0, 2_000.0, 100.0), Unit::Feet);
            let below = d.worked("below", base - 500.0, Unit::Feet);
            let answer = level(Rules::UsVfr, magnetic, below, false)?;
            let east = magnetic.rem_euclid(360.0) < 180.0;
            // A heading in the other half is the trap; it is worth setting.
            let trap = (heading.rem_euclid(360.0) < 180.0) != east;
            let sane = clear(magnetic) || (trap && magnetic.rem_euclid(180.0) >= 4.0);
            d.end(
                Topic::Levels,
                grade,
                Ending {
                    question: if west {
                        "True course {course}, variation {variation} west, magnetic heading {heading} to hold it in the wind. Ground \
                         {ground} everywhere, cloud base {base} MSL, US VFR by day in Class E airspace. What is the highest cruising \
                         altitude of the rule?"
                    } else {
                        "True course {course}, variation {variation} east, magnetic heading {heading} to hold it in the wind. Ground \
                         {ground} everywhere, cloud base {base} MSL, US VFR by day in Class E airspace. What is the highest cruising \
                         altitude of the rule?"
                    },
                    steps: vec![
                        "Cloud: at least 500 ft below {base}, so {below} or lower.",
                        if west {
                            "Magnetic course, not heading: {course} + {variation} = {magnetic}."
                        } else {
                            "Magnetic course, not heading: {course} - {variation} = {magnetic}."
                        },
                        if east {
                            "From 0 to 179: odd thousands plus 500 ft, the highest not above {below}."
                        } else {
                            "From 180 to 359: even thousands plus 500 ft, the highest not above {below}."
                        },
                    ],
                    answer: if sane && answer - ground > 3_000.0 { answer } else { f64::NAN },
                    unit: Unit::Feet,
                    tolerance: 0.0,
                    because: EXACT,
                    source: CLOUD,
                    sane: (3_500.0, 9_500.0),
                },
            )
        }
    }
}
