//! Fuel over time: each plan a point, named by level and setting.

use super::TotalsFigures;
use super::chart::{
    ChartError, HAIR, HEIGHT, INK, LEFT, Pen, RIGHT, SMALL, SOFT, Tie, WIDTH, on_canvas, style,
    text_width, tick,
};
use super::frontier::{FRONTIER_TITLE, FrontierFigures, FrontierPlanFigures};
use super::frontier_text::{flown_words, setting_words, time};
use super::measure::Units;
use super::words::{feet, number};

/// Where the field lies and how large its marks are, in chart units.
#[derive(Debug, Clone, Copy)]
struct Look {
    /// Left, top, right and bottom of the field.
    field: Area,
    /// Text of the axes.
    axis: f64,
    /// Text of the labels.
    label: f64,
    /// Radius of a point.
    dot: f64,
    /// Most steps of an axis.
    steps: f64,
}

/// The chart by itself.
const SHEET: Look = Look {
    field: (LEFT, 96.0, RIGHT, 606.0),
    axis: SMALL,
    label: 13.0,
    dot: 4.0,
    steps: 10.0,
};

impl Look {
    /// Beside a slider, written in this size.
    fn small(text: f64) -> Self {
        Self {
            field: (3.2 * text, 1.6 * text, WIDTH - 12.0, HEIGHT - 2.8 * text),
            axis: text,
            label: text,
            dot: 0.28 * text,
            steps: 5.0,
        }
    }

    /// Height of a line of labels.
    fn row(self) -> f64 {
        1.23 * self.label
    }
}

/// How far up labels are moved to find room, in half rows.
const MOST_ROWS: u32 = 28;

/// A box on the drawing: left, top, right, bottom.
type Area = (f64, f64, f64, f64);

fn overlap(a: Area, b: Area) -> bool {
    a.0 < b.2 && b.0 < a.2 && a.1 < b.3 && b.1 < a.3
}

/// The axes: time to the right, fuel upwards in the units asked for, each from a little below the least to a little above the most.
struct Axes {
    look: Look,
    time: (f64, f64),
    fuel: (f64, f64),
    units: Units,
}

impl Axes {
    /// For these plans, with so much more room to the right for names, as a share of the whole.
    fn new(look: Look, units: Units, plans: &[&TotalsFigures], right: f64) -> Option<Self> {
        let span = |value: &dyn Fn(&TotalsFigures) -> f64, least: f64| {
            let low = plans.iter().copied().map(value).reduce(f64::min)?;
            let high = plans.iter().copied().map(value).reduce(f64::max)?;
            let room = (0.06 * (high - low)).max(least);
            Some((low - room, high + room))
        };
        let time = span(&|t| t.time_min, 1.0)?;
        Some(Self {
            look,
            time: (time.0, time.1 + right * (time.1 - time.0)),
            fuel: span(&|t| units.of_gallons(t.fuel_gal), 0.2)?,
            units,
        })
    }

    fn at(&self, minutes: f64, fuel: f64) -> (f64, f64) {
        let share = |(low, high): (f64, f64), x: f64| (x - low) / (high - low);
        let (left, top, right, bottom) = self.look.field;
        (
            left + (right - left) * share(self.time, minutes),
            bottom - (bottom - top) * share(self.fuel, fuel),
        )
    }

    fn of(&self, t: &TotalsFigures) -> (f64, f64) {
        self.at(t.time_min, self.units.of_gallons(t.fuel_gal))
    }

    fn draw(&self, pen: &Pen, f: &FrontierFigures) -> Result<(), ChartError> {
        let (left, top, right, bottom) = self.look.field;
        let (size, steps) = (self.look.axis, self.look.steps);
        let step = tick(self.time.1 - self.time.0, steps).max(1.0);
        let mut t = (self.time.0 / step).ceil() * step;
        while t <= self.time.1 {
            let (x, _) = self.at(t, self.fuel.0);
            pen.line(&[(x, top), (x, bottom)], style(HAIR, 0.8, &[]))?;
            // whole minutes
            let text = format!("{:.0}:{:02.0}", (t / 60.0).floor(), t % 60.0);
            let below = bottom + size;
            if x + 0.5 * text_width(&text, size, false) < WIDTH {
                pen.text(&text, (x, below), (size, false), SOFT, Tie::Centre)?;
            }
            t += step;
        }
        let step = tick(self.fuel.1 - self.fuel.0, steps);
        let places = usize::from(step < 0.999);
        let mut g = (self.fuel.0 / step).ceil() * step;
        while g <= self.fuel.1 {
            let (_, y) = self.at(self.time.0, g);
            pen.line(&[(left, y), (right, y)], style(HAIR, 0.8, &[]))?;
            let at = (left - 0.4 * size, y);
            pen.text(&number(g, places), at, (size, false), SOFT, Tie::Right)?;
            g += step;
        }
        let over = (14.0, top - 0.93 * size);
        pen.text(self.units.volume(), over, (size, true), INK, Tie::Left)?;
        let foot = (right, bottom + 2.33 * size);
        let words = format!("time {}, h:min", flown_words(f));
        pen.text(&words, foot, (size, true), INK, Tie::Right)?;
        pen.line(&[(left, bottom), (right, bottom)], style(SOFT, 1.0, &[]))
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
    if marked(p) {
        said.push_str(&format!(" – {}", mark_name(p)));
    }
    said
}

/// What a plan is besides one of many.
pub(super) fn mark_name(p: &FrontierPlanFigures) -> &'static str {
    match (p.best_value, p.cheapest) {
        (true, true) => "best value, cheapest",
        (true, false) => "best value",
        (false, true) => "cheapest",
        (false, false) => "",
    }
}

/// The box of a label whose middle left is at a point.
fn box_of(look: Look, text: &str, at: (f64, f64)) -> Area {
    let half = 0.5 * look.row() - 0.5;
    (
        at.0 - 2.0,
        at.1 - half,
        at.0 + text_width(text, look.label, true) + 2.0,
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
fn placed(
    look: Look,
    names: &[String],
    points: &[(f64, f64)],
    first: &[usize],
) -> Vec<Option<(f64, f64)>> {
    let dot = look.dot;
    let mut taken: Vec<Area> = points
        .iter()
        .map(|p| (p.0 - dot, p.1 - dot, p.0 + dot, p.1 + dot))
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
            let up = f64::from(row) * 0.5 * look.row();
            let at = (x + 3.0 * dot + 0.45 * up, y - up);
            let area = box_of(look, &names[i], at);
            let room = area.2 <= look.field.2
                && area.1 >= look.field.1
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

/// The points of plans with the line through them, the marked ones ringed, and what is said of them where there is room.
fn points(
    pen: &Pen,
    look: Look,
    plans: &[FrontierPlanFigures],
    points: &[(f64, f64)],
    names: &[String],
    places: &[Option<(f64, f64)>],
) -> Result<(), ChartError> {
    // White under the labels, so that no line of the grid runs through them.
    for (text, at) in names.iter().zip(places) {
        if let Some(at) = at {
            let (left, top, right, bottom) = box_of(look, text, *at);
            let corners = [(left, top), (right, top), (right, bottom), (left, bottom)];
            pen.area(&corners, plotters::style::WHITE)?;
        }
    }
    pen.line(points, style(SOFT, 0.35 * look.dot, &[]))?;
    for (at, point) in places.iter().zip(points) {
        if let Some(at) = at.filter(|at| at.1 < point.1 - 1.0) {
            pen.line(&[*point, leader_end(at)], style(SOFT, 0.15 * look.dot, &[]))?;
        }
    }
    for ((p, at), (text, place)) in plans.iter().zip(points).zip(names.iter().zip(places)) {
        if marked(p) {
            pen.dot(*at, 2.0 * look.dot)?;
        }
        pen.dot(*at, look.dot)?;
        if let Some(place) = place {
            pen.text(text, *place, (look.label, marked(p)), INK, Tie::Left)?;
        }
    }
    Ok(())
}

/// Whether a plan is the best value or the cheapest.
fn marked(p: &FrontierPlanFigures) -> bool {
    p.best_value || p.cheapest
}

fn draw(pen: &Pen, f: &FrontierFigures) -> Result<(), ChartError> {
    let look = SHEET;
    let totals: Vec<&TotalsFigures> = f.plans.iter().map(|p| &p.totals).collect();
    // More room to the right, for the names of the thriftiest.
    let axes = Axes::new(look, f.units, &totals, 0.2).ok_or(ChartError::Empty)?;
    let head = format!("{}: {}", f.name, f.places.join(" - "));
    pen.text(&head, (14.0, 20.0), (20.0, true), INK, Tie::Left)?;
    let said = format!(
        "Fuel against time, {}: no other plan found is both quicker and thriftier. Numbers as in the table.",
        f.aircraft
    );
    pen.text(&said, (14.0, 43.0), (SMALL, false), INK, Tie::Left)?;
    axes.draw(pen, f)?;
    let at: Vec<(f64, f64)> = totals.iter().map(|t| axes.of(t)).collect();
    let names: Vec<String> = f.plans.iter().map(|p| name(f, p)).collect();
    let marks = (0..names.len()).filter(|&i| marked(&f.plans[i]));
    let first: Vec<usize> = marks.chain([0, names.len() - 1]).collect();
    let places = placed(look, &names, &at, &first);
    points(pen, look, &f.plans, &at, &names, &places)?;
    for ((p, at), place) in f.plans.iter().zip(&at).zip(&places) {
        if place.is_none() {
            // Its line of the table has the rest.
            let below = (at.0 - 2.0, at.1 + 14.0);
            let number = p.order.to_string();
            pen.text(&number, below, (look.label, marked(p)), INK, Tie::Right)?;
        }
    }
    let (left, _, _, bottom) = look.field;
    if let (Some(a), Some(b)) = (f.plans.first(), f.plans.last()) {
        let ends = format!(
            "Quickest {}, {}; thriftiest {}, {}",
            time(a.totals.time_min),
            f.units.burned(a.totals.fuel_gal),
            time(b.totals.time_min),
            f.units.burned(b.totals.fuel_gal)
        );
        let at = (left, bottom + 35.0);
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

/// The frontier drawn small, its letters of this size, with room for these totals besides, as SVG; and where each of these lies on the drawing,
/// from nought at the left and the top to one.
pub(super) fn frontier_small(
    f: &FrontierFigures,
    stops: &[&TotalsFigures],
    text: f64,
) -> Result<(String, Vec<(f64, f64)>), ChartError> {
    let look = Look::small(text);
    let plans: Vec<&TotalsFigures> = f.plans.iter().map(|p| &p.totals).collect();
    let all: Vec<&TotalsFigures> = plans.iter().chain(stops).copied().collect();
    let axes = Axes::new(look, f.units, &all, 0.0).ok_or(ChartError::Empty)?;
    let at: Vec<(f64, f64)> = plans.iter().map(|t| axes.of(t)).collect();
    let names: Vec<String> = f.plans.iter().map(|p| mark_name(p).to_owned()).collect();
    let first: Vec<usize> = (0..names.len()).filter(|&i| marked(&f.plans[i])).collect();
    let mut places = placed(look, &names, &at, &first);
    for (place, p) in places.iter_mut().zip(&f.plans) {
        *place = place.filter(|_| marked(p));
    }
    let svg = on_canvas(("Fuel over time, plan by plan", &f.name), |pen| {
        axes.draw(pen, f)?;
        points(pen, look, &f.plans, &at, &names, &places)
    })?;
    let share = |t: &&TotalsFigures| {
        let (x, y) = axes.of(t);
        (x / WIDTH, y / HEIGHT)
    };
    Ok((svg, stops.iter().map(share).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_labels_lie_on_no_point_and_no_other_label() {
        let look = SHEET;
        let (_, top, right, bottom) = look.field;
        // A hyperbola crowded at both ends.
        let points: Vec<(f64, f64)> = (0..20)
            .map(|i| {
                let x = 0.05 + 0.05 * f64::from(i);
                (LEFT + 600.0 * x, bottom - 20.0 / x)
            })
            .collect();
        let names: Vec<String> = (1..=20)
            .map(|i| format!("{i}: 11,500 ft, 19.5 in / 2,300"))
            .collect();
        let places = placed(look, &names, &points, &[9]);
        let boxes: Vec<Area> = places
            .iter()
            .zip(&names)
            .filter_map(|(at, text)| at.map(|at| box_of(look, text, at)))
            .collect();
        assert!(boxes.len() >= 10 && places[9].is_some(), "{}", boxes.len());
        for (a, b) in points.iter().zip(&points[1..]) {
            assert!(!boxes.iter().any(|area| crosses(*a, *b, *area)));
        }
        for (i, a) in boxes.iter().enumerate() {
            assert!(a.2 <= right && a.1 >= top);
            assert!(boxes.iter().skip(i + 1).all(|b| !overlap(*a, *b)));
            assert!(points.iter().all(|p| {
                let dot = (
                    p.0 - look.dot,
                    p.1 - look.dot,
                    p.0 + look.dot,
                    p.1 + look.dot,
                );
                !overlap(*a, dot)
            }));
        }
    }
}
