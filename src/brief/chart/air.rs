//! The wind along the course by height and stretch, behind the heights: only where nothing else is.

use super::axes::Panel;
use super::labels::{Board, Label, Rect, Weight, spot};
use super::pen::{ARROW, FINE, Pen, SOFT, Tie};
use super::{ChartError, Figures};
use crate::brief::words::number;

/// Least room between columns and between rows.
const COLUMN: f64 = 76.0;
/// See [`COLUMN`].
const ROW: f64 = 23.0;
/// Length of an arrow in chart units a knot, the least and the most.
const A_KNOT: f64 = 0.5;
/// See [`A_KNOT`].
const LEAST: f64 = 6.0;
/// See [`A_KNOT`].
const MOST: f64 = 34.0;
/// Between figure and arrow.
const GAP: f64 = 3.0;

/// Every how manieth of things this far apart is shown.
fn stride(apart: f64, least: f64) -> usize {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "at least one, and a few dozen at most"
    )]
    let every = (least / apart.max(0.1)).ceil().clamp(1.0, 1_000.0) as usize;
    every
}

/// Draws the wind.
pub(super) fn winds(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    panel: &Panel,
) -> Result<(), ChartError> {
    let stretches = &f.conditions.winds;
    let narrowest = stretches
        .iter()
        .map(|s| panel.x(s.to_nm) - panel.x(s.from_nm))
        .fold(f64::INFINITY, f64::min);
    let column_step = stride(narrowest, COLUMN);
    let area = panel.area().grown(-2.0);
    for s in stretches.iter().skip(column_step / 2).step_by(column_step) {
        let x = panel.x(0.5 * (s.from_nm + s.to_nm));
        let apart = s
            .levels
            .windows(2)
            .map(|w| panel.y(w[0].indicated_altitude_ft) - panel.y(w[1].indicated_altitude_ft));
        let every_ft = 1_000.0 * count(stride(apart.fold(f64::INFINITY, f64::min), ROW));
        // The same heights in every stretch, whatever its ground.
        let shown = s
            .levels
            .iter()
            .filter(|l| (l.pressure_altitude_ft / every_ft).fract().abs() < 1e-6);
        for l in shown {
            let y = panel.y(l.indicated_altitude_ft);
            let label = Label::new(number(l.wind_along_kt.abs(), 0), FINE, SOFT);
            let long = if l.wind_along_kt.abs() < 0.5 {
                0.0
            } else {
                (A_KNOT * l.wind_along_kt.abs()).clamp(LEAST, MOST)
            };
            let wide = label.width() + GAP + long;
            let rect = Rect {
                left: x - 0.5 * wide,
                top: y - 0.45 * FINE,
                right: x + 0.5 * wide,
                bottom: y + 0.45 * FINE,
            };
            if !area.holds(rect) || !board.empty(rect.grown(2.0)) {
                continue;
            }
            board.offer(&label, &[spot(rect.left, y, Tie::Left)], Weight::Light);
            board.take(rect);
            if long > 0.0 {
                let start = rect.right - long;
                arrow(pen, (start, rect.right), y, l.wind_along_kt > 0.0)?;
            }
        }
    }
    Ok(())
}

fn count(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}

/// An arrow between two ends, the way the air goes: with the course to the right.
fn arrow(pen: &Pen, (left, right): (f64, f64), y: f64, with: bool) -> Result<(), ChartError> {
    const BARB: f64 = 4.0;
    let (tip, back) = if with {
        (right, right - BARB)
    } else {
        (left, left + BARB)
    };
    pen.line(&[(left, y), (right, y)], ARROW)?;
    pen.line(&[(back, y - 3.0), (tip, y), (back, y + 3.0)], ARROW)
}
