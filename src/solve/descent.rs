//! Descent candidates over the whole lever space, each flown from cruise to pattern speed.

use super::circling::over_destination;
use super::cruise::settable_rev_s;
use super::refine::{MOVE_WORTH, PENALTY, lever_changes, to_step};
use crate::aircraft::{Procedures, Throttle};
use crate::flight::STEEPEST_DESCENT;
use crate::flight::{
    Cruise, Descent, DescentPart, FlightError, Limit, PathRule, Script, State, ThrottleRule,
    let_down,
};
use crate::quantity::{M_PER_FT, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use crate::trip::{CostRates, Problem};
use std::cell::RefCell;

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
    /// Charged for those that lie in forbidden patches or above the greatest altitude of a leg, objective unit.
    pub barred: f64,
    /// Worth with lever changes and violations charged.
    pub charged: f64,
}

/// Improvement, as a share of the cost of the descent, below which a neighbour is no better.
const TIE: f64 = 1e-5;
/// Settable steps of the first walk, and of those that follow.
const COARSEST: f64 = 8.0;
const FINER: [f64; 2] = [4.0, 1.0];
const THOROUGH: [f64; 4] = [8.0, 4.0, 2.0, 1.0];
/// A descent in two parts whose start is dearer than one part by this share of the whole is not followed.
const CATCHES_UP: f64 = 0.003;
/// One descent saves no more than this share of the whole against another.
const MOST_GAIN: f64 = 0.1;
/// Times a descent is moved along the route.
const MOST_MOVES: u32 = 3;
/// A descent that ends this near the pattern point is at its place, m.
const NEAR_M: f64 = 50.0;

/// What descents are priced with: the cruise they begin from and what distance and lever changes are worth.
pub struct Pricing<'a> {
    /// Problem.
    pub problem: &'a Problem,
    /// Cost rates.
    pub rates: CostRates,
    /// Everything but the descent.
    pub script: &'a Script,
    /// A state in the last cruise.
    pub start: State,
    /// Value of distance, objective unit per m.
    pub per_m: f64,
    /// Descents that cover more than this are of no use, m; at first the whole way to the pattern point.
    pub longest_m: f64,
    /// What has been priced already: walks from different starts come by the same descents.
    known: RefCell<Vec<(Descent, Option<Candidate>)>>,
}

impl<'a> Pricing<'a> {
    /// Prices descents of a script from a state in its last cruise, where distance is worth `per_m` objective units per m.
    pub fn new(
        problem: &'a Problem,
        rates: CostRates,
        script: &'a Script,
        start: State,
        per_m: f64,
    ) -> Self {
        Self {
            problem,
            rates,
            script,
            start,
            per_m,
            longest_m: problem.length_m - problem.arrival.before_m,
            known: RefCell::new(Vec::new()),
        }
    }

    /// Flies one descent from the cruise, begun so that it ends at the pattern point if it covers about this distance \[m\]; `None` where it
    /// cannot be flown, or is no match for a descent that is known, if one is given.
    fn price_near(
        &self,
        descent: Descent,
        covers_m: f64,
        against: Option<&Candidate>,
    ) -> Option<Candidate> {
        if let Some((_, known)) = self.known.borrow().iter().find(|(d, _)| same(d, &descent)) {
            return *known;
        }
        let whole = (self.per_m * self.problem.length_m).abs();
        // Violations so charged that nothing it may save could make up for them.
        let most_violation = against.map_or(f64::INFINITY, |a| {
            ((a.charged - a.worth) / whole + MOST_GAIN) / PENALTY
        });
        let priced = self.flown(descent, covers_m, most_violation);
        if !matches!(priced, Err(FlightError::GivenUp)) {
            let known = (descent, priced.ok().flatten());
            self.known.borrow_mut().push(known);
        }
        priced.ok().flatten()
    }

    /// The flight of one descent that breaks limits by no more than this; nothing where it is longer than the route.
    fn flown(
        &self,
        descent: Descent,
        covers_m: f64,
        most_violation: f64,
    ) -> Result<Option<Candidate>, FlightError> {
        let trial = Script {
            descent,
            ..self.script.clone()
        };
        let mut start = self.at(self.pattern_m() - covers_m);
        let mut down = let_down(self.problem, &trial, start, most_violation, false)?;
        // Ground and patches are those of the place: where they matter the descent is moved to end at the pattern point.
        for _ in 0..MOST_MOVES {
            let miss_m = self.pattern_m() - down.end.distance_m;
            let far_from_ground =
                down.audit.excess(Limit::Ground) < -STEEPEST_DESCENT * miss_m.abs();
            if (far_from_ground && !self.problem.has_patches()) || miss_m.abs() < NEAR_M {
                break;
            }
            start = self.at(start.distance_m + miss_m);
            down = let_down(self.problem, &trial, start, most_violation, true)?;
        }
        let cost = self.rates.of(
            down.end.time_s - start.time_s,
            down.end.fuel_kg - start.fuel_kg,
            down.end.revolutions - start.revolutions,
        );
        let distance_m = down.end.distance_m - start.distance_m;
        // Longer than the route: no place to begin it.
        if distance_m > self.longest_m {
            return Ok(None);
        }
        let worth = cost - self.per_m * distance_m;
        let violation = down.audit.violation();
        let whole = (self.per_m * self.problem.length_m).abs();
        let charged =
            worth + MOVE_WORTH * whole * lever_changes(&trial) + PENALTY * whole * violation;
        let barred = PENALTY * whole * down.audit.violation_of(&[Limit::Forbidden, Limit::Ceiling]);
        Ok(charged.is_finite().then_some(Candidate {
            descent,
            cost,
            distance_m,
            worth,
            violation,
            barred,
            charged,
        }))
    }

    /// Flies one descent from the cruise; `None` where it cannot be flown.
    pub fn price(&self, descent: Descent) -> Option<Candidate> {
        self.price_against(descent, None)
    }

    /// [`Pricing::price_near`] where nothing is known of the distance.
    fn price_against(&self, descent: Descent, against: Option<&Candidate>) -> Option<Candidate> {
        let problem = self.problem;
        let rate = match descent.first.path {
            PathRule::Rate(r) => r,
            PathRule::Ias(_) => 0.8 * problem.limits.max_descent_m_s,
        };
        let level_m = self.last().level_m;
        let straight_to_m = descent.straight_to_m(problem.arrival.pattern_altitude_m, level_m);
        let down_s = (level_m - straight_to_m) / rate + 90.0;
        let s = &self.start;
        let sample = problem
            .air
            .at(s.distance_m, s.pressure_altitude_m, s.time_s);
        self.price_near(descent, down_s * (s.tas_m_s + sample.along_m_s), against)
    }

    /// Distance along the route of the pattern point, m.
    fn pattern_m(&self) -> f64 {
        self.problem
            .pattern_point_m(self.script.descent.circle.is_some())
    }

    /// The state in the last cruise at a distance.
    fn at(&self, distance_m: f64) -> State {
        let distance_m = distance_m.max(0.0);
        let level_m = self.last().level_m;
        State {
            time_s: self.problem.time_s(distance_m),
            distance_m,
            pressure_altitude_m: self.problem.pressure_altitude_m(distance_m, level_m),
            ..self.start
        }
    }

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
            // At another rate it takes as much longer or shorter.
            let longer = match (here.descent.first.path, descent.first.path) {
                (PathRule::Rate(was), PathRule::Rate(is)) => was / is,
                _ => 1.0,
            };
            let Some(there) = self.price_near(descent, longer * here.distance_m, Some(&here))
            else {
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

    /// The best descent in two parts that begins as this one: the second from each height at which the air's limit changes, from
    /// half way, and from near the pattern, with the throttle as it is or at its least, steep, shallow or as fast as the air allows.
    fn in_two(&self, from: &Candidate) -> Option<Candidate> {
        let problem = self.problem;
        let pattern_m = problem.arrival.pattern_altitude_m;
        let level_m = self.last().level_m;
        let most = problem.limits.max_descent_m_s;
        let mass_kg = problem.zero_fuel_kg + problem.fuel_kg;
        let edges: Vec<f64> = problem
            .limits
            .air
            .iter()
            .map(|a| a.0)
            .filter(|&h| h > pattern_m && h < level_m)
            .collect();
        // Where the air's limit changes on the way, one part is held to the least of them: the first of two need not be.
        let mut firsts = vec![from.descent];
        if let Some(&edge_m) = edges.iter().max_by(|a, b| a.total_cmp(b)) {
            let power_on = grid(problem, self.script, &self.start)
                .into_iter()
                .filter(|d| !matches!(d.first.throttle, ThrottleRule::Held(_)));
            firsts
                .extend(power_on.filter(|d| {
                    d.first.path == PathRule::Rate(most) && d.reduce_at_m == pattern_m
                }));
            let fast = fastest_between_m_s(problem, edge_m + 1.0, level_m, mass_kg);
            let mut faster = from.descent;
            faster.first.path = PathRule::Ias(fast);
            firsts.push(faster);
        }
        let mut heights: Vec<f64> = edges
            .into_iter()
            .map(|h| h + REDUCE_STEP_M)
            .chain([0.5, 0.25].map(|share| pattern_m + share * (level_m - pattern_m)))
            .map(|h| to_step(h, REDUCE_STEP_M))
            .filter(|&h| h > pattern_m + REDUCE_STEP_M && h < level_m - REDUCE_STEP_M)
            .collect();
        heights.sort_by(f64::total_cmp);
        heights.dedup();
        let throttles: Vec<ThrottleRule> = if problem.aircraft.propeller.is_fixed() {
            vec![ThrottleRule::Untouched, ThrottleRule::Rpm]
        } else {
            let least = least_held_pa(problem);
            vec![
                ThrottleRule::Untouched,
                ThrottleRule::Held(least),
                ThrottleRule::Held(least + 4.0 * PA_PER_INHG),
            ]
        };
        let mut best: Option<Candidate> = None;
        for (first, from_m) in firsts
            .iter()
            .flat_map(|first| heights.iter().map(move |&h| (first, h)))
        {
            let fast = fastest_all_the_way_m_s(problem, from_m, mass_kg);
            for throttle in &throttles {
                for path in [
                    PathRule::Rate(most),
                    PathRule::Rate(to_step(0.6 * most, RATE_STEP_M_S)),
                    PathRule::Ias(fast),
                ] {
                    let part = DescentPart {
                        throttle: *throttle,
                        path,
                        ..first.first
                    };
                    let descent = Descent {
                        second: Some((from_m, part)),
                        reduce_at_m: pattern_m,
                        ..*first
                    };
                    let Some(c) = self.price_against(descent, best.as_ref()) else {
                        continue;
                    };
                    if best.is_none_or(|b| c.charged < b.charged) {
                        best = Some(c);
                    }
                }
            }
        }
        let best = best?;
        // A start far behind one part does not catch up.
        let whole = (self.per_m * problem.length_m).abs();
        (best.charged < from.charged + CATCHES_UP * whole).then(|| {
            FINER
                .into_iter()
                .fold(best, |c, scale| self.improve(c, scale))
        })
    }

    /// Descents worth flying in full, cheapest first: the best of a coarse grid of each family of rules, walked to better neighbours
    /// in ever finer steps, the most promising to the finest; then the best of them in two parts.
    pub fn search(&self) -> Vec<Candidate> {
        self.from_clean_and_braking(|gear_down| {
            let mut found = self.in_one(gear_down);
            // The two best, and the best of the other kind of path, are tried in two parts.
            let other = found
                .iter()
                .position(|c| found.first().is_some_and(|f| at_rate(c) != at_rate(f)));
            let two: Vec<Candidate> = (0..found.len())
                .filter(|&i| i < 2 || Some(i) == other)
                .filter_map(|i| self.in_two(&found[i]))
                .collect();
            found.extend(two);
            found
        })
    }

    /// The same in one part only, for a cruise that is not settled yet; in two where no one part keeps the limits.
    pub fn search_quickly(&self) -> Vec<Candidate> {
        let found = self.from_clean_and_braking(|gear_down| self.in_one(gear_down));
        if found.iter().any(|c| c.violation == 0.0) {
            found
        } else {
            self.search()
        }
    }

    /// What is found from descents that begin clean, and where the gear is a brake from those that begin with it down.
    fn from_clean_and_braking(&self, find: impl Fn(bool) -> Vec<Candidate>) -> Vec<Candidate> {
        let mut found = find(false);
        if self.problem.aircraft.brakes_with_gear() {
            found.extend(find(true));
        }
        in_order(found)
    }

    fn in_one(&self, gear_down: bool) -> Vec<Candidate> {
        let mut best: [Option<Candidate>; 4] = [None; 4];
        for mut descent in grid(self.problem, self.script, &self.start) {
            descent.first.gear_down = gear_down;
            let slot = &mut best[family(&descent)];
            let Some(c) = self.price_against(descent, slot.as_ref()) else {
                continue;
            };
            if slot.is_none_or(|b| c.charged < b.charged) {
                *slot = Some(c);
            }
        }
        let mut found = in_order(best.into_iter().flatten().collect());
        for c in &mut found {
            *c = self.improve(*c, COARSEST);
        }
        self.finished(found)
    }

    /// The same from what was found for another cruise, each descent carried over to this one.
    pub fn search_near(&self, other: &Cruise, known: &[Candidate]) -> Vec<Candidate> {
        let begun = known
            .iter()
            .filter_map(|c| carried(self.problem, &c.descent, other, self.last()))
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

    /// The cruise that the descent begins from.
    fn last(&self) -> &Cruise {
        self.script.last_cruise()
    }
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

/// A descent from one cruise as it is from another: what was left as in cruise still is. `None` where it has no room there.
fn carried(problem: &Problem, descent: &Descent, from: &Cruise, to: &Cruise) -> Option<Descent> {
    let mut d = *descent;
    let first = &mut d.first;
    if (first.rev_s - from.rev_s).abs() < 1e-6 {
        first.rev_s = to.rev_s;
    }
    if first.mixture == from.mixture {
        first.mixture = to.mixture;
    }
    if let (ThrottleRule::LeftAlone(_), Throttle::Map(pa)) = (first.throttle, to.throttle) {
        first.throttle = ThrottleRule::LeftAlone(pa);
    }
    inside(problem, to, &d).then_some(d)
}

/// Whether two descents, their beginning left open, are the same.
fn same(a: &Descent, b: &Descent) -> bool {
    let open = |d: &Descent| Descent { to_go_m: 0.0, ..*d };
    open(a) == open(b)
}

/// Families of descents: a start is kept from each.
fn family(d: &Descent) -> usize {
    let throttle = usize::from(matches!(
        d.first.throttle,
        ThrottleRule::LeftAlone(_) | ThrottleRule::Full | ThrottleRule::Untouched
    ));
    let path = usize::from(matches!(d.first.path, PathRule::Ias(_)));
    2 * throttle + path
}

/// One change of a descent.
#[derive(Debug, Clone, Copy)]
enum Move {
    /// Manifold pressure, RPM, rate (50 ft/min) or IAS, and the height at which the power reduction begins (250 ft), in settable steps.
    Turn([f64; 4]),
    /// The reduction begins on levelling off, with another RPM, in settable steps.
    ReduceLate(f64),
    /// The same for the second part: manifold pressure, RPM, path, and the height at which it begins.
    Second([f64; 4]),
    SecondMixture(usize),
    SecondGear(bool),
    OnePart,
    Mixture(usize),
    LeftAlone(bool),
    CruiseRev,
    /// The other kind of path, at this share of the greatest rate or at this many steps below the greatest speed.
    Rate(f64),
    Ias(f64),
}

/// Step of the rate of descent, m/s.
pub(super) const RATE_STEP_M_S: f64 = 50.0 * M_S_PER_FPM;
/// Step of the height at which the power reduction begins, m.
pub(super) const REDUCE_STEP_M: f64 = 250.0 * M_PER_FT;
/// The power reduction begins at most this far above the pattern, m.
pub(super) const MOST_LEAD_M: f64 = 4_000.0 * M_PER_FT;

fn moves(problem: &Problem, descent: &Descent, scale: f64, pairs: bool) -> Vec<Move> {
    let mut out = Vec::new();
    let turn = |pairs: &[(usize, f64)]| {
        let mut by = [0.0; 4];
        for &(i, k) in pairs {
            by[i] = k;
        }
        Move::Turn(by)
    };
    for k in [scale, -scale] {
        out.extend((0..4).map(|i| turn(&[(i, k)])));
        for i in 0..4 {
            for j in (i + 1..4).filter(|&j| pairs || (i, j) == (0, 1)) {
                out.push(turn(&[(i, k), (j, k)]));
                out.push(turn(&[(i, k), (j, -k)]));
            }
        }
        out.push(turn(&[(0, k), (1, -2.0 * k)]));
        if scale <= 1.0 {
            out.push(turn(&[(0, 2.0 * k), (1, -3.0 * k)]));
            out.push(turn(&[(2, 2.0 * k), (1, -k)]));
            out.push(turn(&[(2, 2.0 * k), (1, k)]));
            out.push(Move::ReduceLate(k));
        }
    }
    out.extend((0..problem.aircraft.engine.spec.mixtures.len()).map(Move::Mixture));
    if descent.second.is_some() {
        for k in [scale, -scale] {
            for i in 0..4 {
                let mut by = [0.0; 4];
                by[i] = k;
                out.push(Move::Second(by));
            }
            out.push(Move::Second([k, 0.0, -k, 0.0]));
            out.push(Move::Second([k, 0.0, k, 0.0]));
        }
        out.extend((0..problem.aircraft.engine.spec.mixtures.len()).map(Move::SecondMixture));
        out.push(Move::OnePart);
    }
    if problem.aircraft.brakes_with_gear() && !descent.first.gear_down {
        out.extend([true, false].map(Move::SecondGear));
    }
    out.extend([
        Move::LeftAlone(true),
        Move::LeftAlone(false),
        Move::CruiseRev,
    ]);
    match descent.first.path {
        PathRule::Rate(_) => out.extend([0.0, 2.0].map(Move::Ias)),
        PathRule::Ias(_) => out.extend([1.0, 0.6].map(Move::Rate)),
    }
    out
}

/// A part with manifold pressure, RPM and path moved by settable steps; `None` where it has no manifold pressure to move.
fn turned(
    pr: &Procedures,
    from: &DescentPart,
    map: f64,
    rev: f64,
    path: f64,
) -> Option<DescentPart> {
    let throttle = match from.throttle.set_map_pa() {
        Some(p) => from.throttle.with_map_pa(p + map * pr.map_step_pa),
        None if map == 0.0 => from.throttle,
        None => return None,
    };
    let step_m_s = match from.path {
        PathRule::Rate(_) => RATE_STEP_M_S,
        PathRule::Ias(_) => pr.speed_step_m_s,
    };
    Some(DescentPart {
        throttle,
        rev_s: from.rev_s + rev * pr.rev_step_s,
        path: from.path.with_value(from.path.value() + path * step_m_s),
        ..*from
    })
}

/// The descent after a change; `None` where that leads nowhere new or out of the range of a lever.
fn moved(problem: &Problem, script: &Script, from: &Descent, change: Move) -> Option<Descent> {
    let pr = &problem.aircraft.procedures;
    let fixed = problem.aircraft.propeller.is_fixed();
    let cruise = *script.last_cruise();
    let pattern_m = problem.arrival.pattern_altitude_m;
    let most = problem.limits.max_descent_m_s;
    let mut d = *from;
    match change {
        Move::Turn([map, rev, path, reduce]) => {
            d.first = turned(pr, &d.first, map, rev, path)?;
            if reduce != 0.0 && matches!(d.last().path, PathRule::Ias(_)) {
                return None;
            }
            d.reduce_at_m += reduce * REDUCE_STEP_M;
        }
        Move::ReduceLate(rev) => {
            d.reduce_at_m = pattern_m;
            d.first = turned(pr, &d.first, 0.0, rev, 0.0)?;
        }
        Move::Mixture(m) => d.first.mixture = m,
        Move::OnePart => d.second = None,
        Move::SecondGear(down) => d.second.as_mut()?.1.gear_down = down,
        Move::SecondMixture(m) => d.second.as_mut()?.1.mixture = m,
        Move::Second([map, rev, path, at]) => {
            let (from_m, part) = d.second.as_mut()?;
            *from_m += at * REDUCE_STEP_M;
            *part = turned(pr, part, map, rev, path)?;
        }
        Move::LeftAlone(alone) => {
            d.first.throttle = match (d.first.throttle, fixed, alone) {
                (_, true, true) => ThrottleRule::Untouched,
                (_, true, false) => ThrottleRule::Rpm,
                (ThrottleRule::Held(p), false, true) => ThrottleRule::LeftAlone(p),
                (ThrottleRule::LeftAlone(p), false, false) => ThrottleRule::Held(p),
                _ => return None,
            }
        }
        Move::CruiseRev => d.first.rev_s = cruise.rev_s,
        Move::Rate(share) => d.first.path = PathRule::Rate(to_step(share * most, RATE_STEP_M_S)),
        Move::Ias(below) => {
            let mass_kg = problem.zero_fuel_kg + problem.fuel_kg;
            let fast = fastest_all_the_way_m_s(problem, cruise.level_m, mass_kg);
            d.first.path = PathRule::Ias(fast - below * pr.speed_step_m_s);
            d.reduce_at_m = pattern_m;
        }
    }
    // Left alone, the throttle stays where a cruise at part throttle has it.
    if let (ThrottleRule::LeftAlone(_), Throttle::Map(pa)) = (d.first.throttle, cruise.throttle) {
        d.first.throttle = ThrottleRule::LeftAlone(pa);
    }
    if matches!(d.last().path, PathRule::Ias(_)) {
        d.reduce_at_m = pattern_m;
    }
    d.reduce_at_m = d.reduce_at_m.max(pattern_m);
    (inside(problem, &cruise, &d) && !same(&d, from)).then_some(d)
}

/// Whether a descent from a cruise is within the range of every lever.
fn inside(problem: &Problem, cruise: &Cruise, d: &Descent) -> bool {
    let pr = &problem.aircraft.procedures;
    let propeller = &problem.aircraft.propeller;
    let pattern_m = problem.arrival.pattern_altitude_m;
    let most = problem.limits.max_descent_m_s;
    let revs = propeller.lowest_governed_rev_s - 1e-9..=propeller.highest_governed_rev_s + 1e-9;
    let settable = |part: &DescentPart| {
        revs.contains(&part.rev_s)
            && part
                .throttle
                .set_map_pa()
                .is_none_or(|p| p >= problem.limits.least_map_pa - 1e-6)
            && match part.path {
                PathRule::Rate(r) => (100.0 * M_S_PER_FPM..=most + 1e-9).contains(&r),
                PathRule::Ias(v) => {
                    (pr.pattern_m_s..=problem.aircraft.speeds.vno_m_s + 1e-9).contains(&v)
                }
            }
    };
    // The power reduction belongs to the last part.
    settable(&d.first)
        && d.reduce_at_m <= pattern_m + MOST_LEAD_M
        && d.second.is_none_or(|(from_m, part)| {
            settable(&part)
                && from_m > d.reduce_at_m + 1.0
                && from_m < cruise.level_m - 1.0
                && clear_of_edges(problem, from_m)
        })
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
fn fastest_between_m_s(problem: &Problem, low: f64, level_m: f64, mass_kg: f64) -> f64 {
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

/// Whether a second part that begins at an indicated altitude \[m\] begins clearly above or below each height at which the air's limit
/// changes: nobody holds a height to the foot, and the slow-down for slower air begins above it.
pub(super) fn clear_of_edges(problem: &Problem, from_m: f64) -> bool {
    const CLEAR_M: f64 = 100.0 * M_PER_FT;
    let near = |edge_m: f64| from_m > edge_m - 1.0 && from_m < edge_m + CLEAR_M;
    !problem
        .limits
        .speed_edges_m(&problem.aircraft.speeds)
        .any(near)
}

/// The least manifold pressure \[Pa\] that may be held in the descent and that a hand can set.
fn least_held_pa(problem: &Problem) -> f64 {
    let step = problem.aircraft.procedures.map_step_pa;
    (problem.limits.least_map_pa / step - 1e-6).ceil() * step
}

/// A coarse grid of settable descents.
fn grid(problem: &Problem, script: &Script, start: &State) -> Vec<Descent> {
    let pr = &problem.aircraft.procedures;
    let propeller = &problem.aircraft.propeller;
    let pattern_m = problem.arrival.pattern_altitude_m;
    let cruise = *script.last_cruise();
    let most = problem.limits.max_descent_m_s;
    let mass_kg = problem.zero_fuel_kg + problem.fuel_kg - start.fuel_kg;
    let fast = fastest_all_the_way_m_s(problem, cruise.level_m, mass_kg);
    let rate = |share: f64| PathRule::Rate(to_step(share * most, RATE_STEP_M_S));
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
                let held = least + up * PA_PER_INHG;
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
