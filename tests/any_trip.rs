//! Trips drawn at random, with ground, keep-out volumes, cloud and rules: the flown path against every limit, by code of its own.
//!
//! The limits are those of `limits`, which asks neither the problem nor the solver.

use crate::common;
use crate::limits::{Drawn, check};
use fellrun::air::{Datum, LevelValue, Station, WindField};
use fellrun::aircraft::Aircraft;
use fellrun::earth::geodesic::{self, Leg};
use fellrun::earth::keep_out::{Area, Volume};
use fellrun::earth::place::Position;
use fellrun::files::trip::parse_trip;
use fellrun::quantity::{KG_PER_LB, M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use fellrun::solve::plan;
use fellrun::trip::{
    Airspace, Cloud, FuelLoad, LegGround, Objective, Place, Roughness, Rules, Trip, resolve,
};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use std::path::Path;

/// Trips drawn where `FELLRUN_TRIPS` does not say how many.
const TRIPS: u32 = 20;
/// Of these a half must have a plan, or the test looks at nothing.
const LEAST_PLANNED: f64 = 0.5;

/// Numbers from 0 to 1, one after the other.
struct Draw(std::vec::IntoIter<f64>);

impl Draw {
    fn new(runner: &mut TestRunner) -> Self {
        let numbers = proptest::collection::vec(0.0..1.0_f64, 400);
        Self(
            numbers
                .new_tree(runner)
                .expect("numbers")
                .current()
                .into_iter(),
        )
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.next().expect("enough numbers")
    }

    fn chance(&mut self, share: f64) -> bool {
        self.between(0.0, 1.0) < share
    }

    fn one<T: Copy>(&mut self, of: &[T]) -> T {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few"
        )]
        let i = self.between(0.0, of.len() as f64) as usize;
        of[i.min(of.len() - 1)]
    }
}

fn draw(d: &mut Draw, base: &Trip, aircraft: &[Aircraft]) -> Drawn {
    let aircraft = aircraft[d.one(&[0, 1, 2])].clone();
    let ft = M_PER_FT;
    // Places: a route of one or two legs over the middle of the country.
    let first = Position::new(d.between(36.0, 40.0), d.between(-101.0, -97.0)).expect("a place");
    let course = d.between(0.0, std::f64::consts::TAU);
    let mut positions = vec![first];
    let legs_wanted = if d.chance(0.4) { 2 } else { 1 };
    for _ in 0..legs_wanted {
        let bend = d.between(-0.6, 0.6);
        let length_m = d.between(90.0, 150.0) * M_PER_NM;
        let from = positions[positions.len() - 1];
        positions.push(geodesic::destination(from, course + bend, length_m));
    }
    let ends_m = [d.between(0.0, 3_000.0) * ft, d.between(0.0, 3_000.0) * ft];
    let count = positions.len();
    let places: Vec<Place> = positions
        .iter()
        .enumerate()
        .map(|(i, &position)| Place {
            ident: format!("P{i}"),
            position,
            elevation_m: match i {
                0 => Some(ends_m[0]),
                _ if i + 1 == count => Some(ends_m[1]),
                _ => None,
            },
        })
        .collect();
    let legs: Vec<Leg> = positions
        .windows(2)
        .map(|w| Leg::new(w[0], w[1]).expect("a leg"))
        .collect();
    let length_m: f64 = legs.iter().map(Leg::distance_m).sum();
    // Ground in stretches of 2 to 8 nm: hills between the fields, none within 25 nm of one.
    let hills_m = d.between(0.0, 4_500.0) * ft;
    let mut ground = Vec::new();
    let mut along_m = 0.0;
    for leg in &legs {
        let mut rows = Vec::new();
        let mut to_m: f64 = 0.0;
        while to_m < leg.distance_m() {
            to_m = (to_m + d.between(2.0, 8.0) * M_PER_NM).min(leg.distance_m());
            let s = along_m + to_m;
            let plain_m = ends_m[0] + (ends_m[1] - ends_m[0]) * s / length_m;
            let far = s > 33.0 * M_PER_NM && s < length_m - 25.0 * M_PER_NM;
            let hill_m = if far {
                d.between(0.0, hills_m.max(1.0))
            } else {
                0.0
            };
            rows.push((to_m, plain_m + hill_m));
        }
        along_m += leg.distance_m();
        ground.push(LegGround {
            ground: rows,
            under_track: Vec::new(),
            minimum_m: d.between(1_000.0, 4_500.0) * ft,
            maximum_m: d.chance(0.2).then(|| d.between(8_500.0, 11_000.0) * ft),
            mountainous: d.chance(0.2),
            source: "drawn".into(),
        });
    }
    // Air: one deviation from the standard everywhere, wind that turns and grows with height.
    let isa_deviation_k = d.between(-35.0, 15.0);
    let (wind_m_s, from_rad) = (
        d.between(0.0, 35.0) * M_S_PER_KT,
        d.between(0.0, std::f64::consts::TAU),
    );
    let station = |name: &str, lat_deg: f64, lon_deg: f64| Station {
        name: name.into(),
        lat_deg,
        lon_deg,
        elevation_m: 0.0,
        levels: (0..=26)
            .map(|i| 1_000.0 * ft * f64::from(i))
            .map(|z| {
                let strength = wind_m_s * (0.4 + z / 6_000.0);
                LevelValue {
                    datum: Datum::TrueAltitude,
                    height_m: z,
                    u_m_s: strength * (from_rad + z / 8_000.0).sin(),
                    v_m_s: strength * (from_rad + z / 8_000.0).cos(),
                    temperature_k: Some(288.15 + isa_deviation_k - 0.0065 * z),
                }
            })
            .collect(),
    };
    let mut stations = Vec::new();
    for lat in [32.0, 35.0, 38.0, 41.0, 44.0] {
        for lon in [-107.0, -104.0, -101.0, -98.0, -95.0, -92.0] {
            stations.push(station(&format!("{lat} {lon}"), lat, lon));
        }
    }
    // Volumes across the route, and a layer of cloud on a part of it.
    let mut boxes = Vec::new();
    for _ in 0..d.one(&[0, 1, 2]) {
        let leg = legs[d.one(&[0, legs.len() - 1])];
        let s = d.between(0.2, 0.8) * leg.distance_m();
        let turn = d.between(0.0, 1.5);
        let middle =
            geodesic::destination(leg.point_at(s), turn * 4.0, d.between(0.0, 6.0) * M_PER_NM);
        let size_m = d.between(4.0, 14.0) * M_PER_NM;
        let mut corners: Vec<[f64; 2]> = (0..4)
            .map(|k| turn + f64::from(k) * std::f64::consts::FRAC_PI_2)
            .map(|c| geodesic::destination(middle, c, size_m))
            .map(|p| [p.lon_deg(), p.lat_deg()])
            .collect();
        corners.push(corners[0]);
        let lower_m = d.between(0.0, 9_000.0) * ft;
        boxes.push((corners, lower_m, lower_m + d.between(1_000.0, 5_000.0) * ft));
    }
    let mut clouds = Vec::new();
    if d.chance(0.6) {
        let from_m = d.between(0.15, 0.5) * length_m;
        let base_m = d.between(4_000.0, 11_000.0) * ft;
        clouds.push(Cloud {
            base_m,
            top_m: base_m + d.between(300.0, 3_000.0) * ft,
            from_m,
            to_m: from_m + d.between(0.1, 0.3) * length_m,
        });
    }
    let mut trip = base.clone();
    let rules = [
        Rules::UsVfr,
        Rules::UsIfr,
        Rules::IcaoVfr,
        Rules::IcaoIfr,
        Rules::None,
    ];
    trip.rules = d.one(&rules);
    trip.objective = d.one(&[Objective::Time, Objective::Fuel, Objective::Money]);
    trip.places = places;
    trip.ground = ground;
    trip.weather.forecasts.truncate(1);
    trip.weather.forecasts[0].field = WindField::new(&stations).expect("in order");
    trip.weather.valid_until = None;
    trip.weather.departure_altimeter_pa = d.between(29.2, 30.6) * PA_PER_INHG;
    trip.weather.destination_altimeter_pa = d.between(29.2, 30.6) * PA_PER_INHG;
    trip.airspace = Airspace {
        keep_outs: boxes
            .iter()
            .map(|(corners, lower_m, upper_m)| Volume {
                name: "drawn".into(),
                areas: vec![Area::new(std::slice::from_ref(corners)).expect("an area")],
                lower_m: *lower_m,
                upper_m: *upper_m,
            })
            .collect(),
        margin_m: d.one(&[0.0, 2.0]) * M_PER_NM,
        clouds,
    };
    trip.variation_rad = Some(d.between(-20.0, 20.0_f64).to_radians());
    trip.night = d.chance(0.3);
    trip.limits.max_altitude_m = d.one(&[9_500.0, 12_500.0, 14_000.0]) * ft;
    trip.limits.oxygen = d.chance(0.3);
    trip.limits.no_oxygen_m = trip.rules.no_oxygen_m();
    trip.limits.sector_from_rad = match trip.rules {
        Rules::IcaoVfr | Rules::IcaoIfr => d.one(&[0.0, 90.0_f64]).to_radians(),
        _ => 0.0,
    };
    trip.limits.max_descent_m_s = d.one(&[400.0, 500.0, 700.0]) * M_S_PER_FPM;
    trip.limits.reserve_s = d.one(&[0.0, 45.0, 60.0]) * 60.0;
    trip.limits.reserve_kg = d.one(&[0.0, 0.0, 20.0]);
    if d.chance(0.4) {
        trip.limits.air = vec![(30_000.0 * ft, Roughness::Smooth)];
    }
    // Over the destination too, where flights circle.
    if d.chance(0.3) {
        for cloud in &mut trip.airspace.clouds {
            cloud.to_m = f64::INFINITY;
        }
    }
    trip.arrival.pattern_altitude_m = ends_m[1] + 1_000.0 * ft;
    trip.fuel = FuelLoad::Kg(0.9 * aircraft.fuel.usable_kg);
    trip.load_kg = d.between(200.0, 420.0) * KG_PER_LB;
    // Ground under the track near the fields: hills that grow with the distance from the field, by nautical mile.
    let rise_ft = d.between(0.0, 160.0);
    let mut along_m = 0.0;
    for (leg, ground) in legs.iter().zip(&mut trip.ground) {
        for mile in 1..=(leg.distance_m() / M_PER_NM).ceil() as i32 {
            let to_m = (f64::from(mile) * M_PER_NM).min(leg.distance_m());
            let s = along_m + to_m;
            let off_nm = s.min(length_m - s) / M_PER_NM;
            let hill_m = if off_nm < 16.0 {
                d.between(0.0, rise_ft * off_nm) * ft
            } else {
                0.0
            };
            let plain_m = ends_m[0] + (ends_m[1] - ends_m[0]) * s / length_m;
            ground.under_track.push((to_m, plain_m + hill_m));
        }
        along_m += leg.distance_m();
    }
    // Now and then a mountain 10 to 20 nm from one of the fields, which may take circling to clear.
    if d.chance(0.3) {
        let near_end = d.chance(0.5);
        let high_m = ends_m[0].max(ends_m[1]) + d.between(3_000.0, 6_000.0) * ft;
        let mut along_m = 0.0;
        for (leg, ground) in legs.iter().zip(&mut trip.ground) {
            for row in &mut ground.ground {
                let s = along_m + row.0;
                let out_m = if near_end { length_m - s } else { s };
                if (11.0 * M_PER_NM..17.0 * M_PER_NM).contains(&out_m) {
                    row.1 = row.1.max(high_m);
                }
            }
            along_m += leg.distance_m();
        }
    }
    Drawn {
        trip,
        aircraft,
        legs,
        boxes,
        isa_deviation_k,
    }
}

#[test]
fn crosscheck_every_limit_on_trips_drawn_at_random() {
    let text = common::trip_text("retractable-200hp", 60, &["KICT", "KOKC"], "");
    let base = parse_trip(&text, Path::new("trip.toml"), None)
        .expect("a trip")
        .trip;
    let aircraft = ["retractable-200hp", "retractable-285hp", "trainer-160hp"].map(common::profile);
    let mut runner = TestRunner::deterministic();
    let (mut planned, mut without) = (0, vec![]);
    let trips = common::trips_asked().unwrap_or(TRIPS);
    for i in 0..trips {
        let d = draw(&mut Draw::new(&mut runner), &base, &aircraft);
        let problem = match resolve(&d.trip, d.aircraft.clone()) {
            Ok(problem) => problem,
            Err(why) => {
                without.push(format!("{i}: {why}"));
                continue;
            }
        };
        match plan(&problem) {
            Ok(answer) => {
                let circles = [
                    answer.flown.circling_climb(),
                    answer.flown.circling_descent(),
                ]
                .map(|c| c.map(|c| c.turns));
                println!(
                    "{i}: {:?} {circles:?} {:?}",
                    d.trip.rules,
                    answer
                        .flown
                        .script
                        .cruise
                        .iter()
                        .map(|c| c.level_m / M_PER_FT)
                        .collect::<Vec<_>>()
                );
                check(&d, &answer);
                planned += 1;
            }
            Err(why) => {
                let told = why.to_string();
                assert!(told.contains("What would free it"), "{told}");
                without.push(format!("{i}: {why}"));
            }
        }
    }
    println!("{planned} planned; {}", without.join("\n"));
    assert!(
        f64::from(planned) >= LEAST_PLANNED * f64::from(trips),
        "{planned} planned; {}",
        without.join("\n")
    );
}
