//! The plan in one line.

use crate::brief::circling::in_short;
use crate::brief::cruise::CruiseFigures;
use crate::brief::measure::Amount;
use crate::brief::terminal::WIDEST;
use crate::brief::units::nm;
use crate::brief::words::{feet, number, up};
use crate::solve::Plan;
use crate::trip::Problem;

/// What the plan in one line leaves out to be one line, the least missed first.
const SHORTER: [&str; 3] = ["heights of circling", "throttle readings", "later settings"];

pub(super) fn in_one_line(
    plan: &Plan,
    problem: &Problem,
    cruise: &[CruiseFigures],
    landing: &Amount,
) -> String {
    let to_go = up(
        nm(problem.length_m - plan.flown.top_of_descent.distance_m),
        0,
    );
    let circling = in_short(&plan.flown);
    let line = |without: usize| {
        let [heights, readings, later] = std::array::from_fn(|i| i >= without);
        let mut parts = Vec::new();
        for (i, c) in cruise.iter().enumerate() {
            let level = if i > 0 {
                format!(
                    "then {} ft from {} nm",
                    feet(c.level_ft),
                    number(c.from_nm, 0)
                )
            } else {
                format!("{} ft", feet(c.level_ft))
            };
            parts.push(level);
            if i == 0 || later {
                parts.push(if readings {
                    c.setting.clone()
                } else {
                    without_brackets(&c.setting)
                });
            }
        }
        let turns = |words: &String, short: &str| {
            if heights {
                words.clone()
            } else {
                short.to_owned()
            }
        };
        let [up_circling, down_circling] = &circling;
        let climb = up_circling.as_ref();
        parts.extend(climb.map(|words| format!("climb {}", turns(words, "circling"))));
        parts.push(if to_go > 0.0 {
            format!("down at {} nm", number(to_go, 0))
        } else {
            "down over the field".to_owned()
        });
        parts.extend(down_circling.as_ref().map(|words| turns(words, "circling")));
        parts.push(format!("lands with {landing}"));
        parts.join(", ")
    };
    let lines = (0..=SHORTER.len()).map(line);
    let mut shortest = String::new();
    for one in lines {
        shortest = one;
        if shortest.chars().count() <= WIDEST {
            break;
        }
    }
    shortest
}

/// "full throttle / 2,500" of "full throttle (19.6 in) / 2,500".
fn without_brackets(setting: &str) -> String {
    match (setting.find(" ("), setting.find(')')) {
        (Some(from), Some(to)) if from < to => {
            format!("{}{}", &setting[..from], &setting[to + 1..])
        }
        _ => setting.to_owned(),
    }
}
