//! True height against indicated: closed forms of the column of air, published rules and tables, and what hangs on it.

use crate::common::{demo, problem};
use fellrun::air::{Datum, LevelValue, Station, WindField, isa};
use fellrun::flight::Limit;
use fellrun::quantity::{M_PER_FT, M_PER_NM, PA_PER_INHG};
use fellrun::solve::{Warning, plan};
use fellrun::trip::{Objective, Problem, RouteAir, Rules, legal_levels, resolve};
use std::path::Path;

/// The crate's column is summed by steps of 125 ft: centimetres.
const SUMMED_M: f64 = 1.0;
/// Constants of the standard atmosphere (ICAO Doc 7488), written here again: m/s2, J/(kg K), Pa.
const G: f64 = 9.806_65;
const R: f64 = 287.052_87;
const P0: f64 = 101_325.0;

/// A demo trip of one leg between fields at these elevations \[m\], its air at each height \[m\] of this temperature \[K\], calm.
fn trip_in(
    temperature_k: &dyn Fn(f64) -> f64,
    elevations_m: [f64; 2],
    altimeter_pa: [f64; 2],
) -> Problem {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let file = fellrun::files::trip::load_trip(&root.join("examples/first-trip.toml"), None)
        .expect("the demo trip");
    let mut trip = file.trip;
    let station = |name: &str, lon_deg: f64| Station {
        name: name.into(),
        lat_deg: 43.3,
        lon_deg,
        elevation_m: 0.0,
        // Every 50 m: between levels the field is linear.
        levels: (0..=140)
            .map(|i| 50.0 * f64::from(i))
            .map(|z| LevelValue {
                datum: Datum::TrueAltitude,
                height_m: z,
                u_m_s: 0.0,
                v_m_s: 0.0,
                temperature_k: Some(temperature_k(z)),
            })
            .collect(),
    };
    trip.weather.forecasts.truncate(1);
    trip.weather.forecasts[0].field =
        WindField::new(&[station("W", -119.0), station("E", -112.0)]).expect("in order");
    trip.weather.departure_altimeter_pa = altimeter_pa[0];
    trip.weather.destination_altimeter_pa = altimeter_pa[1];
    trip.places.remove(1);
    trip.ground.remove(1);
    trip.places[0].elevation_m = Some(elevations_m[0]);
    trip.places[1].elevation_m = Some(elevations_m[1]);
    trip.ground[0].ground = vec![(1e7, 0.0)];
    trip.ground[0].mountainous = false;
    trip.ground[0].minimum_m = 0.0;
    trip.arrival.pattern_altitude_m = elevations_m[1] + 300.0;
    trip.rules = Rules::None;
    resolve(&trip, file.aircraft).expect("resolves")
}

#[test]
fn closed_form_isothermal_column() {
    // p = p0 exp(-g z / (R T)) over a field at sea level with the standard setting.
    for t in [230.0, 260.0, 288.15, 300.0] {
        let p = trip_in(&|_| t, [0.0, 0.0], [P0, P0]);
        for z in [300.0, 1_500.0, 3_300.0] {
            let hp = isa::pressure_altitude_m(P0 * (-G * z / (R * t)).exp());
            let found = p.air.at(0.5 * p.length_m, hp, 0.0).true_altitude_m;
            assert!((found - z).abs() < SUMMED_M, "{t} K: {found} m at {z} m");
        }
    }
}

#[test]
fn closed_form_column_off_the_standard_by_a_constant() {
    // T = T0 - L z: p = p0 (1 - L z / T0)^(g / (R L)); from a field at 1,200 m, where an altimeter on the field's setting reads right.
    let (lapse, setting_pa) = (0.0065, 30.42 * PA_PER_INHG);
    for off_k in [-40.0, -15.0, 0.0, 20.0] {
        let t0 = 288.15 + off_k;
        let p = trip_in(
            &|z| t0 - lapse * z,
            [1_200.0, 1_200.0],
            [setting_pa, setting_pa],
        );
        let field_pa = isa::station_pressure_pa(1_200.0, setting_pa);
        for z in [1_200.0, 2_000.0, 3_500.0] {
            let ratio = (t0 - lapse * z) / (t0 - lapse * 1_200.0);
            let hp = isa::pressure_altitude_m(field_pa * ratio.powf(G / (R * lapse)));
            let s = 0.3 * p.length_m;
            let found = p.air.at(s, hp, 0.0).true_altitude_m;
            assert!(
                (found - z).abs() < SUMMED_M,
                "{off_k} K: {found} m at {z} m"
            );
            if off_k < 0.0 && z > 1_200.0 {
                assert!(p.indicated_m(s, hp) > z + 20.0, "cold air reads high");
            }
        }
    }
}

#[test]
fn published_four_percent_in_ten_degrees() {
    // The pilots' rule: true height above the source of the setting differs by 4 % of it in each 10 degrees C off the standard (ICAO Doc
    // 8168 vol. I part III section 1 chapter 4, "4 per cent", from memory). 10 K over a mean of 245 to 290 K are 3.4 to 4.1 %.
    for (height_ft, off_k) in [
        (3_000.0, -10.0),
        (6_000.0, -20.0),
        (10_000.0, -30.0),
        (10_000.0, 15.0),
    ] {
        let p = problem(demo(), 200.0, 0.0, off_k);
        let true_ft = p.air.at(1e5, height_ft * M_PER_FT, 0.0).true_altitude_m / M_PER_FT;
        let percent_per_ten = 100.0 * (true_ft / height_ft - 1.0) / off_k * 10.0;
        assert!(
            (3.4..=4.2).contains(&percent_per_ten),
            "{height_ft} ft, {off_k} K: {percent_per_ten}"
        );
    }
}

#[test]
fn published_cold_temperature_table() {
    // Values to be added to heights above the source of the altimeter setting, ft, by the temperature there (ICAO Doc 8168, table
    // III-1-4-1 b, also FAA AIM table 7-3-1; from memory). Rounded up to 10 ft.
    let heights_ft = [500.0, 1_000.0, 2_000.0, 3_000.0, 4_000.0, 5_000.0];
    let table = [
        (0.0, [30.0, 60.0, 120.0, 170.0, 230.0, 280.0]),
        (-10.0, [50.0, 100.0, 200.0, 290.0, 390.0, 490.0]),
        (-20.0, [70.0, 140.0, 280.0, 420.0, 570.0, 710.0]),
        (-30.0, [100.0, 190.0, 380.0, 570.0, 760.0, 950.0]),
        (-40.0, [120.0, 240.0, 480.0, 720.0, 970.0, 1_210.0]),
        (-50.0, [150.0, 300.0, 590.0, 890.0, 1_190.0, 1_500.0]),
    ];
    // The last figure is rounded up, and the table takes a mean temperature where the column is summed.
    const ROUNDED_FT: f64 = 12.0;
    for (surface_c, row) in table {
        let p = problem(demo(), 200.0, 0.0, surface_c - 15.0);
        for (height_ft, more_ft) in heights_ft.into_iter().zip(row) {
            // What the altimeter shows at this true height, by bisection.
            let (mut lo, mut hi) = (0.0, 3.0 * height_ft);
            for _ in 0..60 {
                let mid = 0.5 * (lo + hi);
                if p.air.at(1e5, mid * M_PER_FT, 0.0).true_altitude_m < height_ft * M_PER_FT {
                    lo = mid;
                } else {
                    hi = mid;
                }
            }
            let found = lo - height_ft;
            assert!(
                (found - more_ft).abs() < ROUNDED_FT,
                "{surface_c} C, {height_ft} ft: {found}, not {more_ft}"
            );
        }
    }
}

#[test]
fn closed_form_least_level_rises_in_cold_air() {
    let least_ft = |off_k: f64, ground_ft: f64, minimum_ft: f64| {
        let mut p = problem(demo(), 200.0, 0.0, off_k);
        p.rules = Rules::None;
        p.legs[0].ground = vec![(0.0, p.length_m, ground_ft * M_PER_FT)];
        p.legs[0].minimum_m = minimum_ft * M_PER_FT;
        let levels = legal_levels(&p, &p.legs[0]);
        (levels.levels_m[0] / M_PER_FT).round()
    };
    // Ground of 5,500 ft and 1,000 ft of clearance: 6,500 ft in standard air. 45 K colder, T at mean height is some 236 K, so that
    // 6,500 ft are reached at 6,500 / (1 - 45 / 281) = 7,740 ft indicated: the next level is 8,000.
    assert_eq!(least_ft(0.0, 5_500.0, 1_000.0), 6_500.0);
    assert_eq!(least_ft(-45.0, 5_500.0, 1_000.0), 8_000.0);
    // The same for a minimum altitude from a chart; in warm air it stays what it is.
    assert_eq!(least_ft(0.0, 0.0, 6_500.0), 6_500.0);
    assert_eq!(least_ft(-45.0, 0.0, 6_500.0), 8_000.0);
    assert_eq!(least_ft(25.0, 0.0, 6_500.0), 6_500.0);
    // 50 ft are what an altimeter is read to: a degree or so changes no minimum altitude.
    assert_eq!(least_ft(-1.5, 0.0, 6_500.0), 6_500.0);
}

#[test]
fn crosscheck_climb_and_descent_clear_the_ground_in_cold_air() {
    // Ground that rises towards the middle of the route, in air 35 K too cold: the flown path clears it in true height everywhere,
    // found here from temperature alone, and the pilot is told of the difference.
    let off_k = -35.0;
    let mut p = problem(demo(), 250.0, 0.0, 0.0);
    p.objective = Objective::Fuel;
    p.air = RouteAir::uniform(p.length_m, 0.0, 0.0, off_k, 25_000.0 * M_PER_FT);
    let stretch =
        |from_nm: f64, to_nm: f64, ft: f64| (from_nm * M_PER_NM, to_nm * M_PER_NM, ft * M_PER_FT);
    let ground = vec![
        stretch(0.0, 25.0, 500.0),
        stretch(25.0, 40.0, 3_500.0),
        stretch(40.0, 120.0, 5_200.0),
        stretch(120.0, 210.0, 6_000.0),
        stretch(210.0, 222.0, 4_000.0),
        stretch(222.0, 250.0, 500.0),
    ];
    p.legs[0].ground = ground.clone();
    p.levels = vec![legal_levels(&p, &p.legs[0])];
    let answer = plan(&p).expect("a plan");
    assert!(!answer.flown.audit.broken().contains(&Limit::Ground));
    // dz = T / T_std dhp with T = T_std + off: z = hp + off * ln(T0 / T_std(hp)) / L.
    let true_m = |hp: f64| hp + off_k * (288.15 / (288.15 - 0.0065 * hp)).ln() / 0.0065;
    let mut least_m = f64::INFINITY;
    for t in &answer.flown.track {
        let s = t.state.distance_m;
        if s < 20.0 * M_PER_NM || s > p.length_m - 20.0 * M_PER_NM {
            continue;
        }
        let under = ground.iter().find(|g| s < g.1).expect("a stretch").2;
        let room_m = true_m(t.state.pressure_altitude_m) - under - 1_000.0 * M_PER_FT;
        least_m = least_m.min(room_m);
    }
    // A tenth of the audit's unit of 30 ft, and the sum of the column.
    assert!(least_m > -3.0 * M_PER_FT - SUMMED_M, "{least_m} m short");
    // By what the altimeter reads alone a level 500 or 1,000 ft lower would have done.
    let level_ft = answer.flown.script.cruise[0].level_m / M_PER_FT;
    assert!(level_ft >= 8_000.0, "{level_ft}");
    let told = answer.warnings.iter().find_map(|w| match w {
        Warning::LowerThanRead {
            leg: 0,
            by_m,
            indicated_m,
        } => Some((*by_m, *indicated_m)),
        _ => None,
    });
    let (by_m, indicated_m) = told.expect("a warning");
    assert!((indicated_m - true_m(indicated_m) - by_m).abs() < SUMMED_M);
}
