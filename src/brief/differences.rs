//! What other choices, other air and other times would make of the trip: tables of words, which the terminal and the page lay out.

use super::Figures;
use super::wording::{money, signed, with_sign};
use super::words::{down, feet, near, number, up};

/// Heading of what the choices are worth.
pub(super) const CHOICES: &str = "What each choice is worth";

/// A table of differences: what it is, how to read it, and its rows; the first column is a name, the last a remark, the others figures.
pub(super) struct Differences {
    /// Heading.
    pub title: &'static str,
    /// How to read it.
    pub intro: &'static str,
    /// Heads of the columns.
    pub heads: Vec<String>,
    /// As long as the heads, each.
    pub rows: Vec<Vec<String>>,
}

/// Not flattering the plan: what another way takes more is rounded down; what it saves, to the nearest.
pub(super) fn not_flattering(x: f64, places: i32) -> f64 {
    if x > 0.0 {
        down(x, places)
    } else {
        near(x, places)
    }
}

/// Not flattering the change: what it takes more is rounded up, what it saves is rounded down.
fn after(x: f64, places: i32) -> f64 {
    if x > 0.0 {
        up(x, places)
    } else {
        -down(-x, places)
    }
}

/// Heads of the columns that the tables of differences share; what money is beside minutes and fuel is no column of its own where
/// one of these is least.
fn difference_heads(figures: &Figures) -> Vec<String> {
    let mut heads = vec![String::new()];
    if figures.objective.kind == "money" {
        heads.push("money".to_owned());
    }
    heads.extend(["min", figures.units.volume(), "down nm"].map(str::to_owned));
    heads
}

/// Objective where it is money, minutes, gallons and where it starts down.
fn differences(
    figures: &Figures,
    by: fn(f64, i32) -> f64,
    [objective, min, gal, down_nm]: [f64; 4],
) -> Vec<String> {
    let mut out = Vec::new();
    if figures.objective.kind == "money" {
        out.push(signed(by(objective, 1), 1));
    }
    out.extend([
        signed(by(min, 1), 1),
        with_sign(figures.units.difference(gal, by).figure),
        number(up(down_nm, 0), 0),
    ]);
    out
}

/// What each choice is worth, if there are other ways.
pub(super) fn choices(figures: &Figures) -> Option<Differences> {
    if figures.alternatives.is_empty() {
        return None;
    }
    let mut heads = difference_heads(figures);
    heads.push(String::new());
    let rows = figures
        .alternatives
        .iter()
        .map(|a| {
            let mut row = vec![a.name.clone()];
            row.extend(differences(
                figures,
                not_flattering,
                [
                    a.difference,
                    a.difference_min,
                    a.difference_gal,
                    a.top_of_descent_to_go_nm,
                ],
            ));
            row.push(
                if a.no_real_difference {
                    "no real difference"
                } else if a.difference < 0.0 {
                    "not worth its lever moves"
                } else {
                    ""
                }
                .to_owned(),
            );
            row
        })
        .collect();
    Some(Differences {
        title: CHOICES,
        intro: "More than the plan, with everything but the choice named chosen anew (the ordinary descent excepted):",
        heads,
        rows,
    })
}

/// What was not looked at for a limit.
pub(super) fn left_out(figures: &Figures) -> Vec<String> {
    let line = |l: &super::Said| format!("Left out for a limit: {}.", l.text);
    figures.left_out.iter().map(line).collect()
}

/// What it comes to when something is not as forecast.
pub(super) fn forecast(figures: &Figures) -> Option<Differences> {
    let first = figures.sensitivity.first()?;
    let mut heads = difference_heads(figures);
    heads.extend([format!("lands {}", figures.units.volume()), String::new()]);
    let rows = figures
        .sensitivity
        .iter()
        .map(|s| {
            let mut row = vec![s.name.clone()];
            let Some(o) = &s.outcome else {
                row.resize(heads.len() - 1, "-".to_owned());
                row.push(format!(
                    "cannot be flown: {}",
                    s.not_flown.as_deref().unwrap_or("")
                ));
                return row;
            };
            row.extend(differences(
                figures,
                after,
                [
                    o.difference,
                    o.difference_min,
                    o.difference_gal,
                    o.top_of_descent_to_go_nm,
                ],
            ));
            row.push(figures.units.left(o.totals.landing_fuel_gal).figure);
            row.push(if !o.broken_limits.is_empty() {
                format!("cannot be flown so: {}", o.broken_limits.join(", "))
            } else if o.levels_ft != figures.levels_ft {
                let levels: Vec<String> = o.levels_ft.iter().map(|&l| feet(l)).collect();
                format!("at {} ft", levels.join(", "))
            } else {
                String::new()
            });
            row
        })
        .collect();
    Some(Differences {
        title: "If it is not as forecast",
        intro: if first.planned_anew {
            "More than the plan, with a plan made anew for each:"
        } else {
            "More than the plan, with the same settings and the start down moved:"
        },
        heads,
        rows,
    })
}

/// The trip at later times of departure, where these were asked for.
pub(super) fn later(figures: &Figures) -> Option<Differences> {
    if figures.later.is_empty() {
        return None;
    }
    // without prices there is nothing to compare
    let priced = figures.totals.cost > 0.0;
    let units = figures.units;
    let cost = if priced { "cost" } else { "" };
    let heads = ["", "min", units.volume(), cost, "ft", ""].map(str::to_owned);
    let cost = |x: f64| if priced { money(x) } else { String::new() };
    let levels = |l: &[f64]| l.iter().map(|&ft| feet(ft)).collect::<Vec<_>>().join(", ");
    let row = |name: String, time_min: f64, fuel_gal: f64, money: f64, l: &[f64]| {
        vec![
            name,
            number(up(time_min, 1), 1),
            units.burned(fuel_gal).figure,
            cost(money),
            levels(l),
            String::new(),
        ]
    };
    let t = &figures.totals;
    let mut rows = vec![row(
        "as asked for".into(),
        t.time_min,
        t.fuel_gal,
        t.cost,
        &figures.levels_ft,
    )];
    for l in &figures.later {
        let name = format!("+{} min, {}", number(l.later_min, 0), l.clock());
        rows.push(match &l.outcome {
            Some(o) => row(name, o.time_min, o.fuel_gal, o.cost, &o.levels_ft),
            None => {
                let why = format!("not planned: {}", l.not_planned.as_deref().unwrap_or(""));
                let dash = || "-".to_owned();
                let third = if priced { dash() } else { String::new() };
                vec![name, dash(), dash(), third, dash(), why]
            }
        });
    }
    Some(Differences {
        title: "If it starts up later",
        intro: "Planned anew for each, with the same surface observations and altimeter settings:",
        heads: heads.to_vec(),
        rows,
    })
}
