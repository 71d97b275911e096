//! Fuel against time: the plans that no other beats in both.
//!
//! The quickest and the thriftiest plan are made first, then plans for values of time about the price they differ by, and the cheapest at
//! the trip's prices. On the way the searches fly thousands of settable flights; each that keeps every limit is a point, so that levels and
//! settings which are best at no value of time, those in hollows, are found as well. Where two neighbours still lie far apart the thriftiest flight that
//! lands half-way between them is looked for. What is left undominated is flown again as finely as any plan, and judged by that; and what would be
//! shown is settled under its own time, and its own fuel, as a bound.

mod points;
mod single;

use super::alternate::AlternateFlight;
use super::infeasible::tried;
use super::plan::{Draft, Totals, Warning};
use super::refine::{Kept, Pilot, lever_changes, settle};
use super::reserve;
use super::search::{Search, SolveError, confirmed_flight, on_schedule, totals, warnings};
use super::workers::{each_of, threads};
use super::{TripError, plan_trip};
use crate::aircraft::Aircraft;
use crate::flight::{Flown, Script};
use crate::quantity::M3_PER_GAL;
use crate::reflight::Mismatch;
use crate::trip::{Bounds, CostRates, FuelLoad, Objective, Problem, Trip, resolve};
use points::{
    Apart, TimeFuel, best_between, best_value, loses_to, merged, price_kg_s, undominated,
};

/// Values of a second for which plans are made, as multiples of what one costs in fuel on average between the thriftiest plan and the
/// quickest. Beyond them nothing is new: the thriftiest and the quickest are made by themselves.
const VALUES: [f64; 11] = [0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 1.9, 2.6, 3.6, 6.0];
/// Neighbours farther apart than this in time, s, or than [`WIDE_M3`] in fuel have a gap between them that is searched.
const WIDE_S: f64 = 60.0;
/// See [`WIDE_S`]; m³.
const WIDE_M3: f64 = 0.25 * M3_PER_GAL;
/// Gaps that are searched, the widest first.
const MOST_GAPS: usize = 12;
/// A flight is bounded by its own time \[s\] and fuel \[kg\] with this to spare, what flights keep a bound with and a hair.
const SPARE: TimeFuel = TimeFuel {
    time_s: 0.61,
    fuel_kg: 0.011,
};
/// Rounds in which what is shown is settled under its own bounds: what takes the place of a plan is settled in the next.
const ROUNDS: usize = 2;
/// Flights that are flown finely: so many stretches of the frontier have one each.
const MOST_FINE: usize = 96;
/// Flights in a batch that is flown finely with one memory.
const BATCH: usize = 8;
/// Plans that differ by less than this in time and by less than [`APART_M3`] in fuel are shown as one: half of what is no real difference
/// ([`super::NO_DIFFERENCE_S`]), so that a plan and the next but one do differ.
pub const APART_S: f64 = 0.5 * super::NO_DIFFERENCE_S;
/// See [`APART_S`]; m³.
pub const APART_M3: f64 = 0.5 * super::NO_DIFFERENCE_M3;
/// A plan in a hollow that saves less than this, a tenth of a minute, or less than [`HARDLY_M3`], against a loss of [`APART_M3`] or [`APART_S`],
/// is not shown: nobody would fly it.
const HARDLY_S: f64 = 6.0;
/// See [`HARDLY_S`]: what fuel is told to; m³.
const HARDLY_M3: f64 = 0.05 * M3_PER_GAL;

/// What saving time costs, from one plan to the next quicker one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quicker {
    /// Time saved, s.
    pub saved_s: f64,
    /// Fuel for each second saved, kg/s.
    pub fuel_kg_s: f64,
    /// Money for each second saved at the trip's prices; below zero the quicker plan is the cheaper. `None` without prices.
    pub money_per_s: Option<f64>,
}

/// One plan of the frontier.
#[derive(Debug, Clone)]
pub struct FrontierPlan {
    /// The flight, as a plan has it: rounded to what a pilot can set, no limit broken, path recorded.
    pub flown: Flown,
    /// Totals.
    pub totals: Totals,
    /// Its re-flight.
    pub reflight: Mismatch,
    /// Warnings, as a plan has them.
    pub warnings: Vec<Warning>,
    /// To the next quicker plan; `None` for the quickest.
    pub quicker: Option<Quicker>,
    /// Best of all while a second of flight is worth from the one to the other, kg/s of fuel; `None` for a plan in a hollow, which is best
    /// at no value of time. The quickest is best to infinity.
    pub best_kg_s: Option<(f64, f64)>,
}

/// The plans of a trip that no other beats in both time and fuel.
#[derive(Debug, Clone)]
pub struct Frontier {
    /// Quickest first; none empty, none beaten.
    pub plans: Vec<FrontierPlan>,
    /// How many were found before those that differ too little were merged.
    pub found: usize,
    /// The plan of best value: where both axes run from nought at the least to one at the most, the one farthest below the straight line
    /// from the quickest to the thriftiest. `None` where none is below it.
    pub best_value: Option<usize>,
    /// The cheapest at the trip's prices; `None` without prices.
    pub cheapest: Option<usize>,
    /// Full flights flown in the search.
    pub flights: usize,
    /// On to the alternate, if the trip has one: from the quickest plan, which lands the lightest. Its fuel is kept on every plan.
    pub alternate: Option<AlternateFlight>,
}

/// A flight on the way to the frontier, by the fine flight or the search's own.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    pub at: TimeFuel,
    /// At the trip's prices; not a number before it is flown finely.
    pub money: f64,
    pub script: Script,
}

impl Candidate {
    fn fine(problem: &Problem, flown: Flown) -> Self {
        Self {
            at: point(&flown),
            money: totals(problem, &flown).money,
            script: flown.script,
        }
    }
}

/// One search of its own.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Ask {
    /// Least of an objective.
    Least(Objective),
    /// The same under bounds.
    Within(Objective, Bounds),
    /// Least fuel with this value of a second, kg/s.
    Value(f64),
}

/// What a search gives: its plan if it has one, and every settable flight on the way that keeps all limits.
struct Found {
    draft: Result<Draft, SolveError>,
    kept: Vec<Kept>,
    flights: usize,
}

fn search(problem: &Problem, ask: Ask, seeds: &[Script]) -> Found {
    let per_s = match ask {
        Ask::Value(per_s) => per_s,
        Ask::Least(_) | Ask::Within(..) => 0.0,
    };
    let (objective, bounds) = match ask {
        Ask::Least(objective) => (objective, Bounds::default()),
        Ask::Within(objective, bounds) => (objective, bounds),
        Ask::Value(_) => (Objective::Fuel, Bounds::default()),
    };
    let asked = Problem {
        objective,
        bounds,
        charge: CostRates {
            per_s,
            ..CostRates::default()
        },
        ..problem.clone()
    };
    let pilot = Pilot::keeping(&asked);
    let draft = reserve::plan_within(&pilot, seeds);
    Found {
        draft,
        flights: pilot.flights(),
        kept: pilot.into_kept(),
    }
}

fn point(flown: &Flown) -> TimeFuel {
    TimeFuel {
        time_s: flown.time_s,
        fuel_kg: flown.fuel_kg,
    }
}

/// The least fuel that is no later than a flight, and the least time that burns no more.
fn beside(problem: &Problem, at: TimeFuel) -> [(Objective, Bounds); 2] {
    let taxi = &problem.aircraft.procedures;
    let no_later = Bounds {
        within_s: Some(taxi.taxi_time_s + at.time_s + SPARE.time_s),
        ..Bounds::default()
    };
    let no_dearer = Bounds {
        most_fuel_kg: Some(taxi.taxi_fuel_kg + at.fuel_kg + SPARE.fuel_kg),
        ..Bounds::default()
    };
    [(Objective::Fuel, no_later), (Objective::Time, no_dearer)]
}

/// The kept flights that none beats once each lever change is charged what it must be worth, quickest first.
fn worth_flying(kept: Vec<Candidate>) -> Vec<Candidate> {
    let charged: Vec<TimeFuel> = kept
        .iter()
        .map(|c| {
            let share = 1.0 + super::refine::MOVE_WORTH * lever_changes(&c.script);
            TimeFuel {
                time_s: c.at.time_s * share,
                fuel_kg: c.at.fuel_kg * share,
            }
        })
        .collect();
    let mut left: Vec<Option<Candidate>> = kept.into_iter().map(Some).collect();
    let worth: Vec<Candidate> = undominated(&charged)
        .into_iter()
        .filter_map(|i| left[i].take())
        .collect();
    picked(worth)
}

/// The undominated ones, quickest first.
fn picked(candidates: Vec<Candidate>) -> Vec<Candidate> {
    let points: Vec<TimeFuel> = candidates.iter().map(|c| c.at).collect();
    let mut left: Vec<Option<Candidate>> = candidates.into_iter().map(Some).collect();
    undominated(&points)
        .into_iter()
        .filter_map(|i| left[i].take())
        .collect()
}

/// A script with its top of descent left to be found.
fn open_again(script: &Script) -> Script {
    let mut script = script.clone();
    script.descent.to_go_m = f64::NAN;
    script
}

/// Without those that gain no more than a tie against a real loss.
fn untied(mut line: Vec<Candidate>) -> Vec<Candidate> {
    let points: Vec<TimeFuel> = line.iter().map(|c| c.at).collect();
    line.retain(|c| !points.iter().any(|&p| loses_to(c.at, p)));
    line
}

fn candidates(kept: Vec<Kept>) -> impl Iterator<Item = Candidate> {
    kept.into_iter().map(|k| Candidate {
        at: TimeFuel {
            time_s: k.time_s,
            fuel_kg: k.fuel_kg,
        },
        money: f64::NAN,
        script: k.script,
    })
}

/// Looks between neighbours that lie far apart: the least fuel that lands half-way between them, from the flights on either side.
fn between(problem: &Problem, line: &[Candidate], threads: usize) -> (Vec<Candidate>, usize) {
    let wide_kg = WIDE_M3 * problem.aircraft.fuel.density_kg_m3;
    let mut gaps: Vec<(f64, &[Candidate])> = line
        .windows(2)
        .map(|pair| {
            let (a, b) = (pair[0].at, pair[1].at);
            let wide = (b.time_s - a.time_s) / WIDE_S;
            (wide.max((a.fuel_kg - b.fuel_kg) / wide_kg), pair)
        })
        .filter(|gap| gap.0 > 1.0)
        .collect();
    gaps.sort_by(|a, b| b.0.total_cmp(&a.0));
    gaps.truncate(MOST_GAPS);
    let found = each_of(threads, &gaps, |(_, pair)| {
        let middle_s = 0.5 * (pair[0].at.time_s + pair[1].at.time_s);
        let bounded = Problem {
            objective: Objective::Fuel,
            bounds: Bounds {
                within_s: Some(problem.aircraft.procedures.taxi_time_s + middle_s),
                ..Bounds::default()
            },
            ..problem.clone()
        };
        let pilot = Pilot::keeping(&bounded);
        let search = Search::new(&bounded, bounded.cost_rates());
        for seed in *pair {
            // What it passes by is kept; there is nothing to do if it arrives nowhere.
            let _ = settle(&pilot, &seed.script, &|s| search.prepare(s));
        }
        (pilot.flights(), pilot.into_kept())
    });
    let flights = found.iter().map(|f| f.0).sum();
    let kept = found.into_iter().flat_map(|f| candidates(f.1)).collect();
    (kept, flights)
}

/// Settles flights of a line under bounds of their own: the least fuel that is no later than each, and the least time that burns no more, from it
/// and from its neighbour beyond the bound.
/// What is passed by within all limits, and how many were flown.
fn tightened(
    problem: &Problem,
    line: &[Candidate],
    chosen: &[usize],
    threads: usize,
) -> (Vec<Candidate>, usize) {
    let found = each_of(threads, chosen, |&i| {
        // In the coarse steps of a walk, as all that it compares.
        let coarse = Pilot::new(problem);
        let Some(own) = coarse.fly(&open_again(&line[i].script)) else {
            return (coarse.flights(), vec![]);
        };
        let mut flights = coarse.flights();
        let mut kept = vec![];
        for (objective, bounds) in beside(problem, point(&own)) {
            let bounded = Problem {
                objective,
                bounds,
                ..problem.clone()
            };
            let pilot = Pilot::keeping(&bounded);
            let search = Search::new(&bounded, bounded.cost_rates());
            // From the next one too that breaks the bound: its way back to it may be another.
            let beyond = match objective {
                Objective::Time => i.checked_sub(1),
                Objective::Fuel | Objective::Money => Some(i + 1),
            };
            let beyond = beyond.and_then(|i| line.get(i));
            for seed in [Some(&line[i]), beyond].into_iter().flatten() {
                // What it passes by is kept; there is nothing to do if it arrives nowhere.
                let _ = settle(&pilot, &seed.script, &|s| search.prepare(s));
            }
            flights += pilot.flights();
            kept.extend(candidates(pilot.into_kept()));
        }
        (flights, kept)
    });
    let flights = found.iter().map(|f| f.0).sum();
    (found.into_iter().flat_map(|f| f.1).collect(), flights)
}

/// So few that each stretch of the frontier has one: of those in it the one nearest to the corner of least time and fuel.
fn thinned(line: Vec<Candidate>, most: usize) -> Vec<Candidate> {
    let (Some(first), Some(last)) = (line.first(), line.last()) else {
        return line;
    };
    if line.len() <= most {
        return line;
    }
    let (a, b) = (first.at, last.at);
    let share = |p: TimeFuel| {
        (
            (p.time_s - a.time_s) / (b.time_s - a.time_s),
            (p.fuel_kg - b.fuel_kg) / (a.fuel_kg - b.fuel_kg),
        )
    };
    #[expect(clippy::cast_precision_loss, reason = "about a hundred")]
    let stretches = most as f64 / 2.0;
    let mut best: Vec<((f64, f64), Candidate)> = Vec::new();
    for c in line {
        let (x, y) = share(c.at);
        // Along a frontier x rises and y falls, so this rises from 0 to 2.
        let stretch = ((x + 1.0 - y) * stretches).floor();
        match best.last_mut() {
            Some((at, kept)) if at.0 == stretch => {
                if x + y < at.1 {
                    (at.1, *kept) = (x + y, c);
                }
            }
            _ => best.push(((stretch, x + y), c)),
        }
    }
    best.into_iter().map(|b| b.1).collect()
}

/// Flies scripts as plans are flown; those that keep every limit.
fn flown_finely(problem: &Problem, line: &[Candidate], threads: usize) -> (Vec<Candidate>, usize) {
    let batches: Vec<&[Candidate]> = line.chunks(BATCH).collect();
    let flown = each_of(threads, &batches, |batch| {
        let pilot = Pilot::exact(problem);
        let fine: Vec<Candidate> = batch
            .iter()
            .filter_map(|c| pilot.fly(&c.script))
            .filter(|f| f.audit.violation() == 0.0)
            .map(|f| Candidate::fine(problem, f))
            .collect();
        (pilot.flights(), fine)
    });
    let flights = flown.iter().map(|f| f.0).sum();
    (flown.into_iter().flat_map(|f| f.1).collect(), flights)
}

/// Flights, as fine as plans, that keep every limit of a problem without bounds and that no other beats in both time and fuel, quickest first, those
/// that would be shown settled under bounds of their own;
/// and how many were flown to find them. On so many threads, the answer the same on any number.
///
/// # Errors
/// [`SolveError`] when no plan keeps every limit.
pub(super) fn line(
    problem: &Problem,
    threads: usize,
) -> Result<(Vec<Candidate>, usize), SolveError> {
    let ends = [Ask::Least(Objective::Time), Ask::Least(Objective::Fuel)];
    let mut found = each_of(threads, &ends, |&ask| search(problem, ask, &[]));
    let ends = match (&found[0].draft, &found[1].draft) {
        (Ok(a), Ok(b)) => Some((point(&a.flown), point(&b.flown))),
        (Err(e), Err(_)) => return Err(e.clone()),
        _ => None,
    };
    let mut asks = Vec::new();
    if problem.prices.are_given() {
        asks.push(Ask::Least(Objective::Money));
    }
    let mean_kg_s = ends.map_or(0.0, |(quickest, thriftiest)| {
        price_kg_s(thriftiest, quickest)
    });
    if mean_kg_s.is_finite() && mean_kg_s > 0.0 {
        asks.extend(VALUES.map(|v| Ask::Value(v * mean_kg_s)));
    }
    if let Some((quickest, thriftiest)) = ends {
        // Of the quickest flights that tie the thriftiest, and the other way about: weighting finds any of them.
        let [no_later, _] = beside(problem, quickest);
        let [_, no_dearer] = beside(problem, thriftiest);
        asks.extend(
            [no_later, no_dearer].map(|(objective, bounds)| Ask::Within(objective, bounds)),
        );
    }
    // Under a bound from what keeps it.
    let seeds: Vec<Script> = found
        .iter()
        .filter_map(|f| Some(f.draft.as_ref().ok()?.flown.script_free()))
        .collect();
    found.extend(each_of(threads, &asks, |&ask| {
        let from: &[Script] = match ask {
            Ask::Within(..) => &seeds,
            Ask::Least(_) | Ask::Value(_) => &[],
        };
        search(problem, ask, from)
    }));
    let mut flights: usize = found.iter().map(|f| f.flights).sum();
    // Plans are flown finely already; what the searches passed by is not.
    let mut fine: Vec<Candidate> = Vec::new();
    let mut coarse: Vec<Candidate> = Vec::new();
    for f in found {
        if let Ok(draft) = f.draft {
            fine.push(Candidate::fine(problem, draft.flown));
        }
        coarse.extend(candidates(f.kept));
    }
    let line = worth_flying(coarse);
    let (more, flown) = between(problem, &line, threads);
    flights += flown;
    let line = worth_flying(line.into_iter().chain(more).collect());
    let (again, flown) = flown_finely(problem, &thinned(line, MOST_FINE), threads);
    flights += flown;
    fine.extend(again);
    let mut line = untied(picked(fine));
    let mut settled: Vec<Script> = vec![];
    for _ in 0..ROUNDS {
        let mut chosen = to_show(problem, &line);
        chosen.retain(|&i| !settled.contains(&line[i].script));
        settled.extend(chosen.iter().map(|&i| line[i].script.clone()));
        let (more, flown) = tightened(problem, &line, &chosen, threads);
        flights += flown;
        let (more, flown) = flown_finely(problem, &thinned(worth_flying(more), MOST_FINE), threads);
        flights += flown;
        line = untied(picked(line.into_iter().chain(more).collect()));
    }
    Ok((line, flights))
}

/// The plans of a trip that no other beats in both time and fuel, bounds of the trip put aside; on so many threads, the answer the same on
/// any number.
///
/// # Errors
/// [`SolveError`] when no plan keeps every limit, as for [`super::plan`].
pub fn frontier(problem: &Problem, threads: usize) -> Result<Frontier, SolveError> {
    let free = Problem {
        bounds: Bounds::default(),
        ..problem.clone()
    };
    let scheduled = on_schedule(&free);
    let (found, flights) = line(&scheduled, threads).map_err(|e| tried(&scheduled, e))?;
    Ok(shown(&scheduled, found, flights, threads))
}

/// Which of a line are shown: merged, with the best value and the cheapest.
fn to_show(problem: &Problem, line: &[Candidate]) -> Vec<usize> {
    let density = problem.aircraft.fuel.density_kg_m3;
    let apart = Apart {
        both: TimeFuel {
            time_s: APART_S,
            fuel_kg: APART_M3 * density,
        },
        hardly: TimeFuel {
            time_s: HARDLY_S,
            fuel_kg: HARDLY_M3 * density,
        },
    };
    let points: Vec<TimeFuel> = line.iter().map(|c| c.at).collect();
    let cheapest = (0..line.len())
        .filter(|_| problem.prices.are_given())
        .min_by(|&a, &b| line[a].money.total_cmp(&line[b].money));
    let first: Vec<usize> = cheapest.into_iter().chain(best_value(&points)).collect();
    merged(&points, &first, apart)
}

/// The frontier of fine flights, merged. A flight that the independent integrator does not confirm gives way to its neighbours.
fn shown(problem: &Problem, mut line: Vec<Candidate>, flights: usize, threads: usize) -> Frontier {
    let priced = problem.prices.are_given();
    let mut confirmed: Vec<(Script, Flown, Mismatch)> = Vec::new();
    loop {
        let chosen = to_show(problem, &line);
        let unknown: Vec<&Candidate> = chosen
            .iter()
            .map(|&i| &line[i])
            .filter(|c| !confirmed.iter().any(|k| k.0 == c.script))
            .collect();
        let looked = each_of(threads, &unknown, |c| {
            let (flown, mismatch) = confirmed_flight(problem, &c.script)?;
            Some((c.script.clone(), flown, mismatch))
        });
        let refused: Vec<Script> = unknown
            .iter()
            .zip(&looked)
            .filter(|(_, l)| l.is_none())
            .map(|(c, _)| c.script.clone())
            .collect();
        confirmed.extend(looked.into_iter().flatten());
        if !refused.is_empty() {
            line.retain(|c| !refused.contains(&c.script));
            continue;
        }
        let mut plans: Vec<FrontierPlan> = Vec::new();
        for i in chosen {
            let Some((_, flown, reflight)) = confirmed.iter().find(|k| k.0 == line[i].script)
            else {
                continue;
            };
            let totals = totals(problem, flown);
            plans.push(FrontierPlan {
                warnings: warnings(problem, flown, &totals, reflight),
                totals,
                flown: flown.clone(),
                reflight: *reflight,
                quicker: None,
                best_kg_s: None,
            });
        }
        let points: Vec<TimeFuel> = plans.iter().map(|p| point(&p.flown)).collect();
        let ranges = best_between(&points);
        for i in 0..plans.len() {
            plans[i].best_kg_s = ranges[i];
            plans[i].quicker = i.checked_sub(1).map(|q| {
                let saved_s = points[i].time_s - points[q].time_s;
                let dearer = plans[q].totals.money - plans[i].totals.money;
                Quicker {
                    saved_s,
                    fuel_kg_s: price_kg_s(points[i], points[q]),
                    money_per_s: priced.then(|| dearer / saved_s),
                }
            });
        }
        let money = |i: &usize| plans[*i].totals.money;
        let cheapest = (0..plans.len()).min_by(|a, b| money(a).total_cmp(&money(b)));
        return Frontier {
            found: line.len(),
            best_value: best_value(&points),
            cheapest: cheapest.filter(|_| priced),
            plans,
            flights,
            alternate: None,
        };
    }
}

/// The frontier of a trip as asked. With [`FuelLoad::Least`] every plan carries the least load that leaves the reserve on the quickest
/// plan, which burns the most; with an alternate the fuel to go on to it is kept.
///
/// # Errors
/// [`TripError`].
pub fn frontier_of_trip(
    trip: &Trip,
    aircraft: &Aircraft,
) -> Result<(Problem, Frontier), TripError> {
    let mut alternate = None;
    let mut problem = if trip.fuel == FuelLoad::Least || trip.alternate.is_some() {
        let quickest = Trip {
            objective: Objective::Time,
            bounds: Bounds::default(),
            ..trip.clone()
        };
        let (problem, plan) = plan_trip(&quickest, aircraft)?;
        alternate = plan.alternate;
        problem
    } else {
        resolve(trip, aircraft.clone())?
    };
    problem.objective = trip.objective;
    let found = Frontier {
        alternate,
        ..frontier(&problem, threads())?
    };
    Ok((problem, found))
}
