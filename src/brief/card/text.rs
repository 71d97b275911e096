//! The card as plain text.

use super::face::{Face, place_heads};
use crate::brief::Figures;
use crate::brief::terminal::{STYLE, Sheet, card_table, no_padding, plain_table};
use comfy_table::{Cell, CellAlignment};

/// The lines are laid out for this many columns: a page in an ordinary typeface.
const COLUMNS: usize = 80;

/// The lever card as text of at most 80 columns.
pub fn card_text(figures: &Figures) -> String {
    let face = Face::new(figures);
    let mut sheet = Sheet::new(COLUMNS);
    sheet.line(face.title);
    sheet.paragraph("", "", &face.trip);
    sheet.blank();
    sheet.paragraph("", "", face.in_one_line);
    if let Some(words) = &face.loud {
        sheet.paragraph("", "", words);
    }
    for (side, arrival) in face.sides.iter().zip([false, true]) {
        sheet.blank();
        sheet.line(&side.title.to_uppercase());
        if arrival {
            sheet.paragraph("", "  ", &face.down);
        }
        sheet.table(&card_table(figures, arrival, COLUMNS));
    }
    sheet.blank();
    sheet.line("IF IT GOES OTHERWISE");
    for c in &face.otherwise {
        sheet.paragraph("", "  ", &format!("{}: {}", c.when, c.then));
    }
    sheet.blank();
    sheet.line("PLACES");
    let mut table = plain_table(COLUMNS, STYLE);
    let cell = |i: usize, text: &str| {
        let cell = Cell::new(text);
        if i == 0 {
            cell
        } else {
            cell.set_alignment(CellAlignment::Right)
        }
    };
    let heads = place_heads(figures.units);
    table.set_header(heads.iter().enumerate().map(|(i, h)| cell(i, h)));
    for p in &face.places {
        table.add_row(
            p.columns()
                .into_iter()
                .enumerate()
                .map(|(i, text)| cell(i, text)),
        );
    }
    no_padding(&mut table);
    sheet.table(&table);
    sheet.paragraph("", "", &face.places_say);
    sheet.blank();
    for p in &face.places {
        sheet.line(&format!(
            "{:<16} time ______  fuel ______  MAP ______  RPM ______",
            p.name
        ));
    }
    sheet.blank();
    for note in &face.notes {
        sheet.paragraph("", "  ", note);
    }
    // The styles of headings are for a terminal.
    anstream::adapter::strip_str(&sheet.finish()).to_string()
}
