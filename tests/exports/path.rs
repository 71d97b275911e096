//! Where the points of the path and its marks are; GPX, CSV and KML read by readers of others.

use super::{exported, rows};
use crate::command::{number, printed, written};
use serde_json::Value;
use std::collections::BTreeSet;

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
