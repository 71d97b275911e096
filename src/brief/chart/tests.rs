//! The chart of the sample plans.

use super::*;
use crate::brief::sample;
#[cfg(feature = "png")]
use crate::brief::{BarredFigures, RunnerUp, RunnerUpPoint};
#[cfg(feature = "png")]
use proptest::prelude::*;

#[cfg(feature = "png")]
#[path = "../../../tests/common/text_boxes.rs"]
mod text_boxes;

/// Text of the drawing, in order.
fn texts(svg: &str) -> Vec<String> {
    svg.split("<text")
        .skip(1)
        .filter_map(|t| {
            t.split_once('>')?
                .1
                .split_once("</text>")
                .map(|t| t.0.trim().to_owned())
        })
        .collect()
}

#[test]
fn closed_form_chart_has_its_labels() {
    let f = sample::figures();
    let all = texts(&svg(f).expect("draws"));
    let joined = all.join("\n");
    for label in [
        "AAA to BBB via MID, least money".to_owned(),
        f.in_one_line.clone(),
        "TOC".to_owned(),
        "TOD".to_owned(),
        format!("{:.0} nm to go, at", f.top_of_descent_to_go_nm.ceil()),
        "MAP".to_owned(),
        "RPM".to_owned(),
        "fuel".to_owned(),
        "gph".to_owned(),
        "speed".to_owned(),
        "IAS ".to_owned(),
        "GS ".to_owned(),
        "0 °C".to_owned(),
        "runner-up: ".to_owned(),
        "highest ground of each stretch".to_owned(),
        "minimum AAA to MID: 9,100 ft".to_owned(),
        "10,500 ft".to_owned(),
        "AAA, 4,227 ft".to_owned(),
        "MID".to_owned(),
        "BBB, 2,871 ft".to_owned(),
        TITLE.to_owned(),
    ] {
        assert!(joined.contains(&label), "no {label:?} in {joined}");
    }
}

#[test]
fn closed_form_everything_lies_on_the_sheet() {
    let text = svg(sample::figures()).expect("draws");
    assert!(
        text.contains("viewBox=\"0 0 10000 7070\"")
            && text.starts_with("<svg role=\"img\" width=\"1000\" height=\"707\"")
    );
    let mut seen = 0;
    for list in text
        .split("points=\"")
        .skip(1)
        .filter_map(|t| t.split('"').next())
    {
        for pair in list.split_whitespace() {
            let (x, y) = pair.split_once(',').expect("x,y");
            let (x, y): (f64, f64) = (x.parse().expect("x"), y.parse().expect("y"));
            assert!(
                (0.0..=10_000.0).contains(&x) && (0.0..=7_070.0).contains(&y),
                "{pair}"
            );
            seen += 1;
        }
    }
    assert!(seen > 200, "{seen}");
}

#[test]
fn closed_form_same_plan_same_drawing() {
    assert_eq!(
        svg(sample::figures()).expect("draws"),
        svg(sample::figures()).expect("draws")
    );
}

#[test]
fn closed_form_a_twin_says_so_at_the_foot_and_a_fixed_pitch_has_no_map() {
    let single = texts(&svg(sample::figures()).expect("draws")).join("\n");
    assert!(!single.contains("one engine") && !single.contains(EACH_ENGINE));
    let twin = texts(&svg(&sample::twin()).expect("draws")).join("\n");
    // The drawing escapes the apostrophe.
    let start = ONE_ENGINE.split('\'').next().expect("a first part");
    assert!(twin.contains(start) && twin.contains(EACH_ENGINE), "{twin}");
    // Nothing of its foot is cut.
    assert!(!twin.contains('…'));
    for left in [false, true] {
        let (problem, plan) = sample::fixed_pitch(left);
        let f = Figures::new(&plan, &problem);
        let all = texts(&svg(&f).expect("draws"));
        assert!(
            !all.iter()
                .any(|t| t == "MAP" || t.contains(" in /") || t.contains(" in,")),
            "{all:?}"
        );
        let descent = if left {
            "throttle left alone"
        } else {
            "2,200 rpm"
        };
        for label in ["RPM", descent] {
            assert!(all.iter().any(|t| t == label), "no {label:?} in {all:?}");
        }
    }
}

#[test]
fn closed_form_no_path_is_an_error() {
    let mut f = sample::figures().clone();
    f.track.clear();
    assert!(matches!(svg(&f), Err(ChartError::Empty)));
}

#[cfg(feature = "png")]
#[test]
fn closed_form_png_has_ink_in_every_panel() {
    let bytes = png(sample::figures()).expect("draws");
    let map = resvg::tiny_skia::Pixmap::decode_png(&bytes).expect("is a PNG");
    assert_eq!((map.width(), map.height()), (2_000, 1_414));
    let mut bands = lower::bands(false);
    assert_eq!(bands.len(), 4);
    bands.push(HEIGHTS);
    for (top, bottom) in bands {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "pixels of a picture"
        )]
        let (top, bottom) = ((2.0 * top) as u32, (2.0 * bottom) as u32);
        let dark = (top..bottom)
            .flat_map(|y| (200..1_900).map(move |x| (x, y)))
            .filter(|&(x, y)| {
                map.pixel(x, y)
                    .is_some_and(|p| p.red() < 80 && p.green() < 90)
            })
            .count();
        assert!(dark > 1_000, "{top}: {dark}");
    }
}

/// Straight pieces of the drawing in a colour and width.
fn pieces(svg: &str, style: Style) -> usize {
    let colour = format!(
        "stroke=\"#{:02X}{:02X}{:02X}\" stroke-width=\"{:.0}\"",
        style.colour.0,
        style.colour.1,
        style.colour.2,
        10.0 * style.width
    );
    svg.matches(&colour).count()
}

#[test]
fn closed_form_what_the_figures_have_is_drawn() {
    let f = sample::figures();
    let whole = svg(f).expect("draws");
    let without = |change: &dyn Fn(&mut Figures)| {
        let mut other = f.clone();
        change(&mut other);
        svg(&other).expect("draws")
    };
    // Two marks for each level in the panel: 10,500 and 12,500 ft on both legs.
    let unmarked = without(&|f| f.legs.iter_mut().for_each(|l| l.legal_levels_ft.clear()));
    assert_eq!(
        pieces(&whole, POINTER) - pieces(&unmarked, POINTER),
        f.legs
            .iter()
            .map(|l| 2 * l.legal_levels_ft.len())
            .sum::<usize>()
    );
    let alone = without(&|f| f.runner_up = None);
    // Its path, and a pointer where its name stands off.
    let path = pieces(&whole, pen::RUNNER_UP) - pieces(&alone, pen::RUNNER_UP);
    assert!((1..=2).contains(&path), "{path}");
    let unfrozen = without(&|f| f.conditions.freezing.clear());
    assert!(pieces(&whole, FREEZING) > 20 && pieces(&unfrozen, FREEZING) == 0);
    // An arrow is a shaft and a tip.
    let still = without(&|f| {
        for s in &mut f.conditions.winds {
            s.levels.iter_mut().for_each(|l| l.wind_along_kt = 0.0);
        }
    });
    assert!(pieces(&whole, pen::ARROW) > 20 && pieces(&still, pen::ARROW) == 0);
    assert!(pieces(&whole, pen::ARROW).is_multiple_of(2));
}

#[test]
fn closed_form_where_it_freezes_is_said_if_no_line_can_be_drawn() {
    let foot = |ground_c: f64| {
        let mut f = sample::figures().clone();
        for p in &mut f.conditions.freezing {
            p.crossings_ft.clear();
            p.ground_temperature_c = ground_c;
        }
        texts(&svg(&f).expect("draws")).join("\n")
    };
    assert!(foot(-3.0).contains("Below 0 °C from the ground up."));
    assert!(foot(20.0).contains("0 °C lies above this chart."));
    let with_line = texts(&svg(sample::figures()).expect("draws")).join("\n");
    assert!(!with_line.contains("lies above") && !with_line.contains("from the ground up"));
}

/// All shapes that the samples have.
fn shapes() -> Vec<Figures> {
    let mut all = vec![sample::figures().clone(), sample::twin()];
    all.extend(
        sample::shapes()
            .iter()
            .map(|p| Figures::new(p, sample::problem())),
    );
    for left in [false, true] {
        let (problem, plan) = sample::fixed_pitch(left);
        all.push(Figures::new(&plan, &problem));
    }
    all
}

#[cfg(feature = "png")]
#[test]
fn crosscheck_no_label_of_the_samples_meets_another() {
    for f in shapes() {
        let all = text_boxes::none_meets(&svg(&f).expect("draws"));
        // The weightiest are there.
        for words in ["TOC", "TOD", "nm", "RPM"] {
            assert!(all.iter().any(|t| t.words.trim() == words), "{words}");
        }
        // Letters are where the board takes them to be: heights from -0.42 to 0.42 of the text size about the middle.
        let title = &all
            .iter()
            .find(|t| t.words.contains("AAA to BBB"))
            .expect("a title");
        assert!(
            title.bottom - title.top < 0.84 * LARGE as f32 + 0.2,
            "{title:?}"
        );
    }
}

/// The 0 °C line of the winds lies under their figures, on a level too, and no text meets another.
#[cfg(feature = "png")]
#[test]
fn crosscheck_no_figure_of_the_winds_meets_another_or_lies_under_a_line() {
    let mut f = crate::brief::WindsFigures::new(sample::problem());
    for s in &mut f.stretches {
        for l in &mut s.levels {
            // 0 °C at 11,000 ft.
            l.temperature_c = (11_000.0 - l.indicated_altitude_ft) / 500.0;
        }
    }
    let text = crate::brief::winds_svg(&f).expect("draws");
    let all = text_boxes::none_meets(&text);
    assert!(all.iter().any(|t| t.words.trim() == "0 °C"));
    let dark = format!("{:02X}{:02X}{:02X}", COLD.0, COLD.1, COLD.2);
    let last_line = text.rfind(&format!("stroke=\"#{dark}\"")).expect("a line");
    let first_text = text.find("<text").expect("a text");
    assert!(last_line < first_text);
}

#[cfg(feature = "png")]
proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// A sample with places, ground, minimums, what is barred, the runner-up and the temperature moved about: still no label meets
    /// another or leaves the sheet.
    #[test]
    fn crosscheck_no_label_meets_another_whatever_is_drawn(
        shape in 0_usize..7,
        names in prop::collection::vec("[A-Z]{2,5}", 2..7),
        heights in prop::collection::vec(500.0..13_000.0_f64, 12),
        boxes in prop::collection::vec((0.0..280.0_f64, 5.0..120.0_f64, 1_000.0..12_000.0_f64, 300.0..6_000.0_f64), 0..4),
        freezing in -2_000.0..14_000.0_f64,
        along in -150.0..150.0_f64,
        ground in any::<bool>(),
    ) {
        let mut f = shapes().swap_remove(shape);
        let length = f.totals.distance_nm;
        let leg = f.legs[0].clone();
        let count = names.len() - 1;
        f.legs = (0..count)
            .map(|i| {
                let (a, b) = (length * i as f64 / count as f64, length * (i + 1) as f64 / count as f64);
                let mut l = leg.clone();
                (l.from, l.to) = (names[i].clone(), names[i + 1].clone());
                (l.from_nm, l.to_nm) = (a, b);
                l.minimum_altitude_ft = heights[i];
                l.legal_levels_ft = vec![heights[i] + 500.0, heights[i] + 1_000.0];
                for g in &mut l.ground {
                    (g.from_nm, g.to_nm, g.ground_ft) = (a, b, heights[i] - 400.0);
                }
                if ground && i % 2 == 0 {
                    l.ground.clear();
                }
                l
            })
            .collect();
        f.trip.places = names;
        f.barred = boxes
            .iter()
            .map(|&(from_nm, long, low, tall)| BarredFigures {
                name: "Owyhee test range".to_owned(),
                kind: "keep_out",
                from_nm,
                to_nm: (from_nm + long).min(length),
                low_ft: Some(low),
                high_ft: Some(low + tall),
            })
            .collect();
        for p in &mut f.conditions.freezing {
            p.crossings_ft = vec![freezing + 10.0 * p.distance_nm];
        }
        for s in &mut f.conditions.winds {
            s.levels.iter_mut().for_each(|l| l.wind_along_kt = along);
        }
        f.runner_up = Some(RunnerUp {
            kind: "level",
            name: "cruise at another level".to_owned(),
            difference: 0.04,
            track: (0..20)
                .map(|i| RunnerUpPoint {
                    distance_nm: length * f64::from(i) / 19.0,
                    time_min: f64::from(i),
                    indicated_altitude_ft: heights[(i % 12) as usize],
                })
                .collect(),
        });
        text_boxes::none_meets(&svg(&f).expect("draws"));
    }
}

#[test]
fn closed_form_zero_degrees_goes_on_over_a_cold_layer_at_the_ground() {
    let panel = heights::panel(sample::figures());
    let point = |distance_nm: f64, crossings_ft: &[f64]| crate::brief::FreezingPoint {
        distance_nm,
        crossings_ft: crossings_ft.to_vec(),
        ground_temperature_c: 0.0,
    };
    let points = [
        point(0.0, &[9_000.0]),
        point(10.0, &[3_000.0, 5_000.0, 9_100.0]),
        point(20.0, &[3_500.0, 4_500.0, 9_200.0]),
        point(30.0, &[9_300.0]),
        // Higher than the panel.
        point(40.0, &[99_000.0]),
    ];
    let lines = heights::freezing_lines(&points, &panel);
    let along = |row: &[(f64, f64)]| row.iter().map(|&(x, y)| panel.at(x, y)).collect::<Vec<_>>();
    assert_eq!(
        lines,
        [
            along(&[
                (0.0, 9_000.0),
                (10.0, 9_100.0),
                (20.0, 9_200.0),
                (30.0, 9_300.0)
            ]),
            along(&[(10.0, 5_000.0), (20.0, 4_500.0)]),
            along(&[(10.0, 3_000.0), (20.0, 3_500.0)]),
        ]
    );
}
