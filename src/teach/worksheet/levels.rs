//! Cruising levels of the rules.

use super::exercise::{Draft, Ending, Exercise, Grade, Near, RuleBook, Topic, Unit, within};
use crate::quantity::Draw;
use crate::trip::{Rules, rule_allows};

const US_VFR: &str = "14 CFR 91.159(a): more than 3,000 ft above the ground, magnetic course 0 to 179 odd thousands plus 500 ft, 180 to 359 even \
                      thousands plus 500 ft";
const US_CLOUD: &str = "14 CFR 91.159(a), and 91.155(a): in Class E airspace below 10,000 ft MSL at least 500 ft below cloud";
const US_IFR: &str = "14 CFR 91.179(b): uncontrolled airspace below 18,000 ft, magnetic course 0 to 179 odd thousands, 180 to 359 even thousands";
const ICAO_VFR: &str = "ICAO Annex 2 appendix 3, and SERA.5005(g) with its table of cruising levels: VFR more than 3,000 ft above ground or water, \
                        magnetic track 000 to 179 odd thousands plus 500 ft, 180 to 359 even thousands plus 500 ft; a country may turn the halves";
const ICAO_CLOUD: &str = "ICAO Annex 2 appendix 3 and SERA.5005(g); ICAO Annex 2 table 3-1 and SERA.5001 (from memory): above 3,000 ft and below \
                          10,000 ft AMSL at least 1,000 ft from cloud by height";
const ICAO_IFR: &str = "ICAO Annex 2 appendix 3, and the table of cruising levels of SERA: IFR, magnetic track 000 to 179 odd thousands, 180 to 359 \
                        even thousands; a country may turn the halves";
const EXACT: Near = within(0.0, Unit::Feet, "the rule leaves no room");
/// So near the split of the half circles nothing is asked: a pilot there looks twice.
const CLEAR_DEG: f64 = 6.0;

/// A direction, 001 to 360.
fn turned(deg: f64) -> f64 {
    Unit::Direction.rounded(deg.rem_euclid(360.0))
}

/// Whether a course is far enough from the split of the half circles, the first of which begins at `sector`.
fn clear(magnetic: f64, sector: f64) -> bool {
    let off = (magnetic - sector).rem_euclid(180.0);
    (CLEAR_DEG..=180.0 - CLEAR_DEG).contains(&off)
}

/// Whether it lies in the first half.
fn first_half(magnetic: f64, sector: f64) -> bool {
    (magnetic - sector).rem_euclid(360.0) < 180.0
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
fn level(rules: Rules, (magnetic, sector): (f64, f64), from_ft: f64, up: bool) -> Option<f64> {
    let allowed =
        |ft: &f64| rule_allows(rules, *ft, magnetic.to_radians(), f64::to_radians(sector));
    let mut levels = (0..36).map(|n| 500.0 * f64::from(n)).filter(allowed);
    if up {
        levels.find(|&l| l >= from_ft)
    } else {
        levels.take_while(|&l| l <= from_ft).last()
    }
}

/// Levels by one of the rule books.
pub(super) fn levels(grade: Grade, books: &[RuleBook], draw: &mut Draw) -> Option<Exercise> {
    let book = match books {
        [] => return None,
        [one] => *one,
        // The one book asked for draws nothing: its sheets are the same whether or not there are others.
        _ if draw.coin() => RuleBook::Icao,
        _ => RuleBook::Us,
    };
    match grade {
        Grade::Easy => above_ground(book, draw),
        Grade::Medium => by_variation(book, draw),
        Grade::Hard => below_cloud(book, draw),
    }
}

fn above_ground(book: RuleBook, draw: &mut Draw) -> Option<Exercise> {
    let (kind, rules, question, source) = match book {
        RuleBook::Us => (
            "level_vfr",
            Rules::UsVfr,
            "Magnetic course {course}, US VFR, ground {ground} everywhere. What is the lowest cruising altitude of the rule at or above \
             {least}?",
            US_VFR,
        ),
        RuleBook::Icao => (
            "level_vfr_icao",
            Rules::IcaoVfr,
            "Magnetic track {course}, VFR by the cruising levels of ICAO and SERA, ground {ground} everywhere, below the transition \
             altitude. What is the lowest level of the rule at or above {least}?",
            ICAO_VFR,
        ),
    };
    let mut d = Draft::new(kind);
    let course = d.given("course", draw.step(1.0, 360.0, 1.0), Unit::Direction);
    let ground = d.given("ground", draw.step(300.0, 4_500.0, 100.0), Unit::Feet);
    let least = d.given(
        "least",
        ground + draw.step(3_100.0, 5_500.0, 100.0),
        Unit::Feet,
    );
    let answer = level(rules, (course, 0.0), least, true)?;
    d.end(
        Topic::Levels,
        Grade::Easy,
        Ending {
            question,
            steps: vec![
                if first_half(course, 0.0) {
                    "{course} lies from 0 to 179: odd thousands plus 500 ft."
                } else {
                    "{course} lies from 180 to 359: even thousands plus 500 ft."
                },
                "{least} is more than 3,000 ft above {ground}, so the rule holds; the first such altitude from there up.",
            ],
            answer: if clear(course, 0.0) { answer } else { f64::NAN },
            near: EXACT,
            source,
            sane: (3_500.0, 12_500.0),
        },
    )
}

/// The question for each side of the variation.
macro_rules! by_side {
    ($west:expr, $rule:literal, $level:literal) => {
        if $west {
            concat!(
                "True course {course}, variation {variation} west, ",
                $rule,
                ". What is the lowest cruising ",
                $level,
                " of the rule at or above {least}?"
            )
        } else {
            concat!(
                "True course {course}, variation {variation} east, ",
                $rule,
                ". What is the lowest cruising ",
                $level,
                " of the rule at or above {least}?"
            )
        }
    };
}

fn by_variation(book: RuleBook, draw: &mut Draw) -> Option<Exercise> {
    let icao = book == RuleBook::Icao;
    let mut d = Draft::new(if icao {
        "level_by_variation_icao"
    } else {
        "level_by_variation"
    });
    let (magnetic, west) = magnetic(&mut d, draw);
    let least = d.given("least", draw.step(4_000.0, 10_500.0, 100.0), Unit::Feet);
    let instrument = draw.coin();
    // Some countries turn the half circles by a quarter.
    let turned = icao && draw.coin();
    let sector = if turned { 90.0 } else { 0.0 };
    let rules = match (book, instrument) {
        (RuleBook::Us, false) => Rules::UsVfr,
        (RuleBook::Us, true) => Rules::UsIfr,
        (RuleBook::Icao, false) => Rules::IcaoVfr,
        (RuleBook::Icao, true) => Rules::IcaoIfr,
    };
    let answer = level(rules, (magnetic, sector), least, true)?;
    let question = match (icao, instrument, turned) {
        (false, false, _) => {
            by_side!(
                west,
                "US VFR more than 3,000 ft above the ground",
                "altitude"
            )
        }
        (false, true, _) => by_side!(west, "US IFR in uncontrolled airspace", "altitude"),
        (true, false, false) => by_side!(
            west,
            "VFR by ICAO and SERA more than 3,000 ft above the ground, below the transition altitude",
            "level"
        ),
        (true, true, false) => by_side!(
            west,
            "IFR by ICAO and SERA below the transition altitude",
            "level"
        ),
        (true, false, true) => by_side!(
            west,
            "VFR by ICAO and SERA more than 3,000 ft above the ground, below the transition altitude, in a country whose half circles are \
             090 to 269 and 270 to 089",
            "level"
        ),
        (true, true, true) => by_side!(
            west,
            "IFR by ICAO and SERA below the transition altitude, in a country whose half circles are 090 to 269 and 270 to 089",
            "level"
        ),
    };
    let half = match (first_half(magnetic, sector), instrument, turned) {
        (true, false, false) => "That lies from 0 to 179: odd thousands plus 500 ft.",
        (false, false, false) => "That lies from 180 to 359: even thousands plus 500 ft.",
        (true, true, false) => "That lies from 0 to 179: odd thousands.",
        (false, true, false) => "That lies from 180 to 359: even thousands.",
        (true, false, true) => "That lies from 090 to 269: odd thousands plus 500 ft.",
        (false, false, true) => "That lies from 270 to 089: even thousands plus 500 ft.",
        (true, true, true) => "That lies from 090 to 269: odd thousands.",
        (false, true, true) => "That lies from 270 to 089: even thousands.",
    };
    d.end(
        Topic::Levels,
        Grade::Medium,
        Ending {
            question,
            steps: vec![
                if west {
                    "Magnetic course: {course} + {variation} (west is added) = {magnetic}."
                } else {
                    "Magnetic course: {course} - {variation} (east is taken off) = {magnetic}."
                },
                half,
                "The first such altitude from {least} up.",
            ],
            answer: if clear(magnetic, sector) {
                answer
            } else {
                f64::NAN
            },
            near: EXACT,
            source: match (icao, instrument) {
                (false, false) => US_VFR,
                (false, true) => US_IFR,
                (true, false) => ICAO_VFR,
                (true, true) => ICAO_IFR,
            },
            sane: (4_000.0, 12_500.0),
        },
    )
}

fn below_cloud(book: RuleBook, draw: &mut Draw) -> Option<Exercise> {
    let icao = book == RuleBook::Icao;
    let (kind, rules, room, source) = if icao {
        (
            "level_below_cloud_icao",
            Rules::IcaoVfr,
            1_000.0,
            ICAO_CLOUD,
        )
    } else {
        ("level_below_cloud", Rules::UsVfr, 500.0, US_CLOUD)
    };
    let mut d = Draft::new(kind);
    let (magnetic, west) = magnetic(&mut d, draw);
    let drift = draw.step(4.0, 12.0, 1.0);
    let drift = if draw.coin() { drift } else { -drift };
    let heading = d.given("heading", turned(magnetic + drift), Unit::Direction);
    let base = d.given("base", draw.step(6_000.0, 9_900.0, 100.0), Unit::Feet);
    let ground = d.given("ground", draw.step(300.0, 2_000.0, 100.0), Unit::Feet);
    let below = d.worked("below", base - room, Unit::Feet);
    let answer = level(rules, (magnetic, 0.0), below, false)?;
    let first = first_half(magnetic, 0.0);
    // A heading in the other half is the trap; it is worth setting.
    let trap = first_half(heading, 0.0) != first;
    let sane = clear(magnetic, 0.0) || (trap && magnetic.rem_euclid(180.0) >= 4.0);
    let question = match (icao, west) {
        (false, true) => {
            "True course {course}, variation {variation} west, magnetic heading {heading} to hold it in the wind. Ground {ground} everywhere, \
             cloud base {base} MSL, US VFR by day in Class E airspace. What is the highest cruising altitude of the rule?"
        }
        (false, false) => {
            "True course {course}, variation {variation} east, magnetic heading {heading} to hold it in the wind. Ground {ground} everywhere, \
             cloud base {base} MSL, US VFR by day in Class E airspace. What is the highest cruising altitude of the rule?"
        }
        (true, true) => {
            "True course {course}, variation {variation} west, magnetic heading {heading} to hold it in the wind. Ground {ground} everywhere, \
             cloud base {base} AMSL, VFR by ICAO and SERA below the transition altitude. What is the highest cruising level of the rule?"
        }
        (true, false) => {
            "True course {course}, variation {variation} east, magnetic heading {heading} to hold it in the wind. Ground {ground} everywhere, \
             cloud base {base} AMSL, VFR by ICAO and SERA below the transition altitude. What is the highest cruising level of the rule?"
        }
    };
    d.end(
        Topic::Levels,
        Grade::Hard,
        Ending {
            question,
            steps: vec![
                if icao {
                    "Cloud: at least 1,000 ft below {base}, so {below} or lower."
                } else {
                    "Cloud: at least 500 ft below {base}, so {below} or lower."
                },
                if west {
                    "Magnetic course, not heading: {course} + {variation} = {magnetic}."
                } else {
                    "Magnetic course, not heading: {course} - {variation} = {magnetic}."
                },
                if first {
                    "From 0 to 179: odd thousands plus 500 ft, the highest not above {below}."
                } else {
                    "From 180 to 359: even thousands plus 500 ft, the highest not above {below}."
                },
            ],
            answer: if sane && answer - ground > 3_000.0 {
                answer
            } else {
                f64::NAN
            },
            near: EXACT,
            source,
            sane: (3_500.0, 9_500.0),
        },
    )
}
