//! Answers of the governor by heart: blade angle and thrust over advance, torque and tip Mach, for searches.
//!
//! A search asks what a governed propeller does some hundred thousand times, in a small part of all conditions. There the answer is
//! smooth in the torque coefficient, so that a table of answers, once filled from the direct search, gives it at a third of the price.
//! Where it is not smooth, or lies beyond a stop, nothing is given, and the direct search is asked.
//!
//! Interpolation is by cubics through four nodes along each axis (Lagrange).

use super::patch::Patch;
use super::{Condition, PropellerTable, Quick};
use crate::aircraft::propeller::table::Nearby;

/// Tangents of the advance angle: slow flight at the greatest speed of the shaft, and fast flight at the least.
const ADVANCE: (f64, f64) = (0.15, 0.82);
/// Torque coefficients, in blade angle [rad] beyond zero torque at a typical slope: windmilling, and short of stall.
const LEAD: (f64, f64) = (-0.06, 0.44);
/// Squares of the effective tip Mach number.
const MACH2: (f64, f64) = (0.08, 0.92);
/// Nodes along advance, torque and the square of the tip Mach number.
const NODES: [usize; 3] = [21, 26, 17];
/// Nodes at one tip Mach number.
const PLANE: usize = NODES[0] * NODES[1];
/// An interpolated thrust coefficient is off by less than this share of the greatest.
pub(in crate::aircraft::propeller) const CLOSE: f64 = 3e-5;

/// Evenly spaced nodes.
#[derive(Debug, Clone, Copy)]
struct Row {
    low: f64,
    step: f64,
    per: f64,
    /// Last cell with two nodes on either side.
    last: u32,
}

impl Row {
    fn new((low, high): (f64, f64), nodes: usize) -> Self {
        let intervals = (nodes - 1) as f64;
        Self {
            low,
            step: (high - low) / intervals,
            per: intervals / (high - low),
            last: nodes as u32 - 3,
        }
    }

    fn node(&self, i: usize) -> f64 {
        self.low + self.step * i as f64
    }

    /// The cell of a place, by its lower inner node, and how far in it; `None` outside.
    #[inline]
    fn cell(&self, x: f64) -> Option<(usize, f64)> {
        let y = (x - self.low) * self.per;
        // The cast takes what is below the row, and not a number, for zero.
        let i = y as u32;
        (1..=self.last)
            .contains(&i)
            .then(|| (i as usize, y - f64::from(i)))
    }
}

/// Weights of the four nodes round a cell.
#[inline]
fn weights(t: f64) -> [f64; 4] {
    let (before, after, beyond) = (t + 1.0, t - 1.0, t - 2.0);
    let (a, b) = (t * before, after * beyond);
    [
        -t * b * (1.0 / 6.0),
        before * b * 0.5,
        -a * beyond * 0.5,
        a * after * (1.0 / 6.0),
    ]
}

/// Thrust coefficient and blade angle \[rad\].
type Answer = [f64; 2];

/// The table.
#[derive(Debug, Clone)]
pub(super) struct Answers {
    rows: [Row; 3],
    /// Torque fastest, then advance, then tip Mach.
    nodes: Vec<Answer>,
    /// Of each cell by its lower inner node: whether it is smooth enough.
    sure: Vec<bool>,
}

impl Answers {
    pub(super) fn of(table: &PropellerTable) -> Self {
        let lead = (LEAD.0 * table.torque_slope, LEAD.1 * table.torque_slope);
        let rows = [
            Row::new(ADVANCE, NODES[0]),
            Row::new(lead, NODES[1]),
            Row::new(MACH2, NODES[2]),
        ];
        let direct = |advance: f64, torque: f64, mach2: f64, near: &mut Nearby| -> Option<Answer> {
            let c = Condition {
                v: advance,
                w: 1.0,
                reference2: 1.0 + advance * advance,
                mach: table.mach2.stencil(mach2),
            };
            let all = (table.angle.low, table.angle.high);
            match table.newton(&c, all, torque, near, advance) {
                Quick::Found {
                    angle_rad,
                    thrust,
                    torque_slope,
                } => {
                    *near = Nearby {
                        angle_rad,
                        advance,
                        torque,
                        torque_slope,
                        ..Nearby::NONE
                    };
                    Some([thrust, angle_rad])
                }
                _ => None,
            }
        };
        let mut nodes = Vec::with_capacity(NODES.iter().product());
        let mut near = Nearby::NONE;
        for k in 0..NODES[2] {
            for i in 0..NODES[0] {
                for j in 0..NODES[1] {
                    let at = [i, j, k];
                    let [x, y, z] = std::array::from_fn(|a| rows[a].node(at[a]));
                    let answer = direct(x, y, z, &mut near);
                    nodes.push(answer.unwrap_or([f64::NAN; 2]));
                }
            }
        }
        let greatest = nodes.iter().map(|n| n[0].abs()).fold(0.0, f64::max);
        let mut answers = Self {
            rows,
            sure: vec![false; nodes.len()],
            nodes,
        };
        for k in 1..NODES[2] - 2 {
            for i in 1..NODES[0] - 2 {
                for j in 1..NODES[1] - 2 {
                    // The middle is farthest from all nodes.
                    let told = answers.between([i, j, k], [0.5; 3]);
                    let at = [i, j, k];
                    let [x, y, z] =
                        std::array::from_fn(|a| rows[a].node(at[a]) + 0.5 * rows[a].step);
                    near = Nearby::angle(told[1]);
                    let right = direct(x, y, z, &mut near);
                    answers.sure[Self::index([i, j, k])] =
                        right.is_some_and(|r| (r[0] - told[0]).abs() < CLOSE * greatest);
                }
            }
        }
        answers
    }

    fn index([i, j, k]: [usize; 3]) -> usize {
        (k * NODES[0] + i) * NODES[1] + j
    }

    /// Between the nodes of a cell.
    #[inline]
    fn between(&self, [i, j, k]: [usize; 3], share: [f64; 3]) -> Answer {
        let (wx, wy, wz) = (weights(share[0]), weights(share[1]), weights(share[2]));
        // Summed over tip Mach first, as [`PropellerTable::lay`] does: plain two-lane code.
        let mut patch = Patch::NOWHERE;
        for (a, row) in patch.rows.iter_mut().enumerate() {
            let first = Self::index([i + a - 1, j - 1, k - 1]);
            // Invariant: a cell has two nodes on either side.
            let planes = &self.nodes[first..][..3 * PLANE + 4];
            let line = |c: usize| planes[c * PLANE..][..4].as_flattened();
            let (n0, n1, n2, n3) = (line(0), line(1), line(2), line(3));
            for (e, sum) in row.as_flattened_mut().iter_mut().enumerate() {
                *sum = (wz[0] * n0[e] + wz[1] * n1[e]) + (wz[2] * n2[e] + wz[3] * n3[e]);
            }
        }
        patch.value(&wy, &wx)
    }

    /// Thrust coefficient and blade angle \[rad\] at a tangent of the advance angle, a torque coefficient and a square of the tip Mach
    /// number; `None` where they are not known by heart.
    #[inline]
    pub(super) fn at(&self, advance: f64, torque: f64, mach2: f64) -> Option<Answer> {
        let (i, x) = self.rows[0].cell(advance)?;
        let (j, y) = self.rows[1].cell(torque)?;
        let (k, z) = self.rows[2].cell(mach2)?;
        let cell = [i, j, k];
        self.sure[Self::index(cell)].then(|| self.between(cell, [x, y, z]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aircraft::propeller::{Absorbed, PropellerGeometry, Stops};
    use std::cell::Cell;

    /// What is known by heart against the direct search, over speeds, RPM and powers of cruise and descent.
    #[test]
    fn crosscheck_answers_by_heart() {
        // The share promised is checked in the middle of cells; elsewhere it may be a little more.
        const THRUST: f64 = 2.0 * CLOSE;
        // Of a blade angle, which no search looks at: enough to tell a stop, rad.
        const ANGLE_RAD: f64 = 1e-3;
        let geometry = PropellerGeometry::standard(1.93, 2, 1.0).expect("in range");
        let stops = Stops {
            low_rad: 12_f64.to_radians(),
            high_rad: 35_f64.to_radians(),
        };
        let table =
            PropellerTable::build(&geometry, stops.low_rad, stops.high_rad).expect("in range");
        let answers = table.answers();
        let greatest = answers.nodes.iter().map(|n| n[0].abs()).fold(0.0, f64::max);
        let (mut asked, mut known) = (0, 0);
        for v in (40..95).step_by(5).map(f64::from) {
            for n in (24..46).step_by(3).map(f64::from) {
                for kilowatt in (5..150).step_by(12).map(f64::from) {
                    let torque = kilowatt * 1e3 / (std::f64::consts::TAU * n);
                    let ask = |near| {
                        let near = Cell::new(near);
                        table.absorb(1.0, v, n, torque, 331.0, stops, &near)
                    };
                    let direct = ask(Nearby::NONE);
                    let Absorbed::Within {
                        angle_rad,
                        thrust_n,
                    } = direct
                    else {
                        // Beyond a stop it says the same.
                        assert_eq!(ask(Nearby::BY_HEART), direct, "{v} {n} {kilowatt}");
                        continue;
                    };
                    asked += 1;
                    let (v, w, mach2) = table.speeds(v, n, 331.0);
                    let scale = (v * v + w * w) * 1.93 * 1.93;
                    let Some([thrust, angle]) = answers.at(v / w, torque / (scale * 1.93), mach2)
                    else {
                        continue;
                    };
                    known += 1;
                    assert!(
                        (thrust - thrust_n / scale).abs() < THRUST * greatest,
                        "{v} {n} {kilowatt}: {thrust} {}",
                        thrust_n / scale
                    );
                    assert!(
                        (angle - angle_rad).abs() < ANGLE_RAD,
                        "{v} {n} {kilowatt}: {angle} {angle_rad}"
                    );
                }
            }
        }
        // Else it would be quick at nothing.
        assert!(asked > 300 && known * 10 > asked * 6, "{known} of {asked}");
    }
}
