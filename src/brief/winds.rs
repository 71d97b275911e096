//! The wind of a trip by height and stretch: along the course, across it, and the temperature; as text, drawing and JSON.

use super::chart::{
    Board, COLD, ChartError, EARTH, FINE, FRAME, FREEZING, GRID, GROUND, HEIGHT, INK, LARGE, LEFT,
    Label, POINTER, Pen, RIGHT, Rect, SHEET_LEFT, SMALL, SOFT, Spot, Style, Tie, Weight, fitted,
    on_canvas, sheet, spot, tick,
};
use super::freezing::crossings;
use super::json::pretty;
use super::terminal::{STYLE, Sheet, no_padding, plain_table};
use super::units::{celsius, course_deg, ft, kt, nm};
use super::weather::SourceFigures;
use super::words::{feet, number};
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::trip::Problem;
use comfy_table::{Cell, CellAlignment, Table};
use schemars::JsonSchema;
use serde::Serialize;

/// The title of this face.
pub const WINDS_TITLE: &str =
    "Wind along the trip: from the forecasts given, not a weather briefing";
/// Longest stretch, m.
const STRETCH_M: f64 = 30.0 * M_PER_NM;
/// Steps in height, ft: the first one that gives no more rows than [`MOST_ROWS`].
const STEPS_FT: [f64; 3] = [1_000.0, 2_000.0, 5_000.0];
/// Most rows of the table.
const MOST_ROWS: f64 = 18.0;
/// Columns of a cell with the gap before it, and of the heights.
const CELL_COLUMNS: usize = 14;
/// See [`CELL_COLUMNS`].
const HEIGHT_COLUMNS: usize = 7;

/// Wind and temperature at one height of a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct WindsLevel {
    /// What the altimeter shows.
    pub indicated_altitude_ft: f64,
    /// Along the course, a tail wind positive.
    pub wind_along_kt: f64,
    /// Across the course, from the left positive.
    pub wind_cross_kt: f64,
    /// Temperature.
    pub temperature_c: f64,
    /// Above the highest ground of the stretch.
    pub above_ground: bool,
}

/// One stretch; the wind is that in its middle.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WindStretch {
    /// From.
    pub from_nm: f64,
    /// To.
    pub to_nm: f64,
    /// True course of its leg.
    pub true_course_deg: f64,
    /// Highest ground, if it is known.
    pub ground_ft: Option<f64>,
    /// By height, lowest first; the same heights in each stretch.
    pub levels: Vec<WindsLevel>,
}

/// The winds of a trip.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct WindsFigures {
    /// Title.
    pub title: &'static str,
    /// Title of the trip.
    pub name: String,
    /// Departure, via points, destination, with where each is.
    pub places: Vec<String>,
    /// Distance of each place.
    pub places_nm: Vec<f64>,
    /// Start-up.
    pub departure_utc: String,
    /// Where the weather is from.
    pub weather: Vec<SourceFigures>,
    /// Stretches, first to last.
    pub stretches: Vec<WindStretch>,
}

impl WindsFigures {
    /// The winds a problem is asked in, at the time the flight is expected over each place.
    pub fn new(problem: &Problem) -> Self {
        let ground_ft = |from_m: f64, to_m: f64| -> Option<f64> {
            let touching = problem.legs.iter().flat_map(|l| &l.ground);
            let high = touching.filter(|g| g.0 < to_m && from_m < g.1);
            let highest_m = high.map(|g| g.2).reduce(f64::max);
            problem.ground_m(from_m)?;
            highest_m.map(ft)
        };
        let lowest_ft = ft(problem
            .departure
            .elevation_m
            .min(problem.destination.elevation_m));
        let top_ft = ft(problem.limits.max_altitude_m);
        let rows = |step: f64| (top_ft / step).floor() - (lowest_ft / step).ceil() + 1.0;
        let step_ft = STEPS_FT
            .into_iter()
            .find(|s| rows(*s) <= MOST_ROWS)
            .unwrap_or(STEPS_FT[2]);
        let mut stretches = Vec::new();
        for leg in &problem.legs {
            let pieces = ((leg.to_m - leg.from_m) / STRETCH_M).ceil().max(1.0);
            let length_m = (leg.to_m - leg.from_m) / pieces;
            let mut from_m = leg.from_m;
            while from_m < leg.to_m - 0.5 * length_m {
                let middle_m = from_m + 0.5 * length_m;
                let ground_ft = ground_ft(from_m, from_m + length_m);
                let mut levels = Vec::new();
                let mut height_ft = (lowest_ft / step_ft).ceil() * step_ft;
                while height_ft <= top_ft {
                    let hp_m = problem.pressure_altitude_m(middle_m, height_ft * M_PER_FT);
                    let air = problem.air.at(middle_m, hp_m, problem.time_s(middle_m));
                    levels.push(WindsLevel {
                        indicated_altitude_ft: height_ft,
                        wind_along_kt: kt(air.along_m_s),
                        wind_cross_kt: kt(air.cross_m_s),
                        temperature_c: celsius(air.temperature_k),
                        above_ground: ground_ft.is_none_or(|g| height_ft >= g),
                    });
                    height_ft += step_ft;
                }
                stretches.push(WindStretch {
                    from_nm: nm(from_m),
                    to_nm: nm(from_m + length_m),
                    true_course_deg: course_deg(leg.true_rad),
                    ground_ft,
                    levels,
                });
                from_m += length_m;
            }
        }
        let first = problem.legs.first().map(|l| (l.from.clone(), 0.0));
        let places = first
            .into_iter()
            .chain(problem.legs.iter().map(|l| (l.to.clone(), nm(l.to_m))));
        let (places, places_nm) = places.unzip();
        Self {
            title: WINDS_TITLE,
            name: problem.title.clone(),
            places,
            places_nm,
            departure_utc: problem.departure_time.to_string(),
            weather: problem.sources.iter().map(SourceFigures::new).collect(),
            stretches,
        }
    }

    fn rows(&self) -> usize {
        self.stretches.first().map_or(0, |s| s.levels.len())
    }

    fn length_nm(&self) -> f64 {
        self.stretches.last().map_or(0.0, |s| s.to_nm)
    }

    /// Mean along the whole route at a height (row), weighed by distance; none where ground is in the way.
    fn mean_along_kt(&self, row: usize) -> Option<f64> {
        let mut sum = 0.0;
        for s in &self.stretches {
            let level = s.levels.get(row).filter(|l| l.above_ground)?;
            sum += level.wind_along_kt * (s.to_nm - s.from_nm);
        }
        Some(sum / self.length_nm())
    }
}

fn signed(x: f64) -> String {
    let text = number(x, 0);
    if x.round() > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}

/// "12L", the side the wind comes from.
fn cross(kt: f64) -> String {
    let side = match kt.round() {
        x if x > 0.0 => "L",
        x if x < 0.0 => "R",
        _ => " ",
    };
    format!("{}{side}", number(kt.abs(), 0))
}

fn cell(l: &WindsLevel) -> String {
    if l.above_ground {
        format!(
            "{:>3} {:>3} {:>3}",
            signed(l.wind_along_kt),
            cross(l.wind_cross_kt),
            number(l.temperature_c, 0)
        )
    } else {
        "ground".to_owned()
    }
}

fn block(f: &WindsFigures, some: &[WindStretch], whole: bool, width: usize) -> Table {
    let right = |text: String| Cell::new(text).set_alignment(CellAlignment::Right);
    let mut table = plain_table(width, STYLE);
    let mut heads = vec![right("ft".into())];
    heads.extend(some.iter().map(|s| {
        right(format!(
            "{}-{} nm",
            number(s.from_nm, 0),
            number(s.to_nm, 0)
        ))
    }));
    if whole {
        heads.push(right("all".into()));
    }
    table.set_header(heads);
    for row in (0..f.rows()).rev() {
        let height = f.stretches[0].levels[row].indicated_altitude_ft;
        let mut cells = vec![right(feet(height))];
        cells.extend(some.iter().map(|s| right(cell(&s.levels[row]))));
        if whole {
            cells.push(right(f.mean_along_kt(row).map_or("-".into(), signed)));
        }
        table.add_row(cells);
    }
    no_padding(&mut table);
    for column in table.column_iter_mut().skip(1) {
        column.set_padding((2, 0));
    }
    table
}

/// The winds as text of at most `width` columns (held between 80 and 100).
pub fn winds_text(f: &WindsFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.line(WINDS_TITLE);
    sheet.paragraph(
        "",
        "  ",
        &format!(
            "{}: {}, start-up {}",
            f.name,
            f.places.join(" - "),
            f.departure_utc
        ),
    );
    sheet.blank();
    sheet.paragraph(
        "",
        "  ",
        "Each figure: kt along the course, + from behind, - ahead; kt across it, from L left or R right; temperature, °C. \
         Heights as the altimeter shows; all: the mean along the whole trip.",
    );
    // the last block has one narrow column more
    let fit = ((sheet.width() - HEIGHT_COLUMNS - 6) / CELL_COLUMNS).max(1);
    let blocks = f.stretches.len().div_ceil(fit).max(1);
    let each = f.stretches.len().div_ceil(blocks).max(1);
    let count = f.stretches.chunks(each).len();
    for (i, some) in f.stretches.chunks(each).enumerate() {
        sheet.blank();
        let table = block(f, some, i + 1 == count, sheet.width());
        sheet.table(&table);
    }
    sheet.blank();
    for s in &f.weather {
        sheet.paragraph("", "  ", &s.words());
    }
    sheet.finish()
}

/// The winds as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn winds_json(f: &WindsFigures) -> Result<String, serde_json::Error> {
    pretty(f)
}

/// Top and bottom of the drawing's field, in chart units.
const FIELD: (f64, f64) = (92.0, 622.0);
/// Its right end; the means stand beyond.
const END: f64 = RIGHT - 40.0;
/// Longest arrow over the size of its cell.
const ARROW_SHARE: f64 = 0.46;
/// Widest figures over the width of their cell.
const FIGURES_SHARE: f64 = 0.48;
/// How an arrow is drawn.
const ARROW: Style = Style {
    width: 1.5,
    ..POINTER
};

fn draw(pen: &Pen, f: &WindsFigures) -> Result<(), ChartError> {
    let (low, high) = match (f.stretches.first(), f.rows()) {
        (Some(s), n) if n > 0 => (
            s.levels[0].indicated_altitude_ft,
            s.levels[n - 1].indicated_altitude_ft,
        ),
        _ => return Err(ChartError::Empty),
    };
    #[expect(clippy::cast_precision_loss, reason = "a few dozen rows")]
    let step = (high - low) / (f.rows().max(2) - 1) as f64;
    let step = if step > 0.0 { step } else { STEPS_FT[0] };
    let (bottom_ft, top_ft) = (low - 0.5 * step, high + 0.5 * step);
    let x = |nm: f64| LEFT + (END - LEFT) * nm / f.length_nm();
    let y = |ft: f64| FIELD.1 - (FIELD.1 - FIELD.0) * (ft - bottom_ft) / (top_ft - bottom_ft);
    let mut board = sheet();
    frame(pen, &mut board, f, &x, &y)?;
    // the air is as wide as its stretch and as high as its step
    let most = f
        .stretches
        .iter()
        .flat_map(|s| &s.levels)
        .map(|l| l.wind_along_kt.hypot(l.wind_cross_kt))
        .fold(1.0, f64::max);
    let room = y(0.0) - y(step);
    // ground
    for s in &f.stretches {
        let (a, b) = (x(s.from_nm), x(s.to_nm));
        let Some(ground_ft) = s.ground_ft else {
            continue;
        };
        let top = y(ground_ft.clamp(bottom_ft, top_ft));
        if top < FIELD.1 {
            pen.area(&[(a, top), (b, top), (b, FIELD.1), (a, FIELD.1)], EARTH)?;
            pen.line(&[(a, top), (b, top)], GROUND)?;
        }
    }
    let lines = freezing(f, &x, &y);
    for line in &lines {
        pen.line(line, FREEZING)?;
        board.line(line, 1.0, Weight::Light);
    }
    let blow = |board: &mut Board, l: &WindsLevel, at: (f64, f64), width: f64| {
        let size = ARROW_SHARE * width.min(2.0 * room) / most;
        let (along, across) = (l.wind_along_kt * size, l.wind_cross_kt * size);
        board.take(Rect {
            left: at.0 - 0.5 * along.abs() - 3.0,
            top: at.1 - 0.5 * across.abs() - 3.0,
            right: at.0 + 0.5 * along.abs() + 3.0,
            bottom: at.1 + 0.5 * across.abs() + 3.0,
        });
        arrow(pen, at, (along, across))
    };
    // Arrow and figures beside each other where both can be read; what is too narrow for that comes after, in what is left.
    let mut narrow = Vec::new();
    for s in &f.stretches {
        let (left, width) = (x(s.from_nm), x(s.to_nm) - x(s.from_nm));
        let cell = (FIGURES_SHARE * width, room);
        for l in s.levels.iter().filter(|l| l.above_ground) {
            let y = y(l.indicated_altitude_ft);
            let Some(label) = figures(l, cell) else {
                narrow.push((l, (left + 0.5 * width, y), width));
                continue;
            };
            blow(&mut board, l, (left + 0.25 * width, y), width)?;
            board.fix(&label, spot(left + 0.74 * width, y, Tie::Centre));
        }
    }
    // By turns the figures stand in place of the arrow, where they have room.
    for (i, (l, at, width)) in narrow.into_iter().enumerate() {
        let label = figures(l, (2.0 * width, room)).filter(|_| i % 2 == 0);
        let placed = label.and_then(|label| {
            let here = spot(at.0, at.1, Tie::Centre);
            board.offer(&label, &[here], Weight::Light)
        });
        if placed.is_none() {
            blow(&mut board, l, at, 2.0 * width)?;
        }
    }
    for s in f.stretches.iter().skip(1) {
        pen.line(&[(x(s.from_nm), FIELD.0), (x(s.from_nm), FIELD.1)], GRID)?;
    }
    // once, where there is room over or under its line
    let label = Label::new("0 °C", SMALL, COLD);
    let spots: Vec<_> = lines
        .iter()
        .flat_map(|l| {
            let (a, b, y) = (l[0].0 + 4.0, l[1].0 - 4.0, l[0].1);
            [-9.0, 10.0, -16.0, 17.0, -23.0, 24.0]
                .into_iter()
                .flat_map(move |dy| [spot(a, y + dy, Tie::Left), spot(b, y + dy, Tie::Right)])
        })
        .collect();
    board.offer(&label, &spots, Weight::Light);
    board.write(pen)
}

/// What stands beside an arrow: kt and °C in a row, else one over the other, as large as a cell of this width and height has room for
/// and never too small to be read; none where there is no room.
fn figures(l: &WindsLevel, (wide, high): (f64, f64)) -> Option<Label> {
    let (wind, air) = (
        signed(l.wind_along_kt),
        format!("{}°", number(l.temperature_c, 0)),
    );
    let in_a_row = |size: f64| Label::new(format!("{wind}, {air}"), size, INK);
    let stacked = |size: f64| Label::new(wind.clone(), size, INK).then(air.clone(), size, false);
    let all = [
        in_a_row(SMALL),
        in_a_row(FINE),
        stacked(SMALL),
        stacked(FINE),
    ];
    all.into_iter()
        .find(|label| label.width() <= wide && label.height() <= high)
}

/// Head, foot, heights with their means, distances and places.
fn frame(
    pen: &Pen,
    board: &mut Board,
    f: &WindsFigures,
    x: &dyn Fn(f64) -> f64,
    y: &dyn Fn(f64) -> f64,
) -> Result<(), ChartError> {
    let mut write = |label: Label, at: Spot| {
        board.fix(&label, at);
    };
    let head = format!("{}: {}", f.name, f.places.join(" - "));
    let (head, size) = fitted(&head, (LARGE, FINE), true, RIGHT - SHEET_LEFT);
    write(
        Label::bold(head, size, INK),
        spot(SHEET_LEFT, 20.0, Tie::Left),
    );
    write(
        Label::new(
            "Arrows: the wind seen from above, the course to the right. Figures: kt along the course, and °C.",
            SMALL,
            INK,
        ),
        spot(SHEET_LEFT, 43.0, Tie::Left),
    );
    let over = FIELD.0 - 12.0;
    write(
        Label::bold("ft", SMALL, INK),
        spot(SHEET_LEFT, over, Tie::Left),
    );
    write(
        Label::bold("all, kt", SMALL, INK),
        spot(RIGHT, over, Tie::Right),
    );
    for row in 0..f.rows() {
        let height = f.stretches[0].levels[row].indicated_altitude_ft;
        let y = y(height);
        pen.line(&[(LEFT, y), (END, y)], GRID)?;
        write(
            Label::new(feet(height), SMALL, SOFT),
            spot(LEFT - 6.0, y, Tie::Right),
        );
        if let Some(mean) = f.mean_along_kt(row) {
            write(
                Label::bold(signed(mean), SMALL, INK),
                spot(RIGHT, y, Tie::Right),
            );
        }
    }
    // distance and places
    pen.line(&[(LEFT, FIELD.1), (END, FIELD.1)], FRAME)?;
    let step_nm = tick(f.length_nm(), 10.0);
    let mut at = 0.0;
    while at <= f.length_nm() {
        pen.line(&[(x(at), FIELD.1), (x(at), FIELD.1 + 5.0)], FRAME)?;
        let words = if at == 0.0 {
            "0 nm".to_owned()
        } else {
            number(at, 0)
        };
        write(
            Label::new(words, SMALL, SOFT),
            spot(x(at), FIELD.1 + 15.0, Tie::Centre),
        );
        at += step_nm;
    }
    for (i, (place, at)) in f.places.iter().zip(&f.places_nm).enumerate() {
        let tie = match i {
            0 => Tie::Left,
            i if i + 1 == f.places.len() => Tie::Right,
            _ => Tie::Centre,
        };
        write(
            Label::bold(place.clone(), SMALL, INK),
            spot(x(*at), FIELD.1 + 33.0, tie),
        );
    }
    let foot = format!("{WINDS_TITLE}. Heights indicated.");
    write(
        Label::new(foot, FINE, SOFT),
        spot(SHEET_LEFT, HEIGHT - 10.0, Tie::Left),
    );
    Ok(())
}

/// An arrow about its middle, pointing where the air goes: along to the right, from the left downwards.
fn arrow(pen: &Pen, at: (f64, f64), (along, across): (f64, f64)) -> Result<(), ChartError> {
    let length = along.hypot(across);
    if length < 1.0 {
        return pen.line(&[(at.0 - 1.5, at.1), (at.0 + 1.5, at.1)], ARROW);
    }
    let tail = (at.0 - 0.5 * along, at.1 - 0.5 * across);
    let tip = (at.0 + 0.5 * along, at.1 + 0.5 * across);
    pen.line(&[tail, tip], ARROW)?;
    let (ux, uy) = (along / length, across / length);
    let barb = (0.4 * length).min(6.0);
    for side in [-0.5, 0.5] {
        let back = (
            tip.0 - barb * (ux - side * uy),
            tip.1 - barb * (uy + side * ux),
        );
        pen.line(&[back, tip], ARROW)?;
    }
    Ok(())
}

/// The lowest height of 0 °C over the ground of each stretch.
fn freezing(
    f: &WindsFigures,
    x: &dyn Fn(f64) -> f64,
    y: &dyn Fn(f64) -> f64,
) -> Vec<[(f64, f64); 2]> {
    let line = |s: &WindStretch| {
        let over = s.levels.iter().filter(|l| l.above_ground);
        let levels: Vec<_> = over
            .map(|l| (l.indicated_altitude_ft, l.temperature_c))
            .collect();
        let ft = crossings(&levels).next()?;
        Some([(x(s.from_nm), y(ft)), (x(s.to_nm), y(ft))])
    };
    f.stretches.iter().filter_map(line).collect()
}

/// The winds drawn, as SVG.
///
/// # Errors
/// [`ChartError`]: nothing to draw, or a failure of the drawing library, which would be our bug.
pub fn winds_svg(f: &WindsFigures) -> Result<String, ChartError> {
    let description = format!("{WINDS_TITLE}. {}.", f.places.join(" - "));
    on_canvas((&f.name, &description), |pen| draw(pen, f))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::sample;

    fn figures() -> WindsFigures {
        WindsFigures::new(sample::problem())
    }

    #[test]
    fn closed_form_fits_its_width_and_loses_no_stretch() {
        let f = figures();
        assert!(f.stretches.len() > 8 && f.rows() > 5);
        for width in [80, 100] {
            let text = winds_text(&f, width);
            for line in text.lines() {
                assert!(line.chars().count() <= width, "{width}: {line:?}");
                assert!(!line.contains(".."), "cut short: {line:?}");
            }
            for s in &f.stretches {
                let head = format!("{}-{} nm", number(s.from_nm, 0), number(s.to_nm, 0));
                assert!(text.contains(&head), "{width}: no {head}");
            }
            let rows = text
                .lines()
                .filter(|l| l.trim_start().starts_with("10,000"))
                .count();
            assert!(rows > 1, "one row in each block");
        }
    }

    #[test]
    fn closed_form_components_are_those_of_the_air() {
        let (f, p) = (figures(), sample::problem());
        let s = &f.stretches[2];
        let l = s.levels[s.levels.len() - 1];
        let middle_m = 0.5 * (s.from_nm + s.to_nm) * M_PER_NM;
        let hp_m = p.pressure_altitude_m(middle_m, l.indicated_altitude_ft * M_PER_FT);
        let air = p.air.at(middle_m, hp_m, p.time_s(middle_m));
        // figures are written to a millionth
        assert!((l.wind_along_kt - kt(air.along_m_s)).abs() < 1e-4);
        assert!((l.wind_cross_kt - kt(air.cross_m_s)).abs() < 1e-4);
        assert_eq!(
            (cross(12.3), cross(-4.4), cross(0.2)),
            ("12L".into(), "4R".into(), "0 ".into())
        );
        assert_eq!(
            (signed(3.6), signed(-3.6), signed(0.3)),
            ("+4".into(), "-4".into(), "0".into())
        );
    }

    #[test]
    fn closed_form_no_figure_is_too_small_to_be_read() {
        for many in [1, 2, 6] {
            // The route several times over, so that its stretches become narrow.
            let mut f = figures();
            let (once, length) = (f.stretches.clone(), f.length_nm());
            for i in 1..many {
                let by = length * f64::from(i);
                f.stretches.extend(once.iter().cloned().map(|mut s| {
                    (s.from_nm, s.to_nm) = (s.from_nm + by, s.to_nm + by);
                    s
                }));
            }
            let svg = winds_svg(&f).expect("draws");
            let size = |text: &str| -> Option<f64> {
                let after = text.split_once("font-size=\"")?.1;
                after.split('"').next()?.parse().ok()
            };
            let texts: Vec<&str> = svg.split("<text").skip(1).collect();
            // The foot is in the smallest letters there are, six points on A5 (chart::pen).
            let foot = texts
                .iter()
                .find(|t| t.contains(WINDS_TITLE))
                .and_then(|t| size(t));
            let least = texts
                .iter()
                .filter_map(|t| size(t))
                .fold(f64::INFINITY, f64::min);
            assert!(texts.len() > 40 && Some(least) == foot, "{least} {foot:?}");
            let written = texts.iter().filter(|t| t.contains('°')).count();
            assert!(written >= 12, "only {written} for {many}");
        }
    }

    #[test]
    fn closed_form_drawing_and_json_hold_every_stretch() {
        let f = figures();
        let svg = winds_svg(&f).expect("draws");
        assert!(svg.starts_with("<svg") && svg.contains(&f.name));
        for place in &f.places {
            assert!(svg.contains(place.as_str()), "{place}");
        }
        let json: serde_json::Value =
            serde_json::from_str(&winds_json(&f).expect("writes")).expect("JSON");
        let stretches = json["stretches"].as_array().expect("a list");
        assert_eq!(stretches.len(), f.stretches.len());
        assert!(stretches[0]["levels"][0]["wind_along_kt"].is_number());
    }
}
