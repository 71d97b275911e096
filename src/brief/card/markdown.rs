//! The card as Markdown.

use super::face::{Face, place_heads};
use crate::brief::Figures;

/// A cell of a table: no bar ends it before its end.
fn cell(text: &str) -> String {
    text.replace('\\', "\\\\").replace('|', "\\|")
}

fn row(out: &mut String, cells: &[&str]) {
    for c in cells {
        out.push_str("| ");
        out.push_str(&cell(c));
        out.push(' ');
    }
    out.push_str("|\n");
}

fn head(out: &mut String, cells: &[&str]) {
    row(out, cells);
    out.push_str(&"| --- ".repeat(cells.len()));
    out.push_str("|\n");
}

/// The lever card as Markdown, with the tables of its common extension.
pub fn card_markdown(figures: &Figures) -> String {
    let face = Face::new(figures);
    let mut out = format!("# Lever card\n\n{}\n\n{}\n\n", face.title, face.trip);
    out.push_str(&format!("**{}**\n\n", face.in_one_line));
    if let Some(words) = &face.loud {
        out.push_str(&format!("**{words}**\n\n"));
    }
    for (i, side) in face.sides.iter().enumerate() {
        out.push_str(&format!("## {}\n\n", side.title));
        if i == 1 {
            out.push_str(&format!("{}\n\n", face.down));
        }
        head(&mut out, &["", "", "when you see", "do", "expect"]);
        for r in &side.rows {
            let order = r.order.to_string();
            row(
                &mut out,
                &[r.group.unwrap_or(""), &order, r.see, r.action, r.expect],
            );
        }
        out.push('\n');
    }
    out.push_str("## If it goes otherwise\n\n");
    head(&mut out, &["when", "do"]);
    for c in &face.otherwise {
        row(&mut out, &[&c.when, &c.then]);
    }
    out.push_str("\n## Places\n\n");
    let heads = place_heads(figures.units);
    let mut heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    heads.extend(["time", "fuel", "MAP", "RPM"]);
    head(&mut out, &heads);
    for p in &face.places {
        let mut cells = p.columns().to_vec();
        cells.extend([""; 4]);
        row(&mut out, &cells);
    }
    out.push_str(&format!("\n{}\n\n", face.places_say));
    for note in &face.notes {
        out.push_str(&format!("* {note}\n"));
    }
    out
}
