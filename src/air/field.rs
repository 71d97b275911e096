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
//! One [`WindField`] is one valid time. [`Air::between`] joins the answers of two, and is where time enters.
//!
//! Limits: distances are great circles on a sphere of 6,371,008.8 m (within 0.6 % of the ellipsoid; they only set
//! weights and the 150 nm limit). East and north components are averaged as such, which neglects the turning of
//! the meridians: about 2 degrees over 150 nm at 40 degrees of latitude.
//!
//! Source: R. Franke, Scattered data interpolation: tests of some methods, Math. Comp. 38 (1982), for the weights
//! (cited from memory); the heights without forecast are in `tests/data/fb/SOURCE.md`.

use super::isa;

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
    #[error("reading the wind field: the nearest station, {station}, is {} km away; the limit is {} km", (distance_m / 1000.0).round(), (STATION_RADIUS_M / 1000.0).round())]
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
    /// The point is above the highest level of every station near it.
    #[error(
        "reading the wind field: {height_m:.0} m is above the highest forecast level here, {top_m:.0} m"
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
    surfaces: Vec<Surface>,
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
            for level in pick(Datum::Surface) {
                surfaces.push(Surface {
                    place,
                    height_m: level.height_m,
                    wind: [level.u_m_s, level.v_m_s],
                    temperature_k: level.temperature_k,
                });
            }
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
            if levels.iter().any(|l| l.datum != Datum::Surface) {
                columns.push(Column {
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
            }
        }
        if columns.is_empty() {
            return Err(FieldError::NoForecast);
        }
        Ok(WindField { columns, surfaces })
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
    /// [`FieldError::TooFar`] beyond 150 nm from every station, [`FieldError::AboveTop`] above the top level of
    /// every station near, [`FieldError::BadPoint`] for numbers that are not a place.
    pub fn at(
        &self,
        lat_deg: f64,
        lon_deg: f64,
        true_altitude_m: f64,
        pressure_altitude_m: f64,
    ) -> Result<Air, FieldError> {
        let finite = [lat_deg, lon_deg, true_altitude_m, pressure_altitude_m]
            .into_iter()
            .all(f64::is_finite);
        if !finite || lat_deg.abs() > 90.0 {
            return Err(FieldError::BadPoint);
        }
        let point = UnitVector::new(lat_deg, lon_deg);
        let at = Heights {
            true_m: true_altitude_m,
            pressure_m: pressure_altitude_m,
        };
        let found = near(
            point,
            STATION_RADIUS_M,
            self.columns.iter().map(|c| c.place),
        );
        if found.is_empty() {
            return Err(self.too_far(point, lat_deg, lon_deg));
        }
        let surface = self.surface_at(point);

        let mut wind = Mean::<3>::new();
        let mut temperature = Mean::<2>::new();
        let mut top: Option<(f64, f64, Datum)> = None;
        for &(i, _, w) in &found {
            let column = &self.columns[i];
            if let Some((above_m, height_m, datum, _)) = column.wind.highest(at)
                && above_m > 0.0
            {
                if top.is_none_or(|(least, _, _)| above_m < least) {
                    top = Some((above_m, height_m, datum));
                }
                continue;
            }
            if let Some(([u, v], below_m)) = column.wind_at(at, surface) {
                wind.add(w, [u, v, below_m]);
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
