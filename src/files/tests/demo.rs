//! Tests of the demo files, and of what a trip leaves out.

use std::path::Path;

use super::{FIRST, PROFILE, TRIPS, root, text, trip_with, with};
use crate::files::profile::{load_profile, parse_profile};
use crate::files::trip::{load_trip, parse_trip};
use crate::trip::{FuelLoad, Objective, Roughness};

#[test]
fn closed_form_demo_profile_in_si() {
    let a = load_profile(&root(PROFILE)).expect("the demo profile");
    // by hand: 64 gal x 6 lb/gal = 384 lb = 174.179 kg; 361 cu in = 5.91573e-3 m3; 200 hp = 149,139.97 W;
    // 1.2 gph x 6 lb/gal = 7.2 lb/h = 9.0718e-4 kg/s; 2 inHg/min = 112.880 Pa/s; 170 sq ft = 15.7935 m2;
    // 74 in = 1.8796 m; 6 lb/gal = 718.957 kg/m3.
    let close = |x: f64, y: f64| assert!((x / y - 1.0).abs() < 1e-5, "{x} is not {y}");
    close(a.fuel.usable_kg, 174.179);
    close(a.fuel.density_kg_m3, 718.957);
    close(a.engine.spec.displacement_m3, 5.915_73e-3);
    close(a.engine.spec.rated_power_w, 149_139.97);
    close(a.engine.spec.idle_fuel_kg_s, 9.071_85e-4);
    close(a.engine.spec.friction_pa[0], 97_000.0);
    close(a.procedures.map_reduction_pa_s, 112.880);
    close(a.airframe.wing_area_m2, 15.793_5);
    close(a.propeller.table.diameter_m(), 1.879_6);
    close(a.propeller.highest_governed_rev_s, 45.0);
    assert_eq!(
        (
            a.engine.spec.mixtures.len(),
            a.procedures.map_limit.len(),
            a.airframe.flaps.len()
        ),
        (4, 4, 2)
    );
}

#[test]
fn closed_form_demo_trips_load() {
    for path in TRIPS {
        let loaded = load_trip(&root(path), None).unwrap_or_else(|e| panic!("{}", e.render(false)));
        let trip = &loaded.trip;
        assert_eq!((trip.places.len(), trip.ground.len()), (3, 2), "{path}");
        let (from, to) = trip.weather.sources[0].period.expect("a period of use");
        assert!(from <= trip.departure_time && trip.departure_time <= to);
        assert!(
            trip.weather.departure_temperature_k.is_some()
                && trip.weather.destination_temperature_k.is_some()
        );
        crate::trip::resolve(trip, loaded.aircraft.clone())
            .unwrap_or_else(|e| panic!("{path}: {e}"));
        // 55 gal x 6 lb/gal = 330 lb = 149.685 kg; 6.50 per gal = 2.38834 per kg; 400 lb = 181.437 kg
        assert!(matches!(trip.fuel, FuelLoad::Kg(kg) if (kg - 149.685).abs() < 1e-3));
        assert!((trip.prices.fuel_per_kg - 2.388_34).abs() < 1e-5);
        assert!((trip.load_kg - 181.437).abs() < 1e-3);
    }
    let hot = load_trip(&root(TRIPS[1]), None).expect("loaded above").trip;
    assert_eq!(hot.limits.air.first().map(|a| a.1), Some(Roughness::Rough));
    let wind = load_trip(&root(TRIPS[2]), None).expect("loaded above").trip;
    assert_eq!(wind.objective, Objective::Time);
}

#[test]
fn closed_form_the_reverse_trip_has_the_same_ground() {
    let there = load_trip(&root(FIRST), None).expect("a demo trip").trip;
    let back = load_trip(&root(TRIPS[2]), None).expect("a demo trip").trip;
    let mut compared = 0;
    for (a, b) in there.ground.iter().zip(back.ground.iter().rev()) {
        let length = a.ground.last().expect("rows").0;
        for i in 0..1000 {
            // off the ends of the stretches, which are open on one side
            let x = length * (f64::from(i) + 0.31) / 1000.0;
            let at = |rows: &[(f64, f64)], x: f64| rows.iter().find(|r| x < r.0).map(|r| r.1);
            assert_eq!(at(&a.ground, x), at(&b.ground, length - x), "{x}");
            compared += 1;
        }
    }
    assert_eq!(compared, 2000);
}

/// The heads of the demo trips say what the wind does; this keeps them true.
#[test]
fn regress_wind_of_the_demo_trips() {
    use crate::air::triangle::along_and_cross_m_s;
    use crate::earth::geodesic::Leg;
    use crate::quantity::{M_PER_FT, M_S_PER_KT};
    let height_m = 10_500.0 * M_PER_FT;
    // least and greatest tail wind (kt) at 10,500 ft at nine points of each leg
    for (path, least, greatest) in [
        (TRIPS[0], 10.0, 35.0),
        (TRIPS[1], -15.0, 15.0),
        (TRIPS[2], -40.0, -24.0),
    ] {
        let trip = load_trip(&root(path), None).expect("a demo trip").trip;
        let mut tails = Vec::new();
        for pair in trip.places.windows(2) {
            let leg = Leg::new(pair[0].position, pair[1].position).expect("two places");
            for i in 0..9 {
                let along_m = leg.distance_m() * f64::from(i) / 8.0;
                let at = leg.point_at(along_m);
                let air = trip.weather.forecasts[0].field.at(
                    at.lat_deg(),
                    at.lon_deg(),
                    height_m,
                    height_m,
                );
                let air = air.expect("wind on the route");
                let (tail, _) =
                    along_and_cross_m_s(leg.course_at_rad(along_m), air.u_m_s, air.v_m_s);
                tails.push(tail / M_S_PER_KT);
            }
        }
        assert_eq!(tails.len(), 18);
        let inside = tails.iter().all(|t| (least..=greatest).contains(t));
        assert!(inside, "{path}: {tails:.0?}");
    }
}

#[test]
fn closed_form_byte_order_mark_and_crlf_are_accepted() {
    let crlf = |path: &str| format!("\u{feff}{}", text(path).replace('\n', "\r\n"));
    parse_profile(&crlf(PROFILE), Path::new("p.toml")).expect("a profile with CR LF");
    parse_trip(&crlf(FIRST), &root(FIRST), None).expect("a trip with CR LF");
    let wrong = crlf(PROFILE).replace("vno_kt = 152", "vno_kt = 1520");
    let error = parse_profile(&wrong, Path::new("p.toml")).expect_err("a speed out of range");
    let line = text(PROFILE)
        .lines()
        .position(|l| l.starts_with("vno_kt"))
        .expect("vno")
        + 1;
    assert_eq!(
        (error.findings[0].line, error.findings[0].column),
        (line, 10)
    );
}

#[test]
fn closed_form_defaults_of_a_trip() {
    let night = trip_with("reserve_min = 45\n", "")
        .expect("the reserve has a default")
        .trip;
    assert_eq!(night.limits.reserve_s, 45.0 * 60.0);
    let changed = with(
        &with(&text(FIRST), "reserve_min = 45\n", ""),
        "[[place]]",
        "night = true\n[[place]]",
    );
    let night = parse_trip(&changed, &root(FIRST), None)
        .expect("a night trip")
        .trip;
    assert_eq!(night.limits.reserve_s, 60.0 * 60.0);
    let least = trip_with("on_board_gal = 55", "on_board_gal = \"least\"")
        .expect("least fuel")
        .trip;
    assert_eq!(least.fuel, FuelLoad::Least);
    // the profile's own figures, typed again, are not looser than the profile
    trip_with(
        "reserve_min = 45",
        "least_map_inhg = 15\nmap_reduction_inhg_per_min = 2",
    )
    .expect("the same limits");
    let text_place = trip_with("lat = 43.131609", "lat = \"43 07 53.8 N\"")
        .expect("a latitude as text")
        .trip;
    assert!((text_place.places[1].position.lat_deg() - 43.131_611).abs() < 1e-6);
}
