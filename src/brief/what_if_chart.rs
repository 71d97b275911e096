//! The two ways to less power on the gauges, drawn against the limit line.

use super::chart::{
    ChartError, HAIR, HEIGHT, INK, LEFT, MIDDLE, Pen, RIGHT, SMALL, SOFT, Tie, on_canvas, style,
    text_width, tick,
};
use super::what_if::{GaugeFigures, LeverWayFigures, WHAT_IF_TITLE, WhatIfFigures};
use super::what_if_words::{against, inches, turns};
use super::words::{feet, number};

/// Top and bottom of the field of the drawing.
const FIELD: (f64, f64) = (86.0, 610.0);

/// The highest place of a line over a stretch of the drawing; of the whole line where it has no point there.
fn highest(line: &[(f64, f64)], from: f64, width: f64) -> f64 {
    let over = |low: f64, high: f64| {
        let there = line.iter().filter(|p| p.0 >= low && p.0 <= high);
        there.map(|p| p.1).fold(f64::INFINITY, f64::min)
    };
    let there = over(from, from + width);
    if there.is_finite() {
        there
    } else {
        over(f64::NEG_INFINITY, f64::INFINITY)
    }
}

fn draw(pen: &Pen, f: &WhatIfFigures) -> Result<(), ChartError> {
    let ways = [&f.throttle_first, &f.propeller_first];
    let places = || ways.into_iter().flat_map(|w| &w.points);
    let span = |values: Vec<f64>, step: f64| {
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (
            ((low / step).floor() - 1.0) * step,
            ((high / step).ceil() + 1.0) * step,
        )
    };
    let (left, right) = span(places().map(|p| p.rpm).collect(), 100.0);
    let inside: Vec<GaugeFigures> = f
        .limit_line
        .iter()
        .filter(|r| r.rpm >= left && r.rpm <= right)
        .copied()
        .collect();
    let maps = places().chain(&inside).map(|p| p.map_inhg);
    let (low, high) = span(maps.collect(), 1.0);
    let (x, y) = (
        |rpm: f64| LEFT + (RIGHT - LEFT) * (rpm - left) / (right - left),
        |map: f64| FIELD.1 - (FIELD.1 - FIELD.0) * (map - low) / (high - low),
    );
    let head = format!(
        "{}: from {} / {} to {} / {}",
        f.aircraft,
        inches(f.here.map_inhg),
        turns(f.here.rpm),
        inches(f.target.map_inhg),
        turns(f.target.rpm)
    );
    pen.text(&head, (14.0, 22.0), (20.0, true), INK, Tie::Left)?;
    pen.text(&format!(
            "{} ft pressure altitude. Two ways to less power, on the gauges: manifold pressure in inches over RPM.",
            feet(f.pressure_altitude_ft)
        ), (14.0, 47.0), (SMALL, false), INK, Tie::Left)?;
    // scales
    let step = tick(right - left, 10.0);
    let mut at = (left / step).ceil() * step;
    while at <= right + 1e-6 {
        pen.line(&[(x(at), FIELD.0), (x(at), FIELD.1)], style(HAIR, 0.6, &[]))?;
        pen.text(
            &turns(at),
            (x(at), FIELD.1 + 16.0),
            (SMALL, false),
            SOFT,
            Tie::Centre,
        )?;
        at += step;
    }
    let step = tick(high - low, 12.0);
    let mut at = (low / step).ceil() * step;
    while at <= high + 1e-6 {
        pen.line(&[(LEFT, y(at)), (RIGHT, y(at))], style(HAIR, 0.6, &[]))?;
        pen.text(
            &number(at, 0),
            (LEFT - 8.0, y(at)),
            (SMALL, false),
            SOFT,
            Tie::Right,
        )?;
        at += step;
    }
    pen.text(
        "MAP, in",
        (14.0, FIELD.0 - 14.0),
        (SMALL, true),
        INK,
        Tie::Left,
    )?;
    pen.text(
        "RPM",
        (RIGHT, FIELD.1 + 36.0),
        (SMALL, true),
        INK,
        Tie::Right,
    )?;
    let limit: Vec<(f64, f64)> = inside.iter().map(|r| (x(r.rpm), y(r.map_inhg))).collect();
    pen.line(&limit, style(INK, 3.0, &[]))?;
    let name = if f.limit_line_of_profile {
        "limit line of the profile"
    } else {
        "RPM/100, kept for want of a limit line"
    };
    let from = limit.first().map_or(LEFT, |p| p.0) + 10.0;
    let width = text_width(name, MIDDLE, true);
    let label = (from + 0.5 * width, highest(&limit, from, width) - 14.0);
    if f.limit_line_of_profile {
        let square: Vec<(f64, f64)> = inside
            .iter()
            .map(|r| (r.rpm, r.rpm / 100.0))
            .filter(|p| p.1 >= low && p.1 <= high)
            .map(|p| (x(p.0), y(p.1)))
            .collect();
        pen.line(&square, style(SOFT, 1.2, &[2.0, 5.0]))?;
        if let Some(&(end, _)) = square.last() {
            let width = text_width("RPM/100", SMALL, false);
            let top = highest(&square, end - width - 6.0, width);
            pen.text(
                "RPM/100",
                (end - 6.0, top - 14.0),
                (SMALL, false),
                SOFT,
                Tie::Right,
            )?;
        }
    }
    // the ways
    let path = |w: &LeverWayFigures| -> Vec<(f64, f64)> {
        w.points.iter().map(|p| (x(p.rpm), y(p.map_inhg))).collect()
    };
    let (first, second) = (path(&f.throttle_first), path(&f.propeller_first));
    pen.line(&first, style(INK, 2.0, &[]))?;
    pen.line(&second, style(INK, 2.0, &[9.0, 6.0]))?;
    let here = (x(f.here.rpm), y(f.here.map_inhg));
    let target = (x(f.target.rpm), y(f.target.map_inhg));
    pen.boxed(name, label, (MIDDLE, true))?;
    pen.dot(here, 5.0)?;
    pen.dot(target, 5.0)?;
    pen.text(
        "now",
        (here.0 + 12.0, here.1 - 12.0),
        (MIDDLE, true),
        INK,
        Tie::Left,
    )?;
    pen.text(
        "wanted",
        (target.0 - 12.0, target.1 + 14.0),
        (MIDDLE, true),
        INK,
        Tie::Right,
    )?;
    let middle = 0.5 * (here.0 + target.0);
    let margin = against(f.propeller_first.margin_inhg);
    let words = format!("propeller first: {margin}");
    let width = text_width(&words, SMALL, false);
    let top = highest(&second, middle - 0.5 * width, width);
    pen.boxed(&words, (middle, top - 16.0), (SMALL, false))?;
    let bottom = first.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    let words = format!("throttle first: {}", against(f.throttle_first.margin_inhg));
    pen.boxed(&words, (middle, bottom + 20.0), (SMALL, false))?;
    pen.text("Throttle first when reducing, RPM first when adding; MAP trimmed as the propeller moves. A model: the flight manual and the engine maker's limits decide.", (14.0, HEIGHT - 14.0), (SMALL, false), SOFT, Tie::Left)
}

/// The two ways against the limit line, as SVG.
///
/// # Errors
/// [`ChartError`]: a failure of the drawing library, which would be our bug.
pub fn what_if_svg(f: &WhatIfFigures) -> Result<String, ChartError> {
    on_canvas((WHAT_IF_TITLE, &f.aircraft), |pen| draw(pen, f))
}
