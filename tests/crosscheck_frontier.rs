//! Fuel against time: every plan of the frontier is a flight that keeps the limits, none is beaten, and a single solve under the matching bound
//! finds the same. Source of the demo trip: its own file; there our own plans are held against each other. On a short trip every flight of a grid
//! of settings (`class::frontier`) is held against the frontier, with no part of the search in it.

use crate::class::frontier::charged;
use crate::class::{self, Brute, Kept, levels};
use crate::common;
use fellrun::aircraft::Aircraft;
use fellrun::brief::{FrontierFigures, frontier_csv, frontier_text};
use fellrun::files::trip::{load_trip, parse_trip};
use fellrun::flight::fly_recorded;
use fellrun::quantity::M3_PER_GAL;
use fellrun::solve::{APART_M3, APART_S, Frontier, frontier, frontier_of_trip, plan, plan_trip};
use fellrun::trip::{Bounds, FuelLoad, Objective, Prices, Problem, Trip, resolve};
use std::path::Path;
use std::sync::OnceLock;

/// A frontier plan and a single solve under the matching bound may differ by this share (the bar set for the frontier).
const SINGLE: f64 = 3e-3;
/// A bound on time is kept with half a second to spare, and what the audit takes for rounding.
const KEPT_S: f64 = 0.61;
/// One script flown twice, its top of descent taken from what was flown: float noise, grown over a long descent.
const FLOAT: f64 = 1e-6;

fn demo() -> (Trip, Aircraft) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
    let file = load_trip(&path, None).expect("the demo trip loads");
    (file.trip, file.aircraft)
}

fn problem() -> Problem {
    let (trip, aircraft) = demo();
    resolve(&trip, aircraft).expect("the demo trip resolves")
}

fn found() -> &'static Frontier {
    static FOUND: OnceLock<Frontier> = OnceLock::new();
    FOUND.get_or_init(|| frontier(&problem(), 2).expect("the demo trip has plans"))
}

#[test]
fn crosscheck_no_plan_is_beaten_and_each_is_a_flight() {
    let (p, f) = (problem(), found());
    println!(
        "{} found, {} shown, {} flights",
        f.found,
        f.plans.len(),
        f.flights
    );
    // The bars: 40 plans or more before merging, at least 10 after.
    assert!(f.found >= 40 && f.plans.len() >= 10);
    for pair in f.plans.windows(2) {
        let (a, b) = (&pair[0].flown, &pair[1].flown);
        assert!(a.time_s < b.time_s && a.fuel_kg > b.fuel_kg);
    }
    // Those that differ too little are one; what is always shown (ends, best value, cheapest) may lie nearer.
    let always = [Some(0), Some(f.plans.len() - 1), f.best_value, f.cheapest];
    let apart_kg = APART_M3 * p.aircraft.fuel.density_kg_m3;
    for (i, pair) in f.plans.windows(2).enumerate() {
        let near = pair[1].flown.time_s - pair[0].flown.time_s < APART_S
            && pair[0].flown.fuel_kg - pair[1].flown.fuel_kg < apart_kg;
        assert!(!near || always.contains(&Some(i)) || always.contains(&Some(i + 1)));
    }
    for plan in &f.plans {
        assert_eq!(plan.flown.audit.broken(), []);
        let again = fly_recorded(&p, &plan.flown.script).expect("flies");
        for (a, b) in [
            (again.time_s, plan.flown.time_s),
            (again.fuel_kg, plan.flown.fuel_kg),
        ] {
            assert!((a / b - 1.0).abs() < FLOAT, "{a} {b}");
        }
        assert!(plan.reflight.within_bounds(p.aircraft.fuel.density_kg_m3));
        let block_kg = plan.flown.fuel_kg + p.aircraft.procedures.taxi_fuel_kg;
        assert_eq!(plan.totals.block_fuel_kg, block_kg);
    }
    // Levels and settings make hollows that no value of time reaches.
    assert!(f.plans.iter().any(|p| p.best_kg_s.is_none()));
}

#[test]
fn closed_form_the_same_on_any_number_of_threads() {
    let one = frontier(&problem(), 1).expect("the demo trip has plans");
    let two = found();
    assert_eq!((one.found, one.flights), (two.found, two.flights));
    assert_eq!(
        (one.best_value, one.cheapest),
        (two.best_value, two.cheapest)
    );
    assert_eq!(one.plans.len(), two.plans.len());
    for (a, b) in one.plans.iter().zip(&two.plans) {
        assert_eq!(a.flown, b.flown);
    }
}

#[test]
fn crosscheck_the_ends_and_the_cheapest_are_those_of_single_plans() {
    let (p, f) = (problem(), found());
    let of = |objective: Objective| {
        let asked = Problem {
            objective,
            ..p.clone()
        };
        plan(&asked).expect("a plan")
    };
    let quickest = of(Objective::Time).flown.time_s;
    let thriftiest = of(Objective::Fuel).flown.fuel_kg;
    let cheapest = of(Objective::Money).totals.money;
    let (first, last) = (&f.plans[0].flown, &f.plans[f.plans.len() - 1].flown);
    let least = f.plans[f.cheapest.expect("the demo trip has prices")]
        .totals
        .money;
    for (of_frontier, single) in [
        (first.time_s, quickest),
        (last.fuel_kg, thriftiest),
        (least, cheapest),
    ] {
        assert!(
            (of_frontier / single - 1.0).abs() < SINGLE,
            "{of_frontier} {single}"
        );
    }
}

#[test]
fn crosscheck_plans_against_single_solves_under_the_matching_bound() {
    let (trip, aircraft) = demo();
    let f = found();
    let n = f.plans.len();
    let mut worst = 0.0_f64;
    for (i, at) in f.plans.iter().enumerate() {
        let within_s = at.totals.block_time_s + KEPT_S;
        let single = |objective, bounds| {
            let asked = Trip {
                objective,
                bounds,
                ..trip.clone()
            };
            plan_trip(&asked, &aircraft).expect("a plan").1
        };
        let fuel = single(
            Objective::Fuel,
            Bounds {
                within_s: Some(within_s),
                ..Bounds::default()
            },
        );
        println!(
            "plan {}: {:.1} s, {:.3} kg, single {:.1} s, {:.3} kg",
            i + 1,
            at.flown.time_s,
            at.flown.fuel_kg,
            fuel.flown.time_s,
            fuel.flown.fuel_kg
        );
        worst = worst.max((at.flown.fuel_kg / fuel.flown.fuel_kg - 1.0).abs());
        // And the other way about, for some of them.
        if [n / 4, n / 2, 3 * n / 4].contains(&i) {
            let most_kg = at.totals.block_fuel_kg + 0.011;
            let time = single(
                Objective::Time,
                Bounds {
                    most_fuel_kg: Some(most_kg),
                    ..Bounds::default()
                },
            );
            worst = worst.max((at.flown.time_s / time.flown.time_s - 1.0).abs());
        }
    }
    assert!(worst < SINGLE, "{worst}");
}

/// What the grid may be dearer in fuel, at the time of a plan, than that plan: it has coarser steps and one level, one climb speed, one part of
/// descent alone. A grid that stays farther behind would check nothing.
const GRID: f64 = 0.02;

/// The frontier of a short trip against all flights of a grid, each flown: by how much any of them beats a plan of it in one thing at no cost in the other.
#[test]
fn crosscheck_no_flight_of_a_grid_beats_a_plan() {
    let text = common::trip_text("retractable-285hp", 60, &["KICT", "KOKC"], "");
    let file = parse_trip(&text, Path::new("trip.toml"), None).expect("the trip loads");
    let p = resolve(&file.trip, file.aircraft).expect("the trip resolves");
    let f = frontier(&p, 2).expect("the trip has plans");
    let any = &f.plans[0].flown.script;
    let mut brute = Brute::new(&p);
    let mut all: Vec<Kept> = vec![];
    for level_m in levels(&p) {
        all.extend(brute.all_at(any, level_m));
    }
    let grid = class::undominated(all);
    let mut near = 0;
    for (i, plan) in f.plans.iter().enumerate() {
        // In the coarse steps of a search, as all it is held against.
        let at = charged(&brute.fly(&plan.flown.script).expect("flies"));
        let (time_s, fuel_kg) = (at.time_s, at.fuel_kg);
        // The thriftiest flight that is no slower, and the quickest that burns no more.
        let in_time = |k: &&Kept| k.time_s <= time_s;
        let in_fuel = |k: &&Kept| k.fuel_kg <= fuel_kg;
        let thrifty = grid
            .iter()
            .rfind(in_time)
            .map(|k| k.fuel_kg / fuel_kg - 1.0);
        let quick = grid.iter().find(in_fuel).map(|k| k.time_s / time_s - 1.0);
        println!(
            "plan {}: {time_s:.1} s, {fuel_kg:.3} kg; the grid {:+.2} % of fuel, {:+.2} % of time",
            i + 1,
            100.0 * thrifty.unwrap_or(f64::NAN),
            100.0 * quick.unwrap_or(f64::NAN)
        );
        let least = [thrifty, quick].into_iter().flatten().fold(0.0, f64::min);
        assert!(least > -SINGLE, "plan {}: {least}", i + 1);
        near += usize::from(thrifty.is_some_and(|x| x < GRID));
    }
    println!("{} flights, {} undominated", brute.flights, grid.len());
    assert!(f.plans.len() >= 5);
    assert!(
        2 * near >= f.plans.len(),
        "the grid comes near {near} alone"
    );
}

/// What a least-time plan may be slower than the quickest flight of the grid: one lever change.
const LEFT: f64 = 1e-3;

/// Where the fuel on board is too little for the quickest flight, a walk from that comes to a halt far from the best that keeps the
/// reserve: such plans were 1 to 18 % slower than need be.
#[test]
fn crosscheck_no_flight_of_a_grid_is_quicker_within_the_reserve() {
    let quickest = |fuel_gal: u32| {
        let text = common::trip_text("retractable-285hp", fuel_gal, &["KSLN", "KDEN"], "");
        let file = parse_trip(&text, Path::new("trip.toml"), None).expect("the trip loads");
        let mut p = resolve(&file.trip, file.aircraft).expect("the trip resolves");
        p.objective = Objective::Time;
        let plan = plan(&p).expect("a plan");
        (p, plan)
    };
    let (_, plenty) = quickest(70);
    for fuel_gal in [40, 44] {
        let (p, plan) = quickest(fuel_gal);
        // The time of the quickest is no bound too tight, whatever else is to be least.
        let within_s = plan.totals.block_time_s + 1.0;
        let bounded = Problem {
            objective: Objective::Fuel,
            bounds: Bounds {
                within_s: Some(within_s),
                ..Bounds::default()
            },
            ..p.clone()
        };
        let thrifty = fellrun::solve::plan(&bounded).expect("the bound can be kept");
        assert!(thrifty.totals.block_time_s <= within_s);
        // It is the reserve that costs the time.
        assert!(plan.flown.time_s > 1.01 * plenty.flown.time_s);
        assert_eq!(plan.flown.audit.broken(), []);
        let mut brute = Brute::new(&p);
        let mut all: Vec<Kept> = vec![];
        for level_m in levels(&p) {
            all.extend(brute.all_at(&plan.flown.script, level_m));
        }
        let at = charged(&brute.fly(&plan.flown.script).expect("flies"));
        let of_grid = all.iter().map(|k| k.time_s).fold(f64::INFINITY, f64::min);
        println!(
            "{fuel_gal} gal: {:.1} s, the grid {of_grid:.1} s",
            at.time_s
        );
        assert!(at.time_s < of_grid * (1.0 + LEFT));
        assert!(
            of_grid < at.time_s * (1.0 + GRID),
            "the grid comes not near"
        );
    }
}

#[test]
fn closed_form_figures_say_what_the_plans_are() {
    let (p, f) = (problem(), found());
    let figures = FrontierFigures::new(f, &p);
    assert_eq!(figures.plans.len(), f.plans.len());
    // Ranges of the value of an hour follow on one another without a gap, from nothing to everything.
    let mut worth: Vec<_> = figures.plans.iter().filter_map(|p| p.hour_worth).collect();
    worth.reverse();
    assert_eq!(worth[0].from_gal, 0.0);
    for pair in worth.windows(2) {
        assert_eq!(pair[0].to_gal, Some(pair[1].from_gal));
        assert_eq!(pair[0].to_cost, pair[1].from_cost);
    }
    assert_eq!(worth[worth.len() - 1].to_gal, None);
    // The next minute, worked from the totals.
    for pair in figures.plans.windows(2) {
        let (quick, slow) = (&pair[0].totals, &pair[1].totals);
        let next = pair[1].next_minute.expect("there is a quicker plan");
        let saved = slow.time_min - quick.time_min;
        // Figures are written to a millionth.
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-4, "{a} {b}");
        near(next.saved_min, saved);
        near(next.minute_gal, (quick.fuel_gal - slow.fuel_gal) / saved);
        near(
            next.minute_cost.expect("prices"),
            (quick.cost - slow.cost) / saved,
        );
    }
    assert_eq!(figures.plans[0].next_minute, None);
    // At the trip's price of an airborne hour the cheapest plan is the best.
    let hour = figures.prices.as_ref().expect("prices").hour_cost;
    let cheapest = figures.plans.iter().find(|p| p.cheapest).expect("one");
    let range = cheapest.hour_worth.expect("best at some value of time");
    assert!(range.from_cost <= Some(hour) && range.to_cost.is_none_or(|to| hour <= to));
    for width in [80, 100] {
        let text = frontier_text(&figures, width);
        for line in text.lines() {
            let plain = anstream::adapter::strip_str(line).to_string();
            assert!(plain.chars().count() <= width, "{width}: {plain:?}");
        }
        for word in ["Best value", "Cheapest", "Advisory only.", "Cautions"] {
            assert!(text.contains(word), "{width}: no {word}");
        }
    }
    let csv = frontier_csv(&figures).expect("writes");
    let mut rows = csv::Reader::from_reader(&csv[..]);
    let times: Vec<f64> = rows
        .records()
        .map(|r| r.expect("a row")[1].parse().expect("a number"))
        .collect();
    let all: Vec<f64> = figures.plans.iter().map(|p| p.totals.time_min).collect();
    assert_eq!(times, all);
}

#[test]
fn closed_form_without_prices_no_money_and_the_least_load_serves_every_plan() {
    let (trip, aircraft) = demo();
    let trip = Trip {
        prices: Prices {
            per_s: 0.0,
            fuel_per_kg: 0.0,
            ..trip.prices
        },
        objective: Objective::Fuel,
        fuel: FuelLoad::Least,
        ..trip
    };
    let (p, f) = frontier_of_trip(&trip, &aircraft).expect("plans");
    assert_eq!(f.cheapest, None);
    assert_eq!(p.objective, Objective::Fuel);
    let gal_kg = M3_PER_GAL * p.aircraft.fuel.density_kg_m3;
    let most_kg = f
        .plans
        .iter()
        .map(|p| p.totals.fuel_required_kg)
        .fold(0.0, f64::max);
    // To half a gallon, and no more than one step over what the quickest needs.
    assert!(
        most_kg <= p.fuel_kg && p.fuel_kg < most_kg + gal_kg,
        "{most_kg}"
    );
    let figures = FrontierFigures::new(&f, &p);
    assert!(figures.prices.is_none());
    assert!(
        figures
            .plans
            .iter()
            .all(|p| p.hour_worth.is_none_or(|h| h.from_cost.is_none()))
    );
    let text = frontier_text(&figures, 100);
    assert!(text.contains("in gallons of fuel") && !text.contains("Cheapest"));
}
