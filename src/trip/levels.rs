//! Cruise altitudes that the rules allow.

use super::{Leg, Problem, Rules, Start};
use crate::quantity::{M_PER_FT, M_S_PER_FPM};
use std::f64::consts::PI;

/// Least rate of climb on reaching a level, m/s (DESIGN section 5).
pub const PLAIN_CLIMB_M_S: f64 = 300.0 * M_S_PER_FPM;
/// The same in mountainous stretches, m/s.
pub const MOUNTAIN_CLIMB_M_S: f64 = 500.0 * M_S_PER_FPM;

/// The rule of semicircles begins more than this above ground, m (14 CFR 91.159; 3,000 ft).
const RULE_FROM_M: f64 = 3_000.0 * M_PER_FT;

/// Heights nearer than this are the same, ft.
const SAME_FT: f64 = 1.0;

/// Levels of one leg.
#[derive(Debug, Clone, PartialEq)]
pub struct LegLevels {
    /// Indicated altitudes, lowest first, m.
    pub levels_m: Vec<f64>,
}

impl LegLevels {
    /// Whether an indicated altitude \[m\] is one of them.
    pub fn allows(&self, level_m: f64) -> bool {
        self.levels_m.iter().any(|l| (l - level_m).abs() < 1.0)
    }
}

/// Whether a level in feet suits a magnetic course [rad] under the rules, more than 3,000 ft above ground.
///
/// 14 CFR 91.159 (VFR: 0 to 179 odd thousands plus 500) and 91.179 (IFR: 0 to 179 odd thousands); ICAO Annex 2 appendix 3
/// gives the same below FL290.
fn suits(rules: Rules, level_ft: f64, magnetic_rad: f64) -> bool {
    #[expect(clippy::cast_possible_truncation, reason = "at most 45,000")]
    let whole_ft = level_ft.round() as i64;
    let eastbound = magnetic_rad.rem_euclid(2.0 * PI) < PI;
    let (offset, odd_first) = match rules {
        Rules::UsVfr | Rules::IcaoVfr => (500, 1),
        Rules::UsIfr | Rules::IcaoIfr => (0, 1),
        Rules::None => return true,
    };
    if (level_ft - level_ft.round()).abs() > SAME_FT {
        return false;
    }
    let thousands = whole_ft - offset;
    if thousands % 1_000 != 0 {
        return false;
    }
    ((thousands / 1_000) % 2 == odd_first) == eastbound
}

/// Heights that may be levels, lowest first, ft: whole 500 ft, and where the flight begins in the air the height it has.
fn candidates_ft(problem: &Problem) -> Vec<f64> {
    let mut all: Vec<f64> = (0..=90).map(|n| 500.0 * f64::from(n)).collect();
    if let Start::InFlight { indicated_m, .. } = problem.start {
        let now_ft = indicated_m / M_PER_FT;
        let at = all.partition_point(|&l| l < now_ft);
        let known = all[at.saturating_sub(1)..all.len().min(at + 1)]
            .iter()
            .any(|l| (l - now_ft).abs() < SAME_FT);
        if !known {
            all.insert(at, now_ft);
        }
    }
    all
}

/// Legal levels of a leg [m indicated]: at or above the minimum, at or below its own, the trip's and the oxygen limit, true height over
/// ground by the clearance, and by the rule of semicircles where any of it is more than 3,000 ft above ground.
///
/// Ground is known by its highest point in each stretch only, so a level counts as 3,000 ft or less above ground where it is so
/// over the lowest of the stretches. Where no ground is known it counts so over the sea, or the lower field if that lies below the sea.
pub fn legal_levels(problem: &Problem, leg: &Leg) -> LegLevels {
    let terminal = |g: &&(f64, f64, f64)| {
        let left = g.1 > super::TERMINAL_M || problem.start != Start::Ground;
        left && g.0 < problem.length_m - super::TERMINAL_M
    };
    let known = leg.ground.iter().map(|g| g.2).reduce(f64::min);
    let fields = [&problem.departure, &problem.destination].map(|f| f.elevation_m);
    let lowest_ground = known.unwrap_or_else(|| fields.into_iter().fold(0.0, f64::min));
    let most_m = leg.maximum_m.map_or(problem.limits.max_altitude_m, |m| {
        m.min(problem.limits.max_altitude_m)
    });
    let clearance = problem.clearance_m(leg.mountainous);
    let mut levels_m = Vec::new();
    for level_ft in candidates_ft(problem) {
        let level_m = level_ft * M_PER_FT;
        if level_m < leg.minimum_m || level_m > most_m {
            continue;
        }
        let low = level_m - lowest_ground <= RULE_FROM_M;
        if !low && !suits(problem.rules, level_ft, leg.magnetic_rad) {
            continue;
        }
        let clear = leg
            .ground
            .iter()
            .filter(terminal)
            .all(|&(from_m, to_m, ground_m)| {
                [from_m, 0.5 * (from_m + to_m), to_m].iter().all(|&s| {
                    let hp = problem.pressure_altitude_m(s, level_m);
                    problem.air.at(s, hp, problem.time_s(s)).true_altitude_m >= ground_m + clearance
                })
            });
        let breathable = problem.limits.oxygen
            || problem.pressure_altitude_m(leg.from_m, level_m) <= super::problem::NO_OXYGEN_M;
        if clear && breathable {
            levels_m.push(level_m);
        }
    }
    LegLevels { levels_m }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_91_159_levels() {
        // 14 CFR 91.159(a): magnetic course 0 to 179, odd thousands plus 500 (3,500, 5,500, 7,500); 180 to 359, even
        // thousands plus 500 (4,500, 6,500, 8,500).
        for (course_deg, levels) in [
            (0.0_f64, [3_500, 5_500, 7_500]),
            (179.9, [3_500, 5_500, 7_500]),
            (180.0, [4_500, 6_500, 8_500]),
            (359.9, [4_500, 6_500, 8_500]),
        ] {
            let legal: Vec<i32> = (3_500..=8_500)
                .step_by(500)
                .filter(|&l| suits(Rules::UsVfr, f64::from(l), course_deg.to_radians()))
                .collect();
            assert_eq!(legal, levels, "course {course_deg}");
        }
    }

    #[test]
    fn published_91_179_levels() {
        // 14 CFR 91.179(b): below 18,000 ft in uncontrolled airspace, 0 to 179 any odd thousand, 180 to 359 any even thousand.
        for (course_deg, levels) in [
            (90.0_f64, [3_000, 5_000, 7_000]),
            (270.0, [4_000, 6_000, 8_000]),
        ] {
            let legal: Vec<i32> = (3_000..=8_000)
                .step_by(500)
                .filter(|&l| suits(Rules::UsIfr, f64::from(l), course_deg.to_radians()))
                .collect();
            assert_eq!(legal, levels, "course {course_deg}");
        }
    }
}
