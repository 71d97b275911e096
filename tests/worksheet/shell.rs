//! `worksheet` as the shell sees it: sheet, key, form, marks, and what is refused.

use super::profile_path;
use assert_cmd::Command;
use serde_json::{Value, json};
use std::path::Path;

fn run(folder: &Path, args: &[&str]) -> (Option<i32>, String, String) {
    let out = Command::cargo_bin("fellrun")
        .expect("the binary of this crate")
        .current_dir(folder)
        .arg("worksheet")
        .args(args)
        .output()
        .expect("starts");
    let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

fn read(folder: &Path, name: &str) -> Value {
    let text = std::fs::read_to_string(folder.join(name)).expect("reads");
    serde_json::from_str(&text).expect("JSON")
}

#[test]
fn closed_form_a_sheet_is_written_answered_and_marked() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path();
    let args = [
        "--topic",
        "tod,wind,levels",
        "--rules",
        "icao",
        "--seed",
        "7",
        "--count",
        "9",
        "--out",
        "s.md",
        "--out",
        "s.html",
        "--out",
        "s.json",
        "--key",
        "k.md",
        "--key",
        "k.html",
        "--key",
        "k.json",
        "--form",
        "a.json",
        "--json",
        "all.json",
    ];
    let (code, out, err) = run(folder, &args);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    let sheet = std::fs::read_to_string(folder.join("s.md")).expect("reads");
    assert_eq!(out, sheet);
    assert_eq!(run(folder, &args).1, out, "the same again");
    let (student, key) = (read(folder, "s.json"), read(folder, "k.json"));
    let exercises = key["exercises"].as_array().expect("a list");
    assert_eq!(exercises.len(), 9);
    for (e, s) in exercises
        .iter()
        .zip(student["exercises"].as_array().expect("a list"))
    {
        assert!(e["key"]["answer"]["value"].is_number() && s["key"].is_null());
        assert_eq!(e["question"], s["question"]);
        assert!(sheet.contains(e["question"].as_str().expect("text")));
    }
    // Right answers but the second, which misses by more than its tolerance, and the last, which is not given.
    let mut form = read(folder, "a.json");
    assert_eq!(form["rules"], "icao");
    assert!(sheet.contains("ICAO and SERA") && !sheet.contains("US "));
    for (i, e) in exercises.iter().enumerate() {
        let (value, tolerance) = (
            e["key"]["answer"]["value"].as_f64().expect("a number"),
            e["key"]["tolerance"].as_f64().expect("a number"),
        );
        form["answers"][i]["value"] = match i {
            1 => json!(value + 1.5 * tolerance + 1.0),
            2 => json!(value - 0.9 * tolerance),
            8 => Value::Null,
            _ => json!(value),
        };
    }
    std::fs::write(folder.join("a.json"), form.to_string()).expect("writes");
    let (code, out, err) = run(folder, &["--mark", "a.json", "--json", "m.json"]);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    let marks = read(folder, "m.json");
    assert_eq!(
        [&marks["right"], &marks["wrong"], &marks["not_answered"]],
        [&json!(7), &json!(1), &json!(1)]
    );
    assert!(out.contains("7 of 9 right"), "{out}");
    let step = exercises[1]["key"]["steps"][0].as_str().expect("text");
    let words: Vec<&str> = out.split_whitespace().collect();
    assert!(words.join(" ").contains(step), "{out}");
    assert_eq!(
        marks["marks"][8]["exercise"]["key"],
        Value::Null,
        "no answer is given away"
    );
    for line in out.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    // An answer left out altogether counts as not given.
    form["answers"].as_array_mut().expect("a list").truncate(3);
    std::fs::write(folder.join("a.json"), form.to_string()).expect("writes");
    assert!(
        run(folder, &["--mark", "a.json"])
            .1
            .contains("2 of 9 right")
    );
    // check knows the file.
    let out = Command::cargo_bin("fellrun")
        .expect("the binary of this crate")
        .args(["check", "a.json"])
        .current_dir(folder)
        .output()
        .expect("starts");
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(
        text.contains("answers to a worksheet: 3 of 9 exercises on tod,wind,levels answered"),
        "{text}"
    );
}

#[test]
fn closed_form_a_sheet_of_another_aircraft_is_marked_by_its_profile() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path();
    let trainer = profile_path("trainer-160hp");
    let trainer = trainer.to_string_lossy();
    let (code, _, err) = run(
        folder,
        &[
            "--profile",
            &trainer,
            "--topic",
            "settings",
            "--count",
            "3",
            "--form",
            "a.json",
        ],
    );
    assert_eq!((code, err.as_str()), (Some(0), ""));
    assert!(
        run(folder, &["--mark", "a.json"])
            .1
            .contains("0 of 3 right, 0 wrong, 3 without")
    );
    // With another profile it is another sheet.
    let demo = profile_path("retractable-285hp");
    let (code, out, err) = run(
        folder,
        &["--mark", "a.json", "--profile", &demo.to_string_lossy()],
    );
    assert_eq!((code, out.as_str()), (Some(1), ""));
    assert!(
        err.contains("a.json: sheet = ") && err.contains("hint: "),
        "{err}"
    );
}

#[test]
fn closed_form_wrong_input_exits_1_says_why_and_touches_nothing() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path();
    let trainer = profile_path("trainer-160hp");
    let trainer = trainer.to_string_lossy();
    let files = [
        ("text.json", "no JSON"),
        (
            "key.json",
            "{\"topic\": \"tod\", \"grade\": \"easy\", \"seed\": 1, \"count\": 1, \"answers\": [], \"colour\": 3}",
        ),
        (
            "twice.json",
            "{\"topic\": \"tod\", \"grade\": \"easy\", \"seed\": 1, \"count\": 2, \"answers\": [\n{\"number\": 1, \"value\": 2},\n{\"number\": \
             1, \"value\": 3}]}",
        ),
        (
            "third.json",
            "{\"topic\": \"tod\", \"grade\": \"easy\", \"seed\": 1, \"count\": 2, \"answers\": [\n{\"number\": 3, \"value\": 2}]}",
        ),
        (
            "topic.json",
            "{\"topic\": \"tod,tea\", \"grade\": \"easy\", \"seed\": 1, \"count\": 2, \"answers\": []}",
        ),
        (
            "many.json",
            "{\"topic\": \"tod\", \"grade\": \"easy\", \"seed\": 1, \"count\": 200, \"answers\": []}",
        ),
        (
            "minus.json",
            "{\"topic\": \"tod\", \"grade\": \"easy\", \"seed\": -1, \"count\": 2, \"answers\": []}",
        ),
    ];
    for (name, text) in files {
        std::fs::write(folder.join(name), text).expect("writes");
    }
    for (args, words) in [
        (
            &["--topic", "tea"][..],
            &["--topic \"tea\"", "there are tod, rate"][..],
        ),
        (&["--rules", "lunar"], &["--rules \"lunar\"", "us and icao"]),
        (
            &["--grade", "extreme"],
            &["--grade \"extreme\"", "easy, medium and hard"],
        ),
        (&["--count", "0"], &["--count 0", "1..=60"]),
        (&["--count", "61"], &["--count 61", "1..=60"]),
        (&["--profile", "/none.toml"], &["none.toml"]),
        (
            &["--profile", &trainer, "--topic", "rpm", "--out", "x.md"],
            &["topic rpm", "fixed-pitch"],
        ),
        (&["--out", "x.pdf"], &["--out x.pdf", ".html"]),
        (&["--key", "x"], &["--key x", ".md"]),
        (&["--mark", "none.json"], &["none.json"]),
        (
            &["--mark", "text.json"],
            &["text.json:1", "not answers", "--form"],
        ),
        (&["--mark", "key.json"], &["key.json:1", "colour"]),
        (
            &["--mark", "twice.json"],
            &["twice.json:3", "answers[2].number = 1", "twice"],
        ),
        (
            &["--mark", "third.json"],
            &["third.json:2", "answers[1].number = 3", "1 to 2"],
        ),
        (&["--mark", "topic.json"], &["topic.json: topic", "tea"]),
        (
            &["--mark", "many.json"],
            &["many.json: count 200", "1..=60"],
        ),
        (&["--mark", "minus.json"], &["minus.json:1", "-1"]),
        (
            &["--mark", "topic.json", "--seed", "3"],
            &["--mark", "--seed"],
        ),
    ] {
        let (code, out, err) = run(folder, args);
        assert_eq!((code, out.as_str()), (Some(1), ""), "{args:?}: {err}");
        for w in words {
            assert!(err.contains(w), "{args:?}: no {w:?} in {err}");
        }
    }
    let left = std::fs::read_dir(folder).expect("lists").count();
    assert_eq!(left, files.len());
}

/// Every cut of a form, and every byte of it replaced, is read or refused, never worse.
#[test]
fn closed_form_damaged_answers_never_panic() {
    use fellrun::files::answers::parse_answers;
    let text = "{\"profile\": \"é.toml\", \"topic\": \"tod\", \"grade\": \"easy\", \"seed\": 1, \"count\": 2, \"sheet\": \"0f\",\n\
                \"answers\": [{\"number\": 1, \"value\": 2.5},\n{\"number\": 2, \"value\": null}]}";
    let path = Path::new("answers.json");
    assert_eq!(
        parse_answers(text, path).expect("whole").answers[0].value,
        Some(2.5)
    );
    let (mut refused, mut tried) = (0, 0);
    for (at, _) in text.char_indices() {
        for middle in ["", "é", "9", "\"", "}", "1e999", "\n"] {
            let rest = text[at..].chars().next().map_or(0, char::len_utf8) + at;
            for damaged in [
                format!("{}{middle}{}", &text[..at], &text[rest..]),
                format!("{}{middle}", &text[..at]),
            ] {
                tried += 1;
                if let Err(e) = parse_answers(&damaged, path) {
                    assert!(e.to_string().starts_with("answers.json:"), "{e}");
                    refused += 1;
                }
            }
        }
    }
    assert!(refused > tried / 2, "{refused} of {tried}");
}
