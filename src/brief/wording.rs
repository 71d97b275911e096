//! What the sheet says, whatever it is shown on: rows, lines and tables of words, which the terminal and the page lay out.

use super::figures::saves;
use super::measure::Units;
use super::words::{
    clock, clock_before, down, feet, inches, knots, number, revs, sentence, tens, up,
};
use super::{Figures, Gain, SegmentFigures, TotalsFigures};

/// The figures of the whole trip, each with what it is of.
pub(super) fn totals(figures: &Figures) -> Vec<(&'static str, String)> {
    let t = &figures.totals;
    let units = figures.units;
    let here = figures.trip.start_in_flight.is_some();
    let mut rows = vec![
        (
            "Air",
            format!(
                "{} and {}, {} to landing, {} nm",
                clock(t.time_min),
                units.burned(t.fuel_gal),
                if here { "from now" } else { "take-off" },
                number(up(t.distance_nm, 0), 0)
            ),
        ),
        (
            "Block",
            format!(
                "{} and {}, {} to shutdown{}",
                clock(t.block_time_min),
                units.burned(t.block_fuel_gal),
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
                "{} on board, {} needed with {}the reserve",
                units.left(figures.trip.fuel_on_board_gal),
                units.burned(t.fuel_required_gal),
                if figures.alternate.is_some() {
                    "the alternate and "
                } else {
                    ""
                }
            ),
        ),
        ("Reserve", reserve_words(figures, t)),
        ("Clock", figures.times.words()),
    ];
    if let Some(a) = &figures.alternate {
        rows.push(("Onward", format!(
                "to the alternate {}, from a go-around at {}: {} nm, magnetic course {:03.0}, {} ft, {} and {}; {}, at \
                 least {} ft",
                a.ident,
                figures.trip.places.last().map_or("", String::as_str),
                number(up(a.distance_nm, 0), 0),
                a.magnetic_course_deg,
                feet(a.altitude_ft),
                clock(a.time_min),
                units.burned(a.fuel_gal),
                a.highest_ground_ft
                    .map_or("no terrain data".to_owned(), |ft| format!(
                        "highest ground {} ft",
                        feet(ft)
                    )),
                feet(a.minimum_altitude_ft)
            ) + &a.circling_from_ft.map_or(String::new(), |ft| {
                format!("; let down circling over the alternate from {} ft", feet(ft))
            })));
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
            ) + &figures
                .circling_climb
                .as_ref()
                .map_or(String::new(), |c| format!("; {}", c.sentence)),
        ));
    }
    let to_go = number(up(figures.top_of_descent_to_go_nm, 0), 0);
    let from = match &figures.circling_descent {
        Some(_) if to_go == "0" => "over the field".to_owned(),
        _ => format!("{to_go} nm to go"),
    };
    let pattern = match &figures.circling_descent {
        Some(c) => format!(
            "{}; pattern altitude {} ft and speed over the field",
            c.sentence,
            feet(figures.pattern_altitude_ft)
        ),
        None => format!(
            "pattern altitude {} ft and speed at {} nm to go",
            feet(figures.pattern_altitude_ft),
            number(t.distance_nm - figures.pattern_point_nm, 0)
        ),
    };
    rows.push((
        "Down",
        format!(
            "{from}, {} {}, {} min before landing; {pattern}",
            clock_before(figures.top_of_descent_min),
            if here { "from now" } else { "after take-off" },
            number(up(t.time_min - figures.top_of_descent_min, 0), 0),
        ),
    ));
    rows
}

fn reserve_words(figures: &Figures, t: &TotalsFigures) -> String {
    let units = figures.units;
    format!(
        "lands with {}, {} at cruise flow; asked for {} min ({}), legal least {} min ({}, {})",
        units.left(t.landing_fuel_gal),
        clock(down(t.reserve_min, 0)),
        number(t.reserve_required_min, 0),
        units.burned(t.reserve_required_gal),
        number(t.legal_reserve_min, 0),
        units.burned(t.legal_reserve_gal),
        figures.legal_reserve_rule,
    )
}

/// What the ordinary descent would have cost instead.
fn gain_words(g: &Gain, fixed_pitch: bool, priced: bool, units: Units) -> String {
    let how = if fixed_pitch {
        "throttle back"
    } else {
        "cruise RPM, MAP reduced"
    };
    type Round = fn(f64, i32) -> f64;
    let part = |x: f64, written: &dyn Fn(f64, Round) -> String| {
        if x >= 0.0 {
            format!("{} more", written(x, down))
        } else {
            format!("{} less", written(-x, up))
        }
    };
    let tenths = |unit: &'static str| {
        move |x: f64, round: Round| format!("{} {unit}", number(round(x, 1), 1))
    };
    let end = if g.no_real_difference {
        ": no real difference: choose comfort.".to_owned()
    } else if g.small_gain {
        format!(
            "; this plan {}, a small gain for it: choose comfort.",
            saves(g, units)
        )
    } else {
        ".".to_owned()
    };
    format!(
        "Ordinary flying ({how} to hold cruise IAS at 500 fpm) would have cost {}, {}{}{end}",
        part(g.time_min, &tenths("min")),
        part(g.fuel_gal, &|x, round| units
            .difference(x, round)
            .to_string()),
        if priced {
            format!(", {}", part(g.cost, &tenths("in money")))
        } else {
            String::new()
        },
    )
}

/// Money, rounded up.
pub(super) fn money(x: f64) -> String {
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
            figures.units,
        ));
    }
    lines.push(figures.descent_sentence());
    let va = number(down(figures.descent.rough_air_ias_kt, 0), 0);
    let words = match figures.descent.rough_up_to_ft {
        Some(top) => format!(
            "Rough air up to {} ft on the way down: no faster than {va} KIAS there, so a fast descent is refused.",
            feet(top)
        ),
        None => match &figures.if_rough {
            Some(r) => format!("If rough: {}.", r.text),
            None => format!("If rough: {va} KIAS or less."),
        },
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
pub(super) fn segment_heads(units: Units) -> [&'static str; 12] {
    let (flow, fuel) = (units.flow_unit(), units.volume());
    [
        "", "nm", "ft", "KIAS", "kt GS", "MAP in", "RPM", "mixture", flow, "fpm", "min", fuel,
    ]
}

/// What a segment is called in the table.
pub(super) fn name_of(kind: &str) -> &str {
    match kind {
        "initial_climb" => "Take-off",
        "accelerate" => "Speed up",
        "climb" => "Climb",
        "circling_climb" => "Circle up",
        "level_off" => "Level off",
        "cruise" => "Cruise",
        "level_change" => "New level",
        "descent" => "Descent",
        "circling_descent" => "Circle down",
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
pub(super) fn segment_row(s: &SegmentFigures, wide: bool, units: Units) -> [String; 12] {
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
        match s.turns {
            Some(turns) => format!("{} turns", number(turns, 1)),
            None => range(knots(a.gs_kt), knots(b.gs_kt), wide),
        },
        map_range(s, wide),
        // On a pitch stop the RPM wanders a little; that is no second setting.
        if (a.rpm - b.rpm).abs() < 60.0 {
            revs(b.rpm)
        } else {
            range(revs(a.rpm), revs(b.rpm), wide)
        },
        a.mixture.clone(),
        units.flow(mean_gph).figure,
        // A hyphen between two minus signs would not be read.
        match (
            range(rate(a.vs_fpm), rate(b.vs_fpm), wide),
            wide && b.vs_fpm < -20.0,
        ) {
            (text, true) => text.replacen("--", "/-", 1),
            (text, false) => text,
        },
        number(s.time_min, 1),
        units.burned(s.fuel_gal).figure,
    ]
}

/// Both fields today.
fn fields(figures: &Figures) -> Vec<String> {
    let line = |f: &super::FieldFigures| {
        // With fixed gear both are one.
        let gear = if f.climb_fpm - f.go_around_fpm > 0.5 {
            format!(
                ", {} fpm with the gear down",
                number(down(f.go_around_fpm, -1), 0)
            )
        } else {
            String::new()
        };
        format!(
            "{}: {} ft, altimeter {}, density altitude {} ft, mixture for take-off, climb and go-around: {}; at {} and \
             {} KIAS it climbs {} fpm{}, flaps up",
            f.ident,
            feet(f.elevation_ft),
            figures.units.altimeter(f.altimeter_inhg),
            number(up(f.density_altitude_ft, -1), 0),
            f.high_power_mixture,
            figures.units.weight(f.weight_lb),
            knots(f.climb_ias_kt),
            number(down(f.climb_fpm, -1), 0),
            gear,
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
            " Of the total, {} are the take-off run; taxi takes {} more.",
            figures.units.burned(trip.take_off_run_fuel_gal),
            figures.units.burned(trip.taxi_fuel_gal)
        ),
    };
    let mut lines = vec![format!(
        "Margin over the ideal flight{} {} %, of which rounding to what a hand can set {} %. Re-flown by an independent \
             integrator: {} s, {}, {} ft and {} kt off {}. Search {}, {} flights.{}",
        if figures.circling_climb.is_some() || figures.circling_descent.is_some() {
            " between the turns"
        } else {
            ""
        },
        number(up(figures.ideal.margin_percent, 1), 1),
        number(up(figures.objective.rounding_loss_percent, 2), 2),
        signed(r.time_error_s, 1),
        with_sign(figures.units.trace(r.fuel_error_gal).to_string()),
        signed(r.height_error_ft, 0),
        signed(r.speed_error_kt, 1),
        if figures.circling_descent.is_some() {
            "where it begins to circle down"
        } else {
            "at the pattern point"
        },
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

/// With its sign.
pub(super) fn signed(x: f64, places: usize) -> String {
    with_sign(number(x, places))
}

/// A written figure with its sign; nought has none.
pub(super) fn with_sign(text: String) -> String {
    if !text.starts_with('-') && text.chars().any(|c| c.is_ascii_digit() && c != '0') {
        format!("+{text}")
    } else {
        text
    }
}
