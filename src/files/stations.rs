//! Positions of the stations named in winds-aloft bulletins.
//!
//! The table `stations.csv` beside this file is compiled in. It was cut (see `tests/data/fb/SOURCE.md`) from the
//! MIT-licensed `airportsdata` set (PyPI, 20260905): an identifier is matched as FAA identifier or as K + identifier. It
//! has 157 of the 176 stations of the conterminous US bulletins; radio beacons, closed fields and offshore grid points
//! are missing, and their columns are skipped with a note unless the user gives a position.

use std::sync::OnceLock;

use crate::quantity::M_PER_FT;

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

/// `id,lat_deg,lon_deg,elevation_ft` in order of the identifier, after one heading line.
const TABLE: &str = include_str!("stations.csv");

/// All stations with a known position, in order of the identifier.
pub fn known_stations() -> &'static [StationPosition] {
    static STATIONS: OnceLock<Vec<StationPosition>> = OnceLock::new();
    STATIONS.get_or_init(|| {
        // a row that does not parse is left out; a test counts the rows, so it cannot happen unseen
        TABLE.lines().skip(1).filter_map(row).collect()
    })
}

fn row(line: &str) -> Option<StationPosition> {
    let mut cells = line.split(',');
    let id = cells.next()?.to_owned();
    let mut number = || cells.next()?.parse::<f64>().ok();
    let (lat_deg, lon_deg, elevation_ft) = (number()?, number()?, number()?);
    Some(StationPosition {
        id,
        lat_deg,
        lon_deg,
        elevation_m: elevation_ft * M_PER_FT,
    })
}

/// The position of a bulletin station by its identifier (upper case), if known.
pub fn find_station(id: &str) -> Option<&'static StationPosition> {
    let all = known_stations();
    all.binary_search_by(|s| s.id.as_str().cmp(id))
        .ok()
        .and_then(|i| all.get(i))
}
