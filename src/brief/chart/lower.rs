//! The panels under the heights: manifold pressure, RPM, fuel flow and speeds.

use super::axes::{FIGURE, Panel};
use super::labels::{Board, Label, Weight, spot};
use super::pen::{INDICATED, INK, LEVER, OVER_GROUND, Pen, SMALL, Style, Tie};
use super::{ChartError, Figures, LOWER, Point, path_of, settled};
use crate::brief::SegmentFigures;
use crate::brief::measure::Units;
use crate::brief::words::{inches, knots, number, revs};

/// Room between panels, for what stands over the lower one's lines.
const BETWEEN: f64 = 20.0;

/// What a panel shows.
struct Quantity {
    title: fn(Units) -> &'static [&'static str],
    /// Share of the height of all panels.
    share: f64,
    /// Range shown at least.
    least_span: f64,
    /// Zero is shown.
    from_zero: bool,
    /// Steps of the axis no finer than this.
    least_step: f64,
    axis: fn(f64) -> String,
    lines: &'static [Curve],
}

/// One line of a panel.
struct Curve {
    name: &'static str,
    style: Style,
    value: fn(Units, &Point) -> f64,
    write: fn(Units, &Point) -> String,
    written: Written,
}

/// Where the value is written beside the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Written {
    /// In each cruise, once it is settled.
    Cruise,
    /// And what is held in a descent, about which the line moves.
    Held,
    /// It stays where it is set: in climb and descent too.
    Set,
    /// It goes with the wind: in the middle of each cruise.
    Middle,
}

const fn lever(
    value: fn(Units, &Point) -> f64,
    write: fn(Units, &Point) -> String,
    written: Written,
) -> Curve {
    Curve {
        name: "",
        style: LEVER,
        value,
        write,
        written,
    }
}

fn whole(x: f64) -> String {
    number(x, 0)
}

const MAP: Quantity = Quantity {
    title: |_| &["MAP", "in"],
    share: 1.0,
    least_span: 4.0,
    from_zero: false,
    least_step: 1.0,
    axis: inches,
    lines: &[lever(
        |_, p| p.map_inhg,
        |_, p| inches(p.map_inhg),
        Written::Held,
    )],
};
const RPM: Quantity = Quantity {
    title: |_| &["RPM"],
    share: 0.85,
    least_span: 1_000.0,
    from_zero: false,
    least_step: 100.0,
    axis: revs,
    lines: &[lever(|_, p| p.rpm, |_, p| revs(p.rpm), Written::Set)],
};
const FLOW: Quantity = Quantity {
    title: |units| match units {
        Units::Us => &["fuel", "gph"],
        Units::Metric => &["fuel", "L/h"],
    },
    share: 0.95,
    least_span: 4.0,
    from_zero: true,
    least_step: 1.0,
    axis: whole,
    lines: &[lever(
        |units, p| units.of_gallons(p.fuel_flow_gph),
        |units, p| units.flow(p.fuel_flow_gph).figure,
        Written::Cruise,
    )],
};
const SPEEDS: Quantity = Quantity {
    title: |_| &["speed", "kt"],
    share: 1.2,
    least_span: 40.0,
    from_zero: false,
    least_step: 10.0,
    axis: whole,
    lines: &[
        Curve {
            name: "GS ",
            style: OVER_GROUND,
            value: |_, p| p.gs_kt,
            write: |_, p| knots(p.gs_kt),
            written: Written::Middle,
        },
        Curve {
            name: "IAS ",
            style: INDICATED,
            value: |_, p| p.ias_kt,
            write: |_, p| knots(p.ias_kt),
            written: Written::Cruise,
        },
    ],
};

/// Top and bottom of each panel of a trip, highest first. With a fixed pitch RPM alone is set.
fn layout(fixed_pitch: bool) -> Vec<(&'static Quantity, f64, f64)> {
    let all = [&MAP, &RPM, &FLOW, &SPEEDS];
    let shown = &all[usize::from(fixed_pitch)..];
    let shares: f64 = shown.iter().map(|q| q.share).sum();
    let gaps = BETWEEN * f64::from(u32::try_from(shown.len() - 1).unwrap_or(0));
    let unit = (LOWER.1 - LOWER.0 - gaps) / shares;
    let mut top = LOWER.0;
    shown
        .iter()
        .map(|&q| {
            let band = (q, top, top + unit * q.share);
            top = band.2 + BETWEEN;
            band
        })
        .collect()
}

/// Tops and bottoms of the panels.
#[cfg(all(test, feature = "png"))]
pub(super) fn bands(fixed_pitch: bool) -> Vec<(f64, f64)> {
    layout(fixed_pitch).iter().map(|b| (b.1, b.2)).collect()
}

/// Draws all panels.
pub(super) fn panels(pen: &Pen, board: &mut Board, f: &Figures) -> Result<(), ChartError> {
    for (quantity, top, bottom) in layout(f.trip.fixed_pitch) {
        panel(pen, board, f, quantity, (top, bottom))?;
    }
    Ok(())
}

fn flown(f: &Figures) -> impl Iterator<Item = (usize, &SegmentFigures)> {
    f.segments
        .iter()
        .enumerate()
        .filter(|(_, s)| s.kind != "circuit")
}

fn panel(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    q: &Quantity,
    (top, bottom): (f64, f64),
) -> Result<(), ChartError> {
    let points = || flown(f).flat_map(|(i, s)| path_of(f, i, s));
    let (mut low, mut high) = q
        .lines
        .iter()
        .flat_map(|c| points().map(|p| (c.value)(f.units, p)))
        .fold((f64::INFINITY, 0.0_f64), |(a, b), x| (a.min(x), b.max(x)));
    let spare = 0.5 * (q.least_span - (high - low)).max(0.12 * (high - low));
    (low, high) = (low - spare, high + spare);
    if q.from_zero {
        low = 0.0;
    }
    let panel = Panel {
        top,
        bottom,
        low,
        high,
        length_nm: f.totals.distance_nm,
    };
    panel.axis(
        pen,
        board,
        (q.title)(f.units),
        (q.least_step, FIGURE),
        q.axis,
    )?;
    for c in q.lines {
        let line: Vec<_> = points()
            .map(|p| panel.at(p.distance_nm, (c.value)(f.units, p)))
            .collect();
        pen.line(&line, c.style)?;
        board.line(&line, 0.5 * c.style.width + 1.0, Weight::Heavy);
    }
    for c in q.lines {
        values(board, f, &panel, c);
    }
    Ok(())
}

/// What a line stands at, where it stays there.
fn values(board: &mut Board, f: &Figures, panel: &Panel, c: &Curve) {
    let write = |p: &Point| format!("{}{}", c.name, (c.write)(f.units, p));
    for (i, s) in flown(f) {
        let set = c.written == Written::Set && !f.trip.fixed_pitch;
        let steady = s.kind == "cruise" || (set && (s.kind == "climb" || s.kind == "descent"));
        if !steady {
            continue;
        }
        let nearest = |nm: f64| {
            let off = |p: &&Point| (p.distance_nm - nm).abs();
            path_of(f, i, s)
                .min_by(|a, b| off(a).total_cmp(&off(b)))
                .unwrap_or(&s.end)
        };
        let y_at = |nm: f64| panel.y((c.value)(f.units, nearest(nm)));
        let at = if c.written == Written::Middle {
            nearest(0.5 * (s.start.distance_nm + s.end.distance_nm))
        } else {
            settled(f, s)
        };
        let label = Label::bold(write(at), SMALL, INK);
        if label.width() + 8.0 < panel.x(s.end.distance_nm) - panel.x(s.start.distance_nm) {
            near(board, panel, s, &y_at, &label);
        }
    }
    let descent = f.segments.iter().find(|s| s.kind == "descent");
    let held = c.written == Written::Held && f.descent.throttle == "held";
    if let (true, Some(s), Some(map)) = (held, descent, f.descent.map_inhg) {
        let peak = |_| panel.y(s.map_peak_inhg);
        near(
            board,
            panel,
            s,
            &peak,
            &Label::bold(inches(map), SMALL, INK),
        );
    }
}

/// Over or under a line that is as high as told at a distance, along a segment.
fn near(
    board: &mut Board,
    panel: &Panel,
    s: &SegmentFigures,
    y_at: &dyn Fn(f64) -> f64,
    label: &Label,
) {
    let (a, b) = (s.start.distance_nm, s.end.distance_nm);
    let spots: Vec<_> = [0.5, 0.4, 0.6, 0.3, 0.7]
        .into_iter()
        .map(|x| a + x * (b - a))
        .flat_map(|nm| [-10.0, 10.0].map(|dy| spot(panel.x(nm), y_at(nm) + dy, Tie::Centre)))
        .collect();
    board.offer(label, &spots, Weight::Light);
}
