//! The winds of a trip as text.

use super::terminal::{STYLE, Sheet, no_padding, plain_table};
use super::winds::{WINDS_TITLE, WindStretch, WindsFigures, WindsLevel};
use super::words::{feet, number};
use comfy_table::{Cell, CellAlignment, Table};

/// Columns of a cell with the gap before it, and of the heights.
const CELL_COLUMNS: usize = 14;
/// See [`CELL_COLUMNS`].
const HEIGHT_COLUMNS: usize = 7;

pub(super) fn signed(x: f64) -> String {
    let text = number(x, 0);
    if x.round() > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}

/// "12L", the side the wind comes from.
pub(super) fn cross(kt: f64) -> String {
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
