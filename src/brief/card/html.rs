//! The card as HTML: sheets of A5, 14 point, one page with nothing fetched from elsewhere.

use super::face::{Face, Place, Side};
use crate::brief::Figures;
use crate::brief::words::unbroken;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// Style of the sheets. Every selector begins with `.lever-sheet`, so that a page may hold them.
pub(in crate::brief) const SHEET_CSS: &str = "\
.lever-sheet { --ink: #16181d; --paper: #ffffff; --soft: #5b626e; --line: #b9bec7; --band: #eef0f3;
  box-sizing: border-box; width: 100%; max-width: 132mm; margin: 0 auto 8mm; padding: 4mm; color: var(--ink);
  background: var(--paper); font: 14pt/1.16 'Liberation Sans Narrow', 'Arial Narrow', 'DejaVu Sans Condensed', system-ui, sans-serif;
  font-variant-numeric: tabular-nums; overflow-wrap: break-word; }
.lever-sheet * { box-sizing: border-box; }
.lever-sheet h2 { font-size: 14pt; margin: 0 0 1mm; padding-bottom: .5mm; border-bottom: .6mm solid var(--ink); display: flex;
  justify-content: space-between; gap: 3mm; }
.lever-sheet h2 span { font-weight: 400; color: var(--soft); text-align: right; }
.lever-sheet p { margin: 1mm 0; }
.lever-sheet .lever-loud { font-weight: 700; border: .5mm solid var(--ink); padding: 1mm 2mm; }
.lever-sheet ol { list-style: none; margin: 0; padding: 0; }
.lever-sheet li { display: grid; grid-template-columns: 8mm 1fr; padding: .5mm 0; border-bottom: .2mm solid var(--line);
  break-inside: avoid; }
.lever-sheet li > b { color: var(--soft); font-weight: 400; }
.lever-sheet .lever-group { float: right; margin-left: 2mm; padding: 0 1.5mm; background: var(--band); color: var(--ink); }
.lever-sheet .lever-see { color: var(--soft); }
.lever-sheet .lever-do { font-weight: 700; }
.lever-sheet dl { margin: 0; }
.lever-sheet dt { font-weight: 700; margin-top: 1.2mm; }
.lever-sheet dd { margin: 0 0 0 4mm; }
.lever-sheet .lever-place { padding: 1mm 0; border-bottom: .2mm solid var(--line); break-inside: avoid; }
.lever-sheet .lever-place div { display: flex; flex-wrap: wrap; justify-content: space-between; column-gap: 3mm; }
.lever-sheet .lever-blank span { flex: 1 1 20mm; border-bottom: .2mm dotted var(--soft); color: var(--soft); min-height: 7mm;
  display: flex; align-items: flex-end; }
.lever-sheet .lever-small { color: var(--soft); }
@media (prefers-color-scheme: dark) {
  .lever-sheet { --ink: #e9ebee; --paper: #15171b; --soft: #a3abb8; --line: #454b55; --band: #23272e; }
}
@media print {
  .lever-sheet { --ink: #000000; --paper: #ffffff; --soft: #444444; --line: #999999; --band: #eeeeee;
    margin: 0; padding: 0; max-width: none; break-after: page; }
}
";

/// What the page of the card alone adds.
const PAGE_CSS: &str = "\
@page { size: A5; margin: 6mm; }
html { color-scheme: light dark; }
body { margin: 0; padding: 3mm 0; background: #d9dce1; }
@media (prefers-color-scheme: dark) { body { background: #08090b; } }
@media print { body { padding: 0; background: none; } }
";

fn side(s: &Side, trip: &str, before: Option<&str>) -> Markup {
    html! {
        section.lever-sheet {
            h2 { (s.title) span { (trip) } }
            @if let Some(words) = before { p { (words) } }
            ol {
                @for r in &s.rows {
                    li {
                        b { (r.order) }
                        div {
                            @if let Some(group) = r.group { span.lever-group { (group) } }
                            div.lever-see { (unbroken(r.see)) }
                            span.lever-do { (unbroken(r.action)) }
                            @if !r.expect.is_empty() { " \u{2192} " (unbroken(r.expect)) }
                        }
                    }
                }
            }
        }
    }
}

fn place(p: &Place) -> Markup {
    html! {
        div.lever-place {
            div { b { (p.name) } span { (p.to_go) " nm to go" } span { (p.height) " ft" } span { (p.elapsed) } }
            div {
                @if !p.course.is_empty() {
                    span { "course " (p.course) } span { "heading " b { (p.heading) } } span { "leg " (p.leg) }
                }
            }
            div { span { (p.left.to_string()) " left" } span { "go on with " b { (p.least.to_string()) } " or more" } }
            div.lever-blank { span { "time" } span { "fuel" } span { "MAP" } span { "RPM" } }
        }
    }
}

/// The sheets of the card, to stand in a page that has [`SHEET_CSS`].
pub(in crate::brief) fn sheets(figures: &Figures) -> Markup {
    let face = Face::new(figures);
    let route = figures.route();
    html! {
        (side(&face.sides[0], &route, None))
        (side(&face.sides[1], &route, Some(&face.down)))
        section.lever-sheet {
            h2 { "If it goes otherwise" span { (route) } }
            @if let Some(words) = &face.loud { p.lever-loud { (words) } }
            dl {
                @for c in &face.otherwise {
                    dt { (unbroken(&c.when)) }
                    dd { (unbroken(&c.then)) }
                }
            }
        }
        section.lever-sheet {
            h2 { "Places" span { (route) } }
            @for p in &face.places { (place(p)) }
            p.lever-small { (face.places_say) }
        }
        section.lever-sheet {
            h2 { "Before you fly by this" }
            p { (face.title) }
            p { (face.trip) }
            p { b { (face.in_one_line) } }
            @for note in &face.notes { p.lever-small { (note) } }
        }
    }
}

/// The lever card as one HTML file: A5 sheets for the printer, one below the other on a screen, light or dark as the reader has it.
pub fn card_html(figures: &Figures) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Lever card, " (figures.route()) }
                style { (PreEscaped(PAGE_CSS)) (PreEscaped(SHEET_CSS)) }
            }
            body { main { (sheets(figures)) } }
        }
    }
    .into_string()
}
