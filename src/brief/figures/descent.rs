//! The descent as the pilot is told it, in figures and in one sentence, with why it pays.

use super::path::{Point, SegmentFigures, mixture_name};
use super::totals::{gain, ordinary, saves};
use crate::aircraft::Speeds;
use crate::brief::circling::in_short;
use crate::brief::measure::Units;
use crate::brief::units::{Fuel, fpm, ft, inhg, kt, nm, percent, rpm};
use crate::brief::words::{down, feet, inches, knots, number, revs, up};
use crate::flight::{DescentPart, PathRule, ThrottleRule};
use crate::solve::{DescentMeans, Plan, Reason, because};
use crate::trip::{Problem, Roughness};
use schemars::JsonSchema;
use serde::Serialize;

/// In a descent with the power on the engine gives at least this fraction of rated power half-way down. Windmilling and
/// approach power are below it, the least cruise settings above.
const POWER_ON: f64 = 0.35;

/// The descent as the pilot is told it.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Descent {
    /// full, held or left_alone; at fixed pitch rpm_held, untouched or full.
    pub throttle: &'static str,
    /// Manifold pressure set; none at full throttle and at fixed pitch.
    pub map_inhg: Option<f64>,
    /// Crankshaft speed; at fixed pitch what is held, else the greatest allowed.
    pub rpm: f64,
    /// Mixture.
    pub mixture: String,
    /// Indicated airspeed half-way down.
    pub ias_kt: f64,
    /// Rate of descent half-way down.
    pub rate_fpm: f64,
    /// Brake power half-way down.
    pub power_percent: f64,
    /// RPM below that of cruise with the power on.
    pub coarse_and_fast: bool,
    /// Greatest speed in rough air at the weight of the descent: Va.
    pub rough_air_ias_kt: f64,
    /// The trip expects rough air on the way down, up to this indicated altitude.
    pub rough_up_to_ft: Option<f64>,
    /// Indicated altitude at which the second part begins, if there is one.
    pub second_from_ft: Option<f64>,
    /// The gear is down in the descent, before it is needed, as a brake.
    pub gear_as_brake: bool,
    /// The descent in one sentence.
    pub sentence: String,
}

/// ", because ...": why the plan's descent pays, by the figures of the two flights.
fn because_words(plan: &Plan, problem: &Problem, fuel: Fuel, units: Units) -> String {
    let Some(b) = ordinary(plan).and_then(|o| because(problem, &plan.flown, &o.flown)) else {
        return String::new();
    };
    let (p, o) = (&b.plan, &b.ordinary);
    let gs = |m: &DescentMeans| knots(kt(m.ground_speed_m_s));
    let words = match b.reason {
        Reason::HeightBuysSpeed => format!(
            "the height lost buys speed with {} % power left on, where the ordinary descent gives it away with the throttle, at {} %: {} kt GS on \
             average to the pattern against {}",
            number(percent(p.power_fraction), 0),
            number(percent(o.power_fraction), 0),
            gs(p),
            gs(o)
        ),
        Reason::MoreTailWind => format!(
            "it keeps the tail wind aloft longer: {} kt of it on average to the pattern against {}",
            knots(kt(p.wind_along_m_s)),
            knots(kt(o.wind_along_m_s))
        ),
        Reason::LessHeadWind => format!(
            "it meets less head wind: {} kt on average to the pattern against {}",
            knots(kt(-p.wind_along_m_s)),
            knots(kt(-o.wind_along_m_s))
        ),
        Reason::LessFuelFlow => format!(
            "it burns less on the way down: {} on average to the pattern against {}",
            units.mean_flow(fuel.gph(p.fuel_kg / p.time_s)),
            units.mean_flow(fuel.gph(o.fuel_kg / o.time_s)).figure
        ),
        Reason::FewerRevolutions => format!(
            "the tachometer hour runs slower: {} turns to the pattern against {}",
            number(p.revolutions, 0),
            number(o.revolutions, 0)
        ),
    };
    format!(", because {words}")
}

/// The throttle in a descent with a fixed pitch; `stays`: cruise has the same RPM.
fn fixed_pitch_descent(rule: ThrottleRule, stays: bool, rev_s: f64) -> String {
    let revs = revs(rpm(rev_s));
    match rule {
        ThrottleRule::Full => format!("full throttle, at most {revs} rpm"),
        ThrottleRule::Untouched => format!("leave the throttle, at most {revs} rpm"),
        _ if stays => format!("THROTTLE back as RPM rises, {revs} rpm held"),
        _ => format!("THROTTLE to {revs} rpm, held"),
    }
}

/// "from 6,000 ft hold 15 in, PROP stays, 110 KIAS": the second part of a descent after the first.
fn second_words(problem: &Problem, from_m: f64, part: &DescentPart, first: &DescentPart) -> String {
    let fixed = problem.aircraft.propeller.is_fixed();
    let power = match (part.throttle, part.throttle.set_map_pa()) {
        (_, Some(p)) => format!("hold {} in", inches(inhg(p))),
        (ThrottleRule::Rpm, _) => format!("hold {} rpm", revs(rpm(part.rev_s))),
        (ThrottleRule::Full, _) => "full throttle".to_owned(),
        _ => "throttle as it is".to_owned(),
    };
    let half_step = 0.5 * problem.aircraft.procedures.rev_step_s;
    let prop = if fixed || (part.rev_s - first.rev_s).abs() <= half_step {
        String::new()
    } else {
        format!(", PROP {}", revs(rpm(part.rev_s)))
    };
    let path = match part.path {
        PathRule::Rate(r) => format!("{} fpm", number(fpm(r), 0)),
        PathRule::Ias(v) => format!("{} KIAS", knots(kt(v))),
    };
    let gear = if part.gear_down && !first.gear_down {
        ", gear down"
    } else {
        ""
    };
    format!("from {} ft {power}{prop}{gear}, {path}", feet(ft(from_m)))
}

pub(super) fn descent(
    plan: &Plan,
    problem: &Problem,
    (fuel, units): (Fuel, Units),
    track: &[Point],
    segments: &[SegmentFigures],
) -> Descent {
    let second = plan.flown.script.descent.second;
    let d = &plan.flown.script.descent.first;
    let cruise = plan.flown.script.cruise.last();
    let found = segments
        .iter()
        .find(|s| s.kind == "descent" || s.kind == "circling_descent");
    let middle = found.and_then(|s| {
        let half = 0.5 * (s.start.indicated_altitude_ft + s.end.indicated_altitude_ft);
        track
            .iter()
            .find(|t| t.segment == s.start.segment && t.indicated_altitude_ft <= half)
    });
    let middle = middle.or(found.map(|s| &s.start));
    let (ias_kt, rate_fpm) = match d.path {
        PathRule::Rate(r) => (middle.map_or(0.0, |m| m.ias_kt), fpm(r)),
        PathRule::Ias(v) => (kt(v), middle.map_or(0.0, |m| -m.vs_fpm)),
    };
    let power_percent = middle.map_or(0.0, |m| m.power_percent);
    let half_step = 0.5 * problem.aircraft.procedures.rev_step_s;
    let fixed = problem.aircraft.propeller.is_fixed();
    let coarse_and_fast = !fixed
        && cruise.is_some_and(|c| d.rev_s < c.rev_s - half_step)
        && power_percent >= percent(POWER_ON);
    // What is set: the flight keeps every reading under the limit line.
    let map_inhg = d
        .throttle
        .set_map_pa()
        .filter(|_| !fixed)
        .map(|p| inhg(p.min(problem.aircraft.map_limit_pa(d.rev_s))));
    let mass_kg = middle.map_or(problem.zero_fuel_kg, |m| {
        m.weight_lb * crate::quantity::KG_PER_LB
    });
    let aircraft = &problem.aircraft;
    let va = Speeds::at_mass(
        aircraft.speeds.va_m_s,
        mass_kg,
        aircraft.masses.max_take_off_kg,
    );
    let rough_up_to_ft = plan
        .flown
        .track
        .iter()
        .filter(|t| plan.flown.segments[t.segment].kind.descends())
        .filter(|t| {
            let above = problem.above_ground_m(t.state.distance_m, t.true_altitude_m);
            problem.limits.roughness(t.indicated_m, above) == Roughness::Rough
        })
        .filter_map(|t| {
            problem
                .limits
                .air
                .iter()
                .find(|(top, _)| t.indicated_m <= *top)
        })
        .map(|(top, _)| ft(*top))
        .fold(None, |most: Option<f64>, x| {
            Some(most.map_or(x, |m| m.max(x)))
        });
    let to_go = up(
        nm(problem.length_m - plan.flown.top_of_descent.distance_m),
        0,
    );
    let flown_so = match d.path {
        PathRule::Rate(_) => format!("{} fpm, about {} KIAS", number(rate_fpm, 0), knots(ias_kt)),
        PathRule::Ias(_) => format!(
            "{} KIAS, about {} fpm",
            knots(ias_kt),
            number(down(rate_fpm, -1), 0)
        ),
    };
    let stays = cruise.is_some_and(|c| (d.rev_s - c.rev_s).abs() <= half_step);
    let most_rev_s = problem.aircraft.propeller.highest_governed_rev_s;
    let held = fixed && matches!(d.throttle, ThrottleRule::Rpm);
    let rev_s = if fixed && !held { most_rev_s } else { d.rev_s };
    let map_words = match map_inhg {
        None => "leave full throttle".to_owned(),
        Some(set) => {
            let now = found.map_or(0.0, |s| s.start.map_inhg);
            let verb = match d.throttle {
                ThrottleRule::LeftAlone(_) => "set and leave",
                _ if set > now + 0.5 => "full throttle till it gives",
                _ if coarse_and_fast && (set - now).abs() < 0.75 => "keep",
                _ => "hold",
            };
            format!("{verb} {} in", inches(set))
        }
    };
    let prop = if stays {
        format!("PROP stays at {}", revs(rpm(d.rev_s)))
    } else if coarse_and_fast {
        format!("PROP back to {}", revs(rpm(d.rev_s)))
    } else {
        format!("PROP {}", revs(rpm(d.rev_s)))
    };
    let set = if fixed {
        fixed_pitch_descent(d.throttle, stays, rev_s)
    } else {
        format!("{map_words}, {prop}")
    };
    let gear = if d.gear_down { ", gear down" } else { "" };
    let from = if to_go > 0.0 {
        format!("{} nm", number(to_go, 0))
    } else {
        "over the field".to_owned()
    };
    let mut words = format!("{set}{gear}, {flown_so}, from {from}");
    if let Some((from_m, part)) = &second {
        let second = second_words(problem, *from_m, part, d);
        words.push_str(&format!("; {second}"));
    }
    if let [_, Some(circling)] = in_short(&plan.flown) {
        words.push_str(&format!("; over the field {circling}"));
    }
    if coarse_and_fast {
        if let Some(g) = gain(plan, problem, fuel) {
            words.push_str(&format!(
                ": {} against the ordinary descent",
                saves(&g, units)
            ));
            words.push_str(&because_words(plan, problem, fuel, units));
        }
        words.push_str("; if bumpy, don't");
    }
    Descent {
        throttle: match d.throttle {
            ThrottleRule::Full => "full",
            ThrottleRule::Rpm => "rpm_held",
            ThrottleRule::Untouched => "untouched",
            ThrottleRule::Held(_) => "held",
            ThrottleRule::LeftAlone(_) => "left_alone",
        },
        map_inhg,
        rpm: rpm(rev_s),
        mixture: mixture_name(problem, d.mixture),
        ias_kt,
        rate_fpm,
        power_percent,
        coarse_and_fast,
        rough_air_ias_kt: kt(va),
        rough_up_to_ft,
        second_from_ft: second.map(|s| ft(s.0)),
        gear_as_brake: plan.flown.script.descent.last().gear_down,
        sentence: words,
    }
}
