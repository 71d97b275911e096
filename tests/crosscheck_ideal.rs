//! No flown plan beats the ideal flight: over random trips between real fields, in winds, temperatures and loads made up at random
//! from a fixed seed, so that every run sees the same trips.

use crate::common::{FIELDS, trip_text};
use fellrun::air::field::{Datum, LevelValue, Station, WindField};
use fellrun::air::isa;
use fellrun::earth::{Position, geodesic};
use fellrun::files::trip::parse_trip;
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT};
use fellrun::solve::{open_part, plan_with_workings};
use fellrun::trip::{Objective, Rules, resolve};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use std::cell::Cell;
use std::path::Path;

/// What the grid of the ideal flight may cost: 0.1 % (DESIGN section 6.6).
const GRID: f64 = 1e-3;
const CASES: u32 = 32;
/// Of these at least so many must have a plan, or little is tested.
const PLANNED: u32 = 24;
/// Profiles with a constant-speed propeller and fuel on board, gal.
const PROFILES: [(&str, u32); 4] = [
    ("retractable-200hp", 60),
    ("retractable-285hp", 70),
    ("turbo-retractable-300hp", 70),
    ("twin-200hp", 90),
];
const LEVELS_FT: [f64; 5] = [3_000.0, 6_000.0, 9_000.0, 12_000.0, 18_000.0];

#[derive(Debug, Clone)]
struct Random {
    from: usize,
    to: usize,
    profile: usize,
    objective: usize,
    /// Any multiple of 500 ft, so that little is lost by levels.
    any_level: bool,
    load_lb: f64,
    /// Above standard, K.
    deviation_k: f64,
    /// Direction the wind blows from \[deg\] and speed \[kt\] at each level.
    winds: Vec<(f64, f64)>,
    /// Speed of the wind at the eastern end over that at the western.
    eastern: f64,
}

fn length_nm(from: usize, to: usize) -> f64 {
    let at = |i: usize| Position::new(FIELDS[i].1, FIELDS[i].2).expect("a position");
    geodesic::distance_m(at(from), at(to)) / M_PER_NM
}

fn random() -> impl Strategy<Value = Random> {
    let fields = (0..FIELDS.len(), 0..FIELDS.len())
        .prop_filter("a trip of 80 to 450 nm", |&(a, b)| {
            a != b && (80.0..450.0).contains(&length_nm(a, b))
        });
    let winds = prop::collection::vec((0.0..360.0, 0.0..60.0), LEVELS_FT.len());
    let chosen = (0..PROFILES.len(), 0..3_usize, any::<bool>());
    let numbers = (170.0..500.0, -15.0..25.0, 0.3..1.7);
    (fields, chosen, numbers, winds).prop_map(
        |((from, to), (profile, objective, any_level), (load_lb, deviation_k, eastern), winds)| {
            Random {
                from,
                to,
                profile,
                objective,
                any_level,
                load_lb,
                deviation_k,
                winds,
                eastern,
            }
        },
    )
}

/// The same columns at every field, stronger or weaker to the east.
fn weather(r: &Random) -> WindField {
    let (west, east) = (-104.7, -93.2);
    let stations: Vec<Station> = FIELDS
        .iter()
        .map(|f| {
            let strength = 1.0 + (r.eastern - 1.0) * (f.2 - west) / (east - west);
            let levels = LEVELS_FT.iter().zip(&r.winds).map(|(&ft, &(deg, kt))| {
                let speed = strength * kt * M_S_PER_KT;
                let height_m = ft * M_PER_FT;
                LevelValue {
                    datum: if ft > 12_000.0 {
                        Datum::PressureAltitude
                    } else {
                        Datum::TrueAltitude
                    },
                    height_m,
                    u_m_s: -speed * deg.to_radians().sin(),
                    v_m_s: -speed * deg.to_radians().cos(),
                    temperature_k: Some(isa::temperature_k(height_m) + r.deviation_k),
                }
            });
            Station {
                name: f.0.to_owned(),
                lat_deg: f.1,
                lon_deg: f.2,
                elevation_m: f.3 * M_PER_FT,
                levels: levels.collect(),
            }
        })
        .collect();
    WindField::new(&stations).expect("usable numbers")
}

#[test]
fn crosscheck_no_plan_beats_the_ideal_flight() {
    let planned = Cell::new(0);
    let nearest = Cell::new(f64::INFINITY);
    let config = Config {
        cases: CASES,
        failure_persistence: None,
        max_shrink_iters: 8,
        ..Config::default()
    };
    let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    let run = TestRunner::new_with_rng(config, rng).run(&random(), |r| {
        let (profile, fuel_gal) = PROFILES[r.profile];
        let route = [FIELDS[r.from].0, FIELDS[r.to].0];
        let text = trip_text(profile, fuel_gal, &route, "");
        let file = parse_trip(&text, Path::new("trip.toml"), None).expect("parses");
        let mut trip = file.trip;
        trip.weather.forecasts.truncate(1);
        trip.weather.forecasts[0].field = weather(&r);
        trip.objective = [Objective::Time, Objective::Fuel, Objective::Money][r.objective];
        if r.any_level {
            trip.rules = Rules::None;
        }
        trip.load_kg = r.load_lb * fellrun::quantity::KG_PER_LB;
        // Too heavy, or not enough fuel, or no level: that is an answer too.
        let Ok(p) = resolve(&trip, file.aircraft) else {
            return Ok(());
        };
        let Ok((plan, workings)) = plan_with_workings(&p) else {
            return Ok(());
        };
        let ideal = workings.ideal.expect("the ideal flight is found");
        for (what, flown) in [
            ("before rounding", &workings.unrounded),
            ("rounded", &plan.flown),
        ] {
            let own = open_part(&p, flown).expect("a recorded flight");
            let over = own.cost / ideal.cost - 1.0;
            nearest.set(nearest.get().min(over));
            prop_assert!(
                own.cost >= ideal.cost * (1.0 - GRID),
                "{what}: {} beats the ideal {}",
                own.cost,
                ideal.cost
            );
        }
        let over = plan.unrounded_value / plan.ideal.objective_value - 1.0;
        println!(
            "{profile} {route:?} {:?}: {:.2} % above the ideal",
            p.objective,
            100.0 * over
        );
        prop_assert!(over >= -GRID, "{over}");
        planned.set(planned.get() + 1);
        Ok(())
    });
    println!(
        "{} planned, the nearest {:.3} % above",
        planned.get(),
        100.0 * nearest.get()
    );
    run.unwrap_or_else(|e| panic!("{e}"));
    assert!(planned.get() >= PLANNED, "{}", planned.get());
}
