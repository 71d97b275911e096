//! The glide without power: figures, text and JSON.

use super::json::pretty;
use super::measure::Units;
use super::terminal::Sheet;
use super::units::{celsius, fpm, ft, kt, lb, nm, percent, plain, rpm};
use super::words::{ONE_ENGINE, down, feet, near, number, revs, up};
use crate::aircraft::{Aircraft, EngineState, GlidePropeller, HubWithoutOil};
use crate::teach::glide::{BestGlide, COUNTED, GlidePoint, GlideStudy, KEPT_BACK_M, LeverBack};
use schemars::JsonSchema;
use serde::Serialize;

/// The title.
pub const GLIDE_TITLE: &str = "Power-off glide: a model to learn from; the emergency checklist of the approved flight manual rules";

/// One glide.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GlidePointFigures {
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// True airspeed.
    pub tas_kt: f64,
    /// Rate of descent of the altimeter, positive down.
    pub sink_fpm: f64,
    /// Distance over the ground for each unit of height.
    pub ratio: f64,
    /// Speed of the propeller.
    pub rpm: f64,
}

/// Best glide of one case.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GlideCaseFigures {
    /// "dead" or "idling".
    pub engine: &'static str,
    /// "shut" or "open"; none where the engine stands still.
    pub throttle: Option<&'static str>,
    /// "lever_forward", "lever_back", "windmilling" (fixed pitch), "feathered" or "stopped".
    pub propeller: &'static str,
    /// Best in still air.
    pub still_air: GlidePointFigures,
    /// Best over the ground in the wind given.
    pub in_wind: GlidePointFigures,
    /// Distance over the ground that is counted on.
    pub distance_nm: f64,
}

/// All cases at one weight.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GlideWeight {
    /// Weight.
    pub weight_lb: f64,
    /// Cases.
    pub cases: Vec<GlideCaseFigures>,
}

/// What the lever does.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LeverFigures {
    /// The propeller windmills at this speed at best glide, lever forward, engine dead, throttle shut.
    pub windmilling_rpm: f64,
    /// The governor governs down to this.
    pub lowest_governed_rpm: f64,
    /// Whether pulling the lever does anything.
    pub governs: bool,
    /// How much farther with the lever back at the best-glide speed with it forward.
    pub gain_same_speed_percent: f64,
    /// How much farther with the lever back at its own best-glide speed.
    pub gain_percent: f64,
    /// That speed.
    pub back_ias_kt: f64,
}

/// Everything about the glide.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct GlideFigures {
    /// In which units the words are.
    #[serde(skip)]
    #[schemars(skip)]
    pub units: Units,
    /// Title.
    pub title: &'static str,
    /// The aircraft.
    pub aircraft: String,
    /// How many engines, all out.
    pub engines: u32,
    /// Height above the ground where the glide begins.
    pub height_ft: f64,
    /// Pressure altitude of the ground.
    pub ground_pressure_altitude_ft: f64,
    /// Pressure altitude for which speeds, ratios and rates are given: half the height.
    pub pressure_altitude_ft: f64,
    /// Temperature there.
    pub temperature_c: f64,
    /// Head wind; a tail wind is negative.
    pub head_wind_kt: f64,
    /// Height kept back for a pattern.
    pub kept_back_ft: f64,
    /// Part of the distance kept back.
    pub kept_back_percent: f64,
    /// By weight.
    pub weights: Vec<GlideWeight>,
    /// The propeller lever; none at fixed pitch.
    pub lever: Option<LeverFigures>,
    /// What to do, in this order.
    pub order: Vec<String>,
    /// What the lever and the hub do.
    pub propeller: Vec<String>,
    /// What to beware of.
    pub cautions: Vec<String>,
}

fn point(p: &GlidePoint) -> GlidePointFigures {
    GlidePointFigures {
        ias_kt: kt(p.ias_m_s),
        tas_kt: kt(p.tas_m_s),
        sink_fpm: fpm(p.sink_m_s),
        ratio: plain(p.ratio),
        rpm: rpm(p.performance.rev_s),
    }
}

fn case(g: &BestGlide, fixed: bool) -> GlideCaseFigures {
    let (propeller, still) = match g.case.propeller {
        GlidePropeller::LeverForward if fixed => ("windmilling", false),
        GlidePropeller::LeverForward => ("lever_forward", false),
        GlidePropeller::LeverBack => ("lever_back", false),
        GlidePropeller::Feathered => ("feathered", true),
        GlidePropeller::Stopped => ("stopped", true),
    };
    let (engine, throttle) = match g.case.engine {
        EngineState::Idling => ("idling", Some("shut")),
        EngineState::Dead { .. } if still => ("dead", None),
        EngineState::Dead {
            throttle_open: true,
            ..
        } => ("dead", Some("open")),
        EngineState::Dead { .. } => ("dead", Some("shut")),
    };
    GlideCaseFigures {
        engine,
        throttle,
        propeller,
        still_air: point(&g.still),
        in_wind: point(&g.wind),
        distance_nm: nm(g.distance_m),
    }
}

/// What to do, in order.
fn order(
    aircraft: &Aircraft,
    best_kt: f64,
    (weight_lb, units): (f64, Units),
    lever: Option<LeverBack>,
) -> Vec<String> {
    let mut steps = vec![
        format!(
            "Best-glide speed: about {} KIAS at {} by this model, less when lighter; the flight manual's figure comes first.",
            number(near(best_kt, 0), 0),
            units.load(weight_lb)
        ),
        "Field: choose it, and plan to be over it high.".to_owned(),
        "Restart: the emergency checklist.".to_owned(),
        "Call: say who, where and what.".to_owned(),
    ];
    if aircraft.propeller.feathers() {
        steps.push(
            "Only then, with height in hand and no restart expected: feather as the flight manual says (PROP full back and into \
             feather). For a restart, unfeather as it says."
                .to_owned(),
        );
    } else if !aircraft.propeller.is_fixed() {
        let vain = if lever.is_some_and(|l| !l.governs) {
            " (which here does nothing at best glide, see below)"
        } else {
            ""
        };
        steps.push(format!(
            "Only then, with height in hand and no restart expected: PROP full back{vain}. PROP full forward again for a restart."
        ));
    }
    steps
}

/// What lever and hub do.
fn propeller(aircraft: &Aircraft, study: &GlideStudy) -> Vec<String> {
    let p = &aircraft.propeller;
    let mut said = Vec::new();
    if let Some(lever) = study.lever {
        let windmilling = revs(rpm(lever.windmilling_rev_s));
        let lowest = revs(rpm(lever.lowest_governed_rev_s));
        if lever.governs {
            let modest = if p.feathers() {
                ""
            } else {
                " The gain is modest on a hub that cannot feather."
            };
            said.push(format!(
                "At best glide the propeller windmills at {windmilling} rpm, above the lowest governed {lowest}: while there is oil \
                 pressure, lever full back carries {} % farther at that speed, {} % at {} KIAS.{modest}",
                number(down(percent(lever.gain_same_speed.max(0.0)), 0), 0),
                number(down(percent(lever.gain.max(0.0)), 0), 0),
                number(near(kt(lever.back_ias_m_s), 0), 0)
            ));
        } else {
            let short = if p.feathers() {
                ", short of feather,"
            } else {
                ""
            };
            let faster = if lever.gain > 0.0 {
                format!(
                    " Flown faster it takes hold, and carries {} % farther at the speed of its row.",
                    number(down(percent(lever.gain), 0), 0)
                )
            } else {
                " Flown faster it may take hold, for too little to be worth the speed.".to_owned()
            };
            said.push(format!(
                "At best glide the propeller windmills at {windmilling} rpm on the fine stop, below the lowest governed {lowest}: \
                 pulling the lever{short} does nothing.{faster}"
            ));
        }
        said.push(
            match (p.hub, p.feathers()) {
                (HubWithoutOil::Fine, _) => {
                    "Without oil pressure this hub goes to fine pitch wherever the lever is: count on the rows with the lever forward."
                }
                (HubWithoutOil::Coarse, true) => {
                    "Without oil pressure this hub goes coarse and feathers by itself, unless its start locks hold it because it turns \
                     too slowly (not modelled)."
                }
                (HubWithoutOil::Coarse, false) => {
                    "Without oil pressure this hub goes to coarse pitch wherever the lever is: count on the rows with the lever back."
                }
            }
            .to_owned(),
        );
    } else {
        said.push(
            "Fixed pitch: there is no lever to pull, and the propeller windmills.".to_owned(),
        );
    }
    said.push(
        "The row with the propeller stopped is for understanding: never slow down to stop it."
            .to_owned(),
    );
    said
}

fn cautions(aircraft: &Aircraft) -> Vec<String> {
    let mut said = vec![
        "The emergency checklist of the approved flight manual rules. The numbers are a model, not flight test.".to_owned(),
        format!(
            "The distance is one straight glide at a steady speed in a steady wind; it keeps back {} ft for a pattern and {} % of \
             itself. Turns, sinking air and a wind misjudged take more. It is not a circle to count on.",
            feet(ft(KEPT_BACK_M)),
            number(percent(1.0 - COUNTED), 0)
        ),
        "Clean: gear and flaps up.".to_owned(),
    ];
    if aircraft.engines > 1 {
        said.push(format!("All engines out. {ONE_ENGINE}"));
    }
    if aircraft.equipment.gear == crate::aircraft::Gear::Fixed {
        said.retain(|s| !s.starts_with("Clean"));
        said.push("Flaps up.".to_owned());
    }
    said
}

impl GlideFigures {
    /// Cockpit figures of a study, its words in US units.
    pub fn new(study: &GlideStudy, aircraft: &Aircraft) -> Self {
        Self::in_units(study, aircraft, Units::Us)
    }

    /// The same with words in `units`; figures are in the units of their keys whatever is asked for.
    pub fn in_units(study: &GlideStudy, aircraft: &Aircraft, units: Units) -> Self {
        let fixed = aircraft.propeller.is_fixed();
        let weights: Vec<GlideWeight> = study
            .ask
            .masses_kg
            .iter()
            .zip(&study.masses)
            .map(|(&mass_kg, glides)| GlideWeight {
                weight_lb: lb(mass_kg),
                cases: glides.iter().map(|g| case(g, fixed)).collect(),
            })
            .collect();
        let first = weights.first().and_then(|w| Some((w, w.cases.first()?)));
        let steps = first.map_or_else(Vec::new, |(w, c)| {
            order(
                aircraft,
                c.still_air.ias_kt,
                (w.weight_lb, units),
                study.lever,
            )
        });
        let middle_m = study.ask.middle_m();
        Self {
            units,
            title: GLIDE_TITLE,
            aircraft: aircraft.name.clone(),
            engines: aircraft.engines,
            height_ft: ft(study.ask.height_m),
            ground_pressure_altitude_ft: ft(study.ask.ground_m),
            pressure_altitude_ft: ft(middle_m),
            temperature_c: celsius(study.ask.warmth.air(middle_m).temperature_k),
            head_wind_kt: kt(study.ask.head_wind_m_s),
            kept_back_ft: ft(KEPT_BACK_M),
            kept_back_percent: percent(1.0 - COUNTED),
            weights,
            lever: study.lever.map(|l| LeverFigures {
                windmilling_rpm: rpm(l.windmilling_rev_s),
                lowest_governed_rpm: rpm(l.lowest_governed_rev_s),
                governs: l.governs,
                gain_same_speed_percent: percent(l.gain_same_speed),
                gain_percent: percent(l.gain),
                back_ias_kt: kt(l.back_ias_m_s),
            }),
            order: steps,
            propeller: propeller(aircraft, study),
            cautions: cautions(aircraft),
        }
    }
}

/// The figures as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn glide_json(figures: &GlideFigures) -> Result<String, serde_json::Error> {
    pretty(figures)
}

fn propeller_name(c: &GlideCaseFigures) -> &'static str {
    match c.propeller {
        "lever_forward" => "prop lever forward",
        "lever_back" => "prop lever full back",
        "windmilling" => "windmilling",
        "feathered" => "propeller feathered",
        _ => "propeller stopped",
    }
}

fn engine_name(c: &GlideCaseFigures, engines: u32) -> String {
    let what = if engines > 1 { "Engines" } else { "Engine" };
    match (c.engine, c.throttle) {
        ("idling", _) => format!("{what} idling"),
        (_, Some(throttle)) => format!("{what} dead, throttle {throttle}"),
        (_, None) => format!("{what} dead and still"),
    }
}

/// What the wind does to the heads of the columns.
fn wind_name(head_wind_kt: f64) -> String {
    let whole = number(near(head_wind_kt.abs(), 0), 0);
    if head_wind_kt == 0.0 {
        "no wind".to_owned()
    } else if head_wind_kt > 0.0 {
        format!("{whole} kt head wind")
    } else {
        format!("{whole} kt tail wind")
    }
}

fn ratio(x: f64) -> String {
    number(down(x.max(0.0), 1), 1)
}

fn table(sheet: &mut Sheet, figures: &GlideFigures, weight: &GlideWeight) {
    sheet.heading(&format!(
        "{}, from {} ft above the ground",
        figures.units.load(weight.weight_lb),
        feet(figures.height_ft)
    ));
    sheet.line(&format!(
        "{:24}{:>6}  {:─^21}  {:─^25}",
        "",
        "",
        " still air ",
        format!(" {} ", wind_name(figures.head_wind_kt))
    ));
    sheet.line(&format!(
        "{:24}{:>6}  {:>6} {:>7} {:>6}  {:>6} {:>9} {:>8}",
        "", "RPM", "KIAS", "ratio", "fpm", "KIAS", "ratio", "nm"
    ));
    let mut last = String::new();
    for c in &weight.cases {
        let engine = engine_name(c, figures.engines);
        if engine != last {
            sheet.line(&engine);
            last = engine;
        }
        let (s, w) = (&c.still_air, &c.in_wind);
        sheet.line(&format!(
            "  {:22}{:>6}  {:>6} {:>7} {:>6}  {:>6} {:>9} {:>8}",
            propeller_name(c),
            revs(s.rpm),
            number(near(s.ias_kt, 0), 0),
            ratio(s.ratio),
            number(-up(s.sink_fpm, -1), 0),
            number(near(w.ias_kt, 0), 0),
            ratio(w.ratio),
            number(down(c.distance_nm, 1), 1)
        ));
    }
}

/// Best-glide speeds by weight, engine dead, throttle shut.
fn by_weight(sheet: &mut Sheet, figures: &GlideFigures) {
    sheet.heading("Best glide by weight, KIAS (engine dead, throttle shut; wind as above)");
    let dead = |w: &GlideWeight| -> Vec<GlideCaseFigures> {
        w.cases
            .iter()
            .filter(|c| {
                c.engine == "dead" && c.throttle != Some("open") && c.propeller != "stopped"
            })
            .cloned()
            .collect()
    };
    let Some(first) = figures.weights.first() else {
        return;
    };
    let mut head = format!("{:>8}", figures.units.weight_unit());
    for c in dead(first) {
        head.push_str(&format!("  {:>20}", propeller_name(&c)));
    }
    sheet.line(&head);
    for w in &figures.weights {
        let mut line = format!("{:>8}", figures.units.load(w.weight_lb).figure);
        for c in dead(w) {
            let still = number(near(c.still_air.ias_kt, 0), 0);
            let wind = number(near(c.in_wind.ias_kt, 0), 0);
            let both = if figures.head_wind_kt == 0.0 {
                still
            } else {
                format!("{still}, in wind {wind}")
            };
            line.push_str(&format!("  {both:>20}"));
        }
        sheet.line(&line);
    }
}

/// The text, at most 100 columns wide and laid out for no fewer than 80.
pub fn glide_text(figures: &GlideFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.paragraph("", "", figures.title);
    sheet.strong(&figures.aircraft);
    sheet.heading("In this order");
    for (i, step) in figures.order.iter().enumerate() {
        sheet.paragraph(&format!("  {} ", i + 1), "    ", step);
    }
    if let Some(first) = figures.weights.first() {
        table(&mut sheet, figures, first);
    }
    sheet.paragraph(
        "",
        "",
        &format!(
            "Speeds, ratios and rates at {} ft pressure altitude, {} C; nm over the ground with {} ft and {} % kept back.",
            feet(figures.pressure_altitude_ft),
            number(near(figures.temperature_c, 0), 0),
            feet(figures.kept_back_ft),
            number(figures.kept_back_percent, 0)
        ),
    );
    by_weight(&mut sheet, figures);
    sheet.heading("The propeller");
    for s in &figures.propeller {
        sheet.paragraph("  ", "    ", s);
    }
    sheet.points("Cautions", &figures.cautions);
    sheet.finish()
}
