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
pub(super) use pen::in_pixels;
pub(super) use pen::{
    COLD, EARTH, FINE, FRAME, FREEZING, GRID, GROUND, INK, LARGE, MIDDLE, POINTER, Pen, SMALL, SOFT,
    Style, Tie, on_canvas,
};

use super::words::{self, clock, inches, number, up};
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
const HEIGHTS: (f64, f64) = (82.0, 384.0);
/// Top and bottom of the panels below.
const LOWER: (f64, f64) = (420.0, 660.0);
/// Top of the last row of the foot.
const FOOT: f64 = HEIGHT - 8.0;

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

fn path_of<'a>(
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
fn settled<'a>(f: &Figures, s: &'a SegmentFigures) -> &'a Point {
    if f.trip.fixed_pitch || (climbs_not(f) && s.start.time_min == 0.0) {
        &s.end
    } else {
        &s.start
    }
}

/// Whether the flight begins in the air with no climb before its first level.
fn climbs_not(f: &Figures) -> bool {
    f.top_of_climb_min <= 0.0
}

/// What is set, in a few words.
fn setting(f: &Figures, p: &Point) -> String {
    let map = format!("{} in", inches(p.map_inhg));
    words::setting(f.trip.fixed_pitch, &map, p.rpm)
}

fn title(f: &Figures) -> String {
    format!("{}, {}", f.route(), f.least())
}

fn header(board: &mut Board, f: &Figures) {
    let sum = format!(
        "{} in the air, {} gal",
        clock(f.totals.time_min),
        number(up(f.totals.fuel_gal, 1), 1)
    );
    let sum = Label::new(sum, MIDDLE, INK);
    board.offer(&sum, &[spot(RIGHT, 20.0, Tie::Right)], Weight::Heavy);
    let wide = RIGHT - SHEET_LEFT;
    let (text, size) = fitted(
        &title(f),
        (LARGE, FINE),
        true,
        wide - sum.width() - 20.0,
    );
    let at = |y: f64| [spot(SHEET_LEFT, y, Tie::Left)];
    board.offer(&Label::bold(text, size, INK), &at(20.0), Weight::Heavy);
    let (text, size) = fitted(&f.in_one_line, (MIDDLE, FINE), false, wide);
    board.offer(&Label::new(text, size, INK), &at(43.0), Weight::Heavy);
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
        board.offer(&label, &[spot(SHEET_LEFT, y, Tie::Left)], Weight::Heavy);
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
    panel.axis(pen, board, &["ft"], 500.0, words::feet)?;
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
    marks::runner_up(board, f, &panel);
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
mod tests {
    use super::*;
    use crate::brief::sample;

    /// Text of the drawing, in order.
    fn texts(svg: &str) -> Vec<String> {
        svg.split("<text")
            .skip(1)
            .filter_map(|t| {
                t.split_once('>')?
                    .1
                    .split_once("</text>")
                    .map(|t| t.0.trim().to_owned())
            })
            .collect()
    }

    #[test]
    fn closed_form_chart_has_its_labels() {
        let f = sample::figures();
        let all = texts(&svg(f).expect("draws"));
        let joined = all.join("\n");
        for label in [
            "AAA to BBB via MID, least money".to_owned(),
            f.in_one_line.clone(),
            "TOC".to_owned(),
            "TOD".to_owned(),
            format!("{:.0} nm to go, at", f.top_of_descent_to_go_nm.ceil()),
            "MAP".to_owned(),
            "RPM".to_owned(),
            "head wind, at flown height".to_owned(),
            "highest ground of each stretch".to_owned(),
            "minimum AAA to MID: 9,100 ft".to_owned(),
            "10,500 ft".to_owned(),
            "AAA, 4,227 ft".to_owned(),
            "MID".to_owned(),
            "BBB, 2,871 ft".to_owned(),
            TITLE.to_owned(),
        ] {
            assert!(joined.contains(&label), "no {label:?} in {joined}");
        }
    }

    #[test]
    fn closed_form_everything_lies_on_the_sheet() {
        let text = svg(sample::figures()).expect("draws");
        assert!(
            text.contains("viewBox=\"0 0 10000 7070\"")
                && text.contains("width=\"1000\" height=\"707\"")
        );
        let mut seen = 0;
        for list in text
            .split("points=\"")
            .skip(1)
            .filter_map(|t| t.split('"').next())
        {
            for pair in list.split_whitespace() {
                let (x, y) = pair.split_once(',').expect("x,y");
                let (x, y): (f64, f64) = (x.parse().expect("x"), y.parse().expect("y"));
                assert!(
                    (0.0..=10_000.0).contains(&x) && (0.0..=7_070.0).contains(&y),
                    "{pair}"
                );
                seen += 1;
            }
        }
        assert!(seen > 200, "{seen}");
    }

    #[test]
    fn closed_form_same_plan_same_drawing() {
        assert_eq!(
            svg(sample::figures()).expect("draws"),
            svg(sample::figures()).expect("draws")
        );
    }

    #[test]
    fn closed_form_a_twin_says_so_at_the_foot_and_a_fixed_pitch_has_no_map() {
        let single = texts(&svg(sample::figures()).expect("draws")).join("\n");
        assert!(!single.contains("one engine") && !single.contains(EACH_ENGINE));
        let twin = texts(&svg(&sample::twin()).expect("draws")).join("\n");
        // The drawing escapes the apostrophe.
        let start = ONE_ENGINE.split('\'').next().expect("a first part");
        assert!(twin.contains(start) && twin.contains(EACH_ENGINE), "{twin}");
        // Its foot ends on the sheet.
        assert!(14.0 + text_width(&format!("{ONE_ENGINE} {EACH_ENGINE}"), 11.0) < RIGHT);
        for left in [false, true] {
            let (problem, plan) = sample::fixed_pitch(left);
            let f = Figures::new(&plan, &problem);
            let all = texts(&svg(&f).expect("draws"));
            assert!(
                !all.iter()
                    .any(|t| t == "MAP" || t.contains(" in /") || t.contains(" in,")),
                "{all:?}"
            );
            let descent = if left {
                "throttle left alone"
            } else {
                "2,200 rpm"
            };
            for label in ["RPM", descent] {
                assert!(all.iter().any(|t| t == label), "no {label:?} in {all:?}");
            }
        }
    }

    #[test]
    fn closed_form_no_path_is_an_error() {
        let mut f = sample::figures().clone();
        f.track.clear();
        assert!(matches!(svg(&f), Err(ChartError::Empty)));
    }

    #[cfg(feature = "png")]
    #[test]
    fn closed_form_png_has_ink_in_every_panel() {
        let bytes = png(sample::figures()).expect("draws");
        let map = resvg::tiny_skia::Pixmap::decode_png(&bytes).expect("is a PNG");
        assert_eq!((map.width(), map.height()), (2_000, 1_414));
        for (top, bottom) in [(84, 430), (468, 524), (548, 594), (618, 662)] {
            let dark = (2 * top..2 * bottom)
                .flat_map(|y| (200..1_900).map(move |x| (x, y)))
                .filter(|&(x, y)| {
                    map.pixel(x, y)
                        .is_some_and(|p| p.red() < 80 && p.green() < 90)
                })
                .count();
            assert!(dark > 1_000, "{top}: {dark}");
        }
    }
}
