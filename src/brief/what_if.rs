//! One lever alone: figures, text and JSON of the lesson of [`crate::teach::what_if`].

use super::json::pretty;
use super::measure::Units;
use super::settings::{ReasonFigures, words};
use super::terminal::Sheet;
use super::units::{Fuel, celsius, fpm, ft, inhg, kt, lb, percent, plain, rpm};
use super::what_if_words::{
    about_go_around, about_leaning, about_map, about_order, about_over_square, about_rpm, inches,
    turns,
};
use super::words::{EACH_ENGINE, ONE_ENGINE, feet, near, number, sentence};
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
pub struct LeverWayFigures {
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
    /// In which units the words are, and the faces for eyes.
    #[serde(skip)]
    pub units: Units,
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
    pub throttle_first: LeverWayFigures,
    /// Propeller first with the throttle left alone, then throttle.
    pub propeller_first: LeverWayFigures,
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

fn way(w: &Way) -> LeverWayFigures {
    LeverWayFigures {
        points: w.points.iter().map(|&p| gauges(p)).collect(),
        worst: gauges(w.worst),
        margin_inhg: inhg(w.margin_pa),
    }
}

impl WhatIfFigures {
    /// Cockpit figures of the lesson, its words in US units.
    pub fn new(all: &WhatIf, aircraft: &Aircraft) -> Self {
        Self::in_units(all, aircraft, Units::Us)
    }

    /// The same with words, and the faces made of them, in `units`; figures are in the units of their keys whatever is asked for.
    pub fn in_units(all: &WhatIf, aircraft: &Aircraft, units: Units) -> Self {
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
            units,
            title: WHAT_IF_TITLE,
            aircraft: aircraft.name.clone(),
            engines: aircraft.engines,
            pressure_altitude_ft: ft(all.ask.pressure_altitude_m),
            temperature_c: celsius(all.temperature_k),
            weight_lb: lb(all.ask.mass_kg),
            about_rpm: about_rpm(&here, &rpm_alone, units),
            about_map: about_map(&here, &map_alone, units),
            about_order: about_order(all, &here),
            about_over_square: about_over_square(&over_square, own),
            about_leaning: about_leaning(&here, &mixture_alone, units),
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
    pretty(figures)
}

fn states(sheet: &mut Sheet, title: &str, some: &[StateFigures], f: &WhatIfFigures) {
    let (here, units) = (&f.here, f.units);
    sheet.heading(title);
    sheet.line(&format!(
        "  {:>5} {:>5} {:>6} {:>5} {:>5} {:>5} {:>7}",
        "RPM",
        "MAP",
        "power",
        units.flow_unit(),
        "KTAS",
        "KIAS",
        "blade"
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
            units.mean_flow(s.fuel_flow_gph).figure,
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
        "{}: {} / {}, {}, at {} ft, {} C, {}",
        f.aircraft,
        inches(f.here.map_inhg),
        turns(f.here.rpm),
        f.here.mixture,
        feet(f.pressure_altitude_ft),
        number(f.temperature_c, 0),
        f.units.load(f.weight_lb)
    ));
    sheet.paragraph(
        "",
        "",
        "MAP in inches, power of rated power, true and indicated airspeed when settled, blade angle at 75 % of the radius; > is now. Words \
         at the end of a row say why the setting is not to be used.",
    );
    states(&mut sheet, "RPM alone", &f.rpm_alone, f);
    said(&mut sheet, &f.about_rpm);
    states(&mut sheet, "MAP alone", &f.map_alone, f);
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
        "mixture",
        "power",
        f.units.flow_unit(),
        "KTAS",
        format!("nm/{}", f.units.volume())
    ));
    for s in &f.mixture_alone {
        let first = format!(
            "  {:<16} {:>5}% {:>5} {:>5} {:>7}  ",
            s.mixture,
            number(s.power_percent, 1),
            f.units.mean_flow(s.fuel_flow_gph).figure,
            number(s.tas_kt, 0),
            f.units.nm_per_volume(s.nm_per_gal, near)
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
        "mixture",
        "RPM",
        "MAP",
        "power",
        f.units.flow_unit(),
        "climb fpm"
    ));
    for g in &f.go_around {
        sheet.line(&format!(
            "  {:<16} {:>5} {:>5} {:>5}% {:>5} {:>9}{}",
            g.mixture,
            turns(g.rpm),
            number(g.map_inhg, 1),
            number(g.power_percent, 1),
            f.units.mean_flow(g.fuel_flow_gph).figure,
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
            "Full throttle, highest RPM, at Vy, gear and flaps up, {}; with them down the climb is less.",
            f.units.load(f.weight_lb)
        ),
    );
    said(&mut sheet, &f.about_go_around);
    sheet.points("Cautions", f.cautions.iter().map(|s| sentence(s)));
    sheet.finish()
}
