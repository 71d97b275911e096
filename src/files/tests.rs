//! Tests of profile and trip files: the demo files load, and every kind of error says file, line, key and way out.

use std::path::{Path, PathBuf};

use proptest::prelude::*;

use super::diagnostic::{FileError, FindingKind};
use super::profile::{load_profile, parse_profile};
use super::trip::{TripFile, load_trip, parse_trip};
use crate::trip::{FuelLoad, Objective, Roughness};

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn text(path: &str) -> String {
    std::fs::read_to_string(root(path)).expect("a file of this repository")
}

const PROFILE: &str = "profiles/retractable-200hp.toml";
const FIRST: &str = "examples/first-trip.toml";
const TRIPS: [&str; 3] = [
    FIRST,
    "examples/hot-afternoon.toml",
    "examples/into-the-wind.toml",
];

/// The text with one piece replaced; the piece must be there.
fn with(text: &str, old: &str, new: &str) -> String {
    assert!(text.contains(old), "{old:?} is not in the file any more");
    text.replacen(old, new, 1)
}

fn profile_error(old: &str, new: &str) -> FileError {
    let changed = with(&text(PROFILE), old, new);
    parse_profile(&changed, Path::new("p.toml")).expect_err("a wrong profile")
}

fn trip_with(old: &str, new: &str) -> Result<TripFile, FileError> {
    parse_trip(&with(&text(FIRST), old, new), &root(FIRST), None)
}

fn trip_error(old: &str, new: &str) -> FileError {
    trip_with(old, new).expect_err("a wrong trip")
}

/// What is drawn, with the folder of the repository cut off.
fn drawn(error: &FileError) -> String {
    error
        .render(false)
        .replace(&format!("{}/", env!("CARGO_MANIFEST_DIR")), "")
}

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
fn closed_form_missing_files() {
    let error = load_trip(Path::new("nowhere/trip.toml"), None).expect_err("no such file");
    insta::assert_snapshot!(drawn(&error), @r#"
    error: cannot read nowhere/trip.toml: there is no such file
     |
     = help: check the path; paths inside a trip start from the trip file
    "#);
    let error = trip_error(
        "../profiles/retractable-200hp.toml",
        "../profiles/other.toml",
    );
    insta::assert_snapshot!(drawn(&error), @r#"
    error: cannot read examples/../profiles/other.toml: there is no such file
     --> examples/first-trip.toml:3:11
      |
    3 | profile = "../profiles/other.toml"
      |           ^^^^^^^^^^^^^^^^^^^^^^^^ named here
      |
      = help: check the path; paths inside a trip start from the trip file; by name alone there are retractable-200hp, retractable-285hp, trainer-160hp, turbo-retractable-300hp, twin-200hp
    "#);
    let error = trip_error(
        "weather/FBUS33_FD3US3_2026-01-31_310158Z.txt",
        "weather/none.txt",
    );
    assert!(
        error.findings[0].key == "weather.bulletins[1]"
            && error.to_string().contains("weather/none.txt"),
        "{error}"
    );
    let error =
        load_trip(&root(FIRST), Some(Path::new("typed.toml"))).expect_err("no such profile");
    assert_eq!(error.path, Path::new("typed.toml"));
    assert!(
        load_profile(&root("profiles"))
            .expect_err("a folder")
            .to_string()
            .contains("it is a directory")
    );
}

#[test]
fn closed_form_broken_toml() {
    insta::assert_snapshot!(drawn(&profile_error("rated_power_hp = 200", "rated_power_hp = 200 hp")), @r#"
    error: this is not TOML: string values must be quoted, expected literal string
      --> p.toml:60:18
       |
    60 | rated_power_hp = 200 hp
       |                  ^^^^^^ here
       |
       = help: write the number alone; its unit is the ending of the key
    "#);
    insta::assert_snapshot!(drawn(&profile_error("[weights]", "[weights")), @r#"
    error: this is not TOML: unclosed table, expected `]`
     --> p.toml:9:9
      |
    9 | [weights
      |         ^ here
      |
      = help: a line is `key = value`, `[section]` or `[[row]]`; text stands in "quotation marks"
    "#);
    insta::assert_snapshot!(drawn(&profile_error("seats = 4", "seats = 4\nseats = 5")), @r#"
    error: this is not TOML: duplicate key
     --> p.toml:7:1
      |
    7 | seats = 5
      | ^^^^^ here
      |
      = help: a key stands once in its section, a [section] once in the file
    "#);
    for broken in [
        "",
        "\0",
        "a = ",
        "[[",
        "= 1",
        "a = \"",
        "\u{feff}\u{feff}",
        "é = 1\n[é",
    ] {
        assert!(
            parse_profile(broken, Path::new("p.toml")).is_err(),
            "{broken:?}"
        );
        assert!(
            parse_trip(broken, Path::new("t.toml"), None).is_err(),
            "{broken:?}"
        );
    }
}

#[test]
fn closed_form_unknown_keys() {
    insta::assert_snapshot!(drawn(&profile_error("vno_kt = 152", "vn_kt = 152")), @r#"
    error: there is no key speeds.vn_kt
      --> p.toml:25:1
       |
    25 | vn_kt = 152
       | ^^^^^ unknown key
       |
       = help: did you mean `vno_kt`?
    "#);
    insta::assert_snapshot!(drawn(&profile_error("rated_power_hp = 200", "rated_power_kw = 149")), @r#"
    error: there is no key engine.rated_power_kw
      --> p.toml:60:1
       |
    60 | rated_power_kw = 149
       | ^^^^^^^^^^^^^^ unknown key
       |
       = help: did you mean `rated_power_hp`?
    "#);
    insta::assert_snapshot!(drawn(&trip_error("max_descent_fpm = 500", "max_decent_fpm = 500")), @r#"
    error: there is no key limits.max_decent_fpm
      --> examples/first-trip.toml:97:1
       |
    97 | max_decent_fpm = 500
       | ^^^^^^^^^^^^^^ unknown key
       |
       = help: did you mean `max_descent_fpm`?
    "#);
    // a key of its own in each section of each file
    let mut refused = 0;
    for path in [PROFILE, FIRST, TRIPS[1]] {
        let whole = text(path);
        for (i, line) in whole
            .lines()
            .enumerate()
            .filter(|(_, l)| l.starts_with('[') && !l.contains("notes"))
        {
            let mut lines: Vec<&str> = whole.lines().collect();
            lines.insert(i + 1, "zzz = 1");
            let changed = lines.join("\n");
            let error = if path == PROFILE {
                parse_profile(&changed, Path::new("p.toml")).expect_err("an unknown key")
            } else {
                parse_trip(&changed, &root(path), None).expect_err("an unknown key")
            };
            let found = &error.findings[0];
            assert_eq!((found.line, found.column), (i + 2, 1), "{path}: {line}");
            assert!(
                found.kind == FindingKind::UnknownKey && found.key.ends_with("zzz"),
                "{path}: {line}: {error}"
            );
            refused += 1;
        }
    }
    assert!(refused > 40, "{refused}");
}

#[test]
fn closed_form_every_key_is_needed_or_has_a_default() {
    // leaving a line out never panics, and unless it is optional it is an error that names the key
    const OPTIONAL: [&str; 17] = [
        "cooling_cd",
        "above_map_inhg",
        "least_descent_map_inhg",
        "map_reduction_inhg_per_min",
        "induction",
        "auxiliary_pump",
        "gear_as_brake",
        "minimum_altitude_ft",
        "pattern_altitude_ft",
        "clearance_ft",
        "mountain_clearance_ft",
        "max_descent_fpm",
        "oxygen",
        "reserve_min",
        "before_nm",
        "circuit_min",
        "baggage_lb",
    ];
    let mut needed = 0;
    for path in [PROFILE, FIRST] {
        let whole = text(path);
        let mut section = "";
        for (i, line) in whole.lines().enumerate() {
            if line.starts_with('[') {
                section = line;
            }
            let Some((key, value)) = line.split_once(" = ") else {
                continue;
            };
            let goes_on =
                value.starts_with('[') && !value.contains(']') || value.starts_with("\"\"\"");
            if line.starts_with(['#', ' ']) || goes_on || section.ends_with(".notes]") {
                continue;
            }
            let mut lines: Vec<&str> = whole.lines().collect();
            lines.remove(i);
            let changed = lines.join("\n");
            let outcome = if path == PROFILE {
                parse_profile(&changed, Path::new("p.toml")).map(|_| ())
            } else {
                parse_trip(&changed, &root(path), None).map(|_| ())
            };
            match outcome {
                Ok(()) => {
                    let free = OPTIONAL.contains(&key)
                        || section.starts_with("[[weather.surface]]")
                        || section == "[[place]]";
                    assert!(free, "{path}: {line} may be left out");
                }
                Err(error) => {
                    needed += 1;
                    assert!(
                        error.to_string().contains(key),
                        "{path}: without {line}: {error}"
                    );
                }
            }
        }
    }
    assert!(needed > 80, "{needed}");
}

#[test]
fn closed_form_wrong_units_and_ranges() {
    insta::assert_snapshot!(drawn(&profile_error("rated_rpm = 2700", "rated_rpm = 27000")), @r#"
    error: engine.rated_rpm = 27000 is not in the required range of 300..=4000 rpm
      --> p.toml:61:13
       |
    61 | rated_rpm = 27000
       |             ^^^^^ expected 300 to 4000 rpm
       |
       = help: is there a digit too many?
    "#);
    insta::assert_snapshot!(drawn(&trip_error("departure = 30.12", "departure = 1020")), @r#"
    error: weather.altimeter_inhg.departure = 1020 is not in the required range of 26..=32 inHg
      --> examples/first-trip.toml:75:32
       |
    75 | altimeter_inhg = { departure = 1020, destination = 30.05 }   # invented
       |                                ^^^^ expected 26 to 32 inHg
       |
       = help: 1020 hPa is 30.12 inHg; give it in inHg
    "#);
    insta::assert_snapshot!(drawn(&trip_error("people_lb = 340", "people_lb = \"340 lb\"")), @r#"
    error: load.people_lb is the text "340 lb", but a number is expected
      --> examples/first-trip.toml:62:13
       |
    62 | people_lb = "340 lb"
       |             ^^^^^^^^ expected a number
       |
       = help: write the number alone, without quotation marks; its unit is the ending of the key
    "#);
    insta::assert_snapshot!(drawn(&trip_error("lat = 43.131609", "lat = \"43-88.5N\"")), @r#"
    error: place[2].lat: reading latitude '43-88.5N': 88.5 minutes or seconds is not under 60; write it like 39.4521, 39.4521N or 39 27 07 N
      --> examples/first-trip.toml:14:7
       |
    14 | lat = "43-88.5N"
       |       ^^^^^^^^^^ here
       |
       = help: correct it, or give decimal degrees
    "#);
    insta::assert_snapshot!(drawn(&trip_error("2026-01-31T16:00:00Z", "2026-01-31T16:00:00")), @r#"
    error: departure_utc = "2026-01-31T16:00:00" is not a moment in time
     --> examples/first-trip.toml:4:17
      |
    4 | departure_utc = 2026-01-31T16:00:00
      |                 ^^^^^^^^^^^^^^^^^^^ here
      |
      = help: write a date and time like 2026-01-31T16:00:00Z; Z says that it is UTC
    "#);
    let kilograms = profile_error("density_lb_per_gal = 6.0", "density_lb_per_gal = 0.72");
    assert!(
        kilograms
            .to_string()
            .contains("0.72 kg per litre is 6.01 lb/gal"),
        "{kilograms}"
    );
    for odd in [
        "nan",
        "inf",
        "-inf",
        "1e400",
        "99999999999999999999",
        "0x7fffffffffffffff",
    ] {
        profile_error("seats = 4", &format!("seats = {odd}"));
    }
    profile_error("seats = 4", "seats = 4.5");
}

#[test]
fn closed_form_all_findings_are_listed() {
    let mut wrong = text(PROFILE);
    for (old, new) in [
        ("cd0 = 0.0235", "cd0 = 2.35"),
        ("blades = 2", "blades = 20"),
        ("va_kt = 118", "va_kt = 58"),
        ("relative_power = 0.955", ""),
    ] {
        wrong = with(&wrong, old, new);
    }
    let error = parse_profile(&wrong, Path::new("p.toml")).expect_err("four errors");
    let keys: Vec<&str> = error.findings.iter().map(|f| f.key.as_str()).collect();
    assert_eq!(
        keys,
        [
            "speeds.va_kt",
            "drag.cd0",
            "engine.mixture[3].relative_power",
            "propeller.blades"
        ]
    );
    assert!(drawn(&error).ends_with("4 errors in p.toml"));
    assert_eq!(error.to_string().lines().count(), 4);
}

#[test]
fn closed_form_contradictions() {
    insta::assert_snapshot!(drawn(&profile_error("va_kt = 118", "va_kt = 158")), @r#"
    error: speeds.vno_kt = 152 is below speeds.va_kt = 158
      --> p.toml:25:10
       |
    24 | va_kt = 158
       |         --- speeds.va_kt is set here
    25 | vno_kt = 152
       |          ^^^ here
       |
       = help: correct one of the two
    "#);
    for (old, new, key) in [
        (
            "empty_lb = 1680",
            "empty_lb = 2800",
            "weights.max_take_off_lb",
        ),
        (
            "max_landing_lb = 2740",
            "max_landing_lb = 2840",
            "weights.max_take_off_lb",
        ),
        ("vne_kt = 175", "vne_kt = 150", "speeds.vne_kt"),
        (
            "altitude_ft = 12000",
            "altitude_ft = 0",
            "speeds.vy[2].altitude_ft",
        ),
        (
            "high_pitch_deg = 34",
            "high_pitch_deg = 12",
            "propeller.high_pitch_deg",
        ),
        (
            "lowest_governed_rpm = 1500",
            "lowest_governed_rpm = 2700",
            "propeller.highest_governed_rpm",
        ),
        (
            "[2700, 2600, 2500]",
            "[2800, 2600, 2500]",
            "propeller.highest_governed_rpm",
        ),
        (
            "[2700, 2600, 2500]",
            "[2500, 2600]",
            "procedures.climb_rpm[2]",
        ),
        (
            "fuel_air = 0.080",
            "fuel_air = 0.100",
            "engine.mixture[2].fuel_air",
        ),
        ("[0.97, 0.15, 0.05]", "[0.97, 0.15]", "engine.friction_bar"),
        (
            "max_power_percent = 100",
            "max_power_percent = 90",
            "engine.mixture[1].max_power_percent",
        ),
        (
            "to_rpm = 2050",
            "to_rpm = 1900",
            "propeller.avoid[1].to_rpm",
        ),
        (
            "without_oil = \"fine\"",
            "without_oil = \"fin\"",
            "propeller.without_oil",
        ),
        ("va_kt = \"Close", "vb_kt = \"Close", "speeds.notes.vb_kt"),
        ("source = \"Tanks invented.\"", "", "fuel.source"),
        (
            "source = \"Tanks invented.\"",
            "source = \" \"",
            "fuel.source",
        ),
        ("idle_gph = 1.2", "idle_gph = 100", "engine"),
        (
            "planform = \"standard\"\nchord_scale = 1.0",
            "planform = \"standard\"\nstation = []",
            "propeller.planform",
        ),
        (
            "planform = \"standard\"\nchord_scale = 1.0",
            "station = []",
            "propeller",
        ),
    ] {
        let error = profile_error(old, new);
        assert_eq!(error.findings[0].key, key, "{old} -> {new}: {error}");
    }
    for (old, new, key) in [
        ("to_nm = 143.9", "to_nm = 120.5", "leg[1].ground[9].to_nm"),
        ("to_nm = 40", "to_nm = 10", "leg[1].ground[4].to_nm"),
        (
            "ground_ft = 5900",
            "ground_ft = 1950",
            "leg[1].ground[1].ground_ft",
        ),
        (
            "minimum_altitude_ft = 8800",
            "minimum_altitude_ft = 7000",
            "leg[1].minimum_altitude_ft",
        ),
        (
            "minimum_altitude_ft = 8800",
            "minimum_altitude_ft = 8800\nmaximum_altitude_ft = 8500",
            "leg[1].maximum_altitude_ft",
        ),
        (
            "pattern_altitude_ft = 5500",
            "pattern_altitude_ft = 4000",
            "arrival.pattern_altitude_ft",
        ),
        (
            "place = \"KPIH\"",
            "place = \"KXXX\"",
            "weather.surface[2].place",
        ),
        (
            "place = \"KPIH\"",
            "place = \"KBNO\"",
            "weather.surface[2].place",
        ),
        (
            "reserve_min = 45",
            "least_map_inhg = 12",
            "limits.least_map_inhg",
        ),
        (
            "reserve_min = 45",
            "map_reduction_inhg_per_min = 3",
            "limits.map_reduction_inhg_per_min",
        ),
        (
            "basis = \"airborne\"",
            "basis = \"tachometer\"",
            "prices.tach_reference_rpm",
        ),
        (
            "basis = \"airborne\"",
            "basis = \"airborne\"\ntach_reference_rpm = 2400",
            "prices.tach_reference_rpm",
        ),
        (
            "on_board_gal = 55",
            "on_board_gal = \"most\"",
            "fuel.on_board_gal",
        ),
        ("ident = \"KU76\"", "ident = \"KBNO\"", "place[2].ident"),
        (
            "[\"weather/FBUS33_FD3US3_2026-01-31_310158Z.txt\"]",
            "[]",
            "weather.bulletins",
        ),
    ] {
        let error = trip_error(old, new);
        assert_eq!(error.findings[0].key, key, "{old} -> {new}: {error}");
    }
    let one_leg = with(&text(FIRST), "[[leg]]", "[[lag]]");
    let error = parse_trip(&one_leg, &root(FIRST), None).expect_err("one leg is missing");
    assert!(
        error
            .to_string()
            .contains("3 places make 2 leg(s), but 1 [[leg]] is given"),
        "{error}"
    );
}

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

#[test]
fn closed_form_control_characters_do_not_reach_the_terminal() {
    let error = trip_error("ident = \"KU76\"", "\"\\u001b[2J\" = 1\nident = \"KU76\"");
    assert!(
        !error.render(false).contains('\u{1b}') && !error.to_string().contains('\u{1b}'),
        "{error}"
    );
    assert!(error.render(true).contains('\u{1b}'), "colour is asked for");
}

/// Mutations of a demo file: pieces cut, doubled, swapped or overwritten.
fn mutate(text: &str, changes: &[(usize, u8, usize, char)]) -> String {
    let mut chars: Vec<char> = text.chars().collect();
    for &(at, kind, length, c) in changes {
        let at = at % (chars.len() + 1);
        let end = (at + length).min(chars.len());
        match kind % 4 {
            0 => drop(chars.drain(at..end)),
            1 => chars.insert(at, c),
            2 => chars[at..end].fill(c),
            _ => {
                let piece = chars[at..end].to_vec();
                let to = (at * 7919) % (chars.len() + 1);
                drop(chars.splice(to..to, piece));
            }
        }
    }
    chars.into_iter().collect()
}

fn a_character() -> impl Strategy<Value = char> {
    prop_oneof![
        proptest::sample::select(vec![
            '0', '9', '.', '-', '=', '[', ']', '{', '}', '"', '\n', '\r', '\t', '#', 'e',
            '\u{feff}', '\u{1b}', 'é', '漢', '\0'
        ]),
        any::<char>(),
    ]
}

const ESCAPE: char = '\u{1b}';

/// A demo file with one of its numbers replaced.
fn with_number(text: &str, which: usize, number: &str) -> String {
    let digit = |c: char| c.is_ascii_digit() || c == '.';
    let mut starts = Vec::new();
    let mut before = '\n';
    for (i, c) in text.char_indices() {
        if c.is_ascii_digit() && (before == ' ' || before == '[') {
            starts.push(i);
        }
        before = c;
    }
    let at = starts[which % starts.len()];
    let rest = &text[at..];
    format!("{}{number}{}", &text[..at], rest.trim_start_matches(digit))
}

fn a_number() -> impl Strategy<Value = String> {
    prop_oneof![
        (-20_000_i32..20_000).prop_map(|i| i.to_string()),
        (0.0..2.0_f64).prop_map(|x| format!("{x:.3}")),
        any::<f64>().prop_map(|x| format!("{x:e}")),
        (0_i32..150).prop_map(|i| i.to_string()),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn closed_form_mutated_files_never_panic(
        changes in prop::collection::vec((any::<usize>().prop_map(|i| i % 1_000_000), any::<u8>(), 0_usize..40, a_character()), 1..6),
        which in 0_usize..4,
    ) {
        let path = [PROFILE, TRIPS[0], TRIPS[1], TRIPS[2]][which];
        let changed = mutate(&text(path), &changes);
        let error = if which == 0 {
            parse_profile(&changed, Path::new("p.toml")).err()
        } else {
            parse_trip(&changed, &root(path), None).err()
        };
        if let Some(error) = error {
            prop_assert!(!error.findings.is_empty());
            let clean = !error.render(false).contains(ESCAPE);
            prop_assert!(clean);
            prop_assert!(!error.render(true).is_empty() && !error.to_string().is_empty());
        }
    }

    #[test]
    fn closed_form_replaced_numbers_never_panic(
        numbers in prop::collection::vec((any::<usize>(), a_number()), 1..4),
        which in 0_usize..4,
    ) {
        let path = [PROFILE, TRIPS[0], TRIPS[1], TRIPS[2]][which];
        let changed = numbers.iter().fold(text(path), |t, (which, n)| with_number(&t, *which, n));
        let error = if which == 0 {
            parse_profile(&changed, Path::new("p.toml")).err()
        } else {
            parse_trip(&changed, &root(path), None).err()
        };
        if let Some(error) = error {
            prop_assert!(!error.findings.is_empty() && !error.render(true).is_empty());
            prop_assert!(!error.to_string().contains("NaN"), "{}", error);
        }
    }
}
