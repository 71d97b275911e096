//! Weather of a trip: bulletins together, a table of winds, weather reports.

use fellrun::air::Datum;
use fellrun::files::bulletin::{Note, Wind, decode};
use fellrun::files::report;
use fellrun::files::trip::{TripFile, parse_trip};
use fellrun::files::winds::wind_slices;
use fellrun::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG};
use fellrun::solve::plan_trip;
use fellrun::trip::{SourceKind, resolve};
use jiff::Timestamp;
use std::path::{Path, PathBuf};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/fb")
        .join(name)
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn time(text: &str) -> Timestamp {
    text.parse().expect("a time")
}

#[test]
fn crosscheck_all_twelve_bulletins_against_independent_counts() {
    let mut rows = csv::Reader::from_path(data("counts.csv")).expect("opens");
    let mut checked = 0;
    for row in rows.records() {
        let row = row.expect("a row");
        let bulletin = decode(&read(&data(&row[0]))).expect("decodes").remove(0);
        assert_eq!((bulletin.stations.len(), bulletin.levels.len()), (176, 9));
        let level = bulletin
            .levels
            .iter()
            .position(|l| l.label_ft.to_string() == row[1])
            .expect("the level");
        // REFERENCES B.1: to 12,000 ft true altitude, from 18,000 ft pressure altitude.
        let datum = bulletin.levels[level].datum;
        let low = bulletin.levels[level].label_ft <= 12_000;
        assert_eq!(datum == Datum::TrueAltitude, low);
        let groups: Vec<_> = bulletin
            .stations
            .iter()
            .filter_map(|s| s.levels[level])
            .collect();
        let of = |f: &dyn Fn(&fellrun::files::bulletin::Group) -> f64| {
            groups.iter().map(f).sum::<f64>().round()
        };
        let kt = |g: &fellrun::files::bulletin::Group| (g.speed_m_s() / M_S_PER_KT).round();
        let got = [
            groups.len() as f64,
            of(&|g| f64::from(u8::from(g.temperature_k.is_some()))),
            of(&|g| f64::from(u8::from(g.wind == Wind::LightAndVariable))),
            of(&|g| f64::from(u8::from(kt(g) >= 100.0))),
            of(&|g| match g.wind {
                Wind::From { direction_rad, .. } => direction_rad.to_degrees(),
                Wind::LightAndVariable => 0.0,
            }),
            of(&kt),
            of(&|g| g.temperature_k.map_or(0.0, |t| t - 273.15)),
        ];
        let want: Vec<f64> = (2..9).map(|i| row[i].parse().expect("a number")).collect();
        assert_eq!(got.as_slice(), want.as_slice(), "{row:?}");
        checked += 1;
    }
    assert_eq!(checked, 12 * 9);
}

#[test]
fn published_products_in_one_text_with_other_headings() {
    // REFERENCES B.1: high levels, Alaska, "(Extracted from ...)", the older heading on one line, and Canada's levels to 18,000 ft, in
    // one file after each other. The rows of the Canadian and the older form are made up; their headings are as described there.
    let mut text = ["fragment_b.txt", "fragment_d.txt", "fragment_e.txt"]
        .map(|f| read(&data(f)))
        .join("\n");
    text.push_str(
        "\nDATA BASED ON 190000Z DATA VALID 190600Z FOR USE 0200-0900Z. TEMPS NEG ABV 24000\n\nFT  3000    6000\nDEN              \nABI      0517+06\n\
         \nFBCN31 CWAO 031930\nDATA BASED ON 031800Z\nVALID 040000Z   FOR USE 2000-0300Z. TEMPS NEG ABV 24000\n\nFT  3000    6000    9000   12000   18000\n\
         YYZ 3214 3431-04 3540-09 3536-15 3431-28\n",
    );
    let all = decode(&text).expect("decodes");
    let tops: Vec<u32> = all
        .iter()
        .map(|b| b.levels.last().expect("levels").label_ft)
        .collect();
    assert_eq!(tops, [53_000, 39_000, 39_000, 6_000, 18_000]);
    let stations: Vec<usize> = all.iter().map(|b| b.stations.len()).collect();
    assert_eq!(stations, [2, 1, 7, 2, 1]);
    assert_eq!(all[3].valid.to_string(), "190600Z");
    assert!(
        all[3]
            .notes
            .iter()
            .any(|n| matches!(n, Note::EmptyRow { .. }))
    );
    // A station without a position is skipped with a note, and is no error.
    let slices = wind_slices(&all[..1], time("2026-02-03T20:00:00Z"), &[], &[]).expect("a field");
    assert_eq!(slices[0].field.station_count(), 2);
    let slices = wind_slices(&all[2..3], time("2026-02-18T05:00:00Z"), &[], &[]).expect("a field");
    let unknown: Vec<&Note> = slices[0]
        .notes
        .iter()
        .filter(|n| matches!(n, Note::UnknownStation { .. }))
        .collect();
    assert!(
        unknown.iter().any(|n| n.to_string().contains("ECK")),
        "{unknown:?}"
    );
}

/// The first demo trip with its weather replaced.
fn trip(departure: &str, weather: &str) -> Result<TripFile, String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml");
    let text = read(&path);
    let begin = text.find("[weather]").expect("there");
    let end = text.find("[objective]").expect("there");
    let text = format!("{}[weather]\n{weather}\n{}", &text[..begin], &text[end..])
        .replace("2026-01-31T16:00:00Z", departure);
    parse_trip(&text, &path, None).map_err(|e| e.to_string())
}

fn fb(name: &str) -> String {
    format!("{:?}", data(name))
}

#[test]
fn closed_form_bulletins_of_one_issue_follow_each_other() {
    // 6, 12 and 24 hours from the data of 2026-01-31 00Z: valid 06, 12 and 00Z, for use 02-09, 09-18 and 18-06.
    let weather = format!(
        "altimeter_inhg = 30.1\nbulletins = [{}, {}, {}]",
        fb("FBUS35_FD5US5_2026-01-31_310158Z.txt"),
        fb("FBUS31_FD1US1_2026-01-31_310158Z.txt"),
        fb("FBUS33_FD3US3_2026-01-31_310158Z.txt"),
    );
    let valid = |departure: &str| {
        let weather = trip(departure, &weather).expect("loads").trip.weather;
        weather
            .forecasts
            .iter()
            .map(|f| f.valid.to_string())
            .collect::<Vec<_>>()
    };
    // The route may take 5.7 h.
    assert_eq!(valid("2026-01-31T03:00:00Z"), ["2026-01-31T06:00:00Z"]);
    assert_eq!(
        valid("2026-01-31T07:00:00Z"),
        ["2026-01-31T06:00:00Z", "2026-01-31T12:00:00Z"]
    );
    assert_eq!(
        valid("2026-01-31T16:00:00Z"),
        ["2026-01-31T12:00:00Z", "2026-02-01T00:00:00Z"]
    );
    let file = trip("2026-01-31T16:00:00Z", &weather).expect("loads");
    assert_eq!(
        file.trip.weather.valid_until,
        Some(time("2026-02-01T06:00:00Z"))
    );
    let (problem, plan) = plan_trip(&file.trip, &file.aircraft).expect("a plan");
    assert!(!problem.air.is_steady());
    assert!(
        plan.reflight
            .within_bounds(problem.aircraft.fuel.density_kg_m3)
    );
    let error = trip("2026-02-01T07:00:00Z", &weather).expect_err("outside");
    assert_eq!(error.matches("depart earlier").count(), 3, "{error}");
}

const TABLE: &str = r#"
altimeter_inhg = 30.1
[[weather.aloft]]
place = "KBNO"
levels = [
    { altitude_ft = 3000, wind_from_deg = 270, wind_kt = 10, temperature_c = 5 },
    { altitude_ft = 9000, wind_from_deg = 270, wind_kt = 30, temperature_c = -5 },
    { altitude_ft = 18000, wind_from_deg = 270, wind_kt = 60 },
]
[[weather.aloft]]
lat = 42.9
lon = "112-36W"
levels = [
    { altitude_ft = 9000, wind_from_deg = 270, wind_kt = 30, temperature_c = -5 },
    { altitude_ft = 18000, wind_from_deg = 270, wind_kt = 60, temperature_c = -25 },
]
"#;

#[test]
fn closed_form_a_table_of_winds() {
    // The second column holds its 30 kt below 9,000 ft; half-way between 9,000 and 18,000 both say the same.
    let file = trip("2026-01-31T16:00:00Z", TABLE).expect("loads");
    let weather = &file.trip.weather;
    assert_eq!((weather.forecasts.len(), weather.valid_until), (1, None));
    assert_eq!(weather.sources[0].kind, SourceKind::Table);
    let field = &weather.forecasts[0].field;
    let at = |lat: f64, lon: f64, ft: f64| {
        field
            .at(lat, lon, ft * M_PER_FT, ft * M_PER_FT)
            .expect("inside")
    };
    let air = at(43.591906, -118.955437, 6_000.0);
    // west wind of 20 kt, 0 C
    assert!((air.u_m_s - 20.0 * M_S_PER_KT).abs() < 1e-9 && air.v_m_s.abs() < 1e-9);
    assert!((air.temperature_k - 273.15).abs() < 1e-9);
    assert!((at(43.2, -115.8, 13_500.0).u_m_s - 45.0 * M_S_PER_KT).abs() < 1e-9);
    let problem = resolve(&file.trip, file.aircraft.clone()).expect("resolves");
    assert!(problem.air.is_steady());
    plan_trip(&file.trip, &file.aircraft).expect("a plan");
    // With times it is a forecast like others: hours before and after stand for three.
    let timed = TABLE.replace("\nlevels", "\nvalid_utc = 2026-01-31T15:00:00Z\nlevels");
    let file = trip("2026-01-31T16:00:00Z", &timed).expect("loads");
    assert_eq!(
        file.trip.weather.valid_until,
        Some(time("2026-01-31T18:00:00Z"))
    );
    let error = trip("2026-01-31T18:01:00Z", &timed).expect_err("outside");
    assert!(
        error.contains("2026-01-31T18:00:00Z") && error.contains("depart earlier"),
        "{error}"
    );
}

#[test]
fn closed_form_wrong_tables_are_errors_with_a_way_out() {
    let day = "2026-01-31T16:00:00Z";
    for (old, new, words) in [
        (
            "place = \"KBNO\"",
            "place = \"KXYZ\"",
            &["no place of this trip", "the places are KBNO"][..],
        ),
        ("altitude_ft = 9000", "altitude_ft = 2000", &["not above"]),
        (
            "place = \"KBNO\"\n",
            "place = \"KBNO\"\nvalid_utc = 2026-01-31T15:00:00Z\n",
            &["every row of the table"],
        ),
        ("wind_kt = 30", "wind_kt = 900", &["wind_kt", "900"]),
        (
            "[[weather.aloft]]\nlat = 42.9",
            "[[weather.aloft]]\nlat = 52.9",
            &["150 nm", "add a row"],
        ),
        ("altimeter_inhg = 30.1", "", &["altimeter_inhg is missing"]),
        (
            "altimeter_inhg = 30.1",
            "altimeter_inhg = 30.1\ngrib = [\"x.grib2\"]",
            &["given twice", "keep one kind"],
        ),
        (
            "temperature_c = 5 ",
            "temperature_f = 5 ",
            &["temperature_f"],
        ),
    ] {
        let changed = TABLE.replacen(old, new, 1);
        assert_ne!(changed, TABLE, "{old}");
        let error = trip(day, &changed).expect_err(old);
        for w in words {
            assert!(error.contains(w), "{old}: {error}");
        }
    }
    let error = trip(day, "altimeter_inhg = 30.1").expect_err("no winds");
    assert!(error.contains("[[weather.aloft]]"), "{error}");
}

#[test]
fn published_forms_of_reports() {
    // Forms from the tests of the metar crate 0.9.3 (tests/features/parsing.feature): station, wind, temperature, setting as listed there.
    let near = time("2026-01-07T00:00:00Z");
    let one = |text: &str| {
        report::decode(text, near)
            .unwrap_or_else(|e| panic!("{e}"))
            .remove(0)
    };
    let wind = |r: &report::Report| {
        let (u, v) = r.wind_m_s.expect("a wind");
        let from = (-u).atan2(-v).to_degrees().rem_euclid(360.0).round();
        (from, (u.hypot(v) / M_S_PER_KT).round())
    };
    let r = one("KLAX 061853Z 26007KT 5SM BR SCT006 BKN013 19/13 A3000 RMK AO2 SLP158 T01890133 $");
    assert_eq!(
        (r.station.as_str(), r.time),
        ("KLAX", time("2026-01-06T18:53:00Z"))
    );
    assert_eq!(wind(&r), (260.0, 7.0));
    assert!((r.temperature_k.expect("given") - 292.15).abs() < 1e-9);
    assert!((r.altimeter_pa.expect("given") - 30.00 * PA_PER_INHG).abs() < 1e-6);
    // below zero, and hectopascals
    let r = one("KEEN 061356Z AUTO 00000KT 10SM CLR M06/M13 A3029 RMK AO2 SLP264 T00611028 $");
    assert!((r.temperature_k.expect("given") - 267.15).abs() < 1e-9);
    assert_eq!(
        r.wind_m_s,
        Some((0.0, 0.0)).map(|_| r.wind_m_s.expect("calm"))
    );
    let r = one("EGHI 062050Z 31006KT 270V340 CAVOK 13/07 Q1017");
    assert_eq!((wind(&r), r.altimeter_pa), ((310.0, 6.0), Some(101_700.0)));
    // 3 m/s is 5.8 kt
    assert_eq!(
        wind(&one(
            "UUDD 061930Z 36003MPS 330V030 CAVOK 16/08 Q1016 R32L/CLRD60 NOSIG"
        ))
        .1,
        6.0
    );
    let r = one("EGPC 241950Z AUTO /////KT //// ///////// ///// Q////");
    assert_eq!(
        (r.wind_m_s, r.temperature_k, r.altimeter_pa),
        (None, None, None)
    );
    assert_eq!(one("KLAX 101753Z COR VRB04KT 5SM HZ FEW009 19/14 A3002 RMK AO2 SLP165 T01940139 10194 20156 51006").wind_m_s, Some((0.0, 0.0)));
    // The month that brings it nearest.
    assert_eq!(
        one("EGHI 282120Z 19015KT 140V220 6000 RA SCT006 BKN009 16/14 Q1006").time,
        time("2025-12-28T21:20:00Z")
    );
    // Several in one text, one of them over two lines, with words around.
    let all = report::decode(
        "Reports of this morning\nMETAR KLAX 061853Z 26007KT 5SM BR SCT006 BKN013 19/13 A3000=\nSPECI EGHI 062050Z 31006KT 270V340\n  CAVOK 13/07 Q1017\n\nend\n",
        near,
    )
    .expect("decodes");
    assert_eq!(
        all.iter().map(|r| r.station.as_str()).collect::<Vec<_>>(),
        ["KLAX", "EGHI"]
    );
    for wrong in [
        "",
        "nothing here",
        "EGHI 282120Z 19015KT 140V220 6000 RA SCT006 BKN009 16/14 1006",
        "KBNO 061853Z 20005KT VRBVVRB 10SM CLR 01/01 A3000",
    ] {
        assert!(report::decode(wrong, near).is_err(), "{wrong}");
    }
}

#[test]
fn closed_form_reports_fill_what_the_trip_does_not_say() {
    let bulletins = format!(
        "bulletins = [{}]",
        fb("FBUS33_FD3US3_2026-01-31_310158Z.txt")
    );
    // Invented values in the forms of the tests above.
    let reports = "metar = [\"KBNO 311555Z AUTO 20006KT 10SM CLR M02/M05 A3012\", \"KPIH 311053Z 22010KT 10SM FEW040 01/M03 A3005\", \
                   \"KPIH 310953Z 22010KT 10SM FEW040 01/M03 A2901\"]";
    let day = "2026-01-31T16:00:00Z";
    let both = trip(day, &format!("{bulletins}\n{reports}"))
        .expect("loads")
        .trip
        .weather;
    let by_hand = trip(
        day,
        &format!(
            "{bulletins}\naltimeter_inhg = {{ departure = 30.12, destination = 30.05 }}\n[[weather.surface]]\nplace = \"KBNO\"\nwind_from_deg = 200\nwind_kt = 6\ntemperature_c = -2\n\
             [[weather.surface]]\nplace = \"KPIH\"\nwind_from_deg = 220\nwind_kt = 10\ntemperature_c = 1\n"
        ),
    )
    .expect("loads")
    .trip
    .weather;
    assert!((both.departure_altimeter_pa - by_hand.departure_altimeter_pa).abs() < 1e-6);
    assert!(
        (both.destination_altimeter_pa - by_hand.destination_altimeter_pa).abs() < 1e-6,
        "the later report counts"
    );
    assert_eq!(
        both.departure_temperature_k,
        by_hand.departure_temperature_k
    );
    assert_eq!(
        both.forecasts[0]
            .field
            .at(43.6, -119.0, 1_500.0, 1_500.0)
            .map(|a| (a.u_m_s * 1e9).round()),
        by_hand.forecasts[0]
            .field
            .at(43.6, -119.0, 1_500.0, 1_500.0)
            .map(|a| (a.u_m_s * 1e9).round())
    );
    let said: Vec<(SourceKind, &str, usize)> = both
        .sources
        .iter()
        .skip(1)
        .map(|s| (s.kind, s.name.as_str(), s.notes.len()))
        .collect();
    // the second is five hours old, which is said
    assert_eq!(
        said,
        [
            (SourceKind::Report, "KBNO", 0),
            (SourceKind::Report, "KPIH", 1)
        ]
    );
    // What the trip says itself goes first, and that is said.
    let own = trip(
        day,
        &format!("{bulletins}\naltimeter_inhg = 29.5\n{reports}"),
    )
    .expect("loads")
    .trip
    .weather;
    assert!((own.departure_altimeter_pa - 29.5 * PA_PER_INHG).abs() < 1e-6);
    assert!(
        own.sources[1]
            .notes
            .iter()
            .any(|n| n.contains("that of the trip itself"))
    );
    // One end without any setting is an error.
    let error = trip(
        day,
        &format!("{bulletins}\nmetar = [\"KBNO 311555Z AUTO 20006KT 10SM CLR M02/M05 A3012\"]"),
    )
    .expect_err("no setting");
    assert!(
        error.contains("no weather report gives it for KPIH"),
        "{error}"
    );
    let error = trip(day, &format!("{bulletins}\nmetar = [\"none.txt\"]")).expect_err("no file");
    assert!(error.contains("no such file"), "{error}");
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig { failure_persistence: None, cases: 300, ..Default::default() })]
    #[test]
    fn closed_form_damaged_reports_never_panic(at in 0_usize..80, with in proptest::prelude::any::<char>(), cut in 0_usize..90) {
        let text = "METAR KLAX 061853Z VRB07G12KT 180V240 5SM BR SCT006 BKN013 19/M13 A3000 RMK AO2 SLP158";
        let mut damaged: Vec<char> = text.chars().collect();
        let last = damaged.len() - 1;
        damaged[at.min(last)] = with;
        damaged.truncate(cut.max(1));
        let damaged: String = damaged.into_iter().collect();
        if let Err(e) = report::decode(&damaged, time("2026-01-07T00:00:00Z")) {
            proptest::prop_assert!(!e.message.is_empty());
        }
    }
}
