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

use super::blade::{GeometryError, PropellerGeometry, REFERENCE_RADIUS};
use super::element::{
    BladeElements, Coefficients, MACH2_HIGH, MACH2_LOW, STATIONS, angle_from_zero_lift,
    effective_mach_squared, local_mach_ratio,
};
use super::spline::{Axis, coefficients, prefilter};
use std::cell::Cell;
use std::f64::consts::PI;

/// Samples along the advance coordinate.
const ADVANCE_SAMPLES: usize = 57;
/// Samples along the square of the tip Mach number.
const MACH_SAMPLES: usize = 7;
/// Coefficients along the advance coordinate, and along the square of the tip Mach number.
const ADVANCE_COEFFICIENTS: usize = coefficients(ADVANCE_SAMPLES);
const MACH_COEFFICIENTS: usize = coefficients(MACH_SAMPLES);
/// Greatest spacing of blade angles \[rad\] (3 deg).
const BLADE_ANGLE_STEP_RAD: f64 = 3.0 * PI / 180.0;
/// Fewest blade angles, so that a fixed pitch still gets a cubic.
const LEAST_BLADE_ANGLES: usize = 5;
/// The table reaches this far beyond either stop \[rad\] (2 deg).
pub const BLADE_ANGLE_MARGIN_RAD: f64 = 2.0 * PI / 180.0;
/// Least blade angle that can be tabulated \[rad\] (3 deg).
pub const LEAST_BLADE_ANGLE_RAD: f64 = 3.0 * PI / 180.0;
/// Greatest blade angle that can be tabulated \[rad\] (88 deg: feathered).
pub const GREATEST_BLADE_ANGLE_RAD: f64 = 88.0 * PI / 180.0;
/// Newton step at which a build stops; the error left is its square.
const BUILD_TOLERANCE: f64 = 1e-3;

/// Tolerance of an inverted blade angle \[rad\]; the last step is superlinear, so the error is smaller.
const ANGLE_TOLERANCE_RAD: f64 = 1e-7;
/// Tolerance of a balanced shaft speed, relative to the greatest.
const BALANCE_TOLERANCE: f64 = 1e-9;
/// Shaft speeds tried for a change of sign.
const BALANCE_SCAN: u32 = 48;
/// Bracketing steps; 60 bisections exhaust a double.
const MAX_STEPS: u32 = 100;
/// Tangent of the angle (9 deg) by which the advance angle must exceed the blade angle before negative stall
/// is suspected. The section stalls 6 degrees below zero lift, and zero lift lies 3 or more below the chord.
const STALL_SUSPECT_TAN: f64 = 0.158_384;
/// First guess of a governed blade angle: this much above the advance angle \[rad\] (5 deg).
const NEWTON_LEAD_RAD: f64 = 5.0 * PI / 180.0;
/// Steps of a quick search before the bracketed one takes over.
const QUICK_STEPS: u32 = 8;
/// Last Newton step of a blade angle \[rad\]: the error left is its square times the curvature over the slope, of order one.
const NEWTON_TOLERANCE_RAD: f64 = 1e-5;
/// Last step times the square of the one before at which the slope of a parabola is good enough: the error left is about as much
/// \[rad^3, with third derivatives of order one over the slope\].
const PARABOLA_RAD3: f64 = 1e-10;
/// Product of the last two secant steps of a shaft speed, relative to the greatest: the error left is about a tenth of it.
const BALANCE_PRODUCT: f64 = 1e-10;
/// Step that tells a falling torque from a rising one \[rad\].
const BRANCH_PROBE_RAD: f64 = 1e-3;

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

/// A blade angle found at one condition, with what carries it over to a condition nearby.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearby {
    angle_rad: f64,
    /// Tangent of the advance angle.
    advance: f64,
    /// Torque coefficient that was absorbed, and its slope with blade angle \[1/rad\].
    torque: f64,
    torque_slope: f64,
    /// Speed that balanced on a stop \[rev/s\].
    balanced_rev_s: f64,
}

impl Nearby {
    /// Of nowhere.
    pub const NONE: Self = Self {
        angle_rad: f64::NAN,
        advance: f64::NAN,
        torque: f64::NAN,
        torque_slope: f64::NAN,
        balanced_rev_s: f64::NAN,
    };

    /// A blade angle \[rad\] of which no more is known.
    pub const fn angle(angle_rad: f64) -> Self {
        Self {
            angle_rad,
            ..Self::NONE
        }
    }

    /// The same with the speed [rev/s] that balanced there, on a stop.
    pub const fn balanced(self, balanced_rev_s: f64) -> Self {
        Self {
            balanced_rev_s,
            ..self
        }
    }

    /// The speed [rev/s] that balanced on a stop; not a number where the blades were not on one.
    pub const fn balanced_rev_s(&self) -> f64 {
        self.balanced_rev_s
    }

    /// The blade angle expected where the advance and the torque coefficient are these: turned with the inflow, and as much more as
    /// the torque asks for.
    fn expected_rad(&self, advance: f64, torque: f64) -> f64 {
        let known = |x: f64| if x.is_finite() { x } else { 0.0 };
        let turned = (advance - self.advance) / (1.0 + advance * self.advance);
        self.angle_rad + known(turned) + known((torque - self.torque) / self.torque_slope)
    }
}

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

/// One cell of the table at one tip Mach number: four blade angles of four pairs along the advance axis.
#[derive(Debug, Clone, Copy)]
struct Patch {
    cell: (u32, u32),
    rows: [[[f64; 2]; 4]; 4],
}

/// Coefficients with their slopes.
#[derive(Debug, Clone, Copy)]
struct Slopes {
    value: [f64; 2],
    by_advance: [f64; 2],
    by_angle: [f64; 2],
}

impl Patch {
    /// Of no cell.
    const NOWHERE: Self = Self {
        cell: (u32::MAX, u32::MAX),
        rows: [[[0.0; 2]; 4]; 4],
    };

    /// The coefficients for weights along the advance axis and across it.
    // This and the next are kept out of line: by themselves they become plain two-lane code, inlined they are torn apart.
    #[inline(never)]
    fn value(&self, wu: &[f64; 4], wb: &[f64; 4]) -> [f64; 2] {
        let mut value = [0.0; 2];
        for (row, w) in self.rows.iter().zip(wb) {
            for k in 0..2 {
                value[k] += w
                    * ((wu[0] * row[0][k] + wu[1] * row[1][k])
                        + (wu[2] * row[2][k] + wu[3] * row[3][k]));
            }
        }
        value
    }

    /// The same with the slopes, for which the weights are `su` and `sb`.
    #[inline(never)]
    fn slopes(&self, wu: &[f64; 4], su: &[f64; 4], wb: &[f64; 4], sb: &[f64; 4]) -> Slopes {
        let (mut value, mut by_advance, mut by_angle) = ([0.0; 2], [0.0; 2], [0.0; 2]);
        for (j, row) in self.rows.iter().enumerate() {
            for k in 0..2 {
                let at = (wu[0] * row[0][k] + wu[1] * row[1][k])
                    + (wu[2] * row[2][k] + wu[3] * row[3][k]);
                let slope = (su[0] * row[0][k] + su[1] * row[1][k])
                    + (su[2] * row[2][k] + su[3] * row[3][k]);
                value[k] += wb[j] * at;
                by_advance[k] += wb[j] * slope;
                by_angle[k] += sb[j] * at;
            }
        }
        Slopes {
            value,
            by_advance,
            by_angle,
        }
    }
}

impl PropellerTable {
    /// Run the blade elements over the whole table, from `beta_min_rad` to `beta_max_rad` and
    /// [`BLADE_ANGLE_MARGIN_RAD`] beyond (but never below 3 or above 88 degrees).
    ///
    /// # Errors
    /// If the blade angles are not in 3..=88 degrees or the wrong way round.
    pub fn build(
        geometry: &PropellerGeometry,
        beta_min_rad: f64,
        beta_max_rad: f64,
    ) -> Result<Self, GeometryError> {
        let limits = (
            LEAST_BLADE_ANGLE_RAD.to_degrees(),
            GREATEST_BLADE_ANGLE_RAD.to_degrees(),
        );
        for (what, value, low) in [
            ("least blade angle [deg]", beta_min_rad, limits.0),
            (
                "greatest blade angle [deg]",
                beta_max_rad,
                beta_min_rad.to_degrees(),
            ),
        ] {
            let value = value.to_degrees();
            // The rounding of the conversion must not refuse the limit itself.
            if !(low - 1e-9..=limits.1 + 1e-9).contains(&value) {
                return Err(GeometryError::OutOfRange {
                    what,
                    value,
                    low,
                    high: limits.1,
                });
            }
        }
        let low = (beta_min_rad - BLADE_ANGLE_MARGIN_RAD).max(LEAST_BLADE_ANGLE_RAD);
        let high = (beta_max_rad + BLADE_ANGLE_MARGIN_RAD).min(GREATEST_BLADE_ANGLE_RAD);
        let angles = ((high - low) / BLADE_ANGLE_STEP_RAD).ceil() as usize + 1;
        let angle = Axis::new(low, high, angles.max(LEAST_BLADE_ANGLES));
        let advance = Axis::new(0.0, 1.0, ADVANCE_SAMPLES);
        let mach2 = Axis::new(MACH2_LOW, MACH2_HIGH, MACH_SAMPLES);
        let (nu, nm, nb) = (
            ADVANCE_COEFFICIENTS,
            MACH_COEFFICIENTS,
            coefficients(angle.samples),
        );
        let mut data = vec![[0.0; 2]; nu * nm * nb];

        let elements = BladeElements::new(geometry);
        let machs: Vec<f64> = (0..MACH_SAMPLES).map(|m| mach2.sample(m).sqrt()).collect();
        let mut row = [[0.0_f64; 2]; MACH_SAMPLES];
        for b in 0..angle.samples {
            let beta = angle.sample(b);
            let ((up, _), (down, _)) = pivot_parts(beta);
            let pitch: Vec<(f64, f64)> = elements
                .elements()
                .iter()
                .map(|e| (beta + e.twist_e_rad).sin_cos())
                .collect();
            let mut carry = [f64::NAN; STATIONS];
            for u in 0..advance.samples {
                let x = advance.sample(u);
                let (v, w) = (x * up, (1.0 - x) * down);
                let inv = 1.0 / (v * v + w * w).sqrt();
                let (sa, ca) = (v * inv, w * inv);
                row.fill([0.0; 2]);
                for ((e, &p), carried) in elements.elements().iter().zip(&pitch).zip(&mut carry) {
                    let flow = e.inflow(sa, ca);
                    let ratio = local_mach_ratio(&flow, sa, ca);
                    let from_zero_lift = angle_from_zero_lift(p, &flow);
                    // The neighbour's answer is the first guess: along Mach a straight line through two
                    // of them, along the advance axis the last one.
                    let (mut last, mut before) = (*carried, *carried);
                    for (m, (mach, sum)) in machs.iter().zip(&mut row).enumerate() {
                        let at = e.section.at_mach(mach * ratio);
                        let start = if m < 2 { last } else { 2.0 * last - before };
                        let t = e.balance(&flow, &at, from_zero_lift, start, BUILD_TOLERANCE);
                        if m == 0 {
                            *carried = t;
                        }
                        (before, last) = (last, t);
                        let (dt, dq) = e.load(&flow, &at, from_zero_lift, t);
                        sum[0] += dt;
                        sum[1] += dq;
                    }
                }
                for (m, sum) in row.iter().enumerate() {
                    data[((b + 1) * nm + m + 1) * nu + u + 1] = *sum;
                }
            }
        }

        let mut work = Vec::new();
        for m in 1..=MACH_SAMPLES {
            for b in 1..=angle.samples {
                prefilter(&mut data, (b * nm + m) * nu, 1, advance.samples, &mut work);
            }
            for u in 0..nu {
                prefilter(&mut data, m * nu + u, nm * nu, angle.samples, &mut work);
            }
        }
        for b in 0..nb {
            for u in 0..nu {
                prefilter(&mut data, b * nm * nu + u, nu, MACH_SAMPLES, &mut work);
            }
        }

        let diameter_m = geometry.diameter_m();
        let tip = PI * diameter_m;
        let mut table = Self {
            diameter_m,
            reference_m: REFERENCE_RADIUS * tip,
            tip2: tip * tip,
            advance,
            angle,
            mach2,
            torque_slope: 0.0,
            data,
        };
        // Between zero thrust and stall at the middle blade angle: advance angle 2 and 6 degrees below.
        let middle = 0.5 * (low + high);
        let direct = |lead_deg: f64| {
            let theta = (middle - lead_deg.to_radians()).max(0.0);
            elements.coefficients(theta, middle, 0.5).torque
        };
        table.torque_slope = ((direct(6.0) - direct(2.0)) / 4.0_f64.to_radians()).max(1e-4);
        Ok(table)
    }

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

    /// The sixteen nodes of a cell, summed over the Mach axis.
    fn patch(&self, c: &Condition, cell: (u32, u32)) -> Patch {
        let (mach, weights) = (c.mach.0 as usize, c.mach.1);
        let mut rows = [[[0.0; 2]; 4]; 4];
        for (j, row) in rows.iter_mut().enumerate() {
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
        Patch { cell, rows }
    }

    fn at(&self, c: &Condition, beta_rad: f64) -> [f64; 2] {
        let (u, _) = Self::advance_at(c, beta_rad);
        let (iu, wu) = self.advance.stencil(u);
        let (ib, wb) = self.angle.stencil(beta_rad);
        self.patch(c, (iu, ib)).value(&wu, &wb)
    }

    /// The same; `patch` is used again while the cell is the same.
    #[inline]
    fn at_again(&self, c: &Condition, beta_rad: f64, patch: &mut Patch) -> [f64; 2] {
        let (u, _) = Self::advance_at(c, beta_rad);
        let (iu, wu) = self.advance.stencil(u);
        let (ib, wb) = self.angle.stencil(beta_rad);
        if patch.cell != (iu, ib) {
            *patch = self.patch(c, (iu, ib));
        }
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
        if patch.cell != (iu, ib) {
            *patch = self.patch(c, (iu, ib));
        }
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
        match self.newton(
            &c,
            low,
            high,
            target,
            near.get().expected_rad(advance, target),
        ) {
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
                });
                return Absorbed::Within {
                    angle_rad,
                    thrust_n: thrust * thrust_scale,
                };
            }
            Quick::TooMuchAtLow => return Absorbed::BelowLowStop,
            Quick::TooLittleAtHigh => {
                near.set(Nearby::angle(high).balanced(near.get().balanced_rev_s));
                return Absorbed::AboveHighStop;
            }
            Quick::Unsure => {}
        }
        let f_high = f(high);
        if f_high < 0.0 {
            near.set(Nearby::angle(high).balanced(near.get().balanced_rev_s));
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
        near.set(Nearby::angle(angle_rad));
        Absorbed::Within {
            angle_rad,
            thrust_n: self.at(&c, angle_rad)[0] * thrust_scale,
        }
    }

    /// The quick way: Newton steps (every second with the slope of a parabola) from the guess, or from the blade angle that follows the inflow and carries the torque. An answer
    /// counts only if torque rose with blade angle at every step, and it lies between the stops and clear of negative stall; else
    /// the bracketed search decides.
    #[inline]
    fn newton(&self, c: &Condition, low: f64, high: f64, target: f64, guess_rad: f64) -> Quick {
        let start = if guess_rad.is_nan() {
            // Pade's arc tangent of the advance angle, and as much more as the torque asks for.
            let x = if c.v < 2.0 * c.w { c.v / c.w } else { 2.0 };
            let inflow = x * (15.0 + 4.0 * x * x) / (15.0 + 9.0 * x * x);
            inflow + NEWTON_LEAD_RAD
        } else {
            guess_rad
        };
        let mut beta = start.clamp(low, high);
        let mut patch = Patch::NOWHERE;
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
            if step.abs() < NEWTON_TOLERANCE_RAD {
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

/// Whether the blade at 0.75 R may be in negative stall: `theta > beta + 9 deg`, by the addition theorem.
#[inline]
fn stall_suspected(c: &Condition, beta_rad: f64) -> bool {
    let beyond = |t: f64| c.v * (1.0 - STALL_SUSPECT_TAN * t) > c.w * (t + STALL_SUSPECT_TAN);
    // The tangent is more than the angle: mostly that settles it.
    beyond(beta_rad) && beyond(beta_rad.tan())
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
