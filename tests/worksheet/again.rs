//! Answers found again from the printed numbers alone, by another way than the steps: descents and slow-downs are flown second by
//! second, triangles drawn, atmospheres computed in the units of the standard's own tables.

use super::given;
use fellrun::teach::worksheet::{Exercise, Unit};

/// Step of what is flown here, s.
const STEP_S: f64 = 0.01;

/// Flies down at a rate [fpm] from a height to another [ft] at a ground speed [kt]: seconds and miles.
fn flown_down(from: f64, to: f64, rate: f64, ground_kt: impl Fn(f64) -> f64) -> (f64, f64) {
    let (mut height, mut seconds, mut miles) = (from, 0.0, 0.0);
    while height > to {
        let step = STEP_S.min((height - to) / rate * 60.0).max(1e-9);
        let middle = height - 0.5 * rate / 60.0 * step;
        miles += ground_kt(middle) / 3_600.0 * step;
        height -= rate / 60.0 * step;
        seconds += step;
    }
    (seconds, miles)
}

/// The value at which a rising function is nought.
fn root(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if f(middle) > 0.0 {
            high = middle;
        } else {
            low = middle;
        }
    }
    0.5 * (low + high)
}

/// Position after an hour along a course at a wind triangle's ground speed: where the circle of the airspeed about the head of the wind
/// vector cuts the course line. Complex numbers east + north; gives ground speed and heading in degrees.
fn triangle(course: f64, tas: f64, from: f64, speed: f64) -> (f64, f64) {
    let (c, w) = (course.to_radians(), (from + 180.0).to_radians());
    let (line, head) = ((c.sin(), c.cos()), (speed * w.sin(), speed * w.cos()));
    // |g line - head| = tas, the greater root.
    let dot = line.0 * head.0 + line.1 * head.1;
    let square = head.0 * head.0 + head.1 * head.1 - tas * tas;
    let g = dot + (dot * dot - square).sqrt();
    let air = (g * line.0 - head.0, g * line.1 - head.1);
    (g, air.0.atan2(air.1).to_degrees().rem_euclid(360.0))
}

/// Pressure over that at sea level, at a pressure altitude [ft]: 1 - 6.8755856e-6 h to the power 5.2558797 (the standard atmosphere in
/// feet; constants of the FAA's and NOAA's formulas, from memory).
fn delta(ft: f64) -> f64 {
    (1.0 - 6.875_585_6e-6 * ft).powf(5.255_879_7)
}

/// A level of US rules, ft: VFR or IFR, by 14 CFR 91.159(a) and 91.179(b), written as lists.
fn levels(magnetic: f64, instrument: bool) -> Vec<f64> {
    let east: [f64; 8] = [1.0, 3.0, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0];
    let west: [f64; 8] = [2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0];
    let magnetic = magnetic.rem_euclid(360.0);
    let thousands = if magnetic <= 179.0 { east } else { west };
    let plus = if instrument { 0.0 } else { 500.0 };
    thousands.iter().map(|t| t * 1_000.0 + plus).collect()
}

/// The same by the table of cruising levels of ICAO Annex 2 appendix 3 and SERA (as quoted in `trip::levels`): the halves 000 to 179 and
/// 180 to 359, or turned by a quarter.
fn icao_levels(magnetic: f64, instrument: bool, turned: bool) -> Vec<f64> {
    let track = magnetic.rem_euclid(360.0).round();
    let odd = if turned {
        (90.0..=269.0).contains(&track)
    } else {
        (0.0..=179.0).contains(&track)
    };
    let plus = if instrument { 0.0 } else { 500.0 };
    let first = if odd { 1_000.0 } else { 2_000.0 };
    (0..8)
        .map(|n| first + 2_000.0 * f64::from(n) + plus)
        .collect()
}

/// Straight line between the rows of a table, in a column over the first.
fn between(e: &Exercise, at: f64, column: usize) -> f64 {
    let rows = &e.table.as_ref().expect("a table").rows;
    let pair = rows.windows(2).find(|w| w[0][0] <= at && at <= w[1][0]);
    let pair = pair.expect("inside the table");
    // As a weighted mean.
    let (low, high) = (at - pair[0][0], pair[1][0] - at);
    (pair[0][column] * high + pair[1][column] * low) / (low + high)
}

/// The row of a table that begins with a value.
fn row(e: &Exercise, first: f64) -> &[f64] {
    let rows = &e.table.as_ref().expect("a table").rows;
    rows.iter().find(|r| r[0] == first).expect("a row")
}

/// The answer found again, not rounded.
pub fn again(e: &Exercise) -> f64 {
    let g = |name: &str| given(e, name);
    let asks = |words: &str| e.question.contains(words);
    let wind = |kt: f64| if asks("head wind") { -kt } else { kt };
    match e.kind {
        "tod_by_rule" => (g("from") - g("to")) * 0.003,
        "tod_by_clock" => flown_down(g("from"), g("to"), g("rate"), |_| 0.0).0 / 60.0,
        "tod_by_rate" => flown_down(g("from"), g("to"), g("rate"), |_| g("gs")).1 + g("before"),
        "tod_by_wind" => {
            let at = |h: f64| {
                let share = (h - g("to")) / (g("from") - g("to"));
                g("tas") + wind(g("wind_low") + share * (g("wind_high") - g("wind_low")))
            };
            flown_down(g("from"), g("to"), g("rate"), at).1 + g("before")
        }
        // The rate at which the descent flown is as long as the way.
        "rate_required" => root(10.0, 9_000.0, |r| {
            g("way") - flown_minutes(g("from") - g("to"), r) * g("gs") / 60.0
        }),
        "rate_in_wind" => root(10.0, 9_000.0, |r| {
            let speed = g("tas") + wind(g("wind"));
            g("away") - g("before") - flown_minutes(g("from") - g("to"), r) * speed / 60.0
        }),
        "rate_of_two" => {
            // Feet a mile, times miles a minute.
            let first = (g("from") - g("gate")) / (g("away") - g("middle"));
            let second = (g("gate") - g("to")) / (g("middle") - g("before"));
            first.max(second) * g("gs") / 60.0
        }
        "fuel_by_time" => flown_down(g("from"), g("to"), g("rate"), |_| g("flow")).1,
        "fuel_by_mean_flow" => {
            let at = |h: f64| {
                g("bottom") + (g("top") - g("bottom")) * (h - g("to")) / (g("from") - g("to"))
            };
            flown_down(g("from"), g("to"), g("rate"), at).1
        }
        "fuel_saved" => {
            let (seconds, miles) = flown_down(g("from"), g("to"), g("rate"), |_| g("gs"));
            // Gallons a mile in cruise.
            miles * g("cruise_flow") / g("cruise_gs") - seconds * g("flow") / 3_600.0
        }
        "late_rate" => {
            let (_, miles) = flown_down(g("from"), g("to"), g("planned"), |_| g("gs"));
            // Feet a mile, times miles a minute.
            (g("from") - g("to")) / (miles - g("late")) * g("gs") / 60.0
        }
        "late_slower" => root(1.0, 400.0, |kt| {
            flown_down_fast(g("from"), g("to"), g("most")) * kt / 3_600.0 - g("left")
        }),
        "late_beyond" => {
            let seconds = flown_down(g("from"), g("to"), g("most"), |_| 0.0).0;
            seconds / 60.0 - g("left") / g("gs") * 60.0
        }
        "pressure_altitude" => {
            // The height of the setting, by bisection of the pressure law; 29.9213 in at sea level.
            let low = |ft: f64| g("setting") / 29.921_26 - delta(ft);
            g("indicated") + root(-2_000.0, 2_000.0, low)
        }
        "density_altitude" => {
            let theta = (g("oat") + 273.15) / 288.15;
            let sigma = delta(g("altitude")) / theta;
            // 145,442.16 ft x (1 - sigma^0.234969): NOAA's density altitude formula (from memory).
            145_442.16 * (1.0 - sigma.powf(0.234_969))
        }
        "true_airspeed" => {
            // Compressible, 661.4786 kt the speed of sound at sea level.
            let sound = 661.478_6_f64;
            let impact = (1.0 + 0.2 * (g("cas") / sound).powi(2)).powf(3.5) - 1.0;
            let mach2 = 5.0 * ((impact / delta(g("altitude")) + 1.0).powf(2.0 / 7.0) - 1.0);
            sound * (mach2 * (g("oat") + 273.15) / 288.15).sqrt()
        }
        "wind_along" => {
            let (c, f) = (g("course").to_radians(), g("from").to_radians());
            // Scalar product of the unit vectors.
            let with = c.sin() * f.sin() + c.cos() * f.cos();
            let head = g("speed") * with;
            assert_eq!(asks("head wind"), head > 0.0, "{e:?}");
            assert_eq!(asks("tail wind"), head < 0.0, "{e:?}");
            head.abs()
        }
        "wind_heading" => triangle(g("course"), g("tas"), g("from"), g("speed")).1,
        "wind_time" => g("way") / triangle(g("course"), g("tas"), g("from"), g("speed")).0 * 60.0,
        "level_vfr" => {
            assert!(g("least") - g("ground") > 3_000.0);
            let all = levels(g("course"), false);
            *all.iter().find(|l| **l >= g("least")).expect("a level")
        }
        "level_by_variation" => {
            let east = asks(" east,");
            assert_ne!(east, asks(" west,"));
            let magnetic = g("course") + if east { -1.0 } else { 1.0 } * g("variation");
            let all = levels(magnetic, asks("IFR"));
            *all.iter().find(|l| **l >= g("least")).expect("a level")
        }
        "level_below_cloud" => {
            let east = asks(" east,");
            assert_ne!(east, asks(" west,"));
            let magnetic = g("course") + if east { -1.0 } else { 1.0 } * g("variation");
            let all = levels(magnetic, false);
            let highest = all.iter().rev().find(|l| **l + 500.0 <= g("base"));
            let highest = *highest.expect("a level");
            assert!(highest - g("ground") > 3_000.0);
            highest
        }
        "level_vfr_icao" => {
            assert!(g("least") - g("ground") > 3_000.0 && asks("ICAO and SERA"));
            let all = icao_levels(g("course"), false, false);
            *all.iter().find(|l| **l >= g("least")).expect("a level")
        }
        "level_by_variation_icao" => {
            let east = asks(" east,");
            assert_ne!(east, asks(" west,"));
            let magnetic = g("course") + if east { -1.0 } else { 1.0 } * g("variation");
            let turned = asks("090 to 269 and 270 to 089");
            let all = icao_levels(magnetic, asks("IFR"), turned);
            *all.iter().find(|l| **l >= g("least")).expect("a level")
        }
        "level_below_cloud_icao" => {
            let east = asks(" east,");
            assert_ne!(east, asks(" west,"));
            let magnetic = g("course") + if east { -1.0 } else { 1.0 } * g("variation");
            let all = icao_levels(magnetic, false, false);
            let highest = all.iter().rev().find(|l| **l + 1_000.0 <= g("base"));
            let highest = *highest.expect("a level");
            assert!(highest - g("ground") > 3_000.0);
            highest
        }
        "settings_fuel" => row(e, g("altitude"))[2] / 60.0 * g("minutes"),
        "settings_between" => between(e, g("altitude"), 1),
        "settings_speed_between" => between(e, g("altitude"), 3),
        "settings_leg" => {
            let (flow, tas) = (between(e, g("altitude"), 2), between(e, g("altitude"), 3));
            // Gallons a mile.
            flow / (tas + wind(g("wind"))) * g("way")
        }
        "rpm_power" => row(e, g("high"))[2] - row(e, g("low"))[2],
        "rpm_fuel" => (row(e, g("high"))[3] - row(e, g("low"))[3]) / 60.0 * g("minutes"),
        "rpm_map" => {
            let wanted = row(e, g("high"))[2];
            let rows = &e.table.as_ref().expect("a table").rows;
            let low: Vec<_> = rows.iter().filter(|r| r[0] == g("low")).collect();
            let power = |map: f64| {
                let pair = low
                    .windows(2)
                    .find(|w| map <= w[1][1])
                    .expect("in the table");
                let share = (map - pair[0][1]) / (pair[1][1] - pair[0][1]);
                pair[0][2] * (1.0 - share) + pair[1][2] * share
            };
            root(low[0][1], low[low.len() - 1][1], |map| power(map) - wanted)
        }
        "slow_seconds" => slowed(e).0,
        "slow_way" => slowed(e).1,
        "slow_point" => {
            let (_, way) = slowed(e);
            let fast = g("from_tas") + wind(g("wind"));
            g("before") + way + fast / 3_600.0 * g("delay")
        }
        "glide_reach" => (g("height") - g("kept")) * 0.3048 * g("ratio") / 1_852.0,
        "glide_in_wind" => {
            // Sink rate and time aloft.
            let sink_kt = g("tas") / g("ratio");
            let hours = (g("height") - g("kept")) * 0.3048 / 1_852.0 / sink_kt;
            hours * (g("tas") + wind(g("wind")))
        }
        "glide_lever" => {
            let height_nm = (g("height") - g("kept")) * 0.3048 / 1_852.0;
            height_nm * (g("back") - g("ratio"))
        }
        "glide_lever_slack" => {
            // A governor that is asked for more than the air gives lets the blades lie.
            assert!(g("windmilling") < g("lowest"));
            0.0
        }
        "glide_height" => {
            let hours = g("away") / (g("tas") + wind(g("wind")));
            hours * g("tas") / g("ratio") * 1_852.0 / 0.3048 + g("kept")
        }
        other => panic!("no way of its own to the answer of {other}"),
    }
}

fn flown_minutes(lose: f64, rate: f64) -> f64 {
    lose / rate
}

fn flown_down_fast(from: f64, to: f64, rate: f64) -> f64 {
    (from - to) * 60.0 / rate
}

/// Slows down second by second: seconds, and miles where true airspeeds are given.
fn slowed(e: &Exercise) -> (f64, f64) {
    let g = |name: &str| given(e, name);
    let (from, to, loss) = (g("from_ias"), g("to_ias"), g("loss"));
    let ways = e.given.iter().any(|n| n.name == "from_tas");
    let wind = if !ways {
        0.0
    } else if e.question.contains("head wind") {
        -g("wind")
    } else {
        g("wind")
    };
    let (mut ias, mut seconds, mut miles) = (from, 0.0, 0.0);
    while ias > to {
        let step = STEP_S.min((ias - to) / loss).max(1e-9);
        let middle = ias - 0.5 * loss * step;
        if ways {
            let share = (middle - to) / (from - to);
            let tas = g("to_tas") + share * (g("from_tas") - g("to_tas"));
            miles += (tas + wind) / 3_600.0 * step;
        }
        ias -= loss * step;
        seconds += step;
    }
    (seconds, miles)
}

/// Half of the last printed digit, and a little for formulas with rounded constants.
pub fn rounding(unit: Unit) -> f64 {
    0.5 * 10_f64.powi(-i32::from(unit.places())) * 1.02
}

/// How far the answer found again may lie from the printed one: its rounding, and 2 ft for pressure laws with printed constants.
pub fn apart(e: &Exercise) -> f64 {
    let law = if e.kind.ends_with("_altitude") {
        2.0
    } else {
        0.0
    };
    rounding(e.answer.unit) + law
}
