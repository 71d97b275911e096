//! The plans of a frontier one by one, each with the whole of its figures: the stops of a slider.

use super::measure::Units;
use super::units::plain;
use super::{Figures, FrontierFigures, FrontierPlanFigures, TotalsFigures};
use crate::solve::{Frontier, threads};
use crate::trip::Problem;

/// Times and fuels nearer than this are written alike, min and gal: half of the tenth they are told to.
const ALIKE: f64 = 0.05;

/// One plan to stop at.
#[derive(Debug, Clone, PartialEq)]
pub struct Stop {
    /// Its figures.
    pub figures: Figures,
    /// Its place in the frontier, from nought; none for the plan of a sheet that is not one of it.
    pub place: Option<usize>,
    /// It is the plan of the sheet.
    pub of_sheet: bool,
    /// What it takes more than the plan of the sheet; none without a sheet.
    pub more: Option<More>,
}

/// What a plan takes more than another; below zero less.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct More {
    /// Time, min.
    pub time_min: f64,
    /// Fuel, US gallons.
    pub fuel_gal: f64,
    /// Money at the trip's prices; none without prices.
    pub cost: Option<f64>,
}

/// The stops, quickest first.
#[derive(Debug, Clone, PartialEq)]
pub struct Stops {
    /// The frontier they are of.
    pub frontier: FrontierFigures,
    /// The plans.
    pub all: Vec<Stop>,
    /// Where to begin: the plan of the sheet; without one the cheapest, without prices that of best value.
    pub start: usize,
}

/// Whether two plans read alike: the same in all that is set, and written with the same time and fuel.
fn alike(a: &Figures, b: &Figures) -> bool {
    let near = |of: &dyn Fn(&TotalsFigures) -> f64| (of(&a.totals) - of(&b.totals)).abs() < ALIKE;
    a.in_one_line == b.in_one_line
        && a.cruise == b.cruise
        && a.second_climb_speed == b.second_climb_speed
        && near(&|t| t.time_min)
        && near(&|t| t.fuel_gal)
}

impl Stops {
    /// The plans of a frontier, made for this problem, told in these units.
    pub fn in_units(frontier: &Frontier, problem: &Problem, units: Units) -> Self {
        let figures = FrontierFigures::in_units(frontier, problem, units);
        let one_by_one = frontier.one_by_one(problem, threads());
        let all = one_by_one
            .iter()
            .enumerate()
            .map(|(i, (problem, plan))| Stop {
                figures: Figures::in_units(plan, problem, units),
                place: Some(i),
                of_sheet: false,
                more: None,
            });
        Self {
            start: frontier.cheapest.or(frontier.best_value).unwrap_or(0),
            all: all.collect(),
            frontier: figures,
        }
    }

    /// The same about the plan of a sheet in the same units, which has a stop of its own where none reads like it.
    #[must_use]
    pub fn about(mut self, sheet: &Figures) -> Self {
        let own = self.all.iter().position(|s| alike(&s.figures, sheet));
        self.start = own.unwrap_or_else(|| {
            let at = self
                .all
                .partition_point(|s| s.figures.totals.time_min <= sheet.totals.time_min);
            let stop = Stop {
                figures: sheet.clone(),
                place: None,
                of_sheet: true,
                more: None,
            };
            self.all.insert(at, stop);
            at
        });
        let stop = &mut self.all[self.start];
        stop.figures = sheet.clone();
        stop.of_sheet = true;
        let priced = self.frontier.priced();
        let sheet = &sheet.totals;
        for stop in &mut self.all {
            let t = &stop.figures.totals;
            stop.more = Some(More {
                time_min: plain(t.time_min - sheet.time_min),
                fuel_gal: plain(t.fuel_gal - sheet.fuel_gal),
                cost: priced.then(|| plain(t.cost - sheet.cost)),
            });
        }
        self
    }

    /// A stop's plan in the frontier.
    pub fn plan(&self, stop: &Stop) -> Option<&FrontierPlanFigures> {
        self.frontier.plans.get(stop.place?)
    }
}
