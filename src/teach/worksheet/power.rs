//! Power settings from a table, and what RPM does.

use super::exercise::{Draft, Ending, Exercise, Grade, Near, TENTH_GAL, Topic, Unit, within};
use super::teacher::Teacher;
use crate::quantity::Draw;

const READ: &str = "Read from the table, in a straight line between its rows; the table is the model of this aircraft, not its flight manual";
const ENGINE: &str = "Read from the table; its powers are brake powers after Heywood, Internal Combustion Engine Fundamentals (1988): air flow, friction, pumping";
const GAL: Near = within(
    0.3,
    Unit::Gallons,
    "two knots or a tenth of a gallon an hour misread is two tenths of a gallon",
);
const ONE_KT: Near = within(
    1.0,
    Unit::Knots,
    "a knot is one step of the printed figures",
);
const GAUGE: Near = within(
    0.2,
    Unit::Inches,
    "two tenths of an inch is as near as the gauge is read",
);

/// A cruise of an exercise is no longer.
const MOST_HOURS: f64 = 3.0;

/// Settings from a table.
pub(super) fn settings(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    let kind = match (grade, t.fixed()) {
        (Grade::Easy, _) => "settings_fuel",
        (Grade::Medium, false) => "settings_between",
        (Grade::Medium, true) => "settings_speed_between",
        (Grade::Hard, _) => "settings_leg",
    };
    let mut d = Draft::new(kind);
    let low = draw.step(2_000.0, 6_000.0, 2_000.0);
    let (rpm, power, _) = t.draw_cruise(draw, low)?;
    let levels = [low, low + 2_000.0, low + 4_000.0];
    let rows = levels.map(|ft| t.cruise(ft, rpm, power));
    let [Some(a), Some(b), Some(c)] = rows else {
        return None;
    };
    d.given("rpm", rpm, Unit::Rpm);
    let table = if t.fixed() {
        let row = |ft, c: super::teacher::Cruise| vec![ft, c.power_percent, c.gph, c.tas_kt];
        d.table(
            "Level cruise at {rpm}, mixture for best power, standard day",
            &[
                ("pressure altitude", Unit::Feet),
                ("power", Unit::Percent),
                ("fuel flow", Unit::Gph),
                ("true airspeed", Unit::Knots),
            ],
            vec![row(levels[0], a), row(levels[1], b), row(levels[2], c)],
        )
    } else {
        d.given("power", power, Unit::Percent);
        let row = |ft, c: super::teacher::Cruise| vec![ft, c.map_in, c.gph, c.tas_kt];
        d.table(
            "Level cruise with {power} of rated power at {rpm}, mixture for best power, standard day",
            &[
                ("pressure altitude", Unit::Feet),
                ("manifold pressure", Unit::Inches),
                ("fuel flow", Unit::Gph),
                ("true airspeed", Unit::Knots),
            ],
            vec![row(levels[0], a), row(levels[1], b), row(levels[2], c)],
        )
    };
    if grade == Grade::Easy {
        let at = draw.below(3) as usize;
        d.given("altitude", table.at(at, 0)?, Unit::Feet);
        let minutes = d.given("minutes", draw.step(30.0, 150.0, 5.0), Unit::Minutes);
        let flow = d.worked("flow", table.at(at, 2)?, Unit::Gph);
        return d.end(
            Topic::Settings,
            grade,
            Ending {
                question: "By the table, how much fuel do {minutes} of cruise at {altitude} burn?",
                steps: vec![
                    "The table gives {flow} at {altitude}.",
                    "{flow} x {minutes} / 60.",
                ],
                answer: flow * minutes / 60.0,
                near: TENTH_GAL,
                source: READ,
                sane: (1.0, 0.8 * t.usable_gal()),
            },
        );
    }
    let lower = draw.below(2) as usize;
    let share = draw.step(0.25, 0.75, 0.25);
    let (first, second) = (table.at(lower, 0)?, table.at(lower + 1, 0)?);
    d.given("altitude", first + share * (second - first), Unit::Feet);
    d.worked("below", first, Unit::Feet);
    d.worked("above", second, Unit::Feet);
    d.worked("share", share, Unit::Fraction);
    let between = |column: usize| -> Option<f64> {
        let (x, y) = (table.at(lower, column)?, table.at(lower + 1, column)?);
        Some(x + share * (y - x))
    };
    if grade == Grade::Medium {
        let (column, unit) = if t.fixed() {
            (3, Unit::Knots)
        } else {
            (1, Unit::Inches)
        };
        d.worked("x", table.at(lower, column)?, unit);
        d.worked("y", table.at(lower + 1, column)?, unit);
        return d.end(
            Topic::Settings,
            grade,
            Ending {
                question: if t.fixed() {
                    "By the table, what true airspeed do you expect at {altitude} with the same RPM?"
                } else {
                    "By the table, what manifold pressure gives the same power at {altitude} with the same RPM?"
                },
                steps: vec![
                    "{altitude} lies {share} of the way from {below} to {above}.",
                    "{x} there and {y} here: {x} + {share} x ({y} - {x}).",
                ],
                answer: between(column)?,
                near: if t.fixed() { ONE_KT } else { GAUGE },
                source: READ,
                sane: if t.fixed() {
                    (50.0, 250.0)
                } else {
                    (10.0, 40.0)
                },
            },
        );
    }
    let way = d.given("way", draw.step(60.0, 250.0, 5.0), Unit::Nm);
    let wind = d.given("wind", draw.step(5.0, 35.0, 5.0), Unit::Knots);
    let head = draw.coin();
    let flow = d.worked("flow", between(2)?, Unit::Gph);
    let tas = d.worked("tas", between(3)?, Unit::Knots);
    let speed = d.worked(
        "gs",
        if head { tas - wind } else { tas + wind },
        Unit::Knots,
    );
    let hours = way / speed;
    if hours > MOST_HOURS {
        return None;
    }
    d.worked("minutes", 60.0 * hours, Unit::Minutes);
    d.end(
        Topic::Settings,
        grade,
        Ending {
            question: if head {
                "By the table, how much fuel does a cruise of {way} burn at {altitude} with that setting and a head wind of {wind}?"
            } else {
                "By the table, how much fuel does a cruise of {way} burn at {altitude} with that setting and a tail wind of {wind}?"
            },
            steps: vec![
                "{altitude} lies {share} of the way from {below} to {above}: {flow}, {tas}.",
                if head {
                    "Ground speed: {tas} - {wind} = {gs}."
                } else {
                    "Ground speed: {tas} + {wind} = {gs}."
                },
                "Time: {way} / {gs} x 60 = {minutes}.",
                "Fuel: {flow} x {minutes} / 60.",
            ],
            answer: flow * hours,
            near: GAL,
            source: READ,
            sane: (2.0, 0.8 * t.usable_gal()),
        },
    )
}

/// RPM at the same manifold pressure.
pub(super) fn rpm(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    let kind = match grade {
        Grade::Easy => "rpm_power",
        Grade::Medium => "rpm_fuel",
        Grade::Hard => "rpm_map",
    };
    let mut d = Draft::new(kind);
    let altitude = d.given("altitude", draw.step(2_000.0, 9_000.0, 1_000.0), Unit::Feet);
    let map = d.given("map", draw.step(18.0, 24.0, 0.5), Unit::Inches);
    let high = t.draw_rpm(draw);
    let low = high - draw.step(200.0, 400.0, 100.0);
    let caption =
        "Level cruise at {altitude} pressure altitude, mixture for best power, standard day";
    let columns = [
        ("RPM", Unit::Rpm),
        ("manifold pressure", Unit::Inches),
        ("power", Unit::Percent),
        ("fuel flow", Unit::Gph),
        ("true airspeed", Unit::Knots),
    ];
    let row = |rpm: f64, map: f64| -> Option<Vec<f64>> {
        let c = t.cruise_at_map(altitude, rpm, map)?;
        Some(vec![rpm, map, c.power_percent, c.gph, c.tas_kt])
    };
    d.given("high", high, Unit::Rpm);
    d.given("low", low, Unit::Rpm);
    if grade != Grade::Hard {
        let middle = 100.0 * (0.5 * (high + low) / 100.0).round();
        let rows = vec![row(high, map)?, row(middle, map)?, row(low, map)?];
        let table = d.table(caption, &columns, rows);
        if grade == Grade::Easy {
            let x = d.worked("x", table.at(0, 2)?, Unit::Percent);
            let y = d.worked("y", table.at(2, 2)?, Unit::Percent);
            return d.end(
                Topic::Rpm,
                grade,
                Ending {
                    question: "You pull the propeller lever back from {high} to {low} and keep {map}. By the table, by how many per cent of rated \
                               power does the power fall?",
                    steps: vec![
                        "{x} at {high}, {y} at {low}.",
                        "{x} - {y}. Fewer cylinders full of air each minute make less power, though less is lost to friction.",
                    ],
                    answer: x - y,
                    near: within(0.5, Unit::Percent, "half a per cent is less than the model knows"),
                    source: ENGINE,
                    sane: (2.0, 30.0),
                },
            );
        }
        let minutes = d.given("minutes", draw.step(30.0, 150.0, 5.0), Unit::Minutes);
        let x = d.worked("x", table.at(0, 3)?, Unit::Gph);
        let y = d.worked("y", table.at(2, 3)?, Unit::Gph);
        return d.end(
            Topic::Rpm,
            grade,
            Ending {
                question: "You pull the propeller lever back from {high} to {low} and keep {map}. By the table, how much less fuel do {minutes} then burn?",
                steps: vec!["{x} at {high}, {y} at {low}.", "({x} - {y}) x {minutes} / 60."],
                answer: (x - y) * minutes / 60.0,
                near: TENTH_GAL,
                source: ENGINE,
                sane: (0.5, 20.0),
            },
        );
    }
    let mut rows = vec![row(high, map)?];
    for inch in 0..4 {
        rows.push(row(low, map + f64::from(inch))?);
    }
    let table = d.table(caption, &columns, rows);
    let wanted = d.worked("wanted", table.at(0, 2)?, Unit::Percent);
    let below = (1..4).find(|&i| {
        let pair = (table.at(i, 2), table.at(i + 1, 2));
        matches!(pair, (Some(a), Some(b)) if a < wanted && wanted <= b)
    })?;
    let (p, q) = (table.at(below, 2)?, table.at(below + 1, 2)?);
    d.worked("p", p, Unit::Percent);
    d.worked("q", q, Unit::Percent);
    d.worked("from_map", table.at(below, 1)?, Unit::Inches);
    d.worked("to_map", table.at(below + 1, 1)?, Unit::Inches);
    let share = d.worked("share", (wanted - p) / (q - p), Unit::Fraction);
    d.end(
        Topic::Rpm,
        grade,
        Ending {
            question: "You fly with {map} at {high} and want the same power at {low}. By the table, what manifold pressure do you set?",
            steps: vec![
                "{map} at {high} is {wanted}.",
                "At {low}, {p} at {from_map} and {q} at {to_map}: {wanted} lies {share} of the way.",
                "{from_map} + {share} x ({to_map} - {from_map}).",
            ],
            answer: table.at(below, 1)? + share * (table.at(below + 1, 1)? - table.at(below, 1)?),
            near: GAUGE,
            source: ENGINE,
            sane: (15.0, 40.0),
        },
    )
}
