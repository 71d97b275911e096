//! Grid points in rows, and the cell that holds a place.

use super::sphere::{UnitVector, arc_m};

/// By how much of a cell a place may miss it: the sides of neighbouring cells are the same great circle but for rounding.
const CELL_SLACK: f64 = 1e-6;
/// Squared chord by which two grid points are one place: a tenth of a metre.
const SAME_PLACE: f64 = 1e-16;
/// Steps of Newton's rule in a cell; from its middle three are enough, a slanted one takes a few more.
const NEWTON_STEPS: usize = 8;

/// Grid points in rows.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mesh {
    /// Length of a row.
    pub(super) width: usize,
    /// Position of each grid point, row after row.
    pub(super) points: Vec<UnitVector>,
    /// Its column, if it has one: a point under the model's ground at every level has none.
    pub(super) columns: Vec<Option<usize>>,
}

impl Mesh {
    fn rows(&self) -> usize {
        self.points.len() / self.width
    }

    /// The grid point nearest to a place.
    fn nearest(&self, point: UnitVector) -> usize {
        let dots = self.points.iter().map(|p| p.dot(point)).enumerate();
        dots.max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0, |(i, _)| i)
    }

    pub(super) fn nearest_m(&self, point: UnitVector) -> f64 {
        let nearest = self.nearest(point);
        self.points
            .get(nearest)
            .map_or(f64::INFINITY, |p| arc_m(p.chord2(point)))
    }

    /// The corners of the cell that holds a place, with their weights.
    pub(super) fn around(&self, point: UnitVector) -> Option<[(usize, f64); 4]> {
        // The nearest point is a corner of the cell, or in a slanted cell one of the next ones. At a pole of the grid a whole row is
        // one place, and as near.
        let nearest = self.points.get(self.nearest(point))?.chord2(point);
        let as_near = |p: &UnitVector| p.chord2(point) <= nearest + SAME_PLACE;
        let cells = |at: usize, count: usize| at.saturating_sub(2)..(at + 2).min(count - 1);
        let frame = point.east_north();
        let mut best: Option<([usize; 4], (f64, f64), f64)> = None;
        for (node, _) in self.points.iter().enumerate().filter(|p| as_near(p.1)) {
            let (row, column) = (node / self.width, node % self.width);
            for j in cells(row, self.rows()) {
                for i in cells(column, self.width) {
                    let low = j * self.width + i;
                    let corners = [low, low + 1, low + self.width, low + self.width + 1];
                    let Some((s, t)) = self.in_cell(point, frame, corners) else {
                        continue;
                    };
                    let outside = [-s, s - 1.0, -t, t - 1.0].into_iter().fold(0.0, f64::max);
                    if best.is_none_or(|(_, _, least)| outside < least) {
                        best = Some((corners, (s, t), outside));
                    }
                }
            }
        }
        let (corners, (s, t), outside) = best?;
        if outside > CELL_SLACK {
            return None;
        }
        let (s, t) = (s.clamp(0.0, 1.0), t.clamp(0.0, 1.0));
        let weights = [(1.0 - s) * (1.0 - t), s * (1.0 - t), (1.0 - s) * t, s * t];
        Some(std::array::from_fn(|k| (corners[k], weights[k])))
    }

    /// Where in a cell a place is, (0, 0) to (1, 1) inside it: the bilinear map of the corners, inverted by Newton's rule on the
    /// gnomonic plane that touches the Earth there.
    fn in_cell(
        &self,
        point: UnitVector,
        (east, north): (UnitVector, UnitVector),
        corners: [usize; 4],
    ) -> Option<(f64, f64)> {
        let mut flat = [[0.0; 2]; 4];
        for (at, corner) in flat.iter_mut().zip(corners) {
            let p = *self.points.get(corner)?;
            let up = p.dot(point);
            // more than 60 degrees away is no corner of a cell that holds the place
            if up < 0.5 {
                return None;
            }
            *at = [p.dot(east) / up, p.dot(north) / up];
        }
        let [a, b, c, d] = flat;
        let (mut s, mut t) = (0.5, 0.5);
        for _ in 0..NEWTON_STEPS {
            let of = |k: usize| {
                let value =
                    (1.0 - t) * ((1.0 - s) * a[k] + s * b[k]) + t * ((1.0 - s) * c[k] + s * d[k]);
                let by_s = (1.0 - t) * (b[k] - a[k]) + t * (d[k] - c[k]);
                let by_t = (1.0 - s) * (c[k] - a[k]) + s * (d[k] - b[k]);
                (value, by_s, by_t)
            };
            let ((x, xs, xt), (y, ys, yt)) = (of(0), of(1));
            let det = xs * yt - xt * ys;
            if det == 0.0 {
                return None;
            }
            s -= (x * yt - y * xt) / det;
            t -= (y * xs - x * ys) / det;
        }
        (s.is_finite() && t.is_finite()).then_some((s, t))
    }
}
