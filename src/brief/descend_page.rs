//! The descent study as one page that needs nothing else: tables, charts and rules of thumb.

use super::chart::ChartError;
use super::descend::{DescendFigures, WayFigures};
use super::descend_chart::{descend_map_svg, descend_svg};
use super::descend_text::{care_head, care_row, thumb_row, totals_head, totals_row};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Ink on white, for paper as for a screen.
const STYLE: &str = "body{font:16px/1.45 'DejaVu Sans',sans-serif;color:#1d2b3a;margin:1.5rem auto;max-width:64rem;padding:0 1rem}\
h1{font-size:1.3rem}h2{font-size:1.05rem;margin-top:1.6rem}table{border-collapse:collapse;font-size:.86rem;width:100%}\
th,td{padding:.2rem .45rem;text-align:right;border-bottom:1px solid #d9dcdf}th:first-child,td:first-child{text-align:left}\
.text td{text-align:left}.text th{text-align:left}td{white-space:nowrap}.text td:last-child{white-space:normal}.no td{color:#4a545c;font-style:italic}svg{width:100%;height:auto;min-width:45rem}.wide{overflow-x:auto}\
@media print{svg{min-width:0}body{margin:0;font-size:11px}h2{break-after:avoid}table,svg{break-inside:avoid}}";

fn table(
    f: &DescendFigures,
    heads: &[(&str, usize)],
    names: &[&str],
    rows: &dyn Fn(&WayFigures) -> Option<Vec<String>>,
) -> Markup {
    html! {
        div.wide { table {
            thead {
                tr { th {} @for (head, over) in heads { th colspan=(over) { (head) } } }
                tr { th { "Way" } @for n in names { th { (n) } } }
            }
            tbody { @for w in &f.ways {
                tr.no[!w.can_be_flown] {
                    td { (w.letter) " " (w.name) @if !w.can_be_flown { " *" } }
                    @match rows(w) {
                        Some(cells) => { @for c in cells { td { (c) } } }
                        None => { td colspan=(names.len()) { "cannot be flown" } }
                    }
                }
            } }
        } }
    }
}

/// The page.
///
/// # Errors
/// [`ChartError`] of its charts, which would be our bug.
pub fn descend_page(f: &DescendFigures) -> Result<String, ChartError> {
    let chart = descend_svg(f)?;
    let map = f.map.is_some().then(|| descend_map_svg(f)).transpose()?;
    let totals = |w: &WayFigures| w.figures.as_ref().map(|d| totals_row(d, f.units).to_vec());
    let care = |w: &WayFigures| w.figures.as_ref().map(|d| care_row(d, f.units).to_vec());
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Ways down, " (f.aircraft) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { "Ways down, " (f.aircraft) }
                p { strong { (f.title) ". " } (f.cautions.first().map_or("", String::as_str)) }
                p { (f.question) }
                p { (f.cruise_line()) }
                div.wide { (PreEscaped(chart)) }
                h2 { "Ways down" }
                p { (f.common_line()) }
                (table(f, &[("to pattern", 2), ("", 2), ("from the point", 2)], &totals_head(f.units), &totals))
                @for w in f.ways.iter().filter(|w| !w.can_be_flown) {
                    p { "* " (w.letter) " " (DescendFigures::broken_words(w)) }
                }
                @for w in &f.ways { @if let Some(same) = w.same_as {
                    p { (w.letter) " is the same descent as " (same) "." }
                } }
                @if let Some(words) = f.left_out { p { (words) } }
                h2 { "Against the ordinary descent; room to speeds; cooling; slow-down" }
                (table(f, &[("against ordinary", 3), ("room, kt, to", 4), ("MAP", 2), ("nm", 1)], &care_head(f.units), &care))
                p { "Below zero is saved. Air: speed limit of the air; Va: at the weight, the speed for rough air. in/min: greatest fall of MAP in a minute; \
                     least: least MAP; level: flown level to slow down." }
                h2 { "What is set, in order" }
                dl { @for w in f.ways.iter().filter(|w| w.same_as.is_none()) {
                    dt { (w.letter) " " (w.name) }
                    @for s in &w.settings { dd { (s) } }
                } }
                h2 { "Rules of thumb (common practice, no source) beside the ordinary descent as flown" }
                div.wide { table.text {
                    thead { tr { th { "Rule" } th { "says" } th { "flown" } th { "error" } th { "what that means" } } }
                    tbody { @for t in &f.rules_of_thumb {
                        tr {
                            td { (t.rule) }
                            @for cell in thumb_row(t) { td { (cell) } }
                            td { (t.meaning) }
                        }
                    } }
                } }
                @if let Some(map) = map {
                    h2 { "What descends best" }
                    div.wide { (PreEscaped(map)) }
                }
                @if !f.granted.is_empty() {
                    h2 { "Taken for granted" }
                    ul { @for g in &f.granted { li { (g) } } }
                }
                h2 { "Cautions" }
                ul { @for c in &f.cautions { li { (c) } } }
            }
        }
    };
    let mut text = page.into_string();
    text.push('\n');
    Ok(text)
}
