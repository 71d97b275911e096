//! Tests of the bulletins of a trip.

use super::{FIRST, PROFILE, drawn, root, text, trip_error, with};
use crate::files::trip::parse_trip;

#[test]
fn closed_form_bulletin_too_far_from_the_time() {
    let error = trip_error("2026-01-31T16:00:00Z", "2026-01-31T19:00:00Z");
    insta::assert_snapshot!(drawn(&error), @r#"
    error: weather/FBUS33_FD3US3_2026-01-31_310158Z.txt is for use from 2026-01-31T09:00:00Z to 2026-01-31T18:00:00Z, but the trip departs at 2026-01-31T19:00:00Z
      --> examples/first-trip.toml:74:14
       |
    74 | bulletins = ["weather/FBUS33_FD3US3_2026-01-31_310158Z.txt"]
       |              ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^ does not hold the departure
       |
       = help: depart earlier, or give the bulletin of the period after
    "#);
}

#[test]
fn closed_form_bulletin_too_far_from_the_route() {
    let old = "lat = 42.909793\nlon = -112.595919";
    let changed = with(&text(FIRST), old, "lat = 52.9\nlon = -118.6");
    // so that the ground reaches the end of the longer leg
    let changed = with(&changed, "to_nm = 138.6", "to_nm = 598");
    let error = parse_trip(&changed, &root(FIRST), None).expect_err("a place far to the north");
    insta::assert_snapshot!(drawn(&error), @r#"
    error: weather/FBUS33_FD3US3_2026-01-31_310158Z.txt does not cover the route: on the leg KU76 to KPIH, 438 nm from its start, at 50.3041N 117.7223W, the nearest station, GEG, is 161 nm away, and 150 nm is the limit
      --> examples/first-trip.toml:74:14
       |
    74 | bulletins = ["weather/FBUS33_FD3US3_2026-01-31_310158Z.txt"]
       |              ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^ for use from 2026-01-31T09:00:00Z to 2026-01-31T18:00:00Z
       |
       = help: check the places, or give a bulletin with stations along the route
    "#);
}

#[test]
fn closed_form_broken_bulletin() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bulletin = text("examples/weather/FBUS33_FD3US3_2026-01-31_310158Z.txt");
    std::fs::write(
        folder.path().join("winds.txt"),
        bulletin.replace("ABI      3116+01", "ABI      311x+01"),
    )
    .expect("written");
    let trip = text(FIRST).replace("weather/FBUS33_FD3US3_2026-01-31_310158Z.txt", "winds.txt");
    let error = parse_trip(
        &trip,
        &folder.path().join("trip.toml"),
        Some(&root(PROFILE)),
    )
    .expect_err("a broken group");
    let shown = drawn(&error).replace(&folder.path().display().to_string(), "FOLDER");
    insta::assert_snapshot!(shown, @r#"
    error: "311X+01" of station ABI cannot be read as winds aloft
     --> FOLDER/winds.txt:9:10
      |
    9 | ABI      311x+01 3222-05 3433-09 3357-18 3371-28 338743 338653 329262
      |          ^^^^^^^ expected a group like 2715, 2715+05, 2715-05 or 9900 at 6000 ft
      |
      = help: fetch the bulletin again, or delete this row to do without the station
    "#);
}

#[test]
fn closed_form_bulletins_are_used_by_their_periods() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let original = text("examples/weather/FBUS33_FD3US3_2026-01-31_310158Z.txt");
    // valid 12Z for use from 09 to 18, and valid 18Z for use from 16 to 00
    let later = original.replace(
        "VALID 311200Z   FOR USE 0900-1800Z",
        "VALID 311800Z   FOR USE 1600-0000Z",
    );
    std::fs::write(folder.path().join("a.txt"), &original).expect("written");
    std::fs::write(folder.path().join("b.txt"), &later).expect("written");
    let load = |hour: &str| {
        let trip = text(FIRST)
            .replace(
                "\"weather/FBUS33_FD3US3_2026-01-31_310158Z.txt\"",
                "\"b.txt\", \"a.txt\"",
            )
            .replace("T16:00:00Z", &format!("{hour}:00Z"));
        parse_trip(
            &trip,
            &folder.path().join("trip.toml"),
            Some(&root(PROFILE)),
        )
    };
    // The route is 283 nm, so that the flight is taken to last 5.7 h.
    for (hour, files) in [
        ("T09:00", vec!["a.txt"]),
        ("T10:15", vec!["a.txt"]),
        ("T10:30", vec!["a.txt", "b.txt"]),
        ("T18:00", vec!["a.txt", "b.txt"]),
        ("T18:01", vec!["b.txt"]),
    ] {
        let weather = load(hour).expect("in use").trip.weather;
        let names: Vec<&str> = weather.sources.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, files, "{hour}");
        let valid: Vec<_> = weather.forecasts.iter().map(|f| Some(f.valid)).collect();
        let said: Vec<_> = weather.sources.iter().map(|s| s.valid).collect();
        assert_eq!(valid, said, "earliest first, {hour}");
        let until = weather.valid_until.expect("limited").to_string();
        assert_eq!(until, "2026-02-01T00:00:00Z", "one period joins the next");
    }
    for hour in ["T08:59", "T01:00"] {
        let error = load(hour).expect_err("outside").to_string();
        for words in [
            "a.txt is for use from 2026-01-31T09:00:00Z",
            "b.txt",
            "depart later",
        ] {
            assert!(error.contains(words), "{hour}: {error}");
        }
    }
    // Put off by hours, the flight takes others, without another look at the files.
    let winds = load("T15:00").expect("in use").winds;
    let at = |time: &str| winds.at(time.parse().expect("a time"));
    assert_eq!(
        at("2026-01-31T18:30:00Z").expect("in use").forecasts.len(),
        1
    );
    assert!(at("2026-02-01T00:30:00Z").is_none());
}
