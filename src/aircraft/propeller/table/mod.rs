//! The propeller as a smooth table, fast enough to sit inside a trajectory solver.
//!
//! # Coordinates
//! `U^2 = V^2 + (0.75 pi n D)^2` is the square of the reference speed; the advance angle is
//! `theta = atan2(V, 0.75 pi n D)`, 0 for static, 90 degrees for a stopped propeller. The table's own
//! advance coordinate is
//!
//! ```text
//! u = tan(theta) / (tan(theta) + p(beta)) = V / (V + 0.75 pi n D p(beta))
//! ```
//!
//! a smooth function of the advance angle, 0..1; `p` is close to the tangent of a blade angle for which
//! `u = 1/2` is a little beyond zero thrust. Stall, zero thrust and windmilling then keep their places in the table when the blade
//! angle changes, so that few blade angles suffice. The other two axes are the blade angle and the
//! square of the helical tip Mach number, confined smoothly to 0.25..1.05.
//! Interpolation is a tensor-product cubic B-spline (C2); tested to 0.5 % against direct runs.

mod balance;
mod build;
mod nearby;
mod patch;
mod torque;

pub use balance::Balance;
pub use nearby::Nearby;
pub use torque::Absorbed;

use super::element::{Coefficients, effective_mach_squared};
use super::spline::{Axis, coefficients};
use patch::Patch;
use std::f64::consts::PI;

/// Samples along the advance coordinate.
const ADVANCE_SAMPLES: usize = 57;
/// Samples along the square of the tip Mach number.
const MACH_SAMPLES: usize = 7;
/// Coefficients along the advance coordinate, and along the square of the tip Mach number.
const ADVANCE_COEFFICIENTS: usize = coefficients(ADVANCE_SAMPLES);
const MACH_COEFFICIENTS: usize = coefficients(MACH_SAMPLES);
/// The table reaches this far beyond either stop \[rad\] (2 deg).
pub const BLADE_ANGLE_MARGIN_RAD: f64 = 2.0 * PI / 180.0;
/// Least blade angle that can be tabulated \[rad\] (3 deg).
pub const LEAST_BLADE_ANGLE_RAD: f64 = 3.0 * PI / 180.0;
/// Greatest blade angle that can be tabulated \[rad\] (88 deg: feathered).
pub const GREATEST_BLADE_ANGLE_RAD: f64 = 88.0 * PI / 180.0;
/// Bracketing steps; 60 bisections exhaust a double.
const MAX_STEPS: u32 = 100;
/// Steps of a quick search before the bracketed one takes over.
const QUICK_STEPS: u32 = 8;

/// Thrust and torque of a propeller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forces {
    /// Thrust \[N\]; negative is drag.
    pub thrust_n: f64,
    /// Torque the shaft must supply \[N m\]; negative when the propeller drives the engine.
    pub torque_n_m: f64,
}

/// The blade-angle stops of a propeller, at 0.75 R.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stops {
    /// Low (fine) stop \[rad\].
    pub low_rad: f64,
    /// High (coarse) stop \[rad\].
    pub high_rad: f64,
}

/// Where the blades stand when they are asked to absorb a torque.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BladeAngle {
    /// Between the stops, at this angle \[rad\].
    Within(f64),
    /// Even the finest blade asks for more torque: the governor sits on the low stop and RPM sags.
    BelowLowStop,
    /// Even the coarsest blade asks for less torque: the governor sits on the high stop and RPM rises.
    AboveHighStop,
}

/// Smooth table of thrust and torque of one propeller.
///
/// ```
/// use fellrun::aircraft::propeller::{PropellerGeometry, PropellerTable};
/// let geometry = PropellerGeometry::standard(1.93, 2, 1.0)?;
/// let table = PropellerTable::build(&geometry, 10_f64.to_radians(), 30_f64.to_radians())?;
/// // 70 m/s at 2400 rpm and 22 degrees at sea level.
/// let f = table.forces(1.225, 70.0, 40.0, 22_f64.to_radians(), 340.3);
/// let efficiency = f.thrust_n * 70.0 / (f.torque_n_m * std::f64::consts::TAU * 40.0);
/// assert!(efficiency > 0.8 && efficiency < 0.9);
/// # Ok::<(), fellrun::aircraft::propeller::GeometryError>(())
/// ```
#[derive(Debug, Clone)]
pub struct PropellerTable {
    diameter_m: f64,
    /// `0.75 pi D`.
    reference_m: f64,
    /// `(pi D)^2`.
    tip2: f64,
    advance: Axis,
    angle: Axis,
    mach2: Axis,
    /// A typical slope of the torque coefficient with blade angle \[1/rad\], for first guesses.
    torque_slope: f64,
    /// Coefficients, advance fastest, then Mach, then blade angle.
    data: Vec<[f64; 2]>,
}

/// A flight condition at one shaft speed: everything but the blade angle.
#[derive(Debug, Clone, Copy)]
struct Condition {
    v: f64,
    w: f64,
    reference2: f64,
    mach: (u32, [f64; 4]),
}

impl PropellerTable {
    /// Diameter \[m\].
    pub fn diameter_m(&self) -> f64 {
        self.diameter_m
    }

    /// Blade angles the table covers \[rad\]; outside them the end value is used.
    pub fn blade_angle_range_rad(&self) -> (f64, f64) {
        (self.angle.low, self.angle.high)
    }

    #[inline]
    fn condition(&self, v_m_s: f64, rev_s: f64, sound_m_s: f64) -> Condition {
        // Not `max`, which would turn a NaN into a still propeller.
        let v = if v_m_s < 0.0 { 0.0 } else { v_m_s };
        let n = if rev_s < 0.0 { 0.0 } else { rev_s };
        let w = self.reference_m * n;
        let mach2 = (v * v + self.tip2 * n * n) / (sound_m_s * sound_m_s);
        Condition {
            v,
            w,
            reference2: v * v + w * w,
            mach: self.mach2.stencil(effective_mach_squared(mach2)),
        }
    }

    /// The advance coordinate and its slope with blade angle.
    #[inline]
    fn advance_at(c: &Condition, beta_rad: f64) -> (f64, f64) {
        let ((up, up_slope), (down, down_slope)) = pivot_parts(beta_rad);
        let along = c.v * down;
        let sum = along + c.w * up;
        if sum > 0.0 {
            let inv = 1.0 / sum;
            let slope = c.v * c.w * (down_slope * up - down * up_slope) * inv * inv;
            (along * inv, slope)
        } else {
            (0.0, 0.0)
        }
    }

    /// The sixteen nodes of a cell, summed over the Mach axis, in a patch, unless it is of that cell already.
    #[inline]
    fn keep(&self, c: &Condition, cell: (u32, u32), patch: &mut Patch) {
        if patch.cell != cell {
            self.lay(c, cell, patch);
        }
    }

    #[inline(never)]
    fn lay(&self, c: &Condition, cell: (u32, u32), patch: &mut Patch) {
        let (mach, weights) = (c.mach.0 as usize, c.mach.1);
        patch.cell = cell;
        for (j, row) in patch.rows.iter_mut().enumerate() {
            let line = (cell.1 as usize + j) * MACH_COEFFICIENTS + mach;
            // Invariant: a stencil never starts beyond its axis' last cell, so the nodes are there.
            let lines = &self.data[line * ADVANCE_COEFFICIENTS + cell.0 as usize..]
                [..3 * ADVANCE_COEFFICIENTS + 4];
            let line = |k: usize| &lines[k * ADVANCE_COEFFICIENTS..][..4];
            let (a, b, c, d) = (line(0), line(1), line(2), line(3));
            for (i, sum) in row.as_flattened_mut().iter_mut().enumerate() {
                let (i, k) = (i / 2, i % 2);
                *sum = (weights[0] * a[i][k] + weights[1] * b[i][k])
                    + (weights[2] * c[i][k] + weights[3] * d[i][k]);
            }
        }
    }

    fn at(&self, c: &Condition, beta_rad: f64) -> [f64; 2] {
        self.at_again(c, beta_rad, &mut Patch::nowhere())
    }

    /// The same; `patch` is used again while the cell is the same.
    #[inline]
    fn at_again(&self, c: &Condition, beta_rad: f64, patch: &mut Patch) -> [f64; 2] {
        let (u, _) = Self::advance_at(c, beta_rad);
        let (iu, wu) = self.advance.stencil(u);
        let (ib, wb) = self.angle.stencil(beta_rad);
        self.keep(c, (iu, ib), patch);
        patch.value(&wu, &wb)
    }

    /// Coefficients and their slopes with blade angle \[1/rad\].
    #[inline]
    fn at_with_slope(
        &self,
        c: &Condition,
        beta_rad: f64,
        patch: &mut Patch,
    ) -> ([f64; 2], [f64; 2]) {
        let (u, u_slope) = Self::advance_at(c, beta_rad);
        let (iu, wu, su) = self.advance.stencil_with_slope(u);
        let (ib, wb, sb) = self.angle.stencil_with_slope(beta_rad);
        self.keep(c, (iu, ib), patch);
        let s = patch.slopes(&wu, &su, &wb, &sb);
        let slope = |k: usize| s.by_angle[k] + s.by_advance[k] * u_slope;
        (s.value, [slope(0), slope(1)])
    }

    /// Coefficients referred to `rho U^2 D^2` and `rho U^2 D^3`.
    ///
    /// `v_m_s` true airspeed (below zero counts as zero), `rev_s` shaft speed (0 is a stopped propeller),
    /// `beta_rad` blade angle at 0.75 R (confined to the table), `sound_m_s` speed of sound.
    #[inline]
    pub fn coefficients(
        &self,
        v_m_s: f64,
        rev_s: f64,
        beta_rad: f64,
        sound_m_s: f64,
    ) -> Coefficients {
        let beta = beta_rad.clamp(self.angle.low, self.angle.high);
        let [thrust, torque] = self.at(&self.condition(v_m_s, rev_s, sound_m_s), beta);
        Coefficients { thrust, torque }
    }

    /// Thrust \[N\] and torque \[N m\] in air of density `rho_kg_m3`; other arguments as
    /// [`PropellerTable::coefficients`]. Shaft power is `2 pi n Q`.
    #[inline]
    pub fn forces(
        &self,
        rho_kg_m3: f64,
        v_m_s: f64,
        rev_s: f64,
        beta_rad: f64,
        sound_m_s: f64,
    ) -> Forces {
        let beta = beta_rad.clamp(self.angle.low, self.angle.high);
        let c = self.condition(v_m_s, rev_s, sound_m_s);
        let [ct, cq] = self.at(&c, beta);
        let scale = rho_kg_m3 * c.reference2 * self.diameter_m * self.diameter_m;
        Forces {
            thrust_n: ct * scale,
            torque_n_m: cq * scale * self.diameter_m,
        }
    }
}

/// The pivot of the advance coordinate, near `tan(0.92 beta + 7 deg)`: the advance angle of zero thrust and a
/// little more, so that positive and negative stall keep their `u` while `beta` changes. The tangent is
/// Pade's, `b (15 - b^2) / (15 - 6 b^2)`; exactness does not matter, for build and look-up use the same. Numerator
/// and denominator, each with its slope.
#[inline]
fn pivot_parts(beta_rad: f64) -> ((f64, f64), (f64, f64)) {
    const SHARE: f64 = 0.92;
    let b = SHARE * beta_rad + 0.122;
    let b2 = b * b;
    (
        (b * (15.0 - b2), SHARE * (15.0 - 3.0 * b2)),
        (15.0 - 6.0 * b2, -12.0 * SHARE * b),
    )
}

/// Root between `a` and `b`, where `f` has opposite signs (or is zero): regula falsi with the weight of
/// Anderson and Bjorck (1973, from memory), bracketed and superlinear.
#[inline]
fn regula_falsi(
    mut a: (f64, f64),
    mut b: (f64, f64),
    tolerance: f64,
    f: impl Fn(f64) -> f64,
) -> f64 {
    for _ in 0..MAX_STEPS {
        if b.1 == 0.0 || (b.0 - a.0).abs() <= tolerance {
            break;
        }
        let x = (a.0 * b.1 - b.0 * a.1) / (b.1 - a.1);
        let y = f(x);
        let step = (x - b.0).abs();
        if y * b.1 < 0.0 {
            a = b;
        } else {
            let m = 1.0 - y / b.1;
            a.1 *= if m > 0.0 { m } else { 0.5 };
        }
        b = (x, y);
        if step <= tolerance {
            break;
        }
    }
    b.0
}
