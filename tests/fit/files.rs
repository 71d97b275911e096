//! Handbooks as files: the template, profiles written and read back, wrong and damaged files, CSV.

use super::known::{Dice, NOISE, invented, table_rows};
use super::{fitted, root};
use fellrun::aircraft::{AirState, Aircraft, Configuration, Levers, Throttle};
use fellrun::files::handbook::{load, parse, profile_text, report_text, template};
use fellrun::files::profile::{load_profile, parse_profile};
use fellrun::fit::{Handbook, Quantity, fit, predict};
use fellrun::quantity::{M_PER_NM, M_S_PER_FPM, M_S_PER_KT, M3_PER_GAL, PA_PER_INHG};
use std::path::Path;

/// A fitted figure is written to five digits: speeds and flows of the profile read back are those of the fit to this.
const WRITTEN: f64 = 1e-4;

#[test]
fn closed_form_profiles_are_written_and_read_back() {
    for path in [
        "examples/faa-65-percent.toml",
        "tests/data/faa_climb/faa_climb.toml",
        "src/files/handbook/template.toml",
    ] {
        let (file, fitted) = fitted(path);
        let text = profile_text(&file, &fitted);
        let read = parse_profile(&text, Path::new("out.toml"))
            .unwrap_or_else(|e| panic!("{text}\n{}", e.render(false)));
        let air = AirState::new(80_000.0, 280.0);
        let levers = Levers {
            throttle: Throttle::Full,
            rev_s: 40.0,
            mixture: 1,
        };
        let (a, b) = (
            fitted.aircraft.perform(air, 70.0, levers),
            read.perform(air, 70.0, levers),
        );
        assert!((a.thrust_n / b.thrust_n - 1.0).abs() < WRITTEN, "{path}");
        assert!((a.fuel_kg_s / b.fuel_kg_s - 1.0).abs() < WRITTEN, "{path}");
        let clean = Configuration::default();
        let drag = |x: &Aircraft| x.drag_n(air, 70.0, 1_200.0, clean);
        assert!(
            (drag(&fitted.aircraft) / drag(&read) - 1.0).abs() < WRITTEN,
            "{path}"
        );
        assert!(text.contains("Fitted to "), "{text}");
        assert!(text.contains(" +/- "), "{text}");
    }
}

#[test]
fn closed_form_template_rows_belong_to_one_aeroplane() {
    // the invented rows of the template were made with profiles/retractable-200hp.toml and rounded
    let (_, fitted) = fitted("src/files/handbook/template.toml");
    assert!(fitted.report.contradictions.is_empty() && !fitted.report.inconsistent);
}

#[test]
#[ignore = "prints what the template is made of, and times"]
fn regress_figures_for_the_template() {
    let base = load_profile(&root("profiles/retractable-200hp.toml")).unwrap();
    let rho = base.fuel.density_kg_m3 * M3_PER_GAL;
    let file = parse(template(), Path::new("template.toml")).unwrap();
    for row in &file.handbook.rows {
        let model = predict(&base, row);
        for (s, m) in row.seen.iter().zip(model) {
            let unit = match s.quantity {
                Quantity::PowerFraction => 0.01,
                Quantity::FuelFlow => rho / 3_600.0,
                Quantity::Tas | Quantity::Ias | Quantity::StallSpeed => M_S_PER_KT,
                Quantity::ManifoldPressure => PA_PER_INHG,
                Quantity::ClimbRate | Quantity::SinkRate => M_S_PER_FPM,
                Quantity::ClimbTime => 60.0,
                Quantity::ClimbFuel => rho,
                Quantity::ClimbDistance => M_PER_NM,
                Quantity::GlideRatio => 1.0,
            };
            println!(
                "{} {:?} {:.2} (has {:.2})",
                row.label,
                s.quantity,
                m / unit,
                s.value / unit
            );
        }
    }
    let truth = invented(&base, &mut Dice(3));
    let rows = table_rows(&truth, NOISE, &mut Dice(4));
    let handbook = Handbook {
        rows,
        ..file.handbook.clone()
    };
    let start = std::time::Instant::now();
    let fitted = fit(&handbook).unwrap();
    println!(
        "{} rows: {:?}, {} steps",
        handbook.rows.len(),
        start.elapsed(),
        fitted.report.steps
    );
    let start = std::time::Instant::now();
    parse(template(), Path::new("template.toml")).unwrap();
    println!("reading a handbook: {:?}", start.elapsed());
}

/// What a handbook file gets as an answer; the folder of the path is cut off.
fn answer(old: &str, new: &str) -> String {
    assert!(template().contains(old), "{old:?} is not in the template");
    let text = template().replacen(old, new, 1);
    let error = parse(&text, Path::new("hb.toml"))
        .err()
        .unwrap_or_else(|| panic!("{new:?} is not refused"));
    // drawing must not fail either
    assert!(!error.render(false).is_empty());
    error.to_string()
}

#[test]
fn closed_form_wrong_handbooks_are_told_where_and_what() {
    for (old, new, line, wanted) in [
        (
            "tas_kt = 137",
            "tas_kts = 137",
            "cruise[1].tas_kts",
            "did you mean `tas_kt`?",
        ),
        (
            "tas_kt = 137",
            "tas_kt = 1370",
            "cruise[1].tas_kt = 1370",
            "20..=400 kt",
        ),
        (
            "rpm = 2400\nmap_inhg = 23",
            "rpm = 2400\nmixture = \"best\"\nmap_inhg = 23",
            "is no mixture",
            "best power",
        ),
        (
            "[[stall]]\nweight",
            "[[stal]]\nweight",
            "there is no key stal",
            "did you mean `stall`?",
        ),
        (
            "vno_kt = 152",
            "vno_kt = 110",
            "speeds.vno_kt = 110 is below speeds.va_kt",
            "correct one",
        ),
        (
            "vno_kt = 152\n",
            "",
            "speeds.vno_kt is missing",
            "add `vno_kt",
        ),
        (
            "blades = 2",
            "blades = 2.5",
            "not a whole number",
            "whole number",
        ),
        (
            "diameter_in = 74",
            "diameter_in = \"74\"",
            "propeller.diameter_in is the text",
            "without quotation",
        ),
        (
            "isa_dev_c = 10",
            "isa_dev_c = 10\ntemperature_c = 0",
            "both",
            "give one",
        ),
        (
            "ratio = 9.5",
            "note = \"x\"",
            "no figure to fit to",
            "ratio",
        ),
        (
            "from_ft = 0",
            "from_ft = 9000",
            "climb[2].altitude_ft = 8000",
            "correct one",
        ),
        (
            "speed_percent = 1\n",
            "speed_percent = 0\n",
            "uncertainty.speed_percent",
            "0.1",
        ),
        (
            "# [fit]",
            "[fit]\nfree = [\"cd1\"]",
            "no figure that is fitted",
            "cd0",
        ),
        (
            "[weights]\nmax_take_off_lb = 2740",
            "[weights]",
            "weights.max_take_off_lb is missing",
            "add",
        ),
        (
            "full_throttle = true\n",
            "full_throttle = 1\n",
            "true or false",
            "",
        ),
        ("[aircraft]", "[aircraft", "not TOML", "section"),
    ] {
        let said = answer(old, new);
        assert!(said.contains(line), "{said}\nlacks {line}");
        assert!(said.contains(wanted), "{said}\nlacks {wanted}");
        assert!(said.starts_with("hb.toml:"), "{said}");
    }
}

#[test]
fn closed_form_wrong_header_figures_are_marked_in_the_handbook_itself() {
    let text = template().replacen("vno_kt = 152", "vno_kt = 110", 1);
    let error = parse(&text, Path::new("hb.toml")).err().unwrap();
    let finding = &error.findings[0];
    assert_eq!(&text[finding.span.clone().unwrap()], "110");
    let (span, label) = &finding.related[0];
    assert_eq!(
        (&text[span.clone()], label.as_str()),
        ("118", "speeds.va_kt is set here")
    );
}

#[test]
fn closed_form_csv_rows_are_those_of_toml() {
    let folder = tempfile::tempdir().unwrap();
    let head = template().split("[uncertainty]").next().unwrap();
    let head = head.replacen("# rows_csv", "rows_csv", 1);
    let path = folder.path().join("hb.toml");
    std::fs::write(&path, head).unwrap();
    let csv = "# measured\nkind,altitude_ft,isa_dev_c,weight_lb,rpm,map_inhg,full_throttle,ias_kt,rate_fpm,fuel_flow_gph,tas_kt,mixture\n\
               climb,0,,,,,,90,990,,,\n\
               cruise,4000,,2600,2400,23,,,,10.6,137,\"best power\"\n";
    let rows = folder.path().join("rows.csv");
    std::fs::write(&rows, csv).unwrap();
    let file = load(&path).unwrap_or_else(|e| panic!("{}", e.render(false)));
    let toml = parse(template(), Path::new("t.toml")).unwrap();
    assert_eq!(file.handbook.rows.len(), 2);
    // the template's first cruise row has a power besides
    let (a, b) = (&file.handbook.rows[0], &toml.handbook.rows[0]);
    assert_eq!((a.condition, a.flight), (b.condition, b.flight));
    assert!(a.seen.iter().all(|s| b.seen.contains(s)));
    assert_eq!(file.handbook.rows[1].seen, toml.handbook.rows[3].seen);

    for (old, new, wanted) in [
        ("137", "1370", "rows.csv:4:35: cruise[1].tas_kt = 1370"),
        ("tas_kt", "tas_kts", "did you mean `tas_kt`?"),
        ("cruise,", "crusie,", "kind is \"crusie\""),
        ("990,,,", "990,,", "11 cells, but 12 columns"),
        ("\"best power\"", "best", "is no mixture"),
    ] {
        assert!(csv.contains(old));
        std::fs::write(&rows, csv.replacen(old, new, 1)).unwrap();
        let error = load(&path)
            .err()
            .unwrap_or_else(|| panic!("{new:?} is not refused"));
        assert!(!error.render(false).is_empty());
        assert!(
            error.to_string().contains(wanted),
            "{error}\nlacks {wanted}"
        );
    }
}

#[test]
fn closed_form_few_rows_still_give_a_sane_aeroplane() {
    // one row, half of the type plate: the priors carry the rest
    let text = template()
        .split("[uncertainty]")
        .next()
        .unwrap()
        .replace("rated_power_hp", "# rated_power_hp")
        + "[[cruise]]\naltitude_ft = 6000\nrpm = 2400\nmap_inhg = 22\ntas_kt = 140\n";
    let file = parse(&text, Path::new("hb.toml")).unwrap();
    let fitted = fit(&file.handbook).unwrap();
    for estimate in &fitted.estimates {
        let off = (estimate.value - estimate.prior.mean).abs() / estimate.prior.sd;
        assert!(off < 2.0, "{estimate:?}");
        assert!(
            estimate.error > 0.0 && estimate.error < 3.0 * estimate.prior.sd,
            "{estimate:?}"
        );
    }
    assert!(parse_profile(&profile_text(&file, &fitted), Path::new("p.toml")).is_ok());
}

/// Damaged handbooks tried.
const DAMAGED: usize = 150;

#[test]
fn closed_form_damaged_handbooks_give_errors_or_aeroplanes() {
    // characters of the template struck out or doubled: no panic, and what is accepted can be fitted, written and read
    let mut dice = Dice(11);
    let (mut refused, mut fitted) = (0, 0);
    for _ in 0..DAMAGED {
        let mut text: Vec<char> = template().chars().collect();
        for _ in 0..3 {
            let i = dice.uniform(0.0, text.len() as f64) as usize;
            if dice.uniform(0.0, 1.0) < 0.5 {
                text.remove(i);
            } else {
                text.insert(i, text[i]);
            }
        }
        let text: String = text.into_iter().collect();
        match parse(&text, Path::new("hb.toml")) {
            Err(error) => {
                assert!(!error.findings.is_empty() && !error.render(false).is_empty());
                refused += 1;
            }
            Ok(file) => {
                let found = fit(&file.handbook).unwrap();
                assert!(!report_text(&file, &found).contains("NaN"));
                assert!(found.estimates.iter().all(|e| e.value.is_finite()));
                fitted += 1;
            }
        }
    }
    assert!(
        refused > 0 && fitted > 0,
        "{refused} refused, {fitted} fitted"
    );
}
