//! Heights alone, in letters that can be read where the chart is small: of one plan for a narrow screen, of many plans one over the other
//! for the slider.

use crate::brief::chart::{
    ChartError, EARTH, EARTH_EDGE, HAIR, HEIGHT, INK, Pen, SOFT, Style, Tie, WIDTH, climbs_not,
    on_canvas, on_canvas_in_layers, path_of, style, text_width, tick,
};
use crate::brief::words::{feet, number, up};
use crate::brief::{Figures, LegFigures};
use geo::{LineString, Simplify};

/// Left and right of the plot, in chart units.
pub(super) const SIDES: (f64, f64) = (12.0, WIDTH - 12.0);

/// A path may be drawn this far off, in chart units: a fraction of its own width.
const OFF: f64 = 0.5;

/// Where the names of heights may stand, as shares of the width.
const NAMES: [f64; 5] = [0.5, 0.4, 0.6, 0.3, 0.7];
/// Half of the longest such name and a little more, in letters' size.
const NAME_ROOM: f64 = 2.6;

/// How large all is written and drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Look {
    /// Text size.
    pub text: f64,
}

impl Look {
    /// 12 pixels where a chart is 358 pixels wide.
    pub const NARROW: Self = Self { text: 41.0 };
    /// 12 pixels where it is 560 pixels wide.
    pub const HALF: Self = Self { text: 27.0 };

    /// Height of a line of text.
    pub fn row(self) -> f64 {
        0.98 * self.text
    }

    /// A length that goes with the size of the text, as it is on a narrow screen.
    pub fn scaled(self, narrow: f64) -> f64 {
        narrow * self.text / Self::NARROW.text
    }

    /// A line so wide on a narrow screen.
    pub fn line(self, of: Style) -> Style {
        Style {
            width: self.scaled(of.width),
            ..of
        }
    }

    pub fn bottom(self) -> f64 {
        HEIGHT - self.scaled(96.0)
    }
}

struct Panel {
    look: Look,
    length_nm: f64,
    low_ft: f64,
    high_ft: f64,
}

impl Panel {
    fn at(&self, nm: f64, ft: f64) -> (f64, f64) {
        let (top, bottom) = (self.look.scaled(150.0), self.look.bottom());
        let x = SIDES.0 + (SIDES.1 - SIDES.0) * nm / self.length_nm;
        let y = bottom - (bottom - top) * (ft - self.low_ft) / (self.high_ft - self.low_ft);
        (x, y)
    }

    fn top(&self) -> f64 {
        self.at(0.0, self.high_ft).1
    }
}

/// The panel that has room for all of these plans of one trip.
fn panel(plans: &[&Figures], look: Look) -> Panel {
    let tracks = || plans.iter().flat_map(|f| &f.track);
    let heights = || tracks().map(|p| p.indicated_altitude_ft);
    let legs = || plans.iter().flat_map(|f| &f.legs);
    let high = heights().fold(0.0, f64::max);
    let ground = legs().flat_map(|l| &l.ground).map(|g| g.ground_ft);
    let fields = plans.iter().flat_map(|f| &f.fields);
    let lowest = ground
        .chain(fields.map(|x| x.elevation_ft))
        .chain(heights())
        .fold(high, f64::min);
    Panel {
        look,
        length_nm: plans
            .iter()
            .map(|f| f.totals.distance_nm)
            .fold(0.0, f64::max),
        low_ft: ((lowest - 1_000.0) / 1_000.0).floor() * 1_000.0,
        high_ft: legs().map(|l| l.minimum_altitude_ft).fold(high, f64::max),
    }
}

fn ground(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    let look = panel.look;
    let bottom = look.bottom();
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
                (middle, bottom - 0.6 * look.row()),
                (look.text, false),
                INK,
                Tie::Centre,
            )?;
            continue;
        };
        pen.line(&outline, look.line(style(EARTH_EDGE, 3.0, &[])))?;
        outline.extend([(last.0, bottom), (first.0, bottom)]);
        pen.area(&outline, EARTH)?;
    }
    for leg in &f.legs {
        let a = panel.at(leg.from_nm, leg.minimum_altitude_ft);
        let b = panel.at(leg.to_nm, leg.minimum_altitude_ft);
        pen.line(&[a, b], look.line(style(EARTH_EDGE, 3.0, &[14.0, 10.0])))?;
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
    let look = panel.look;
    let (bottom, row, text) = (look.bottom(), look.row(), look.text);
    for ft in ticks(panel) {
        let (left, y) = panel.at(0.0, ft);
        pen.line(&[(left, y), (SIDES.1, y)], look.line(style(HAIR, 2.0, &[])))?;
    }
    pen.line(
        &[(SIDES.0, bottom), (SIDES.1, bottom)],
        look.line(style(SOFT, 2.0, &[])),
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
        let width = text_width(place, text, false);
        let ends = [f.trip.places.first(), f.trip.places.last()]
            .map(|p| p.map_or(0.0, |p| text_width(p, text, false)) + 0.5 * width + 20.0);
        let between = x > SIDES.0 + ends[0] && x < SIDES.1 - ends[1];
        if i == 0 || i == last || (between && last < 4) {
            pen.text(place, (x, bottom + 0.7 * row), (text, false), INK, tie)?;
        }
        if i > 0 && i < last {
            pen.line(
                &[(x, panel.top()), (x, bottom)],
                look.line(style(SOFT, 2.0, &[4.0, 8.0])),
            )?;
        }
    }
    pen.text(
        &format!("{} nm", number(up(panel.length_nm, 0), 0)),
        (SIDES.1, bottom + 1.7 * row),
        (text, false),
        SOFT,
        Tie::Right,
    )?;
    pen.text(
        "0",
        (SIDES.0, bottom + 1.7 * row),
        (text, false),
        SOFT,
        Tie::Left,
    )
}

/// Over the ground and under the paths, above or below their line, where neither a minimum altitude nor a level strikes them through.
fn height_names(pen: &Pen, plans: &[&Figures], panel: &Panel) -> Result<(), ChartError> {
    let look = panel.look;
    // Of some places that where the nearest line of a via point is farthest, the middle before the rest.
    let via = || plans.iter().take(1).flat_map(|f| f.legs.iter().skip(1));
    let free_of = |x: f64| {
        let far = via().map(|l| (panel.at(l.from_nm, 0.0).0 - x).abs());
        far.fold(NAME_ROOM * look.text, f64::min)
    };
    let places = NAMES.map(|share| SIDES.0 + share * (SIDES.1 - SIDES.0));
    let x = places
        .into_iter()
        .reduce(|best, x| if free_of(x) > free_of(best) { x } else { best });
    let x = x.unwrap_or(0.5 * WIDTH);
    let legs = plans.iter().flat_map(|f| &f.legs);
    let lines: Vec<f64> = legs
        .map(|l: &LegFigures| l.minimum_altitude_ft)
        .chain(plans.iter().flat_map(|f| f.levels_ft.iter().copied()))
        .map(|ft| panel.at(0.0, ft).1)
        .collect();
    for ft in ticks(panel) {
        let line = panel.at(0.0, ft).1;
        let sides = [-1.0, 1.0].map(|side| line + side * 0.42 * look.row());
        let free = sides.into_iter().find(|y| {
            let struck = lines.iter().any(|l| (l - y).abs() < 0.5 * look.row());
            *y > panel.top() + look.row() && *y < look.bottom() - 0.5 * look.row() && !struck
        });
        if let Some(y) = free {
            let name = format!("{} ft", feet(ft));
            pen.text(&name, (x, y), (look.text, false), INK, Tie::Centre)?;
        }
    }
    Ok(())
}

fn path(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    let drawn = |of: Style| panel.look.line(of);
    for (i, s) in f.segments.iter().enumerate() {
        let whole: Vec<_> = path_of(f, i, s)
            .map(|p| panel.at(p.distance_nm, p.indicated_altitude_ft))
            .collect();
        // Many paths stand in one page: their turning points will do.
        let line: Vec<_> = LineString::from(whole)
            .simplify(OFF)
            .coords()
            .map(|c| c.x_y())
            .collect();
        match s.kind {
            "cruise" => pen.line(&line, drawn(style(INK, 9.0, &[])))?,
            "descent" => pen.line(&line, drawn(style(INK, 7.0, &[30.0, 9.0])))?,
            "slow_down" | "pattern" => pen.line(&line, drawn(style(INK, 7.0, &[7.0, 8.0])))?,
            "circuit" => {}
            _ => pen.line(&line, drawn(style(INK, 6.0, &[])))?,
        }
    }
    Ok(())
}

fn labels(pen: &Pen, f: &Figures, panel: &Panel) -> Result<(), ChartError> {
    let look = panel.look;
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
        let width = text_width(text, look.text, true);
        let (x, end) = match tie {
            Tie::Right => (p.0.max(SIDES.0 + width), p.0),
            _ => (p.0.min(SIDES.1 - width), p.0),
        };
        let y = highest - 0.8 * look.row() - look.row() * row;
        pen.line(
            &[(end, p.1), (end, y + 0.3 * look.row())],
            look.line(style(INK, 2.5, &[])),
        )?;
        pen.text(text, (x, y), (look.text, true), INK, tie)?;
    }
    for p in [toc, tod].into_iter().skip(usize::from(climbs_not(f))) {
        pen.dot(p, look.scaled(11.0))?;
    }
    Ok(())
}

/// The chart of one plan for a narrow screen, as SVG.
pub(super) fn svg(f: &Figures) -> Result<String, ChartError> {
    let panel = panel(&[f], Look::NARROW);
    on_canvas(("Heights along the route", &f.in_one_line), |pen| {
        axes(pen, f, &panel)?;
        ground(pen, f, &panel)?;
        height_names(pen, &[f], &panel)?;
        path(pen, f, &panel)?;
        labels(pen, f, &panel)
    })
}

/// The chart of many plans of one trip, each path a layer of its own over the common ground, as SVG.
pub(super) fn layered(plans: &[&Figures], look: Look) -> Result<String, ChartError> {
    let first = plans.first().ok_or(ChartError::Empty)?;
    let panel = panel(plans, look);
    let said = "Heights along the route, of the plan that is shown";
    on_canvas_in_layers(
        (said, &first.route()),
        |pen| {
            axes(pen, first, &panel)?;
            ground(pen, first, &panel)?;
            height_names(pen, plans, &panel)
        },
        plans.len(),
        |pen, i| {
            path(pen, plans[i], &panel)?;
            labels(pen, plans[i], &panel)
        },
    )
}
