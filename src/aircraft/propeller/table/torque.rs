//! Blade angle from torque: what a governor sets.

use super::nearby::Nearby;
use super::patch::Patch;
use super::{BladeAngle, Condition, PropellerTable, QUICK_STEPS, Stops, regula_falsi};
use std::cell::Cell;
use std::f64::consts::PI;

/// Tolerance of an inverted blade angle \[rad\]; the last step is superlinear, so the error is smaller.
const ANGLE_TOLERANCE_RAD: f64 = 1e-7;
/// Tangent of the angle (9 deg) by which the advance angle must exceed the blade angle before negative stall
/// is suspected. The section stalls 6 degrees below zero lift, and zero lift lies 3 or more below the chord.
const STALL_SUSPECT_TAN: f64 = 0.158_384;
/// First guess of a governed blade angle: this much above the advance angle \[rad\] (5 deg).
const NEWTON_LEAD_RAD: f64 = 5.0 * PI / 180.0;
/// Last step times the square of the one before at which the slope of a parabola is good enough: the error left is about as much
/// \[rad^3, with third derivatives of order one over the slope\].
const PARABOLA_RAD3: f64 = 1e-10;
/// Step that tells a falling torque from a rising one \[rad\].
const BRANCH_PROBE_RAD: f64 = 1e-3;

/// [`BladeAngle`] with the thrust.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Absorbed {
    /// Between the stops.
    Within {
        /// Blade angle \[rad\].
        angle_rad: f64,
        /// Thrust \[N\].
        thrust_n: f64,
    },
    /// As [`BladeAngle::BelowLowStop`].
    BelowLowStop,
    /// As [`BladeAngle::AboveHighStop`].
    AboveHighStop,
}

/// What the quick search for a blade angle found.
#[derive(Debug, Clone, Copy)]
enum Quick {
    /// The blade angle, and the thrust coefficient there.
    Found {
        angle_rad: f64,
        thrust: f64,
        torque_slope: f64,
    },
    /// On the low stop, clear of negative stall, torque rises with blade angle and is already too much.
    TooMuchAtLow,
    /// On the high stop it is too little.
    TooLittleAtHigh,
    /// Ask the bracketed search.
    Unsure,
}

impl PropellerTable {
    /// Blade angle at which the propeller absorbs `torque_n_m` at the given shaft speed.
    ///
    /// Only the branch on which torque rises with blade angle counts: from the angle of greatest
    /// windmilling torque (or the low stop, if coarser) up to the high stop. On that branch the answer is
    /// unique. Torque less than the branch can give is [`BladeAngle::BelowLowStop`], because the
    /// governor then drives the blades onto that stop. A still propeller in still air (`V = n = 0`), where
    /// no blade angle makes any torque, answers by the sign of `torque_n_m`.
    pub fn blade_angle_for_torque(
        &self,
        rho_kg_m3: f64,
        v_m_s: f64,
        rev_s: f64,
        torque_n_m: f64,
        sound_m_s: f64,
        stops: Stops,
    ) -> BladeAngle {
        let absorb = self.absorb(
            rho_kg_m3,
            v_m_s,
            rev_s,
            torque_n_m,
            sound_m_s,
            stops,
            &Cell::new(Nearby::NONE),
        );
        match absorb {
            Absorbed::Within { angle_rad, .. } => BladeAngle::Within(angle_rad),
            Absorbed::BelowLowStop => BladeAngle::BelowLowStop,
            Absorbed::AboveHighStop => BladeAngle::AboveHighStop,
        }
    }

    /// The same with the thrust at that angle, beginning from the answer at a condition nearby; the answer is left there for the next.
    /// It changes nothing beyond the tolerance of the search.
    #[expect(
        clippy::too_many_arguments,
        reason = "one flight condition, its stops and a guess"
    )]
    pub fn absorb(
        &self,
        rho_kg_m3: f64,
        v_m_s: f64,
        rev_s: f64,
        torque_n_m: f64,
        sound_m_s: f64,
        stops: Stops,
        near: &Cell<Nearby>,
    ) -> Absorbed {
        let c = self.condition(v_m_s, rev_s, sound_m_s);
        let thrust_scale = rho_kg_m3 * c.reference2 * self.diameter_m * self.diameter_m;
        let scale = thrust_scale * self.diameter_m;
        let target = torque_n_m / scale;
        let f = |beta: f64| self.at(&c, beta)[1] - target;
        let mut low = stops.low_rad.max(self.angle.low).min(self.angle.high);
        let high = stops.high_rad.max(low).min(self.angle.high);
        if scale <= 0.0 {
            return if torque_n_m > 0.0 {
                Absorbed::AboveHighStop
            } else {
                Absorbed::BelowLowStop
            };
        }
        let advance = c.v / c.w;
        let before = near.get();
        match self.newton(&c, (low, high), target, advance, &before) {
            Quick::Found {
                angle_rad,
                thrust,
                torque_slope,
            } => {
                near.set(Nearby {
                    angle_rad,
                    advance,
                    torque: target,
                    torque_slope,
                    balanced_rev_s: f64::NAN,
                    ..before
                });
                return Absorbed::Within {
                    angle_rad,
                    thrust_n: thrust * thrust_scale,
                };
            }
            Quick::TooMuchAtLow => return Absorbed::BelowLowStop,
            Quick::TooLittleAtHigh => {
                near.set(before.at_angle(high).balanced(before.balanced_rev_s));
                return Absorbed::AboveHighStop;
            }
            Quick::Unsure => {}
        }
        let f_high = f(high);
        if f_high < 0.0 {
            near.set(before.at_angle(high).balanced(before.balanced_rev_s));
            return Absorbed::AboveHighStop;
        }
        // Negative stall needs the blade well below its inflow: only then may the branch start later.
        if stall_suspected(&c, low) {
            low = self.least_torque_angle(&c, low, high);
        }
        let f_low = f(low);
        if f_low > 0.0 {
            return Absorbed::BelowLowStop;
        }
        let angle_rad = regula_falsi((low, f_low), (high, f_high), ANGLE_TOLERANCE_RAD, f);
        near.set(before.at_angle(angle_rad));
        Absorbed::Within {
            angle_rad,
            thrust_n: self.at(&c, angle_rad)[0] * thrust_scale,
        }
    }

    /// The quick way: Newton steps (every second with the slope of a parabola) from the guess, or from the blade angle that follows the inflow and carries the torque. An answer
    /// counts only if torque rose with blade angle at every step, and it lies between the stops and clear of negative stall; else
    /// the bracketed search decides.
    #[inline]
    fn newton(
        &self,
        c: &Condition,
        (low, high): (f64, f64),
        target: f64,
        advance: f64,
        before: &Nearby,
    ) -> Quick {
        let guess_rad = before.expected_rad(advance, target);
        let start = if guess_rad.is_nan() {
            // Pade's arc tangent of the advance angle, and as much more as the torque asks for.
            let x = if c.v < 2.0 * c.w { c.v / c.w } else { 2.0 };
            let inflow = x * (15.0 + 4.0 * x * x) / (15.0 + 9.0 * x * x);
            inflow + NEWTON_LEAD_RAD
        } else {
            guess_rad
        };
        let mut beta = start.clamp(low, high);
        let mut patch = Patch::nowhere();
        let found = |at: f64, value: [f64; 2], slope: [f64; 2]| {
            let step = (target - value[1]) / slope[1];
            let angle_rad = at + step;
            if (low..=high).contains(&angle_rad) && !stall_suspected(c, angle_rad) {
                Quick::Found {
                    angle_rad,
                    thrust: value[0] + slope[0] * step,
                    torque_slope: slope[1],
                }
            } else {
                Quick::Unsure
            }
        };
        for _ in 0..QUICK_STEPS {
            let (here, slope) = self.at_with_slope(c, beta, &mut patch);
            let step = (target - here[1]) / slope[1];
            if !(slope[1] > 0.0 && step.is_finite()) {
                return Quick::Unsure;
            }
            if step.abs() < before.last_step_rad {
                return found(beta, here, slope);
            }
            if step < 0.0 && beta == low && !stall_suspected(c, low) {
                return Quick::TooMuchAtLow;
            }
            if step > 0.0 && beta == high {
                return Quick::TooLittleAtHigh;
            }
            let next = (beta + step).clamp(low, high);
            let step = next - beta;
            if step == 0.0 {
                return Quick::Unsure;
            }
            // There the value alone is asked, and the slope taken from the parabola through it and what is known here.
            let there = self.at_again(c, next, &mut patch);
            let slope_there = |k: usize| 2.0 * (there[k] - here[k]) / step - slope[k];
            let slope = [slope_there(0), slope_there(1)];
            let last = (target - there[1]) / slope[1];
            if !(slope[1] > 0.0 && last.is_finite()) {
                return Quick::Unsure;
            }
            if (last * step * step).abs() < PARABOLA_RAD3 && last.abs() < step.abs() {
                return found(next, there, slope);
            }
            if last < 0.0 && next == low && !stall_suspected(c, low) {
                return Quick::TooMuchAtLow;
            }
            if next == high && there[1] < target {
                return Quick::TooLittleAtHigh;
            }
            beta = (next + last).clamp(low, high);
        }
        Quick::Unsure
    }

    /// Blade angle of least (most negative) torque between `low` and `high`, by golden section.
    #[cold]
    fn least_torque_angle(&self, c: &Condition, mut low: f64, mut high: f64) -> f64 {
        let first = low;
        let q = |beta: f64| self.at(c, beta)[1];
        if q(low + BRANCH_PROBE_RAD) >= q(low) {
            return first;
        }
        const GOLD: f64 = 0.618_033_988_749_894_9;
        let (mut a, mut b) = (high - GOLD * (high - low), low + GOLD * (high - low));
        let (mut qa, mut qb) = (q(a), q(b));
        while high - low > BRANCH_PROBE_RAD {
            if qa < qb {
                high = b;
                (b, qb) = (a, qa);
                a = high - GOLD * (high - low);
                qa = q(a);
            } else {
                low = a;
                (a, qa) = (b, qb);
                b = low + GOLD * (high - low);
                qb = q(b);
            }
        }
        0.5 * (low + high)
    }
}

/// Whether the blade at 0.75 R may be in negative stall: `theta > beta + 9 deg`, by the addition theorem.
#[inline]
fn stall_suspected(c: &Condition, beta_rad: f64) -> bool {
    let beyond = |t: f64| c.v * (1.0 - STALL_SUSPECT_TAN * t) > c.w * (t + STALL_SUSPECT_TAN);
    // The tangent is more than the angle: mostly that settles it.
    beyond(beta_rad) && beyond(beta_rad.tan())
}
