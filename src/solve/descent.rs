//! Descent candidates over the whole lever space, each flown from cruise to pattern speed.

use super::cruise::settable_rev_s;
use crate::flight::{Descent, PathRule, Script, State, ThrottleRule, let_down};
use crate::quantity::{M_PER_FT, M_S_PER_KT, PA_PER_INHG};
use crate::trip::{CostRates, Problem};

/// A descent and what it costs beyond cruising the distance it covers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// The descent.
    pub descent: Descent,
    /// Cost of descent and slow-down, objective unit.
    pub cost: f64,
    /// Distance covered, m.
    pub distance_m: f64,
    /// Cost less what the distance is worth in cruise.
    pub worth: f64,
    /// Sum of violations in scale units.
    pub violation: f64,
}

impl Candidate {
    /// Worth with violations charged: one scale unit costs as much as 2 % of the descent.
    pub fn charged(&self) -> f64 {
        self.worth + 0.02 * self.violation * self.cost.abs()
    }
}

/// Families of descents: a start is kept from each.
fn family(d: &Descent) -> usize {
    let throttle = usize::from(matches!(
        d.throttle,
        ThrottleRule::LeftAlone(_) | ThrottleRule::Untouched
    ));
    let path = usize::from(matches!(d.path, PathRule::Ias(_)));
    2 * throttle + path
}

/// Flies one descent from a cruise state; `per_m` is the value of distance.
pub fn price(
    problem: &Problem,
    rates: CostRates,
    script: &Script,
    start: State,
    per_m: f64,
) -> Option<Candidate> {
    let down = let_down(problem, script, start).ok()?;
    let cost = rates.per_s * (down.end.time_s - start.time_s)
        + rates.per_kg * (down.end.fuel_kg - start.fuel_kg)
        + rates.per_rev * (down.end.revolutions - start.revolutions);
    let distance_m = down.end.distance_m - start.distance_m;
    Some(Candidate {
        descent: script.descent,
        cost,
        distance_m,
        worth: cost - per_m * distance_m,
        violation: down.audit.violation(),
    })
}

/// The fastest settable indicated speed [m/s] that the air allows all the way from a level [m] to the pattern, less a knot.
pub fn fastest_all_the_way_m_s(problem: &Problem, level_m: f64, mass_kg: f64) -> f64 {
    const LOOKS: u32 = 20;
    let low = problem.arrival.pattern_altitude_m;
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

/// The grid of descents from the cruise of a script: of each family the cheapest, cheapest first, violations charged.
pub fn candidates(
    problem: &Problem,
    rates: CostRates,
    script: &Script,
    start: State,
    per_m: f64,
) -> Vec<Candidate> {
    let pattern = problem.arrival.pattern_altitude_m;
    let cruise = script.cruise[script.cruise.len() - 1];
    let most = problem.limits.max_descent_m_s;
    let mut best: [Option<Candidate>; 4] = [None; 4];
    let cruise_map = {
        let (air, _) = problem.air_state(start.distance_m, start.pressure_altitude_m);
        let levers = crate::aircraft::Levers {
            throttle: cruise.throttle,
            rev_s: cruise.rev_s,
            mixture: cruise.mixture,
        };
        problem.aircraft.perform(air, start.tas_m_s, levers).map_pa
    };
    let mass = problem.zero_fuel_kg + problem.fuel_kg - start.fuel_kg;
    let fast = fastest_all_the_way_m_s(problem, cruise.level_m, mass);
    let paths = [
        PathRule::Rate(most),
        PathRule::Rate(0.7 * most),
        PathRule::Rate(0.4 * most),
        PathRule::Ias(fast),
        PathRule::Ias(0.5 * (fast + problem.aircraft.procedures.pattern_m_s)),
    ];
    let mut rules: Vec<(f64, ThrottleRule)> = Vec::new();
    let fixed = problem.aircraft.propeller.is_fixed();
    if fixed {
        rules.push((cruise.rev_s, ThrottleRule::Untouched));
    }
    for rev_s in settable_rev_s(problem, 100.0 / 60.0) {
        if fixed {
            rules.push((rev_s, ThrottleRule::Rpm));
        } else if rev_s <= cruise.rev_s + 1e-6 {
            let limit = problem.aircraft.map_limit_pa(rev_s);
            rules.push((rev_s, ThrottleRule::LeftAlone(cruise_map.min(limit))));
            let mut map = problem.limits.least_map_pa;
            while map < limit.min(26.0 * PA_PER_INHG) {
                rules.push((rev_s, ThrottleRule::Held(map)));
                map += 2.0 * PA_PER_INHG;
            }
        }
    }
    for (rev_s, throttle) in rules {
        for path in paths {
            for lead_ft in [0.0, 1_500.0] {
                if lead_ft > 0.0 && matches!(path, PathRule::Ias(_)) {
                    continue;
                }
                let descent = Descent {
                    throttle,
                    rev_s,
                    mixture: cruise.mixture,
                    path,
                    reduce_at_m: pattern + lead_ft * M_PER_FT,
                    to_go_m: f64::NAN,
                };
                let trial = Script {
                    descent,
                    ..script.clone()
                };
                // About where it will begin, so that it is held against the right ground.
                let rate = match path {
                    PathRule::Rate(r) => r,
                    PathRule::Ias(_) => 0.8 * most,
                };
                let down_s = (cruise.level_m - pattern) / rate + 90.0;
                let sample = problem.air.at(start.distance_m, start.pressure_altitude_m);
                let back_m = down_s * (start.tas_m_s + sample.along_m_s);
                let distance_m = (problem.length_m - problem.arrival.before_m - back_m).max(0.0);
                let from = State {
                    distance_m,
                    pressure_altitude_m: problem.pressure_altitude_m(distance_m, cruise.level_m),
                    ..start
                };
                let Some(c) = price(problem, rates, &trial, from, per_m) else {
                    continue;
                };
                let slot = &mut best[family(&descent)];
                if slot.is_none_or(|b| c.charged() < b.charged()) {
                    *slot = Some(c);
                }
            }
        }
    }
    let mut found: Vec<Candidate> = best.into_iter().flatten().collect();
    found.sort_by(|a, b| a.charged().total_cmp(&b.charged()));
    found
}
