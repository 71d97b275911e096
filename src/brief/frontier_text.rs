//! Fuel against time as text: the plans in a table, what the columns mean, and what to beware of.

use super::frontier::{
    DescentFigures, FRONTIER_TITLE, FrontierCruiseFigures, FrontierFigures, FrontierPlanFigures,
    HourFigures,
};
use super::terminal::{STYLE, Sheet, no_padding, plain_table};
use super::words::{feet, inches, near, number, revs, sentence, setting, up};
use comfy_table::{Cell, CellAlignment, Table};

/// What times and fuels are of.
pub(super) fn flown_words(f: &FrontierFigures) -> &'static str {
    match f.start_in_flight {
        Some(_) => "from now to landing",
        None => "from take-off to landing",
    }
}

/// Hours, minutes and tenths, rounded up: plans next to each other differ by less than a minute.
pub(super) fn time(minutes: f64) -> String {
    let tenths = up(minutes.max(0.0), 1);
    let hours = ((tenths + 1e-6) / 60.0).floor();
    format!("{hours:.0}:{:04.1}", (tenths - 60.0 * hours).max(0.0))
}

/// What is set in a stretch of cruise, without the mixture.
pub(super) fn setting_words(f: &FrontierFigures, c: &FrontierCruiseFigures) -> String {
    setting_of(f.fixed_pitch, c)
}

/// The same of an aircraft with fixed pitch or without.
pub(super) fn setting_of(fixed_pitch: bool, c: &FrontierCruiseFigures) -> String {
    let map = if c.full_throttle {
        "full".to_owned()
    } else {
        format!("{} in", inches(c.map_inhg))
    };
    setting(fixed_pitch, &map, c.rpm)
}

fn descent_words(f: &FrontierFigures, d: &DescentFigures) -> String {
    descent_of(f.fixed_pitch, d)
}

/// How a flight comes down, of an aircraft with fixed pitch or without.
pub(super) fn descent_of(fixed_pitch: bool, d: &DescentFigures) -> String {
    let throttle = match (d.throttle, d.map_inhg) {
        ("held", Some(map)) => format!("{} in", inches(map)),
        ("full", _) => "full".to_owned(),
        (_, _) => "as set".to_owned(),
    };
    let lever = match (fixed_pitch, d.throttle) {
        (true, "rpm_held") => format!("{} rpm", revs(d.rpm)),
        (true, _) => throttle,
        (false, _) => format!("{throttle} / {}", revs(d.rpm)),
    };
    let path = match (d.rate_fpm, d.ias_kt) {
        (Some(rate), _) => format!("{} fpm", number(rate, 0)),
        (None, Some(ias)) => format!("{} KIAS", number(ias, 0)),
        (None, None) => String::new(),
    };
    let parts = if d.second_from_ft.is_some() {
        ", two parts"
    } else {
        ""
    };
    format!(
        "{} nm, {lever}\n{path}{parts}",
        number(up(d.top_of_descent_to_go_nm, 0), 0)
    )
}

/// "12-30", "to 12", "over 30".
fn from_to(from: f64, to: Option<f64>) -> String {
    let whole = |x: f64| number(x, 0);
    match to {
        None => format!("over {}", whole(from)),
        Some(to) if from <= 0.0 => format!("to {}", whole(to)),
        Some(to) => format!("{}-{}", whole(from), whole(to)),
    }
}

pub(super) fn worth_words(f: &FrontierFigures, h: Option<HourFigures>) -> String {
    match h {
        None => "-".to_owned(),
        Some(HourFigures {
            from_cost: Some(from),
            to_cost,
            ..
        }) if f.priced() => from_to(from, to_cost),
        Some(h) => from_to(
            f.units.of_gallons(h.from_gal),
            h.to_gal.map(|gal| f.units.of_gallons(gal)),
        ),
    }
}

/// Whether values of an hour are said in money.
fn worth_in_money(f: &FrontierFigures) -> bool {
    f.plans
        .iter()
        .any(|p| p.hour_worth.is_some_and(|h| h.from_cost.is_some()))
}

/// Cruise of a plan in lines, two for each stretch: its level; setting and mixture.
fn cruise_lines(f: &FrontierFigures, p: &FrontierPlanFigures) -> (String, String) {
    let lines = |word: &dyn Fn(&FrontierCruiseFigures) -> String| {
        let all: Vec<String> = p.cruise.iter().map(word).collect();
        all.join("\n")
    };
    (
        p.cruise
            .iter()
            .map(|c| feet(c.altitude_ft))
            .collect::<Vec<_>>()
            .join("\n\n"),
        lines(&|c| format!("{}\n{}", setting_words(f, c), c.mixture)),
    )
}

/// Heads of the columns, two words one above the other where the column is narrow; whether each holds figures.
pub(super) fn heads(f: &FrontierFigures) -> Vec<(String, bool)> {
    let volume = f.units.volume();
    let next = format!("next\n{volume}");
    let mut heads = vec![("no", true), ("time", true), (volume, true)];
    if f.priced() {
        heads.push(("cost", true));
    }
    heads.extend([
        ("ft", true),
        ("cruise", false),
        ("descent,\nfrom to go", false),
        (&next, true),
    ]);
    if f.priced() {
        heads.push(("minute\ncost", true));
    }
    heads.push(("best at\nan hour", true));
    heads
        .into_iter()
        .map(|(head, figures)| (head.to_owned(), figures))
        .collect()
}

/// The cells of a plan, under [`heads`]; some in lines.
pub(super) fn row(f: &FrontierFigures, p: &FrontierPlanFigures) -> Vec<String> {
    let (levels, settings) = cruise_lines(f, p);
    let t = &p.totals;
    let mut cells = vec![
        p.order.to_string(),
        time(t.time_min),
        f.units.burned(t.fuel_gal).figure,
    ];
    if f.priced() {
        cells.push(number(up(t.cost, 0), 0));
    }
    let minute = |x: Option<f64>, write: &dyn Fn(f64) -> String| x.map_or("-".into(), write);
    cells.extend([
        levels,
        settings,
        descent_words(f, &p.descent),
        minute(p.next_minute.map(|m| m.minute_gal), &|gal| {
            f.units.difference(gal, near).figure
        }),
    ]);
    if f.priced() {
        cells.push(minute(p.next_minute.and_then(|m| m.minute_cost), &|cost| {
            number(cost, 1)
        }));
    }
    cells.push(worth_words(f, p.hour_worth));
    cells
}

fn table(f: &FrontierFigures, width: usize) -> Table {
    let cell = |text: String, figures: bool| {
        let cell = Cell::new(text);
        if figures {
            cell.set_alignment(CellAlignment::Right)
        } else {
            cell
        }
    };
    let heads = heads(f);
    let mut table = plain_table(width, STYLE);
    table.set_header(
        heads
            .iter()
            .map(|(head, figures)| cell(head.clone(), *figures)),
    );
    for p in &f.plans {
        let cells = row(f, p);
        table.add_row(
            cells
                .into_iter()
                .zip(&heads)
                .map(|(text, head)| cell(text, head.1)),
        );
    }
    no_padding(&mut table);
    for column in table.column_iter_mut().skip(1) {
        column.set_padding((1, 0));
    }
    table
}

/// Time and fuel of a plan in words.
fn in_short(f: &FrontierFigures, p: &FrontierPlanFigures) -> String {
    format!(
        "plan {}, {} and {}",
        p.order,
        time(p.totals.time_min),
        f.units.burned(p.totals.fuel_gal)
    )
}

/// What is asked first, each with its answer: the ends, the best value, the cheapest.
pub(super) fn answers(f: &FrontierFigures) -> Vec<(&'static str, String)> {
    let mut all = Vec::new();
    if let (Some(quickest), Some(thriftiest)) = (f.plans.first(), f.plans.last()) {
        all.push(("Quickest", in_short(f, quickest)));
        all.push(("Thriftiest", in_short(f, thriftiest)));
    }
    all.push((
        "Best value",
        match f.plans.iter().find(|p| p.best_value) {
            Some(p) => format!(
                "{}: farthest below the straight line from the quickest to the thriftiest, time and fuel each taken from the least to the \
                 most",
                in_short(f, p)
            ),
            None => "no plan lies below the straight line from the quickest to the thriftiest".to_owned(),
        },
    ));
    if let (Some(p), Some(prices)) = (f.plans.iter().find(|p| p.cheapest), &f.prices) {
        let words = format!(
            "{}: {} at the trip's prices, {} {} and {} a {}",
            in_short(f, p),
            number(up(p.totals.cost, 0), 0),
            number(prices.hour_cost, 2),
            match prices.basis {
                "clock" => "an hour by the clock",
                "airborne" => "an hour in the air",
                _ => "a tachometer hour",
            },
            f.units.price(prices.gallon_cost),
            f.units.volume_word()
        );
        all.push(("Cheapest", words));
    }
    all
}

/// What the columns of the table mean, and how the plans were chosen.
pub(super) fn explained(f: &FrontierFigures) -> Vec<String> {
    let worth = if worth_in_money(f) {
        "in money at the trip's price of fuel".to_owned()
    } else {
        format!("in {}s of fuel", f.units.volume_word())
    };
    let mut all = vec![
        format!(
            "Time and fuel {}. No other plan found is both quicker and thriftier than one of these. Next minute: what each minute saved by the next \
             quicker plan takes; a cost below nought: the quicker plan is also the cheaper.",
            flown_words(f)
        ),
        format!(
            "Best at an hour: what an hour must be worth, {worth}, for the plan to be the best; all that goes by time counts, the hourly price and your own \
             time together. A plan with - is best at no value of time, only under a bound on time or fuel."
        ),
    ];
    if f.prices.as_ref().is_some_and(|p| p.basis == "tachometer") {
        all.push(
            "The tachometer hour goes by revolutions, so the cheapest plan may lie elsewhere than at its price."
                .to_owned(),
        );
    }
    all.push(format!(
        "{} plans were found; of those that differ by less than {} min and {} one is shown, and none that gains next to nothing. fellrun \
         plan with --arrive-within or --fuel-at-most makes the trip sheet of one.",
        f.found,
        number(f.merged_within.time_min, 1),
        f.units.difference(f.merged_within.fuel_gal, near)
    ));
    all
}

/// The trip, the aircraft and what is on board.
pub(super) fn of_what(f: &FrontierFigures) -> String {
    format!(
        "{}, {}, {} {}, {} on board",
        f.places.join(" - "),
        f.aircraft,
        match f.start_in_flight {
            Some(_) => "in flight at",
            None => "start-up",
        },
        f.departure_utc,
        f.units.left(f.fuel_on_board_gal)
    )
}

/// The frontier as text of at most `width` columns (held between 80 and 100).
pub fn frontier_text(f: &FrontierFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.line(FRONTIER_TITLE);
    sheet.paragraph("", "  ", &format!("{}: {}", f.name, of_what(f)));
    sheet.blank();
    for (what, words) in answers(f) {
        sheet.paragraph(&format!("{what:<12}"), "            ", &words);
    }
    sheet.blank();
    let table = table(f, sheet.width());
    sheet.table(&table);
    sheet.blank();
    for words in explained(f) {
        sheet.paragraph("", "  ", &words);
    }
    sheet.points("Warnings", f.warnings.iter().map(|w| sentence(&w.text)));
    sheet.points("Cautions", &f.cautions);
    sheet.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_words_of_the_table() {
        assert_eq!(time(105.128), "1:45.2");
        assert_eq!(time(119.96), "2:00.0");
        assert_eq!(time(7.0), "0:07.0");
        assert_eq!(from_to(12.4, Some(30.2)), "12-30");
        assert_eq!(from_to(0.0, Some(30.2)), "to 30");
        assert_eq!(from_to(30.2, None), "over 30");
    }
}
