//! Level search: dynamic programming over (stretch end, level).
//!
//! Cruise is costed stretch by stretch from the cost field; a climb or descent between levels is costed by what it takes
//! beyond cruising the same distance at the level it ends (climb) or starts from (descent). The search proposes sequences;
//! each proposal is then flown in full, so an error here costs time and not truth.

use super::cruise::{CruiseOption, least_per_m};
use crate::quantity::M_PER_NM;
use crate::trip::{CostRates, Problem};
use std::rc::Rc;

/// Stretches are at most this long, m.
const STRETCH_M: f64 = 10.0 * M_PER_NM;
/// Stretches are at most this share of the route (DESIGN section 6.4).
const STRETCH_SHARE: f64 = 1.0 / 20.0;
/// A change of level must be worth this share of the cost of the whole cruise: its lever changes at 0.1 % each (DESIGN section 5).
const CHANGE_WORTH: f64 = 1e-3 * super::refine::LEVEL_CHANGE_MOVES;
/// Of what a climb takes beyond cruise, a descent gives back this share at most: our choice, no source.
const GIVEN_BACK: f64 = 0.7;
/// A level of a sequence is held at least this long, m: what the flight asks for, and the search's own error.
const SHORTEST_HOLD_M: f64 = crate::flight::SHORTEST_CRUISE_M + 2.0 * M_PER_NM;

/// A level, what can be set there and what climb and descent to it take.
#[derive(Debug, Clone)]
pub struct LevelCost {
    /// Indicated altitude, m.
    pub level_m: f64,
    /// Settings.
    pub options: Rc<[CruiseOption]>,
    /// Cost of the climb to it (objective unit) and the distance it covers (m): from where all climbs begin.
    pub climb: (f64, f64),
    /// The same from where the flight begins, if it is the first level: on the ground the same.
    pub reach: (f64, f64),
    /// Cost of the descent and slow-down from it and the distance it covers.
    pub descent: (f64, f64),
    /// Charged for what climb and descent pass through that is barred, if they begin and end the flight: objective unit.
    pub barred: (f64, f64),
}

/// A proposal: levels with the distance at which each begins.
#[derive(Debug, Clone, PartialEq)]
pub struct Sequence {
    /// (level m, from m), first from zero.
    pub steps: Vec<(f64, f64)>,
    /// Cost in the model of this search.
    pub cost: f64,
}

/// Ends of the stretches along the route, m: leg ends and the edges of forbidden patches are among them.
pub fn stretch_ends(problem: &Problem) -> Vec<f64> {
    let longest = STRETCH_M
        .min(STRETCH_SHARE * problem.length_m)
        .max(M_PER_NM);
    let mut ends = Vec::new();
    let mut marks: Vec<f64> = problem.legs.iter().map(|l| l.to_m).collect();
    let inside = |&s: &f64| s > 0.0 && s < problem.length_m;
    let edges = problem.forbidden.iter().flat_map(|p| [p.from_m, p.to_m]);
    marks.extend(edges.filter(inside));
    marks.sort_by(f64::total_cmp);
    marks.dedup();
    let mut from_m = 0.0;
    for to_m in marks {
        let length = to_m - from_m;
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a few hundred at most"
        )]
        let n = (length / longest).ceil().max(1.0) as usize;
        for i in 1..=n {
            #[expect(clippy::cast_precision_loss, reason = "a few hundred at most")]
            ends.push(from_m + length * i as f64 / n as f64);
        }
        from_m = to_m;
    }
    ends
}

/// The best sequence for each pair of first and last level, cheapest first.
pub fn sequences(problem: &Problem, rates: CostRates, levels: &[LevelCost]) -> Vec<Sequence> {
    let ends = stretch_ends(problem);
    let n = levels.len();
    let mut per_m = Vec::with_capacity(ends.len());
    let mut legal = Vec::with_capacity(ends.len());
    let mut from = 0.0;
    for &end in &ends {
        let middle = 0.5 * (from + end);
        let leg = &problem.levels[problem.leg_index(middle)];
        per_m.push(
            levels
                .iter()
                .map(|l| least_per_m(problem, rates, &l.options, l.level_m, middle))
                .collect::<Vec<_>>(),
        );
        legal.push(
            levels
                .iter()
                .map(|l| {
                    leg.allows(l.level_m) && !problem.is_barred((from, l.level_m), (end, l.level_m))
                })
                .collect::<Vec<_>>(),
        );
        from = end;
    }
    let typical = per_m
        .iter()
        .flatten()
        .copied()
        .filter(|c| c.is_finite())
        .fold(f64::INFINITY, f64::min)
        * problem.length_m;
    let last = ends.len() - 1;
    let mut found: Vec<Sequence> = Vec::new();
    for first in 0..n {
        // cost[i]: cheapest way to be at level i at the end of stretch k having climbed to `first`.
        let start = &levels[first];
        let mut cost = vec![f64::INFINITY; n];
        cost[first] = start.reach.0 + start.barred.0 - per_m[0][first] * start.reach.1;
        let mut came: Vec<Vec<usize>> = Vec::with_capacity(ends.len());
        from = 0.0;
        for k in 0..ends.len() {
            let mut next = vec![f64::INFINITY; n];
            let mut origin = vec![0; n];
            // No change of level while the first climb is still going on.
            let climbing = from < start.reach.1;
            for j in 0..n {
                // Climb and let-down pass through stretches where the level itself is not legal.
                let covered =
                    ends[k] <= start.reach.1 || from >= problem.length_m - levels[j].descent.1;
                if !legal[k][j] && !covered {
                    continue;
                }
                for i in 0..n {
                    if !cost[i].is_finite() || (climbing && i != j) {
                        continue;
                    }
                    let change = if i == j {
                        0.0
                    } else {
                        let (a, b) = (&levels[i], &levels[j]);
                        // What lies on the way from level to level is passed about on a straight line.
                        let covers_m = if b.level_m > a.level_m {
                            b.climb.1 - a.climb.1
                        } else {
                            a.descent.1 - b.descent.1
                        };
                        let reached = (from + covers_m.max(0.0), b.level_m);
                        if problem.is_barred((from, a.level_m), reached) {
                            continue;
                        }
                        // Climbing from the lower to the higher of two levels, beyond cruising that far at the higher.
                        let up = |low: &LevelCost, high: &LevelCost, at_high: usize| {
                            let dear = (high.climb.0 - low.climb.0)
                                - per_m[k][at_high] * (high.climb.1 - low.climb.1);
                            dear.max(0.0)
                        };
                        let extra = if b.level_m > a.level_m {
                            up(a, b, j)
                        } else {
                            // Coming down gives some of that back, never all: climb and descent are priced in the air of the two ends
                            // of the route, and going up and down again must not pay.
                            let back = (a.descent.0 - b.descent.0)
                                - per_m[k][i] * (a.descent.1 - b.descent.1);
                            back.max(-GIVEN_BACK * up(b, a, i))
                        };
                        extra + CHANGE_WORTH * typical
                    };
                    let c = cost[i] + change + per_m[k][j] * (ends[k] - from);
                    if c < next[j] {
                        next[j] = c;
                        origin[j] = i;
                    }
                }
            }
            came.push(origin);
            cost = next;
            from = ends[k];
        }
        for j in 0..n {
            let total = cost[j] + levels[j].descent.0 + levels[j].barred.1
                - per_m[last][j] * levels[j].descent.1;
            if !total.is_finite() {
                continue;
            }
            let mut steps = Vec::new();
            let mut at = j;
            for k in (0..ends.len()).rev() {
                let before = came[k][at];
                let begin = if k == 0 { 0.0 } else { ends[k - 1] };
                if k == 0 || before != at {
                    steps.push((levels[at].level_m, begin));
                }
                at = before;
            }
            steps.reverse();
            found.push(Sequence { steps, cost: total });
        }
    }
    // Each level held all the way, which the pairs above may have passed over for a change that proves to have no room.
    for (i, level) in levels.iter().enumerate() {
        let mut cost = level.reach.0 - per_m[0][i] * level.reach.1 + level.descent.0
            - per_m[last][i] * level.descent.1
            + (level.barred.0 + level.barred.1);
        from = 0.0;
        for (k, &end) in ends.iter().enumerate() {
            let covered = end <= level.reach.1 || from >= problem.length_m - level.descent.1;
            cost += if legal[k][i] || covered {
                per_m[k][i] * (end - from)
            } else {
                f64::INFINITY
            };
            from = end;
        }
        let alone = Sequence {
            steps: vec![(level.level_m, 0.0)],
            cost,
        };
        if cost.is_finite() && !found.iter().any(|f| f.steps == alone.steps) {
            found.push(alone);
        }
    }
    found.retain(|sequence| has_room(problem, levels, sequence));
    found.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    found
}

/// Whether every level of a sequence is held long enough to be a cruise, between the climb, the changes and the descent. One level
/// alone always is: the flight itself finds where climb and descent meet.
fn has_room(problem: &Problem, levels: &[LevelCost], sequence: &Sequence) -> bool {
    let of = |level_m: f64| levels.iter().find(|l| (l.level_m - level_m).abs() < 1.0);
    let steps = &sequence.steps;
    if steps.len() < 2 {
        return true;
    }
    steps.iter().enumerate().all(|(i, &(level_m, from_m))| {
        let Some(level) = of(level_m) else {
            return false;
        };
        // Where the level is reached: after the climb from the field, or from or to the level before.
        let reached_m = match i.checked_sub(1).and_then(|b| of(steps[b].0)) {
            None => level.reach.1,
            Some(before) if before.level_m < level.level_m => {
                from_m + level.climb.1 - before.climb.1
            }
            Some(before) => from_m + before.descent.1 - level.descent.1,
        };
        let left_m = steps.get(i + 1).map_or(
            problem.pattern_point_m(problem.circling.let_down_from_m.is_some()) - level.descent.1,
            |next| next.1,
        );
        left_m - reached_m >= SHORTEST_HOLD_M
    })
}
