//! The places of a plan: times, fuel and headings by arithmetic of its own.

use crate::common::demo_trip;
use fellrun::brief::{Figures, WaypointFigures};
use fellrun::solve::plan;
use fellrun::trip::Objective;

/// Figures are rounded to a millionth.
const SAME: f64 = 1e-4;

fn of(rows: &[WaypointFigures], kind: &str) -> WaypointFigures {
    let mut found = rows.iter().filter(|w| w.kind == kind);
    let one = found.next().unwrap_or_else(|| panic!("no {kind}"));
    assert!(found.next().is_none(), "two of {kind}");
    one.clone()
}

#[test]
fn closed_form_places_add_up() {
    let p = demo_trip("first-trip.toml", Objective::Money);
    let f = Figures::new(&plan(&p).expect("a plan"), &p);
    let rows = &f.waypoints;
    let kinds: Vec<&str> = rows.iter().map(|w| w.kind).collect();
    assert_eq!(
        kinds,
        [
            "departure",
            "top_of_climb",
            "place",
            "top_of_descent",
            "pattern",
            "destination"
        ]
    );
    let near = |a: f64, b: f64| assert!((a - b).abs() < SAME, "{a} is not {b}");
    near(
        rows.iter().map(|w| w.leg_distance_nm).sum(),
        f.totals.distance_nm,
    );
    for pair in rows.windows(2) {
        near(pair[1].time_min - pair[0].time_min, pair[1].leg_time_min);
        assert!(pair[1].fuel_left_gal < pair[0].fuel_left_gal);
        // What is left less the least is to spare, everywhere the same.
        near(
            pair[1].fuel_left_gal - pair[1].least_fuel_gal,
            pair[0].fuel_left_gal - pair[0].least_fuel_gal,
        );
    }
    let toc = of(rows, "top_of_climb");
    near(toc.distance_nm, f.top_of_climb_nm);
    near(toc.time_min, f.top_of_climb_min);
    let tod = of(rows, "top_of_descent");
    near(tod.to_go_nm, f.top_of_descent_to_go_nm);
    // Heights are met to a foot.
    let height = |a: f64, b: f64| assert!((a - b).abs() < 1.0, "{a} is not {b}");
    height(
        tod.indicated_altitude_ft,
        f.levels_ft[f.levels_ft.len() - 1],
    );
    let pattern_ft = of(rows, "pattern").indicated_altitude_ft;
    height(pattern_ft, f.pattern_altitude_ft);
    // At the field: circuit and reserve are still to come, and the circuit is what is burned after.
    let end = of(rows, "destination");
    let circuit_gal = end.fuel_left_gal - f.totals.landing_fuel_gal;
    assert!(circuit_gal > 0.0);
    near(
        end.least_fuel_gal,
        circuit_gal + f.totals.reserve_required_gal,
    );
}

#[test]
fn closed_form_headings_are_those_of_the_wind_triangle() {
    let p = demo_trip("into-the-wind.toml", Objective::Money);
    let f = Figures::new(&plan(&p).expect("a plan"), &p);
    let mut turned = 0;
    for pair in f.waypoints.windows(2) {
        let w = &pair[1];
        let (Some(course), Some(heading)) = (w.magnetic_course_deg, w.magnetic_heading_deg) else {
            continue;
        };
        let half_nm = 0.5 * (pair[0].distance_nm + w.distance_nm);
        let leg = f
            .legs
            .iter()
            .find(|l| half_nm < l.to_nm)
            .expect("a leg half-way");
        assert!((course - leg.magnetic_course_deg).abs() < SAME);
        // Only in cruise is the speed of the middle that of its neighbours; wind from the table of conditions there.
        let i = f.track.partition_point(|t| t.distance_nm < half_nm);
        let t = &f.track[i];
        if f.segments[t.segment].kind != "cruise" {
            continue;
        }
        // Along-track speed through the air from ground speed and wind, and the angle whose cosine it is.
        let along = t.gs_kt - t.wind_along_kt;
        let angle = (along / t.tas_kt).clamp(-1.0, 1.0).acos().to_degrees();
        let off = (heading - course + 180.0).rem_euclid(360.0) - 180.0;
        // The point of the track is up to 5 nm from the middle of the way.
        assert!(
            (off.abs() - angle).abs() < 1.5,
            "{off} of {angle} at {half_nm}"
        );
        let stretch = f
            .conditions
            .winds
            .iter()
            .find(|s| half_nm >= s.from_nm && half_nm <= s.to_nm)
            .expect("a stretch");
        let level = stretch
            .levels
            .iter()
            .min_by(|a, b| {
                let d = |x: f64| (x - t.pressure_altitude_ft).abs();
                d(a.pressure_altitude_ft).total_cmp(&d(b.pressure_altitude_ft))
            })
            .expect("levels");
        // Wind from the left is met by heading to the left.
        if level.wind_cross_kt.abs() > 3.0 {
            assert!(
                off * level.wind_cross_kt < 0.0,
                "{off} in {}",
                level.wind_cross_kt
            );
            turned += 1;
        }
    }
    assert!(turned > 0);
}

#[test]
fn crosscheck_the_shift_of_the_top_of_descent_is_that_of_flights_in_other_wind() {
    let p = demo_trip("first-trip.toml", Objective::Money);
    let f = Figures::new(&plan(&p).expect("a plan"), &p);
    let shift = &f.top_of_descent_shift;
    assert!((shift.ground_speed_kt - 10.0).abs() < SAME);
    let other = |kind: &str| {
        let s = f.sensitivity.iter().find(|s| s.kind == kind);
        let flown = s.and_then(|s| s.outcome.as_ref()).expect("flown");
        flown.top_of_descent_to_go_nm - f.top_of_descent_to_go_nm
    };
    // Flown with 10 kt of wind more and less, start down in tenths of a mile; the wind changes with height, which moves it a little more.
    for (kind, sign) in [("tail_wind", 1.0), ("head_wind", -1.0)] {
        let flown = other(kind);
        assert!(
            (flown - sign * shift.earlier_nm).abs() < 0.4,
            "{kind} {flown}"
        );
    }
}
