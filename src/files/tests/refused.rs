//! Tests of files that are refused, and of what is said then.

use std::path::Path;

use super::{FIRST, PROFILE, TRIPS, drawn, profile_error, root, text, trip_error, with};
use crate::files::diagnostic::FindingKind;
use crate::files::profile::{load_profile, parse_profile};
use crate::files::trip::{load_trip, parse_trip};

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
fn closed_form_control_characters_do_not_reach_the_terminal() {
    let error = trip_error("ident = \"KU76\"", "\"\\u001b[2J\" = 1\nident = \"KU76\"");
    assert!(
        !error.render(false).contains('\u{1b}') && !error.to_string().contains('\u{1b}'),
        "{error}"
    );
    assert!(error.render(true).contains('\u{1b}'), "colour is asked for");
}
