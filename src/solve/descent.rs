//! Descent candidates over the whole lever space, each flown from cruise to pattern speed.

mod grid;
mod moves;
mod walk;

pub use grid::fastest_all_the_way_m_s;
pub(super) use moves::{MOST_LEAD_M, RATE_STEP_M_S, REDUCE_STEP_M, carried, clear_of_edges};

use super::foresight::Foresight;
use super::refine::{MOVE_WORTH, PENALTY, lever_changes};
use crate::flight::{Cruise, Descent, FlightError, Limit, PathRule, Script, State, let_down};
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

/// A descent as it was flown, before it is priced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DescentFlown {
    descent: Descent,
    time_s: f64,
    fuel_kg: f64,
    revolutions: f64,
    distance_m: f64,
    lever_changes: f64,
    /// Sums of violations in scale units: of all limits, and of those in [`Candidate::barred`].
    violation: f64,
    barred: f64,
}

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
    foresight: RefCell<Foresight>,
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
            known: RefCell::default(),
            foresight: RefCell::default(),
        }
    }

    /// Flies one descent from the cruise; `None` where it cannot be flown.
    pub fn price(&self, descent: Descent) -> Option<Candidate> {
        self.price_against(descent, None)
    }

    /// The same; `None` also where it is no match for a descent that is known, if one is given.
    fn price_against(&self, descent: Descent, against: Option<&Candidate>) -> Option<Candidate> {
        if let Some((_, known)) = self.known.borrow().iter().find(|(d, _)| same(d, &descent)) {
            return *known;
        }
        let whole = (self.per_m * self.problem.length_m).abs();
        // Violations so charged that nothing it may save could make up for them.
        let most_violation = against.map_or(f64::INFINITY, |a| {
            ((a.charged - a.worth) / whole + MOST_GAIN) / PENALTY
        });
        let flown = self.flown(descent, most_violation);
        let given_up = matches!(flown, Err(FlightError::GivenUp));
        let priced = flown.ok().flatten().and_then(|down| self.priced(&down));
        if !given_up {
            self.known.borrow_mut().push((descent, priced));
        }
        priced
    }

    /// One descent from the cruise, whatever it is worth; `None` where it cannot be flown.
    pub fn unpriced(&self, descent: Descent) -> Option<DescentFlown> {
        self.flown(descent, f64::INFINITY).ok().flatten()
    }

    /// The flight of one descent that breaks limits by no more than this; nothing where it is longer than the route.
    fn flown(
        &self,
        descent: Descent,
        most_violation: f64,
    ) -> Result<Option<DescentFlown>, FlightError> {
        let trial = Script {
            descent,
            ..self.script.clone()
        };
        let foreseen_m = self.foresight.borrow().of(self.problem, &trial);
        let covers_m = foreseen_m.unwrap_or_else(|| self.plainly_covered_m(&descent));
        let mut start = self.at(self.pattern_m() - covers_m);
        let mut down = let_down(self.problem, &trial, start, most_violation, false)?;
        // Ground and patches are those of the place: where they matter the descent is moved to end at the pattern point.
        for _ in 0..MOST_MOVES {
            let miss_m = self.pattern_m() - down.end.distance_m;
            let (first_m, last_m) = (start.distance_m, down.end.distance_m.max(self.pattern_m()));
            let barred = || self.problem.has_patches(first_m, last_m, miss_m.abs());
            let clear = down.stays_clear(miss_m) && !barred();
            if clear || miss_m.abs() < NEAR_M {
                break;
            }
            start = self.at(start.distance_m + miss_m);
            down = let_down(self.problem, &trial, start, most_violation, true)?;
        }
        let distance_m = down.end.distance_m - start.distance_m;
        self.foresight
            .borrow_mut()
            .take(self.problem, &trial, distance_m);
        // Longer than the route: no place to begin it.
        if distance_m > self.longest_m {
            return Ok(None);
        }
        Ok(Some(DescentFlown {
            descent,
            time_s: down.end.time_s - start.time_s,
            fuel_kg: down.end.fuel_kg - start.fuel_kg,
            revolutions: down.end.revolutions - start.revolutions,
            distance_m,
            lever_changes: lever_changes(&trial),
            violation: down.audit.violation(),
            barred: down.audit.violation_of(&[Limit::Forbidden, Limit::Ceiling]),
        }))
    }

    /// What a descent that was flown is worth here; `None` where that is no figure.
    pub fn priced(&self, down: &DescentFlown) -> Option<Candidate> {
        let cost = self.rates.of(down.time_s, down.fuel_kg, down.revolutions);
        let worth = cost - self.per_m * down.distance_m;
        let whole = (self.per_m * self.problem.length_m).abs();
        let charged =
            worth + MOVE_WORTH * whole * down.lever_changes + PENALTY * whole * down.violation;
        charged.is_finite().then_some(Candidate {
            descent: down.descent,
            cost,
            distance_m: down.distance_m,
            worth,
            violation: down.violation,
            barred: PENALTY * whole * down.barred,
            charged,
        })
    }

    /// How far a descent goes about, where none has been flown, m.
    fn plainly_covered_m(&self, descent: &Descent) -> f64 {
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
        down_s * (s.tas_m_s + sample.along_m_s)
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

    /// The cruise that the descent begins from.
    fn last(&self) -> &Cruise {
        self.script.last_cruise()
    }
}

/// Whether two descents, their beginning left open, are the same.
pub(super) fn same(a: &Descent, b: &Descent) -> bool {
    let open = |d: &Descent| Descent { to_go_m: 0.0, ..*d };
    open(a) == open(b)
}
