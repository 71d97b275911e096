//! The pen: lines, areas and text.
//!
//! Drawn with plotters on a canvas ten times too large, because its SVG knows whole pixels only; the view box shrinks it.

use super::{ChartError, HEIGHT, WIDTH};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{FontStyle, register_font};
use std::sync::OnceLock;

/// Canvas pixels in a chart unit.
const CANVAS: f64 = 10.0;
/// Size of letters that plotters writes for a text size of one.
const EM: f64 = 1.0 / 1.24;
/// Width of letters of that size over the width plotters lays them out by, which takes the size for the height of a line: that of
/// DejaVu Sans is (1901 + 483) / 2048 of its letters' size (the font's own table `hhea`).
const LAYOUT: f64 = EM * (1_901.0 + 483.0) / 2_048.0;
/// PNG pixels in a chart unit.
#[cfg(feature = "png")]
const PNG_SCALE: f64 = 2.0;

/// Text sizes in chart units: 12.5 becomes letters of 6 pt on A5, 15 of 7.2 pt.
pub(in crate::brief) const FINE: f64 = 12.5;
/// See [`FINE`].
pub(in crate::brief) const SMALL: f64 = 15.0;
/// See [`FINE`].
pub(in crate::brief) const MIDDLE: f64 = 17.0;
/// See [`FINE`].
pub(in crate::brief) const LARGE: f64 = 20.0;

pub(in crate::brief) const INK: RGBColor = RGBColor(0x1d, 0x2b, 0x3a);
pub(in crate::brief) const SOFT: RGBColor = RGBColor(0x5f, 0x69, 0x72);
pub(in crate::brief) const HAIR: RGBColor = RGBColor(0xd9, 0xdc, 0xdf);
pub(in crate::brief) const EARTH: RGBColor = RGBColor(0xc9, 0xc0, 0xae);
pub(in crate::brief) const EARTH_EDGE: RGBColor = RGBColor(0x7d, 0x71, 0x5c);
pub(in crate::brief) const EARTH_TEXT: RGBColor = RGBColor(0x57, 0x4c, 0x39);
pub(in crate::brief) const COLD: RGBColor = RGBColor(0x2a, 0x64, 0x8c);

type Canvas<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(in crate::brief) struct Style {
    pub colour: RGBColor,
    pub width: f64,
    /// Strokes and gaps in turn; none for a whole line.
    pub dash: &'static [f64],
}

/// See [`Style`].
pub(in crate::brief) const fn style(colour: RGBColor, width: f64, dash: &'static [f64]) -> Style {
    Style {
        colour,
        width,
        dash,
    }
}

/// Lines that carry a meaning: any two that meet in a panel differ in width or dashes, not by hue alone (tested).
pub(in crate::brief) const CRUISE: Style = style(INK, 4.0, &[]);
pub(in crate::brief) const CLIMB: Style = style(INK, 2.6, &[]);
pub(in crate::brief) const DESCENT: Style = style(INK, 3.0, &[14.0, 4.0]);
pub(in crate::brief) const SLOWING: Style = style(INK, 3.0, &[3.0, 3.5]);
pub(in crate::brief) const LANDING: Style = style(INK, 1.6, &[2.0, 3.0]);
pub(in crate::brief) const RUNNER_UP: Style = style(INK, 1.0, &[]);
pub(in crate::brief) const MINIMUM: Style = style(EARTH_EDGE, 1.6, &[7.0, 5.0]);
pub(in crate::brief) const FREEZING: Style = style(COLD, 1.4, &[14.0, 3.0, 2.0, 3.0]);
pub(in crate::brief) const GROUND: Style = style(EARTH_EDGE, 1.4, &[]);
pub(in crate::brief) const BARRED: Style = style(SOFT, 1.0, &[3.0, 3.0]);
pub(in crate::brief) const LEVER: Style = style(INK, 2.2, &[]);
pub(in crate::brief) const INDICATED: Style = style(INK, 2.2, &[]);
pub(in crate::brief) const OVER_GROUND: Style = style(COLD, 2.2, &[8.0, 3.5]);
/// Lines that only lead the eye.
pub(in crate::brief) const VIA: Style = style(SOFT, 1.0, &[2.0, 4.0]);
pub(in crate::brief) const HATCH: Style = style(RGBColor(0xb2, 0xb8, 0xbd), 1.0, &[]);
pub(in crate::brief) const GRID: Style = style(HAIR, 0.8, &[]);
pub(in crate::brief) const FRAME: Style = style(SOFT, 1.0, &[]);
pub(in crate::brief) const POINTER: Style = style(INK, 1.2, &[]);
pub(in crate::brief) const ARROW: Style = style(SOFT, 1.3, &[]);

fn fonts() -> Result<(), ChartError> {
    static DONE: OnceLock<bool> = OnceLock::new();
    let good = *DONE.get_or_init(|| {
        register_font("sans-serif", FontStyle::Normal, dejavu::sans::regular()).is_ok()
            && register_font("sans-serif", FontStyle::Bold, dejavu::sans::bold()).is_ok()
    });
    if good { Ok(()) } else { Err(ChartError::Font) }
}

/// Width of a text as it is drawn.
pub(in crate::brief) fn text_width(text: &str, size: f64, bold: bool) -> f64 {
    // Without its font nothing is drawn at all, so that the guess never counts.
    let guess = || f64::from(u32::try_from(text.chars().count()).unwrap_or(u32::MAX)) * 0.6 * size;
    if fonts().is_err() {
        return guess();
    }
    font(size, bold).layout_box(text).map_or_else(
        |_| guess(),
        |((x0, _), (x1, _))| f64::from(x1 - x0) / CANVAS * LAYOUT,
    )
}

fn font(size: f64, bold: bool) -> FontDesc<'static> {
    let style = if bold {
        FontStyle::Bold
    } else {
        FontStyle::Normal
    };
    // Made with its style: one given later keeps the letters of the first.
    FontDesc::new(FontFamily::SansSerif, size * CANVAS, style)
}

/// Where text is tied to its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::brief) enum Tie {
    Left,
    Centre,
    Right,
}

/// A pen on the canvas, in chart units.
pub(in crate::brief) struct Pen<'a, 'b> {
    canvas: &'a Canvas<'b>,
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
    fn stroke(style: Style) -> ShapeStyle {
        ShapeStyle {
            color: style.colour.to_rgba(),
            filled: false,
            stroke_width: (style.width * CANVAS).round() as u32,
        }
    }

    /// A line along a path.
    pub fn line(&self, points: &[(f64, f64)], style: Style) -> Result<(), ChartError> {
        if style.dash.is_empty() {
            self.whole(points, style)
        } else {
            self.dashed(points, style)
        }
    }

    fn whole(&self, points: &[(f64, f64)], style: Style) -> Result<(), ChartError> {
        if points.len() < 2 {
            return Ok(());
        }
        let points: Vec<_> = points.iter().map(|&p| Self::at(p)).collect();
        self.canvas
            .draw(&PathElement::new(points, Self::stroke(style)))
            .map_err(draw_error)
    }

    fn dashed(&self, points: &[(f64, f64)], style: Style) -> Result<(), ChartError> {
        let mut stroke: Vec<(f64, f64)> = points.first().copied().into_iter().collect();
        let (mut part, mut left) = (0, style.dash[0]);
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
                if part % 2 == 0 {
                    self.whole(&stroke, style)?;
                }
                part = (part + 1) % style.dash.len();
                left = style.dash[part];
                stroke = vec![a];
            }
        }
        if part % 2 == 0 {
            self.whole(&stroke, style)
        } else {
            Ok(())
        }
    }

    /// A filled area.
    pub fn area(&self, points: &[(f64, f64)], colour: RGBColor) -> Result<(), ChartError> {
        let points: Vec<_> = points.iter().map(|&p| Self::at(p)).collect();
        self.canvas
            .draw(&Polygon::new(points, colour.filled()))
            .map_err(draw_error)
    }

    /// A ring about a point.
    pub fn dot(&self, p: (f64, f64), radius: f64) -> Result<(), ChartError> {
        for style in [
            WHITE.filled(),
            Self::stroke(Style {
                width: 2.0,
                ..POINTER
            }),
        ] {
            self.canvas
                .draw(&Circle::new(Self::at(p), radius * CANVAS, style))
                .map_err(draw_error)?;
        }
        Ok(())
    }

    /// Text, the middle of its height at the point.
    pub fn text(
        &self,
        text: &str,
        p: (f64, f64),
        (size, bold): (f64, bool),
        colour: RGBColor,
        tie: Tie,
    ) -> Result<(), ChartError> {
        let horizontal = match tie {
            Tie::Left => HPos::Left,
            Tie::Centre => HPos::Center,
            Tie::Right => HPos::Right,
        };
        let style = TextStyle::from(font(size, bold))
            .pos(Pos::new(horizontal, VPos::Center))
            .color(&colour);
        self.canvas
            .draw(&Text::new(text.to_owned(), Self::at(p), style))
            .map_err(draw_error)
    }

    /// Text on a white ground, the middle of both at the point.
    pub fn boxed(
        &self,
        text: &str,
        p: (f64, f64),
        (size, bold): (f64, bool),
    ) -> Result<(), ChartError> {
        let (w, h) = (0.5 * text_width(text, size, bold) + 2.0, 0.42 * size);
        self.area(
            &[
                (p.0 - w, p.1 - h),
                (p.0 + w, p.1 - h),
                (p.0 + w, p.1 + h),
                (p.0 - w, p.1 + h),
            ],
            WHITE,
        )?;
        self.text(text, p, (size, bold), INK, Tie::Centre)
    }
}

#[expect(clippy::needless_pass_by_value, reason = "the shape map_err asks for")]
fn draw_error<E: std::error::Error + Send + Sync>(
    e: plotters::drawing::DrawingAreaErrorKind<E>,
) -> ChartError {
    ChartError::Draw(e.to_string())
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// What is drawn, as SVG: one picture to a screen reader, with a title and a description.
pub(in crate::brief) fn on_canvas(
    said: (&str, &str),
    draw: impl FnOnce(&Pen) -> Result<(), ChartError>,
) -> Result<String, ChartError> {
    on_canvas_in_layers(said, draw, 0, |_, _| Ok(()))
}

/// The same with so many layers over it, each in a group with its number as `data-stop`.
pub(in crate::brief) fn on_canvas_in_layers(
    (title, description): (&str, &str),
    ground: impl FnOnce(&Pen) -> Result<(), ChartError>,
    layers: usize,
    layer: impl Fn(&Pen, usize) -> Result<(), ChartError>,
) -> Result<String, ChartError> {
    let (tag, mut drawing) = drawn(true, ground)?;
    for i in 0..layers {
        let (_, over) = drawn(false, |pen| layer(pen, i))?;
        drawing.push_str(&format!("<g data-stop=\"{i}\">{over}</g>\n"));
    }
    // The view box keeps the canvas; width and height shrink it.
    Ok(format!(
        "<svg role=\"img\" width=\"{WIDTH:.0}\" height=\"{HEIGHT:.0}\"{tag}>\n<title>{}</title>\n<desc>{}</desc>{drawing}</svg>\n",
        escaped(title),
        escaped(description)
    ))
}

/// What is drawn on a canvas, white or without ground: the tag of the drawing after its size, and what it holds.
fn drawn(
    white: bool,
    draw: impl FnOnce(&Pen) -> Result<(), ChartError>,
) -> Result<(String, String), ChartError> {
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
        if white {
            canvas.fill(&WHITE).map_err(draw_error)?;
        }
        draw(&Pen { canvas: &canvas })?;
        canvas.present().map_err(draw_error)?;
    }
    let large = format!(
        "<svg width=\"{:.0}\" height=\"{:.0}\"",
        WIDTH * CANVAS,
        HEIGHT * CANVAS
    );
    let parts = text
        .strip_prefix(&large)
        .and_then(|rest| rest.split_once('>'))
        .and_then(|(tag, rest)| Some((tag, rest.trim_end().strip_suffix("</svg>")?)));
    let Some((tag, drawing)) = parts else {
        return Err(ChartError::Draw(
            "the drawing does not begin with its size and end with its tag".to_owned(),
        ));
    };
    let drawing = drawing.replace(
        "font-family=\"sans-serif\"",
        "font-family=\"DejaVu Sans, sans-serif\"",
    );
    Ok((tag.to_owned(), drawing))
}

/// A drawing of this crate, SVG, as PNG, two pixels to a chart unit.
///
/// # Errors
/// [`ChartError::Font`] and [`ChartError::Pixels`]: a failure of the drawing library, which would be our bug.
#[cfg(feature = "png")]
pub fn in_pixels(text: &str) -> Result<Vec<u8>, ChartError> {
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

    /// Relative luminance and contrast (WCAG 2.2, definitions of both).
    fn luminance(c: RGBColor) -> f64 {
        let part = |x: u8| {
            let x = f64::from(x) / 255.0;
            if x <= 0.04045 {
                x / 12.92
            } else {
                ((x + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(c.0) + 0.7152 * part(c.1) + 0.0722 * part(c.2)
    }

    fn contrast(a: RGBColor, b: RGBColor) -> f64 {
        let (a, b) = (luminance(a) + 0.05, luminance(b) + 0.05);
        a.max(b) / a.min(b)
    }

    /// Contrast depends on luminance alone, so that it holds in grey. WCAG 2.2: 4.5 for text (1.4.3), 3 for lines (1.4.11).
    #[test]
    fn published_contrast_of_text_and_lines() {
        // The textbook pair: black on white is 21.
        assert!((contrast(BLACK, WHITE) - 21.0).abs() < 1e-9);
        for text in [INK, SOFT, EARTH_TEXT, COLD] {
            assert!(contrast(text, WHITE) >= 4.5, "{text:?}");
        }
        for on_earth in [INK, EARTH_TEXT] {
            assert!(contrast(on_earth, EARTH) >= 4.5, "{on_earth:?}");
        }
        for line in [
            CRUISE,
            MINIMUM,
            FREEZING,
            GROUND,
            OVER_GROUND,
            ARROW,
            BARRED,
        ] {
            assert!(contrast(line.colour, WHITE) >= 3.0, "{line:?}");
        }
    }

    #[test]
    fn closed_form_lines_that_meet_differ_by_more_than_hue() {
        // Half as wide again, or another pattern.
        let apart = |a: Style, b: Style| {
            a.dash != b.dash || a.width.max(b.width) >= 1.5 * a.width.min(b.width)
        };
        // Climb and cruise are one path: they are told apart by where they lie.
        let heights = [
            CRUISE, DESCENT, SLOWING, RUNNER_UP, MINIMUM, FREEZING, BARRED,
        ];
        for (i, &a) in heights.iter().enumerate() {
            for &b in &heights[i + 1..] {
                assert!(apart(a, b), "{a:?} {b:?}");
            }
        }
        assert!(apart(CLIMB, RUNNER_UP) && apart(INDICATED, OVER_GROUND));
    }

    /// DejaVu Sans: a digit is 1303/2048 of the letters' size wide, an M 1767/2048; bold digits 1425/2048 (the font's table `hmtx`, from
    /// memory).
    #[test]
    fn published_widths_of_letters() {
        // Laid out in whole pixels of the canvas.
        const WHOLE: f64 = 0.11;
        let em = 20.0 * EM;
        for (text, bold, expected) in [
            ("0123456789", false, 10.0 * 1_303.0 / 2_048.0),
            ("0123456789", true, 10.0 * 1_425.0 / 2_048.0),
            ("M", false, 1_767.0 / 2_048.0),
        ] {
            let width = text_width(text, 20.0, bold);
            assert!((width - expected * em).abs() < WHOLE, "{text} {width}");
        }
    }

    #[test]
    fn closed_form_small_letters_are_six_points_on_a5() {
        // A5 is 210 mm wide (ISO 216); a point is 25.4/72 mm.
        let points = FINE * EM * 210.0 / WIDTH / (25.4 / 72.0);
        assert!(points >= 5.99, "{points}");
    }
}
