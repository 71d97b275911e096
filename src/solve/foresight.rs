//! How far a descent goes, foreseen from those flown before.
//!
//! A descent is to end at the pattern point: it is flown from where it should begin and moved by the miss, and where that is much flown again. What
//! begins about right is flown once. So how far descents go is kept as a linear function of what is set in them, through the last one flown, with
//! slopes that each mends along the way from the one before (the secant update of least change: Broyden, Math. Comp. 19, 1965, from memory). It
//! decides where a search begins and no more.

use crate::aircraft::Throttle;
use crate::flight::{DescentPart, PathRule, Script, ThrottleRule};
use crate::quantity::{M_PER_NM, M_S_PER_KT, PA_PER_INHG};
use crate::trip::Problem;

/// Traits of a part of a descent.
const OF_PART: usize = 13;
/// Traits of a descent: those of two parts, and six more.
const TRAITS: usize = 2 * OF_PART + 6;
/// Mixtures told apart; leaner ones are as the last.
const MIXTURES: usize = 4;
/// Ground speed in a descent, m/s: a first guess.
const USUAL_M_S: f64 = 75.0;
/// Units of the traits besides inches of mercury, about what a hand sets at once: m/s, rev/s and m.
const IAS_M_S: f64 = 5.0 * M_S_PER_KT;
const REV_S: f64 = 50.0 / 60.0;
const HEIGHT_M: f64 = 150.0;
/// From descents so much alike no slope is taken, a square.
const ALIKE2: f64 = 1e-2;

/// What is set in a descent, in figures of like weight.
type Traits = [f64; TRAITS];

/// How far the descents of one problem go, as far as known.
#[derive(Debug, Clone, Default)]
pub struct Foresight {
    last: Option<Last>,
}

#[derive(Debug, Clone)]
struct Last {
    traits: Traits,
    length_m: f64,
    /// Of the length with each trait, m.
    slopes_m: Traits,
}

impl Foresight {
    /// How far the descent of a script may be expected to go, m, zero or more; `None` before the first.
    pub fn of(&self, problem: &Problem, script: &Script) -> Option<f64> {
        let last = self.last.as_ref()?;
        let expected_m = last.expected_m(&traits(problem, script));
        expected_m.is_finite().then_some(expected_m.max(0.0))
    }

    /// Takes in how far the descent of a script went, m.
    pub fn take(&mut self, problem: &Problem, script: &Script, length_m: f64) {
        let traits = traits(problem, script);
        let Some(last) = &mut self.last else {
            // Down at the rates that are set, so many miles a mile.
            let mut slopes_m = [0.0; TRAITS];
            slopes_m[0] = M_PER_NM;
            self.last = Some(Last {
                traits,
                length_m,
                slopes_m,
            });
            return;
        };
        let moved: Traits = std::array::from_fn(|i| traits[i] - last.traits[i]);
        let square: f64 = moved.iter().map(|m| m * m).sum();
        if square > ALIKE2 {
            let missed_m = length_m - last.expected_m(&traits);
            for (slope_m, m) in last.slopes_m.iter_mut().zip(moved) {
                *slope_m += missed_m * m / square;
            }
        }
        (last.traits, last.length_m) = (traits, length_m);
    }
}

impl Last {
    fn expected_m(&self, traits: &Traits) -> f64 {
        let change_m = |i: usize| self.slopes_m[i] * (traits[i] - self.traits[i]);
        self.length_m + (0..TRAITS).map(change_m).sum::<f64>()
    }
}

fn traits(problem: &Problem, script: &Script) -> Traits {
    let d = &script.descent;
    let cruise = script.last_cruise();
    let pattern_m = problem.arrival.pattern_altitude_m;
    let mut out = [0.0; TRAITS];
    // How far at the rates that are set, nm; a held speed comes down at a rate of its own.
    let far_nm = |part: &DescentPart, from_m: f64, to_m: f64| {
        let rate_m_s = match part.path {
            PathRule::Rate(rate_m_s) => rate_m_s,
            PathRule::Ias(_) => problem.limits.max_descent_m_s,
        };
        (from_m - to_m).max(0.0) / rate_m_s * USUAL_M_S / M_PER_NM
    };
    let straight_to_m = d.straight_to_m(pattern_m, cruise.level_m);
    let second_m = d.second.map_or(straight_to_m, |(from_m, _)| {
        from_m.clamp(straight_to_m, cruise.level_m.max(straight_to_m))
    });
    out[0] = far_nm(&d.first, cruise.level_m, second_m);
    part_traits(&d.first, &mut out[6..]);
    if let Some((from_m, part)) = &d.second {
        out[0] += far_nm(part, second_m, straight_to_m);
        out[1] = from_m / HEIGHT_M;
        part_traits(part, &mut out[6 + OF_PART..]);
    }
    out[2] = d.reduce_at_m / HEIGHT_M;
    if let Throttle::Map(pa) = cruise.throttle {
        out[3] = pa / PA_PER_INHG;
    }
    out[4] = cruise.rev_s / REV_S;
    out[5] = cruise.level_m / HEIGHT_M;
    out
}

fn part_traits(part: &DescentPart, out: &mut [f64]) {
    if let PathRule::Ias(ias_m_s) = part.path {
        out[0] = ias_m_s / IAS_M_S;
    }
    out[1] = part.throttle.set_map_pa().unwrap_or(0.0) / PA_PER_INHG;
    out[2] = part.rev_s / REV_S;
    let rule = match part.throttle {
        ThrottleRule::Full => 0,
        ThrottleRule::Held(_) => 1,
        ThrottleRule::LeftAlone(_) => 2,
        ThrottleRule::Rpm => 3,
        ThrottleRule::Untouched => 4,
    };
    out[3 + rule] = 1.0;
    out[8 + part.mixture.min(MIXTURES - 1)] = 1.0;
    out[8 + MIXTURES] = f64::from(u8::from(part.gear_down));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flight::testbed::{CALM, aircraft, problem, script};
    use crate::quantity::{M_PER_FT, M_S_PER_FPM};

    /// Metres on a figure of tens of miles: what a sum leaves.
    const ROUNDING_M: f64 = 1e-6;

    #[test]
    fn closed_form_one_lever_is_learnt_from_one_move_and_two_from_two() {
        let p = problem(aircraft(1.0), 300.0, CALM);
        let of = |ias_kt: f64, rev_s: f64| {
            let held = ThrottleRule::Held(18.0 * PA_PER_INHG);
            let mut s = script(held, PathRule::Ias(ias_kt * M_S_PER_KT), 1_800.0);
            s.descent.first.rev_s = rev_s;
            // Any linear function.
            (
                s,
                40_000.0 + 300.0 * (ias_kt - 140.0) - 2_000.0 * (rev_s - 40.0),
            )
        };
        let mut foresight = Foresight::default();
        assert_eq!(foresight.of(&p, &of(140.0, 40.0).0), None);
        for (ias_kt, rev_s) in [(140.0, 40.0), (145.0, 40.0), (145.0, 38.0)] {
            let (s, length_m) = of(ias_kt, rev_s);
            foresight.take(&p, &s, length_m);
        }
        for (ias_kt, rev_s) in [(130.0, 40.0), (150.0, 36.0), (145.0, 38.0)] {
            let (s, length_m) = of(ias_kt, rev_s);
            let expected_m = foresight.of(&p, &s).expect("learnt");
            assert!(
                (expected_m - length_m).abs() < ROUNDING_M,
                "{expected_m} m, not {length_m}"
            );
        }
        // Nearly the same again teaches nothing: what a length is rounded by is no slope.
        let (s, length_m) = of(145.0, 38.01);
        foresight.take(&p, &s, length_m + 50.0);
        let (s, length_m) = of(130.0, 38.01);
        let expected_m = foresight.of(&p, &s).expect("learnt");
        assert!(
            (expected_m - length_m - 50.0).abs() < ROUNDING_M,
            "{expected_m} m"
        );
    }

    #[test]
    fn closed_form_at_half_the_rate_it_goes_twice_as_far() {
        let p = problem(aircraft(1.0), 300.0, CALM);
        let of = |fpm: f64| {
            let path = PathRule::Rate(fpm * M_S_PER_FPM);
            script(ThrottleRule::Full, path, 1_800.0)
        };
        let down_m = of(500.0).last_cruise().level_m - p.arrival.pattern_altitude_m;
        assert!(down_m > 3_000.0 * M_PER_FT);
        let mut foresight = Foresight::default();
        let fast_m = down_m / (500.0 * M_S_PER_FPM) * USUAL_M_S;
        foresight.take(&p, &of(500.0), fast_m);
        let expected_m = foresight.of(&p, &of(250.0)).expect("learnt");
        assert!(
            (expected_m - 2.0 * fast_m).abs() < ROUNDING_M * fast_m,
            "{expected_m} m"
        );
    }
}
