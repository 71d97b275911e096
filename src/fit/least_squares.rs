//! Levenberg-Marquardt on weighted residuals with a normal prior on every variable.
//!
//! Minimises `F(x) = sum r_i(x)^2 + sum ((x_j - m_j)/s_j)^2`, where `r` are residuals over their standard errors. Step:
//! `(J'J + P + lambda diag(J'J + P)) d = -(J'r + P (x - m))`, `P = diag(1/s^2)`; `lambda` falls by ten after a step that
//! lowers `F` and rises by ten after one that does not. Marquardt, J. SIAM 11 (1963) 431 (from memory).
//! The prior makes the matrix positive definite whatever the rows hold.

use nalgebra::{DMatrix, DVector};

/// Steps before the search is given up.
const MOST_STEPS: usize = 60;
/// Relative fall of `F` at which the search ends.
const FALL_TOLERANCE: f64 = 1e-9;
/// Step over prior deviation at which the search ends.
const STEP_TOLERANCE: f64 = 1e-6;
/// Step of the central difference over prior deviation: its error, of second order, is below 1e-4 of the slope.
const DIFFERENCE: f64 = 0.01;
/// First and greatest damping.
const DAMPING: (f64, f64) = (1e-3, 1e9);

/// Why the search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Termination {
    /// Neither the sum of squares nor the parameters move any more.
    Converged,
    /// No step lowers the sum of squares any more, though the slope is not zero: rounding or a kink.
    Stalled,
    /// Too many steps.
    StepLimit,
}

/// The least sum of squares.
pub(super) struct Minimum {
    pub(super) x: DVector<f64>,
    pub(super) residuals: DVector<f64>,
    pub(super) jacobian: DMatrix<f64>,
    /// `(J'J + P)^-1`.
    pub(super) covariance: DMatrix<f64>,
    precision: DVector<f64>,
    pub(super) steps: usize,
    pub(super) termination: Termination,
}

impl Minimum {
    /// The covariance had every prior been wider by a factor; that of the fit where rounding leaves none.
    pub(super) fn loose_covariance(&self, factor: f64) -> DMatrix<f64> {
        let normal = self.jacobian.tr_mul(&self.jacobian)
            + DMatrix::from_diagonal(&(&self.precision / (factor * factor)));
        normal
            .cholesky()
            .map_or_else(|| self.covariance.clone(), |c| c.inverse())
    }
}

/// Minimises from `mean`. `residuals` gives `None` where the model has no answer; it must have one at `mean`, else `None`.
pub(super) fn minimise(
    mean: &DVector<f64>,
    sd: &DVector<f64>,
    mut residuals: impl FnMut(&DVector<f64>) -> Option<DVector<f64>>,
) -> Option<Minimum> {
    let precision = sd.map(|s| 1.0 / (s * s));
    let cost = |x: &DVector<f64>, r: &DVector<f64>| {
        r.norm_squared() + (x - mean).component_div(sd).norm_squared()
    };
    let mut x = mean.clone();
    let mut r = residuals(&x)?;
    let mut f = cost(&x, &r);
    let mut damping = DAMPING.0;
    let mut termination = Termination::StepLimit;
    let mut steps = 0;
    let mut jacobian = differences(&x, sd, &r, &mut residuals);
    'search: while steps < MOST_STEPS {
        steps += 1;
        let normal = jacobian.tr_mul(&jacobian) + DMatrix::from_diagonal(&precision);
        let slope = jacobian.tr_mul(&r) + (&x - mean).component_mul(&precision);
        loop {
            let damped = &normal + DMatrix::from_diagonal(&(normal.diagonal() * damping));
            let step = damped.cholesky().map(|c| -c.solve(&slope));
            let tried = step.as_ref().and_then(|d| {
                let x = &x + d;
                let r = residuals(&x)?;
                let f = cost(&x, &r);
                f.is_finite().then_some((x, r, f))
            });
            let small = step.is_some_and(|d| d.component_div(sd).amax() < STEP_TOLERANCE);
            match tried {
                Some((next_x, next_r, next_f)) if next_f <= f => {
                    let done = small || f - next_f <= FALL_TOLERANCE * f;
                    (x, r, f) = (next_x, next_r, next_f);
                    damping = (damping * 0.1).max(1e-12);
                    jacobian = differences(&x, sd, &r, &mut residuals);
                    if done {
                        termination = Termination::Converged;
                        break 'search;
                    }
                    break;
                }
                _ if small => {
                    termination = Termination::Converged;
                    break 'search;
                }
                _ => damping *= 10.0,
            }
            if damping > DAMPING.1 {
                termination = Termination::Stalled;
                break 'search;
            }
        }
    }
    let normal = jacobian.tr_mul(&jacobian) + DMatrix::from_diagonal(&precision);
    let covariance = normal.cholesky()?.inverse();
    Some(Minimum {
        x,
        residuals: r,
        jacobian,
        covariance,
        precision,
        steps,
        termination,
    })
}

/// Central differences; one-sided, or zero, where the model has no answer on a side.
fn differences(
    x: &DVector<f64>,
    sd: &DVector<f64>,
    r: &DVector<f64>,
    residuals: &mut impl FnMut(&DVector<f64>) -> Option<DVector<f64>>,
) -> DMatrix<f64> {
    let mut jacobian = DMatrix::zeros(r.len(), x.len());
    for j in 0..x.len() {
        let h = DIFFERENCE * sd[j];
        let mut at = |d: f64| {
            let mut moved = x.clone();
            moved[j] += d;
            residuals(&moved)
        };
        let column = match (at(h), at(-h)) {
            (Some(up), Some(down)) => (up - down) / (2.0 * h),
            (Some(up), None) => (up - r) / h,
            (None, Some(down)) => (r - down) / h,
            (None, None) => DVector::zeros(r.len()),
        };
        jacobian.set_column(j, &column);
    }
    jacobian
}
