//! What the chart says, and what is written for other programs.

use super::reading::Way::{Down, Near, Up};
use super::reading::{Text, at, holds, plain};
use super::{Faces, M_PER_FT, burned, cruise, in_one_line, list, top_of_climb, top_of_descent};
use serde_json::Value;

/// The texts of the chart, each on its own.
pub(super) fn chart(f: &Faces) {
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
pub(super) fn exports(f: &Faces) {
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
