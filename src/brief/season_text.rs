//! A season as text: the year by each policy, what is saved, the trips, and what to beware of.

use super::measure::Units;
use super::season::{
    MeasureFigures, OverWinds, PolicyFigures, SEASON_TITLE, SeasonFigures, SeasonTripFigures,
};
use super::terminal::{STYLE, Sheet, no_padding, plain_table};
use super::words::{clock, feet, many, number, revs, so_many};
use comfy_table::{Cell, CellAlignment, Table};

/// How a policy is called.
pub(super) fn policy_name(word: &str) -> String {
    word.replace('_', " ")
}

/// How a measure is said.
#[derive(Clone, Copy)]
pub(super) enum Said {
    /// Fuel, in the unit asked for.
    Fuel,
    /// Hours or money, to so many places.
    Number(usize),
}

/// A measure: its words, the figure of it, and how it is said.
pub(super) struct Row<T> {
    pub words: &'static str,
    pub of: fn(&MeasureFigures<T>) -> &T,
    pub said: Said,
}

impl<T> Row<T> {
    /// Its name with the unit.
    fn name(&self, units: Units) -> String {
        match self.said {
            Said::Fuel => format!("{}, {}", self.words, units.volume()),
            Said::Number(_) => self.words.to_owned(),
        }
    }

    fn figure(&self, x: f64, units: Units) -> String {
        match self.said {
            Said::Fuel => units.noted(x).figure,
            Said::Number(places) => number(x, places),
        }
    }
}

/// The measures that are said; money with one's own time only where that is worth something.
pub(super) fn rows<T>(own_time: bool) -> Vec<Row<T>> {
    let mut rows = vec![
        Row {
            words: "fuel",
            of: |m| &m.fuel_gal,
            said: Said::Fuel,
        },
        Row {
            words: "hours by the clock",
            of: |m| &m.clock_h,
            said: Said::Number(1),
        },
        Row {
            words: "hours airborne",
            of: |m| &m.airborne_h,
            said: Said::Number(1),
        },
        Row {
            words: "hours of the tachometer",
            of: |m| &m.tachometer_h,
            said: Said::Number(1),
        },
        Row {
            words: "money paid",
            of: |m| &m.cost,
            said: Said::Number(0),
        },
    ];
    if own_time {
        rows.push(Row {
            words: "with your own time",
            of: |m| &m.cost_with_own_time,
            said: Said::Number(0),
        });
    }
    rows
}

fn right(text: String) -> Cell {
    Cell::new(text).set_alignment(CellAlignment::Right)
}

fn spaced(mut table: Table) -> Table {
    no_padding(&mut table);
    for column in table.column_iter_mut().skip(1) {
        column.set_padding((2, 0));
    }
    table
}

fn year_table(f: &SeasonFigures, width: usize) -> Table {
    let mut table = plain_table(width, STYLE);
    let heads = f.policies.iter().map(|p| right(policy_name(p.policy)));
    let a_year = if f.winds.len() > 1 {
        "a year, mean"
    } else {
        "a year"
    };
    table.set_header(std::iter::once(Cell::new(a_year)).chain(heads));
    for row in rows::<OverWinds>(f.own_time()) {
        let figures = f
            .policies
            .iter()
            .map(|p| right(row.figure((row.of)(&p.year).mean, f.units)));
        table.add_row(std::iter::once(Cell::new(row.name(f.units))).chain(figures));
    }
    spaced(table)
}

fn saved_table(f: &SeasonFigures, width: usize) -> Table {
    let mut table = plain_table(width, STYLE);
    // One wind has no spread.
    let heads: &[&str] = if f.winds.len() > 1 {
        &["mean", "P10", "P50", "P90", "own winds"]
    } else {
        &["in this wind"]
    };
    let cells = heads.iter().map(|h| right((*h).to_owned()));
    table.set_header(std::iter::once(Cell::new("saved a year")).chain(cells));
    for p in f.policies.iter().skip(1) {
        table.add_row([Cell::new(policy_name(p.policy))]);
        let spreads = rows::<OverWinds>(f.own_time());
        let ranges = rows::<(f64, f64)>(f.own_time());
        for (row, range) in spreads.iter().zip(&ranges) {
            let mut cells = saved_row(p, row, range, f.units);
            cells.truncate(1 + heads.len());
            table.add_row(cells);
        }
    }
    spaced(table)
}

fn saved_row(
    p: &PolicyFigures,
    row: &Row<OverWinds>,
    range: &Row<(f64, f64)>,
    units: Units,
) -> Vec<Cell> {
    let s = (row.of)(&p.saved);
    let (low, high) = (range.of)(&p.saved_in_own_winds);
    let said = |x: f64| row.figure(x, units);
    let mut cells = vec![Cell::new(format!("  {}", row.name(units)))];
    cells.extend([s.mean, s.p10, s.p50, s.p90].map(|x| right(said(x))));
    cells.push(right(format!("{} to {}", said(*low), said(*high))));
    cells
}

fn trip_table(f: &SeasonFigures, width: usize) -> Table {
    let mut table = plain_table(width, STYLE);
    let volume = f.units.volume();
    let heads = [
        "\ntimes".to_owned(),
        "\nwinds".to_owned(),
        "usual\nh:min".to_owned(),
        format!("usual\n{volume}"),
        "usual\nmoney".to_owned(),
        "saved\nmin".to_owned(),
        format!("saved\n{volume}"),
        "saved\nmoney".to_owned(),
    ];
    table.set_header(std::iter::once(Cell::new("\none flight")).chain(heads.map(right)));
    for t in &f.trips {
        table.add_row(trip_row(f, t));
    }
    let mut table = spaced(table);
    for column in table.column_iter_mut().skip(1) {
        column.set_padding((1, 0));
    }
    table
}

fn trip_row(f: &SeasonFigures, t: &SeasonTripFigures) -> Vec<Cell> {
    let mut cells = vec![
        Cell::new(&t.name),
        right(number(t.times, usize::from(t.times.fract() != 0.0))),
        right(format!("{} of {}", t.flown_in, f.winds.len())),
    ];
    let [usual, time, fuel, money] = t.flights.as_slice() else {
        cells.resize_with(9, || right("-".to_owned()));
        return cells;
    };
    cells.extend([
        right(clock(60.0 * usual.mean.airborne_h)),
        right(f.units.noted(usual.mean.fuel_gal).figure),
        right(number(usual.mean.cost, 0)),
        right(number(60.0 * time.saved.airborne_h, 1)),
        right(f.units.noted(fuel.saved.fuel_gal).figure),
        right(number(money.saved.cost_with_own_time, 0)),
    ]);
    cells
}

/// What it costs, in words.
fn charges(f: &SeasonFigures) -> String {
    let Some(c) = f.same_charges() else {
        return "Costs: those of each trip file".to_owned();
    };
    let basis = match c.prices.basis {
        "clock" => "an hour from start-up to shutdown",
        "airborne" => "an hour from take-off to landing",
        _ => "a tachometer hour",
    };
    let mut said = vec![format!("{} {basis}", number(c.prices.hour_cost, 2))];
    said.push(if c.prices.gallon_cost > 0.0 {
        format!(
            "{} a {}",
            f.units.price(c.prices.gallon_cost),
            f.units.volume_word()
        )
    } else {
        "fuel included".to_owned()
    });
    if c.overhaul_hour_cost > 0.0 {
        said.push(format!(
            "{} a tachometer hour put aside for the overhaul",
            number(c.overhaul_hour_cost, 2)
        ));
    }
    if c.own_hour_cost > 0.0 {
        said.push(format!(
            "your own hour worth {}",
            number(c.own_hour_cost, 2)
        ));
    }
    format!("Costs: {}", said.join(", "))
}

/// How the usual way is flown, in words.
pub(super) fn usual(f: &SeasonFigures) -> String {
    let u = &f.usual;
    let climb = match u.climb_ias_kt {
        Some(kt) => format!("climb at {} KIAS", number(kt, 0)),
        None => "climb at Vy or what cools the engine".to_owned(),
    };
    format!(
        "As usual: {climb}, {} % power at {} rpm with the mixture at {}, {} ft or the nearest level allowed, down at {} fpm with the power \
         reduced to hold the speed",
        number(u.power_percent, 0),
        revs(u.rpm),
        u.mixture,
        feet(u.altitude_ft),
        number(u.descent_fpm, 0)
    )
}

/// Trips that are not flown in some winds, and why.
fn not_flown(f: &SeasonFigures, sheet: &mut Sheet) {
    let some: Vec<&SeasonTripFigures> =
        f.trips.iter().filter(|t| !t.not_flown.is_empty()).collect();
    if some.is_empty() {
        return;
    }
    sheet.heading("Not flown");
    sheet.paragraph(
        "  ",
        "    ",
        "What one policy cannot fly in a wind counts for none: it waits for another day, and stands in that wind with its mean over the others. A trip \
         flown in no wind is left out of the year.",
    );
    for t in some {
        let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
        for n in &t.not_flown {
            match reasons.iter_mut().find(|r| r.0 == n.why) {
                Some(r) => r.1.push(&n.wind),
                None => reasons.push((&n.why, vec![&n.wind])),
            }
        }
        for (why, winds) in reasons {
            let said = format!("{}, {}: {why}", t.name, winds.join(", "));
            sheet.paragraph("  ", "    ", &said);
        }
    }
}

/// Flights of a year that count.
pub(super) fn flights_a_year(f: &SeasonFigures) -> String {
    so_many(f.flights_a_year, "flight a year", "flights a year")
}

/// The trips, and how many of them count where not all do.
fn trips_counted(f: &SeasonFigures) -> String {
    let all = many(f.trips.len(), "trip", "trips");
    let counted = f.trips.iter().filter(|t| t.flown_in > 0).count();
    if counted == f.trips.len() {
        all
    } else {
        format!("{counted} of {all} flown")
    }
}

/// A season as text of at most `width` columns (held between 80 and 100).
pub fn season_text(f: &SeasonFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.line(SEASON_TITLE);
    let head = format!(
        "{}: {}, {}, {}: {}",
        f.log,
        trips_counted(f),
        flights_a_year(f),
        many(f.winds.len(), "wind", "winds"),
        f.winds_from
    );
    sheet.paragraph("", "  ", &head);
    sheet.paragraph("", "  ", &charges(f));
    sheet.paragraph("", "  ", &usual(f));
    sheet.blank();
    let table = year_table(f, sheet.width());
    sheet.table(&table);
    sheet.blank();
    let table = saved_table(f, sheet.width());
    sheet.table(&table);
    sheet.blank();
    let mut saved =
        "Saved against flying as usual in the same wind; below nought it takes more.".to_owned();
    if f.winds.len() > 1 {
        saved.push_str(
            " P10, P50 and P90: in a tenth, half and nine tenths of the winds less is saved, had the whole year been flown in that one. Own winds: where \
             every flight meets a wind of its own the year lies between these eight times of ten (the sum of many flights taken for normal).",
        );
    }
    sheet.paragraph("", "  ", &saved);
    sheet.paragraph(
        "",
        "  ",
        &format!(
            "A tachometer hour is {} rpm for an hour. The air does not change in flight, the altimeter is standard, and there is no cloud.",
            revs(f.tachometer_rpm)
        ),
    );
    sheet.heading("The trips: as usual, and what least time, fuel and money save of their own");
    let table = trip_table(f, sheet.width());
    sheet.table(&table);
    not_flown(f, &mut sheet);
    sheet.points("Cautions", &f.cautions);
    sheet.finish()
}
