//! Where the search for a descent begins: a coarse grid of settable descents over each family of rules.

use super::moves::settable_rate_m_s;
use crate::aircraft::Throttle;
use crate::flight::{Descent, DescentPart, PathRule, Script, State, ThrottleRule};
use crate::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG};
use crate::solve::circling::over_destination;
use crate::solve::cruise::settable_rev_s;
use crate::solve::refine::to_step;
use crate::trip::Problem;

/// Families of descents: a start is kept from each.
pub(super) fn family(d: &Descent) -> usize {
    let throttle = usize::from(matches!(
        d.first.throttle,
        ThrottleRule::LeftAlone(_) | ThrottleRule::Full | ThrottleRule::Untouched
    ));
    let path = usize::from(matches!(d.first.path, PathRule::Ias(_)));
    2 * throttle + path
}

/// The fastest settable indicated speed [m/s] that the air allows all the way from a level [m] to the pattern, less a knot.
pub fn fastest_all_the_way_m_s(problem: &Problem, level_m: f64, mass_kg: f64) -> f64 {
    fastest_between_m_s(
        problem,
        problem.arrival.pattern_altitude_m,
        level_m,
        mass_kg,
    )
}

/// The same between two indicated altitudes \[m\].
pub(super) fn fastest_between_m_s(problem: &Problem, low: f64, level_m: f64, mass_kg: f64) -> f64 {
    const LOOKS: u32 = 20;
    let share = (mass_kg / problem.aircraft.masses.max_take_off_kg).min(1.0);
    let slowest = (0..=LOOKS)
        .map(|i| low + (level_m - low) * f64::from(i) / f64::from(LOOKS))
        .map(|h| {
            problem
                .limits
                .speed_limit_m_s(&problem.aircraft.speeds, share, h, 0.0)
        })
        .fold(f64::INFINITY, f64::min);
    let step = problem.aircraft.procedures.speed_step_m_s;
    ((slowest - M_S_PER_KT) / step).floor() * step
}

/// The least manifold pressure \[Pa\] that may be held in the descent and that a hand can set.
pub(super) fn least_held_pa(problem: &Problem) -> f64 {
    let step = problem.aircraft.procedures.map_step_pa;
    (problem.limits.least_map_pa / step - 1e-6).ceil() * step
}

/// The [`family`] that keeps power and goes down at a speed.
pub(super) const FAST_POWER_ON: usize = 3;

/// A coarse grid of settable descents.
pub(super) fn grid(problem: &Problem, script: &Script, start: &State) -> Vec<Descent> {
    let pr = &problem.aircraft.procedures;
    let propeller = &problem.aircraft.propeller;
    let pattern_m = problem.arrival.pattern_altitude_m;
    let cruise = *script.last_cruise();
    let mass_kg = problem.zero_fuel_kg + problem.fuel_kg - start.fuel_kg;
    let fast = fastest_all_the_way_m_s(problem, cruise.level_m, mass_kg);
    let rate = |share: f64| PathRule::Rate(settable_rate_m_s(problem, share));
    let slow = to_step(0.5 * (fast + pr.pattern_m_s), pr.speed_step_m_s);
    let paths = [
        (rate(1.0), 0.0),
        (rate(1.0), 1_500.0 * M_PER_FT),
        (rate(0.6), 0.0),
        (PathRule::Ias(fast), 0.0),
        (PathRule::Ias(slow), 0.0),
    ];
    let cruise_map = {
        let (air, _) = problem.air_state(start.distance_m, start.pressure_altitude_m, start.time_s);
        problem
            .aircraft
            .perform(air, start.tas_m_s, cruise.levers())
            .map_pa
    };
    let revs = settable_rev_s(problem, pr.rev_step_s);
    let mut rules: Vec<(f64, ThrottleRule)> = Vec::new();
    if propeller.is_fixed() {
        rules.push((cruise.rev_s, ThrottleRule::Untouched));
        for k in 0..4 {
            if let Some(&rev_s) = revs.get(k * revs.len() / 4) {
                rules.push((rev_s, ThrottleRule::Rpm));
            }
        }
    } else {
        // The coarsest pitch, that of cruise, and one between.
        let up_to = revs.partition_point(|&r| r <= cruise.rev_s + 1e-6);
        let mut some: Vec<f64> = [0, up_to / 2]
            .iter()
            .filter_map(|&i| revs.get(i).copied())
            .collect();
        some.push(cruise.rev_s);
        some.dedup();
        for rev_s in some {
            let limit_pa =
                (problem.aircraft.map_limit_pa(rev_s) / pr.map_step_pa).floor() * pr.map_step_pa;
            let alone_pa = match cruise.throttle {
                Throttle::Map(p) => p,
                _ => to_step(cruise_map, pr.map_step_pa),
            };
            rules.push((rev_s, ThrottleRule::LeftAlone(alone_pa.min(limit_pa))));
            let least = least_held_pa(problem);
            for up in [0.0, 4.0] {
                let held = to_step(least + up * PA_PER_INHG, pr.map_step_pa);
                if held < limit_pa {
                    rules.push((rev_s, ThrottleRule::Held(held)));
                }
            }
        }
    }
    rules
        .iter()
        .flat_map(|&(rev_s, throttle)| {
            paths.map(|(path, lead_m)| Descent {
                first: DescentPart {
                    throttle,
                    rev_s,
                    mixture: cruise.mixture,
                    path,
                    gear_down: false,
                },
                second: None,
                reduce_at_m: pattern_m + lead_m,
                to_go_m: f64::NAN,
                circle: over_destination(problem),
            })
        })
        .collect()
}
