//! Labels of the path: top of climb and of descent, levels, climb, descent, pattern; of the runner-up and of 0 °C.

use super::axes::Panel;
use super::heights::freezing_lines;
use super::labels::{Board, Label, Rect, Spot, Weight, spot};
use super::pen::{COLD, INK, MIDDLE, POINTER, Pen, RUNNER_UP, SMALL, Tie};
use super::{ChartError, Figures, LEFT, Point, RIGHT, climbs_not, path_of, setting, settled};
use crate::brief::RunnerUpPoint;
use crate::brief::differences::not_flattering;
use crate::brief::words::{clock_before, down, feet, inches, knots, near, number, revs, up};

/// Room between a slope and its label.
const CLEAR: f64 = 12.0;
/// A label farther than this from its line has a pointer to it.
const STANDS_OFF: f64 = 14.0;
/// From a mark on the path to its label.
const POINTER_LENGTH: f64 = 20.0;

/// All labels of the path, the weightiest first.
pub(super) fn path_labels(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    panel: &Panel,
) -> Result<(), ChartError> {
    let first = f.segments.iter().find(|s| s.kind == "cruise");
    let last = f.segments.iter().rfind(|s| s.kind == "cruise");
    if let (Some(first), Some(last)) = (first, last) {
        let toc = panel.at(f.top_of_climb_nm, first.start.indicated_altitude_ft);
        let tod = panel.at(f.top_of_descent_nm, last.end.indicated_altitude_ft);
        let climbs = !climbs_not(f);
        for p in [toc, tod] {
            board.take(about(p, 6.0));
        }
        mark(pen, board, panel, tod, &top_of_descent(f))?;
        if climbs {
            mark(pen, board, panel, toc, &top_of_climb(f))?;
        }
    }
    levels(board, f, panel);
    climb(board, f, panel);
    descent(board, f, panel);
    circling(board, f, panel);
    pattern(board, f, panel);
    Ok(())
}

fn about(p: (f64, f64), by: f64) -> Rect {
    Rect {
        left: p.0,
        top: p.1,
        right: p.0,
        bottom: p.1,
    }
    .grown(by)
}

fn top_of_climb(f: &Figures) -> Label {
    Label::bold("TOC", MIDDLE, INK).then(
        format!(
            "{} nm, {} min",
            number(up(f.top_of_climb_nm, 0), 0),
            number(up(f.top_of_climb_min, 0), 0)
        ),
        MIDDLE,
        false,
    )
}

fn top_of_descent(f: &Figures) -> Label {
    let to_go = number(up(f.top_of_descent_to_go_nm, 0), 0);
    let before = number(up(f.totals.time_min - f.top_of_descent_min, 0), 0);
    Label::bold("TOD", MIDDLE, INK)
        .then(
            format!(
                "{to_go} nm to go, at {}",
                clock_before(f.top_of_descent_min)
            ),
            MIDDLE,
            false,
        )
        .then(format!("{before} min before landing"), MIDDLE, false)
}

/// A ring on the path and its label over it, with a pointer between where it stands just above.
fn mark(
    pen: &Pen,
    board: &mut Board,
    panel: &Panel,
    p: (f64, f64),
    label: &Label,
) -> Result<(), ChartError> {
    let half = 0.5 * label.width();
    let y = p.1 - POINTER_LENGTH - 2.0 - 0.5 * label.height();
    let on_panel = |x: f64| x.clamp(LEFT + half, RIGHT - half);
    let spots: Vec<Spot> = [0.0, 0.9, -0.9, 0.5, -0.5]
        .into_iter()
        .flat_map(|side| {
            [0.0, 14.0].map(|higher| spot(on_panel(p.0 + side * half), y - higher, Tie::Centre))
        })
        .collect();
    let mut area = panel.area();
    area.top -= 24.0;
    if let Some(rect) = board.place(label, &spots, area)
        && rect.bottom < p.1
        && (rect.left..=rect.right).contains(&p.0)
    {
        let pointer = [p, (p.0, rect.bottom + 1.0)];
        pen.line(&pointer, POINTER)?;
        board.take(Rect {
            left: p.0 - 2.0,
            top: rect.bottom + 1.0,
            right: p.0 + 2.0,
            bottom: p.1,
        });
    }
    pen.dot(p, 4.5)
}

/// Level, setting and speeds of each cruise: over its line if there is room, else under it, else as near as there is.
fn levels(board: &mut Board, f: &Figures, panel: &Panel) {
    for s in f.segments.iter().filter(|s| s.kind == "cruise") {
        let (a, b) = (panel.x(s.start.distance_nm), panel.x(s.end.distance_nm));
        let y = panel.y(s.start.indicated_altitude_ft);
        let settled = settled(f, s);
        let set = format!(
            "{} ft, {}",
            feet(settled.indicated_altitude_ft),
            setting(f, settled)
        );
        let full = Label::bold(format!("{set}, {}", settled.mixture), MIDDLE, INK).then(
            format!(
                "{} KIAS, {} KTAS, {}",
                knots(settled.ias_kt),
                knots(settled.tas_kt),
                f.units.flow(settled.fuel_flow_gph)
            ),
            SMALL,
            false,
        );
        let spots = |label: &Label, within: bool| -> Vec<Spot> {
            let away = 6.0 + 0.5 * label.height();
            let (half, middle) = (0.5 * label.width(), 0.5 * (a + b));
            // Inside the stretch if asked for.
            let side = if within {
                (0.5 * (b - a) - half).max(0.0)
            } else {
                0.5 * (b - a)
            };
            [away, -away]
                .into_iter()
                .flat_map(|dy| {
                    [0.0, 0.25, -0.25, 0.5, -0.5, 0.75, -0.75, 1.0, -1.0]
                        .map(|x| spot(middle + x * side, y - dy, Tie::Centre))
                })
                .collect()
        };
        let fits = full.width() < b - a;
        if fits
            && board
                .offer(&full, &spots(&full, true), Weight::Light)
                .is_some()
        {
            continue;
        }
        let short = Label::bold(set, SMALL, INK);
        board.place(&short, &spots(&short, short.width() < b - a), panel.area());
    }
}

fn climb(board: &mut Board, f: &Figures, panel: &Panel) {
    // In several segments where speed or mixture changes on the way.
    let climbs: Vec<_> = f
        .segments
        .iter()
        .enumerate()
        .filter(|(_, s)| s.kind == "climb")
        .collect();
    let (Some(&(_, s)), Some(&(_, last))) = (climbs.first(), climbs.last()) else {
        return;
    };
    let speed = f.second_climb_speed.map_or_else(
        || format!("climb {} KIAS", knots(s.start.ias_kt)),
        |two| {
            format!(
                "climb {}, then {} KIAS",
                knots(two.first_ias_kt),
                knots(two.ias_kt)
            )
        },
    );
    let set = if f.trip.fixed_pitch {
        format!("full throttle, {} rpm", revs(s.start.rpm))
    } else {
        format!("full throttle / {}", revs(s.start.rpm))
    };
    let rate = format!(
        "{} to {} fpm",
        number(down(s.start.vs_fpm, -1), 0),
        number(down(last.end.vs_fpm, -1), 0)
    );
    let label = Label::new(speed, SMALL, INK)
        .then(set, SMALL, false)
        .then(rate, SMALL, false);
    let path: Vec<&Point> = climbs.iter().flat_map(|&(i, s)| path_of(f, i, s)).collect();
    beside(board, panel, &path, &label, Tie::Left);
}

fn descent(board: &mut Board, f: &Figures, panel: &Panel) {
    let mut descents = f.segments.iter().enumerate();
    let Some((i, s)) = descents.rfind(|(_, s)| s.kind == "descent") else {
        return;
    };
    let rpm = revs(f.descent.rpm);
    let set = match (f.descent.throttle, f.descent.map_inhg) {
        ("full", _) if f.trip.fixed_pitch => "full throttle".to_owned(),
        ("untouched", _) => "throttle left alone".to_owned(),
        (_, _) if f.trip.fixed_pitch => format!("{rpm} rpm"),
        ("left_alone", Some(m)) => format!("set {} in and leave / {rpm}", inches(m)),
        (_, Some(m)) => format!("{} in / {rpm}", inches(m)),
        (_, None) => format!("full throttle / {rpm}"),
    };
    let label = Label::new(
        format!("descent {} KIAS", knots(f.descent.ias_kt)),
        SMALL,
        INK,
    )
    .then(set, SMALL, false)
    .then(
        format!("{} fpm", number(near(f.descent.rate_fpm, -1), 0)),
        SMALL,
        false,
    );
    let path: Vec<&Point> = path_of(f, i, s).collect();
    beside(board, panel, &path, &label, Tie::Right);
}

/// Turns over a field stand as an upright line; what is flown there beside it.
fn circling(board: &mut Board, f: &Figures, panel: &Panel) {
    let circles = [
        (&f.circling_climb, "circling_climb", Tie::Left),
        (&f.circling_descent, "circling_descent", Tie::Right),
    ];
    for (circle, kind, tie) in circles {
        let Some(circle) = circle else { continue };
        let inside = |t: &&Point| f.segments.get(t.segment).is_some_and(|s| s.kind == kind);
        let path: Vec<&Point> = f.track.iter().filter(inside).collect();
        let [what, height, turns] = circle.rows(kind == "circling_climb");
        let label = Label::new(what, SMALL, INK)
            .then(height, SMALL, false)
            .then(turns, SMALL, false);
        beside(board, panel, &path, &label, tie);
    }
}

/// A label under a slope, tied to it by its left or right end, clear of it at its first row: below that the slope leads away.
fn beside(board: &mut Board, panel: &Panel, path: &[&Point], label: &Label, tie: Tie) {
    let y_of = |p: &Point| panel.y(p.indicated_altitude_ft);
    let (highest, lowest) = path
        .iter()
        .map(|p| y_of(p))
        .fold((f64::INFINITY, 0.0_f64), |(a, b), y| (a.min(y), b.max(y)));
    let x_at = |y: f64| {
        let off = |p: &Point| (y_of(p) - y).abs();
        path.iter()
            .min_by(|a, b| off(a).total_cmp(&off(b)))
            .map_or(LEFT, |p| panel.x(p.distance_nm))
    };
    let tall = label.height();
    let spots: Vec<Spot> = [0.4, 0.3, 0.2, 0.5, 0.1, 0.6, 0.02, 0.7, 0.8, 0.9]
        .into_iter()
        .map(|down| {
            let top = highest + 6.0 + down * (lowest - highest);
            let x = match tie {
                Tie::Right => x_at(top) - CLEAR,
                Tie::Left | Tie::Centre => x_at(top) + CLEAR,
            };
            spot(x, top + 0.5 * tall, tie)
        })
        .collect();
    board.place(label, &spots, panel.area());
}

fn pattern(board: &mut Board, f: &Figures, panel: &Panel) {
    let (x, y) = panel.at(f.pattern_point_nm, f.pattern_altitude_ft);
    let label = Label::new(
        format!("pattern {} ft", feet(f.pattern_altitude_ft)),
        SMALL,
        INK,
    );
    let end = RIGHT - 5.0;
    let spots = [
        spot(end, y + 13.0, Tie::Right),
        spot(x - 8.0, y + 9.0, Tie::Right),
        spot(x - 8.0, y + 16.0, Tie::Right),
        spot(x - 16.0, y + 4.0, Tie::Right),
        spot(x - 24.0, y, Tie::Right),
        spot(end, y + 22.0, Tie::Right),
        spot(end, y + 32.0, Tie::Right),
        spot(end, y + 42.0, Tie::Right),
    ];
    board.place(&label, &spots, panel.area());
}

/// Height of a path over a distance.
fn height_at<'a, T>(
    mut pairs: impl Iterator<Item = (&'a T, &'a T)>,
    nm: f64,
    of: impl Fn(&T) -> (f64, f64),
) -> Option<f64>
where
    T: 'a,
{
    pairs.find_map(|(a, b)| {
        let (a, b) = (of(a), of(b));
        let inside = a.0 <= nm && nm <= b.0 && b.0 > a.0;
        inside.then(|| a.1 + (nm - a.0) / (b.0 - a.0) * (b.1 - a.1))
    })
}

/// The name of the runner-up, where its path is farthest from the plan's.
pub(super) fn runner_up(
    pen: &Pen,
    board: &mut Board,
    f: &Figures,
    panel: &Panel,
) -> Result<(), ChartError> {
    let Some(r) = &f.runner_up else {
        return Ok(());
    };
    let flown = |nm: f64| {
        let pairs = f.track.iter().zip(f.track.iter().skip(1));
        height_at(pairs, nm, |p: &Point| {
            (p.distance_nm, p.indicated_altitude_ft)
        })
    };
    let apart = |p: &RunnerUpPoint| {
        flown(p.distance_nm).map_or(0.0, |ft| (p.indicated_altitude_ft - ft).abs())
    };
    let most = r.track.iter().map(apart).fold(0.0, f64::max);
    // Where it is about as far as that, from the middle of there outwards.
    let mut far: Vec<&RunnerUpPoint> = r.track.iter().filter(|p| apart(p) > 0.8 * most).collect();
    let middle = far.get(far.len() / 2).map_or(0.0, |p| p.distance_nm);
    far.sort_by(|a, b| {
        let off = |p: &RunnerUpPoint| (p.distance_nm - middle).abs();
        off(a).total_cmp(&off(b))
    });
    let difference = {
        // As the table of choices has it.
        let much = not_flattering(r.difference, 1).abs();
        let more = if r.difference < 0.0 { "less" } else { "more" };
        match f.objective.kind {
            "time" => format!("takes {} min {more}", number(much, 1)),
            "fuel" => {
                let fuel = f.units.difference(r.difference, not_flattering).to_string();
                format!("burns {} {more}", fuel.trim_start_matches('-'))
            }
            _ => format!("costs {} {more} at the trip's prices", number(much, 1)),
        }
    };
    let name = format!("runner-up: {}", r.name);
    let one = Label::new(format!("{name}, {difference}"), SMALL, INK);
    let two = Label::new(name, SMALL, INK).then(difference, SMALL, false);
    let spots = |label: &Label| -> Vec<Spot> {
        let away = 4.0 + 0.5 * label.height();
        far.iter()
            .map(|p| panel.at(p.distance_nm, p.indicated_altitude_ft))
            .flat_map(|(x, y)| {
                [
                    spot(x, y + away, Tie::Centre),
                    spot(x, y - away, Tie::Centre),
                    spot(x - 6.0, y + away, Tie::Right),
                    spot(x + 6.0, y - away, Tie::Left),
                    spot(x - 6.0, y - away, Tie::Right),
                    spot(x + 6.0, y + away, Tie::Left),
                    spot(x - 10.0, y, Tie::Right),
                ]
            })
            .collect()
    };
    if board.offer(&one, &spots(&one), Weight::Light).is_some() {
        return Ok(());
    }
    // A line without a name is a riddle: if need be it stands off, with a pointer to the nearest point that one can lead to.
    let Some(rect) = board.place(&two, &spots(&two), panel.area()) else {
        return Ok(());
    };
    let ends = far.iter().map(|p| {
        let p = panel.at(p.distance_nm, p.indicated_altitude_ft);
        (p, rect.nearest(p))
    });
    let ends = ends.filter(|&(a, b)| board.open(a, b));
    let long = |(a, b): &((f64, f64), (f64, f64))| (a.0 - b.0).hypot(a.1 - b.1);
    match ends.min_by(|a, b| long(a).total_cmp(&long(b))) {
        Some(e) if long(&e) > STANDS_OFF => pen.line(&[e.0, e.1], RUNNER_UP),
        _ => Ok(()),
    }
}

/// "0 °C" along its line.
pub(super) fn freezing(board: &mut Board, f: &Figures, panel: &Panel) {
    let label = Label::new("0 °C", SMALL, COLD);
    for line in freezing_lines(&f.conditions.freezing, panel) {
        let count = line.len();
        let spots: Vec<Spot> = [0.95, 0.05, 0.75, 0.25, 0.5]
            .into_iter()
            .filter_map(|share| {
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    clippy::cast_precision_loss,
                    reason = "a share of a few dozen points"
                )]
                let i = (share * (count - 1) as f64).round() as usize;
                line.get(i)
            })
            .flat_map(|&(x, y)| {
                [-9.0, 10.0].map(|dy| {
                    let half = 0.5 * label.width() + 3.0;
                    spot(x.clamp(LEFT + half, RIGHT - half), y + dy, Tie::Centre)
                })
            })
            .collect();
        board.offer(&label, &spots, Weight::Light);
    }
}
