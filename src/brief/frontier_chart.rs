//! Fuel over time: each plan a point, named by level and setting.

use super::chart::{
    ChartError, HAIR, HEIGHT, INK, LEFT, Pen, RIGHT, SMALL, SOFT, Tie, on_canvas, style,
    text_width, tick,
};
use super::frontier::{FRONTIER_TITLE, FrontierFigures, FrontierPlanFigures};
use super::frontier_text::{setting_words, time};
use super::measure::Units;
use super::words::{feet, number};

/// Top and bottom of the field, in chart units.
const FIELD: (f64, f64) = (96.0, 606.0);
/// Text of the labels.
const LABEL: f64 = 13.0;
/// Height of a line of labels.
const ROW: f64 = 16.0;
/// Radius of a point.
const DOT: f64 = 4.0;
/// How far up labels are moved to find room, in half rows.
const MOST_ROWS: u32 = 28;

/// A box on the drawing: left, top, right, bottom.
type Area = (f64, f64, f64, f64);

fn overlap(a: Area, b: Area) -> bool {
    a.0 < b.2 && b.0 < a.2 && a.1 < b.3 && b.1 < a.3
}

/// The axes: time to the right, fuel upwards in the units asked for, each from a little below the least to a little above the most.
struct Axes {
    time: (f64, f64),
    fuel: (f64, f64),
    units: Units,
}

impl Axes {
    fn new(f: &FrontierFigures) -> Option<Self> {
        let (plans, units) = (&f.plans, f.units);
        let span = |value: &dyn Fn(&FrontierPlanFigures) -> f64, least: f64| {
            let low = plans.iter().map(value).reduce(f64::min)?;
            let high = plans.iter().map(value).reduce(f64::max)?;
            let room = (0.06 * (high - low)).max(least);
            Some((low - room, high + room))
        };
        let time = span(&|p| p.totals.time_min, 1.0)?;
        // More room to the right, for the names of the thriftiest.
        Some(Self {
            time: (time.0, time.1 + 0.2 * (time.1 - time.0)),
            fuel: span(&|p| units.of_gallons(p.totals.fuel_gal), 0.2)?,
            units,
        })
    }

    fn at(&self, minutes: f64, fuel: f64) -> (f64, f64) {
        let share = |(low, high): (f64, f64), x: f64| (x - low) / (high - low);
        (
            LEFT + (RIGHT - LEFT) * share(self.time, minutes),
            FIELD.1 - (FIELD.1 - FIELD.0) * share(self.fuel, fuel),
        )
    }

    fn of(&self, p: &FrontierPlanFigures) -> (f64, f64) {
        self.at(p.totals.time_min, self.units.of_gallons(p.totals.fuel_gal))
    }

    fn draw(&self, pen: &Pen) -> Result<(), ChartError> {
        let step = tick(self.time.1 - self.time.0, 10.0).max(1.0);
        let mut t = (self.time.0 / step).ceil() * step;
        while t <= self.time.1 {
            let (x, _) = self.at(t, self.fuel.0);
            pen.line(&[(x, FIELD.0), (x, FIELD.1)], style(HAIR, 0.8, &[]))?;
            // whole minutes
            let text = format!("{:.0}:{:02.0}", (t / 60.0).floor(), t % 60.0);
            pen.text(
                &text,
                (x, FIELD.1 + 15.0),
                (SMALL, false),
                SOFT,
                Tie::Centre,
            )?;
            t += step;
        }
        let step = tick(self.fuel.1 - self.fuel.0, 10.0);
        let places = usize::from(step < 0.999);
        let mut g = (self.fuel.0 / step).ceil() * step;
        while g <= self.fuel.1 {
            let (_, y) = self.at(self.time.0, g);
            pen.line(&[(LEFT, y), (RIGHT, y)], style(HAIR, 0.8, &[]))?;
            let at = (LEFT - 6.0, y);
            pen.text(&number(g, places), at, (SMALL, false), SOFT, Tie::Right)?;
            g += step;
        }
        let over = (14.0, FIELD.0 - 14.0);
        pen.text(self.units.volume(), over, (SMALL, true), INK, Tie::Left)?;
        let foot = (RIGHT, FIELD.1 + 35.0);
        let words = "time from take-off to landing, h:min";
        pen.text(words, foot, (SMALL, true), INK, Tie::Right)?;
        pen.line(&[(LEFT, FIELD.1), (RIGHT, FIELD.1)], style(SOFT, 1.0, &[]))
    }
}

/// "8: 11,500 ft, 21 in / 2,300".
fn name(f: &FrontierFigures, p: &FrontierPlanFigures) -> String {
    let cruise: Vec<String> = p
        .cruise
        .iter()
        .map(|c| format!("{} ft, {}", feet(c.altitude_ft), setting_words(f, c)))
        .collect();
    let mut said = format!("{}: {}", p.order, cruise.join(", then "));
    if p.best_value {
        said.push_str(" – best value");
    }
    if p.cheapest {
        said.push_str(" – cheapest");
    }
    said
}

/// The box of a label whose middle left is at a point.
fn box_of(text: &str, at: (f64, f64)) -> Area {
    let half = 0.5 * ROW - 0.5;
    (
        at.0 - 2.0,
        at.1 - half,
        at.0 + text_width(text, LABEL, true) + 2.0,
        at.1 + half,
    )
}

/// Whether a line passes through a box: looked at in steps smaller than any label.
fn crosses(a: (f64, f64), b: (f64, f64), area: Area) -> bool {
    const STEPS: u32 = 64;
    (0..=STEPS).any(|i| {
        let x = f64::from(i) / f64::from(STEPS);
        let p = (a.0 + x * (b.0 - a.0), a.1 + x * (b.1 - a.1));
        overlap(area, (p.0, p.1, p.0, p.1))
    })
}

/// Where a leader ends at its label.
fn leader_end(label: (f64, f64)) -> (f64, f64) {
    (label.0 - 3.0, label.1)
}

/// Where labels have room: to the right of their points and as little above as may be, off points, the line through them, other labels and
/// their leaders; the `first` before the rest. None where there is no room so near.
fn placed(names: &[String], points: &[(f64, f64)], first: &[usize]) -> Vec<Option<(f64, f64)>> {
    let mut taken: Vec<Area> = points
        .iter()
        .map(|p| (p.0 - DOT, p.1 - DOT, p.0 + DOT, p.1 + DOT))
        .collect();
    let mut lines: Vec<((f64, f64), (f64, f64))> =
        points.windows(2).map(|w| (w[0], w[1])).collect();
    let mut out = vec![None; names.len()];
    // Then from the thriftiest, whose names have the field above them, to the quickest, whose names have it beside them.
    for i in first.iter().copied().chain((0..names.len()).rev()) {
        if out[i].is_some() {
            continue;
        }
        let (x, y) = points[i];
        let found = (0..=MOST_ROWS).find_map(|row| {
            let up = f64::from(row) * 0.5 * ROW;
            let at = (x + 12.0 + 0.45 * up, y - up);
            let area = box_of(&names[i], at);
            let room = area.2 <= RIGHT
                && area.1 >= FIELD.0
                && !taken.iter().any(|&t| overlap(t, area))
                && !lines.iter().any(|l| crosses(l.0, l.1, area));
            let leader = ((x, y), leader_end(at));
            let clear = || {
                let mut others = taken.iter().enumerate().filter(|&(k, _)| k != i);
                !others.any(|(_, &t)| crosses(leader.0, leader.1, t))
            };
            (room && clear()).then_some((at, area, leader))
        });
        if let Some((at, area, leader)) = found {
            taken.push(area);
            lines.push(leader);
            out[i] = Some(at);
        }
    }
    out
}

fn draw(pen: &Pen, f: &FrontierFigures) -> Result<(), ChartError> {
    let axes = Axes::new(f).ok_or(ChartError::Empty)?;
    let head = format!("{}: {}", f.name, f.places.join(" - "));
    pen.text(&head, (14.0, 20.0), (20.0, true), INK, Tie::Left)?;
    let said = format!(
        "Fuel against time, {}: no other plan found is both quicker and thriftier. Numbers as in the table.",
        f.aircraft
    );
    pen.text(&said, (14.0, 43.0), (SMALL, false), INK, Tie::Left)?;
    axes.draw(pen)?;
    let points: Vec<(f64, f64)> = f.plans.iter().map(|p| axes.of(p)).collect();
    let names: Vec<String> = f.plans.iter().map(|p| name(f, p)).collect();
    let marked = |p: &FrontierPlanFigures| p.best_value || p.cheapest;
    let marks = (0..names.len()).filter(|&i| marked(&f.plans[i]));
    let first: Vec<usize> = marks.chain([0, names.len() - 1]).collect();
    let places = placed(&names, &points, &first);
    // White under the labels, so that no line of the grid runs through them.
    for (text, at) in names.iter().zip(&places) {
        if let Some(at) = at {
            let (left, top, right, bottom) = box_of(text, *at);
            let corners = [(left, top), (right, top), (right, bottom), (left, bottom)];
            pen.area(&corners, plotters::style::WHITE)?;
        }
    }
    pen.line(&points, style(SOFT, 1.4, &[]))?;
    for (at, point) in places.iter().zip(&points) {
        if let Some(at) = at.filter(|at| at.1 < point.1 - 1.0) {
            pen.line(&[*point, leader_end(at)], style(SOFT, 0.6, &[]))?;
        }
    }
    for ((p, at), (text, place)) in f.plans.iter().zip(&points).zip(names.iter().zip(places)) {
        if marked(p) {
            pen.dot(*at, DOT + 4.0)?;
        }
        pen.dot(*at, DOT)?;
        let bold = marked(p);
        match place {
            Some(place) => pen.text(text, place, (LABEL, bold), INK, Tie::Left)?,
            // Its line of the table has the rest.
            None => {
                let below = (at.0 - 2.0, at.1 + 14.0);
                pen.text(&p.order.to_string(), below, (LABEL, bold), INK, Tie::Right)?;
            }
        }
    }
    if let (Some(a), Some(b)) = (f.plans.first(), f.plans.last()) {
        let ends = format!(
            "Quickest {}, {}; thriftiest {}, {}",
            time(a.totals.time_min),
            f.units.burned(a.totals.fuel_gal),
            time(b.totals.time_min),
            f.units.burned(b.totals.fuel_gal)
        );
        let at = (LEFT, FIELD.1 + 35.0);
        pen.text(&ends, at, (SMALL, false), INK, Tie::Left)?;
    }
    let at = (14.0, HEIGHT - 30.0);
    pen.text(super::CAUTIONS[0], at, (11.0, false), SOFT, Tie::Left)?;
    let foot = format!("{FRONTIER_TITLE}.");
    pen.text(&foot, (14.0, HEIGHT - 12.0), (11.0, false), SOFT, Tie::Left)
}

/// The frontier drawn, as SVG.
///
/// # Errors
/// [`ChartError`]: nothing to draw, or a failure of the drawing library, which would be our bug.
pub fn frontier_svg(f: &FrontierFigures) -> Result<String, ChartError> {
    on_canvas((FRONTIER_TITLE, &f.name), |pen| draw(pen, f))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_labels_lie_on_no_point_and_no_other_label() {
        // A hyperbola crowded at both ends.
        let points: Vec<(f64, f64)> = (0..20)
            .map(|i| {
                let x = 0.05 + 0.05 * f64::from(i);
                (LEFT + 600.0 * x, FIELD.1 - 20.0 / x)
            })
            .collect();
        let names: Vec<String> = (1..=20)
            .map(|i| format!("{i}: 11,500 ft, 19.5 in / 2,300"))
            .collect();
        let places = placed(&names, &points, &[9]);
        let boxes: Vec<Area> = places
            .iter()
            .zip(&names)
            .filter_map(|(at, text)| at.map(|at| box_of(text, at)))
            .collect();
        assert!(boxes.len() >= 10 && places[9].is_some(), "{}", boxes.len());
        for (a, b) in points.iter().zip(&points[1..]) {
            assert!(!boxes.iter().any(|area| crosses(*a, *b, *area)));
        }
        for (i, a) in boxes.iter().enumerate() {
            assert!(a.2 <= RIGHT && a.1 >= FIELD.0);
            assert!(boxes.iter().skip(i + 1).all(|b| !overlap(*a, *b)));
            assert!(points.iter().all(|p| {
                let dot = (p.0 - DOT, p.1 - DOT, p.0 + DOT, p.1 + DOT);
                !overlap(*a, dot)
            }));
        }
    }
}
