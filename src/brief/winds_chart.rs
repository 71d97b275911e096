//! The winds of a trip drawn: an arrow and figures in each stretch and height, the ground and 0 °C.

use super::chart::{
    Board, COLD, ChartError, EARTH, FINE, FRAME, FREEZING, GRID, GROUND, HEIGHT, INK, LARGE, LEFT,
    Label, POINTER, Pen, RIGHT, Rect, SHEET_LEFT, SMALL, SOFT, Spot, Style, Tie, Weight, fitted,
    on_canvas, sheet, spot, tick,
};
use super::freezing::crossings;
use super::winds::{STEPS_FT, WINDS_TITLE, WindStretch, WindsFigures, WindsLevel};
use super::winds_text::signed;
use super::words::{feet, number};

/// Top and bottom of the drawing's field, in chart units.
const FIELD: (f64, f64) = (92.0, 622.0);
/// Its right end; the means stand beyond.
const END: f64 = RIGHT - 40.0;
/// Longest arrow over the size of its cell.
const ARROW_SHARE: f64 = 0.46;
/// Widest figures over the width of their cell.
const FIGURES_SHARE: f64 = 0.48;
/// How an arrow is drawn.
const ARROW: Style = Style {
    width: 1.5,
    ..POINTER
};

fn draw(pen: &Pen, f: &WindsFigures) -> Result<(), ChartError> {
    let (low, high) = match (f.stretches.first(), f.rows()) {
        (Some(s), n) if n > 0 => (
            s.levels[0].indicated_altitude_ft,
            s.levels[n - 1].indicated_altitude_ft,
        ),
        _ => return Err(ChartError::Empty),
    };
    #[expect(clippy::cast_precision_loss, reason = "a few dozen rows")]
    let step = (high - low) / (f.rows().max(2) - 1) as f64;
    let step = if step > 0.0 { step } else { STEPS_FT[0] };
    let (bottom_ft, top_ft) = (low - 0.5 * step, high + 0.5 * step);
    let x = |nm: f64| LEFT + (END - LEFT) * nm / f.length_nm();
    let y = |ft: f64| FIELD.1 - (FIELD.1 - FIELD.0) * (ft - bottom_ft) / (top_ft - bottom_ft);
    let mut board = sheet();
    frame(pen, &mut board, f, &x, &y)?;
    // the air is as wide as its stretch and as high as its step
    let most = f
        .stretches
        .iter()
        .flat_map(|s| &s.levels)
        .map(|l| l.wind_along_kt.hypot(l.wind_cross_kt))
        .fold(1.0, f64::max);
    let room = y(0.0) - y(step);
    // ground
    for s in &f.stretches {
        let (a, b) = (x(s.from_nm), x(s.to_nm));
        let Some(ground_ft) = s.ground_ft else {
            continue;
        };
        let top = y(ground_ft.clamp(bottom_ft, top_ft));
        if top < FIELD.1 {
            pen.area(&[(a, top), (b, top), (b, FIELD.1), (a, FIELD.1)], EARTH)?;
            pen.line(&[(a, top), (b, top)], GROUND)?;
        }
    }
    let lines = freezing(f, &x, &y);
    for line in &lines {
        pen.line(line, FREEZING)?;
        board.line(line, 1.0, Weight::Light);
    }
    let blow = |board: &mut Board, l: &WindsLevel, at: (f64, f64), width: f64| {
        let size = ARROW_SHARE * width.min(2.0 * room) / most;
        let (along, across) = (l.wind_along_kt * size, l.wind_cross_kt * size);
        board.take(Rect {
            left: at.0 - 0.5 * along.abs() - 3.0,
            top: at.1 - 0.5 * across.abs() - 3.0,
            right: at.0 + 0.5 * along.abs() + 3.0,
            bottom: at.1 + 0.5 * across.abs() + 3.0,
        });
        arrow(pen, at, (along, across))
    };
    // Arrow and figures beside each other where both can be read; what is too narrow for that comes after, in what is left.
    let mut narrow = Vec::new();
    for s in &f.stretches {
        let (left, width) = (x(s.from_nm), x(s.to_nm) - x(s.from_nm));
        let cell = (FIGURES_SHARE * width, room);
        for l in s.levels.iter().filter(|l| l.above_ground) {
            let y = y(l.indicated_altitude_ft);
            let Some(label) = figures(l, cell) else {
                narrow.push((l, (left + 0.5 * width, y), width));
                continue;
            };
            blow(&mut board, l, (left + 0.25 * width, y), width)?;
            board.fix(&label, spot(left + 0.74 * width, y, Tie::Centre));
        }
    }
    // By turns the figures stand in place of the arrow, where they have room.
    for (i, (l, at, width)) in narrow.into_iter().enumerate() {
        let label = figures(l, (2.0 * width, room)).filter(|_| i % 2 == 0);
        let placed = label.and_then(|label| {
            let here = spot(at.0, at.1, Tie::Centre);
            board.offer(&label, &[here], Weight::Light)
        });
        if placed.is_none() {
            blow(&mut board, l, at, 2.0 * width)?;
        }
    }
    for s in f.stretches.iter().skip(1) {
        pen.line(&[(x(s.from_nm), FIELD.0), (x(s.from_nm), FIELD.1)], GRID)?;
    }
    // once, where there is room over or under its line
    let label = Label::new("0 °C", SMALL, COLD);
    let spots: Vec<_> = lines
        .iter()
        .flat_map(|l| {
            let (a, b, y) = (l[0].0 + 4.0, l[1].0 - 4.0, l[0].1);
            [-9.0, 10.0, -16.0, 17.0, -23.0, 24.0]
                .into_iter()
                .flat_map(move |dy| [spot(a, y + dy, Tie::Left), spot(b, y + dy, Tie::Right)])
        })
        .collect();
    board.offer(&label, &spots, Weight::Light);
    board.write(pen)
}

/// What stands beside an arrow: kt and °C in a row, else one over the other, as large as a cell of this width and height has room for
/// and never too small to be read; none where there is no room.
fn figures(l: &WindsLevel, (wide, high): (f64, f64)) -> Option<Label> {
    let (wind, air) = (
        signed(l.wind_along_kt),
        format!("{}°", number(l.temperature_c, 0)),
    );
    let in_a_row = |size: f64| Label::new(format!("{wind}, {air}"), size, INK);
    let stacked = |size: f64| Label::new(wind.clone(), size, INK).then(air.clone(), size, false);
    let all = [
        in_a_row(SMALL),
        in_a_row(FINE),
        stacked(SMALL),
        stacked(FINE),
    ];
    all.into_iter()
        .find(|label| label.width() <= wide && label.height() <= high)
}

/// Head, foot, heights with their means, distances and places.
fn frame(
    pen: &Pen,
    board: &mut Board,
    f: &WindsFigures,
    x: &dyn Fn(f64) -> f64,
    y: &dyn Fn(f64) -> f64,
) -> Result<(), ChartError> {
    let mut write = |label: Label, at: Spot| {
        board.fix(&label, at);
    };
    let head = format!("{}: {}", f.name, f.places.join(" - "));
    let (head, size) = fitted(&head, (LARGE, FINE), true, RIGHT - SHEET_LEFT);
    write(
        Label::bold(head, size, INK),
        spot(SHEET_LEFT, 20.0, Tie::Left),
    );
    write(
        Label::new(
            "Arrows: the wind seen from above, the course to the right. Figures: kt along the course, and °C.",
            SMALL,
            INK,
        ),
        spot(SHEET_LEFT, 43.0, Tie::Left),
    );
    let over = FIELD.0 - 12.0;
    write(
        Label::bold("ft", SMALL, INK),
        spot(SHEET_LEFT, over, Tie::Left),
    );
    write(
        Label::bold("all, kt", SMALL, INK),
        spot(RIGHT, over, Tie::Right),
    );
    for row in 0..f.rows() {
        let height = f.stretches[0].levels[row].indicated_altitude_ft;
        let y = y(height);
        pen.line(&[(LEFT, y), (END, y)], GRID)?;
        write(
            Label::new(feet(height), SMALL, SOFT),
            spot(LEFT - 6.0, y, Tie::Right),
        );
        if let Some(mean) = f.mean_along_kt(row) {
            write(
                Label::bold(signed(mean), SMALL, INK),
                spot(RIGHT, y, Tie::Right),
            );
        }
    }
    // distance and places
    pen.line(&[(LEFT, FIELD.1), (END, FIELD.1)], FRAME)?;
    let step_nm = tick(f.length_nm(), 10.0);
    let mut at = 0.0;
    while at <= f.length_nm() {
        pen.line(&[(x(at), FIELD.1), (x(at), FIELD.1 + 5.0)], FRAME)?;
        let words = if at == 0.0 {
            "0 nm".to_owned()
        } else {
            number(at, 0)
        };
        write(
            Label::new(words, SMALL, SOFT),
            spot(x(at), FIELD.1 + 15.0, Tie::Centre),
        );
        at += step_nm;
    }
    for (i, (place, at)) in f.places.iter().zip(&f.places_nm).enumerate() {
        let tie = match i {
            0 => Tie::Left,
            i if i + 1 == f.places.len() => Tie::Right,
            _ => Tie::Centre,
        };
        write(
            Label::bold(place.clone(), SMALL, INK),
            spot(x(*at), FIELD.1 + 33.0, tie),
        );
    }
    let foot = format!("{WINDS_TITLE}. Heights indicated.");
    write(
        Label::new(foot, FINE, SOFT),
        spot(SHEET_LEFT, HEIGHT - 10.0, Tie::Left),
    );
    Ok(())
}

/// An arrow about its middle, pointing where the air goes: along to the right, from the left downwards.
fn arrow(pen: &Pen, at: (f64, f64), (along, across): (f64, f64)) -> Result<(), ChartError> {
    let length = along.hypot(across);
    if length < 1.0 {
        return pen.line(&[(at.0 - 1.5, at.1), (at.0 + 1.5, at.1)], ARROW);
    }
    let tail = (at.0 - 0.5 * along, at.1 - 0.5 * across);
    let tip = (at.0 + 0.5 * along, at.1 + 0.5 * across);
    pen.line(&[tail, tip], ARROW)?;
    let (ux, uy) = (along / length, across / length);
    let barb = (0.4 * length).min(6.0);
    for side in [-0.5, 0.5] {
        let back = (
            tip.0 - barb * (ux - side * uy),
            tip.1 - barb * (uy + side * ux),
        );
        pen.line(&[back, tip], ARROW)?;
    }
    Ok(())
}

/// The lowest height of 0 °C over the ground of each stretch.
fn freezing(
    f: &WindsFigures,
    x: &dyn Fn(f64) -> f64,
    y: &dyn Fn(f64) -> f64,
) -> Vec<[(f64, f64); 2]> {
    let line = |s: &WindStretch| {
        let over = s.levels.iter().filter(|l| l.above_ground);
        let levels: Vec<_> = over
            .map(|l| (l.indicated_altitude_ft, l.temperature_c))
            .collect();
        let ft = crossings(&levels).next()?;
        Some([(x(s.from_nm), y(ft)), (x(s.to_nm), y(ft))])
    };
    f.stretches.iter().filter_map(line).collect()
}

/// The winds drawn, as SVG.
///
/// # Errors
/// [`ChartError`]: nothing to draw, or a failure of the drawing library, which would be our bug.
pub fn winds_svg(f: &WindsFigures) -> Result<String, ChartError> {
    let description = format!("{WINDS_TITLE}. {}.", f.places.join(" - "));
    on_canvas((&f.name, &description), |pen| draw(pen, f))
}
