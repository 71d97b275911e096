//! GRIB2 files: wind, temperature and height on isobaric surfaces, cut to the grid points near a route.
//!
//! # What is read
//! Fields at one moment (product templates 4.0 to 4.2) on isobaric surfaces (code table 4.5: 100): wind to the east and
//! to the north (code table 4.2: 2.2, 2.3), temperature (0.0), geopotential height (3.5) or geopotential (3.4); and at the
//! ground (4.5: 1) its height (3.5) and pressure (3.0). Everything else is passed over. Several messages, forecast hours
//! and files make one set; of two fields of the same kind, surface and time the one of the later run counts.
//!
//! An isobaric surface *is* a pressure altitude, so each grid point is a column of levels by pressure altitude. Any grid whose
//! points the `grib` crate can locate is taken. Winds given relative to the grid (flag table 3.3, bit 5) are turned to true by
//! the angle between the grid's x direction and east: nothing on a latitude-longitude, Gaussian or Mercator grid,
//! `n (lon - LoV)` on a conic one (n = 1 about the pole), and the angle between the two parallels on a rotated one.
//!
//! # Below the model's ground
//! A model has values below its ground too, made up by extrapolation. A surface is dropped from a column where its height is below
//! the model's ground, or where there is no such field its pressure is above that at the ground; without either
//! field, where its height is below the ground the caller knows.
//!
//! # What cannot be decoded
//! Such a field is skipped with a note; only a file that is no GRIB2, or in pieces, is an error.
//!
//! Source: WMO Manual on Codes (WMO-No. 306), volume I.2, FM 92 GRIB edition 2, the tables named above (from memory, and as the
//! `grib` crate names them); J. P. Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395 (1987), pp. 105-107, for
//! the cone constant n (cited from memory).

mod cut;
mod heading;
mod messages;
mod overview;
mod turn;

pub use overview::{Overview, is_grib, looks_like_grib, overview, times_of};
pub use turn::cone_constant;

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use cut::Cut;
use heading::Kind;

use jiff::Timestamp;

use super::diagnostic::FileError;
use crate::air::{Datum, LevelValue, Station, isa};
use crate::earth::geodesic::distance_m;
use crate::earth::place::Position;
use messages::{decoded, each_field, guarded, unusable};

/// Standard gravity (m/s²) by which geopotential becomes geopotential height (WMO: 9.80665).
const GRAVITY_M_S2: f64 = 9.806_65;

/// A part of the Earth: all within a distance of a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// The middle.
    pub middle: Position,
    /// The distance, m.
    pub radius_m: f64,
}

impl Area {
    /// The area that holds some places; about their middle as unit vectors have it. `None` without a place, or with places all
    /// round the Earth.
    pub fn of(places: &[Position]) -> Option<Self> {
        let mut sum = [0.0; 3];
        for p in places {
            let (slat, clat) = p.lat_deg().to_radians().sin_cos();
            let (slon, clon) = p.lon_deg().to_radians().sin_cos();
            for (s, x) in sum.iter_mut().zip([clat * clon, clat * slon, slat]) {
                *s += x;
            }
        }
        let [x, y, z] = sum;
        let lat_deg = z.atan2(x.hypot(y)).to_degrees();
        let middle = Position::new(lat_deg, y.atan2(x).to_degrees()).ok()?;
        let far = |p: &Position| distance_m(middle, *p);
        let radius_m = places.iter().map(far).fold(f64::NAN, f64::max);
        radius_m.is_finite().then_some(Self { middle, radius_m })
    }
}

/// A forecast on a grid: one valid time, the grid points near the route.
#[derive(Debug, Clone, PartialEq)]
pub struct GridForecast {
    /// The time it is for.
    pub valid: Timestamp,
    /// Reference time of the model run.
    pub run: Timestamp,
    /// The files it is from, by their place in the list asked for.
    pub files: BTreeSet<usize>,
    /// Length of a row of grid points.
    pub width: usize,
    /// The grid points, row after row.
    pub points: Vec<GridPoint>,
    /// What a careful reader would remark.
    pub notes: Vec<String>,
}

/// One grid point.
#[derive(Debug, Clone, PartialEq)]
pub struct GridPoint {
    /// Where, as the file has it.
    pub lat_deg: f64,
    /// Longitude.
    pub lon_deg: f64,
    /// Height of the model's ground (m), if the files have it.
    pub ground_m: Option<f64>,
    /// Pressure at the model's ground (Pa), if the files have it.
    pub ground_pa: Option<f64>,
    /// From the ground up, those below the ground among them.
    pub levels: Vec<GridLevel>,
}

/// One isobaric surface at one grid point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridLevel {
    /// Its pressure (Pa).
    pub pressure_pa: f64,
    /// Wind to the true east (m/s).
    pub u_m_s: f64,
    /// Wind to the true north (m/s).
    pub v_m_s: f64,
    /// Temperature (K), if the files have it.
    pub temperature_k: Option<f64>,
    /// Geopotential height (m), if the files have it.
    pub height_m: Option<f64>,
}

impl GridPoint {
    /// The levels above the ground: that of the model, or where the files do not have it `ground_m`.
    pub fn above_ground(&self, ground_m: f64) -> impl Iterator<Item = &GridLevel> {
        self.levels
            .iter()
            .filter(move |l| match (self.ground_m, self.ground_pa, l.height_m) {
                (Some(ground), _, Some(height)) => height >= ground,
                (_, Some(pressure), _) => l.pressure_pa <= pressure,
                (_, None, Some(height)) => height >= ground_m,
                (_, None, None) => isa::pressure_altitude_m(l.pressure_pa) >= ground_m,
            })
    }

    /// The column of a wind field, with the levels above the ground.
    pub fn station(&self, ground_m: f64) -> Station {
        let level = |l: &GridLevel| LevelValue {
            datum: Datum::PressureAltitude,
            height_m: isa::pressure_altitude_m(l.pressure_pa),
            u_m_s: l.u_m_s,
            v_m_s: l.v_m_s,
            temperature_k: l.temperature_k,
        };
        Station {
            name: format!("grid point {:.2}, {:.2}", self.lat_deg, self.lon_deg),
            lat_deg: self.lat_deg,
            lon_deg: self.lon_deg,
            elevation_m: self.ground_m.unwrap_or(0.0),
            levels: self.above_ground(ground_m).map(level).collect(),
        }
    }
}

/// What is gathered for one grid at one time.
#[derive(Default)]
struct Gathered {
    run: Option<Timestamp>,
    files: BTreeSet<usize>,
    /// By pressure (in tenths of a pascal) and kind; with the run each is from.
    fields: BTreeMap<(u64, Kind), (Timestamp, Vec<f32>)>,
}

/// What is read of files: where, when, and how high.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ask {
    /// Where.
    pub area: Area,
    /// Fields of times whose period touches this one ([`super::weather::periods`]).
    pub from: Timestamp,
    /// Its end.
    pub to: Timestamp,
    /// Surfaces up to the first one above this pressure altitude, m.
    pub top_m: f64,
}

/// Reads the forecasts that are asked for, earliest first.
///
/// # Errors
/// As [`times_of`].
pub fn read(paths: &[PathBuf], ask: &Ask) -> Result<Vec<GridForecast>, FileError> {
    let times = times_of(paths)?;
    let periods = super::weather::periods(&times.iter().copied().collect::<Vec<_>>());
    let wanted: BTreeSet<Timestamp> = times
        .iter()
        .zip(&periods)
        .filter(|(_, (from, to))| *from <= ask.to && ask.from <= *to)
        .map(|(valid, _)| *valid)
        .collect();
    // The first surface above the top, by its pressure.
    let mut lid_pa: f64 = 0.0;
    for path in paths {
        each_field(path, |_, heading, _| {
            let high = isa::pressure_altitude_m(heading.pressure_pa) >= ask.top_m;
            if heading.kind == Kind::East && wanted.contains(&heading.valid) && high {
                lid_pa = lid_pa.max(heading.pressure_pa);
            }
        })?;
    }
    let mut cuts: BTreeMap<Vec<u8>, Option<Cut>> = BTreeMap::new();
    let mut grounds: BTreeMap<Vec<u8>, Vec<f32>> = BTreeMap::new();
    let mut sets: BTreeMap<(Timestamp, Vec<u8>), Gathered> = BTreeMap::new();
    let mut skipped: BTreeMap<Timestamp, Vec<String>> = BTreeMap::new();
    for (number, path) in paths.iter().enumerate() {
        each_field(path, |count, heading, message| {
            let ground = heading.kind == Kind::GroundHeight;
            let aloft = heading.pressure_pa > 0.0;
            if (aloft && heading.pressure_pa < lid_pa)
                || !(ground || wanted.contains(&heading.valid))
            {
                return;
            }
            let words = heading.words();
            let mut skip = |why: String| {
                let name = path.file_name().unwrap_or_default().display();
                skipped.entry(heading.valid).or_default().push(format!(
                    "field {count} of {name} ({words}) was skipped: {why}"
                ));
            };
            if !cuts.contains_key(&heading.grid) {
                let cut = guarded(|| Cut::new(&message, &ask.area));
                let cut = cut.map_err(&mut skip).ok();
                cuts.insert(heading.grid.clone(), cut);
            }
            let Some(Some(cut)) = cuts.get(&heading.grid) else {
                return;
            };
            let values = match decoded(message, cut) {
                Ok(values) => values,
                Err(why) => return skip(why),
            };
            if ground {
                grounds.insert(heading.grid, values);
                return;
            }
            let key = (heading.tenths(), heading.kind);
            let set = sets.entry((heading.valid, heading.grid)).or_default();
            set.files.insert(number);
            set.run = set.run.max(Some(heading.run));
            let newer = set
                .fields
                .get(&key)
                .is_none_or(|(run, _)| *run < heading.run);
            if newer {
                set.fields.insert(key, (heading.run, values));
            }
        })?;
    }
    let mut out: Vec<GridForecast> = Vec::new();
    for ((valid, grid), set) in sets {
        let Some(Some(cut)) = cuts.get(&grid) else {
            continue;
        };
        let Some(run) = set.run else { continue };
        let mut forecast = GridForecast {
            valid,
            run,
            files: set.files.clone(),
            width: cut.width,
            points: points(cut, grounds.get(&grid), &set),
            notes: Vec::new(),
        };
        let levels = |f: &GridForecast| f.points.iter().map(|p| p.levels.len()).sum::<usize>();
        if levels(&forecast) == 0 {
            continue;
        }
        // Two grids for one time: the one with more to say.
        match out.last_mut().filter(|last| last.valid == valid) {
            Some(last) if levels(last) >= levels(&forecast) => last.notes.push(OTHER_GRID.into()),
            Some(last) => {
                forecast.notes.push(OTHER_GRID.into());
                *last = forecast;
            }
            None => out.push(forecast),
        }
    }
    for forecast in &mut out {
        forecast
            .notes
            .extend(skipped.remove(&forecast.valid).unwrap_or_default());
    }
    // What kept a whole time from being read is said with the first that could be.
    let lost: Vec<String> = skipped.into_values().flatten().collect();
    match out.first_mut() {
        Some(first) => first.notes.extend(lost),
        None => {
            if let (Some(path), Some(why)) = (paths.first(), lost.first()) {
                return Err(unusable(
                    path,
                    format!("{}: no field could be used: {why}", path.display()),
                    "give a file whose grid covers the route",
                ));
            }
        }
    }
    Ok(out)
}

const OTHER_GRID: &str = "the files have this time on two grids; the one with more levels is used";

/// The columns of a grid.
fn points(cut: &Cut, ground: Option<&Vec<f32>>, set: &Gathered) -> Vec<GridPoint> {
    let pressures: BTreeSet<u64> = set.fields.keys().map(|k| k.0).filter(|p| *p > 0).collect();
    let value = |pressure: u64, kind: Kind, slot: usize| -> Option<f64> {
        let value = *set.fields.get(&(pressure, kind))?.1.get(slot)?;
        value.is_finite().then_some(f64::from(value))
    };
    let point = |(slot, &(lat_deg, lon_deg)): (usize, &(f64, f64))| {
        // from the ground up
        let levels = pressures.iter().rev().filter_map(|&p| {
            let (x, y) = (value(p, Kind::East, slot)?, value(p, Kind::North, slot)?);
            let (cos, sin) = cut.turns.as_ref().map_or((1.0, 0.0), |t| t[slot]);
            #[expect(clippy::cast_precision_loss, reason = "under 2^53")]
            let pressure_pa = p as f64 / 10.0;
            Some(GridLevel {
                pressure_pa,
                u_m_s: x * cos + y * sin,
                v_m_s: y * cos - x * sin,
                temperature_k: value(p, Kind::Temperature, slot),
                height_m: value(p, Kind::Height, slot)
                    .or_else(|| value(p, Kind::Geopotential, slot).map(|g| g / GRAVITY_M_S2)),
            })
        });
        GridPoint {
            lat_deg,
            lon_deg,
            ground_m: ground
                .and_then(|g| g.get(slot))
                .filter(|g| g.is_finite())
                .map(|g| f64::from(*g)),
            ground_pa: value(0, Kind::GroundPressure, slot),
            levels: levels.collect(),
        }
    };
    cut.at.iter().enumerate().map(point).collect()
}
