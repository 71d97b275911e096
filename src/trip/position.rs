//! Where on the Earth a distance along the route is.

use super::Problem;
use crate::earth::place::Position;

impl Problem {
    /// The place \[WGS 84\] at a distance \[m\] along the route, on the shortest line of its leg; the distance is clamped to the route.
    ///
    /// # Panics
    /// If the problem has no leg, which [`super::resolve`] refuses.
    pub fn position(&self, distance_m: f64) -> Position {
        let after = |l: &&super::Leg| distance_m <= l.to_m;
        let leg = self.legs.iter().find(after).or(self.legs.last());
        let leg = leg.expect("a route has a leg");
        leg.line.point_at(distance_m - leg.from_m)
    }
}
