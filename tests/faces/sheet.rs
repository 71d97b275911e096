//! What the terminal and the page say of the whole trip, sentence by sentence and row by row; and the page itself.

use super::cards::{card, places_in};
use super::reading::Way::{Down, Near, Up};
use super::reading::{self, Must, Text, at, holds, html_text, plain, shown};
use super::{
    Faces, burned, cruise, flow, in_one_line, left, list, rough, top_of_climb, top_of_descent, word,
};
use serde_json::Value;

/// What the terminal and the page say of the whole trip, sentence by sentence.
pub(super) fn sheet(text: &Text, f: &Faces) {
    let (j, volume) = (&f.json, f.units.volume);
    let total = |key: &str| at(j, &format!("/totals/{key}"));
    in_one_line(text, f, f.units.table);
    text.says(
        &format!("{{}} and {{}} {volume}, take-off to landing, {{}} nm"),
        &[
            ("time", total("time_min"), 1.0, Up),
            burned(f, total("fuel_gal")),
            ("distance", total("distance_nm"), 1.0, Up),
        ],
    );
    text.says(
        &format!("{{}} and {{}} {volume}, start-up to shutdown; cost {{}} at the trip's prices"),
        &[
            ("block time", total("block_time_min"), 1.0, Up),
            burned(f, total("block_fuel_gal")),
            ("cost", total("cost"), 1.0, Up),
        ],
    );
    text.says(
        &format!("{{}} {volume} on board, {{}} {volume} needed with"),
        &[
            left(f, at(j, "/trip/fuel_on_board_gal")),
            burned(f, total("fuel_required_gal")),
        ],
    );
    text.says(
        &format!(
            "lands with {{}} {volume}, {{}} at cruise flow; asked for {{}} min ({{}} {volume}), legal least {{}} min ({{}} {volume},"
        ),
        &[
            left(f, total("landing_fuel_gal")),
            ("lasts", total("reserve_min"), 1.0, Down),
            ("reserve", total("reserve_required_min"), 1.0, Near),
            burned(f, total("reserve_required_gal")),
            ("legal reserve", total("legal_reserve_min"), 1.0, Near),
            burned(f, total("legal_reserve_gal")),
        ],
    );
    let [toc, toc_min] = top_of_climb(j);
    text.says("level at {} nm after {} min", &[toc, toc_min]);
    let [to_go, after, before] = top_of_descent(j);
    let pattern = total("distance_nm") - at(j, "/pattern_point_nm");
    text.says(
        "{} nm to go, {} after take-off, {} min before landing; pattern altitude {} ft and speed at {} nm to go",
        &[
            to_go,
            after,
            before,
            ("pattern altitude", at(j, "/pattern_altitude_ft"), 1.0, Near),
            ("pattern point", pattern, 1.0, Near),
        ],
    );
    clock(text, j);
    gain(text, f);
    rough(text, j);
    for i in 0..list(j, "/fields").len() {
        let field = |key: &str| at(j, &format!("/fields/{i}/{key}"));
        let (step, way) = f.units.altimeter;
        text.says(
            &format!(
                "{}: {{}} ft, altimeter {{}} {}, density altitude {{}} ft, mixture for take-off, climb and go-around: {}; at {{}} {} \
                 and {{}} KIAS it climbs {{}} fpm, {{}} fpm with the gear down",
                word(j, &format!("/fields/{i}/ident")),
                f.units.pressure,
                word(j, &format!("/fields/{i}/high_power_mixture")),
                f.units.weight
            ),
            &[
                ("elevation", field("elevation_ft"), 1.0, Near),
                ("altimeter", field("altimeter_inhg") * f.units.per_inhg, step, way),
                ("density altitude", field("density_altitude_ft"), 10.0, Up),
                ("weight", field("weight_lb") * f.units.per_lb, f.units.weights, Up),
                ("climb speed", field("climb_ias_kt"), 1.0, Near),
                ("climb", field("climb_fpm"), 10.0, Down),
                ("go-around", field("go_around_fpm"), 10.0, Down),
            ],
        );
    }
    text.says(
        &format!("Of the total, {{}} {volume} are the take-off run; taxi takes {{}} {volume} more"),
        &[
            burned(f, at(j, "/trip/take_off_run_fuel_gal")),
            burned(f, at(j, "/trip/taxi_fuel_gal")),
        ],
    );
    text.says(
        &format!("integrator: {{}} s, {{}} {volume}, {{}} ft and {{}} kt off"),
        &[
            ("s", at(j, "/reflight/time_error_s"), 0.1, Near),
            (
                "fuel",
                at(j, "/reflight/fuel_error_gal") * f.units.per_gal,
                f.units.trace,
                Near,
            ),
            ("ft", at(j, "/reflight/height_error_ft"), 1.0, Near),
            ("kt", at(j, "/reflight/speed_error_kt"), 0.1, Near),
        ],
    );
    text.says(
        "ideal flight {} %",
        &[("margin", at(j, "/ideal/margin_percent"), 0.1, Up)],
    );
    differences(text, f);
}

/// Minutes of a day of a time such as 2026-01-31T17:39:00Z, with seconds as a fraction.
fn of_day(utc: &str) -> f64 {
    60.0 * shown(&utc[11..13]) + shown(&utc[14..16]) + shown(&utc[17..19]) / 60.0
}

fn clock(text: &Text, j: &Value) {
    let take_off = of_day(word(j, "/trip/take_off_utc"));
    let day = |minutes: f64| minutes.rem_euclid(24.0 * 60.0);
    // Times of the calendar are to the second.
    let second = 0.5 / 60.0;
    let truths = [
        of_day(word(j, "/trip/departure_utc")),
        take_off,
        day(take_off + at(j, "/top_of_descent_min")),
        day(take_off + at(j, "/totals/time_min")),
    ];
    let ways = [Down, Up, Down, Up];
    let must: Vec<Must> = truths
        .into_iter()
        .zip(ways)
        .map(|(t, way)| match way {
            Up => ("clock", t - second, 1.0 + 2.0 * second, Up),
            _ => ("clock", t + second, 1.0 + 2.0 * second, Down),
        })
        .collect();
    let pattern = "start-up {}Z, take-off {}Z, start down {}Z, landing {}Z";
    text.says_times(pattern, &must);
}

/// Beside ordinary flying: what it takes more is rounded down, what it takes less up; the plan is not flattered.
fn gain(text: &Text, f: &Faces) {
    let j = &f.json;
    if j["gain_over_ordinary"].is_null() {
        return;
    }
    let part = |key: &str, per: f64, step: f64| -> (&str, Must) {
        let x = at(j, &format!("/gain_over_ordinary/{key}")) * per;
        if x >= 0.0 {
            ("more", ("ordinary", x, step, Down))
        } else {
            ("less", ("ordinary", -x, step, Up))
        }
    };
    let (time_way, time) = part("time_min", 1.0, 0.1);
    let (fuel_way, fuel) = part("fuel_gal", f.units.per_gal, f.units.fine);
    let (cost_way, cost) = part("cost", 1.0, 0.1);
    text.says(
        &format!(
            "would have cost {{}} min {time_way}, {{}} {} {fuel_way}, {{}} in money {cost_way}",
            f.units.volume
        ),
        &[time, fuel, cost],
    );
    // What the plan saves: down; what it takes more: up.
    let of_plan = |key: &str, per: f64, step: f64| -> Must {
        let x = at(j, &format!("/gain_over_ordinary/{key}")) * per;
        ("saves", x.abs(), step, if x >= 0.0 { Down } else { Up })
    };
    let time = of_plan("time_min", 1.0, 0.1);
    let fuel = of_plan("fuel_gal", f.units.per_gal, f.units.table);
    let volume = f.units.volume;
    text.may_say(&format!("saves {{}} min and {{}} {volume}"), &[time, fuel]);
    text.may_say(
        &format!("saves {{}} min, burns {{}} {volume} more"),
        &[time, fuel],
    );
    text.may_say(
        &format!("saves {{}} {volume}, takes {{}} min more"),
        &[fuel, time],
    );
    text.may_say(
        &format!("takes {{}} min and {{}} {volume} more"),
        &[time, fuel],
    );
}

/// Rows of what the choices and the weather are worth: not flattering the plan, nor the change.
fn differences(text: &Text, f: &Faces) {
    let j = &f.json;
    let money = word(j, "/objective/kind") == "money";
    let row = |at_it: &str, more: reading::Way, less: reading::Way| -> Vec<Must> {
        let one = |key: &str, per: f64, step: f64| -> Must {
            let x = at(j, &format!("{at_it}/{key}")) * per;
            ("difference", x, step, if x > 0.0 { more } else { less })
        };
        let mut must = Vec::new();
        if money {
            must.push(one("difference", 1.0, 0.1));
        }
        must.push(one("difference_min", 1.0, 0.1));
        must.push(one("difference_gal", f.units.per_gal, f.units.fine));
        must.push((
            "down",
            at(j, &format!("{at_it}/top_of_descent_to_go_nm")),
            1.0,
            Up,
        ));
        must
    };
    let holes = if money { "{} {} {} {}" } else { "{} {} {}" };
    for (i, a) in list(j, "/alternatives").iter().enumerate() {
        let name = a["name"].as_str().expect("a name");
        text.says(
            &format!(" {name} {holes}"),
            &row(&format!("/alternatives/{i}"), Down, Near),
        );
    }
    for (i, s) in list(j, "/sensitivity").iter().enumerate() {
        let name = s["name"].as_str().expect("a name");
        if s["outcome"].is_null() {
            continue;
        }
        // Seen from the change a saving is rounded down: towards nought, which for a figure below nought is up.
        let mut must = row(&format!("/sensitivity/{i}/outcome"), Up, Up);
        let landing = at(
            j,
            &format!("/sensitivity/{i}/outcome/totals/landing_fuel_gal"),
        );
        must.push(left(f, landing));
        // A load is named in its unit, to a whole one.
        let mut pattern = format!(" {name} {holes} {{}}");
        if let Some((load, other)) = name.split_once(" lb ") {
            must.insert(0, ("load", shown(load) * f.units.per_lb, 1.0, Near));
            pattern = format!(" {{}} {} {other} {holes} {{}}", f.units.weight);
        }
        text.says(&pattern, &must);
    }
}

/// The segment table of the page, cell by cell, and the first line of each row of the terminal's.
pub(super) fn segments(f: &Faces) {
    let j = &f.json;
    let page = f.file("page.html");
    let section = page.split_once("<h2 id=\"segments\"").expect("segments").1;
    let body = section.split_once("<tbody").expect("a table").1;
    let body = body.split_once("</tbody>").expect("its end").0;
    let rows: Vec<Vec<String>> = body
        .split("<tr")
        .skip(1)
        .map(|row| {
            let cells = row
                .split("<t")
                .skip(1)
                .filter(|c| c.starts_with("h ") || c.starts_with("d "));
            cells
                .map(|c| {
                    plain(&format!("<{c}"))
                        .split_whitespace()
                        .collect::<Vec<_>>()
                        .join(" ")
                })
                .collect()
        })
        .collect();
    let all = list(j, "/segments");
    assert!(all.len() > 8 && rows.len() == all.len(), "{rows:?}");
    for (s, row) in all.iter().zip(&rows) {
        let x = |key: &str| at(s, key);
        let fast = |a: &str, b: &str, step: f64, way: reading::Way, cell: &str| {
            let what = format!("segments, {cell} of {a}");
            // "a-b" with a minus before either, or one of them where both read the same.
            let ends = cell
                .trim_start_matches('-')
                .find('-')
                .map(|i| i + cell.len() - cell.trim_start_matches('-').len());
            match ends {
                Some(i) => {
                    holds(&what, cell[..i].trim_end_matches('/'), x(a), step, way);
                    holds(&what, &cell[i + 1..], x(b), step, way);
                }
                None => holds(&what, cell, x(b), step, way),
            }
        };
        let level = s["kind"] == "cruise" || s["kind"] == "circuit";
        fast("/start/distance_nm", "/end/distance_nm", 1.0, Near, &row[1]);
        let feet = if level { 1.0 } else { 10.0 };
        fast(
            "/start/indicated_altitude_ft",
            "/end/indicated_altitude_ft",
            feet,
            Near,
            &row[2],
        );
        fast("/start/ias_kt", "/end/ias_kt", 1.0, Near, &row[3]);
        fast("/start/gs_kt", "/end/gs_kt", 1.0, Near, &row[4]);
        fast("/start/rpm", "/end/rpm", 10.0, Near, &row[6]);
        assert_eq!(row[7], s["start"]["mixture"].as_str().expect("a mixture"));
        let mean = x("/fuel_gal") / x("/time_min") * 60.0;
        // The mean of two figures that are written to a millionth, over a few seconds at least.
        const MEAN: f64 = 2e-3;
        let (_, truth, step, _) = flow(f, mean);
        let mean_flow = shown(&row[8]);
        assert!(
            (truth - MEAN..=truth + step + MEAN).contains(&mean_flow),
            "{mean_flow} for a flow of {truth}"
        );
        // Climbs are rounded down, and level flight that follows the altimeter by a few feet a minute is level.
        if x("/start/vs_fpm").abs() >= 20.0 && x("/end/vs_fpm").abs() >= 20.0 {
            fast(
                "/start/vs_fpm",
                "/end/vs_fpm",
                10.0,
                Down,
                &row[9].replace("/-", "--"),
            );
        }
        holds("segments, min", &row[10], x("/time_min"), 0.1, Near);
        let (_, fuel, step, way) = burned(f, x("/fuel_gal"));
        holds("segments, fuel", &row[11], fuel, step, way);
    }
    // The terminal has the same cells; what ranges is one over the other.
    let table = f.sheet.split_once("Segments (").expect("a table").1;
    let lines: Vec<&str> = table
        .lines()
        .skip(3)
        .take_while(|l| !l.is_empty())
        .collect();
    let begin = lines.iter().filter(|l| !l.starts_with(' '));
    let ends: Vec<Vec<&str>> = begin
        .map(|l| l.split_whitespace().rev().take(2).collect())
        .collect();
    assert_eq!(ends.len(), rows.len(), "{table}");
    for (end, row) in ends.iter().zip(&rows) {
        assert_eq!(end, &[row[11].as_str(), row[10].as_str()], "{end:?}");
    }
    for head in [f.units.volume, f.units.flow] {
        assert!(
            table
                .lines()
                .nth(1)
                .expect("heads")
                .split_whitespace()
                .any(|h| h == head),
            "{head}"
        );
    }
}

/// The five answers and the read-out of the page.
pub(super) fn page(f: &Faces) {
    let (j, units) = (&f.json, &f.units);
    let html = f.file("page.html");
    // The card stands on the page as it is on paper, where fuel is said more coarsely.
    let (before, rest) = html.split_once("<div class=\"sheets\">").expect("a card");
    let (sheets, after) = rest
        .split_once("</section></div></section>")
        .unwrap_or_else(|| panic!("the end of the card in {rest}"));
    let on_card = Text::new(
        &format!("card on the page, {}", units.name),
        &html_text(sheets),
    );
    let text = Text::new(
        &format!("page, {}", units.name),
        &html_text(&format!("{before} {after}")),
    );
    sheet(&text, f);
    let [toc, toc_min] = top_of_climb(j);
    text.says(
        "Level off {} ft {} nm out, {} min after take-off",
        &[("level", at(j, "/levels_ft/0"), 1.0, Near), toc, toc_min],
    );
    let [to_go, after, before] = top_of_descent(j);
    text.says(
        "Start down {} nm to go {} after take-off, {} min before landing",
        &[to_go, after, before],
    );
    text.says(
        &format!(
            "Land with {{}} {v} good for {{}} at cruise flow reserve asked for {{}} {v}, {{}} min",
            v = units.volume
        ),
        &[
            (
                "landing fuel",
                at(j, "/totals/landing_fuel_gal") * units.per_gal,
                units.table,
                Down,
            ),
            ("lasts", at(j, "/totals/reserve_min"), 1.0, Down),
            burned(f, at(j, "/totals/reserve_required_gal")),
            ("reserve", at(j, "/totals/reserve_required_min"), 1.0, Near),
        ],
    );
    cruise(&text, f, "{} KIAS, {} ", &["ias_kt"]);
    card(&on_card, f);
    places_in(&on_card, f);
    for text in [&text, &on_card] {
        text.none_left(units.volume);
        text.none_left(units.flow);
        text.none_left(units.weight);
        text.none_left(units.pressure);
    }
    read_out(f, html);
}

fn read_out(f: &Faces, html: &str) {
    let data = html.split_once("id=\"track\">").expect("data").1;
    let data: Value =
        serde_json::from_str(data.split_once("</script>").expect("its end").0).expect("JSON");
    let (track, rows) = (list(&f.json, "/track"), list(&data, "/rows"));
    assert!(rows.len() > 50 && rows.len() == track.len());
    for (p, row) in track.iter().zip(rows) {
        let cell = |i: usize| row[i].as_str().expect("words");
        holds("read-out, nm", cell(0), at(p, "/distance_nm"), 0.1, Near);
        holds("read-out, time", cell(1), at(p, "/time_min"), 1.0, Up);
        holds(
            "read-out, ft",
            cell(2),
            at(p, "/indicated_altitude_ft"),
            1.0,
            Near,
        );
        let (_, gal, step, way) = left(f, at(p, "/fuel_left_gal"));
        holds("read-out, fuel", cell(3), gal, step, way);
        assert_eq!(cell(5), p["mixture"].as_str().expect("a mixture"));
        holds("read-out, KIAS", cell(6), at(p, "/ias_kt"), 1.0, Near);
        holds("read-out, GS", cell(7), at(p, "/gs_kt"), 1.0, Near);
    }
    let name = format!("<span class=\"name\">{} left</span>", f.units.volume);
    assert!(html.contains(&name), "no {name}");
}
