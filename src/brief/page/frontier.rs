//! The page of fuel against time: the plans, one after another, as one HTML file.

use super::stops::{self, plans, viewer};
use super::{document, list};
use crate::brief::chart::ChartError;
use crate::brief::frontier::FRONTIER_TITLE;
use crate::brief::frontier_chart::frontier_svg;
use crate::brief::frontier_text::{answers, of_what};
use crate::brief::stops::Stops;
use crate::brief::words::sentence;
use maud::{Markup, PreEscaped, html};

/// The page of a frontier.
///
/// # Errors
/// [`ChartError`]: nothing to draw, or a failure of the drawing library, which would be our bug.
pub fn frontier_page(s: &Stops) -> Result<String, ChartError> {
    let f = &s.frontier;
    let chart = frontier_svg(f)?;
    let viewer = viewer(s, false)?;
    let drawing: Markup = html! { div.chart.wide.whole { (PreEscaped(chart)) } };
    let warnings: Vec<String> = f
        .warnings
        .iter()
        .map(|w| format!("{}.", sentence(&w.text)))
        .collect();
    let body = html! {
        header {
            p.title { (FRONTIER_TITLE) }
            h1 { (f.name) }
            p.of { (of_what(f)) }
        }
        main {
            section aria-labelledby="answers" {
                h2 id="answers" class="unseen" { "The frontier in short" }
                dl.totals.short {
                    @for (what, words) in answers(f) {
                        div { dt { (what) } dd { (words) } }
                    }
                }
            }
            (viewer)
            (plans(s, &drawing))
            (list("Warnings", &warnings))
            (list("Cautions", &f.cautions))
        }
        script { (PreEscaped(stops::SCRIPT)) }
    };
    Ok(document(&format!("{}: fuel against time", f.name), &body))
}
