//! Places on the sphere as unit vectors: distances, and the turning of the meridians.

/// Mean radius of the Earth (m) (IUGG). Source: IUGG mean radius R1, 6,371,008.77 m.
const EARTH_RADIUS_M: f64 = 6_371_008.8;

/// A position as a unit vector, so that distance needs no trigonometry per station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct UnitVector([f64; 3]);

impl UnitVector {
    pub(super) fn new(lat_deg: f64, lon_deg: f64) -> UnitVector {
        let (slat, clat) = lat_deg.to_radians().sin_cos();
        let (slon, clon) = lon_deg.to_radians().sin_cos();
        UnitVector([clat * clon, clat * slon, slat])
    }

    pub(super) fn dot(self, other: UnitVector) -> f64 {
        (0..3).map(|i| self.0[i] * other.0[i]).sum()
    }

    /// Unit vectors to the east and to the north; at a pole those of the meridian of Greenwich.
    pub(super) fn east_north(self) -> (UnitVector, UnitVector) {
        let [x, y, z] = self.0;
        let r = x.hypot(y);
        let (sin, cos) = if r > 0.0 { (y / r, x / r) } else { (0.0, 1.0) };
        (
            UnitVector([-sin, cos, 0.0]),
            UnitVector([-z * cos, -z * sin, r]),
        )
    }

    /// Square of the straight chord between two points of the unit sphere.
    pub(super) fn chord2(self, other: UnitVector) -> f64 {
        (0..3).map(|i| (self.0[i] - other.0[i]).powi(2)).sum()
    }
}

/// Great-circle distance (m) that belongs to a squared chord.
pub(super) fn arc_m(chord2: f64) -> f64 {
    2.0 * EARTH_RADIUS_M * (chord2.sqrt() / 2.0).min(1.0).asin()
}

/// Squared chord of a great-circle distance (m).
pub(super) fn chord2_of(arc_m: f64) -> f64 {
    (2.0 * (arc_m / (2.0 * EARTH_RADIUS_M)).sin()).powi(2)
}

/// Cosine and sine of the angle between the meridians of two places: what east and north there must be turned by to be east
/// and north here.
pub(super) fn turn(there: UnitVector, here: UnitVector) -> (f64, f64) {
    let (east, _) = there.east_north();
    let (east_here, north_here) = here.east_north();
    // the east of the one place, laid flat at the other
    let (x, y) = (east.dot(east_here), east.dot(north_here));
    let r = x.hypot(y);
    if r > 0.0 { (x / r, y / r) } else { (1.0, 0.0) }
}
