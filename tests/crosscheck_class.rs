//! The solver against brute force within the flyable class, on ten trips of real fields and real bulletins: one level, two and three,
//! descents in one part and two, settings block by block (`class` says how), each fully flown; and at bounds on time and fuel inside
//! hollows of the frontier.

use crate::common;
mod hollow;

use crate::class::{Brute, Grid, Kept, change_points, is_legal, levels, open};
use fellrun::files::trip::parse_trip;
use fellrun::flight::Script;
use fellrun::quantity::M_PER_NM;
use fellrun::solve::{Plan, charged, plan_trip};
use fellrun::trip::{Bounds, LegLevels, Objective, Problem};
use std::path::Path;
use std::sync::OnceLock;
use std::time::Instant;

/// What the solver may leave on the table, relative: one lever change.
const LEFT: f64 = 1e-3;
/// What is dearer than the best by more than this share is not polished: ten times what polishing is seen to gain.
const FAR: f64 = 1.005;
/// A level by itself that is dearer by more after the coarse blocks stays as it is.
const WORTH_POLISH: f64 = 1.02;
/// Change points of two and three levels.
const CHANGE_M: f64 = 10.0 * M_PER_NM;

const FIRST_BULLETIN: &str = "FBUS33_FD3US3_2026-01-31_310158Z";
const APRIL_15: (&str, &str) = ("FBUS31_FD1US1_2026-04-15_151359Z", "2026-04-15T16:00:00Z");
const APRIL_30: (&str, &str) = ("FBUS31_FD1US1_2026-04-30_302000Z", "2026-04-30T21:00:00Z");
const ROUGH: &str = "[[limits.air]]\nup_to_ft = 5000\nair = \"rough\"\n[[limits.air]]\nup_to_ft = 20000\nair = \"smooth\"";

enum From {
    Demo(&'static str),
    /// Profile, fuel \[gal\], route, what else the trip file says, bulletin and time other than those of the first demo trip.
    Routes(
        &'static str,
        u32,
        &'static [&'static str],
        &'static str,
        Option<(&'static str, &'static str)>,
    ),
}

struct Case {
    from: From,
    objective: Objective,
}

const fn demo(trip: &'static str, objective: Objective) -> Case {
    Case {
        from: From::Demo(trip),
        objective,
    }
}

const fn route(
    profile: &'static str,
    fuel_gal: u32,
    route: &'static [&'static str],
    objective: Objective,
    rest: &'static str,
    weather: Option<(&'static str, &'static str)>,
) -> Case {
    Case {
        from: From::Routes(profile, fuel_gal, route, rest, weather),
        objective,
    }
}

const CASES: [Case; 10] = {
    use Objective::{Fuel, Money, Time};
    [
        demo("first-trip", Fuel),
        demo("hot-afternoon", Money),
        demo("into-the-wind", Time),
        route("retractable-285hp", 60, &["KICT", "KOKC"], Time, "", None),
        route(
            "turbo-retractable-300hp",
            70,
            &["KDEN", "KICT"],
            Money,
            "",
            None,
        ),
        route(
            "twin-200hp",
            90,
            &["KSLN", "KDEN"],
            Fuel,
            "",
            Some(APRIL_15),
        ),
        route(
            "retractable-200hp",
            60,
            &["KMSP", "KDSM", "KMCI"],
            Fuel,
            "",
            None,
        ),
        // A level of one leg is not allowed on the other.
        route(
            "retractable-285hp",
            70,
            &["KLBB", "KAMA", "KICT"],
            Money,
            "",
            Some(APRIL_30),
        ),
        route(
            "retractable-200hp",
            60,
            &["KDEN", "KICT"],
            Time,
            ROUGH,
            None,
        ),
        route(
            "retractable-200hp",
            60,
            &["KICT", "KDSM"],
            Money,
            "",
            Some(APRIL_15),
        ),
    ]
};

/// Of these, with legs that do not allow the same levels.
const VIA: usize = 7;

const DEMOS: [Case; 6] = {
    use Objective::{Fuel, Money, Time};
    [
        demo("first-trip", Time),
        demo("first-trip", Money),
        demo("hot-afternoon", Time),
        demo("hot-afternoon", Fuel),
        demo("into-the-wind", Fuel),
        demo("into-the-wind", Money),
    ]
};

/// Of these, searched in three levels: three levels each, all allowed all the way.
const THREE_LEVELS: [usize; 3] = [4, 5, 8];

/// What brute force made of one trip.
struct Searched {
    name: String,
    p: Problem,
    /// The solver's plan, whether its levels are those of its legs, and what it is charged.
    script: Script,
    lawful: bool,
    planned: f64,
    best: Kept,
    /// The best at each level that can be flown all the way, m.
    at_levels: Vec<(f64, Kept)>,
    flights: usize,
}

fn planned(case: &Case, objective: Objective, bounds: Bounds) -> (String, Problem, Plan) {
    let root = env!("CARGO_MANIFEST_DIR");
    let (name, path, text) = match &case.from {
        From::Demo(t) => {
            let path = format!("{root}/examples/{t}.toml");
            let text = std::fs::read_to_string(&path).expect("reads");
            ((*t).to_owned(), path, text)
        }
        From::Routes(profile, fuel_gal, route, rest, weather) => {
            let mut text = common::trip_text(profile, *fuel_gal, route, rest);
            if route.len() > 2 {
                // So that no leg lies within 3 degrees of north, where the levels of both halves are taken.
                text.insert_str(0, "variation_deg = 12\n");
            }
            if let Some((bulletin, time)) = weather {
                text = text
                    .replace(FIRST_BULLETIN, bulletin)
                    .replace("2026-01-31T15:00:00Z", time);
            }
            (
                format!("{profile} {}", route.join("-")),
                "trip.toml".to_owned(),
                text,
            )
        }
    };
    let mut file =
        parse_trip(&text, Path::new(&path), None).unwrap_or_else(|e| panic!("{name}: {e}"));
    file.trip.objective = objective;
    file.trip.bounds = bounds;
    let name = format!("{name} {objective:?}");
    let (p, plan) = plan_trip(&file.trip, &file.aircraft).unwrap_or_else(|e| panic!("{name}: {e}"));
    (name, p, plan)
}

/// Two levels or more, each with the settings found for it alone, climb and descent those of the first and the last.
fn in_steps(at: &[(&Kept, f64)]) -> Script {
    let (first, last) = (at[0].0, at[at.len() - 1].0);
    let mut script = first.script.clone();
    script.cruise = at
        .iter()
        .map(|(kept, from_m)| {
            let mut c = kept.script.cruise[0];
            c.from_m = *from_m;
            c
        })
        .collect();
    script.descent = last.script.descent;
    script
}

/// The plan in the coarse steps of a search, as all it is compared with; a limit that those miss by a hair is not charged.
fn planned_kept(brute: &mut Brute, plan: &Plan) -> Kept {
    let first = brute.fly(&plan.flown.script).expect("flies");
    let changes = charged(&plan.flown) / plan.flown.cost;
    Kept {
        charged: first.cost * changes,
        keeps: true,
        ..first
    }
}

/// The best of the plan's own levels, from the plan, and what the plan is charged.
fn at_own_levels(brute: &mut Brute, plan: &Plan) -> f64 {
    let start = planned_kept(brute, plan);
    let planned = start.charged;
    let stretches = start.script.cruise.len();
    brute.start(Some(start));
    for i in 0..stretches {
        brute.cruises(i, Grid::Whole);
    }
    brute.descents(Grid::Coarse);
    brute.polish();
    brute.seconds(Grid::Coarse);
    brute.polish();
    planned
}

fn search(case: &Case) -> Searched {
    let begin = Instant::now();
    let (name, p, plan) = planned(case, case.objective, Bounds::default());
    let script = open(&plan.flown.script);
    let mut brute = Brute::new(&p);
    let planned = at_own_levels(&mut brute, &plan);
    let mut best = brute.best.clone().expect("the plan at least");
    let own = best.charged;

    // Every level by itself.
    let mut at_levels = vec![];
    brute.any_level = true;
    for level_m in levels(&p) {
        if let Some(kept) = brute.at_level(&script, level_m, best.charged * WORTH_POLISH) {
            at_levels.push((level_m, kept));
        }
    }
    brute.any_level = false;
    for (_, kept) in &mut at_levels {
        if kept.charged > best.charged * FAR {
            continue;
        }
        brute.start(None);
        if brute.offer(&kept.script.clone()) {
            brute.seconds(Grid::Coarse);
            brute.polish();
            *kept = brute.best.clone().expect("offered");
            if kept.charged < best.charged {
                best = kept.clone();
            }
        }
    }
    let one = best.charged;

    // Ordered pairs of levels.
    let points_m = change_points(&p, CHANGE_M);
    let mut pair: Option<Kept> = None;
    for (_, a) in &at_levels {
        brute.start(None);
        for (_, b) in at_levels
            .iter()
            .filter(|b| b.0 != a.script.cruise[0].level_m)
        {
            for &from_m in &points_m {
                brute.offer(&in_steps(&[(a, 0.0), (b, from_m)]));
            }
        }
        if let Some(b) = brute.best.take().filter(|b| b.keeps)
            && pair.as_ref().is_none_or(|x| b.charged < x.charged)
        {
            pair = Some(b);
        }
    }
    if let Some(kept) = pair.filter(|k| k.charged < best.charged * FAR) {
        brute.start(Some(kept));
        brute.seconds(Grid::Coarse);
        brute.polish();
        let kept = brute.best.take().expect("kept");
        if kept.charged < best.charged {
            best = kept;
        }
    }
    let gain = |x: f64| 100.0 * (planned / x - 1.0);
    println!(
        "{name}: own levels {:.3} %, one level {:.3} %, two {:.3} % better; {} levels, {} flights, {:.1} s",
        gain(own),
        gain(one),
        gain(best.charged),
        at_levels.len(),
        brute.flights,
        begin.elapsed().as_secs_f64()
    );
    let flights = brute.flights;
    Searched {
        lawful: is_legal(&p, &plan.flown),
        script,
        name,
        p,
        planned,
        best,
        at_levels,
        flights,
    }
}

fn searched(i: usize) -> &'static Searched {
    static FOUND: [OnceLock<Searched>; CASES.len()] = [const { OnceLock::new() }; CASES.len()];
    FOUND[i].get_or_init(|| search(&CASES[i]))
}

/// None of these trips has a plan better than the solver's by what it may leave or more.
fn none_better(cases: impl Iterator<Item = usize>) {
    let mut tried = 0;
    for i in cases {
        let s = searched(i);
        assert!(s.lawful, "{}: {:?}", s.name, s.script.cruise);
        assert!(s.flights > 5_000 && !s.at_levels.is_empty(), "{}", s.name);
        let gain = s.planned / s.best.charged - 1.0;
        assert!(
            gain < LEFT,
            "{}: {gain}\n{:?}\n{:?}",
            s.name,
            s.script,
            s.best.script
        );
        tried += 1;
    }
    assert!(tried > 0);
}

#[test]
fn crosscheck_no_better_plan_in_the_class() {
    none_better((0..CASES.len()).filter(|i| *i != VIA));
}

/// Every cruise of a plan is at a level that its leg allows, on a route where the levels of the plan are not allowed all the way.
#[test]

fn crosscheck_levels_are_those_of_their_legs() {
    let s = searched(VIA);
    let all_the_way = |m: f64| {
        let has = |l: &LegLevels| l.levels_m.iter().any(|x| (x - m).abs() < 1.0);
        s.p.levels.iter().all(has)
    };
    assert!(s.script.cruise.iter().any(|c| !all_the_way(c.level_m)));
    none_better(std::iter::once(VIA));
}

fn no_better_settings(case: &Case) {
    let (name, p, plan) = planned(case, case.objective, Bounds::default());
    let mut brute = Brute::new(&p);
    let planned = at_own_levels(&mut brute, &plan);
    let best = brute.best.as_ref().expect("the plan at least");
    let gain = planned / best.charged - 1.0;
    println!(
        "{name}: {:.3} % better in {} flights",
        100.0 * gain,
        brute.flights
    );
    assert!(brute.flights > 2_000, "{name}");
    assert!(
        gain < LEFT,
        "{name}: {gain}\n{:?}\n{:?}",
        plan.flown.script,
        best.script
    );
}

/// The demo trips for the other objectives: settings at the levels of the plan.
#[test]
fn crosscheck_no_better_settings_on_the_demo_trips() {
    DEMOS.iter().for_each(no_better_settings);
}

/// Three levels in any order, with every pair of change points on the grid.
#[test]
fn crosscheck_no_better_plan_in_three_levels() {
    for i in THREE_LEVELS {
        let s = searched(i);
        let mut brute = Brute::new(&s.p);
        let at = &s.at_levels;
        let points_m = change_points(&s.p, CHANGE_M);
        let same = |a: &(f64, Kept), b: &(f64, Kept)| a.0.to_bits() == b.0.to_bits();
        for a in at {
            for b in at.iter().filter(|b| !same(a, b)) {
                for c in at.iter().filter(|c| !same(b, c)) {
                    for &first_m in &points_m {
                        for &second_m in points_m.iter().filter(|&&x| x > first_m + 0.9 * CHANGE_M)
                        {
                            let all = [(&a.1, 0.0), (&b.1, first_m), (&c.1, second_m)];
                            brute.offer(&in_steps(&all));
                        }
                    }
                }
            }
        }
        let tried = brute.flights;
        if brute
            .best
            .as_ref()
            .is_some_and(|b| b.charged < s.planned * FAR)
        {
            brute.polish();
        }
        let best = brute
            .best
            .as_ref()
            .filter(|b| b.keeps)
            .expect("some can be flown");
        let gain = s.planned / best.charged - 1.0;
        println!(
            "{}: three levels {:.3} % better; {} levels, {tried} flights",
            s.name,
            100.0 * gain,
            at.len()
        );
        assert!(at.len() > 2 && tried > 1_000, "{}", s.name);
        assert!(gain < LEFT, "{}: {gain} {:?}", s.name, best.script);
    }
}
