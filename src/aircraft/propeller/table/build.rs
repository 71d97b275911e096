//! The table filled from blade-element runs.

use super::{
    ADVANCE_COEFFICIENTS, ADVANCE_SAMPLES, BLADE_ANGLE_MARGIN_RAD, GREATEST_BLADE_ANGLE_RAD,
    LEAST_BLADE_ANGLE_RAD, MACH_COEFFICIENTS, MACH_SAMPLES, PropellerTable, pivot_parts,
};
use crate::aircraft::propeller::blade::{GeometryError, PropellerGeometry, REFERENCE_RADIUS};
use crate::aircraft::propeller::element::{
    BladeElements, MACH2_HIGH, MACH2_LOW, STATIONS, angle_from_zero_lift, local_mach_ratio,
};
use crate::aircraft::propeller::spline::{Axis, coefficients, prefilter};
use std::f64::consts::PI;

/// Greatest spacing of blade angles \[rad\] (3 deg).
const BLADE_ANGLE_STEP_RAD: f64 = 3.0 * PI / 180.0;
/// Fewest blade angles, so that a fixed pitch still gets a cubic.
const LEAST_BLADE_ANGLES: usize = 5;
/// Newton step at which a build stops; the error left is its square.
const BUILD_TOLERANCE: f64 = 1e-3;

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
}
