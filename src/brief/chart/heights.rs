//! The heights panel: ground, what may not be entered, minimums, legal levels, the 0 °C line, the runner-up and the path.

use super::axes::Panel;
use super::labels::{Board, Label, Rect, Weight, spot};
use super::pen::{
    BARRED, CLIMB, CRUISE, DESCENT, EARTH, EARTH_TEXT, FINE, FREEZING, GROUND, HATCH, INK, LANDING,
    MIDDLE, MINIMUM, POINTER, Pen, RUNNER_UP, SLOWING, SMALL, SOFT, Tie, text_width,
};
use super::{ChartError, Figures, HEIGHTS, path_of};
use crate::brief::words::feet;
use crate::brief::{BarredFigures, FreezingPoint, LegFigures};

/// Share of the range of heights left over the highest, for the labels of the level.
const OVER: f64 = 0.3;
/// Length of the mark of a legal level.
const MARK: f64 = 10.0;
/// Least room between the figures of legal levels.
const FIGURES_APART: f64 = 14.0;

/// The panel that holds all heights of a plan.
pub(super) fn panel(f: &Figures) -> Panel {
    let runner_up = f.runner_up.iter().flat_map(|r| &r.track);
    let highest = f
        .track
        .iter()
        .map(|p| p.indicated_altitude_ft)
        .chain(runner_up.map(|p| p.indicated_altitude_ft))
        .fold(0.0, f64::max);
    let minimum = f
        .legs
        .iter()
        .map(|l| l.minimum_altitude_ft)
        .fold(highest, f64::max);
    let ground = f.legs.iter().flat_map(|l| &l.ground).map(|g| g.ground_ft);
    let lowest = ground
        .chain(f.fields.iter().map(|x| x.elevation_ft))
        .fold(highest, f64::min);
    let low = ((lowest - 1_500.0) / 1_000.0).floor().max(-2.0) * 1_000.0;
    let low = if lowest >= 0.0 { low.max(0.0) } else { low };
    Panel {
        top: HEIGHTS.0,
        bottom: HEIGHTS.1,
        low,
        high: minimum.max(highest + OVER * (highest - low)),
        length_nm: f.totals.distance_nm,
    }
}

/// Everything behind the path.
pub(super) fn behind(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    panel: &Panel,
) -> Result<(), ChartError> {
    for b in &f.barred {
        hatch(pen, board, panel, b)?;
    }
    ground(pen, board, f, panel)?;
    for leg in &f.legs {
        let y = panel.y(leg.minimum_altitude_ft);
        let line = [(panel.x(leg.from_nm), y), (panel.x(leg.to_nm), y)];
        pen.line(&line, MINIMUM)?;
        board.line(&line, 1.0, Weight::Light);
        legal_levels(pen, panel, leg)?;
    }
    for line in freezing_lines(&f.conditions.freezing, panel) {
        pen.line(&line, FREEZING)?;
        board.line(&line, 1.0, Weight::Light);
    }
    Ok(())
}

fn ground(pen: &Pen, board: &mut Board, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    for leg in &f.legs {
        // One outline for the whole leg: many narrow ones show seams.
        let mut outline = Vec::with_capacity(2 * leg.ground.len() + 2);
        for g in &leg.ground {
            let (x0, x1, y) = (panel.x(g.from_nm), panel.x(g.to_nm), panel.y(g.ground_ft));
            outline.extend([(x0, y), (x1, y)]);
            board.ground(Rect {
                left: x0,
                top: y,
                right: x1,
                bottom: panel.bottom,
            });
        }
        let (Some(&first), Some(&last)) = (outline.first(), outline.last()) else {
            continue;
        };
        let skyline = outline.clone();
        outline.extend([(last.0, panel.bottom), (first.0, panel.bottom)]);
        pen.area(&outline, EARTH)?;
        for edge in skyline.chunks_exact(2) {
            pen.line(edge, GROUND)?;
            board.line(edge, 1.5, Weight::Light);
        }
    }
    Ok(())
}

/// Marks at both ends of a leg.
fn legal_levels(pen: &Pen, panel: &Panel, leg: &LegFigures) -> Result<(), ChartError> {
    for &ft in leg.legal_levels_ft.iter().filter(|&&ft| ft <= panel.high) {
        let y = panel.y(ft);
        let (a, b) = (panel.x(leg.from_nm), panel.x(leg.to_nm));
        let long = MARK.min(0.3 * (b - a));
        pen.line(&[(a, y), (a + long, y)], POINTER)?;
        pen.line(&[(b - long, y), (b, y)], POINTER)?;
    }
    Ok(())
}

/// What the marks stand for, where there is room.
pub(super) fn legal_level_figures(board: &mut Board, f: &Figures, panel: &Panel) {
    for leg in &f.legs {
        let ys: Vec<_> = leg
            .legal_levels_ft
            .iter()
            .filter(|&&ft| ft <= panel.high)
            .map(|&ft| (ft, panel.y(ft)))
            .collect();
        if ys.windows(2).any(|w| w[0].1 - w[1].1 < FIGURES_APART) {
            continue;
        }
        for (ft, y) in ys {
            let label = Label::new(feet(ft), FINE, SOFT);
            let (a, b) = (panel.x(leg.from_nm), panel.x(leg.to_nm));
            let spots = [
                spot(a + MARK + 3.0, y, Tie::Left),
                spot(b - MARK - 3.0, y, Tie::Right),
            ];
            for at in spots {
                if label.width() + 2.0 * MARK < 0.5 * (b - a) && board.empty(label.rect(at)) {
                    board.offer(&label, &[at], Weight::Light);
                    break;
                }
            }
        }
    }
}

/// Lines of 0 °C: crossings of neighbouring points joined, the highest with the highest, inside the panel. A layer near the ground that
/// is colder than the air over it adds crossings below, not above.
pub(super) fn freezing_lines(points: &[FreezingPoint], panel: &Panel) -> Vec<Vec<(f64, f64)>> {
    let most = points.iter().map(|p| p.crossings_ft.len()).max();
    let mut lines = Vec::new();
    for row in 0..most.unwrap_or(0) {
        let mut line = Vec::new();
        for p in points {
            let crossing = p.crossings_ft.iter().rev().nth(row);
            match crossing.filter(|&&ft| (panel.low..=panel.high).contains(&ft)) {
                Some(&ft) => line.push(panel.at(p.distance_nm, ft)),
                None => lines.push(std::mem::take(&mut line)),
            }
        }
        lines.push(line);
    }
    lines.retain(|l| l.len() > 1);
    lines
}

/// What may not be entered: slanting lines and a frame.
fn hatch(pen: &Pen, board: &mut Board, panel: &Panel, b: &BarredFigures) -> Result<(), ChartError> {
    const APART: f64 = 9.0;
    let Some(area) = barred_area(panel, b) else {
        return Ok(());
    };
    board.hatched(area);
    // Lines of x + y = c, up to the right.
    let mut c = ((area.left + area.top) / APART).ceil() * APART;
    while c < area.right + area.bottom {
        let (x0, x1) = (
            (c - area.bottom).max(area.left),
            (c - area.top).min(area.right),
        );
        pen.line(&[(x0, c - x0), (x1, c - x1)], HATCH)?;
        c += APART;
    }
    let frame = [
        (area.left, area.bottom),
        (area.left, area.top),
        (area.right, area.top),
        (area.right, area.bottom),
        (area.left, area.bottom),
    ];
    pen.line(&frame, BARRED)
}

fn barred_area(panel: &Panel, b: &BarredFigures) -> Option<Rect> {
    let y =
        |bound: Option<f64>, open: f64| panel.y(bound.unwrap_or(open).clamp(panel.low, panel.high));
    let area = Rect {
        left: panel.x(b.from_nm),
        top: y(b.high_ft, panel.high),
        right: panel.x(b.to_nm),
        bottom: y(b.low_ft, panel.low),
    };
    (area.right - area.left >= 1.0 && area.bottom - area.top >= 1.0).then_some(area)
}

/// Names of what may not be entered: inside in as many rows as it takes, else in one row beside it.
pub(super) fn barred_names(board: &mut Board, f: &Figures, panel: &Panel) {
    for (i, b) in f.barred.iter().enumerate() {
        let Some(area) = barred_area(panel, b) else {
            continue;
        };
        // A cloud and the distances kept from it are areas of one name, one in the other.
        let named = f.barred[..i].iter().any(|other| {
            other.name == b.name && barred_area(panel, other).is_some_and(|a| a.meets(area))
        });
        if named {
            continue;
        }
        let (wide, tall) = (area.right - area.left, area.bottom - area.top);
        let mut rows: Vec<String> = Vec::new();
        for word in b.name.split_whitespace() {
            match rows.last_mut() {
                Some(row) if text_width(&format!("{row} {word}"), SMALL, false) < wide => {
                    row.push(' ');
                    row.push_str(word);
                }
                _ => rows.push(word.to_owned()),
            }
        }
        let mut rows = rows.into_iter();
        let Some(first) = rows.next() else { continue };
        let inside = rows.fold(Label::new(first, SMALL, SOFT), |l, row| {
            l.then(row, SMALL, false)
        });
        let (x, y) = (
            0.5 * (area.left + area.right),
            0.5 * (area.top + area.bottom),
        );
        if inside.width() < wide && inside.height() < tall {
            let (side, up) = (
                0.5 * (wide - inside.width()),
                0.5 * (tall - inside.height()),
            );
            let mut spots = Vec::new();
            for dy in [0.0, 0.5, -0.5, 0.98, -0.98] {
                for dx in [0.0, 0.5, -0.5, 0.98, -0.98] {
                    spots.push(spot(x + dx * side, y + dy * up, Tie::Centre));
                }
            }
            if board.offer(&inside, &spots, Weight::Light).is_some() {
                continue;
            }
        }
        let beside = Label::new(b.name.clone(), SMALL, SOFT);
        let spots = [
            spot(x, area.top - 9.0, Tie::Centre),
            spot(x, area.bottom + 9.0, Tie::Centre),
            spot(area.right + 5.0, y, Tie::Left),
            spot(area.left - 5.0, y, Tie::Right),
            spot(area.left, area.top - 9.0, Tie::Left),
            spot(area.right, area.top - 9.0, Tie::Right),
        ];
        board.offer(&beside, &spots, Weight::Light);
    }
}

/// What is said of the ground: what is not known of it in words, so that nobody takes the empty panel for flat ground.
pub(super) fn ground_words(board: &mut Board, f: &Figures, panel: &Panel) {
    // Legs without ground, next to each other together.
    let mut unknown: Vec<(f64, f64)> = Vec::new();
    for leg in f.legs.iter().filter(|l| l.ground.is_empty()) {
        match unknown.last_mut() {
            Some(last) if last.1 == leg.from_nm => last.1 = leg.to_nm,
            _ => unknown.push((leg.from_nm, leg.to_nm)),
        }
    }
    for (from_nm, to_nm) in unknown {
        let x = panel.x(0.5 * (from_nm + to_nm));
        let label = Label::new("no terrain data", MIDDLE, INK);
        let spots = [34.0, 54.0, 14.0].map(|up| spot(x, panel.bottom - up, Tie::Centre));
        board.place(&label, &spots, panel.area());
    }
    if f.legs.iter().all(|l| l.ground.is_empty()) {
        return;
    }
    let partly = f.warnings.iter().any(|w| w.kind == "ground_missing");
    let known = if partly {
        "highest ground of each stretch; GROUND PARTLY NOT KNOWN, see the warnings"
    } else {
        "highest ground of each stretch"
    };
    let label = Label::new(known, SMALL, INK);
    let (left, right) = (panel.area().left, panel.area().right);
    let spots = [0.5, 0.4, 0.6, 0.3, 0.7]
        .map(|x| spot(left + x * (right - left), panel.bottom - 14.0, Tie::Centre));
    if partly {
        board.place(&label, &spots, panel.area());
    } else {
        board.offer(&label, &spots, Weight::Light);
    }
}

/// Labels of the minimum altitudes, in as many words as there is room for.
pub(super) fn minimums(board: &mut Board, f: &Figures, panel: &Panel) {
    for leg in &f.legs {
        let y = panel.y(leg.minimum_altitude_ft);
        let ft = feet(leg.minimum_altitude_ft);
        let (a, b) = (panel.x(leg.from_nm), panel.x(leg.to_nm));
        let texts = [
            format!("minimum {} to {}: {ft} ft", leg.from, leg.to),
            format!("minimum {ft} ft"),
            format!("min {ft}"),
        ];
        for text in texts {
            let label = Label::new(text, SMALL, EARTH_TEXT);
            let half = 0.5 * label.width();
            if 2.0 * half > b - a {
                continue;
            }
            let spots: Vec<_> = [0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9]
                .into_iter()
                .map(|x| (a + x * (b - a)).clamp(a + half, b - half))
                .flat_map(|x| [10.0, -9.0].map(|dy| spot(x, y + dy, Tie::Centre)))
                .collect();
            if board.offer(&label, &spots, Weight::Light).is_some() {
                break;
            }
        }
    }
}

/// The runner-up's path as a thin line.
pub(super) fn runner_up(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    panel: &Panel,
) -> Result<(), ChartError> {
    let Some(r) = &f.runner_up else {
        return Ok(());
    };
    let line: Vec<_> = r
        .track
        .iter()
        .map(|p| panel.at(p.distance_nm, p.indicated_altitude_ft))
        .collect();
    board.line(&line, 1.0, Weight::Light);
    pen.line(&line, RUNNER_UP)
}

/// The flown path, a line style for each kind of flying.
pub(super) fn path(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    panel: &Panel,
) -> Result<(), ChartError> {
    for (i, s) in f.segments.iter().enumerate() {
        let style = match s.kind {
            "cruise" => CRUISE,
            "descent" | "circling_descent" => DESCENT,
            "slow_down" | "pattern" => SLOWING,
            "circuit" => continue,
            _ => CLIMB,
        };
        let line: Vec<_> = path_of(f, i, s)
            .map(|p| panel.at(p.distance_nm, p.indicated_altitude_ft))
            .collect();
        pen.line(&line, style)?;
        board.line(&line, 0.5 * style.width + 2.0, Weight::Heavy);
    }
    // From pattern altitude to the runway.
    if let (Some(last), Some(field)) = (f.segments.last(), f.fields.last()) {
        let line = [
            panel.at(last.end.distance_nm, last.end.indicated_altitude_ft),
            panel.at(last.end.distance_nm, field.elevation_ft),
        ];
        pen.line(&line, LANDING)?;
        board.line(&line, 2.0, Weight::Heavy);
    }
    Ok(())
}
