//! What `plan` writes for other programs, read by readers of others: JSON against the published schema by the `jsonschema` crate, GPX by
//! the `gpx` crate, CSV by `csv`, KML by `roxmltree`; and where the points are, against a geodesic of the test's own.

mod command;

use command::{PROFILE, fellrun, number, printed, root, typed, written};
use serde_json::Value;
use std::collections::BTreeSet;

/// The first demo trip.
const TRIP: &str = "examples/first-trip.toml";

fn schema(of: &str) -> (jsonschema::Validator, Value) {
    let schema: Value = serde_json::from_str(&printed(&["schema", of])).expect("JSON");
    assert!(
        jsonschema::meta::is_valid(&schema),
        "the schema of {of} is no schema"
    );
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    (validator, schema)
}

fn json_of(args: &[&str]) -> Value {
    let mut all = args.to_vec();
    all.extend(["--json", "-"]);
    serde_json::from_str(&printed(&all)).expect("JSON")
}

/// One run of `plan` on the first demo trip with every export: JSON, track, segments, GPX, KML.
fn exported() -> &'static (Value, [String; 4]) {
    static ONCE: std::sync::OnceLock<(Value, [String; 4])> = std::sync::OnceLock::new();
    ONCE.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let names = [
            "plan.json",
            "track.csv",
            "segments.csv",
            "plan.gpx",
            "plan.kml",
        ];
        let paths = names.map(|n| folder.path().join(n).to_str().expect("UTF-8").to_owned());
        let options = ["--json", "--csv", "--csv-segments", "--gpx", "--kml"];
        let mut args = vec!["plan", TRIP];
        for (option, path) in options.iter().zip(&paths) {
            args.extend([*option, path.as_str()]);
        }
        assert!(printed(&args).contains("Trip sheet"));
        let read = |p: &String| std::fs::read_to_string(p).expect("was written");
        let json = serde_json::from_str(&read(&paths[0])).expect("JSON");
        (json, [1, 2, 3, 4].map(|i| read(&paths[i])))
    })
}

fn rows<'a>(json: &'a Value, key: &str) -> &'a Vec<Value> {
    let rows = json[key].as_array().expect("an array");
    assert!(!rows.is_empty(), "{key} is empty");
    rows
}

#[test]
fn crosscheck_the_plans_of_every_profile_and_objective_fit_the_schema() {
    // Source: JSON Schema draft 2020-12 as the jsonschema crate reads it.
    let (plan, _) = schema("plan");
    let mut seen = 0;
    let mut fits = |json: &Value, what: &str| {
        let errors: Vec<String> = plan
            .iter_errors(json)
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{what}: {errors:#?}");
        seen += 1;
    };
    for objective in ["time", "fuel", "money"] {
        let json = json_of(&["plan", TRIP, "--objective", objective]);
        fits(&json, objective);
    }
    for name in [
        "retractable-285hp",
        "turbo-retractable-300hp",
        "trainer-160hp",
        "twin-200hp",
    ] {
        let path = format!("profiles/{name}.toml");
        let json = json_of(&typed(&[
            "--profile",
            &path,
            "--to",
            "KBOI",
            "--fuel",
            "least",
        ]));
        fits(&json, name);
    }
    // in flight, an alternate, later departures: keys that other plans do not have
    let more = [
        "--at-altitude",
        "9500",
        "--at-ias",
        "130",
        "--alternate",
        "KTWF",
        "--leave",
    ];
    let in_flight = json_of(&typed(&more));
    fits(&in_flight, "in flight");
    let kinds: Vec<&Value> = rows(&in_flight, "marks")
        .iter()
        .map(|m| &m["kind"])
        .collect();
    assert!(
        kinds[0] == "start" && !kinds.contains(&&"departure".into()),
        "{kinds:?}"
    );
    assert_eq!(seen, 8);
}

#[test]
fn crosscheck_other_json_fits_its_schema() {
    let season = [
        "season",
        "examples/season.csv",
        "--profile",
        PROFILE,
        "--draw",
        "1",
        "--wet-rate",
        "150",
    ];
    let runs: [(&str, &[&str]); 7] = [
        ("season", &season),
        ("winds", &["winds", TRIP]),
        ("frontier", &["frontier", TRIP]),
        ("spread", &["spread", TRIP, "--samples", "5"]),
        ("compare", &["compare", TRIP, "--profile", "trainer-160hp"]),
        ("settings", &["settings", PROFILE]),
        ("glide", &["glide", PROFILE]),
    ];
    for (of, args) in runs {
        let (validator, _) = schema(of);
        let json = json_of(args);
        let errors: Vec<String> = validator
            .iter_errors(&json)
            .map(|e| e.to_string())
            .collect();
        assert!(errors.is_empty(), "{of}: {errors:#?}");
        // and no other's
        assert!(!schema("plan").0.is_valid(&json), "{of} passes for a plan");
    }
}

#[test]
fn crosscheck_spoiled_json_is_refused() {
    let (plan, _) = schema("plan");
    let (json, _) = exported();
    assert!(plan.is_valid(json));
    let spoiled = |spoil: &dyn Fn(&mut Value)| {
        let mut json = json.clone();
        spoil(&mut json);
        assert_ne!(json, exported().0, "nothing was spoiled");
        assert!(!plan.is_valid(&json), "still valid");
    };
    spoiled(&|j| j["totals"]["time_min"] = "long".into());
    spoiled(&|j| j["track"][0]["latitude_deg"] = Value::Null);
    spoiled(&|j| j["marks"] = Value::Null);
    spoiled(&|j| j["lever_card"][0]["group"] = "taxi".into());
    spoiled(&|j| j["flights"] = (-1).into());
    spoiled(&|j| {
        let totals = j["totals"].as_object_mut().expect("an object");
        totals.remove("fuel_gal");
    });
    spoiled(&|j| j["totals"]["time_h"] = 1.0.into());
}

#[test]
fn closed_form_every_key_of_the_schema_is_described() {
    fn walk(schema: &Value, at: &str, seen: &mut usize) {
        if let Some(properties) = schema["properties"].as_object() {
            for (key, property) in properties {
                assert!(
                    property["description"].is_string(),
                    "{at}/{key} is not described"
                );
                *seen += 1;
            }
        }
        for (key, inner) in schema.as_object().into_iter().flatten() {
            walk(inner, &format!("{at}/{key}"), seen);
        }
    }
    let mut seen = 0;
    walk(&schema("plan").1, "", &mut seen);
    assert!(seen > 150, "only {seen} keys");
}

/// Length of the geodesic between two points \[deg\], m.
///
/// Source: T. Vincenty, Direct and inverse solutions of geodesics on the ellipsoid with application of nested equations, Survey Review
/// 23 (1975), equations (13) to (19), from memory; WGS 84. The code of the crate is Karney's method.
fn vincenty_m((lat1, lon1): (f64, f64), (lat2, lon2): (f64, f64)) -> f64 {
    const A: f64 = 6_378_137.0;
    const F: f64 = 1.0 / 298.257_223_563;
    const B: f64 = A * (1.0 - F);
    let reduced = |deg: f64| ((1.0 - F) * deg.to_radians().tan()).atan();
    let (u1, u2) = (reduced(lat1), reduced(lat2));
    let l = (lon2 - lon1).to_radians();
    let mut lambda = l;
    for _ in 0..100 {
        let (sl, cl) = lambda.sin_cos();
        let x = u2.cos() * sl;
        let y = u1.cos() * u2.sin() - u1.sin() * u2.cos() * cl;
        let sin_sigma = x.hypot(y);
        if sin_sigma == 0.0 {
            return 0.0;
        }
        let cos_sigma = u1.sin() * u2.sin() + u1.cos() * u2.cos() * cl;
        let sigma = sin_sigma.atan2(cos_sigma);
        let sin_alpha = u1.cos() * u2.cos() * sl / sin_sigma;
        let cos2_alpha = 1.0 - sin_alpha * sin_alpha;
        let cos_2m = cos_sigma - 2.0 * u1.sin() * u2.sin() / cos2_alpha;
        let c = F / 16.0 * cos2_alpha * (4.0 + F * (4.0 - 3.0 * cos2_alpha));
        let was = lambda;
        lambda = l
            + (1.0 - c)
                * F
                * sin_alpha
                * (sigma + c * sin_sigma * (cos_2m + c * cos_sigma * (2.0 * cos_2m.powi(2) - 1.0)));
        if (lambda - was).abs() < 1e-13 {
            let u = cos2_alpha * (A * A - B * B) / (B * B);
            let big_a = 1.0 + u / 16_384.0 * (4_096.0 + u * (-768.0 + u * (320.0 - 175.0 * u)));
            let big_b = u / 1_024.0 * (256.0 + u * (-128.0 + u * (74.0 - 47.0 * u)));
            let inner = cos_sigma * (2.0 * cos_2m.powi(2) - 1.0)
                - big_b / 6.0
                    * cos_2m
                    * (4.0 * sin_sigma.powi(2) - 3.0)
                    * (4.0 * cos_2m.powi(2) - 3.0);
            let d_sigma = big_b * sin_sigma * (cos_2m + big_b / 4.0 * inner);
            return B * big_a * (sigma - d_sigma);
        }
    }
    f64::NAN
}

fn place(of: &Value) -> (f64, f64) {
    (number(of, "/latitude_deg"), number(of, "/longitude_deg"))
}

#[test]
fn crosscheck_points_lie_on_the_geodesics_of_the_legs() {
    // Latitude and longitude are rounded to 1e-6 deg, 0.08 m at most each, at both ends of what is measured; a leg flown by the wrong
    // kind of line (a rhumb line, a straight line on the chart) is off by 100 m and more.
    const NEAR_M: f64 = 0.5;
    let (json, _) = exported();
    // the places as the trip file has them
    let places = [
        (43.591_906, -118.955_437),
        (43.131_609, -115.730_567),
        (42.909_793, -112.595_919),
    ];
    let mut seen = 0;
    for (i, leg) in rows(json, "legs").iter().enumerate() {
        let (from, to) = (places[i], places[i + 1]);
        let (from_nm, to_nm) = (number(leg, "/from_nm"), number(leg, "/to_nm"));
        let length_m = vincenty_m(from, to);
        assert!((length_m - 1_852.0 * (to_nm - from_nm)).abs() < NEAR_M);
        let points = rows(json, "track").iter().chain(rows(json, "marks"));
        for p in points {
            let along_nm = number(p, "/distance_nm");
            if !(from_nm..=to_nm).contains(&along_nm) {
                continue;
            }
            let from_start_m = vincenty_m(from, place(p));
            let to_end_m = vincenty_m(place(p), to);
            // at its distance from the start, and no detour
            assert!(
                (from_start_m - 1_852.0 * (along_nm - from_nm)).abs() < NEAR_M,
                "{p}"
            );
            assert!((from_start_m + to_end_m - length_m).abs() < NEAR_M, "{p}");
            seen += 1;
        }
    }
    assert!(seen > 100, "only {seen} points");
}

#[test]
fn closed_form_marks_are_where_the_plan_has_them() {
    // A millionth of a unit is what figures are rounded to.
    const ROUNDED: f64 = 2e-6;
    let (json, _) = exported();
    let marks = rows(json, "marks");
    let names: Vec<&str> = marks
        .iter()
        .map(|m| m["name"].as_str().expect("a name"))
        .collect();
    assert_eq!(
        names,
        ["KBNO", "TOC", "KU76", "TOD", "SLOW DOWN", "PATTERN", "KPIH"]
    );
    let at = |name: &str| &marks[names.iter().position(|n| *n == name).expect("a mark")];
    for (name, pointer) in [
        ("TOC", "/top_of_climb_nm"),
        ("TOD", "/top_of_descent_nm"),
        ("PATTERN", "/pattern_point_nm"),
        ("KU76", "/legs/0/to_nm"),
        ("KPIH", "/totals/distance_nm"),
    ] {
        let (is, should) = (number(at(name), "/distance_nm"), number(json, pointer));
        assert!((is - should).abs() < ROUNDED, "{name}: {is}, {should}");
    }
    let time = |name: &str| number(at(name), "/time_min");
    assert!((time("TOC") - number(json, "/top_of_climb_min")).abs() < ROUNDED);
    assert!((time("TOD") - number(json, "/top_of_descent_min")).abs() < ROUNDED);
    assert!((time("KPIH") - number(json, "/totals/time_min")).abs() < ROUNDED);
    assert_eq!(json["trip"]["departure_utc"], "2026-01-31T16:00:00Z");
    // start-up, taxi, flight: the block time is what of it is not flown
    let taxi_min = number(json, "/totals/block_time_min") - number(json, "/totals/time_min");
    for m in marks.iter().chain(rows(json, "track")) {
        let utc: jiff::Timestamp = m["time_utc"]
            .as_str()
            .expect("text")
            .parse()
            .expect("a time");
        let start: jiff::Timestamp = "2026-01-31T16:00:00Z".parse().expect("a time");
        let since_s = utc.duration_since(start).as_secs_f64();
        let should_s = 60.0 * (taxi_min + number(m, "/time_min"));
        // to the second
        assert!((since_s - should_s).abs() <= 0.5 + 1e-3, "{m}");
    }
    // the field itself, to the ten-thousandth of a foot its elevation has gone through metres
    assert!((number(at("KPIH"), "/true_altitude_ft") - 4_451.9).abs() < 1e-4);
    let landing = number(json, "/totals/landing_fuel_gal");
    assert!((number(at("KPIH"), "/fuel_left_gal") - landing).abs() < 1e-5);
}

#[test]
fn crosscheck_gpx_is_read_by_the_gpx_crate() {
    // Source: GPX 1.1 (topografix.com/GPX/1/1) as the gpx crate reads it. Heights are written to 0.1 m.
    const HEIGHT_M: f64 = 0.051;
    let (json, [_, _, text, _]) = exported();
    let file = gpx::read(text.as_bytes()).expect("GPX");
    assert_eq!(file.version, gpx::GpxVersion::Gpx11);
    assert_eq!(file.creator.as_deref(), Some("fellrun"));
    let about = file.metadata.expect("metadata");
    let caution = about.description.expect("a caution");
    assert!(caution.contains("not a weather briefing") && caution.contains("flight manual"));
    let same = |w: &gpx::Waypoint, p: &Value| {
        let (lat, lon) = place(p);
        assert_eq!((w.point().y(), w.point().x()), (lat, lon));
        let m = 0.3048 * number(p, "/true_altitude_ft");
        assert!((w.elevation.expect("a height") - m).abs() < HEIGHT_M, "{p}");
        let time = w.time.expect("a time").format().expect("a time");
        let utc = |text: &str| -> jiff::Timestamp { text.parse().expect("a time") };
        assert_eq!(utc(p["time_utc"].as_str().expect("text")), utc(&time));
    };
    let marks = rows(json, "marks");
    let [route] = &file.routes[..] else {
        panic!("one route")
    };
    for list in [&file.waypoints, &route.points] {
        assert_eq!(list.len(), marks.len());
        for (w, m) in list.iter().zip(marks) {
            same(w, m);
            assert_eq!(w.name.as_deref(), m["name"].as_str());
            assert_eq!(w.type_.as_deref(), m["kind"].as_str());
        }
    }
    let [track] = &file.tracks[..] else {
        panic!("one track")
    };
    let [part] = &track.segments[..] else {
        panic!("one part")
    };
    assert_eq!(part.points.len(), rows(json, "track").len());
    for (w, p) in part.points.iter().zip(rows(json, "track")) {
        same(w, p);
    }
}

#[test]
fn closed_form_the_gpx_can_be_flown_by_again() {
    let (_, [_, _, text, _]) = exported();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = written(folder.path(), "plan.gpx", text);
    let path = path.to_str().expect("UTF-8");
    let line = printed(&["check", path]);
    assert!(
        line.contains("GPX: 7 waypoints, 1 route of 7 points"),
        "{line}"
    );
}

#[test]
fn crosscheck_csv_has_the_keys_and_values_of_the_json() {
    let (json, [track, segments, _, _]) = exported();
    fn same(cell: &str, value: &Value, what: &str) {
        match value {
            Value::String(s) => assert_eq!(cell, s, "{what}"),
            Value::Number(n) => assert_eq!(cell.parse::<f64>().ok(), n.as_f64(), "{what}"),
            Value::Null => assert_eq!(cell, "", "{what}"),
            other => panic!("{what} is {other}"),
        }
    }
    let mut read = csv::Reader::from_reader(track.as_bytes());
    let heads = read.headers().expect("a head").clone();
    let first = rows(json, "track")[0].as_object().expect("an object");
    assert_eq!(
        heads.iter().collect::<BTreeSet<_>>(),
        first.keys().map(String::as_str).collect()
    );
    assert_eq!(heads.len(), first.len());
    let all: Vec<csv::StringRecord> = read.records().map(|r| r.expect("a row")).collect();
    assert_eq!(all.len(), rows(json, "track").len());
    for (row, point) in all.iter().zip(rows(json, "track")) {
        for (head, cell) in heads.iter().zip(row) {
            same(cell, &point[head], head);
        }
    }
    let mut read = csv::Reader::from_reader(segments.as_bytes());
    let heads = read.headers().expect("a head").clone();
    // kind and five figures, and the two ends
    assert_eq!(heads.len(), 6 + 2 * first.len());
    let all: Vec<csv::StringRecord> = read.records().map(|r| r.expect("a row")).collect();
    assert_eq!(all.len(), rows(json, "segments").len());
    for (row, segment) in all.iter().zip(rows(json, "segments")) {
        for (head, cell) in heads.iter().zip(row) {
            let pointer = format!("/{}", head.replace('.', "/"));
            let value = segment
                .pointer(&pointer)
                .unwrap_or_else(|| panic!("no {head}"));
            same(cell, value, head);
        }
    }
}

/// Order of what may stand in an element, as far as it is used here.
///
/// Source: OGC 07-147r2, KML 2.2, and its schema ogckml22.xsd: sequences of AbstractFeatureType, PlacemarkType, LineStringType, PointType,
/// StyleType, LineStyleType and PolyStyleType. The whole file was held against that schema once: tests/crosscheck/SOURCE.md.
const ORDER: [(&str, &[&str]); 9] = [
    ("kml", &["Document"]),
    ("Document", &["name", "description", "Style", "Folder"]),
    ("Folder", &["name", "Placemark"]),
    (
        "Placemark",
        &["name", "description", "styleUrl", "LineString", "Point"],
    ),
    ("LineString", &["extrude", "altitudeMode", "coordinates"]),
    ("Point", &["extrude", "altitudeMode", "coordinates"]),
    ("Style", &["LineStyle", "PolyStyle"]),
    ("LineStyle", &["color", "width"]),
    ("PolyStyle", &["color"]),
];

#[test]
fn published_kml_is_in_the_order_of_the_standard() {
    let (_, [_, _, _, text]) = exported();
    let document = roxmltree::Document::parse(text).expect("XML");
    let mut seen = 0;
    for node in document.descendants().filter(|n| n.is_element()) {
        assert_eq!(
            node.tag_name().namespace(),
            Some("http://www.opengis.net/kml/2.2")
        );
        let inner: Vec<&str> = node
            .children()
            .filter(|n| n.is_element())
            .map(|n| n.tag_name().name())
            .collect();
        if inner.is_empty() {
            continue;
        }
        let name = node.tag_name().name();
        let (_, order) = ORDER
            .iter()
            .find(|(n, _)| *n == name)
            .unwrap_or_else(|| panic!("{name} holds {inner:?}"));
        let places: Vec<usize> = inner
            .iter()
            .map(|i| {
                order
                    .iter()
                    .position(|o| o == i)
                    .unwrap_or_else(|| panic!("{i} in {name}"))
            })
            .collect();
        assert!(places.is_sorted(), "{name}: {inner:?}");
        seen += 1;
    }
    assert!(seen > 30, "only {seen} elements");
}

#[test]
fn closed_form_kml_draws_the_track_of_the_json() {
    const HEIGHT_M: f64 = 0.051;
    let (json, [_, _, _, text]) = exported();
    let document = roxmltree::Document::parse(text).expect("XML");
    let texts = |node: roxmltree::Node<'_, '_>, name: &str| -> Vec<String> {
        node.descendants()
            .filter(|n| n.tag_name().name() == name)
            .map(|n| n.text().unwrap_or("").to_owned())
            .collect()
    };
    let geometries = |name: &'static str| {
        let all = document.descendants();
        all.filter(move |n| n.tag_name().name() == name)
            .map(move |n| {
                assert_eq!(texts(n, "extrude"), ["1"]);
                assert_eq!(texts(n, "altitudeMode"), ["absolute"]);
                let coordinates = &texts(n, "coordinates")[0];
                let of = |c: &str| -> [f64; 3] {
                    let parts: Vec<f64> =
                        c.split(',').map(|x| x.parse().expect("a number")).collect();
                    parts.try_into().expect("longitude, latitude, height")
                };
                coordinates.split(' ').map(of).collect::<Vec<_>>()
            })
    };
    let lines: Vec<_> = geometries("LineString").collect();
    assert_eq!(lines.len(), rows(json, "segments").len());
    for pair in lines.windows(2) {
        assert_eq!(pair[0].last(), pair[1].first(), "the lines join");
    }
    assert!(lines.iter().all(|l| l.len() >= 2));
    // every point of the track is on the lines, in its order
    let path: Vec<[f64; 3]> = lines.iter().flatten().copied().collect();
    let mut from = 0;
    for p in rows(json, "track") {
        let (lat, lon) = place(p);
        let m = 0.3048 * number(p, "/true_altitude_ft");
        let is = |c: &[f64; 3]| c[0] == lon && c[1] == lat && (c[2] - m).abs() < HEIGHT_M;
        let found = path[from..].iter().position(is);
        from += found.unwrap_or_else(|| panic!("{p} is not on the path"));
    }
    let points: Vec<_> = geometries("Point").collect();
    assert_eq!(points.len(), rows(json, "marks").len());
    for (point, mark) in points.iter().zip(rows(json, "marks")) {
        assert_eq!((point[0][1], point[0][0]), place(mark));
    }
    // styles that are there, and no magenta: red and blue strong, green weak
    let styles: BTreeSet<String> = document
        .descendants()
        .filter_map(|n| n.attribute("id"))
        .map(|id| format!("#{id}"))
        .collect();
    for url in texts(document.root(), "styleUrl") {
        assert!(styles.contains(&url), "{url}");
    }
    let colours = texts(document.root(), "color");
    assert!(!colours.is_empty());
    for colour in colours {
        let part = |i: usize| u8::from_str_radix(&colour[i..i + 2], 16).expect("hexadecimal");
        let (blue, green, red) = (part(2), part(4), part(6));
        assert!(!(red > 150 && blue > 150 && green < 100), "{colour}");
    }
    assert!(text.contains("not a weather briefing"));
}

#[test]
fn closed_form_names_that_xml_cannot_hold_are_made_to_fit() {
    let trip = std::fs::read_to_string(root().join(TRIP)).expect("the demo trip");
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (sub, files) in [
        ("examples", vec![]),
        ("profiles", vec!["retractable-200hp.toml"]),
    ] {
        std::fs::create_dir(folder.path().join(sub)).expect("a folder");
        for f in files {
            std::fs::copy(root().join(sub).join(f), folder.path().join(sub).join(f))
                .expect("copies");
        }
    }
    let weather = root().join("examples/weather");
    let odd = trip
        .replace("\"Burns to Pocatello\"", "\"A < B & \\\"C\\\" \\u0001 ü\"")
        .replace(
            "\"weather/",
            &format!("\"{}/", weather.to_str().expect("UTF-8")),
        );
    let path = written(&folder.path().join("examples"), "odd.toml", odd);
    let path = path.to_str().expect("UTF-8");
    for option in ["--gpx", "--kml"] {
        let text = printed(&["plan", path, option, "-"]);
        let document = roxmltree::Document::parse(&text).expect("XML");
        let name = document
            .descendants()
            .find(|n| n.tag_name().name() == "name")
            .and_then(|n| n.text())
            .expect("a name");
        assert!(
            name.starts_with("A < B & \"C\" \u{fffd} ü: KBNO to KPIH"),
            "{name}"
        );
    }
}

#[test]
fn closed_form_standard_output_takes_one() {
    let (status, out, err) = fellrun(&["plan", TRIP, "--gpx", "-", "--kml", "-"]);
    assert_eq!(status, Some(1), "{out}{err}");
    assert!(err.contains("both go to standard output"), "{err}");
}

/// Mountain time is 7 h behind UTC, 6 h in summer (15 U.S.C. 261 and 260a, from memory); in October 2011 it was summer time.
#[test]
fn published_times_of_the_day_in_a_zone() {
    let plan = command::json(&[
        "plan",
        "examples/first-trip.toml",
        "--zone",
        "America/Boise",
    ]);
    assert_eq!(plan["times"]["start_utc"], "2026-01-31T16:00:00Z");
    let zone = &plan["times"]["zone"];
    assert_eq!(zone["start"], "2026-01-31T09:00-07:00");
    let minutes = |t: &Value| {
        let t = t.as_str().expect("a time");
        let part = |range: std::ops::Range<usize>| t[range].parse::<f64>().expect("digits");
        60.0 * part(11..13) + part(14..16)
    };
    // To the minute: start down never late, the landing never early.
    let taxi_min = command::number(&plan, "/totals/block_time_min")
        - command::number(&plan, "/totals/time_min");
    let after = |what: &str, key: &str| {
        let off = minutes(&plan["times"][what]) - 16.0 * 60.0 - taxi_min;
        off - command::number(&plan, key)
    };
    assert!((-1.01..=0.01).contains(&after("top_of_descent_utc", "/top_of_descent_min")));
    assert!((-0.01..=1.01).contains(&after("landing_utc", "/totals/time_min")));
    let landing = minutes(&plan["times"]["landing_utc"]) - minutes(&zone["landing"]);
    assert!((landing - 7.0 * 60.0).abs() < 1e-9);
    let summer = command::json(&[
        "plan",
        "--profile",
        "retractable-200hp",
        "--from",
        "KBNO",
        "--to",
        "KPIH",
        "--fuel",
        "50",
        "--altimeter",
        "30",
        "--depart",
        "2011-10-11T01:00Z",
        "--zone",
        "America/Boise",
        "--winds",
        "tests/data/grib/gfs_2p5deg_20111008T00Z_f072_small_T_GH_UV.grib2",
    ]);
    assert_eq!(summer["times"]["zone"]["start"], "2011-10-10T19:00-06:00");
    command::refused(
        &["plan", "examples/first-trip.toml", "--zone", "Mars/Phobos"],
        &["--zone Mars/Phobos", "America/Boise"],
    );
}
