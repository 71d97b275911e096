//! Uniform cubic B-splines: the smooth (C2) interpolation under the propeller table.
//!
//! Source: de Boor, *A Practical Guide to Splines*, uniform case; from memory. A cubic with coefficients
//! `c` passes the samples where `(c[i-1] + 4 c[i] + c[i+1]) / 6 = f[i]`.

/// A uniform knot row over `low..=high` with `samples` samples.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Axis {
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) samples: usize,
    inv_step: f64,
    last_cell: u32,
}

/// Number of coefficients of this many samples: one ghost at each end.
pub(crate) const fn coefficients(samples: usize) -> usize {
    samples + 2
}

impl Axis {
    pub(crate) fn new(low: f64, high: f64, samples: usize) -> Self {
        Self {
            low,
            high,
            samples,
            inv_step: (samples - 1) as f64 / (high - low),
            last_cell: samples as u32 - 2,
        }
    }

    /// Position of sample `i`.
    pub(crate) fn sample(&self, i: usize) -> f64 {
        self.low + (self.high - self.low) * i as f64 / (self.samples - 1) as f64
    }

    /// First coefficient of the stencil and its four weights at `x`. Outside the row the end cubic goes
    /// on, so callers confine `x` themselves; NaN passes into the weights.
    #[inline]
    pub(crate) fn stencil(&self, x: f64) -> (u32, [f64; 4]) {
        let (i, weights, _) = self.stencil_with_slope(x);
        (i, weights)
    }

    /// The same with the slopes of the weights with `x`.
    #[inline]
    pub(crate) fn stencil_with_slope(&self, x: f64) -> (u32, [f64; 4], [f64; 4]) {
        let y = (x - self.low) * self.inv_step;
        // The cast saturates: below the row and NaN give cell 0.
        let i = (y as u32).min(self.last_cell);
        let t = y - f64::from(i);
        let u = 1.0 - t;
        const SIXTH: f64 = 1.0 / 6.0;
        let (t2, u2, half) = (t * t, u * u, 0.5 * self.inv_step);
        (
            i,
            [
                SIXTH * u2 * u,
                SIXTH * (4.0 - 3.0 * t2 * (1.0 + u)),
                SIXTH * (4.0 - 3.0 * u2 * (1.0 + t)),
                SIXTH * t2 * t,
            ],
            [
                -half * u2,
                half * t * (3.0 * t - 4.0),
                half * u * (4.0 - 3.0 * u),
                half * t2,
            ],
        )
    }
}

/// Replace, along one row with stride `stride` starting at `first`, the `n` samples (held at positions
/// 1..=n) by `n + 2` B-spline coefficients. End slopes come from four-point differences.
pub(crate) fn prefilter(
    data: &mut [[f64; 2]],
    first: usize,
    stride: usize,
    n: usize,
    work: &mut Vec<f64>,
) {
    // Invariant: n >= 4, kept by the table.
    let at = |i: usize| first + (i + 1) * stride;
    work.clear();
    work.resize(n, 0.0);
    for k in 0..2 {
        let f = |d: &[[f64; 2]], i: usize| d[at(i)][k];
        let slope0 =
            (-11.0 * f(data, 0) + 18.0 * f(data, 1) - 9.0 * f(data, 2) + 2.0 * f(data, 3)) / 6.0;
        let slope1 = (11.0 * f(data, n - 1) - 18.0 * f(data, n - 2) + 9.0 * f(data, n - 3)
            - 2.0 * f(data, n - 4))
            / 6.0;
        // Thomas algorithm on (1, 4, 1) with end rows (4, 2) and (2, 4).
        let mut up = 0.5;
        work[0] = up;
        data[at(0)][k] = (6.0 * f(data, 0) + 2.0 * slope0) / 4.0;
        for i in 1..n - 1 {
            let inv = 1.0 / (4.0 - up);
            data[at(i)][k] = (6.0 * f(data, i) - data[at(i - 1)][k]) * inv;
            up = inv;
            work[i] = up;
        }
        let inv = 1.0 / (4.0 - 2.0 * up);
        data[at(n - 1)][k] = (6.0 * f(data, n - 1) - 2.0 * slope1 - 2.0 * data[at(n - 2)][k]) * inv;
        for i in (0..n - 1).rev() {
            data[at(i)][k] -= work[i] * data[at(i + 1)][k];
        }
        data[first][k] = data[at(1)][k] - 2.0 * slope0;
        data[first + (n + 1) * stride][k] = data[at(n - 2)][k] + 2.0 * slope1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cubic is in the spline space and four-point end slopes are exact for it. It curves at both ends, so that no end can be left out.
    #[test]
    fn closed_form_spline_reproduces_a_cubic() {
        let f = |x: f64| 1.0 + x * (2.0 + x * (-3.0 + 0.5 * x));
        let axis = Axis::new(-1.0, 2.5, 7);
        let mut row = vec![[0.0; 2]; coefficients(axis.samples)];
        for i in 0..7 {
            row[i + 1] = [f(axis.sample(i)), -f(axis.sample(i))];
        }
        prefilter(&mut row, 0, 1, 7, &mut Vec::new());
        for i in 0..=350 {
            let x = -1.0 + 0.01 * f64::from(i);
            let (j, w) = axis.stencil(x);
            let j = j as usize;
            let y: f64 = (0..4).map(|k| w[k] * row[j + k][0]).sum();
            let z: f64 = (0..4).map(|k| w[k] * row[j + k][1]).sum();
            let (_, _, s) = axis.stencil_with_slope(x);
            let slope: f64 = (0..4).map(|k| s[k] * row[j + k][0]).sum();
            let exact = 2.0 + x * (-6.0 + 1.5 * x);
            assert!((slope - exact).abs() < 1e-11, "slope at {x}");
            // Rounding only.
            assert!((y - f(x)).abs() < 1e-12 && (z + f(x)).abs() < 1e-12, "{x}");
        }
    }
}
