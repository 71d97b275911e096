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

use super::isa;
use crate::quantity::{M_PER_FT, M_PER_NM};

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

/// Mean radius of the Earth (m) (IUGG). Source: IUGG mean radius R1, 6,371,008.77 m.
const EARTH_RADIUS_M: f64 = 6_371_008.8;
/// Stations nearer than this (m) are taken to be at the point.
const AT_STATION_M: f64 = 1.0;
/// By how much of a cell a place may miss it: the sides of neighbouring cells are the same great circle but for rounding.
const CELL_SLACK: f64 = 1e-6;
/// Squared chord by which two grid points are one place: a tenth of a metre.
const SAME_PLACE: f64 = 1e-16;
/// Steps of Newton's rule in a cell; from its middle three are enough, a slanted one takes a few more.
const NEWTON_STEPS: usize = 8;
/// Greatest height accepted (m); guards against a height in the wrong unit.
const HEIGHT_LIMIT_M: f64 = 30_000.0;
/// Greatest wind component accepted (m/s).
const WIND_LIMIT_M_S: f64 = 200.0;
/// Least and greatest temperature accepted (K).
const TEMPERATURE_LIMITS_K: (f64, f64) = (150.0, 350.0);

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

/// What an answer owes to rule 3 of the module header rather than to the forecast.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Fill {
    /// How far the point lies below the lowest forecast wind, averaged with the stations' weights; 0 if none (m).
    pub wind_below_m: f64,
    /// The same for the lowest forecast temperature (m).
    pub temperature_below_m: f64,
    /// A surface observation took part.
    pub surface_used: bool,
    /// No station near gives any temperature: the standard atmosphere was used.
    pub standard_temperature: bool,
}

/// Wind and temperature at one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Wind to the east (m/s).
    pub u_m_s: f64,
    /// Wind to the north (m/s).
    pub v_m_s: f64,
    /// Temperature (K).
    pub temperature_k: f64,
    /// What was filled in below the forecast.
    pub fill: Fill,
}

impl Air {
    /// Still air with the standard temperature plus a deviation (K), for trips without a forecast.
    pub fn standard(pressure_altitude_m: f64, deviation_k: f64) -> Air {
        Air {
            u_m_s: 0.0,
            v_m_s: 0.0,
            temperature_k: isa::temperature_k(pressure_altitude_m) + deviation_k,
            fill: Fill {
                standard_temperature: true,
                ..Fill::default()
            },
        }
    }

    /// Linear blend of two answers for the same point: `fraction` 0 gives `self`, 1 gives `later`. Vectors are
    /// blended, never directions. The fraction is not clamped; the caller refuses times outside its slices.
    pub fn between(&self, later: &Air, fraction: f64) -> Air {
        let mix = |a: f64, b: f64| a + (b - a) * fraction;
        Air {
            u_m_s: mix(self.u_m_s, later.u_m_s),
            v_m_s: mix(self.v_m_s, later.v_m_s),
            temperature_k: mix(self.temperature_k, later.temperature_k),
            fill: Fill {
                wind_below_m: self.fill.wind_below_m.max(later.fill.wind_below_m),
                temperature_below_m: self
                    .fill
                    .temperature_below_m
                    .max(later.fill.temperature_below_m),
                surface_used: self.fill.surface_used || later.fill.surface_used,
                standard_temperature: self.fill.standard_temperature
                    || later.fill.standard_temperature,
            },
        }
    }
}

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

/// Wind and temperature as a function of place and height, at one valid time.
#[derive(Debug, Clone, PartialEq)]
pub struct WindField {
    columns: Vec<Column>,
    mesh: Option<Mesh>,
    surfaces: Vec<Surface>,
}

/// Grid points in rows.
#[derive(Debug, Clone, PartialEq)]
struct Mesh {
    /// Length of a row.
    width: usize,
    /// Position of each grid point, row after row.
    points: Vec<UnitVector>,
    /// Its column, if it has one: a point under the model's ground at every level has none.
    columns: Vec<Option<usize>>,
}

/// A position as a unit vector, so that distance needs no trigonometry per station.
#[derive(Debug, Clone, Copy, PartialEq)]
struct UnitVector([f64; 3]);

impl UnitVector {
    fn new(lat_deg: f64, lon_deg: f64) -> UnitVector {
        let (slat, clat) = lat_deg.to_radians().sin_cos();
        let (slon, clon) = lon_deg.to_radians().sin_cos();
        UnitVector([clat * clon, clat * slon, slat])
    }

    fn dot(self, other: UnitVector) -> f64 {
        (0..3).map(|i| self.0[i] * other.0[i]).sum()
    }

    /// Unit vectors to the east and to the north; at a pole those of the meridian of Greenwich.
    fn east_north(self) -> (UnitVector, UnitVector) {
        let [x, y, z] = self.0;
        let r = x.hypot(y);
        let (sin, cos) = if r > 0.0 { (y / r, x / r) } else { (0.0, 1.0) };
        (
            UnitVector([-sin, cos, 0.0]),
            UnitVector([-z * cos, -z * sin, r]),
        )
    }

    /// Square of the straight chord between two points of the unit sphere.
    fn chord2(self, other: UnitVector) -> f64 {
        (0..3).map(|i| (self.0[i] - other.0[i]).powi(2)).sum()
    }
}

/// Great-circle distance (m) that belongs to a squared chord.
fn arc_m(chord2: f64) -> f64 {
    2.0 * EARTH_RADIUS_M * (chord2.sqrt() / 2.0).min(1.0).asin()
}

/// Squared chord of a great-circle distance (m).
fn chord2_of(arc_m: f64) -> f64 {
    (2.0 * (arc_m / (2.0 * EARTH_RADIUS_M)).sin()).powi(2)
}

#[derive(Debug, Clone, PartialEq)]
struct Column {
    name: String,
    place: UnitVector,
    wind: Profile<[f64; 2]>,
    temperature: Profile<f64>,
}

#[derive(Debug, Clone, PartialEq)]
struct Surface {
    place: UnitVector,
    height_m: f64,
    wind: [f64; 2],
    temperature_k: Option<f64>,
}

/// The two heights of one point.
#[derive(Debug, Clone, Copy)]
struct Heights {
    true_m: f64,
    pressure_m: f64,
}

impl Heights {
    /// The point `by_m` higher. Pressure altitude is moved by the same amount: this is only used to read the
    /// forecast a few hundred metres up, where the difference is a few percent of those.
    fn raised(self, by_m: f64) -> Heights {
        Heights {
            true_m: self.true_m + by_m,
            pressure_m: self.pressure_m + by_m,
        }
    }
}

/// A quantity that can be blended.
trait Blend: Copy {
    fn mix(self, other: Self, fraction: f64) -> Self;
}

impl Blend for f64 {
    fn mix(self, other: f64, fraction: f64) -> f64 {
        self + (other - self) * fraction
    }
}

impl Blend for [f64; 2] {
    fn mix(self, other: [f64; 2], fraction: f64) -> [f64; 2] {
        [
            self[0].mix(other[0], fraction),
            self[1].mix(other[1], fraction),
        ]
    }
}

/// One quantity against height: sorted true-altitude levels, then sorted pressure-altitude levels.
#[derive(Debug, Clone, PartialEq)]
struct Profile<T> {
    by_true: Vec<(f64, T)>,
    by_pressure: Vec<(f64, T)>,
}

impl<T: Blend> Profile<T> {
    /// Lowest level: how far the point lies below it (negative above) and its value.
    fn lowest(&self, at: Heights) -> Option<(f64, T)> {
        match (self.by_true.first(), self.by_pressure.first()) {
            (Some(&(h, value)), _) => Some((h - at.true_m, value)),
            (None, Some(&(h, value))) => Some((h - at.pressure_m, value)),
            (None, None) => None,
        }
    }

    /// Highest level: how far the point lies above it, its height and value.
    fn highest(&self, at: Heights) -> Option<(f64, f64, Datum, T)> {
        match (self.by_true.last(), self.by_pressure.last()) {
            (_, Some(&(h, value))) => Some((at.pressure_m - h, h, Datum::PressureAltitude, value)),
            (Some(&(h, value)), None) => Some((at.true_m - h, h, Datum::TrueAltitude, value)),
            (None, None) => None,
        }
    }

    /// Rule 1 of the module header; outside the levels the nearest one is held.
    fn read(&self, at: Heights) -> Option<T> {
        let (Some(&(last, lower)), Some(&(first, upper))) =
            (self.by_true.last(), self.by_pressure.first())
        else {
            return within(&self.by_true, at.true_m).or(within(&self.by_pressure, at.pressure_m));
        };
        if at.true_m <= last {
            within(&self.by_true, at.true_m)
        } else if at.pressure_m >= first {
            within(&self.by_pressure, at.pressure_m)
        } else {
            let above = at.true_m - last;
            let to_go = first - at.pressure_m;
            // above > 0 and to_go > 0 by the two tests before
            Some(lower.mix(upper, above / (above + to_go)))
        }
    }
}

/// Linear interpolation in a sorted list, the ends held; `None` when it is empty.
fn within<T: Blend>(levels: &[(f64, T)], height_m: f64) -> Option<T> {
    let i = levels.partition_point(|&(h, _)| h < height_m);
    match (
        i.checked_sub(1).and_then(|below| levels.get(below)),
        levels.get(i),
    ) {
        (Some(&(h0, below)), Some(&(h1, above))) => {
            Some(below.mix(above, (height_m - h0) / (h1 - h0)))
        }
        (Some(&(_, end)), None) | (None, Some(&(_, end))) => Some(end),
        (None, None) => None,
    }
}

/// Weighted mean as the first value plus the mean of the differences to it, so that equal values come back exactly.
struct Mean<const N: usize> {
    first: Option<[f64; N]>,
    weight: f64,
    sum: [f64; N],
}

impl<const N: usize> Mean<N> {
    fn new() -> Self {
        Mean {
            first: None,
            weight: 0.0,
            sum: [0.0; N],
        }
    }

    fn add(&mut self, weight: f64, value: [f64; N]) {
        let first = *self.first.get_or_insert(value);
        self.weight += weight;
        for i in 0..N {
            self.sum[i] += weight * (value[i] - first[i]);
        }
    }

    fn get(&self) -> Option<[f64; N]> {
        let first = self.first?;
        if self.weight <= 0.0 {
            return None;
        }
        Some(std::array::from_fn(|i| {
            first[i] + self.sum[i] / self.weight
        }))
    }
}

/// Franke-Little weight of a station at `distance_m`, zero from `radius_m` on (1/m^2).
fn weight(distance_m: f64, radius_m: f64) -> f64 {
    let d = distance_m.max(AT_STATION_M);
    ((radius_m - d).max(0.0) / (radius_m * d)).powi(2)
}

/// Indices and weights of the places within `radius_m`; only those at the point, if there are any.
fn near(
    point: UnitVector,
    radius_m: f64,
    places: impl Iterator<Item = UnitVector>,
) -> Vec<(usize, f64, f64)> {
    let limit = chord2_of(radius_m);
    let mut found: Vec<(usize, f64, f64)> = Vec::new();
    for (i, place) in places.enumerate() {
        let chord2 = point.chord2(place);
        if chord2 < limit {
            let d = arc_m(chord2);
            let w = weight(d, radius_m);
            if w > 0.0 {
                found.push((i, d, w));
            }
        }
    }
    if found.iter().any(|&(_, d, _)| d <= AT_STATION_M) {
        found.retain(|&(_, d, _)| d <= AT_STATION_M);
    }
    found
}

/// Smooth step from 1 at `full` to 0 at `none`.
fn fade(distance_m: f64) -> f64 {
    let x = ((SURFACE_NONE_M - distance_m) / (SURFACE_NONE_M - SURFACE_FULL_M)).clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// What the surface observations say at one point.
#[derive(Debug, Clone, Copy)]
struct SurfaceHere {
    height_m: f64,
    wind: [f64; 2],
    /// 0 to 1.
    say: f64,
    temperature: Option<SurfaceTemperature>,
}

#[derive(Debug, Clone, Copy)]
struct SurfaceTemperature {
    height_m: f64,
    temperature_k: f64,
    /// 0 to 1.
    say: f64,
}

/// The column of a station and its surface observation, as far as it has them.
fn read_station(station: &Station) -> Result<(Option<Column>, Option<Surface>), FieldError> {
    let check = |what, value: f64, least, greatest| {
        if value >= least && value <= greatest {
            Ok(())
        } else {
            Err(FieldError::OutOfRange {
                station: station.name.clone(),
                what,
                value,
                least,
                greatest,
            })
        }
    };
    check("latitude [deg]", station.lat_deg, -90.0, 90.0)?;
    check("longitude [deg]", station.lon_deg, -720.0, 720.0)?;
    check(
        "elevation [m]",
        station.elevation_m,
        -1_000.0,
        HEIGHT_LIMIT_M,
    )?;
    let place = UnitVector::new(station.lat_deg, station.lon_deg);
    let mut levels = station.levels.clone();
    for level in &levels {
        check("height [m]", level.height_m, -1_000.0, HEIGHT_LIMIT_M)?;
        check(
            "wind to the east [m/s]",
            level.u_m_s,
            -WIND_LIMIT_M_S,
            WIND_LIMIT_M_S,
        )?;
        check(
            "wind to the north [m/s]",
            level.v_m_s,
            -WIND_LIMIT_M_S,
            WIND_LIMIT_M_S,
        )?;
        if let Some(t) = level.temperature_k {
            let (least, greatest) = TEMPERATURE_LIMITS_K;
            check("temperature [K]", t, least, greatest)?;
        }
    }
    levels.sort_by(|a, b| a.height_m.total_cmp(&b.height_m));
    let pick = |datum: Datum| levels.iter().filter(move |l| l.datum == datum);
    for datum in [Datum::TrueAltitude, Datum::PressureAltitude, Datum::Surface] {
        for (a, b) in pick(datum).zip(pick(datum).skip(1)) {
            if a.height_m == b.height_m || datum == Datum::Surface {
                return Err(FieldError::SameHeight {
                    station: station.name.clone(),
                    height_m: b.height_m,
                });
            }
        }
    }
    if let (Some(low), Some(high)) = (
        pick(Datum::TrueAltitude).next_back(),
        pick(Datum::PressureAltitude).next(),
    ) && high.height_m <= low.height_m
    {
        return Err(FieldError::DatumOrder {
            station: station.name.clone(),
            pressure_m: high.height_m,
            true_m: low.height_m,
        });
    }
    let surface = pick(Datum::Surface).next().map(|level| Surface {
        place,
        height_m: level.height_m,
        wind: [level.u_m_s, level.v_m_s],
        temperature_k: level.temperature_k,
    });
    let wind_of = |datum| {
        pick(datum)
            .map(|l| (l.height_m, [l.u_m_s, l.v_m_s]))
            .collect()
    };
    let temperature_of = |datum| {
        pick(datum)
            .filter_map(|l| l.temperature_k.map(|t| (l.height_m, t)))
            .collect()
    };
    let column = levels
        .iter()
        .any(|l| l.datum != Datum::Surface)
        .then(|| Column {
            name: station.name.clone(),
            place,
            wind: Profile {
                by_true: wind_of(Datum::TrueAltitude),
                by_pressure: wind_of(Datum::PressureAltitude),
            },
            temperature: Profile {
                by_true: temperature_of(Datum::TrueAltitude),
                by_pressure: temperature_of(Datum::PressureAltitude),
            },
        });
    Ok((column, surface))
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

/// Cosine and sine of the angle between the meridians of two places: what east and north there must be turned by to be east
/// and north here.
fn turn(there: UnitVector, here: UnitVector) -> (f64, f64) {
    let (east, _) = there.east_north();
    let (east_here, north_here) = here.east_north();
    // the east of the one place, laid flat at the other
    let (x, y) = (east.dot(east_here), east.dot(north_here));
    let r = x.hypot(y);
    if r > 0.0 { (x / r, y / r) } else { (1.0, 0.0) }
}

impl Mesh {
    fn rows(&self) -> usize {
        self.points.len() / self.width
    }

    /// The grid point nearest to a place.
    fn nearest(&self, point: UnitVector) -> usize {
        let dots = self.points.iter().map(|p| p.dot(point)).enumerate();
        dots.max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0, |(i, _)| i)
    }

    fn nearest_m(&self, point: UnitVector) -> f64 {
        let nearest = self.nearest(point);
        self.points
            .get(nearest)
            .map_or(f64::INFINITY, |p| arc_m(p.chord2(point)))
    }

    /// The corners of the cell that holds a place, with their weights.
    fn around(&self, point: UnitVector) -> Option<[(usize, f64); 4]> {
        // The nearest point is a corner of the cell, or in a slanted cell one of the next ones. At a pole of the grid a whole row is
        // one place, and as near.
        let nearest = self.points.get(self.nearest(point))?.chord2(point);
        let as_near = |p: &UnitVector| p.chord2(point) <= nearest + SAME_PLACE;
        let cells = |at: usize, count: usize| at.saturating_sub(2)..(at + 2).min(count - 1);
        let frame = point.east_north();
        let mut best: Option<([usize; 4], (f64, f64), f64)> = None;
        for (node, _) in self.points.iter().enumerate().filter(|p| as_near(p.1)) {
            let (row, column) = (node / self.width, node % self.width);
            for j in cells(row, self.rows()) {
                for i in cells(column, self.width) {
                    let low = j * self.width + i;
                    let corners = [low, low + 1, low + self.width, low + self.width + 1];
                    let Some((s, t)) = self.in_cell(point, frame, corners) else {
                        continue;
                    };
                    let outside = [-s, s - 1.0, -t, t - 1.0].into_iter().fold(0.0, f64::max);
                    if best.is_none_or(|(_, _, least)| outside < least) {
                        best = Some((corners, (s, t), outside));
                    }
                }
            }
        }
        let (corners, (s, t), outside) = best?;
        if outside > CELL_SLACK {
            return None;
        }
        let (s, t) = (s.clamp(0.0, 1.0), t.clamp(0.0, 1.0));
        let weights = [(1.0 - s) * (1.0 - t), s * (1.0 - t), (1.0 - s) * t, s * t];
        Some(std::array::from_fn(|k| (corners[k], weights[k])))
    }

    /// Where in a cell a place is, (0, 0) to (1, 1) inside it: the bilinear map of the corners, inverted by Newton's rule on the
    /// gnomonic plane that touches the Earth there.
    fn in_cell(
        &self,
        point: UnitVector,
        (east, north): (UnitVector, UnitVector),
        corners: [usize; 4],
    ) -> Option<(f64, f64)> {
        let mut flat = [[0.0; 2]; 4];
        for (at, corner) in flat.iter_mut().zip(corners) {
            let p = *self.points.get(corner)?;
            let up = p.dot(point);
            // more than 60 degrees away is no corner of a cell that holds the place
            if up < 0.5 {
                return None;
            }
            *at = [p.dot(east) / up, p.dot(north) / up];
        }
        let [a, b, c, d] = flat;
        let (mut s, mut t) = (0.5, 0.5);
        for _ in 0..NEWTON_STEPS {
            let of = |k: usize| {
                let value =
                    (1.0 - t) * ((1.0 - s) * a[k] + s * b[k]) + t * ((1.0 - s) * c[k] + s * d[k]);
                let by_s = (1.0 - t) * (b[k] - a[k]) + t * (d[k] - c[k]);
                let by_t = (1.0 - s) * (c[k] - a[k]) + s * (d[k] - b[k]);
                (value, by_s, by_t)
            };
            let ((x, xs, xt), (y, ys, yt)) = (of(0), of(1));
            let det = xs * yt - xt * ys;
            if det == 0.0 {
                return None;
            }
            s -= (x * yt - y * xt) / det;
            t -= (y * xs - x * ys) / det;
        }
        (s.is_finite() && t.is_finite()).then_some((s, t))
    }
}

/// A column that speaks for a place.
#[derive(Debug, Clone, Copy)]
struct Near<'a> {
    column: &'a Column,
    weight: f64,
    /// Cosine and sine of the angle its winds are turned by.
    turn: (f64, f64),
}

/// The field over one place.
#[derive(Debug, Clone)]
pub struct Overhead<'a> {
    columns: Vec<Near<'a>>,
    surface: Option<SurfaceHere>,
}

impl Overhead<'_> {
    /// Wind and temperature at a true altitude and a pressure altitude (m).
    ///
    /// # Errors
    /// [`FieldError::AboveTop`], and [`FieldError::BadPoint`] for numbers that are no heights.
    pub fn at(&self, true_altitude_m: f64, pressure_altitude_m: f64) -> Result<Air, FieldError> {
        if !true_altitude_m.is_finite() || !pressure_altitude_m.is_finite() {
            return Err(FieldError::BadPoint);
        }
        let at = Heights {
            true_m: true_altitude_m,
            pressure_m: pressure_altitude_m,
        };
        let surface = self.surface;
        let mut wind = Mean::<3>::new();
        let mut temperature = Mean::<2>::new();
        let mut top: Option<(f64, f64, Datum)> = None;
        for near in &self.columns {
            let (column, w) = (near.column, near.weight);
            if let Some((above_m, height_m, datum, _)) = column.wind.highest(at)
                && above_m > 0.0
            {
                if top.is_none_or(|(least, _, _)| above_m < least) {
                    top = Some((above_m, height_m, datum));
                }
                continue;
            }
            if let Some(([u, v], below_m)) = column.wind_at(at, surface) {
                let (cos, sin) = near.turn;
                wind.add(w, [cos * u - sin * v, sin * u + cos * v, below_m]);
            }
            if let Some((t, below_m)) = column.temperature_at(at, surface) {
                temperature.add(w, [t, below_m]);
            }
        }
        let Some([u_m_s, v_m_s, wind_below_m]) = wind.get() else {
            let (above_m, top_m, datum) = top.unwrap_or((0.0, 0.0, Datum::TrueAltitude));
            return Err(FieldError::AboveTop {
                height_m: top_m + above_m,
                top_m,
                datum,
            });
        };
        let (temperature_k, temperature_below_m, standard_temperature) = match temperature.get() {
            Some([t, below_m]) => (t, below_m, false),
            None => (isa::temperature_k(pressure_altitude_m), 0.0, true),
        };
        Ok(Air {
            u_m_s,
            v_m_s,
            temperature_k,
            fill: Fill {
                wind_below_m,
                temperature_below_m,
                surface_used: surface.is_some_and(|s| s.say > 0.0)
                    && (wind_below_m > 0.0 || temperature_below_m > 0.0),
                standard_temperature,
            },
        })
    }
}

/// The part of the way down from `bottom_m` above the surface to the surface, 0 to 1, for a point `point_m` above it.
fn way_down(point_m: f64, bottom_m: f64) -> f64 {
    if point_m <= 0.0 {
        1.0
    } else {
        ((bottom_m - point_m) / bottom_m).clamp(0.0, 1.0)
    }
}

impl Column {
    /// Wind at the point and how far below the lowest forecast it is (m) (rules 1 and 3).
    fn wind_at(&self, at: Heights, surface: Option<SurfaceHere>) -> Option<([f64; 2], f64)> {
        let held = self.wind.read(at)?;
        let (below_m, _) = self.wind.lowest(at)?;
        let below_m = below_m.max(0.0);
        let Some(s) = surface else {
            return Some((held, below_m));
        };
        let above_surface_m = at.true_m - s.height_m;
        let bottom_m = (above_surface_m + below_m).max(NO_WIND_BELOW_M);
        if above_surface_m >= bottom_m || s.say <= 0.0 {
            return Some((held, below_m));
        }
        let from = self.wind.read(at.raised(bottom_m - above_surface_m))?;
        let joined = from.mix(s.wind, way_down(above_surface_m, bottom_m));
        Some((
            held.mix(joined, s.say),
            below_m.max(s.say * (bottom_m - above_surface_m)),
        ))
    }

    /// Temperature at the point and how far below the lowest forecast it is (m) (rules 1 and 3).
    fn temperature_at(&self, at: Heights, surface: Option<SurfaceHere>) -> Option<(f64, f64)> {
        let free = self.free_temperature_k(at)?;
        let (below_m, _) = self.temperature.lowest(at)?;
        let below_m = below_m.max(0.0);
        let Some(s) = surface.and_then(|s| s.temperature) else {
            return Some((free, below_m));
        };
        let above_surface_m = at.true_m - s.height_m;
        let bottom_m = (above_surface_m + below_m).max(NO_TEMPERATURE_BELOW_M);
        if above_surface_m >= bottom_m || s.say <= 0.0 {
            return Some((free, below_m));
        }
        let from = self.free_temperature_k(at.raised(bottom_m - above_surface_m))?;
        let under_m = (-above_surface_m).max(0.0);
        let joined = from.mix(s.temperature_k, way_down(above_surface_m, bottom_m))
            + FILL_LAPSE_K_M * under_m;
        Some((
            free.mix(joined, s.say),
            below_m.max(s.say * (bottom_m - above_surface_m)),
        ))
    }

    /// Temperature without surface observations: 1.98 K per 1,000 ft below the lowest one given, the standard
    /// lapse above the highest one given.
    fn free_temperature_k(&self, at: Heights) -> Option<f64> {
        let read = self.temperature.read(at)?;
        let (below_m, _) = self.temperature.lowest(at)?;
        if below_m > 0.0 {
            return Some(read + FILL_LAPSE_K_M * below_m);
        }
        let (above_m, height_m, _, _) = self.temperature.highest(at)?;
        if above_m > 0.0 {
            return Some(
                read + isa::temperature_k(height_m + above_m) - isa::temperature_k(height_m),
            );
        }
        Some(read)
    }
}
