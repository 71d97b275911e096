//! The rule of semicircles on routes all over the Earth: near north and south, across the 180th meridian and by the poles.
//!
//! Courses are found here from positions in space: the chord between two points close together, seen from the plane that lies level there.

use crate::common::{self, calm_station};
use fellrun::air::WindField;
use fellrun::earth::geodesic::{self, Leg};
use fellrun::earth::magnetic;
use fellrun::earth::place::Position;
use fellrun::files::trip::parse_trip;
use fellrun::quantity::{M_PER_FT, M_PER_NM};
use fellrun::trip::{LegGround, Note, Place, Problem, Rules, Trip, resolve};
use jiff::civil::date;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use std::path::Path;

/// Courses, degrees: chords of a mile against a tangent are far better; single precision of the magnetic model is 1e-4.
const COURSE_DEG: f64 = 1e-3;
/// Routes drawn.
const ROUTES: usize = 150;

/// Position in space on the ellipsoid, m (WGS 84).
fn in_space(p: Position) -> [f64; 3] {
    let (lat, lon) = (p.lat_deg().to_radians(), p.lon_deg().to_radians());
    let e2 = 6.694_379_990_14e-3;
    let n = 6_378_137.0 / (1.0 - e2 * lat.sin().powi(2)).sqrt();
    [
        n * lat.cos() * lon.cos(),
        n * lat.cos() * lon.sin(),
        n * (1.0 - e2) * lat.sin(),
    ]
}

/// True course at a place to another close to it, degrees.
fn course_deg(at: Position, to: Position) -> f64 {
    let (a, b) = (in_space(at), in_space(to));
    let d = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
    let (lat, lon) = (at.lat_deg().to_radians(), at.lon_deg().to_radians());
    let east = -lon.sin() * d[0] + lon.cos() * d[1];
    let north = -lat.sin() * lon.cos() * d[0] - lat.sin() * lon.sin() * d[1] + lat.cos() * d[2];
    east.atan2(north).to_degrees().rem_euclid(360.0)
}

/// A trip of one leg on calm standard air with stations beside it.
fn on(
    base: &Trip,
    from: Position,
    to: Position,
    variation_deg: Option<f64>,
    rules: Rules,
    sector_deg: f64,
) -> Problem {
    let leg = Leg::new(from, to).expect("a leg");
    let station = |i: u32| {
        let p = leg.point_at(leg.distance_m() * f64::from(i) / 6.0);
        calm_station(&i.to_string(), (p.lat_deg(), p.lon_deg()), 0.0, 30_000.0)
    };
    let place = |ident: &str, position| Place {
        ident: ident.into(),
        position,
        elevation_m: Some(0.0),
    };
    let mut trip = base.clone();
    trip.places = vec![place("A", from), place("B", to)];
    trip.ground = vec![LegGround {
        ground: vec![(1e7, 0.0)],
        under_track: Vec::new(),
        minimum_m: 3_500.0 * M_PER_FT,
        maximum_m: None,
        mountainous: false,
        source: "sea".into(),
    }];
    trip.weather.forecasts.truncate(1);
    trip.weather.forecasts[0].field =
        WindField::new(&(0..=6).map(station).collect::<Vec<_>>()).expect("in order");
    trip.rules = rules;
    trip.variation_rad = variation_deg.map(f64::to_radians);
    trip.limits.sector_from_rad = sector_deg.to_radians();
    trip.limits.oxygen = true;
    trip.arrival.pattern_altitude_m = 1_000.0 * M_PER_FT;
    let aircraft = common::demo();
    resolve(&trip, aircraft).unwrap_or_else(|e| panic!("{from} to {to}: {e}"))
}

fn base() -> Trip {
    let text = common::trip_text("retractable-200hp", 60, &["KICT", "KOKC"], "");
    parse_trip(&text, Path::new("trip.toml"), None)
        .expect("a trip")
        .trip
}

#[test]
fn closed_form_levels_on_routes_all_over_the_earth() {
    let base = base();
    let mut runner = TestRunner::deterministic();
    let numbers = proptest::collection::vec(0.0..1.0_f64, 8);
    let (mut both, mut crossed, mut polar) = (0, 0, 0);
    for i in 0..ROUTES {
        let x = numbers.new_tree(&mut runner).expect("numbers").current();
        // A third near the 180th meridian, a third near a pole, a third anywhere; half of them near a split of the sectors.
        let lat = match i % 3 {
            0 => 120.0 * x[0] - 60.0,
            1 => (if x[0] < 0.5 { -1.0 } else { 1.0 }) * (84.0 + 5.9 * x[1]),
            _ => 160.0 * x[0] - 80.0,
        };
        let lon = if i % 3 == 0 {
            geodesic::destination(
                Position::new(0.0, 180.0).expect("a place"),
                1.57,
                (x[1] - 0.5) * 4e5,
            )
            .lon_deg()
        } else {
            360.0 * x[2] - 180.0
        };
        let from = Position::new(lat, lon).expect("a place");
        let variation = 60.0 * x[3] - 30.0;
        let sector = if x[4] < 0.5 { 0.0 } else { 90.0 };
        let course = if i % 2 == 0 {
            360.0 * x[5]
        } else {
            (if x[5] < 0.5 { 0.0 } else { 180.0 }) + sector + variation + 12.0 * x[6] - 6.0
        };
        let to = geodesic::destination(from, course.to_radians(), (60.0 + 300.0 * x[7]) * M_PER_NM);
        let rules = [Rules::IcaoVfr, Rules::IcaoIfr][i % 2];
        let p = on(&base, from, to, Some(variation), rules, sector);
        let line = Leg::new(from, to).expect("a leg");
        // From a mile inside each end, and astride the middle.
        let near = |s: f64| {
            let a = line.point_at((s - 10.0).clamp(0.0, line.distance_m() - 20.0));
            let b = line.point_at((s + 10.0).clamp(20.0, line.distance_m()));
            let here = line.point_at(s);
            let to_b = course_deg(here, b);
            if here == b {
                (course_deg(here, a) + 180.0).rem_euclid(360.0)
            } else {
                to_b
            }
        };
        let mut allowed = [false; 2];
        let found = [
            p.legs[0].magnetic_ends_rad[0],
            p.legs[0].magnetic_rad,
            p.legs[0].magnetic_ends_rad[1],
        ];
        for (s, found) in [0.0, 0.5 * line.distance_m(), line.distance_m()]
            .into_iter()
            .zip(found)
        {
            let magnetic = near(s) - variation;
            let off = (magnetic - found.to_degrees() + 540.0).rem_euclid(360.0) - 180.0;
            assert!(
                off.abs() < COURSE_DEG,
                "{from} to {to} at {s} m: {off} deg off"
            );
            let past = (magnetic - sector).rem_euclid(360.0);
            // The halves begin 3 degrees early and end 3 degrees late.
            for (begin, allowed) in [0.0, 180.0].into_iter().zip(&mut allowed) {
                *allowed |= (past - begin + 3.0).rem_euclid(360.0) < 186.0;
            }
        }
        for level in (3_500..=12_500).step_by(500) {
            let m = f64::from(level) * M_PER_FT;
            let within = m <= p.limits.max_altitude_m;
            let offset = if rules == Rules::IcaoVfr { 500 } else { 0 };
            let by_rule = (level - offset) % 1_000 == 0
                && allowed[if (level - offset) / 1_000 % 2 == 1 {
                    0
                } else {
                    1
                }];
            assert_eq!(
                p.levels[0].allows(m),
                within && by_rule,
                "{from} to {to}: {level} ft, {allowed:?}"
            );
        }
        let told = p.notes.iter().any(|n| matches!(n, Note::NearSplit { .. }));
        assert_eq!(told, allowed == [true; 2]);
        both += usize::from(told);
        crossed += usize::from((from.lon_deg() - to.lon_deg()).abs() > 180.0);
        polar += usize::from(from.lat_deg().abs() > 84.0);
    }
    assert!(
        both > 30 && crossed > 10 && polar > 30,
        "{both} {crossed} {polar}"
    );
}

#[test]
fn closed_form_variation_of_each_place_and_outside_the_years_of_the_model() {
    // Without a variation of the trip's own it is looked up at start, middle and end, and the ends of a long leg differ.
    let base = base();
    let (from, to) = (
        Position::new(45.0, -120.0).expect("a place"),
        Position::new(45.0, -112.0).expect("a place"),
    );
    let p = on(&base, from, to, None, Rules::UsVfr, 0.0);
    let line = Leg::new(from, to).expect("a leg");
    let of = |at: Position| {
        let v =
            magnetic::variation(at, 3_500.0 * M_PER_FT, date(2026, 1, 31)).expect("a variation");
        v.variation_rad.to_degrees()
    };
    let ends = p.legs[0].magnetic_ends_rad.map(f64::to_degrees);
    assert!((ends[0] - (line.course_start_rad().to_degrees() - of(from))).abs() < 1e-9);
    assert!((ends[1] - (line.course_end_rad().to_degrees() - of(to))).abs() < 1e-9);
    assert!((of(from) - of(to)).abs() > 1.0);
    assert!(!p.notes.contains(&Note::MagneticDate));
    // After 2029 the last day is taken, and it is said once.
    let mut late = base;
    late.departure_time = "2035-06-01T12:00:00Z".parse().expect("a time");
    late.weather.forecasts[0].valid = late.departure_time;
    let p = on(&late, from, to, None, Rules::UsVfr, 0.0);
    assert_eq!(
        p.notes.iter().filter(|n| **n == Note::MagneticDate).count(),
        1
    );
    let last =
        magnetic::variation(from, 3_500.0 * M_PER_FT, date(2029, 12, 31)).expect("a variation");
    let ends = p.legs[0].magnetic_ends_rad.map(f64::to_degrees);
    assert!((ends[0] - (line.course_start_rad() - last.variation_rad).to_degrees()).abs() < 1e-9);
}
