//! Panels over the common distance axis, their value axes, and the axis itself.

use super::labels::{Board, Label, Rect, Weight, spot};
use super::pen::{FRAME, GRID, INK, Pen, SMALL, SOFT, Tie, VIA};
use super::{ChartError, Figures, HEIGHTS, LEFT, LOWER, RIGHT, SHEET_LEFT};
use crate::brief::words::{feet, number, up};

/// Height that a figure of a value axis takes.
pub(super) const FIGURE: f64 = 16.0;

/// A tick step of 1, 2 or 5 times a power of ten that gives at most so many steps.
pub(in crate::brief) fn tick(span: f64, most: f64) -> f64 {
    let raw = span / most;
    let power = 10_f64.powf(raw.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|s| *s >= raw - 1e-9)
        .unwrap_or(10.0 * power)
}

/// One panel: a range of values over the common distance axis.
#[derive(Debug, Clone, Copy)]
pub(in crate::brief) struct Panel {
    pub top: f64,
    pub bottom: f64,
    pub low: f64,
    pub high: f64,
    pub length_nm: f64,
}

impl Panel {
    pub fn x(&self, nm: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * nm / self.length_nm
    }

    pub fn y(&self, value: f64) -> f64 {
        self.bottom - (self.bottom - self.top) * (value - self.low) / (self.high - self.low)
    }

    pub fn at(&self, nm: f64, value: f64) -> (f64, f64) {
        (self.x(nm), self.y(value))
    }

    /// The panel on the sheet.
    pub fn area(&self) -> Rect {
        Rect {
            left: LEFT,
            top: self.top,
            right: RIGHT,
            bottom: self.bottom,
        }
    }

    /// Title, lines and figures of the value axis, and the frame: steps no finer than told, and no nearer on the sheet.
    pub fn axis(
        &self,
        pen: &Pen,
        board: &mut Board,
        title: &[&str],
        (least_step, apart): (f64, f64),
        write: impl Fn(f64) -> String,
    ) -> Result<(), ChartError> {
        let most = ((self.bottom - self.top) / apart).max(1.0);
        let step = tick(self.high - self.low, most).max(least_step);
        let mut y = self.top - 9.0;
        for line in title {
            let label = Label::bold(*line, SMALL, INK);
            board.fix(&label, spot(SHEET_LEFT, y, Tie::Left));
            y += 15.0;
        }
        let mut value = (self.low / step - 1e-9).ceil() * step;
        while value <= self.high + 1e-9 {
            let y = self.y(value);
            pen.line(&[(LEFT, y), (RIGHT, y)], GRID)?;
            let figure = Label::new(write(value), SMALL, SOFT);
            board.fix(&figure, spot(LEFT - 6.0, y, Tie::Right));
            value += step;
        }
        pen.line(&[(LEFT, self.bottom), (RIGHT, self.bottom)], FRAME)
    }
}

/// Dotted lines at the via points, through all panels.
pub(super) fn via_points(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    panel: &Panel,
) -> Result<(), ChartError> {
    for leg in f.legs.iter().skip(1) {
        let x = panel.x(leg.from_nm);
        for (top, bottom) in [HEIGHTS, LOWER] {
            let line = [(x, top), (x, bottom)];
            pen.line(&line, VIA)?;
            board.line(&line, 0.0, Weight::Light);
        }
    }
    Ok(())
}

/// The distance axis under the lowest panel.
pub(super) fn distance_axis(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    panel: &Panel,
) -> Result<(), ChartError> {
    let bottom = LOWER.1;
    let length = f.totals.distance_nm;
    let y = bottom + 13.0;
    let end = Label::new(format!("{} nm", number(up(length, 0), 0)), SMALL, INK);
    board.fix(&end, spot(RIGHT, y, Tie::Right));
    let title = Label::bold("nm", SMALL, INK);
    board.fix(&title, spot(SHEET_LEFT, y, Tie::Left));
    let step = tick(length, 9.0);
    let mut nm = 0.0;
    while nm <= length + 1e-9 {
        let x = panel.x(nm);
        pen.line(&[(x, bottom), (x, bottom + 5.0)], FRAME)?;
        let figure = Label::new(number(nm, if step < 1.0 { 1 } else { 0 }), SMALL, SOFT);
        board.offer(&figure, &[spot(x, y, Tie::Centre)], Weight::Heavy);
        nm += step;
    }
    Ok(())
}

/// Names of the places, under the heights: the ends first, the others where there is room, in the panel's foot if need be.
pub(super) fn places(board: &mut Board, f: &Figures, panel: &Panel) {
    let y = panel.bottom + 12.0;
    let last = f.trip.places.len().saturating_sub(1);
    let name = |i: usize| {
        // A start in flight is no field.
        let field = match i {
            0 if f.trip.start_in_flight.is_none() => f.fields.first(),
            i if i == last => f.fields.last(),
            _ => None,
        };
        let place = &f.trip.places[i];
        field.map_or_else(
            || place.clone(),
            |x| format!("{place}, {} ft", feet(x.elevation_ft)),
        )
    };
    let whole = panel.length_nm;
    let inner = (1..last).filter(|&i| i != 0);
    for i in [0, last].into_iter().chain(inner) {
        let Some(place) = f.trip.places.get(i) else {
            continue;
        };
        let x = panel.x(f.legs.get(i).map_or(whole, |l| l.from_nm));
        let full = Label::bold(name(i), SMALL, INK);
        let short = Label::bold(place.clone(), SMALL, INK);
        if i == 0 || i == last {
            let at = if i == 0 {
                spot(x, y, Tie::Left)
            } else {
                spot(x, y, Tie::Right)
            };
            // Two long names may not both have room for their elevations.
            if !board.fix(&full, at) {
                board.fix(&short, at);
            }
            continue;
        }
        let spots = [
            spot(x, y, Tie::Centre),
            spot(x + 3.0, y, Tie::Left),
            spot(x - 3.0, y, Tie::Right),
            spot(x, panel.bottom - 10.0, Tie::Centre),
            spot(x + 3.0, panel.bottom - 10.0, Tie::Left),
            spot(x - 3.0, panel.bottom - 10.0, Tie::Right),
            spot(x, panel.bottom - 26.0, Tie::Centre),
        ];
        board.offer(&full, &spots, Weight::Light);
    }
}
