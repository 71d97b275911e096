//! The Earth against published geodesics, magnetic test values and coordinate notations.

#![allow(
    clippy::unwrap_used,
    reason = "a test that cannot get at its data must fail"
)]

use fellrun::earth::geodesic::{self, GeodesicError, Leg};
use fellrun::earth::magnetic::{CompassZone, variation};
use fellrun::earth::place::{PlaceError, Position, parse_latitude_deg, parse_longitude_deg};
use jiff::civil::{Date, date};
use proptest::prelude::*;

/// The cases are given to 1e-10 m; 1 mm is the crate's promise and far under any position's accuracy.
const MILLIMETRE: f64 = 1e-3;
/// Azimuths: 1e-9 degree is 0.2 mm over 10,000 km.
const AZIMUTH_DEG: f64 = 1e-9;
/// The official tables round declination to 0.01 degree.
const DECLINATION_DEG: f64 = 0.01;

/// Property tests keep no file of past failures: a failure worth keeping becomes a test of its own.
fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

fn path(name: &str) -> String {
    format!("{}/tests/data/{name}", env!("CARGO_MANIFEST_DIR"))
}

fn numbers(row: &csv::StringRecord, count: usize) -> Vec<f64> {
    row.iter().take(count).map(|c| c.parse().unwrap()).collect()
}

fn pos(lat: f64, lon: f64) -> Position {
    Position::new(lat, fellrun::earth::place::wrap_longitude_deg(lon)).unwrap()
}

/// Smallest difference between two angles [deg].
fn turn_deg(a: f64, b: f64) -> f64 {
    ((a - b + 180.0).rem_euclid(360.0) - 180.0).abs()
}

#[test]
fn published_twenty_geodesics() {
    let mut count = 0;
    for row in csv::Reader::from_path(path("geodesic/geographiclib_testcases_20.csv"))
        .unwrap()
        .records()
    {
        let n = numbers(&row.unwrap(), 7);
        let (a, b) = (pos(n[0], n[1]), pos(n[3], n[4]));
        let leg = Leg::new(a, b).unwrap();
        assert!((leg.distance_m() - n[6]).abs() < MILLIMETRE, "{n:?}");
        assert!(
            turn_deg(leg.course_start_rad().to_degrees(), n[2]) < AZIMUTH_DEG,
            "{n:?}"
        );
        assert!(
            turn_deg(leg.course_end_rad().to_degrees(), n[5]) < AZIMUTH_DEG,
            "{n:?}"
        );
        let end = geodesic::destination(a, n[2].to_radians(), n[6]);
        assert!(geodesic::distance_m(end, b) < MILLIMETRE, "{n:?}");
        // a point part of the way splits the length, and its course leads on to the end
        let mid = leg.point_at(leg.distance_m() * 0.3);
        let rest = Leg::new(mid, b).unwrap();
        assert!((rest.distance_m() - leg.distance_m() * 0.7).abs() < MILLIMETRE);
        let course = leg.course_at_rad(leg.distance_m() * 0.3).to_degrees();
        assert!(turn_deg(course, rest.course_start_rad().to_degrees()) < AZIMUTH_DEG);
        assert_eq!((leg.point_at(-1.0), leg.point_at(1e9)), (a, b));
        count += 1;
    }
    assert_eq!(count, 20);
}

#[test]
fn crosscheck_course_is_steady_along_a_leg() {
    // Over the middle of a leg the course switches from looking forward to looking back; it must not jump.
    let leg = Leg::new(pos(40.6, -73.8), pos(51.6, -0.5)).unwrap();
    // 5,551.759 km as measured with another implementation (REFERENCES B.6)
    assert!((leg.distance_m() - 5_551_759.0).abs() < 1.0);
    // 1 m of this leg turns the course by 1e-5 degree (some 60 degrees over 5,552 km); a jump must stand out from that
    const STEADY_DEG: f64 = 5e-5;
    let half = leg.distance_m() / 2.0;
    let (before, after) = (leg.course_at_rad(half - 0.5), leg.course_at_rad(half + 0.5));
    assert!(turn_deg(before.to_degrees(), after.to_degrees()) < STEADY_DEG);
    assert!(turn_deg(leg.course_mid_rad().to_degrees(), before.to_degrees()) < STEADY_DEG);
}

#[test]
fn closed_form_zero_length_legs() {
    let a = pos(40.0, -100.0);
    assert_eq!(geodesic::distance_m(a, a), 0.0);
    assert!(matches!(
        Leg::new(a, a),
        Err(GeodesicError::ZeroLength { .. })
    ));
    assert_eq!(geodesic::destination(a, f64::NAN, 1.0), a);
    // poles and antipodes have a distance: half a meridian is 20,003,931.4586 m (WGS 84, the polar half-circumference)
    let poles = Leg::new(pos(90.0, 0.0), pos(-90.0, 0.0)).unwrap();
    assert!((poles.distance_m() - 20_003_931.458_6).abs() < MILLIMETRE);
}

fn day_of(decimal_year: f64) -> Date {
    let year = decimal_year.floor() as i16;
    let first = date(year, 1, 1);
    let days = ((decimal_year - f64::from(year)) * f64::from(first.days_in_year())).floor() as i64;
    first.checked_add(jiff::Span::new().days(days)).unwrap()
}

#[test]
fn published_magnetic_official_twelve() {
    let text = std::fs::read_to_string(path("wmm/WMM2025_TEST_VALUES_12.txt")).unwrap();
    let mut worst: f64 = 0.0;
    let mut count = 0;
    for line in text
        .lines()
        .filter(|l| !l.starts_with('#') && !l.trim().is_empty())
    {
        let n: Vec<f64> = line
            .split_whitespace()
            .map(|w| w.parse().unwrap())
            .collect();
        let v = variation(pos(n[2], n[3]), n[1] * 1000.0, day_of(n[0])).unwrap();
        worst = worst.max(turn_deg(v.variation_rad.to_degrees(), n[10]));
        assert!(!v.date_outside_model);
        count += 1;
    }
    assert_eq!(count, 12);
    println!("worst declination difference {worst:.4} deg");
    assert!(worst < DECLINATION_DEG, "{worst}");
}

#[test]
fn published_magnetic_official_hundred() {
    let mut worst: f64 = 0.0;
    let mut count = 0;
    for row in csv::ReaderBuilder::new()
        .flexible(true)
        .from_path(path("wmm/WMM2025_TestValues_100.csv"))
        .unwrap()
        .records()
    {
        let n = numbers(&row.unwrap(), 7);
        let v = variation(pos(n[2], n[3]), n[1] * 1000.0, day_of(n[0])).unwrap();
        worst = worst.max(turn_deg(v.variation_rad.to_degrees(), n[4]));
        // H in the table decides the zone: 2,000 and 6,000 nT
        let zone = match n[6] {
            h if h < 2_000.0 => CompassZone::Unreliable,
            h if h < 6_000.0 => CompassZone::Caution,
            _ => CompassZone::Good,
        };
        assert_eq!(v.zone, zone, "{n:?}");
        count += 1;
    }
    assert_eq!(count, 100);
    println!("worst declination difference {worst:.4} deg");
    assert!(worst < DECLINATION_DEG, "{worst}");
}

#[test]
fn closed_form_dates_outside_the_model_use_the_nearest() {
    let place = pos(40.0, -105.0);
    let last = variation(place, 1_600.0, date(2029, 12, 31)).unwrap();
    let later = variation(place, 1_600.0, date(2034, 6, 1)).unwrap();
    assert!(!last.date_outside_model && later.date_outside_model);
    assert_eq!(
        (later.variation_rad, later.date_used),
        (last.variation_rad, date(2029, 12, 31))
    );
    let earlier = variation(place, 1_600.0, date(1999, 6, 1)).unwrap();
    assert_eq!(
        (earlier.date_used, earlier.date_outside_model),
        (date(2020, 1, 1), true)
    );
    // REFERENCES B.3, measured: 40N 105W, 0 km: 2024.5 +7.64, 2029.99 +7.27 degrees
    let v = variation(place, 0.0, day_of(2024.5)).unwrap();
    assert!((v.variation_rad.to_degrees() - 7.64).abs() < DECLINATION_DEG);
    let v = variation(place, 0.0, day_of(2029.99)).unwrap();
    assert!((v.variation_rad.to_degrees() - 7.27).abs() < DECLINATION_DEG);
    assert!(variation(place, f64::NAN, date(2026, 1, 1)).is_err());
    assert!(
        variation(place, 1e12, date(2026, 1, 1)).is_ok(),
        "heights are clamped"
    );
    for (lat, lon) in [(90.0, 180.0), (-90.0, -180.0), (0.0, 180.0)] {
        assert!(variation(pos(lat, lon), 0.0, date(2026, 1, 1)).is_ok());
    }
}

#[test]
fn closed_form_coordinate_notations() {
    /// 1e-9 degree is 0.1 mm.
    const SAME_PLACE_DEG: f64 = 1e-9;
    // 39 deg 27 min 07.5 s = 39 + 27/60 + 7.5/3600 = 39.452083333...; 39 deg 27.125 min is the same
    let want = 39.0 + 27.0 / 60.0 + 7.5 / 3600.0;
    let forms = [
        "39 27 07.5 N",
        "N39 27 07.5",
        "39-27-07.5N",
        "39°27'07.5\"N",
        "39°27′07.5″ N",
        "39:27:07.5n",
        "39 27.125N",
        "N 39° 27.125'",
        "+39 27 07.5",
        "392707.5N",
        "3927.125N",
        " 39-27.125 ",
    ];
    for form in forms {
        let got = parse_latitude_deg(form).unwrap();
        assert!((got - want).abs() < SAME_PLACE_DEG, "{form}: {got}");
    }
    let want = -(104.0 + 54.0 / 60.0 + 8.0 / 3600.0);
    for form in [
        "104-54-08W",
        "W104 54 08",
        "-104 54 08",
        "1045408W",
        "104°54'08\"w",
    ] {
        let got = parse_longitude_deg(form).unwrap();
        assert!((got - want).abs() < SAME_PLACE_DEG, "{form}: {got}");
    }
    assert_eq!(parse_latitude_deg("-33.5").unwrap(), -33.5);
    assert_eq!(parse_latitude_deg("33.5S").unwrap(), -33.5);
    assert_eq!(parse_longitude_deg("0E").unwrap(), 0.0);
    let want = Position::new(39.5, -104.25).unwrap();
    for form in [
        "39.5,-104.25",
        "39.5N 104.25W",
        "N39 30 W104 15",
        "3930N/10415W",
        "39.5 -104.25",
        "39.5N, 104.25W",
    ] {
        assert_eq!(Position::parse(form), Ok(want), "{form}");
    }
    assert_eq!(want.to_string(), "39.5000N 104.2500W");
}

#[test]
fn closed_form_bad_coordinates_are_errors() {
    let bad = [
        "",
        " ",
        "N",
        "NS",
        "N39S",
        "-39N",
        "N-39",
        "39 60 N",
        "39 27 60N",
        "39.5 27N",
        "1 2 3 4",
        "abc",
        "39E",
        "1e1",
        "nan",
        "inf",
        "--39",
        "39..5",
        "°",
    ];
    for form in bad {
        assert!(
            matches!(parse_latitude_deg(form), Err(PlaceError::Form { .. })),
            "{form}"
        );
    }
    assert!(matches!(
        parse_latitude_deg("90.1"),
        Err(PlaceError::Range { .. })
    ));
    assert!(matches!(
        parse_longitude_deg("181W"),
        Err(PlaceError::Range { .. })
    ));
    assert!(Position::parse("39.5").is_err());
    assert!(Position::parse("N39.5").is_err());
    assert!(Position::new(f64::NAN, 0.0).is_err());
}

proptest! {
    #![proptest_config(cases(256))]

    #[test]
    fn closed_form_any_text_is_read_without_panic(text in "\\PC{0,20}", digits in "[NSEW0-9 .,/°'\"-]{0,16}") {
        let _ = Position::parse(&text);
        if let Ok(p) = Position::parse(&digits) {
            prop_assert!(p.lat_deg().abs() <= 90.0 && p.lon_deg().abs() <= 180.0);
        }
    }

    #[test]
    fn closed_form_legs_of_any_two_places(a in -90.0..=90.0_f64, b in -180.0..=180.0_f64, c in -90.0..=90.0_f64, d in -180.0..=180.0_f64, f in 0.0..1.0_f64) {
        if let Ok(leg) = Leg::new(pos(a, b), pos(c, d)) {
            let p = leg.point_at(f * leg.distance_m());
            prop_assert!((geodesic::distance_m(leg.start(), p) - f * leg.distance_m()).abs() < MILLIMETRE);
            let course = leg.course_at_rad(f * leg.distance_m());
            prop_assert!((0.0..std::f64::consts::TAU).contains(&course));
        }
    }
}
