//! How sure a plan is, as text.

use super::frontier_text::{setting_of, time};
use super::spread::{
    LevelSpreadFigures, PercentileFigures, SPREAD_TITLE, SpreadFigures, level_words,
};
use super::terminal::{STYLE, Sheet, no_padding, plain_table};
use super::words::{feet, many, number, sentence, up};
use comfy_table::{Cell, CellAlignment, Table};

fn right(text: impl Into<String>) -> Cell {
    Cell::new(text.into()).set_alignment(CellAlignment::Right)
}

/// P10, P50 and P90 in words.
fn three(p: Option<PercentileFigures>, word: &dyn Fn(f64) -> String) -> [String; 3] {
    p.map_or_else(
        || std::array::from_fn(|_| "-".to_owned()),
        |p| [p.p10, p.p50, p.p90].map(word),
    )
}

fn plan_table(f: &SpreadFigures, width: usize) -> Table {
    let mut table = plain_table(width, STYLE);
    table.set_header(
        ["", "as forecast", "P10", "P50", "P90"]
            .iter()
            .enumerate()
            .map(|(i, head)| {
                if i == 0 {
                    Cell::new(head)
                } else {
                    right(*head)
                }
            }),
    );
    let units = f.units;
    let burned = |x: f64| units.burned(x).figure;
    let least = |x: f64| units.left(x).figure;
    let money = |x: f64| number(up(x, 0), 0);
    let t = &f.levels[0].totals;
    let mut row = |name: &str, plan: String, p: [String; 3]| {
        let cells = std::iter::once(plan).chain(p).map(right);
        table.add_row(std::iter::once(Cell::new(name)).chain(cells));
    };
    row("time, h:min", time(t.time_min), three(f.time_min, &time));
    row(
        &format!("fuel, {}", units.volume()),
        burned(t.fuel_gal),
        three(f.fuel_gal, &burned),
    );
    if f.cost.is_some() {
        row("cost", money(t.cost), three(f.cost, &money));
    }
    let lands = f.landing_fuel_gal;
    row(
        &format!("lands with, {}", units.volume()),
        least(t.landing_fuel_gal),
        three(lands, &least),
    );
    no_padding(&mut table);
    for column in table.column_iter_mut().skip(1) {
        column.set_padding((2, 0));
    }
    table
}

fn level_cells(f: &SpreadFigures, l: &LevelSpreadFigures) -> Vec<Cell> {
    let levels: Vec<String> = l.levels_ft.iter().map(|&x| feet(x)).collect();
    let settings: Vec<String> = l
        .cruise
        .iter()
        .map(|c| format!("{}, {}", setting_of(f.fixed_pitch, c), c.mixture))
        .collect();
    let [low, _, high] = three(l.time_min, &time);
    let mark = if l.chosen { " *" } else { "" };
    let mut cells = vec![
        Cell::new(format!("{}{mark}", levels.join("\n"))),
        Cell::new(settings.join("\n")),
        right(time(l.totals.time_min)),
        right(format!("{low}-{high}")),
        right(f.units.burned(l.totals.fuel_gal).figure),
    ];
    if f.cost.is_some() {
        cells.push(right(number(up(l.totals.cost, 0), 0)));
    }
    let loss = |of: &dyn Fn(&PercentileFigures) -> f64| {
        l.loss.as_ref().map_or("-".to_owned(), |p| f.loss(of(p)))
    };
    cells.extend([
        right(SpreadFigures::chance(l.best_percent)),
        right(loss(&|p| p.mean)),
        right(loss(&|p| p.p90)),
    ]);
    cells
}

fn levels_table(f: &SpreadFigures, width: usize) -> Table {
    let mut table = plain_table(width, STYLE);
    let mut heads = vec![
        Cell::new("ft"),
        Cell::new("cruise"),
        right("time"),
        right("P10-P90"),
        right(f.units.volume()),
    ];
    if f.cost.is_some() {
        heads.push(right("cost"));
    }
    heads.extend([
        right("best\nin"),
        right("loses\nmean"),
        right(format!("{}\nP90", f.loss_unit())),
    ]);
    table.set_header(heads);
    for l in &f.levels {
        table.add_row(level_cells(f, l));
    }
    no_padding(&mut table);
    for column in table.column_iter_mut().skip(1) {
        column.set_padding((2, 0));
    }
    table
}

/// Chance of landing with less than is to be kept.
pub(super) fn reserve_words(f: &SpreadFigures) -> String {
    let kept = f.units.burned(f.kept_gal);
    if f.into_reserve_percent <= 0.0 {
        format!(
            "none of {} lands with less than the {kept} that are to be left",
            many(f.samples, "sample", "samples")
        )
    } else {
        format!(
            "{} chance of landing with less than the {kept} that are to be left",
            SpreadFigures::chance(f.into_reserve_percent)
        )
    }
}

/// What the error of the forecast was taken to be.
pub(super) fn error_words(f: &SpreadFigures) -> String {
    let e = &f.forecast_error;
    format!(
        "wind {} kt along the course and as much across it, temperature {} °C (standard deviations)",
        number(e.wind_kt, 1),
        number(e.temperature_c, 1)
    )
}

/// How sure a plan is, as text of at most `width` columns (held between 80 and 100).
pub fn spread_text(f: &SpreadFigures, width: usize) -> String {
    const INDENT: &str = "          ";
    let mut sheet = Sheet::new(width);
    sheet.line(SPREAD_TITLE);
    let head = format!(
        "{}: {}, {}, start-up {}, least {}",
        f.name,
        f.places.join(" - "),
        f.aircraft,
        f.departure_utc,
        f.objective
    );
    sheet.paragraph("", "  ", &head);
    sheet.blank();
    let e = &f.forecast_error;
    sheet.paragraph(
        "Forecast  ",
        INDENT,
        &format!("may be wrong by: {}", error_words(f)),
    );
    sheet.paragraph(
        INDENT,
        INDENT,
        &format!(
            "100 nm apart the errors are alike by {}, 2,000 ft apart by {} (correlation; lengths {} nm and {} ft), and they stay as they are for the \
             whole flight",
            number(e.correlation_100_nm, 2),
            number(e.correlation_2000_ft, 2),
            number(e.length_nm, 0),
            feet(e.length_ft)
        ),
    );
    sheet.paragraph(INDENT, INDENT, &e.source);
    sheet.paragraph(
        "Flown     ",
        INDENT,
        &format!(
            "{}, levers and levels as planned, the start down moved with the wind; {} of seed {}",
            level_words(&f.levels[0].levels_ft),
            many(f.samples, "sample", "samples"),
            f.seed
        ),
    );
    sheet.blank();
    let table = plan_table(f, sheet.width());
    sheet.table(&table);
    sheet.blank();
    sheet.paragraph("Reserve   ", INDENT, &reserve_words(f));
    if f.not_flown_percent > 0.0 {
        let words = format!(
            "{} chance that the settings do not fly it to the end",
            SpreadFigures::chance(f.not_flown_percent)
        );
        sheet.paragraph("To the end  ", "            ", &words);
    }
    let limits: Vec<String> = f
        .limits
        .iter()
        .map(|l| format!("{} {}", l.limit, SpreadFigures::chance(l.chance_percent)))
        .collect();
    let limits = if limits.is_empty() {
        "no sample breaks one".to_owned()
    } else {
        format!(
            "{} chance that one is broken if no lever is touched: {}",
            SpreadFigures::chance(f.breaks_limit_percent),
            limits.join(", ")
        )
    };
    sheet.paragraph("Limits    ", INDENT, &limits);
    sheet.heading("Which level");
    sheet.paragraph("", "  ", &f.choice.text);
    sheet.blank();
    let table = levels_table(f, sheet.width());
    sheet.table(&table);
    sheet.blank();
    sheet.paragraph(
        "",
        "  ",
        "* the plan. Each level has the plan that is best as forecast, flown in the same samples. Loses: what it costs more than the level that is best in \
         the wind of the sample. P10: a tenth of the samples lie below; P90: nine tenths do.",
    );
    sheet.paragraph(
        "",
        "  ",
        "A limit counts as broken from 1 kt, 10 fpm, 0.1 in or 30 ft on: a plan lies on some. In flight a lever would be moved; here none is.",
    );
    sheet.points("Warnings", f.warnings.iter().map(|w| sentence(&w.text)));
    sheet.points("Cautions", &f.cautions);
    sheet.finish()
}
