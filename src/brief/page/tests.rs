use super::*;
use crate::brief::{Point, sample};

fn sheet() -> String {
    page(sample::figures(), None).expect("the sample can be drawn")
}

/// Text between tags, its white space made one blank.
fn words(page: &str) -> String {
    let body = page.split("<body>").nth(1).expect("a body");
    let body = body
        .split("<script")
        .next()
        .expect("what is before the script");
    let mut text = String::new();
    for part in body.split('<') {
        text.push_str(part.split_once('>').map_or(part, |(_, t)| t));
        text.push(' ');
    }
    let text = text
        .replace("&amp;", "&")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn closed_form_says_all_that_the_terminal_says() {
    let text = words(&sheet());
    let f = sample::figures();
    assert!(text.starts_with(crate::brief::TITLE), "{text}");
    let mut said = vec![f.in_one_line.clone(), f.route(), f.least()];
    said.extend(wording::totals(f).into_iter().map(|(_, words)| words));
    said.extend(wording::descent(f));
    said.extend(differences::left_out(f));
    said.extend(
        wording::lists(f)
            .into_iter()
            .flat_map(|(_, _, lines)| lines),
    );
    said.extend(
        f.segments
            .iter()
            .flat_map(|s| wording::segment_row(s, true, f.units)),
    );
    let tables = [differences::choices(f), differences::forecast(f)];
    for table in tables.into_iter().flatten() {
        said.push(table.intro.to_owned());
        said.extend(table.rows.into_iter().flatten());
    }
    for l in &f.lever_card {
        said.extend([l.trigger.clone(), l.action.clone()]);
    }
    assert!(said.len() > 100, "{}", said.len());
    for line in said {
        let line = line.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(&line), "no {line:?}");
    }
}

#[test]
fn closed_form_the_five_answers_are_those_of_the_figures() {
    let f = sample::figures();
    let text: Vec<String> = answers::answers(f)
        .into_iter()
        .map(|a| format!("{}: {}; {}", a.question, a.short, a.more.join("; ")))
        .collect();
    let ceil = |x: f64| format!("{:.0}", (x - 1e-4).ceil());
    let field = f.fields.last().expect("a destination");
    for (answer, expected) in text.iter().zip([
        vec![
            "Level off: 10,500 ft".to_owned(),
            format!("{} nm out", ceil(f.top_of_climb_nm)),
        ],
        vec![
            "Set in cruise: ".to_owned(),
            format!("mixture {}", f.cruise[0].mixture),
        ],
        vec![format!(
            "Start down: {} nm to go",
            ceil(f.top_of_descent_to_go_nm)
        )],
        vec![format!(
            "Mixture for a go-around: {} at ",
            field.high_power_mixture
        )],
        vec![format!(
            "Land with: {:.1} gal",
            (10.0 * f.totals.landing_fuel_gal).floor() / 10.0
        )],
    ]) {
        for words in expected {
            assert!(answer.contains(&words), "no {words:?} in {answer:?}");
        }
    }
    assert_eq!(text.len(), 5);
}

#[test]
fn closed_form_every_colour_of_the_charts_is_one_of_the_page() {
    // A colour that the page does not know would stay as it is on a dark screen.
    let page = sheet();
    let mut seen = 0;
    for attribute in ["fill=\"#", "stroke=\"#"] {
        let body = page.split("<body>").nth(1).expect("a body");
        for rest in body.split(attribute).skip(1) {
            let found = format!("#{}", &rest[..6]);
            assert!(COLOURS.iter().any(|(c, _)| hex(*c) == found), "{found}");
            seen += 1;
        }
    }
    assert!(seen > 50, "only {seen} colours");
}

#[test]
fn closed_form_names_cannot_break_out_of_the_page() {
    let mut f = sample::figures().clone();
    let evil = "</script><script>alert(1)</script>\"'&<!--";
    f.trip.name = evil.to_owned();
    f.trip.places[0] = evil.to_owned();
    f.track[3].mixture = evil.to_owned();
    f.warnings.push(crate::brief::Said {
        kind: "x",
        text: evil.to_owned(),
    });
    let page = page(&f, None).expect("the sample can be drawn");
    assert_eq!(page.matches("<script").count(), 2);
    assert_eq!(page.matches("</script").count(), 2);
    assert_eq!(page.matches("<!--").count(), 0);
    let json = page.split("id=\"track\">").nth(1).expect("the track");
    let json = json.split("</script>").next().expect("its end");
    let track: serde_json::Value = serde_json::from_str(json).expect("JSON");
    assert_eq!(track["rows"][3][5], evil);
}

#[test]
fn closed_form_asks_the_network_for_nothing() {
    let page = sheet().replace("http://www.w3.org/2000/svg", "");
    for word in ["http:", "https:", "url(", "src=", "@import", "//cdn"] {
        assert!(!page.contains(word), "{word}");
    }
}

#[test]
fn closed_form_every_kind_of_plan_has_a_page() {
    for plan in sample::shapes() {
        let f = Figures::new(&plan, sample::problem());
        let text = words(&page(&f, None).expect("can be drawn"));
        assert!(text.contains(&f.in_one_line), "{}", f.in_one_line);
        for c in f.cruise.iter().skip(1) {
            let level = format!("then {} ft, from", crate::brief::words::feet(c.level_ft));
            assert!(text.contains(&level), "{level}");
        }
    }
    for left in [false, true] {
        let (problem, plan) = sample::fixed_pitch(left);
        let text = words(&page(&Figures::new(&plan, &problem), None).expect("can be drawn"));
        assert!(!text.contains("PROP") && text.contains("2,450 rpm"));
    }
    assert!(
        words(&page(&sample::twin(), None).expect("can be drawn"))
            .contains(crate::brief::ONE_ENGINE)
    );
}

#[test]
fn closed_form_readings_are_the_track_rounded_to_the_safe_side() {
    let f = sample::figures();
    let track: serde_json::Value = serde_json::from_str(&track::json(f)).expect("JSON");
    let rows = track["rows"].as_array().expect("rows");
    assert_eq!(rows.len(), f.track.len());
    let bare = |v: &serde_json::Value| v.as_str().expect("text").replace(',', "");
    for (row, p) in rows.iter().zip(&f.track) {
        let Point {
            fuel_left_gal,
            gs_kt,
            indicated_altitude_ft,
            ..
        } = p;
        assert_eq!(
            bare(&row[2]),
            format!("{indicated_altitude_ft:.0}").replace("-0", "0")
        );
        assert_eq!(bare(&row[7]), format!("{gs_kt:.0}"));
        let shown: f64 = bare(&row[3]).parse().expect("a number");
        // A tenth of a gallon, never more than there is but for the noise of the figures.
        assert!(shown <= fuel_left_gal + 1e-5 && shown > fuel_left_gal - 0.1001);
    }
}
