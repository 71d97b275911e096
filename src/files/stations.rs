//! Positions of the stations named in winds-aloft bulletins.
//!
//! Most stations are airports, named by their FAA identifier: they are looked up in the table of [`super::airports`]. That places 157
//! of the 176 stations of the conterminous US bulletins; radio beacons, closed fields and offshore grid points are not in it,
//! and their columns are skipped with a note unless the user gives a position.

use super::airports;

/// Where a station is.
#[derive(Debug, Clone, PartialEq)]
pub struct StationPosition {
    /// Identifier as in the bulletin, such as `DEN`.
    pub id: String,
    /// Latitude, positive north (deg).
    pub lat_deg: f64,
    /// Longitude, positive east (deg).
    pub lon_deg: f64,
    /// Ground elevation (m). The source warns that elevations are often wrong; they only serve checks here.
    pub elevation_m: f64,
}

/// The position of a bulletin station by its identifier (upper case), if known.
pub fn find_station(id: &str) -> Option<StationPosition> {
    let airport = airports::find(id)?;
    Some(StationPosition {
        id: id.to_owned(),
        lat_deg: airport.position.lat_deg(),
        lon_deg: airport.position.lon_deg(),
        elevation_m: airport.elevation_m,
    })
}
