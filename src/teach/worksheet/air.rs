//! Altitudes, airspeeds and the wind triangle.

use super::exercise::{Draft, Ending, Exercise, Grade, Near, Topic, Unit, within};
use super::teacher::Teacher;
use crate::air::{isa, speed, triangle};
use crate::quantity::Draw;
use crate::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG, ZERO_C_K};

const ISA: &str = "U.S. Standard Atmosphere 1976, equations 23, 33a and 42";
const SETTING: &str = "ICAO Doc 7488: the setting shifts the scale by its own height in the standard atmosphere (U.S. Standard Atmosphere 1976, equation 33a)";
const CAS: &str = "U.S. Standard Atmosphere 1976 for the density; compressible calibrated airspeed, which differs little at this speed";
const VECTORS: &str = "Addition of vectors; FAA Pilot's Handbook of Aeronautical Knowledge, navigation chapter, the wind triangle";
const TWO_KT: Near = within(
    2.0,
    Unit::Knots,
    "two knots is as near as a wind side or a drawing is read",
);

/// Altitudes and true airspeed.
pub(super) fn density(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    match grade {
        Grade::Easy => {
            let mut d = Draft::new("pressure_altitude");
            let indicated = d.given("indicated", draw.step(1_000.0, 11_500.0, 500.0), Unit::Feet);
            let setting = d.given("setting", draw.step(29.3, 30.5, 0.01), Unit::Setting);
            let shift = isa::pressure_altitude_m(setting * PA_PER_INHG) / M_PER_FT;
            d.worked("shift", shift, Unit::Feet);
            d.worked("inches", 29.92 - setting, Unit::Setting);
            let moved = (setting - 29.92).abs() >= 0.1;
            d.end(
                Topic::Density,
                grade,
                Ending {
                    question: "The altimeter is set to {setting} and reads {indicated}. What is the pressure altitude?",
                    steps: vec![
                        "29.92 - {setting} = {inches}, about 1,000 ft for each inch; exactly, {setting} stands at {shift} in the standard \
                         atmosphere.",
                        "{indicated} and {shift} together; a low setting gives a pressure altitude above what is read.",
                    ],
                    answer: if moved { indicated + shift } else { f64::NAN },
                    near: within(50.0, Unit::Feet, "the rule of 1,000 ft an inch is up to 50 ft off the exact figure here"),
                    source: SETTING,
                    sane: (400.0, 12_500.0),
                },
            )
        }
        Grade::Medium => {
            let mut d = Draft::new("density_altitude");
            let altitude = d.given("altitude", draw.step(1_000.0, 10_000.0, 500.0), Unit::Feet);
            let standard = isa::temperature_k(altitude * M_PER_FT) - ZERO_C_K;
            let oat = d.given("oat", standard + draw.step(-10.0, 20.0, 1.0), Unit::Celsius);
            d.worked("standard", standard, Unit::Celsius);
            d.worked("warmer", oat - standard, Unit::Celsius);
            d.worked("rule", altitude + 120.0 * (oat - standard), Unit::Feet);
            let far = (oat - standard).abs() >= 3.0;
            let exact = isa::density_altitude_m(altitude * M_PER_FT, oat + ZERO_C_K) / M_PER_FT;
            d.end(
                Topic::Density,
                grade,
                Ending {
                    question: "Pressure altitude {altitude}, outside air temperature {oat}. What is the density altitude in dry air?",
                    steps: vec![
                        "Standard temperature there: 15 less 1.98 for each 1,000 ft, {standard}; the difference is {warmer}.",
                        "By the rule of 120 ft for each degree about {rule}.",
                        "Exactly: the height at which standard air is as dense, 145,442 ft x (1 - (29.92-inch pressure ratio / temperature \
                         ratio to 288.15 K) to the power 0.235).",
                    ],
                    answer: if far { exact } else { f64::NAN },
                    near: within(150.0, Unit::Feet, "the rule of 120 ft for each degree is up to 150 ft off the exact figure here"),
                    source: ISA,
                    sane: (-1_000.0, 13_000.0),
                },
            )
        }
        Grade::Hard => {
            let mut d = Draft::new("true_airspeed");
            let altitude = d.given("altitude", draw.step(4_000.0, 12_000.0, 500.0), Unit::Feet);
            let level = 1_000.0 * (altitude / 1_000.0).round();
            let (_, _, c) = t.draw_cruise(draw, level)?;
            let cas = d.given("cas", c.ias_kt, Unit::Knots);
            let standard = isa::temperature_k(altitude * M_PER_FT) - ZERO_C_K;
            let oat = d.given("oat", standard + draw.step(-15.0, 20.0, 1.0), Unit::Celsius);
            let pressure_pa = isa::pressure_pa(altitude * M_PER_FT);
            let kelvin = oat + ZERO_C_K;
            let ratio = isa::density_from_kg_m3(pressure_pa, kelvin) / isa::SEA_LEVEL_DENSITY_KG_M3;
            d.worked("sigma", ratio, Unit::Fraction);
            let density_altitude = isa::density_altitude_m(altitude * M_PER_FT, kelvin) / M_PER_FT;
            d.worked("density", density_altitude, Unit::Feet);
            let tas = speed::cas_to_tas_m_s(cas * M_S_PER_KT, pressure_pa, kelvin) / M_S_PER_KT;
            d.end(
                Topic::Density,
                grade,
                Ending {
                    question: "Pressure altitude {altitude}, outside air temperature {oat}, calibrated airspeed {cas}. What is the true \
                               airspeed?",
                    steps: vec![
                        "Density altitude: {density}; the air has {sigma} of the density at sea level.",
                        "True airspeed: {cas} / square root of {sigma}.",
                    ],
                    answer: tas,
                    near: within(2.0, Unit::Knots, "two knots is as near as a flight computer is read; compressibility is less than one"),
                    source: CAS,
                    sane: (60.0, 260.0),
                },
            )
        }
    }
}

/// The wind triangle.
pub(super) fn wind(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    let kind = match grade {
        Grade::Easy => "wind_along",
        Grade::Medium => "wind_heading",
        Grade::Hard => "wind_time",
    };
    let mut d = Draft::new(kind);
    let from = d.given("from", draw.step(10.0, 360.0, 10.0), Unit::Direction);
    let speed = d.given("speed", draw.step(10.0, 45.0, 5.0), Unit::Knots);
    let vector = triangle::wind_vector_m_s(from.to_radians(), speed * M_S_PER_KT);
    if grade == Grade::Easy {
        let course = d.given("course", draw.step(10.0, 360.0, 10.0), Unit::Direction);
        let along = triangle::along_and_cross_m_s(course.to_radians(), vector.0, vector.1).0;
        let kt = along / M_S_PER_KT;
        let off = (from - course).rem_euclid(360.0);
        let off = d.worked("off", off.min(360.0 - off), Unit::Degrees);
        // From the side there is nothing worth asking.
        let clear = (off - 90.0).abs() >= 20.0;
        d.worked("size", kt.abs(), Unit::Knots);
        let (question, steps) = if kt < 0.0 {
            (
                "True course {course}, wind from {from} at {speed}. How many knots of head wind are that?",
                vec![
                    "Angle between course and wind: {off}.",
                    "Along the course: {speed} x cosine of {off}.",
                ],
            )
        } else {
            d.worked("behind", 180.0 - off, Unit::Degrees);
            (
                "True course {course}, wind from {from} at {speed}. How many knots of tail wind are that?",
                vec![
                    "Angle between course and wind: {off}, that is {behind} from behind.",
                    "Along the course: {speed} x cosine of {behind}.",
                ],
            )
        };
        return d.end(
            Topic::Wind,
            grade,
            Ending {
                question,
                steps,
                answer: if clear { kt.abs() } else { f64::NAN },
                near: TWO_KT,
                source: VECTORS,
                sane: (8.0, 45.0),
            },
        );
    }
    let course = d.given("course", draw.step(1.0, 360.0, 1.0), Unit::Direction);
    let level = draw.step(3_000.0, 11_000.0, 1_000.0);
    let (_, _, c) = t.draw_cruise(draw, level)?;
    let tas = d.given("tas", c.tas_kt, Unit::Knots);
    let solved = triangle::hold_course(
        course.to_radians(),
        tas * M_S_PER_KT,
        0.0,
        vector.0,
        vector.1,
    )
    .ok()?;
    let correction = solved.correction_rad.to_degrees();
    d.worked("cross", (solved.cross_m_s / M_S_PER_KT).abs(), Unit::Knots);
    d.worked("correction", correction.abs(), Unit::Degrees);
    let right = correction > 0.0;
    if grade == Grade::Medium {
        let worth = correction.abs() >= 3.0;
        return d.end(
            Topic::Wind,
            grade,
            Ending {
                question: "True course {course}, true airspeed {tas}, wind from {from} at {speed}. What true heading holds the course?",
                steps: vec![
                    "Wind across the course: {speed} x sine of the angle between course and wind, {cross}.",
                    "Correction: its sine is {cross} / {tas}, {correction}.",
                    if right {
                        "The wind comes from the right, so steer to the right: {course} + {correction}."
                    } else {
                        "The wind comes from the left, so steer to the left: {course} - {correction}."
                    },
                ],
                answer: if worth { solved.heading_rad.to_degrees() } else { f64::NAN },
                near: within(2.0, Unit::Direction, "two degrees is as near as a heading is held"),
                source: VECTORS,
                sane: (0.0, 360.0),
            },
        );
    }
    let way = d.given("way", draw.step(20.0, 150.0, 1.0), Unit::Nm);
    let along = d.worked("along", (solved.along_m_s / M_S_PER_KT).abs(), Unit::Knots);
    let held = (solved.ground_speed_m_s - solved.along_m_s) / M_S_PER_KT;
    d.worked("held", held, Unit::Knots);
    let ground = d.worked("gs", solved.ground_speed_m_s / M_S_PER_KT, Unit::Knots);
    let signed = along.copysign(solved.along_m_s);
    let asked = along >= 3.0 && Unit::Knots.adds_up(held, signed, ground);
    d.end(
        Topic::Wind,
        grade,
        Ending {
            question: "A leg of {way} on true course {course}, true airspeed {tas}, wind from {from} at {speed}. How many minutes does it take?",
            steps: vec![
                "Wind across the course {cross}, along it {along}.",
                "Across takes its part of the airspeed: square root of ({tas} squared - {cross} squared) = {held}.",
                if solved.along_m_s < 0.0 {
                    "Ground speed: {held} - {along} = {gs}."
                } else {
                    "Ground speed: {held} + {along} = {gs}."
                },
                "Time: {way} / {gs} x 60.",
            ],
            answer: if asked { way / ground * 60.0 } else { f64::NAN },
            near: within(1.0, Unit::Minutes, "two knots in a ground speed, as near as a wind side is read, is a minute in an hour"),
            source: VECTORS,
            sane: (5.0, 90.0),
        },
    )
}
