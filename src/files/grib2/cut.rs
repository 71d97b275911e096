//! The grid points of a field that are near the route.

use grib::{
    GridDefinitionTemplateValues as Template, GridPointIndex as _, LatLons as _, SubMessage,
};

use super::Area;
use super::turn::{turn, turned};
use crate::quantity::M_PER_NM;

/// Most grid points of a field: a global grid of 1/12 degree has 9.3 million.
const MOST_POINTS: u32 = 20_000_000;
/// Grid points this many cell diagonals from the area are kept: those of the cells that reach out of it, and one more.
const KEEP_CELLS: f64 = 2.0;
/// A grid closes on itself when its last column is no farther from the first than this many steps.
const CLOSES: f64 = 1.5;

/// The grid points kept of one grid.
pub(super) struct Cut {
    pub(super) width: usize,
    /// Latitude and longitude (deg), row after row.
    pub(super) at: Vec<(f64, f64)>,
    /// Place among the values as stored, and place here; by the former.
    picks: Vec<(usize, usize)>,
    /// Cosine and sine of the angle from east to the grid's x direction, where winds are relative to the grid.
    pub(super) turns: Option<Vec<(f64, f64)>>,
}

/// Great-circle distance (m), quick.
pub(super) fn far_m(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (f1, f2) = (a.0.to_radians(), b.0.to_radians());
    let half = |x: f64| (0.5 * x).sin().powi(2);
    let h = half(f2 - f1) + f1.cos() * f2.cos() * half((b.1 - a.1).to_radians());
    2.0 * 6_371_008.8 * h.min(1.0).sqrt().asin()
}

impl Cut {
    /// The rows and columns of a grid that reach into an area. `Err` says why the grid cannot be used.
    pub(super) fn new<R>(message: &SubMessage<'_, R>, area: &Area) -> Result<Self, String> {
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
    pub(super) fn pick(&self, values: impl Iterator<Item = f32>) -> Vec<f32> {
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
