//! Winds-aloft bulletins: whole real ones by independent counts, single groups by the coding rules, and damage.

#![allow(
    clippy::unwrap_used,
    reason = "a test that cannot get at its data must fail"
)]

use fellrun::air::{Air, Datum};
use fellrun::files::bulletin::{Bulletin, Group, Note, TimesError, Wind, decode, resolve_times};
use fellrun::files::stations::{StationPosition, find_station};
use fellrun::files::winds::{WindsError, surface_station, wind_slices};
use fellrun::quantity::{M_PER_FT as FT, M_S_PER_KT as KT};
use jiff::Timestamp;
use proptest::prelude::*;

const JANUARY: &str = include_str!("data/fb/FBUS31_FD1US1_2026-01-31_310158Z.txt");
const APRIL: &str = include_str!("data/fb/FBUS31_FD1US1_2026-04-30_302000Z.txt");
const LOW: &str = include_str!("data/fb/fragment_a.txt");
const HIGH: &str = include_str!("data/fb/fragment_b.txt");
const EXTRACTED_HIGH: &str = include_str!("data/fb/fragment_c.txt");
const ALASKA: &str = include_str!("data/fb/fragment_d.txt");
const REGIONAL: &str = include_str!("data/fb/fragment_e.txt");

/// Conversions to SI and back cost a few units of the last digit of an f64; coded figures are whole numbers.
const ROUNDING: f64 = 1e-9;

/// Property tests keep no file of past failures: a failure worth keeping becomes a test of its own.
fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

fn one(text: &str) -> Bulletin {
    let mut all = decode(text).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(all.len(), 1);
    all.remove(0)
}

/// Direction [deg] (0 for light and variable), speed [kt], temperature [C], as whole numbers.
fn plain(g: &Group) -> (i64, i64, Option<i64>) {
    let whole = |x: f64| {
        assert!((x - x.round()).abs() < ROUNDING, "{x} is not whole");
        x.round() as i64
    };
    let direction = match g.wind {
        Wind::LightAndVariable => 0,
        Wind::From { direction_rad, .. } => whole(direction_rad.to_degrees()),
    };
    (
        direction,
        whole(g.speed_m_s() / KT),
        g.temperature_k.map(|t| whole(t - 273.15)),
    )
}

fn group(bulletin: &Bulletin, id: &str, feet: u32) -> Option<Group> {
    let i = bulletin
        .levels
        .iter()
        .position(|l| l.label_ft == feet)
        .unwrap();
    bulletin
        .stations
        .iter()
        .find(|s| s.id == id)
        .unwrap()
        .levels[i]
}

fn decoded(bulletin: &Bulletin, id: &str, feet: u32) -> (i64, i64, Option<i64>) {
    plain(&group(bulletin, id, feet).unwrap())
}

/// A bulletin with one row under the low-level heading.
fn with_row(row: &str) -> String {
    format!(
        "DATA BASED ON 310000Z\nVALID 310600Z   FOR USE 0200-0900Z. TEMPS NEG ABV 24000\n\n\
         FT  3000    6000    9000   12000   18000   24000  30000  34000  39000\n{row}\n"
    )
}

/// Level, forecasts, with temperature, light and variable, 100 kt or more, sums of direction [deg], speed [kt], temperature [C].
type Counts = (u32, usize, usize, usize, usize, i64, i64, i64);

// Output of tests/data/fb/independent_counts.py, which decodes by fixed columns. The numbers of forecasts (121 with no temperature
// at 3,000; 157 of which 145 with temperature at 6,000; 174 and 172 at 9,000; 176 above) are those of REFERENCES B.1 over 18.
const INDEPENDENT_JANUARY: [Counts; 9] = [
    (3000, 121, 0, 7, 0, 20430, 2132, 0),
    (6000, 157, 145, 5, 0, 30960, 2898, -832),
    (9000, 174, 172, 5, 0, 38870, 3946, -1387),
    (12000, 176, 176, 2, 0, 41490, 5033, -2247),
    (18000, 176, 176, 1, 0, 43640, 7488, -4340),
    (24000, 176, 176, 1, 8, 45320, 9963, -6193),
    (30000, 176, 176, 1, 34, 47310, 12444, -8351),
    (34000, 176, 176, 0, 42, 47700, 13264, -9338),
    (39000, 176, 176, 0, 38, 51000, 13370, -10146),
];
const INDEPENDENT_APRIL: [Counts; 9] = [
    (3000, 121, 0, 15, 0, 25960, 1311, 0),
    (6000, 157, 145, 17, 0, 36160, 1747, 820),
    (9000, 174, 172, 10, 0, 42250, 2686, 83),
    (12000, 176, 176, 6, 0, 44180, 3784, -915),
    (18000, 176, 176, 2, 0, 47190, 6142, -3127),
    (24000, 176, 176, 0, 0, 45860, 8340, -5054),
    (30000, 176, 176, 0, 28, 46750, 10940, -7465),
    (34000, 176, 176, 0, 43, 47270, 11922, -8711),
    (39000, 176, 176, 0, 37, 48860, 11764, -9672),
];

#[test]
fn crosscheck_whole_bulletins_against_independent_counts() {
    for (text, expected) in [(JANUARY, INDEPENDENT_JANUARY), (APRIL, INDEPENDENT_APRIL)] {
        let bulletin = one(text);
        assert_eq!(bulletin.stations.len(), 176);
        assert_eq!(bulletin.levels.len(), 9);
        assert_eq!(bulletin.notes, vec![]);
        for (i, want) in expected.into_iter().enumerate() {
            let groups: Vec<_> = bulletin
                .stations
                .iter()
                .filter_map(|s| s.levels[i])
                .collect();
            let plain: Vec<_> = groups.iter().map(plain).collect();
            let got: Counts = (
                bulletin.levels[i].label_ft,
                plain.len(),
                plain.iter().filter(|p| p.2.is_some()).count(),
                groups
                    .iter()
                    .filter(|g| g.wind == Wind::LightAndVariable)
                    .count(),
                plain.iter().filter(|p| p.1 >= 100).count(),
                plain.iter().map(|p| p.0).sum(),
                plain.iter().map(|p| p.1).sum(),
                plain.iter().filter_map(|p| p.2).sum(),
            );
            assert_eq!(got, want);
        }
    }
}

#[test]
fn published_columns_and_datums_of_the_low_product() {
    // REFERENCES B.1, measured on 3,168 rows: first and last column of the groups
    let measured = [
        (4, 7),
        (9, 15),
        (17, 23),
        (25, 31),
        (33, 39),
        (41, 47),
        (49, 54),
        (56, 61),
        (63, 68),
    ];
    let bulletin = one(JANUARY);
    let mut edge = 2;
    for (level, (first, last)) in bulletin.levels.iter().zip(measured) {
        assert_eq!(level.columns, (edge + 1, last));
        // the field may begin with more blanks, but never after the group
        assert!(level.columns.0 < first);
        edge = last;
        let datum = if level.label_ft <= 12_000 {
            Datum::TrueAltitude
        } else {
            Datum::PressureAltitude
        };
        assert_eq!(level.datum, datum);
        assert!((level.height_m - f64::from(level.label_ft) * FT).abs() < ROUNDING);
    }
}

#[test]
fn published_no_forecast_near_the_ground() {
    // no wind within 1,500 ft and no temperature within 2,500 ft of the station (FAA PHAK ch. 12), both ways round
    let mut checked = 0;
    for text in [JANUARY, APRIL] {
        let bulletin = one(text);
        for row in &bulletin.stations {
            let Some(place) = find_station(&row.id) else {
                continue;
            };
            for (level, group) in bulletin.levels.iter().zip(&row.levels) {
                let above_ft = (level.height_m - place.elevation_m) / FT;
                assert_eq!(
                    group.is_some(),
                    above_ft >= 1_500.0,
                    "{} {}",
                    row.id,
                    level.label_ft
                );
                let warm = group.is_some_and(|g| g.temperature_k.is_some());
                assert_eq!(
                    warm,
                    above_ft >= 2_500.0 && level.label_ft > 3_000,
                    "{}",
                    row.id
                );
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 2 * 157 * 9);
}

#[test]
fn published_single_groups() {
    let b = one(JANUARY);
    // REFERENCES B.1, "good single rows"
    assert_eq!(
        (
            group(&b, "ALS", 3000),
            group(&b, "ALS", 6000),
            group(&b, "ALS", 9000)
        ),
        (None, None, None)
    );
    assert_eq!(decoded(&b, "ALS", 12000), (310, 13, Some(-8)));
    assert_eq!(decoded(&b, "MBW", 9000), (280, 39, None));
    assert_eq!(decoded(&b, "MBW", 12000), (310, 29, Some(-8)));
    // BRO 7701-25: 270/101, -25
    let i = b.stations.iter().position(|s| s.id == "BRO").unwrap();
    assert!(
        b.stations[i]
            .levels
            .iter()
            .flatten()
            .any(|g| plain(g) == (270, 101, Some(-25)))
    );
    // BUF 990055 at 30,000: light and variable, -55
    assert_eq!(
        group(&b, "BUF", 30000).unwrap().wind,
        Wind::LightAndVariable
    );
    assert_eq!(decoded(&b, "BUF", 30000), (0, 0, Some(-55)));
    // MIA 750447 750658: 250/104 -47, 250/106 -58
    let mia = b.stations.iter().find(|s| s.id == "MIA").unwrap();
    let plains: Vec<_> = mia.levels.iter().flatten().map(plain).collect();
    assert!(plains.contains(&(250, 104, Some(-47))) && plains.contains(&(250, 106, Some(-58))));
}

#[test]
fn published_independent_decodes() {
    // SwiftMETAR's own tests of fragments a and b
    let low = one(LOW);
    assert_eq!(group(&low, "ABI", 3000), None);
    assert_eq!(decoded(&low, "ABI", 6000), (50, 17, Some(6)));
    assert_eq!(decoded(&low, "ABI", 9000), (320, 9, Some(2)));
    assert_eq!(decoded(&low, "ABI", 12000), (320, 21, Some(-5)));
    assert_eq!(decoded(&low, "ABI", 39000), (270, 108, Some(-53)));
    let high = one(HIGH);
    assert_eq!(decoded(&high, "ABI", 45000), (280, 84, Some(-54)));
    assert_eq!(decoded(&high, "ABI", 53000), (270, 54, Some(-66)));
}

#[test]
fn published_other_headings() {
    let b = one(EXTRACTED_HIGH);
    // REFERENCES B.1, fragment c: CAR 352449 021754 = 350/24 -49, 020/17 -54
    assert_eq!(decoded(&b, "CAR", 45000), (350, 24, Some(-49)));
    assert_eq!(decoded(&b, "CAR", 53000), (20, 17, Some(-54)));
    let b = one(ALASKA);
    // fragment d: 9900-30 at 24,000 and 990047 at 30,000
    assert_eq!(decoded(&b, "5AF", 24000), (0, 0, Some(-30)));
    assert_eq!(decoded(&b, "5AF", 30000), (0, 0, Some(-47)));
    let b = one(REGIONAL);
    // fragment e: ECK 24,000 8202-29 = 320/102, -29; ICT 9,000 9900+05; GLD 6,000 without temperature
    assert_eq!(decoded(&b, "ECK", 24000), (320, 102, Some(-29)));
    assert_eq!(decoded(&b, "ICT", 9000), (0, 0, Some(5)));
    assert_eq!(decoded(&b, "GLD", 6000), (190, 23, None));
    assert_eq!(b.stations.len(), 7);
}

#[test]
fn published_coding_rules() {
    // rules and examples of Wikipedia "Winds aloft" and the PHAK reprint (REFERENCES B.1)
    let row = |six: &str, thirty: &str| {
        let text = with_row(&format!(
            "XXX      {six:7} 2715+00 2715-01 2715-12 2715-24 {thirty:6} 273645 273655"
        ));
        one(&text)
    };
    let b = row("9900+00", "731960");
    assert_eq!(decoded(&b, "XXX", 6000), (0, 0, Some(0)));
    // 731960: 230/119, -60
    assert_eq!(decoded(&b, "XXX", 30000), (230, 119, Some(-60)));
    // 750456: 250/104, -56
    assert_eq!(
        decoded(&row("3605+10", "750456"), "XXX", 30000),
        (250, 104, Some(-56))
    );
    // north is 36
    assert_eq!(
        decoded(&row("3605+10", "750456"), "XXX", 6000),
        (360, 5, Some(10))
    );
    // 7799: 270 at 199 kt or more
    let b = row("2715+05", "779950");
    assert_eq!(decoded(&b, "XXX", 30000), (270, 199, Some(-50)));
    assert!(group(&b, "XXX", 30000).unwrap().capped && !group(&b, "XXX", 34000).unwrap().capped);
    assert!(matches!(
        &b.notes[..],
        [Note::Capped {
            level_ft: 30000,
            ..
        }]
    ));
    // 2799 without 100 added is 99 kt, not capped
    let b = row("2799+05", "273645");
    assert_eq!(
        (
            decoded(&b, "XXX", 6000).1,
            group(&b, "XXX", 6000).unwrap().capped
        ),
        (99, false)
    );
}

#[test]
fn closed_form_text_variants_decode_alike() {
    let plain = decode(JANUARY).unwrap();
    let crlf = JANUARY.replace('\n', "\r\n");
    assert_eq!(decode(&crlf).unwrap(), plain);
    let bom = format!("\u{feff}{JANUARY}");
    assert_eq!(decode(&bom).unwrap(), plain);
    let blanks: String = JANUARY.lines().map(|l| format!("{l}      \n")).collect();
    assert_eq!(decode(&blanks).unwrap(), plain);
    let wire = format!("\u{1}{JANUARY}\u{3}");
    assert_eq!(decode(&wire).unwrap(), plain);
    assert_eq!(decode(JANUARY.trim_end()).unwrap(), plain);
    assert_eq!(decode(&JANUARY.to_lowercase()).unwrap(), plain);
    // a common left margin moves the columns but not the values
    let margin: String = JANUARY.lines().map(|l| format!("    {l}\n")).collect();
    assert_eq!(decode(&margin).unwrap()[0].stations, plain[0].stations);
    // times on one line, in either form
    for heading in [
        "DATA BASED ON 310000Z DATA VALID 310600Z FOR USE 0200-0900Z. TEMPS NEG ABV 24000",
        "DATA BASED ON 310000Z VALID 310600Z FOR USE 0200Z - 0900Z. TEMPS NEG ABV 24000",
    ] {
        let two =
            "DATA BASED ON 310000Z    \nVALID 310600Z   FOR USE 0200-0900Z. TEMPS NEG ABV 24000";
        let text = JANUARY.replace(two, heading);
        assert_ne!(text, JANUARY);
        let got = one(&text);
        assert_eq!(
            (got.based_on, got.valid, got.for_use),
            (plain[0].based_on, plain[0].valid, plain[0].for_use)
        );
        assert_eq!(got.stations.len(), 176);
    }
    // without a period of use: decoded, and noted
    let text = JANUARY.replace("FOR USE 0200-0900Z. ", "");
    assert!(matches!(one(&text).notes[..], [Note::NoPeriodOfUse { .. }]));
    // several bulletins in one file
    let all = [JANUARY, HIGH, EXTRACTED_HIGH, APRIL, REGIONAL, ALASKA].concat();
    let counts: Vec<usize> = decode(&all)
        .unwrap()
        .iter()
        .map(|b| b.stations.len())
        .collect();
    assert_eq!(counts, [176, 2, 2, 176, 7, 1]);
    let marked = format!("{LOW}\n$$\nNNNN\n{HIGH}\n</pre>\n");
    assert_eq!(decode(&marked).unwrap().len(), 2);
}

#[test]
fn closed_form_damage_is_located() {
    let base = "XXX 2715 2715+05 2715+00 2715-01 2715-12 2715-24 273635 273645 273655";
    assert_eq!(one(&with_row(base)).stations.len(), 1);
    // what is put where, expected column (from 1) and a word of the message
    let cases: &[(&str, &str, usize, &str)] = &[
        ("2715+05", "4515+05", 10, "direction"),
        ("2715+05", "0015+05", 10, "direction"),
        ("2715+05", "9905+05", 10, "direction"),
        ("2715+05", "8715+05", 10, "direction"),
        ("2715+05", "27A5+05", 10, "2715+05"),
        ("2715+05", "2715 05", 10, "2715+05"),
        ("2715+05", "271505 ", 10, "2715+05"),
        ("2715+05", "2715+99", 10, "+60"),
        ("2715+05", "2715+5 ", 10, "2715+05"),
        ("2715+05", "27é5+05", 10, "2715+05"),
        ("273635", "2736+5", 50, "273645"),
        ("273635", "2736  ", 50, "273645"),
        ("273635", "27365 ", 50, "273645"),
        ("XXX 2715", "XXX2715 ", 1, "blank"),
        ("2715 2715+05", "2715 \t715+05", 10, "blanks"),
        ("273655", "2736551", 70, "nothing"),
        ("273645 273655", "273645273655 ", 57, "blank"),
        ("XXX ", "X X ", 1, "station"),
        ("XXX ", " XXX", 2, "station"),
    ];
    for (good, bad, column, word) in cases {
        let row = base.replacen(good, bad, 1);
        assert_ne!(row, base);
        let error = decode(&with_row(&row)).unwrap_err();
        assert_eq!((error.line, error.column), (5, *column), "{row}: {error}");
        let text = error.to_string();
        assert!(text.contains(word) && text.contains("line 5"), "{text}");
        if *column > 2 {
            assert_eq!(error.station.as_deref(), Some("XXX"), "{text}");
        }
    }
    // one column too far to the right or left, for the whole row
    for row in [
        base.replacen(' ', "  ", 1),
        base.replacen("2715 2715", "27152715", 1),
    ] {
        assert!(decode(&with_row(&row)).is_err(), "{row}");
    }
}

#[test]
fn closed_form_headings_that_lack_something_are_errors() {
    let row = "XXX 2715 2715+05";
    let good = with_row(row);
    assert!(decode(&good).is_ok());
    let lacks = [
        String::new(),
        "not a bulletin\n".to_owned(),
        good.replace("DATA BASED ON 310000Z", ""),
        good.replace("VALID 310600Z", ""),
        good.replace("310600Z", "3106Z"),
        good.replace("310600Z", "320600Z"),
        good.replace("310000Z", "312500Z"),
        good.replace("0200-0900Z", "0200"),
        good.replace("0200-0900Z", "0260-0900Z"),
        good.replace("FT  3000", "    3000"),
        good.replace("   6000", "   600X"),
        good.replace("12000", " 8000"),
        good.replace("34000  39000", "3400039000"),
        good.replace("ABV 24000", "ABV X"),
        good.replace(row, ""),
        format!("{good}{}", good.replace(row, "")),
        // a row after the table has ended must not vanish
        good.replace(row, &format!("{row}\n000\n{row}")),
        good.replace(row, &format!("{row}\nSOMETHING ELSE")),
    ];
    for text in lacks {
        let error = decode(&text).expect_err(&text);
        assert!(error.line >= 1 && !error.expected.is_empty() && !error.way_out.is_empty());
    }
}

#[test]
fn closed_form_remarks() {
    let text = with_row(
        "XXX 2715 2715+05\nYYY 2715 2715+05 2715+00 2715-01 2715-12 2715-24 273635 273645 273655\nYYY\nZZZ\nXXX 2716",
    );
    let b = one(&text);
    assert_eq!(b.stations.len(), 3);
    assert!(
        matches!(
            &b.notes[..],
            [
                Note::CutShort {
                    line: 5,
                    level_ft: 9000,
                    ..
                },
                Note::Repeated {
                    line: 7,
                    same: false,
                    ..
                },
                Note::EmptyRow { line: 8, .. },
                Note::Repeated {
                    line: 9,
                    same: false,
                    ..
                },
            ]
        ),
        "{:?}",
        b.notes
    );
    assert!(b.notes.iter().all(|n| !n.to_string().is_empty()));
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

#[test]
fn published_times_over_month_ends() {
    // the products' headings (REFERENCES B.1): data, valid, period of use, reference -> all four with dates
    let cases = [
        (
            "310000Z",
            "310600Z",
            "0200-0900Z",
            "2026-01-31T02:00Z",
            [
                "2026-01-31T00:00Z",
                "2026-01-31T06:00Z",
                "2026-01-31T02:00Z",
                "2026-01-31T09:00Z",
            ],
        ),
        (
            "310000Z",
            "311200Z",
            "0900-1800Z",
            "2026-01-31T02:00Z",
            [
                "2026-01-31T00:00Z",
                "2026-01-31T12:00Z",
                "2026-01-31T09:00Z",
                "2026-01-31T18:00Z",
            ],
        ),
        (
            "310000Z",
            "010000Z",
            "1800-0600Z",
            "2026-01-31T02:00Z",
            [
                "2026-01-31T00:00Z",
                "2026-02-01T00:00Z",
                "2026-01-31T18:00Z",
                "2026-02-01T06:00Z",
            ],
        ),
        (
            "301800Z",
            "010000Z",
            "2000-0300Z",
            "2026-04-30T20:00Z",
            [
                "2026-04-30T18:00Z",
                "2026-05-01T00:00Z",
                "2026-04-30T20:00Z",
                "2026-05-01T03:00Z",
            ],
        ),
        (
            "301800Z",
            "010600Z",
            "0300-1200Z",
            "2026-05-01T05:00Z",
            [
                "2026-04-30T18:00Z",
                "2026-05-01T06:00Z",
                "2026-05-01T03:00Z",
                "2026-05-01T12:00Z",
            ],
        ),
        (
            "301800Z",
            "011800Z",
            "1200-0000Z",
            "2026-04-30T20:00Z",
            [
                "2026-04-30T18:00Z",
                "2026-05-01T18:00Z",
                "2026-05-01T12:00Z",
                "2026-05-02T00:00Z",
            ],
        ),
        // the year's end, a leap day, and midnight written 2400
        (
            "311800Z",
            "010000Z",
            "2000-0300Z",
            "2027-01-01T00:00Z",
            [
                "2026-12-31T18:00Z",
                "2027-01-01T00:00Z",
                "2026-12-31T20:00Z",
                "2027-01-01T03:00Z",
            ],
        ),
        (
            "291800Z",
            "010000Z",
            "2000-0300Z",
            "2028-02-29T20:00Z",
            [
                "2028-02-29T18:00Z",
                "2028-03-01T00:00Z",
                "2028-02-29T20:00Z",
                "2028-03-01T03:00Z",
            ],
        ),
        (
            "301800Z",
            "011800Z",
            "1200-2400Z",
            "2026-04-30T20:00Z",
            [
                "2026-04-30T18:00Z",
                "2026-05-01T18:00Z",
                "2026-05-01T12:00Z",
                "2026-05-02T00:00Z",
            ],
        ),
        // no Feb 30: near 1 March the nearest month that fits is still found (data 28 Feb)
        (
            "281800Z",
            "010000Z",
            "2000-0300Z",
            "2026-03-01T00:00Z",
            [
                "2026-02-28T18:00Z",
                "2026-03-01T00:00Z",
                "2026-02-28T20:00Z",
                "2026-03-01T03:00Z",
            ],
        ),
        // a mid-month bulletin, reference three days off
        (
            "151200Z",
            "151800Z",
            "1400-2100Z",
            "2026-04-12T00:00Z",
            [
                "2026-04-15T12:00Z",
                "2026-04-15T18:00Z",
                "2026-04-15T14:00Z",
                "2026-04-15T21:00Z",
            ],
        ),
    ];
    for (data, valid, period, reference, want) in cases {
        let text = with_row("XXX 2715 2715+05")
            .replace("310000Z", data)
            .replace("VALID 310600Z", &format!("VALID {valid}"))
            .replace("0200-0900Z", period);
        let t = resolve_times(&one(&text), at(reference)).unwrap();
        assert_eq!(
            [t.data, t.valid, t.use_from, t.use_to],
            want.map(at),
            "{data} {valid} {period}"
        );
    }
    let text = with_row("XXX 2715 2715+05");
    let odd = one(&text.replace("310600Z", "250600Z"));
    assert!(matches!(
        resolve_times(&odd, at("2026-01-31T00:00Z")),
        Err(TimesError::Calendar { .. })
    ));
    let odd = one(&text.replace("0200-0900Z", "0700-0900Z"));
    assert!(matches!(
        resolve_times(&odd, at("2026-01-31T00:00Z")),
        Err(TimesError::PeriodOfUse { .. })
    ));
    for far in [Timestamp::MIN, Timestamp::MAX] {
        let _ = resolve_times(&one(&text), far);
    }
}

// --- stations and the field --------------------------------------------------------------------------------------

#[test]
fn published_station_table() {
    // 157 of the 176 stations of a whole bulletin are placed (tests/data/fb/SOURCE.md)
    let bulletin = one(JANUARY);
    let placed = bulletin
        .stations
        .iter()
        .filter(|s| find_station(&s.id).is_some());
    assert_eq!((bulletin.stations.len(), placed.count()), (176, 157));
    let abi = find_station("ABI").unwrap();
    // data/fb/fb_stations_from_airportsdata.csv: 32.411333, -99.681889, 1,790.6 ft
    assert_eq!((abi.lat_deg, abi.lon_deg), (32.411_333, -99.681_889));
    assert!((abi.elevation_m / FT - 1_790.6).abs() < ROUNDING);
    assert_eq!(find_station("ZUN"), None);
    assert_eq!(find_station(""), None);
}

#[test]
fn closed_form_field_from_bulletins() {
    let reference = at("2026-03-03T20:00Z");
    let bulletins = decode(&[LOW, HIGH].concat()).unwrap();
    let slices = wind_slices(&bulletins, reference, &[], &[]).unwrap();
    assert_eq!(
        slices.len(),
        1,
        "low and high levels of one valid time are one field"
    );
    assert_eq!(slices[0].times.valid, at("2026-03-04T00:00Z"));
    let abi = find_station("ABI").unwrap();
    let read = |feet: f64| {
        slices[0]
            .field
            .at(abi.lat_deg, abi.lon_deg, feet * FT, feet * FT)
            .unwrap()
    };
    // at the station and level: 6,000 ft 050/17 +6; 53,000 ft 270/54 -66
    let air = read(6_000.0);
    let (sin, cos) = 50_f64.to_radians().sin_cos();
    assert!(
        (air.u_m_s + 17.0 * KT * sin).abs() < ROUNDING
            && (air.v_m_s + 17.0 * KT * cos).abs() < ROUNDING
    );
    assert!((air.temperature_k - 279.15).abs() < ROUNDING);
    assert!((read(53_000.0).u_m_s - 54.0 * KT).abs() < ROUNDING);
    // different valid times are different slices, earliest first
    let two = decode(
        &[
            JANUARY.replace(
                "VALID 310600Z   FOR USE 0200-0900Z",
                "VALID 311200Z   FOR USE 0900-1800Z",
            ),
            JANUARY.to_owned(),
        ]
        .concat(),
    )
    .unwrap();
    let slices = wind_slices(&two, at("2026-01-31T00:00Z"), &[], &[]).unwrap();
    assert_eq!(slices.len(), 2);
    assert!(slices[0].times.valid < slices[1].times.valid);
    // 19 stations have no known position: skipped, with a note each; a position given by the user places one
    let unknown = |notes: &[Note]| {
        notes
            .iter()
            .filter(|n| matches!(n, Note::UnknownStation { .. }))
            .count()
    };
    assert_eq!(
        (unknown(&slices[0].notes), slices[0].field.station_count()),
        (19, 157)
    );
    let own = [StationPosition {
        id: "ZUN".to_owned(),
        lat_deg: 34.97,
        lon_deg: -109.15,
        elevation_m: 1_980.0,
    }];
    let field = &wind_slices(&two, at("2026-01-31T00:00Z"), &own, &[]).unwrap()[0];
    assert_eq!(
        (unknown(&field.notes), field.field.station_count()),
        (18, 158)
    );
    assert!(matches!(
        wind_slices(&[], reference, &[], &[]),
        Err(WindsError::NoBulletin)
    ));
    let nowhere = one(&with_row("QQQ 2715 2715+05"));
    assert!(matches!(
        wind_slices(&[nowhere], at("2026-01-31T00:00Z"), &[], &[]),
        Err(WindsError::NoPosition { count: 1, .. })
    ));
}

/// Reads the January field along a straight line in latitude and longitude, `steps` steps.
fn along(field: &fellrun::air::WindField, steps: usize, feet: f64) -> Vec<Air> {
    (0..=steps)
        .map(|i| {
            let f = i as f64 / steps as f64;
            field
                .at(34.0 + 7.0 * f, -117.0 + 42.0 * f, feet * FT, feet * FT)
                .unwrap()
        })
        .collect()
}

#[test]
fn crosscheck_real_field_is_continuous_along_a_route() {
    let denver = StationPosition {
        id: "F".to_owned(),
        ..find_station("DEN").unwrap()
    };
    let surface = [surface_station(&denver, (3.0, -2.0), Some(272.0))];
    let slices = wind_slices(
        &decode(JANUARY).unwrap(),
        at("2026-01-31T00:00Z"),
        &[],
        &surface,
    )
    .unwrap();
    // some 2,000 nm across the country, over dozens of stations coming and going. A continuous field's largest jump shrinks with the
    // step (ten times finer: ten times smaller); a station dropping out with weight would leave it as it was. 0.2 allows for the
    // coarse steps missing the steepest place.
    const SHRINK: f64 = 0.2;
    for feet in [3_000.0, 7_500.0, 11_500.0, 16_000.0] {
        let jump = |steps: usize| {
            let air = along(&slices[0].field, steps, feet);
            air.windows(2)
                .map(|w| {
                    (w[1].u_m_s - w[0].u_m_s)
                        .abs()
                        .max((w[1].v_m_s - w[0].v_m_s).abs())
                        .max((w[1].temperature_k - w[0].temperature_k).abs())
                })
                .fold(0.0, f64::max)
        };
        let (coarse, fine) = (jump(2_000), jump(20_000));
        println!("{feet} ft: largest jump {coarse:.4} per nm, {fine:.5} per 0.1 nm");
        assert!(
            coarse > 0.0 && fine < SHRINK * coarse,
            "{feet}: {coarse} {fine}"
        );
    }
    // the same up and down one place, through all levels
    let column = |steps: usize| {
        let air: Vec<Air> = (0..=steps)
            .map(|i| {
                let h = 12_000.0 * i as f64 / steps as f64 * 0.98;
                slices[0].field.at(39.0, -103.0, h, h + 50.0).unwrap()
            })
            .collect();
        air.windows(2)
            .map(|w| {
                (w[1].u_m_s - w[0].u_m_s)
                    .hypot(w[1].v_m_s - w[0].v_m_s)
                    .max((w[1].temperature_k - w[0].temperature_k).abs())
            })
            .fold(0.0, f64::max)
    };
    let (coarse, fine) = (column(1_000), column(10_000));
    assert!(coarse > 0.0 && fine < SHRINK * coarse, "{coarse} {fine}");
}

#[test]
fn crosscheck_real_field_gives_back_every_station() {
    let bulletin = one(JANUARY);
    let slices = wind_slices(
        std::slice::from_ref(&bulletin),
        at("2026-01-31T00:00Z"),
        &[],
        &[],
    )
    .unwrap();
    let mut checked = 0;
    for row in &bulletin.stations {
        let Some(place) = find_station(&row.id) else {
            continue;
        };
        for (level, group) in bulletin.levels.iter().zip(&row.levels) {
            let Some(group) = group else { continue };
            let h = level.height_m;
            let air = slices[0]
                .field
                .at(place.lat_deg, place.lon_deg, h, h)
                .unwrap();
            let (u, v) = group.vector_m_s();
            assert!(
                (air.u_m_s - u).abs() < ROUNDING && (air.v_m_s - v).abs() < ROUNDING,
                "{}",
                place.id
            );
            if let Some(t) = group.temperature_k {
                assert!((air.temperature_k - t).abs() < ROUNDING);
            }
            checked += 1;
        }
    }
    assert!(checked > 1_000, "{checked}");
}

// --- damage ------------------------------------------------------------------------------------------------------

/// Uses everything a decode gives, so that a panic anywhere behind it would show.
fn exercise(text: &str) -> Result<(), String> {
    match decode(text) {
        Ok(bulletins) => {
            if bulletins.is_empty() {
                return Err("decoded to nothing".to_owned());
            }
            for b in &bulletins {
                if b.stations.is_empty()
                    || b.stations.iter().any(|s| s.levels.len() != b.levels.len())
                {
                    return Err("a bulletin without rows, or a row of the wrong length".to_owned());
                }
                for g in b.stations.iter().flat_map(|s| s.levels.iter().flatten()) {
                    let (direction, speed, t) = plain(g);
                    let sane = (0..=360).contains(&direction) && (0..=199).contains(&speed);
                    if !sane || t.is_some_and(|t| !(-99..=60).contains(&t)) {
                        return Err(format!("{g:?}"));
                    }
                }
            }
            let _ = wind_slices(&bulletins, at("2026-01-31T00:00Z"), &[], &[]);
            Ok(())
        }
        Err(e) if e.line >= 1 && e.column >= 1 && !e.to_string().is_empty() => Ok(()),
        Err(e) => Err(format!("{e:?}")),
    }
}

#[test]
fn closed_form_every_truncation_errors_or_decodes() {
    let short: String = JANUARY.lines().take(14).map(|l| format!("{l}\n")).collect();
    let (mut fine, mut failed) = (0, 0);
    for end in 0..=short.len() {
        exercise(&short[..end]).unwrap();
        if decode(&short[..end]).is_ok() {
            fine += 1
        } else {
            failed += 1
        }
    }
    assert!(fine > 0 && failed > 0);
}

proptest! {
    #![proptest_config(cases(600))]

    #[test]
    fn closed_form_mutations_error_or_decode(
        changes in proptest::collection::vec((0_usize..2_600, any::<char>(), 0_u8..5), 1..6),
        pick in 0_usize..3,
    ) {
        let text = [JANUARY, HIGH, REGIONAL][pick];
        let mut chars: Vec<char> = text.chars().take(2_600).collect();
        for (at, c, kind) in changes {
            if chars.is_empty() { break; }
            let at = at % chars.len();
            match kind {
                0 => chars[at] = c,
                1 => chars.insert(at, c),
                2 => { chars.remove(at); }
                3 => chars[at] = [' ', '9', '0', '-', '+', '\n', '\t', 'Z'][at % 8],
                _ => { let n = chars.len(); chars.swap(at, (c as usize) % n) }
            }
        }
        let text: String = chars.into_iter().collect();
        prop_assert!(exercise(&text).is_ok(), "{:?}", exercise(&text));
    }

    #[test]
    fn closed_form_any_text_errors_or_decodes(text in "\\PC{0,200}") {
        prop_assert!(exercise(&text).is_ok());
    }
}
