//! The descent study drawn: every way down on one distance axis; and the maps of what descends best.
//!
//! Ways are told apart by the strokes of their lines and by letters on them, regions of a map by hatching, letters and the lines
//! between them, so that both read in grey.

use super::chart::{
    ChartError, EARTH_EDGE, HAIR, HEIGHT, INK, LEFT, MIDDLE, Pen, RIGHT, SMALL, SOFT, Style, Tie,
    on_canvas, style, text_width, tick,
};
use super::descend::{
    DescendFigures, DescendPoint, MapCellFigures, MapFigures, MapPanelFigures, WayFigures,
};
use super::descend_text::{cell_words, family_words, key_words, signed, signed_fuel};
use super::words::{feet, knots, near, number, up};
use plotters::style::RGBColor;

/// How the line of a way is drawn.
fn strokes(letter: char) -> Style {
    let (dash, width, colour): (&'static [f64], f64, RGBColor) = match letter {
        'A' => (&[], 2.4, INK),
        'B' => (&[14.0, 5.0], 2.0, INK),
        'C' => (&[], 4.0, EARTH_EDGE),
        'D' => (&[2.5, 4.0], 2.2, INK),
        'E' => (&[7.0, 6.0], 1.6, INK),
        'T' => (&[], 1.4, SOFT),
        'F' => (&[10.0, 3.0], 1.4, SOFT),
        _ => (&[3.0, 3.0], 1.4, SOFT),
    };
    style(colour, width, dash)
}

/// Ways that are drawn: each descent once.
fn drawn(f: &DescendFigures) -> impl Iterator<Item = &WayFigures> {
    f.ways
        .iter()
        .filter(|w| w.same_as.is_none() && w.figures.is_some())
}

/// The letters of a way and of those that are the same descent.
fn letters(f: &DescendFigures, way: &WayFigures) -> String {
    let same = f.ways.iter().filter(|w| w.same_as == Some(way.letter));
    std::iter::once(way).chain(same).map(|w| w.letter).collect()
}

/// A panel over the common distance axis, the pattern point at the right.
struct Field {
    top: f64,
    bottom: f64,
    low: f64,
    high: f64,
    far_nm: f64,
}

impl Field {
    fn at(&self, to_pattern_nm: f64, value: f64) -> (f64, f64) {
        let x = RIGHT - (RIGHT - LEFT) * to_pattern_nm / self.far_nm;
        let y =
            self.bottom - (self.bottom - self.top) * (value - self.low) / (self.high - self.low);
        (x, y)
    }

    fn axis(&self, pen: &Pen, title: &str, step: f64) -> Result<(), ChartError> {
        let mut value = (self.low / step - 1e-9).ceil() * step;
        while value <= self.high + 1e-9 {
            let y = self.at(0.0, value).1;
            pen.line(&[(LEFT, y), (RIGHT, y)], style(HAIR, 0.8, &[]))?;
            pen.text(
                &number(value, 0),
                (LEFT - 6.0, y),
                (SMALL, false),
                SOFT,
                Tie::Right,
            )?;
            value += step;
        }
        pen.text(title, (14.0, self.top - 4.0), (SMALL, true), INK, Tie::Left)
    }

    /// The lines of every way, each with its letters on it at a place of its own.
    fn ways(
        &self,
        pen: &Pen,
        f: &DescendFigures,
        value: impl Fn(&DescendPoint) -> f64,
        place: impl Fn(&[DescendPoint], f64) -> usize,
    ) -> Result<(), ChartError> {
        let ways: Vec<&WayFigures> = drawn(f).collect();
        let mut marks = Vec::new();
        for (i, w) in (0_u32..).zip(&ways) {
            let Some(d) = &w.figures else { continue };
            let points: Vec<(f64, f64)> = d
                .path
                .iter()
                .map(|p| self.at(p.to_pattern_nm, value(p)))
                .collect();
            pen.line(&points, strokes(w.letter))?;
            let share = 0.12 + 0.09 * f64::from(i);
            if let Some(&at) = points.get(place(&d.path, share)) {
                marks.push((letters(f, w), at));
            }
        }
        for (letters, at) in marks {
            pen.boxed(&letters, at, (SMALL, true))?;
        }
        Ok(())
    }
}

/// The point of a path that has come down a share of its height.
fn come_down(path: &[DescendPoint], share: f64) -> usize {
    let highest = path.first().map_or(0.0, |p| p.altitude_ft);
    let lowest = path.last().map_or(0.0, |p| p.altitude_ft);
    path.iter()
        .position(|p| p.altitude_ft <= highest - share * (highest - lowest))
        .unwrap_or(0)
}

/// The key below: a stroke, the letters, the name, and what the way comes to.
fn key(pen: &Pen, f: &DescendFigures, top: f64) -> Result<(), ChartError> {
    for (i, w) in (0_u32..).zip(drawn(f)) {
        let column = f64::from(i % 2);
        let (x, y) = (20.0 + 488.0 * column, top + 19.0 * f64::from(i / 2));
        pen.line(&[(x, y), (x + 34.0, y)], strokes(w.letter))?;
        let Some(d) = &w.figures else { continue };
        let against = d.against_ordinary.map_or_else(String::new, |a| {
            format!(
                ", {} s, {}",
                signed(a.time_s, 0),
                signed_fuel(a.fuel_gal, f.units)
            )
        });
        let not = if w.can_be_flown {
            ""
        } else {
            ", NOT WITHIN LIMITS"
        };
        let words = format!(
            "{} {}: {} nm{}{not}",
            letters(f, w),
            w.name,
            number(up(d.top_of_descent_to_pattern_nm, 1), 1),
            if w.letter == 'A' {
                String::new()
            } else {
                against
            },
        );
        pen.text(&words, (x + 42.0, y), (SMALL - 1.0, false), INK, Tie::Left)?;
    }
    Ok(())
}

fn draw(pen: &Pen, f: &DescendFigures) -> Result<(), ChartError> {
    pen.text(
        &format!("Ways down, {}", f.aircraft),
        (14.0, 20.0),
        (20.0, true),
        INK,
        Tie::Left,
    )?;
    pen.text(
        &f.cruise_line(),
        (14.0, 43.0),
        (MIDDLE - 2.0, false),
        INK,
        Tie::Left,
    )?;
    let far_nm = f.common_nm;
    let heights = Field {
        top: 78.0,
        bottom: 350.0,
        low: (f.pattern_altitude_ft / 500.0 - 0.5).floor() * 500.0,
        high: f.cruise.altitude_ft + 400.0,
        far_nm,
    };
    let step = tick(heights.high - heights.low, 8.0).max(500.0);
    heights.axis(pen, "ft", step)?;
    heights.ways(pen, f, |p| p.altitude_ft, come_down)?;
    let ias = || {
        f.ways
            .iter()
            .filter_map(|w| w.figures.as_ref())
            .flat_map(|d| d.path.iter().map(|p| p.ias_kt))
    };
    let fastest = ias().fold(f.vno_kt, f64::max);
    let speeds = Field {
        top: 386.0,
        bottom: 536.0,
        low: (ias().fold(f.pattern_ias_kt, f64::min) / 10.0).floor() * 10.0,
        high: (fastest / 10.0).ceil() * 10.0,
        far_nm,
    };
    speeds.axis(pen, "KIAS", 20.0)?;
    let y = speeds.at(0.0, f.vno_kt).1;
    pen.line(&[(LEFT, y), (RIGHT, y)], style(INK, 1.0, &[2.0, 3.0]))?;
    pen.boxed(
        &format!("Vno {}", knots(f.vno_kt)),
        (LEFT + 40.0, y),
        (SMALL, false),
    )?;
    speeds.ways(
        pen,
        f,
        |p| p.ias_kt,
        |path, share| come_down(path, 0.9 - share),
    )?;
    let step = tick(far_nm, 12.0).max(1.0);
    let mut nm = 0.0;
    while nm <= far_nm {
        let (x, y) = speeds.at(nm, speeds.low);
        pen.line(&[(x, y), (x, y + 5.0)], style(SOFT, 1.0, &[]))?;
        pen.text(
            &number(nm, 0),
            (x, y + 15.0),
            (SMALL, false),
            SOFT,
            Tie::Centre,
        )?;
        nm += step;
    }
    pen.line(
        &[(LEFT, speeds.bottom), (RIGHT, speeds.bottom)],
        style(SOFT, 1.0, &[]),
    )?;
    pen.text(
        &format!(
            "nm to the pattern point ({} ft, {} KIAS)",
            feet(f.pattern_altitude_ft),
            knots(f.pattern_ias_kt)
        ),
        (0.5 * (LEFT + RIGHT), speeds.bottom + 34.0),
        (SMALL, false),
        INK,
        Tie::Centre,
    )?;
    key(pen, f, 592.0)?;
    foot(pen, f)
}

fn foot(pen: &Pen, f: &DescendFigures) -> Result<(), ChartError> {
    let engines = if f.engines > 1 {
        " One engine out is not modelled."
    } else {
        ""
    };
    let words = format!(
        "{}. The flight manual, local rules and the pilot in command decide.{engines}",
        f.title
    );
    pen.text(
        &words,
        (14.0, HEIGHT - 12.0),
        (11.0, false),
        SOFT,
        Tie::Left,
    )
}

/// The study drawn, as SVG.
///
/// # Errors
/// [`ChartError`]: nothing to draw, or a failure of the drawing library, which would be our bug.
pub fn descend_svg(f: &DescendFigures) -> Result<String, ChartError> {
    if drawn(f).next().is_none() || f.common_nm <= 0.0 {
        return Err(ChartError::Empty);
    }
    let title = format!("Ways down, {}", f.aircraft);
    on_canvas((&title, &f.cruise_line()), |pen| draw(pen, f))
}

/// Corners of a cell: left, top, right, bottom.
type Box4 = (f64, f64, f64, f64);

/// Tone and hatching of a region.
fn fill(pen: &Pen, (x0, y0, x1, y1): Box4, best: Option<&str>) -> Result<(), ChartError> {
    let tone = match best {
        Some("coarse") => RGBColor(0xff, 0xff, 0xff),
        Some("power_left") => RGBColor(0xec, 0xee, 0xf0),
        Some("reduced") => RGBColor(0xd5, 0xd9, 0xdc),
        Some("same") => HAIR,
        Some(_) => RGBColor(0xbd, 0xc3, 0xc8),
        None => RGBColor(0xff, 0xff, 0xff),
    };
    pen.area(&[(x0, y0), (x1, y0), (x1, y1), (x0, y1)], tone)?;
    // Slanting lines up for reduced, level ones for power left, both ways where nothing keeps the limits.
    let apart = 8.0;
    let slant = |pen: &Pen, rising: bool| -> Result<(), ChartError> {
        let (w, h) = (x1 - x0, y1 - y0);
        let mut c = apart;
        while c < w + h {
            let (mut a, mut b) = ((c.min(w), (c - w).max(0.0)), ((c - h).max(0.0), c.min(h)));
            if rising {
                a.0 = w - a.0;
                b.0 = w - b.0;
            }
            let on = |p: (f64, f64)| (x0 + p.0, y0 + p.1);
            pen.line(&[on(a), on(b)], style(SOFT, 0.5, &[]))?;
            c += apart;
        }
        Ok(())
    };
    match best {
        Some("reduced") => slant(pen, false),
        Some("power_left") => {
            let mut y = y0 + apart;
            while y < y1 {
                pen.line(&[(x0, y), (x1, y)], style(SOFT, 0.5, &[]))?;
                y += apart;
            }
            Ok(())
        }
        Some("coarse" | "same") => Ok(()),
        Some(_) => slant(pen, true),
        None => {
            slant(pen, false)?;
            slant(pen, true)
        }
    }
}

fn panel(
    pen: &Pen,
    f: &DescendFigures,
    map: &MapFigures,
    p: &MapPanelFigures,
    area: Box4,
) -> Result<(), ChartError> {
    let (left, top, right, bottom) = area;
    let (across, rows) = (map.x.len(), map.y.len());
    let count = |n: usize| f64::from(u32::try_from(n).unwrap_or(u32::MAX).max(1));
    let (w, h) = ((right - left) / count(across), (bottom - top) / count(rows));
    let corners = |i: usize| {
        let (c, r) = (count(i % across + 1) - 1.0, count(i / across + 1) - 1.0);
        let (x, y) = (left + w * c, bottom - h * r);
        (x, y - h, x + w, y)
    };
    pen.text(
        &format!("{} air", super::words::sentence(p.air)),
        (left, top - 14.0),
        (MIDDLE, true),
        INK,
        Tie::Left,
    )?;
    for (i, c) in p.cells.iter().enumerate() {
        fill(pen, corners(i), c.region())?;
    }
    let size = SMALL.min(0.27 * w).min(0.5 * h);
    for (i, c) in p.cells.iter().enumerate() {
        let (x0, y0, x1, y1) = corners(i);
        let middle = (0.5 * (x0 + x1), 0.5 * (y0 + y1));
        pen.boxed(&cell_words(c, f.fixed_pitch), middle, (size, false))?;
    }
    // The boundary.
    let differ = |a: &MapCellFigures, b: &MapCellFigures| a.region() != b.region();
    for (i, c) in p.cells.iter().enumerate() {
        let (_, y0, x1, y1) = corners(i);
        if (i + 1) % across != 0 && p.cells.get(i + 1).is_some_and(|n| differ(c, n)) {
            pen.line(&[(x1, y0), (x1, y1)], style(INK, 3.0, &[]))?;
        }
        let (x0, y0, x1, _) = corners(i);
        if p.cells.get(i + across).is_some_and(|n| differ(c, n)) {
            pen.line(&[(x0, y0), (x1, y0)], style(INK, 3.0, &[]))?;
        }
    }
    let frame = [
        (left, top),
        (right, top),
        (right, bottom),
        (left, bottom),
        (left, top),
    ];
    pen.line(&frame, style(SOFT, 1.0, &[]))?;
    let every = across.div_ceil(9);
    for (i, x) in map.x.iter().enumerate().filter(|(i, _)| i % every == 0) {
        let (x0, _, x1, _) = corners(i);
        let words = if map.kind == "wind" {
            signed(*x, 0)
        } else {
            number(near(*x, 0), 0)
        };
        pen.text(
            &words,
            (0.5 * (x0 + x1), bottom + 14.0),
            (SMALL, false),
            SOFT,
            Tie::Centre,
        )?;
    }
    for (r, y) in map.y.iter().enumerate() {
        let (_, y0, _, y1) = corners(r * across);
        pen.text(
            &map.up_words(*y, f.units),
            (left - 6.0, 0.5 * (y0 + y1)),
            (SMALL, false),
            SOFT,
            Tie::Right,
        )?;
    }
    Ok(())
}

fn draw_map(pen: &Pen, f: &DescendFigures, map: &MapFigures) -> Result<(), ChartError> {
    pen.text(
        &format!("What descends best, {}", f.aircraft),
        (14.0, 20.0),
        (20.0, true),
        INK,
        Tie::Left,
    )?;
    pen.text("Letter: the cheapest way down. Number: money saved against the ordinary one, reduced power at 500 fpm or the limit.", (14.0, 43.0), (SMALL - 1.0, false), INK, Tie::Left)?;
    let (top, bottom) = (124.0, 560.0);
    let areas: Vec<Box4> = if map.panels.len() > 1 {
        vec![(72.0, top, 500.0, bottom), (552.0, top, 980.0, bottom)]
    } else {
        vec![(LEFT, top, RIGHT, bottom)]
    };
    for (p, area) in map.panels.iter().zip(areas) {
        panel(pen, f, map, p, area)?;
    }
    pen.text(
        &format!("{}.", super::words::sentence(&map.fixed)),
        (14.0, 61.0),
        (SMALL - 1.0, false),
        INK,
        Tie::Left,
    )?;
    let up_name = map.up_name(f.units);
    pen.text(&up_name, (14.0, 84.0), (SMALL, false), INK, Tie::Left)?;
    pen.text(
        map.x_name,
        (0.5 * (LEFT + RIGHT), 598.0),
        (SMALL, false),
        INK,
        Tie::Centre,
    )?;
    // The key.
    let mut x = 20.0;
    for k in ["coarse", "power_left", "reduced", "both_reduced"] {
        let occurs = map.panels.iter().flat_map(|p| &p.cells).any(|c| c.shows(k));
        if !occurs {
            continue;
        }
        let area = (x, 622.0, x + 30.0, 644.0);
        fill(pen, area, Some(k))?;
        let (a, b, c, d) = area;
        pen.line(
            &[(a, b), (c, b), (c, d), (a, d), (a, b)],
            style(SOFT, 1.0, &[]),
        )?;
        let (letter, words) = family_words(k, f.fixed_pitch);
        let words = format!("{letter} {words}");
        pen.text(
            &words,
            (x + 36.0, 633.0),
            (SMALL - 1.0, false),
            INK,
            Tie::Left,
        )?;
        x += 52.0 + text_width(&words, SMALL - 1.0, false);
    }
    let prices =
        f.prices
            .filter(|_| map.kind == "wind")
            .map_or_else(String::new, |[hour, gallon]| {
                format!(
                    "{} an hour, {} a {}. ",
                    number(near(hour, 2), 0),
                    f.units.price(gallon),
                    f.units.volume_word()
                )
            });
    let rest: Vec<String> = key_words(map, f.fixed_pitch)
        .split("; ")
        .filter(|w| w.starts_with(['-', '?', '=']) || w.starts_with("two letters"))
        .map(|w| w.trim_end_matches('.').to_owned())
        .collect();
    let words = format!("{prices}{}", rest.join("; "));
    pen.text(&words, (20.0, 664.0), (SMALL - 1.0, false), INK, Tie::Left)?;
    foot(pen, f)
}

/// The maps drawn, as SVG.
///
/// # Errors
/// [`ChartError`]: no map to draw, or a failure of the drawing library, which would be our bug.
pub fn descend_map_svg(f: &DescendFigures) -> Result<String, ChartError> {
    match &f.map {
        Some(map) if !map.x.is_empty() && !map.y.is_empty() => {
            let title = format!("What descends best, {}", f.aircraft);
            on_canvas((&title, &map.fixed), |pen| draw_map(pen, f, map))
        }
        _ => Err(ChartError::Empty),
    }
}
