//! The descent when it does not go as planned: rough air, begun late, told down early.

use super::measure::Units;
use super::units::{Fuel, fpm, inhg, kt, min, nm, rpm};
use super::words::{down, feet, inches, knots, number, revs, up};
use crate::flight::{DescentPart, PathRule, ThrottleRule};
use crate::quantity::M_S_PER_KT;
use crate::solve::{HalfWay, Late, LateMeans, Plan, rough};
use crate::trip::Problem;
use schemars::JsonSchema;
use serde::Serialize;

/// What is said of a start that is too late.
pub const TOO_LATE: &str = "LEVEL OFF HIGH: turn or extend, do not dive";

/// Power and speed to go to in rough air, and the other start down.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct RoughFigures {
    /// Greatest speed: Va at the weight half-way down.
    pub ias_kt: f64,
    /// Manifold pressure that holds it at the rate below, the propeller as planned; none at fixed pitch.
    pub map_inhg: Option<f64>,
    /// Crankshaft speed; at fixed pitch what holds the speed.
    pub rpm: f64,
    /// Rate of descent.
    pub rate_fpm: f64,
    /// With the gear down.
    pub gear_down: bool,
    /// That is enough to go down by; else the height is held.
    pub descends: bool,
    /// Start-down point of the ordinary descent, to go, where there is one.
    pub ordinary_top_of_descent_to_go_nm: Option<f64>,
    /// In words.
    pub text: String,
}

/// What to set in a descent that begins elsewhere.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct OtherDescent {
    /// Manifold pressure held; none where the throttle stays by the rule of the plan, and at fixed pitch.
    pub map_inhg: Option<f64>,
    /// Crankshaft speed.
    pub rpm: f64,
    /// With the gear down.
    pub gear_down: bool,
    /// Rate of descent.
    pub rate_fpm: f64,
    /// Indicated airspeed half-way down.
    pub ias_kt: f64,
    /// In words.
    pub text: String,
}

/// A descent begun late.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LateStartFigures {
    /// Past the top of descent.
    pub past_nm: f64,
    /// The same, to go.
    pub to_go_nm: f64,
    /// The rate needed, with the means that does it, or where none does within the limits with the means that helps most; none where
    /// no rate would do.
    pub rate_needed_fpm: Option<f64>,
    /// What achieves it within every limit, if anything does.
    pub means: Option<OtherDescent>,
    /// In words.
    pub text: String,
}

/// Told down early.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct EarlyFigures {
    /// Where, to go.
    pub to_go_nm: f64,
    /// What to set.
    pub means: OtherDescent,
    /// Longer than the plan by.
    pub longer_min: f64,
    /// More fuel than the plan by.
    pub more_gal: f64,
    /// In words.
    pub text: String,
}

/// The descent begun late or early, flown from the cruise of the plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LateFigures {
    /// Every 5 nm past the top of descent, as far as the first that does not work.
    pub starts: Vec<LateStartFigures>,
    /// The last start that works within every limit, to go.
    pub last_to_go_nm: f64,
    /// What holds after it.
    pub after: &'static str,
    /// Told down early, where there is a cruise to be told down from.
    pub early: Option<EarlyFigures>,
}

/// How far the top of descent moves with the ground speed.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TopOfDescentShift {
    /// For every so much more ground speed than planned.
    pub ground_speed_kt: f64,
    /// Earlier by this; as much later for as much less.
    pub earlier_nm: f64,
}

/// Ground speed for which the shift of the top of descent is given, kt.
const SHIFT_KT: f64 = 10.0;

/// The shift of the top of descent: what more ground speed makes of the time from there to where pattern speed is met.
pub(super) fn shift(plan: &Plan) -> TopOfDescentShift {
    let flown = &plan.flown;
    let time_s = flown.slowed.time_s - flown.top_of_descent.time_s;
    TopOfDescentShift {
        ground_speed_kt: SHIFT_KT,
        earlier_nm: nm(SHIFT_KT * M_S_PER_KT * time_s),
    }
}

/// Power and speed for rough air; none without a recorded descent.
pub(super) fn rough_figures(
    plan: &Plan,
    problem: &Problem,
    ordinary_to_go_nm: Option<f64>,
    rough_up_to_ft: Option<f64>,
) -> Option<RoughFigures> {
    let r = rough(problem, plan)?;
    let fixed = problem.aircraft.propeller.is_fixed();
    let planned = plan.flown.script.descent.first;
    let ias_kt = kt(r.ias_m_s);
    let rate_fpm = fpm(r.rate_m_s);
    let (map_inhg, turns) = if fixed {
        (None, rpm(r.reading))
    } else {
        (Some(inhg(r.reading)), rpm(planned.rev_s))
    };
    let set = match map_inhg {
        Some(map) => format!("THROTTLE {} in, PROP as it is", inches(map)),
        None => format!("THROTTLE {} rpm", revs(turns)),
    };
    let instead = match (rough_up_to_ft, ordinary_to_go_nm) {
        (Some(top), _) => format!("; planned so up to {} ft", feet(top)),
        (None, Some(to_go)) => format!(
            "; expected rough: the ordinary descent, from {} nm to go",
            number(up(to_go, 0), 0)
        ),
        (None, None) => String::new(),
    };
    let speed = format!(
        "{} KIAS or less (Va at that weight)",
        number(down(ias_kt, 0), 0)
    );
    let gear = gear_words(r.gear_down, problem);
    let words = if r.descends() {
        let rate = number(down(rate_fpm, -1), 0);
        format!("{set}{gear}: {speed}, about {rate} fpm down")
    } else {
        format!(
            "slow to {speed} and HOLD HEIGHT: least power ({}) hardly goes down at that; start down where it is smooth, and turn \
             where that is too late",
            map_inhg.map_or_else(
                || format!("{} rpm", revs(turns)),
                |map| format!("{} in", inches(map))
            )
        )
    };
    Some(RoughFigures {
        ias_kt,
        map_inhg,
        rpm: turns,
        rate_fpm,
        gear_down: r.gear_down,
        descends: r.descends(),
        ordinary_top_of_descent_to_go_nm: ordinary_to_go_nm,
        text: format!("{words}{instead}"),
    })
}

/// ", GEAR down below 150 KIAS" where it is to go down, else nothing.
fn gear_words(goes_down: bool, problem: &Problem) -> String {
    if goes_down {
        let vlo = knots(kt(problem.aircraft.speeds.vlo_extend_m_s).floor());
        format!(", GEAR down below {vlo} KIAS")
    } else {
        String::new()
    }
}

/// What is set in a descent of another start; the throttle of the plan where it stays.
fn other(
    part: &DescentPart,
    planned_power: bool,
    half_way: HalfWay,
    plan: &Plan,
    problem: &Problem,
) -> OtherDescent {
    let fixed = problem.aircraft.propeller.is_fixed();
    let planned = plan.flown.script.descent.first;
    let set = part.throttle.set_map_pa().filter(|_| !fixed);
    let map_inhg = set.map(|p| inhg(p.min(problem.aircraft.map_limit_pa(part.rev_s))));
    let (rate_fpm, ias_kt) = (fpm(half_way.rate_m_s), kt(half_way.ias_m_s));
    let throttle = match (map_inhg, part.throttle) {
        _ if planned_power => "power as planned".to_owned(),
        (Some(map), _) => format!("THROTTLE to {} in", inches(map)),
        (None, ThrottleRule::Rpm) => format!("THROTTLE to {} rpm", revs(rpm(part.rev_s))),
        (None, _) => "THROTTLE as it is".to_owned(),
    };
    let prop = if fixed {
        String::new()
    } else {
        format!(", PROP {}", revs(rpm(part.rev_s)))
    };
    let gear = gear_words(part.gear_down && !planned.gear_down, problem);
    let path = match part.path {
        PathRule::Rate(r) => format!("{} fpm, about {} KIAS", number(fpm(r), 0), knots(ias_kt)),
        PathRule::Ias(v) => format!(
            "{} KIAS, about {} fpm",
            knots(kt(v)),
            number(down(rate_fpm, -1), 0)
        ),
    };
    OtherDescent {
        map_inhg,
        rpm: rpm(part.rev_s),
        gear_down: part.gear_down,
        rate_fpm,
        ias_kt,
        text: format!("{throttle}{prop}{gear}, {path}"),
    }
}

/// Whether a part leaves the throttle to the rule of the plan.
fn as_planned(part: &DescentPart, plan: &Plan) -> bool {
    let planned = plan.flown.script.descent.first;
    part.throttle == planned.throttle && part.rev_s == planned.rev_s
}

impl LateFigures {
    /// The figures of flights that begin down elsewhere than the plan.
    pub fn new(late: &Late, plan: &Plan, problem: &Problem, units: Units) -> Self {
        let fuel = Fuel::new(problem.aircraft.fuel.density_kg_m3);
        let tod_m = plan.flown.top_of_descent.distance_m;
        let to_go_m = problem.length_m - tod_m;
        let starts = late
            .starts
            .iter()
            .map(|s| {
                let means = s.means.as_ref().map(|m: &LateMeans| {
                    other(&m.part, m.planned_power, m.half_way, plan, problem)
                });
                let rate_needed_fpm = s.needed_m_s.is_finite().then(|| fpm(s.needed_m_s));
                let text = match (&means, rate_needed_fpm) {
                    (Some(m), _) => m.text.clone(),
                    (None, Some(rate)) if s.needed_m_s > problem.limits.max_descent_m_s => format!(
                        "{} fpm needed with least power, more than the {} of the trip",
                        number(up(rate, -1), 0),
                        number(fpm(problem.limits.max_descent_m_s), 0)
                    ),
                    _ => "no rate does it within the limits".to_owned(),
                };
                LateStartFigures {
                    past_nm: nm(s.past_m),
                    to_go_nm: nm(to_go_m - s.past_m),
                    rate_needed_fpm,
                    means,
                    text,
                }
            })
            .collect();
        let early = late.early.as_ref().map(|e| {
            let means = other(
                &e.part,
                as_planned(&e.part, plan),
                e.half_way,
                plan,
                problem,
            );
            let (longer_min, more_gal) = (min(e.longer_s), fuel.gal(e.more_kg));
            let longer = if longer_min >= 0.0 {
                format!("{} min longer", number(up(longer_min, 1), 1))
            } else {
                format!("{} min less", number(down(-longer_min, 1), 1))
            };
            let more = if more_gal >= 0.0 {
                format!("{} more", units.burned(more_gal))
            } else {
                format!("{} less", units.left(-more_gal))
            };
            EarlyFigures {
                to_go_nm: nm(to_go_m + e.before_m),
                text: format!("{}; {longer}, {more}", means.text),
                means,
                longer_min,
                more_gal,
            }
        });
        Self {
            starts,
            last_to_go_nm: nm(to_go_m - late.last_m),
            after: TOO_LATE,
            early,
        }
    }
}
