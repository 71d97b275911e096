//! Winds-aloft bulletins: whole real ones by independent counts, single groups by the coding rules, and damage.

#![allow(
    clippy::unwrap_used,
    reason = "a test that cannot get at its data must fail"
)]

mod coding;
mod damage;
mod field;
mod times;

use fellrun::air::Datum;
use fellrun::files::bulletin::{Bulletin, Group, Wind, decode};
use fellrun::files::stations::find_station;
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

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}
