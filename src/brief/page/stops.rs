//! The slider: one plan of the frontier after another, each with its place on the line of fuel over time, its heights, settings and totals.
//!
//! Every stop stands in the page in words and lines; the script only shows one of them. Without script it is the one to begin with.

use super::heights::{self, Look};
use super::{answer_list, table, totals_list};
use crate::brief::chart::ChartError;
use crate::brief::frontier_chart::{frontier_small, mark_name};
use crate::brief::frontier_text::{self, explained, time, worth_words};
use crate::brief::stops::{Stop, Stops};
use crate::brief::words::{near, number, sentence, up};
use crate::brief::{Figures, Said, TotalsFigures};
use maud::{Markup, PreEscaped, html};

pub(super) const CSS: &str = include_str!("stops.css");
pub(super) const SCRIPT: &str = include_str!("stops.js");

/// What a stop is called, and what it is besides.
fn name(s: &Stops, stop: &Stop) -> (String, Vec<&'static str>) {
    let plan = s.plan(stop);
    let called = match plan {
        Some(p) => format!("Plan {} of {}", p.order, s.frontier.plans.len()),
        None => "The plan of this sheet".to_owned(),
    };
    let mut marks: Vec<&str> = plan
        .map(mark_name)
        .filter(|m| !m.is_empty())
        .into_iter()
        .collect();
    if stop.of_sheet && plan.is_some() {
        marks.push("the plan of this sheet");
    }
    (called, marks)
}

/// The figures told large, each with what it is.
fn sums(s: &Stops, f: &Figures) -> Vec<(&'static str, String)> {
    let t = &f.totals;
    let mut all = vec![
        ("time", time(t.time_min)),
        ("fuel", f.units.burned(t.fuel_gal).to_string()),
    ];
    if s.frontier.priced() {
        all.push(("cost", number(up(t.cost, 0), 0)));
    }
    all.push((
        "start down",
        format!("{} nm to go", number(up(f.top_of_descent_to_go_nm, 0), 0)),
    ));
    all.push(("lands with", f.units.left(t.landing_fuel_gal).to_string()));
    all
}

/// What a reader with a screen reader hears at a stop.
fn said(s: &Stops, stop: &Stop) -> String {
    let (called, marks) = name(s, stop);
    let mut words = vec![called];
    words.extend(marks.into_iter().map(str::to_owned));
    words.extend(
        sums(s, &stop.figures)
            .into_iter()
            .map(|(what, x)| format!("{what} {x}")),
    );
    words.push(stop.figures.in_one_line.clone());
    words.join(", ")
}

/// A figure with the word for its sign.
fn than(x: f64, write: &dyn Fn(f64) -> String, (more, less): (&str, &str)) -> String {
    format!("{} {}", write(x.abs()), if x < 0.0 { less } else { more })
}

/// What a plan is worth beside the others.
fn worth(s: &Stops, stop: &Stop) -> Vec<String> {
    let units = s.frontier.units;
    let difference = |gal: f64| units.difference(gal, near).to_string();
    let money = |cost: f64| format!("{} in money", number(cost, 1));
    let mut lines = Vec::new();
    if let Some(m) = stop.more.filter(|_| !stop.of_sheet) {
        let mut parts = vec![
            than(
                m.time_min,
                &|min| format!("{} min", number(min, 1)),
                ("longer", "shorter"),
            ),
            than(m.fuel_gal, &difference, ("more", "less")),
        ];
        parts.extend(m.cost.map(|c| than(c, &money, ("more", "less"))));
        lines.push(format!(
            "Beside the plan of this sheet: {}.",
            parts.join(", ")
        ));
    }
    let Some(p) = s.plan(stop) else {
        return lines;
    };
    lines.push(match p.next_minute {
        Some(m) => format!(
            "The next quicker plan saves {} min; each minute takes {}{}.",
            number(m.saved_min, 1),
            difference(m.minute_gal),
            m.minute_cost
                .map_or(String::new(), |c| format!(", {}", money(c)))
        ),
        None => "No plan found is quicker.".to_owned(),
    });
    lines.push(match p.hour_worth {
        None => "Best at no value of time, only under a bound on time or fuel.".to_owned(),
        Some(h) => format!(
            "Best where an hour is worth {} {}.",
            worth_words(&s.frontier, p.hour_worth),
            if h.from_cost.is_some() && s.frontier.priced() {
                "in money".to_owned()
            } else {
                format!("{} of fuel", units.volume())
            }
        ),
    });
    lines
}

/// Warnings of a plan of a kind that not all the others have.
fn own_warnings<'a>(s: &'a Stops, stop: &'a Stop) -> Vec<&'a Said> {
    let has = |f: &Figures, kind: &str| f.warnings.iter().any(|w| w.kind == kind);
    let everywhere = |w: &Said| s.all.iter().all(|other| has(&other.figures, w.kind));
    let warnings = stop.figures.warnings.iter();
    warnings.filter(|w| !everywhere(w)).collect()
}

/// How its own sheet is made.
fn how(stop: &Stop) -> Option<String> {
    (!stop.of_sheet).then(|| {
        format!(
            "A sheet and a card of it: plan with --objective fuel --arrive-within {}.",
            number(up(stop.figures.totals.block_time_min, 1), 1).replace(',', "")
        )
    })
}

fn large(s: &Stops, i: usize, stop: &Stop) -> Markup {
    let (called, marks) = name(s, stop);
    html! {
        div.stop data-stop=(i) data-said=(said(s, stop)) hidden[i != s.start] {
            p.which { strong { (called) } @for m in marks { ", " (m) } }
            dl.sums {
                @for (what, words) in sums(s, &stop.figures) {
                    div { dt { (what) } dd { (words) } }
                }
            }
        }
    }
}

fn rest(s: &Stops, i: usize, stop: &Stop) -> Markup {
    html! {
        div.stop data-stop=(i) hidden[i != s.start] {
            p.plan { (stop.figures.in_one_line) }
            @for line in worth(s, stop) { p { (line) } }
            @for w in own_warnings(s, stop) { p { "Warning: " (sentence(&w.text)) "." } }
            (answer_list(&stop.figures))
            (totals_list(&stop.figures))
            @if let Some(line) = how(stop) { p.aside { (line) } }
        }
    }
}

/// Both drawings in one size.
fn drawings(s: &Stops, class: &str, look: Look) -> Result<Markup, ChartError> {
    let totals: Vec<&TotalsFigures> = s.all.iter().map(|stop| &stop.figures.totals).collect();
    let (line, at) = frontier_small(&s.frontier, &totals, look.text)?;
    let plans: Vec<&Figures> = s.all.iter().map(|stop| &stop.figures).collect();
    let heights = heights::layered(&plans, look)?;
    let begin = format!("<g data-stop=\"{}\"", s.start);
    let heights = heights.replace(&begin, &format!("{begin} class=\"shown\""));
    let points: Vec<String> = at.iter().map(|(x, y)| format!("{x:.4},{y:.4}")).collect();
    let (x, y) = at.get(s.start).copied().unwrap_or_default();
    let place = format!("left: {:.2}%; top: {:.2}%", 100.0 * x, 100.0 * y);
    Ok(html! {
        div.pair.(class) {
            div.picture.line data-points=(points.join(" ")) {
                (PreEscaped(line))
                div.ring style=(place) {}
            }
            div.picture { (PreEscaped(heights)) }
        }
    })
}

/// The slider and all that follows it. `sheet` tells of what else is on the page.
pub(super) fn viewer(s: &Stops, sheet: bool) -> Result<Markup, ChartError> {
    let wide = drawings(s, "wide", Look::HALF)?;
    let narrow = drawings(s, "narrow", Look::NARROW)?;
    Ok(html! {
        section.stops aria-labelledby="stops" {
            h2 id="stops" { "Fuel against time, plan by plan" }
            div.held {
                div.slide hidden {
                    input id="stop" type="range" min="0" max=(s.all.len().saturating_sub(1)) step="1" value=(s.start)
                        aria-label="Plans, from the quickest to the thriftiest" aria-describedby="slide";
                    p.ends aria-hidden="true" { span { "quickest" } span { "thriftiest" } }
                }
                @for (i, stop) in s.all.iter().enumerate() { (large(s, i, stop)) }
            }
            (wide)
            (narrow)
            p.aside id="slide" {
                "Slide, step with the arrow keys, or touch a point of the line."
                @if sheet { " The lever card and all else on this page are of the plan of this sheet, whatever is shown here." }
            }
            @for (i, stop) in s.all.iter().enumerate() { (rest(s, i, stop)) }
        }
    })
}

/// The plans in a table, and what its columns mean.
pub(super) fn plans(s: &Stops, before: &Markup) -> Markup {
    let f = &s.frontier;
    let heads = frontier_text::heads(f);
    let one_line = |text: &str| {
        text.replace("\n\n", ", ")
            .replace(",\n", ", ")
            .replace('\n', ", ")
    };
    let names: Vec<String> = heads.iter().map(|h| h.0.replace('\n', " ")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let words: Vec<usize> = (0..heads.len()).filter(|&i| !heads[i].1).collect();
    let cells = |p| {
        frontier_text::row(f, p)
            .iter()
            .map(|c| one_line(c))
            .collect()
    };
    let rows: Vec<Vec<String>> = f.plans.iter().map(cells).collect();
    html! {
        section aria-labelledby="plans" {
            h2 id="plans" { "Plans that no other beats in both time and fuel" }
            (before)
            (table(super::Name::Heading("plans"), &names, &rows, &words))
            @for line in explained(f) { p.aside { (line) } }
        }
    }
}
