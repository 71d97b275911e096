//! Volumes that a flight keeps out of: areas on the map between two heights, cut by a leg.

use geo::{Contains, LineString, Point, Polygon};

use super::geodesic::Leg;
use super::terrain::{radii_m, within};
use crate::quantity::M_PER_NM;

/// A leg is cut in chords of at most this length, m: less than a metre from the shortest line at any latitude up to 85 degrees.
const CHORD_M: f64 = M_PER_NM;
/// The margin is taken this much larger, since it is measured on a plane.
const MARGIN_FACTOR: f64 = 1.005;
/// Cuts nearer than this are one, m.
const SAME_M: f64 = 1.0;

/// An area on the map with holes, between two heights.
#[derive(Debug, Clone, PartialEq)]
pub struct Volume {
    /// What it is called.
    pub name: String,
    /// Its parts.
    pub areas: Vec<Area>,
    /// Bottom, m indicated; minus infinity from the ground up.
    pub lower_m: f64,
    /// Top, m indicated; infinite without a top.
    pub upper_m: f64,
}

/// A polygon on the map: its sides are straight in longitude and latitude (RFC 7946, section 3.1.1).
#[derive(Debug, Clone, PartialEq)]
pub struct Area {
    polygon: Polygon<f64>,
    /// Least and greatest longitude and latitude, deg.
    bounds: [[f64; 2]; 2],
}

/// Why a polygon is none.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AreaError {
    /// Fewer than three corners.
    #[error("ring {ring} has {corners} corner(s), and an area needs at least 3")]
    TooFewCorners {
        /// Ring, from 1; the first is the outline.
        ring: usize,
        /// Different corners.
        corners: usize,
    },
    /// Its end is not its beginning.
    #[error(
        "ring {ring} is not closed: it begins at {first:?} and ends at {last:?} (longitude, latitude)"
    )]
    Open {
        /// Ring, from 1.
        ring: usize,
        /// First position.
        first: [f64; 2],
        /// Last position.
        last: [f64; 2],
    },
    /// A position that is none.
    #[error(
        "ring {ring} has the position {at:?}: longitude must be in -360..=360 and latitude in -90..=90 deg, longitude first"
    )]
    Position {
        /// Ring, from 1.
        ring: usize,
        /// The position.
        at: [f64; 2],
    },
    /// It goes round a pole.
    #[error("ring {ring} goes round a pole: cut it along a meridian into parts")]
    Pole {
        /// Ring, from 1.
        ring: usize,
    },
}

impl Area {
    /// An area from its rings of (longitude, latitude) in degrees, the outline first, then holes; the last position of each ring repeats its
    /// first. A side longer than half a turn is taken to cross the 180th meridian.
    ///
    /// # Errors
    /// [`AreaError`] with the ring that is wrong.
    pub fn new(rings: &[Vec<[f64; 2]>]) -> Result<Self, AreaError> {
        let mut closed = Vec::with_capacity(rings.len().max(1));
        for (i, given) in rings.iter().enumerate() {
            closed.push(ring(i + 1, given)?);
        }
        let mut closed = closed.into_iter();
        let Some(outline) = closed.next() else {
            return Err(AreaError::TooFewCorners {
                ring: 1,
                corners: 0,
            });
        };
        // Holes on the side of the 180th meridian where the outline is.
        let middle = |r: &[[f64; 2]]| r.iter().map(|p| p[0]).sum::<f64>() / r.len() as f64;
        let here = middle(&outline);
        let holes = closed.map(|mut hole| {
            let turns = ((here - middle(&hole)) / 360.0).round();
            hole.iter_mut().for_each(|p| p[0] += 360.0 * turns);
            LineString::from(hole)
        });
        let mut bounds = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
        for p in &outline {
            for axis in 0..2 {
                bounds[0][axis] = bounds[0][axis].min(p[axis]);
                bounds[1][axis] = bounds[1][axis].max(p[axis]);
            }
        }
        let holes = holes.collect();
        Ok(Self {
            polygon: Polygon::new(LineString::from(outline), holes),
            bounds,
        })
    }

    /// The parts of a chord, from 0 to 1, in the area or within a margin \[m\] of it, in no order; ends are (longitude, latitude).
    fn parts(&self, a: [f64; 2], b: [f64; 2], margin_m: f64, out: &mut Vec<(f64, f64)>) {
        let (meridian_m, parallel_m) = radii_m((0.5 * (a[1] + b[1])).to_radians());
        let scale = [parallel_m.to_radians().max(1.0), meridian_m.to_radians()];
        let outside = (0..2).any(|axis| {
            let margin = margin_m / scale[axis];
            a[axis].max(b[axis]) < self.bounds[0][axis] - margin
                || a[axis].min(b[axis]) > self.bounds[1][axis] + margin
        });
        if outside {
            return;
        }
        let on_plane = |p: [f64; 2]| [(p[0] - a[0]) * scale[0], (p[1] - a[1]) * scale[1]];
        let along = on_plane(b);
        let mut cuts = vec![0.0, 1.0];
        for ring in std::iter::once(self.polygon.exterior()).chain(self.polygon.interiors()) {
            for side in ring.lines() {
                let ends = (on_plane(side.start.into()), on_plane(side.end.into()));
                let Some((lo, hi)) = within(ends, margin_m, [0.0, 0.0], along) else {
                    continue;
                };
                let (lo, hi) = (lo.max(0.0), hi.min(1.0));
                if lo > hi {
                    continue;
                }
                cuts.extend([lo, hi]);
                if margin_m > 0.0 {
                    out.push((lo, hi));
                }
            }
        }
        cuts.sort_by(f64::total_cmp);
        for pair in cuts.windows(2) {
            let t = 0.5 * (pair[0] + pair[1]);
            let middle = Point::new(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]));
            if pair[1] > pair[0] && self.polygon.contains(&middle) {
                out.push((pair[0], pair[1]));
            }
        }
    }
}

/// A ring without jumps at the 180th meridian.
fn ring(number: usize, given: &[[f64; 2]]) -> Result<Vec<[f64; 2]>, AreaError> {
    for &at in given {
        if !(at[0].abs() <= 360.0 && at[1].abs() <= 90.0) {
            return Err(AreaError::Position { ring: number, at });
        }
    }
    let (Some(&first), Some(&last)) = (given.first(), given.last()) else {
        return Err(AreaError::TooFewCorners {
            ring: number,
            corners: 0,
        });
    };
    if first != last {
        return Err(AreaError::Open {
            ring: number,
            first,
            last,
        });
    }
    if given.len() < 4 {
        return Err(AreaError::TooFewCorners {
            ring: number,
            corners: given.len() - 1,
        });
    }
    let mut out: Vec<[f64; 2]> = Vec::with_capacity(given.len());
    for &[lon, lat] in given {
        let before = out.last().map_or(lon, |p| p[0]);
        let turns = ((before - lon) / 360.0).round();
        out.push([lon + 360.0 * turns, lat]);
    }
    if out.last().map(|p| p[0]) != out.first().map(|p| p[0]) {
        return Err(AreaError::Pole { ring: number });
    }
    Ok(out)
}

impl Volume {
    /// The stretches of a leg over or under the volume or within a margin \[m\] of it: (from, to), m from the start of the leg, in
    /// order and apart. What only touches it has no length and is left out.
    pub fn stretches_m(&self, leg: &Leg, margin_m: f64) -> Vec<(f64, f64)> {
        let length_m = leg.distance_m();
        let count = leg.pieces(CHORD_M);
        let mut found: Vec<(f64, f64)> = Vec::new();
        let at = |i: u32| {
            let p = leg.point_at(length_m * f64::from(i) / f64::from(count));
            [p.lon_deg(), p.lat_deg()]
        };
        let mut a = at(0);
        for i in 0..count {
            let mut b = at(i + 1);
            b[0] += 360.0 * ((a[0] - b[0]) / 360.0).round();
            let mut parts = Vec::new();
            for area in &self.areas {
                for turn in [-720.0, -360.0, 0.0, 360.0, 720.0] {
                    let shifted = |p: [f64; 2]| [p[0] + turn, p[1]];
                    area.parts(shifted(a), shifted(b), margin_m * MARGIN_FACTOR, &mut parts);
                }
            }
            let along_m = |t: f64| length_m * (f64::from(i) + t) / f64::from(count);
            found.extend(parts.into_iter().map(|(lo, hi)| (along_m(lo), along_m(hi))));
            a = at(i + 1);
        }
        found.sort_by(|x, y| x.0.total_cmp(&y.0));
        let mut apart: Vec<(f64, f64)> = Vec::new();
        for (lo, hi) in found {
            match apart.last_mut() {
                Some(last) if lo <= last.1 + SAME_M => last.1 = last.1.max(hi),
                _ => apart.push((lo, hi)),
            }
        }
        apart.retain(|(lo, hi)| hi > lo);
        apart
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::earth::Position;
    use crate::earth::geodesic::distance_m;

    /// Chords of a mile against the shortest line, and sides straight in degrees: metres.
    const NEAR_M: f64 = 5.0;

    fn rectangle(west: f64, east: f64, south: f64, north: f64) -> Vec<[f64; 2]> {
        vec![
            [west, south],
            [east, south],
            [east, north],
            [west, north],
            [west, south],
        ]
    }

    fn volume(rings: &[Vec<[f64; 2]>]) -> Volume {
        Volume {
            name: "test".into(),
            areas: vec![Area::new(rings).expect("an area")],
            lower_m: 0.0,
            upper_m: 1_000.0,
        }
    }

    fn place(lat: f64, lon: f64) -> Position {
        Position::new(lat, lon).expect("a place")
    }

    fn meet(found: &[(f64, f64)], expected: &[(f64, f64)], within_m: f64) {
        assert_eq!(found.len(), expected.len(), "{found:?} {expected:?}");
        for (f, e) in found.iter().zip(expected) {
            assert!(
                (f.0 - e.0).abs() < within_m && (f.1 - e.1).abs() < within_m,
                "{found:?} {expected:?}"
            );
        }
    }

    #[test]
    fn closed_form_along_a_meridian_through_an_area_with_a_hole() {
        let v = volume(&[
            rectangle(9.0, 11.0, 41.0, 44.0),
            rectangle(9.5, 10.5, 42.0, 43.0),
        ]);
        let leg = Leg::new(place(40.0, 10.0), place(45.0, 10.0)).expect("a leg");
        let north_m = |lat: f64| distance_m(place(40.0, 10.0), place(lat, 10.0));
        let expected = [
            (north_m(41.0), north_m(42.0)),
            (north_m(43.0), north_m(44.0)),
        ];
        meet(&v.stretches_m(&leg, 0.0), &expected, NEAR_M);
        // With a margin of 5 nm each end moves by that, the margin being taken 0.5 % larger.
        let wider = 5.0 * M_PER_NM * MARGIN_FACTOR;
        let expected = expected.map(|(a, b)| (a - wider, b + wider));
        meet(
            &v.stretches_m(&leg, 5.0 * M_PER_NM),
            &expected,
            0.002 * wider + NEAR_M,
        );
    }

    #[test]
    fn closed_form_margin_beside_an_area() {
        let v = volume(&[rectangle(10.2, 11.0, 41.0, 44.0)]);
        let leg = Leg::new(place(40.0, 10.0), place(45.0, 10.0)).expect("a leg");
        assert_eq!(v.stretches_m(&leg, 0.0), []);
        // 0.2 degrees are 9.1 nm at 41 N and 8.6 at 44 N.
        assert_eq!(v.stretches_m(&leg, 8.0 * M_PER_NM), []);
        assert_eq!(v.stretches_m(&leg, 9.5 * M_PER_NM).len(), 1);
    }

    #[test]
    fn closed_form_area_across_the_180th_meridian() {
        let leg = Leg::new(place(0.0, 178.0), place(0.0, -178.0)).expect("a leg");
        let east_m = |deg: f64| distance_m(place(0.0, 178.0), place(0.0, deg));
        let expected = [(east_m(179.0), east_m(-179.5))];
        // Written with a jump, past 180 degrees, and before -180.
        for (west, east) in [(179.0, -179.5), (179.0, 180.5), (-181.0, -179.5)] {
            let v = volume(&[rectangle(west, east, -1.0, 1.0)]);
            meet(&v.stretches_m(&leg, 0.0), &expected, NEAR_M);
        }
        // Two halves that meet there are one stretch (RFC 7946, section 3.1.9).
        let mut v = volume(&[rectangle(179.0, 180.0, -1.0, 1.0)]);
        let other = Area::new(&[rectangle(-180.0, -179.5, -1.0, 1.0)]).expect("an area");
        v.areas.push(other);
        meet(&v.stretches_m(&leg, 0.0), &expected, NEAR_M);
        // A hole on the other side of the jump from where the outline begins.
        let v = volume(&[
            rectangle(179.0, -179.0, -1.0, 1.0),
            rectangle(-179.8, -179.5, -0.5, 0.5),
        ]);
        let expected = [
            (east_m(179.0), east_m(-179.8)),
            (east_m(-179.5), east_m(-179.0)),
        ];
        meet(&v.stretches_m(&leg, 0.0), &expected, NEAR_M);
    }

    #[test]
    fn closed_form_what_is_no_area() {
        let of = |rings: &[Vec<[f64; 2]>]| Area::new(rings).expect_err("no area");
        assert!(matches!(
            of(&[]),
            AreaError::TooFewCorners { corners: 0, .. }
        ));
        assert!(matches!(
            of(&[vec![[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]]]),
            AreaError::TooFewCorners { corners: 2, .. }
        ));
        let mut open = rectangle(0.0, 1.0, 0.0, 1.0);
        open.pop();
        assert!(matches!(of(&[open]), AreaError::Open { ring: 1, .. }));
        let swapped = rectangle(40.0, 41.0, -105.0, -104.0);
        assert!(matches!(of(&[swapped]), AreaError::Position { .. }));
        let nan = vec![[0.0, 0.0], [f64::NAN, 0.0], [1.0, 1.0], [0.0, 0.0]];
        assert!(matches!(of(&[nan]), AreaError::Position { .. }));
        let cap: Vec<[f64; 2]> = (0..=6)
            .map(|i| [(f64::from(i % 6) * 60.0 + 540.0) % 360.0 - 180.0, 80.0])
            .collect();
        assert!(matches!(of(&[cap]), AreaError::Pole { .. }));
    }
}
