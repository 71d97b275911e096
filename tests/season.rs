//! `fellrun season`: its sums against single plans, its money against a closed form, stopped and gone on, and what it says of input that does not
//! work.

use crate::command::{PROFILE, WINDS, fellrun, json, number, printed, refused, root, written};
use fellrun::aircraft::Throttle;
use fellrun::files::trip::load_trip;
use fellrun::flight::{PathRule, SegmentKind, fly_recorded};
use fellrun::quantity::{M_PER_FT, M_S_PER_FPM};
use fellrun::reflight::{Mismatch, refly};
use fellrun::solve::{Usual, usual_flight};
use fellrun::trip::resolve;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Stdio;

/// Two short trips, there and back.
const LOG: &str =
    "times,from,to,fuel_gal,minimum_altitude_ft\n3,KBOI,KBNO,50,8500\n2.5,KBNO,KBOI,40,8500\n";
const COSTS: [&str; 10] = [
    "--hourly",
    "95",
    "--fuel-price",
    "6.5",
    "--basis",
    "tachometer",
    "--overhaul",
    "25",
    "--own-time",
    "30",
];

/// A season of the log; more options after it.
fn season<'a>(log: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let mut args = vec!["season", log, "--profile", PROFILE];
    args.extend(COSTS);
    args.extend(more);
    args
}

fn in_folder(folder: &Path, name: &str) -> String {
    folder.join(name).to_string_lossy().into_owned()
}

fn rows(path: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::Reader::from_path(path).expect("written");
    reader.records().map(|r| r.expect("a row")).collect()
}

#[test]
fn closed_form_a_year_is_the_sum_of_its_flights() {
    // The CSV has every flight; its money and the year are made again here from time, fuel and tachometer alone.
    // Figures are written to a millionth of a unit: half of that of a tachometer hour at 120, in 5.5 flights, is 3.3e-4.
    const WRITTEN: f64 = 5e-4;
    let folder = tempfile::tempdir().expect("a folder");
    let log = written(folder.path(), "log.csv", LOG);
    let log = log.to_str().expect("UTF-8");
    let (csv, out, chart) = (
        in_folder(folder.path(), "f.csv"),
        in_folder(folder.path(), "f.json"),
        in_folder(folder.path(), "f.svg"),
    );
    let more = [
        "--draw", "2", "--csv", &csv, "--json", &out, "--chart", &chart,
    ];
    let text = printed(&season(log, &more));
    assert!(
        text.starts_with("Season: what a year of trips takes; advice"),
        "{text}"
    );
    assert!(text.contains("Cautions"), "{text}");
    for line in text.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    let figures: Value = serde_json::from_slice(&fs::read(&out).expect("written")).expect("JSON");
    let cell = |r: &csv::StringRecord, i: usize| -> f64 { r[i].parse().expect("a number") };
    let all = rows(&csv);
    // Two trips, two winds, four policies.
    assert_eq!(all.len(), 16);
    let mut years = [[0.0; 6]; 4];
    for r in &all {
        let (time, block, fuel, tach) = (cell(r, 4), cell(r, 5), cell(r, 6), cell(r, 7));
        // Taxi of the profile: 8 min.
        assert!((block - time - 8.0).abs() < WRITTEN);
        let paid = (95.0 + 25.0) * tach + 6.5 * fuel;
        assert!((cell(r, 8) - paid).abs() < WRITTEN, "{r:?}");
        assert!((cell(r, 9) - 30.0 * block / 60.0).abs() < WRITTEN);
        let policy = ["as_usual", "least_time", "least_fuel", "least_money"]
            .iter()
            .position(|p| *p == &r[3])
            .expect("a policy");
        let values = [
            fuel,
            block / 60.0,
            time / 60.0,
            tach,
            paid,
            paid + cell(r, 9),
        ];
        for (year, value) in years[policy].iter_mut().zip(values) {
            // The mean of two winds.
            *year += cell(r, 1) * value / 2.0;
        }
    }
    let keys = [
        "fuel_gal",
        "clock_h",
        "airborne_h",
        "tachometer_h",
        "cost",
        "cost_with_own_time",
    ];
    for (p, year) in years.iter().enumerate() {
        for (key, value) in keys.iter().zip(year) {
            let mean = number(&figures, &format!("/policies/{p}/year/{key}/mean"));
            assert!((mean - value).abs() < WRITTEN, "{p} {key}: {mean} {value}");
        }
    }
    // Each policy is the best of all four in its own quantity: lever changes are charged 0.1 % each, and there are a few.
    const MOVES: f64 = 5e-3;
    for (p, k) in [(1, 2), (2, 0), (3, 5)] {
        for other in &years {
            assert!(years[p][k] < other[k] * (1.0 + MOVES), "{p}");
        }
    }
    // And something is saved.
    assert!(years[1][2] < years[0][2] && years[2][0] < years[0][0] && years[3][5] < years[0][5]);
    let drawing = fs::read_to_string(&chart).expect("written");
    for word in ["<svg", "least money", "Advisory only."] {
        assert!(drawing.contains(word), "{word}");
    }
}

#[test]
fn crosscheck_a_year_against_single_plans() {
    // Source: `fellrun plan` of the same trip in the same bulletin, one by one, weighted by hand. A plan may take over one of its alternatives, which
    // the season does not look for, and the season the flight of another policy.
    const APART: f64 = 3e-3;
    const OTHER: &str = "examples/weather/FBUS31_FD1US1_2026-04-15_151359Z.txt";
    let folder = tempfile::tempdir().expect("a folder");
    let log = written(folder.path(), "log.csv", LOG);
    let log = log.to_str().expect("UTF-8");
    let costs = ["--hourly", "120", "--fuel-price", "6.5"];
    let mut args = vec!["season", log, "--profile", PROFILE, "--winds", WINDS, OTHER];
    args.extend(costs);
    let year = json(&args);
    let trips = [("KBOI", "KBNO", "50", 3.0), ("KBNO", "KBOI", "40", 2.5)];
    let winds = [(WINDS, "2026-01-31T12:00Z"), (OTHER, "2026-04-15T18:00Z")];
    for (policy, objective, totals, key) in [
        (1, "time", "/totals/block_time_min", "clock_h"),
        (2, "fuel", "/totals/block_fuel_gal", "fuel_gal"),
        (3, "money", "/totals/cost", "cost"),
    ] {
        let mut sum = 0.0;
        for (from, to, fuel, times) in trips {
            for (file, depart) in winds {
                let mut plan = vec!["plan", "--profile", PROFILE, "--from", from, "--to", to];
                plan.extend(["--fuel", fuel, "--winds", file, "--depart", depart]);
                plan.extend(["--minimum-altitude", "8500", "--objective", objective]);
                plan.extend(costs);
                sum += times * number(&json(&plan), totals) / 2.0;
            }
        }
        let unit = if policy == 1 { 1.0 / 60.0 } else { 1.0 };
        let mean = number(&year, &format!("/policies/{policy}/year/{key}/mean"));
        assert!(
            (mean / (unit * sum) - 1.0).abs() < APART,
            "{objective}: {mean} {}",
            unit * sum
        );
    }
}

#[test]
fn closed_form_stopped_anywhere_and_gone_on_it_is_the_same() {
    let folder = tempfile::tempdir().expect("a folder");
    let log = written(folder.path(), "log.csv", LOG);
    let log = log.to_str().expect("UTF-8");
    let results = in_folder(folder.path(), "results.csv");
    let out = in_folder(folder.path(), "f.json");
    let csv = in_folder(folder.path(), "f.csv");
    let plain = ["--draw", "2", "--json", &out, "--csv", &csv];
    let answer = |more: &[&str]| {
        let mut all = plain.to_vec();
        all.extend(more);
        let text = printed(&season(log, &all));
        (
            text,
            fs::read(&out).expect("written"),
            fs::read(&csv).expect("written"),
        )
    };
    let kept = ["--results", results.as_str()];
    let whole = answer(&["--threads", "1"]);
    assert_eq!(
        answer(&["--threads", "3", kept[0], kept[1]]),
        whole,
        "threads"
    );
    let text = fs::read_to_string(&results).expect("written");
    assert_eq!(text.lines().count(), 6, "{text}");
    // Every whole line, with half of the next.
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    for n in 0..lines.len() {
        let half = &lines[n][..lines[n].len() / 2];
        fs::write(&results, lines[..n].concat() + half).expect("writes");
        assert_eq!(answer(&kept), whole, "{n} lines");
        assert_eq!(
            fs::read_to_string(&results).expect("reads").lines().count(),
            6
        );
    }
    // All of it known: nothing is flown, and it says so. How often a year a trip is flown is no input of the flights.
    let twice = LOG.replace("\n3,", "\n6,");
    fs::write(log, twice).expect("writes");
    let (status, _, told) = fellrun(&season(log, &["--draw", "2", "--results", &results]));
    assert_eq!(status, Some(0), "{told}");
    assert!(told.contains("4 of 4 flown before"), "{told}");
    // Other inputs are refused, and the file stays.
    let before = fs::read(&results).expect("reads");
    for more in [
        ["--draw", "3"],
        ["--seed", "2"],
        ["--usual-power", "60"],
        ["--usual-level", "9500"],
    ] {
        let mut all = season(log, &kept);
        if more[0] != "--draw" {
            all.extend(["--draw", "2"]);
        }
        all.extend(more);
        refused(
            &all,
            &[
                "results of other inputs",
                "hint: give --results another path",
            ],
        );
    }
    assert_eq!(fs::read(&results).expect("reads"), before);
    refused(
        &season(log, &["--results", log]),
        &["no results file of a season"],
    );
}

#[test]
fn closed_form_killed_and_gone_on_it_is_the_same() {
    let folder = tempfile::tempdir().expect("a folder");
    let log = written(folder.path(), "log.csv", LOG);
    let log = log.to_str().expect("UTF-8");
    let results = in_folder(folder.path(), "results.csv");
    let args = season(log, &["--draw", "3", "--threads", "1"]);
    let mut kept = args.clone();
    kept.extend(["--results", &results]);
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin!("fellrun"))
        .args(&kept)
        .current_dir(root())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("starts");
    // Until the head and a trip are there; or it has ended, as it should not have.
    let mut lines = 0;
    while lines < 3 && child.try_wait().expect("can be asked").is_none() {
        std::thread::sleep(std::time::Duration::from_millis(5));
        lines = fs::read_to_string(&results).map_or(0, |t| t.lines().count());
    }
    child.kill().expect("can be killed");
    child.wait().expect("ends");
    let known = fs::read_to_string(&results)
        .expect("written")
        .lines()
        .count();
    assert!((3..8).contains(&known), "{known} lines when it was killed");
    assert_eq!(printed(&kept), printed(&args));
}

#[test]
fn closed_form_what_cannot_be_flown_is_counted_and_said() {
    let folder = tempfile::tempdir().expect("a folder");
    // 14 gal take the second trip nowhere with the reserve; the first is flown.
    let text =
        "times,from,to,fuel_gal,minimum_altitude_ft\n3,KBOI,KBNO,50,8500\n9,KBNO,KPIH,14,8500\n";
    let log = written(folder.path(), "log.csv", text);
    let log = log.to_str().expect("UTF-8");
    let out = in_folder(folder.path(), "f.json");
    let told = printed(&season(log, &["--draw", "1", "--json", &out]));
    // One wind is one and has no spread; trips that do not count are not counted.
    let in_one_line = told.split_whitespace().collect::<Vec<_>>().join(" ");
    let head = "1 of 2 trips flown, 3 flights a year, 1 wind: drawn by seed 1";
    assert!(in_one_line.contains(head), "{told}");
    assert!(
        !told.contains("P10") && !told.contains("own winds"),
        "{told}"
    );
    assert!(
        told.contains("Not flown") && told.contains("KBNO to KPIH, drawn 1: "),
        "{told}"
    );
    let figures: Value = serde_json::from_slice(&fs::read(&out).expect("written")).expect("JSON");
    assert_eq!(number(&figures, "/flights_a_year"), 3.0);
    assert_eq!(number(&figures, "/trips/1/flown_in"), 0.0);
    assert_eq!(figures["trips"][1]["not_flown"][0]["wind"], "drawn 1");
    let why = figures["trips"][1]["not_flown"][0]["why"].as_str();
    assert!(why.is_some_and(|w| w.contains("fuel")), "{why:?}");
    let alone = written(
        folder.path(),
        "alone.csv",
        text.replace("3,KBOI,KBNO,50,8500\n", ""),
    );
    let alone = alone.to_str().expect("UTF-8");
    refused(&season(alone, &["--draw", "1"]), &["no trip of", "fuel"]);
}

#[test]
fn closed_form_errors_of_the_season_touch_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let none = in_folder(folder.path(), "none.svg");
    let results = in_folder(folder.path(), "none.csv");
    let log = written(folder.path(), "log.csv", LOG);
    let log = log.to_str().expect("UTF-8");
    let bad = written(
        folder.path(),
        "bad.csv",
        LOG.replace("KBNO,50", "NOWHERE,50"),
    );
    let bad = bad.to_str().expect("UTF-8");
    for (args, words) in [
        (vec!["season", "none.csv"], &["none.csv"][..]),
        (vec!["season", log], &["--profile"]),
        (
            vec!["season", log, "--profile", PROFILE, "--chart", &none],
            &["has no prices", "--wet-rate"],
        ),
        (season(bad, &["--chart", &none]), &["bad.csv", "NOWHERE"]),
        (season(log, &["--chart", "f.pdf"]), &[".svg or .png"]),
        (
            season(log, &["--usual-power", "5"]),
            &["--usual-power", "20..=100"],
        ),
        (season(log, &["--usual-mixture", "thin"]), &["peak EGT"]),
        (
            season(log, &["--winds", log, "--results", &results]),
            &["looks like a log of a season, where a bulletin of winds aloft belongs"],
        ),
        (season(log, &["--climate", log]), &["no column"]),
        (season(log, &["--winds", WINDS, "--seed", "3"]), &["--seed"]),
        (season(log, &["--wet-rate", "150"]), &["--wet-rate"]),
        (
            vec!["season", log, "--profile", PROFILE, "--basis", "clock"],
            &["--basis"],
        ),
        (season(log, &["--threads", "0"]), &["--threads"]),
    ] {
        refused(&args, words);
    }
    assert!(!Path::new(&none).exists() && !Path::new(&results).exists());
}

#[test]
fn crosscheck_the_usual_flight_is_flown_as_said() {
    // Half an inch of manifold pressure is about 2.5 % of rated power: the nearest is within half of that, and within it all the way, in which the
    // aeroplane grows lighter and faster.
    const POWER: f64 = 0.02;
    let file = load_trip(&root().join("examples/first-trip.toml"), None).expect("reads");
    let problem = resolve(&file.trip, file.aircraft).expect("fits");
    let way = Usual {
        power_fraction: 0.55,
        rev_s: 2_400.0 / 60.0,
        mixture: Some("peak egt".to_owned()),
        level_m: 9_600.0 * M_PER_FT,
        climb_m_s: None,
        descent_m_s: 500.0 * M_S_PER_FPM,
    };
    let at = |power_fraction: f64| {
        let way = Usual {
            power_fraction,
            ..way.clone()
        };
        let flown = usual_flight(&problem, &way).expect("can be flown");
        fly_recorded(&problem, &flown.script).expect("can be flown")
    };
    let flown = at(0.55);
    // Eastbound by 14 CFR 91.159: odd thousands and 500 ft.
    let cruise = flown.script.cruise.clone();
    assert_eq!(cruise.len(), 1);
    assert!((cruise[0].level_m - 9_500.0 * M_PER_FT).abs() < 0.1);
    assert!((cruise[0].rev_s - 40.0).abs() < 1e-9);
    assert_eq!(
        problem.aircraft.engine.spec.mixtures[cruise[0].mixture].name,
        "peak EGT"
    );
    assert!(matches!(cruise[0].throttle, Throttle::Map(_)));
    let powers: Vec<f64> = flown
        .segments
        .iter()
        .filter(|s| s.kind == SegmentKind::Cruise)
        .flat_map(|s| &flown.track[s.first..=s.last])
        .map(|t| t.power_fraction)
        .collect();
    assert!(powers.len() > 5);
    for power in &powers {
        assert!((power - 0.55).abs() < POWER, "{power}");
    }
    assert_eq!(
        flown.script.descent.first.path,
        PathRule::Rate(500.0 * M_S_PER_FPM)
    );
    assert!((flown.script.descent.first.rev_s - 40.0).abs() < 1e-9);
    // The independent integrator flies the same.
    let again = refly(&problem, &flown.script).expect("can be re-flown");
    let mismatch = Mismatch::between(&problem, &flown, &again);
    assert!(
        mismatch.within_bounds(problem.aircraft.fuel.density_kg_m3),
        "{mismatch:?}"
    );
    // Less power takes longer.
    assert!(at(0.50).time_s > flown.time_s);
}
