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

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{BufReader, Read as _};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use grib::def::grib2::template::param_set;
use grib::{
    GridDefinitionTemplateValues as Template, GridPointIndex as _, LatLons as _, SubMessage,
};
use jiff::{Timestamp, civil, tz::TimeZone};

use super::diagnostic::{FileError, Finding, FindingKind};
use crate::air::{Datum, LevelValue, Station, isa};
use crate::earth::geodesic::distance_m;
use crate::earth::place::Position;
use crate::quantity::M_PER_NM;

/// The first message of a file begins within this many bytes.
const HEADING_BYTES: usize = 256;
/// What to do about a file without winds.
const ASK_FOR: &str = "ask for UGRD, VGRD, TMP and HGT on isobaric levels";
/// Most grid points of a field: a global grid of 1/12 degree has 9.3 million.
const MOST_POINTS: u32 = 20_000_000;
/// Grid points this many cell diagonals from the area are kept: those of the cells that reach out of it, and one more.
const KEEP_CELLS: f64 = 2.0;
/// Standard gravity (m/s²) by which geopotential becomes geopotential height (WMO: 9.80665).
const GRAVITY_M_S2: f64 = 9.806_65;
/// A grid closes on itself when its last column is no farther from the first than this many steps.
const CLOSES: f64 = 1.5;

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

/// What a field is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    East,
    North,
    Temperature,
    Height,
    Geopotential,
    GroundHeight,
    GroundPressure,
}

impl Kind {
    fn words(self) -> &'static str {
        match self {
            Self::East => "wind to the east",
            Self::North => "wind to the north",
            Self::Temperature => "temperature",
            Self::Height => "height",
            Self::Geopotential => "geopotential",
            Self::GroundHeight => "height of the ground",
            Self::GroundPressure => "pressure at the ground",
        }
    }
}

/// A field as its headings have it.
struct Heading {
    kind: Kind,
    /// Pressure of its surface (Pa); zero at the ground.
    pressure_pa: f64,
    valid: Timestamp,
    run: Timestamp,
    /// The grid as coded: fields of the same code are on the same points.
    grid: Vec<u8>,
}

impl Heading {
    /// What the field is of, and where.
    fn words(&self) -> String {
        let of = self.kind.words();
        if self.pressure_pa > 0.0 {
            format!("{of} at {:.0} hPa", self.pressure_pa / 100.0)
        } else {
            of.to_owned()
        }
    }

    /// Its pressure in tenths of a pascal.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a pressure in tenths of a pascal"
    )]
    fn tenths(&self) -> u64 {
        (self.pressure_pa * 10.0).round() as u64
    }
}

/// The moment a field is for and that of the run: reference time, and forecast time in the units of code table 4.4.
fn times<R>(message: &SubMessage<'_, R>) -> Option<(Timestamp, Timestamp)> {
    let raw = message.temporal_raw_info();
    let t = raw.ref_time_unchecked;
    let date = civil::Date::new(
        i16::try_from(t.year).ok()?,
        i8::try_from(t.month).ok()?,
        i8::try_from(t.day).ok()?,
    )
    .ok()?;
    let clock = civil::Time::new(
        i8::try_from(t.hour).ok()?,
        i8::try_from(t.minute).ok()?,
        i8::try_from(t.second.min(59)).ok()?,
        0,
    )
    .ok()?;
    let run = TimeZone::UTC.to_timestamp(date.to_datetime(clock)).ok()?;
    let payload: Vec<u8> = message.prod_def().iter().copied().collect();
    // Octets 18 and 19-22 of the section: after its 5 of heading, 13 on.
    let unit_s: i64 = match payload.get(12)? {
        0 => 60,
        1 => 3_600,
        2 => 86_400,
        10 => 3 * 3_600,
        11 => 6 * 3_600,
        12 => 12 * 3_600,
        13 => 1,
        _ => return None,
    };
    let count: [u8; 4] = payload.get(13..17)?.try_into().ok()?;
    // sign and magnitude, as everywhere in GRIB2: an analysis may lie before the reference time
    let count = u32::from_be_bytes(count);
    let steps = i64::from(count & 0x7fff_ffff) * if count >> 31 == 1 { -1 } else { 1 };
    let ahead = jiff::SignedDuration::from_secs(steps.checked_mul(unit_s)?);
    // Code table 1.2: 2 says that the reference time is already the one the forecast is for.
    let valid = if message.identification().ref_time_significance() == 2 {
        run
    } else {
        run.checked_add(ahead).ok()?
    };
    Some((valid, run))
}

/// The headings of a field that is read here.
fn heading<R>(message: &SubMessage<'_, R>) -> Option<Heading> {
    let product = message.prod_def();
    if message.indicator().discipline != 0 || product.prod_tmpl_num() > 2 {
        return None;
    }
    let (surface, _) = product.fixed_surfaces()?;
    let number = (product.parameter_category()?, product.parameter_number()?);
    let kind = match (surface.surface_type, number) {
        (100, (2, 2)) => Kind::East,
        (100, (2, 3)) => Kind::North,
        (100, (0, 0)) => Kind::Temperature,
        (100, (3, 5)) => Kind::Height,
        (100, (3, 4)) => Kind::Geopotential,
        (1, (3, 5)) => Kind::GroundHeight,
        (1, (3, 0)) => Kind::GroundPressure,
        _ => return None,
    };
    let pressure_pa = if surface.surface_type == 100 {
        surface.value()
    } else {
        0.0
    };
    let pressed = surface.surface_type != 100 || pressure_pa > 0.0;
    let (valid, run) = times(message)?;
    pressed.then(|| Heading {
        kind,
        pressure_pa,
        valid,
        run,
        grid: message.grid_def().iter().copied().collect(),
    })
}

/// The grid points kept of one grid.
struct Cut {
    width: usize,
    /// Latitude and longitude (deg), row after row.
    at: Vec<(f64, f64)>,
    /// Place among the values as stored, and place here; by the former.
    picks: Vec<(usize, usize)>,
    /// Cosine and sine of the angle from east to the grid's x direction, where winds are relative to the grid.
    turns: Option<Vec<(f64, f64)>>,
}

/// Great-circle distance (m), quick.
fn far_m(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (f1, f2) = (a.0.to_radians(), b.0.to_radians());
    let half = |x: f64| (0.5 * x).sin().powi(2);
    let h = half(f2 - f1) + f1.cos() * f2.cos() * half((b.1 - a.1).to_radians());
    2.0 * 6_371_008.8 * h.min(1.0).sqrt().asin()
}

impl Cut {
    /// The rows and columns of a grid that reach into an area. `Err` says why the grid cannot be used.
    fn new<R>(message: &SubMessage<'_, R>, area: &Area) -> Result<Self, String> {
        if message.grid_def().num_points() > MOST_POINTS {
            return Err(format!("its grid has more than {MOST_POINTS} points"));
        }
        let plain = |e: grib::GribError| e.to_string();
        let template = Template::try_from(message.grid_def()).map_err(plain)?;
        let (ni, nj) = template.grid_shape();
        if ni < 2 || nj < 2 {
            return Err("its grid is no more than a line".to_owned());
        }
        let order = message.ij().map_err(plain)?;
        let mut at = vec![(f64::NAN, f64::NAN); ni * nj];
        let mut stored = vec![0_usize; ni * nj];
        for (k, ((i, j), place)) in order.zip(message.latlons().map_err(plain)?).enumerate() {
            let node = j * ni + i;
            *at.get_mut(node).ok_or("its grid is out of order")? = place;
            stored[node] = k;
        }
        if at.iter().any(|p| !(p.0.abs() <= 90.0 && p.1.is_finite())) {
            return Err("its grid has points that are nowhere".to_owned());
        }
        let (i, j) = (ni / 2 - 1, nj / 2 - 1);
        let cell_m = far_m(at[j * ni + i], at[(j + 1) * ni + i + 1]);
        let radius_m = area.radius_m + KEEP_CELLS * cell_m;
        let middle = (area.middle.lat_deg(), area.middle.lon_deg());
        let reach_deg = (radius_m / (60.0 * M_PER_NM)) * 1.01;
        let (mut columns, mut rows) = (vec![false; ni], vec![false; nj]);
        for (node, &place) in at.iter().enumerate() {
            if (place.0 - middle.0).abs() <= reach_deg && far_m(place, middle) <= radius_m {
                columns[node % ni] = true;
                rows[node / ni] = true;
            }
        }
        let closes =
            far_m(at[j * ni + ni - 1], at[j * ni]) <= CLOSES * far_m(at[j * ni], at[j * ni + 1]);
        let (Some(rows), Some(columns)) = (span(&rows, false), span(&columns, closes)) else {
            return Err("its grid does not reach the route".to_owned());
        };
        let mut cut = Self {
            width: columns.len(),
            at: Vec::new(),
            picks: Vec::new(),
            turns: turned(&template).then(Vec::new),
        };
        for &j in &rows {
            for &i in &columns {
                let node = j * ni + i;
                cut.picks.push((stored[node], cut.at.len()));
                cut.at.push(at[node]);
                if let Some(turns) = &mut cut.turns {
                    let (sin, cos) = turn(&template, at[node]).sin_cos();
                    turns.push((cos, sin));
                }
            }
        }
        cut.picks.sort_unstable();
        Ok(cut)
    }

    /// The values of a field at the points kept; NaN where it has none.
    fn pick(&self, values: impl Iterator<Item = f32>) -> Vec<f32> {
        let mut out = vec![f32::NAN; self.at.len()];
        let mut picks = self.picks.iter().peekable();
        for (k, value) in values.enumerate() {
            while let Some((_, slot)) = picks.next_if(|p| p.0 == k) {
                out[*slot] = value;
            }
            if picks.peek().is_none() {
                break;
            }
        }
        out
    }
}

/// Those marked and what lies between them, and one more on either side, in order. Where a line closes on itself it is opened in
/// the longest stretch without a mark; if all is marked, the first comes again at the end.
fn span(marked: &[bool], closes: bool) -> Option<Vec<usize>> {
    let count = marked.len();
    let first = marked.iter().position(|m| *m)?;
    let last = marked.iter().rposition(|m| *m)?;
    if !closes {
        return Some((first.saturating_sub(1)..=(last + 1).min(count - 1)).collect());
    }
    let (mut from, mut longest, mut run) = (0, 0, 0);
    for step in 0..count {
        // once round from the first mark
        if marked[(first + step) % count] {
            run = 0;
        } else {
            run += 1;
            if run > longest {
                (longest, from) = (run, first + step + 1);
            }
        }
    }
    if longest < 3 {
        return Some((0..=count).map(|i| i % count).collect());
    }
    // `from` is the first mark after the gap
    Some(
        (0..count - longest + 2)
            .map(|i| (from + count - 1 + i) % count)
            .collect(),
    )
}

/// Whether the winds of a grid are relative to it (flag table 3.3, bit 5, the first bit being the highest).
fn turned(template: &Template) -> bool {
    const RELATIVE: u8 = 0b0000_1000;
    let param_set::ResolutionAndComponentFlags(flags) = match template {
        Template::Template0(t) => t.lat_lon.grid.resolution_and_component_flags,
        Template::Template1(t) => t.lat_lon.grid.resolution_and_component_flags,
        Template::Template10(t) => t.resolution_and_component_flags,
        Template::Template20(t) => t.resolution_and_component_flags,
        Template::Template30(t) => t.resolution_and_component_flags,
        Template::Template40(t) => t.gaussian.grid.resolution_and_component_flags,
        Template::Template41(t) => t.gaussian.grid.resolution_and_component_flags,
        _ => return false,
    };
    flags & RELATIVE != 0
}

/// Angle (rad) from true north to the grid's y direction at a place (deg), clockwise; so much is east turned from the x direction.
fn turn(template: &Template, (lat_deg, lon_deg): (f64, f64)) -> f64 {
    const UNIT_DEG: f64 = 1e-6;
    let from = |meridian_deg: f64| {
        let off = (lon_deg - meridian_deg).rem_euclid(360.0);
        if off > 180.0 { off - 360.0 } else { off }.to_radians()
    };
    match template {
        Template::Template20(t) => {
            let n = if t
                .projection_centre
                .contains_north_pole_on_projection_plane()
            {
                1.0
            } else {
                -1.0
            };
            n * from(f64::from(t.lov) * UNIT_DEG)
        }
        Template::Template30(t) => {
            let latin = |x: i32| (f64::from(x) * UNIT_DEG).to_radians();
            cone_constant(latin(t.latin1), latin(t.latin2)) * from(f64::from(t.lov) * UNIT_DEG)
        }
        Template::Template1(t) => from_pole(&t.rotation, lat_deg, lon_deg),
        Template::Template41(t) => from_pole(&t.rotation, lat_deg, lon_deg),
        // x runs along the parallels
        _ => 0.0,
    }
}

/// Cone constant n of the Lambert conformal projection with two standard parallels (rad): Snyder, equation 15-8 for two, and
/// sin of it for one.
pub fn cone_constant(first_rad: f64, second_rad: f64) -> f64 {
    if (first_rad - second_rad).abs() < 1e-9 {
        return first_rad.sin();
    }
    let quarter = std::f64::consts::FRAC_PI_4;
    (first_rad.cos() / second_rad.cos()).ln()
        / ((quarter + 0.5 * second_rad).tan() / (quarter + 0.5 * first_rad).tan()).ln()
}

/// The angle between the parallel of a rotated grid and the true one: x runs along `pole x place` of the grid's own north pole.
fn from_pole(rotation: &param_set::Rotation, lat_deg: f64, lon_deg: f64) -> f64 {
    let unit = |lat: f64, lon: f64| {
        let ((slat, clat), (slon, clon)) = (lat.sin_cos(), lon.sin_cos());
        [clat * clon, clat * slon, slat]
    };
    let south = unit(
        (f64::from(rotation.south_pole_lat) * 1e-6).to_radians(),
        (f64::from(rotation.south_pole_lon) * 1e-6).to_radians(),
    );
    let (lat, lon) = (lat_deg.to_radians(), lon_deg.to_radians());
    let r = unit(lat, lon);
    let p = south.map(|x| -x);
    let x = [
        p[1] * r[2] - p[2] * r[1],
        p[2] * r[0] - p[0] * r[2],
        p[0] * r[1] - p[1] * r[0],
    ];
    let dot = |a: [f64; 3]| (0..3).map(|i| a[i] * x[i]).sum::<f64>();
    let east = [-lon.sin(), lon.cos(), 0.0];
    let north = unit(lat + std::f64::consts::FRAC_PI_2, lon);
    // x = east cos(a) - north sin(a)
    (-dot(north)).atan2(dot(east))
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

fn unusable(path: &Path, message: String, hint: &str) -> FileError {
    let finding = Finding::new(FindingKind::Syntax, "", None, message).hint(hint);
    FileError::new(path, "", vec![finding])
}

/// The crate is young: a panic in it on a damaged field is a field that cannot be decoded.
fn guarded<T>(work: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| Err("it is damaged".to_owned()))
}

/// The values of a field at the points kept of its grid. `Err` says why it cannot be decoded.
fn decoded<R: grib::Grib2Read>(message: SubMessage<'_, R>, cut: &Cut) -> Result<Vec<f32>, String> {
    guarded(|| {
        let plain = |e: grib::GribError| e.to_string();
        let decoder = grib::Grib2SubmessageDecoder::from(message).map_err(plain)?;
        let values = decoder.dispatch().map_err(plain)?;
        Ok(cut.pick(values))
    })
}

/// Calls for every field of a file that is read here, in order: its number from 1, its headings, and the message.
fn each_field(
    path: &Path,
    mut visit: impl FnMut(usize, Heading, SubMessage<'_, grib::SeekableGrib2Reader<BufReader<File>>>),
) -> Result<usize, FileError> {
    let file = File::open(path).map_err(|e| FileError::unreadable(path, &e))?;
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        let why = std::io::Error::other("it is a directory");
        return Err(FileError::unreadable(path, &why));
    }
    let shown = path.display();
    let whole = guarded(|| grib::from_reader(BufReader::new(file)).map_err(|e| e.to_string()))
        .and_then(|whole| {
            if whole.is_empty() {
                Err("there is no message in it".to_owned())
            } else {
                Ok(whole)
            }
        })
        .map_err(|why| {
            if !is_grib(path) {
                return unusable(
                    path,
                    format!("{shown} is not GRIB2: it does not begin with GRIB"),
                    "give a GRIB2 file, not compressed; a bulletin is named in weather.bulletins",
                );
            }
            let short = ["failed to fill whole buffer", "Unexpected end of data"];
            let why = if short.iter().any(|words| why.contains(words)) {
                "it ends in the middle of a message".to_owned()
            } else {
                why
            };
            unusable(
                path,
                format!("cannot read {shown} as GRIB2: {why}"),
                "fetch the file again; it must be GRIB edition 2, whole, and not compressed",
            )
        })?;
    let mut count = 0;
    for (_, message) in &whole {
        count += 1;
        if let Ok(Some(heading)) = guarded(|| Ok(heading(&message))) {
            visit(count, heading, message);
        }
    }
    Ok(count)
}

/// A file in short, wherever it is for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Overview {
    /// Fields in it, those that are passed over among them.
    pub fields: usize,
    /// What there is of, in words, and on how many isobaric surfaces; none at the ground.
    pub kinds: Vec<(&'static str, usize)>,
    /// Pressure of the lowest and of the highest isobaric surface (Pa).
    pub surfaces_pa: Option<(f64, f64)>,
    /// The times there is anything for.
    pub valid: BTreeSet<Timestamp>,
    /// Each grid in words.
    pub grids: Vec<String>,
    /// Fields that cannot be decoded, and why.
    pub skipped: Vec<String>,
}

/// A grid in words, and a place about its middle.
fn grid_words<R>(message: &SubMessage<'_, R>) -> Result<(String, Position), String> {
    let plain = |e: grib::GribError| e.to_string();
    let template = Template::try_from(message.grid_def()).map_err(plain)?;
    let (ni, nj) = template.grid_shape();
    let at: Vec<(f64, f64)> = message.latlons().map_err(plain)?.collect();
    let position = |place: Option<&(f64, f64)>| {
        let (lat, lon) = place.ok_or("its grid has no points")?;
        let lon = (lon + 180.0).rem_euclid(360.0) - 180.0;
        Position::new(*lat, lon).map_err(|_| "its grid has points that are nowhere")
    };
    let (first, last) = (position(at.first())?, position(at.last())?);
    let apart = match (&template, at.as_slice()) {
        (Template::Template0(_) | Template::Template40(_), [a, b, ..]) => {
            let east = (b.1 - a.1 + 180.0).rem_euclid(360.0) - 180.0;
            let degrees = (b.0 - a.0).abs().max(east.abs());
            format!("{} degree", (degrees * 1e4).round() / 1e4)
        }
        (_, [a, b, ..]) => format!("{:.0} km", far_m(*a, *b) / 1_000.0),
        _ => return Err("its grid is no more than a point".to_owned()),
    };
    let corner = |p: Position| {
        let ns = if p.lat_deg() < 0.0 { 'S' } else { 'N' };
        let ew = if p.lon_deg() < 0.0 { 'W' } else { 'E' };
        format!("{:.1}{ns} {:.1}{ew}", p.lat_deg().abs(), p.lon_deg().abs())
    };
    let words = format!(
        "{apart} grid of {ni} by {nj} points, {} to {}",
        corner(first),
        corner(last)
    );
    Ok((words, position(at.get(at.len() / 2))?))
}

/// Whether a file is meant to be GRIB: the word and an edition in its first message, which a heading may stand before.
pub fn looks_like_grib(bytes: &[u8]) -> bool {
    let head = bytes.get(..HEADING_BYTES).unwrap_or(bytes);
    head.windows(8)
        .any(|w| w.starts_with(b"GRIB") && matches!(w[7], 1 | 2))
}

/// The same of the file at a path; not, if it cannot be read.
pub fn is_grib(path: &Path) -> bool {
    let mut head = Vec::new();
    let read =
        File::open(path).and_then(|file| file.take(HEADING_BYTES as u64).read_to_end(&mut head));
    read.is_ok() && looks_like_grib(&head)
}

/// Decodes every field that is read here, keeping one point of its grid, and says what there is.
///
/// # Errors
/// [`FileError`] if the file cannot be read, is no GRIB2, or has nothing that is read here.
pub fn overview(path: &Path) -> Result<Overview, FileError> {
    let mut out = Overview::default();
    let mut cuts: BTreeMap<Vec<u8>, Option<Cut>> = BTreeMap::new();
    let mut kinds: BTreeMap<Kind, BTreeSet<u64>> = BTreeMap::new();
    out.fields = each_field(path, |count, heading, message| {
        let words = heading.words();
        let mut skip = |why: String| out.skipped.push(format!("field {count} ({words}): {why}"));
        if !cuts.contains_key(&heading.grid) {
            let cut = guarded(|| {
                let (words, middle) = grid_words(&message)?;
                let radius_m = 0.0;
                Ok((words, Cut::new(&message, &Area { middle, radius_m })?))
            });
            let cut = cut.map_err(&mut skip).ok().map(|(words, cut)| {
                out.grids.push(words);
                cut
            });
            cuts.insert(heading.grid.clone(), cut);
        }
        let Some(Some(cut)) = cuts.get(&heading.grid) else {
            return;
        };
        if let Err(why) = decoded(message, cut) {
            return skip(why);
        }
        out.valid.insert(heading.valid);
        kinds
            .entry(heading.kind)
            .or_default()
            .insert(heading.tenths());
    })?;
    let aloft = |at: &BTreeSet<u64>| at.iter().filter(|t| **t > 0).count();
    out.kinds = kinds.iter().map(|(k, at)| (k.words(), aloft(at))).collect();
    let surfaces = kinds.values().flatten().copied().filter(|t| *t > 0);
    #[expect(clippy::cast_precision_loss, reason = "under 2^53")]
    let pa = |tenths: u64| tenths as f64 / 10.0;
    out.surfaces_pa = surfaces
        .clone()
        .max()
        .zip(surfaces.min())
        .map(|(a, b)| (pa(a), pa(b)));
    if out.kinds.is_empty() {
        let why = out
            .skipped
            .first()
            .map_or(String::new(), |s| format!("; {s}"));
        let message = format!(
            "{}: of {} field(s) none could be read as wind, temperature or height on an isobaric surface{why}",
            path.display(),
            out.fields
        );
        return Err(unusable(path, message, ASK_FOR));
    }
    Ok(out)
}

/// Every time the files have wind on isobaric surfaces for, in order.
///
/// # Errors
/// [`FileError`] if a file cannot be read, is no GRIB2, or has no such wind.
pub fn times_of(paths: &[PathBuf]) -> Result<BTreeSet<Timestamp>, FileError> {
    let mut all = BTreeSet::new();
    let mut fields = 0;
    for path in paths {
        fields += each_field(path, |_, heading, _| {
            // A file may hold only temperatures, or only the ground, for another one.
            if heading.kind == Kind::East {
                all.insert(heading.valid);
            }
        })?;
    }
    if let (true, Some(path)) = (all.is_empty(), paths.first()) {
        return Err(unusable(
            path,
            format!(
                "{}: of {fields} field(s) none is wind on an isobaric surface",
                path.display()
            ),
            ASK_FOR,
        ));
    }
    Ok(all)
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
