//! Distances, courses and points along shortest lines on the WGS 84 ellipsoid.
//!
//! Source: C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013), as implemented by the `geo` crate; checked
//! to 1 mm against that author's test cases in `tests/published_earth.rs`.

use std::f64::consts::{PI, TAU};

use geo::{Bearing, Destination, Distance, Geodesic, Point};

use super::place::Position;

/// Shortest leg that has a course: 1 m. Below this a course would be noise of the coordinates' last digits.
pub const SHORTEST_LEG_M: f64 = 1.0;

/// Why a leg could not be made.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum GeodesicError {
    /// The two ends are the same place, so that the leg has no course.
    #[error(
        "measuring a leg: its two ends, at {lat_deg:.5} {lon_deg:.5} deg, are {distance_m:.3} m apart, so it has no course"
    )]
    ZeroLength {
        /// Latitude of the start (deg).
        lat_deg: f64,
        /// Longitude of the start (deg).
        lon_deg: f64,
        /// Distance between the ends (m).
        distance_m: f64,
    },
}

fn point(p: Position) -> Point<f64> {
    Point::new(p.lon_deg(), p.lat_deg())
}

/// Length of the shortest line between two places on the ellipsoid (m); zero for the same place.
pub fn distance_m(a: Position, b: Position) -> f64 {
    Geodesic.distance(point(a), point(b))
}

/// The place reached from `start` on the initial course (rad) after a distance (m); a negative distance goes backwards.
pub fn destination(start: Position, course_rad: f64, distance_m: f64) -> Position {
    if !(course_rad.is_finite() && distance_m.is_finite()) {
        return start;
    }
    let end = Geodesic.destination(point(start), course_rad.to_degrees(), distance_m);
    Position::wrapped(end.y(), end.x())
}

/// The shortest line between two places, at least [`SHORTEST_LEG_M`] apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leg {
    start: Position,
    end: Position,
    distance_m: f64,
    course_start_rad: f64,
}

impl Leg {
    /// Measures the leg from `start` to `end`.
    ///
    /// # Errors
    /// [`GeodesicError::ZeroLength`] when the ends are less than 1 m apart; [`distance_m`] has no such limit.
    pub fn new(start: Position, end: Position) -> Result<Leg, GeodesicError> {
        let distance_m = distance_m(start, end);
        if distance_m < SHORTEST_LEG_M {
            let (lat_deg, lon_deg) = (start.lat_deg(), start.lon_deg());
            return Err(GeodesicError::ZeroLength {
                lat_deg,
                lon_deg,
                distance_m,
            });
        }
        let course_start_rad = Geodesic.bearing(point(start), point(end)).to_radians();
        Ok(Leg {
            start,
            end,
            distance_m,
            course_start_rad,
        })
    }

    /// A leg of this length (m, at least [`SHORTEST_LEG_M`], at most a quarter of the Earth) north from the equator, for a flight at no
    /// place in particular.
    pub(crate) fn nowhere(distance_m: f64) -> Leg {
        let start = Position::wrapped(0.0, 0.0);
        Leg {
            start,
            end: destination(start, 0.0, distance_m),
            distance_m,
            course_start_rad: 0.0,
        }
    }

    /// Start of the leg.
    pub fn start(&self) -> Position {
        self.start
    }

    /// End of the leg.
    pub fn end(&self) -> Position {
        self.end
    }

    /// Length (m), at least [`SHORTEST_LEG_M`].
    pub fn distance_m(&self) -> f64 {
        self.distance_m
    }

    /// How many equal pieces it makes that are no longer than this (m); at least one.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "not negative; half the Earth by the metre at most, and the cast saturates"
    )]
    pub fn pieces(&self, longest_m: f64) -> u32 {
        (self.distance_m / longest_m).ceil().max(1.0) as u32
    }

    /// True course at the start, `[0, 2 pi)` (rad).
    pub fn course_start_rad(&self) -> f64 {
        wrap_rad(self.course_start_rad)
    }

    /// True course half-way, `[0, 2 pi)` (rad).
    pub fn course_mid_rad(&self) -> f64 {
        self.course_at_rad(self.distance_m / 2.0)
    }

    /// True course at the end, `[0, 2 pi)` (rad).
    pub fn course_end_rad(&self) -> f64 {
        let back = Geodesic
            .bearing(point(self.end), point(self.start))
            .to_radians();
        wrap_rad(back + PI)
    }

    /// True course at a distance (m) from the start, `[0, 2 pi)` (rad); the distance is clamped to the leg.
    ///
    /// It is the bearing to whichever end is farther, so it is never taken over less than half the leg.
    pub fn course_at_rad(&self, along_m: f64) -> f64 {
        if along_m.is_nan() || along_m <= 0.0 {
            self.course_start_rad()
        } else if along_m >= self.distance_m {
            self.course_end_rad()
        } else {
            let here = point(self.point_at(along_m));
            let course_rad = if along_m < self.distance_m / 2.0 {
                Geodesic.bearing(here, point(self.end)).to_radians()
            } else {
                Geodesic.bearing(here, point(self.start)).to_radians() + PI
            };
            wrap_rad(course_rad)
        }
    }

    /// Place at a distance (m) from the start; the distance is clamped to the leg, whose ends come back exactly.
    pub fn point_at(&self, along_m: f64) -> Position {
        if along_m.is_nan() || along_m <= 0.0 {
            self.start
        } else if along_m >= self.distance_m {
            self.end
        } else {
            destination(self.start, self.course_start_rad, along_m)
        }
    }
}

/// A course in `[0, 2 pi)` (rad).
fn wrap_rad(course_rad: f64) -> f64 {
    let wrapped = course_rad.rem_euclid(TAU);
    // rem_euclid rounds a tiny negative angle up to the modulus itself
    if wrapped >= TAU { 0.0 } else { wrapped }
}
