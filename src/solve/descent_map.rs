//! Where coarse and fast pays: the cheapest way down over wind and height to lose, or over the price of an hour and of fuel.
//!
//! Each cell is a study of its own in money, flown in full. Cells are worked out on all cores; none knows of another, so that the
//! answer is the same on any number of them.

use super::plan::Part;
use super::refine::MOVE_WORTH;
use super::search::ORDINARY_M_S;
use super::study::{CruiseAsk, Family, StudyError, cruise_of, room_m};
use super::study_rig::{Rig, keeps};
use super::workers::threads;
use crate::aircraft::Aircraft;
use crate::flight::{Flown, PathRule, Script};
use crate::trip::{DescentAsk, Objective, Problem, Roughness};

/// The families from the ordinary descent outwards; of those that tie the first gives a cell its region.
const NEAREST_ORDINARY: [Family; 4] = [
    Family::Reduced,
    Family::BothReduced,
    Family::PowerLeft,
    Family::Coarse,
];

/// The cheapest way down in money, and what it saves against the ordinary one.
#[derive(Debug, Clone, PartialEq)]
pub struct BestOf {
    /// What the cheapest is called and what ties with it, the nearest to the ordinary descent first; empty where no way keeps every limit.
    ///
    /// A family ties when its cheapest costs less than 0.1 % of the flight more, which is what a lever change must be worth (DESIGN
    /// section 5).
    pub families: Vec<Family>,
    /// Saved by the cheapest against the ordinary descent: money, time and fuel; none where that cannot be flown at
    /// more than half its rate, or nothing keeps every limit.
    pub saves: Option<Part>,
    /// It saves less than a lever change must be worth (DESIGN section 5: 0.1 %): the ordinary descent does as well.
    pub no_difference: bool,
}

/// The cheapest way down alone, as the study finds it.
///
/// # Errors
/// [`StudyError`] where there is no cruise, or nothing to be flown to the end.
pub fn best_of(problem: &Problem, script: &Script) -> Result<BestOf, StudyError> {
    let rig = Rig::new(problem, script)?;
    let rate = PathRule::Rate(rig.rate_m_s());
    let ordinary = rig.reduced(ORDINARY_M_S);
    let left = rig.flown(rig.descent(rig.throttle_left(), rig.last.rev_s, rate));
    let coarse = rig.coarser().map(|revs| rig.coarse(&revs));
    let mut others = vec![&ordinary, &left];
    others.extend(coarse.as_ref().ok());
    let own = rig.own();
    others.extend(&own);
    let mut contest = rig
        .contest(Objective::Money, &others, true)
        .unwrap_or_default();
    contest.retain(|t| t.1.is_empty());
    let Some((flown, _)) = contest.first() else {
        return Ok(BestOf {
            families: vec![],
            saves: None,
            no_difference: false,
        });
    };
    // Where limits make it less than half as steep it is not what others are measured by.
    let ordinary_enough = |f: &Flown| match f.script.descent.first.path {
        PathRule::Rate(r) => r > 0.5 * rig.rate_m_s(),
        PathRule::Ias(_) => true,
    };
    let saves = ordinary
        .as_ref()
        .ok()
        .filter(|(o, _)| keeps(&ordinary) && ordinary_enough(o));
    let rates = problem.cost_rates_for(Objective::Money);
    let of = |f: &Flown| rates.of(f.time_s, f.fuel_kg, f.revolutions);
    let no_difference = saves.is_some_and(|(o, _)| of(o) - of(flown) < MOVE_WORTH * of(o));
    let ties = |f: &Flown| of(f) - of(flown) < MOVE_WORTH * of(flown).abs();
    let near: Vec<Family> = std::iter::once(flown)
        .chain(contest.iter().map(|t| &t.0).filter(|f| ties(f)))
        .map(|f| rig.family(&f.script.descent))
        .collect();
    let saves = saves.map(|(o, _)| {
        let (time_s, fuel_kg) = (o.time_s - flown.time_s, o.fuel_kg - flown.fuel_kg);
        Part {
            cost: rates.of(time_s, fuel_kg, o.revolutions - flown.revolutions),
            time_s,
            fuel_kg,
        }
    });
    Ok(BestOf {
        families: NEAREST_ORDINARY
            .into_iter()
            .filter(|f| near.contains(f))
            .collect(),
        saves,
        no_difference,
    })
}

/// What a map is drawn over; the first axis runs to the right, the second up.
#[derive(Debug, Clone, PartialEq)]
pub enum MapAxes {
    /// Wind along the course, a tail wind positive, m/s; height to lose to the pattern, m.
    Wind {
        /// Winds.
        along_m_s: Vec<f64>,
        /// Heights.
        heights_m: Vec<f64>,
    },
    /// Price of an hour, by the second; price of fuel, by kg.
    Prices {
        /// Hours.
        per_s: Vec<f64>,
        /// Fuel.
        per_kg: Vec<f64>,
    },
}

impl MapAxes {
    /// The questions of every cell, row after row from the lowest.
    fn asks(&self, ask: &DescentAsk, aircraft: &Aircraft) -> Vec<DescentAsk> {
        let with_room = |a: DescentAsk| DescentAsk {
            distance_m: room_m(&a, aircraft),
            ..a
        };
        match self {
            Self::Wind {
                along_m_s,
                heights_m,
            } => heights_m
                .iter()
                .flat_map(|h| along_m_s.iter().map(move |w| (*h, *w)))
                .map(|(height_m, along_m_s)| {
                    with_room(DescentAsk {
                        cruise_m: ask.pattern_m + height_m,
                        along_m_s,
                        ..*ask
                    })
                })
                .collect(),
            Self::Prices { per_s, per_kg } => per_kg
                .iter()
                .flat_map(|f| per_s.iter().map(move |h| (*f, *h)))
                .map(|(fuel_per_kg, per_s)| {
                    with_room(DescentAsk {
                        per_s,
                        fuel_per_kg,
                        ..*ask
                    })
                })
                .collect(),
        }
    }
}

/// One map.
#[derive(Debug, Clone, PartialEq)]
pub struct MapPanel {
    /// The air it is for.
    pub air: Roughness,
    /// Cells, row after row from the lowest.
    pub cells: Vec<Result<BestOf, StudyError>>,
}

/// Maps over the same axes: in the air asked for, and in rough air.
#[derive(Debug, Clone, PartialEq)]
pub struct DescentMap {
    /// Axes.
    pub axes: MapAxes,
    /// Maps.
    pub panels: Vec<MapPanel>,
}

/// The maps of a question. A cruise setting asked for is kept in every cell of the first; in rough air, which may not allow it, the
/// cruise is chosen anew.
pub fn descent_map(
    ask: &DescentAsk,
    aircraft: &Aircraft,
    setting: CruiseAsk,
    axes: MapAxes,
) -> DescentMap {
    let mut airs = vec![(ask.air, setting)];
    if ask.air != Roughness::Rough {
        airs.push((Roughness::Rough, CruiseAsk::default()));
    }
    let panels = airs
        .into_iter()
        .map(|(air, setting)| {
            let asks = axes.asks(&DescentAsk { air, ..*ask }, aircraft);
            MapPanel {
                air,
                cells: worked_out(&asks, aircraft, setting),
            }
        })
        .collect();
    DescentMap { axes, panels }
}

fn cell(ask: &DescentAsk, aircraft: &Aircraft, setting: CruiseAsk) -> Result<BestOf, StudyError> {
    let (problem, script) = cruise_of(ask, aircraft, setting)?;
    best_of(&problem, &script)
}

/// Every cell, on all cores: each takes every so-many-th.
fn worked_out(
    asks: &[DescentAsk],
    aircraft: &Aircraft,
    setting: CruiseAsk,
) -> Vec<Result<BestOf, StudyError>> {
    let cores = threads();
    let mut out = vec![Err(StudyError::NoCruise); asks.len()];
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..cores)
            .map(|first| {
                scope.spawn(move || {
                    let mine = (first..asks.len()).step_by(cores);
                    mine.map(|i| (i, cell(&asks[i], aircraft, setting)))
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        for worker in workers {
            match worker.join() {
                Ok(found) => {
                    for (i, c) in found {
                        out[i] = c;
                    }
                }
                // A panic is our bug wherever it happens: it goes on here.
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
    });
    out
}
