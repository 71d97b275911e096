//! A thousand seeds: sense, no exercise twice, every answer found again.

use super::again::{again, apart};
use super::{PROFILES, ask, drawn, given, profile};
use fellrun::brief::{WorksheetFigures, worksheet_html, worksheet_markdown};
use fellrun::teach::worksheet::{
    Exercise, Grade, Number, RuleBook, SheetAsk, SheetError, Teacher, Topic, Unit, code, sheet,
};
use std::collections::BTreeMap;

/// Seeds in all.
const SEEDS: u64 = 1_000;
/// Exercises on each sheet.
const COUNT: usize = 12;

/// Between what a number of an exercise makes sense: light piston aeroplanes below 12,500 ft.
fn sane(n: Number) -> (f64, f64) {
    match n.unit {
        Unit::Feet => (-1_500.0, 14_500.0),
        Unit::Nm => (0.0, 260.0),
        Unit::Knots => (0.0, 300.0),
        Unit::KnotsPerSecond => (0.2, 5.0),
        Unit::Fpm => (100.0, 1_500.0),
        Unit::Minutes => (0.5, 240.0),
        Unit::Seconds => (5.0, 200.0),
        Unit::Gallons => (0.0, 100.0),
        Unit::Gph => (0.5, 60.0),
        Unit::Inches => (10.0, 40.0),
        Unit::Setting => (-1.0, 31.0),
        Unit::Rpm => (900.0, 2_900.0),
        Unit::Percent => (0.5, 100.0),
        Unit::Celsius => (-45.0, 45.0),
        Unit::Direction => (0.0, 360.0),
        Unit::Degrees => (0.0, 180.0),
        Unit::Pounds => (1_000.0, 6_000.0),
        Unit::Ratio => (3.0, 25.0),
        Unit::Fraction => (0.0, 1.1),
    }
}

fn makes_sense(e: &Exercise) {
    for n in e.given.iter().chain(&e.worked) {
        let (low, high) = sane(n.number);
        let v = n.number.value;
        assert!(v >= low && v <= high, "{}: {} = {v}", e.kind, n.name);
    }
    for n in &e.given {
        let v = n.number;
        assert_eq!(
            v.unit.rounded(v.value),
            v.value,
            "{}: {} is not as printed",
            e.kind,
            n.name
        );
    }
    let (low, high) = sane(e.answer);
    assert!(
        e.answer.value >= low && e.answer.value <= high,
        "{}: {:?}",
        e.kind,
        e.answer
    );
    // Within a quarter of what is asked, so that no guess is right; a direction has no size, an altitude none near sea level.
    let size = match e.answer.unit {
        Unit::Direction => 90.0,
        Unit::Feet => e.answer.value.abs().max(1_000.0),
        _ => e.answer.value.abs(),
    };
    let exact = e.tolerance == 0.0;
    assert!(
        exact || (e.tolerance > 0.0 && e.tolerance < 0.26 * size),
        "{e:?}"
    );
    assert!(!e.steps.is_empty() && !e.source.is_empty() && !e.because.is_empty());
    if let Some(t) = &e.table {
        assert!(t.rows.len() >= 3 && t.rows.iter().all(|r| r.len() == t.columns.len()));
        for row in &t.rows {
            for (x, (_, unit)) in row.iter().zip(&t.columns) {
                assert!(x.is_finite() && unit.rounded(*x) == *x, "{}", e.kind);
            }
        }
    }
    // Downwards, and the way is longer than what is kept before the field.
    if let (Some(a), Some(b)) = (e.number("from"), e.number("to"))
        && a.unit == Unit::Feet
    {
        assert!(a.value - b.value >= 2_500.0, "{}", e.kind);
    }
}

/// A thousand seeds over the five profiles, every topic and grade.
#[test]
fn closed_form_a_thousand_seeds_make_sense_differ_and_are_found_again() {
    let mut kinds: BTreeMap<&str, u32> = BTreeMap::new();
    for (p, name) in PROFILES.into_iter().enumerate() {
        let aircraft = profile(name);
        let teacher = Teacher::new(&aircraft);
        for seed in (0..SEEDS).filter(|s| s % 5 == p as u64) {
            let sheet = drawn(&teacher, &ask(&aircraft, seed, COUNT));
            assert_eq!(sheet.len(), COUNT);
            for (i, e) in sheet.iter().enumerate() {
                makes_sense(e);
                assert!(
                    sheet[..i].iter().all(|f| !f.same_as(e)),
                    "{name} {seed}: twice {e:?}"
                );
                let found = again(e);
                let off = (found - e.answer.value).abs();
                let off = if e.answer.unit == Unit::Direction {
                    off.min(360.0 - off)
                } else {
                    off
                };
                assert!(
                    off <= apart(e),
                    "{name} {seed} {}: {} against {found}; {e:?}",
                    e.kind,
                    e.answer.value
                );
                assert!(e.accepts(found) || e.tolerance == 0.0, "{}", e.kind);
                *kinds.entry(e.kind).or_default() += 1;
            }
            assert!(
                sheet.windows(2).all(|w| w[0].grade <= w[1].grade),
                "easy first"
            );
        }
    }
    // 11 topics with three to four questions each, levels by two books.
    assert_eq!(kinds.len(), 40, "{kinds:?}");
    assert!(kinds.values().all(|n| *n >= 20), "{kinds:?}");
}

/// Sums and differences written out in the steps hold to the last figure that is printed: `{a} - {b} = {c}`.
#[test]
fn closed_form_printed_sums_hold() {
    let aircraft = profile("retractable-200hp");
    let teacher = Teacher::new(&aircraft);
    let mut checked: BTreeMap<&str, u32> = BTreeMap::new();
    for seed in 0..60 {
        for e in drawn(&teacher, &ask(&aircraft, seed, 44)) {
            for step in &e.steps {
                let words: Vec<&str> = step.split(' ').collect();
                for w in words.windows(5) {
                    let of = |word: &str| {
                        let name = word.strip_prefix('{')?.split('}').next()?;
                        e.number(name)
                    };
                    let (Some(a), Some(b), Some(c), "=") = (of(w[0]), of(w[2]), of(w[4]), w[3])
                    else {
                        continue;
                    };
                    let [x, y, z] = [a, b, c].map(|n| n.unit.rounded(n.value));
                    let off = match w[1] {
                        "+" => x + y - z,
                        "-" => x - y - z,
                        _ => continue,
                    };
                    let off = if c.unit == Unit::Direction {
                        off.rem_euclid(360.0).min((-off).rem_euclid(360.0))
                    } else {
                        off.abs()
                    };
                    assert!(off < 1e-6, "{}: {x} {} {y} = {z}", e.kind, w[1]);
                    *checked.entry(e.kind).or_default() += 1;
                }
            }
        }
    }
    for kind in ["tod_by_wind", "wind_time", "level_below_cloud"] {
        assert!(checked.get(kind).is_some_and(|n| *n > 10), "{checked:?}");
    }
}

/// The greatest sheet of each topic and grade can be drawn without a repetition.
#[test]
fn closed_form_each_topic_and_grade_fills_a_sheet() {
    for name in ["retractable-200hp", "trainer-160hp"] {
        let aircraft = profile(name);
        let teacher = Teacher::new(&aircraft);
        for topic in ask(&aircraft, 0, 1).topics {
            for grade in Grade::ALL {
                let ask = SheetAsk {
                    topics: vec![topic],
                    grades: vec![grade],
                    rules: vec![RuleBook::Us],
                    seed: 5,
                    count: 30,
                };
                let sheet = drawn(&teacher, &ask);
                assert!(sheet.iter().all(|e| e.topic == topic && e.grade == grade));
                for (i, e) in sheet.iter().enumerate() {
                    assert!(sheet[..i].iter().all(|f| !f.same_as(e)), "{e:?}");
                }
            }
        }
    }
}

#[test]
fn closed_form_same_seed_same_sheet_and_another_seed_another() {
    let aircraft = profile("retractable-200hp");
    let first = drawn(&Teacher::new(&aircraft), &ask(&aircraft, 42, 20));
    // Another teacher, who remembers other things.
    let teacher = Teacher::new(&aircraft);
    let other = drawn(&teacher, &ask(&aircraft, 43, 20));
    let again = drawn(&teacher, &ask(&aircraft, 42, 20));
    assert_eq!(first, again);
    assert_eq!(code(&first), code(&again));
    assert_ne!(code(&first), code(&other));
    assert!(first.iter().zip(&other).all(|(a, b)| !a.same_as(b)));
}

/// A student who moves up a grade with the same seed meets other numbers, not those whose answers are known.
#[test]
fn closed_form_another_grade_has_other_numbers() {
    let aircraft = profile("retractable-200hp");
    let teacher = Teacher::new(&aircraft);
    for topic in ask(&aircraft, 0, 1).topics {
        let numbers = |grade| -> Vec<Vec<f64>> {
            let ask = SheetAsk {
                topics: vec![topic],
                grades: vec![grade],
                rules: vec![RuleBook::Us],
                seed: 7,
                count: 4,
            };
            let of = |e: &Exercise| {
                let rows = e
                    .table
                    .iter()
                    .flat_map(|t| t.rows.iter().flatten().copied());
                e.given.iter().map(|n| n.number.value).chain(rows).collect()
            };
            drawn(&teacher, &ask).iter().map(of).collect()
        };
        let [easy, medium, hard] = Grade::ALL.map(numbers);
        for (i, one) in easy.iter().enumerate() {
            // What all share may be alike by chance; the whole of it is not.
            assert!(one.len() >= 2 && medium[i].len() >= 2, "{topic:?}");
            let taken_from = |from: &[f64], other: &[f64]| other.iter().all(|x| from.contains(x));
            assert!(
                !taken_from(one, &medium[i]) && !taken_from(&medium[i], one),
                "{topic:?} {i}"
            );
            assert!(
                !taken_from(&medium[i], &hard[i]) && !taken_from(&hard[i], &medium[i]),
                "{topic:?} {i}"
            );
        }
    }
}

/// Pins what is drawn for a seed: a change here gives every student another sheet, so it must be meant. The topic needs no aircraft.
#[test]
fn regress_the_levels_of_seed_1() {
    let aircraft = profile("retractable-200hp");
    let ask = SheetAsk {
        topics: vec![Topic::Levels],
        grades: vec![Grade::Easy],
        rules: vec![RuleBook::Us],
        seed: 1,
        count: 3,
    };
    let sheet = drawn(&Teacher::new(&aircraft), &ask);
    let numbers: Vec<f64> = sheet.iter().map(|e| given(e, "course")).collect();
    assert_eq!(numbers, [193.0, 249.0, 293.0]);
}

/// Rules of thumb lie within the tolerance of the exact answer, so that who uses them is not marked wrong.
#[test]
fn closed_form_rules_of_thumb_are_within_the_tolerance() {
    let aircraft = profile("retractable-200hp");
    let teacher = Teacher::new(&aircraft);
    let mut checked = 0;
    for seed in 0..40 {
        let ask = SheetAsk {
            topics: vec![Topic::Density],
            grades: Grade::ALL.to_vec(),
            rules: vec![RuleBook::Us],
            seed,
            count: 30,
        };
        for e in drawn(&teacher, &ask) {
            let g = |name: &str| given(&e, name);
            let rule = match e.kind {
                // 1,000 ft an inch; 120 ft a degree; TAS by the square root of the density, without compressibility.
                "pressure_altitude" => g("indicated") + 1_000.0 * (29.92 - g("setting")),
                "density_altitude" => {
                    let standard = 15.0 - 1.98 * g("altitude") / 1_000.0;
                    g("altitude") + 120.0 * (g("oat") - standard)
                }
                "true_airspeed" => {
                    let theta = (g("oat") + 273.15) / 288.15;
                    let delta = (1.0 - 6.875_585_6e-6 * g("altitude")).powf(5.255_88);
                    g("cas") * (theta / delta).sqrt()
                }
                other => panic!("{other}"),
            };
            assert!(e.accepts(rule), "{}: {rule} against {:?}", e.kind, e);
            checked += 1;
        }
    }
    assert_eq!(checked, 1_200);
}

#[test]
fn closed_form_what_cannot_be_drawn_is_refused() {
    let trainer = profile("trainer-160hp");
    let teacher = Teacher::new(&trainer);
    let one = |topics: Vec<Topic>, count| SheetAsk {
        topics,
        grades: vec![Grade::Easy],
        rules: vec![RuleBook::Us],
        seed: 1,
        count,
    };
    assert_eq!(
        sheet(&teacher, &one(vec![Topic::Rpm], 1)),
        Err(SheetError::FixedPitch(Topic::Rpm))
    );
    for (topics, count) in [(vec![], 1), (vec![Topic::Tod], 0), (vec![Topic::Tod], 61)] {
        assert_eq!(sheet(&teacher, &one(topics, count)), Err(SheetError::Empty));
    }
}

/// No gap in the words, no number without its unit, on every face; the student's has no answers.
#[test]
fn closed_form_faces_have_every_number_and_the_student_no_answer() {
    for name in PROFILES {
        let aircraft = profile(name);
        let teacher = Teacher::new(&aircraft);
        for seed in 0..12 {
            let ask = ask(&aircraft, seed, 40);
            let exercises = drawn(&teacher, &ask);
            let figures = WorksheetFigures::new(&ask, &exercises, &aircraft, None);
            for e in &figures.exercises {
                let key = e.key.as_ref().expect("a key");
                for words in key.steps.iter().chain([&e.question]) {
                    let gap = words.contains(" ?")
                        || words.contains("(?")
                        || words.contains("??")
                        || words.contains("{");
                    assert!(
                        !gap && !words.contains("--") && !words.contains("NaN"),
                        "{words}"
                    );
                    assert!(words.is_ascii() || words.contains(['°', '×']), "{words}");
                }
            }
            let student = figures.for_students();
            for text in [worksheet_markdown(&student), worksheet_html(&student)] {
                assert!(!text.contains("Source:") && !text.contains("right within"));
                assert!(text.contains("approved flight manual"));
                assert_eq!(text.matches("Answer:").count(), 40);
            }
            for text in [
                worksheet_markdown(&figures.as_key()),
                worksheet_html(&figures.as_key()),
            ] {
                assert_eq!(text.matches("Source:").count(), 40);
                assert!(text.contains("approved flight manual"));
            }
        }
    }
}
