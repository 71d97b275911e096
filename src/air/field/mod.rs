//! Wind and temperature everywhere, from forecast columns at scattered stations.
//!
//! # Conventions
//! Wind is the vector the air *moves along*: `u` to the east, `v` to the north (m/s). Nothing here interpolates a
//! direction: halfway between 350 and 010 lies 360, and halfway between two opposite winds lies calm.
//!
//! # The scheme
//! 1. **Within a column**, linear in height. Levels keyed by true altitude are read at the point's true altitude,
//!    levels keyed by pressure altitude at its pressure altitude; in the gap between the two kinds the fraction is
//!    `a/(a + b)`, `a` the height above the last true-altitude level, `b` the height still to go to the first
//!    pressure-altitude level.
//! 2. **Between stations**, the weights of Franke and Little, `w = ((R - d)/(R d))^2`, over all stations nearer
//!    than `R` = 150 nm (277.8 km), divided by their sum. At a station its own value is returned; a weight
//!    and its first derivative reach zero at `R`, so nothing jumps when a station drops in or out along a
//!    level route; equal values everywhere come back bit for bit, since what is weighed is the difference to the
//!    first of them.
//! 3. **Below a column's lowest level** the lowest wind is held, and the temperature rises by 1.98 K per 1,000 ft
//!    (6.496 K/km). Where a surface observation is near, both run linearly to it instead, from the lowest
//!    level or from 1,500 ft (wind) or 2,500 ft (temperature) above the surface, whichever is higher. Below those
//!    heights bulletins give no forecast, so free-air values from a lower neighbour do not speak for a high field.
//!    The observation counts fully within 30 nm and fades to nothing at 100 nm (a smooth step); our choice, no source.
//!
//! What was filled in by rule 3 is reported in [`Fill`] with every answer.
//!
//! **On a mesh** ([`WindField::on_mesh`]: the grid points of a weather model) rule 2 is another: the four grid points around the
//! place, weighed bilinearly in their cell. The cell is found on a plane through it (gnomonic, where great circles are
//! straight), so that the grid may be any: regular in latitude and longitude, projected, rotated, across the antimeridian or
//! over a pole. The winds of the four are turned with the meridians before they are weighed. Rules 1 and 3 stay.
//!
//! One [`WindField`] is one valid time. [`Air::between`] joins the answers of two, and is where time enters. Who asks for many
//! heights over one place takes [`WindField::over`] once.
//!
//! Limits: distances are great circles on a sphere of 6,371,008.8 m (within 0.6 % of the ellipsoid; they only set
//! weights and the 150 nm limit). East and north components are averaged as such, which neglects the turning of
//! the meridians: about 2 degrees over 150 nm at 40 degrees of latitude.
//!
//! Source: R. Franke, Scattered data interpolation: tests of some methods, Math. Comp. 38 (1982), for the weights
//! (cited from memory); the heights without forecast are in `tests/data/fb/SOURCE.md`.

mod answer;
mod column;
mod error;
mod mesh;
mod overhead;
mod sphere;
mod station;
mod weights;

pub use answer::{Air, Fill};
pub use error::FieldError;
pub use overhead::Overhead;

use column::{Column, SurfaceHere, SurfaceTemperature};
use mesh::Mesh;
use overhead::Near;
use sphere::{UnitVector, arc_m, turn};
use station::{Surface, read_station};
use weights::{Mean, fade, near};

/// Radius within which a station is used, and beyond which a point has no forecast: 150 nm (m).
pub const STATION_RADIUS_M: f64 = 150.0 * 1852.0;
/// Rise of temperature below the lowest forecast: 1.98 K per 1,000 ft (K/m).
pub const FILL_LAPSE_K_M: f64 = 1.98 / 304.8;
/// Height above the surface below which no wind is forecast: 1,500 ft (m).
pub const NO_WIND_BELOW_M: f64 = 1_500.0 * 0.3048;
/// Height above the surface below which no temperature is forecast: 2,500 ft (m).
pub const NO_TEMPERATURE_BELOW_M: f64 = 2_500.0 * 0.3048;
/// Distance within which a surface observation counts fully: 30 nm (m).
pub const SURFACE_FULL_M: f64 = 30.0 * 1852.0;
/// Distance at which a surface observation no longer counts: 100 nm (m).
pub const SURFACE_NONE_M: f64 = 100.0 * 1852.0;

/// What the height of a level is measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Datum {
    /// True altitude above mean sea level (bulletin levels to 12,000 ft).
    TrueAltitude,
    /// Pressure altitude (bulletin levels from 18,000 ft, and flight levels).
    PressureAltitude,
    /// An observation at the ground; the height is the field elevation above mean sea level.
    Surface,
}

/// Wind, and temperature if known, at one height of a column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelValue {
    /// What `height_m` is measured from.
    pub datum: Datum,
    /// Height (m).
    pub height_m: f64,
    /// Wind to the east (m/s); light and variable is zero.
    pub u_m_s: f64,
    /// Wind to the north (m/s); light and variable is zero.
    pub v_m_s: f64,
    /// Temperature (K), when given.
    pub temperature_k: Option<f64>,
}

/// A place with a column of values: forecast levels, a surface observation, or both.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Name, for messages.
    pub name: String,
    /// Latitude, positive north (deg).
    pub lat_deg: f64,
    /// Longitude, positive east; any turn (deg).
    pub lon_deg: f64,
    /// Ground elevation (m).
    pub elevation_m: f64,
    /// The column, in any order.
    pub levels: Vec<LevelValue>,
}

/// Wind and temperature as a function of place and height, at one valid time.
#[derive(Debug, Clone, PartialEq)]
pub struct WindField {
    columns: Vec<Column>,
    mesh: Option<Mesh>,
    surfaces: Vec<Surface>,
}

impl WindField {
    /// Builds the field of one valid time.
    ///
    /// Stations with forecast levels make the field; a [`Datum::Surface`] value of any station is a surface
    /// observation. Stations without values are passed over.
    ///
    /// # Errors
    /// [`FieldError::NoForecast`] without a single forecast level; otherwise a position, height (-1,000 to
    /// 30,000 m), wind (200 m/s) or temperature (150 to 350 K) out of range, two values at one height, or
    /// pressure-altitude levels below true-altitude levels.
    pub fn new(stations: &[Station]) -> Result<WindField, FieldError> {
        let mut columns = Vec::new();
        let mut surfaces = Vec::new();
        for station in stations {
            let (column, surface) = read_station(station)?;
            columns.extend(column);
            surfaces.extend(surface);
        }
        if columns.is_empty() {
            return Err(FieldError::NoForecast);
        }
        Ok(WindField {
            columns,
            mesh: None,
            surfaces,
        })
    }

    /// Builds the field of one valid time from the grid points of a model, row after row of `width` each, and surface
    /// observations. A grid point without levels is a hole: the others of its cell speak for it.
    ///
    /// # Errors
    /// As [`WindField::new`], and [`FieldError::NoMesh`].
    pub fn on_mesh(
        width: usize,
        points: &[Station],
        observations: &[Station],
    ) -> Result<WindField, FieldError> {
        let count = points.len();
        if width < 2 || count < 2 * width || !count.is_multiple_of(width) {
            return Err(FieldError::NoMesh { count, width });
        }
        let mut mesh = Mesh {
            width,
            points: Vec::with_capacity(count),
            columns: Vec::with_capacity(count),
        };
        let mut columns = Vec::new();
        for point in points {
            let (column, _) = read_station(point)?;
            mesh.points
                .push(UnitVector::new(point.lat_deg, point.lon_deg));
            mesh.columns.push(column.is_some().then_some(columns.len()));
            columns.extend(column);
        }
        if columns.is_empty() {
            return Err(FieldError::NoForecast);
        }
        let mut surfaces = Vec::new();
        for station in observations {
            surfaces.extend(read_station(station)?.1);
        }
        Ok(WindField {
            columns,
            mesh: Some(mesh),
            surfaces,
        })
    }

    /// Number of stations with a forecast.
    pub fn station_count(&self) -> usize {
        self.columns.len()
    }

    /// Wind and temperature at a point given by latitude, longitude (deg), true altitude and pressure altitude (m).
    ///
    /// See the module header for the scheme. Continuous in all four arguments, except where a column that ends
    /// lower than its neighbours drops out above its top.
    ///
    /// # Errors
    /// [`FieldError::TooFar`] beyond 150 nm from every station, [`FieldError::OffMesh`] outside every cell,
    /// [`FieldError::AboveTop`] above the top level of every station near, [`FieldError::BadPoint`] for numbers that
    /// are not a place.
    pub fn at(
        &self,
        lat_deg: f64,
        lon_deg: f64,
        true_altitude_m: f64,
        pressure_altitude_m: f64,
    ) -> Result<Air, FieldError> {
        self.over(lat_deg, lon_deg)?
            .at(true_altitude_m, pressure_altitude_m)
    }

    /// The field over one place given by latitude and longitude (deg), to be asked for many heights.
    ///
    /// # Errors
    /// As [`WindField::at`], but for the heights.
    pub fn over(&self, lat_deg: f64, lon_deg: f64) -> Result<Overhead<'_>, FieldError> {
        if !lat_deg.is_finite() || !lon_deg.is_finite() || lat_deg.abs() > 90.0 {
            return Err(FieldError::BadPoint);
        }
        let point = UnitVector::new(lat_deg, lon_deg);
        let columns = match &self.mesh {
            None => {
                let places = self.columns.iter().map(|c| c.place);
                let found = near(point, STATION_RADIUS_M, places);
                if found.is_empty() {
                    return Err(self.too_far(point, lat_deg, lon_deg));
                }
                let of = |(i, _, weight)| Near {
                    column: &self.columns[i],
                    weight,
                    turn: (1.0, 0.0),
                };
                found.into_iter().map(of).collect()
            }
            Some(mesh) => {
                let Some(corners) = mesh.around(point) else {
                    return Err(FieldError::OffMesh {
                        distance_m: mesh.nearest_m(point),
                        lat_deg,
                        lon_deg,
                    });
                };
                let of = |(node, weight): (usize, f64)| {
                    let column = &self.columns[mesh.columns[node]?];
                    let turn = turn(column.place, point);
                    (weight > 0.0).then_some(Near {
                        column,
                        weight,
                        turn,
                    })
                };
                corners.into_iter().filter_map(of).collect()
            }
        };
        let columns: Vec<Near<'_>> = columns;
        if columns.is_empty() {
            return Err(FieldError::Hole { lat_deg, lon_deg });
        }
        Ok(Overhead {
            columns,
            surface: self.surface_at(point),
        })
    }

    fn too_far(&self, point: UnitVector, lat_deg: f64, lon_deg: f64) -> FieldError {
        let nearest = self
            .columns
            .iter()
            .map(|c| (arc_m(point.chord2(c.place)), c))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let (distance_m, station) =
            nearest.map_or((f64::INFINITY, String::new()), |(d, c)| (d, c.name.clone()));
        FieldError::TooFar {
            station,
            distance_m,
            lat_deg,
            lon_deg,
        }
    }

    /// The surface observations near a point, weighed like the stations but with a radius of 100 nm.
    fn surface_at(&self, point: UnitVector) -> Option<SurfaceHere> {
        if self.surfaces.is_empty() {
            return None;
        }
        let found = near(point, SURFACE_NONE_M, self.surfaces.iter().map(|s| s.place));
        let mut wind = Mean::<3>::new();
        let mut temperature = Mean::<2>::new();
        let (mut say, mut say_temperature) = (0.0_f64, 0.0_f64);
        for &(i, d, w) in &found {
            let s = &self.surfaces[i];
            wind.add(w, [s.wind[0], s.wind[1], s.height_m]);
            say = say.max(fade(d));
            if let Some(t) = s.temperature_k {
                temperature.add(w, [t, s.height_m]);
                say_temperature = say_temperature.max(fade(d));
            }
        }
        let [u, v, height_m] = wind.get()?;
        Some(SurfaceHere {
            height_m,
            wind: [u, v],
            say,
            temperature: temperature
                .get()
                .map(|[temperature_k, height_m]| SurfaceTemperature {
                    height_m,
                    temperature_k,
                    say: say_temperature,
                }),
        })
    }
}
