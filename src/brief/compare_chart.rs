//! One trip by several aircraft, drawn: the paths over the ground, and time, fuel and cost side by side.

use super::chart::{
    ChartError, EARTH, EARTH_EDGE, FINE, HAIR, HATCH, HEIGHT, INK, LARGE, LEFT, Pen, RIGHT, SMALL,
    SOFT, Style, Tie, fitted, on_canvas, style, tick,
};
use super::compare::{
    COMPARE_TITLE, CompareFigures, ComparedFigures, ComparedPlanFigures, aircraft_words,
};
use super::frontier_text::time;
use super::words::{feet, number, up};

/// Top and bottom of the heights.
const HEIGHTS: (f64, f64) = (158.0, 424.0);
/// Top of the bars, and where their last row must end.
const BARS: (f64, f64) = (500.0, 648.0);
/// How the paths are told apart, in colour and in grey, also where one lies on the other: each is narrower and darker than the one before.
const LINES: [Style; 4] = [
    style(HATCH.colour, 9.0, &[]),
    style(SOFT, 5.0, &[]),
    style(INK, 2.6, &[12.0, 6.0]),
    style(INK, 2.0, &[2.0, 4.0]),
];

type Flown<'a> = (usize, &'a ComparedFigures, &'a ComparedPlanFigures);

fn flown(f: &CompareFigures) -> Vec<Flown<'_>> {
    let all = f.aircraft.iter().enumerate();
    all.filter_map(|(i, a)| Some((i, a, a.plan.as_ref()?)))
        .collect()
}

fn line_of(i: usize) -> Style {
    LINES[i % LINES.len()]
}

fn heights(pen: &Pen, f: &CompareFigures, plans: &[Flown]) -> Result<(), ChartError> {
    let length_nm = plans
        .iter()
        .map(|p| p.2.totals.distance_nm)
        .fold(0.0, f64::max);
    let path_ft = plans
        .iter()
        .flat_map(|p| p.2.path.iter().map(|t| t.indicated_altitude_ft));
    let high = path_ft.fold(0.0, f64::max) * 1.08;
    let x = |d: f64| LEFT + (RIGHT - LEFT) * d / length_nm.max(1.0);
    let y = |h: f64| HEIGHTS.1 - (HEIGHTS.1 - HEIGHTS.0) * h.max(0.0) / high.max(1.0);
    let mut ground = vec![(LEFT, HEIGHTS.1)];
    for g in &f.ground {
        ground.extend([(x(g.from_nm), y(g.ground_ft)), (x(g.to_nm), y(g.ground_ft))]);
    }
    ground.push((RIGHT, HEIGHTS.1));
    pen.area(&ground, EARTH)?;
    let step = tick(high, 8.0);
    let mut h = 0.0;
    while h <= high {
        pen.line(&[(LEFT, y(h)), (RIGHT, y(h))], style(HAIR, 0.8, &[]))?;
        pen.text(
            &feet(h),
            (LEFT - 6.0, y(h)),
            (FINE, false),
            SOFT,
            Tie::Right,
        )?;
        h += step;
    }
    let step = tick(length_nm, 10.0);
    let mut d = 0.0;
    while d <= length_nm + 1e-9 {
        let foot = [(x(d), HEIGHTS.1), (x(d), HEIGHTS.1 + 4.0)];
        pen.line(&foot, style(SOFT, 1.0, &[]))?;
        let text = number(d, 0);
        pen.text(
            &text,
            (x(d), HEIGHTS.1 + 15.0),
            (FINE, false),
            SOFT,
            Tie::Centre,
        )?;
        d += step;
    }
    let base = [(LEFT, HEIGHTS.1), (RIGHT, HEIGHTS.1)];
    pen.line(&base, style(SOFT, 1.0, &[]))?;
    pen.line(&ground[1..ground.len() - 1], style(EARTH_EDGE, 1.2, &[]))?;
    let ft = (14.0, HEIGHTS.0 - 12.0);
    pen.text("ft", ft, (SMALL, true), INK, Tie::Left)?;
    let nm = (RIGHT, HEIGHTS.1 + 34.0);
    pen.text("nm along the route", nm, (SMALL, true), INK, Tie::Right)?;
    for (i, _, plan) in plans {
        let points: Vec<(f64, f64)> = plan
            .path
            .iter()
            .map(|t| (x(t.distance_nm), y(t.indicated_altitude_ft)))
            .collect();
        pen.line(&points, line_of(*i))?;
    }
    Ok(())
}

/// One group of bars: its name, a value of each plan, and how that is written.
type Group<'a> = (
    &'a str,
    &'a dyn Fn(&ComparedPlanFigures) -> f64,
    &'a dyn Fn(f64) -> String,
);

fn bars(
    pen: &Pen,
    sides: (f64, f64),
    plans: &[Flown],
    (name, of, word): Group,
) -> Result<(), ChartError> {
    let head = (sides.0, BARS.0 - 16.0);
    pen.text(name, head, (SMALL, true), INK, Tie::Left)?;
    let most = plans.iter().map(|p| of(p.2)).fold(0.0, f64::max).max(1e-9);
    #[expect(clippy::cast_precision_loss, reason = "a few aircraft")]
    let row = ((BARS.1 - BARS.0) / plans.len() as f64).min(36.0);
    // Bars begin at nought, so that their lengths compare; the figure stands behind.
    let (from, to) = (sides.0 + 24.0, sides.1 - 66.0);
    let mut y = BARS.0 + 0.5 * row;
    for (_, a, plan) in plans {
        pen.text(&a.letter, (sides.0, y), (SMALL, true), INK, Tie::Left)?;
        let end = from + (to - from) * of(plan) / most;
        let (top, bottom) = (y - 0.3 * row, y + 0.3 * row);
        let corners = [(from, top), (end, top), (end, bottom), (from, bottom)];
        pen.area(&corners, EARTH)?;
        let outline = [corners[0], corners[1], corners[2], corners[3], corners[0]];
        pen.line(&outline, style(EARTH_EDGE, 1.0, &[]))?;
        let text = word(of(plan));
        pen.text(&text, (end + 7.0, y), (SMALL, false), INK, Tie::Left)?;
        y += row;
    }
    Ok(())
}

fn draw(pen: &Pen, f: &CompareFigures) -> Result<(), ChartError> {
    let plans = flown(f);
    if plans.is_empty() {
        return Err(ChartError::Empty);
    }
    let head = format!(
        "{}: {}, least {}",
        f.name,
        f.places.join(" - "),
        f.objective
    );
    let (head, size) = fitted(&head, (LARGE, FINE), true, RIGHT - 14.0);
    pen.text(&head, (14.0, 20.0), (size, true), INK, Tie::Left)?;
    let mut y = 48.0;
    for (i, a) in f.aircraft.iter().enumerate() {
        let name = match &a.plan {
            Some(_) => format!("{}: {}", a.letter, aircraft_words(a)),
            None => format!("{}: {}: cannot fly it", a.letter, aircraft_words(a)),
        };
        if a.plan.is_some() {
            pen.line(&[(14.0, y), (74.0, y)], line_of(i))?;
        }
        let (name, size) = fitted(&name, (SMALL, FINE), false, RIGHT - LEFT);
        pen.text(&name, (LEFT, y), (size, false), INK, Tie::Left)?;
        y += 22.0;
    }
    heights(pen, f, &plans)?;
    let units = f.units;
    let burned = |v: f64| units.burned(v).figure;
    let fuel = format!("fuel, {}", units.volume());
    let money = |v: f64| number(up(v, 0), 0);
    let mut groups: Vec<Group> = vec![
        ("time, h:min", &|p| p.totals.time_min, &time),
        (&fuel, &|p| p.totals.fuel_gal, &burned),
    ];
    if f.priced {
        groups.push(("cost", &|p| p.totals.cost, &money));
    }
    #[expect(clippy::cast_precision_loss, reason = "two or three")]
    let wide = (RIGHT - 14.0) / groups.len() as f64;
    let mut left = 14.0;
    for group in groups {
        bars(pen, (left, left + wide - 14.0), &plans, group)?;
        left += wide;
    }
    let at = (14.0, HEIGHT - 30.0);
    pen.text(super::CAUTIONS[0], at, (11.0, false), SOFT, Tie::Left)?;
    let foot = format!("{COMPARE_TITLE}.");
    pen.text(&foot, (14.0, HEIGHT - 12.0), (11.0, false), SOFT, Tie::Left)
}

/// The comparison drawn, as SVG.
///
/// # Errors
/// [`ChartError`]: no aircraft can fly the trip, or a failure of the drawing library, which would be our bug.
pub fn compare_svg(f: &CompareFigures) -> Result<String, ChartError> {
    on_canvas((COMPARE_TITLE, &f.name), |pen| draw(pen, f))
}
