//! Shaft speed at a blade angle: where engine and propeller balance.

use super::{Forces, Nearby, PropellerTable, QUICK_STEPS, regula_falsi};

/// Tolerance of a balanced shaft speed, relative to the greatest.
const BALANCE_TOLERANCE: f64 = 1e-9;
/// Shaft speeds tried for a change of sign.
const BALANCE_SCAN: u32 = 48;

/// Speed at which a shaft and a propeller at fixed blade angle settle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Balance {
    /// Turning.
    Turning {
        /// Speed [rev/s].
        rev_s: f64,
        /// Thrust \[N\]; negative is drag.
        thrust_n: f64,
    },
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
    /// greatest speed considered. NaN in gives a speed that is NaN. Balances closer together than 1/48 of it may be overlooked.
    ///
    /// `near` may have a speed to begin the search from, such as that which the governor tried to hold or that which balanced a moment
    /// before ([`Nearby::balanced`]), and says how near is near enough. An answer found from there counts only if the shaft would speed up below and slow down above it at every speed tried on the way;
    /// else the search from above decides. Of several it may be a slower one, where the speed given is near that.
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
        near: Nearby,
        torque_available_n_m: impl Fn(f64) -> f64,
    ) -> Balance {
        let forces = |n: f64| self.forces(rho_kg_m3, v_m_s, n, beta_rad, sound_m_s);
        // Torque over what is needed, positive = speeding up; and the thrust.
        let balance = |n: f64| {
            let Forces {
                thrust_n,
                torque_n_m,
            } = forces(n);
            (torque_available_n_m(n) - torque_n_m, thrust_n)
        };
        let excess = |n: f64| balance(n).0;
        let turning = |rev_s: f64| Balance::Turning {
            rev_s,
            thrust_n: forces(rev_s).thrust_n,
        };
        if near.balanced_rev_s > 0.0
            && near.balanced_rev_s < rev_max_s
            && let Some(found) =
                self.balance_near(rho_kg_m3, v_m_s, sound_m_s, rev_max_s, near, balance)
        {
            return found;
        }
        let mut above = (rev_max_s, excess(rev_max_s));
        if above.1.is_nan() {
            return turning(f64::NAN);
        }
        if above.1 > 0.0 {
            return Balance::AboveMaximum;
        }
        for i in (0..BALANCE_SCAN).rev() {
            let n = rev_max_s * f64::from(i) / f64::from(BALANCE_SCAN);
            let below = (n, excess(n));
            if below.1 > 0.0 {
                return turning(regula_falsi(
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

    /// The quick way to a balance: secant steps from a speed nearby. The thrust follows the last of them too.
    fn balance_near(
        &self,
        rho_kg_m3: f64,
        v_m_s: f64,
        sound_m_s: f64,
        rev_max_s: f64,
        near: Nearby,
        balance: impl Fn(f64) -> (f64, f64),
    ) -> Option<Balance> {
        let near_rev_s = near.balanced_rev_s;
        let at = |n: f64| (n, balance(n));
        let mut a = at(near_rev_s);
        // With speed the advance angle falls, `dtheta/dn = -sin(theta) cos(theta)/n`, which is worth as much blade angle.
        let c = self.condition(v_m_s, near_rev_s, sound_m_s);
        let slope =
            rho_kg_m3 * self.diameter_m.powi(3) * self.torque_slope * c.v * c.w / near_rev_s;
        let limits = (0.5 * near_rev_s, rev_max_s);
        let mut n = (a.0 + a.1.0 / slope).clamp(limits.0, limits.1);
        let mut last_step = n - a.0;
        for _ in 0..QUICK_STEPS {
            let b = at(n);
            let run = b.0 - a.0;
            let secant = (b.1.0 - a.1.0) / run;
            let step = -b.1.0 / secant;
            if !(secant < 0.0 && step.is_finite()) {
                return None;
            }
            n = b.0 + step;
            if !(n > limits.0 && n < limits.1) {
                return None;
            }
            if (step * last_step).abs() < near.last_product * rev_max_s * rev_max_s {
                return Some(Balance::Turning {
                    rev_s: n,
                    thrust_n: b.1.1 + (b.1.1 - a.1.1) / run * step,
                });
            }
            last_step = step;
            a = b;
        }
        None
    }
}
