//! Variants, damage and remarks of text: decoded alike, or an error that says where.

use super::{
    ALASKA, APRIL, EXTRACTED_HIGH, HIGH, JANUARY, LOW, REGIONAL, at, cases, one, plain, with_row,
};
use fellrun::files::bulletin::{Note, decode};
use fellrun::files::winds::wind_slices;
use proptest::prelude::*;

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
