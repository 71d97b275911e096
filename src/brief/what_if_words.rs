//! What the lesson of one lever alone says, by its numbers.

use super::measure::Units;
use super::units::{ft, inhg, rpm};
use super::what_if::{GoAroundFigures, SquareFigures, StateFigures};
use super::words::{feet, near, number, revs};
use crate::teach::what_if::WhatIf;

/// "22.5 in".
pub(super) fn inches(x: f64) -> String {
    format!("{} in", number(x, 1))
}

/// "2,400".
pub(super) fn turns(x: f64) -> String {
    number(x, 0)
}

/// "up 3.2" or "down 3.2".
fn moves(x: f64, places: usize) -> String {
    let way = if x < 0.0 { "down" } else { "up" };
    format!("{way} {}", number(x.abs(), places))
}

/// The same of a fuel flow, gph.
fn flow_moves(gph: f64, units: Units) -> String {
    let way = if gph < 0.0 { "down" } else { "up" };
    format!("{way} {}", units.mean_flow(gph.abs()))
}

/// The first of a list for which something holds of its distance from the setting now.
fn beside(
    states: &[StateFigures],
    here: &StateFigures,
    by: impl Fn(&StateFigures) -> f64,
) -> Option<StateFigures> {
    states
        .iter()
        .filter(|s| by(s) < by(here) - 1e-6)
        .min_by(|a, b| (by(here) - by(a)).total_cmp(&(by(here) - by(b))))
        .cloned()
}

/// The one farthest below the setting now.
fn lowest(
    states: &[StateFigures],
    here: &StateFigures,
    by: impl Fn(&StateFigures) -> f64,
) -> Option<StateFigures> {
    let last = states.last()?;
    (by(last) < by(here) - 1e-6).then(|| last.clone())
}

pub(super) fn about_rpm(here: &StateFigures, states: &[StateFigures], units: Units) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(s) = lowest(states, here, |s| s.rpm) {
        said.push(format!(
            "From {} to {} rpm at the same {}: power {} % of rated, fuel flow {}, true airspeed {} kt, blade angle {}°. Fewer cylinders are \
             filled each minute; friction takes less, so power falls by less than RPM ({} % of it for {} % of RPM).",
            turns(here.rpm),
            turns(s.rpm),
            inches(here.map_inhg),
            moves(s.power_percent - here.power_percent, 1),
            flow_moves(s.fuel_flow_gph - here.fuel_flow_gph, units),
            moves(s.tas_kt - here.tas_kt, 0),
            moves(s.blade_angle_deg - here.blade_angle_deg, 1),
            number(100.0 * (1.0 - s.power_percent / here.power_percent), 0),
            number(100.0 * (1.0 - s.rpm / here.rpm), 0),
        ));
        said.push(
            "The governor coarsens the blades to slow the engine: the same air is bitten off in larger and fewer bites.".to_owned(),
        );
    }
    said
}

pub(super) fn about_map(here: &StateFigures, states: &[StateFigures], units: Units) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(s) = beside(states, here, |s| s.map_inhg) {
        said.push(format!(
            "An inch less at the same {} rpm: power {} % of rated, fuel flow {}, true airspeed {} kt, blade angle {}°. The governor keeps the \
             RPM by flattening the blades, so the tachometer does not show that power changed.",
            turns(here.rpm),
            moves(s.power_percent - here.power_percent, 1),
            flow_moves(s.fuel_flow_gph - here.fuel_flow_gph, units),
            moves(s.tas_kt - here.tas_kt, 0),
            moves(s.blade_angle_deg - here.blade_angle_deg, 1),
        ));
    }
    said
}

/// Where a way stands against the line.
pub(super) fn against(margin_inhg: f64) -> String {
    if margin_inhg.abs() < 0.05 {
        "on the limit line".to_owned()
    } else if margin_inhg < 0.0 {
        format!("over the limit line by {}", inches(-margin_inhg))
    } else {
        format!("{} below the limit line", inches(margin_inhg))
    }
}

pub(super) fn about_order(all: &WhatIf, from: &StateFigures) -> Vec<String> {
    let w = &all.ways;
    let (to_map, to_rpm) = (inhg(all.ask.to_map_pa), rpm(all.ask.to_rev_s));
    let risen = inhg(w.risen_pa);
    // The last place is the one wanted; the throttle is trimmed to it from the one before.
    let untrimmed = w.throttle_first.points.iter().rev().nth(1);
    let drifted = untrimmed.map_or(to_map, |g| inhg(g.map_pa));
    let left_alone = if risen > from.map_inhg + 0.05 {
        format!(
            "MAP rises by itself to {}, for the slower engine draws less through the same throttle",
            inches(risen)
        )
    } else {
        format!("MAP ends at {}", inches(risen))
    };
    let mut said = vec![
        format!(
            "Reducing from {} / {} to {} / {}. Propeller first, throttle left alone: {left_alone}; at the worst, at {} rpm, it is {}. \
             Throttle first: at the worst {}.",
            inches(from.map_inhg),
            turns(from.rpm),
            inches(to_map),
            turns(to_rpm),
            turns(rpm(w.propeller_first.worst.rev_s)),
            against(inhg(w.propeller_first.margin_pa)),
            against(inhg(w.throttle_first.margin_pa)),
        ),
        format!(
            "So throttle first when reducing, and MAP trimmed while the propeller comes back: left alone it drifts from {} to {}. Adding \
             goes the same way back: RPM first, then throttle.",
            inches(to_map),
            inches(drifted)
        ),
    ];
    let full = inhg(w.full_throttle_pa);
    said.push(match w.full_throttle_meets {
        Some(g) => format!(
            "Where it bites: at full throttle here ({} at the highest RPM) the propeller alone brought back meets the limit line at about {} rpm.",
            inches(full),
            revs(rpm(g.rev_s))
        ),
        None => format!(
            "At this height full throttle gives {} at the highest RPM, and the propeller alone brought back nowhere meets the limit line. \
             The habit is for the heights where it does.",
            inches(full)
        ),
    });
    said
}

pub(super) fn about_over_square(rows: &[SquareFigures], own: bool) -> Vec<String> {
    let mut said = Vec::new();
    if !own {
        said.push(
            "The profile has no limit line, so MAP (in) is kept to RPM/100. That is a habit (common practice, no source), not a limit of \
             this engine; entering the engine maker's line frees more."
                .to_owned(),
        );
        return said;
    }
    let over = rows
        .iter()
        .max_by(|a, b| (a.limit_inhg - a.square_inhg).total_cmp(&(b.limit_inhg - b.square_inhg)));
    if let Some(r) = over.filter(|r| r.limit_inhg > r.square_inhg) {
        said.push(format!(
            "\"Over-square\" (more inches than RPM/100) is no limit of this engine: its line allows {} at {} rpm, {} over square. The \
             mean pressure on the pistons is then {} % of that at rated power; at {} square it is {} %.",
            inches(r.limit_inhg),
            turns(r.rpm),
            inches(r.limit_inhg - r.square_inhg),
            number(r.effort_at_limit_percent, 0),
            inches(r.square_inhg),
            number(r.effort_at_square_percent, 0),
        ));
    }
    said.push(
        "What the line guards against is pressure and heat in the cylinder and, at some RPM, vibration: none of them is modelled here, so \
         the line is taken as given."
            .to_owned(),
    );
    said
}

pub(super) fn about_leaning(
    here: &StateFigures,
    rows: &[StateFigures],
    units: Units,
) -> Vec<String> {
    let mut said = Vec::new();
    let best = rows
        .iter()
        .max_by(|a, b| a.power_percent.total_cmp(&b.power_percent));
    let thrifty = rows
        .iter()
        .max_by(|a, b| a.nm_per_gal.total_cmp(&b.nm_per_gal));
    if let (Some(b), Some(t)) = (best, thrifty) {
        said.push(format!(
            "With the other levers at {} / {}, {} makes the most power ({} %); {} goes farthest on a {}: {} nm against {}, {} kt slower.",
            inches(here.map_inhg),
            turns(here.rpm),
            b.mixture,
            number(b.power_percent, 1),
            t.mixture,
            units.volume_word(),
            units.nm_per_volume(t.nm_per_gal, near),
            units.nm_per_volume(b.nm_per_gal, near),
            number((b.tas_kt - t.tas_kt).max(0.0), 0),
        ));
    }
    if let Some(rich) = rows
        .first()
        .filter(|r| best.is_some_and(|b| b.mixture != r.mixture))
    {
        said.push(format!(
            "Richer than best power burns {} and gives less ({} %): the fuel that finds no air cools the charge, which is what it is \
             for at high power.",
            units.mean_flow(rich.fuel_flow_gph),
            number(rich.power_percent, 1)
        ));
    }
    said
}

pub(super) fn about_go_around(
    all: &WhatIf,
    rows: &[GoAroundFigures],
    threshold_ft: f64,
) -> Vec<String> {
    let (field, density) = (ft(all.ask.field_m), ft(all.field_density_m));
    let mut said = Vec::new();
    let (chosen, rich) = (rows.iter().find(|r| r.of_the_profile), rows.first());
    if let (Some(c), Some(r)) = (chosen, rich) {
        if c.mixture == r.mixture {
            said.push(format!(
                "At {} ft (density altitude {} ft) the profile goes around at {}: it leans for full power only above {} ft density altitude.",
                feet(field),
                feet(density),
                c.mixture,
                feet(threshold_ft)
            ));
        } else {
            said.push(format!(
                "At {} ft (density altitude {} ft) full throttle gives {} % at {}, {} % at {}: {} fpm of climb between them. Set the \
                 mixture for the field before the approach, not to full rich out of habit; the profile does so above {} ft density \
                 altitude.",
                feet(field),
                feet(density),
                number(r.power_percent, 1),
                r.mixture,
                number(c.power_percent, 1),
                c.mixture,
                number(((c.climb_fpm - r.climb_fpm) / 10.0).round().abs() * 10.0, 0),
                feet(threshold_ft)
            ));
        }
    }
    said
}
