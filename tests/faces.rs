//! Every figure that a face shows is the JSON's of the same plan, rounded to the safe side: fuel burned and the distance of the top of
//! descent up, fuel left and rates of climb down, times to the minute.
//!
//! Each demo trip is planned in both units with every face at once; the figures are read out of what is written by a reader of the
//! test's own, and what each must be is reckoned from the JSON alone.

mod command;
#[path = "faces/reading.rs"]
mod reading;

use command::{printed, root};
use reading::Way::{Down, Near, Up};
use reading::{METRIC, Must, Text, US, Units, at, holds, html_text, plain, shown};
use serde_json::Value;
use std::sync::OnceLock;

const TRIPS: [&str; 3] = ["first-trip", "hot-afternoon", "into-the-wind"];
/// A foot, m (exact).
const M_PER_FT: f64 = 0.3048;

/// What one run wrote.
struct Faces {
    units: Units,
    json_text: String,
    json: Value,
    sheet: String,
    files: Vec<(&'static str, String)>,
}

impl Faces {
    fn file(&self, name: &str) -> &str {
        let found = self.files.iter().find(|f| f.0 == name);
        &found.unwrap_or_else(|| panic!("no {name}")).1
    }
}

fn planned(trip: &str, units: Units) -> Faces {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let faces = [
        ("--json", "plan.json"),
        ("--card", "card.txt"),
        ("--card", "card.md"),
        ("--card", "card.html"),
        ("--page", "page.html"),
        ("--chart", "chart.svg"),
        ("--csv", "track.csv"),
        ("--csv-segments", "segments.csv"),
        ("--gpx", "plan.gpx"),
        ("--kml", "plan.kml"),
    ];
    let path = |name: &str| folder.path().join(name).to_str().expect("UTF-8").to_owned();
    let trip = root().join(format!("examples/{trip}.toml"));
    let mut args = vec!["plan".to_owned(), trip.to_str().expect("UTF-8").to_owned()];
    args.extend(["--units".to_owned(), units.name.to_owned()]);
    for (option, name) in faces {
        args.extend([option.to_owned(), path(name)]);
    }
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let sheet = printed(&args);
    let files: Vec<(&str, String)> = faces
        .iter()
        .map(|f| {
            (
                f.1,
                std::fs::read_to_string(path(f.1)).expect("was written"),
            )
        })
        .collect();
    let json_text = files[0].1.clone();
    Faces {
        units,
        json: serde_json::from_str(&json_text).expect("JSON"),
        json_text,
        sheet,
        files,
    }
}

/// All trips in both units, US first.
fn all() -> &'static Vec<[Faces; 2]> {
    static ONCE: OnceLock<Vec<[Faces; 2]>> = OnceLock::new();
    ONCE.get_or_init(|| {
        TRIPS
            .iter()
            .map(|t| [planned(t, US), planned(t, METRIC)])
            .collect()
    })
}

fn list<'a>(json: &'a Value, pointer: &str) -> &'a Vec<Value> {
    let list = json.pointer(pointer).and_then(Value::as_array);
    list.unwrap_or_else(|| panic!("{pointer} is a list"))
}

fn word<'a>(json: &'a Value, pointer: &str) -> &'a str {
    let text = json.pointer(pointer).and_then(Value::as_str);
    text.unwrap_or_else(|| panic!("{pointer} is text"))
}

/// Fuel burned or needed, and fuel left, in tables and sentences.
fn burned(f: &Faces, gal: f64) -> Must {
    ("fuel burned", gal * f.units.per_gal, f.units.table, Up)
}

fn left(f: &Faces, gal: f64) -> Must {
    ("fuel left", gal * f.units.per_gal, f.units.table, Down)
}

fn flow(f: &Faces, gph: f64) -> Must {
    ("fuel flow", gph * f.units.per_gal, f.units.table, Up)
}

/// The top of descent: distance to go up, minutes after take-off down, minutes before landing up. Each is to the early side.
fn top_of_descent(j: &Value) -> [Must; 3] {
    let after = at(j, "/top_of_descent_min");
    [
        ("TOD to go", at(j, "/top_of_descent_to_go_nm"), 1.0, Up),
        ("TOD after take-off", after, 1.0, Down),
        (
            "TOD before landing",
            at(j, "/totals/time_min") - after,
            1.0,
            Up,
        ),
    ]
}

fn top_of_climb(j: &Value) -> [Must; 2] {
    [
        ("TOC", at(j, "/top_of_climb_nm"), 1.0, Up),
        ("TOC after", at(j, "/top_of_climb_min"), 1.0, Up),
    ]
}

/// The plan in one line, wherever it stands; on the card fuel is to its step.
fn in_one_line(text: &Text, f: &Faces, step: f64) {
    let j = &f.json;
    throttle(text, f);
    text.says(
        &format!("down at {{}} nm, lands with {{}} {}", f.units.volume),
        &[
            top_of_descent(j)[0],
            (
                "landing fuel",
                at(j, "/totals/landing_fuel_gal") * f.units.per_gal,
                step,
                Down,
            ),
        ],
    );
}

/// The throttle reading of the plan in one line, where one level is flown.
fn throttle(text: &Text, f: &Faces) {
    let all = list(&f.json, "/segments").iter();
    let cruises: Vec<&Value> = all.filter(|s| s["kind"] == "cruise").collect();
    if let [one] = cruises[..] {
        text.may_say(
            "full throttle ({} in) / {}, down",
            &[
                ("MAP", at(one, "/start/map_inhg"), 0.1, Near),
                ("RPM", at(one, "/end/rpm"), 10.0, Near),
            ],
        );
    }
}

/// What the terminal and the page say of the whole trip, sentence by sentence.
fn sheet(text: &Text, f: &Faces) {
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

fn rough(text: &Text, j: &Value) {
    if j["if_rough"].is_null() || j["if_rough"]["descends"] == false {
        return;
    }
    text.may_say(
        ": {} KIAS or less (Va at that weight), about {} fpm down",
        &[
            ("Va", at(j, "/if_rough/ias_kt"), 1.0, Down),
            ("rate", at(j, "/if_rough/rate_fpm"), 10.0, Down),
        ],
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
fn segments(f: &Faces) {
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
fn page(f: &Faces) {
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

/// Speeds and fuel flow of the first cruise, in a pattern that ends with the flow.
fn cruise(text: &Text, f: &Faces, pattern: &str, speeds: &[&str]) {
    let cruises = list(&f.json, "/segments")
        .iter()
        .filter(|s| s["kind"] == "cruise");
    let cruises: Vec<&Value> = cruises.collect();
    assert!(!cruises.is_empty());
    if let [one] = cruises[..] {
        let mut must: Vec<Must> = speeds
            .iter()
            .map(|k| ("speed", at(one, &format!("/start/{k}")), 1.0, Near))
            .collect();
        must.push(flow(f, at(one, "/start/fuel_flow_gph")));
        text.may_say(&format!("{pattern}{}", f.units.flow), &must);
    }
}

/// What every card says, apart from how it lays out the places.
fn card(text: &Text, f: &Faces) {
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
fn places_in(text: &Text, f: &Faces) {
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

fn cards(f: &Faces) {
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

/// The texts of the chart, each on its own.
fn chart(f: &Faces) {
    let (j, units) = (&f.json, &f.units);
    let svg = f.file("chart.svg");
    let texts: Vec<String> = svg
        .split("<text")
        .skip(1)
        .map(|t| {
            plain(&format!(
                "<text{}",
                t.split("</text>").next().expect("its end")
            ))
        })
        .collect();
    let text = Text::new(&format!("chart, {}", units.name), &texts.join(" | "));
    in_one_line(&text, f, f.units.table);
    text.says(
        &format!("{{}} in the air, {{}} {}", units.volume),
        &[
            ("time", at(j, "/totals/time_min"), 1.0, Up),
            burned(f, at(j, "/totals/fuel_gal")),
        ],
    );
    let [to_go, after, before] = top_of_descent(j);
    text.says("{} nm to go, at {} |", &[to_go, after]);
    text.says("{} min before landing", &[before]);
    let [toc, toc_min] = top_of_climb(j);
    text.says("TOC | {} nm, {} min", &[toc, toc_min]);
    cruise(&text, f, "{} KIAS, {} KTAS, {} ", &["ias_kt", "tas_kt"]);
    let climbs: Vec<&Value> = list(j, "/segments")
        .iter()
        .filter(|s| s["kind"] == "climb")
        .collect();
    let (first, last) = (climbs[0], climbs[climbs.len() - 1]);
    text.says(
        "{} to {} fpm",
        &[
            ("climb", at(first, "/start/vs_fpm"), 10.0, Down),
            ("climb", at(last, "/end/vs_fpm"), 10.0, Down),
        ],
    );
    assert!(
        texts.iter().any(|t| t.trim() == units.flow),
        "no axis in {}",
        units.flow
    );
    text.none_left(units.volume);
    text.none_left(units.flow);
}

/// What other programs read besides JSON: no figure but those of the JSON.
fn exports(f: &Faces) {
    let j = &f.json;
    let rows = |name: &str| -> Vec<std::collections::BTreeMap<String, String>> {
        let mut reader = csv::Reader::from_reader(f.file(name).as_bytes());
        reader.deserialize().map(|r| r.expect("a row")).collect()
    };
    let same = |cell: &str, truth: &Value, key: &str| match truth {
        Value::Number(n) => assert_eq!(cell.parse::<f64>().ok(), n.as_f64(), "{key}"),
        Value::String(s) => assert_eq!(cell, s, "{key}"),
        Value::Null => assert!(cell.is_empty(), "{key}"),
        other => panic!("{key}: {other}"),
    };
    let (track, written) = (list(j, "/track"), rows("track.csv"));
    assert!(track.len() > 50 && track.len() == written.len());
    for (p, row) in track.iter().zip(&written) {
        let p = p.as_object().expect("a point");
        assert_eq!(p.len(), row.len());
        p.iter()
            .for_each(|(key, truth)| same(&row[key], truth, key));
    }
    let (segments, written) = (list(j, "/segments"), rows("segments.csv"));
    assert_eq!(segments.len(), written.len());
    for (s, row) in segments.iter().zip(&written) {
        let mut cells = 0;
        for (key, truth) in s.as_object().expect("a segment") {
            match truth {
                Value::Object(end) => {
                    cells += end.len();
                    end.iter()
                        .for_each(|(k, truth)| same(&row[&format!("{key}.{k}")], truth, k));
                }
                truth => {
                    cells += 1;
                    same(&row[key], truth, key);
                }
            }
        }
        assert_eq!(cells, row.len());
    }
    let points: Vec<&Value> = list(j, "/marks")
        .iter()
        .chain(list(j, "/marks"))
        .chain(track)
        .collect();
    let gpx = f.file("plan.gpx");
    let elevations: Vec<&str> = gpx
        .split("<ele>")
        .skip(1)
        .filter_map(|t| t.split('<').next())
        .collect();
    assert_eq!(elevations.len(), points.len());
    for (text, p) in elevations.iter().zip(&points) {
        holds(
            "GPX, m",
            text,
            at(p, "/true_altitude_ft") * M_PER_FT,
            0.1,
            Near,
        );
    }
    in_one_line(&Text::new("GPX", &plain(gpx)), f, f.units.table);
    let kml = Text::new("KML", &plain(f.file("plan.kml")));
    in_one_line(&kml, f, f.units.table);
    for text in [&Text::new("GPX", &plain(gpx)), &kml] {
        text.says("top of descent, {} nm to go", &[top_of_descent(j)[0]]);
    }
    let written = f.file("plan.kml").split("<description>").skip(1);
    let written: Vec<&str> = written
        .filter_map(|t| t.split('<').next())
        .filter(|t| t.contains(" rpm, "))
        .collect();
    assert_eq!(written.len(), segments.len());
    for (s, words) in segments.iter().zip(written) {
        let heights = ["/start/indicated_altitude_ft", "/end/indicated_altitude_ft"]
            .map(|k| ("ft", at(s, k), 1.0, Near));
        Text::new("KML", words).says(
            "{} to {} ft, {} in / {} rpm, {} min",
            &[
                heights[0],
                heights[1],
                ("MAP", at(s, "/start/map_inhg"), 0.1, Near),
                ("rpm", at(s, "/start/rpm"), 10.0, Near),
                ("min", at(s, "/time_min"), 0.1, Near),
            ],
        );
    }
}

#[test]
fn crosscheck_the_sheet_shows_the_figures_of_the_json() {
    for f in all().iter().flatten() {
        let text = Text::new(&format!("terminal, {}", f.units.name), &f.sheet);
        sheet(&text, f);
        for unit in [f.units.volume, f.units.weight, f.units.pressure] {
            text.none_left(unit);
        }
        segments(f);
    }
}

#[test]
fn crosscheck_the_page_shows_the_figures_of_the_json() {
    all().iter().flatten().for_each(page);
}

#[test]
fn crosscheck_the_card_shows_the_figures_of_the_json() {
    all().iter().flatten().for_each(cards);
}

#[test]
fn crosscheck_the_chart_shows_the_figures_of_the_json() {
    all().iter().flatten().for_each(chart);
}

#[test]
fn crosscheck_exports_have_the_figures_of_the_json() {
    all().iter().flatten().for_each(exports);
}

/// A program finds the same keys and figures whatever units a pilot asks for, and an eye no gallon where litres were asked for.
#[test]
fn closed_form_units_change_what_is_read_by_eyes_alone() {
    for [us, metric] in all() {
        assert_eq!(us.json_text, metric.json_text);
        for name in ["track.csv", "segments.csv"] {
            assert_eq!(us.file(name), metric.file(name), "{name}");
        }
        let mut faces: Vec<(&str, String)> = vec![("terminal", metric.sheet.clone())];
        for name in ["card.txt", "card.md", "plan.gpx", "plan.kml"] {
            faces.push((name, plain(metric.file(name))));
        }
        faces.push(("card.html", html_text(metric.file("card.html"))));
        faces.push(("page.html", html_text(metric.file("page.html"))));
        for (name, text) in faces {
            let word = |w: &&str| {
                ["gal", "gph", "lb", "inHg"].contains(&w.trim_matches(|c: char| !c.is_alphabetic()))
            };
            assert_eq!(text.split_whitespace().find(word), None, "{name}");
        }
    }
}

/// The reader of this test sees what is wrong: a figure that is another, one rounded to the unsafe side, one too coarse.
#[test]
fn closed_form_the_reader_refuses_what_is_wrong() {
    let refused = |text: &str, must: Must| {
        let text = Text::new("trial", text);
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            text.says("burns {} gal", &[must])
        }))
        .is_err()
    };
    let must = ("fuel", 15.82, 0.1, Up);
    assert!(!refused("it burns 15.9 gal, then", must));
    for wrong in [
        "burns 15.8 gal",
        "burns 16.0 gal",
        "burns 15.85 gal",
        "burns 15.9 gal and burns 15.8 gal",
        "takes 15.9 gal",
    ] {
        assert!(refused(wrong, must), "{wrong}");
    }
    assert!(refused("burns 15.9 gal", ("fuel", 15.82, 0.1, Down)));
    let text = Text::new("trial", "a 3.5 gal, b 4.5 gal.");
    text.says("a {} gal", &[("a", 3.5, 0.1, Near)]);
    assert!(
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| text.none_left("gal"))).is_err()
    );
    text.says("b {} gal", &[("b", 4.5, 0.1, Near)]);
    text.none_left("gal");
}
