//! Why a field could not be built or read.

use super::{Datum, STATION_RADIUS_M};
use crate::quantity::{M_PER_FT, M_PER_NM};

/// Why a field could not be built or read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FieldError {
    /// No station has a forecast level.
    #[error("building the wind field: no station has a forecast level")]
    NoForecast,
    /// A station's position or one of its values is not a usable number.
    #[error(
        "building the wind field: station {station}: {what} = {value} is not in the required range of {least}..={greatest}"
    )]
    OutOfRange {
        /// Station name.
        station: String,
        /// What was out of range, with its unit.
        what: &'static str,
        /// The value given.
        value: f64,
        /// Least value allowed.
        least: f64,
        /// Greatest value allowed.
        greatest: f64,
    },
    /// Two values at the same height of one column.
    #[error("building the wind field: station {station}: two values at {height_m:.1} m")]
    SameHeight {
        /// Station name.
        station: String,
        /// The height (m).
        height_m: f64,
    },
    /// Pressure-altitude levels lie below true-altitude levels in one column.
    #[error(
        "building the wind field: station {station}: pressure-altitude level {pressure_m:.1} m is not above true-altitude level {true_m:.1} m"
    )]
    DatumOrder {
        /// Station name.
        station: String,
        /// Lowest pressure-altitude level (m).
        pressure_m: f64,
        /// Highest true-altitude level (m).
        true_m: f64,
    },
    /// The point asked for is not a usable number.
    #[error(
        "reading the wind field: the point is not finite, or its latitude is not in the required range of -90..=90 deg"
    )]
    BadPoint,
    /// No station with a forecast within [`STATION_RADIUS_M`].
    #[error("the nearest station of the winds, {station}, is {:.0} nm away, and {:.0} nm is the limit; give winds for a place near there", distance_m / M_PER_NM, STATION_RADIUS_M / M_PER_NM)]
    TooFar {
        /// Nearest station.
        station: String,
        /// Its distance (m).
        distance_m: f64,
        /// Latitude asked for (deg).
        lat_deg: f64,
        /// Longitude asked for (deg).
        lon_deg: f64,
    },
    /// No cell of the mesh holds the point.
    #[error("the grid of the winds does not reach there; its nearest point is {:.0} nm away; give winds of a wider area", distance_m / M_PER_NM)]
    OffMesh {
        /// Distance of the nearest grid point (m).
        distance_m: f64,
        /// Latitude asked for (deg).
        lat_deg: f64,
        /// Longitude asked for (deg).
        lon_deg: f64,
    },
    /// No corner of the cell has a level above the model's ground.
    #[error(
        "no grid point around there has a level above the ground of the model; give other winds"
    )]
    Hole {
        /// Latitude asked for (deg).
        lat_deg: f64,
        /// Longitude asked for (deg).
        lon_deg: f64,
    },
    /// The columns given are no mesh.
    #[error(
        "building the wind field: {count} grid points do not make rows of {width}, at least 2 by 2"
    )]
    NoMesh {
        /// Number of grid points.
        count: usize,
        /// Length of a row.
        width: usize,
    },
    /// The point is above the highest level of every station near it.
    #[error(
        "{:.0} ft is above the highest forecast level there, {:.0} ft; give winds for a higher level, or a lower greatest altitude (limits.max_altitude_ft): the air is read up to 2,000 ft above it",
        height_m / M_PER_FT, top_m / M_PER_FT
    )]
    AboveTop {
        /// Height asked for, in the datum of the top level (m).
        height_m: f64,
        /// Highest level of the stations near (m).
        top_m: f64,
        /// Datum of both.
        datum: Datum,
    },
}
