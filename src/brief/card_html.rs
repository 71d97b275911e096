//! The lever card as sheets of A5 in HTML.

use super::{Figures, TITLE, wording};
use maud::{Markup, html};

/// How the sheets look, on a screen and on paper.
pub const SHEET_CSS: &str = include_str!("card_html.css");

/// The sides of the lever card, one to a sheet.
pub fn sheets(figures: &Figures) -> Markup {
    html! {
        @for arrival in [false, true] {
            section.sheet {
                h3 { (wording::card_title(figures, arrival)) }
                p.sheet-plan { (figures.in_one_line) }
                ol {
                    @for l in figures.lever_card.iter().filter(|l| l.group.arrival_side() == arrival) {
                        li value=(l.order) {
                            span.trigger { (l.trigger) } " "
                            strong.action { (l.action) } " "
                            span.expect { (l.expect) }
                        }
                    }
                }
                p.sheet-foot { (TITLE) }
            }
        }
    }
}
