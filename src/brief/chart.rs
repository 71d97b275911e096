//! The chart: heights over distance with the ground below, and manifold pressure, RPM and wind on the same distance axis.
//!
//! Drawn with plotters on a canvas ten times too large, because its SVG knows whole pixels only; the view box shrinks it.
//! Everything is told apart by line style and by a label beside it, so that it reads in grey.

use super::figures::BarredFigures;
use super::words::{self, clock, down, feet, inches, knots, near, number, revs, up};
use super::{EACH_ENGINE, Figures, ONE_ENGINE, Point, SegmentFigures, TITLE};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontStyle, register_font};
use std::sync::OnceLock;

/// A5 landscape in chart units.
pub(super) const WIDTH: f64 = 1_000.0;
/// See [`WIDTH`].
pub(super) const HEIGHT: f64 = 707.0;
/// Canvas pixels in a chart unit.
const CANVAS: f64 = 10.0;
/// Left and right of the plots.
pub(super) const LEFT: f64 = 84.0;
/// See [`LEFT`].
pub(super) const RIGHT: f64 = 976.0;
/// Text sizes in chart units; plotters writes them at 1/1.24, so that 15 becomes letters of 7 pt on A5.
pub(super) const SMALL: f64 = 15.0;
/// See [`SMALL`].
pub(super) const MIDDLE: f64 = 17.0;
/// Mean width of a character over text size, DejaVu Sans in plotters' sizes, on the wide side.
const CHARACTER: f64 = 0.46;
/// PNG pixels in a chart unit.
#[cfg(feature = "png")]
const PNG_SCALE: f64 = 2.0;

pub(super) const INK: RGBColor = RGBColor(0x1d, 0x2b, 0x3a);
pub(super) const SOFT: RGBColor = RGBColor(0x6b, 0x74, 0x7c);
pub(super) const HAIR: RGBColor = RGBColor(0xd9, 0xdc, 0xdf);
pub(super) const EARTH: RGBColor = RGBColor(0xc9, 0xc0, 0xae);
pub(super) const EARTH_EDGE: RGBColor = RGBColor(0x7d, 0x71, 0x5c);
const AIR: RGBColor = RGBColor(0x9f, 0xbb, 0xc9);

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

type Canvas<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;

fn fonts() -> Result<(), ChartError> {
    static DONE: OnceLock<bool> = OnceLock::new();
    let good = *DONE.get_or_init(|| {
        register_font("sans-serif", FontStyle::Normal, dejavu::sans::regular()).is_ok()
            && register_font("sans-serif", FontStyle::Bold, dejavu::sans::bold()).is_ok()
    });
    if good { Ok(()) } else { Err(ChartError::Font) }
}

/// A pen on the canvas, in chart units.
pub(super) struct Pen<'a, 'b> {
    canvas: &'a Canvas<'b>,
}

/// Where text is tied to its point.
#[derive(Clone, Copy)]
pub(super) enum Tie {
    Left,
    Centre,
    Right,
}

impl Pen<'_, '_> {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "coordinates of the canvas are far below the range of i32"
    )]
    fn at(p: (f64, f64)) -> (i32, i32) {
        ((p.0 * CANVAS).round() as i32, (p.1 * CANVAS).round() as i32)
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "line widths are small and positive"
    )]
    fn stroke(colour: RGBColor, width: f64) -> ShapeStyle {
        ShapeStyle {
            color: colour.to_rgba(),
            filled: false,
            stroke_width: (width * CANVAS).round() as u32,
        }
    }

    pub(super) fn line(
        &self,
        points: &[(f64, f64)],
        colour: RGBColor,
        width: f64,
    ) -> Result<(), ChartError> {
        if points.len() < 2 {
            return Ok(());
        }
        let points: Vec<_> = points.iter().map(|&p| Self::at(p)).collect();
        self.canvas
            .draw(&PathElement::new(points, Self::stroke(colour, width)))
            .map_err(draw_error)
    }

    /// A line of strokes and gaps along a path.
    pub(super) fn dashed(
        &self,
        points: &[(f64, f64)],
        colour: RGBColor,
        width: f64,
        on: f64,
        off: f64,
    ) -> Result<(), ChartError> {
        let mut stroke: Vec<(f64, f64)> = points.first().copied().into_iter().collect();
        let (mut drawing, mut left) = (true, on);
        for pair in points.windows(2) {
            let (mut a, b) = (pair[0], pair[1]);
            loop {
                let length = (b.0 - a.0).hypot(b.1 - a.1);
                if length <= left {
                    left -= length;
                    stroke.push(b);
                    break;
                }
                let x = left / length;
                a = (a.0 + x * (b.0 - a.0), a.1 + x * (b.1 - a.1));
                stroke.push(a);
                if drawing {
                    self.line(&stroke, colour, width)?;
                }
                drawing = !drawing;
                left = if drawing { on } else { off };
                stroke = vec![a];
            }
        }
        if drawing {
            self.line(&stroke, colour, width)
        } else {
            Ok(())
        }
    }

    pub(super) fn area(&self, points: &[(f64, f64)], colour: RGBColor) -> Result<(), ChartError> {
        let points: Vec<_> = points.iter().map(|&p| Self::at(p)).collect();
        self.canvas
            .draw(&Polygon::new(points, colour.filled()))
            .map_err(draw_error)
    }

    pub(super) fn dot(&self, p: (f64, f64), radius: f64) -> Result<(), ChartError> {
        self.canvas
            .draw(&Circle::new(Self::at(p), radius * CANVAS, WHITE.filled()))
            .map_err(draw_error)?;
        self.canvas
            .draw(&Circle::new(
                Self::at(p),
                radius * CANVAS,
                Self::stroke(INK, 2.0),
            ))
            .map_err(draw_error)
    }

    pub(super) fn text(
        &self,
        text: &str,
        p: (f64, f64),
        size: f64,
        colour: RGBColor,
        tie: Tie,
    ) -> Result<(), ChartError> {
        self.write(text, p, size, colour, tie, FontStyle::Normal)
    }

    /// Centred text on white, for places that a line may cross.
    pub(super) fn boxed(
        &self,
        text: &str,
        p: (f64, f64),
        size: f64,
        style: FontStyle,
    ) -> Result<(), ChartError> {
        let (w, h) = (0.5 * text_width(text, size) + 2.0, 0.42 * size);
        self.area(
            &[
                (p.0 - w, p.1 - h),
                (p.0 + w, p.1 - h),
                (p.0 + w, p.1 + h),
                (p.0 - w, p.1 + h),
            ],
            WHITE,
        )?;
        self.write(text, p, size, INK, Tie::Centre, style)
    }

    pub(super) fn write(
        &self,
        text: &str,
        p: (f64, f64),
        size: f64,
        colour: RGBColor,
        tie: Tie,
        style: FontStyle,
    ) -> Result<(), ChartError> {
        let horizontal = match tie {
            Tie::Left => HPos::Left,
            Tie::Centre => HPos::Center,
            Tie::Right => HPos::Right,
        };
        let style = TextStyle::from(("sans-serif", size * CANVAS).into_font().style(style))
            .pos(Pos::new(horizontal, VPos::Center))
            .color(&colour);
        self.canvas
            .draw(&Text::new(text.to_owned(), Self::at(p), style))
            .map_err(draw_error)
    }
}

#[expect(clippy::needless_pass_by_value, reason = "the shape map_err asks for")]
fn draw_error<E: std::error::Error + Send + Sync>(
    e: plotters::drawing::DrawingAreaErrorKind<E>,
) -> ChartError {
    ChartError::Draw(e.to_string())
}

pub(super) fn text_width(text: &str, size: f64) -> f64 {
    f64::from(u32::try_from(text.chars().count()).unwrap_or(u32::MAX)) * CHARACTER * size
}

/// A tick step of 1, 2 or 5 times a power of ten, or 2.5 thousands, that gives at most so many steps.
pub(super) fn tick(span: f64, most: f64) -> f64 {
    let raw = span / most;
    let power = 10_f64.powf(raw.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= raw - 1e-9)
        .unwrap_or(10.0 * power)
}

/// One panel: a range of values over the common distance axis.
#[derive(Clone, Copy)]
struct Panel {
    top: f64,
    bottom: f64,
    low: f64,
    high: f64,
    length_nm: f64,
}

impl Panel {
    fn x(&self, nm: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * nm / self.length_nm
    }

    fn y(&self, value: f64) -> f64 {
        self.bottom - (self.bottom - self.top) * (value - self.low) / (self.high - self.low)
    }

    fn at(&self, nm: f64, value: f64) -> (f64, f64) {
        (self.x(nm), self.y(value))
    }

    /// Lines and figures of the value axis.
    fn axis(
        &self,
        pen: &Pen,
        title: &[&str],
        step: f64,
        write: impl Fn(f64) -> String,
    ) -> Result<(), ChartError> {
        let mut value = (self.low / step - 1e-9).ceil() * step;
        while value <= self.high + 1e-9 {
            let y = self.y(value);
            pen.line(&[(LEFT, y), (RIGHT, y)], HAIR, 0.8)?;
            pen.text(&write(value), (LEFT - 6.0, y), SMALL, SOFT, Tie::Right)?;
            value += step;
        }
        for (i, line) in (0_u32..).zip(title) {
            let y = self.top - 11.0 + 15.0 * f64::from(i);
            pen.write(line, (14.0, y), SMALL, INK, Tie::Left, FontStyle::Bold)?;
        }
        Ok(())
    }

    fn frame(&self, pen: &Pen) -> Result<(), ChartError> {
        pen.line(&[(LEFT, self.bottom), (RIGHT, self.bottom)], SOFT, 1.0)
    }
}

/// The heights panel.
fn heights(pen: &Pen, f: &Figures) -> Result<Panel, ChartError> {
    let highest = f
        .track
        .iter()
        .map(|p| p.indicated_altitude_ft)
        .fold(0.0, f64::max);
    let minimum = f
        .legs
        .iter()
        .map(|l| l.minimum_altitude_ft)
        .fold(highest, f64::max);
    let ground = f.legs.iter().flat_map(|l| &l.ground).map(|g| g.ground_ft);
    let lowest = ground
        .chain(f.fields.iter().map(|x| x.elevation_ft))
        .fold(highest, f64::min);
    let low = ((lowest - 1_500.0) / 1_000.0).floor().max(-2.0) * 1_000.0;
    let low = if lowest >= 0.0 { low.max(0.0) } else { low };
    // Room above for the labels of the level.
    let high = minimum.max(highest + 0.24 * (highest - low));
    let panel = Panel {
        top: 84.0,
        bottom: 430.0,
        low,
        high,
        length_nm: f.totals.distance_nm,
    };
    panel.axis(pen, &["ft"], tick(high - low, 8.0).max(500.0), feet)?;
    for b in &f.barred {
        barred(pen, &panel, b)?;
    }
    // Ground.
    for leg in &f.legs {
        // One outline for the whole leg: many narrow ones show seams.
        let mut outline = Vec::with_capacity(2 * leg.ground.len() + 2);
        for g in &leg.ground {
            let (x0, x1, y) = (panel.x(g.from_nm), panel.x(g.to_nm), panel.y(g.ground_ft));
            outline.extend([(x0, y), (x1, y)]);
        }
        let (Some(&first), Some(&last)) = (outline.first(), outline.last()) else {
            continue;
        };
        outline.extend([(last.0, panel.bottom), (first.0, panel.bottom)]);
        pen.area(&outline, EARTH)?;
        for edge in outline[..2 * leg.ground.len()].chunks_exact(2) {
            pen.line(edge, EARTH_EDGE, 1.4)?;
        }
    }
    // Its name, at the foot of the panel where nothing else is written.
    let foot = (0.5 * (LEFT + RIGHT), panel.bottom - 14.0);
    if f.legs.iter().any(|l| !l.ground.is_empty()) {
        let unknown = f.warnings.iter().any(|w| w.kind == "ground_missing");
        pen.text(
            if unknown {
                "highest ground of each stretch; GROUND PARTLY NOT KNOWN, see the warnings"
            } else {
                "highest ground of each stretch"
            },
            foot,
            SMALL,
            INK,
            Tie::Centre,
        )?;
    }
    // Where there is none, words stand in its place, so that nobody takes the empty panel for flat ground.
    for leg in f.legs.iter().filter(|l| l.ground.is_empty()) {
        let middle = panel.x(0.5 * (leg.from_nm + leg.to_nm));
        pen.text(
            "no terrain data",
            (middle, panel.bottom - 34.0),
            MIDDLE,
            INK,
            Tie::Centre,
        )?;
    }
    // Minimum altitudes.
    for leg in &f.legs {
        let (a, b) = (
            panel.at(leg.from_nm, leg.minimum_altitude_ft),
            panel.at(leg.to_nm, leg.minimum_altitude_ft),
        );
        pen.dashed(&[a, b], EARTH_EDGE, 1.6, 7.0, 5.0)?;
        let text = format!(
            "minimum {} to {}: {} ft",
            leg.from,
            leg.to,
            feet(leg.minimum_altitude_ft)
        );
        // Beside climb and descent and what is written there, if there is room.
        let narrow = (
            a.0.max(panel.x(f.top_of_climb_nm) + 110.0),
            b.0.min(panel.x(f.top_of_descent_nm) - 90.0),
        );
        let wide = (
            a.0.max(panel.x(f.top_of_climb_nm)),
            b.0.min(panel.x(f.top_of_descent_nm)),
        );
        let fits = |x: (f64, f64)| text_width(&text, SMALL) < x.1 - x.0;
        if fits(wide) {
            let (from, to) = if fits(narrow) { narrow } else { wide };
            pen.text(
                &text,
                (0.5 * (from + to), a.1 + 11.0),
                SMALL,
                EARTH_EDGE,
                Tie::Centre,
            )?;
        }
    }
    panel.frame(pen)?;
    Ok(panel)
}

/// What may not be entered: slanting lines and a frame, and its name where there is room.
fn barred(pen: &Pen, panel: &Panel, b: &BarredFigures) -> Result<(), ChartError> {
    const APART: f64 = 9.0;
    const ROW: f64 = 15.0;
    let ft = |bound: Option<f64>, open: f64| bound.unwrap_or(open).clamp(panel.low, panel.high);
    let (left, right) = (panel.x(b.from_nm), panel.x(b.to_nm));
    let (low, high) = (
        panel.y(ft(b.low_ft, panel.low)),
        panel.y(ft(b.high_ft, panel.high)),
    );
    if right - left < 1.0 || low - high < 1.0 {
        return Ok(());
    }
    // Lines of x + y = c, up to the right.
    let mut c = ((left + high) / APART).ceil() * APART;
    while c < right + low {
        let (x0, x1) = ((c - low).max(left), (c - high).min(right));
        pen.line(&[(x0, c - x0), (x1, c - x1)], HAIR, 1.0)?;
        c += APART;
    }
    let frame = [
        (left, low),
        (left, high),
        (right, high),
        (right, low),
        (left, low),
    ];
    pen.dashed(&frame, SOFT, 1.0, 3.0, 3.0)?;
    // In as many lines as it takes, if they fit.
    let mut lines: Vec<String> = Vec::new();
    for word in b.name.split_whitespace() {
        match lines.last_mut() {
            Some(line) if text_width(&format!("{line} {word}"), SMALL) < right - left => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    let tall = ROW * f64::from(u32::try_from(lines.len()).unwrap_or(u32::MAX));
    if tall > low - high || lines.iter().any(|l| text_width(l, SMALL) > right - left) {
        return Ok(());
    }
    for (i, line) in (0_u32..).zip(&lines) {
        let y = 0.5 * (low + high - tall) + ROW * (f64::from(i) + 0.5);
        pen.text(line, (0.5 * (left + right), y), SMALL, SOFT, Tie::Centre)?;
    }
    Ok(())
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

/// The flown path, a line style for each kind of flying.
fn path(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    for (i, s) in f.segments.iter().enumerate() {
        let line: Vec<_> = path_of(f, i, s)
            .map(|p| panel.at(p.distance_nm, p.indicated_altitude_ft))
            .collect();
        match s.kind {
            "cruise" => pen.line(&line, INK, 4.0)?,
            "descent" => pen.dashed(&line, INK, 3.0, 14.0, 4.0)?,
            "slow_down" | "pattern" => pen.dashed(&line, INK, 3.0, 3.0, 3.5)?,
            "circuit" => {}
            _ => pen.line(&line, INK, 2.6)?,
        }
    }
    // From pattern altitude to the runway.
    if let (Some(last), Some(field)) = (f.segments.last(), f.fields.last()) {
        let a = panel.at(last.end.distance_nm, last.end.indicated_altitude_ft);
        let b = panel.at(last.end.distance_nm, field.elevation_ft);
        pen.dashed(&[a, b], INK, 1.6, 2.0, 3.0)?;
    }
    Ok(())
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

/// Labels of levels, top of climb, top of descent, climb and descent.
fn labels(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    let first = f.segments.iter().find(|s| s.kind == "cruise");
    let last = f.segments.iter().rfind(|s| s.kind == "cruise");
    let (Some(first), Some(last)) = (first, last) else {
        return Ok(());
    };
    let up_from = |p: (f64, f64), dy: f64| (p.0, p.1 - dy);
    // Top of climb and top of descent.
    let toc = panel.at(f.top_of_climb_nm, first.start.indicated_altitude_ft);
    let tod = panel.at(f.top_of_descent_nm, last.end.indicated_altitude_ft);
    let toc_text = [
        "TOC".to_owned(),
        format!(
            "{} nm, {} min",
            number(up(f.top_of_climb_nm, 0), 0),
            number(up(f.top_of_climb_min, 0), 0)
        ),
    ];
    let before_landing = number(up(f.totals.time_min - f.top_of_descent_min, 0), 0);
    let tod_text = [
        "TOD".to_owned(),
        format!(
            "{} nm to go, at {}",
            number(up(f.top_of_descent_to_go_nm, 0), 0),
            clock(f.top_of_descent_min)
        ),
        format!("{before_landing} min before landing"),
    ];
    let marks = [(toc, &toc_text[..]), (tod, &tod_text[..])];
    for &(p, lines) in &marks[usize::from(climbs_not(f))..] {
        pen.line(&[p, up_from(p, 20.0)], INK, 1.2)?;
        pen.dot(p, 4.5)?;
        let width = lines
            .iter()
            .map(|l| text_width(l, MIDDLE))
            .fold(0.0, f64::max);
        let x = p.0.clamp(LEFT + 0.5 * width, RIGHT - 0.5 * width);
        let rows = f64::from(u32::try_from(lines.len()).unwrap_or(1));
        for (i, line) in (0_u32..).zip(lines) {
            let y = p.1 - 29.0 - 16.0 * (rows - 1.0 - f64::from(i));
            let style = if i == 0 {
                FontStyle::Bold
            } else {
                FontStyle::Normal
            };
            pen.write(line, (x, y), MIDDLE, INK, Tie::Centre, style)?;
        }
    }
    // Levels.
    for s in f.segments.iter().filter(|s| s.kind == "cruise") {
        let (a, b) = (panel.x(s.start.distance_nm), panel.x(s.end.distance_nm));
        let y = panel.y(s.start.indicated_altitude_ft);
        let settled = settled(f, s);
        let full = format!(
            "{} ft, {}, {}",
            feet(settled.indicated_altitude_ft),
            setting(f, settled),
            settled.mixture
        );
        let speeds = format!(
            "{} KIAS, {} KTAS, {} gph",
            knots(settled.ias_kt),
            knots(settled.tas_kt),
            number(up(settled.fuel_flow_gph, 1), 1)
        );
        // Above the line beside the labels of TOC and TOD if there is room, else under it.
        let short = format!(
            "{} ft, {}",
            feet(settled.indicated_altitude_ft),
            setting(f, settled)
        );
        let from = if std::ptr::eq(s, first) {
            panel.x(f.top_of_climb_nm) + 80.0
        } else {
            a
        };
        let to = if std::ptr::eq(s, last) { b - 90.0 } else { b };
        let x = 0.5 * (from + to);
        if text_width(&full, MIDDLE) < to - from {
            pen.boxed(&full, (x, y - 30.0), MIDDLE, FontStyle::Bold)?;
            pen.boxed(&speeds, (x, y - 13.0), SMALL, FontStyle::Normal)?;
        } else if text_width(&short, SMALL) < to - from {
            pen.boxed(&short, (x, y - 13.0), SMALL, FontStyle::Bold)?;
        } else {
            pen.boxed(&short, (0.5 * (a + b), y + 14.0), SMALL, FontStyle::Bold)?;
        }
    }
    slopes(pen, f, panel)
}

/// Labels of climb and descent, beside the slope, where there is no line.
fn slopes(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    let found = |kind: &str| f.segments.iter().enumerate().rfind(|(_, s)| s.kind == kind);
    if let Some((i, s)) = found("climb") {
        let rows = [
            f.second_climb_speed.map_or_else(
                || format!("climb {} KIAS", knots(s.start.ias_kt)),
                |two| {
                    format!(
                        "climb {}, then {} KIAS",
                        knots(two.first_ias_kt),
                        knots(two.ias_kt)
                    )
                },
            ),
            if f.trip.fixed_pitch {
                format!("full throttle, {} rpm", revs(s.start.rpm))
            } else {
                format!("full throttle / {}", revs(s.start.rpm))
            },
            format!(
                "{} to {} fpm",
                number(down(s.start.vs_fpm, -1), 0),
                number(down(s.end.vs_fpm, -1), 0)
            ),
        ];
        beside(
            pen,
            f,
            panel,
            &path_of(f, i, s).collect::<Vec<_>>(),
            &rows,
            Tie::Left,
        )?;
    }
    if let Some((i, s)) = found("descent") {
        let map = match (f.descent.throttle, f.descent.map_inhg) {
            ("full", _) if f.trip.fixed_pitch => "full throttle".to_owned(),
            ("untouched", _) => "throttle left alone".to_owned(),
            (_, _) if f.trip.fixed_pitch => format!("{} rpm", revs(f.descent.rpm)),
            ("left_alone", Some(m)) => {
                format!("set {} in and leave / {}", inches(m), revs(f.descent.rpm))
            }
            (_, Some(m)) => format!("{} in / {}", inches(m), revs(f.descent.rpm)),
            (_, None) => format!("full throttle / {}", revs(f.descent.rpm)),
        };
        let rows = [
            format!("descent {} KIAS", knots(f.descent.ias_kt)),
            map,
            format!("{} fpm", number(near(f.descent.rate_fpm, -1), 0)),
        ];
        beside(
            pen,
            f,
            panel,
            &path_of(f, i, s).collect::<Vec<_>>(),
            &rows,
            Tie::Right,
        )?;
    }
    let pattern = panel.at(f.pattern_point_nm, f.pattern_altitude_ft);
    let words = format!("pattern {} ft", feet(f.pattern_altitude_ft));
    pen.text(
        &words,
        (pattern.0 - 10.0, pattern.1 + 3.0),
        SMALL,
        INK,
        Tie::Right,
    )
}

/// Rows of text under a slope, to the left or right of it, where there is neither line nor ground.
///
/// They begin half-way up the slope, or higher where the ground would reach into them, and keep clear of the slope at
/// their first row: below it the slope leads away from them.
fn beside(
    pen: &Pen,
    f: &Figures,
    panel: &Panel,
    path: &[&Point],
    rows: &[String],
    tie: Tie,
) -> Result<(), ChartError> {
    const ROW: f64 = 17.0;
    const CLEAR: f64 = 12.0;
    let ys = || path.iter().map(|p| panel.y(p.indicated_altitude_ft));
    let (highest, lowest) = (ys().fold(f64::INFINITY, f64::min), ys().fold(0.0, f64::max));
    let tall = ROW * f64::from(u32::try_from(rows.len()).unwrap_or(1));
    let width = rows
        .iter()
        .map(|r| text_width(r, SMALL))
        .fold(0.0, f64::max);
    // The point of the slope at a height of the sheet.
    let x_at = |y: f64| {
        path.iter()
            .min_by(|a, b| {
                let miss = |p: &Point| (panel.y(p.indicated_altitude_ft) - y).abs();
                miss(a).total_cmp(&miss(b))
            })
            .map_or(LEFT, |p| panel.x(p.distance_nm))
    };
    let place = |top: f64| match tie {
        Tie::Right => (
            x_at(top) - CLEAR,
            x_at(top) - CLEAR - width,
            x_at(top) - CLEAR,
        ),
        Tie::Left | Tie::Centre => (
            x_at(top) + CLEAR,
            x_at(top) + CLEAR,
            x_at(top) + CLEAR + width,
        ),
    };
    let mut top = (0.5 * (highest + lowest)).min(panel.bottom - tall);
    for _ in 0..3 {
        let (_, left, right) = place(top);
        let ground = f
            .legs
            .iter()
            .flat_map(|l| &l.ground)
            .filter(|g| panel.x(g.to_nm) > left && panel.x(g.from_nm) < right)
            .map(|g| panel.y(g.ground_ft))
            .fold(panel.bottom, f64::min);
        top = top.min(ground - tall - 3.0).max(highest + 6.0);
    }
    let (x, _, _) = place(top);
    for (i, row) in (0_u32..).zip(rows) {
        pen.text(
            row,
            (x, top + 0.5 * ROW + ROW * f64::from(i)),
            SMALL,
            INK,
            tie,
        )?;
    }
    Ok(())
}

/// A panel with one line: manifold pressure or RPM. `steps`: it stays where it is set, so climb and descent are labelled too.
fn lever_panel(
    pen: &Pen,
    f: &Figures,
    (top, bottom): (f64, f64),
    title: &[&str],
    value: impl Fn(&Point) -> f64,
    (least_span, steps): (f64, bool),
    write: impl Fn(f64) -> String + Copy,
) -> Result<(), ChartError> {
    let flown = || {
        f.track.iter().filter(|p| {
            f.segments
                .get(p.segment)
                .is_some_and(|s| s.kind != "circuit")
        })
    };
    let (mut low, mut high) = flown()
        .map(&value)
        .fold((f64::INFINITY, 0.0_f64), |(a, b), x| (a.min(x), b.max(x)));
    let spare = 0.5 * (least_span - (high - low)).max(0.12 * (high - low));
    (low, high) = (low - spare, high + spare);
    let step = tick(high - low, 4.0);
    let panel = Panel {
        top,
        bottom,
        low,
        high,
        length_nm: f.totals.distance_nm,
    };
    panel.axis(pen, title, step, write)?;
    let (mut line, mut values) = (Vec::new(), Vec::new());
    for (i, s) in f
        .segments
        .iter()
        .enumerate()
        .filter(|(_, s)| s.kind != "circuit")
    {
        line.extend(path_of(f, i, s).map(|p| panel.at(p.distance_nm, value(p))));
        let set = steps && !f.trip.fixed_pitch;
        let steady = s.kind == "cruise" || (set && (s.kind == "climb" || s.kind == "descent"));
        let shown = value(settled(f, s));
        let text = write(shown);
        let width = panel.x(s.end.distance_nm) - panel.x(s.start.distance_nm);
        if steady && width > text_width(&text, SMALL) + 8.0 {
            let p = panel.at(0.5 * (s.start.distance_nm + s.end.distance_nm), shown);
            values.push((
                text,
                (
                    p.0,
                    if p.1 - 11.0 > top - 6.0 {
                        p.1 - 11.0
                    } else {
                        p.1 + 11.0
                    },
                ),
            ));
        }
    }
    let descent = f.segments.iter().find(|s| s.kind == "descent");
    if let (false, Some(s), Some(map)) = (
        steps || f.descent.throttle != "held",
        descent,
        f.descent.map_inhg,
    ) {
        let middle = 0.5 * (s.start.distance_nm + s.end.distance_nm);
        let p = panel.at(middle, s.map_peak_inhg);
        values.push((write(map), (p.0, p.1 - 11.0)));
    }
    pen.line(&line, INK, 2.2)?;
    for (text, p) in values {
        pen.boxed(&text, p, SMALL, FontStyle::Bold)?;
    }
    panel.frame(pen)
}

fn wind_panel(pen: &Pen, f: &Figures, (top, bottom): (f64, f64)) -> Result<(), ChartError> {
    let flown: Vec<&Point> = f
        .track
        .iter()
        .filter(|p| {
            f.segments
                .get(p.segment)
                .is_some_and(|s| s.kind != "circuit")
        })
        .collect();
    let (low, high) = flown
        .iter()
        .map(|p| p.wind_along_kt)
        .fold((-5.0_f64, 5.0_f64), |(a, b), x| (a.min(x), b.max(x)));
    let spare = 0.15 * (high - low);
    let panel = Panel {
        top,
        bottom,
        low: low - spare,
        high: high + spare,
        length_nm: f.totals.distance_nm,
    };
    panel.axis(
        pen,
        &["wind", "kt"],
        tick(panel.high - panel.low, 3.0),
        |v| {
            if v.abs() < 1e-9 {
                "0".to_owned()
            } else {
                number(v.abs(), 0)
            }
        },
    )?;
    let line: Vec<_> = flown
        .iter()
        .map(|p| panel.at(p.distance_nm, p.wind_along_kt))
        .collect();
    let zero = panel.y(0.0);
    if let (Some(a), Some(b)) = (line.first(), line.last()) {
        let mut shape = vec![(a.0, zero)];
        shape.extend(&line);
        shape.push((b.0, zero));
        pen.area(&shape, AIR)?;
    }
    pen.line(&[(LEFT, zero), (RIGHT, zero)], SOFT, 1.2)?;
    pen.line(&line, INK, 1.8)?;
    // Words just above the zero line, in a box of their own, or over the panel where wind blows on both sides of it.
    let blows = |side: f64| flown.iter().any(|p| p.wind_along_kt * side > 0.5);
    let middle = 0.5 * (LEFT + RIGHT);
    let (words, y) = match (blows(-1.0), blows(1.0)) {
        (true, true) => (
            "tail wind above, head wind below, at flown height",
            top - 8.0,
        ),
        (true, false) => ("head wind, at flown height", zero - 10.0),
        (false, true) => ("tail wind, at flown height", zero - 9.0),
        (false, false) => ("no wind along the route", zero - 10.0),
    };
    pen.boxed(words, (middle, y), SMALL, FontStyle::Normal)?;
    panel.frame(pen)
}

/// Dotted lines at the via points, through all panels.
fn via_points(pen: &Pen, f: &Figures, panel: &Panel, bottom: f64) -> Result<(), ChartError> {
    for leg in f.legs.iter().skip(1) {
        let x = panel.x(leg.from_nm);
        pen.dashed(&[(x, panel.top), (x, panel.bottom)], SOFT, 1.0, 2.0, 4.0)?;
        pen.dashed(
            &[(x, panel.bottom + 20.0), (x, bottom)],
            SOFT,
            1.0,
            2.0,
            4.0,
        )?;
    }
    Ok(())
}

/// Places and the distance axis.
fn distance_axis(pen: &Pen, f: &Figures, panel: &Panel, bottom: f64) -> Result<(), ChartError> {
    let length = f.totals.distance_nm;
    let step = tick(length, 9.0);
    let mut nm = 0.0;
    while nm <= length + 1e-9 {
        let x = panel.x(nm);
        pen.line(&[(x, bottom), (x, bottom + 5.0)], SOFT, 1.0)?;
        if length - nm > 0.35 * step || nm == 0.0 {
            pen.text(&number(nm, 0), (x, bottom + 13.0), SMALL, SOFT, Tie::Centre)?;
        }
        nm += step;
    }
    pen.text(
        &format!("{} nm", number(up(length, 0), 0)),
        (RIGHT, bottom + 13.0),
        SMALL,
        INK,
        Tie::Right,
    )?;
    pen.write(
        "nm",
        (14.0, bottom + 13.0),
        SMALL,
        INK,
        Tie::Left,
        FontStyle::Bold,
    )?;
    let y = panel.bottom + 12.0;
    for (i, place) in f.trip.places.iter().enumerate() {
        let nm = f.legs.get(i).map_or(length, |l| l.from_nm);
        let (tie, field) = if i == 0 {
            // A start in flight is no field.
            let field = f.fields.first();
            (
                Tie::Left,
                field.filter(|_| f.trip.start_in_flight.is_none()),
            )
        } else if i + 1 == f.trip.places.len() {
            (Tie::Right, f.fields.last())
        } else {
            (Tie::Centre, None)
        };
        let text = field.map_or_else(
            || place.clone(),
            |x| format!("{place}, {} ft", feet(x.elevation_ft)),
        );
        pen.write(&text, (panel.x(nm), y), SMALL, INK, tie, FontStyle::Bold)?;
    }
    Ok(())
}

fn draw(pen: &Pen, f: &Figures) -> Result<(), ChartError> {
    pen.write(
        &format!("{}, {}", f.route(), f.least()),
        (14.0, 20.0),
        20.0,
        INK,
        Tie::Left,
        FontStyle::Bold,
    )?;
    pen.text(&f.in_one_line, (14.0, 43.0), MIDDLE, INK, Tie::Left)?;
    pen.text(
        &format!(
            "{} in the air, {} gal",
            clock(f.totals.time_min),
            number(up(f.totals.fuel_gal, 1), 1)
        ),
        (RIGHT, 20.0),
        MIDDLE,
        INK,
        Tie::Right,
    )?;
    let panel = heights(pen, f)?;
    via_points(pen, f, &panel, 662.0)?;
    path(pen, f, &panel)?;
    labels(pen, f, &panel)?;
    // With a fixed pitch RPM alone is set: it takes both places.
    let rpm_top = if f.trip.fixed_pitch { 468.0 } else { 548.0 };
    if !f.trip.fixed_pitch {
        lever_panel(
            pen,
            f,
            (468.0, 524.0),
            &["MAP", "in"],
            |p| p.map_inhg,
            (4.0, false),
            inches,
        )?;
    }
    lever_panel(
        pen,
        f,
        (rpm_top, 594.0),
        &["RPM"],
        |p| p.rpm,
        (1_000.0, true),
        revs,
    )?;
    wind_panel(pen, f, (618.0, 662.0))?;
    distance_axis(pen, f, &panel, 662.0)?;
    let mut foot = vec![format!("{TITLE}. Heights indicated.")];
    if f.trip.engines > 1 {
        foot.insert(0, format!("{ONE_ENGINE} {EACH_ENGINE}"));
    }
    // Two lines share the room of one.
    let last = HEIGHT - if foot.len() > 1 { 6.0 } else { 12.0 };
    for (above, line) in (0_u32..).zip(foot.iter().rev()) {
        let y = last - 12.0 * f64::from(above);
        pen.text(line, (14.0, y), 11.0, SOFT, Tie::Left)?;
    }
    Ok(())
}

/// The chart as SVG.
///
/// # Errors
/// [`ChartError`]: a plan without a path, or a failure of the drawing library, which would be our bug.
pub fn svg(figures: &Figures) -> Result<String, ChartError> {
    if figures.track.len() < 2 || figures.segments.is_empty() || figures.totals.distance_nm <= 0.0 {
        return Err(ChartError::Empty);
    }
    on_canvas(|pen| draw(pen, figures))
}

/// What is drawn, as SVG.
pub(super) fn on_canvas(
    draw: impl FnOnce(&Pen) -> Result<(), ChartError>,
) -> Result<String, ChartError> {
    fonts()?;
    let mut text = String::new();
    {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "the constant canvas size"
        )]
        let size = ((WIDTH * CANVAS) as u32, (HEIGHT * CANVAS) as u32);
        let canvas = SVGBackend::with_string(&mut text, size).into_drawing_area();
        canvas.fill(&WHITE).map_err(draw_error)?;
        draw(&Pen { canvas: &canvas })?;
        canvas.present().map_err(draw_error)?;
    }
    // The view box keeps the canvas; width and height shrink it.
    let large = format!(
        "width=\"{:.0}\" height=\"{:.0}\"",
        WIDTH * CANVAS,
        HEIGHT * CANVAS
    );
    let right = format!("width=\"{WIDTH:.0}\" height=\"{HEIGHT:.0}\"");
    if !text.contains(&large) {
        return Err(ChartError::Draw(
            "the drawing does not begin with its size".to_owned(),
        ));
    }
    Ok(text.replacen(&large, &right, 1).replace(
        "font-family=\"sans-serif\"",
        "font-family=\"DejaVu Sans, sans-serif\"",
    ))
}

/// The chart as PNG, two pixels to a chart unit.
///
/// # Errors
/// As [`svg`].
#[cfg(feature = "png")]
pub fn png(figures: &Figures) -> Result<Vec<u8>, ChartError> {
    in_pixels(&svg(figures)?)
}

/// A drawing as PNG, two pixels to a chart unit.
#[cfg(feature = "png")]
pub(super) fn in_pixels(text: &str) -> Result<Vec<u8>, ChartError> {
    use resvg::{tiny_skia, usvg};
    let pixels = |e: &dyn std::fmt::Display| ChartError::Pixels(e.to_string());
    let mut options = usvg::Options::default();
    let fonts = options.fontdb_mut();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    fonts.load_font_data(dejavu::sans::bold().to_vec());
    fonts.set_sans_serif_family("DejaVu Sans");
    let tree = usvg::Tree::from_str(text, &options).map_err(|e| pixels(&e))?;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "the constant picture size"
    )]
    let (width, height) = ((WIDTH * PNG_SCALE) as u32, (HEIGHT * PNG_SCALE) as u32);
    let mut map =
        tiny_skia::Pixmap::new(width, height).ok_or_else(|| pixels(&"no picture of that size"))?;
    #[expect(clippy::cast_possible_truncation, reason = "exact in f32")]
    let scale = tiny_skia::Transform::from_scale(PNG_SCALE as f32, PNG_SCALE as f32);
    resvg::render(&tree, scale, &mut map.as_mut());
    map.encode_png().map_err(|e| pixels(&e))
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
