//! The chart: heights over distance, and what is set and what comes of it on the same distance axis.
//!
//! In the heights panel the path lies over ground, minimum altitudes, legal levels, what may not be entered, the 0 °C line, and the
//! runner-up's path; behind them the wind along the course. Below: manifold pressure, RPM, fuel flow, speeds.
//! Everything is told apart by line style and by a label beside it, so that it reads in grey.

mod air;
mod axes;
mod heights;
mod labels;
mod lower;
mod marks;
mod pen;

pub(super) use axes::tick;
pub(super) use labels::{Board, Label, Rect, Spot, Weight, fitted, spot};
#[cfg(feature = "png")]
pub use pen::in_pixels;
pub(super) use pen::{
    COLD, EARTH, EARTH_EDGE, EARTH_TEXT, FINE, FRAME, FREEZING, GRID, GROUND, HAIR, HATCH, INK,
    LARGE, MIDDLE, POINTER, Pen, SMALL, SOFT, Style, Tie, on_canvas, on_canvas_in_layers, style,
    text_width,
};

use super::words::{self, clock, inches};
use super::{EACH_ENGINE, Figures, ONE_ENGINE, Point, SegmentFigures, TITLE};

/// A5 landscape in chart units.
pub(super) const WIDTH: f64 = 1_000.0;
/// See [`WIDTH`].
pub(super) const HEIGHT: f64 = 707.0;
/// Left and right of the plots.
pub(super) const LEFT: f64 = 84.0;
/// See [`LEFT`].
pub(super) const RIGHT: f64 = 976.0;
/// Where the sheet's text begins.
pub(super) const SHEET_LEFT: f64 = 14.0;
/// Top and bottom of the heights panel.
pub(super) const HEIGHTS: (f64, f64) = (82.0, 384.0);
/// Top and bottom of the panels below.
const LOWER: (f64, f64) = (420.0, 655.0);
/// Least room between the figures of the heights: fewer than would fit, as much is written there.
const HEIGHT_FIGURE: f64 = 34.0;
/// The last row of the foot.
const FOOT: f64 = HEIGHT - 7.0;

/// Why a chart cannot be drawn.
#[derive(Debug, thiserror::Error)]
pub enum ChartError {
    /// There is nothing to draw.
    #[error("the plan has no path to draw")]
    Empty,
    /// The built-in font was refused.
    #[error("the built-in font cannot be used")]
    Font,
    /// The drawing library failed.
    #[error("drawing the chart: {0}")]
    Draw(String),
    /// Turning the drawing into pixels failed.
    #[error("turning the chart into pixels: {0}")]
    Pixels(String),
}

/// The whole sheet, text and all.
pub(super) fn sheet() -> Board {
    Board::new(Rect {
        left: 0.0,
        top: 0.0,
        right: WIDTH,
        bottom: HEIGHT,
    })
}

pub(super) fn path_of<'a>(
    f: &'a Figures,
    index: usize,
    s: &'a SegmentFigures,
) -> impl Iterator<Item = &'a Point> {
    f.track
        .iter()
        .filter(move |t| t.segment == index)
        .chain(std::iter::once(&s.end))
}

/// The point of a cruise whose figures stand for it: with a fixed pitch at full throttle RPM and speed settle only in it, as the
/// speed does where the flight begins level in the air.
pub(super) fn settled<'a>(f: &Figures, s: &'a SegmentFigures) -> &'a Point {
    if f.trip.fixed_pitch || (climbs_not(f) && s.start.time_min == 0.0) {
        &s.end
    } else {
        &s.start
    }
}

/// Whether the flight begins in the air with no climb before its first level.
pub(super) fn climbs_not(f: &Figures) -> bool {
    f.top_of_climb_min <= 0.0
}

/// What is set, in a few words.
pub(super) fn setting(f: &Figures, p: &Point) -> String {
    let map = format!("{} in", inches(p.map_inhg));
    words::setting(f.trip.fixed_pitch, &map, p.rpm)
}

fn title(f: &Figures) -> String {
    format!("{}, {}", f.route(), f.least())
}

fn header(board: &mut Board, f: &Figures) {
    let sum = format!(
        "{} in the air, {}",
        clock(f.totals.time_min),
        f.units.burned(f.totals.fuel_gal)
    );
    let sum = Label::new(sum, MIDDLE, INK);
    board.fix(&sum, spot(RIGHT, 20.0, Tie::Right));
    let wide = RIGHT - SHEET_LEFT;
    let (text, size) = fitted(&title(f), (LARGE, FINE), true, wide - sum.width() - 20.0);
    let at = |y: f64| spot(SHEET_LEFT, y, Tie::Left);
    board.fix(&Label::bold(text, size, INK), at(20.0));
    let (text, size) = fitted(&f.in_one_line, (MIDDLE, FINE), false, wide);
    board.fix(&Label::new(text, size, INK), at(43.0));
}

/// The foot: what the marks mean, and what the sheet is.
fn foot(board: &mut Board, f: &Figures, panel: &axes::Panel) {
    let mut key = "Heights indicated. Arrows: wind along the course, kt. Marks at the ends of legs: legal levels.".to_owned();
    let freezing = &f.conditions.freezing;
    if heights::freezing_lines(freezing, panel).is_empty() && !freezing.is_empty() {
        key.push_str(if freezing.iter().all(|p| p.ground_temperature_c <= 0.0) {
            " Below 0 °C from the ground up."
        } else {
            " 0 °C lies above this chart."
        });
    }
    let mut rows = vec![format!("{TITLE}. {key}")];
    if f.trip.engines > 1 {
        rows.insert(0, format!("{ONE_ENGINE} {EACH_ENGINE}"));
    }
    let mut y = FOOT;
    for row in rows.iter().rev() {
        let (text, size) = fitted(row, (FINE, FINE), false, RIGHT - SHEET_LEFT);
        let label = Label::new(text, size, SOFT);
        board.fix(&label, spot(SHEET_LEFT, y, Tie::Left));
        y -= 13.0;
    }
}

fn draw(pen: &Pen, f: &Figures) -> Result<(), ChartError> {
    let mut sheet = sheet();
    let board = &mut sheet;
    let panel = heights::panel(f);
    header(board, f);
    foot(board, f, &panel);
    // What is drawn, from the back.
    panel.axis(pen, board, &["ft"], (500.0, HEIGHT_FIGURE), words::feet)?;
    heights::behind(pen, board, f, &panel)?;
    axes::via_points(pen, board, f, &panel)?;
    heights::runner_up(pen, board, f, &panel)?;
    heights::path(pen, board, f, &panel)?;
    axes::distance_axis(pen, board, f, &panel)?;
    lower::panels(pen, board, f)?;
    // What is written, the weightiest first, and the wind in what is left.
    axes::places(board, f, &panel);
    marks::path_labels(pen, board, f, &panel)?;
    heights::ground_words(board, f, &panel);
    heights::minimums(board, f, &panel);
    heights::barred_names(board, f, &panel);
    marks::runner_up(pen, board, f, &panel)?;
    marks::freezing(board, f, &panel);
    heights::legal_level_figures(board, f, &panel);
    air::winds(pen, board, f, &panel)?;
    board.write(pen)
}

/// The chart as SVG.
///
/// # Errors
/// [`ChartError`]: a plan without a path, or a failure of the drawing library, which would be our bug.
pub fn svg(figures: &Figures) -> Result<String, ChartError> {
    if figures.track.len() < 2 || figures.segments.is_empty() || figures.totals.distance_nm <= 0.0 {
        return Err(ChartError::Empty);
    }
    let description = format!("{}. {TITLE}.", figures.in_one_line);
    on_canvas((&title(figures), &description), |pen| draw(pen, figures))
}

/// The chart as PNG, two pixels to a chart unit.
///
/// # Errors
/// As [`svg`].
#[cfg(feature = "png")]
pub fn png(figures: &Figures) -> Result<Vec<u8>, ChartError> {
    in_pixels(&svg(figures)?)
}

#[cfg(test)]
mod tests;
