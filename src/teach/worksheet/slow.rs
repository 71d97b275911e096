//! Slowing down in level flight.

use super::exercise::{Draft, Ending, Exercise, Grade, Near, Topic, Unit, within};
use super::teacher::Teacher;
use crate::quantity::Draw;
use crate::quantity::{M_S_PER_KT, PA_PER_INHG};

const STEADY: &str = "Steady loss of speed: time = difference / loss, way = mean speed x time; the loss is the mean of the model of this aircraft";
const TWO_SECONDS: Near = within(
    2.0,
    Unit::Seconds,
    "a second or two goes by while the hand is on the lever",
);
const TENTH_MILE: Near = within(
    0.1,
    Unit::Nm,
    "a tenth of a mile is two or three seconds at this speed",
);
const FIFTH_MILE: Near = within(
    0.2,
    Unit::Nm,
    "a fifth of a mile is five seconds or so at this speed",
);

/// Slowing down to the gear speed, or where the gear is fixed to that of the first flap or the pattern.
pub(super) fn slowdown(t: &Teacher, grade: Grade, draw: &mut Draw) -> Option<Exercise> {
    let kind = match grade {
        Grade::Easy => "slow_seconds",
        Grade::Medium => "slow_way",
        Grade::Hard => "slow_point",
    };
    let a = t.aircraft();
    let mut d = Draft::new(kind);
    let altitude = draw.step(1_000.0, 6_000.0, 500.0);
    let (rpm, _, c) = t.draw_cruise(draw, 1_000.0 * (altitude / 1_000.0).round())?;
    // Down from a descent it may be faster than cruise.
    let most = (c.ias_kt + 15.0).min(a.speeds.vno_m_s / M_S_PER_KT);
    let to_m_s = if t.retractable() {
        a.speeds.vlo_extend_m_s
    } else {
        a.procedures.pattern_m_s
    };
    let to = (to_m_s / M_S_PER_KT).floor();
    let from = draw.step(5.0 * (to / 5.0).ceil() + 10.0, most, 5.0);
    let map = a.procedures.least_descent_map_pa / PA_PER_INHG + draw.step(0.0, 3.0, 0.5);
    let seconds = t.slow_down_s(altitude, from, to, rpm, map)?;
    d.given("altitude", altitude, Unit::Feet);
    let from = d.given("from_ias", from, Unit::Knots);
    let to = d.given("to_ias", to, Unit::Knots);
    if from - to < 10.0 {
        return None;
    }
    let loss = d.given("loss", (from - to) / seconds, Unit::KnotsPerSecond);
    if loss < 0.2 {
        return None;
    }
    if !t.fixed() {
        d.given("map", map, Unit::Inches);
        d.given("rpm", rpm, Unit::Rpm);
    }
    let seconds = d.worked("seconds", (from - to) / loss, Unit::Seconds);
    if grade == Grade::Easy {
        let question = match (t.fixed(), t.retractable()) {
            (false, true) => {
                "Level at {altitude} and {from_ias} indicated, you set {map} and leave the propeller at {rpm}. The aeroplane \
                              loses {loss} of airspeed each second on the mean. After how many seconds may the gear go down, at {to_ias}?"
            }
            (false, false) => {
                "Level at {altitude} and {from_ias} indicated, you set {map} and leave the propeller at {rpm}. The aeroplane \
                               loses {loss} of airspeed each second on the mean. After how many seconds is it at the pattern speed of \
                               {to_ias}?"
            }
            _ => {
                "Level at {altitude} and {from_ias} indicated, you close the throttle. The aeroplane loses {loss} of airspeed each second \
                  on the mean. After how many seconds is it at {to_ias}?"
            }
        };
        return d.end(
            Topic::Slowdown,
            grade,
            Ending {
                question,
                steps: vec!["({from_ias} - {to_ias}) / {loss}."],
                answer: seconds,
                near: TWO_SECONDS,
                source: STEADY,
                sane: (10.0, 150.0),
            },
        );
    }
    let fast = d.given("from_tas", t.tas_kt(altitude, from), Unit::Knots);
    let slow = d.given("to_tas", t.tas_kt(altitude, to), Unit::Knots);
    let wind = d.given("wind", draw.step(5.0, 25.0, 5.0), Unit::Knots);
    let head = draw.coin();
    let sign = if head { -1.0 } else { 1.0 };
    let mean = d.worked("mean", 0.5 * (fast + slow) + sign * wind, Unit::Knots);
    let way = d.worked("way", mean * seconds / 3_600.0, Unit::Nm);
    let step = if head {
        "Mean ground speed: half of {from_tas} and {to_tas}, less {wind}: {mean}."
    } else {
        "Mean ground speed: half of {from_tas} and {to_tas}, and {wind}: {mean}."
    };
    if grade == Grade::Medium {
        let question = if head {
            "Level at {altitude}, power back: from {from_ias} to {to_ias} indicated the aeroplane loses {loss} each second on the mean. True \
             airspeeds are {from_tas} and {to_tas}, the head wind {wind}. Over how many miles does it slow down?"
        } else {
            "Level at {altitude}, power back: from {from_ias} to {to_ias} indicated the aeroplane loses {loss} each second on the mean. True \
             airspeeds are {from_tas} and {to_tas}, the tail wind {wind}. Over how many miles does it slow down?"
        };
        return d.end(
            Topic::Slowdown,
            grade,
            Ending {
                question,
                steps: vec![
                    "Time: ({from_ias} - {to_ias}) / {loss} = {seconds}.",
                    step,
                    "{mean} x {seconds} / 3,600.",
                ],
                answer: way,
                near: TENTH_MILE,
                source: STEADY,
                sane: (0.4, 8.0),
            },
        );
    }
    let before = d.given("before", draw.step(3.0, 7.0, 1.0), Unit::Nm);
    let delay = d.given("delay", draw.step(10.0, 30.0, 5.0), Unit::Seconds);
    let fast_gs = d.worked("fast_gs", fast + sign * wind, Unit::Knots);
    let waiting = d.worked("waiting", fast_gs * delay / 3_600.0, Unit::Nm);
    let question = match (head, t.retractable()) {
        (true, true) => {
            "Level at {altitude}, you want to be slow enough for the gear, {to_ias} indicated, when {before} from the field. From \
             {from_ias} the aeroplane loses {loss} each second on the mean with power back, and you count on {delay} for bringing the \
             power back before it begins to slow. True airspeeds are {from_tas} and {to_tas}, the head wind {wind}. How far from the field \
             does your hand go to the throttle?"
        }
        (false, true) => {
            "Level at {altitude}, you want to be slow enough for the gear, {to_ias} indicated, when {before} from the field. From \
             {from_ias} the aeroplane loses {loss} each second on the mean with power back, and you count on {delay} for bringing the \
             power back before it begins to slow. True airspeeds are {from_tas} and {to_tas}, the tail wind {wind}. How far from the field \
             does your hand go to the throttle?"
        }
        (true, false) => {
            "Level at {altitude}, you want to be at the pattern speed of {to_ias} indicated when {before} from the field. From \
             {from_ias} the aeroplane loses {loss} each second on the mean with power back, and you count on {delay} for bringing the \
             power back before it begins to slow. True airspeeds are {from_tas} and {to_tas}, the head wind {wind}. How far from the field \
             does your hand go to the throttle?"
        }
        (false, false) => {
            "Level at {altitude}, you want to be at the pattern speed of {to_ias} indicated when {before} from the field. From \
             {from_ias} the aeroplane loses {loss} each second on the mean with power back, and you count on {delay} for bringing the \
             power back before it begins to slow. True airspeeds are {from_tas} and {to_tas}, the tail wind {wind}. How far from the field \
             does your hand go to the throttle?"
        }
    };
    let hands = if head {
        "Hands: ({from_tas} - {wind}) x {delay} / 3,600 = {waiting}."
    } else {
        "Hands: ({from_tas} + {wind}) x {delay} / 3,600 = {waiting}."
    };
    d.end(
        Topic::Slowdown,
        grade,
        Ending {
            question,
            steps: vec![
                "Slowing: ({from_ias} - {to_ias}) / {loss} = {seconds}.",
                step,
                "Way: {mean} x {seconds} / 3,600 = {way}.",
                hands,
                "{before} + {way} + {waiting}.",
            ],
            answer: before + way + waiting,
            near: FIFTH_MILE,
            source: STEADY,
            sane: (3.3, 16.0),
        },
    )
}
