//! Air along the route: wind and temperature as a function of distance, height and time.
//!
//! The weather is sampled once on nodes along each leg and at even steps of pressure altitude; everything that flies asks only
//! this table, so that no geodesic and no bulletin is touched in an inner loop. One time slice is held now; `at` and its callers
//! take distance and height, and a second slice would be blended by the clock carried in the table's schedule.

use crate::air::isa;
use crate::quantity::M_PER_FT;

/// Step of the table in pressure altitude, m.
pub(super) const STEP_M: f64 = 500.0 * M_PER_FT;
/// Lowest pressure altitude of the table, m.
pub(super) const BOTTOM_M: f64 = -2_000.0 * M_PER_FT;

/// Air at one point of the route.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirSample {
    /// Temperature, K.
    pub temperature_k: f64,
    /// Wind along the course, m/s, a tail wind positive.
    pub along_m_s: f64,
    /// Wind across the course, m/s, from the left positive.
    pub cross_m_s: f64,
    /// Change of the along-course wind with pressure altitude, 1/s.
    pub along_per_m: f64,
    /// Geometric height above mean sea level, m.
    pub true_altitude_m: f64,
}

/// One column of the table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    pub temperature_k: Vec<f64>,
    pub along_m_s: Vec<f64>,
    pub cross_m_s: Vec<f64>,
    pub true_altitude_m: Vec<f64>,
}

/// A node: temperature, wind along and across, true altitude, in the units of [`Column`].
type Node = [f64; 4];

/// The nodes of one leg.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LegAir {
    from_m: f64,
    to_m: f64,
    /// Intervals per metre.
    per_m: f64,
    /// Last column and last row.
    last: (u32, u32),
    /// Column after column, each from the bottom.
    nodes: Vec<Node>,
}

impl LegAir {
    /// From at least two columns of at least two rows, as many rows in each.
    pub(super) fn new(from_m: f64, to_m: f64, columns: &[Column]) -> Self {
        let rows = columns.first().map_or(0, |c| c.temperature_k.len());
        let node = |c: &Column, r: usize| {
            [
                c.temperature_k[r],
                c.along_m_s[r],
                c.cross_m_s[r],
                c.true_altitude_m[r],
            ]
        };
        let nodes = columns
            .iter()
            .flat_map(|c| (0..rows).map(move |r| node(c, r)))
            .collect();
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a few hundred nodes along a leg and rows up a column at most"
        )]
        let last = (columns.len() as u32 - 1, rows as u32 - 1);
        let per_m = f64::from(last.0) / (to_m - from_m);
        Self {
            from_m,
            to_m,
            per_m,
            last,
            nodes,
        }
    }
}

/// The interval of a coordinate counted in steps, confined to `0..=last`, and where in it.
#[inline]
fn interval(steps: f64, last: u32) -> (usize, f64) {
    let x = steps.clamp(0.0, f64::from(last));
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to the nodes"
    )]
    let i = (x as u32).min(last - 1);
    (i as usize, x - f64::from(i))
}

/// Bilinear between four nodes, and the change of the along-course wind over one row.
// Kept out of line: by itself this becomes two-lane code.
#[inline(never)]
fn between(here: &[Node], next: &[Node], fx: f64, fy: f64) -> (Node, f64) {
    let along_leg =
        |u: &Node, v: &Node| -> Node { std::array::from_fn(|q| u[q] + fx * (v[q] - u[q])) };
    let low = along_leg(&here[0], &next[0]);
    let high = along_leg(&here[1], &next[1]);
    let node = std::array::from_fn(|q| low[q] + fy * (high[q] - low[q]));
    (node, high[1] - low[1])
}

/// Air along the whole route.
#[derive(Debug, Clone, PartialEq)]
pub struct RouteAir {
    pub(super) legs: Vec<LegAir>,
}

impl RouteAir {
    /// Air [`AirSample`] at a distance along the route \[m\] and a pressure altitude \[m\]: linear in both between nodes, held outside.
    pub fn at(&self, distance_m: f64, pressure_altitude_m: f64) -> AirSample {
        let i = self
            .legs
            .partition_point(|l| l.to_m <= distance_m)
            .min(self.legs.len() - 1);
        let leg = &self.legs[i];
        let (c, fx) = interval((distance_m - leg.from_m) * leg.per_m, leg.last.0);
        let (r, fy) = interval((pressure_altitude_m - BOTTOM_M) / STEP_M, leg.last.1);
        let rows = leg.last.1 as usize + 1;
        let ([temperature_k, along_m_s, cross_m_s, true_altitude_m], per_row_m_s) = between(
            &leg.nodes[c * rows + r..][..2],
            &leg.nodes[(c + 1) * rows + r..][..2],
            fx,
            fy,
        );
        AirSample {
            temperature_k,
            along_m_s,
            cross_m_s,
            along_per_m: per_row_m_s / STEP_M,
            true_altitude_m,
        }
    }

    /// Adds to the wind along the course everywhere, m/s.
    pub(super) fn add_along_m_s(&mut self, more_m_s: f64) {
        for node in self.legs.iter_mut().flat_map(|l| &mut l.nodes) {
            node[1] += more_m_s;
        }
    }

    /// Warms the air everywhere. True heights stay on the surface, whose pressure altitude \[m\] is given by distance \[m\], and grow
    /// above it by the hydrostatic `dz = (T / T_std) dh_p`: a warming of k adds k times the integral of `dh_p / T_std`, here by Simpson's
    /// rule (T_std is linear in the troposphere).
    pub(super) fn warm_k(&mut self, kelvin: f64, surface_m: &dyn Fn(f64) -> f64) {
        for leg in &mut self.legs {
            let rows = leg.last.1 as usize + 1;
            for (c, column) in leg.nodes.chunks_mut(rows).enumerate() {
                #[expect(clippy::cast_precision_loss, reason = "a few hundred columns")]
                let from_hp = surface_m(leg.from_m + c as f64 / leg.per_m);
                let mut hp = BOTTOM_M;
                for node in column {
                    let inverse = |x: f64| 1.0 / isa::temperature_k(x);
                    let mean =
                        (inverse(from_hp) + 4.0 * inverse(0.5 * (from_hp + hp)) + inverse(hp))
                            / 6.0;
                    node[0] += kelvin;
                    node[3] += kelvin * mean * (hp - from_hp);
                    hp += STEP_M;
                }
            }
        }
    }

    /// The same wind and ISA deviation everywhere on a straight route of this length: for studies and tests.
    pub fn uniform(
        length_m: f64,
        along_m_s: f64,
        cross_m_s: f64,
        isa_deviation_k: f64,
        top_m: f64,
    ) -> Self {
        let mut column = Column {
            temperature_k: vec![],
            along_m_s: vec![],
            cross_m_s: vec![],
            true_altitude_m: vec![],
        };
        let mut hp = BOTTOM_M;
        let mut z = BOTTOM_M;
        while hp <= top_m + STEP_M {
            let t = isa::temperature_k(hp) + isa_deviation_k;
            column.temperature_k.push(t);
            column.along_m_s.push(along_m_s);
            column.cross_m_s.push(cross_m_s);
            column.true_altitude_m.push(z);
            z += STEP_M * (1.0 + isa_deviation_k / isa::temperature_k(hp + 0.5 * STEP_M));
            hp += STEP_M;
        }
        // True height is anchored at sea level, where indicated and true agree.
        let zero = BOTTOM_M.abs() * isa_deviation_k / isa::temperature_k(0.5 * BOTTOM_M);
        column.true_altitude_m.iter_mut().for_each(|z| *z -= zero);
        Self {
            legs: vec![LegAir::new(0.0, length_m, &[column.clone(), column])],
        }
    }
}
