//! One trip by several aircraft, as figures, JSON and text.

use super::figures::{cautions, levels_ft, objective_word, totals, warning_words};
use super::frontier::{DescentFigures, FrontierCruiseFigures, cruises, descent};
use super::frontier_text::{descent_of, setting_of, time};
use super::json::pretty;
use super::measure::Units;
use super::terminal::{STYLE, Sheet, no_padding, plain_table};
use super::units::{Fuel, ft, kt, lb, min, nm, plain};
use super::words::{clock, down, feet, knots, number, sentence, up};
use super::{Said, Stretch, TotalsFigures};
use crate::aircraft::Aircraft;
use crate::solve::{Fitted, KeptOff, TripError};
use crate::trip::{FuelLoad, Problem, Trip};
use comfy_table::{Cell, CellAlignment};
use schemars::JsonSchema;
use serde::Serialize;

/// The title of this face.
pub const COMPARE_TITLE: &str =
    "One trip, several aircraft: advice, not a weather briefing, not a filed flight plan";

/// A point of a path.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PathPointFigures {
    /// Along the route.
    pub distance_nm: f64,
    /// Since take-off.
    pub time_min: f64,
    /// Indicated altitude.
    pub indicated_altitude_ft: f64,
}

/// More than the first aircraft that can fly the trip.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct MoreFigures {
    /// Time from take-off to landing.
    pub time_min: f64,
    /// Fuel from take-off to landing.
    pub fuel_gal: f64,
    /// Money at the trip's prices; none without.
    pub cost: Option<f64>,
}

/// The plan of one aircraft.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ComparedPlanFigures {
    /// Totals.
    pub totals: TotalsFigures,
    /// Fuel on board at start-up.
    pub fuel_on_board_gal: f64,
    /// Fuel of the trip that it cannot take.
    pub fuel_left_behind_gal: f64,
    /// Why: tanks or take_off_weight; none where it takes all.
    pub left_behind_for: Option<&'static str>,
    /// Weight at take-off.
    pub take_off_weight_lb: f64,
    /// Greatest.
    pub max_take_off_weight_lb: f64,
    /// Levels, first to last.
    pub levels_ft: Vec<f64>,
    /// Indicated airspeed of the climb, at first.
    pub climb_ias_kt: f64,
    /// Top of climb.
    pub top_of_climb_nm: f64,
    /// Top of climb, since take-off.
    pub top_of_climb_min: f64,
    /// Cruise, stretch by stretch.
    pub cruise: Vec<FrontierCruiseFigures>,
    /// Descent.
    pub descent: DescentFigures,
    /// Mean ground speed from take-off to landing.
    pub ground_speed_kt: f64,
    /// Route over fuel from take-off to landing.
    pub nm_per_gal: f64,
    /// More than the first that can fly it; none of that itself.
    pub more: Option<MoreFigures>,
    /// Path.
    pub path: Vec<PathPointFigures>,
    /// What the pilot must know.
    pub warnings: Vec<Said>,
}

/// One aircraft.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ComparedFigures {
    /// A, B, ...
    pub letter: String,
    /// Aircraft.
    pub aircraft: String,
    /// Entries of its profile that were changed, as typed.
    pub changed: Vec<String>,
    /// Fixed pitch: power is set by RPM, and MAP is only computed.
    pub fixed_pitch: bool,
    /// Its plan; none where it cannot fly the trip.
    pub plan: Option<ComparedPlanFigures>,
    /// Why not.
    pub not_flown: Option<String>,
}

/// One trip by several aircraft, in cockpit figures.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CompareFigures {
    /// In which units the words are, and the faces for eyes.
    #[serde(skip)]
    #[schemars(skip)]
    pub units: Units,
    /// Title.
    pub title: &'static str,
    /// Title of the trip.
    pub name: String,
    /// Departure, via points, destination.
    pub places: Vec<String>,
    /// Start-up.
    pub departure_utc: String,
    /// time, fuel or money.
    pub objective: &'static str,
    /// The trip has prices.
    pub priced: bool,
    /// What is the same for all.
    pub held_equal: String,
    /// Aircraft, as asked.
    pub aircraft: Vec<ComparedFigures>,
    /// Ground along the route, of the first that can fly it.
    pub ground: Vec<Stretch>,
    /// What is not checked and who decides.
    pub cautions: Vec<String>,
}

/// One aircraft as asked, and what came of it.
#[derive(Debug)]
pub struct Compared<'a> {
    /// The aircraft.
    pub aircraft: &'a Aircraft,
    /// Entries of its profile that were changed, as typed.
    pub changed: &'a [String],
    /// Its plan, or why there is none.
    pub outcome: &'a Result<Fitted, TripError>,
}

fn plan(fitted: &Fitted, units: Units) -> ComparedPlanFigures {
    let (problem, plan) = (&fitted.problem, &fitted.plan);
    let fuel = Fuel::new(problem.aircraft.fuel.density_kg_m3);
    let flown = &plan.flown;
    let t = totals(problem, fuel, &plan.totals, flown.cruise_fuel_kg_s);
    let taxi_kg = problem.aircraft.procedures.taxi_fuel_kg;
    let (less_kg, why) = match fitted.less {
        None => (0.0, None),
        Some((kg, KeptOff::Tanks)) => (kg, Some("tanks")),
        Some((kg, KeptOff::TakeOffWeight)) => (kg, Some("take_off_weight")),
    };
    ComparedPlanFigures {
        fuel_on_board_gal: fuel.gal(problem.fuel_kg),
        fuel_left_behind_gal: fuel.gal(less_kg),
        left_behind_for: why,
        take_off_weight_lb: lb(problem.zero_fuel_kg + problem.fuel_kg - taxi_kg),
        max_take_off_weight_lb: lb(problem.aircraft.masses.max_take_off_kg),
        levels_ft: levels_ft(flown),
        climb_ias_kt: kt(flown.script.climb.ias_m_s),
        top_of_climb_nm: nm(flown.top_of_climb.distance_m),
        top_of_climb_min: min(flown.top_of_climb.time_s),
        cruise: cruises(flown, problem, fuel),
        descent: descent(flown, problem),
        ground_speed_kt: kt(problem.length_m / flown.time_s),
        nm_per_gal: plain(t.distance_nm / t.fuel_gal),
        more: None,
        path: path(fitted),
        warnings: plan
            .warnings
            .iter()
            .map(|w| warning_words(w, problem, fuel, units))
            .collect(),
        totals: t,
    }
}

fn path(fitted: &Fitted) -> Vec<PathPointFigures> {
    let p = &fitted.problem;
    let points = fitted.plan.flown.track.iter().map(|t| PathPointFigures {
        distance_nm: nm(t.state.distance_m),
        time_min: min(t.state.time_s),
        indicated_altitude_ft: ft(p.indicated_m(t.state.distance_m, t.state.pressure_altitude_m)),
    });
    points.collect()
}

fn ground(problem: &Problem) -> Vec<Stretch> {
    let rows = problem.legs.iter().flat_map(|l| &l.ground);
    rows.map(|&(from_m, to_m, height_m)| Stretch {
        from_nm: nm(from_m),
        to_nm: nm(to_m),
        ground_ft: ft(height_m),
    })
    .collect()
}

impl CompareFigures {
    /// The figures of a trip by several aircraft, its words in US units.
    pub fn new(trip: &Trip, compared: &[Compared<'_>]) -> Self {
        Self::in_units(trip, compared, Units::Us)
    }

    /// The same with words, and the faces made of them, in `units`; figures are in the units of their keys whatever is asked for.
    pub fn in_units(trip: &Trip, compared: &[Compared<'_>], units: Units) -> Self {
        let letter = |i: usize| char::from(b'A'.saturating_add(u8::try_from(i).unwrap_or(25)));
        let mut aircraft: Vec<ComparedFigures> = compared
            .iter()
            .enumerate()
            .map(|(i, c)| ComparedFigures {
                letter: letter(i).to_string(),
                aircraft: c.aircraft.name.clone(),
                changed: c.changed.to_vec(),
                fixed_pitch: c.aircraft.propeller.is_fixed(),
                plan: c.outcome.as_ref().ok().map(|fitted| plan(fitted, units)),
                not_flown: c.outcome.as_ref().err().map(ToString::to_string),
            })
            .collect();
        let priced = trip.prices.are_given();
        let mut plans = aircraft.iter_mut().filter_map(|a| a.plan.as_mut());
        if let Some(first) = plans.next() {
            let base = (
                first.totals.time_min,
                first.totals.fuel_gal,
                first.totals.cost,
            );
            for p in plans {
                p.more = Some(MoreFigures {
                    time_min: plain(p.totals.time_min - base.0),
                    fuel_gal: plain(p.totals.fuel_gal - base.1),
                    cost: priced.then(|| plain(p.totals.cost - base.2)),
                });
            }
        }
        let mut said: Vec<String> = Vec::new();
        for caution in compared.iter().flat_map(|c| cautions(c.aircraft)) {
            if !said.contains(&caution) {
                said.push(caution);
            }
        }
        let flown = compared.iter().find_map(|c| c.outcome.as_ref().ok());
        let fuel = match trip.fuel {
            FuelLoad::Kg(_) => format!(
                "{}s on board at start-up as far as tanks and weight take them",
                units.volume_word()
            ),
            FuelLoad::Least => "the reserve, each with the least fuel that leaves it".to_owned(),
        };
        let money = if priced { ", prices" } else { "" };
        Self {
            units,
            title: COMPARE_TITLE,
            name: trip.title.clone(),
            places: trip.places.iter().map(|p| p.ident.clone()).collect(),
            departure_utc: trip.departure_time.to_string(),
            objective: objective_word(trip.objective),
            priced,
            held_equal: format!(
                "route, start-up, weather, limits, what is least{money}, {} of people and baggage, {fuel}; levels, settings and descent are chosen \
                 anew for each",
                units.load(lb(trip.load_kg))
            ),
            aircraft,
            ground: flown.map(|f| ground(&f.problem)).unwrap_or_default(),
            cautions: said,
        }
    }
}

/// The comparison as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn compare_json(f: &CompareFigures) -> Result<String, serde_json::Error> {
    pretty(f)
}

/// More or less, with its sign.
fn signed(x: f64, places: usize) -> String {
    with_sign(number(x, places))
}

fn with_sign(text: String) -> String {
    if text.starts_with('-') || !text.contains(|c: char| ('1'..='9').contains(&c)) {
        text
    } else {
        format!("+{text}")
    }
}

/// What was left on the ground, and why.
fn fuel_words(p: &ComparedPlanFigures, units: Units) -> String {
    let on_board = units.noted(p.fuel_on_board_gal).figure;
    match p.left_behind_for {
        None => on_board,
        Some(why) => format!(
            "{on_board}\n({} less: {})",
            units.burned(p.fuel_left_behind_gal).figure,
            if why == "tanks" {
                "tanks full"
            } else {
                "weight"
            }
        ),
    }
}

/// A row of the table: what it is of, and how it is said of a plan.
type Row = (
    String,
    Box<dyn Fn(&ComparedFigures, &ComparedPlanFigures) -> String>,
);

fn rows(f: &CompareFigures) -> Vec<Row> {
    let (units, volume) = (f.units, f.units.volume());
    let mut rows: Vec<Row> = vec![
        (
            "time, h:min".to_owned(),
            Box::new(|_, p| time(p.totals.time_min)),
        ),
        (
            "  more, min".to_owned(),
            Box::new(|_, p| p.more.map_or(String::new(), |m| signed(m.time_min, 1))),
        ),
        (
            format!("fuel, {volume}"),
            Box::new(move |_, p| units.burned(p.totals.fuel_gal).figure),
        ),
        (
            format!("  more, {volume}"),
            Box::new(move |_, p| {
                p.more
                    .map_or(String::new(), |m| with_sign(units.noted(m.fuel_gal).figure))
            }),
        ),
    ];
    if f.priced {
        rows.push((
            "cost".to_owned(),
            Box::new(|_, p| number(up(p.totals.cost, 0), 0)),
        ));
        rows.push((
            "  more".to_owned(),
            Box::new(|_, p| {
                let more = p.more.and_then(|m| m.cost);
                more.map_or(String::new(), |m| signed(m, 0))
            }),
        ));
    }
    rows.extend::<Vec<Row>>(vec![
        (
            "ground speed, kt".to_owned(),
            Box::new(|_, p| knots(p.ground_speed_kt)),
        ),
        (
            format!("nm a {}", units.volume_word()),
            Box::new(move |_, p| units.nm_per_volume(p.nm_per_gal, down)),
        ),
        (
            "level, ft".to_owned(),
            Box::new(|_, p| {
                let each: Vec<String> = p.levels_ft.iter().map(|&x| feet(x)).collect();
                each.join(", ")
            }),
        ),
        (
            "climb, KIAS".to_owned(),
            Box::new(|_, p| knots(p.climb_ias_kt)),
        ),
        (
            "top of climb".to_owned(),
            Box::new(|_, p| {
                format!(
                    "{} nm, {} min",
                    number(up(p.top_of_climb_nm, 0), 0),
                    number(up(p.top_of_climb_min, 0), 0)
                )
            }),
        ),
        (
            "cruise".to_owned(),
            Box::new(|a, p| {
                let each: Vec<String> = p
                    .cruise
                    .iter()
                    .map(|c| format!("{}\n{}", setting_of(a.fixed_pitch, c), c.mixture))
                    .collect();
                each.join("\n")
            }),
        ),
        (
            "TAS, kt".to_owned(),
            Box::new(|_, p| {
                let each: Vec<String> = p.cruise.iter().map(|c| knots(c.tas_kt)).collect();
                each.join(", ")
            }),
        ),
        (
            format!("fuel flow, {}", units.flow_unit()),
            Box::new(move |_, p| {
                let each = p.cruise.iter().map(|c| units.flow(c.fuel_flow_gph).figure);
                each.collect::<Vec<_>>().join(", ")
            }),
        ),
        (
            "down, to go".to_owned(),
            Box::new(|a, p| descent_of(a.fixed_pitch, &p.descent)),
        ),
        (
            format!("on board, {volume}"),
            Box::new(move |_, p| fuel_words(p, units)),
        ),
        (
            format!("lands with, {volume}"),
            Box::new(move |_, p| {
                format!(
                    "{} ({})",
                    units.left(p.totals.landing_fuel_gal).figure,
                    clock(p.totals.reserve_min)
                )
            }),
        ),
        (
            format!("take-off, {}", units.weight_unit()),
            Box::new(move |_, p| {
                format!(
                    "{} of {}",
                    units.load(p.take_off_weight_lb).figure,
                    units.load(p.max_take_off_weight_lb).figure
                )
            }),
        ),
    ]);
    rows
}

/// The name of an aircraft with what was changed of its profile.
pub(super) fn aircraft_words(a: &ComparedFigures) -> String {
    if a.changed.is_empty() {
        a.aircraft.clone()
    } else {
        format!("{} with {}", a.aircraft, a.changed.join(", "))
    }
}

/// The comparison as text of at most `width` columns (held between 80 and 100).
pub fn compare_text(f: &CompareFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.line(COMPARE_TITLE);
    let head = format!(
        "{}: {}, start-up {}, least {}",
        f.name,
        f.places.join(" - "),
        f.departure_utc,
        f.objective
    );
    sheet.paragraph("", "  ", &head);
    sheet.blank();
    for a in &f.aircraft {
        sheet.paragraph(&format!("{}  ", a.letter), "   ", &aircraft_words(a));
        if let Some(why) = &a.not_flown {
            sheet.paragraph("   ", "   ", &format!("cannot fly it: {why}"));
        }
    }
    sheet.blank();
    let right = |text: String| Cell::new(text).set_alignment(CellAlignment::Right);
    let mut table = plain_table(sheet.width(), STYLE);
    let heads = f.aircraft.iter().map(|a| right(a.letter.clone()));
    table.set_header(std::iter::once(Cell::new("")).chain(heads));
    for (i, (name, word)) in rows(f).iter().enumerate() {
        let cells = f.aircraft.iter().map(|a| match &a.plan {
            Some(p) => right(word(a, p)),
            None if i == 0 => right("cannot fly it".to_owned()),
            None => right("-".to_owned()),
        });
        table.add_row(std::iter::once(Cell::new(name)).chain(cells));
    }
    no_padding(&mut table);
    for column in table.column_iter_mut().skip(1) {
        column.set_padding((2, 0));
    }
    sheet.table(&table);
    sheet.blank();
    sheet.paragraph("The same for all: ", "  ", &format!("{}.", f.held_equal));
    sheet.paragraph(
        "",
        "  ",
        "Time and fuel from take-off to landing; more: than the first that can fly the trip. In brackets how long what is left lasts at cruise flow, h:min.",
    );
    let warned = |a: &&ComparedFigures| a.plan.as_ref().is_some_and(|p| !p.warnings.is_empty());
    for (i, a) in f.aircraft.iter().filter(warned).enumerate() {
        if i == 0 {
            sheet.heading("Warnings");
        }
        for w in a.plan.iter().flat_map(|p| &p.warnings) {
            let first = format!("  {}  ", a.letter);
            sheet.paragraph(&first, "     ", &sentence(&w.text));
        }
    }
    sheet.points("Cautions", &f.cautions);
    sheet.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_signs_of_differences() {
        assert_eq!(signed(2.34, 1), "+2.3");
        assert_eq!(signed(-2.34, 1), "-2.3");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(signed(-0.04, 1), "0.0");
    }
}
