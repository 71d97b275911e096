//! What a change of cruise power comes to, reckoned instead of flown.
//!
//! A stretch of cruise costs what the setting gives near its middle, at the mass of the middle of the route, in the winds along it; climb and descent, flown from and to
//! another speed, make up the rest. A flight takes a hundred looks at engine and propeller, this a handful.

use super::pilot::has_room;
use crate::aircraft::Levers;
use crate::flight::{Cruise, Flown, Limit, Script, ThrottleRule};
use crate::quantity::M_PER_NM;
use crate::solve::cruise::{AtLevel, CruiseOption, Setting, mean_cost_per_m, samples_along};
use crate::solve::descent::same;
use crate::solve::search::middle_kg;
use crate::trip::{CostRates, Problem};
use std::cell::RefCell;
use std::collections::HashMap;

/// Places where settings are reckoned are whole multiples of this, m.
const PLACE_M: f64 = 25.0 * M_PER_NM;

/// How far what is reckoned may lie from what is flown. Our choice: of 5,300 changes of cruise power in the walks of eight trips 4,600 led nowhere, of which
/// 3,400 were told by the narrower one alone; of the 720 that led on one was told wrongly, with a descent that follows: the wider one is for those.
#[derive(Debug, Clone, Copy)]
struct Error {
    /// Of a change of cost or fuel, a share of itself.
    own: f64,
    /// Of the cost besides, a share of the whole.
    cost: f64,
    /// Of the fuel besides, kg.
    fuel_kg: f64,
}

/// Where the descent is as it was.
const DESCENT_ALIKE: Error = Error {
    own: 0.2,
    cost: 5e-4,
    fuel_kg: 0.1,
};
/// Where it follows the cruise.
const DESCENT_FOLLOWS: Error = Error {
    own: 0.5,
    cost: 2e-3,
    fuel_kg: 0.5,
};
/// Power as it is reckoned may lie so much over that of the flight, a share of rated power.
const POWER_ERROR: f64 = 0.004;

/// What a script with a cruise stretch set otherwise comes to at least.
#[derive(Debug, Clone, Copy)]
pub(super) struct Least {
    /// Cost, in the objective's unit.
    pub(super) cost: f64,
    /// Limits broken, in scale units.
    pub(super) violation: f64,
}

/// Settings reckoned so far in one problem.
pub(super) struct Reckoner<'a> {
    problem: &'a Problem,
    /// In the middle of the route.
    mass_kg: f64,
    known: RefCell<HashMap<[u64; 6], Option<Setting>>>,
}

impl<'a> Reckoner<'a> {
    pub(super) fn new(problem: &'a Problem) -> Self {
        Self {
            problem,
            mass_kg: middle_kg(problem),
            known: RefCell::default(),
        }
    }

    /// What a script comes to at least that has one cruise stretch set otherwise than a flown one, climb, levels and places alike; `None` for any other.
    pub(super) fn least(&self, flown: &Flown, here: &Script, near: &Script) -> Option<Least> {
        let (a, b) = (&here.cruise, &near.cruise);
        let apart = |i: &usize| a[*i].levers() != b[*i].levers();
        let alike = |(x, y): (&Cruise, &Cruise)| x.level_m == y.level_m && x.from_m == y.from_m;
        if !has_room(flown)
            || a.len() != b.len()
            || here.climb != near.climb
            || !a.iter().zip(b).all(alike)
        {
            return None;
        }
        let mut changed = (0..a.len()).filter(apart);
        let (Some(i), None) = (changed.next(), changed.next()) else {
            return None;
        };
        let from_m = a[i].from_m.max(flown.top_of_climb.distance_m);
        let to_m = a
            .get(i + 1)
            .map_or(flown.top_of_descent.distance_m, |next| next.from_m);
        let length_m = to_m - from_m;
        if length_m <= 0.0 {
            return None;
        }
        let middle_m = 0.5 * (from_m + to_m);
        let [before, after] = [a[i], b[i]].map(|c| self.given(c.level_m, middle_m, c.levers()));
        let ((before, _), (after, set)) = (before?, after?);
        let winds: Vec<_> = samples_along(self.problem, a[i].level_m, from_m, to_m).collect();
        let dearer_by = |rates: CostRates| {
            let per_m = |option| mean_cost_per_m(rates, option, &winds);
            length_m * (per_m(&after) - per_m(&before))
        };
        let cost = dearer_by(self.problem.cost_rates());
        let burned_kg = dearer_by(CostRates::OF_FUEL);
        if !cost.is_finite() || !burned_kg.is_finite() {
            return None;
        }
        let reserve_kg = |o: &CruiseOption| self.problem.reserve_kg(o.fuel_kg_s);
        let cruised_m = flown.top_of_descent.distance_m - flown.top_of_climb.distance_m;
        let share = (length_m / cruised_m).min(1.0);
        // A throttle that is not touched on the way down stays where cruise has it.
        let follows = i + 1 == a.len() && near.descent.first.throttle == ThrottleRule::Untouched;
        let error = if same(&here.descent, &near.descent) && !follows {
            DESCENT_ALIKE
        } else {
            DESCENT_FOLLOWS
        };
        let fuel_kg = burned_kg + share * (reserve_kg(&after) - reserve_kg(&before));
        let short_kg =
            flown.audit.excess(Limit::Fuel) + fuel_kg - (error.own * fuel_kg.abs() + error.fuel_kg);
        let most = self.problem.aircraft.most_cruise_power(b[i].mixture);
        let over = set.power_fraction - most - POWER_ERROR;
        Some(Least {
            cost: flown.cost + cost - (error.own * cost.abs() + error.cost * flown.cost.abs()),
            violation: Limit::Fuel.units(short_kg).max(0.0) + Limit::Mixture.units(over).max(0.0),
        })
    }

    /// What levers give at a level, in the air near a place: it changes little with it.
    fn given(&self, level_m: f64, distance_m: f64, levers: Levers) -> Option<Setting> {
        let place_m = ((distance_m / PLACE_M).round() * PLACE_M).min(self.problem.length_m);
        let [kind, figure] = levers.throttle.bits();
        let key = [
            level_m.to_bits(),
            place_m.to_bits(),
            kind,
            figure,
            levers.rev_s.to_bits(),
            levers.mixture as u64,
        ];
        *self.known.borrow_mut().entry(key).or_insert_with(|| {
            let level = AtLevel::new(self.problem, level_m, place_m, self.mass_kg);
            level.given(levers, level.guess_m_s)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aircraft::Throttle;
    use crate::flight::testbed::{Day, IN, KT, RPM, aircraft, problem, script};
    use crate::flight::{PathRule, fly};
    use crate::quantity::M_S_PER_FPM;
    use crate::trip::Objective;

    /// A flight costs at least what is reckoned, whether the descent is as it was or follows; a change that costs a good deal is seen to.
    #[test]
    fn crosscheck_reckoned_against_flown() {
        let mut p = problem(
            aircraft(1.0),
            250.0,
            Day {
                along_kt: -15.0,
                cross_kt: 10.0,
                deviation_k: 5.0,
                ..crate::flight::testbed::CALM
            },
        );
        let path = PathRule::Rate(500.0 * M_S_PER_FPM);
        let starts = [
            script(ThrottleRule::Held(18.0 * IN), path, 2_500.0),
            script(ThrottleRule::LeftAlone(20.5 * IN), path, 2_500.0),
        ];
        let (mut seen, mut dear) = (0, 0);
        for objective in [Objective::Time, Objective::Fuel, Objective::Money] {
            p.objective = objective;
            let memory = RefCell::default();
            let flown = |s: &Script| fly(&p, s, None, &memory).expect("flies");
            let reckoner = Reckoner::new(&p);
            for here in &starts {
                let before = flown(here);
                for (map_in, rpm, mixture) in [
                    (0.5, 0.0, 2),
                    (-0.5, 0.0, 2),
                    (-2.0, 0.0, 2),
                    (0.0, 50.0, 2),
                    (0.0, -50.0, 2),
                    (0.0, -200.0, 2),
                    (1.0, -100.0, 2),
                    (0.0, 0.0, 1),
                    (0.0, 0.0, 0),
                ] {
                    let mut near = here.clone();
                    near.cruise[0].throttle = Throttle::Map((20.5 + map_in) * IN);
                    near.cruise[0].rev_s += rpm * RPM;
                    near.cruise[0].mixture = mixture;
                    if let ThrottleRule::LeftAlone(_) = here.descent.first.throttle {
                        near.descent.first.throttle = ThrottleRule::LeftAlone((20.5 + map_in) * IN);
                    }
                    let least = reckoner.least(&before, here, &near).expect("one stretch");
                    let after = flown(&near);
                    assert!(
                        least.cost <= after.cost,
                        "{objective:?} {map_in} {rpm} {mixture}: {} {}",
                        least.cost,
                        after.cost
                    );
                    assert!(least.violation <= after.audit.violation());
                    seen += 1;
                    let dearer = |cost: f64| cost / before.cost - 1.0;
                    if dearer(after.cost) > 0.01 {
                        // The error that is allowed for takes half of it and 0.2 % at most; a descent that is as it was makes the rest.
                        assert!(dearer(least.cost) > 0.3 * dearer(after.cost));
                        dear += 1;
                    }
                }
            }
        }
        assert_eq!(seen, 54);
        assert!(dear > 15, "{dear}");
        // Nothing is said of other changes.
        let here = &starts[0];
        let memory = RefCell::default();
        let before = fly(&p, here, None, &memory).expect("flies");
        let reckoner = Reckoner::new(&p);
        let mut other = here.clone();
        other.climb.ias_m_s += 5.0 * KT;
        other.cruise[0].rev_s += 50.0 * RPM;
        assert!(reckoner.least(&before, here, &other).is_none());
        assert!(reckoner.least(&before, here, here).is_none());
    }
}
