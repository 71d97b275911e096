//! Descents: where to start down, how fast, what it burns, and what to do when it is late.

use super::exercise::{Draft, Ending, Exercise, Grade, Near, TENTH_GAL, Topic, Unit, within};
use super::teacher::{HIGHEST_FT, Teacher};
use crate::quantity::Draw;

/// The rule of thumb for the top of descent, nm for each 1,000 ft.
const RULE_NM: f64 = 3.0;
const RULE: &str = "3 nm for each 1,000 ft: common practice, no source";
const PLAIN: &str =
    "Distance = ground speed x time, time = height / rate: definitions, no source needed";
const HALF_MILE: Near = within(
    0.5,
    Unit::Nm,
    "half a mile is as near as a distance is read in flight",
);
const ONE_MILE: Near = within(
    1.0,
    Unit::Nm,
    "a mean wind is known to a few knots, and one knot in a hundred and fifty is a quarter of a mile here",
);
const VSI: Near = within(
    25.0,
    Unit::Fpm,
    "the vertical speed indicator has marks at every 100 fpm, and a quarter of that can be read",
);
const HALF_MINUTE: Near = within(
    0.5,
    Unit::Minutes,
    "half a minute is as near as a clock is minded in flight",
);
const FIVE_KT: Near = within(
    5.0,
    Unit::Knots,
    "five knots is one mark of the airspeed indicator",
);

/// A level to come from, a pattern altitude to go to, ft.
fn heights(d: &mut Draft, draw: &mut Draw) -> (f64, f64) {
    let from = draw.step(5_500.0, HIGHEST_FT - 500.0, 1_000.0);
    let to = draw.step(800.0, (from - 3_000.0).min(5_000.0), 100.0);
    (
        d.given("from", from, Unit::Feet),
        d.given("to", to, Unit::Feet),
    )
}

/// The true airspeed \[kt\] of an allowed cruise near this altitude.
fn cruise_kt(t: &Teacher, draw: &mut Draw, altitude_ft: f64) -> Option<f64> {
    let (_, _, c) = t.draw_cruise(draw, 1_000.0 * (altitude_ft / 1_000.0).round())?;
    Some(c.tas_kt)
}

/// A true airspeed of the descent, kt: that of an allowed cruise.
fn airspeed(t: &Teacher, d: &mut Draft, draw: &mut Draw, altitude_ft: f64) -> Option<f64> {
    let tas = cruise_kt(t, draw, altitude_ft)?;
    Some(d.given("tas", 5.0 * (tas / 5.0).round(), Unit::Knots))
}

/// A ground speed of the descent, kt: true airspeed of an allowed cruise and a wind along of up to 30 kt.
fn ground_speed(t: &Teacher, d: &mut Draft, draw: &mut Draw, altitude_ft: f64) -> Option<f64> {
    let tas = cruise_kt(t, draw, altitude_ft)?;
    let wind = draw.step(-30.0, 30.0, 5.0);
    Some(d.given("gs", 5.0 * ((tas + wind) / 5.0).round(), Unit::Knots))
}

/// Top of descent.
pub(super) fn tod(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    match grade {
        Grade::Easy if draw.coin() => {
            let mut d = Draft::new("tod_by_rule");
            let (from, to) = heights(&mut d, draw);
            let lose = d.worked("lose", from - to, Unit::Feet);
            d.end(
                Topic::Tod,
                grade,
                Ending {
                    question: "You cruise at {from} and want to be at {to} over the pattern entry. By the rule of 3 nm for each 1,000 ft, \
                               how many miles before the entry do you start down?",
                    steps: vec![
                        "Height to lose: {from} - {to} = {lose}.",
                        "3 nm for each 1,000 ft: {lose} / 1,000 x 3.",
                    ],
                    answer: lose / 1_000.0 * RULE_NM,
                    near: HALF_MILE,
                    source: RULE,
                    sane: (5.0, 60.0),
                },
            )
        }
        Grade::Easy => {
            let mut d = Draft::new("tod_by_clock");
            let (from, to) = heights(&mut d, draw);
            let rate = d.given("rate", draw.step(300.0, 700.0, 100.0), Unit::Fpm);
            let lose = d.worked("lose", from - to, Unit::Feet);
            d.end(
                Topic::Tod,
                grade,
                Ending {
                    question: "You cruise at {from} and want to be at {to} over the pattern entry. How many minutes before you are there \
                               do you start down at {rate}?",
                    steps: vec![
                        "Height to lose: {from} - {to} = {lose}.",
                        "Time: {lose} / {rate}.",
                    ],
                    answer: lose / rate,
                    near: HALF_MINUTE,
                    source: PLAIN,
                    sane: (4.0, 40.0),
                },
            )
        }
        Grade::Medium => {
            let mut d = Draft::new("tod_by_rate");
            let (from, to) = heights(&mut d, draw);
            let rate = d.given("rate", draw.step(300.0, 800.0, 100.0), Unit::Fpm);
            let speed = ground_speed(t, &mut d, draw, 0.5 * (from + to))?;
            let before = d.given("before", draw.step(2.0, 8.0, 1.0), Unit::Nm);
            let minutes = d.worked("minutes", (from - to) / rate, Unit::Minutes);
            let way = d.worked("way", speed * minutes / 60.0, Unit::Nm);
            d.end(
                Topic::Tod,
                grade,
                Ending {
                    question: "You cruise at {from} and want to be at the pattern altitude of {to} when {before} from the field. In the \
                               descent the ground speed is {gs}, the rate {rate}. How far from the field do you start down?",
                    steps: vec![
                        "Time: ({from} - {to}) / {rate} = {minutes}.",
                        "Way: {gs} x {minutes} / 60 = {way}.",
                        "From the field: {way} + {before}.",
                    ],
                    answer: way + before,
                    near: HALF_MILE,
                    source: PLAIN,
                    sane: (8.0, 90.0),
                },
            )
        }
        Grade::Hard => {
            let mut d = Draft::new("tod_by_wind");
            let (from, to) = heights(&mut d, draw);
            let rate = d.given("rate", draw.step(300.0, 800.0, 100.0), Unit::Fpm);
            let tas = airspeed(t, &mut d, draw, 0.5 * (from + to))?;
            let head = draw.coin();
            let high = d.given("wind_high", draw.step(15.0, 45.0, 5.0), Unit::Knots);
            let low = d.given(
                "wind_low",
                draw.step(0.0, high.min(20.0) - 5.0, 5.0),
                Unit::Knots,
            );
            let before = d.given("before", draw.step(2.0, 8.0, 1.0), Unit::Nm);
            let mean = d.worked("mean", 0.5 * (high + low), Unit::Knots);
            let speed = d.worked(
                "gs",
                if head { tas - mean } else { tas + mean },
                Unit::Knots,
            );
            // Half a knot would be printed as a whole one, and the sum with it.
            let whole = mean.fract() == 0.0;
            let minutes = d.worked("minutes", (from - to) / rate, Unit::Minutes);
            let way = d.worked("way", speed * minutes / 60.0, Unit::Nm);
            let (question, step) = if head {
                (
                    "You cruise at {from} and want to be at the pattern altitude of {to} when {before} from the field. In the descent \
                     the mean true airspeed is {tas}, the rate {rate}. The head wind is {wind_high} at the cruising level and falls \
                     evenly to {wind_low} at pattern altitude. How far from the field do you start down?",
                    "Ground speed: {tas} - {mean} = {gs}.",
                )
            } else {
                (
                    "You cruise at {from} and want to be at the pattern altitude of {to} when {before} from the field. In the descent \
                     the mean true airspeed is {tas}, the rate {rate}. The tail wind is {wind_high} at the cruising level and falls \
                     evenly to {wind_low} at pattern altitude. How far from the field do you start down?",
                    "Ground speed: {tas} + {mean} = {gs}.",
                )
            };
            d.end(
                Topic::Tod,
                grade,
                Ending {
                    question,
                    steps: vec![
                        "Time: ({from} - {to}) / {rate} = {minutes}.",
                        "Mean wind: half of {wind_high} and {wind_low}, {mean}.",
                        step,
                        "Way: {gs} x {minutes} / 60 = {way}.",
                        "From the field: {way} + {before}.",
                    ],
                    answer: if whole { way + before } else { f64::NAN },
                    near: ONE_MILE,
                    source: PLAIN,
                    sane: (8.0, 90.0),
                },
            )
        }
    }
}

/// Required rate of descent.
pub(super) fn rate(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    match grade {
        Grade::Easy => {
            let mut d = Draft::new("rate_required");
            let (from, to) = heights(&mut d, draw);
            let speed = ground_speed(t, &mut d, draw, 0.5 * (from + to))?;
            let way = d.given("way", draw.step(10.0, 45.0, 1.0), Unit::Nm);
            let minutes = d.worked("minutes", way / speed * 60.0, Unit::Minutes);
            let lose = d.worked("lose", from - to, Unit::Feet);
            d.end(
                Topic::Rate,
                grade,
                Ending {
                    question: "{from}, to be at {to} in {way}; ground speed {gs}. What rate of descent is required?",
                    steps: vec![
                        "Time: {way} / {gs} x 60 = {minutes}.",
                        "Rate: {lose} / {minutes}.",
                    ],
                    answer: lose / minutes,
                    near: VSI,
                    source: PLAIN,
                    sane: (200.0, 1_200.0),
                },
            )
        }
        Grade::Medium => {
            let mut d = Draft::new("rate_in_wind");
            let (from, to) = heights(&mut d, draw);
            let tas = airspeed(t, &mut d, draw, 0.5 * (from + to))?;
            let wind = d.given("wind", draw.step(5.0, 35.0, 5.0), Unit::Knots);
            let away = d.given("away", draw.step(18.0, 45.0, 1.0), Unit::Nm);
            let before = d.given("before", draw.step(3.0, 8.0, 1.0), Unit::Nm);
            let head = draw.coin();
            let speed = d.worked(
                "gs",
                if head { tas - wind } else { tas + wind },
                Unit::Knots,
            );
            let way = d.worked("way", away - before, Unit::Nm);
            let minutes = d.worked("minutes", way / speed * 60.0, Unit::Minutes);
            let lose = d.worked("lose", from - to, Unit::Feet);
            let (question, step) = if head {
                (
                    "You are at {from}, {away} from the field, and want to be at {to} when {before} from it. True airspeed {tas}, head \
                     wind {wind}. What rate of descent is required?",
                    "Ground speed: {tas} - {wind} = {gs}.",
                )
            } else {
                (
                    "You are at {from}, {away} from the field, and want to be at {to} when {before} from it. True airspeed {tas}, tail \
                     wind {wind}. What rate of descent is required?",
                    "Ground speed: {tas} + {wind} = {gs}.",
                )
            };
            d.end(
                Topic::Rate,
                grade,
                Ending {
                    question,
                    steps: vec![
                        step,
                        "Way: {away} - {before} = {way}.",
                        "Time: {way} / {gs} x 60 = {minutes}.",
                        "Rate: {lose} / {minutes}.",
                    ],
                    answer: lose / minutes,
                    near: VSI,
                    source: PLAIN,
                    sane: (200.0, 1_200.0),
                },
            )
        }
        Grade::Hard => {
            let mut d = Draft::new("rate_of_two");
            let from = d.given(
                "from",
                draw.step(7_500.0, HIGHEST_FT - 500.0, 1_000.0),
                Unit::Feet,
            );
            let gate = d.given(
                "gate",
                draw.step(4_000.0, from - 2_000.0, 500.0),
                Unit::Feet,
            );
            let to = d.given("to", draw.step(1_000.0, gate - 1_000.0, 100.0), Unit::Feet);
            let speed = ground_speed(t, &mut d, draw, from - 1_000.0)?;
            let away = d.given("away", draw.step(25.0, 50.0, 1.0), Unit::Nm);
            let middle = d.given("middle", draw.step(10.0, away - 8.0, 1.0), Unit::Nm);
            let before = d.given("before", draw.step(3.0, 6.0, 1.0), Unit::Nm);
            let first = (from - gate) / ((away - middle) / speed * 60.0);
            let second = (gate - to) / ((middle - before) / speed * 60.0);
            d.worked("first", first, Unit::Fpm);
            d.worked("second", second, Unit::Fpm);
            d.worked("way_1", away - middle, Unit::Nm);
            d.worked("way_2", middle - before, Unit::Nm);
            let near = (first - second).abs() < 40.0;
            let sane = first.min(second) >= 150.0 && !near;
            d.end(
                Topic::Rate,
                grade,
                Ending {
                    question: "You are at {from}, {away} from the field. You must be at or below {gate} when {middle} from it, to pass \
                               under a shelf of airspace, and at {to} when {before} from it. Ground speed {gs}. You want one steady rate \
                               to the first place and another to the second. What is the greater of the two rates?",
                    steps: vec![
                        "To the first: ({from} - {gate}) in {way_1} at {gs}, that is {first}.",
                        "To the second: ({gate} - {to}) in {way_2} at {gs}, that is {second}.",
                        "The greater of {first} and {second}.",
                    ],
                    answer: if sane { first.max(second) } else { f64::NAN },
                    near: VSI,
                    source: PLAIN,
                    sane: (200.0, 1_200.0),
                },
            )
        }
    }
}

/// Fuel of the descent.
pub(super) fn fuel(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    let kind = match grade {
        Grade::Easy => "fuel_by_time",
        Grade::Medium => "fuel_by_mean_flow",
        Grade::Hard => "fuel_saved",
    };
    let mut d = Draft::new(kind);
    let (from, to) = heights(&mut d, draw);
    let rate = d.given("rate", draw.step(300.0, 700.0, 100.0), Unit::Fpm);
    // The descent: some inches off the cruise setting, at the cruise's indicated speed.
    let level = 1_000.0 * (from / 1_000.0).round();
    let (rpm, _, c) = t.draw_cruise(draw, level)?;
    let ias = 5.0 * (c.ias_kt / 5.0).floor();
    let least = t.aircraft().procedures.least_descent_map_pa / crate::quantity::PA_PER_INHG;
    let map = (0.5 * (2.0 * c.map_in).round() - draw.step(2.0, 5.0, 0.5)).max(least);
    let rpm = if t.fixed() {
        rpm - draw.step(100.0, 400.0, 100.0)
    } else {
        rpm
    };
    let top = t.descent_gph(from, ias, rpm, map)?;
    let bottom = t.descent_gph(to, ias, rpm, map)?;
    let minutes = (from - to) / rate;
    match grade {
        Grade::Easy => {
            let flow = d.given("flow", 0.5 * (top + bottom), Unit::Gph);
            d.worked("minutes", minutes, Unit::Minutes);
            d.end(
                Topic::Fuel,
                grade,
                Ending {
                    question: "Descent from {from} to {to} at {rate}, mean fuel flow {flow}. How much fuel does it burn?",
                    steps: vec![
                        "Time: ({from} - {to}) / {rate} = {minutes}.",
                        "Fuel: {flow} x {minutes} / 60.",
                    ],
                    answer: flow * minutes / 60.0,
                    near: TENTH_GAL,
                    source: PLAIN,
                    sane: (0.4, 15.0),
                },
            )
        }
        Grade::Medium => {
            let top = d.given("top", top, Unit::Gph);
            let bottom = d.given("bottom", bottom, Unit::Gph);
            d.worked("minutes", minutes, Unit::Minutes);
            let flow = d.worked("flow", 0.5 * (top + bottom), Unit::Gph);
            d.given("rpm", rpm, Unit::Rpm);
            let question = if t.fixed() {
                "Descent from {from} to {to} at {rate} with the throttle for {rpm} and the mixture at best power. The flow is {top} at the \
                 top and {bottom} at the bottom; take the mean. How much fuel does it burn?"
            } else {
                d.given("map", map, Unit::Inches);
                "Descent from {from} to {to} at {rate} with {map} held and {rpm}, mixture kept at best power. The flow is {top} at the \
                 top and {bottom} at the bottom; take the mean. How much fuel does it burn?"
            };
            d.end(
                Topic::Fuel,
                grade,
                Ending {
                    question,
                    steps: vec![
                        "Time: ({from} - {to}) / {rate} = {minutes}.",
                        "Mean flow: half of {top} and {bottom}, {flow}.",
                        "Fuel: {flow} x {minutes} / 60.",
                    ],
                    answer: flow * minutes / 60.0,
                    near: TENTH_GAL,
                    source: PLAIN,
                    sane: (0.4, 15.0),
                },
            )
        }
        Grade::Hard => {
            let flow = d.given("flow", 0.5 * (top + bottom), Unit::Gph);
            let cruise = d.given("cruise_flow", c.gph, Unit::Gph);
            let speed = ground_speed(t, &mut d, draw, 0.5 * (from + to))?;
            let slower = draw.step(-10.0, 10.0, 5.0);
            let level_speed = d.given("cruise_gs", speed + slower, Unit::Knots);
            d.worked("minutes", minutes, Unit::Minutes);
            let way = d.worked("way", speed * minutes / 60.0, Unit::Nm);
            let burnt = d.worked("burnt", flow * minutes / 60.0, Unit::Gallons);
            let level_min = d.worked("level_min", way / level_speed * 60.0, Unit::Minutes);
            let level = d.worked("level", cruise * level_min / 60.0, Unit::Gallons);
            d.end(
                Topic::Fuel,
                grade,
                Ending {
                    question: "Descent from {from} to {to} at {rate}, ground speed {gs}, mean fuel flow {flow}. In cruise the flow is \
                               {cruise_flow} at a ground speed of {cruise_gs}. How much less fuel does the descent burn than cruise over \
                               the same way?",
                    steps: vec![
                        "Time down: ({from} - {to}) / {rate} = {minutes}; way {gs} x {minutes} / 60 = {way}.",
                        "Fuel down: {flow} x {minutes} / 60 = {burnt}.",
                        "The same way level: {way} / {cruise_gs} x 60 = {level_min}, {cruise_flow} x {level_min} / 60 = {level}.",
                        "Less by {level} - {burnt}.",
                    ],
                    answer: level - burnt,
                    near: TENTH_GAL,
                    source: PLAIN,
                    sane: (0.5, 8.0),
                },
            )
        }
    }
}

/// A descent begun too late.
pub(super) fn late(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    let kind = match grade {
        Grade::Easy => "late_rate",
        Grade::Medium => "late_slower",
        Grade::Hard => "late_beyond",
    };
    let mut d = Draft::new(kind);
    let (from, to) = heights(&mut d, draw);
    let speed = ground_speed(t, &mut d, draw, 0.5 * (from + to))?;
    match grade {
        Grade::Easy => {
            let planned = d.given("planned", draw.step(300.0, 600.0, 100.0), Unit::Fpm);
            let late = d.given("late", draw.step(2.0, 8.0, 1.0), Unit::Nm);
            let minutes = d.worked("minutes", (from - to) / planned, Unit::Minutes);
            let way = d.worked("way", speed * minutes / 60.0, Unit::Nm);
            let left = d.worked("left", way - late, Unit::Nm);
            let left_min = d.worked("left_min", left / speed * 60.0, Unit::Minutes);
            d.end(
                Topic::Late,
                grade,
                Ending {
                    question: "A descent from {from} to {to} was planned at {planned} with a ground speed of {gs}. You begin it {late} \
                               late. What rate now brings you to {to} at the planned place with the same ground speed?",
                    steps: vec![
                        "Planned: ({from} - {to}) / {planned} = {minutes}, {gs} x {minutes} / 60 = {way}.",
                        "Left: {way} - {late} = {left}, that is {left_min} at {gs}.",
                        "Rate: ({from} - {to}) / {left_min}.",
                    ],
                    answer: (from - to) / left_min,
                    near: VSI,
                    source: PLAIN,
                    sane: (planned + 30.0, 1_200.0),
                },
            )
        }
        Grade::Medium => {
            let most = d.given("most", draw.step(500.0, 900.0, 100.0), Unit::Fpm);
            let left = d.given("left", draw.step(8.0, 35.0, 1.0), Unit::Nm);
            let minutes = d.worked("minutes", (from - to) / most, Unit::Minutes);
            let needed = left / minutes * 60.0;
            // Not slower than the speed flown in the pattern allows, and slower than now.
            let least = t.aircraft().procedures.pattern_m_s / crate::quantity::M_S_PER_KT;
            d.end(
                Topic::Late,
                grade,
                Ending {
                    question: "You are at {from} and should have started down: {left} are left to the place where you want to be at {to}. \
                               Ground speed {gs}; for the ears of the people on board you allow {most} at most. To what ground speed must \
                               you slow down to make it without circling?",
                    steps: vec![
                        "Time for the descent: ({from} - {to}) / {most} = {minutes}.",
                        "Ground speed for that time: {left} / {minutes} x 60.",
                    ],
                    answer: needed,
                    near: FIVE_KT,
                    source: PLAIN,
                    sane: (least, speed - 10.0),
                },
            )
        }
        Grade::Hard => {
            let most = d.given("most", draw.step(500.0, 900.0, 100.0), Unit::Fpm);
            let left = d.given("left", draw.step(8.0, 35.0, 1.0), Unit::Nm);
            let minutes = d.worked("minutes", (from - to) / most, Unit::Minutes);
            let needed = d.worked("needed", speed * minutes / 60.0, Unit::Nm);
            let extra = d.worked("extra", needed - left, Unit::Nm);
            let adds_up = Unit::Nm.adds_up(extra, left, needed);
            d.end(
                Topic::Late,
                grade,
                Ending {
                    question: "You are at {from} and should have started down: {left} are left to the place where you want to be at {to}. \
                               Ground speed {gs}, {most} at most, and you do not slow down. For how many minutes must you fly a detour to \
                               arrive there at {to}?",
                    steps: vec![
                        "Time for the descent: ({from} - {to}) / {most} = {minutes}.",
                        "Way in that time: {gs} x {minutes} / 60 = {needed}.",
                        "Too much by {needed} - {left} = {extra}.",
                        "Minutes: {extra} / {gs} x 60.",
                    ],
                    answer: extra / speed * 60.0,
                    near: HALF_MINUTE,
                    source: PLAIN,
                    sane: (2.0, 15.0),
                },
            )
            .filter(|_| adds_up)
        }
    }
}
