//! Places: the built-in airport table, places of the user's own, positions as pilots write them, and trips that name them.
#![expect(clippy::unwrap_used, reason = "an unwrap that fails fails the test")]

use fellrun::earth::geodesic;
use fellrun::earth::place::{Position, parse_latitude_deg, parse_longitude_deg};
use fellrun::files::airports::{self, Airport};
use fellrun::files::places::{Found, Gazetteer, parse_places};
use fellrun::files::route;
use fellrun::files::trip::{TripFile, parse_trip};
use fellrun::quantity::{M_PER_FT, M_PER_NM};
use fellrun::trip::{Note, resolve};
use proptest::prelude::*;
use std::path::Path;

/// Feet to metres and back changes the last digits of a number only.
const ROUNDING_FT: f64 = 1e-6;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

// --- the built-in table ------------------------------------------------------------------------------------------

#[test]
fn published_the_airport_table_is_whole_and_in_order() {
    // src/files/airports/SOURCE.md: 28,285 codes and 289 more FAA identifiers, every row readable
    let all: Vec<Airport> = airports::all().collect();
    assert_eq!(all.len(), 28_285 + 289);
    let table = std::fs::read_to_string(root().join("src/files/airports/airports.csv")).unwrap();
    assert_eq!(table.len(), 1_416_415);
    assert_eq!(table.lines().count(), all.len() + 1);
    assert!(
        all.windows(2)
            .all(|w| w[0].ident.as_bytes() < w[1].ident.as_bytes())
    );
    // printed by a sum over the table in Python (tenths of a foot), before this reader existed
    let tenths: f64 = all
        .iter()
        .map(|a| (a.elevation_m / M_PER_FT * 10.0).round())
        .sum();
    assert_eq!(tenths, 337_664_900.0);
    let at_sea_level = all.iter().filter(|a| a.elevation_m == 0.0).count();
    assert!(
        at_sea_level > 1_000,
        "the warning about elevations stands for something"
    );
}

#[test]
fn closed_form_every_row_is_found_by_its_identifier() {
    let mut found = 0;
    for airport in airports::all() {
        assert_eq!(
            airports::find(airport.ident),
            Some(airport),
            "{}",
            airport.ident
        );
        found += 1;
    }
    assert!(found > 28_000);
}

#[test]
fn published_identifiers_as_pilots_type_them() {
    // rows of airportsdata 20260905: KBNO BNO 4148.2 43.591906 -118.955437; KU76 U76 3166.6; NSAS Z08; EGLL; EDDF
    let burns = airports::find("KBNO").unwrap();
    assert_eq!(burns.name, "Burns Municipal Airport");
    assert_eq!(
        burns.position,
        Position::new(43.591_906, -118.955_437).unwrap()
    );
    assert!((burns.elevation_m / M_PER_FT - 4_148.2).abs() < ROUNDING_FT);
    for (typed, ident) in [
        ("BNO", "KBNO"),
        ("kbno", "KBNO"),
        (" KBNO ", "KBNO"),
        ("U76", "KU76"),
        ("KU76", "KU76"),
        ("Z08", "Z08"),
        ("NSAS", "NSAS"),
        ("KZ08", "Z08"),
        ("00AK", "00AK"),
        ("EGLL", "EGLL"),
        ("EDDF", "EDDF"),
    ] {
        assert_eq!(
            airports::find(typed).map(|a| a.ident),
            Some(ident),
            "{typed}"
        );
    }
    assert_eq!(
        airports::find("Z08").unwrap().position,
        airports::find("NSAS").unwrap().position
    );
    for nothing in [
        "", "K", "QQQQ", "KQQQ", "ident", "K\n", "\u{e9}", ",", "KBNO,", "zzzzzzzz",
    ] {
        assert_eq!(airports::find(nothing), None, "{nothing:?}");
    }
}

#[test]
fn closed_form_the_nearest_field_is_the_nearest() {
    let burns = airports::find("KBNO").unwrap();
    // a tenth of a minute of latitude is a tenth of a mile
    let near = Position::new(
        burns.position.lat_deg() + 0.1 / 60.0,
        burns.position.lon_deg(),
    )
    .unwrap();
    let (found, far_m) = airports::nearest(near, M_PER_NM).unwrap();
    assert_eq!(found.ident, "KBNO");
    assert!((far_m / M_PER_NM - 0.1).abs() < 0.001);
    // by a search of every row without the short cut
    let by_hand = airports::all()
        .map(|a| geodesic::distance_m(a.position, near))
        .fold(f64::INFINITY, f64::min);
    assert_eq!(by_hand, far_m);
    // nowhere near any field: the South Pacific
    assert!(airports::nearest(Position::new(-48.9, -123.4).unwrap(), 10.0 * M_PER_NM).is_none());
}

// --- positions ---------------------------------------------------------------------------------------------------

/// How finely a form shows a position: 1e-9 deg of rounding, half a tenth of a minute, half a minute, half a second.
const DECIMAL_DEG: f64 = 1e-9;
const TENTH_MIN_DEG: f64 = 0.05 / 60.0 + 1e-9;
const MINUTE_DEG: f64 = 0.5 / 60.0 + 1e-9;
const SECOND_DEG: f64 = 0.5 / 3_600.0 + 1e-9;

/// Degrees and minutes, in units of `1 / per` of a minute, so that rounding carries as it should.
fn in_minutes(deg: f64, per: f64) -> (u32, f64) {
    let all = (deg.abs() * 60.0 * per).round();
    let whole = (all / (60.0 * per)).floor();
    (whole as u32, (all - whole * 60.0 * per) / per)
}

fn in_seconds(deg: f64) -> (u32, u32, u32) {
    let all = (deg.abs() * 3_600.0).round() as u32;
    (all / 3_600, all / 60 % 60, all % 60)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 512, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn closed_form_every_way_of_writing_a_position_reads_back(lat in -89.9..89.9_f64, lon in -179.9..179.9_f64) {
        let ns = if lat < 0.0 { 'S' } else { 'N' };
        let ew = if lon < 0.0 { 'W' } else { 'E' };
        let ((a, b), (c, d)) = (in_minutes(lat, 10.0), in_minutes(lon, 10.0));
        let ((e, f), (g, h)) = (in_minutes(lat, 1.0), in_minutes(lon, 1.0));
        let ((i, j, k), (l, m, n)) = (in_seconds(lat), in_seconds(lon));
        let forms = [
            (format!("{lat},{lon}"), DECIMAL_DEG),
            (format!("{lat} {lon}"), DECIMAL_DEG),
            (format!("{}{ns} {}{ew}", lat.abs(), lon.abs()), DECIMAL_DEG),
            (format!("{ns}{}, {ew}{}", lat.abs(), lon.abs()), DECIMAL_DEG),
            (format!("{a}-{b:04.1}{ns} {c}-{d:04.1}{ew}"), TENTH_MIN_DEG),
            (format!("{ns}{a:02} {b:04.1} {ew}{c:03} {d:04.1}"), TENTH_MIN_DEG),
            (format!("{a}° {b:.1}' {ns} / {c}° {d:.1}' {ew}"), TENTH_MIN_DEG),
            (format!("{a:02}{b:04.1}{ns}{c:03}{d:04.1}{ew}"), TENTH_MIN_DEG),
            // ICAO Doc 4444 appendix 2, item 15: degrees and minutes in eleven characters, as 4620N07805W
            (format!("{e:02}{f:02}{ns}{g:03}{h:02}{ew}"), MINUTE_DEG),
            (format!("{e:02}{f:02}{ns} {g:03}{h:02}{ew}"), MINUTE_DEG),
            (format!("{i}°{j:02}'{k:02}\"{ns} {l}°{m:02}'{n:02}\"{ew}"), SECOND_DEG),
            (format!("{i}°{j:02}′{k:02}″{ns}, {l}°{m:02}′{n:02}″{ew}"), SECOND_DEG),
            (format!("{i:02}{j:02}{k:02}{ns}{l:03}{m:02}{n:02}{ew}"), SECOND_DEG),
            (format!("{i:02}:{j:02}:{k:02}{ns} {l:03}:{m:02}:{n:02}{ew}"), SECOND_DEG),
        ];
        for (form, within_deg) in forms {
            let p = Position::parse(&form).unwrap_or_else(|e| panic!("{form}: {e}"));
            prop_assert!((p.lat_deg() - lat).abs() <= within_deg, "{form}: {p}");
            prop_assert!((p.lon_deg() - lon).abs() <= within_deg, "{form}: {p}");
        }
    }

    #[test]
    fn closed_form_no_text_panics(text in "\\PC{0,24}", bytes in "[,\n\"#a-zA-Z0-9.<> -]{0,120}") {
        let _ = airports::find(&text);
        let _ = Gazetteer::default().find(&text);
        let _ = parse_places(&text, Path::new("p.csv"));
        let _ = parse_places(&bytes, Path::new("p.csv"));
        let _ = parse_places(&format!("ident,lat,lon,elevation_ft,name\n{bytes}"), Path::new("p.csv"));
        let _ = parse_places(&format!("<gpx>{bytes}</gpx>"), Path::new("p.gpx"));
    }
}

#[test]
fn published_positions_of_the_flight_plan_form() {
    // ICAO Doc 4444 appendix 2, item 15 (c): 46N078W is degrees alone, 4620N07805W degrees and minutes
    assert_eq!(Position::parse("46N078W"), Position::new(46.0, -78.0));
    let p = Position::parse("4620N07805W").unwrap();
    assert_eq!(
        (p.lat_deg(), p.lon_deg()),
        (46.0 + 20.0 / 60.0, -(78.0 + 5.0 / 60.0))
    );
    assert!(parse_latitude_deg("4360N").is_err() && parse_longitude_deg("18100E").is_err());
}

// --- places of one's own -----------------------------------------------------------------------------------------

const OWN: &str = "\
# farm strips, invented
ident,lat,lon,elevation_ft,name
STRIP, 43-08.5N, 115-43.8W, 3210, \"Long strip, north end\"
KBNO, 43.6, -119.0, 4100, not where the table has it
RIDGE, 43.5, -117.25, ,
";

#[test]
fn closed_form_own_places_go_before_the_table() {
    let own = parse_places(OWN, Path::new("my-places.csv")).unwrap();
    assert_eq!(own.len(), 3);
    assert_eq!(own[0].name, "Long strip, north end");
    assert_eq!(own[0].position.lat_deg(), 43.0 + 8.5 / 60.0);
    assert!((own[0].elevation_m.unwrap() / M_PER_FT - 3_210.0).abs() < ROUNDING_FT);
    assert_eq!(own[2].elevation_m, None);
    let g = Gazetteer::new(own);
    assert!(matches!(g.find("strip"), Some(Found::Own(p)) if p.ident == "STRIP"));
    assert!(matches!(g.find("KBNO"), Some(Found::Own(_))));
    assert!(matches!(g.find("KPIH"), Some(Found::Table(_))));
    assert!(matches!(g.find("4308N11543W"), Some(Found::Typed(_))));
    assert!(g.find("NOWHERE").is_none());
    // the table's KBNO is 2 nm from the position the file gives: not the same field as one 10 nm off
    let far = Position::new(43.8, -119.0).unwrap();
    assert!(g.find_at("KBNO", far).is_none());
}

#[test]
fn closed_form_wrong_places_point_at_the_cell() {
    for (text, line, words) in [
        ("", 1, "there is no line"),
        ("ident,lat\nA,1", 1, "no column lon"),
        ("ident,lat,lon,elevation\nA,1,2,3", 1, "elevation_ft"),
        ("ident,lat,lon\nA,1", 2, "2 cells, but 3 columns"),
        ("ident,lat,lon\nA,91,2", 2, "91"),
        ("ident,lat,lon\nA,1,2\nB,43x,2", 3, "43x"),
        ("ident,lat,lon\nA,1,2\na,3,4", 3, "twice"),
        ("ident,lat,lon,elevation_ft\nA,1,2,99999", 2, "15000"),
        ("ident,lat,lon,elevation_ft\nA,1,2,3ft", 2, "not a number"),
        ("ident,lat,lon\n,1,2", 2, "ident is empty"),
        (
            "<gpx><wpt lat=\"x\" lon=\"1\"><name>A</name></wpt></gpx>",
            1,
            "lat",
        ),
        ("<gpx><wpt", 1, "not XML"),
        ("<kml/>", 1, "not GPX"),
    ] {
        let error = parse_places(text, Path::new("p.csv")).expect_err(text);
        assert_eq!(error.findings[0].line, line, "{text}: {error}");
        let all = error.to_string();
        assert!(all.contains(words), "{text}: {all}");
        assert!(
            error.findings.iter().all(|f| f.hint.is_some()),
            "{text}: {all}"
        );
    }
}

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

// --- trips -------------------------------------------------------------------------------------------------------

/// The first demo trip with its places and legs taken out and others put in, its path in the folder of the demo trips.
fn trip(head: &str, places: &str, legs: &str) -> Result<TripFile, String> {
    let path = root().join("examples/first-trip.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    let (top, rest) = text.split_once("[[place]]").unwrap();
    let (_, after) = rest.split_once("[load]").unwrap();
    // without the observations, which need a place of that name
    let (before_surface, rest) = after.split_once("[[weather.surface]]").unwrap();
    let (_, objective) = rest.split_once("[objective]").unwrap();
    let text =
        format!("{top}{head}\n{places}\n{legs}\n[load]{before_surface}[objective]{objective}");
    parse_trip(&text, &path, None).map_err(|e| e.to_string())
}

#[test]
fn closed_form_a_place_needs_only_a_known_ident() {
    let demo =
        fellrun::files::trip::load_trip(&root().join("examples/first-trip.toml"), None).unwrap();
    let short =
        "[[place]]\nident = \"KBNO\"\n[[place]]\nident = \"KU76\"\n[[place]]\nident = \"KPIH\"\n";
    let file = trip("", short, "").unwrap();
    // the demo trip gives the very figures of the table
    for (a, b) in file.trip.places.iter().zip(&demo.trip.places) {
        assert_eq!(a.position, b.position);
        assert!((a.elevation_m.unwrap() - b.elevation_m.unwrap()).abs() < 1e-6);
    }
    let said = file.notes.join(" ");
    assert!(
        said.contains("KBNO 4,148 ft") && said.contains("often wrong: check"),
        "{said}"
    );
    assert!(demo.notes.is_empty(), "{:?}", demo.notes);
}

#[test]
fn closed_form_what_the_trip_gives_wins() {
    let file = trip(
        "",
        "[[place]]\nident = \"KBNO\"\nelevation_ft = 4155\n[[place]]\nident = \"KPIH\"\nlat = 42.92\nlon = -112.6\n",
        "",
    )
    .unwrap();
    let [from, to] = &file.trip.places[..] else {
        panic!("two places")
    };
    assert!((from.elevation_m.unwrap() / M_PER_FT - 4_155.0).abs() < ROUNDING_FT);
    assert_eq!(to.position, Position::new(42.92, -112.6).unwrap());
    // a mile from the table's KPIH: the same field, and its elevation serves
    assert!((to.elevation_m.unwrap() / M_PER_FT - 4_451.9).abs() < ROUNDING_FT);
    assert!(!file.notes.join(" ").contains("KBNO"));
    // sixty miles away it is another place, and nothing is known of it
    let error = trip(
        "",
        "[[place]]\nident = \"KBNO\"\n[[place]]\nident = \"KPIH\"\nlat = 43.92\nlon = -112.6\n",
        "",
    )
    .unwrap_err();
    assert!(
        error.contains("place[2].elevation_ft is missing"),
        "{error}"
    );
}

#[test]
fn closed_form_a_trip_reads_files_of_places() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("mine.csv");
    std::fs::write(&file, OWN).unwrap();
    let head = format!("places = [{:?}]", file.to_str().unwrap());
    let ends =
        "[[place]]\nident = \"KBNO\"\n[[place]]\nident = \"ridge\"\n[[place]]\nident = \"STRIP\"\n";
    let read = trip(&head, ends, "").unwrap();
    assert_eq!(
        read.trip.places[0].position,
        Position::new(43.6, -119.0).unwrap()
    );
    assert_eq!(read.trip.places[1].elevation_m, None);
    assert!(read.notes.is_empty(), "{:?}", read.notes);
    let error = trip("places = [\"none.csv\"]", ends, "").unwrap_err();
    assert!(error.contains("none.csv"), "{error}");
}

#[test]
fn closed_form_unknown_places_say_the_way_out() {
    for (ident, words) in [
        ("QQQQ", "ICAO or FAA identifier"),
        ("4378N11543W", "not under 60"),
        ("4308N19943W", "-180..=180"),
    ] {
        let ends = format!(
            "[[place]]\nident = \"KBNO\"\n[[place]]\nident = \"{ident}\"\nelevation_ft = 100\n"
        );
        let error = trip("", &ends, "").unwrap_err();
        assert!(
            error.contains(ident) && error.contains(words),
            "{ident}: {error}"
        );
        assert!(error.contains("first-trip.toml:"), "{error}");
    }
}

// --- ground nobody gave ------------------------------------------------------------------------------------------

const ENDS: &str = "[[place]]\nident = \"KBNO\"\n[[place]]\nident = \"KPIH\"\n";

#[test]
fn closed_form_no_leg_is_no_ground_and_said() {
    let file = trip("", ENDS, "").unwrap();
    assert!(file.trip.ground[0].ground.is_empty());
    // the higher field, 4,451.9 ft, and 1,000 ft, up to whole hundreds
    assert!((file.trip.ground[0].minimum_m / M_PER_FT - 5_500.0).abs() < ROUNDING_FT);
    let problem = resolve(&file.trip, file.aircraft).unwrap();
    let said = Note::NoTerrain(vec![("KBNO".to_owned(), "KPIH".to_owned())]);
    assert!(problem.notes.contains(&said));
    for nm in [0.0, 15.0, 100.0, 280.0] {
        let s = nm * M_PER_NM;
        assert_eq!(problem.ground_m(s), None);
        assert_eq!(problem.floor_m(s), None);
        assert_eq!(problem.above_ground_m(s, 3_000.0), 0.0);
    }
    // The rule of semicircles holds everywhere, since 3,000 ft above unknown ground may be anywhere: course 88 magnetic,
    // odd thousands and 500 (14 CFR 91.159).
    let levels: Vec<f64> = problem.levels[0]
        .levels_m
        .iter()
        .map(|m| (m / M_PER_FT).round())
        .collect();
    assert_eq!(levels, [5_500.0, 7_500.0, 9_500.0, 11_500.0]);
}

#[test]
fn closed_form_a_leg_may_give_ground_or_minimum_alone() {
    let leg = |keys: &str| trip("", ENDS, &format!("[[leg]]\nmountainous = true\n{keys}\n"));
    let minimum_ft = |file: &TripFile| file.trip.ground[0].minimum_m / M_PER_FT;
    let minimum = leg("minimum_altitude_ft = 9300\nsource = \"chart\"").unwrap();
    assert!((minimum_ft(&minimum) - 9_300.0).abs() < ROUNDING_FT);
    assert!(minimum.trip.ground[0].ground.is_empty());
    // 7,300 ft of ground and the 1,500 ft in mountains that the demo trip asks for
    let ground = leg("ground = [{ to_nm = 282.4, ground_ft = 7300 }]\nsource = \"chart\"").unwrap();
    assert!((minimum_ft(&ground) - 8_800.0).abs() < ROUNDING_FT);
    // nothing but that it is mountainous: the field and 1,500 ft
    let neither = leg("").unwrap();
    assert!((minimum_ft(&neither) - 6_000.0).abs() < ROUNDING_FT);
    // figures need a source; a number of legs that is not that of the route is an error
    assert!(
        leg("minimum_altitude_ft = 9300")
            .unwrap_err()
            .contains("source")
    );
    let error = trip(
        "",
        ENDS,
        "[[leg]]\nmountainous = true\n[[leg]]\nmountainous = true\n",
    )
    .unwrap_err();
    assert!(error.contains("2 places make 1 leg(s)"), "{error}");
}

#[test]
fn closed_form_smooth_air_is_not_believed_over_unknown_ground() {
    let smooth = |legs: &str| {
        let mut file = trip("", ENDS, legs).unwrap();
        file.trip.limits.air = vec![(1e4, fellrun::trip::Roughness::Smooth)];
        let p = resolve(&file.trip, file.aircraft).unwrap();
        let (s, z) = (140.0 * M_PER_NM, 11_500.0 * M_PER_FT);
        p.limits.roughness(z, p.above_ground_m(s, z))
    };
    let known = "[[leg]]\nmountainous = false\nsource = \"chart\"\nground = [{ to_nm = 282.4, ground_ft = 7300 }]\n";
    assert_eq!(smooth(known), fellrun::trip::Roughness::Smooth);
    assert_eq!(smooth(""), fellrun::trip::Roughness::Light);
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
