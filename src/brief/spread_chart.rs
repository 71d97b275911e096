//! How sure a plan is, drawn: time and fuel as they are spread, and what each level loses.

use super::chart::{
    ChartError, EARTH, EARTH_EDGE, FINE, HAIR, HEIGHT, INK, LARGE, Pen, RIGHT, SMALL, SOFT, Tie,
    fitted, on_canvas, style, tick,
};
use super::frontier_text::time;
use super::spread::{
    LevelSpreadFigures, PercentileFigures, SPREAD_TITLE, SpreadFigures, histogram, level_words,
};
use super::spread_text::{error_words, reserve_words};
use super::words::{many, number};

/// Top and bottom of the histograms.
const TOP: (f64, f64) = (112.0, 300.0);
/// Left and right of the two.
const SIDES: [(f64, f64); 2] = [(30.0, 484.0), (522.0, 976.0)];
/// Top of the levels, and where their last row must end.
const LEVELS: (f64, f64) = (404.0, 626.0);
/// Where the names of levels end and the bars of their losses begin.
const BARS: (f64, f64) = (190.0, 776.0);

/// A histogram between two sides: values, percentiles, what was planned, and how a figure is written.
struct Panel<'a> {
    sides: (f64, f64),
    name: &'a str,
    values: Vec<f64>,
    at: PercentileFigures,
    plan: f64,
    word: &'a dyn Fn(f64) -> String,
    tick_word: &'a dyn Fn(f64) -> String,
}

impl Panel<'_> {
    fn draw(&self, pen: &Pen) -> Result<(), ChartError> {
        let bins = histogram(&self.values, tick);
        let (Some(first), Some(last)) = (bins.first(), bins.last()) else {
            return Err(ChartError::Empty);
        };
        // What was planned is always to be seen.
        let (low, high) = (first.from.min(self.plan), last.to.max(self.plan));
        let most = bins.iter().map(|b| b.count).max().unwrap_or(1);
        let x = |v: f64| {
            self.sides.0 + (self.sides.1 - self.sides.0) * (v - low) / (high - low).max(1e-9)
        };
        #[expect(clippy::cast_precision_loss, reason = "counts of samples")]
        let y = |n: usize| TOP.1 - (TOP.1 - TOP.0 - 40.0) * n as f64 / most as f64;
        for b in bins.iter().filter(|b| b.count > 0) {
            let corners = [
                (x(b.from) + 0.5, TOP.1),
                (x(b.from) + 0.5, y(b.count)),
                (x(b.to) - 0.5, y(b.count)),
                (x(b.to) - 0.5, TOP.1),
            ];
            pen.area(&corners, EARTH)?;
        }
        let base = [(self.sides.0, TOP.1), (self.sides.1, TOP.1)];
        pen.line(&base, style(SOFT, 1.0, &[]))?;
        let step = tick(high - low, 6.0);
        let mut v = (low / step).ceil() * step;
        while v <= high + 1e-9 {
            pen.line(&[(x(v), TOP.1), (x(v), TOP.1 + 4.0)], style(SOFT, 1.0, &[]))?;
            let text = (self.tick_word)(v);
            pen.text(
                &text,
                (x(v), TOP.1 + 15.0),
                (FINE, false),
                SOFT,
                Tie::Centre,
            )?;
            v += step;
        }
        let head = (self.sides.0, TOP.0 - 24.0);
        pen.text(self.name, head, (SMALL, true), INK, Tie::Left)?;
        // The plan's mark is dashed, so that it is told from the percentiles in grey as well.
        let planned = [(x(self.plan), TOP.0 + 36.0), (x(self.plan), TOP.1)];
        pen.line(&planned, style(EARTH_EDGE, 2.0, &[5.0, 4.0]))?;
        for (mark, v, tie, row) in [
            ("P10", self.at.p10, Tie::Right, 0.0),
            ("P50", self.at.p50, Tie::Centre, -1.0),
            ("P90", self.at.p90, Tie::Left, 0.0),
        ] {
            let width = if row < 0.0 { 2.6 } else { 1.6 };
            let top = TOP.0 + 16.0 + 16.0 * row;
            pen.line(&[(x(v), top + 9.0), (x(v), TOP.1)], style(INK, width, &[]))?;
            let text = format!("{mark} {}", (self.word)(v));
            let bold = row < 0.0;
            pen.text(&text, (x(v), top), (FINE, bold), INK, tie)?;
        }
        let said = format!("dashed: as forecast, {}", (self.word)(self.plan));
        let foot = (self.sides.0, TOP.1 + 33.0);
        pen.text(&said, foot, (FINE, false), SOFT, Tie::Left)
    }
}

fn losses(pen: &Pen, f: &SpreadFigures) -> Result<(), ChartError> {
    let head = format!(
        "What each level loses against the best level of each wind, {}",
        f.loss_unit()
    );
    pen.text(
        &head,
        (30.0, LEVELS.0 - 40.0),
        (SMALL, true),
        INK,
        Tie::Left,
    )?;
    let key = "bar: P10 to P90; stroke: mean; * the plan";
    pen.text(key, (30.0, LEVELS.0 - 22.0), (FINE, false), SOFT, Tie::Left)?;
    let best = (RIGHT, LEVELS.0 - 22.0);
    pen.text("best level in", best, (FINE, true), INK, Tie::Right)?;
    let all = f.levels.iter().filter_map(|l| l.loss);
    let most = all.map(|l| l.p90.max(l.mean)).fold(0.0, f64::max).max(0.01);
    let x = |v: f64| BARS.0 + (BARS.1 - BARS.0) * v / most;
    // Ticks are round in the unit that is written.
    let scale = if f.unit == "gal" {
        f.units.of_gallons(1.0)
    } else {
        1.0
    };
    #[expect(clippy::cast_precision_loss, reason = "a few levels")]
    let row = ((LEVELS.1 - LEVELS.0) / f.levels.len() as f64).min(64.0);
    let mut y = LEVELS.0;
    for l in &f.levels {
        level(pen, f, l, y + 0.5 * row, &x)?;
        y += row;
    }
    let step = tick(most * scale, 8.0);
    let mut v = 0.0;
    let tick_places = if step < 0.0999 {
        2
    } else {
        usize::from(step < 0.999)
    };
    while v <= most * scale + 1e-9 {
        let at = x(v / scale);
        pen.line(&[(at, LEVELS.0), (at, y)], style(HAIR, 0.8, &[]))?;
        let text = number(v, tick_places);
        pen.text(&text, (at, y + 12.0), (FINE, false), SOFT, Tie::Centre)?;
        v += step;
    }
    Ok(())
}

fn level(
    pen: &Pen,
    f: &SpreadFigures,
    l: &LevelSpreadFigures,
    y: f64,
    x: &dyn Fn(f64) -> f64,
) -> Result<(), ChartError> {
    let mark = if l.chosen { " *" } else { "" };
    let name = format!("{}{mark}", level_words(&l.levels_ft));
    let (name, size) = fitted(&name, (SMALL, FINE), l.chosen, BARS.0 - 44.0);
    pen.text(&name, (BARS.0 - 12.0, y), (size, l.chosen), INK, Tie::Right)?;
    if let Some(loss) = l.loss {
        let (a, b) = (x(loss.p10), x(loss.p90).max(x(loss.p10) + 1.0));
        let corners = [(a, y - 8.0), (b, y - 8.0), (b, y + 8.0), (a, y + 8.0)];
        pen.area(&corners, EARTH)?;
        let mean = x(loss.mean);
        pen.line(&[(mean, y - 11.0), (mean, y + 11.0)], style(INK, 2.6, &[]))?;
        let said = format!("mean {}, P90 {}", f.loss(loss.mean), f.loss(loss.p90));
        let at = b.max(mean) + 10.0;
        pen.text(&said, (at, y), (FINE, false), INK, Tie::Left)?;
    }
    let chance = SpreadFigures::chance(l.best_percent);
    pen.text(&chance, (RIGHT, y), (SMALL, l.chosen), INK, Tie::Right)
}

fn draw(pen: &Pen, f: &SpreadFigures) -> Result<(), ChartError> {
    let (Some(time_min), Some(fuel_gal)) = (f.time_min, f.fuel_gal) else {
        return Err(ChartError::Empty);
    };
    let head = format!("{}: {}", f.name, f.places.join(" - "));
    let (head, size) = fitted(&head, (LARGE, FINE), true, RIGHT - 14.0);
    pen.text(&head, (14.0, 20.0), (size, true), INK, Tie::Left)?;
    let said = format!(
        "How sure the plan is: {} in {} the forecast may be wrong by, {}",
        level_words(&f.levels[0].levels_ft),
        many(f.samples, "wind", "winds"),
        f.aircraft
    );
    let (said, size) = fitted(&said, (SMALL, FINE), false, RIGHT - 14.0);
    pen.text(&said, (14.0, 42.0), (size, false), INK, Tie::Left)?;
    let error = format!("Forecast error: {}", error_words(f));
    let (error, size) = fitted(&error, (SMALL, FINE), false, RIGHT - 14.0);
    pen.text(&error, (14.0, 62.0), (size, false), SOFT, Tie::Left)?;
    let plan = &f.levels[0].totals;
    let clock = |v: f64| {
        format!(
            "{:.0}:{:02.0}",
            (v / 60.0 + 1e-9).floor(),
            v.rem_euclid(60.0)
        )
    };
    let units = f.units;
    let scale = units.of_gallons(1.0);
    let burned = |v: f64| units.burned(v / scale).figure;
    let tick_fuel = |v: f64| number(v, 1);
    Panel {
        sides: SIDES[0],
        name: "time from take-off to landing, h:min",
        values: f.rows.iter().map(|s| s.time_min).collect(),
        at: time_min,
        plan: plan.time_min,
        word: &time,
        tick_word: &clock,
    }
    .draw(pen)?;
    Panel {
        sides: SIDES[1],
        name: &format!("fuel from take-off to landing, {}", units.volume()),
        values: f.rows.iter().map(|s| scale * s.fuel_gal).collect(),
        at: PercentileFigures {
            p10: scale * fuel_gal.p10,
            p50: scale * fuel_gal.p50,
            p90: scale * fuel_gal.p90,
            mean: scale * fuel_gal.mean,
            standard_deviation: scale * fuel_gal.standard_deviation,
        },
        plan: scale * plan.fuel_gal,
        word: &burned,
        tick_word: &tick_fuel,
    }
    .draw(pen)?;
    losses(pen, f)?;
    let reserve = format!("Reserve: {}.", reserve_words(f));
    pen.text(&reserve, (SIDES[0].0, 660.0), (FINE, false), INK, Tie::Left)?;
    let at = (14.0, HEIGHT - 28.0);
    pen.text(super::CAUTIONS[0], at, (11.0, false), SOFT, Tie::Left)?;
    let foot = format!("{SPREAD_TITLE}.");
    pen.text(&foot, (14.0, HEIGHT - 12.0), (11.0, false), SOFT, Tie::Left)
}

/// The spread drawn, as SVG.
///
/// # Errors
/// [`ChartError`]: no sample can be flown to the end, or a failure of the drawing library, which would be our bug.
pub fn spread_svg(f: &SpreadFigures) -> Result<String, ChartError> {
    on_canvas((SPREAD_TITLE, &f.name), |pen| draw(pen, f))
}
