//! Ground and least heights along the route.

use super::{Leg, Problem};
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::trip::Start;

/// Within this distance of either field the climb and the let-down are flown over ground in sight: see [`Problem::floor_m`].
pub const TERMINAL_M: f64 = 20.0 * M_PER_NM;
/// Height over ground in the terminal stretches, m (14 CFR 91.119(c): 500 ft over other than congested areas).
const TERMINAL_CLEARANCE_M: f64 = 500.0 * M_PER_FT;
/// What lies on either side of an edge is asked this far from it, m.
const EDGE_M: f64 = 0.01;
/// Within this distance of a field the ground under the track counts, not the highest to either side.
const FIELD_M: f64 = 10.0 * M_PER_NM;
/// It counts on the way in from this far before the pattern point, if that is farther out, m.
const BEFORE_PATTERN_M: f64 = 5.0 * M_PER_NM;
/// Nearer than this to a field its own obstacles decide, of which nothing is known here, m.
const RUNWAY_M: f64 = M_PER_NM;
/// Height over the ground under the track for each metre from the field: 48 ft in a nautical mile, the obstacle clearance of a
/// departure (FAA Aeronautical Information Manual 5-2-9, from memory); taken for the way in as well.
const OBSTACLE_SLOPE: f64 = 48.0 * M_PER_FT / M_PER_NM;

/// Ground and floor of a part of the route in which neither changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelGround {
    /// From here, m.
    pub from_m: f64,
    /// To here, m.
    pub to_m: f64,
    /// [`Problem::ground_m`], m.
    pub ground_m: Option<f64>,
    /// [`Problem::floor_m`], m.
    pub floor_m: Option<f64>,
}

impl LevelGround {
    /// Whether a distance \[m\] lies inside it.
    pub fn holds(&self, distance_m: f64) -> bool {
        self.from_m < distance_m && distance_m < self.to_m
    }
}

impl Problem {
    /// Clearance over ground \[m\].
    pub fn clearance_m(&self, mountainous: bool) -> f64 {
        if mountainous {
            self.limits.mountain_clearance_m
        } else {
            self.limits.clearance_m
        }
    }

    /// Highest ground of the stretch at a distance \[m\], if the ground of the leg is known.
    pub fn ground_m(&self, distance_m: f64) -> Option<f64> {
        highest_m(&self.legs[self.leg_index(distance_m)].ground, distance_m)
    }

    /// How far a distance \[m\] is from the departure and from the destination, m. A start in flight is no field.
    fn off_fields_m(&self, distance_m: f64) -> (f64, f64) {
        let out_m = match self.start {
            Start::Ground => distance_m,
            Start::InFlight { .. } => f64::INFINITY,
        };
        (out_m, self.length_m - distance_m)
    }

    /// How far a distance \[m\] is from the nearer field, m, where that is so near that the ground under the track counts.
    fn near_field_m(&self, distance_m: f64) -> Option<f64> {
        let (out_m, to_go) = self.off_fields_m(distance_m);
        (out_m < FIELD_M || to_go < self.way_in_m()).then_some(out_m.min(to_go))
    }

    /// Length of the way in over which the ground under the track counts, m.
    fn way_in_m(&self) -> f64 {
        FIELD_M.max(self.arrival.before_m + BEFORE_PATTERN_M)
    }

    /// Height over ground \[m\] of a true height \[m\] at a distance \[m\], by which the air is smooth or not. None is counted on where
    /// the ground is not known: there the air is taken to be that near the ground.
    pub fn above_ground_m(&self, distance_m: f64, true_altitude_m: f64) -> f64 {
        Self::above_m(self.ground_m(distance_m), true_altitude_m)
    }

    /// The same over a known ground \[m\], or one that is not.
    pub fn above_m(ground_m: Option<f64>, true_altitude_m: f64) -> f64 {
        ground_m.map_or(0.0, |ground_m| true_altitude_m - ground_m)
    }

    /// Lowest of the grounds [`Problem::ground_m`] of a part of the route \[m\]; `None` where any of it is not known.
    pub fn lowest_ground_m(&self, from_m: f64, to_m: f64) -> Option<f64> {
        let mut least = self.ground_m(from_m)?;
        for edge in self.floor_edges_m(from_m, to_m) {
            least = least.min(self.ground_m(edge)?);
        }
        Some(least)
    }

    /// Least of the heights [`Problem::floor_m`] of a part of the route \[m\]; `None` where any of it has none.
    pub fn lowest_floor_m(&self, from_m: f64, to_m: f64) -> Option<f64> {
        let mut least = self.floor_m(from_m)?.min(self.floor_m(to_m - EDGE_M)?);
        for edge in self.floor_edges_m(from_m, to_m) {
            least = least
                .min(self.floor_m(edge - EDGE_M)?)
                .min(self.floor_m(edge + EDGE_M)?);
        }
        Some(least)
    }

    /// Least true height \[m\] at a distance \[m\], in climb and let-down as well as in cruise.
    ///
    /// Beyond [`TERMINAL_M`] of both fields: ground and the clearance. Nearer: ground and 500 ft. Within 10 nm of a field, where
    /// the highest ground to either side says nothing of the way in: the ground right under the track and 48 ft for each mile from
    /// the field, where that ground is known; none in the last mile. A start in flight is no field. Where the ground is not known:
    /// none; then the least cruise altitude of the leg is all there is, and [`Note::NoTerrain`](super::Note::NoTerrain) says so.
    pub fn floor_m(&self, distance_m: f64) -> Option<f64> {
        if let Some(off_m) = self.near_field_m(distance_m) {
            let leg = &self.legs[self.leg_index(distance_m)];
            let ground = highest_m(&leg.under_track, distance_m)?;
            return (off_m >= RUNWAY_M).then_some(ground + terminal_clearance_m(off_m));
        }
        let leg = &self.legs[self.leg_index(distance_m)];
        let ground = highest_m(&leg.ground, distance_m)?;
        Some(ground + self.clearance_at_m(leg, distance_m))
    }

    /// Clearance over the highest ground of a leg at a distance \[m\] from which no field is near, m.
    fn clearance_at_m(&self, leg: &Leg, distance_m: f64) -> f64 {
        let (out_m, to_go) = self.off_fields_m(distance_m);
        if out_m < TERMINAL_M || to_go < TERMINAL_M {
            TERMINAL_CLEARANCE_M
        } else {
            self.clearance_m(leg.mountainous)
        }
    }

    /// The part of the route round a distance \[m\] in which ground and floor stay as they are; none near a field.
    pub fn level_ground(&self, distance_m: f64) -> Option<LevelGround> {
        if self.near_field_m(distance_m).is_some() {
            return None;
        }
        let leg = &self.legs[self.leg_index(distance_m)];
        let rows = &leg.ground;
        let i = rows.partition_point(|g| g.1 <= distance_m);
        let from_m = i.checked_sub(1).map_or(leg.from_m, |i| rows[i].1);
        let to_m = rows.get(i).map_or(leg.to_m, |row| row.1.min(leg.to_m));
        let ground_m = rows.get(i).or(rows.last()).map(|row| row.2);
        // On an edge the part is empty: what holds there may hold on neither side.
        let edges_m = self.field_edges_m();
        let before = edges_m.iter().filter(|&&edge_m| edge_m < distance_m);
        let beyond = edges_m.iter().filter(|&&edge_m| edge_m >= distance_m);
        Some(LevelGround {
            from_m: before.fold(from_m, |from_m, edge_m| from_m.max(*edge_m)),
            to_m: beyond.fold(to_m, |to_m, edge_m| to_m.min(*edge_m)),
            ground_m,
            floor_m: ground_m.map(|ground_m| ground_m + self.clearance_at_m(leg, distance_m)),
        })
    }

    /// A height that [`Problem::floor_m`] and the ground are nowhere above in a part of the route \[m\], quicker than asking for each; `None`
    /// near a field, and where the ground is not known.
    pub fn floor_at_most_m(&self, from_m: f64, to_m: f64) -> Option<f64> {
        if self.near_field_m(from_m).is_some() || self.near_field_m(to_m).is_some() {
            return None;
        }
        let first = self.leg_index(from_m);
        let mut most_m = f64::NEG_INFINITY;
        for leg in self.legs[first..].iter().take_while(|l| l.from_m <= to_m) {
            let rows = &leg.ground;
            let begin = rows.partition_point(|g| g.1 <= from_m.max(leg.from_m));
            let end = begin + rows[begin..].partition_point(|g| g.1 < to_m.min(leg.to_m));
            // The last row goes on to the end of the leg.
            let rows = &rows[begin.min(rows.len().checked_sub(1)?)..=end.min(rows.len() - 1)];
            let ground_m = rows.iter().map(|g| g.2).fold(f64::NEG_INFINITY, f64::max);
            most_m =
                most_m.max(ground_m + self.clearance_m(leg.mountainous).max(TERMINAL_CLEARANCE_M));
        }
        Some(most_m)
    }

    /// How far \[m\] below [`Problem::floor_m`] a straight path between two points (distance, true altitude; m) comes where it comes
    /// nearest, below zero clear of it; minus infinity where it passes over no floor. `None` for a path that makes no way, or is none.
    pub fn below_floor_m(&self, from: (f64, f64), to: (f64, f64)) -> Option<f64> {
        // What is not a number is left to who asks for the floor of a place, and found there.
        let makes_way = to.0 > from.0;
        if !(makes_way && from.1.is_finite() && to.1.is_finite()) {
            return None;
        }
        let mut most_m = f64::NEG_INFINITY;
        let mut begin_m = from.0;
        while begin_m < to.0 {
            // As far as one rule holds, and its height over the ground is straight.
            let beyond = |edge_m: &f64| *edge_m > begin_m;
            let kinks_m = [
                0.5 * self.length_m,
                self.length_m - TERMINAL_CLEARANCE_M / OBSTACLE_SLOPE,
            ];
            let edges_m = self.field_edges_m().into_iter().chain(kinks_m);
            let edges_m = edges_m.filter(beyond);
            let end_m = edges_m.fold(to.0, f64::min);
            most_m = most_m.max(self.below_one_rule_m((from, to), (begin_m, end_m)));
            begin_m = end_m;
        }
        Some(most_m)
    }

    /// The same for the part of the path between two distances \[m\] between which one rule holds.
    fn below_one_rule_m(
        &self,
        (from, to): ((f64, f64), (f64, f64)),
        (begin_m, end_m): (f64, f64),
    ) -> f64 {
        let gradient = (to.1 - from.1) / (to.0 - from.0);
        let altitude_m = |distance_m: f64| from.1 + (distance_m - from.0) * gradient;
        let middle_m = 0.5 * (begin_m + end_m);
        let near = self.near_field_m(middle_m);
        if near.is_some_and(|off_m| off_m < RUNWAY_M) {
            return f64::NEG_INFINITY;
        }
        let mut most_m = f64::NEG_INFINITY;
        let first = self.leg_index(begin_m);
        for leg in self.legs[first..].iter().take_while(|l| l.from_m < end_m) {
            let rows = if near.is_some() {
                &leg.under_track
            } else {
                &leg.ground
            };
            let clearance_m = |distance_m: f64| {
                if near.is_some() {
                    let (out_m, to_go) = self.off_fields_m(distance_m);
                    terminal_clearance_m(out_m.min(to_go))
                } else {
                    self.clearance_at_m(leg, middle_m)
                }
            };
            let below_m =
                |ground_m: f64, at_m: f64| ground_m + clearance_m(at_m) - altitude_m(at_m);
            let (mut row_from_m, end_m) = (begin_m.max(leg.from_m), end_m.min(leg.to_m));
            // The last row goes on to the end of the leg.
            let Some(last) = rows.len().checked_sub(1) else {
                continue;
            };
            let mut i = rows.partition_point(|g| g.1 <= row_from_m).min(last);
            loop {
                let row_to_m = if i == last {
                    end_m
                } else {
                    rows[i].1.min(end_m)
                };
                let ends_m = [row_from_m, row_to_m].map(|at_m| below_m(rows[i].2, at_m));
                most_m = most_m.max(ends_m[0]).max(ends_m[1]);
                if row_to_m >= end_m {
                    break;
                }
                (i, row_from_m) = (i + 1, row_to_m);
            }
        }
        most_m
    }

    /// Distances between two others \[m\] at which [`Problem::floor_m`] or the ground changes in a step, m, in no order.
    pub fn floor_edges_m(&self, from_m: f64, to_m: f64) -> impl Iterator<Item = f64> + '_ {
        let first = self.legs.partition_point(|l| l.to_m <= from_m);
        let legs = self.legs[first..]
            .iter()
            .take_while(move |l| l.from_m < to_m);
        let ends = move |rows: &'_ [(f64, f64, f64)]| {
            let first = rows.partition_point(|g| g.1 <= from_m);
            first..first + rows[first..].partition_point(|g| g.1 < to_m)
        };
        let grounds = legs.flat_map(move |l| {
            let near = self.near_field_m(from_m.max(l.from_m)).is_some()
                || self.near_field_m(to_m.min(l.to_m)).is_some();
            let under = near.then(|| &l.under_track[ends(&l.under_track)]);
            let ground = &l.ground[ends(&l.ground)];
            ground
                .iter()
                .chain(under.into_iter().flatten())
                .map(|g| g.1)
        });
        self.field_edges_m()
            .into_iter()
            .filter(move |&s| from_m < s && s < to_m)
            .chain(grounds)
    }

    /// Distances \[m\] at which another rule for the floor begins, by how far the fields are.
    fn field_edges_m(&self) -> [f64; 6] {
        [
            RUNWAY_M,
            FIELD_M,
            TERMINAL_M,
            self.length_m - TERMINAL_M,
            self.length_m - self.way_in_m(),
            self.length_m - RUNWAY_M,
        ]
    }
}

/// Height over the ground under the track \[m\] at so many metres from a field.
fn terminal_clearance_m(off_m: f64) -> f64 {
    (OBSTACLE_SLOPE * off_m).min(TERMINAL_CLEARANCE_M)
}

/// Height of the row at a distance \[m\], of rows of (from, to, height); of the last beyond them.
fn highest_m(rows: &[(f64, f64, f64)], distance_m: f64) -> Option<f64> {
    rows.get(rows.partition_point(|g| g.1 <= distance_m))
        .or(rows.last())
        .map(|g| g.2)
}
