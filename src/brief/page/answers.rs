//! What a pilot asks first, each with one plain answer.

use crate::brief::Figures;
use crate::brief::chart::{climbs_not, settled};
use crate::brief::words::{clock, clock_before, down, feet, knots, number, up};

/// A question, its answer in a few words, and what belongs to it.
pub(super) struct Answer {
    pub question: &'static str,
    pub short: String,
    pub more: Vec<String>,
}

fn level_off(f: &Figures) -> Answer {
    let (question, mut more) = if climbs_not(f) {
        ("Level", vec!["from the start".to_owned()])
    } else {
        let from = if f.trip.start_in_flight.is_some() {
            "from now"
        } else {
            "after take-off"
        };
        let line = format!(
            "{} nm out, {} min {from}",
            number(up(f.top_of_climb_nm, 0), 0),
            number(up(f.top_of_climb_min, 0), 0)
        );
        ("Level off", vec![line])
    };
    let later = f.cruise.iter().skip(1);
    more.extend(later.map(|c| {
        format!(
            "then {} ft, from {} nm out",
            feet(c.level_ft),
            number(c.from_nm, 0)
        )
    }));
    Answer {
        question,
        short: f
            .cruise
            .first()
            .map_or_else(String::new, |c| format!("{} ft", feet(c.level_ft))),
        more,
    }
}

fn set_in_cruise(f: &Figures) -> Answer {
    let mut flown = f.segments.iter().filter(|s| s.kind == "cruise");
    let mut lines = Vec::new();
    for (i, c) in f.cruise.iter().enumerate() {
        if i > 0 {
            lines.push(format!("at {} ft {}", feet(c.level_ft), c.setting));
        }
        let speeds = flown.next().map_or_else(String::new, |s| {
            let at = settled(f, s);
            format!(
                ", {} KIAS, {}",
                knots(at.ias_kt),
                f.units.flow(at.fuel_flow_gph)
            )
        });
        lines.push(format!("mixture {}{speeds}", c.mixture));
    }
    Answer {
        question: "Set in cruise",
        short: f
            .cruise
            .first()
            .map_or_else(String::new, |c| c.setting.clone()),
        more: lines,
    }
}

fn start_down(f: &Figures) -> Answer {
    let after = if f.trip.start_in_flight.is_some() {
        "from now"
    } else {
        "after take-off"
    };
    let d = &f.descent;
    let before = number(up(f.totals.time_min - f.top_of_descent_min, 0), 0);
    Answer {
        question: "Start down",
        short: format!("{} nm to go", number(up(f.top_of_descent_to_go_nm, 0), 0)),
        more: vec![
            format!(
                "{} {after}, {before} min before landing",
                clock_before(f.top_of_descent_min)
            ),
            format!(
                "{}about {} KIAS, {} fpm",
                if d.second_from_ft.is_some() {
                    "first "
                } else {
                    ""
                },
                knots(d.ias_kt),
                number(down(d.rate_fpm, -1), 0)
            ),
        ],
    }
}

fn go_around(f: &Figures) -> Option<Answer> {
    let field = f.fields.last()?;
    Some(Answer {
        question: "Mixture for a go-around",
        short: format!(
            "{} at {} ft",
            field.high_power_mixture,
            feet(f.pattern_altitude_ft)
        ),
        more: vec![format!(
            "set at pattern altitude, before landing, for density altitude {} ft at {}",
            number(up(field.density_altitude_ft, -1), 0),
            field.ident
        )],
    })
}

fn land_with(f: &Figures) -> Answer {
    let t = &f.totals;
    Answer {
        question: "Land with",
        short: f.units.left(t.landing_fuel_gal).to_string(),
        more: vec![
            format!("good for {} at cruise flow", clock(down(t.reserve_min, 0))),
            format!(
                "reserve asked for {}, {} min",
                f.units.burned(t.reserve_required_gal),
                number(t.reserve_required_min, 0)
            ),
        ],
    }
}

/// The answers, in the order of the flight.
pub(super) fn answers(f: &Figures) -> Vec<Answer> {
    let mut all = vec![level_off(f), set_in_cruise(f), start_down(f)];
    all.extend(go_around(f));
    all.push(land_with(f));
    all
}
