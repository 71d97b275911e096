//! The least load: it covers what its own flight needs, and half a gallon less does not.

use fellrun::quantity::M3_PER_GAL;
use fellrun::solve::plan_trip;
use fellrun::trip::FuelLoad;
use std::path::Path;

#[test]
fn crosscheck_least_fuel_is_enough_and_no_more() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
    let file = fellrun::files::trip::load_trip(&path, None).expect("the demo trip loads");
    let mut trip = file.trip;
    trip.fuel = FuelLoad::Least;
    let (problem, plan) = plan_trip(&trip, &file.aircraft).expect("a plan");
    let step = 0.5 * M3_PER_GAL * file.aircraft.fuel.density_kg_m3;
    let load = problem.fuel_kg;
    assert!(plan.totals.fuel_required_kg <= load + 1e-6);
    assert!(
        load - plan.totals.fuel_required_kg < step,
        "half a gallon less would do"
    );
    assert!(
        (load / step - (load / step).round()).abs() < 1e-6,
        "a load a pump can give"
    );
}
