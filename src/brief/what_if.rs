//! One lever alone: figures, text and JSON of the lesson of [`crate::teach::what_if`].

use super::settings::{ReasonFigures, words};
use super::terminal::Sheet;
use super::units::{Fuel, celsius, fpm, ft, inhg, kt, lb, percent, plain, rpm};
use super::words::{EACH_ENGINE, ONE_ENGINE, feet, number, revs, sentence};
use crate::aircraft::Aircraft;
use crate::teach::what_if::{Gauges, State, Way, WhatIf};
use serde::Serialize;

/// The title of the lesson.
pub const WHAT_IF_TITLE: &str = "One lever alone: a lesson from a model; the approved flight manual and the engine maker's limits decide";

/// A setting in level flight.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StateFigures {
    /// Manifold pressure, of each engine.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Mixture by its name.
    pub mixture: String,
    /// Brake power of rated power.
    pub power_percent: f64,
    /// Fuel flow, all engines together.
    pub fuel_flow_gph: f64,
    /// True airspeed when the speed has settled.
    pub tas_kt: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// Blade angle at 75 % of the radius.
    pub blade_angle_deg: f64,
    /// Distance through the air for a gallon.
    pub nm_per_gal: f64,
    /// Brake mean effective pressure of that at rated power.
    pub effort_percent: f64,
    /// Why it is not to be used.
    pub left_out: Vec<ReasonFigures>,
}

/// A place on the gauges.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GaugeFigures {
    /// Crankshaft speed.
    pub rpm: f64,
    /// Manifold pressure.
    pub map_inhg: f64,
}

/// A way from one setting to another.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WayFigures {
    /// Places on the way.
    pub points: Vec<GaugeFigures>,
    /// The place nearest the limit line.
    pub worst: GaugeFigures,
    /// Manifold pressure left to the limit line there; below zero over it.
    pub margin_inhg: f64,
}

/// The limit line at a crankshaft speed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SquareFigures {
    /// Crankshaft speed.
    pub rpm: f64,
    /// RPM/100.
    pub square_inhg: f64,
    /// The limit.
    pub limit_inhg: f64,
    /// Brake mean effective pressure at RPM/100 of that at rated power.
    pub effort_at_square_percent: f64,
    /// The same at the limit.
    pub effort_at_limit_percent: f64,
}

/// A go-around with one mixture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GoAroundFigures {
    /// Mixture by its name.
    pub mixture: String,
    /// Whether the profile takes it for full power there.
    pub of_the_profile: bool,
    /// Manifold pressure.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Brake power of rated power.
    pub power_percent: f64,
    /// Fuel flow, all engines together.
    pub fuel_flow_gph: f64,
    /// Rate of climb at Vy, clean.
    pub climb_fpm: f64,
}

/// The lesson in cockpit figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WhatIfFigures {
    /// Title.
    pub title: &'static str,
    /// The aircraft.
    pub aircraft: String,
    /// How many engines.
    pub engines: u32,
    /// Pressure altitude.
    pub pressure_altitude_ft: f64,
    /// Temperature there.
    pub temperature_c: f64,
    /// Weight.
    pub weight_lb: f64,
    /// The setting now.
    pub here: StateFigures,
    /// RPM alone, the highest first.
    pub rpm_alone: Vec<StateFigures>,
    /// Manifold pressure alone, the highest first.
    pub map_alone: Vec<StateFigures>,
    /// Mixture alone, as the profile has them.
    pub mixture_alone: Vec<StateFigures>,
    /// Setting to go to.
    pub target: GaugeFigures,
    /// Throttle first, then propeller.
    pub throttle_first: WayFigures,
    /// Propeller first with the throttle left alone, then throttle.
    pub propeller_first: WayFigures,
    /// Whether the profile has a limit line of its own; else RPM/100 inches are kept.
    pub limit_line_of_profile: bool,
    /// The limit line against RPM/100.
    pub over_square: Vec<SquareFigures>,
    /// The limit line, from the lowest governed speed to the highest.
    pub limit_line: Vec<GaugeFigures>,
    /// Pressure altitude of the high field.
    pub field_pressure_altitude_ft: f64,
    /// Its density altitude.
    pub field_density_altitude_ft: f64,
    /// Go-arounds there.
    pub go_around: Vec<GoAroundFigures>,
    /// What RPM alone does.
    pub about_rpm: Vec<String>,
    /// What manifold pressure alone does.
    pub about_map: Vec<String>,
    /// Why the order matters.
    pub about_order: Vec<String>,
    /// More inches than RPM/100.
    pub about_over_square: Vec<String>,
    /// Leaning.
    pub about_leaning: Vec<String>,
    /// Full power at a high field.
    pub about_go_around: Vec<String>,
    /// What to beware of.
    pub cautions: Vec<String>,
}

fn gauges(g: Gauges) -> GaugeFigures {
    GaugeFigures {
        rpm: rpm(g.rev_s),
        map_inhg: inhg(g.map_pa),
    }
}

fn way(w: &Way) -> WayFigures {
    WayFigures {
        points: w.points.iter().map(|&p| gauges(p)).collect(),
        worst: gauges(w.worst),
        margin_inhg: inhg(w.margin_pa),
    }
}

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

fn about_rpm(here: &StateFigures, states: &[StateFigures]) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(s) = lowest(states, here, |s| s.rpm) {
        said.push(format!(
            "From {} to {} rpm at the same {}: power {} % of rated, fuel flow {} gph, true airspeed {} kt, blade angle {}°. Fewer cylinders are \
             filled each minute; friction takes less, so power falls by less than RPM ({} % of it for {} % of RPM).",
            turns(here.rpm),
            turns(s.rpm),
            inches(here.map_inhg),
            moves(s.power_percent - here.power_percent, 1),
            moves(s.fuel_flow_gph - here.fuel_flow_gph, 1),
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

fn about_map(here: &StateFigures, states: &[StateFigures]) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(s) = beside(states, here, |s| s.map_inhg) {
        said.push(format!(
            "An inch less at the same {} rpm: power {} % of rated, fuel flow {} gph, true airspeed {} kt, blade angle {}°. The governor keeps the \
             RPM by flattening the blades, so the tachometer does not show that power changed.",
            turns(here.rpm),
            moves(s.power_percent - here.power_percent, 1),
            moves(s.fuel_flow_gph - here.fuel_flow_gph, 1),
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

fn about_order(all: &WhatIf, from: &StateFigures) -> Vec<String> {
    let w = &all.ways;
    let (to_map, to_rpm) = (inhg(all.ask.to_map_pa), rpm(all.ask.to_rev_s));
    let risen = inhg(w.risen_pa);
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
        "So throttle first when reducing. Adding goes the same way back: RPM first, then throttle. Trim MAP after the propeller: it has \
         drifted a little."
            .to_owned(),
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

fn about_over_square(rows: &[SquareFigures], own: bool) -> Vec<String> {
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

fn about_leaning(here: &StateFigures, rows: &[StateFigures]) -> Vec<String> {
    let mut said = Vec::new();
    let best = rows
        .iter()
        .max_by(|a, b| a.power_percent.total_cmp(&b.power_percent));
    let thrifty = rows
        .iter()
        .max_by(|a, b| a.nm_per_gal.total_cmp(&b.nm_per_gal));
    if let (Some(b), Some(t)) = (best, thrifty) {
        said.push(format!(
            "With the other levers at {} / {}, {} makes the most power ({} %); {} goes farthest on a gallon: {} nm against {}, {} kt slower.",
            inches(here.map_inhg),
            turns(here.rpm),
            b.mixture,
            number(b.power_percent, 1),
            t.mixture,
            number(t.nm_per_gal, 1),
            number(b.nm_per_gal, 1),
            number((b.tas_kt - t.tas_kt).max(0.0), 0),
        ));
    }
    if let Some(rich) = rows
        .first()
        .filter(|r| best.is_some_and(|b| b.mixture != r.mixture))
    {
        said.push(format!(
            "Richer than best power burns {} gph and gives less ({} %): the fuel that finds no air cools the charge, which is what it is \
             for at high power.",
            number(rich.fuel_flow_gph, 1),
            number(rich.power_percent, 1)
        ));
    }
    said
}

fn about_go_around(all: &WhatIf, rows: &[GoAroundFigures], threshold_ft: f64) -> Vec<String> {
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

impl WhatIfFigures {
    /// Cockpit figures of the lesson.
    pub fn new(all: &WhatIf, aircraft: &Aircraft) -> Self {
        let fuel = Fuel::new(aircraft.fuel.density_kg_m3);
        let spec = &aircraft.engine.spec;
        let mixture = |row: usize| {
            spec.mixtures
                .get(row)
                .map_or("", |m| m.name.as_str())
                .to_owned()
        };
        let rated_pa = 2.0 * spec.rated_power_w / (spec.displacement_m3 * spec.rated_rev_s);
        let state = |s: &State| {
            let name = mixture(s.levers.mixture);
            let gph = fuel.gph(s.performance.fuel_kg_s);
            StateFigures {
                map_inhg: inhg(s.performance.map_pa),
                rpm: rpm(s.performance.rev_s),
                power_percent: percent(s.performance.power_fraction),
                fuel_flow_gph: gph,
                tas_kt: kt(s.tas_m_s),
                ias_kt: kt(s.ias_m_s),
                blade_angle_deg: plain(s.performance.blade_angle_rad.to_degrees()),
                nm_per_gal: plain(kt(s.tas_m_s) / gph),
                effort_percent: percent(s.mean_effective_pa / rated_pa),
                left_out: s
                    .refusals
                    .iter()
                    .map(|w| ReasonFigures {
                        code: w.code(),
                        text: words(w, aircraft, &name),
                    })
                    .collect(),
                mixture: name,
            }
        };
        let states = |list: &[State]| list.iter().map(state).collect::<Vec<_>>();
        let here = state(&all.here);
        let (rpm_alone, map_alone) = (states(&all.by_rev), states(&all.by_map));
        let mixture_alone = states(&all.by_mixture);
        let over_square: Vec<SquareFigures> = all
            .square
            .iter()
            .map(|s| SquareFigures {
                rpm: rpm(s.rev_s),
                square_inhg: inhg(s.square_pa),
                limit_inhg: inhg(s.limit_pa),
                effort_at_square_percent: percent(s.effort_at_square),
                effort_at_limit_percent: percent(s.effort_at_limit),
            })
            .collect();
        let go_around: Vec<GoAroundFigures> = all
            .go_around
            .iter()
            .map(|g| GoAroundFigures {
                mixture: mixture(g.mixture),
                of_the_profile: g.mixture == all.field_mixture,
                map_inhg: inhg(g.performance.map_pa),
                rpm: rpm(g.performance.rev_s),
                power_percent: percent(g.performance.power_fraction),
                fuel_flow_gph: fuel.gph(g.performance.fuel_kg_s),
                climb_fpm: fpm(g.climb_m_s),
            })
            .collect();
        let own = !aircraft.procedures.map_limit.is_empty();
        let mut cautions = vec![
            "A model, not a measurement: the approved flight manual and the engine maker's limits decide, and a licensed instructor \
             teaches the levers."
                .to_owned(),
            "Level flight, clean, when the speed has settled; figures rounded to the nearest. CHT is not modelled: watch it.".to_owned(),
        ];
        if aircraft.engines > 1 {
            cautions.push(format!("{EACH_ENGINE} {ONE_ENGINE}"));
        }
        Self {
            title: WHAT_IF_TITLE,
            aircraft: aircraft.name.clone(),
            engines: aircraft.engines,
            pressure_altitude_ft: ft(all.ask.pressure_altitude_m),
            temperature_c: celsius(all.temperature_k),
            weight_lb: lb(all.ask.mass_kg),
            about_rpm: about_rpm(&here, &rpm_alone),
            about_map: about_map(&here, &map_alone),
            about_order: about_order(all, &here),
            about_over_square: about_over_square(&over_square, own),
            about_leaning: about_leaning(&here, &mixture_alone),
            about_go_around: about_go_around(
                all,
                &go_around,
                ft(aircraft.procedures.full_rich_density_altitude_m),
            ),
            here,
            rpm_alone,
            map_alone,
            mixture_alone,
            target: GaugeFigures {
                rpm: rpm(all.ask.to_rev_s),
                map_inhg: inhg(all.ask.to_map_pa),
            },
            throttle_first: way(&all.ways.throttle_first),
            propeller_first: way(&all.ways.propeller_first),
            limit_line_of_profile: own,
            over_square,
            limit_line: all.limit_line.iter().map(|&g| gauges(g)).collect(),
            field_pressure_altitude_ft: ft(all.ask.field_m),
            field_density_altitude_ft: ft(all.field_density_m),
            go_around,
            cautions,
        }
    }
}

/// The lesson as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn what_if_json(figures: &WhatIfFigures) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(figures)?;
    text.push('\n');
    Ok(text)
}

fn states(sheet: &mut Sheet, title: &str, some: &[StateFigures], here: &StateFigures) {
    sheet.heading(title);
    sheet.line(&format!(
        "  {:>5} {:>5} {:>6} {:>5} {:>5} {:>5} {:>7}",
        "RPM", "MAP", "power", "gph", "KTAS", "KIAS", "blade"
    ));
    for s in some {
        let mark = if s.rpm == here.rpm && s.map_inhg == here.map_inhg {
            ">"
        } else {
            " "
        };
        let why = s
            .left_out
            .first()
            .map_or_else(String::new, |r| r.text.clone());
        let first = format!(
            "{mark} {:>5} {:>5} {:>5}% {:>5} {:>5} {:>5} {:>6}°  ",
            turns(s.rpm),
            number(s.map_inhg, 1),
            number(s.power_percent, 1),
            number(s.fuel_flow_gph, 1),
            number(s.tas_kt, 0),
            number(s.ias_kt, 0),
            number(s.blade_angle_deg, 1),
        );
        if why.is_empty() {
            sheet.line(first.trim_end());
        } else {
            sheet.paragraph(&first, &" ".repeat(first.chars().count()), &why);
        }
    }
}

fn said(sheet: &mut Sheet, some: &[String]) {
    for s in some {
        sheet.paragraph("  ", "  ", s);
    }
}

/// The text, at most 100 columns wide and laid out for no fewer than 80.
pub fn what_if_text(f: &WhatIfFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.paragraph("", "", f.title);
    sheet.strong(&format!(
        "{}: {} / {}, {}, at {} ft, {} C, {} lb",
        f.aircraft,
        inches(f.here.map_inhg),
        turns(f.here.rpm),
        f.here.mixture,
        feet(f.pressure_altitude_ft),
        number(f.temperature_c, 0),
        number(f.weight_lb, 0)
    ));
    sheet.paragraph(
        "",
        "",
        "MAP in inches, power of rated power, true and indicated airspeed when settled, blade angle at 75 % of the radius; > is now. Words \
         at the end of a row say why the setting is not to be used.",
    );
    states(&mut sheet, "RPM alone", &f.rpm_alone, &f.here);
    said(&mut sheet, &f.about_rpm);
    states(&mut sheet, "MAP alone", &f.map_alone, &f.here);
    said(&mut sheet, &f.about_map);
    sheet.heading("Which lever first");
    said(&mut sheet, &f.about_order);
    sheet.heading("Over-square");
    sheet.line(&format!(
        "  {:>5} {:>8} {:>8} {:>20} {:>18}",
        "RPM", "RPM/100", "limit", "pressure at RPM/100", "at the limit"
    ));
    for r in &f.over_square {
        sheet.line(&format!(
            "  {:>5} {:>8} {:>8} {:>19}% {:>17}%",
            turns(r.rpm),
            inches(r.square_inhg),
            inches(r.limit_inhg),
            number(r.effort_at_square_percent, 0),
            number(r.effort_at_limit_percent, 0)
        ));
    }
    sheet.paragraph(
        "  ",
        "  ",
        "Pressure: brake mean effective pressure, of that at rated power; full rich, sea level.",
    );
    said(&mut sheet, &f.about_over_square);
    sheet.heading("Leaning");
    sheet.line(&format!(
        "  {:<16} {:>6} {:>5} {:>5} {:>7}",
        "mixture", "power", "gph", "KTAS", "nm/gal"
    ));
    for s in &f.mixture_alone {
        let first = format!(
            "  {:<16} {:>5}% {:>5} {:>5} {:>7}  ",
            s.mixture,
            number(s.power_percent, 1),
            number(s.fuel_flow_gph, 1),
            number(s.tas_kt, 0),
            number(s.nm_per_gal, 1)
        );
        let why = s.left_out.first().map_or("", |r| r.text.as_str());
        if why.is_empty() {
            sheet.line(first.trim_end());
        } else {
            sheet.paragraph(&first, &" ".repeat(first.chars().count()), why);
        }
    }
    said(&mut sheet, &f.about_leaning);
    sheet.heading("Going around at a high field");
    sheet.line(&format!(
        "  {:<16} {:>5} {:>5} {:>6} {:>5} {:>9}",
        "mixture", "RPM", "MAP", "power", "gph", "climb fpm"
    ));
    for g in &f.go_around {
        sheet.line(&format!(
            "  {:<16} {:>5} {:>5} {:>5}% {:>5} {:>9}{}",
            g.mixture,
            turns(g.rpm),
            number(g.map_inhg, 1),
            number(g.power_percent, 1),
            number(g.fuel_flow_gph, 1),
            number((g.climb_fpm / 10.0).round() * 10.0, 0),
            if g.of_the_profile {
                "  what the profile takes"
            } else {
                ""
            }
        ));
    }
    sheet.paragraph(
        "  ",
        "  ",
        &format!(
            "Full throttle, highest RPM, at Vy, gear and flaps up, {} lb; with them down the climb is less.",
            number(f.weight_lb, 0)
        ),
    );
    said(&mut sheet, &f.about_go_around);
    sheet.heading("Cautions");
    for s in &f.cautions {
        sheet.paragraph("  ", "    ", &sentence(s));
    }
    sheet.finish()
}
