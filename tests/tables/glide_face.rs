//! The text of the glide: what it must say, in its order, for each hub.

use super::{PROFILES, profile};
use fellrun::aircraft::Warmth;
use fellrun::brief::{GlideFigures, glide_json, glide_text};
use fellrun::quantity::{M_PER_FT, M_S_PER_KT};
use fellrun::teach::glide::{GlideAsk, study};

fn figures(name: &str, lowest_governed_rpm: Option<f64>) -> GlideFigures {
    let mut aircraft = profile(name);
    if let Some(rpm) = lowest_governed_rpm {
        aircraft.propeller.lowest_governed_rev_s = rpm / 60.0;
    }
    let m = aircraft.masses;
    let ask = GlideAsk {
        masses_kg: vec![m.max_take_off_kg, m.empty_kg],
        ground_m: 1_000.0 * M_PER_FT,
        height_m: 6_000.0 * M_PER_FT,
        warmth: Warmth::AboveStandard(10.0),
        head_wind_m_s: 15.0 * M_S_PER_KT,
    };
    GlideFigures::new(&study(&aircraft, ask), &aircraft)
}

fn flat(f: &GlideFigures) -> String {
    let text = anstream::adapter::strip_str(&glide_text(f, 100)).to_string();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn closed_form_fits_its_width() {
    for name in PROFILES {
        let f = figures(name, None);
        for width in [80, 100] {
            let text = anstream::adapter::strip_str(&glide_text(&f, width)).to_string();
            assert!(text.lines().count() > 30);
            for line in text.lines() {
                assert!(line.chars().count() <= width, "{name} {width}: {line:?}");
            }
        }
    }
}

#[test]
fn closed_form_says_what_it_must_in_its_order() {
    for name in PROFILES {
        let text = flat(&figures(name, None));
        let mut at = 0;
        for words in ["Best-glide speed", "Field:", "Restart:", "Call:"] {
            let found = text[at..].find(words);
            assert!(found.is_some(), "{name}: {words} is not in its place");
            at += found.unwrap_or(0);
        }
        for words in [
            "emergency checklist of the approved flight manual rules",
            "never slow down to stop it",
            "not a circle to count on",
            "keeps back 1,000 ft for a pattern and 20 % of itself",
            "a model",
        ] {
            assert!(text.contains(words), "{name}: {words}");
        }
        let lever = text[at..].contains("Only then, with height in hand and no restart expected");
        assert_eq!(lever, name != "trainer-160hp");
    }
}

#[test]
fn closed_form_text_follows_the_hub() {
    let single = flat(&figures("retractable-200hp", None));
    assert!(single.contains("Without oil pressure this hub goes to fine pitch"));
    assert!(!single.contains("feather"), "{single}");
    assert!(!single.contains("one engine"));
    let twin = flat(&figures("twin-200hp", None));
    assert!(twin.contains("goes coarse and feathers by itself"));
    assert!(twin.contains("All engines out. Flight on one engine is not modelled"));
    let trainer = flat(&figures("trainer-160hp", None));
    assert!(trainer.contains("there is no lever to pull"));
    assert!(!trainer.contains("PROP"), "{trainer}");
}

#[test]
fn closed_form_a_lever_that_does_nothing_is_called_so() {
    // Far above and far below any windmilling speed of the 200-hp single at best glide, some 1,240 rpm.
    let idle = flat(&figures("retractable-200hp", Some(2_000.0)));
    assert!(idle.contains("pulling the lever does nothing"), "{idle}");
    let works = flat(&figures("retractable-200hp", Some(900.0)));
    assert!(!works.contains("does nothing"), "{works}");
    assert!(works.contains("The gain is modest on a hub that cannot feather"));
}

#[test]
fn closed_form_json_has_every_weight_and_case() {
    let f = figures("twin-200hp", None);
    let d: serde_json::Value =
        serde_json::from_str(&glide_json(&f).expect("writes")).expect("reads");
    for (i, w) in f.weights.iter().enumerate() {
        assert_eq!(w.cases.len(), 8);
        for (j, c) in w.cases.iter().enumerate() {
            let at = format!("/weights/{i}/cases/{j}/in_wind/ias_kt");
            let read = d.pointer(&at).and_then(serde_json::Value::as_f64);
            assert_eq!(read, Some(c.in_wind.ias_kt));
        }
    }
}
