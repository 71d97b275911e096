//! The page: the whole sheet as one HTML file that asks the network for nothing, for a tablet or for paper.
//!
//! A document first: without script everything but the read-out of the chart is there. The readings are written here, so that the
//! script only shows them. Colours of the charts are turned into the page's own, so that they follow a dark screen.

mod answers;
mod frontier;
mod heights;
mod stops;
mod track;

pub use frontier::frontier_page;

use super::as_flown::as_flown;
use super::chart::{
    self, COLD, ChartError, EARTH, EARTH_EDGE, EARTH_TEXT, HAIR, HATCH, HEIGHT, HEIGHTS, INK, LEFT,
    RIGHT, SOFT, WIDTH,
};
use super::differences::{self, Differences};
use super::stops::Stops;
use super::wording;
use super::words::unbroken;
use super::{Figures, card_html};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use plotters::style::{RGBColor, WHITE};
use std::fmt::Write;

const CSS: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// Colours of the charts, and what the page calls them.
const COLOURS: [(RGBColor, &str); 9] = [
    (WHITE, "--paper"),
    (INK, "--ink"),
    (SOFT, "--soft"),
    (HAIR, "--hair"),
    (EARTH, "--earth"),
    (EARTH_EDGE, "--earth-edge"),
    (EARTH_TEXT, "--earth-text"),
    (COLD, "--cold"),
    (HATCH.colour, "--hatch"),
];

/// As plotters writes it.
fn hex(c: RGBColor) -> String {
    format!("#{:02X}{:02X}{:02X}", c.0, c.1, c.2)
}

/// The colours of the charts by the page's names.
fn chart_css() -> String {
    let mut css = String::new();
    for (colour, name) in COLOURS {
        let hex = hex(colour);
        let _ = writeln!(
            css,
            ":is(.chart, .picture) [fill=\"{hex}\"] {{ fill: var({name}); }}"
        );
        let _ = writeln!(
            css,
            ":is(.chart, .picture) [stroke=\"{hex}\"] {{ stroke: var({name}); }}"
        );
    }
    css
}

/// What a table is called by.
#[derive(Clone, Copy)]
enum Name<'a> {
    /// Words over it.
    Caption(&'a str),
    /// The heading with this id.
    Heading(&'a str),
}

impl<'a> Name<'a> {
    fn heading(self) -> Option<&'a str> {
        match self {
            Self::Heading(id) => Some(id),
            Self::Caption(_) => None,
        }
    }
}

/// A table with a caption, or named by the heading of this id. On a narrow screen each row becomes a block, the head of a column before each figure; roles keep it a table.
fn table(name: Name, heads: &[&str], rows: &[Vec<String>], words: &[usize]) -> Markup {
    let class = |i: usize| (!words.contains(&i)).then_some("figure");
    html! {
        table role="table" aria-labelledby=[name.heading()] {
            @if let Name::Caption(words) = name {
                caption { (words) }
            }
            thead role="rowgroup" {
                tr role="row" {
                    @for (i, head) in heads.iter().enumerate() {
                        th role="columnheader" scope="col" class=[class(i)] { (head) }
                    }
                }
            }
            tbody role="rowgroup" {
                @for row in rows {
                    tr role="row" {
                        @for (i, (cell, head)) in row.iter().zip(heads).enumerate() {
                            @if i == 0 {
                                th role="rowheader" scope="row" { (cell) }
                            } @else if cell.is_empty() {
                                td role="cell" class="empty" {}
                            } @else {
                                td role="cell" class=[class(i)] data-head=(head) { (cell) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn segments(f: &Figures) -> Markup {
    let mut heads = wording::segment_heads(f.units);
    heads[0] = "segment";
    let rows: Vec<Vec<String>> = f
        .segments
        .iter()
        .map(|s| wording::segment_row(s, true, f.units).to_vec())
        .collect();
    table(Name::Heading("segments"), &heads, &rows, &[0, 7])
}

fn difference_table(d: &Differences) -> Markup {
    let last = d.heads.len() - 1;
    // A column between that has no head has no figures either.
    let shown: Vec<usize> = (0..=last)
        .filter(|&i| i == 0 || i == last || !d.heads[i].is_empty())
        .filter(|&i| {
            i < last
                || d.rows
                    .iter()
                    .any(|r| r.get(i).is_some_and(|c| !c.is_empty()))
        })
        .collect();
    let heads: Vec<&str> = shown
        .iter()
        .map(|&i| match i {
            0 => "choice",
            i if i == last => "remark",
            i => d.heads[i].as_str(),
        })
        .collect();
    let row = |r: &Vec<String>| {
        shown
            .iter()
            .map(|&i| r.get(i).cloned().unwrap_or_default())
            .collect()
    };
    let rows: Vec<Vec<String>> = d.rows.iter().map(row).collect();
    html! {
        (table(Name::Caption(d.intro), &heads, &rows, &[0, last]))
    }
}

fn head(f: &Figures) -> Markup {
    html! {
        header {
            p.title { (f.title) }
            h1 { (f.trip.name) }
            p.of { (f.route()) ", " (f.least()) ", " (f.trip.aircraft) }
            p.plan { (f.in_one_line) }
            @if let Some(words) = f.unknown_ground() {
                p.plan { (words) }
            }
        }
    }
}

/// The answers of a plan.
fn answer_list(f: &Figures) -> Markup {
    html! {
        dl.answers {
            @for a in answers::answers(f) {
                div {
                    dt { (a.question) }
                    dd {
                        strong { (unbroken(&a.short)) }
                        @for line in a.more {
                            span { (unbroken(&line)) }
                        }
                    }
                }
            }
        }
    }
}

/// The totals of a plan.
fn totals_list(f: &Figures) -> Markup {
    html! {
        dl.totals {
            @for (what, words) in wording::totals(f) {
                div { dt { (what) } dd { (words) } }
            }
        }
    }
}

/// "1 warning", "3 warnings".
fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// The first screen.
fn first(f: &Figures, stops: bool) -> Markup {
    html! {
        section aria-labelledby="answers" {
            h2 id="answers" class="unseen" { "The flight in five answers" }
            (answer_list(f))
            p.aside {
                @if !f.warnings.is_empty() {
                    a href="#warnings" { (counted(f.warnings.len(), "warning")) }
                    " and "
                }
                a href="#cautions" { (counted(f.cautions.len(), "caution")) }
                " further down: " (f.cautions.first().map_or("", String::as_str))
            }
            @if stops {
                p.aside { a href="#stops" { "Fuel against time" } ": quicker and thriftier plans, further down." }
            }
        }
    }
}

/// A chart that can be read off: its drawing, and a line that stands from a height \[chart units\] down.
fn drawing(class: &str, (left, right): (f64, f64), top: f64, svg: &str) -> Markup {
    html! {
        div class=(class) data-left=(left / WIDTH) data-right=(right / WIDTH) {
            div { (PreEscaped(svg)) }
            div.cursor hidden style=(format!("top: {:.1}%", 100.0 * top / HEIGHT)) {}
        }
    }
}

fn charts(f: &Figures) -> Result<Markup, ChartError> {
    let wide = chart::svg(f)?;
    let narrow = heights::svg(f)?;
    Ok(html! {
        section aria-labelledby="chart" {
            h2 id="chart" { "Along the route" }
            output id="readings" for="along" aria-live="off" hidden {
                @for name in track::names(f) {
                    span.reading {
                        span.name { (name) }
                        span.value {}
                    }
                }
            }
            (drawing("chart wide", (LEFT, RIGHT), HEIGHTS.0, &wide))
            (drawing("chart narrow", heights::SIDES, 0.0, &narrow))
            div.along hidden {
                input id="along" type="range" min="0" max=(f.totals.distance_nm) step="any" value="0"
                    aria-label="Along the route" aria-describedby="how";
                p id="how" {
                    "Move or touch along the chart, or step with the arrow keys; Page Up and Page Down go from segment to segment."
                }
            }
            p.aside.narrow { "Heights indicated." }
        }
    })
}

fn whole_trip(f: &Figures) -> Markup {
    html! {
        section aria-labelledby="totals" {
            h2 id="totals" { "Time, fuel and distances" }
            (totals_list(f))
            @for line in wording::descent(f) {
                p { (line) }
            }
        }
    }
}

fn choices(f: &Figures) -> Markup {
    let left_out = differences::left_out(f);
    let table = differences::choices(f);
    html! {
        @if table.is_some() || !left_out.is_empty() {
            section aria-labelledby="choices" {
                h2 id="choices" { (differences::CHOICES) }
                @if let Some(table) = table {
                    (difference_table(&table))
                }
                @for line in left_out {
                    p.aside { (line) }
                }
            }
        }
        @for (id, table) in [("forecast", differences::forecast(f)), ("later", differences::later(f))] {
            @if let Some(table) = table {
                section aria-labelledby=(id) {
                    h2 id=(id) { (table.title) }
                    (difference_table(&table))
                }
            }
        }
        @if let Some((table, words)) = as_flown(f) {
            section aria-labelledby="as-flown" {
                h2 id="as-flown" { (table.title) }
                (difference_table(&table))
                p.aside { (words) }
            }
        }
    }
}

/// A list under its heading; nothing without lines.
fn list(heading: &str, lines: &[String]) -> Markup {
    let id = heading.to_lowercase().replace(' ', "-");
    html! {
        @if !lines.is_empty() {
            section aria-labelledby=(id) {
                h2 id=(id) { (heading) }
                ul {
                    @for line in lines {
                        li { (line) }
                    }
                }
            }
        }
    }
}

fn lists(f: &Figures) -> Markup {
    html! {
        @for (heading, _, lines) in wording::lists(f) { (list(heading, &lines)) }
    }
}

/// A whole page, which asks the network for nothing.
fn document(title: &str, body: &Markup) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                // Nothing is fetched, whatever a file may have put into a name.
                meta http-equiv="Content-Security-Policy"
                    content="default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:";
                link rel="icon" href="data:,";
                title { (title) }
                style { (PreEscaped(CSS)) (PreEscaped(stops::CSS)) (PreEscaped(chart_css())) (PreEscaped(card_html::SHEET_CSS)) }
            }
            body { (body) }
        }
    };
    markup.into_string()
}

/// The page; with stops, those of a slider about this plan.
///
/// # Errors
/// [`ChartError`]: a plan without a path, or a failure of the drawing library, which would be our bug.
pub fn page(figures: &Figures, stops: Option<&Stops>) -> Result<String, ChartError> {
    let charts = charts(figures)?;
    let viewer = stops.map(|s| stops::viewer(s, true)).transpose()?;
    let body = html! {
        (head(figures))
        main {
            (first(figures, stops.is_some()))
            (charts)
            (whole_trip(figures))
            @if let (Some(viewer), Some(s)) = (viewer, stops) {
                (viewer)
                (stops::plans(s, &html! {}))
            }
            section aria-labelledby="segments" {
                h2 id="segments" { (wording::segments_title(figures)) }
                (segments(figures))
            }
            section.card aria-labelledby="card" {
                h2 id="card" { "Lever card" }
                div.sheets { (card_html::sheets(figures)) }
            }
            (choices(figures))
            (lists(figures))
        }
        script type="application/json" id="track" { (PreEscaped(track::json(figures))) }
        script { (PreEscaped(SCRIPT)) }
        @if stops.is_some() {
            script { (PreEscaped(stops::SCRIPT)) }
        }
    };
    Ok(document(
        &format!("{}: trip sheet", figures.trip.name),
        &body,
    ))
}

#[cfg(test)]
mod tests;
