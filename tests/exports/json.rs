//! JSON against the published schema.

use super::{TRIP, exported, rows};
use crate::command::{PROFILE, printed, typed};
use serde_json::Value;

fn schema(of: &str) -> (jsonschema::Validator, Value) {
    let schema: Value = serde_json::from_str(&printed(&["schema", of])).expect("JSON");
    assert!(
        jsonschema::meta::is_valid(&schema),
        "the schema of {of} is no schema"
    );
    let validator = jsonschema::validator_for(&schema).expect("a schema");
    (validator, schema)
}

fn json_of(args: &[&str]) -> Value {
    let mut all = args.to_vec();
    all.extend(["--json", "-"]);
    serde_json::from_str(&printed(&all)).expect("JSON")
}

#[test]
fn crosscheck_the_plans_of_every_profile_and_objective_fit_the_schema() {
    // Source: JSON Schema draft 2020-12 as the jsonschema crate reads it.
    let (plan, _) = schema("plan");
    let mut seen = 0;
    let mut fits = |json: &Value, what: &str| {
        let errors: Vec<String> = plan
            .iter_errors(json)
            .map(|e| format!("{}: {e}", e.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{what}: {errors:#?}");
        seen += 1;
    };
    for objective in ["time", "fuel", "money"] {
        let json = json_of(&["plan", TRIP, "--objective", objective]);
        fits(&json, objective);
    }
    for name in [
        "retractable-285hp",
        "turbo-retractable-300hp",
        "trainer-160hp",
        "twin-200hp",
    ] {
        let path = format!("profiles/{name}.toml");
        let json = json_of(&typed(&[
            "--profile",
            &path,
            "--to",
            "KBOI",
            "--fuel",
            "least",
        ]));
        fits(&json, name);
    }
    // in flight, an alternate, later departures: keys that other plans do not have
    let more = [
        "--at-altitude",
        "9500",
        "--at-ias",
        "130",
        "--alternate",
        "KTWF",
        "--leave",
    ];
    let in_flight = json_of(&typed(&more));
    fits(&in_flight, "in flight");
    let kinds: Vec<&Value> = rows(&in_flight, "marks")
        .iter()
        .map(|m| &m["kind"])
        .collect();
    assert!(
        kinds[0] == "start" && !kinds.contains(&&"departure".into()),
        "{kinds:?}"
    );
    assert_eq!(seen, 8);
}

#[test]
fn crosscheck_other_json_fits_its_schema() {
    let season = [
        "season",
        "examples/season.csv",
        "--profile",
        PROFILE,
        "--draw",
        "1",
        "--wet-rate",
        "150",
    ];
    let runs: [(&str, &[&str]); 7] = [
        ("season", &season),
        ("winds", &["winds", TRIP]),
        ("frontier", &["frontier", TRIP]),
        ("spread", &["spread", TRIP, "--samples", "5"]),
        ("compare", &["compare", TRIP, "--profile", "trainer-160hp"]),
        ("settings", &["settings", PROFILE]),
        ("glide", &["glide", PROFILE]),
    ];
    for (of, args) in runs {
        let (validator, _) = schema(of);
        let json = json_of(args);
        let errors: Vec<String> = validator
            .iter_errors(&json)
            .map(|e| e.to_string())
            .collect();
        assert!(errors.is_empty(), "{of}: {errors:#?}");
        // and no other's
        assert!(!schema("plan").0.is_valid(&json), "{of} passes for a plan");
    }
}

#[test]
fn crosscheck_spoiled_json_is_refused() {
    let (plan, _) = schema("plan");
    let (json, _) = exported();
    assert!(plan.is_valid(json));
    let spoiled = |spoil: &dyn Fn(&mut Value)| {
        let mut json = json.clone();
        spoil(&mut json);
        assert_ne!(json, exported().0, "nothing was spoiled");
        assert!(!plan.is_valid(&json), "still valid");
    };
    spoiled(&|j| j["totals"]["time_min"] = "long".into());
    spoiled(&|j| j["track"][0]["latitude_deg"] = Value::Null);
    spoiled(&|j| j["marks"] = Value::Null);
    spoiled(&|j| j["lever_card"][0]["group"] = "taxi".into());
    spoiled(&|j| j["flights"] = (-1).into());
    spoiled(&|j| {
        let totals = j["totals"].as_object_mut().expect("an object");
        totals.remove("fuel_gal");
    });
    spoiled(&|j| j["totals"]["time_h"] = 1.0.into());
}

#[test]
fn closed_form_every_key_of_the_schema_is_described() {
    fn walk(schema: &Value, at: &str, seen: &mut usize) {
        if let Some(properties) = schema["properties"].as_object() {
            for (key, property) in properties {
                assert!(
                    property["description"].is_string(),
                    "{at}/{key} is not described"
                );
                *seen += 1;
            }
        }
        for (key, inner) in schema.as_object().into_iter().flatten() {
            walk(inner, &format!("{at}/{key}"), seen);
        }
    }
    let mut seen = 0;
    walk(&schema("plan").1, "", &mut seen);
    assert!(seen > 150, "only {seen} keys");
}
