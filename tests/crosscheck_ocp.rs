//! The planner against optimal control by an independent method: direct collocation with IPOPT, solved by `tests/crosscheck/ocp.py`
//! on trips of its own. `tests/crosscheck/SOURCE.md` says what is compared and what it is worth; `cargo test --test whole crosscheck_ocp::
//! -- --nocapture` prints the figures.

use fellrun::aircraft::{AirState, Levers, Throttle};
use fellrun::files::trip::load_trip;
use fellrun::quantity::*;
use fellrun::solve::{open_part, plan_with_workings};
use fellrun::trip::{Problem, Rules, Trip, resolve};
use serde::Deserialize;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// Ideal flight against the free problem (issue bar: 0.5 %).
const IDEAL: f64 = 0.005;
/// Plan before rounding and without the rule of levels, against the problem bound to full throttle in the climb (issue bar: 1.0 %).
const UNROUNDED: f64 = 0.010;
/// Plan after rounding and with the rule of levels, against the same (issue bar: 1.5 %).
const ROUNDED: f64 = 0.015;
/// Grid against the grid the reference was solved on, relative to full thrust and full flow: the digits it is printed with. The
/// smallest change of an engine or propeller worth a new reference moves it by more.
const SAME_MODEL: f64 = 1e-5;

/// By how much a rule may seem to make a flight cheaper: the search's own slack, half of what the plan is allowed before rounding.
const SLACK: f64 = 0.005;

#[derive(Deserialize)]
struct Reference {
    grid: Vec<Sample>,
    trips: Vec<Solved>,
}

/// A row of `fellrun grid` as the script read it.
#[derive(Deserialize)]
struct Sample {
    isa_dev_c: f64,
    pressure_altitude_ft: f64,
    tas_kt: f64,
    rpm: f64,
    map_inhg: f64,
    mixture: String,
    thrust_n: f64,
    fuel_flow_gph: f64,
}

#[derive(Deserialize)]
struct Solved {
    name: String,
    free: Solution,
    bound: Solution,
}

#[derive(Deserialize)]
struct Solution {
    cost: f64,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/crosscheck")
}

fn reference() -> Reference {
    let path = folder().join("reference.json");
    let text = std::fs::read_to_string(&path).expect("the reference is committed");
    serde_json::from_str(&text).expect("the script wrote it")
}

fn problem(name: &str, change: impl Fn(&mut Trip)) -> Problem {
    let path = folder().join("trips").join(format!("{name}.toml"));
    let mut file = load_trip(&path, None).expect("the trip loads");
    change(&mut file.trip);
    resolve(&file.trip, file.aircraft).expect("the trip resolves")
}

/// Costs of one trip between the end of the initial climb and the pattern point, in the unit of its objective.
struct Compared {
    name: String,
    free: f64,
    bound: f64,
    ideal: f64,
    unrounded: f64,
    /// Rounded, any multiple of 500 ft.
    rounded: f64,
    /// Rounded, with the rule of semicircles.
    legal: f64,
}

fn compared(solved: &Solved) -> Compared {
    let name = &solved.name;
    let any = problem(name, |t| t.rules = Rules::None);
    let (plan, workings) = plan_with_workings(&any).unwrap_or_else(|e| panic!("{name}: {e}"));
    let part = |p: &Problem, f| open_part(p, f).expect("a recorded flight").cost;
    let ruled = problem(name, |_| ());
    let (legal, _) = plan_with_workings(&ruled).unwrap_or_else(|e| panic!("{name}: {e}"));
    Compared {
        name: name.clone(),
        free: solved.free.cost,
        bound: solved.bound.cost,
        ideal: workings.ideal.expect("the ideal flight is found").cost,
        unrounded: part(&any, &workings.unrounded),
        rounded: part(&any, &plan.flown),
        legal: part(&ruled, &legal.flown),
    }
}

static COMPARED: LazyLock<Vec<Compared>> = LazyLock::new(|| {
    let all: Vec<Compared> = reference().trips.iter().map(compared).collect();
    let percent = |a: f64, b: f64| 100.0 * (a / b - 1.0);
    println!(
        "{:16} {:>10} {:>10} {:>8} {:>8} {:>9} {:>8} {:>8} {:>8}",
        "trip", "(i)", "(ii)", "(ii)-(i)", "ideal", "unrounded", "rounding", "levels", "in all"
    );
    for c in &all {
        println!(
            "{:16} {:10.3} {:10.3} {:7.2}% {:7.2}% {:8.2}% {:7.2}% {:7.2}% {:7.2}%",
            c.name,
            c.free,
            c.bound,
            percent(c.bound, c.free),
            percent(c.ideal, c.free),
            percent(c.unrounded, c.bound),
            percent(c.rounded, c.unrounded),
            percent(c.legal, c.rounded),
            percent(c.legal, c.bound),
        );
    }
    all
});

/// Every miss at once, so that a run says all there is to say.
fn hold(
    what: &str,
    value: impl Fn(&Compared) -> f64,
    against: impl Fn(&Compared) -> f64,
    bar: f64,
) {
    assert!(COMPARED.len() >= 8, "only {} trips", COMPARED.len());
    let misses: Vec<String> = COMPARED
        .iter()
        .map(|c| (c, value(c) / against(c) - 1.0))
        .filter(|(_, miss)| miss.is_nan() || miss.abs() > bar)
        .map(|(c, miss)| format!("{} by {:+.2} %", c.name, 100.0 * miss))
        .collect();
    assert!(
        misses.is_empty(),
        "{what} beyond {:.1} %: {}",
        100.0 * bar,
        misses.join(", ")
    );
}

#[test]
fn crosscheck_ideal_flight_against_free_optimal_control() {
    hold("ideal flight", |c| c.ideal, |c| c.free, IDEAL);
}

#[test]
fn crosscheck_plan_before_rounding_against_bound_optimal_control() {
    hold(
        "plan before rounding",
        |c| c.unrounded,
        |c| c.bound,
        UNROUNDED,
    );
}

#[test]
fn crosscheck_plan_after_rounding_against_bound_optimal_control() {
    hold("plan", |c| c.legal, |c| c.bound, ROUNDED);
}

#[test]
fn crosscheck_the_reference_was_solved_for_this_model() {
    let reference = reference();
    let p = problem("calm-money", |_| ());
    let a = &p.aircraft;
    assert!(reference.grid.len() >= 6);
    for s in &reference.grid {
        let hp = s.pressure_altitude_ft * M_PER_FT;
        let air = AirState::new(
            fellrun::air::isa::pressure_pa(hp),
            fellrun::air::isa::temperature_k(hp) + s.isa_dev_c,
        );
        let mixtures = &a.engine.spec.mixtures;
        let levers = Levers {
            throttle: Throttle::Map(s.map_inhg * PA_PER_INHG),
            rev_s: s.rpm / 60.0,
            mixture: mixtures
                .iter()
                .position(|m| m.name == s.mixture)
                .expect("a mixture of the profile"),
        };
        let set = a.perform(air, s.tas_kt * M_S_PER_KT, levers);
        let flow = set.fuel_kg_s * 3600.0 / (a.fuel.density_kg_m3 * M3_PER_GAL);
        // Full thrust and full flow of this aeroplane: about 3,000 N and 17 gal/h.
        assert!(
            (set.thrust_n - s.thrust_n).abs() < 3_000.0 * SAME_MODEL
                && (flow - s.fuel_flow_gph).abs() < 17.0 * SAME_MODEL,
            "{:.0} ft, {:.0} kt, {:.0} rpm: {} N and {} gal/h, the reference has {} and {}; run tests/crosscheck/ocp.py again",
            s.pressure_altitude_ft,
            s.tas_kt,
            s.rpm,
            set.thrust_n,
            flow,
            s.thrust_n,
            s.fuel_flow_gph
        );
    }
}

#[test]
#[ignore = "long: plans every trip once more for each rule, and prints what the rule costs"]
fn crosscheck_no_rule_makes_a_flight_cheaper() {
    type Change = fn(&mut Trip);
    let rules: [(&str, Change); 4] = [
        ("levels", |t| t.rules = Rules::UsVfr),
        ("500 fpm", |t| {
            t.limits.max_descent_m_s = 500.0 * M_S_PER_FPM
        }),
        ("2 in/min", |t| {
            t.limits.map_reduction_pa_s = 2.0 * PA_PER_INHG / 60.0
        }),
        ("15 in", |t| t.limits.least_map_pa = 15.0 * PA_PER_INHG),
    ];
    let cost = |name: &str, change: Change| {
        let p = problem(name, |t| {
            t.rules = Rules::None;
            change(t);
        });
        // A rule may leave no flight at all.
        let (plan, _) = plan_with_workings(&p).ok()?;
        open_part(&p, &plan.flown).map(|part| part.cost)
    };
    print!("{:16}", "trip");
    rules.iter().for_each(|r| print!(" {:>9}", r.0));
    println!();
    let mut wrong = vec![];
    for trip in reference().trips {
        let free = cost(&trip.name, |_| ()).expect("a plan without the rules");
        print!("{:16}", trip.name);
        for (rule, change) in rules {
            let Some(ruled) = cost(&trip.name, change) else {
                print!(" {:>9}", "no plan");
                continue;
            };
            let dearer = ruled / free - 1.0;
            print!(" {:8.2}%", 100.0 * dearer);
            if dearer < -SLACK {
                wrong.push(format!("{} {rule} {:+.2} %", trip.name, 100.0 * dearer));
            }
        }
        println!();
    }
    assert!(wrong.is_empty(), "{}", wrong.join(", "));
}
