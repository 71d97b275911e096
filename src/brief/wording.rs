//! What the sheet says, whatever it is shown on: rows, lines and tables of words, which the terminal and the page lay out.

use super::figures::saves;
use super::words::{clock, down, feet, inches, knots, near, number, revs, sentence, tens, up};
use super::{Figures, Gain, SegmentFigures, TotalsFigures};

/// Heading of what the choices are worth.
pub(super) const CHOICES: &str = "What each choice is worth";

/// A table of differences: what it is, how to read it, and its rows; the first column is a name, the last a remark, the others figures.
pub(super) struct Differences {
    /// Heading.
    pub title: &'static str,
    /// How to read it.
    pub intro: &'static str,
    /// Heads of the columns.
    pub heads: Vec<&'static str>,
    /// As long as the heads, each.
    pub rows: Vec<Vec<String>>,
}

/// The figures of the whole trip, each with what it is of.
pub(super) fn totals(figures: &Figures) -> Vec<(&'static str, String)> {
    let t = &figures.totals;
    let here = figures.trip.start_in_flight.is_some();
    let mut rows = vec![
        (
            "Air",
            format!(
                "{} and {} gal, {} to landing, {} nm",
                clock(t.time_min),
                number(up(t.fuel_gal, 1), 1),
                if here { "from now" } else { "take-off" },
                number(up(t.distance_nm, 0), 0)
            ),
        ),
        (
            "Block",
            format!(
                "{} and {} gal, {} to shutdown{}",
                clock(t.block_time_min),
                number(up(t.block_fuel_gal, 1), 1),
                if here { "from now" } else { "start-up" },
                if t.cost > 0.0 {
                    format!("; cost {} at the trip's prices", money(t.cost))
                } else {
                    String::new()
                }
            ),
        ),
        (
            "Fuel",
            format!(
                "{} gal on board, {} gal needed with {}the reserve",
                number(down(figures.trip.fuel_on_board_gal, 1), 1),
                number(up(t.fuel_required_gal, 1), 1),
                if figures.alternate.is_some() {
                    "the alternate and "
                } else {
                    ""
                }
            ),
        ),
        ("Reserve", reserve_words(figures, t)),
    ];
    if let Some(a) = &figures.alternate {
        rows.push(("Onward", format!(
                "to the alternate {}, from a go-around at {}: {} nm, magnetic course {:03.0}, {} ft, {} and {} gal; {}, at \
                 least {} ft",
                a.ident,
                figures.trip.places.last().map_or("", String::as_str),
                number(up(a.distance_nm, 0), 0),
                a.magnetic_course_deg,
                feet(a.altitude_ft),
                clock(a.time_min),
                number(up(a.fuel_gal, 1), 1),
                a.highest_ground_ft
                    .map_or("no terrain data".to_owned(), |ft| format!(
                        "highest ground {} ft",
                        feet(ft)
                    )),
                feet(a.minimum_altitude_ft)
            )));
    }
    if figures.top_of_climb_min > 0.0 {
        rows.push((
            "Climb",
            format!(
                "level at {} nm after {} min{}",
                number(up(figures.top_of_climb_nm, 0), 0),
                number(up(figures.top_of_climb_min, 0), 0),
                figures
                    .second_climb_speed
                    .map_or(String::new(), |s| format!(
                        "; {} KIAS, from {} ft {} KIAS",
                        knots(s.first_ias_kt),
                        feet(s.from_ft),
                        knots(s.ias_kt)
                    ))
            ),
        ));
    }
    rows.push(("Down", format!(
            "{} nm to go, {} {}, {} min before landing; pattern altitude {} ft and speed at {} nm to go",
            number(up(figures.top_of_descent_to_go_nm, 0), 0),
            clock(figures.top_of_descent_min),
            if here { "from now" } else { "after take-off" },
            number(up(t.time_min - figures.top_of_descent_min, 0), 0),
            feet(figures.pattern_altitude_ft),
            number(t.distance_nm - figures.pattern_point_nm, 0)
        )));
    rows
}

fn reserve_words(figures: &Figures, t: &TotalsFigures) -> String {
    format!(
        "lands with {} gal, {} at cruise flow; asked for {} min ({} gal), legal least {} min ({} gal, {})",
        number(down(t.landing_fuel_gal, 1), 1),
        clock(down(t.reserve_min, 0)),
        number(t.reserve_required_min, 0),
        number(up(t.reserve_required_gal, 1), 1),
        number(t.legal_reserve_min, 0),
        number(up(t.legal_reserve_gal, 1), 1),
        figures.legal_reserve_rule,
    )
}

/// What the ordinary descent would have cost instead.
fn gain_words(g: &Gain, fixed_pitch: bool, priced: bool) -> String {
    let how = if fixed_pitch {
        "throttle back"
    } else {
        "cruise RPM, MAP reduced"
    };
    let part = |x: f64, places: i32, unit: &str| {
        let (shown, way) = if x >= 0.0 {
            (down(x, places), "more")
        } else {
            (up(-x, places), "less")
        };
        format!(
            "{}{unit} {way}",
            number(shown, places.unsigned_abs() as usize)
        )
    };
    let end = if g.no_real_difference {
        ": no real difference: choose comfort.".to_owned()
    } else if g.small_gain {
        format!(
            "; this plan {}, a small gain for it: choose comfort.",
            saves(g)
        )
    } else {
        ".".to_owned()
    };
    format!(
        "Ordinary flying ({how} to hold cruise IAS at 500 fpm) would have cost {}, {}{}{end}",
        part(g.time_min, 1, " min"),
        part(g.fuel_gal, 2, " gal"),
        if priced {
            format!(", {}", part(g.cost, 1, " in money"))
        } else {
            String::new()
        },
    )
}

fn money(x: f64) -> String {
    number(up(x, 0), 0)
}

/// How the descent is flown, what it is worth against ordinary flying, and what holds in rough air.
pub(super) fn descent(figures: &Figures) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(g) = &figures.gain_over_ordinary {
        lines.push(gain_words(
            g,
            figures.trip.fixed_pitch,
            figures.totals.cost > 0.0,
        ));
    }
    lines.push(figures.descent_sentence());
    let rough = figures
        .gain_over_ordinary
        .as_ref()
        .map_or_else(String::new, |g| {
            format!(
                ", and the ordinary descent from {} nm to go",
                number(up(g.ordinary_top_of_descent_to_go_nm, 0), 0)
            )
        });
    let va = number(down(figures.descent.rough_air_ias_kt, 0), 0);
    let words = match figures.descent.rough_up_to_ft {
        Some(top) => format!(
            "Rough air up to {} ft on the way down: no faster than {va} KIAS there, so a fast descent is refused.",
            feet(top)
        ),
        None => format!("If rough: {va} KIAS or less{rough}."),
    };
    lines.push(words);
    lines
}

/// Title of the table of segments.
pub(super) fn segments_title(figures: &Figures) -> String {
    let whose = if figures.trip.engines > 1 {
        "; MAP and RPM of each engine"
    } else {
        ""
    };
    let computed = if figures.trip.fixed_pitch {
        "; MAP computed"
    } else {
        ""
    };
    format!("Segments (heights indicated; the fpm of the altimeter{whose}{computed})")
}

/// Title of a side of the lever card.
pub(super) fn card_title(figures: &Figures, arrival: bool) -> String {
    let side = match (arrival, figures.trip.start_in_flight) {
        (true, _) => "arrival",
        (false, Some(_)) => "from here",
        (false, None) => "departure",
    };
    let alike = if figures.trip.engines > 1 {
        " (all engines alike)"
    } else {
        ""
    };
    format!("Lever card, {side}{alike}")
}

/// Heads of the table of segments.
pub(super) const SEGMENT_HEADS: [&str; 12] = [
    "", "nm", "ft", "KIAS", "kt GS", "MAP in", "RPM", "mixture", "gph", "fpm", "min", "gal",
];

/// What a segment is called in the table.
pub(super) fn name_of(kind: &str) -> &str {
    match kind {
        "initial_climb" => "Take-off",
        "accelerate" => "Speed up",
        "climb" => "Climb",
        "level_off" => "Level off",
        "cruise" => "Cruise",
        "level_change" => "New level",
        "descent" => "Descent",
        "slow_down" => "Slow down",
        "pattern" => "To field",
        "circuit" => "Circuit",
        other => other,
    }
}

/// "a-b", or one of them where they read the same.
fn range(a: String, b: String, wide: bool) -> String {
    if a == b {
        a
    } else if wide {
        format!("{a}-{b}")
    } else {
        format!("{a}\n{b}")
    }
}

/// A rate of climb in tens, rounded down: a climb is never flattered, a descent never played down.
fn rate(fpm: f64) -> String {
    // Level flight follows the altimeter setting along the route by a few feet a minute.
    let x = if fpm.abs() < 20.0 { 0.0 } else { down(fpm, -1) };
    number(x, 0)
}

/// Manifold pressure from start to end, or to its peak where it rises between: in a descent the end is already reduced.
fn map_range(s: &SegmentFigures, wide: bool) -> String {
    let (a, b) = (s.start.map_inhg, s.end.map_inhg);
    let end = if s.map_peak_inhg > a.max(b) + 0.3 {
        s.map_peak_inhg
    } else {
        b
    };
    range(inches(a), inches(end), wide)
}

/// A row of the table of segments; ranges on one line (`wide`), or one figure above the other.
pub(super) fn segment_row(s: &SegmentFigures, wide: bool) -> [String; 12] {
    let (a, b) = (&s.start, &s.end);
    let height = |ft: f64| {
        if s.kind == "cruise" || s.kind == "circuit" {
            feet(ft)
        } else {
            tens(ft)
        }
    };
    let mean_gph = if s.time_min > 0.0 {
        s.fuel_gal / s.time_min * 60.0
    } else {
        a.fuel_flow_gph
    };
    [
        name_of(s.kind).to_owned(),
        range(number(a.distance_nm, 0), number(b.distance_nm, 0), wide),
        range(
            height(a.indicated_altitude_ft),
            height(b.indicated_altitude_ft),
            wide,
        ),
        range(knots(a.ias_kt), knots(b.ias_kt), wide),
        range(knots(a.gs_kt), knots(b.gs_kt), wide),
        map_range(s, wide),
        // On a pitch stop the RPM wanders a little; that is no second setting.
        if (a.rpm - b.rpm).abs() < 60.0 {
            revs(b.rpm)
        } else {
            range(revs(a.rpm), revs(b.rpm), wide)
        },
        a.mixture.clone(),
        number(up(mean_gph, 1), 1),
        // A hyphen between two minus signs would not be read.
        match (
            range(rate(a.vs_fpm), rate(b.vs_fpm), wide),
            wide && b.vs_fpm < -20.0,
        ) {
            (text, true) => text.replacen("--", "/-", 1),
            (text, false) => text,
        },
        number(s.time_min, 1),
        number(up(s.fuel_gal, 1), 1),
    ]
}

/// With its sign, not flattering the plan: what another way takes more is rounded down; what it saves, to the nearest.
fn beside(x: f64, places: i32) -> String {
    let shown = if x > 0.0 {
        down(x, places)
    } else {
        near(x, places)
    };
    signed(shown, places.unsigned_abs() as usize)
}

/// With its sign, not flattering the change: what it takes more is rounded up, what it saves is rounded down.
fn after(x: f64, places: i32) -> String {
    let shown = if x > 0.0 {
        up(x, places)
    } else {
        -down(-x, places)
    };
    signed(shown, places.unsigned_abs() as usize)
}

/// Heads of the columns that the tables of differences share; what money is beside minutes and gallons is no column of its own where
/// one of these is least.
fn difference_heads(figures: &Figures) -> Vec<&'static str> {
    let mut heads = vec![""];
    if figures.objective.kind == "money" {
        heads.push("money");
    }
    heads.extend(["min", "gal", "down nm"]);
    heads
}

/// Objective where it is money, minutes, gallons and where it starts down.
fn differences(
    figures: &Figures,
    by: fn(f64, i32) -> String,
    [objective, min, gal, down_nm]: [f64; 4],
) -> Vec<String> {
    let mut out = Vec::new();
    if figures.objective.kind == "money" {
        out.push(by(objective, 1));
    }
    out.extend([by(min, 1), by(gal, 2), number(up(down_nm, 0), 0)]);
    out
}

/// What each choice is worth, if there are other ways.
pub(super) fn choices(figures: &Figures) -> Option<Differences> {
    if figures.alternatives.is_empty() {
        return None;
    }
    let mut heads = difference_heads(figures);
    heads.push("");
    let rows = figures
        .alternatives
        .iter()
        .map(|a| {
            let mut row = vec![a.name.clone()];
            row.extend(differences(
                figures,
                beside,
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
    heads.extend(["lands gal", ""]);
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
            row.push(number(down(o.totals.landing_fuel_gal, 1), 1));
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
    let heads = vec!["", "min", "gal", if priced { "cost" } else { "" }, "ft", ""];
    let cost = |x: f64| if priced { money(x) } else { String::new() };
    let levels = |l: &[f64]| l.iter().map(|&ft| feet(ft)).collect::<Vec<_>>().join(", ");
    let row = |name: String, time_min: f64, fuel_gal: f64, money: f64, l: &[f64]| {
        vec![
            name,
            number(up(time_min, 1), 1),
            number(up(fuel_gal, 1), 1),
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
        heads,
        rows,
    })
}

/// Both fields today.
fn fields(figures: &Figures) -> Vec<String> {
    let line = |f: &super::FieldFigures| {
        format!(
            "{}: {} ft, altimeter {} inHg, density altitude {} ft, mixture for take-off, climb and go-around: {}",
            f.ident,
            feet(f.elevation_ft),
            number(f.altimeter_inhg, 2),
            number(up(f.density_altitude_ft, -1), 0),
            f.high_power_mixture
        )
    };
    figures.fields.iter().map(line).collect()
}

/// Where the weather is from.
fn weather(figures: &Figures) -> Vec<String> {
    figures.weather.iter().map(|s| s.words()).collect()
}

/// Limits and warnings as sentences.
fn sentences(said: &[super::Said]) -> Vec<String> {
    let line = |s: &super::Said| format!("{}.", sentence(&s.text));
    said.iter().map(line).collect()
}

/// The lists that end the sheet: heading, mark before each line, lines. Those without lines have no heading either.
pub(super) fn lists(figures: &Figures) -> Vec<(&'static str, &'static str, Vec<String>)> {
    let all = [
        ("Fields today", "  ", fields(figures)),
        ("Weather used", "  ", weather(figures)),
        (
            "What holds the plan back",
            "  ",
            sentences(&figures.binding_limits),
        ),
        ("Warnings", "  ! ", sentences(&figures.warnings)),
        ("Cautions", "  ", figures.cautions.clone()),
        ("Small print", "  ", small_print(figures)),
    ];
    all.into_iter()
        .filter(|(_, _, lines)| !lines.is_empty())
        .collect()
}

/// What the path keeps clear of, each by name over the whole of where it lies.
fn kept_clear_of(figures: &Figures) -> Vec<String> {
    let mut names: Vec<&str> = Vec::new();
    for b in &figures.barred {
        if !names.contains(&b.name.as_str()) {
            names.push(&b.name);
        }
    }
    let line = |name: &str| {
        let parts = || figures.barred.iter().filter(|b| b.name == name);
        let from = parts().map(|b| b.from_nm).fold(f64::INFINITY, f64::min);
        let to = parts().map(|b| b.to_nm).fold(0.0, f64::max);
        let low = parts().map(|b| b.low_ft).reduce(|a, b| Some(a?.min(b?)));
        let high = parts().map(|b| b.high_ft).reduce(|a, b| Some(a?.max(b?)));
        let low = low.flatten().map_or("the ground".to_owned(), feet);
        let high = high
            .flatten()
            .map_or("any height".to_owned(), |ft| format!("{} ft", feet(ft)));
        format!(
            "Kept clear of {name}: from {low} to {high}, {} to {} nm along the route.",
            number(down(from, 0), 0),
            number(up(to, 0), 0)
        )
    };
    names.into_iter().map(line).collect()
}

/// How far the plan can be trusted, and where its ground is from.
fn small_print(figures: &Figures) -> Vec<String> {
    let r = &figures.reflight;
    let trip = &figures.trip;
    let before_flight = match trip.start_in_flight {
        Some(_) => String::new(),
        None => format!(
            " Of the total, {} gal are the take-off run; taxi takes {} gal more.",
            number(up(trip.take_off_run_fuel_gal, 1), 1),
            number(up(trip.taxi_fuel_gal, 1), 1)
        ),
    };
    let mut lines = vec![format!(
        "Margin over the ideal flight {} %, of which rounding to what a hand can set {} %. Re-flown by an independent \
             integrator: {} s, {} gal, {} ft and {} kt off at the pattern point. Search {}, {} flights.{}",
        number(up(figures.ideal.margin_percent, 1), 1),
        number(up(figures.objective.rounding_loss_percent, 2), 2),
        signed(r.time_error_s, 1),
        signed(r.fuel_error_gal, 3),
        signed(r.height_error_ft, 0),
        signed(r.speed_error_kt, 1),
        match figures.termination {
            "converged" => "converged",
            _ => "NOT converged: steps exhausted",
        },
        number(
            f64::from(u32::try_from(figures.flights).unwrap_or(u32::MAX)),
            0
        ),
        before_flight,
    )];
    lines.extend(figures.card_notes.iter().chain(&figures.notes).cloned());
    lines.extend(kept_clear_of(figures));
    let mut said = "";
    for l in &figures.legs {
        let source = if l.ground_source == said {
            "as above"
        } else {
            &l.ground_source
        };
        said = &l.ground_source;
        lines.push(format!(
            "Ground and minimum {} to {} (magnetic course {:03.0}, at least {} ft{}): {}",
            l.from,
            l.to,
            l.magnetic_course_deg,
            feet(l.minimum_altitude_ft),
            l.maximum_altitude_ft
                .map_or(String::new(), |most| format!(", at most {} ft", feet(most))),
            source
        ));
    }
    lines
}

fn signed(x: f64, places: usize) -> String {
    let text = number(x, places);
    if x > 0.0 && text.chars().any(|c| c.is_ascii_digit() && c != '0') {
        format!("+{text}")
    } else {
        text
    }
}
