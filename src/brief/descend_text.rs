//! The descent study as text, and the rows of its tables for every face.

use super::descend::{
    DescendFigures, DownFigures, MapCellFigures, MapFigures, ThumbFigures, WayFigures,
};
use super::measure::{Amount, Units};
use super::terminal::Sheet;
use super::words::{down, near, number, sentence, up};

/// Letter and words of a family by its key.
pub(super) fn family_words(key: &str, fixed: bool) -> (char, &'static str) {
    match (key, fixed) {
        ("coarse", _) => ('C', "coarse and fast: power left, prop coarse"),
        ("power_left", true) => ('P', "throttle left"),
        ("power_left", false) => ('P', "power and RPM left"),
        ("reduced", true) => ('R', "RPM reduced"),
        ("reduced", false) => ('R', "MAP reduced, RPM left"),
        _ => ('S', "MAP and RPM both reduced"),
    }
}

pub(super) fn signed(x: f64, places: i32) -> String {
    let x = near(x, places);
    let text = number(x, usize::try_from(places.max(0)).unwrap_or(0));
    if x > 0.0 { format!("+{text}") } else { text }
}

/// A difference in fuel with its sign.
pub(super) fn signed_fuel(gal: f64, units: Units) -> Amount {
    let written = units.difference(gal, near);
    let nought = !written.figure.contains(|c: char| ('1'..='9').contains(&c));
    if gal > 0.0 && !nought {
        Amount {
            figure: format!("+{}", written.figure),
            ..written
        }
    } else {
        written
    }
}

/// A range written short: one figure where both ends are alike.
pub(super) fn span(of: [f64; 2], places: i32) -> String {
    let [a, b] = of.map(|x| number(near(x, places), 0));
    if a == b { a } else { format!("{a}-{b}") }
}

/// Rows of the three tables, for every face: heads, then a row a way; the name goes before.
pub(super) fn totals_row(d: &DownFigures, units: Units) -> [String; 6] {
    [
        number(up(d.top_of_descent_to_pattern_nm, 1), 1),
        number(near(d.top_of_descent_to_pattern_min, 1), 1),
        span(d.rate_fpm, -1),
        span(d.ias_kt, 0),
        number(near(d.time_min, 1), 1),
        units.difference(d.fuel_gal, near).figure,
    ]
}

/// See [`totals_row`].
pub(super) fn totals_head(units: Units) -> [&'static str; 6] {
    ["TOD nm", "min", "fpm", "KIAS", "min", units.volume()]
}

/// Differences and care.
pub(super) fn care_row(d: &DownFigures, units: Units) -> [String; 10] {
    let money = |m: Option<f64>| m.map_or_else(|| "-".to_owned(), |m| signed(m, 2));
    let (time, fuel, cost) = d.against_ordinary.map_or_else(
        || ("-".to_owned(), "-".to_owned(), "-".to_owned()),
        |a| {
            (
                signed(a.time_s, 0),
                signed_fuel(a.fuel_gal, units).figure,
                money(a.money),
            )
        },
    );
    let room = |kt: f64| number(down(kt, 0), 0);
    [
        time,
        fuel,
        cost,
        room(d.to_air_limit_kt),
        room(d.to_vno_kt),
        room(d.to_vne_kt),
        room(d.to_rough_air_kt),
        number(up(d.map_fall_inhg_per_min, 1), 1),
        number(down(d.least_map_inhg, 1), 1),
        number(up(d.slow_down_nm, 1), 1),
    ]
}

/// See [`care_row`].
pub(super) fn care_head(units: Units) -> [&'static str; 10] {
    let fuel = units.volume();
    [
        "s", fuel, "money", "air", "Vno", "Vne", "Va", "in/min", "least", "level",
    ]
}

/// What a rule of thumb says, with its unit, what is flown, and the error, for every face; a top of descent is rounded up.
pub(super) fn thumb_row(t: &ThumbFigures) -> [String; 3] {
    let (places, decimals) = if t.unit == "nm" { (1, 1) } else { (0, 0) };
    let flown = if t.unit == "nm" {
        up(t.flown, places)
    } else {
        near(t.flown, places)
    };
    [
        format!("{} {}", number(near(t.says, places), decimals), t.unit),
        number(flown, decimals),
        signed(t.error, places),
    ]
}

/// A map as text.
fn map_text(sheet: &mut Sheet, f: &DescendFigures, map: &MapFigures) {
    sheet.heading(&format!("What descends best, by {}", map.kind));
    sheet.paragraph(
        "",
        "",
        &format!(
            "Letters: the cheapest way down; number: money saved against the ordinary one. Right: {}. Up: {}. {}.",
            map.x_name,
            map.up_name(f.units),
            sentence(&map.fixed)
        ),
    );
    for panel in &map.panels {
        sheet.line(&format!("Air: {}", panel.air));
        let across = map.x.len();
        for (row, y) in panel.cells.chunks(across).zip(&map.y).rev() {
            let mut line = format!("{:>7}", map.up_words(*y, f.units));
            for c in row {
                line.push_str(&format!("{:>8}", cell_words(c, f.fixed_pitch)));
            }
            sheet.line(&line);
        }
        let mut line = " ".repeat(7);
        for x in &map.x {
            line.push_str(&format!("{:>8}", number(*x, 0)));
        }
        sheet.line(&line);
    }
    sheet.paragraph("", "", &key_words(map, f.fixed_pitch));
}

/// What stands in a cell.
pub(super) fn cell_words(c: &MapCellFigures, fixed: bool) -> String {
    let letters: String = c
        .best
        .iter()
        .chain(&c.ties)
        .map(|k| family_words(k, fixed).0)
        .collect();
    match (c.best, c.saves_money) {
        (None, _) => "-".to_owned(),
        (Some(_), _) if c.no_real_difference => "=".to_owned(),
        (Some(_), None) => format!("{letters} ?"),
        (Some(_), Some(money)) => format!("{letters} {}", number(down(money.max(0.0), 1), 1)),
    }
}

/// The letters that occur, in words.
pub(super) fn key_words(map: &MapFigures, fixed: bool) -> String {
    let cells = || map.panels.iter().flat_map(|p| &p.cells);
    let mut said: Vec<String> = ["coarse", "power_left", "reduced", "both_reduced"]
        .into_iter()
        .filter(|&k| cells().any(|c| c.shows(k)))
        .map(|k| {
            let (letter, words) = family_words(k, fixed);
            format!("{letter} {words}")
        })
        .collect();
    if cells().any(|c| c.region() == Some("same")) {
        said.push("= no real difference: choose comfort".to_owned());
    }
    if cells().any(|c| !c.no_real_difference && !c.ties.is_empty()) {
        said.push(
            "two letters: less than 0.1 % between them, the region is of the first".to_owned(),
        );
    }
    if cells().any(|c| c.best.is_none()) {
        said.push("- no way keeps every limit".to_owned());
    }
    if cells().any(|c| c.best.is_some() && c.saves_money.is_none()) {
        said.push("? the ordinary descent cannot be flown at half its rate".to_owned());
    }
    format!("{}.", said.join("; "))
}

/// The text, at most 100 columns wide and laid out for no fewer than 80.
pub fn descend_text(f: &DescendFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.paragraph("", "", f.title);
    sheet.strong(&f.aircraft);
    sheet.paragraph("", "", &f.question);
    sheet.paragraph("", "", &f.cruise_line());
    sheet.heading("Ways down");
    sheet.paragraph("", "", &f.common_line());
    let row = |name: &str, cells: &[String], widths: &[usize]| {
        let mut line = format!("{name:26}");
        for (c, w) in cells.iter().zip(widths) {
            line.push_str(&format!("{c:>w$}"));
        }
        line
    };
    let heads = |heads: &[&str]| heads.iter().map(|&h| h.to_owned()).collect::<Vec<_>>();
    let named = |w: &WayFigures| {
        let mark = if w.can_be_flown { ' ' } else { '*' };
        format!("{}{mark} {}", w.letter, w.name)
    };
    let first = [7, 6, 10, 9, 10, 7];
    sheet.line(&format!(
        "{:26}{:>13}{:19}{:>17}",
        "", "to pattern", "", "from the point"
    ));
    sheet.line(&row("", &heads(&totals_head(f.units)), &first));
    for w in &f.ways {
        if let Some(d) = &w.figures {
            sheet.line(&row(&named(w), &totals_row(d, f.units), &first));
        } else {
            sheet.line(&named(w));
        }
    }
    for w in f.ways.iter().filter(|w| !w.can_be_flown) {
        let words = DescendFigures::broken_words(w);
        sheet.paragraph("* ", "  ", &format!("{} {words}", w.letter));
    }
    for w in &f.ways {
        if let Some(same) = w.same_as {
            sheet.line(&format!("{} is the same descent as {same}.", w.letter));
        }
    }
    if let Some(words) = f.left_out {
        sheet.paragraph("", "", words);
    }
    sheet.heading("Against the ordinary descent; room to speeds; cooling; slow-down");
    let second = [5, 6, 7, 4, 4, 4, 4, 7, 6, 6];
    sheet.line(&format!(
        "{:26}{:>18}{:>16}{:>13}{:>6}",
        "", "against ordinary", "room, kt, to", "MAP", "nm"
    ));
    sheet.line(&row("", &heads(&care_head(f.units)), &second));
    for w in &f.ways {
        if let Some(d) = &w.figures {
            sheet.line(&row(&named(w), &care_row(d, f.units), &second));
        }
    }
    sheet.paragraph(
        "",
        "",
        "Below zero is saved. Air: speed limit of the air; Va: at the weight, the speed for rough air. in/min: greatest fall of MAP in a minute; least: \
         least MAP; level: flown level to slow down.",
    );
    sheet.heading("What is set, in order");
    for w in f.ways.iter().filter(|w| w.same_as.is_none()) {
        sheet.line(&format!("{} {}", w.letter, w.name));
        for s in &w.settings {
            sheet.paragraph("    ", "      ", s);
        }
    }
    sheet.heading(
        "Rules of thumb (common practice, no source) beside the ordinary descent as flown",
    );
    for t in &f.rules_of_thumb {
        let [says, flown, error] = thumb_row(t);
        sheet.paragraph(
            "  ",
            "    ",
            &format!(
                "{}: {says}; flown {flown}, error {error}: {}.",
                t.rule, t.meaning
            ),
        );
    }
    if let Some(map) = &f.map {
        map_text(&mut sheet, f, map);
    }
    sheet.points("Taken for granted", &f.granted);
    sheet.points("Cautions", &f.cautions);
    sheet.finish()
}
