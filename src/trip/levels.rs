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

/// Within this angle of the split of the sectors the levels of both are taken: the course is known no better (World Magnetic Model, local
/// rock, drift of the day), and the pilot checks which half holds.
const NEAR_SPLIT_RAD: f64 = 3.0 * PI / 180.0;
/// Above this a visual flight has no level of the rules, ft: Class A begins at 18,000 (14 CFR 71.33); FL 285 is the last of ICAO Annex 2
/// appendix 3 (from memory).
const HIGHEST_VFR_FT: (f64, f64) = (17_500.0, 28_500.0);
/// From here up instrument levels are 4,000 ft apart in each half, thousands of feet (14 CFR 91.179(b)(3), outside RVSM).
const WIDE_FROM: i64 = 29;
/// A level this little below a minimum altitude in true height is as high as an altimeter can tell, m: half of what it is read to.
const READ_M: f64 = 50.0 * M_PER_FT;

/// Whether a magnetic course \[rad\] lies in the half of the compass from the split up.
fn in_first_half(magnetic_rad: f64, sector_from_rad: f64) -> bool {
    (magnetic_rad - sector_from_rad).rem_euclid(2.0 * PI) < PI
}

/// Which halves of the compass a magnetic course \[rad\] lies in, the half from the split up first: one, or within 3 degrees of the
/// split both.
fn halves_of(magnetic_rad: f64, sector_from_rad: f64) -> [bool; 2] {
    let first = in_first_half(magnetic_rad, sector_from_rad);
    let from_split = (magnetic_rad - sector_from_rad).rem_euclid(PI);
    if (NEAR_SPLIT_RAD..=PI - NEAR_SPLIT_RAD).contains(&from_split) {
        [first, !first]
    } else {
        [true; 2]
    }
}

/// Which halves a leg lies in by its magnetic course at mid-leg and at both ends.
pub(super) fn halves(leg: &Leg, sector_from_rad: f64) -> [bool; 2] {
    let [start, end] = leg.magnetic_ends_rad;
    let each = [start, leg.magnetic_rad, end].map(|c| halves_of(c, sector_from_rad));
    [0, 1].map(|half| each.iter().any(|e| e[half]))
}

/// Whether a level in feet is one of the rules for flight in one half of the compass, the first (odd thousands) or the second.
///
/// 14 CFR 91.159 (VFR: 0 to 179 odd thousands plus 500) and 91.179 (IFR: 0 to 179 odd thousands; from FL 290 every 4,000 ft); ICAO Annex 2
/// appendix 3 and SERA.5005(g) have the same, with sectors that a country may turn.
fn suits(rules: Rules, level_ft: f64, first_half: bool) -> bool {
    let (offset, highest_ft) = match rules {
        Rules::UsVfr => (500, HIGHEST_VFR_FT.0),
        Rules::IcaoVfr => (500, HIGHEST_VFR_FT.1),
        Rules::UsIfr | Rules::IcaoIfr => (0, f64::INFINITY),
        Rules::None => return true,
    };
    #[expect(clippy::cast_possible_truncation, reason = "at most 45,000")]
    let whole_ft = level_ft.round() as i64;
    let between = (level_ft - level_ft.round()).abs() > SAME_FT || (whole_ft - offset) % 1_000 != 0;
    if between || level_ft > highest_ft + SAME_FT {
        return false;
    }
    let thousands = (whole_ft - offset) / 1_000;
    if thousands >= WIDE_FROM {
        let lowest = if first_half { WIDE_FROM } else { WIDE_FROM + 2 };
        return (thousands - lowest) % 4 == 0;
    }
    (thousands % 2 == 1) == first_half
}

/// Whether a level \[ft\] is one of the rules for a magnetic course, a split at `sector_from_rad`; at the split itself of the half that
/// begins there.
pub fn rule_allows(rules: Rules, level_ft: f64, magnetic_rad: f64, sector_from_rad: f64) -> bool {
    suits(
        rules,
        level_ft,
        in_first_half(magnetic_rad, sector_from_rad),
    )
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

/// Legal levels of a leg [m indicated]: at or above the minimum, indicated and in true height; at or below its own, the trip's and the
/// oxygen limit; true height over ground by the clearance; and by the rule of semicircles, in visual flight where any of it is more than
/// 3,000 ft above ground.
///
/// Ground is known by its highest point in each stretch only, so a level counts as 3,000 ft or less above ground where it is so
/// over the lowest of the stretches; where it is not known, nowhere.
pub fn legal_levels(problem: &Problem, leg: &Leg) -> LegLevels {
    let lowest_ground = leg.ground.iter().map(|g| g.2).reduce(f64::min);
    let most_m = leg.maximum_m.map_or(problem.limits.max_altitude_m, |m| {
        m.min(problem.limits.max_altitude_m)
    });
    let clearance = problem.clearance_m(leg.mountainous);
    let halves = halves(leg, problem.limits.sector_from_rad);
    let whole = [(leg.from_m, leg.to_m, f64::NEG_INFINITY)];
    let stretches = if leg.ground.is_empty() {
        &whole[..]
    } else {
        &leg.ground
    };
    let mut levels_m = Vec::new();
    for level_ft in candidates_ft(problem) {
        let level_m = level_ft * M_PER_FT;
        if level_m < leg.minimum_m || level_m > most_m {
            continue;
        }
        let low = problem.rules.visual()
            && lowest_ground.is_some_and(|ground_m| level_m - ground_m <= RULE_FROM_M);
        let by_rule = suits(problem.rules, level_ft, true) && halves[0]
            || suits(problem.rules, level_ft, false) && halves[1];
        if !low && !by_rule {
            continue;
        }
        let clear = stretches.iter().all(|&(from_m, to_m, ground_m)| {
            // Near a field the climb and the let-down cross the stretch, not the cruise.
            let leaving = to_m <= super::TERMINAL_M && problem.start == Start::Ground;
            let near = leaving || from_m >= problem.length_m - super::TERMINAL_M;
            let floor_m = if near {
                f64::NEG_INFINITY
            } else {
                ground_m + clearance
            };
            [from_m, 0.5 * (from_m + to_m), to_m].iter().all(|&s| {
                let hp = problem.pressure_altitude_m(s, level_m);
                let true_m = problem.air.at(s, hp, problem.time_s(s)).true_altitude_m;
                true_m >= floor_m && true_m >= leg.minimum_m - READ_M
            })
        });
        let breathable = problem.limits.oxygen
            || [leg.from_m, leg.to_m]
                .iter()
                .all(|&s| problem.pressure_altitude_m(s, level_m) <= problem.limits.no_oxygen_m);
        if clear && breathable {
            levels_m.push(level_m);
        }
    }
    LegLevels { levels_m }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Levels of the rules in a range for a magnetic course, ft.
    fn legal(rules: Rules, course_deg: f64, sector_deg: f64, range: [i32; 2]) -> Vec<i32> {
        let first = in_first_half(course_deg.to_radians(), sector_deg.to_radians());
        (range[0]..=range[1])
            .step_by(500)
            .filter(|&l| suits(rules, f64::from(l), first))
            .collect()
    }

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
            assert_eq!(
                legal(Rules::UsVfr, course_deg, 0.0, [3_500, 8_500]),
                levels,
                "course {course_deg}"
            );
        }
        // Class A from 18,000 ft is not for visual flight.
        assert_eq!(
            legal(Rules::UsVfr, 90.0, 0.0, [15_000, 30_000]),
            [15_500, 17_500]
        );
    }

    #[test]
    fn published_91_179_levels() {
        // 14 CFR 91.179(b): below 18,000 ft in uncontrolled airspace, 0 to 179 any odd thousand, 180 to 359 any even thousand; FL 180
        // to below 290 odd and even levels; from FL 290 in intervals of 4,000 ft, beginning with FL 290 and with FL 310.
        let ifr = |course_deg, range| legal(Rules::UsIfr, course_deg, 0.0, range);
        assert_eq!(ifr(90.0, [3_000, 8_000]), [3_000, 5_000, 7_000]);
        assert_eq!(ifr(270.0, [3_000, 8_000]), [4_000, 6_000, 8_000]);
        assert_eq!(
            ifr(90.0, [27_000, 38_000]),
            [27_000, 29_000, 33_000, 37_000]
        );
        assert_eq!(ifr(270.0, [27_000, 38_000]), [28_000, 31_000, 35_000]);
    }

    #[test]
    fn published_icao_levels_and_turned_sectors() {
        // SERA.5005(g) and ICAO Annex 2 appendix 3: 000 to 179 VFR 35 55 75, IFR 30 50; 180 to 359 VFR 45 65 85, IFR 40 60. Where a
        // country splits north from south, 090 to 269 has what 000 to 179 has elsewhere.
        let range = [3_000, 7_000];
        assert_eq!(legal(Rules::IcaoVfr, 90.0, 0.0, range), [3_500, 5_500]);
        assert_eq!(legal(Rules::IcaoVfr, 270.0, 0.0, range), [4_500, 6_500]);
        assert_eq!(
            legal(Rules::IcaoIfr, 90.0, 0.0, range),
            [3_000, 5_000, 7_000]
        );
        for (course_deg, levels) in [
            (89.0, [4_500, 6_500]),
            (90.0, [3_500, 5_500]),
            (269.0, [3_500, 5_500]),
        ] {
            assert_eq!(
                legal(Rules::IcaoVfr, course_deg, 90.0, range),
                levels,
                "{course_deg}"
            );
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 2_000, rng_seed: proptest::test_runner::RngSeed::Fixed(159), ..ProptestConfig::default() })]
        #[test]
        fn closed_form_each_course_has_one_half_or_both_near_the_split(course_deg in -720.0..720.0_f64, sector_deg in 0.0..360.0_f64) {
            // Written without angles that wrap: the course as a point of the circle, the split as a line through it.
            let (c, s) = (course_deg.to_radians(), sector_deg.to_radians());
            let side = c.sin() * s.cos() - c.cos() * s.sin();
            let near = side.abs() < 3.0_f64.to_radians().sin();
            // Rounding at the very edge decides nothing.
            prop_assume!((side.abs() - 3.0_f64.to_radians().sin()).abs() > 1e-9);
            let expected = if near { [true, true] } else { [side > 0.0, side < 0.0] };
            prop_assert_eq!(halves_of(c, s), expected);
            // The reciprocal course has the other half.
            let [a, b] = halves_of(c + PI, s);
            prop_assert_eq!([b, a], expected);
            // Each level of the rules is of one half.
            for level in (500..=28_500).step_by(500) {
                for rules in [Rules::UsVfr, Rules::UsIfr, Rules::IcaoVfr, Rules::IcaoIfr] {
                    let [first, second] = [true, false].map(|half| suits(rules, f64::from(level), half));
                    prop_assert!(!(first && second));
                }
            }
        }
    }
}
