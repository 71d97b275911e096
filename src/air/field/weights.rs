//! Between stations: rule 2 of [`super`].

use super::sphere::{UnitVector, arc_m, chord2_of};
use super::{SURFACE_FULL_M, SURFACE_NONE_M};

/// Stations nearer than this (m) are taken to be at the point.
const AT_STATION_M: f64 = 1.0;

/// Weighted mean as the first value plus the mean of the differences to it, so that equal values come back exactly.
pub(super) struct Mean<const N: usize> {
    first: Option<[f64; N]>,
    weight: f64,
    sum: [f64; N],
}

impl<const N: usize> Mean<N> {
    pub(super) fn new() -> Self {
        Mean {
            first: None,
            weight: 0.0,
            sum: [0.0; N],
        }
    }

    pub(super) fn add(&mut self, weight: f64, value: [f64; N]) {
        let first = *self.first.get_or_insert(value);
        self.weight += weight;
        for i in 0..N {
            self.sum[i] += weight * (value[i] - first[i]);
        }
    }

    pub(super) fn get(&self) -> Option<[f64; N]> {
        let first = self.first?;
        if self.weight <= 0.0 {
            return None;
        }
        Some(std::array::from_fn(|i| {
            first[i] + self.sum[i] / self.weight
        }))
    }
}

/// Franke-Little weight of a station at `distance_m`, zero from `radius_m` on (1/m^2).
fn weight(distance_m: f64, radius_m: f64) -> f64 {
    let d = distance_m.max(AT_STATION_M);
    ((radius_m - d).max(0.0) / (radius_m * d)).powi(2)
}

/// Indices and weights of the places within `radius_m`; only those at the point, if there are any.
pub(super) fn near(
    point: UnitVector,
    radius_m: f64,
    places: impl Iterator<Item = UnitVector>,
) -> Vec<(usize, f64, f64)> {
    let limit = chord2_of(radius_m);
    let mut found: Vec<(usize, f64, f64)> = Vec::new();
    for (i, place) in places.enumerate() {
        let chord2 = point.chord2(place);
        if chord2 < limit {
            let d = arc_m(chord2);
            let w = weight(d, radius_m);
            if w > 0.0 {
                found.push((i, d, w));
            }
        }
    }
    if found.iter().any(|&(_, d, _)| d <= AT_STATION_M) {
        found.retain(|&(_, d, _)| d <= AT_STATION_M);
    }
    found
}

/// Smooth step from 1 at `full` to 0 at `none`.
pub(super) fn fade(distance_m: f64) -> f64 {
    let x = ((SURFACE_NONE_M - distance_m) / (SURFACE_NONE_M - SURFACE_FULL_M)).clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}
