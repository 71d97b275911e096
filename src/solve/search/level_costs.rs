//! What it costs to reach each level, by a climb from the ground or from where a flight begins in the air, to cruise there and to let down from it.

use super::{Search, SolveError};
use crate::flight::{
    ClimbState, Cruise, PathRule, Script, State, ThrottleRule, climb_states, joined,
};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use crate::solve::cruise::{self, CruiseOption};
use crate::solve::descent;
use crate::solve::levels::LevelCost;
use crate::trip::Start;
use std::rc::Rc;

/// A climb that breaks limits is charged this share of its cost for each scale unit, while climbs are compared.
const CLIMB_PENALTY: f64 = 0.05;

/// Least room from the departure to the pattern point that levels can be used in, m: where none can and there is less, room is named.
const LEAST_ROOM_M: f64 = 10.0 * M_PER_NM;

/// A climb through every level that it reaches.
pub(super) struct ClimbFlown {
    ias_m_s: f64,
    rev_s: f64,
    /// On reaching each level, the lowest first.
    at: Vec<ClimbState>,
}

impl Search<'_> {
    /// Options, climb and descent of every level that some leg allows and the aeroplane reaches.
    pub(super) fn level_costs(&self) -> Result<Vec<LevelCost>, SolveError> {
        let p = self.p;
        let all = self.levels_m();
        let middle = 0.5 * p.length_m;
        let options: Vec<Rc<[CruiseOption]>> = all.iter().map(|&l| self.options(l)).collect();
        // Cost, distance and what is charged for what is barred.
        let mut climb: Vec<Option<(f64, f64, f64)>> = vec![None; all.len()];
        let per_m: Vec<f64> = all
            .iter()
            .zip(&options)
            .map(|(&l, o)| cruise::least_per_m(p, self.rates, o, l, middle))
            .collect();
        for flown in self.climbs_flown().iter() {
            for (i, at) in flown.at.iter().enumerate() {
                let state = &at.state;
                if self.climb_rate_short(at) > 0.0 || !per_m[i].is_finite() {
                    continue;
                }
                let cost = self.cost_of(state);
                let c = (
                    cost * (1.0 + CLIMB_PENALTY * (at.violation - at.barred)),
                    state.distance_m,
                    cost * CLIMB_PENALTY * at.barred,
                );
                let worth = |x: (f64, f64, f64)| x.0 + x.2 - per_m[i] * x.1;
                if climb[i].is_none_or(|b| worth(c) < worth(b)) {
                    climb[i] = Some(c);
                }
            }
        }
        let mut out = Vec::new();
        // From where nothing leads down.
        let mut stuck: Vec<(Script, LevelCost)> = Vec::new();
        for (i, &level_m) in all.iter().enumerate() {
            if options[i].is_empty() {
                continue;
            }
            let reach = match p.start {
                Start::Ground => climb[i],
                Start::InFlight { .. } => self.reach(level_m, &options[i]),
            };
            let Some(reach) = reach else { continue };
            // A level that the flight begins at or above need not be climbed to, and is not where it cannot be.
            let climb = climb[i].unwrap_or((f64::INFINITY, 0.0, 0.0));
            let mut level = LevelCost {
                level_m,
                options: Rc::clone(&options[i]),
                climb: (climb.0, climb.1),
                reach: (reach.0, reach.1),
                descent: (0.0, 0.0),
                barred: (reach.2, 0.0),
            };
            let script = self
                .with_cruise(&[(level_m, 0.0)], std::slice::from_ref(&level))
                .unwrap_or_else(|| self.skeleton(0.0, p.aircraft.procedures.climb_rev_s[0]));
            // A plain descent stands for all of them in the level search.
            if let Some(c) = self.plain_descent(&script, &level, per_m[i]) {
                level.descent = (c.cost, c.distance_m);
                level.barred.1 = c.barred;
                out.push(level);
            } else {
                stuck.push((script, level));
            }
        }
        if out.is_empty() {
            let levels = all
                .iter()
                .map(|l| format!("{:.0} ft", l / M_PER_FT))
                .collect::<Vec<_>>()
                .join(", ");
            let never_slows = !stuck.is_empty()
                && !stuck
                    .iter()
                    .any(|(script, level)| self.comes_down_somewhere(script, level));
            // The lowest level asks least of climb and cruise.
            let why = match options.first() {
                _ if p.length_m - p.arrival.before_m < LEAST_ROOM_M => format!(
                    "from the departure to the pattern point there are {:.1} nm, too few to climb, cruise and let down. What would free it: \
                     a longer route, or a pattern point nearer to the field (arrival.before_nm)",
                    ((p.length_m - p.arrival.before_m) / M_PER_NM).max(0.0)
                ),
                _ if never_slows => format!(
                    "no descent from there slows to pattern speed. What would free it: {}, or a faster pattern (procedures.pattern_kt in the \
                     profile)",
                    if p.aircraft.propeller.is_fixed() {
                        "fewer RPM to set in flight (propeller.lowest_rpm in the profile)"
                    } else {
                        "a lower least manifold pressure (limits.least_map_inhg)"
                    }
                ),
                _ if !stuck.is_empty() => {
                    "the way down from there to the pattern is longer than the route. What would free it: a longer route, a greater rate of \
                     descent (limits.max_descent_fpm), or a lower least manifold pressure (limits.least_map_inhg)"
                        .to_owned()
                }
                Some(options) if options.is_empty() => {
                    "no setting that the profile allows holds level flight there at 1.3 Vs or more and within the speed limit of the air. \
                     What would free it: less load, lower minimum altitudes where the chart has them, or more cruise power or fewer RPM to \
                     avoid in the profile, if they are wrong there"
                        .to_owned()
                }
                _ if per_m.first().is_some_and(|c| !c.is_finite()) => {
                    "no ground speed is left against the wind. What would free it: another time".to_owned()
                }
                _ => {
                    "the least rate of climb is not kept on the way up. What would free it: less load, or lower minimum altitudes where the \
                     chart has them"
                        .to_owned()
                }
            };
            return Err(SolveError::Unreachable {
                levels,
                why,
                for_room: !never_slows,
            });
        }
        Ok(out)
    }

    /// Every level that some leg allows, the lowest first.
    fn levels_m(&self) -> Vec<f64> {
        let p = self.p;
        let each = p.levels.iter().flat_map(|l| l.levels_m.iter().copied());
        // A level is above the pattern, or there is nothing to descend from.
        let mut all: Vec<f64> = each
            .filter(|&l| l > p.arrival.pattern_altitude_m + 1.0)
            .collect();
        all.sort_by(f64::total_cmp);
        all.dedup_by(|a, b| (*a - *b).abs() < 1.0);
        all
    }

    /// The climbs to try, each flown through every level it reaches.
    fn climbs_flown(&self) -> Rc<[ClimbFlown]> {
        let mut known = self.unpriced.climbs.borrow_mut();
        let fly = || {
            let all = self.levels_m();
            let flown = |(ias_m_s, rev_s)| ClimbFlown {
                ias_m_s,
                rev_s,
                at: climb_states(self.p, &self.skeleton(ias_m_s, rev_s), &all),
            };
            self.climbs().into_iter().map(flown).collect()
        };
        Rc::clone(known.get_or_insert_with(fly))
    }

    /// The cheapest climb to a level, where a metre of cruise costs `per_m`: its speed \[m/s\] and crankshaft speed [rev/s].
    pub(super) fn best_climb(&self, level_m: f64, per_m: f64) -> Option<(f64, f64)> {
        let levels_m = self.levels_m();
        let i = levels_m.iter().position(|l| (l - level_m).abs() < 1.0)?;
        let worth = |flown: &ClimbFlown| match flown.at.get(i) {
            Some(at) => {
                let short = self.climb_rate_short(at) / (10.0 * M_S_PER_FPM);
                self.cost_of(&at.state) * (1.0 + CLIMB_PENALTY * (at.violation + short))
                    - per_m * at.state.distance_m
            }
            None => f64::INFINITY,
        };
        self.climbs_flown()
            .iter()
            .map(|c| ((c.ias_m_s, c.rev_s), worth(c)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(climb, _)| climb)
    }

    /// Climb speeds and RPM to try.
    pub(super) fn climbs(&self) -> Vec<(f64, f64)> {
        let p = self.p;
        let low = self.speed_up(self.slowest_climb_m_s());
        let high = p.aircraft.speeds.vno_m_s - 20.0 * M_S_PER_KT;
        let mut out = Vec::new();
        let mut ias = low;
        while ias <= high {
            for &rev in &p.aircraft.procedures.climb_rev_s {
                out.push((ias, rev));
            }
            ias += 10.0 * M_S_PER_KT;
        }
        out
    }

    pub(in crate::solve) fn cost_of(&self, s: &State) -> f64 {
        self.rates.of(s.time_s, s.fuel_kg, s.revolutions)
    }

    /// By how much the rate of climb on reaching a level misses the least, m/s; zero if it does not.
    pub(in crate::solve) fn climb_rate_short(&self, at: &ClimbState) -> f64 {
        let leg = &self.p.legs[self.p.leg_index(at.state.distance_m)];
        (leg.least_climb_m_s() - at.rate_m_s).max(0.0)
    }

    /// The cheapest way from where a flight begins in the air to a level: cost, distance and what is charged for what is barred.
    fn reach(&self, level_m: f64, options: &[CruiseOption]) -> Option<(f64, f64, f64)> {
        let (cruise, per_m) = self.best_cruise(level_m, 0.0, self.p.length_m, options)?;
        let (_, at) = self.join(cruise, per_m)?;
        let cost = self.cost_of(&at.state);
        (self.climb_rate_short(&at) <= 0.0 || at.rate_m_s == 0.0).then_some((
            cost * (1.0 + CLIMB_PENALTY * (at.violation - at.barred)),
            at.state.distance_m,
            cost * CLIMB_PENALTY * at.barred,
        ))
    }

    /// The script that takes a flight from where it begins in the air to its first cruise at the least cost, and the state there.
    pub(in crate::solve) fn join(
        &self,
        cruise: Cruise,
        per_m: f64,
    ) -> Option<(Script, ClimbState)> {
        let tried = self.climbs().into_iter().filter_map(|(ias, rev)| {
            let mut script = self.skeleton(ias, rev);
            script.cruise = vec![cruise];
            self.prepare(&mut script);
            let at = joined(self.p, &script).ok()?;
            let climbs = at.rate_m_s > 0.0;
            let short = if climbs {
                self.climb_rate_short(&at)
            } else {
                0.0
            };
            let worth = self.cost_of(&at.state)
                * (1.0 + CLIMB_PENALTY * (at.violation + short / (10.0 * M_S_PER_FPM)))
                - per_m * at.state.distance_m;
            Some((worth, script, at))
        });
        let best = tried.min_by(|a, b| a.0.total_cmp(&b.0));
        best.map(|(_, script, at)| (script, at))
    }

    /// The best of the plain descents from a level.
    pub(super) fn plain_descent(
        &self,
        script: &Script,
        level: &LevelCost,
        per_m: f64,
    ) -> Option<descent::Candidate> {
        let start = self.cruise_state(level.level_m, &level.options, script)?;
        let pricing = descent::Pricing::new(self.p, self.rates, script, start, per_m);
        let mut known = self.unpriced.plain.borrow_mut();
        let first = &script.descent.first;
        let [throttle, map] = script.cruise.last().map_or([0; 2], |c| c.throttle.bits());
        let flown = known
            .entry([
                level.level_m.to_bits(),
                throttle,
                map,
                first.rev_s.to_bits(),
                first.mixture as u64,
            ])
            .or_insert_with(|| self.plain_descents(&pricing));
        let score = |c: &descent::Candidate| c.worth + 1e3 * c.violation;
        let priced = flown.iter().filter_map(|down| pricing.priced(down));
        priced.min_by(|a, b| score(a).total_cmp(&score(b)))
    }

    /// Whether a plain descent from a level can be flown on a route that is long enough.
    fn comes_down_somewhere(&self, script: &Script, level: &LevelCost) -> bool {
        let Some(start) = self.cruise_state(level.level_m, &level.options, script) else {
            return false;
        };
        let mut pricing = descent::Pricing::new(self.p, self.rates, script, start, 0.0);
        pricing.longest_m = f64::INFINITY;
        !self.plain_descents(&pricing).is_empty()
    }

    /// The plain descents that can be flown, a manifold pressure held at the greatest rate or at 0.7 of it: with the cruise RPM; where the propeller then drives on too hard to slow down, with the coarsest.
    fn plain_descents(&self, pricing: &descent::Pricing) -> Vec<descent::DescentFlown> {
        let propeller = &self.p.aircraft.propeller;
        let (low, high) = (
            propeller.lowest_governed_rev_s,
            propeller.highest_governed_rev_s,
        );
        let mut found = vec![];
        for coarse in [false, true] {
            for (map_in, fraction) in [15.0, 17.0, 19.0, 21.0]
                .into_iter()
                .flat_map(|map_in| [1.0, 0.7].map(|fraction| (map_in, fraction)))
            {
                let mut trial = pricing.script.descent;
                if propeller.is_fixed() {
                    // As far up the range of RPM as the manifold pressure is up its own, the greatest of all left to climbs.
                    trial.first.throttle = ThrottleRule::Rpm;
                    trial.first.rev_s = low + (map_in - 15.0) / 8.0 * (high - low);
                } else {
                    trial.first.throttle = ThrottleRule::Held(map_in * PA_PER_INHG);
                    if coarse {
                        trial.first.rev_s = low;
                    }
                }
                trial.first.path = PathRule::Rate(fraction * self.p.limits.max_descent_m_s);
                found.extend(pricing.unpriced(trial));
            }
            if !found.is_empty() {
                break;
            }
        }
        found
    }

    /// Settings that may be cruised with at a level in the middle of the route.
    pub(in crate::solve) fn options(&self, level_m: f64) -> Rc<[CruiseOption]> {
        let mut known = self.unpriced.options.borrow_mut();
        let find = || cruise::options(self.p, level_m, 0.5 * self.p.length_m, self.middle_kg);
        Rc::clone(
            known
                .entry(level_m.to_bits())
                .or_insert_with(|| find().into()),
        )
    }

    /// The cheapest of the options of a level over a stretch, and its cost per metre.
    pub(in crate::solve) fn best_cruise(
        &self,
        level_m: f64,
        from_m: f64,
        to_m: f64,
        options: &[CruiseOption],
    ) -> Option<(Cruise, f64)> {
        let winds: Vec<_> = cruise::samples_along(self.p, level_m, from_m, to_m).collect();
        let price = |o: &CruiseOption| cruise::mean_cost_per_m(self.rates, o, &winds);
        let best = options
            .iter()
            .min_by(|a, b| price(a).total_cmp(&price(b)))?;
        let cruise = Cruise {
            level_m,
            from_m,
            throttle: best.levers.throttle,
            rev_s: best.levers.rev_s,
            mixture: best.levers.mixture,
            set_at_ias_m_s: 0.0,
        };
        Some((cruise, price(best)))
    }
}
