//! The limits that hold the plan back, in words.

use super::Said;
use crate::brief::units::{fpm, inhg, percent, rpm};
use crate::brief::words::{inches, number, revs};
use crate::flight::{Limit, TrackPoint};
use crate::quantity::M_PER_FT;
use crate::solve::Plan;
use crate::trip::Problem;

pub(super) fn limit_words(limit: Limit, plan: &Plan, problem: &Problem) -> Said {
    let limits = &problem.limits;
    let (kind, text) = match limit {
        Limit::Airspeed => ("airspeed", "indicated airspeed is at the most the air allows".to_owned()),
        Limit::LowSpeed => (
            "low_speed",
            "indicated airspeed is at its least (1.3 Vs in cruise, Vy or cooling in the climb, pattern speed in the descent)"
                .to_owned(),
        ),
        Limit::ManifoldPressure => ("manifold_pressure", "MAP is on the limit line for the RPM".to_owned()),
        Limit::RpmBand => ("rpm_band", "RPM is at the edge of a band to avoid".to_owned()),
        Limit::CruisePower => (
            "cruise_power",
            format!(
                "power is at the greatest cruise power of your profile, {} %",
                number(percent(problem.aircraft.procedures.cruise_power_fraction), 0)
            ),
        ),
        Limit::Mixture => ("mixture", "power is at the most the mixture may be used with".to_owned()),
        Limit::LeastManifoldPressure => (
            "least_manifold_pressure",
            format!("MAP in the descent is at the least asked for, {} in", inches(inhg(limits.least_map_pa))),
        ),
        Limit::ClimbRate => {
            ("climb_rate", "rate of climb on reaching the level is at the least that is planned with".to_owned())
        }
        Limit::DescentRate => (
            "descent_rate",
            format!("rate of descent is at the greatest asked for, {} fpm", number(fpm(limits.max_descent_m_s), 0)),
        ),
        Limit::GearExtension => ("gear_extension", "the gear is extended at the greatest speed for it, Vlo".to_owned()),
        Limit::GearDown => ("gear_down", "indicated airspeed is at the most with the gear down, Vle".to_owned()),
        Limit::Ground => ("ground", "height over the ground is at its least".to_owned()),
        Limit::Forbidden => {
            let names = touched(plan, problem);
            ("forbidden", format!("the path runs along heights that are forbidden ({})", names.join(", ")))
        }
        Limit::Ceiling => ("ceiling", "altitude is at the most a leg allows".to_owned()),
        Limit::Level => (
            "level",
            "a level is held to the end of the legs that allow it".to_owned(),
        ),
        Limit::Governor => ("governor", "the propeller is about to reach a pitch stop".to_owned()),
        Limit::Redline => (
            "redline",
            format!(
                "RPM is at the redline, {}: the throttle keeps it there",
                revs(rpm(problem.aircraft.propeller.highest_governed_rev_s))
            ),
        ),
        Limit::Fuel => ("fuel", "the fuel on board is all needed".to_owned()),
        Limit::LandingMass => ("landing_weight", "weight at landing is at its greatest".to_owned()),
        Limit::ArriveWithin => ("arrive_within", "the time asked for is all used".to_owned()),
        Limit::FuelBound => ("fuel_bound", "the fuel asked for is all used".to_owned()),
        Limit::Distance => ("distance", "climb and descent leave no room for cruise".to_owned()),
    };
    Said { kind, text }
}

/// Names of the forbidden patches that the path comes next to.
fn touched<'a>(plan: &Plan, problem: &'a Problem) -> Vec<&'a str> {
    // What the audit calls next to a limit.
    const NEXT_TO_M: f64 = 30.0 * M_PER_FT;
    let path = |t: &TrackPoint| (t.state.distance_m, t.indicated_m);
    let mut names: Vec<&str> = Vec::new();
    let straight = problem.forbidden.iter().map(|patch| (patch, false));
    let turning = problem.forbidden_to_turns.iter().map(|patch| (patch, true));
    for (patch, in_turns) in straight.chain(turning) {
        let near = plan.flown.track.windows(2).any(|w| {
            (w[1].bank_rad > 0.0 || !in_turns)
                && patch
                    .depth_m(path(&w[0]), path(&w[1]))
                    .is_some_and(|depth_m| depth_m > -NEXT_TO_M)
        });
        if near && !names.contains(&patch.name.as_str()) {
            names.push(&patch.name);
        }
    }
    names
}
