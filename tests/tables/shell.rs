//! `settings`, `grid` and `glide` as the shell sees them.

use assert_cmd::Command;
use std::collections::BTreeMap;
use std::path::Path;

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    let out = Command::cargo_bin("fellrun")
        .expect("the binary of this crate")
        .args(args)
        .output()
        .expect("starts");
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

fn profile(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("profiles")
        .join(name);
    path.to_string_lossy().into_owned()
}

#[test]
fn closed_form_wrong_input_exits_1_and_names_file_and_key() {
    let demo = profile("retractable-200hp.toml");
    let trainer = profile("trainer-160hp.toml");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let broken = folder.path().join("broken.toml");
    let text = std::fs::read_to_string(&demo).expect("reads");
    std::fs::write(&broken, text.replace("cd0 = 0.0235", "cd0 = 7")).expect("writes");
    let broken = broken.to_string_lossy();
    let out = folder.path().join("grid.csv");
    let out = out.to_string_lossy();
    for (args, words) in [
        (&["settings", &*broken][..], &["broken.toml", "cd0"][..]),
        (&["glide", &broken], &["broken.toml", "cd0"]),
        (&["grid", &broken, "--out", &out], &["broken.toml", "cd0"]),
        (&["settings", "/none.toml"], &["none.toml"]),
        (
            &["settings", &demo, "--weight-lb", "5000"],
            &[
                "--weight-lb 5000",
                "retractable-200hp.toml",
                "weights.max_take_off_lb",
            ],
        ),
        (
            &["settings", &demo, "--mixture", "extra lean"],
            &[
                "extra lean",
                "retractable-200hp.toml",
                "engine.mixture",
                "full rich",
            ],
        ),
        (
            &["settings", &demo, "--rpm", "900"],
            &["--rpm 900", "propeller.lowest_governed_rpm"],
        ),
        (
            &["settings", &demo, "--temperature-c", "5"],
            &["--temperature-c"],
        ),
        (
            &[
                "settings",
                &demo,
                "--temperature-c",
                "5",
                "--isa-dev-c",
                "1",
            ],
            &["--isa-dev-c"],
        ),
        (
            &["settings", &demo, "--altitude-ft", "90000"],
            &["90000", "-1500..=45000"],
        ),
        (&["settings", &demo, "--isa-dev-c", "nan"], &["isa-dev-c"]),
        (
            &["settings", &trainer, "--power-percent", "65"],
            &["fixed-pitch"],
        ),
        (&["grid", &demo], &["--out"]),
        (
            &["grid", &demo, "--out", &out, "--rpm", "100..9000"],
            &["--rpm", "retractable"],
        ),
        (
            &["grid", &demo, "--out", &out, "--step-tas-kt", "0"],
            &["--step-tas-kt 0"],
        ),
        (
            &["grid", &demo, "--out", &out, "--altitude-ft", "9..1"],
            &["does not rise"],
        ),
        (
            &[
                "grid",
                &demo,
                "--out",
                &out,
                "--step-tas-kt",
                "0.5",
                "--step-rpm",
                "1",
                "--step-map-inhg",
                "0.05",
                "--step-altitude-ft",
                "10",
            ],
            &["million rows"],
        ),
        (&["glide", &demo, "--wind-kt", "900"], &["--wind-kt"]),
        (&["glide", &demo, "--height-ft", "-5"], &["height-ft"]),
    ] {
        let (status, stdout, err) = run(args);
        assert_eq!(status, Some(1), "{args:?}: {err}");
        assert!(
            stdout.is_empty() && err.contains("error"),
            "{args:?}: {err}"
        );
        assert!(!err.contains("panicked"), "{err}");
        for w in words {
            assert!(err.contains(w), "{args:?}: no {w:?} in {err}");
        }
    }
    // Only the broken profile is there.
    assert_eq!(std::fs::read_dir(folder.path()).expect("lists").count(), 1);
}

#[test]
fn closed_form_data_on_stdout_leaves_the_text_to_stderr() {
    let demo = profile("retractable-200hp.toml");
    let (status, out, err) = run(&["settings", &demo, "--altitude-ft", "8000", "--csv", "-"]);
    assert_eq!(status, Some(0), "{err}");
    assert!(out.starts_with("pressure_altitude_ft,") && err.contains("Power settings"));
    let (status, out, err) = run(&["glide", &demo, "--json", "-"]);
    assert_eq!(status, Some(0), "{err}");
    assert!(serde_json::from_str::<serde_json::Value>(&out).is_ok() && err.contains("Best-glide"));
    // Same input, same answer.
    assert_eq!(run(&["glide", &demo]), run(&["glide", &demo]));
}

/// One grid as read back: the names of the columns and the rows.
fn grid(args: &[&str]) -> (Vec<String>, Vec<csv::StringRecord>) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("grid.csv");
    let out = path.to_string_lossy();
    let args: Vec<&str> = ["grid"]
        .iter()
        .chain(args)
        .chain(&["--out", &*out])
        .copied()
        .collect();
    let (status, stdout, err) = run(&args);
    assert_eq!(status, Some(0), "{err}");
    assert!(stdout.is_empty() && err.contains("rows"), "{err}");
    let mut reader = csv::Reader::from_path(&path).expect("opens");
    let head = reader
        .headers()
        .expect("a head")
        .iter()
        .map(str::to_owned)
        .collect();
    (
        head,
        reader
            .records()
            .collect::<Result<_, _>>()
            .expect("every row reads"),
    )
}

#[test]
fn crosscheck_grid_reads_back_with_every_column_and_line() {
    let demo = profile("retractable-200hp.toml");
    let (head, rows) = grid(&[
        &demo,
        "--altitude-ft",
        "0..1000",
        "--tas-kt",
        "120..130",
        "--weight-lb",
        "2740,2300.5",
    ]);
    assert_eq!(
        head,
        [
            "pressure_altitude_ft",
            "tas_kt",
            "rpm",
            "map_inhg",
            "mixture",
            "thrust_n",
            "drag_n_2740lb",
            "drag_n_2300.5lb",
            "fuel_flow_gph",
            "shaft_power_hp",
            "blade_angle_deg",
            "governed",
            "allowed",
            "reason",
            "turning_rpm",
            "point",
        ]
    );
    let at = |name: &str| head.iter().position(|h| h == name).expect("a column");
    let mut lines: BTreeMap<String, Vec<(f64, String)>> = BTreeMap::new();
    let [mut altitudes, mut speeds] = [const { std::collections::BTreeSet::new() }; 2];
    for r in &rows {
        for name in [
            "pressure_altitude_ft",
            "tas_kt",
            "rpm",
            "map_inhg",
            "thrust_n",
            "drag_n_2740lb",
            "fuel_flow_gph",
            "shaft_power_hp",
            "blade_angle_deg",
            "turning_rpm",
        ] {
            let x: f64 = r[at(name)].parse().expect("a number");
            assert!(x.is_finite(), "{name}");
        }
        assert_eq!(&r[at("allowed")] == "true", r[at("reason")].is_empty());
        altitudes.insert(r[at("pressure_altitude_ft")].to_owned());
        speeds.insert(r[at("tas_kt")].to_owned());
        let key = [0, 1, 2, 4].map(|i| &r[i]).join(" ");
        let map = r[at("map_inhg")].parse().expect("a number");
        lines
            .entry(key)
            .or_default()
            .push((map, r[at("point")].to_owned()));
    }
    // Steps of 500 ft and 5 kt; 1,500 to 2,700 rpm by 100; four mixtures.
    assert_eq!(altitudes.len(), 3);
    assert_eq!(speeds.len(), 3);
    assert_eq!(lines.len(), 3 * 3 * 13 * 4);
    for (key, line) in &lines {
        assert_eq!(
            line.iter().filter(|p| p.1 == "full_throttle").count(),
            1,
            "{key}"
        );
        // Half an inch at most from one row to the next, from 15 in on.
        assert!((line[0].0 - 15.0).abs() < 1e-6, "{key}");
        assert!(
            line.windows(2)
                .all(|w| w[1].0 > w[0].0 && w[1].0 - w[0].0 < 0.5 + 1e-6),
            "{key}"
        );
        // The profile's line: 24 in at 2,000, 26 at 2,200, 28 at 2,400, 30 at 2,700 rpm; full throttle is near 29 to 30 in here.
        let rpm: f64 = key
            .split(' ')
            .nth(2)
            .and_then(|t| t.parse().ok())
            .expect("an RPM");
        let limit = line.iter().find(|p| p.1 == "limit_line");
        if rpm <= 2_400.0 {
            let expected = match rpm {
                r if r <= 2_000.0 => 24.0,
                r => 24.0 + (r - 2_000.0) / 100.0,
            };
            let found = limit.map_or(f64::NAN, |p| p.0);
            assert!((found - expected).abs() < 1e-5, "{key}: {found}");
        } else if rpm == 2_700.0 {
            assert!(limit.is_none(), "{key}");
        }
    }
}

#[test]
fn closed_form_grid_of_one_weight_names_drag_plainly() {
    let trainer = profile("trainer-160hp.toml");
    let (head, rows) = grid(&[
        &trainer,
        "--altitude-ft",
        "4000",
        "--tas-kt",
        "100",
        "--mixture",
        "full rich",
    ]);
    assert!(head.contains(&"drag_n".to_owned()));
    let at = |name: &str| head.iter().position(|h| h == name).expect("a column");
    // Fixed pitch: what is set turns; the last row is full throttle.
    assert!(rows.len() > 3, "{}", rows.len());
    for r in &rows {
        assert_eq!(r[at("rpm")], r[at("turning_rpm")]);
    }
    assert_eq!(rows.last().map(|r| &r[at("point")]), Some("full_throttle"));
}
