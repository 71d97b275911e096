//! One lever alone: level flight, limit line and mean pressure found again, the order of the levers, and the command.

use super::{PROFILES, profile};
use assert_cmd::Command;
use fellrun::air::isa;
use fellrun::aircraft::{AirState, Aircraft, Configuration, Throttle, Warmth};
use fellrun::brief::{WhatIfFigures, what_if_json, what_if_svg, what_if_text};
use fellrun::quantity::{M_PER_FT, M3_PER_CUIN, PA_PER_INHG, W_PER_HP};
use fellrun::teach::what_if::{WhatIf, WhatIfAsk, WhatIfError, what_if};

/// Level flight is found to a millionth of the speed.
const BALANCE: f64 = 1e-3;
/// The figures are written to a millionth.
const WRITTEN: f64 = 1e-4;

fn governed() -> impl Iterator<Item = (&'static str, Aircraft)> {
    PROFILES
        .into_iter()
        .map(|n| (n, profile(n)))
        .filter(|(_, a)| !a.propeller.is_fixed())
}

fn usual(a: &Aircraft) -> WhatIf {
    what_if(a, WhatIfAsk::usual(a, None, Warmth::AboveStandard(0.0))).expect("a lesson")
}

/// The limit line of the profile at an RPM, in: straight between its rows, level beyond them.
fn limit_in(a: &Aircraft, rpm: f64) -> f64 {
    let rows: Vec<(f64, f64)> = a
        .procedures
        .map_limit
        .iter()
        .map(|r| (r.0 * 60.0, r.1 / PA_PER_INHG))
        .collect();
    match rows.iter().position(|r| r.0 >= rpm) {
        _ if rows.is_empty() => rpm / 100.0,
        None => rows[rows.len() - 1].1,
        Some(0) => rows[0].1,
        Some(i) => {
            let (p, q) = (rows[i - 1], rows[i]);
            (p.1 * (q.0 - rpm) + q.1 * (rpm - p.0)) / (q.0 - p.0)
        }
    }
}

#[test]
fn closed_form_each_row_is_level_flight_with_the_levers_it_names() {
    let mut checked = 0;
    for (name, a) in governed() {
        let lesson = usual(&a);
        let m = lesson.ask.pressure_altitude_m;
        let air = AirState::new(isa::pressure_pa(m), isa::temperature_k(m));
        for s in lesson
            .by_rev
            .iter()
            .chain(&lesson.by_map)
            .chain(&lesson.by_mixture)
        {
            let set = a.perform(air, s.tas_m_s, s.levers);
            let drag = a.drag_n(air, s.tas_m_s, lesson.ask.mass_kg, Configuration::default());
            assert!((set.thrust_n / drag - 1.0).abs() < BALANCE, "{name}");
            // 792,000 hp / (RPM x cubic inches): the formula of engine makers in psi (from memory).
            let hp = set.power_fraction * a.engine.spec.rated_power_w / W_PER_HP;
            let inches3 = a.engine.spec.displacement_m3 / M3_PER_CUIN;
            let psi = 792_000.0 * hp / (set.rev_s * 60.0 * inches3);
            assert!(
                (s.mean_effective_pa / (psi * 6_894.757) - 1.0).abs() < 1e-6,
                "{name}"
            );
            checked += 1;
        }
        // One lever alone.
        assert!(
            lesson
                .by_rev
                .iter()
                .all(|s| s.levers.throttle == Throttle::Map(lesson.ask.map_pa))
        );
        assert!(
            lesson
                .by_map
                .iter()
                .all(|s| s.levers.rev_s == lesson.ask.rev_s)
        );
        // Less RPM: less power, coarser blades. Less MAP: less power, finer blades.
        for w in lesson.by_rev.windows(2) {
            assert!(w[1].performance.power_fraction < w[0].performance.power_fraction);
            assert!(w[1].performance.blade_angle_rad > w[0].performance.blade_angle_rad);
        }
        for w in lesson.by_map.windows(2) {
            assert!(w[1].performance.power_fraction < w[0].performance.power_fraction);
            assert!(w[1].performance.blade_angle_rad < w[0].performance.blade_angle_rad);
        }
    }
    assert!(checked > 50);
}

#[test]
fn closed_form_the_margins_are_those_to_the_limit_line_and_throttle_first_has_more() {
    let mut over = 0;
    for (name, a) in governed() {
        // From much at sea level the propeller alone must not come back; from the usual cruise it may.
        let mut high = WhatIfAsk::usual(&a, Some(0.0), Warmth::AboveStandard(0.0));
        high.rev_s = a.propeller.highest_governed_rev_s;
        let full = a.engine.map_pa(
            Throttle::Full,
            high.rev_s,
            a.intake(Warmth::AboveStandard(0.0).air(0.0), 50.0),
        );
        high.map_pa = (full - PA_PER_INHG).min(a.map_limit_pa(high.rev_s));
        high.to_map_pa = high.map_pa - 6.0 * PA_PER_INHG;
        high.to_rev_s = 2_000.0 / 60.0;
        for lesson in [usual(&a), what_if(&a, high).expect("a lesson")] {
            let ways = [&lesson.ways.throttle_first, &lesson.ways.propeller_first];
            for way in ways {
                let least = way
                    .points
                    .iter()
                    .map(|g| limit_in(&a, g.rev_s * 60.0) - g.map_pa / PA_PER_INHG)
                    .fold(f64::INFINITY, f64::min);
                assert!((way.margin_pa / PA_PER_INHG - least).abs() < 1e-6, "{name}");
                let end = way.points[way.points.len() - 1];
                assert_eq!(
                    (end.map_pa, end.rev_s),
                    (lesson.ask.to_map_pa, lesson.ask.to_rev_s)
                );
            }
            assert!(ways[0].margin_pa >= ways[1].margin_pa, "{name}");
            // A throttle left alone lets more through to a slower engine, until a turbocharger tires.
            if a.engine.spec.turbo.is_none() {
                assert!(lesson.ways.risen_pa > lesson.ask.map_pa, "{name}");
            }
            over += u32::from(ways[1].margin_pa < 0.0);
        }
    }
    assert!(over >= 3, "the lesson shows where it bites");
}

#[test]
fn closed_form_faces_agree_fit_and_caution() {
    for (name, a) in governed() {
        let figures = WhatIfFigures::new(&usual(&a), &a);
        for r in &figures.limit_line {
            assert!((r.map_inhg - limit_in(&a, r.rpm)).abs() < WRITTEN, "{name}");
        }
        for width in [80, 100] {
            let text = what_if_text(&figures, width);
            assert!(
                text.lines().all(|l| l.chars().count() <= width + 8),
                "escape codes aside"
            );
            assert!(text.contains("approved flight manual") && !text.contains("NaN"));
        }
        let svg = what_if_svg(&figures).expect("draws");
        assert!(svg.contains("wanted") && svg.contains("flight manual"));
        let json: serde_json::Value =
            serde_json::from_str(&what_if_json(&figures).expect("writes")).expect("JSON");
        assert!(json["here"]["blade_angle_deg"].is_number());
    }
}

#[test]
fn closed_form_a_go_around_at_a_high_field_takes_the_mixture_of_the_profile() {
    for (name, a) in governed() {
        let lesson = usual(&a);
        let high = lesson.field_density_m > a.procedures.full_rich_density_altitude_m;
        let rich = a.engine.full_rich_mixture();
        assert_eq!(high, lesson.field_mixture != rich, "{name}");
        let of = |m| lesson.go_around.iter().find(|g| g.mixture == m);
        let (full, chosen) = (
            of(rich).expect("full rich"),
            of(lesson.field_mixture).expect("one"),
        );
        assert!(
            chosen.performance.power_fraction >= full.performance.power_fraction,
            "{name}"
        );
        assert!(chosen.climb_m_s >= full.climb_m_s, "{name}");
    }
    let trainer = profile("trainer-160hp");
    let ask = WhatIfAsk::usual(
        &trainer,
        Some(2_000.0 * M_PER_FT),
        Warmth::AboveStandard(0.0),
    );
    assert_eq!(what_if(&trainer, ask), Err(WhatIfError::FixedPitch));
}

#[test]
fn closed_form_the_command_answers_and_refuses() {
    let dir = tempfile::tempdir().expect("a folder");
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let path = |name: &str| {
        root.join("profiles")
            .join(name)
            .to_string_lossy()
            .into_owned()
    };
    let (demo, trainer) = (path("retractable-200hp.toml"), path("trainer-160hp.toml"));
    let run = |args: &[&str]| {
        let out = Command::cargo_bin("fellrun")
            .expect("the binary of this crate")
            .current_dir(dir.path())
            .arg("settings")
            .args(args)
            .output()
            .expect("starts");
        let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
        (out.status.code(), text(&out.stdout), text(&out.stderr))
    };
    let (code, out, err) = run(&[
        &demo,
        "--what-if",
        "--altitude-ft",
        "4000",
        "--map-inhg",
        "24",
        "--rpm",
        "2500",
        "--to-rpm",
        "2200",
        "--to-map-inhg",
        "20",
        "--mixture",
        "full rich",
        "--chart",
        "w.svg",
        "--json",
        "w.json",
    ]);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    assert!(
        out.contains("24.0 in / 2,500, full rich, at 4,000 ft"),
        "{out}"
    );
    assert!(
        out.contains("from 24.0 in / 2,500 to 20.0 in / 2,200") || out.contains("20.0 in / 2,200")
    );
    assert!(dir.path().join("w.svg").exists() && dir.path().join("w.json").exists());
    for (args, words) in [
        (
            &[&*trainer, "--what-if"][..],
            &["trainer-160hp.toml", "fixed-pitch", "hint"][..],
        ),
        (
            &[
                &demo,
                "--what-if",
                "--map-inhg",
                "29",
                "--altitude-ft",
                "9000",
            ],
            &["full throttle does not give"],
        ),
        (
            &[&demo, "--what-if", "--map-inhg", "100"],
            &["--map-inhg 100", "5..=60 inHg"],
        ),
        (
            &[&demo, "--what-if", "--rpm", "900"],
            &["--rpm 900", "propeller.lowest_governed_rpm"],
        ),
        (
            &[&demo, "--what-if", "--rpm", "2300,2400"],
            &["--rpm has 2 values"],
        ),
        (
            &[&demo, "--what-if", "--to-rpm", "2700"],
            &["from more to less"],
        ),
        (&[&demo, "--what-if", "--csv", "x.csv"], &["--csv"]),
        (&[&demo, "--map-inhg", "20"], &["--what-if"]),
        (
            &[&demo, "--what-if", "--altitude-ft", "40000"],
            &["--what-if"],
        ),
        (
            &[&demo, "--what-if", "--chart", "w.pdf"],
            &["--chart w.pdf"],
        ),
    ] {
        let (code, out, err) = run(args);
        assert_eq!((code, out.as_str()), (Some(1), ""), "{args:?}");
        for w in words {
            assert!(err.contains(w), "{args:?}: no {w:?} in {err}");
        }
    }
}
