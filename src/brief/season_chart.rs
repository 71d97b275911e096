//! What a year saves against flying as usual: a panel for fuel, hours and money, a row for each policy.

use super::chart::{
    ChartError, HAIR, HEIGHT, INK, Pen, RIGHT, SMALL, SOFT, Tie, on_canvas, style, tick,
};
use super::measure::Units;
use super::season::{MeasureFigures, OverWinds, SEASON_TITLE, SeasonFigures};
use super::season_text::{flights_a_year, policy_name, usual};
use super::words::number;

/// Left edge of the panels, chart units: names of policies stand before it.
const LEFT: f64 = 150.0;
/// Top of the first panel and height of one with its axis.
const TOP: f64 = 128.0;
/// See [`TOP`].
const PANEL: f64 = 184.0;
/// Height of a row.
const ROW: f64 = 42.0;
/// Radius of a mean.
const DOT: f64 = 5.0;

/// One panel.
struct Panel {
    words: &'static str,
    unit: fn(Units) -> String,
    of: fn(&MeasureFigures<OverWinds>) -> &OverWinds,
    /// The unit that is written in that of the key.
    scale: fn(Units) -> f64,
    write: fn(Units, f64) -> String,
}

const PANELS: [Panel; 3] = [
    Panel {
        words: "Fuel",
        unit: |u| format!(", {}", u.volume()),
        of: |m| &m.fuel_gal,
        scale: |u| u.of_gallons(1.0),
        write: |u, x| u.in_whole(x).figure,
    },
    Panel {
        words: "Hours by the clock",
        unit: |_| ", h".to_owned(),
        of: |m| &m.clock_h,
        scale: |_| 1.0,
        write: |_, x| number(x, 1),
    },
    Panel {
        words: "Money",
        unit: |_| String::new(),
        of: |m| &m.cost_with_own_time,
        scale: |_| 1.0,
        write: |_, x| number(x, 0),
    },
];

/// The span of an axis: all that is drawn, and nought.
fn span(f: &SeasonFigures, panel: &Panel) -> (f64, f64) {
    let (mut low, mut high) = (0.0_f64, 0.0_f64);
    for p in f.policies.iter().skip(1) {
        let s = (panel.of)(&p.saved);
        low = low.min(s.p10).min(s.mean);
        high = high.max(s.p90).max(s.mean);
    }
    let room = (0.04 * (high - low)).max(1e-3);
    (low - room, high + room)
}

fn panel(pen: &Pen, f: &SeasonFigures, panel: &Panel, top: f64) -> Result<(), ChartError> {
    let (low, high) = span(f, panel);
    let x = |value: f64| LEFT + (RIGHT - LEFT) * (value - low) / (high - low);
    let bottom = top + 3.0 * ROW;
    let usual = f
        .policies
        .first()
        .map_or(f64::NAN, |p| (panel.of)(&p.year).mean);
    let own = if panel.words == "Money" && f.own_time() {
        ", your own time with it"
    } else {
        ""
    };
    let head = format!(
        "{} saved a year{}; as usual it takes {}{own}",
        panel.words,
        (panel.unit)(f.units),
        (panel.write)(f.units, usual)
    );
    pen.text(&head, (14.0, top - 16.0), (SMALL, true), INK, Tie::Left)?;
    // Ticks are round in the unit that is written.
    let scale = (panel.scale)(f.units);
    let step = tick(scale * (high - low), 8.0);
    let places = usize::from(step < 0.999) + usize::from(step < 0.0999);
    let mut value = (scale * low / step).ceil() * step;
    while value <= scale * high {
        let at = x(value / scale);
        pen.line(&[(at, top), (at, bottom)], style(HAIR, 0.8, &[]))?;
        let figure = (at, bottom + 13.0);
        pen.text(
            &number(value, places),
            figure,
            (SMALL, false),
            SOFT,
            Tie::Centre,
        )?;
        value += step;
    }
    pen.line(
        &[(x(0.0), top - 4.0), (x(0.0), bottom + 4.0)],
        style(INK, 2.0, &[]),
    )?;
    for (i, p) in f.policies.iter().skip(1).enumerate() {
        #[expect(clippy::cast_precision_loss, reason = "three rows")]
        let y = top + (i as f64 + 0.5) * ROW;
        let name = (LEFT - 12.0, y);
        pen.text(
            &policy_name(p.policy),
            name,
            (SMALL, false),
            INK,
            Tie::Right,
        )?;
        let s = (panel.of)(&p.saved);
        pen.line(&[(x(s.p10), y), (x(s.p90), y)], style(INK, 3.0, &[]))?;
        for (end, half) in [(s.p10, 6.0), (s.p90, 6.0), (s.p50, 10.0)] {
            pen.line(
                &[(x(end), y - half), (x(end), y + half)],
                style(INK, 2.0, &[]),
            )?;
        }
        pen.dot((x(s.mean), y), DOT)?;
    }
    Ok(())
}

fn draw(pen: &Pen, f: &SeasonFigures) -> Result<(), ChartError> {
    if f.policies.is_empty() || f.flights_a_year <= 0.0 {
        return Err(ChartError::Empty);
    }
    let head = format!("{}: {}", f.log, flights_a_year(f));
    pen.text(&head, (14.0, 20.0), (20.0, true), INK, Tie::Left)?;
    let said = usual(f);
    // Two lines where it is long.
    let middle = said
        .char_indices()
        .filter(|(i, c)| *c == ' ' && *i <= 116)
        .map(|(i, _)| i)
        .next_back()
        .filter(|_| said.len() > 116)
        .unwrap_or(said.len());
    let (first, second) = said.split_at(middle);
    pen.text(first, (14.0, 42.0), (SMALL, false), INK, Tie::Left)?;
    pen.text(second.trim(), (14.0, 60.0), (SMALL, false), INK, Tie::Left)?;
    let legend = match f.winds.len() {
        1 => "Ring: in the one wind that was flown. Right of nought is saved.".to_owned(),
        n => {
            format!(
                "Line: P10 to P90 over {n} winds, long mark P50, ring mean. Right of nought is saved."
            )
        }
    };
    pen.text(&legend, (14.0, 82.0), (SMALL, false), SOFT, Tie::Left)?;
    for (i, one) in PANELS.iter().enumerate() {
        #[expect(clippy::cast_precision_loss, reason = "three panels")]
        panel(pen, f, one, TOP + i as f64 * PANEL)?;
    }
    let at = (14.0, HEIGHT - 30.0);
    pen.text(super::CAUTIONS[0], at, (11.0, false), SOFT, Tie::Left)?;
    let foot = format!("{SEASON_TITLE}.");
    pen.text(&foot, (14.0, HEIGHT - 12.0), (11.0, false), SOFT, Tie::Left)
}

/// The season drawn, as SVG.
///
/// # Errors
/// [`ChartError`]: nothing to draw, or a failure of the drawing library, which would be our bug.
pub fn season_svg(f: &SeasonFigures) -> Result<String, ChartError> {
    on_canvas((SEASON_TITLE, &f.log), |pen| draw(pen, f))
}
