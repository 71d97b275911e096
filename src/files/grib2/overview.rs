//! What is in a file, without decoding its values.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use grib::{
    GridDefinitionTemplateValues as Template, GridPointIndex as _, LatLons as _, SubMessage,
};
use jiff::Timestamp;

use super::Area;
use super::cut::{Cut, far_m};
use super::heading::Kind;
use super::messages::{decoded, each_field, guarded, unusable};
use crate::earth::place::Position;
use crate::files::diagnostic::FileError;

/// The first message of a file begins within this many bytes.
const HEADING_BYTES: usize = 256;
/// What to do about a file without winds.
const ASK_FOR: &str = "ask for UGRD, VGRD, TMP and HGT on isobaric levels";

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
