//! Shaft speed at a blade angle: where engine and propeller balance.

use super::{PropellerTable, QUICK_STEPS, regula_falsi};

/// Tolerance of a balanced shaft speed, relative to the greatest.
const BALANCE_TOLERANCE: f64 = 1e-9;
/// Shaft speeds tried for a change of sign.
const BALANCE_SCAN: u32 = 48;
/// Product of the last two secant steps of a shaft speed, relative to the greatest: the error left is at most some 1.5 times that (measured
/// far from the answer), a fifth of what the check of both searches allows.
const BALANCE_PRODUCT: f64 = 2e-9;

/// Speed at which a shaft and a propeller at fixed blade angle settle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Balance {
    /// Turning at this speed \[rev/s\].
    Turning(f64),
    /// The air cannot turn the engine and the engine cannot turn itself.
    Stopped,
    /// Still speeding up at the greatest speed asked about.
    AboveMaximum,
}

impl PropellerTable {
    /// Shaft speed at which the propeller at a fixed blade angle absorbs what the engine gives:
    /// governor off its range, fixed pitch, or windmilling.
    ///
    /// `torque_available_n_m(n)` is the engine's torque at shaft speed `n` \[rev/s\] (negative when it
    /// resists); it should be continuous. Of several balances the fastest is taken: seen from above it is
    /// the first, it is stable, and it lies on the branch below blade stall. If there is none, the air and
    /// the engine together cannot keep the shaft turning: [`Balance::Stopped`]. `rev_max_s` is the
    /// greatest speed considered. NaN in gives `Turning(NaN)`. Balances closer together than 1/48 of it may be overlooked.
    ///
    /// `near_rev_s` is a speed to begin the search from, such as that which the governor tried to hold, or not a number for none. An
    /// answer found from there counts only if the shaft would speed up below and slow down above it at every speed tried on the way;
    /// else the search from above decides.
    #[expect(
        clippy::too_many_arguments,
        reason = "one flight condition, the engine and a guess"
    )]
    pub fn rpm_at_blade_angle(
        &self,
        rho_kg_m3: f64,
        v_m_s: f64,
        beta_rad: f64,
        sound_m_s: f64,
        rev_max_s: f64,
        near_rev_s: f64,
        torque_available_n_m: impl Fn(f64) -> f64,
    ) -> Balance {
        // Torque over what is needed, positive = speeding up.
        let excess = |n: f64| {
            torque_available_n_m(n)
                - self
                    .forces(rho_kg_m3, v_m_s, n, beta_rad, sound_m_s)
                    .torque_n_m
        };
        if near_rev_s > 0.0
            && near_rev_s < rev_max_s
            && let Some(rev_s) =
                self.balance_near(rho_kg_m3, v_m_s, sound_m_s, rev_max_s, near_rev_s, excess)
        {
            return Balance::Turning(rev_s);
        }
        let mut above = (rev_max_s, excess(rev_max_s));
        if above.1.is_nan() {
            return Balance::Turning(f64::NAN);
        }
        if above.1 > 0.0 {
            return Balance::AboveMaximum;
        }
        for i in (0..BALANCE_SCAN).rev() {
            let n = rev_max_s * f64::from(i) / f64::from(BALANCE_SCAN);
            let below = (n, excess(n));
            if below.1 > 0.0 {
                return Balance::Turning(regula_falsi(
                    (above.0, -above.1),
                    (below.0, -below.1),
                    BALANCE_TOLERANCE * rev_max_s,
                    |n| -excess(n),
                ));
            }
            above = below;
        }
        Balance::Stopped
    }

    /// The quick way to a balance: secant steps from a speed nearby.
    fn balance_near(
        &self,
        rho_kg_m3: f64,
        v_m_s: f64,
        sound_m_s: f64,
        rev_max_s: f64,
        near_rev_s: f64,
        excess: impl Fn(f64) -> f64,
    ) -> Option<f64> {
        let mut a = (near_rev_s, excess(near_rev_s));
        // With speed the advance angle falls, `dtheta/dn = -sin(theta) cos(theta)/n`, which is worth as much blade angle.
        let c = self.condition(v_m_s, near_rev_s, sound_m_s);
        let slope =
            rho_kg_m3 * self.diameter_m.powi(3) * self.torque_slope * c.v * c.w / near_rev_s;
        let limits = (0.5 * near_rev_s, rev_max_s);
        let mut n = (a.0 + a.1 / slope).clamp(limits.0, limits.1);
        let mut last_step = n - a.0;
        for _ in 0..QUICK_STEPS {
            let b = (n, excess(n));
            let secant = (b.1 - a.1) / (b.0 - a.0);
            let step = -b.1 / secant;
            if !(secant < 0.0 && step.is_finite()) {
                return None;
            }
            n = b.0 + step;
            if !(n > limits.0 && n < limits.1) {
                return None;
            }
            if (step * last_step).abs() < BALANCE_PRODUCT * rev_max_s * rev_max_s {
                return Some(n);
            }
            last_step = step;
            a = b;
        }
        None
    }
}
