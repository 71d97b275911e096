//! What the lever card says, in text, Markdown and HTML.

use super::reading::Way::{Down, Near, Up};
use super::reading::{Must, Text, at, holds, html_text};
use super::{Faces, cruise, in_one_line, list, rough, top_of_climb, top_of_descent};
use serde_json::Value;

/// What every card says, apart from how it lays out the places.
pub(super) fn card(text: &Text, f: &Faces) {
    let (j, volume) = (&f.json, f.units.volume);
    in_one_line(text, f, f.units.card);
    text.says(
        "{} kt more GS: down {} nm earlier",
        &[
            (
                "kt",
                at(j, "/top_of_descent_shift/ground_speed_kt"),
                1.0,
                Near,
            ),
            ("shift", at(j, "/top_of_descent_shift/earlier_nm"), 0.1, Up),
        ],
    );
    rough(text, j);
    for (i, _) in list(j, "/if_late/starts").iter().enumerate() {
        let past = at(j, &format!("/if_late/starts/{i}/past_nm"));
        text.says(
            &format!(" {past:.0} nm late, {{}} to go"),
            &[(
                "late",
                at(j, &format!("/if_late/starts/{i}/to_go_nm")),
                1.0,
                Up,
            )],
        );
    }
    text.may_say(
        "last start {} nm to go",
        &[("last start", at(j, "/if_late/last_to_go_nm"), 0.1, Up)],
    );
    if !j["if_late"]["early"].is_null() {
        text.says(
            "told down early, {} nm to go",
            &[("early", at(j, "/if_late/early/to_go_nm"), 1.0, Up)],
        );
        let part = |key: &str, per: f64, step: f64, more: &'static str| -> (&'static str, Must) {
            let x = at(j, &format!("/if_late/early/{key}")) * per;
            if x >= 0.0 {
                (more, (more, x, step, Up))
            } else {
                ("less", ("less", -x, step, Down))
            }
        };
        let (longer, time) = part("longer_min", 1.0, 0.1, "longer");
        let (more, fuel) = part("more_gal", f.units.per_gal, f.units.table, "more");
        text.says(
            &format!("; {{}} min {longer}, {{}} {volume} {more}"),
            &[time, fuel],
        );
    }
    // Flows of the lines: those of the path, at the fields, and where a lever is moved.
    let flows: Vec<f64> = list(j, "/track")
        .iter()
        .map(|p| at(p, "/fuel_flow_gph") * f.units.per_gal)
        .collect();
    let ends = list(j, "/segments").iter().flat_map(|s| {
        ["/start/fuel_flow_gph", "/end/fuel_flow_gph"].map(|k| at(s, k) * f.units.per_gal)
    });
    let flows: Vec<f64> = flows.into_iter().chain(ends).collect();
    text.says_one_of(&format!("{{}} {}", f.units.flow), &flows, f.units.table, Up);
}

/// The places of the card: to go, since take-off, height, fuel left and least.
fn place(f: &Faces, i: usize) -> [Must; 5] {
    let w = |key: &str| at(&f.json, &format!("/waypoints/{i}/{key}"));
    // By the clock nobody starts down late.
    let way = if f.json["waypoints"][i]["kind"] == "top_of_descent" {
        Down
    } else {
        Up
    };
    [
        ("to go", w("to_go_nm"), 1.0, Up),
        ("since", w("time_min"), 1.0, way),
        ("height", w("indicated_altitude_ft"), 10.0, Near),
        (
            "left",
            w("fuel_left_gal") * f.units.per_gal,
            f.units.card,
            Down,
        ),
        (
            "least",
            w("least_fuel_gal") * f.units.per_gal,
            f.units.card,
            Up,
        ),
    ]
}

/// Minutes since take-off as the card has them.
fn minutes(f: &Faces, i: usize) -> f64 {
    let (_, time, _, way) = place(f, i)[1];
    match way {
        Down => (time + 2e-5).floor(),
        _ => (time - 2e-5).ceil(),
    }
}

/// The places of a card in HTML.
pub(super) fn places_in(text: &Text, f: &Faces) {
    let v = f.units.volume;
    for (i, w) in list(&f.json, "/waypoints").iter().enumerate() {
        let name = w["place"].as_str().expect("a name");
        let [to_go, since, height, left, least] = place(f, i);
        let fuel = format!("{{}} {v} left go on with {{}} {v} or more");
        if w["magnetic_course_deg"].is_null() {
            text.says(
                &format!(" {name} {{}} nm to go {{}} ft {{}} {fuel}"),
                &[to_go, height, since, left, least],
            );
            continue;
        }
        let degrees = |key: &str| ("degrees", at(w, key), 1.0, Near);
        // Legs add up to the times since take-off, each as it is shown.
        let leg = ("leg", minutes(f, i) - minutes(f, i - 1), 1.0, Near);
        text.says(
            &format!(" {name} {{}} nm to go {{}} ft {{}} course {{}} heading {{}} leg {{}} {fuel}"),
            &[
                to_go,
                height,
                since,
                degrees("/magnetic_course_deg"),
                degrees("/magnetic_heading_deg"),
                leg,
                left,
                least,
            ],
        );
    }
}

fn check_place(what: &str, cells: [&str; 5], must: [Must; 5]) {
    for (cell, (of, truth, step, way)) in cells.into_iter().zip(must) {
        holds(&format!("{what}, {of}"), cell, truth, step, way);
    }
}

pub(super) fn cards(f: &Faces) {
    let j = &f.json;
    let places = list(j, "/waypoints");
    assert!(places.len() > 3);
    // Text: the last four columns of a row, and the first after the name.
    let txt = f.file("card.txt");
    let table = txt.split_once("PLACES\n").expect("places").1;
    assert!(
        table
            .lines()
            .next()
            .expect("heads")
            .contains(&format!("least {}", f.units.volume))
    );
    let rows = table.lines().skip(2).take(places.len());
    for (i, row) in rows.enumerate() {
        let name = places[i]["place"].as_str().expect("a name");
        let cells: Vec<&str> = row
            .strip_prefix(name)
            .expect("its name")
            .split_whitespace()
            .collect();
        let [.., since, height, left, least] = cells[..] else {
            panic!("{row}")
        };
        check_place(
            "card.txt",
            [cells[0], since, height, left, least],
            place(f, i),
        );
    }
    // Markdown.
    let md = f.file("card.md");
    let table = md.split_once("## Places\n\n").expect("places").1;
    for (i, row) in table.lines().skip(2).take(places.len()).enumerate() {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        check_place(
            "card.md",
            [cells[2], cells[6], cells[7], cells[8], cells[9]],
            place(f, i),
        );
    }
    let html = f.file("card.html");
    for (name, text) in [("card.md", md.to_owned()), ("card.html", html_text(html))] {
        let text = Text::new(
            &format!("{name}, {}", f.units.name),
            &text.replace(['|', '*'], " "),
        );
        card(&text, f);
        if name == "card.html" {
            places_in(&text, f);
            [f.units.volume, f.units.flow]
                .iter()
                .for_each(|unit| text.none_left(unit));
        }
        cruise(&text, f, "{} KIAS, {} KTAS, {} ", &["ias_kt", "tas_kt"]);
        let [toc, toc_min] = top_of_climb(j);
        text.says(" ft, {} nm out, {} min", &[toc, toc_min]);
        let [to_go, _, before] = top_of_descent(j);
        text.says(
            "{} nm to go, {} ft, {} min before landing",
            &[to_go, ("level", last_level(j), 1.0, Near), before],
        );
    }
}

fn last_level(j: &Value) -> f64 {
    let levels = list(j, "/levels_ft");
    levels[levels.len() - 1].as_f64().expect("a level")
}
