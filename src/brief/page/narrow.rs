//! The chart for a narrow screen: heights alone, in letters that can be read at 390 pixels.

use crate::brief::chart::{
    ChartError, EARTH, EARTH_EDGE, HAIR, HEIGHT, INK, Pen, SOFT, Tie, WIDTH, climbs_not, on_canvas,
    path_of, style, text_width, tick,
};
use crate::brief::words::{feet, number, up};
use crate::brief::{Figures, LegFigures};

/// Left and right of the plot, in chart units.
pub(super) const SIDES: (f64, f64) = (12.0, WIDTH - 12.0);
const TOP: f64 = 150.0;
const BOTTOM: f64 = HEIGHT - 96.0;
/// Text size: 12 pixels where the chart is 358 pixels wide.
const TEXT: f64 = 41.0;
const ROW: f64 = 40.0;

struct Panel {
    length_nm: f64,
    low_ft: f64,
    high_ft: f64,
}

impl Panel {
    fn at(&self, nm: f64, ft: f64) -> (f64, f64) {
        let x = SIDES.0 + (SIDES.1 - SIDES.0) * nm / self.length_nm;
        let y = BOTTOM - (BOTTOM - TOP) * (ft - self.low_ft) / (self.high_ft - self.low_ft);
        (x, y)
    }
}

fn panel(f: &Figures) -> Panel {
    let heights = || f.track.iter().map(|p| p.indicated_altitude_ft);
    let high = heights().fold(0.0, f64::max);
    let ground = f.legs.iter().flat_map(|l| &l.ground).map(|g| g.ground_ft);
    let lowest = ground
        .chain(f.fields.iter().map(|x| x.elevation_ft))
        .chain(heights())
        .fold(high, f64::min);
    let minimum = f.legs.iter().map(|l| l.minimum_altitude_ft);
    Panel {
        length_nm: f.totals.distance_nm,
        low_ft: ((lowest - 1_000.0) / 1_000.0).floor() * 1_000.0,
        high_ft: minimum.fold(high, f64::max),
    }
}

fn ground(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    for leg in &f.legs {
        let mut outline: Vec<(f64, f64)> = leg
            .ground
            .iter()
            .flat_map(|g| {
                [
                    panel.at(g.from_nm, g.ground_ft),
                    panel.at(g.to_nm, g.ground_ft),
                ]
            })
            .collect();
        let (Some(&first), Some(&last)) = (outline.first(), outline.last()) else {
            let middle = panel.at(0.5 * (leg.from_nm + leg.to_nm), 0.0).0;
            pen.text(
                "no terrain data",
                (middle, BOTTOM - 0.6 * ROW),
                (TEXT, false),
                INK,
                Tie::Centre,
            )?;
            continue;
        };
        pen.line(&outline, style(EARTH_EDGE, 3.0, &[]))?;
        outline.extend([(last.0, BOTTOM), (first.0, BOTTOM)]);
        pen.area(&outline, EARTH)?;
    }
    for leg in &f.legs {
        let a = panel.at(leg.from_nm, leg.minimum_altitude_ft);
        let b = panel.at(leg.to_nm, leg.minimum_altitude_ft);
        pen.line(&[a, b], style(EARTH_EDGE, 3.0, &[14.0, 10.0]))?;
    }
    Ok(())
}

/// Heights that have a line.
fn ticks(panel: &Panel) -> Vec<f64> {
    let step = tick(panel.high_ft - panel.low_ft, 4.0).max(1_000.0);
    let first = ((panel.low_ft + 1.0) / step).ceil() * step;
    std::iter::successors(Some(first), |ft| Some(ft + step))
        .take_while(|ft| *ft <= panel.high_ft)
        .collect()
}

fn axes(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    for ft in ticks(panel) {
        let (left, y) = panel.at(0.0, ft);
        pen.line(&[(left, y), (SIDES.1, y)], style(HAIR, 2.0, &[]))?;
    }
    pen.line(
        &[(SIDES.0, BOTTOM), (SIDES.1, BOTTOM)],
        style(SOFT, 2.0, &[]),
    )?;
    let last = f.trip.places.len().saturating_sub(1);
    for (i, place) in f.trip.places.iter().enumerate() {
        let nm = f.legs.get(i).map_or(panel.length_nm, |l| l.from_nm);
        let x = panel.at(nm, 0.0).0;
        let tie = match i {
            0 => Tie::Left,
            i if i == last => Tie::Right,
            _ => Tie::Centre,
        };
        // Via points only where they do not run into the ends.
        let width = text_width(place, TEXT, false);
        let ends = [f.trip.places.first(), f.trip.places.last()]
            .map(|p| p.map_or(0.0, |p| text_width(p, TEXT, false)) + 0.5 * width + 20.0);
        let between = x > SIDES.0 + ends[0] && x < SIDES.1 - ends[1];
        if i == 0 || i == last || (between && last < 4) {
            pen.text(place, (x, BOTTOM + 0.7 * ROW), (TEXT, false), INK, tie)?;
        }
        if i > 0 && i < last {
            pen.line(&[(x, TOP), (x, BOTTOM)], style(SOFT, 2.0, &[4.0, 8.0]))?;
        }
    }
    pen.text(
        &format!("{} nm", number(up(panel.length_nm, 0), 0)),
        (SIDES.1, BOTTOM + 1.7 * ROW),
        (TEXT, false),
        SOFT,
        Tie::Right,
    )?;
    pen.text(
        "0",
        (SIDES.0, BOTTOM + 1.7 * ROW),
        (TEXT, false),
        SOFT,
        Tie::Left,
    )
}

/// Over the ground and under the path, where no line strikes them through.
fn height_names(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    let x = 0.5 * (SIDES.0 + SIDES.1);
    for ft in ticks(panel) {
        let y = panel.at(0.0, ft).1 - 0.42 * ROW;
        let struck =
            |l: &LegFigures| (panel.at(0.0, l.minimum_altitude_ft).1 - y).abs() < 0.5 * ROW;
        if y > TOP + ROW && !f.legs.iter().any(struck) {
            pen.text(
                &format!("{} ft", feet(ft)),
                (x, y),
                (TEXT, false),
                INK,
                Tie::Centre,
            )?;
        }
    }
    Ok(())
}

fn path(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    for (i, s) in f.segments.iter().enumerate() {
        let line: Vec<_> = path_of(f, i, s)
            .map(|p| panel.at(p.distance_nm, p.indicated_altitude_ft))
            .collect();
        match s.kind {
            "cruise" => pen.line(&line, style(INK, 9.0, &[]))?,
            "descent" => pen.line(&line, style(INK, 7.0, &[30.0, 9.0]))?,
            "slow_down" | "pattern" => pen.line(&line, style(INK, 7.0, &[7.0, 8.0]))?,
            "circuit" => {}
            _ => pen.line(&line, style(INK, 6.0, &[]))?,
        }
    }
    Ok(())
}

fn labels(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    let first = f.segments.iter().find(|s| s.kind == "cruise");
    let last = f.segments.iter().rfind(|s| s.kind == "cruise");
    let (Some(first), Some(last)) = (first, last) else {
        return Ok(());
    };
    let toc = panel.at(f.top_of_climb_nm, first.start.indicated_altitude_ft);
    let tod = panel.at(f.top_of_descent_nm, last.end.indicated_altitude_ft);
    let down = format!(
        "down at {} nm to go",
        number(up(f.top_of_descent_to_go_nm, 0), 0)
    );
    let levels: Vec<String> = f.levels_ft.iter().map(|&ft| feet(ft)).collect();
    let up = if climbs_not(f) {
        format!("{} ft", levels.join(", "))
    } else {
        format!(
            "{} ft at {} nm",
            levels.join(", "),
            number(up(f.top_of_climb_nm, 0), 0)
        )
    };
    let highest = toc.1.min(tod.1);
    for (p, text, tie, row) in [(toc, &up, Tie::Left, 0.0), (tod, &down, Tie::Right, 1.0)] {
        let width = text_width(text, TEXT, true);
        let (x, end) = match tie {
            Tie::Right => (p.0.max(SIDES.0 + width), p.0),
            _ => (p.0.min(SIDES.1 - width), p.0),
        };
        let y = highest - 0.8 * ROW - ROW * row;
        pen.line(&[(end, p.1), (end, y + 0.3 * ROW)], style(INK, 2.5, &[]))?;
        pen.text(text, (x, y), (TEXT, true), INK, tie)?;
    }
    for p in [toc, tod].into_iter().skip(usize::from(climbs_not(f))) {
        pen.dot(p, 11.0)?;
    }
    Ok(())
}

/// The narrow chart as SVG.
pub(super) fn svg(f: &Figures) -> Result<String, ChartError> {
    let panel = panel(f);
    on_canvas(("Heights along the route", &f.in_one_line), |pen| {
        axes(pen, f, &panel)?;
        ground(pen, f, &panel)?;
        height_names(pen, f, &panel)?;
        path(pen, f, &panel)?;
        labels(pen, f, &panel)
    })
}
