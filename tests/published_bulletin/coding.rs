//! Single groups and headings by the coding rules.

use super::{
    ALASKA, EXTRACTED_HIGH, HIGH, JANUARY, LOW, REGIONAL, decoded, group, one, plain, with_row,
};
use fellrun::files::bulletin::{Note, Wind};

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
