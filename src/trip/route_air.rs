//! Air along the route: wind and temperature as a function of distance, height and time.
//!
//! The weather is sampled once on nodes along each leg and at even steps of pressure altitude, once for each time there is a
//! forecast for; everything that flies asks only this table, so that no geodesic and no bulletin is touched in an inner loop.
//! Who flies asks at the clock of the flight, who looks at a place at the clock that the flight is expected by
//! ([`super::Problem::time_s`]).

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

/// What is added to the air at a node.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Added {
    /// Wind along the course, m/s.
    pub along_m_s: f64,
    /// Wind across it, m/s.
    pub cross_m_s: f64,
    /// Temperature, K.
    pub temperature_k: f64,
}

/// One column of the table.
#[derive(Debug, Clone, Default, PartialEq)]
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
    /// Slice after slice; in each column after column, each from the bottom.
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

    /// Nodes of one slice.
    fn slice_len(&self) -> usize {
        (self.last.0 as usize + 1) * (self.last.1 as usize + 1)
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

/// The air of a point between nodes, with the change of the along-course wind over one row \[m/s\].
fn sample(node: Node, per_row_m_s: f64) -> AirSample {
    let [temperature_k, along_m_s, cross_m_s, true_altitude_m] = node;
    AirSample {
        temperature_k,
        along_m_s,
        cross_m_s,
        along_per_m: per_row_m_s / STEP_M,
        true_altitude_m,
    }
}

/// Air over one place at one time, for who looks at many heights there.
#[derive(Debug, Clone, PartialEq)]
pub struct AirColumn {
    /// From the bottom.
    nodes: Vec<Node>,
    last: u32,
}

impl AirColumn {
    /// Air at a pressure altitude \[m\], as [`RouteAir::at`] gives it there.
    pub fn at(&self, pressure_altitude_m: f64) -> AirSample {
        let (r, fy) = interval((pressure_altitude_m - BOTTOM_M) / STEP_M, self.last);
        let (low, high) = (&self.nodes[r], &self.nodes[r + 1]);
        let node = std::array::from_fn(|q| low[q] + fy * (high[q] - low[q]));
        sample(node, high[1] - low[1])
    }
}

/// Air along the whole route, at one time or at several.
#[derive(Debug, Clone, PartialEq)]
pub struct RouteAir {
    /// Times of the slices on the clock of the flight, rising, s; at least one.
    times_s: Vec<f64>,
    legs: Vec<LegAir>,
}

impl RouteAir {
    /// Air at one time.
    pub(super) fn of_legs(legs: Vec<LegAir>) -> Self {
        Self {
            times_s: vec![0.0],
            legs,
        }
    }

    /// Air that changes with time: what it is at each of these times, s on the clock of the flight (zero at lift-off, or where a
    /// flight begins in the air). `None` unless there is at least one time, they rise, and all have the same nodes.
    pub fn through_time(slices: Vec<(f64, Self)>) -> Option<Self> {
        let mut slices = slices.into_iter();
        let (first_s, mut air) = slices.next()?;
        let one = |air: &Self| air.times_s.len() == 1;
        if !first_s.is_finite() || !one(&air) {
            return None;
        }
        air.times_s[0] = first_s;
        for (time_s, slice) in slices {
            let after = air.times_s.last().is_some_and(|&last_s| time_s > last_s);
            let like = |(a, b): (&LegAir, &LegAir)| {
                (a.from_m, a.to_m, a.last) == (b.from_m, b.to_m, b.last)
            };
            let same =
                air.legs.len() == slice.legs.len() && air.legs.iter().zip(&slice.legs).all(like);
            if !after || !time_s.is_finite() || !one(&slice) || !same {
                return None;
            }
            air.times_s.push(time_s);
            for (leg, more) in air.legs.iter_mut().zip(slice.legs) {
                leg.nodes.extend(more.nodes);
            }
        }
        Some(air)
    }

    /// Whether the air stays as it is all through the flight.
    pub fn is_steady(&self) -> bool {
        self.times_s.len() < 2
    }

    /// [`between`] the nodes that begin at two places of each slice, at a time between the slices; held outside.
    // Out of the way of air that is steady.
    #[cold]
    fn blended(
        &self,
        leg: &LegAir,
        (low, high): (usize, usize),
        (fx, fy): (f64, f64),
        time_s: f64,
    ) -> (Node, f64) {
        let last = self.times_s.len() - 1;
        let before = self
            .times_s
            .partition_point(|&t| t <= time_s)
            .clamp(1, last)
            - 1;
        let (t0, t1) = (self.times_s[before], self.times_s[before + 1]);
        let share = ((time_s - t0) / (t1 - t0)).clamp(0.0, 1.0);
        let of = |slice: usize| {
            let nodes = &leg.nodes[slice * leg.slice_len()..];
            between(&nodes[low..][..2], &nodes[high..][..2], fx, fy)
        };
        let ((a, a_row), (b, b_row)) = (of(before), of(before + 1));
        let node = std::array::from_fn(|q| a[q] + share * (b[q] - a[q]));
        (node, a_row + share * (b_row - a_row))
    }

    /// Air [`AirSample`] at a distance along the route \[m\], a pressure altitude \[m\] and a time on the clock of the flight \[s\]:
    /// linear in each between nodes, held outside.
    pub fn at(&self, distance_m: f64, pressure_altitude_m: f64, time_s: f64) -> AirSample {
        let leg = self.leg_at(distance_m);
        let (c, fx) = interval((distance_m - leg.from_m) * leg.per_m, leg.last.0);
        let (r, fy) = interval((pressure_altitude_m - BOTTOM_M) / STEP_M, leg.last.1);
        let rows = leg.last.1 as usize + 1;
        let (low, high) = (c * rows + r, (c + 1) * rows + r);
        let (node, per_row_m_s) = if self.is_steady() {
            between(&leg.nodes[low..][..2], &leg.nodes[high..][..2], fx, fy)
        } else {
            self.blended(leg, (low, high), (fx, fy), time_s)
        };
        sample(node, per_row_m_s)
    }

    /// The nodes whose air is that at a distance along the route and a pressure altitude \[m\], each with its share of it: column, counted as
    /// [`RouteAir::columns_m`] counts, and row.
    pub(super) fn nodes_at(
        &self,
        distance_m: f64,
        pressure_altitude_m: f64,
    ) -> [((usize, usize), f64); 4] {
        let leg = self.leg_at(distance_m);
        let before: usize = self
            .legs
            .iter()
            .take_while(|l| !std::ptr::eq(*l, leg))
            .map(|l| l.last.0 as usize + 1)
            .sum();
        let (c, fx) = interval((distance_m - leg.from_m) * leg.per_m, leg.last.0);
        let (r, fy) = interval((pressure_altitude_m - BOTTOM_M) / STEP_M, leg.last.1);
        let c = before + c;
        [
            ((c, r), (1.0 - fx) * (1.0 - fy)),
            ((c, r + 1), (1.0 - fx) * fy),
            ((c + 1, r), fx * (1.0 - fy)),
            ((c + 1, r + 1), fx * fy),
        ]
    }

    /// The air over a distance along the route \[m\] at a time on the clock of the flight \[s\].
    pub fn column(&self, distance_m: f64, time_s: f64) -> AirColumn {
        let last = self.leg_at(distance_m).last.1;
        let node = |row: u32| -> Node {
            let a = self.at(distance_m, BOTTOM_M + f64::from(row) * STEP_M, time_s);
            [a.temperature_k, a.along_m_s, a.cross_m_s, a.true_altitude_m]
        };
        AirColumn {
            nodes: (0..=last).map(node).collect(),
            last,
        }
    }

    fn leg_at(&self, distance_m: f64) -> &LegAir {
        let i = self.legs.partition_point(|l| l.to_m <= distance_m);
        &self.legs[i.min(self.legs.len() - 1)]
    }

    /// The coldest that the air is at any of its times at a distance along the route and a pressure altitude \[m\], K.
    pub fn coldest_k(&self, distance_m: f64, pressure_altitude_m: f64) -> f64 {
        let at = |&time_s: &f64| {
            self.at(distance_m, pressure_altitude_m, time_s)
                .temperature_k
        };
        self.times_s.iter().map(at).fold(f64::INFINITY, f64::min)
    }

    /// Distances along the route of the columns of nodes, leg after leg, m; where legs meet each has its own column.
    pub(super) fn columns_m(&self) -> Vec<f64> {
        let of = |leg: &LegAir| {
            let from_m = leg.from_m;
            let per_m = leg.per_m;
            (0..=leg.last.0).map(move |c| from_m + f64::from(c) / per_m)
        };
        self.legs.iter().flat_map(of).collect()
    }

    /// Pressure altitudes of the rows of nodes, the lowest first, m; of the leg that has most.
    pub(super) fn rows_m(&self) -> Vec<f64> {
        let last = self.legs.iter().map(|l| l.last.1).max().unwrap_or(0);
        (0..=last)
            .map(|r| BOTTOM_M + f64::from(r) * STEP_M)
            .collect()
    }

    /// Adds to the air at every node, at all times alike: what `more` says for its column (counted as [`RouteAir::columns_m`] counts) and row.
    ///
    /// True heights stay on the surface, whose pressure altitude \[m\] is given by distance \[m\], and change above and below it by the
    /// hydrostatic `dz = (T / T_std) dh_p`: warming by k, linear between rows, adds the integral of `k dh_p / T_std`, here row by row by
    /// Simpson's rule (T_std is linear in the troposphere).
    pub(super) fn add(
        &mut self,
        surface_m: &dyn Fn(f64) -> f64,
        more: &dyn Fn(usize, usize) -> Added,
    ) {
        let thickened = |from: (f64, f64), to: (f64, f64)| {
            let share = |hp: f64, k: f64| k / isa::temperature_k(hp);
            let middle = share(0.5 * (from.0 + to.0), 0.5 * (from.1 + to.1));
            (share(from.0, from.1) + 4.0 * middle + share(to.0, to.1)) / 6.0 * (to.0 - from.0)
        };
        let mut before = 0;
        for leg in &mut self.legs {
            let (columns, rows) = (leg.last.0 as usize + 1, leg.last.1 as usize + 1);
            for c in 0..columns {
                let added: Vec<Added> = (0..rows).map(|r| more(before + c, r)).collect();
                let warmed = added.iter().any(|a| a.temperature_k != 0.0);
                let mut heights = vec![0.0; rows];
                if warmed {
                    let kelvin = |r: usize| added[r].temperature_k;
                    let mut hp = BOTTOM_M;
                    for r in 1..rows {
                        let step = thickened((hp, kelvin(r - 1)), (hp + STEP_M, kelvin(r)));
                        heights[r] = heights[r - 1] + step;
                        hp += STEP_M;
                    }
                    #[expect(clippy::cast_precision_loss, reason = "a few hundred columns")]
                    let surface = surface_m(leg.from_m + c as f64 / leg.per_m);
                    let (r, share) = interval((surface - BOTTOM_M) / STEP_M, leg.last.1);
                    #[expect(clippy::cast_precision_loss, reason = "under 100 rows")]
                    let row_m = BOTTOM_M + STEP_M * r as f64;
                    // Beyond the table the warming of its edge is kept.
                    let there = kelvin(r) + share * (kelvin(r + 1) - kelvin(r));
                    let on_surface = heights[r] + thickened((row_m, kelvin(r)), (surface, there));
                    heights.iter_mut().for_each(|h| *h -= on_surface);
                }
                for slice in leg.nodes.chunks_mut(columns * rows) {
                    for (r, node) in slice[c * rows..][..rows].iter_mut().enumerate() {
                        node[0] += added[r].temperature_k;
                        node[1] += added[r].along_m_s;
                        node[2] += added[r].cross_m_s;
                        node[3] += heights[r];
                    }
                }
            }
            before += columns;
        }
    }

    /// Root mean square of what changes from one time to the next: of a component of the wind \[m/s\] and of the temperature \[K\], over
    /// the nodes between two pressure altitudes \[m\]. `None` of air at one time, and where no node lies between.
    pub fn change_between_times(&self, from_m: f64, to_m: f64) -> Option<(f64, f64)> {
        let (mut wind, mut temperature, mut n) = (0.0, 0.0, 0.0);
        for leg in &self.legs {
            let rows = leg.last.1 as usize + 1;
            let slices: Vec<&[Node]> = leg.nodes.chunks(leg.slice_len()).collect();
            for pair in slices.windows(2) {
                for (i, (a, b)) in pair[0].iter().zip(pair[1]).enumerate() {
                    #[expect(clippy::cast_precision_loss, reason = "under 100 rows")]
                    let hp = BOTTOM_M + STEP_M * (i % rows) as f64;
                    if (from_m..=to_m).contains(&hp) {
                        temperature += (b[0] - a[0]).powi(2);
                        wind += 0.5 * ((b[1] - a[1]).powi(2) + (b[2] - a[2]).powi(2));
                        n += 1.0;
                    }
                }
            }
        }
        (n > 0.0).then(|| ((wind / n).sqrt(), (temperature / n).sqrt()))
    }

    /// The same wind and ISA deviation everywhere on a straight route of this length: for studies and tests.
    pub fn uniform(
        length_m: f64,
        along_m_s: f64,
        cross_m_s: f64,
        isa_deviation_k: f64,
        top_m: f64,
    ) -> Self {
        Self::by_height(length_m, isa_deviation_k, top_m, |_| (along_m_s, cross_m_s))
    }

    /// Wind along and across the course [m/s] by pressure altitude \[m\], the same all along a straight route of this length, with one
    /// ISA deviation: for studies and tests.
    pub fn by_height(
        length_m: f64,
        isa_deviation_k: f64,
        top_m: f64,
        wind_m_s: impl Fn(f64) -> (f64, f64),
    ) -> Self {
        let mut column = Column::default();
        let mut hp = BOTTOM_M;
        let mut z = BOTTOM_M;
        while hp <= top_m + STEP_M {
            let t = isa::temperature_k(hp) + isa_deviation_k;
            column.temperature_k.push(t);
            let (along_m_s, cross_m_s) = wind_m_s(hp);
            column.along_m_s.push(along_m_s);
            column.cross_m_s.push(cross_m_s);
            column.true_altitude_m.push(z);
            z += STEP_M * (1.0 + isa_deviation_k / isa::temperature_k(hp + 0.5 * STEP_M));
            hp += STEP_M;
        }
        // True height is anchored at sea level, where indicated and true agree.
        let zero = BOTTOM_M.abs() * isa_deviation_k / isa::temperature_k(0.5 * BOTTOM_M);
        column.true_altitude_m.iter_mut().for_each(|z| *z -= zero);
        Self::of_legs(vec![LegAir::new(0.0, length_m, &[column.clone(), column])])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LENGTH_M: f64 = 200_000.0;
    const TOP_M: f64 = 5_000.0;

    /// Two slices an hour apart: wind 5 and 25 m/s along, -3 and 1 across, 0 and 10 K over the standard.
    fn changing() -> RouteAir {
        let early = RouteAir::uniform(LENGTH_M, 5.0, -3.0, 0.0, TOP_M);
        let late = RouteAir::uniform(LENGTH_M, 25.0, 1.0, 10.0, TOP_M);
        RouteAir::through_time(vec![(1_000.0, early), (4_600.0, late)]).expect("rising times")
    }

    #[test]
    fn closed_form_air_between_two_times_is_linear_and_held_outside() {
        let air = changing();
        assert!(!air.is_steady());
        let (s, hp) = (0.3 * LENGTH_M, 3_333.0);
        let of =
            |deviation_k| RouteAir::uniform(LENGTH_M, 0.0, 0.0, deviation_k, TOP_M).at(s, hp, 0.0);
        let (cold, warm) = (of(0.0), of(10.0));
        for (time_s, share) in [
            (-50.0, 0.0),
            (1_000.0, 0.0),
            (1_900.0, 0.25),
            (4_600.0, 1.0),
            (9e4, 1.0),
        ] {
            let a = air.at(s, hp, time_s);
            let mix = |x: f64, y: f64| x + share * (y - x);
            // Rounding of sums of a few hundred metres or kelvin.
            assert!((a.along_m_s - mix(5.0, 25.0)).abs() < 1e-12, "{time_s}");
            assert!((a.cross_m_s - mix(-3.0, 1.0)).abs() < 1e-12, "{time_s}");
            assert!((a.temperature_k - mix(cold.temperature_k, warm.temperature_k)).abs() < 1e-9);
            let z = mix(cold.true_altitude_m, warm.true_altitude_m);
            assert!((a.true_altitude_m - z).abs() < 1e-9, "{time_s}");
            assert_eq!(a.along_per_m, 0.0);
        }
    }

    #[test]
    fn closed_form_a_column_is_the_air_over_its_place() {
        // Rounding of a few hundred metres or kelvin, twice interpolated.
        const ROUNDING: f64 = 1e-9;
        let air = changing();
        let (s, t) = (0.3 * LENGTH_M, 2_000.0);
        let column = air.column(s, t);
        for hp in [-900.0, 0.0, 777.0, 3_333.0, 5_000.0, 9_000.0] {
            let (a, b) = (column.at(hp), air.at(s, hp, t));
            assert!((a.temperature_k - b.temperature_k).abs() < ROUNDING, "{hp}");
            assert!((a.along_m_s - b.along_m_s).abs() < ROUNDING, "{hp}");
            assert!((a.cross_m_s - b.cross_m_s).abs() < ROUNDING, "{hp}");
            assert!((a.along_per_m - b.along_per_m).abs() < ROUNDING, "{hp}");
            assert!(
                (a.true_altitude_m - b.true_altitude_m).abs() < ROUNDING,
                "{hp}"
            );
        }
    }

    #[test]
    fn closed_form_shear_is_blended_too() {
        let sheared =
            |per_m: f64| RouteAir::by_height(LENGTH_M, 0.0, TOP_M, move |hp| (per_m * hp, 0.0));
        let air = RouteAir::through_time(vec![(0.0, sheared(0.002)), (100.0, sheared(0.006))]);
        let at = air.expect("rising times").at(0.0, 1_000.0, 25.0);
        assert!((at.along_per_m - 0.003).abs() < 1e-12);
        assert!((at.along_m_s - 3.0).abs() < 1e-9);
    }

    #[test]
    fn closed_form_slices_must_fit() {
        let one = || RouteAir::uniform(LENGTH_M, 5.0, 0.0, 0.0, TOP_M);
        let shorter = RouteAir::uniform(0.5 * LENGTH_M, 5.0, 0.0, 0.0, TOP_M);
        let lower = RouteAir::uniform(LENGTH_M, 5.0, 0.0, 0.0, 0.5 * TOP_M);
        let with = |t: f64, air| RouteAir::through_time(vec![(0.0, one()), (t, air)]);
        assert!(RouteAir::through_time(vec![]).is_none());
        assert!(RouteAir::through_time(vec![(f64::NAN, one())]).is_none());
        assert!(with(0.0, one()).is_none() && with(f64::NAN, one()).is_none());
        assert!(with(1.0, shorter).is_none() && with(1.0, lower).is_none());
        assert!(with(1.0, changing()).is_none());
        assert!(with(1.0, one()).is_some());
        // One time is none: the air stays.
        let alone = RouteAir::through_time(vec![(7.0, one())]).expect("one");
        assert!(alone.is_steady());
        assert_eq!(alone.at(1.0, 2.0, 9.0), one().at(1.0, 2.0, 0.0));
    }
}
