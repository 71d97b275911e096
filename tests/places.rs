//! Places: the built-in airport table, places of the user's own, positions as pilots write them, and trips that name them.
#![expect(clippy::unwrap_used, reason = "an unwrap that fails fails the test")]

mod gpx;

use fellrun::earth::geodesic;
use fellrun::earth::place::{Position, parse_latitude_deg, parse_longitude_deg};
use fellrun::files::airports::{self, Airport};
use fellrun::files::places::{Found, Gazetteer, parse_places};
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
