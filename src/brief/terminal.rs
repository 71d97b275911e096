//! The terminal face: the plan in one line, then what it costs, how it is flown, and what to beware of.

use super::Figures;
use super::as_flown::as_flown;
use super::differences::{self, Differences};
use super::wording;
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

    /// A heading with points below; nothing where there are none.
    pub(super) fn points(
        &mut self,
        heading: &str,
        points: impl IntoIterator<Item = impl AsRef<str>>,
    ) {
        for (i, point) in points.into_iter().enumerate() {
            if i == 0 {
                self.heading(heading);
            }
            self.paragraph("  ", "    ", point.as_ref());
        }
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
    let mut table = plain_table(width, STYLE);
    let cell = |(i, text): (usize, &dyn ToString)| {
        let cell = Cell::new(text.to_string());
        if i == 0 || i == 7 {
            cell
        } else {
            cell.set_alignment(CellAlignment::Right)
        }
    };
    table.set_header(
        wording::segment_heads(figures.units)
            .iter()
            .map(|h| h as &dyn ToString)
            .enumerate()
            .map(cell),
    );
    for s in &figures.segments {
        let row = wording::segment_row(s, wide, figures.units);
        table.add_row(row.iter().map(|c| c as &dyn ToString).enumerate().map(cell));
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

pub(super) fn card_table(figures: &Figures, arrival: bool, width: usize) -> Table {
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

fn head(sheet: &mut Sheet, figures: &Figures) {
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
    for (what, words) in wording::totals(figures) {
        sheet.paragraph(&format!("{what:<9}"), "         ", &words);
    }
    if figures.gain_over_ordinary.is_some() {
        sheet.blank();
    }
    for line in wording::descent(figures) {
        sheet.paragraph("", "  ", &line);
    }
}

fn difference_table(differences: &Differences, width: usize) -> Table {
    let heads = &differences.heads;
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
    for row in &differences.rows {
        let indented = |i: usize, t: &String| {
            if i == 0 { format!("  {t}") } else { t.clone() }
        };
        table.add_row(
            row.iter()
                .enumerate()
                .map(|(i, t)| cell(i, &indented(i, t))),
        );
    }
    for column in table.column_iter_mut() {
        column.set_padding((0, 1));
    }
    table
}

fn told(sheet: &mut Sheet, differences: &Differences) {
    sheet.paragraph("  ", "  ", differences.intro);
    let table = difference_table(differences, sheet.width);
    sheet.table(&table);
}

fn choices(sheet: &mut Sheet, figures: &Figures) {
    let choices = differences::choices(figures);
    if choices.is_some() || !figures.left_out.is_empty() {
        sheet.heading(differences::CHOICES);
    }
    if let Some(table) = choices {
        told(sheet, &table);
    }
    for line in differences::left_out(figures) {
        sheet.paragraph("  ", "    ", &line);
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
    sheet.heading(&wording::segments_title(figures));
    sheet.table(&segment_table(figures, width));
    for arrival in [false, true] {
        sheet.heading(&wording::card_title(figures, arrival));
        sheet.table(&card_table(figures, arrival, width));
    }
    choices(&mut sheet, figures);
    for table in [differences::forecast(figures), differences::later(figures)]
        .iter()
        .flatten()
    {
        sheet.heading(table.title);
        told(&mut sheet, table);
    }
    if let Some((table, words)) = as_flown(figures) {
        sheet.heading(table.title);
        told(&mut sheet, &table);
        sheet.paragraph("  ", "  ", &words);
    }
    for (heading, lead, lines) in wording::lists(figures) {
        sheet.heading(heading);
        for line in &lines {
            sheet.paragraph(lead, "    ", line);
        }
    }
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
