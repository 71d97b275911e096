//! The descent study: cockpit figures, text and JSON. Chart, map and page are drawn from the same figures.

use super::terminal::Sheet;
use super::units::{Fuel, fpm, ft, inhg, kt, min, nm, plain, rpm};
use super::words::{
    EACH_ENGINE, ONE_ENGINE, down, feet, inches, knots, near, number, revs, sentence, up,
};
use crate::aircraft::Throttle;
use crate::flight::{
    Cruise, Descent, DescentPart, Flown, Limit, PathRule, SegmentKind, ThrottleRule, TrackPoint,
};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT, M3_PER_GAL};
use crate::solve::{BestOf, DescentMap};
use crate::solve::{Down, Family, MapAxes, NoCoarse, Study, Style, Thumbs, Way};
use crate::trip::{Objective, Problem, Roughness};
use serde::Serialize;

/// The title.
pub const DESCEND_TITLE: &str = "Descent study: a model to learn from, not a plan to fly";

/// Cruise that all ways begin from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DescendCruise {
    /// Indicated altitude.
    pub altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// True airspeed.
    pub tas_kt: f64,
    /// Ground speed.
    pub gs_kt: f64,
    /// Manifold pressure.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Mixture.
    pub mixture: String,
    /// Brake power over rated power.
    pub power_percent: f64,
    /// Fuel flow.
    pub fuel_flow_gph: f64,
    /// Wind along the course there, a tail wind positive.
    pub wind_along_kt: f64,
    /// Weight.
    pub weight_lb: f64,
}

/// A point of the path of one way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DescendPoint {
    /// To the pattern point.
    pub to_pattern_nm: f64,
    /// Indicated altitude.
    pub altitude_ft: f64,
    /// Indicated airspeed.
    pub ias_kt: f64,
    /// Rate of descent, positive down.
    pub rate_fpm: f64,
    /// Manifold pressure.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
}

/// What one way comes to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DownFigures {
    /// Top of descent to the pattern point.
    pub top_of_descent_to_pattern_nm: f64,
    /// The same.
    pub top_of_descent_to_pattern_min: f64,
    /// Least and greatest rate of descent.
    pub rate_fpm: [f64; 2],
    /// Least and greatest indicated airspeed in the descent.
    pub ias_kt: [f64; 2],
    /// From the common point to the pattern point.
    pub time_min: f64,
    /// The same.
    pub fuel_gal: f64,
    /// The same; none without prices.
    pub money: Option<f64>,
    /// Against the ordinary descent; none where that cannot be flown to the end.
    pub against_ordinary: Option<AgainstOrdinary>,
    /// Least room to the speed limit of the air.
    pub to_air_limit_kt: f64,
    /// Least room to Vno.
    pub to_vno_kt: f64,
    /// Least room to Vne.
    pub to_vne_kt: f64,
    /// Least room to the speed for rough air, Va at the weight of the moment.
    pub to_rough_air_kt: f64,
    /// Greatest fall of manifold pressure within a minute.
    pub map_fall_inhg_per_min: f64,
    /// Least manifold pressure.
    pub least_map_inhg: f64,
    /// Flown level at pattern altitude to slow down.
    pub slow_down_nm: f64,
    /// coarse, power_left, reduced or both_reduced.
    pub family: &'static str,
    /// Re-flown less flown, whole flight.
    pub reflight_time_error_s: f64,
    /// The same.
    pub reflight_fuel_error_gal: f64,
    /// The path from the common point to the pattern point.
    pub path: Vec<DescendPoint>,
}

/// One way less the ordinary one; below zero is saved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AgainstOrdinary {
    /// Time.
    pub time_s: f64,
    /// Fuel.
    pub fuel_gal: f64,
    /// Money; none without prices.
    pub money: Option<f64>,
}

/// One way down.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WayFigures {
    /// Its letter in the chart.
    pub letter: char,
    /// ordinary, power_left, coarse, steep_late, shallow_early, least_time, least_fuel or least_money.
    pub kind: &'static str,
    /// In words.
    pub name: String,
    /// Within every limit.
    pub can_be_flown: bool,
    /// Limits it breaks.
    pub limits_broken: Vec<&'static str>,
    /// Why it cannot be flown to the end, if so.
    pub error: Option<String>,
    /// The letter of an earlier way that is the same descent.
    pub same_as: Option<char>,
    /// What is set, in order.
    pub settings: Vec<String>,
    /// What it comes to; none where it cannot be flown to the end.
    pub figures: Option<DownFigures>,
}

/// A rule of thumb beside what is flown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThumbFigures {
    /// The rule.
    pub rule: &'static str,
    /// What it says.
    pub says: f64,
    /// What is flown in the ordinary descent.
    pub flown: f64,
    /// The rule less what is flown.
    pub error: f64,
    /// nm or fpm.
    pub unit: &'static str,
    /// What that means.
    pub meaning: String,
}

/// One cell of a map.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapCellFigures {
    /// To the right: head wind below zero, kt; or price of an hour.
    pub x: f64,
    /// Up: height to lose, ft; or price of a gallon.
    pub y: f64,
    /// coarse, power_left, reduced or both_reduced; none where no way keeps every limit.
    pub best: Option<&'static str>,
    /// It saves less than 0.1 %: the ordinary descent does as well.
    pub no_real_difference: bool,
    /// Money saved against the ordinary descent; none where that cannot be flown at its rate.
    pub saves_money: Option<f64>,
    /// Time saved.
    pub saves_s: Option<f64>,
    /// Fuel saved.
    pub saves_gal: Option<f64>,
}

impl MapCellFigures {
    /// The region it belongs to: the best family, "same" where that makes no real difference, none where nothing keeps the limits.
    pub(super) fn region(&self) -> Option<&'static str> {
        self.best.map(|best| {
            if self.no_real_difference {
                "same"
            } else {
                best
            }
        })
    }
}

/// One map.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapPanelFigures {
    /// smooth, light or rough.
    pub air: &'static str,
    /// Row after row from the lowest.
    pub cells: Vec<MapCellFigures>,
}

/// Where which descent is best.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapFigures {
    /// wind or prices.
    pub kind: &'static str,
    /// Values to the right.
    pub x: Vec<f64>,
    /// What they are.
    pub x_name: &'static str,
    /// Values upwards.
    pub y: Vec<f64>,
    /// What they are.
    pub y_name: &'static str,
    /// What is the same in all cells.
    pub fixed: String,
    /// Maps.
    pub panels: Vec<MapPanelFigures>,
}

/// Everything about a study.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DescendFigures {
    /// Title.
    pub title: &'static str,
    /// The aircraft.
    pub aircraft: String,
    /// How many engines.
    pub engines: u32,
    /// The propeller has no lever.
    pub fixed_pitch: bool,
    /// What is asked, in one line.
    pub question: String,
    /// Cruise.
    pub cruise: DescendCruise,
    /// Pattern altitude.
    pub pattern_altitude_ft: f64,
    /// Pattern speed, indicated.
    pub pattern_ias_kt: f64,
    /// Height to lose.
    pub height_to_lose_ft: f64,
    /// From the common point to the pattern point.
    pub common_nm: f64,
    /// Prices: an hour and a gallon; none where the trip has none.
    pub prices: Option<[f64; 2]>,
    /// Vno, indicated.
    pub vno_kt: f64,
    /// Vne, indicated.
    pub vne_kt: f64,
    /// Ways down.
    pub ways: Vec<WayFigures>,
    /// Why the coarse propeller is missing, if it is.
    pub left_out: Option<&'static str>,
    /// Rules of thumb.
    pub rules_of_thumb: Vec<ThumbFigures>,
    /// Where coarse and fast pays, if asked.
    pub map: Option<MapFigures>,
    /// What was taken for granted.
    pub granted: Vec<String>,
    /// What to beware of.
    pub cautions: Vec<String>,
}

fn kind(style: Style) -> (char, &'static str) {
    match style {
        Style::Ordinary => ('A', "ordinary"),
        Style::PowerLeft => ('B', "power_left"),
        Style::Coarse => ('C', "coarse"),
        Style::SteepLate => ('D', "steep_late"),
        Style::ShallowEarly => ('E', "shallow_early"),
        Style::Least(Objective::Time) => ('T', "least_time"),
        Style::Least(Objective::Fuel) => ('F', "least_fuel"),
        Style::Least(Objective::Money) => ('M', "least_money"),
    }
}

fn name(style: Style, fixed: bool) -> &'static str {
    match style {
        Style::Ordinary => "Ordinary, reduced power",
        Style::PowerLeft if fixed => "Throttle left",
        Style::PowerLeft => "Power and RPM left",
        Style::Coarse => "Power left, prop coarse",
        Style::SteepLate => "Steep late, least power",
        Style::ShallowEarly => "Shallow, early",
        Style::Least(Objective::Time) => "Least time found",
        Style::Least(Objective::Fuel) => "Least fuel found",
        Style::Least(Objective::Money) => "Least money found",
    }
}

/// The key of a family.
fn family_key(family: Family) -> &'static str {
    match family {
        Family::Coarse => "coarse",
        Family::PowerLeft => "power_left",
        Family::Reduced => "reduced",
        Family::BothReduced => "both_reduced",
    }
}

/// Letter and words of a family by its key.
pub(super) fn family_words(key: &str, fixed: bool) -> (char, &'static str) {
    match (key, fixed) {
        ("coarse", _) => ('C', "coarse and fast: power left, prop coarse"),
        ("power_left", true) => ('P', "throttle left"),
        ("power_left", false) => ('P', "power and RPM left"),
        ("reduced", true) => ('R', "RPM reduced"),
        ("reduced", false) => ('R', "MAP reduced, RPM left"),
        _ => ('S', "MAP and RPM both reduced"),
    }
}

fn air_key(air: Roughness) -> &'static str {
    match air {
        Roughness::Smooth => "smooth",
        Roughness::Light => "light",
        Roughness::Rough => "rough",
    }
}

fn throttle_words(throttle: ThrottleRule, rev_s: f64) -> String {
    let in_ = |pa: f64| inches(inhg(pa));
    match throttle {
        ThrottleRule::Full => "THROTTLE stays full open".to_owned(),
        ThrottleRule::Held(pa) => format!("MAP to {} in and held", in_(pa)),
        ThrottleRule::LeftAlone(pa) => format!("MAP {} in set and the throttle left", in_(pa)),
        ThrottleRule::Rpm => format!("THROTTLE back to {} rpm and held", revs(rpm(rev_s))),
        ThrottleRule::Untouched => "THROTTLE left where it is".to_owned(),
    }
}

/// What a part sets, in the order it is set.
fn part_words(part: &DescentPart, before: (ThrottleRule, f64, usize), problem: &Problem) -> String {
    let (throttle, rev_s, mixture) = before;
    let mut said = Vec::new();
    if part.gear_down {
        said.push("GEAR down once slow enough".to_owned());
    }
    if part.throttle != throttle || part.throttle == ThrottleRule::Rpm {
        said.push(throttle_words(part.throttle, part.rev_s));
    } else {
        said.push("THROTTLE as it is".to_owned());
    }
    let fixed = problem.aircraft.propeller.is_fixed();
    if !fixed && (part.rev_s - rev_s).abs() > 1e-6 {
        let way = if part.rev_s < rev_s {
            "back"
        } else {
            "forward"
        };
        said.push(format!("PROP {way} to {}", revs(rpm(part.rev_s))));
    }
    if part.mixture != mixture
        && let Some(row) = problem.aircraft.engine.spec.mixtures.get(part.mixture)
    {
        said.push(format!("MIXTURE {}", row.name));
    }
    said.push(match part.path {
        PathRule::Rate(r) => format!("{} fpm down", number(near(fpm(r), 0), 0)),
        PathRule::Ias(v) => format!("down at {} KIAS", knots(kt(v))),
    });
    said.join(", ")
}

/// What is set from the top of descent on, in order.
fn settings(flown: &Flown, cruise: &Cruise, problem: &Problem, top_nm: f64) -> Vec<String> {
    let d: &Descent = &flown.script.descent;
    let fixed = problem.aircraft.propeller.is_fixed();
    let as_cruise = match cruise.throttle {
        _ if fixed => ThrottleRule::Untouched,
        Throttle::Map(pa) => ThrottleRule::LeftAlone(pa),
        _ => ThrottleRule::Full,
    };
    let mut out = vec![format!(
        "{} nm before the pattern point: {}",
        number(up(top_nm, 1), 1),
        part_words(&d.first, (as_cruise, cruise.rev_s, cruise.mixture), problem)
    )];
    if let Some((from_m, part)) = &d.second {
        let before = (d.first.throttle, d.first.rev_s, d.first.mixture);
        out.push(format!(
            "at {} ft: {}",
            feet(ft(*from_m)),
            part_words(part, before, problem)
        ));
    }
    let cuts = &flown.script.reduction;
    let power = if fixed {
        format!(
            "RPM back {} each {} s, not below {},",
            number(rpm(cuts.step_rev_s), 0),
            number(cuts.interval_s, 0),
            revs(rpm(cuts.floor_rev_s))
        )
    } else {
        format!(
            "MAP back 1 in each {} s, not below {} in,",
            number(cuts.interval_s, 0),
            inches(inhg(cuts.floor_pa))
        )
    };
    let pattern_m = problem.arrival.pattern_altitude_m;
    let from = if d.reduce_at_m > pattern_m + 1.0 {
        format!("from {} ft", feet(ft(d.reduce_at_m)))
    } else {
        format!("level at {} ft", feet(ft(pattern_m)))
    };
    let forward = if fixed {
        ""
    } else {
        ", then PROP full forward"
    };
    out.push(format!(
        "{from}: {power} until {} KIAS{forward}",
        knots(kt(problem.aircraft.procedures.pattern_m_s))
    ));
    out
}

fn path(flown: &Flown, study: &Study) -> Vec<DescendPoint> {
    let (from_m, to_m) = (study.from_m, study.to_m);
    let shown = |t: &&TrackPoint| {
        let kind = flown.segments.get(t.segment).map(|s| s.kind);
        let s = t.state.distance_m;
        matches!(
            kind,
            Some(SegmentKind::Cruise | SegmentKind::Descent | SegmentKind::SlowDown)
        ) && s >= from_m
            && s <= to_m + 1.0
    };
    // All begin at the common point.
    std::iter::once(&study.cruise)
        .chain(flown.track.iter().filter(shown))
        .map(|t| DescendPoint {
            to_pattern_nm: nm(to_m - t.state.distance_m).max(0.0),
            altitude_ft: ft(t.indicated_m),
            ias_kt: kt(t.ias_m_s),
            rate_fpm: fpm(-t.rate_m_s),
            map_inhg: inhg(t.map_pa),
            rpm: rpm(t.rev_s),
        })
        .collect()
}

/// What turns a study into figures.
struct Writer<'a> {
    problem: &'a Problem,
    study: &'a Study,
    fuel: Fuel,
    priced: bool,
    cruise: Cruise,
}

impl Writer<'_> {
    fn down(&self, d: &Down) -> DownFigures {
        let priced = |x: f64| self.priced.then(|| plain(x));
        let ordinary = self.study.way(Style::Ordinary);
        let against = ordinary.and_then(|w| w.outcome.as_ref().ok()).map(|o| {
            let less = |of: fn(&Down) -> f64| of(d) - of(o);
            AgainstOrdinary {
                time_s: plain(less(|x| x.part.time_s)),
                fuel_gal: self.fuel.gal(less(|x| x.part.fuel_kg)),
                money: priced(less(|x| x.part.cost)),
            }
        });
        DownFigures {
            top_of_descent_to_pattern_nm: nm(d.top_to_go_m),
            top_of_descent_to_pattern_min: min(d.top_to_go_s),
            rate_fpm: [fpm(d.rate_m_s.0), fpm(d.rate_m_s.1)],
            ias_kt: [kt(d.ias_m_s.0), kt(d.ias_m_s.1)],
            time_min: min(d.part.time_s),
            fuel_gal: self.fuel.gal(d.part.fuel_kg),
            money: priced(d.part.cost),
            against_ordinary: against,
            to_air_limit_kt: kt(d.to_air_limit_m_s),
            to_vno_kt: kt(d.to_vno_m_s),
            to_vne_kt: kt(d.to_vne_m_s),
            to_rough_air_kt: kt(d.to_rough_m_s),
            map_fall_inhg_per_min: inhg(d.map_fall_pa),
            least_map_inhg: inhg(d.least_map_pa),
            slow_down_nm: nm(d.slow_down_m),
            family: family_key(d.family),
            reflight_time_error_s: plain(d.reflight.time_s),
            reflight_fuel_error_gal: self.fuel.gal(d.reflight.fuel_kg),
            path: path(&d.flown, self.study),
        }
    }

    fn way(&self, way: &Way, before: &[Way]) -> WayFigures {
        let (letter, kind_key) = kind(way.style);
        let figures = way.outcome.as_ref().ok().map(|d| self.down(d));
        let broken: &[Limit] = way.outcome.as_ref().map_or(&[], |d| &d.broken);
        let same = |other: &&Way| match (&other.outcome, &way.outcome) {
            (Ok(a), Ok(b)) => a.flown.script == b.flown.script,
            _ => false,
        };
        WayFigures {
            letter,
            kind: kind_key,
            name: name(way.style, self.problem.aircraft.propeller.is_fixed()).to_owned(),
            can_be_flown: way.flyable().is_some(),
            limits_broken: broken.iter().map(|l| l.words()).collect(),
            error: way.outcome.as_ref().err().map(ToString::to_string),
            same_as: before.iter().find(same).map(|w| kind(w.style).0),
            settings: way.outcome.as_ref().map_or_else(
                |_| vec![],
                |d| settings(&d.flown, &self.cruise, self.problem, nm(d.top_to_go_m)),
            ),
            figures,
        }
    }
}

fn thumbs(t: &Thumbs) -> Vec<ThumbFigures> {
    let short = |error_nm: f64| {
        if error_nm < 0.0 {
            format!("starts down {} nm late", number(near(-error_nm, 1), 1))
        } else {
            format!("starts down {} nm early", number(near(error_nm, 1), 1))
        }
    };
    let of_nm = |rule, says_m: f64| {
        let (says, flown) = (nm(says_m), nm(t.flown_m));
        ThumbFigures {
            rule,
            says,
            flown,
            error: plain(says - flown),
            unit: "nm",
            meaning: format!(
                "{}; {} nm of what is flown is the slow-down",
                short(says - flown),
                number(near(nm(t.slow_down_m), 1), 1)
            ),
        }
    };
    let high_ft = ft(t.left_high_m);
    vec![
        of_nm("3 nm for each 1,000 ft", t.three_m),
        ThumbFigures {
            rule: "5 times ground speed, for that path",
            says: fpm(t.five_m_s),
            flown: fpm(t.needed_m_s),
            error: plain(fpm(t.five_m_s) - fpm(t.needed_m_s)),
            unit: "fpm",
            meaning: if high_ft >= 0.0 {
                format!("{} ft high at the end of that path", feet(high_ft))
            } else {
                format!("down {} ft before the end of that path", feet(-high_ft))
            },
        },
        of_nm(
            "500 fpm: 2 min for each 1,000 ft times miles a minute",
            t.two_minutes_m,
        ),
    ]
}

fn map_figures(map: &DescentMap, fuel: Fuel, density_kg_m3: f64, fixed: &str) -> MapFigures {
    let gal_kg = density_kg_m3 * M3_PER_GAL;
    let (kind, x, x_name, y, y_name): (_, Vec<f64>, _, Vec<f64>, _) = match &map.axes {
        MapAxes::Wind {
            along_m_s,
            heights_m,
        } => (
            "wind",
            along_m_s.iter().map(|&w| kt(w)).collect(),
            "tail wind, kt (head wind below zero)",
            heights_m.iter().map(|&h| ft(h)).collect(),
            "height to lose, ft",
        ),
        MapAxes::Prices { per_s, per_kg } => (
            "prices",
            per_s.iter().map(|&p| plain(3_600.0 * p)).collect(),
            "price of an hour without fuel",
            per_kg.iter().map(|&p| plain(p * gal_kg)).collect(),
            "price of a gallon",
        ),
    };
    let places: Vec<(f64, f64)> = y
        .iter()
        .flat_map(|&b| x.iter().map(move |&a| (a, b)))
        .collect();
    let panels = map
        .panels
        .iter()
        .map(|p| MapPanelFigures {
            air: air_key(p.air),
            cells: p
                .cells
                .iter()
                .zip(&places)
                .map(|(c, &(x, y))| {
                    let best: Option<&BestOf> = c.as_ref().ok();
                    let saves = best.and_then(|b| b.saves);
                    MapCellFigures {
                        x,
                        y,
                        best: best.and_then(|b| b.family).map(family_key),
                        no_real_difference: best.is_some_and(|b| b.no_difference),
                        saves_money: saves.map(|s| plain(s.cost)),
                        saves_s: saves.map(|s| plain(s.time_s)),
                        saves_gal: saves.map(|s| fuel.gal(s.fuel_kg)),
                    }
                })
                .collect(),
        })
        .collect();
    MapFigures {
        kind,
        x,
        x_name,
        y,
        y_name,
        fixed: fixed.to_owned(),
        panels,
    }
}

fn cautions(problem: &Problem) -> Vec<String> {
    let mut said = vec![
        "A model, not flight test: the approved flight manual, local rules and the pilot in command decide.".to_owned(),
        "A way that breaks a limit is shown to be understood, not to be flown.".to_owned(),
        "Least manifold pressure and its fall in a minute are common practice, not proven limits. CHT is not modelled: watch it."
            .to_owned(),
        "Straight in, no traffic, no turns, no up- or downdraughts. In rough air slow to Va or less, whatever it saves.".to_owned(),
    ];
    if problem.aircraft.engines > 1 {
        said.push(format!("{ONE_ENGINE} {EACH_ENGINE}"));
    }
    said
}

impl DescendFigures {
    /// Cockpit figures of a study of a problem, with maps if they were asked for; `question` says what was asked and `granted` what
    /// was taken for granted.
    pub fn new(
        study: &Study,
        problem: &Problem,
        cruise: Cruise,
        map: Option<&DescentMap>,
        (question, granted): (String, Vec<String>),
    ) -> Self {
        let aircraft = &problem.aircraft;
        let density = aircraft.fuel.density_kg_m3;
        let fuel = Fuel::new(density);
        let writer = Writer {
            problem,
            study,
            fuel,
            priced: problem.prices.are_given(),
            cruise,
        };
        let c = &study.cruise;
        let mixture = aircraft.engine.spec.mixtures.get(cruise.mixture);
        let pattern_m = problem.arrival.pattern_altitude_m;
        let fixed_pitch = aircraft.propeller.is_fixed();
        let map_fixed = match map.map(|m| &m.axes) {
            Some(MapAxes::Wind { .. }) => "the same wind at every height; the cruise of the least money in each cell unless it was typed".to_owned(),
            Some(MapAxes::Prices { .. }) => format!(
                "{} ft to lose, wind along {} kt",
                feet(ft(cruise.level_m - pattern_m)),
                number(near(kt(c.wind_along_m_s), 0), 0)
            ),
            None => String::new(),
        };
        Self {
            title: DESCEND_TITLE,
            aircraft: aircraft.name.clone(),
            engines: aircraft.engines,
            fixed_pitch,
            question,
            cruise: DescendCruise {
                altitude_ft: ft(cruise.level_m),
                ias_kt: kt(c.ias_m_s),
                tas_kt: kt(c.state.tas_m_s),
                gs_kt: kt(c.ground_speed_m_s),
                map_inhg: inhg(c.map_pa),
                rpm: rpm(c.rev_s),
                mixture: mixture.map_or_else(String::new, |m| m.name.clone()),
                power_percent: super::units::percent(c.power_fraction),
                fuel_flow_gph: fuel.gph(c.fuel_kg_s),
                wind_along_kt: kt(c.wind_along_m_s),
                weight_lb: super::units::lb(c.mass_kg),
            },
            pattern_altitude_ft: ft(pattern_m),
            pattern_ias_kt: kt(aircraft.procedures.pattern_m_s),
            height_to_lose_ft: ft(cruise.level_m - pattern_m),
            common_nm: nm(study.to_m - study.from_m),
            prices: problem.prices.are_given().then(|| {
                let p = &problem.prices;
                [
                    plain(3_600.0 * p.per_s),
                    plain(p.fuel_per_kg * density * M3_PER_GAL),
                ]
            }),
            vno_kt: kt(aircraft.speeds.vno_m_s),
            vne_kt: kt(aircraft.speeds.vne_m_s),
            ways: (0..study.ways.len())
                .map(|i| writer.way(&study.ways[i], &study.ways[..i]))
                .collect(),
            left_out: study.no_coarse.map(|why| match why {
                NoCoarse::FixedPitch => {
                    "Fixed pitch: there is no propeller lever, so no way down with the propeller coarse."
                }
                NoCoarse::CruiseIsCoarsest => {
                    "Cruise has the lowest RPM already: the propeller cannot be coarser in the descent."
                }
            }),
            rules_of_thumb: study.thumbs.as_ref().map_or_else(Vec::new, thumbs),
            map: map.map(|m| map_figures(m, fuel, density, &map_fixed)),
            granted,
            cautions: cautions(problem),
        }
    }

    /// Cruise in one line.
    pub(super) fn cruise_line(&self) -> String {
        let c = &self.cruise;
        let power = if self.fixed_pitch {
            format!("{} rpm", revs(c.rpm))
        } else {
            format!("{} in / {}", inches(c.map_inhg), revs(c.rpm))
        };
        format!(
            "Cruise {} ft, {power}, {}, {} %, {} KIAS, {} kt over the ground, {} gph",
            feet(c.altitude_ft),
            c.mixture,
            number(near(c.power_percent, 0), 0),
            knots(c.ias_kt),
            knots(c.gs_kt),
            number(near(c.fuel_flow_gph, 1), 1)
        )
    }

    /// What the totals are counted over.
    pub(super) fn common_line(&self) -> String {
        format!(
            "Time, fuel and money of every way from the same point in cruise, {} nm before the pattern point, to pattern altitude \
             and {} KIAS there.",
            number(near(self.common_nm, 1), 1),
            knots(self.pattern_ias_kt)
        )
    }

    /// Why a way is not to be flown; empty where it is.
    pub(super) fn broken_words(way: &WayFigures) -> String {
        match &way.error {
            Some(e) => format!("cannot be flown: {e}"),
            None if way.limits_broken.is_empty() => String::new(),
            None => format!("not within limits: {}", way.limits_broken.join(", ")),
        }
    }
}

/// The figures as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn descend_json(figures: &DescendFigures) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(figures)?;
    text.push('\n');
    Ok(text)
}

pub(super) fn signed(x: f64, places: i32) -> String {
    let x = near(x, places);
    let text = number(x, usize::try_from(places.max(0)).unwrap_or(0));
    if x > 0.0 { format!("+{text}") } else { text }
}

/// A range written short: one figure where both ends are alike.
pub(super) fn span(of: [f64; 2], places: i32) -> String {
    let [a, b] = of.map(|x| number(near(x, places), 0));
    if a == b { a } else { format!("{a}-{b}") }
}

/// Rows of the three tables, for every face: heads, then a row a way; the name goes before.
pub(super) fn totals_row(d: &DownFigures) -> [String; 6] {
    [
        number(up(d.top_of_descent_to_pattern_nm, 1), 1),
        number(near(d.top_of_descent_to_pattern_min, 1), 1),
        span(d.rate_fpm, -1),
        span(d.ias_kt, 0),
        number(near(d.time_min, 1), 1),
        number(near(d.fuel_gal, 2), 2),
    ]
}

/// See [`totals_row`].
pub(super) const TOTALS_HEAD: [&str; 6] = ["TOD nm", "min", "fpm", "KIAS", "min", "gal"];

/// Differences and care.
pub(super) fn care_row(d: &DownFigures) -> [String; 10] {
    let money = |m: Option<f64>| m.map_or_else(|| "-".to_owned(), |m| signed(m, 2));
    let (time, fuel, cost) = d.against_ordinary.map_or_else(
        || ("-".to_owned(), "-".to_owned(), "-".to_owned()),
        |a| (signed(a.time_s, 0), signed(a.fuel_gal, 2), money(a.money)),
    );
    let room = |kt: f64| number(down(kt, 0), 0);
    [
        time,
        fuel,
        cost,
        room(d.to_air_limit_kt),
        room(d.to_vno_kt),
        room(d.to_vne_kt),
        room(d.to_rough_air_kt),
        number(up(d.map_fall_inhg_per_min, 1), 1),
        number(down(d.least_map_inhg, 1), 1),
        number(up(d.slow_down_nm, 1), 1),
    ]
}

/// See [`care_row`].
pub(super) const CARE_HEAD: [&str; 10] = [
    "s", "gal", "money", "air", "Vno", "Vne", "Va", "in/min", "least", "level",
];

/// What a rule of thumb says, with its unit, what is flown, and the error, for every face; a top of descent is rounded up.
pub(super) fn thumb_row(t: &ThumbFigures) -> [String; 3] {
    let (places, decimals) = if t.unit == "nm" { (1, 1) } else { (0, 0) };
    let flown = if t.unit == "nm" {
        up(t.flown, places)
    } else {
        near(t.flown, places)
    };
    [
        format!("{} {}", number(near(t.says, places), decimals), t.unit),
        number(flown, decimals),
        signed(t.error, places),
    ]
}

/// A map as text.
fn map_text(sheet: &mut Sheet, f: &DescendFigures, map: &MapFigures) {
    sheet.heading(&format!("What descends best, by {}", map.kind));
    sheet.paragraph(
        "",
        "",
        &format!(
            "Letters: the cheapest way down; number: money saved against the ordinary one. Right: {}. Up: {}. {}.",
            map.x_name,
            map.y_name,
            sentence(&map.fixed)
        ),
    );
    let places = usize::from(map.kind == "prices");
    for panel in &map.panels {
        sheet.line(&format!("Air: {}", panel.air));
        let across = map.x.len();
        for (row, y) in panel.cells.chunks(across).zip(&map.y).rev() {
            let mut line = format!("{:>7}", number(*y, places));
            for c in row {
                line.push_str(&format!("{:>8}", cell_words(c, f.fixed_pitch)));
            }
            sheet.line(&line);
        }
        let mut line = " ".repeat(7);
        for x in &map.x {
            line.push_str(&format!("{:>8}", number(*x, 0)));
        }
        sheet.line(&line);
    }
    sheet.paragraph("", "", &key_words(map, f.fixed_pitch));
}

/// What stands in a cell.
pub(super) fn cell_words(c: &MapCellFigures, fixed: bool) -> String {
    match (c.best, c.saves_money) {
        (None, _) => "-".to_owned(),
        (Some(_), _) if c.no_real_difference => "=".to_owned(),
        (Some(best), None) => format!("{} ?", family_words(best, fixed).0),
        (Some(best), Some(money)) => {
            format!(
                "{} {}",
                family_words(best, fixed).0,
                number(down(money.max(0.0), 1), 1)
            )
        }
    }
}

/// The letters that occur, in words.
pub(super) fn key_words(map: &MapFigures, fixed: bool) -> String {
    let cells = || map.panels.iter().flat_map(|p| &p.cells);
    let mut said: Vec<String> = ["coarse", "power_left", "reduced", "both_reduced"]
        .into_iter()
        .filter(|&k| cells().any(|c| c.region() == Some(k)))
        .map(|k| {
            let (letter, words) = family_words(k, fixed);
            format!("{letter} {words}")
        })
        .collect();
    if cells().any(|c| c.region() == Some("same")) {
        said.push("= no real difference: choose comfort".to_owned());
    }
    if cells().any(|c| c.best.is_none()) {
        said.push("- no way keeps every limit".to_owned());
    }
    if cells().any(|c| c.best.is_some() && c.saves_money.is_none()) {
        said.push("? the ordinary descent cannot be flown at its rate".to_owned());
    }
    format!("{}.", said.join("; "))
}

/// The text, at most 100 columns wide and laid out for no fewer than 80.
pub fn descend_text(f: &DescendFigures, width: usize) -> String {
    let mut sheet = Sheet::new(width);
    sheet.paragraph("", "", f.title);
    sheet.strong(&f.aircraft);
    sheet.paragraph("", "", &f.question);
    sheet.paragraph("", "", &f.cruise_line());
    sheet.heading("Ways down");
    sheet.paragraph("", "", &f.common_line());
    let row = |name: &str, cells: &[String], widths: &[usize]| {
        let mut line = format!("{name:26}");
        for (c, w) in cells.iter().zip(widths) {
            line.push_str(&format!("{c:>w$}"));
        }
        line
    };
    let heads = |heads: &[&str]| heads.iter().map(|&h| h.to_owned()).collect::<Vec<_>>();
    let named = |w: &WayFigures| {
        let mark = if w.can_be_flown { ' ' } else { '*' };
        format!("{}{mark} {}", w.letter, w.name)
    };
    let first = [7, 6, 10, 9, 10, 7];
    sheet.line(&format!(
        "{:26}{:>13}{:19}{:>17}",
        "", "to pattern", "", "from the point"
    ));
    sheet.line(&row("", &heads(&TOTALS_HEAD), &first));
    for w in &f.ways {
        if let Some(d) = &w.figures {
            sheet.line(&row(&named(w), &totals_row(d), &first));
        } else {
            sheet.line(&named(w));
        }
    }
    for w in f.ways.iter().filter(|w| !w.can_be_flown) {
        let words = DescendFigures::broken_words(w);
        sheet.paragraph("* ", "  ", &format!("{} {words}", w.letter));
    }
    for w in &f.ways {
        if let Some(same) = w.same_as {
            sheet.line(&format!("{} is the same descent as {same}.", w.letter));
        }
    }
    if let Some(words) = f.left_out {
        sheet.paragraph("", "", words);
    }
    sheet.heading("Against the ordinary descent; room to speeds; cooling; slow-down");
    let second = [5, 6, 7, 4, 4, 4, 4, 7, 6, 6];
    sheet.line(&format!(
        "{:26}{:>18}{:>16}{:>13}{:>6}",
        "", "against ordinary", "room, kt, to", "MAP", "nm"
    ));
    sheet.line(&row("", &heads(&CARE_HEAD), &second));
    for w in &f.ways {
        if let Some(d) = &w.figures {
            sheet.line(&row(&named(w), &care_row(d), &second));
        }
    }
    sheet.paragraph(
        "",
        "",
        "Below zero is saved. Air: speed limit of the air; Va: at the weight, the speed for rough air. in/min: greatest fall of MAP in a minute; least: \
         least MAP; level: flown level to slow down.",
    );
    sheet.heading("What is set, in order");
    for w in f.ways.iter().filter(|w| w.same_as.is_none()) {
        sheet.line(&format!("{} {}", w.letter, w.name));
        for s in &w.settings {
            sheet.paragraph("    ", "      ", s);
        }
    }
    sheet.heading(
        "Rules of thumb (common practice, no source) beside the ordinary descent as flown",
    );
    for t in &f.rules_of_thumb {
        let [says, flown, error] = thumb_row(t);
        sheet.paragraph(
            "  ",
            "    ",
            &format!(
                "{}: {says}; flown {flown}, error {error}: {}.",
                t.rule, t.meaning
            ),
        );
    }
    if let Some(map) = &f.map {
        map_text(&mut sheet, f, map);
    }
    if !f.granted.is_empty() {
        sheet.heading("Taken for granted");
        for g in &f.granted {
            sheet.paragraph("  ", "    ", g);
        }
    }
    sheet.heading("Cautions");
    for c in &f.cautions {
        sheet.paragraph("  ", "    ", c);
    }
    sheet.finish()
}

/// The question of a typed descent in one line: height, distance, wind and pattern.
pub fn descend_question(ask: &crate::trip::DescentAsk) -> String {
    let wind = near(ask.along_m_s / M_S_PER_KT, 0);
    let wind = if wind == 0.0 {
        "no wind".to_owned()
    } else if wind > 0.0 {
        format!("{} kt tail wind", number(wind, 0))
    } else {
        format!("{} kt head wind", number(-wind, 0))
    };
    format!(
        "From {} ft, {} nm from the field at {} ft, down to {} ft {} nm before it; {wind}; {} air",
        feet(ask.cruise_m / M_PER_FT),
        number(near(ask.distance_m / M_PER_NM, 0), 0),
        feet(ask.field_m / M_PER_FT),
        feet(ask.pattern_m / M_PER_FT),
        number(near(ask.before_m / M_PER_NM, 0), 0),
        air_key(ask.air)
    )
}
