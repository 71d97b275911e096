//! The cruise cost field: what can be set at a level, and what a mile costs there.

use crate::aircraft::propeller::Nearby;
use crate::aircraft::{AirState, Governed, Levers, Performance, Throttle};
use crate::flight::{Nearness, level_speed_m_s, steady_level};
use crate::quantity::PA_PER_INHG;
use crate::solve::refine::by_steps;
use crate::trip::{AirSample, CostRates, Problem};
use argmin::core::{CostFunction, Executor, State as _};
use argmin::solver::brent::BrentOpt;
use std::cell::Cell;

/// One allowed cruise setting and what it gives, in the air of the middle of the route.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CruiseOption {
    /// Levers; `Full` only where full throttle is within the limit line.
    pub levers: Levers,
    /// True airspeed, m/s.
    pub tas_m_s: f64,
    /// Indicated airspeed, m/s.
    pub ias_m_s: f64,
    /// Fuel flow, kg/s.
    pub fuel_kg_s: f64,
    /// Crankshaft speed, rev/s.
    pub rev_s: f64,
    /// Manifold pressure, Pa.
    pub map_pa: f64,
}

/// Step of the search in crankshaft speed, rev/s (100 rpm).
const REV_STEP_S: f64 = 100.0 / 60.0;
/// The same at fixed pitch, where nothing else sets the power: what a hand can set, but no finer than this (50 rpm).
const FIXED_REV_STEP_S: f64 = 50.0 / 60.0;
/// Step of the search in manifold pressure, Pa.
const MAP_STEP_PA: f64 = PA_PER_INHG;
/// Lowest manifold pressure searched, Pa.
const MAP_LEAST_PA: f64 = 13.0 * PA_PER_INHG;

/// Ground speed [m/s] in level flight.
pub(super) fn ground_speed_m_s(tas_m_s: f64, sample: &AirSample) -> f64 {
    (tas_m_s * tas_m_s - sample.cross_m_s * sample.cross_m_s)
        .max(1.0)
        .sqrt()
        + sample.along_m_s
}

/// Crankshaft speeds [rev/s] that may be set outside take-off, from the lowest in steps, the highest included where it is a multiple of the step.
pub(super) fn settable_rev_s(problem: &Problem, step_s: f64) -> Vec<f64> {
    let p = &problem.aircraft.propeller;
    let from = (p.lowest_governed_rev_s / step_s - 1e-9).ceil() * step_s;
    let mut revs = Vec::new();
    let mut r = from;
    while r < p.highest_governed_rev_s + 1e-9 {
        if !problem.aircraft.in_avoid_band(r, f64::INFINITY) {
            revs.push(r);
        }
        r = by_steps(r, 1.0, step_s);
    }
    revs
}

/// A setting as it would be cruised with, allowed or not, with all that it gives.
pub(super) type Setting = (CruiseOption, Performance);

/// A level at a distance and a mass: what may be cruised with there.
pub(super) struct AtLevel<'a> {
    problem: &'a Problem,
    air: AirState,
    /// Wind and temperature there.
    pub sample: AirSample,
    mass_kg: f64,
    /// Greatest and least indicated airspeed, m/s.
    ias_m_s: (f64, f64),
    /// True airspeed \[m/s\] of the greatest: where a search for a speed may begin.
    pub guess_m_s: f64,
    near: Cell<Nearby>,
}

impl<'a> AtLevel<'a> {
    pub(super) fn new(problem: &'a Problem, level_m: f64, distance_m: f64, mass_kg: f64) -> Self {
        let aircraft = &problem.aircraft;
        let hp = problem.pressure_altitude_m(distance_m, level_m);
        let (air, sample) = problem.air_state(distance_m, hp, problem.time_s(distance_m));
        let fraction = mass_kg / aircraft.masses.max_take_off_kg;
        let above_ground = problem.above_ground_m(distance_m, sample.true_altitude_m);
        let top = problem
            .limits
            .speed_limit_m_s(&aircraft.speeds, fraction, level_m, above_ground);
        Self {
            problem,
            air,
            sample,
            mass_kg,
            ias_m_s: (top, aircraft.least_cruise_m_s(mass_kg)),
            guess_m_s: aircraft.tas_from_ias(air, top),
            near: Cell::new(Nearby::ROUGHLY),
        }
    }

    /// Throttles that may be set with a crankshaft speed \[rev/s\], by a step in manifold pressure \[Pa\] from the least, with the most there
    /// is last; at fixed pitch the speed held, and with the highest that is tried full throttle too.
    pub(super) fn throttles(&self, rev_s: f64, highest: bool, step_pa: f64) -> Vec<Throttle> {
        let aircraft = &self.problem.aircraft;
        let mut throttles = Vec::new();
        if aircraft.propeller.is_fixed() {
            throttles.push(Throttle::Rpm);
            // Full throttle leaves the RPM to the air: once is enough.
            if highest {
                throttles.push(Throttle::Full);
            }
            return throttles;
        }
        let intake = aircraft.intake(self.air, self.guess_m_s);
        let full = aircraft.engine.map_pa(Throttle::Full, rev_s, intake);
        let limit = aircraft.map_limit_pa(rev_s);
        let mut map = MAP_LEAST_PA;
        while map < full.min(limit) - 0.2 * step_pa {
            throttles.push(Throttle::Map(map));
            map = by_steps(map, 1.0, step_pa);
        }
        throttles.push(if full <= limit {
            Throttle::Full
        } else {
            Throttle::Map(limit)
        });
        throttles
    }

    /// What a setting gives, and its share of rated power; `None` where it is not allowed or holds no level flight. The search for its
    /// speed begins at `near_m_s`, m/s, which the speed found replaces.
    pub(super) fn setting(
        &self,
        levers: Levers,
        near_m_s: &mut f64,
    ) -> Option<(CruiseOption, f64)> {
        let (aircraft, air) = (&self.problem.aircraft, self.air);
        let most = aircraft.most_cruise_power(levers.mixture);
        // What is set is held: by the governor, or at fixed pitch by the throttle. Full throttle there sets no RPM.
        let unset = levers.throttle == Throttle::Full && aircraft.propeller.is_fixed();
        let near = &self.near;
        // Where the RPM is held, power depends little on speed: refuse before solving for it. A governor holds it whatever the propeller asks
        // for.
        if !unset {
            let governed = aircraft.governed_power_fraction(air, *near_m_s, levers);
            let there = || aircraft.perform_near(air, *near_m_s, levers, near);
            if governed.unwrap_or_else(|| there().power_fraction) > most + 0.005 {
                return None;
            }
        }
        let (option, set) = self.given(levers, *near_m_s)?;
        *near_m_s = option.tas_m_s;
        let (top, bottom) = self.ias_m_s;
        let refused = set.power_fraction > most
            || (set.governed != Governed::Yes && !unset)
            || option.ias_m_s > top
            || option.ias_m_s < bottom
            || aircraft.in_avoid_band(set.rev_s, set.map_pa);
        (!refused).then_some((option, set.power_fraction))
    }

    /// What a setting gives in level flight, allowed or not; `None` where it holds none. The search for its speed begins at `near_m_s`, m/s.
    pub(super) fn given(&self, levers: Levers, near_m_s: f64) -> Option<Setting> {
        let nearness = Nearness::COMPARED;
        let (air, mass_kg, near) = (self.air, self.mass_kg, &self.near);
        let steady = steady_level(self.problem, air, mass_kg, levers, near_m_s, near, nearness)?;
        let (tas_m_s, set) = (steady.tas_m_s, steady.near_there);
        let option = CruiseOption {
            levers,
            tas_m_s,
            ias_m_s: self.problem.aircraft.ias_from_tas(air, tas_m_s),
            fuel_kg_s: set.fuel_kg_s,
            rev_s: set.rev_s,
            map_pa: set.map_pa,
        };
        Some((option, set))
    }
}

/// A typical cruise speed, for ram pressure, m/s.
const TYPICAL_M_S: f64 = 70.0;

/// Manifold pressure \[Pa\] of full throttle at a distance \[m\], an indicated level \[m\] and a crankshaft speed [rev/s], at a typical
/// cruise speed.
pub(super) fn full_throttle_pa(
    problem: &Problem,
    distance_m: f64,
    level_m: f64,
    rev_s: f64,
) -> f64 {
    let hp = problem.pressure_altitude_m(distance_m, level_m);
    let (air, _) = problem.air_state(distance_m, hp, problem.time_s(distance_m));
    let intake = problem.aircraft.intake(air, TYPICAL_M_S);
    let engine = &problem.aircraft.engine;
    engine.map_pa(Throttle::Full, rev_s, intake)
}

/// Every allowed setting on the search grid at a level, at a distance and mass, with the most that a hand can set below a limit, that no other beats
/// in speed, fuel and RPM.
pub fn options(
    problem: &Problem,
    level_m: f64,
    distance_m: f64,
    mass_kg: f64,
) -> Vec<CruiseOption> {
    let aircraft = &problem.aircraft;
    let here = AtLevel::new(problem, level_m, distance_m, mass_kg);
    let mut found: Vec<CruiseOption> = Vec::new();
    let rev_step_s = if aircraft.propeller.is_fixed() {
        let hand = aircraft.procedures.rev_step_s;
        (FIXED_REV_STEP_S / hand - 1e-9).ceil() * hand
    } else {
        REV_STEP_S
    };
    let hand_pa = aircraft.procedures.map_step_pa;
    let hand_steps = (MAP_STEP_PA / hand_pa).round();
    let revs = settable_rev_s(problem, rev_step_s);
    for &rev_s in &revs {
        let throttles = here.throttles(rev_s, revs.last() == Some(&rev_s), MAP_STEP_PA);
        for mixture in 0..aircraft.engine.spec.mixtures.len() {
            let mut last = here.guess_m_s;
            let mut set = |throttle| {
                let levers = Levers {
                    throttle,
                    rev_s,
                    mixture,
                };
                here.setting(levers, &mut last).map(|s| s.0)
            };
            let mut refused = false;
            for &throttle in throttles.iter().rev() {
                let option = set(throttle);
                // The most below a limit, which is what often pays, lies between steps of the search.
                if let (true, Some(_), Throttle::Map(map)) = (refused, option, throttle) {
                    let above = (1..hand_steps as u32).rev();
                    let mut above =
                        above.map(|k| Throttle::Map(by_steps(map, f64::from(k), hand_pa)));
                    found.extend(above.find_map(&mut set));
                }
                refused = option.is_none();
                found.extend(option);
            }
        }
    }
    // Of equals the first stays.
    let beaten = |(i, a): (usize, &CruiseOption), (j, b): (usize, &CruiseOption)| {
        let no_worse = b.tas_m_s >= a.tas_m_s && b.fuel_kg_s <= a.fuel_kg_s && b.rev_s <= a.rev_s;
        let equal = b.tas_m_s == a.tas_m_s && b.fuel_kg_s == a.fuel_kg_s && b.rev_s == a.rev_s;
        no_worse && (!equal || j < i)
    };
    found
        .iter()
        .enumerate()
        .filter(|&a| !found.iter().enumerate().any(|b| beaten(a, b)))
        .map(|(_, o)| *o)
        .collect()
}

/// The option with its manifold pressure refined by Brent's method (argmin) within one search step either way, to the least cost
/// of a metre at this level, distance and mass; the option itself where it is at full throttle or nothing is better.
pub fn polish(
    problem: &Problem,
    rates: CostRates,
    option: &CruiseOption,
    level_m: f64,
    distance_m: f64,
    mass_kg: f64,
) -> CruiseOption {
    let Throttle::Map(map_pa) = option.levers.throttle else {
        return *option;
    };
    let aircraft = &problem.aircraft;
    let hp = problem.pressure_altitude_m(distance_m, level_m);
    let (air, sample) = problem.air_state(distance_m, hp, problem.time_s(distance_m));
    let most = aircraft.most_cruise_power(option.levers.mixture);
    let near = Cell::new(Nearby::NONE);
    let at = |map: f64| -> Option<CruiseOption> {
        let levers = Levers {
            throttle: Throttle::Map(map),
            ..option.levers
        };
        let (tas_m_s, _) = level_speed_m_s(problem, air, mass_kg, levers, option.tas_m_s, &near)?;
        let set = aircraft.perform_near(air, tas_m_s, levers, &near);
        let allowed = set.power_fraction <= most && map <= aircraft.map_limit_pa(set.rev_s);
        allowed.then(|| CruiseOption {
            levers,
            tas_m_s,
            ias_m_s: aircraft.ias_from_tas(air, tas_m_s),
            fuel_kg_s: set.fuel_kg_s,
            rev_s: set.rev_s,
            map_pa: set.map_pa,
        })
    };
    let price = |o: &CruiseOption| cost_per_m(rates, o, &sample);
    let line = Line(|map: f64| at(map).map_or(FORBIDDEN * price(option), |o| price(&o)));
    let solver = BrentOpt::new(map_pa - MAP_STEP_PA, map_pa + MAP_STEP_PA);
    let run = Executor::new(line, solver)
        .configure(|s| s.max_iters(60))
        .run();
    let found = run
        .ok()
        .and_then(|r| r.state().get_best_param().copied())
        .and_then(at);
    found
        .filter(|f| price(f) < price(option))
        .unwrap_or(*option)
}

/// A setting that is not allowed costs this many times the option it is compared with: finite, as argmin asks for.
const FORBIDDEN: f64 = 10.0;

/// A cost along one line, for argmin.
struct Line<F>(F);

impl<F: Fn(f64) -> f64> CostFunction for Line<F> {
    type Param = f64;
    type Output = f64;

    fn cost(&self, x: &f64) -> Result<f64, argmin::core::Error> {
        Ok((self.0)(*x))
    }
}

/// Cost of a metre [objective unit / m] with the best of these options at a level \[m\] and distance \[m\].
pub fn least_per_m(
    problem: &Problem,
    rates: CostRates,
    options: &[CruiseOption],
    level_m: f64,
    distance_m: f64,
) -> f64 {
    let hp = problem.pressure_altitude_m(distance_m, level_m);
    let sample = problem.air.at(distance_m, hp, problem.time_s(distance_m));
    options
        .iter()
        .map(|o| cost_per_m(rates, o, &sample))
        .fold(f64::INFINITY, f64::min)
}

/// Places of a stretch at which the wind is asked.
const PLACES: u32 = 5;

/// Wind and temperature at a level \[m\] in the middle of each fifth of a stretch.
pub(super) fn samples_along(
    problem: &Problem,
    level_m: f64,
    from_m: f64,
    to_m: f64,
) -> impl Iterator<Item = AirSample> + '_ {
    (0..PLACES).map(move |k| {
        let s = from_m + (to_m - from_m) * (f64::from(k) + 0.5) / f64::from(PLACES);
        let hp = problem.pressure_altitude_m(s, level_m);
        problem.air.at(s, hp, problem.time_s(s))
    })
}

/// Cost of a metre [objective unit / m] with an option, in the mean of some winds; infinite against one too strong.
pub(super) fn mean_cost_per_m(rates: CostRates, option: &CruiseOption, winds: &[AirSample]) -> f64 {
    let each = winds.iter().map(|wind| cost_per_m(rates, option, wind));
    each.sum::<f64>() / f64::from(PLACES)
}

/// Cost of a metre [objective unit / m] with an option in the wind of a point; infinite against a wind too strong.
pub fn cost_per_m(rates: CostRates, option: &CruiseOption, sample: &AirSample) -> f64 {
    let gs = ground_speed_m_s(option.tas_m_s, sample);
    if gs < 5.0 {
        f64::INFINITY
    } else {
        rates.rate(option.fuel_kg_s, option.rev_s) / gs
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn closed_form_wind_triangle_in_cruise() {
        // 3-4-5: 50 m/s TAS, 30 m/s across, still along: 40 m/s over the ground.
        let sample = crate::trip::AirSample {
            temperature_k: 288.15,
            along_m_s: 0.0,
            cross_m_s: 30.0,
            along_per_m: 0.0,
            true_altitude_m: 0.0,
        };
        assert!((super::ground_speed_m_s(50.0, &sample) - 40.0).abs() < 1e-12);
    }
}
