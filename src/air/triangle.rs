//! The wind triangle: what heading holds a course, and how fast the ground goes by.
//!
//! # Conventions
//! Courses and headings are radians clockwise from true north, in `[0, 2 pi)`. Wind is given as the vector the air
//! *moves along*: `u` to the east, `v` to the north, m/s. A wind "from 270 at 20 kt" is `u = +10.3, v = 0`.
//!
//! With `V` true airspeed, `g` the flight-path angle through the air, `c` the course,
//! `along = u sin c + v cos c`, `cross = u cos c - v sin c` (positive pushes to the right of the course), then
//! `ground speed = sqrt((V cos g)^2 - cross^2) + along` and `sin(heading - course) = -cross/(V cos g)`.
//!
//! Source: plane vector addition; FAA Pilot's Handbook of Aeronautical Knowledge, navigation chapter ("The wind
//! triangle"), worked numerically in `tests/published_air.rs`.

use std::f64::consts::TAU;

/// Why a course cannot be held.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TriangleError {
    /// The cross wind is as fast as the aeroplane.
    #[error(
        "solving the wind triangle: a cross wind of {cross_m_s:.1} m/s is too strong to hold the course at \
         {air_m_s:.1} m/s through the air"
    )]
    CrossWind {
        /// Cross wind, positive to the right of the course (m/s).
        cross_m_s: f64,
        /// Horizontal speed through the air (m/s).
        air_m_s: f64,
    },
    /// The head wind is as fast as the aeroplane: it would not move forward over the ground.
    #[error(
        "solving the wind triangle: a head wind of {head_m_s:.1} m/s leaves no forward speed over the ground at \
         {air_m_s:.1} m/s through the air"
    )]
    HeadWind {
        /// Head wind (m/s).
        head_m_s: f64,
        /// Horizontal speed through the air (m/s).
        air_m_s: f64,
    },
    /// An input is not a finite number.
    #[error("solving the wind triangle: an input is not a finite number")]
    NotFinite,
}

/// A solved wind triangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Triangle {
    /// True heading that holds the course, `[0, 2 pi)` (rad).
    pub heading_rad: f64,
    /// Ground speed along the course, greater than zero (m/s).
    pub ground_speed_m_s: f64,
    /// Heading less course, positive to the right (into a wind from the right) (rad).
    pub correction_rad: f64,
    /// Wind along the course, positive when it helps (m/s).
    pub along_m_s: f64,
    /// Wind across the course, positive when it pushes to the right (m/s).
    pub cross_m_s: f64,
}

/// Wind along and across a course: `(along, cross)` (m/s), by the formulas of the module header.
pub fn along_and_cross_m_s(course_rad: f64, u_m_s: f64, v_m_s: f64) -> (f64, f64) {
    let (s, c) = course_rad.sin_cos();
    (u_m_s * s + v_m_s * c, u_m_s * c - v_m_s * s)
}

/// Vector the air moves along `(u east, v north)` (m/s) for a wind *from* a true direction (rad) at a speed (m/s).
pub fn wind_vector_m_s(from_rad: f64, speed_m_s: f64) -> (f64, f64) {
    let (s, c) = from_rad.sin_cos();
    (-speed_m_s * s, -speed_m_s * c)
}

/// True direction the wind blows from, `[0, 2 pi)` (rad), and its speed (m/s). A zero vector gives direction 0.
pub fn wind_from_vector(u_m_s: f64, v_m_s: f64) -> (f64, f64) {
    let speed_m_s = u_m_s.hypot(v_m_s);
    if speed_m_s == 0.0 {
        (0.0, 0.0)
    } else {
        (wrap_rad((-u_m_s).atan2(-v_m_s)), speed_m_s)
    }
}

/// Heading and ground speed that hold `course_rad` at a true airspeed (m/s) and a flight-path angle [rad, positive
/// in a climb; its sign does not matter here].
///
/// # Errors
/// [`TriangleError::CrossWind`] when no heading holds the course, [`TriangleError::HeadWind`] when one does but the
/// ground speed is not forward, [`TriangleError::NotFinite`] for NaN or infinite input.
pub fn hold_course(
    course_rad: f64,
    tas_m_s: f64,
    flight_path_rad: f64,
    u_m_s: f64,
    v_m_s: f64,
) -> Result<Triangle, TriangleError> {
    let air_m_s = tas_m_s * flight_path_rad.cos();
    let (along_m_s, cross_m_s) = along_and_cross_m_s(course_rad, u_m_s, v_m_s);
    if !(air_m_s.is_finite() && along_m_s.is_finite() && cross_m_s.is_finite()) {
        return Err(TriangleError::NotFinite);
    }
    if cross_m_s.abs() >= air_m_s {
        return Err(TriangleError::CrossWind { cross_m_s, air_m_s });
    }
    let ground_speed_m_s = ((air_m_s - cross_m_s) * (air_m_s + cross_m_s)).sqrt() + along_m_s;
    if ground_speed_m_s <= 0.0 {
        return Err(TriangleError::HeadWind {
            head_m_s: -along_m_s,
            air_m_s,
        });
    }
    let correction_rad = -(cross_m_s / air_m_s).asin();
    Ok(Triangle {
        heading_rad: wrap_rad(course_rad + correction_rad),
        ground_speed_m_s,
        correction_rad,
        along_m_s,
        cross_m_s,
    })
}

/// Track [rad, `[0, 2 pi)`] and ground speed (m/s) of an aeroplane that holds a *heading*.
pub fn hold_heading(
    heading_rad: f64,
    tas_m_s: f64,
    flight_path_rad: f64,
    u_m_s: f64,
    v_m_s: f64,
) -> (f64, f64) {
    let air_m_s = tas_m_s * flight_path_rad.cos();
    let (s, c) = heading_rad.sin_cos();
    let (east, north) = (air_m_s * s + u_m_s, air_m_s * c + v_m_s);
    (wrap_rad(east.atan2(north)), east.hypot(north))
}

/// An angle in `[0, 2 pi)` (rad).
pub fn wrap_rad(angle_rad: f64) -> f64 {
    let wrapped = angle_rad.rem_euclid(TAU);
    // rem_euclid rounds a tiny negative angle up to the modulus itself
    if wrapped >= TAU { 0.0 } else { wrapped }
}
