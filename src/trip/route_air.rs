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

/// The nodes of one leg.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LegAir {
    pub from_m: f64,
    pub to_m: f64,
    pub columns: Vec<Column>,
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
        let last = leg.columns.len() - 1;
        #[expect(
            clippy::cast_precision_loss,
            reason = "a leg has a few hundred nodes at most"
        )]
        let x = ((distance_m - leg.from_m) / (leg.to_m - leg.from_m) * last as f64)
            .clamp(0.0, last as f64);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped to the nodes"
        )]
        let c = (x as usize).min(last - 1);
        #[expect(
            clippy::cast_precision_loss,
            reason = "a leg has a few hundred nodes at most"
        )]
        let fx = x - c as f64;
        let (a, b) = (&leg.columns[c], &leg.columns[c + 1]);
        let top = a.temperature_k.len() - 1;
        #[expect(
            clippy::cast_precision_loss,
            reason = "a column has a few hundred rows at most"
        )]
        let y = ((pressure_altitude_m - BOTTOM_M) / STEP_M).clamp(0.0, top as f64);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "clamped to the rows"
        )]
        let r = (y as usize).min(top - 1);
        #[expect(
            clippy::cast_precision_loss,
            reason = "a column has a few hundred rows at most"
        )]
        let fy = y - r as f64;
        let mix = |u: &[f64], v: &[f64]| {
            let low = u[r] + fx * (v[r] - u[r]);
            let high = u[r + 1] + fx * (v[r + 1] - u[r + 1]);
            (low + fy * (high - low), (high - low) / STEP_M)
        };
        let (along_m_s, along_per_m) = mix(&a.along_m_s, &b.along_m_s);
        AirSample {
            temperature_k: mix(&a.temperature_k, &b.temperature_k).0,
            along_m_s,
            cross_m_s: mix(&a.cross_m_s, &b.cross_m_s).0,
            along_per_m,
            true_altitude_m: mix(&a.true_altitude_m, &b.true_altitude_m).0,
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
            legs: vec![LegAir {
                from_m: 0.0,
                to_m: length_m,
                columns: vec![column.clone(), column],
            }],
        }
    }
}
