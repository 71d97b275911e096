//! The descent study: ways down from one cruise, each flown in full from the same point to the pattern, side by side.
//!
//! Everything but the descent is the same in all of them, so that what one saves against another is the descent's doing alone. The
//! top of descent is where it meets the pattern, not rounded to the tenth a pilot is told: that would hide two seconds.

use super::cruise;
use super::plan::Part;
use super::search::{ORDINARY_M_S, Search, reflown};
use super::study_rig::{Rig, Tried};
use super::workers::{each_of, threads};
use crate::aircraft::propeller::Nearby;
use crate::aircraft::{Aircraft, Levers, Throttle};
use crate::flight::{
    Cruise, FlightError, Flown, Limit, PathRule, Script, TrackPoint, level_speed_m_s, point_at,
};
use crate::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM, M_S_PER_KT, PA_PER_INHG};
use crate::reflight::Mismatch;
use crate::trip::{DescentAsk, Objective, Problem};
use std::cell::Cell;

/// Rate of the long shallow descent, m/s: half the ordinary one (our choice, no source).
pub const SHALLOW_M_S: f64 = 0.5 * ORDINARY_M_S;
/// Rate of the steep descent, m/s (our choice, no source).
pub const STEEP_M_S: f64 = 1_000.0 * M_S_PER_FPM;
/// The common stretch begins this far before the first top of descent, in whole tenths of a mile, m.
const LEAD_M: f64 = 1.0 * M_PER_NM;
/// A minute, s.
pub(super) const MINUTE_S: f64 = 60.0;
/// No true airspeed of a descent is more than this many times Vno (9 % of it at 6,000 ft, 27 % at 16,000 ft).
const TAS_OVER_VNO: f64 = 1.2;
/// Room before and after the shallowest descent: some cruise, and the slow-down, m.
const ROOM_M: f64 = 15.0 * M_PER_NM;
/// By no more than this does cruise speed grow as fuel burns, m/s.
const LIGHTER_M_S: f64 = 1.0 * M_S_PER_KT;
/// A speed to begin the search of the cruise with, m/s.
const GUESS_M_S: f64 = 70.0;

/// A way down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Cruise RPM, power reduced to hold the cruise IAS at 500 ft/min, or the trip's rate if less.
    Ordinary,
    /// Throttle and RPM left as in cruise, at that rate.
    PowerLeft,
    /// Throttle left, the propeller as coarse as keeps every limit, at that rate.
    Coarse,
    /// Power coming off to the least, at 1,000 ft/min, or the trip's rate if more.
    SteepLate,
    /// As the ordinary one at half its rate.
    ShallowEarly,
    /// The cheapest found: of all rules of throttle, RPM, mixture and path, in one part or two, over no more distance than the
    /// shallow one takes: what goes on longer is another cruise.
    Least(Objective),
}

/// Why a way down with a coarse propeller is not among the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoCoarse {
    /// Fixed pitch: there is no propeller lever.
    FixedPitch,
    /// Cruise has the least RPM already.
    CruiseIsCoarsest,
}

/// What a descent is called by its power.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Family {
    /// Power kept, fewer revolutions than in cruise.
    Coarse,
    /// Power and RPM of cruise kept.
    PowerLeft,
    /// Power reduced at the RPM of cruise; at fixed pitch the RPM reduced.
    Reduced,
    /// Power and RPM reduced.
    BothReduced,
}

/// A way down as it is flown.
#[derive(Debug, Clone)]
pub struct Down {
    /// The whole flight, path recorded.
    pub flown: Flown,
    /// Its re-flight.
    pub reflight: Mismatch,
    /// Limits it breaks; none if it can be flown.
    pub broken: Vec<Limit>,
    /// What it is called.
    pub family: Family,
    /// From the common point to the pattern point; the cost is money.
    pub part: Part,
    /// Top of descent to the pattern point, m.
    pub top_to_go_m: f64,
    /// The same, s.
    pub top_to_go_s: f64,
    /// Least and greatest rate of descent by the altimeter, m/s.
    pub rate_m_s: (f64, f64),
    /// Least and greatest indicated airspeed in the descent, m/s.
    pub ias_m_s: (f64, f64),
    /// Least room to the speed limit of the air on the way down, m/s; below zero it is broken.
    pub to_air_limit_m_s: f64,
    /// Least room to Vno, m/s.
    pub to_vno_m_s: f64,
    /// Least room to Vne, m/s.
    pub to_vne_m_s: f64,
    /// Least room to Va at the weight of the moment, the speed for rough air, m/s.
    pub to_rough_m_s: f64,
    /// Greatest fall of manifold pressure within a minute, Pa.
    pub map_fall_pa: f64,
    /// Least manifold pressure to the pattern point, Pa.
    pub least_map_pa: f64,
    /// Flown level at pattern altitude to slow down, m.
    pub slow_down_m: f64,
}

impl Down {
    /// Whether it can be flown within every limit.
    pub fn can_be_flown(&self) -> bool {
        self.broken.is_empty()
    }
}

/// One way down of a study.
#[derive(Debug, Clone)]
pub struct Way {
    /// Which.
    pub style: Style,
    /// How it goes, or why it cannot be flown to the end at all.
    pub outcome: Result<Down, FlightError>,
}

impl Way {
    /// How it goes, if it keeps every limit.
    pub fn flyable(&self) -> Option<&Down> {
        self.outcome.as_ref().ok().filter(|d| d.can_be_flown())
    }
}

/// Rules of thumb (common practice, no source) and what is flown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thumbs {
    /// Height to lose, m.
    pub height_m: f64,
    /// Ground speed in cruise, m/s.
    pub ground_speed_m_s: f64,
    /// Distance by 3 nm for each 1,000 ft, m.
    pub three_m: f64,
    /// Rate for that path by five times the ground speed in knots, m/s.
    pub five_m_s: f64,
    /// Distance by 2 min for each 1,000 ft at the cruise ground speed, m.
    pub two_minutes_m: f64,
    /// The ordinary descent: distance from top of descent to the pattern point, slow-down included, m.
    pub flown_m: f64,
    /// Of it, the slow-down, m.
    pub slow_down_m: f64,
    /// Rate that the path of 3 nm for 1,000 ft takes at the mean ground speed of that descent, m/s.
    pub needed_m_s: f64,
    /// How high above the pattern the rule of five leaves the end of that path, m; below zero it is reached early.
    pub left_high_m: f64,
}

/// Distance for a height by 3 nm for each 1,000 ft, m.
pub fn three_per_thousand_m(height_m: f64) -> f64 {
    3.0 * M_PER_NM * height_m / (1_000.0 * M_PER_FT)
}

/// Rate of descent by five times the ground speed in knots, m/s.
pub fn five_times_m_s(ground_speed_m_s: f64) -> f64 {
    5.0 * ground_speed_m_s / M_S_PER_KT * M_S_PER_FPM
}

/// Distance for a height by 2 min for each 1,000 ft times the miles in a minute, m.
pub fn two_minutes_m(height_m: f64, ground_speed_m_s: f64) -> f64 {
    2.0 * MINUTE_S * height_m / (1_000.0 * M_PER_FT) * ground_speed_m_s
}

/// The answer.
#[derive(Debug, Clone)]
pub struct Study {
    /// The ways, in the order of [`Style`].
    pub ways: Vec<Way>,
    /// Why the coarse propeller is missing, if it is.
    pub no_coarse: Option<NoCoarse>,
    /// The cruise all begin from, at the common point.
    pub cruise: TrackPoint,
    /// The common point, m along the route.
    pub from_m: f64,
    /// The pattern point, m along the route.
    pub to_m: f64,
    /// Rules of thumb; none where the ordinary descent cannot be flown.
    pub thumbs: Option<Thumbs>,
}

impl Study {
    /// The way of a style.
    pub fn way(&self, style: Style) -> Option<&Way> {
        self.ways.iter().find(|w| w.style == style)
    }
}

/// Why there is no study.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum StudyError {
    /// No cruise.
    #[error("no cruise setting that the profile allows holds level flight there")]
    NoCruise,
    /// The setting asked for is none.
    #[error("the cruise setting asked for does not hold level flight there")]
    CannotCruise,
    /// More manifold pressure than there is.
    #[error(
        "the cruise setting asks for more manifold pressure than the {most_inhg:.1} in that full throttle gives there"
    )]
    TooMuchMap {
        /// What full throttle gives.
        most_inhg: f64,
    },
    /// Nothing can be flown to the end.
    #[error("no way down can be flown to the pattern: {0}")]
    NoWay(FlightError),
}

/// The cruise asked for; what is left open is chosen for the least money.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CruiseAsk {
    /// Manifold pressure, Pa, and crankshaft speed, rev/s; at fixed pitch the speed alone counts.
    pub power: Option<(f64, f64)>,
    /// Row of the mixture table; with a power alone, best power.
    pub mixture: Option<usize>,
}

/// A distance to the field that leaves room for the shallowest descent of the study, in whole tens of miles, m.
pub fn room_m(ask: &DescentAsk, aircraft: &Aircraft) -> f64 {
    let down_s = (ask.cruise_m - ask.pattern_m).max(0.0) / SHALLOW_M_S;
    let fast_m_s = TAS_OVER_VNO * aircraft.speeds.vno_m_s + ask.along_m_s;
    let step_m = 10.0 * M_PER_NM;
    let room_m = ask.before_m + ROOM_M + down_s * fast_m_s.max(0.0);
    (room_m / step_m).ceil() * step_m
}

/// The problem of a descent asked for without a trip, and the script of its cruise; its descent is open.
///
/// # Errors
/// [`StudyError`] where there is no such cruise.
pub fn cruise_of(
    ask: &DescentAsk,
    aircraft: &Aircraft,
    setting: CruiseAsk,
) -> Result<(Problem, Script), StudyError> {
    // The speed does not matter yet; where it does, it is that of the cruise.
    let problem = ask.problem(aircraft.clone(), aircraft.speeds.vno_m_s);
    let (level_m, hp_m) = (ask.cruise_m, ask.cruise_m);
    let (air, _) = problem.air_state(0.0, hp_m, 0.0);
    let rates = problem.cost_rates();
    let best = |levers: Option<Levers>| {
        let search = Search::new(&problem, rates);
        match levers {
            Some(levers) => Ok(Cruise {
                level_m,
                from_m: 0.0,
                throttle: levers.throttle,
                rev_s: levers.rev_s,
                mixture: levers.mixture,
                set_at_ias_m_s: 0.0,
            }),
            None => {
                let mut options = cruise::options(&problem, level_m, 0.0, ask.mass_kg);
                if let Some(mixture) = setting.mixture {
                    options.retain(|o| o.levers.mixture == mixture);
                }
                // The speed limit of rough air falls with the weight: what is set is within it to the end.
                options.retain(|o| {
                    let taken_s = problem.length_m / (o.tas_m_s + ask.along_m_s).max(1.0);
                    let share =
                        (ask.mass_kg - o.fuel_kg_s * taken_s) / aircraft.masses.max_take_off_kg;
                    let above_m = level_m - ask.field_m;
                    let limits = &problem.limits;
                    let most = limits.speed_limit_m_s(&aircraft.speeds, share, level_m, above_m);
                    o.ias_m_s < most - LIGHTER_M_S
                });
                search
                    .best_cruise(level_m, 0.0, problem.length_m, &options)
                    .map(|b| b.0)
                    .ok_or(StudyError::NoCruise)
            }
        }
    };
    let levers = match setting.power {
        None => None,
        Some((map_pa, rev_s)) => {
            let mixture = setting
                .mixture
                .unwrap_or_else(|| aircraft.engine.best_power_mixture());
            let throttle = if aircraft.propeller.is_fixed() {
                Throttle::Rpm
            } else {
                let intake = aircraft.intake(air, GUESS_M_S);
                let full_pa = aircraft.engine.map_pa(Throttle::Full, rev_s, intake);
                let step_pa = aircraft.procedures.map_step_pa;
                if map_pa > full_pa + step_pa {
                    return Err(StudyError::TooMuchMap {
                        most_inhg: full_pa / PA_PER_INHG,
                    });
                }
                if map_pa > full_pa - 0.5 * step_pa {
                    Throttle::Full
                } else {
                    Throttle::Map(map_pa)
                }
            };
            Some(Levers {
                throttle,
                rev_s,
                mixture,
            })
        }
    };
    let chosen = best(levers)?;
    let none = if levers.is_some() {
        StudyError::CannotCruise
    } else {
        StudyError::NoCruise
    };
    let near = Cell::new(Nearby::NONE);
    let (tas, _) = level_speed_m_s(
        &problem,
        air,
        ask.mass_kg,
        chosen.levers(),
        GUESS_M_S,
        &near,
    )
    .ok_or(none)?;
    let problem = Problem {
        start: crate::trip::Start::InFlight {
            indicated_m: level_m,
            ias_m_s: aircraft.ias_from_tas(air, tas),
        },
        ..problem
    };
    let search = Search::new(&problem, rates);
    let (script, _) = search.join(chosen, 0.0).ok_or(none)?;
    Ok((problem, script))
}

/// The re-flights of flights, each script once, on all cores.
fn reflown_all(problem: &Problem, flown: &[Option<&Flown>]) -> Vec<Option<Mismatch>> {
    let mut distinct: Vec<&Flown> = Vec::new();
    for f in flown.iter().flatten() {
        if !distinct.iter().any(|d| d.script == f.script) {
            distinct.push(f);
        }
    }
    let found = each_of(threads(), &distinct, |f| reflown(problem, f));
    let of = |f: &Flown| {
        let place = distinct.iter().position(|d| d.script == f.script)?;
        found.get(place).copied()
    };
    flown.iter().map(|f| f.and_then(of)).collect()
}

/// The ways down from the last cruise of a script; what descent it has itself does not matter.
///
/// # Errors
/// [`StudyError`] where there is no cruise, or nothing to be flown to the end.
pub fn study(problem: &Problem, script: &Script) -> Result<Study, StudyError> {
    let rig = Rig::new(problem, script)?;
    let rate = PathRule::Rate(rig.rate_m_s());
    let left = rig.descent(rig.throttle_left(), rig.last.rev_s, rate);
    let coarser = rig.coarser();
    let mut tried = vec![
        (Style::Ordinary, rig.reduced(ORDINARY_M_S)),
        (Style::PowerLeft, rig.flown(left)),
    ];
    if let Ok(revs) = &coarser {
        tried.push((Style::Coarse, rig.coarse(revs)));
    }
    tried.push((Style::SteepLate, rig.steep()));
    tried.push((Style::ShallowEarly, rig.reduced(SHALLOW_M_S)));
    let own = rig.own();
    let plain: Vec<&Tried> = tried.iter().map(|t| &t.1).chain(&own).collect();
    let objectives = [Objective::Time, Objective::Fuel, Objective::Money];
    let wanted = objectives
        .into_iter()
        .filter(|&o| o != Objective::Money || problem.prices.are_given());
    // Each by a rig of its own, so that the answer is the same on any number of cores.
    let plain = &plain;
    let best: Vec<(Style, Tried)> = std::thread::scope(|scope| {
        let workers: Vec<_> = wanted
            .map(|objective| {
                let work = move || Ok(Rig::new(problem, script)?.least(objective, plain));
                (Style::Least(objective), scope.spawn(work))
            })
            .collect();
        workers
            .into_iter()
            .map(|(style, worker)| match worker.join() {
                Ok(found) => found.map(|t| (style, t)),
                // A panic is our bug wherever it happens: it goes on here.
                Err(panic) => std::panic::resume_unwind(panic),
            })
            .collect::<Result<_, StudyError>>()
    })?;
    tried.extend(best);
    let (tops, first_m): (Vec<f64>, Vec<f64>) = tried
        .iter()
        .filter_map(|t| t.1.as_ref().ok())
        .map(|(f, _)| (f.top_of_descent.distance_m, f.top_of_climb.distance_m))
        .unzip();
    if tops.is_empty() {
        let error = tried
            .iter()
            .find_map(|t| t.1.as_ref().err().copied())
            .unwrap_or(FlightError::NoTopOfDescent);
        return Err(StudyError::NoWay(error));
    }
    let earliest = tops.iter().copied().fold(f64::INFINITY, f64::min) - LEAD_M;
    let begun = first_m.iter().copied().fold(rig.last.from_m, f64::max);
    let tenth = 0.1 * M_PER_NM;
    let to_m = rig.pattern_m();
    let from_m = (to_m - ((to_m - earliest) / tenth).ceil() * tenth).max(begun);
    let mut cruise = None;
    let flown: Vec<Option<&Flown>> = tried
        .iter()
        .map(|t| t.1.as_ref().ok().map(|t| &t.0))
        .collect();
    let reflights = reflown_all(problem, &flown);
    let ways: Vec<Way> = tried
        .into_iter()
        .zip(reflights)
        .map(|((style, t), reflight)| {
            let told = t.and_then(|t| {
                if cruise.is_none() {
                    cruise = point_at(&t.0.track, from_m);
                }
                let reflight = reflight.ok_or(FlightError::NoTopOfDescent)?;
                rig.told(t, from_m, reflight)
                    .ok_or(FlightError::NoTopOfDescent)
            });
            Way {
                style,
                outcome: told,
            }
        })
        .collect();
    let cruise = cruise.ok_or(StudyError::NoCruise)?;
    let thumbs = ways
        .iter()
        .find(|w| w.style == Style::Ordinary)
        .and_then(|w| w.outcome.as_ref().ok())
        .map(|d| rig.thumbs(d));
    Ok(Study {
        no_coarse: coarser.err(),
        ways,
        cruise,
        from_m,
        to_m,
        thumbs,
    })
}
