//! Plans under a bound on time or fuel: the rounded, flown plan keeps it, gets no dearer as the bound is relaxed, and is not beaten by
//! other plans that keep it. Source of the demo trip: its own file; everything here is our own plans held against each other.

use fellrun::aircraft::Aircraft;
use fellrun::files::trip::load_trip;
use fellrun::quantity::M3_PER_GAL;
use fellrun::solve::{Plan, SolveError, TripError, plan_trip};
use fellrun::trip::{Bounds, Objective, Trip};
use std::path::Path;

/// What the search may leave: 0.1 % of the objective, one lever change.
const LEFT: f64 = 1.001;

fn demo() -> (Trip, Aircraft) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
    let file = load_trip(&path, None).expect("the demo trip loads");
    (file.trip, file.aircraft)
}

fn plan(trip: &Trip, aircraft: &Aircraft, objective: Objective, bounds: Bounds) -> Plan {
    let trip = Trip {
        objective,
        bounds,
        ..trip.clone()
    };
    plan_trip(&trip, aircraft)
        .unwrap_or_else(|e| panic!("{bounds:?}: {e}"))
        .1
}

#[test]
fn crosscheck_least_fuel_within_a_time() {
    let (trip, aircraft) = demo();
    let taxi_s = aircraft.procedures.taxi_time_s;
    let within = |min: f64| Bounds {
        within_s: Some(60.0 * min),
        ..Bounds::default()
    };
    let free: Vec<Plan> = [Objective::Time, Objective::Money, Objective::Fuel]
        .map(|o| plan(&trip, &aircraft, o, Bounds::default()))
        .into();
    let mut last = f64::INFINITY;
    let mut found = Vec::new();
    for min in [114.5, 118.0, 125.0, 140.0, 170.0] {
        let p = plan(&trip, &aircraft, Objective::Fuel, within(min));
        let taken_min = (taxi_s + p.flown.time_s) / 60.0;
        println!(
            "within {min} min: {taken_min:.2} min, {:.3} kg, {:?}",
            p.flown.fuel_kg, p.flown.script.cruise
        );
        assert!(taken_min <= min, "{taken_min} {min}");
        assert_eq!(p.flown.audit.broken(), []);
        assert!(
            p.reflight.within_bounds(aircraft.fuel.density_kg_m3),
            "{min}"
        );
        assert!(
            p.flown.fuel_kg <= last * LEFT,
            "{min}: {} {last}",
            p.flown.fuel_kg
        );
        last = p.flown.fuel_kg;
        found.push(p);
    }
    // No plan that any other question found keeps the bound with less fuel.
    for p in &found {
        let bound_s = p.flown.time_s;
        for other in free.iter().chain(&found) {
            if other.flown.time_s <= bound_s {
                assert!(
                    p.flown.fuel_kg <= other.flown.fuel_kg * LEFT,
                    "{} {}",
                    p.flown.fuel_kg,
                    other.flown.fuel_kg
                );
            }
        }
    }
    // A bound that does not bind changes nothing.
    assert_eq!(found[4].flown.script, free[2].flown.script);
}

#[test]
fn crosscheck_least_time_with_fuel_bounds() {
    let (trip, aircraft) = demo();
    let gal_kg = M3_PER_GAL * aircraft.fuel.density_kg_m3;
    let taxi_kg = aircraft.procedures.taxi_fuel_kg;
    let most = 15.0 * gal_kg;
    let burned = plan(
        &trip,
        &aircraft,
        Objective::Time,
        Bounds {
            most_fuel_kg: Some(most),
            ..Bounds::default()
        },
    );
    assert!(taxi_kg + burned.flown.fuel_kg <= most);
    // 55 gal on board: landing with 40 is the same as burning 15.
    let left = plan(
        &trip,
        &aircraft,
        Objective::Time,
        Bounds {
            least_landing_kg: Some(40.0 * gal_kg),
            ..Bounds::default()
        },
    );
    assert_eq!(left.flown.script, burned.flown.script);
    assert!(left.totals.landing_fuel_kg >= 40.0 * gal_kg);
}

#[test]
fn closed_form_what_cannot_be_had_is_said_with_the_nearest() {
    let (trip, aircraft) = demo();
    let quickest = plan(&trip, &aircraft, Objective::Time, Bounds::default());
    let refused = plan_trip(
        &Trip {
            bounds: Bounds {
                within_s: Some(100.0 * 60.0),
                ..Bounds::default()
            },
            ..trip
        },
        &aircraft,
    );
    let Err(TripError::Solve(SolveError::Bound { asked, nearest })) = refused.map(|_| ()) else {
        panic!("refused with the nearest figure");
    };
    assert_eq!(asked, "no plan lands within 100.0 min of start-up");
    let min = (aircraft.procedures.taxi_time_s + quickest.flown.time_s) / 60.0;
    assert_eq!(nearest, format!("the quickest takes {min:.1} min"));
}
