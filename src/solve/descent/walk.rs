//! The search over descents: walked to better neighbours in ever finer steps, in one part and in two.

use super::grid::{
    FAST_POWER_ON, family, fastest_all_the_way_m_s, fastest_between_m_s, grid, least_held_pa,
};
use super::moves::{REDUCE_STEP_M, carried, inside, moved, moves, settable_rate_m_s};
use super::{Candidate, Pricing, same};
use crate::flight::{Cruise, Descent, DescentPart, PathRule, ThrottleRule};
use crate::quantity::{M_S_PER_KT, PA_PER_INHG};
use crate::solve::cruise::settable_rev_s;
use crate::solve::refine::{MOVE_WORTH, to_step};

/// Improvement, as a share of the cost of the descent, below which a neighbour is no better.
const TIE: f64 = 1e-5;
/// Settable steps of the first walk, and of those that follow.
const COARSEST: f64 = 8.0;
const FINER: [f64; 2] = [4.0, 1.0];
const THOROUGH: [f64; 4] = [8.0, 4.0, 2.0, 1.0];
/// At a fixed pitch a second part with power reduced begins at this share of the RPM of the first: about three quarters of its power.
const REDUCED_RPM: f64 = 0.92;
/// Down with the power of cruise a little faster than cruise, m/s.
const A_LITTLE_FASTER_M_S: f64 = 10.0 * M_S_PER_KT;
/// A descent in two parts whose start is dearer than one part by this share of the whole is not followed where the air has one limit.
const CATCHES_UP: f64 = 0.003;

impl<'a> Pricing<'a> {
    /// Walks from a descent to better neighbours in steps of this many settable steps, until a whole round finds none; two levers at
    /// once only in single steps, for what pays in larger ones, one lever at a time finds.
    fn improve(&self, from: Candidate, scale: f64) -> Candidate {
        self.walk(from, scale, scale <= 1.0)
    }

    fn walk(&self, from: Candidate, scale: f64, pairs: bool) -> Candidate {
        let mut here = from;
        let mut list = moves(self.problem, &here.descent, scale, pairs);
        let (mut next, mut since) = (0, 0);
        while since < list.len() {
            let change = list[next % list.len()];
            next += 1;
            since += 1;
            let Some(descent) = moved(self.problem, self.script, &here.descent, change) else {
                continue;
            };
            let Some(there) = self.price_against(descent, Some(&here)) else {
                continue;
            };
            if there.charged < here.charged - TIE * here.cost.abs() {
                let other_path = std::mem::discriminant(&there.descent.first.path)
                    != std::mem::discriminant(&here.descent.first.path);
                here = there;
                if other_path {
                    list = moves(self.problem, &here.descent, scale, pairs);
                }
                // Go on in the same direction first.
                next -= 1;
                since = 0;
            }
        }
        here
    }

    /// The best descents in two parts that begin as this one: the second from each height at which the air's limit changes, from
    /// half way, and from near the pattern, with the throttle as it is or at its least, steep, shallow or as fast as the air allows, or as this one
    /// is. The best start of each family is walked on from; where the air's limit changes, the best with the throttle held and the best with it
    /// left however far behind they are. There the best that begins steeply with the power reduced is found besides, elsewhere those that begin fast with
    /// the power of cruise.
    fn in_two(&self, from: &Candidate) -> Vec<Candidate> {
        let problem = self.problem;
        let pattern_m = problem.arrival.pattern_altitude_m;
        let level_m = self.last().level_m;
        let edges: Vec<f64> = problem.limits.air_edges_m(pattern_m, level_m).collect();
        let (firsts, reduced) = self.first_parts(from, &edges);
        let limited = !edges.is_empty();
        let mut heights: Vec<f64> = edges
            .into_iter()
            .map(|h| h + REDUCE_STEP_M)
            .chain([0.5, 0.25].map(|share| pattern_m + share * (level_m - pattern_m)))
            .map(|h| to_step(h, REDUCE_STEP_M))
            .filter(|&h| h > pattern_m + REDUCE_STEP_M && h < level_m - REDUCE_STEP_M)
            .collect();
        heights.sort_by(f64::total_cmp);
        heights.dedup();
        // A start far behind one part does not catch up, but where one part is held to the least of several limits.
        let whole = (self.per_m * problem.length_m).abs();
        let near = |c: &Candidate| c.charged < from.charged + CATCHES_UP * whole;
        let best_of = |firsts: Vec<Descent>| {
            let starts = self.second_parts(&from.descent, &firsts, &heights);
            let starts = self.best_of_each_family(starts);
            let first_of_its_throttle = |i: usize| {
                let throttle = |c: &Candidate| family(&c.descent) / 2;
                starts[..i]
                    .iter()
                    .all(|c| throttle(c) != throttle(&starts[i]))
            };
            let best = (0..starts.len())
                .filter(|&i| near(&starts[i]) || limited && first_of_its_throttle(i))
                .map(|i| self.improve(starts[i], FINER[0]))
                .min_by(|a, b| a.charged.total_cmp(&b.charged))?;
            let finer = FINER[1..].iter();
            Some(finer.fold(best, |c, &scale| self.improve(c, scale)))
        };
        [firsts, reduced].into_iter().filter_map(best_of).collect()
    }

    /// Descents the first part of which may be the first of two, where the air's limit changes at these heights, as [`Pricing::in_two`] says; and
    /// those that begin with the power reduced.
    fn first_parts(&self, from: &Candidate, edges: &[f64]) -> (Vec<Descent>, Vec<Descent>) {
        let problem = self.problem;
        let pattern_m = problem.arrival.pattern_altitude_m;
        let (cruise, start) = (self.last(), &self.start);
        let level_m = cruise.level_m;
        let mass_kg = problem.zero_fuel_kg + problem.fuel_kg;
        let grid = grid(problem, self.script, start);
        let at_speed = |mut d: Descent, ias_m_s: f64| {
            d.first.path = PathRule::Ias(ias_m_s);
            d.first.gear_down = from.descent.first.gear_down;
            d
        };
        let mut firsts = vec![from.descent];
        if let Some(&edge_m) = edges.iter().max_by(|a, b| a.total_cmp(b)) {
            // One part is held to the least of the air's limits: the first of two need not be.
            let steep = PathRule::Rate(settable_rate_m_s(problem, 1.0));
            let (held, power_on): (Vec<_>, Vec<_>) = grid
                .into_iter()
                .filter(|d| d.first.path == steep && d.reduce_at_m == pattern_m)
                .partition(|d| matches!(d.first.throttle, ThrottleRule::Held(_)));
            let fast = fastest_between_m_s(problem, edge_m + 1.0, level_m, mass_kg);
            firsts.push(at_speed(from.descent, fast));
            firsts.extend(power_on.iter().map(|&d| at_speed(d, fast)));
            firsts.extend(power_on);
            return (firsts, held);
        }
        // Power as in cruise, as fast as may be and a little faster than cruise: where that leads too fast to the pattern, a second part may
        // make it.
        let fast = fastest_all_the_way_m_s(problem, level_m, mass_kg);
        let (air, _) = problem.air_state(start.distance_m, start.pressure_altitude_m, start.time_s);
        let ias = problem.aircraft.ias_from_tas(air, start.tas_m_s);
        let step_m_s = problem.aircraft.procedures.speed_step_m_s;
        let faster = to_step(ias + A_LITTLE_FASTER_M_S, step_m_s).min(fast);
        let power_on = |d: &&Descent| family(d) == FAST_POWER_ON;
        if let Some(&d) = grid
            .iter()
            .filter(power_on)
            .find(|d| d.first.rev_s == cruise.rev_s)
        {
            firsts.extend([fast, faster].map(|speed| at_speed(d, speed)));
        }
        (firsts, vec![])
    }

    /// Descents that begin as these do and go on in a second part from these heights, as [`Pricing::in_two`] says; `one` is the best in one part.
    fn second_parts(&self, one: &Descent, firsts: &[Descent], heights: &[f64]) -> Vec<Descent> {
        let problem = self.problem;
        let [steep, shallow] = [1.0, 0.6].map(|x| PathRule::Rate(settable_rate_m_s(problem, x)));
        let mass_kg = problem.zero_fuel_kg + problem.fuel_kg;
        // Throttle, and RPM as a share of that before.
        let throttles: Vec<(ThrottleRule, f64)> = if problem.aircraft.propeller.is_fixed() {
            vec![
                (ThrottleRule::Untouched, 1.0),
                (ThrottleRule::Rpm, 1.0),
                (ThrottleRule::Rpm, REDUCED_RPM),
            ]
        } else {
            let least = least_held_pa(problem);
            let more = to_step(
                least + 4.0 * PA_PER_INHG,
                problem.aircraft.procedures.map_step_pa,
            );
            vec![
                (ThrottleRule::Untouched, 1.0),
                (ThrottleRule::Held(least), 1.0),
                (ThrottleRule::Held(more), 1.0),
            ]
        };
        let rev_step_s = problem.aircraft.procedures.rev_step_s;
        let slowest_rev_s = settable_rev_s(problem, rev_step_s)
            .first()
            .copied()
            .unwrap_or(problem.aircraft.propeller.lowest_governed_rev_s);
        let mut starts: Vec<Descent> = vec![];
        for (first, &from_m) in firsts
            .iter()
            .flat_map(|first| heights.iter().map(move |h| (first, h)))
        {
            let fast = fastest_all_the_way_m_s(problem, from_m, mass_kg);
            let paths = [steep, shallow, PathRule::Ias(fast)];
            let mut parts: Vec<DescentPart> = throttles
                .iter()
                .flat_map(|&(throttle, share)| {
                    let rev_s = if share < 1.0 {
                        to_step(share * first.first.rev_s, rev_step_s).max(slowest_rev_s)
                    } else {
                        first.first.rev_s
                    };
                    paths.map(|path| DescentPart {
                        throttle,
                        rev_s,
                        path,
                        ..first.first
                    })
                })
                .collect();
            // What is best all the way may be best for the slower of two; a throttle that is not set stays as the first part has it.
            parts.push(DescentPart {
                throttle: match one.first.throttle {
                    set @ (ThrottleRule::Held(_) | ThrottleRule::Rpm) => set,
                    _ => ThrottleRule::Untouched,
                },
                ..one.first
            });
            starts.extend(
                parts
                    .into_iter()
                    .filter(|part| !goes_on(&first.first, part))
                    .map(|part| Descent {
                        second: Some((from_m, part)),
                        reduce_at_m: problem.arrival.pattern_altitude_m,
                        ..*first
                    }),
            );
        }
        starts
    }

    /// Descents worth flying in full, cheapest first: the best of a coarse grid of each family of rules, walked to better neighbours
    /// in ever finer steps, the most promising to the finest; then the best of them in two parts.
    pub fn search(&self) -> Vec<Candidate> {
        self.clean_and_braking(|gear_down| {
            let mut found = self.in_one(gear_down);
            // The best, and the best of the other kind of path, are tried in two parts.
            let other = found
                .iter()
                .position(|c| found.first().is_some_and(|f| at_rate(c) != at_rate(f)));
            let two: Vec<Candidate> = (0..found.len())
                .filter(|&i| i == 0 || Some(i) == other)
                .flat_map(|i| self.in_two(&found[i]))
                .collect();
            found.extend(two);
            found
        })
    }

    /// Where the walks of [`Pricing::search`] begin, for a cruise that is not settled yet; the whole search where none of them keeps the
    /// limits.
    pub fn search_quickly(&self) -> Vec<Candidate> {
        let found = self.clean_and_braking(|gear_down| self.begun(gear_down));
        if found.iter().any(|c| c.violation == 0.0) {
            found
        } else {
            self.search()
        }
    }

    /// What is found from descents that begin clean, and where the gear is a brake from those that begin with it down.
    fn clean_and_braking(&self, find: impl Fn(bool) -> Vec<Candidate>) -> Vec<Candidate> {
        let mut found = find(false);
        if self.problem.aircraft.brakes_with_gear() {
            found.extend(find(true));
        }
        in_order(found)
    }

    fn in_one(&self, gear_down: bool) -> Vec<Candidate> {
        self.finished(self.begun(gear_down))
    }

    /// The best of the grid in each family, walked on in the coarsest steps.
    fn begun(&self, gear_down: bool) -> Vec<Candidate> {
        let mut starts = grid(self.problem, self.script, &self.start);
        for descent in &mut starts {
            descent.first.gear_down = gear_down;
        }
        let mut found = self.best_of_each_family(starts);
        for c in &mut found {
            *c = self.improve(*c, COARSEST);
        }
        found
    }

    /// The cheapest of some descents in each family, in order.
    fn best_of_each_family(&self, descents: Vec<Descent>) -> Vec<Candidate> {
        let mut best: [Option<Candidate>; 4] = [None; 4];
        for descent in descents {
            let slot = &mut best[family(&descent)];
            let Some(c) = self.price_against(descent, slot.as_ref()) else {
                continue;
            };
            if slot.is_none_or(|b| c.charged < b.charged) {
                *slot = Some(c);
            }
        }
        in_order(best.into_iter().flatten().collect())
    }

    /// The same from what was found for another cruise, each descent carried over to this one.
    pub fn search_near(&self, other: &Cruise, known: &[Candidate]) -> Vec<Candidate> {
        let begun = known
            .iter()
            .map(|c| carried(&c.descent, other, self.last()))
            .filter(|d| inside(self.problem, self.last(), d))
            .filter_map(|d| self.price(d));
        self.finished(in_order(begun.collect()))
    }

    /// Descents found at another worth of distance, priced at this one.
    pub fn again(&self, found: &[Candidate]) -> Vec<Candidate> {
        in_order(found.iter().filter_map(|c| self.price(c.descent)).collect())
    }

    /// Descents that may lead to a better flight than this one, of what a walk from it finds, and of what the whole search
    /// found, if it was made: the cheapest, and the cheapest that works the throttle or the path by another rule. A little dearer will do, for a lever
    /// change may be saved in the cruise.
    pub fn better(&self, than: &Descent, anew: Option<Vec<Candidate>>) -> Vec<Candidate> {
        let Some(begun) = self.price(*than) else {
            return vec![];
        };
        let mut found = vec![
            FINER
                .into_iter()
                .fold(begun, |c, scale| self.improve(c, scale)),
        ];
        let slack = if anew.is_some() {
            MOVE_WORTH * (self.per_m * self.problem.length_m).abs()
        } else {
            0.0
        };
        found.extend(anew.into_iter().flatten());
        found.retain(|c| c.charged < begun.charged + slack && !same(&c.descent, than));
        let found = in_order(found);
        let other = found
            .iter()
            .position(|c| family(&c.descent) != family(than))
            .filter(|&i| i > 0);
        let chosen = std::iter::once(0).chain(other);
        chosen.filter_map(|i| found.get(i).copied()).collect()
    }

    /// The most promising at a rate, at a speed and of the rest, walked on to the finest step; what is left after them, for where those cannot be
    /// flown.
    fn finished(&self, found: Vec<Candidate>) -> Vec<Candidate> {
        let found = in_order(found);
        let best = |rate: bool| found.iter().position(|c| at_rate(c) == rate);
        let two = [best(true), best(false)];
        let third = (0..found.len()).find(|&i| !two.contains(&Some(i)));
        let walked = [two[0], two[1], third];
        let finish = |i: usize| {
            FINER
                .into_iter()
                .fold(found[i], |c, scale| self.improve(c, scale))
        };
        let mut out = in_order(walked.into_iter().flatten().map(finish).collect());
        let rest: Vec<usize> = (0..found.len())
            .filter(|&i| !walked.contains(&Some(i)))
            .collect();
        if out.iter().any(|c| c.violation == 0.0) {
            out.extend(rest.into_iter().map(|i| found[i]));
        } else {
            // A hard one: every start is followed, with two levers at once in every step.
            let thoroughly = |from: &Candidate| {
                THOROUGH
                    .into_iter()
                    .fold(*from, |c, scale| self.walk(c, scale, true))
            };
            out.extend(found.iter().map(thoroughly));
            out = in_order(out);
        }
        out
    }
}

/// Whether a second part only goes on with the first.
fn goes_on(first: &DescentPart, second: &DescentPart) -> bool {
    let throttle = second.throttle == ThrottleRule::Untouched || second.throttle == first.throttle;
    throttle
        && DescentPart {
            throttle: first.throttle,
            ..*second
        } == *first
}

fn at_rate(c: &Candidate) -> bool {
    matches!(c.descent.first.path, PathRule::Rate(_))
}

/// Cheapest first, each once.
fn in_order(mut found: Vec<Candidate>) -> Vec<Candidate> {
    found.sort_by(|a, b| a.charged.total_cmp(&b.charged));
    found.dedup_by(|a, b| same(&a.descent, &b.descent));
    found
}
