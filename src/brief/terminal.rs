//! The terminal face: the plan in one line, then what it costs, how it is flown, and what to beware of.

use super::figures::saves;
use super::words::{clock, down, feet, inches, knots, near, number, revs, sentence, tens, up};
use super::{Figures, Gain, SegmentFigures, TotalsFigures};
use anstyle::{Effects, Style};
use comfy_table::{
    Cell, CellAlignment, ContentArrangement, ContentLineStyle, LineStyle, Table, TableStyle,
};
use std::fmt::Write;

/// The widest the text becomes.
pub const WIDEST: usize = 100;
/// The narrowest it is laid out for.
pub(super) const NARROWEST: usize = 80;
/// Below this the ranges of the segment table stand one figure above the other.
const ONE_LINE_RANGES: usize = 100;

/// A rule under the heads, blanks between the columns.
pub(super) const STYLE: TableStyle = TableStyle::new()
    .header_lines(ContentLineStyle::none().junction(' '))
    .header_separator(LineStyle::none().fill('─').junction('─'))
    .content_lines(ContentLineStyle::none().junction(' '));
/// The same without heads.
const BARE: TableStyle = TableStyle::new().content_lines(ContentLineStyle::none().junction(' '));

const HEADING: Style = Style::new().effects(Effects::BOLD);

/// Text under construction.
pub(super) struct Sheet {
    text: String,
    width: usize,
}

impl Sheet {
    /// Nothing yet, for lines of at most `width` columns (held between 80 and 100).
    pub(super) fn new(width: usize) -> Self {
        Self {
            text: String::new(),
            width: width.clamp(NARROWEST, WIDEST),
        }
    }

    pub(super) fn width(&self) -> usize {
        self.width
    }

    pub(super) fn finish(self) -> String {
        self.text
    }

    pub(super) fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    pub(super) fn blank(&mut self) {
        self.text.push('\n');
    }

    pub(super) fn heading(&mut self, text: &str) {
        self.blank();
        self.strong(text);
    }

    pub(super) fn strong(&mut self, text: &str) {
        for line in wrapped(text, self.width, "", "") {
            let _ = writeln!(self.text, "{HEADING}{line}{HEADING:#}");
        }
    }

    /// A paragraph; lines after the first are indented.
    pub(super) fn paragraph(&mut self, first: &str, rest: &str, text: &str) {
        for line in wrapped(text, self.width, first, rest) {
            self.line(&line);
        }
    }

    pub(super) fn table(&mut self, table: &Table) {
        for line in table.lines() {
            let line = line.trim_end().to_owned();
            self.line(&line);
        }
    }
}

/// Words broken into lines of at most `width` characters, if no word is longer.
fn wrapped(text: &str, width: usize, first: &str, rest: &str) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > width {
            lines.push(std::mem::replace(&mut line, rest.to_owned()));
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    lines.push(line);
    lines
}

/// What a segment is called in the table.
fn name_of(kind: &str) -> &str {
    match kind {
        "initial_climb" => "Take-off",
        "accelerate" => "Speed up",
        "climb" => "Climb",
        "circling_climb" => "Circle up",
        "level_off" => "Level off",
        "cruise" => "Cruise",
        "level_change" => "New level",
        "descent" => "Descent",
        "circling_descent" => "Circle down",
        "slow_down" => "Slow down",
        "pattern" => "To field",
        "circuit" => "Circuit",
        other => other,
    }
}

/// "a-b", or one of them where they read the same.
fn range(a: String, b: String, wide: bool) -> String {
    if a == b {
        a
    } else if wide {
        format!("{a}-{b}")
    } else {
        format!("{a}\n{b}")
    }
}

/// A rate of climb in tens, rounded down: a climb is never flattered, a descent never played down.
fn rate(fpm: f64) -> String {
    // Level flight follows the altimeter setting along the route by a few feet a minute.
    let x = if fpm.abs() < 20.0 { 0.0 } else { down(fpm, -1) };
    number(x, 0)
}

/// Manifold pressure from start to end, or to its peak where it rises between: in a descent the end is already reduced.
fn map_range(s: &SegmentFigures, wide: bool) -> String {
    let (a, b) = (s.start.map_inhg, s.end.map_inhg);
    let end = if s.map_peak_inhg > a.max(b) + 0.3 {
        s.map_peak_inhg
    } else {
        b
    };
    range(inches(a), inches(end), wide)
}

fn segment_row(s: &SegmentFigures, wide: bool) -> Vec<Cell> {
    let (a, b) = (&s.start, &s.end);
    let height = |ft: f64| {
        if s.kind == "cruise" || s.kind == "circuit" {
            feet(ft)
        } else {
            tens(ft)
        }
    };
    let mean_gph = if s.time_min > 0.0 {
        s.fuel_gal / s.time_min * 60.0
    } else {
        a.fuel_flow_gph
    };
    let right = |text: String| Cell::new(text).set_alignment(CellAlignment::Right);
    vec![
        Cell::new(name_of(s.kind)),
        right(range(
            number(a.distance_nm, 0),
            number(b.distance_nm, 0),
            wide,
        )),
        right(range(
            height(a.indicated_altitude_ft),
            height(b.indicated_altitude_ft),
            wide,
        )),
        right(range(knots(a.ias_kt), knots(b.ias_kt), wide)),
        right(match s.turns {
            Some(turns) => format!("{} turns", number(turns, 1)),
            None => range(knots(a.gs_kt), knots(b.gs_kt), wide),
        }),
        right(map_range(s, wide)),
        // On a pitch stop the RPM wanders a little; that is no second setting.
        right(if (a.rpm - b.rpm).abs() < 60.0 {
            revs(b.rpm)
        } else {
            range(revs(a.rpm), revs(b.rpm), wide)
        }),
        Cell::new(&a.mixture),
        right(number(up(mean_gph, 1), 1)),
        // A hyphen between two minus signs would not be read.
        right(
            match (
                range(rate(a.vs_fpm), rate(b.vs_fpm), wide),
                wide && b.vs_fpm < -20.0,
            ) {
                (text, true) => text.replacen("--", "/-", 1),
                (text, false) => text,
            },
        ),
        right(number(s.time_min, 1)),
        right(number(up(s.fuel_gal, 1), 1)),
    ]
}

/// Ranges on one line if that fits, else one figure above the other.
fn segment_table(figures: &Figures, width: usize) -> Table {
    if width >= ONE_LINE_RANGES {
        let table = segment_rows(figures, width, true);
        let widths = table.column_max_content_widths();
        if widths.iter().map(|&w| usize::from(w)).sum::<usize>() + widths.len() <= width + 1 {
            return table;
        }
    }
    segment_rows(figures, width, false)
}

fn segment_rows(figures: &Figures, width: usize, wide: bool) -> Table {
    let heads = [
        "", "nm", "ft", "KIAS", "kt GS", "MAP in", "RPM", "mixture", "gph", "fpm", "min", "gal",
    ];
    let mut table = plain_table(width, STYLE);
    table.set_header(heads.iter().enumerate().map(|(i, h)| {
        let cell = Cell::new(h);
        if i == 0 || i == 7 {
            cell
        } else {
            cell.set_alignment(CellAlignment::Right)
        }
    }));
    for s in &figures.segments {
        table.add_row(segment_row(s, wide));
    }
    no_padding(&mut table);
    table
}

pub(super) fn plain_table(width: usize, style: TableStyle) -> Table {
    let mut table = Table::new();
    table
        .load_style(style)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(u16::try_from(width).unwrap_or(u16::MAX));
    table
}

pub(super) fn no_padding(table: &mut Table) {
    for column in table.column_iter_mut() {
        column.set_padding((0, 0));
    }
}

fn card_table(figures: &Figures, arrival: bool, width: usize) -> Table {
    let mut table = plain_table(width, BARE);
    let mut group = None;
    for l in figures
        .lever_card
        .iter()
        .filter(|l| l.group.arrival_side() == arrival)
    {
        let name = if group == Some(l.group) {
            ""
        } else {
            l.group.name()
        };
        group = Some(l.group);
        table.add_row([
            name.to_owned(),
            format!("{:>2}", l.order),
            l.trigger.clone(),
            l.action.clone(),
            l.expect.clone(),
        ]);
    }
    for column in table.column_iter_mut() {
        column.set_padding((0, 1));
    }
    table
}

fn reserve_words(figures: &Figures, t: &TotalsFigures) -> String {
    format!(
        "lands with {} gal, {} at cruise flow; asked for {} min ({} gal), legal least {} min ({} gal, {})",
        number(down(t.landing_fuel_gal, 1), 1),
        clock(down(t.reserve_min, 0)),
        number(t.reserve_required_min, 0),
        number(up(t.reserve_required_gal, 1), 1),
        number(t.legal_reserve_min, 0),
        number(up(t.legal_reserve_gal, 1), 1),
        figures.legal_reserve_rule,
    )
}

/// What the ordinary descent would have cost instead.
fn gain_words(g: &Gain, fixed_pitch: bool, priced: bool) -> String {
    let how = if fixed_pitch {
        "throttle back"
    } else {
        "cruise RPM, MAP reduced"
    };
    let part = |x: f64, places: i32, unit: &str| {
        let (shown, way) = if x >= 0.0 {
            (down(x, places), "more")
        } else {
            (up(-x, places), "less")
        };
        format!(
            "{}{unit} {way}",
            number(shown, places.unsigned_abs() as usize)
        )
    };
    let end = if g.no_real_difference {
        ": no real difference: choose comfort.".to_owned()
    } else if g.small_gain {
        format!(
            "; this plan {}, a small gain for it: choose comfort.",
            saves(g)
        )
    } else {
        ".".to_owned()
    };
    format!(
        "Ordinary flying ({how} to hold cruise IAS at 500 fpm) would have cost {}, {}{}{end}",
        part(g.time_min, 1, " min"),
        part(g.fuel_gal, 2, " gal"),
        if priced {
            format!(", {}", part(g.cost, 1, " in money"))
        } else {
            String::new()
        },
    )
}

fn money(x: f64) -> String {
    number(up(x, 0), 0)
}

fn head(sheet: &mut Sheet, figures: &Figures) {
    let t = &figures.totals;
    let here = figures.trip.start_in_flight.is_some();
    sheet.line(figures.title);
    sheet.paragraph(
        "",
        "",
        &format!(
            "{}: {}, {}, {}",
            figures.trip.name,
            figures.route(),
            figures.least(),
            figures.trip.aircraft
        ),
    );
    sheet.blank();
    sheet.strong(&figures.in_one_line);
    if let Some(words) = figures.unknown_ground() {
        sheet.strong(&words);
    }
    sheet.blank();
    sheet.paragraph(
        "Air      ",
        "         ",
        &format!(
            "{} and {} gal, {} to landing, {} nm",
            clock(t.time_min),
            number(up(t.fuel_gal, 1), 1),
            if here { "from now" } else { "take-off" },
            number(up(t.distance_nm, 0), 0)
        ),
    );
    sheet.paragraph(
        "Block    ",
        "         ",
        &format!(
            "{} and {} gal, {} to shutdown{}",
            clock(t.block_time_min),
            number(up(t.block_fuel_gal, 1), 1),
            if here { "from now" } else { "start-up" },
            if t.cost > 0.0 {
                format!("; cost {} at the trip's prices", money(t.cost))
            } else {
                String::new()
            }
        ),
    );
    sheet.paragraph(
        "Fuel     ",
        "         ",
        &format!(
            "{} gal on board, {} gal needed with {}the reserve",
            number(down(figures.trip.fuel_on_board_gal, 1), 1),
            number(up(t.fuel_required_gal, 1), 1),
            if figures.alternate.is_some() {
                "the alternate and "
            } else {
                ""
            }
        ),
    );
    sheet.paragraph("Reserve  ", "         ", &reserve_words(figures, t));
    if let Some(a) = &figures.alternate {
        sheet.paragraph(
            "Onward   ",
            "         ",
            &(format!(
                "to the alternate {}, from a go-around at {}: {} nm, magnetic course {:03.0}, {} ft, {} and {} gal; {}, at \
                 least {} ft",
                a.ident,
                figures.trip.places.last().map_or("", String::as_str),
                number(up(a.distance_nm, 0), 0),
                a.magnetic_course_deg,
                feet(a.altitude_ft),
                clock(a.time_min),
                number(up(a.fuel_gal, 1), 1),
                a.highest_ground_ft
                    .map_or("no terrain data".to_owned(), |ft| format!(
                        "highest ground {} ft",
                        feet(ft)
                    )),
                feet(a.minimum_altitude_ft)
            ) + &a.circling_from_ft.map_or(String::new(), |ft| {
                format!("; let down circling over the alternate from {} ft", feet(ft))
            })),
        );
    }
    if figures.top_of_climb_min > 0.0 {
        sheet.paragraph(
            "Climb    ",
            "         ",
            &(format!(
                "level at {} nm after {} min{}",
                number(up(figures.top_of_climb_nm, 0), 0),
                number(up(figures.top_of_climb_min, 0), 0),
                figures
                    .second_climb_speed
                    .map_or(String::new(), |s| format!(
                        "; {} KIAS, from {} ft {} KIAS",
                        knots(s.first_ias_kt),
                        feet(s.from_ft),
                        knots(s.ias_kt)
                    ))
            ) + &figures
                .circling_climb
                .as_ref()
                .map_or(String::new(), |c| format!("; {}", c.sentence))),
        );
    }
    let to_go = number(up(figures.top_of_descent_to_go_nm, 0), 0);
    let from = match &figures.circling_descent {
        Some(_) if to_go == "0" => "over the field".to_owned(),
        _ => format!("{to_go} nm to go"),
    };
    let pattern = match &figures.circling_descent {
        Some(c) => format!(
            "{}; pattern altitude {} ft and speed over the field",
            c.sentence,
            feet(figures.pattern_altitude_ft)
        ),
        None => format!(
            "pattern altitude {} ft and speed at {} nm to go",
            feet(figures.pattern_altitude_ft),
            number(t.distance_nm - figures.pattern_point_nm, 0)
        ),
    };
    sheet.paragraph(
        "Down     ",
        "         ",
        &format!(
            "{from}, {} {}, {} min before landing; {pattern}",
            clock(figures.top_of_descent_min),
            if here { "from now" } else { "after take-off" },
            number(up(t.time_min - figures.top_of_descent_min, 0), 0),
        ),
    );
    if let Some(g) = &figures.gain_over_ordinary {
        sheet.blank();
        sheet.paragraph(
            "",
            "  ",
            &gain_words(g, figures.trip.fixed_pitch, t.cost > 0.0),
        );
    }
    sheet.paragraph("", "  ", &figures.descent_sentence());
    let rough = figures
        .gain_over_ordinary
        .as_ref()
        .map_or_else(String::new, |g| {
            format!(
                ", and the ordinary descent from {} nm to go",
                number(up(g.ordinary_top_of_descent_to_go_nm, 0), 0)
            )
        });
    let va = number(down(figures.descent.rough_air_ias_kt, 0), 0);
    let words = match figures.descent.rough_up_to_ft {
        Some(top) => format!(
            "Rough air up to {} ft on the way down: no faster than {va} KIAS there, so a fast descent is refused.",
            feet(top)
        ),
        None => format!("If rough: {va} KIAS or less{rough}."),
    };
    sheet.paragraph("", "  ", &words);
}

/// With its sign, not flattering the plan: what another way takes more is rounded down; what it saves, to the nearest.
fn beside(x: f64, places: i32) -> String {
    let shown = if x > 0.0 {
        down(x, places)
    } else {
        near(x, places)
    };
    signed(shown, places.unsigned_abs() as usize)
}

/// With its sign, not flattering the change: what it takes more is rounded up, what it saves is rounded down.
fn after(x: f64, places: i32) -> String {
    let shown = if x > 0.0 {
        up(x, places)
    } else {
        -down(-x, places)
    };
    signed(shown, places.unsigned_abs() as usize)
}

/// Heads of the columns that the tables of differences share; what money is beside minutes and gallons is no column of its own where
/// one of these is least.
fn difference_heads(figures: &Figures) -> Vec<&'static str> {
    let mut heads = vec![""];
    if figures.objective.kind == "money" {
        heads.push("money");
    }
    heads.extend(["min", "gal", "down nm"]);
    heads
}

/// Objective where it is money, minutes, gallons and where it starts down.
fn differences(
    figures: &Figures,
    by: fn(f64, i32) -> String,
    [objective, min, gal, down_nm]: [f64; 4],
) -> Vec<String> {
    let mut out = Vec::new();
    if figures.objective.kind == "money" {
        out.push(by(objective, 1));
    }
    out.extend([by(min, 1), by(gal, 2), number(up(down_nm, 0), 0)]);
    out
}

fn difference_table(heads: &[&str], rows: Vec<Vec<String>>, width: usize) -> Table {
    let mut table = plain_table(width, STYLE);
    let numbers = |i: usize| i > 0 && i + 1 < heads.len();
    let cell = |i: usize, text: &str| {
        let cell = Cell::new(text);
        if numbers(i) {
            cell.set_alignment(CellAlignment::Right)
        } else {
            cell
        }
    };
    table.set_header(heads.iter().enumerate().map(|(i, h)| cell(i, h)));
    for row in rows {
        table.add_row(row.iter().enumerate().map(|(i, t)| cell(i, t)));
    }
    for column in table.column_iter_mut() {
        column.set_padding((0, 1));
    }
    table
}

fn choices(sheet: &mut Sheet, figures: &Figures) {
    if figures.alternatives.is_empty() && figures.left_out.is_empty() {
        return;
    }
    sheet.heading("What each choice is worth");
    if !figures.alternatives.is_empty() {
        sheet.paragraph(
            "  ",
            "  ",
            "More than the plan, with everything but the choice named chosen anew (the ordinary descent excepted):",
        );
        let mut heads = difference_heads(figures);
        heads.push("");
        let rows = figures
            .alternatives
            .iter()
            .map(|a| {
                let mut row = vec![format!("  {}", a.name)];
                row.extend(differences(
                    figures,
                    beside,
                    [
                        a.difference,
                        a.difference_min,
                        a.difference_gal,
                        a.top_of_descent_to_go_nm,
                    ],
                ));
                row.push(
                    if a.no_real_difference {
                        "no real difference"
                    } else if a.difference < 0.0 {
                        "not worth its lever moves"
                    } else {
                        ""
                    }
                    .to_owned(),
                );
                row
            })
            .collect();
        sheet.table(&difference_table(&heads, rows, sheet.width));
    }
    for l in &figures.left_out {
        sheet.paragraph("  ", "    ", &format!("Left out for a limit: {}.", l.text));
    }
}

fn forecast(sheet: &mut Sheet, figures: &Figures) {
    let Some(first) = figures.sensitivity.first() else {
        return;
    };
    sheet.heading("If it is not as forecast");
    sheet.paragraph(
        "  ",
        "  ",
        if first.planned_anew {
            "More than the plan, with a plan made anew for each:"
        } else {
            "More than the plan, with the same settings and the start down moved:"
        },
    );
    let mut heads = difference_heads(figures);
    heads.extend(["lands gal", ""]);
    let rows = figures
        .sensitivity
        .iter()
        .map(|s| {
            let mut row = vec![format!("  {}", s.name)];
            let Some(o) = &s.outcome else {
                row.resize(heads.len() - 1, "-".to_owned());
                row.push(format!(
                    "cannot be flown: {}",
                    s.not_flown.as_deref().unwrap_or("")
                ));
                return row;
            };
            row.extend(differences(
                figures,
                after,
                [
                    o.difference,
                    o.difference_min,
                    o.difference_gal,
                    o.top_of_descent_to_go_nm,
                ],
            ));
            row.push(number(down(o.totals.landing_fuel_gal, 1), 1));
            row.push(if !o.broken_limits.is_empty() {
                format!("cannot be flown so: {}", o.broken_limits.join(", "))
            } else if o.levels_ft != figures.levels_ft {
                let levels: Vec<String> = o.levels_ft.iter().map(|&l| feet(l)).collect();
                format!("at {} ft", levels.join(", "))
            } else {
                String::new()
            });
            row
        })
        .collect();
    sheet.table(&difference_table(&heads, rows, sheet.width));
}

/// The trip at later times of departure.
fn later(sheet: &mut Sheet, figures: &Figures) {
    if figures.later.is_empty() {
        return;
    }
    sheet.heading("If it starts up later");
    sheet.paragraph(
        "  ",
        "  ",
        "Planned anew for each, with the same surface observations and altimeter settings:",
    );
    // without prices there is nothing to compare
    let priced = figures.totals.cost > 0.0;
    let heads = ["", "min", "gal", if priced { "cost" } else { "" }, "ft", ""];
    let cost = |x: f64| if priced { money(x) } else { String::new() };
    let levels = |l: &[f64]| l.iter().map(|&ft| feet(ft)).collect::<Vec<_>>().join(", ");
    let row = |name: String, time_min: f64, fuel_gal: f64, money: f64, l: &[f64]| {
        vec![
            format!("  {name}"),
            number(up(time_min, 1), 1),
            number(up(fuel_gal, 1), 1),
            cost(money),
            levels(l),
            String::new(),
        ]
    };
    let t = &figures.totals;
    let mut rows = vec![row(
        "as asked for".into(),
        t.time_min,
        t.fuel_gal,
        t.cost,
        &figures.levels_ft,
    )];
    for l in &figures.later {
        let name = format!("+{} min, {}", number(l.later_min, 0), l.clock());
        rows.push(match &l.outcome {
            Some(o) => row(name, o.time_min, o.fuel_gal, o.cost, &o.levels_ft),
            None => {
                let why = format!("not planned: {}", l.not_planned.as_deref().unwrap_or(""));
                let dash = || "-".to_owned();
                let third = if priced { dash() } else { String::new() };
                vec![format!("  {name}"), dash(), dash(), third, dash(), why]
            }
        });
    }
    sheet.table(&difference_table(&heads, rows, sheet.width));
}

fn beware(sheet: &mut Sheet, figures: &Figures) {
    sheet.heading("Fields today");
    for f in &figures.fields {
        sheet.paragraph(
            "  ",
            "    ",
            &format!(
                "{}: {} ft, altimeter {} inHg, density altitude {} ft, mixture for take-off, climb and go-around: {}",
                f.ident,
                feet(f.elevation_ft),
                number(f.altimeter_inhg, 2),
                number(up(f.density_altitude_ft, -1), 0),
                f.high_power_mixture
            ),
        );
    }
    if !figures.weather.is_empty() {
        sheet.heading("Weather used");
        for s in &figures.weather {
            sheet.paragraph("  ", "    ", &s.words());
        }
    }
    if !figures.binding_limits.is_empty() {
        sheet.heading("What holds the plan back");
        for s in &figures.binding_limits {
            sheet.paragraph("  ", "    ", &format!("{}.", sentence(&s.text)));
        }
    }
    if !figures.warnings.is_empty() {
        sheet.heading("Warnings");
        for s in &figures.warnings {
            sheet.paragraph("  ! ", "    ", &format!("{}.", sentence(&s.text)));
        }
    }
    sheet.heading("Cautions");
    for c in &figures.cautions {
        sheet.paragraph("  ", "    ", c);
    }
}

/// What the path keeps clear of, each by name over the whole of where it lies.
fn kept_clear_of(figures: &Figures) -> Vec<String> {
    let mut names: Vec<&str> = Vec::new();
    for b in &figures.barred {
        if !names.contains(&b.name.as_str()) {
            names.push(&b.name);
        }
    }
    let line = |name: &str| {
        let parts = || figures.barred.iter().filter(|b| b.name == name);
        let from = parts().map(|b| b.from_nm).fold(f64::INFINITY, f64::min);
        let to = parts().map(|b| b.to_nm).fold(0.0, f64::max);
        let low = parts().map(|b| b.low_ft).reduce(|a, b| Some(a?.min(b?)));
        let high = parts().map(|b| b.high_ft).reduce(|a, b| Some(a?.max(b?)));
        let low = low.flatten().map_or("the ground".to_owned(), feet);
        let high = high
            .flatten()
            .map_or("any height".to_owned(), |ft| format!("{} ft", feet(ft)));
        format!(
            "Kept clear of {name}: from {low} to {high}, {} to {} nm along the route.",
            number(down(from, 0), 0),
            number(up(to, 0), 0)
        )
    };
    names.into_iter().map(line).collect()
}

fn small_print(sheet: &mut Sheet, figures: &Figures) {
    let r = &figures.reflight;
    let trip = &figures.trip;
    let before_flight = match trip.start_in_flight {
        Some(_) => String::new(),
        None => format!(
            " Of the total, {} gal are the take-off run; taxi takes {} gal more.",
            number(up(trip.take_off_run_fuel_gal, 1), 1),
            number(up(trip.taxi_fuel_gal, 1), 1)
        ),
    };
    sheet.heading("Small print");
    sheet.paragraph(
        "  ",
        "  ",
        &format!(
            "Margin over the ideal flight{} {} %, of which rounding to what a hand can set {} %. Re-flown by an independent \
             integrator: {} s, {} gal, {} ft and {} kt off {}. Search {}, {} flights.{}",
            if figures.circling_climb.is_some() || figures.circling_descent.is_some() {
                " between the turns"
            } else {
                ""
            },
            number(up(figures.ideal.margin_percent, 1), 1),
            number(up(figures.objective.rounding_loss_percent, 2), 2),
            signed(r.time_error_s, 1),
            signed(r.fuel_error_gal, 3),
            signed(r.height_error_ft, 0),
            signed(r.speed_error_kt, 1),
            if figures.circling_descent.is_some() {
                "where it begins to circle down"
            } else {
                "at the pattern point"
            },
            match figures.termination {
                "converged" => "converged",
                _ => "NOT converged: steps exhausted",
            },
            number(f64::from(u32::try_from(figures.flights).unwrap_or(u32::MAX)), 0),
            before_flight,
        ),
    );
    for note in figures.card_notes.iter().chain(&figures.notes) {
        sheet.paragraph("  ", "    ", note);
    }
    for line in kept_clear_of(figures) {
        sheet.paragraph("  ", "    ", &line);
    }
    let mut said = "";
    for l in &figures.legs {
        let source = if l.ground_source == said {
            "as above"
        } else {
            &l.ground_source
        };
        said = &l.ground_source;
        sheet.paragraph(
            "  ",
            "    ",
            &format!(
                "Ground and minimum {} to {} (magnetic course {:03.0}, at least {} ft{}): {}",
                l.from,
                l.to,
                l.magnetic_course_deg,
                feet(l.minimum_altitude_ft),
                l.maximum_altitude_ft
                    .map_or(String::new(), |most| format!(", at most {} ft", feet(most))),
                source
            ),
        );
    }
}

fn signed(x: f64, places: usize) -> String {
    let text = number(x, places);
    if x > 0.0 && text.chars().any(|c| c.is_ascii_digit() && c != '0') {
        format!("+{text}")
    } else {
        text
    }
}

/// The trip sheet as text of at most `width` columns (held between 80 and 100), headings in bold by ANSI codes; strip the
/// codes (`anstream` does) where they are not wanted.
pub fn terminal(figures: &Figures, width: usize) -> String {
    let width = width.clamp(NARROWEST, WIDEST);
    let mut sheet = Sheet {
        text: String::new(),
        width,
    };
    head(&mut sheet, figures);
    let (whose, alike) = if figures.trip.engines > 1 {
        ("; MAP and RPM of each engine", " (all engines alike)")
    } else {
        ("", "")
    };
    let computed = if figures.trip.fixed_pitch {
        "; MAP computed"
    } else {
        ""
    };
    sheet.heading(&format!(
        "Segments (heights indicated; the fpm of the altimeter{whose}{computed})"
    ));
    sheet.table(&segment_table(figures, width));
    let side = match figures.trip.start_in_flight {
        Some(_) => "from here",
        None => "departure",
    };
    sheet.heading(&format!("Lever card, {side}{alike}"));
    sheet.table(&card_table(figures, false, width));
    sheet.heading(&format!("Lever card, arrival{alike}"));
    sheet.table(&card_table(figures, true, width));
    choices(&mut sheet, figures);
    forecast(&mut sheet, figures);
    later(&mut sheet, figures);
    beware(&mut sheet, figures);
    small_print(&mut sheet, figures);
    sheet.text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::brief::{json, sample};

    fn plain(figures: &Figures, width: usize) -> String {
        anstream::adapter::strip_str(&terminal(figures, width)).to_string()
    }

    #[test]
    fn closed_form_fits_its_width() {
        for width in [80, 100] {
            let text = plain(sample::figures(), width);
            assert!(text.lines().count() > 40);
            for line in text.lines() {
                assert!(line.chars().count() <= width, "{width}: {line:?}");
            }
            for plan in sample::shapes() {
                for line in plain(&Figures::new(&plan, sample::problem()), width).lines() {
                    assert!(line.chars().count() <= width, "{width}: {line:?}");
                }
            }
        }
    }

    #[test]
    fn closed_form_figures_are_those_of_the_json_safely_rounded() {
        let d: serde_json::Value =
            serde_json::from_str(&json(sample::figures()).expect("writes")).expect("reads");
        let get = |at: &str| {
            d.pointer(at)
                .and_then(serde_json::Value::as_f64)
                .unwrap_or_else(|| panic!("no {at}"))
        };
        let text = flat(sample::figures());
        let up1 = |x: f64| format!("{:.1}", (x * 10.0 - 1e-4).ceil() / 10.0);
        let down1 = |x: f64| format!("{:.1}", (x * 10.0 + 1e-4).floor() / 10.0);
        for expected in [
            format!(
                "down at {:.0} nm",
                (get("/top_of_descent_to_go_nm") - 1e-4).ceil()
            ),
            format!(
                "lands with {:.0} gal",
                (get("/totals/landing_fuel_gal") + 1e-4).floor()
            ),
            format!(
                "and {} gal, take-off to landing",
                up1(get("/totals/fuel_gal"))
            ),
            format!(
                "and {} gal, start-up to shutdown",
                up1(get("/totals/block_fuel_gal"))
            ),
            format!(
                "cost {:.0} at the trip's prices",
                (get("/totals/cost") - 1e-4).ceil()
            ),
            format!(
                "{} gal needed with the reserve",
                up1(get("/totals/fuel_required_gal"))
            ),
            format!("lands with {} gal", down1(get("/totals/landing_fuel_gal"))),
            format!(
                "asked for {:.0} min ({} gal)",
                get("/totals/reserve_required_min"),
                up1(get("/totals/reserve_required_gal"))
            ),
            format!(
                "legal least 30 min ({} gal, 14 CFR 91.151, day)",
                up1(get("/totals/legal_reserve_gal"))
            ),
            format!("level at {:.0} nm", (get("/top_of_climb_nm") - 1e-4).ceil()),
            format!(
                "Margin over the ideal flight {} %",
                up1(get("/ideal/margin_percent"))
            ),
        ] {
            assert!(text.contains(&expected), "no {expected:?} in {text}");
        }
    }

    #[test]
    fn closed_form_says_what_it_must() {
        let text = plain(sample::figures(), 100);
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.starts_with(crate::brief::TITLE));
        for c in crate::brief::CAUTIONS {
            assert!(flat.contains(c), "{c}");
        }
        for s in [
            "Re-flown",
            "Ground and minimum AAA to MID",
            "drawn by hand for the tests",
            "Coarse and fast",
            "if bumpy, don't",
        ] {
            assert!(flat.contains(s), "{s}: {flat}");
        }
    }

    fn flat(figures: &Figures) -> String {
        plain(figures, 100)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
    }

    #[test]
    fn closed_form_a_twin_says_whose_figures_they_are() {
        let (twin, single) = (sample::twin(), sample::figures());
        for words in [
            crate::brief::ONE_ENGINE,
            crate::brief::EACH_ENGINE,
            "all engines alike",
            "MAP and RPM of each engine",
        ] {
            assert!(flat(&twin).contains(words), "{words}");
            assert!(!flat(single).contains(words), "{words}");
        }
        let d: serde_json::Value =
            serde_json::from_str(&json(&twin).expect("writes")).expect("reads");
        assert_eq!(d["trip"]["engines"], 2);
        let said = d["cautions"].to_string();
        assert!(said.contains(crate::brief::ONE_ENGINE), "{said}");
    }

    #[test]
    fn closed_form_a_fixed_pitch_sheet_sets_rpm_alone() {
        for left in [false, true] {
            let (problem, plan) = sample::fixed_pitch(left);
            let figures = Figures::new(&plan, &problem);
            assert!(
                figures
                    .in_one_line
                    .starts_with("10,500 ft, 2,400 rpm, down at"),
                "{}",
                figures.in_one_line
            );
            let descent = if left {
                "Leave the throttle, at most 2,700 rpm, 500 fpm"
            } else {
                "THROTTLE to 2,200 rpm, held, 500 fpm"
            };
            assert_eq!(
                figures.descent.throttle,
                if left { "untouched" } else { "rpm_held" }
            );
            assert_eq!(figures.descent.map_inhg, None);
            assert!(!figures.descent.coarse_and_fast);
            let text = flat(&figures);
            assert!(!text.contains("PROP"), "{text}");
            for words in [
                descent,
                "MAP computed",
                "cruise with 2,450 rpm: greatest RPM",
                "Ordinary flying (throttle back to hold cruise IAS",
                "at or below the redline, 2,700, with the throttle",
            ] {
                assert!(text.contains(words), "{words}: {text}");
            }
            for width in [80, 100] {
                for line in plain(&figures, width).lines() {
                    assert!(line.chars().count() <= width, "{width}: {line:?}");
                }
            }
        }
    }

    #[test]
    fn closed_form_equipment_is_spoken_of_when_it_is_there() {
        let mut problem = sample::problem().clone();
        let text = |p: &crate::trip::Problem| flat(&Figures::new(sample::plan(), p));
        let bare = text(&problem);
        assert!(
            bare.contains("alternate air") && !bare.contains("order rules"),
            "{bare}"
        );
        problem.aircraft.equipment.cowl_flaps = true;
        problem.aircraft.equipment.auxiliary_pump = true;
        let some = text(&problem);
        assert!(
            some.contains(
                "Where the lever card puts the cowl flaps and the auxiliary pump is common practice"
            ),
            "{some}"
        );
        problem.aircraft.equipment.induction = crate::aircraft::Induction::Carburettor;
        let all = text(&problem);
        assert!(
            all.contains("the cowl flaps, the auxiliary pump and carburettor heat is"),
            "{all}"
        );
        assert!(
            all.contains("Carburettor ice and heat are not modelled"),
            "{all}"
        );
        assert!(!all.contains("alternate air"), "{all}");
    }

    #[test]
    fn closed_form_no_real_difference_only_below_both_thresholds() {
        let mut figures = sample::figures().clone();
        let mut gain = figures
            .gain_over_ordinary
            .clone()
            .expect("the sample has an ordinary descent");
        (gain.small_gain, gain.no_real_difference) = (true, true);
        figures.gain_over_ordinary = Some(gain.clone());
        assert!(flat(&figures).contains("no real difference: choose comfort"));
        (gain.small_gain, gain.no_real_difference) = (false, false);
        figures.gain_over_ordinary = Some(gain);
        assert!(!flat(&figures).contains("no real difference: choose comfort"));
    }

    #[test]
    fn closed_form_choices_and_forecast_are_told_line_by_line() {
        let text = plain(sample::figures(), 100);
        let line = |start: &str| {
            text.lines()
                .find(|l| l.trim_start().starts_with(start))
                .unwrap_or_else(|| panic!("no {start:?} in {text}"))
        };
        for name in [
            "ordinary descent",
            "cruise at 10,500 ft",
            "climb at Vy, 85 KIAS",
            "climb at 105 KIAS",
            "PROP stays at ",
            "PROP back to 1,800 in the descent",
            "cruise with 19 in",
            "cruise with full throttle",
            "cruise with 2,450 rpm",
            "Left out for a limit: cruise at 16,500 ft: least rate of climb on reaching a level.",
            "10 kt more head wind",
            "10 °C colder",
        ] {
            line(name);
        }
        assert!(line("cruise at 10,500").ends_with("no real difference"));
        assert!(line("climb at Vy").ends_with("not worth its lever moves"));
        // 12.3 more in money, as the sample has it; 20 kg are 44.1 lb, told as 45.
        assert!(line("10 kt more head wind").contains("+12.3"));
        assert!(line("10 kt more tail wind").contains("cannot be flown so: "));
        let flat = flat(sample::figures());
        for words in [
            "the same settings and the start down moved",
            "cannot be flown: over the greatest take-off weight by 45 lb",
            "does not hold level flight at 10500 ft",
        ] {
            assert!(flat.contains(words), "{words}: {flat}");
        }
    }

    #[test]
    fn closed_form_without_money_the_objective_has_no_column_of_its_own() {
        let mut problem = sample::problem().clone();
        problem.objective = crate::trip::Objective::Time;
        let mut plan = sample::plan().clone();
        plan.objective = crate::trip::Objective::Time;
        let heads = |f: &Figures| {
            plain(f, 100)
                .lines()
                .filter(|l| l.contains("down nm"))
                .filter(|l| l.contains("money"))
                .count()
        };
        assert_eq!(heads(sample::figures()), 2);
        assert_eq!(heads(&Figures::new(&plan, &problem)), 0);
    }

    #[test]
    fn closed_form_colour_is_only_a_second_cue() {
        let text = terminal(sample::figures(), 100);
        assert!(text.contains('\u{1b}'));
        assert!(!plain(sample::figures(), 100).contains('\u{1b}'));
    }
}
