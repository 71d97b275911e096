//! `plan --as-flown`: notes of a flight beside its plan. Notes made of the plan itself have no error, shifted notes have the shift, and the
//! rows for `fit` give back the aeroplane that the plan was flown with.

use crate::command::{PROFILE, fellrun, number, printed, refused, root, written};
use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::OnceLock;

/// The first demo trip.
const TRIP: &str = "examples/first-trip.toml";
/// Figures of the JSON are rounded to a millionth; differences of two of them, min and gal.
const ROUNDED: f64 = 5e-6;
/// Speeds over a leg of ten minutes and more from such times, kt.
const ROUNDED_KT: f64 = 1e-4;

/// The plan that notes are made of.
fn plan() -> &'static Value {
    static PLAN: OnceLock<Value> = OnceLock::new();
    PLAN.get_or_init(|| {
        serde_json::from_str(&printed(&["plan", TRIP, "--json", "-"])).expect("JSON")
    })
}

fn marks() -> &'static Vec<Value> {
    plan()["marks"].as_array().expect("marks")
}

fn name(mark: &Value) -> &str {
    mark["name"].as_str().expect("a name")
}

/// The point of the track just before a mark: the setting that was flown up to there.
fn before(mark: &Value) -> &'static Value {
    let track = plan()["track"].as_array().expect("a track");
    let at = number(mark, "/distance_nm");
    let earlier = |p: &&Value| number(p, "/distance_nm") < at - 1e-3;
    track.iter().rfind(earlier).unwrap_or(&track[0])
}

/// Notes at every mark, with time and fuel of the plan changed.
fn notes(time_min: impl Fn(&Value) -> f64, fuel_gal: impl Fn(&Value) -> f64) -> String {
    let mut text = "place,elapsed_min,fuel_left_gal\n".to_owned();
    for m in marks() {
        let _ = writeln!(text, "{},{},{}", name(m), time_min(m), fuel_gal(m));
    }
    text
}

fn minutes(m: &Value) -> f64 {
    number(m, "/time_min")
}

fn gallons(m: &Value) -> f64 {
    number(m, "/fuel_left_gal")
}

/// What `--as-flown` makes of notes.
fn flown(notes: &str) -> Value {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = written(folder.path(), "notes.csv", notes);
    let path = path.to_str().expect("UTF-8");
    let text = printed(&["plan", TRIP, "--as-flown", path, "--json", "-"]);
    let json: Value = serde_json::from_str(&text).expect("JSON");
    json["as_flown"].clone()
}

fn legs(flown: &Value) -> &Vec<Value> {
    flown["legs"].as_array().expect("legs")
}

#[test]
fn closed_form_notes_of_the_plan_itself_have_no_error() {
    let flown = flown(&notes(minutes, gallons));
    assert_eq!(legs(&flown).len(), marks().len() - 1);
    for l in legs(&flown) {
        for key in ["/difference_min", "/difference_gal"] {
            assert!(number(l, key).abs() < ROUNDED, "{l}");
        }
        for key in ["/difference_gs_kt", "/difference_wind_kt"] {
            assert!(number(l, key).abs() < 10.0 * ROUNDED_KT, "{l}");
        }
    }
    let all = &flown["total"];
    assert!(number(all, "/difference_min").abs() < ROUNDED);
    assert!((number(all, "/planned_min") - number(plan(), "/totals/time_min")).abs() < ROUNDED);
    assert_eq!(flown["fit_rows"], serde_json::json!([]));
}

#[test]
fn closed_form_shifted_notes_have_the_shift() {
    // Every point after KU76 three minutes late, and two gallons short from TOD on: the leg that ends in the shift has it, the others none.
    let via_nm = number(plan(), "/legs/0/to_nm");
    let late = |m: &Value| {
        let after = number(m, "/distance_nm") > via_nm + 0.001;
        minutes(m) + if after { 3.0 } else { 0.0 }
    };
    let down_nm = number(plan(), "/top_of_descent_nm");
    let short = |m: &Value| {
        let after = number(m, "/distance_nm") > down_nm - 0.001;
        gallons(m) - if after { 2.0 } else { 0.0 }
    };
    let flown = flown(&notes(late, short));
    let mut seen = 0;
    for l in legs(&flown) {
        let shifted = l["from"] == "KU76";
        let (min, gal) = if shifted { (3.0, 2.0) } else { (0.0, 0.0) };
        assert!((number(l, "/difference_min") - min).abs() < ROUNDED, "{l}");
        assert!((number(l, "/difference_gal") - gal).abs() < ROUNDED, "{l}");
        if shifted {
            seen += 1;
            // by hand: distance over time, with and without the three minutes
            let (nm, planned) = (number(l, "/distance_nm"), number(l, "/planned_min"));
            let gs = 60.0 * nm / (planned + 3.0) - 60.0 * nm / planned;
            assert!(
                (number(l, "/difference_gs_kt") - gs).abs() < ROUNDED_KT,
                "{l}"
            );
            // no airspeed was noted: all of it is wind
            assert_eq!(l["difference_tas_kt"], Value::Null);
            assert!(
                (number(l, "/difference_wind_kt") - gs).abs() < ROUNDED_KT,
                "{l}"
            );
        }
    }
    assert_eq!(seen, 1);
    assert!((number(&flown, "/total/difference_min") - 3.0).abs() < ROUNDED);
    assert!((number(&flown, "/total/difference_gal") - 2.0).abs() < ROUNDED);
}

#[test]
fn closed_form_fuel_used_and_times_of_day_say_the_same() {
    let on_board = number(plan(), "/trip/fuel_on_board_gal");
    let mut text = "place,time_utc,fuel_used_gal\n".to_owned();
    for m in marks() {
        let clock = &m["time_utc"].as_str().expect("text")[11..19];
        let _ = writeln!(
            text,
            "{},{clock},{}",
            name(m).to_lowercase(),
            on_board - gallons(m)
        );
    }
    let flown = flown(&text);
    // times are written to the second: an end of a leg is off by half of one at most
    for l in legs(&flown) {
        assert!(
            number(l, "/difference_min").abs() < 1.0 / 60.0 + ROUNDED,
            "{l}"
        );
        assert!(number(l, "/difference_gal").abs() < ROUNDED, "{l}");
    }
    assert!(number(&flown, "/late_min").abs() < 0.5 / 60.0 + ROUNDED);
}

/// Notes in cruise at KU76 and TOD with the settings and readings that were planned, the airspeed more by this.
fn settings(more_kt: f64) -> String {
    let mut text =
        "place,elapsed_min,altitude_ft,oat_c,map_inhg,rpm,mixture,ias_kt,fuel_flow_gph\n"
            .to_owned();
    for m in marks()
        .iter()
        .filter(|m| ["KU76", "TOD"].contains(&name(m)))
    {
        let b = before(m);
        let _ = writeln!(
            text,
            "{},{},{},{},{},{},{},{},{}",
            name(m),
            minutes(m),
            number(m, "/indicated_altitude_ft"),
            number(m, "/temperature_c"),
            number(b, "/map_inhg"),
            number(b, "/rpm"),
            b["mixture"].as_str().expect("a name"),
            number(m, "/ias_kt") + more_kt,
            number(b, "/fuel_flow_gph"),
        );
    }
    text
}

#[test]
fn closed_form_airspeed_noted_in_cruise_is_taken_from_the_wind() {
    // As planned: no difference of true airspeed, so no wind either. TAS by the note goes through the same temperature and pressure.
    const TAS_KT: f64 = 0.02;
    let as_planned = flown(&settings(0.0));
    let last = legs(&as_planned).last().expect("a leg");
    assert_eq!(
        (&last["from"], &last["to"]),
        (&"KU76".into(), &"TOD".into())
    );
    assert!(number(last, "/difference_tas_kt").abs() < TAS_KT, "{last}");
    assert!(number(last, "/difference_wind_kt").abs() < TAS_KT, "{last}");
    // Five knots more indicated with the times of the plan: the wind was from ahead by as much true airspeed. By hand, at low Mach numbers:
    // TAS is IAS over the square root of the density ratio, which compressibility changes by less than 1 % of the five.
    let faster = flown(&settings(5.0));
    let last = legs(&faster).last().expect("a leg");
    let tod = &marks()[3];
    let tas_per_ias = number(before(tod), "/tas_kt") / number(before(tod), "/ias_kt");
    let more = number(last, "/difference_tas_kt");
    assert!(
        (more - 5.0 * tas_per_ias).abs() < 0.1,
        "{more} {tas_per_ias}"
    );
    assert!(
        (number(last, "/difference_wind_kt") + more).abs() < TAS_KT,
        "{last}"
    );
}

/// `fit` on the profile itself with these rows, zero-lift drag free; the fitted figure and the one of the profile.
fn fitted_cd0(rows: &Path) -> (f64, f64) {
    let folder = rows.parent().expect("a folder");
    let profile = std::fs::read_to_string(root().join(PROFILE)).expect("the profile");
    let handbook = format!("rows_csv = \"rows.csv\"\n{profile}\n[fit]\nfree = [\"cd0\"]\n");
    let handbook = written(folder, "handbook.toml", handbook);
    let out = folder.join("fitted.toml");
    let (handbook, out) = (
        handbook.to_str().expect("UTF-8"),
        out.to_str().expect("UTF-8"),
    );
    printed(&["fit", handbook, "--out", out]);
    let cd0 = |text: &str| -> f64 {
        let table: toml::Table = text.parse().expect("TOML");
        table["drag"]["cd0"].as_float().expect("a number")
    };
    (
        cd0(&std::fs::read_to_string(out).expect("was written")),
        cd0(&profile),
    )
}

#[test]
fn crosscheck_rows_of_the_plans_own_cruise_fit_the_aeroplane_it_was_flown_with() {
    // The plan is quasi-steady in cruise and its figures are exact to a millionth, so drag comes back to well under a tenth of a per cent;
    // a knot of airspeed is more than one per cent of drag.
    const DRAG: f64 = 2e-3;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let fitted_to = |text: String| {
        let noted = written(folder.path(), "notes.csv", text);
        let rows = folder.path().join("rows.csv");
        printed(&[
            "plan",
            TRIP,
            "--as-flown",
            noted.to_str().expect("UTF-8"),
            "--fit-rows",
            rows.to_str().expect("UTF-8"),
        ]);
        fitted_cd0(&rows)
    };
    let (fitted, own) = fitted_to(settings(0.0));
    assert!((fitted / own - 1.0).abs() < DRAG, "{fitted} against {own}");
    // faster than planned with the same settings: less drag
    let (faster, own) = fitted_to(settings(3.0));
    assert!(faster < 0.99 * own, "{faster} against {own}");
}

#[test]
fn closed_form_the_sheet_says_what_was_flown() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let text = "place,time_utc\nKBNO,16:10\nKU76,17:05\n# a remark\nKPIH,1801Z\n";
    let path = written(folder.path(), "notes.csv", text);
    let path = path.to_str().expect("UTF-8");
    let sheet = printed(&["plan", TRIP, "--as-flown", path]);
    let part = sheet.split("As flown").nth(1).expect("a chapter");
    for words in [
        "KBNO to KU76",
        "KU76 to KPIH",
        "55.0",
        "56.0",
        "111.0",
        "Without one",
    ] {
        assert!(part.contains(words), "lacks {words:?}:\n{part}");
    }
    let line = printed(&["check", path]);
    assert!(
        line.contains("notes of a flight: 3 notes over 111 min, 0 with fuel"),
        "{line}"
    );
}

#[test]
fn closed_form_what_is_wrong_with_notes_is_said_with_its_place() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let cases: [(&str, &[&str]); 15] = [
        ("", &["there is no line", "place"]),
        ("place,time_utc\n", &["there is no note"]),
        ("place\nKBNO\n", &["there is no column time_utc"]),
        (
            "plac,time_utc\nKBNO,16:10\n",
            &["no column \"plac\"", "did you mean `place`?", ":1:1"],
        ),
        (
            "place,time_utc,elapsed_min\nKBNO,16:10,0\n",
            &["both time_utc and elapsed_min"],
        ),
        (
            "place,elapsed_min,fuel_left_gal,fuel_used_gal\nKBNO,0,1,2\n",
            &["both fuel_left_gal and fuel_used_gal"],
        ),
        (
            "place,time_utc\nKBNO,25:10\n",
            &["time_utc = \"25:10\" is not a time", ":2:6", "16:42"],
        ),
        ("place,time_utc\nKBNO,\n", &["time_utc is empty"]),
        (
            "place,elapsed_min\nKBNO,0\nKU76,0\n",
            &["not after the note before", ":3:6"],
        ),
        (
            "place,elapsed_min\nKU77,50\n",
            &[
                "\"KU77\" is no point of this trip",
                "did you mean KU76?",
                ":2:1",
            ],
        ),
        (
            "place,elapsed_min\nTOD,50\nTOC,60\n",
            &["\"TOC\" comes after TOD", ":3:1"],
        ),
        (
            "place,elapsed_min,rpm\nKU76,50,25000\n",
            &["rpm = 25000 is not in the required range of 300..=4000 rpm"],
        ),
        (
            "place,elapsed_min,mixture\nKU76,50,paek EGT\n",
            &["no mixture of the profile", "did you mean peak EGT?"],
        ),
        (
            "place,elapsed_min,fuel_left_gal\nTOC,10,30\nKU76,50,40\n",
            &["fuel_left_gal = 40.0 gal, but 30.0 gal at the note before"],
        ),
        (
            "place,elapsed_min,fuel_left_gal\nTOC,10,90\n",
            &["more than the 55.0 gal on board"],
        ),
    ];
    for (text, words) in cases {
        let path = written(folder.path(), "notes.csv", text);
        refused(
            &["plan", TRIP, "--as-flown", path.to_str().expect("UTF-8")],
            words,
        );
    }
    // notes without a row for fit, and rows for fit without notes
    let path = written(
        folder.path(),
        "notes.csv",
        "place,elapsed_min\nKU76,50\nKPIH,110\n",
    );
    let rows = folder.path().join("rows.csv");
    let rows = rows.to_str().expect("UTF-8");
    refused(
        &[
            "plan",
            TRIP,
            "--as-flown",
            path.to_str().expect("UTF-8"),
            "--fit-rows",
            rows,
        ],
        &[
            "KU76: no altitude_ft, no oat_c, no map_inhg, no rpm, no mixture, no ias_kt or fuel_flow_gph",
            "KPIH: not in level cruise",
        ],
    );
    assert!(!Path::new(rows).exists());
    let (status, _, err) = fellrun(&["plan", TRIP, "--fit-rows", rows]);
    assert_eq!(status, Some(1));
    assert!(err.contains("--as-flown"), "{err}");
}

#[test]
fn closed_form_damaged_notes_never_panic() {
    // Every cut of good notes, and every byte of them changed: read or refused, never a panic.
    let good = settings(0.0);
    let path = Path::new("notes.csv");
    let mut read = 0;
    for at in 0..good.len() {
        for text in [
            good[..at].to_owned(),
            good.replacen(&good[at..at + 1], "\"", at + 1),
        ] {
            if let Ok(notes) = fellrun::files::notes::parse_notes(&text, path, None) {
                assert!(!notes.is_empty());
                read += 1;
            }
        }
    }
    assert!(read > 10);
}
