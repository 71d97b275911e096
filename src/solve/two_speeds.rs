//! A climb at two speeds, judged by climbs at one.
//!
//! What a climb costs less what its distance is worth in cruise adds up over height, so climbs at one speed that are noted at heights
//! on the way tell what the lower part of one and the upper part of another come to. Speed gained or lost between them is height, at what
//! a foot of it costs there; and so is the speed that is still to be gained at the level.

use super::cruise;
use super::levels::LevelCost;
use super::refine::{
    CLIMB_AT_STEP_M, MOVE_WORTH, Pilot, Reach, by_steps, clear_both_ways, clear_of_ground,
    second_climb_from_m, settle_within,
};
use super::search::Search;
use crate::flight::{Climb, ClimbState, Flown, SHORTEST_CRUISE_M, Script, climb_states};
use crate::quantity::{G_M_S2, M_S_PER_KT};

/// Heights on the way are this many steps of the second speed's height apart.
const HEIGHT_STEPS: f64 = 2.0;
/// What limits the air has are looked at this far above each height, m.
const ABOVE_M: f64 = 1.0;
/// Climbs that are flown in full.
const STARTS: usize = 3;
/// How far the best of them is walked.
const REACH: Reach = Reach {
    thorough: false,
    near: true,
    most_flights: 16,
};
/// No climb leaves less than this share of the mass.
const LEFT_AT_LEVEL: f64 = 0.95;

/// A climb at one speed as far as it goes, but not past the level.
struct OneSpeed {
    ias_m_s: f64,
    /// On reaching each height that it reaches, the level last.
    states: Vec<ClimbState>,
    /// Cost less the worth of the distance, on reaching each height.
    worth: Vec<f64>,
}

impl OneSpeed {
    fn energy_m(&self, i: usize) -> f64 {
        self.states[i].state.tas_m_s.powi(2) / (2.0 * G_M_S2)
    }

    /// What a metre of height costs between one height and the next.
    fn per_m(&self, i: usize) -> f64 {
        let height = |i: usize| self.states[i].state.pressure_altitude_m;
        (self.worth[i + 1] - self.worth[i]) / (height(i + 1) - height(i))
    }

    fn last(&self) -> usize {
        self.states.len() - 1
    }

    /// Worth at the level, less that of the speed brought there.
    fn at_level(&self) -> f64 {
        let last = self.last();
        self.worth[last] - self.energy_m(last) * self.per_m(last - 1)
    }
}

impl Search<'_> {
    /// A flight with a second climb speed where that is worth its lever change, else the flight itself.
    pub(super) fn with_second_speed(
        &self,
        pilot: &Pilot,
        levels: &[LevelCost],
        one: Flown,
    ) -> Flown {
        let first_m = one.script.cruise[0].level_m;
        let Some(level) = levels.iter().find(|l| (l.level_m - first_m).abs() < 1.0) else {
            return one;
        };
        let at_m = one.top_of_climb.distance_m;
        let per_m = cruise::least_per_m(self.p, self.rates, &level.options, first_m, at_m);
        let least_gain = MOVE_WORTH * one.cost.abs();
        let before_m = one.top_of_descent.distance_m;
        let script = one.script_free();
        self.in_two_speeds(&script, per_m, before_m, least_gain)
            .into_iter()
            .filter_map(|climb| {
                let trial = Script {
                    climb,
                    ..script.clone()
                };
                Some(clear_of_ground(pilot, pilot.fly(&trial)?))
            })
            .min_by(|a, b| Pilot::charged(a).total_cmp(&Pilot::charged(b)))
            .and_then(|start| {
                // Only the climb is walked; the rest follows with the whole plan.
                let rest = start.script_free();
                let prepare = |s: &mut Script| {
                    *s = Script {
                        climb: s.climb,
                        ..rest.clone()
                    };
                    self.prepare(s);
                };
                settle_within(pilot, &start.script, &prepare, REACH).ok()
            })
            .filter(|two| Pilot::charged(two) < Pilot::charged(&one))
            .unwrap_or(one)
    }

    /// Climbs at two speeds that are better than the best at one by at least `least_gain` (objective unit), the best of the best heights
    /// first. `per_m` is the worth of distance, objective unit per metre; the level is reached a shortest cruise before `before_m`.
    fn in_two_speeds(
        &self,
        script: &Script,
        per_m: f64,
        before_m: f64,
        least_gain: f64,
    ) -> Vec<Climb> {
        let problem = self.p;
        let level_m = script.cruise[0].level_m;
        let (low_m, high_m) = second_climb_from_m(problem, level_m);
        let step_m = HEIGHT_STEPS * CLIMB_AT_STEP_M;
        let mut heights = Vec::new();
        let mut height_m = (low_m / step_m).ceil() * step_m;
        while height_m <= high_m {
            if clear_both_ways(problem, height_m) {
                heights.push(height_m);
            }
            height_m += step_m;
        }
        heights.push(level_m);
        if heights.len() < 2 {
            return vec![];
        }
        let worth = |at: &ClimbState| self.cost_of(&at.state) - per_m * at.state.distance_m;
        let flown = |climb: Climb| {
            let trial = Script {
                climb,
                ..script.clone()
            };
            climb_states(problem, &trial, &heights)
        };
        let aircraft = &problem.aircraft;
        let speed_step = aircraft.procedures.speed_step_m_s;
        let mut climbs: Vec<OneSpeed> = Vec::new();
        let start_kg = self.lift_off_kg();
        let level_hp = problem.pressure_altitude_m(0.0, level_m);
        let slowest = aircraft.least_climb_ias_m_s(level_hp, LEFT_AT_LEVEL * start_kg);
        let mut ias_m_s = (slowest / speed_step - 1e-6).ceil() * speed_step;
        while ias_m_s <= aircraft.speeds.vno_m_s - 20.0 * M_S_PER_KT {
            let states = flown(Climb {
                ias_m_s,
                second: None,
                ..script.climb
            });
            if states.len() > 1 {
                let worth = states.iter().map(worth).collect();
                climbs.push(OneSpeed {
                    ias_m_s,
                    states,
                    worth,
                });
            }
            ias_m_s = by_steps(ias_m_s, 1.0, speed_step);
        }
        let to_level: Vec<&OneSpeed> = climbs
            .iter()
            .filter(|c| {
                c.states.len() == heights.len() && self.climb_rate_short(&c.states[c.last()]) == 0.0
            })
            .collect();
        let one = to_level
            .iter()
            .filter(|c| c.states[c.last()].violation == 0.0)
            .map(|c| c.at_level())
            .fold(f64::INFINITY, f64::min);
        // The least and the greatest speed just above a height.
        let allowed = |c: &OneSpeed, i: usize| {
            let at = &c.states[i];
            let s = &at.state;
            let (_, sample) = problem.air_state(s.distance_m, s.pressure_altitude_m, s.time_s);
            let mass = start_kg - s.fuel_kg;
            let top = problem.limits.speed_limit_m_s(
                &aircraft.speeds,
                mass / aircraft.masses.max_take_off_kg,
                heights[i] + ABOVE_M,
                problem.above_ground_m(s.distance_m, sample.true_altitude_m),
            );
            (aircraft.least_climb_ias_m_s(s.pressure_altitude_m, mass)..=top).contains(&c.ias_m_s)
        };
        // The best for each height.
        let mut found: Vec<(f64, Climb)> = Vec::new();
        for (i, &from_m) in heights[..heights.len() - 1].iter().enumerate() {
            let mut best: Option<(f64, Climb)> = None;
            for upper in &to_level {
                let last = upper.last();
                if (i..last).any(|j| !allowed(upper, j)) {
                    continue;
                }
                for lower in climbs.iter().filter(|c| c.last() > i) {
                    let reach_m = |c: &OneSpeed, i: usize| c.states[i].state.distance_m;
                    let level_at_m = reach_m(lower, i) + reach_m(upper, last) - reach_m(upper, i);
                    if lower.ias_m_s == upper.ias_m_s
                        || lower.states[i].violation > 0.0
                        || self.climb_rate_short(&lower.states[i]) > 0.0
                        || level_at_m > before_m - SHORTEST_CRUISE_M
                    {
                        continue;
                    }
                    let change = (upper.energy_m(i) - lower.energy_m(i))
                        * 0.5
                        * (lower.per_m(i) + upper.per_m(i));
                    let two = lower.worth[i] + change + upper.at_level() - upper.worth[i];
                    if one - two >= least_gain && best.is_none_or(|b| two < b.0) {
                        let climb = Climb {
                            ias_m_s: lower.ias_m_s,
                            second: Some((from_m, upper.ias_m_s)),
                            ..script.climb
                        };
                        best = Some((two, climb));
                    }
                }
            }
            found.extend(best);
        }
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.truncate(STARTS);
        found.into_iter().map(|f| f.1).collect()
    }
}
