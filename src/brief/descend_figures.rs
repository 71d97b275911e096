//! From a descent study to cockpit figures.

use super::descend::{
    AgainstOrdinary, DESCEND_TITLE, DescendCruise, DescendFigures, DescendPoint, DownFigures,
    MapCellFigures, MapFigures, MapPanelFigures, ThumbFigures, WayFigures,
};
use super::measure::Units;
use super::units::{Fuel, fpm, ft, inhg, kt, lb, min, nm, percent, plain, rpm};
use super::words::{EACH_ENGINE, ONE_ENGINE, feet, inches, knots, near, number, revs, up};
use crate::aircraft::Throttle;
use crate::flight::{
    Cruise, Descent, DescentPart, Flown, Limit, PathRule, SegmentKind, ThrottleRule, TrackPoint,
};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_KT, M3_PER_GAL};
use crate::solve::{
    BestOf, DescentMap, Down, Family, MapAxes, NoCoarse, Study, Style, Thumbs, Way,
};
use crate::trip::{Objective, Problem, Roughness};

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
                    let families = best.map_or(&[][..], |b| &b.families);
                    MapCellFigures {
                        x,
                        y,
                        best: families.first().copied().map(family_key),
                        ties: families.iter().skip(1).copied().map(family_key).collect(),
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
    /// Cockpit figures of a study of a problem, for faces in US units, with maps if they were asked for; `question` says what was asked and `granted` what
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
        let cruise_words =
            "cruise as typed in the first map, else that of the least money in each cell";
        let map_fixed = match map.map(|m| &m.axes) {
            Some(MapAxes::Wind { .. }) => {
                format!("the same wind at every height; {cruise_words}")
            }
            Some(MapAxes::Prices { .. }) => format!(
                "{} ft to lose, wind along {} kt; {cruise_words}",
                feet(ft(cruise.level_m - pattern_m)),
                number(near(kt(c.wind_along_m_s), 0), 0)
            ),
            None => String::new(),
        };
        Self {
            units: Units::Us,
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
                power_percent: percent(c.power_fraction),
                fuel_flow_gph: fuel.gph(c.fuel_kg_s),
                wind_along_kt: kt(c.wind_along_m_s),
                weight_lb: lb(c.mass_kg),
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
