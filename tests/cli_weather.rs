//! The command with weather, ground and volumes from files: the winds of a trip, later departures, options for them, and what `check`
//! says of such files.

use crate::command::{PROFILE, WINDS, json, number, printed, refused, root, typed, written};
use fellrun::brief::{WindsFigures, winds_text};
use fellrun::files::trip::load_trip;
use fellrun::solve::on_schedule;
use fellrun::trip::resolve;
use serde_json::Value;
use std::fs;
use std::path::Path;

const TRIPS: [&str; 3] = [
    "examples/first-trip.toml",
    "examples/hot-afternoon.toml",
    "examples/into-the-wind.toml",
];
/// A model's forecast of wind, temperature and height, valid 2011-10-11 00Z (tests/data/grib/SOURCE.md).
const GFS: &str = "tests/data/grib/gfs_2p5deg_20111008T00Z_f072_small_T_GH_UV.grib2";
const NAM: &str = "tests/data/grib/nam_lambert_20180917T00Z_f000_awp211.grib2";
const FLUX: &str = "tests/data/grib/gfs_flux_jpeg2000_template5.40.grib2";
/// Reports of both ends, made up in the form of ICAO Annex 3: 30.30 and 30.10 inHg, 2 below and 5 above freezing.
const REPORTS: &str = "METAR KBNO 311553Z 20006KT 10SM CLR M02/M05 A3030\n\
                       METAR KPIH 311556Z 21012KT 10SM CLR 05/M03 A3010\n";
/// Posts along a side of a tile of 3 seconds of arc.
const SIDE: usize = 1_201;

fn utf8(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

/// A tile of one height (m) everywhere.
fn flat_tile(height_m: i16) -> Vec<u8> {
    height_m.to_be_bytes().repeat(SIDE * SIDE)
}

/// A square volume over the middle of the way, from 8,000 ft to 14,000 ft.
const VOLUME: &str = r#"{"type":"FeatureCollection","features":[{"type":"Feature",
"properties":{"name":"Middle","lower_ft":8000,"upper_ft":14000},
"geometry":{"type":"Polygon","coordinates":[[[-116,42],[-115,42],[-115,45],[-116,45],[-116,42]]]}}]}"#;

/// Lines that are too long.
fn too_long(text: &str, width: usize) -> Vec<&str> {
    text.lines().filter(|l| l.chars().count() > width).collect()
}

#[test]
fn closed_form_winds_of_a_trip_by_the_command() {
    for trip in TRIPS {
        // not on a terminal: the widest there is, 100 columns
        let out = printed(&["winds", trip]);
        assert!(out.starts_with("Wind along the trip"), "{out}");
        assert_eq!(too_long(&out, 100), Vec::<&str>::new(), "{trip}");
        let file = load_trip(&root().join(trip), None).expect("a demo trip");
        let problem = resolve(&file.trip, file.aircraft).expect("it fits together");
        let narrow = winds_text(&WindsFigures::new(&on_schedule(&problem)), 80);
        assert_eq!(too_long(&narrow, 80), Vec::<&str>::new(), "{trip}");
        let all = json(&["winds", trip]);
        let stretches = all["stretches"].as_array().expect("a list");
        assert!(stretches.len() > 5, "{trip}");
        for s in stretches {
            for key in ["from_nm", "to_nm", "true_course_deg", "ground_ft"] {
                number(s, &format!("/{key}"));
            }
            for key in [
                "indicated_altitude_ft",
                "wind_along_kt",
                "wind_cross_kt",
                "temperature_c",
            ] {
                number(s, &format!("/levels/0/{key}"));
            }
        }
    }
    // From behind on the way out, from ahead on the way back.
    let sum = |trip: &str| -> f64 {
        let all = json(&["winds", trip]);
        let stretches = all["stretches"].as_array().expect("a list").clone();
        let top = stretches.iter().map(|s| {
            let levels = s["levels"].as_array().expect("a list");
            number(levels.last().expect("a level"), "/wind_along_kt")
        });
        top.sum()
    };
    assert!(sum(TRIPS[0]) > 0.0 && sum(TRIPS[2]) < 0.0);
}

#[test]
fn closed_form_winds_are_drawn_and_errors_touch_nothing() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (svg, json) = (folder.path().join("w.svg"), folder.path().join("w.json"));
    printed(&[
        "winds",
        TRIPS[0],
        "--chart",
        utf8(&svg),
        "--json",
        utf8(&json),
    ]);
    let drawing = fs::read_to_string(&svg).expect("written");
    for word in ["<svg", "KBNO", "KPIH"] {
        assert!(drawing.contains(word), "{word}");
    }
    let figures: Value = serde_json::from_slice(&fs::read(&json).expect("written")).expect("JSON");
    assert!(figures["stretches"].is_array());
    let none = folder.path().join("none.svg");
    for (args, words) in [
        (
            &["winds", "none.toml", "--chart", utf8(&none)][..],
            "none.toml",
        ),
        (&["winds", TRIPS[0], "--chart", "w.pdf"], ".svg or .png"),
        (&["winds", PROFILE, "--chart", utf8(&none)], "retractable"),
        (&["winds"], "TRIP.toml"),
    ] {
        refused(args, &[words]);
    }
    assert!(!none.exists());
}

#[test]
fn closed_form_later_departures_are_planned_where_winds_are() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let svg = folder.path().join("p.svg");
    let out = printed(&["plan", TRIPS[0], "--leave", "--chart", utf8(&svg)]);
    assert!(out.contains("If it starts up later"), "{out}");
    assert_eq!(too_long(&out, 100), Vec::<&str>::new());
    assert!(
        fs::read_to_string(&svg)
            .expect("written")
            .starts_with("<svg")
    );
    // A model's winds of one time are for use three hours either way, here from 21 Z to 3 Z, and this flight takes two hours: at 23 Z
    // it is planned for 0 Z, but not for 2 Z; at 0:30 Z not for 1:30 Z, and at 3:30 Z there are no winds at all.
    for (depart, planned) in [
        ("2011-10-10T23:00Z", [None, Some("the forecasts given end")]),
        (
            "2011-10-11T00:30Z",
            [Some("the forecasts given end"), Some("no forecast given")],
        ),
    ] {
        let plan = json(&typed(&["--winds", GFS, "--depart", depart, "--leave"]));
        let later = plan["later"].as_array().expect("a list");
        assert_eq!(later.len(), planned.len());
        for ((l, min), why) in later.iter().zip([60.0, 180.0]).zip(planned) {
            assert!((number(l, "/later_min") - min).abs() < 1e-6);
            match why {
                None => {
                    for key in ["time_min", "fuel_gal", "cost", "levels_ft/0"] {
                        number(l, &format!("/outcome/{key}"));
                    }
                }
                Some(words) => {
                    let said = l["not_planned"].as_str().expect("why");
                    assert!(said.contains(words) && l["outcome"].is_null(), "{said}");
                }
            }
        }
    }
    refused(
        &[
            "plan",
            TRIPS[0],
            "--leave",
            "--arrive-at",
            "2026-01-31T18:30Z",
        ],
        &["--leave"],
    );
}

#[test]
fn closed_form_winds_of_a_model_by_option() {
    // The file is told by its content: under another name it gives the same plan.
    let folder = tempfile::tempdir().expect("a temporary folder");
    let bytes = fs::read(root().join(GFS)).expect("a file of the tests");
    let renamed = written(folder.path(), "winds.txt", &bytes);
    let depart = "2011-10-11T00:00Z";
    let [one, other] =
        [GFS, utf8(&renamed)].map(|file| json(&typed(&["--winds", file, "--depart", depart])));
    for plan in [&one, &other] {
        assert_eq!(plan["weather"][0]["kind"], "grib2");
    }
    assert_eq!(one["totals"], other["totals"]);
    refused(
        &typed(&["--winds", GFS, "--winds", WINDS]),
        &["--winds", "is GRIB2, but", WINDS],
    );
    refused(
        &typed(&["--winds", GFS]),
        &["--winds", "for use from 2011-10-10"],
    );
    refused(&typed(&["--winds", FLUX]), &["none is wind"]);
}

#[test]
fn closed_form_reports_by_option() {
    // A file and two reports typed are one and the same; they give what --altimeter would.
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = written(folder.path(), "metar.txt", REPORTS.as_bytes());
    let mut lines = REPORTS.lines();
    let (first, second) = (lines.next().expect("one"), lines.next().expect("two"));
    let read = json(&typed(&["--metar", utf8(&file)]));
    let said = json(&typed(&["--metar", first, "--metar", second]));
    assert_eq!(read["totals"], said["totals"]);
    for (field, inhg) in [(0, 30.30), (1, 30.10)] {
        // Exact to the rounding of figures.
        let got = number(&read, &format!("/fields/{field}/altimeter_inhg"));
        assert!((got - inhg).abs() < 1e-6, "{field}: {got}");
    }
    let given = json(&typed(&["--metar", utf8(&file), "--altimeter", "29.50"]));
    assert!((number(&given, "/fields/0/altimeter_inhg") - 29.50).abs() < 1e-6);
    // One end without a setting
    refused(&typed(&["--metar", first]), &["--altimeter", "KPIH"]);
    refused(&typed(&["--metar", "none.txt"]), &["--metar", "none.txt"]);
    refused(
        &typed(&["--metar", "KBNO 311553Z 200ZZKT 10SM CLR M02/M05 A3030"]),
        &["--metar", "cannot be read"],
    );
}

#[test]
fn closed_form_ground_and_volumes_by_option() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let tiles = folder.path().join("tiles");
    fs::create_dir(&tiles).expect("a folder");
    // Flat ground of 1,829 m, 6,001 ft, south of the route and on the way to the alternate KTWF (42.48 N 114.49 W, 4,151 ft), which
    // lies on a plain of 1,260 m.
    for (tile, height_m) in [("N42W114", 1_829), ("N42W115", 1_260)] {
        written(&tiles, &format!("{tile}.hgt"), flat_tile(height_m));
    }
    let volume = written(folder.path(), "middle.geojson", VOLUME.as_bytes());
    let bare = json(&typed(&["--alternate", "KTWF"]));
    let plan = json(&typed(&[
        "--alternate",
        "KTWF",
        "--terrain",
        utf8(&tiles),
        "--corridor",
        "3",
        "--keep-out",
        utf8(&volume),
    ]));
    // Without tiles the higher field and 1,000 ft, up to a hundred: 4,452 ft gives 5,500 ft; with them 7,001 ft gives 7,100 ft.
    assert_eq!(bare["alternate"]["highest_ground_ft"], Value::Null);
    assert!((number(&bare, "/alternate/minimum_altitude_ft") - 5_500.0).abs() < 1e-3);
    let ground_ft = number(&plan, "/alternate/highest_ground_ft");
    assert!((ground_ft - 1_829.0 / 0.3048).abs() < 1e-3, "{ground_ft}");
    assert!((number(&plan, "/alternate/minimum_altitude_ft") - 7_100.0).abs() < 1e-3);
    assert!(number(&plan, "/alternate/altitude_ft") >= 7_100.0);
    // No level of the trip in the volume, 8,000 to 14,000 ft, though the bare trip has one there.
    let highest = |plan: &Value| {
        let track = plan["track"].as_array().expect("a list");
        let over = track.iter().filter(|t| {
            let nm = number(t, "/distance_nm");
            (140.0..150.0).contains(&nm)
        });
        let heights: Vec<f64> = over.map(|t| number(t, "/indicated_altitude_ft")).collect();
        assert!(!heights.is_empty());
        heights.into_iter().fold(0.0, f64::max)
    };
    assert!(highest(&bare) > 8_000.0 && highest(&plan) < 8_000.0);
    for (more, words) in [
        (&["--terrain", "none"][..], &["--terrain", "none"][..]),
        (&["--keep-out", "none.json"], &["--keep-out", "none.json"]),
        (
            &["--keep-out", PROFILE],
            &["aircraft profile", "keep-out volumes"],
        ),
        (&["--corridor", "3"], &["--terrain"]),
        (
            &["--terrain", "src", "--corridor", "900"],
            &["--corridor 900"],
        ),
    ] {
        refused(&typed(more), words);
    }
    // None of them beside a trip file
    for flag in ["--metar", "--terrain", "--keep-out"] {
        refused(
            &["plan", TRIPS[0], flag, "x"],
            &[flag, "trip without a file"],
        );
    }
}

#[test]
fn closed_form_ground_under_the_track_near_a_field() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    // The tile of the departure, KBNO (43.59 N 118.96 W, 4,148 ft), flat: the climb of the trip, over 600 ft a mile, keeps 48 ft a mile
    // above a plain of 1,270 m, 4,167 ft, and not above one of 1,700 m, 5,577 ft, a mile out.
    let with_plain = |height_m: i16| {
        let tiles = folder.path().join(format!("tiles-{height_m}"));
        fs::create_dir(&tiles).expect("a folder");
        written(&tiles, "N43W119.hgt", flat_tile(height_m));
        utf8(&tiles).to_owned()
    };
    let low = json(&typed(&["--terrain", &with_plain(1_270)]));
    let high = with_plain(1_700);
    let over_high = |plan: &Value| {
        let track = plan["track"].as_array().expect("a list");
        let near = track
            .iter()
            .map(|t| (number(t, "/distance_nm"), number(t, "/true_altitude_ft")))
            .filter(|(nm, _)| (1.0..10.0).contains(nm));
        near.map(|(nm, ft)| ft - 1_700.0 / 0.3048 - 48.0 * nm)
            .fold(f64::INFINITY, f64::min)
    };
    assert!(over_high(&low) < 0.0);
    refused(&typed(&["--terrain", &high]), &["ground"]);
}

#[test]
fn closed_form_own_places_are_stations_too() {
    // A station that no table knows, alone in a bulletin: found where the user says it is, and refused where nobody does.
    let folder = tempfile::tempdir().expect("a temporary folder");
    let text = fs::read_to_string(root().join(WINDS)).expect("a bulletin");
    let renamed: String = text
        .lines()
        .filter(|l| {
            let name = l.get(..4).unwrap_or("");
            let station =
                name.ends_with(' ') && name[..3].bytes().all(|b| b.is_ascii_alphanumeric());
            !station || l.starts_with("BOI ") || l.starts_with("FT ")
        })
        .map(|l| format!("{}\n", l.replace("BOI ", "QQQ ")))
        .collect();
    assert!(renamed.contains("\nQQQ "));
    let winds = written(folder.path(), "winds.txt", renamed.as_bytes());
    refused(
        &typed(&["--winds", utf8(&winds)]),
        &["--winds", "known position"],
    );
    let own = "ident,lat,lon\nqqq,43.0,-115.8\n";
    let own = written(folder.path(), "own.csv", own.as_bytes());
    let plan = json(&typed(&["--winds", utf8(&winds), "--places", utf8(&own)]));
    assert_eq!(plan["weather"][0]["kind"], "bulletin");
}

#[test]
fn closed_form_new_trip_with_weather_and_ground_can_be_read() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let tiles = folder.path().join("tiles");
    fs::create_dir(&tiles).expect("a folder");
    written(&tiles, "N43W117.hgt", flat_tile(1_200));
    let volume = written(folder.path(), "middle.geojson", VOLUME.as_bytes());
    let report = REPORTS.lines().next().expect("one");
    let trip = folder.path().join("trip.toml");
    printed(&[
        "new",
        "trip",
        "--profile",
        PROFILE,
        "--winds",
        GFS,
        "--metar",
        report,
        "--altimeter",
        "30.1",
        "--terrain",
        utf8(&tiles),
        "--keep-out",
        utf8(&volume),
        "--depart",
        "2011-10-11T00:00Z",
        "--out",
        utf8(&trip),
    ]);
    let text = fs::read_to_string(&trip).expect("written");
    for line in ["grib = [", "metar = [", "folder = ", "keep_outs = ["] {
        assert!(text.lines().any(|l| l.starts_with(line)), "{line}:\n{text}");
    }
    let out = printed(&["check", utf8(&trip)]);
    assert!(out.contains(": trip: KBNO to KPIH"), "{out}");
}

#[test]
fn closed_form_check_tells_weather_ground_and_volumes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let metar = written(folder.path(), "a.txt", REPORTS.as_bytes());
    let volume = written(folder.path(), "b.txt", VOLUME.as_bytes());
    let mut bytes = flat_tile(1_000);
    // one void, and one post of 1,500 m: 4,921 ft; 1,000 m are 3,281 ft
    bytes[..2].copy_from_slice(&(-32_768_i16).to_be_bytes());
    bytes[2..4].copy_from_slice(&1_500_i16.to_be_bytes());
    let tile = written(folder.path(), "N43W116.hgt", &bytes);
    let bare = written(folder.path(), "n43w116", &bytes);
    // a heading before the first message, as on the lines of weather services
    let mut headed = b"HTXX98 KWBC 080000\r\r\n".to_vec();
    headed.extend(fs::read(root().join(GFS)).expect("a file of the tests"));
    let headed = written(folder.path(), "c.bin", &headed);
    let gfs = ": GRIB2: wind to the east, wind to the north, temperature, height at 9 levels";
    let ground = "N43W116, 1201 by 1201 posts, ground from 3281 to 4921 ft, 1 post without height";
    for (file, words) in [
        (
            GFS,
            &[
                gfs,
                "valid 2011-10-11 00:00Z",
                "2.5 degree grid of 144 by 73 points",
            ][..],
        ),
        (utf8(&headed), &[gfs]),
        (
            NAM,
            &["GRIB2", "valid 2018-09-17 00:00Z", "93 by 65 points"],
        ),
        // pressure at the ground alone: of use beside winds of the same model, and a trip with it alone is refused
        (FLUX, &["GRIB2: pressure at the ground", "NO WIND"]),
        (utf8(&tile), &["SRTM tile", ground]),
        (utf8(&bare), &["SRTM tile", ground]),
        (
            utf8(&metar),
            &[
                "weather reports: KBNO day 31 at 15:53Z, wind from 200 at 6 kt, -2 C, altimeter 30.30 inHg",
                "KPIH day 31 at 15:56Z, wind from 210 at 12 kt, 5 C, altimeter 30.10 inHg",
            ],
        ),
        (
            utf8(&volume),
            &["keep-out volumes: 1 volume: Middle from 8000 ft to 14000 ft"],
        ),
    ] {
        let out = printed(&["check", file]);
        assert_eq!(out.lines().count(), 1, "one line each: {out}");
        for word in words {
            assert!(out.contains(word), "{file} lacks {word:?}:\n{out}");
        }
    }
    // Wrong ones are told by the readers.
    let short = written(folder.path(), "N44W116.hgt", &bytes[..1_000]);
    let nowhere = written(folder.path(), "hill.hgt", &bytes);
    let whole = fs::read(root().join(GFS)).expect("a file of the tests");
    let cut = written(folder.path(), "cut.grib2", &whole[..500]);
    let line = "KBNO 311553Z 200ZZKT 10SM CLR M02/M05 A3030\n";
    let report = written(folder.path(), "d.txt", line.as_bytes());
    let high = written(
        folder.path(),
        "e.json",
        VOLUME.replace("14000", "7000").as_bytes(),
    );
    for (file, words) in [
        (&short, "1000 bytes long"),
        (&nowhere, "not named like a tile"),
        (&cut, "as GRIB2"),
        (&report, "cannot be read"),
        (&high, "lower_ft = 8000 is not below upper_ft = 7000"),
    ] {
        refused(&["check", utf8(file)], &[words]);
    }
}
