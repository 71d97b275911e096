//! Routes, tracks and waypoints of GPX.

use super::{ENDS, ROUNDING_FT, trip};
use fellrun::earth::geodesic;
use fellrun::earth::place::Position;
use fellrun::files::places::parse_places;
use fellrun::files::{airports, route};
use fellrun::quantity::{M_PER_FT, M_PER_NM};
use std::path::Path;

#[test]
fn closed_form_waypoints_of_gpx_are_places() {
    let text = r#"<?xml version="1.0"?>
<gpx version="1.1" creator="hand" xmlns="http://www.topografix.com/GPX/1/1">
  <wpt lat="43.5" lon="-117.25"><ele>1219.2</ele><name>RIDGE</name></wpt>
  <wpt lat="43.6" lon="-117.35"></wpt>
</gpx>"#;
    let places = parse_places(text, Path::new("w.gpx")).unwrap();
    assert_eq!(places.len(), 1, "a point without a name cannot be called");
    assert_eq!(places[0].ident, "RIDGE");
    assert!((places[0].elevation_m.unwrap() / M_PER_FT - 4_000.0).abs() < ROUNDING_FT);
}

// --- routes from GPX ---------------------------------------------------------------------------------------------

/// A track through points, one every mile of each leg, off it by up to a tenth of a mile to either side in turn.
fn track(turns: &[Position]) -> (String, Vec<Position>) {
    let mut points = vec![turns[0]];
    for pair in turns.windows(2) {
        let leg = geodesic::Leg::new(pair[0], pair[1]).unwrap();
        let miles = (leg.distance_m() / M_PER_NM).floor() as u32;
        for i in 1..miles {
            let along_m = f64::from(i) * M_PER_NM;
            let side = leg.course_at_rad(along_m) + std::f64::consts::FRAC_PI_2;
            let off_m = 0.1 * M_PER_NM * f64::from(i % 3).mul_add(1.0, -1.0);
            points.push(geodesic::destination(leg.point_at(along_m), side, off_m));
        }
        points.push(pair[1]);
    }
    let body: String = points
        .iter()
        .map(|p| {
            format!(
                "<trkpt lat=\"{}\" lon=\"{}\"><ele>3000</ele></trkpt>",
                p.lat_deg(),
                p.lon_deg()
            )
        })
        .collect();
    let text =
        format!("<gpx version=\"1.1\"><trk><name>t</name><trkseg>{body}</trkseg></trk></gpx>");
    (text, points)
}

fn thinned(text: &str, tolerance_nm: f64) -> Vec<Position> {
    let route = route::parse(text, Path::new("t.gpx"), None, tolerance_nm).unwrap();
    route.points.iter().map(|p| p.position).collect()
}

#[test]
fn closed_form_a_track_is_thinned_to_its_turning_points() {
    let at = |lat, lon| Position::new(lat, lon).unwrap();
    for turns in [
        // four hundred miles along one great circle at 45 N: a straight line of latitude and longitude would miss it by 6 nm
        vec![at(45.0, -120.0), at(45.0, -110.6)],
        vec![at(43.6, -119.0), at(43.1, -115.7), at(42.9, -112.6)],
        // across the antimeridian, over the pole, and out and back
        vec![at(-17.0, 178.0), at(-16.0, -178.0), at(-14.0, -177.0)],
        vec![at(88.0, 0.0), at(88.0, 180.0), at(86.0, 90.0)],
        vec![at(43.6, -119.0), at(43.1, -115.7), at(43.6, -119.0)],
    ] {
        let (text, all) = track(&turns);
        assert!(all.len() > 100);
        // noise of 0.1 nm is thinned away, and every turn is kept
        assert_eq!(thinned(&text, 0.5), turns);
    }
}

#[test]
fn crosscheck_no_point_of_a_track_lies_off_its_legs() {
    // By brute force: the distance of each point from the nearest of points 0.02 nm apart on the legs kept.
    const STEP_M: f64 = 0.02 * M_PER_NM;
    const TOLERANCE_NM: f64 = 2.0;
    let turns: Vec<Position> = (0..60)
        .map(|i| {
            let x = f64::from(i);
            Position::new(43.0 + 0.3 * (x / 5.0).sin(), -118.0 + 0.03 * x).unwrap()
        })
        .collect();
    let (text, all) = track(&turns);
    let kept = thinned(&text, TOLERANCE_NM);
    assert!(kept.len() > 4 && kept.len() < 20, "{}", kept.len());
    let on_legs: Vec<Position> = kept
        .windows(2)
        .flat_map(|pair| {
            let leg = geodesic::Leg::new(pair[0], pair[1]).unwrap();
            let steps = (leg.distance_m() / STEP_M) as u32;
            (0..=steps).map(move |i| leg.point_at(f64::from(i) * STEP_M))
        })
        .collect();
    for p in all.iter().step_by(3) {
        let off_m = on_legs
            .iter()
            .filter(|q| {
                (q.lat_deg() - p.lat_deg()).abs() < 0.1 && (q.lon_deg() - p.lon_deg()).abs() < 0.1
            })
            .map(|q| geodesic::distance_m(*p, *q))
            .fold(f64::INFINITY, f64::min);
        // the ellipsoid is rounder than the chart by 0.3 %, and half a step is missed
        assert!(
            off_m / M_PER_NM < TOLERANCE_NM * 1.003 + 0.01,
            "{p}: {} nm",
            off_m / M_PER_NM
        );
    }
}

#[test]
fn closed_form_which_route_of_a_file() {
    let rte = |name: &str, lat: f64| {
        format!(
            "<rte><name>{name}</name><rtept lat=\"{lat}\" lon=\"1\"/><rtept lat=\"2\" lon=\"3\"><name>B</name></rtept></rte>"
        )
    };
    let file = |inner: &str| format!("<gpx>{inner}</gpx>");
    let read = |text: &str, name: Option<&str>| {
        route::parse(text, Path::new("r.gpx"), name, 1.0).map_err(|e| e.to_string())
    };
    let two = file(&(rte("one", 10.0) + &rte("two", 20.0)));
    let error = read(&two, None).unwrap_err();
    assert!(
        error.contains("\"one\", \"two\"") && error.contains("by its name"),
        "{error}"
    );
    let second = read(&two, Some("two")).unwrap();
    assert_eq!(second.points[0].position.lat_deg(), 20.0);
    assert_eq!(
        (second.points[0].name.as_str(), second.points[0].unnamed),
        ("20.0000N 1.0000E", true)
    );
    assert_eq!(
        (second.points[1].name.as_str(), second.points[1].unnamed),
        ("B", false)
    );
    assert!(read(&two, Some("three")).unwrap_err().contains("\"one\""));
    for (text, words) in [
        (file(""), "no route and no track"),
        (file("<wpt lat=\"1\" lon=\"2\"/>"), "no route and no track"),
        (file("<rte><rtept lat=\"1\" lon=\"2\"/><rtept lat=\"1\" lon=\"2\"/></rte>"), "1 point(s)"),
        (file("<rte><rtept lat=\"1\" lon=\"200\"/></rte>"), "lon"),
        (
            file("<trk><trkseg><trkpt lat=\"1\" lon=\"2\"/><trkpt lat=\"1\" lon=\"9\"/><trkpt lat=\"1\" lon=\"182\"/></trkseg></trk>")
                .replace("182", "179"),
            "too far",
        ),
    ] {
        let error = read(&text, None).unwrap_err();
        assert!(error.contains(words), "{text}: {error}");
    }
    // a route goes before tracks; two places of one name are told apart
    let same = "<rte><rtept lat=\"1\" lon=\"2\"><name>A</name></rtept><rtept lat=\"3\" lon=\"2\"><name>A</name></rtept></rte>";
    let both = file(&format!(
        "{same}<trk><trkseg><trkpt lat=\"1\" lon=\"2\"/></trkseg></trk>"
    ));
    let names: Vec<String> = read(&both, None)
        .unwrap()
        .points
        .into_iter()
        .map(|p| p.name)
        .collect();
    assert_eq!(names, ["A", "3.0000N 2.0000E"]);
}

#[test]
fn closed_form_a_trip_takes_its_places_from_gpx() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("t.gpx");
    let turns: Vec<Position> = ["KBNO", "KU76", "KPIH"]
        .map(|i| airports::find(i).unwrap().position)
        .to_vec();
    std::fs::write(&file, track(&turns).0).unwrap();
    let head = |more: &str| format!("[route]\ngpx = {:?}\n{more}\n", file.to_str().unwrap());
    let read = trip("", &head(""), "").unwrap();
    let idents: Vec<&str> = read.trip.places.iter().map(|p| p.ident.as_str()).collect();
    // the ends of a track are fields; a turn is called by where it is, as tracks have no names
    assert_eq!(idents, ["KBNO", "43.1316N 115.7306W", "KPIH"]);
    assert!((read.trip.places[2].elevation_m.unwrap() / M_PER_FT - 4_451.9).abs() < ROUNDING_FT);
    let said = read.notes.join(" ");
    assert!(
        said.contains("3 of them kept, within 1 nm") && said.contains("KPIH 4,452 ft"),
        "{said}"
    );
    let own = trip("", &head("destination_elevation_ft = 4460"), "").unwrap();
    assert!((own.trip.places[2].elevation_m.unwrap() / M_PER_FT - 4_460.0).abs() < ROUNDING_FT);
    for (more, words) in [
        ("name = \"none\"", "no route or track named"),
        ("tolerance_nm = 0", "0.1..=20 nm"),
        ("zzz = 1", "zzz"),
    ] {
        let error = trip("", &head(more), "").unwrap_err();
        assert!(error.contains(words), "{error}");
    }
    let error = trip("", &(head("") + ENDS), "").unwrap_err();
    assert!(
        error.contains("keep [route] or the [[place]] rows"),
        "{error}"
    );
    let error = trip("", "[route]\ngpx = \"none.gpx\"\n", "").unwrap_err();
    assert!(error.contains("none.gpx"), "{error}");
}

#[test]
fn closed_form_a_track_of_countless_turns_is_refused_and_not_recursed_into() {
    // Points in turn to either side of a line, each farther off it than asked for: thinning would go as deep as there are points.
    let zigzag = |n: u32, step_deg: f64| {
        let body: String = (0..n)
            .map(|i| {
                let lat = 45.0 + if i % 2 == 0 { 0.1 } else { -0.1 };
                format!("<trkpt lat=\"{lat}\" lon=\"{}\"/>", f64::from(i) * step_deg)
            })
            .collect();
        format!("<gpx><trk><trkseg>{body}</trkseg></trk></gpx>")
    };
    let error = route::parse(&zigzag(20_000, 0.000_5), Path::new("z.gpx"), None, 1.0).unwrap_err();
    assert!(error.to_string().contains("more turns"), "{error}");
    // the most that is looked at is, and nearly every turn is kept
    assert!(thinned(&zigzag(5_000, 0.002), 1.0).len() > 4_900);
    // and so is a long recording of a straight flight (along the equator, a great circle), a point each second
    assert_eq!(
        thinned(
            &zigzag(30_000, 0.000_5)
                .replace("45.1", "0")
                .replace("44.9", "0"),
            1.0
        )
        .len(),
        2
    );
}
