//! The command as the shell sees it: exit status, what goes to which stream, and no file left behind on an error.

use assert_cmd::Command;

fn fellrun() -> Command {
    Command::cargo_bin("fellrun").expect("the binary of this crate")
}

/// Runs and gives exit status, standard output and standard error.
fn run(args: &[&str]) -> (Option<i32>, String, String) {
    let out = fellrun().args(args).output().expect("starts");
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

#[test]
fn closed_form_help_and_version_are_data() {
    for args in [&["--help"][..], &["plan", "--help"], &["--version"]] {
        let (status, out, err) = run(args);
        assert_eq!(status, Some(0), "{args:?}");
        assert!(out.contains("fellrun") && err.is_empty(), "{args:?}");
    }
    let (_, out, _) = run(&["plan", "--help"]);
    for word in [
        "--objective",
        "time",
        "fuel",
        "money",
        "--chart",
        "--json",
        "TRIP.toml",
    ] {
        assert!(out.contains(word), "{word}");
    }
}

#[test]
fn closed_form_wrong_arguments_are_the_users_input() {
    for args in [
        &["plan"][..],
        &["plan", "x.toml", "--objective", "glory"],
        &["fly"],
        &["plan", "x.toml", "--chart", "a.pdf"],
    ] {
        let (status, out, err) = run(args);
        assert_eq!(status, Some(1), "{args:?}: {err}");
        assert!(out.is_empty() && err.contains("error"), "{args:?}: {err}");
        assert!(!err.contains("panicked"), "{err}");
    }
}

#[test]
fn closed_form_a_missing_trip_touches_no_output() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let json = folder.path().join("plan.json");
    let trip = folder.path().join("none.toml");
    let (status, out, err) = run(&[
        "plan",
        &trip.to_string_lossy(),
        "--json",
        &json.to_string_lossy(),
    ]);
    assert_eq!(status, Some(1), "{err}");
    assert!(
        out.is_empty() && err.starts_with("error") && err.contains("none.toml"),
        "{err}"
    );
    assert_eq!(std::fs::read_dir(folder.path()).expect("lists").count(), 0);
}

/// A profile that comes with the program is known by its name where there is no such file, and is the same as the file.
#[test]
fn closed_form_profiles_by_name() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let here = |args: &[&str]| {
        let out = fellrun().args(args).current_dir(&folder).output();
        let out = out.expect("starts");
        let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
        (out.status.code(), text(&out.stdout), text(&out.stderr))
    };
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut found = 0;
    for entry in std::fs::read_dir(root.join("profiles")).expect("lists") {
        let path = entry.expect("an entry").path();
        let name = path.file_stem().expect("a name").to_str().expect("ASCII");
        let (status, text, _) = here(&["new", "profile", name]);
        assert_eq!(status, Some(0), "{name}");
        assert_eq!(text, std::fs::read_to_string(&path).expect("reads"));
        found += 1;
    }
    assert!(found >= 5);
    let (status, by_name, _) = here(&["glide", "trainer-160hp"]);
    assert_eq!(status, Some(0));
    let file = root.join("profiles/trainer-160hp.toml");
    assert_eq!(by_name, here(&["glide", file.to_str().expect("UTF-8")]).1);
    // A file of that name is taken first, and a wrong name is told the right ones.
    std::fs::write(folder.path().join("trainer-160hp"), "x").expect("writes");
    assert_eq!(here(&["glide", "trainer-160hp"]).0, Some(1));
    let (status, _, told) = here(&["glide", "trainer"]);
    assert_eq!(status, Some(1));
    assert!(told.contains("there is no such file") && told.contains("retractable-200hp"));
    // In a trip file and on the command line alike.
    let demo = std::fs::read_to_string(root.join("examples/first-trip.toml")).expect("reads");
    let named = demo
        .replace("../profiles/retractable-200hp.toml", "retractable-200hp")
        .replace("weather/", &format!("{}/examples/weather/", root.display()));
    std::fs::write(folder.path().join("trip.toml"), named).expect("writes");
    let (status, line, _) = here(&["check", "trip.toml"]);
    assert_eq!(status, Some(0));
    assert!(line.contains("200-hp"), "{line}");
}

#[test]
fn closed_form_completions_and_manual_pages() {
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let (status, script, _) = run(&["completions", shell]);
        assert_eq!(status, Some(0));
        assert!(
            script.contains("objective") && script.contains("settings"),
            "{shell}"
        );
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    let out = folder.path().to_str().expect("UTF-8");
    assert_eq!(run(&["man", "--out", out]).0, Some(0));
    let (_, help, _) = run(&["--help"]);
    let commands = help.lines().skip_while(|l| *l != "Commands:").skip(1);
    let mut seen = 0;
    for line in commands.take_while(|l| !l.is_empty()) {
        // Lines that only go on with a description are indented more.
        let name = line.strip_prefix("  ").filter(|l| !l.starts_with(' '));
        let Some(name) = name.and_then(|l| l.split_whitespace().next()) else {
            continue;
        };
        if name == "help" {
            continue;
        }
        let page = std::fs::read_to_string(folder.path().join(format!("fellrun-{name}.1")));
        assert!(page.expect("a page").contains(".SH SYNOPSIS"), "{name}");
        seen += 1;
    }
    assert!(seen >= 12, "{seen}");
    assert!(folder.path().join("fellrun-new-trip.1").is_file());
    assert!(run(&["man"]).1.contains("flight manual"));
    assert_eq!(run(&["man", "--out", "no/such/folder"]).0, Some(1));
}

/// A US gallon is 231 cubic inches, a pound 0.45359237 kg (NIST Handbook 44, appendix C).
const L_PER_GAL: f64 = 231.0 * 2.54 * 2.54 * 2.54 / 1_000.0;
/// See [`L_PER_GAL`].
const KG_PER_LB: f64 = 0.453_592_37;

/// The figure before the first of these words after a place in a text.
fn before(text: &str, after: &str, unit: &str) -> f64 {
    // Whatever lines it is set in.
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let rest = &text[text
        .find(after)
        .unwrap_or_else(|| panic!("no {after:?} in {text}"))..];
    let end = rest
        .find(unit)
        .unwrap_or_else(|| panic!("no {unit:?} in {rest}"));
    let word = rest[..end].split_whitespace().last().unwrap_or_default();
    let figure = word.replace(',', "");
    figure
        .parse()
        .unwrap_or_else(|_| panic!("{word:?} before {unit:?} is no figure"))
}

/// In each command with `--units`: JSON the same byte for byte, no gallon and no pound in the text, and a figure that is the US one.
#[test]
fn closed_form_metric_texts_have_no_gallon_and_json_stays() {
    let trip = "examples/first-trip.toml";
    let profile = "retractable-200hp";
    // Command; where a figure stands in the text and its unit, US and metric; one in the other; the coarser step.
    type Case<'a> = (&'a [&'a str], Option<(&'a str, [&'a str; 2], f64, f64)>);
    let cases: [Case; 6] = [
        (
            &["spread", trip, "--samples", "40"],
            Some(("Reserve", [" gal that", " L that"], L_PER_GAL, 0.5)),
        ),
        (
            &["compare", trip, "--profile", "retractable-285hp"],
            Some((
                "The same for all",
                [" lb of people", " kg of people"],
                KG_PER_LB,
                1.0,
            )),
        ),
        (
            &["settings", profile],
            Some(("Invented", [" lb,", " kg,"], KG_PER_LB, 1.0)),
        ),
        (
            &["settings", profile, "--what-if"],
            Some(("Richer than", [" gph and", " L/h and"], L_PER_GAL, 0.5)),
        ),
        (
            &["glide", profile],
            Some(("Best-glide", [" lb by", " kg by"], KG_PER_LB, 1.0)),
        ),
        (
            // The default price is that of the option, by the gallon.
            &["descend", "--profile", profile, "--fuel-price", "6.5"],
            Some(("Cruise", [" gph", " L/h"], L_PER_GAL, 0.5)),
        ),
    ];
    for (args, figure) in cases {
        let said = |units: &str| {
            let folder = tempfile::tempdir().expect("a temporary folder");
            let json = folder.path().join("a.json");
            let json_arg = json.to_string_lossy().into_owned();
            let all = [args, &["--units", units, "--json", &json_arg]].concat();
            let (status, out, err) = run(&all);
            assert_eq!(status, Some(0), "{all:?}: {err}");
            (out, std::fs::read(json).expect("written"))
        };
        let ((us, us_json), (metric, metric_json)) = (said("us"), said("metric"));
        assert!(us_json == metric_json && !us_json.is_empty(), "{args:?}");
        assert!(us != metric, "{args:?}");
        for word in ["gal", "gph", "gallon", "lb", "pounds", "inHg"] {
            let stands = metric
                .split(|c: char| !c.is_alphabetic())
                .any(|w| w == word);
            assert!(!stands, "{args:?} says {word:?}:\n{metric}");
        }
        if let Some((after, [us_unit, metric_unit], factor, step)) = figure {
            let (a, b) = (
                before(&us, after, us_unit),
                before(&metric, after, metric_unit),
            );
            // Each is rounded by less than its step (a tenth of a gallon, a pound are within the metric ones).
            let slack = step + factor * if factor > 1.0 { 0.1 } else { 1.0 };
            assert!((b - factor * a).abs() <= slack, "{args:?}: {a} and {b}");
            assert!((b - a).abs() > slack, "{args:?}: {a} and {b}");
        }
    }
}
