//! How sure a plan is: flown as it is in many winds that the forecast might have been wrong by.
//!
//! Each sample is the forecast with an error drawn for it ([`crate::trip::ErrorField`]). In it the plan is flown with its levers and levels, its top
//! of descent found anew as the pilot would; and so are the best plans at the other levels, in the very same air, so that a difference
//! between levels is one of levels. A sample hangs on the seed and its own number alone: the answer is the same on any number of threads.

use super::percentiles::Percentiles;
use super::plan::Plan;
use super::refine::Pilot;
use super::search::totals;
use super::why::best_of_levels;
use super::workers::each_of;
use crate::flight::{Flown, Limit};
use crate::quantity::{Draw, even_share, normal_below};
use crate::trip::{AirError, ErrorField, ForecastError, Problem};

/// Levels that are set beside the plan's, the cheapest first.
const MOST_OTHERS: usize = 5;
/// Less than this of the way, m, is no way made.
const LEAST_M: f64 = 1.0;
/// A limit counts as broken from this many scale units: 1 kt, 10 fpm, 0.1 in, 30 ft. A plan lies on some of its limits, and what is less is
/// less than a pilot reads.
const COUNTS: f64 = 1.0;
/// Stands for the topic of the numbers drawn: those of the exercises are from nought upwards.
const TOPIC: u8 = 0xa1;
/// The same of what moves the row of what leads.
const MOVED: u8 = 0xa2;
/// The choice of a level is robust from this chance that it is the best; ours.
const ROBUST: f64 = 0.9;
/// Below this chance it is a toss of a coin; ours.
const COIN: f64 = 0.6;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadAsk {
    /// How wrong the forecast may be.
    pub error: ForecastError,
    /// How many samples; at least one.
    pub samples: usize,
    /// What the errors are drawn from.
    pub seed: u64,
}

/// One way to fly in one sample.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleFlown {
    /// Lift-off to landing, s.
    pub time_s: f64,
    /// Start of the take-off run to landing, kg.
    pub fuel_kg: f64,
    /// Money at the trip's prices.
    pub money: f64,
    /// The objective over the flown part (s, kg or money).
    pub cost: f64,
    /// Left at landing, kg.
    pub landing_fuel_kg: f64,
    /// Top of descent, to go, m.
    pub to_go_m: f64,
    /// Limits broken by more than a pilot reads, the reserve aside.
    pub broken: Vec<Limit>,
    /// Mean error of the wind along the course where the flight was planned to be, m/s, a tail wind positive.
    pub along_m_s: f64,
    /// The same of the temperature, K.
    pub temperature_k: f64,
}

/// One way to fly, in the air as forecast and in every sample.
#[derive(Debug, Clone)]
pub struct WayFlown {
    /// As forecast.
    pub flown: Flown,
    /// Sample by sample; `None` where it cannot be flown to the end.
    pub samples: Vec<Option<SampleFlown>>,
    /// Share of the samples in which it is the cheapest.
    pub best: f64,
    /// What it costs more than the cheapest of its sample, in the objective's unit, where both can be flown.
    pub loss: Option<Percentiles>,
}

/// How sure the choice of the level is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// No other level can be flown.
    OnlyOne,
    /// Nearly always the best.
    Robust,
    /// More often the best than not.
    Leaning,
    /// As good as tossed.
    CoinToss,
}

/// How sure a plan is.
#[derive(Debug, Clone)]
pub struct Spread {
    /// What was asked.
    pub ask: SpreadAsk,
    /// The plan first, then the best of each other level, the cheapest first.
    pub ways: Vec<WayFlown>,
    /// Fuel that must be left at landing so that neither the reserve nor the fuel for the alternate is touched, kg.
    pub kept_kg: f64,
    /// Time of the plan, s.
    pub time_s: Option<Percentiles>,
    /// Fuel of the plan, kg.
    pub fuel_kg: Option<Percentiles>,
    /// Money of the plan.
    pub money: Option<Percentiles>,
    /// What the plan lands with, kg.
    pub landing_fuel_kg: Option<Percentiles>,
    /// Share of the samples in which less than `kept_kg` is left, or the plan cannot be flown to the end.
    pub into_reserve: f64,
    /// Share in which some limit is broken, the reserve aside.
    pub breaks: f64,
    /// Limits that are broken and in what share, the most often broken first.
    pub broken: Vec<(Limit, f64)>,
    /// Share in which the plan cannot be flown to the end.
    pub not_flown: f64,
    /// How sure the level is.
    pub choice: Choice,
    /// The way, by its place, that loses least on the mean, and the one that loses least at P90.
    pub least_loss: (usize, usize),
}

/// The error of one sample. What leads the error, if anything does, is spread evenly over the samples, so that figures which hang on it settle with
/// fewer of them: by itself each sample is as likely as it was.
pub fn sampled(field: &ErrorField, seed: u64, sample: usize) -> AirError {
    let mut draw = Draw::new(seed, TOPIC, sample as u64);
    let moved = Draw::new(seed, MOVED, 0).share();
    let leading = normal_below(even_share(moved, sample as u64));
    field.drawn(&mut || draw.normal(), leading)
}

/// Errors on the nodes of a problem's air, led by the time that they cost a recorded flight, to first order: fuel and money go with it.
///
/// A stretch takes `ds / G` with the ground speed `G = sqrt(V² - c²) + w`, so a wind that is more by `dw` along and by `dc` across changes its
/// time `dt` by `-(dt / G) (dw - dc c / sqrt(V² - c²))`.
pub fn error_field(problem: &Problem, error: ForecastError, flown: &Flown) -> ErrorField {
    let places = flown.track.windows(2).filter_map(|pair| {
        let (a, b) = (&pair[0].state, &pair[1].state);
        let (dt, ds) = (b.time_s - a.time_s, b.distance_m - a.distance_m);
        let cross = problem
            .air
            .at(a.distance_m, a.pressure_altitude_m, a.time_s)
            .cross_m_s;
        let ahead = (a.tas_m_s * a.tas_m_s - cross * cross).sqrt();
        // Turns over a field gain no ground and take no longer in a wind.
        (ds > LEAST_M && ahead > 0.0).then(|| {
            let (at, weight) = ((a.distance_m, a.pressure_altitude_m), dt * dt / ds);
            (at, (weight, -weight * cross / ahead))
        })
    });
    ErrorField::new(problem, error).led_by(problem, places)
}

/// Mean errors where a recorded flight was planned to be, by its time: of the wind along \[m/s\] and of the temperature \[K\].
fn met(problem: &Problem, wrong: &Problem, flown: &Flown) -> (f64, f64) {
    let (mut along, mut warm, mut whole_s) = (0.0, 0.0, 0.0);
    for pair in flown.track.windows(2) {
        let (a, b) = (&pair[0].state, &pair[1].state);
        let dt = b.time_s - a.time_s;
        let at = |p: &Problem| p.air.at(a.distance_m, a.pressure_altitude_m, a.time_s);
        let (forecast, there) = (at(problem), at(wrong));
        along += dt * (there.along_m_s - forecast.along_m_s);
        warm += dt * (there.temperature_k - forecast.temperature_k);
        whole_s += dt;
    }
    if whole_s > 0.0 {
        (along / whole_s, warm / whole_s)
    } else {
        (0.0, 0.0)
    }
}

fn in_sample(problem: &Problem, wrong: &Problem, plan: &Flown) -> Option<SampleFlown> {
    let pilot = Pilot::exact(wrong);
    pilot.found_descent(plan);
    let flown = pilot.fly(&plan.script_free())?;
    let t = totals(wrong, &flown);
    let (along_m_s, temperature_k) = met(problem, wrong, plan);
    let mut broken = flown.audit.broken_by(COUNTS);
    broken.retain(|&l| l != Limit::Fuel);
    Some(SampleFlown {
        time_s: t.time_s,
        fuel_kg: t.fuel_kg,
        money: t.money,
        cost: flown.cost,
        landing_fuel_kg: t.landing_fuel_kg,
        to_go_m: flown.script.descent.to_go_m,
        broken,
        along_m_s,
        temperature_k,
    })
}

#[expect(clippy::cast_precision_loss, reason = "counts of samples")]
fn share(n: usize, of: usize) -> f64 {
    n as f64 / of.max(1) as f64
}

/// Sets the ways beside each other: in which share each is the cheapest, and what it loses.
fn compared(ways: &mut [WayFlown], samples: usize) {
    let costs: Vec<Vec<Option<f64>>> = (0..samples)
        .map(|s| {
            let of = |w: &WayFlown| w.samples.get(s)?.as_ref().map(|f| f.cost);
            ways.iter().map(of).collect()
        })
        .collect();
    // Of equals the first, which the plan is.
    let least = |row: &Vec<Option<f64>>| -> Option<(usize, f64)> {
        let flown = row.iter().enumerate().filter_map(|(i, c)| Some((i, (*c)?)));
        flown.min_by(|a, b| a.1.total_cmp(&b.1))
    };
    let best: Vec<Option<(usize, f64)>> = costs.iter().map(least).collect();
    for (i, way) in ways.iter_mut().enumerate() {
        let won = best.iter().flatten().filter(|b| b.0 == i).count();
        way.best = share(won, samples);
        let lost = costs.iter().zip(&best);
        way.loss = Percentiles::of(lost.filter_map(|(row, best)| Some(row[i]? - (*best)?.1)));
    }
}

/// How sure a plan of a problem is, on so many threads, the answer the same on any number.
pub fn spread(problem: &Problem, plan: &Plan, ask: SpreadAsk, threads: usize) -> Spread {
    let field = error_field(problem, ask.error, &plan.flown);
    let mut flown = vec![plan.flown.clone()];
    flown.extend(best_of_levels(problem, plan).into_iter().take(MOST_OTHERS));
    let jobs: Vec<usize> = (0..ask.samples).collect();
    let rows = each_of(threads, &jobs, |&sample| {
        let wrong = problem.in_error(&sampled(&field, ask.seed, sample));
        let of = |f: &Flown| in_sample(problem, &wrong, f);
        flown.iter().map(of).collect::<Vec<_>>()
    });
    let mut ways: Vec<WayFlown> = flown
        .into_iter()
        .map(|flown| WayFlown {
            flown,
            samples: Vec::with_capacity(rows.len()),
            best: 0.0,
            loss: None,
        })
        .collect();
    for row in rows {
        for (way, sample) in ways.iter_mut().zip(row) {
            way.samples.push(sample);
        }
    }
    compared(&mut ways, ask.samples);
    summed(plan, ask, ways)
}

fn summed(plan: &Plan, ask: SpreadAsk, ways: Vec<WayFlown>) -> Spread {
    let kept_kg = plan.totals.reserve_required_kg + plan.totals.alternate_kg;
    let of_plan: Vec<&SampleFlown> = ways[0].samples.iter().flatten().collect();
    let spread_of =
        |of: &dyn Fn(&SampleFlown) -> f64| Percentiles::of(of_plan.iter().map(|s| of(s)));
    let counted = |is: &dyn Fn(&SampleFlown) -> bool| of_plan.iter().filter(|s| is(s)).count();
    let not_flown = ask.samples - of_plan.len();
    let eaten = counted(&|s| s.landing_fuel_kg < kept_kg) + not_flown;
    let mut broken: Vec<(Limit, f64)> = Limit::ALL
        .into_iter()
        .map(|l| (l, share(counted(&|s| s.broken.contains(&l)), ask.samples)))
        .filter(|b| b.1 > 0.0)
        .collect();
    broken.sort_by(|a, b| b.1.total_cmp(&a.1));
    let least = |of: &dyn Fn(&Percentiles) -> f64| {
        let losses = ways.iter().enumerate();
        losses
            .filter_map(|(i, w)| Some((i, of(w.loss.as_ref()?))))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0, |l| l.0)
    };
    let choice = match ways[0].best {
        _ if ways.len() == 1 => Choice::OnlyOne,
        best if best >= ROBUST => Choice::Robust,
        best if best >= COIN => Choice::Leaning,
        _ => Choice::CoinToss,
    };
    Spread {
        time_s: spread_of(&|s| s.time_s),
        fuel_kg: spread_of(&|s| s.fuel_kg),
        money: spread_of(&|s| s.money),
        landing_fuel_kg: spread_of(&|s| s.landing_fuel_kg),
        into_reserve: share(eaten, ask.samples),
        breaks: share(counted(&|s| !s.broken.is_empty()), ask.samples),
        broken,
        not_flown: share(not_flown, ask.samples),
        choice,
        least_loss: (least(&|l| l.mean), least(&|l| l.p90)),
        kept_kg,
        ask,
        ways,
    }
}
