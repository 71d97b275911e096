//! How sure a plan is, as figures, JSON and CSV.

use super::figures::{
    cautions, levels_ft, objective_unit, objective_value, objective_word, places, totals,
    warning_words,
};
use super::frontier::{FrontierCruiseFigures, cruises};
use super::json::pretty;
use super::measure::Units;
use super::units::{Fuel, ft, kt, min, nm, percent, plain};
use super::words::{near, number};
use super::{Said, TotalsFigures};
use crate::solve::{self, Choice, Percentiles, Plan, Spread, WayFlown};
use crate::trip::{ForecastError, Problem, correlation};
use schemars::JsonSchema;
use serde::Serialize;

/// The title of this face.
pub const SPREAD_TITLE: &str =
    "How sure the plan is: advice, not a weather briefing, not a filed flight plan";

/// Most rows of a histogram.
const MOST_BINS: f64 = 40.0;

/// How a quantity is spread, in the unit of its key.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PercentileFigures {
    /// A tenth of the samples lie below.
    pub p10: f64,
    /// Half.
    pub p50: f64,
    /// Nine tenths.
    pub p90: f64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub standard_deviation: f64,
}

/// How wrong the forecast was taken to be.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ErrorFigures {
    /// Standard deviation of each component of the wind.
    pub wind_kt: f64,
    /// Standard deviation of the temperature.
    pub temperature_c: f64,
    /// Length of the correlation by distance.
    pub length_nm: f64,
    /// Length of the correlation by height.
    pub length_ft: f64,
    /// Correlation of errors 100 nm apart.
    pub correlation_100_nm: f64,
    /// Correlation of errors 2,000 ft apart.
    pub correlation_2000_ft: f64,
    /// Where the spread comes from.
    pub source: String,
}

/// A limit that may be broken.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LimitFigures {
    /// The limit.
    pub limit: &'static str,
    /// Chance that it is broken.
    pub chance_percent: f64,
}

/// The best plan of one level, as forecast and in the samples.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LevelSpreadFigures {
    /// Levels, first to last.
    pub levels_ft: Vec<f64>,
    /// The plan itself.
    pub chosen: bool,
    /// Totals as forecast.
    pub totals: TotalsFigures,
    /// Cruise, stretch by stretch.
    pub cruise: Vec<FrontierCruiseFigures>,
    /// Time from take-off to landing; none where it can be flown in no sample.
    pub time_min: Option<PercentileFigures>,
    /// Fuel from take-off to landing.
    pub fuel_gal: Option<PercentileFigures>,
    /// Money at the trip's prices.
    pub cost: Option<PercentileFigures>,
    /// Chance that it is the best of all levels by the trip's objective.
    pub best_percent: f64,
    /// What it costs more than the best level of each sample, in the objective's unit.
    pub loss: Option<PercentileFigures>,
    /// Chance that it cannot be flown to the end.
    pub not_flown_percent: f64,
}

/// One sample of the plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SampleFigures {
    /// From one.
    pub sample: usize,
    /// Mean error of the wind along the course where the flight was planned to be, a tail wind positive.
    pub wind_along_kt: f64,
    /// Mean error of the temperature there.
    pub temperature_c: f64,
    /// Time from take-off to landing.
    pub time_min: f64,
    /// Fuel from take-off to landing.
    pub fuel_gal: f64,
    /// Money at the trip's prices.
    pub cost: f64,
    /// Left at landing.
    pub landing_fuel_gal: f64,
    /// Top of descent, to go.
    pub top_of_descent_to_go_nm: f64,
    /// Limits that are broken, the reserve aside.
    pub broken_limits: Vec<&'static str>,
}

/// How sure a plan is, in cockpit figures.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SpreadFigures {
    /// In which units the words are, and the faces for eyes.
    #[serde(skip)]
    #[schemars(skip)]
    pub units: Units,
    /// Title.
    pub title: &'static str,
    /// Title of the trip.
    pub name: String,
    /// Aircraft.
    pub aircraft: String,
    /// Departure, via points, destination.
    pub places: Vec<String>,
    /// Start-up.
    pub departure_utc: String,
    /// Fixed pitch: power is set by RPM, and MAP is only computed.
    pub fixed_pitch: bool,
    /// time, fuel or money.
    pub objective: &'static str,
    /// Its unit: min, gal or money.
    pub unit: &'static str,
    /// How wrong the forecast was taken to be.
    pub forecast_error: ErrorFigures,
    /// How many samples.
    pub samples: usize,
    /// What they are drawn from.
    pub seed: u64,
    /// Time from take-off to landing; none where the plan can be flown in no sample.
    pub time_min: Option<PercentileFigures>,
    /// Fuel from take-off to landing.
    pub fuel_gal: Option<PercentileFigures>,
    /// Money; none without prices.
    pub cost: Option<PercentileFigures>,
    /// Left at landing.
    pub landing_fuel_gal: Option<PercentileFigures>,
    /// Fuel that is to be left at landing: reserve, and what the alternate takes.
    pub kept_gal: f64,
    /// Chance of landing with less than that.
    pub into_reserve_percent: f64,
    /// Chance that some limit is broken, the reserve aside, with levers and levels left as they are.
    pub breaks_limit_percent: f64,
    /// The limits, the most often broken first.
    pub limits: Vec<LimitFigures>,
    /// Chance that the plan cannot be flown to the end.
    pub not_flown_percent: f64,
    /// The plan first, then the best plan of each other level, the cheapest first.
    pub levels: Vec<LevelSpreadFigures>,
    /// robust, leaning, coin_toss or only_one, and in words.
    pub choice: Said,
    /// What the pilot must know.
    pub warnings: Vec<Said>,
    /// What is not checked and who decides.
    pub cautions: Vec<String>,
    /// Sample by sample, those that can be flown to the end.
    #[serde(skip)]
    pub rows: Vec<SampleFigures>,
}

/// One row of a histogram.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bin {
    pub from: f64,
    pub to: f64,
    pub count: usize,
}

/// Values counted in steps of a round width.
pub(super) fn histogram(values: &[f64], step_of: impl Fn(f64, f64) -> f64) -> Vec<Bin> {
    let low = values.iter().copied().reduce(f64::min);
    let (Some(low), Some(high)) = (low, values.iter().copied().reduce(f64::max)) else {
        return vec![];
    };
    let mut step = step_of(high - low, MOST_BINS);
    if !(step.is_finite() && step > 0.0) {
        step = 1.0;
    }
    let first = (low / step).floor();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "some tens of steps"
    )]
    let place = |x: f64| (x / step - first).floor().max(0.0) as usize;
    let mut counts = vec![0; place(high) + 1];
    for &x in values {
        counts[place(x)] += 1;
    }
    let mut from = first * step;
    let bin = |count| {
        let bin = Bin {
            from,
            to: from + step,
            count,
        };
        from = bin.to;
        bin
    };
    counts.into_iter().map(bin).collect()
}

fn spread_of(p: Option<Percentiles>, of: impl Fn(f64) -> f64) -> Option<PercentileFigures> {
    p.map(|p| PercentileFigures {
        p10: of(p.p10),
        p50: of(p.p50),
        p90: of(p.p90),
        mean: of(p.mean),
        standard_deviation: of(p.deviation),
    })
}

/// "11,500 ft", "9,500 then 11,500 ft".
pub(super) fn level_words(levels_ft: &[f64]) -> String {
    let each: Vec<String> = levels_ft.iter().map(|&x| super::words::feet(x)).collect();
    format!("{} ft", each.join(" then "))
}

fn loss_words(loss: f64, unit: &str, units: Units) -> String {
    match unit {
        "gal" => units.difference(loss, near).to_string(),
        "money" => format!("{} in money", number(loss, 1)),
        unit => format!("{} {unit}", number(loss, 1)),
    }
}

fn chance(percent: f64) -> String {
    match percent {
        p if p <= 0.0 => "no".to_owned(),
        p if p < 1.0 => "under 1 %".to_owned(),
        p if p > 99.0 && p < 100.0 => "over 99 %".to_owned(),
        p => format!("{p:.0} %"),
    }
}

/// Whether the choice of the level is robust, in a sentence or two.
fn choice_words(spread: &Spread, levels: &[LevelSpreadFigures], unit: &str, units: Units) -> Said {
    let plan = level_words(&levels[0].levels_ft);
    let best = match levels[0].best_percent {
        p if p <= 0.0 => "none".to_owned(),
        p => chance(p),
    };
    let mean = levels[0].loss.map_or(0.0, |l| l.mean);
    let mean = loss_words(mean, unit, units);
    let (kind, mut text) = match spread.choice {
        Choice::OnlyOne => (
            "only_one",
            format!("{plan} is the only level that can be flown: there is nothing to choose."),
        ),
        Choice::Robust => (
            "robust",
            format!(
                "Robust: {plan} stays the best level in {best} of the winds the forecast may be wrong by. Who knew the wind would save {mean} on \
                 average."
            ),
        ),
        Choice::Leaning => (
            "leaning",
            format!(
                "Better than a coin toss: {plan} is the best level in {best} of the winds the forecast may be wrong by. Who knew the wind would save \
                 {mean} on average."
            ),
        ),
        Choice::CoinToss => (
            "coin_toss",
            format!(
                "A coin toss: {plan} is the best level in {best} of the winds the forecast may be wrong by. Who knew the wind would save {mean} on \
                 average: choose what is comfortable."
            ),
        ),
    };
    if spread.choice != Choice::OnlyOne {
        let of = |i: usize, value: &dyn Fn(&PercentileFigures) -> f64| {
            let level = &levels[i];
            let loss = loss_words(level.loss.as_ref().map_or(0.0, value), unit, units);
            (level_words(&level.levels_ft), loss)
        };
        let (on_mean, at_worst) = spread.least_loss;
        let (level, mean) = of(on_mean, &|l| l.mean);
        let (worst_level, p90) = of(at_worst, &|l| l.p90);
        // What rounds to nought is not said to be lost.
        let nothing = p90 == loss_words(0.0, unit, units);
        text.push_str(&match (on_mean == at_worst, nothing) {
            (true, false) => format!(
                " {level} loses least when the wind is wrong: {mean} on average against the best level of each wind, more than {p90} in one of ten."
            ),
            (true, true) => format!(
                " {level} loses least when the wind is wrong: {mean} on average against the best level of each wind, and in nine of ten next to nothing."
            ),
            (false, false) => format!(
                " On average {level} loses least when the wind is wrong, {mean} against the best level of each wind; in the worst tenth \
                 {worst_level} does, with more than {p90}."
            ),
            (false, true) => format!(
                " On average {level} loses least when the wind is wrong, {mean} against the best level of each wind; in nine of ten {worst_level} \
                 loses next to nothing."
            ),
        });
    }
    Said { kind, text }
}

fn level(
    way: &WayFlown,
    chosen: bool,
    problem: &Problem,
    fuel: Fuel,
    unit: &dyn Fn(f64) -> f64,
) -> LevelSpreadFigures {
    let flown: Vec<_> = way.samples.iter().flatten().collect();
    let of = |value: &dyn Fn(&solve::SampleFlown) -> f64| {
        Percentiles::of(flown.iter().map(|s| value(s)))
    };
    let all = way.samples.len().max(1);
    #[expect(clippy::cast_precision_loss, reason = "counts of samples")]
    let not_flown = (way.samples.len() - flown.len()) as f64 / all as f64;
    LevelSpreadFigures {
        levels_ft: levels_ft(&way.flown),
        chosen,
        totals: totals(
            problem,
            fuel,
            &solve::totals_of(problem, &way.flown),
            way.flown.cruise_fuel_kg_s,
        ),
        cruise: cruises(&way.flown, problem, fuel),
        time_min: spread_of(of(&|s| s.time_s), min),
        fuel_gal: spread_of(of(&|s| s.fuel_kg), |kg| fuel.gal(kg)),
        cost: spread_of(of(&|s| s.money), plain).filter(|_| problem.prices.are_given()),
        best_percent: percent(way.best),
        loss: spread_of(way.loss, unit),
        not_flown_percent: percent(not_flown),
    }
}

/// Where the usual spread comes from.
pub const USUAL_SOURCE: &str = "usual values: wind about what aircraft reports against forecasts of some hours gave (Schwartz and others, Weather and \
                                Forecasting 15, 2000, from memory); temperature and lengths round values from memory";

impl SpreadFigures {
    /// The figures of a spread, its words in US units; `source` says where the error of the forecast was taken from.
    pub fn new(spread: &Spread, plan: &Plan, problem: &Problem, source: &str) -> Self {
        Self::in_units(spread, plan, problem, source, Units::Us)
    }

    /// The same with words, and the faces made of them, in `units`; figures are in the units of their keys whatever is asked for.
    pub fn in_units(
        spread: &Spread,
        plan: &Plan,
        problem: &Problem,
        source: &str,
        units: Units,
    ) -> Self {
        let aircraft = &problem.aircraft;
        let fuel = Fuel::new(aircraft.fuel.density_kg_m3);
        let unit = objective_unit(problem.objective);
        let in_unit = |si: f64| objective_value(problem.objective, fuel, si);
        let levels: Vec<LevelSpreadFigures> = spread
            .ways
            .iter()
            .enumerate()
            .map(|(i, way)| level(way, i == 0, problem, fuel, &in_unit))
            .collect();
        let ForecastError {
            wind_m_s,
            temperature_k,
            distance_m,
            height_m,
        } = spread.ask.error;
        let priced = problem.prices.are_given();
        let rows = spread.ways[0].samples.iter().enumerate();
        let rows = rows.filter_map(|(i, s)| {
            let s = s.as_ref()?;
            Some(SampleFigures {
                sample: i + 1,
                wind_along_kt: kt(s.along_m_s),
                temperature_c: plain(s.temperature_k),
                time_min: min(s.time_s),
                fuel_gal: fuel.gal(s.fuel_kg),
                cost: plain(s.money),
                landing_fuel_gal: fuel.gal(s.landing_fuel_kg),
                top_of_descent_to_go_nm: nm(s.to_go_m),
                broken_limits: s.broken.iter().map(|l| l.words()).collect(),
            })
        });
        Self {
            units,
            title: SPREAD_TITLE,
            name: problem.title.clone(),
            aircraft: aircraft.name.clone(),
            places: places(problem),
            departure_utc: problem.departure_time.to_string(),
            fixed_pitch: aircraft.propeller.is_fixed(),
            objective: objective_word(problem.objective),
            unit,
            forecast_error: ErrorFigures {
                wind_kt: kt(wind_m_s),
                temperature_c: plain(temperature_k),
                length_nm: nm(distance_m),
                length_ft: ft(height_m),
                correlation_100_nm: plain(correlation(100.0 / nm(distance_m))),
                correlation_2000_ft: plain(correlation(2_000.0 / ft(height_m))),
                source: source.to_owned(),
            },
            samples: spread.ask.samples,
            seed: spread.ask.seed,
            time_min: spread_of(spread.time_s, min),
            fuel_gal: spread_of(spread.fuel_kg, |kg| fuel.gal(kg)),
            cost: spread_of(spread.money, plain).filter(|_| priced),
            landing_fuel_gal: spread_of(spread.landing_fuel_kg, |kg| fuel.gal(kg)),
            kept_gal: fuel.gal(spread.kept_kg),
            into_reserve_percent: percent(spread.into_reserve),
            breaks_limit_percent: percent(spread.breaks),
            limits: spread
                .broken
                .iter()
                .map(|&(limit, share)| LimitFigures {
                    limit: limit.words(),
                    chance_percent: percent(share),
                })
                .collect(),
            not_flown_percent: percent(spread.not_flown),
            choice: choice_words(spread, &levels, unit, units),
            levels,
            warnings: plan
                .warnings
                .iter()
                .map(|w| warning_words(w, problem, fuel, units))
                .collect(),
            cautions: cautions(aircraft),
            rows: rows.collect(),
        }
    }

    /// What a level loses, in the unit of [`loss_unit`](Self::loss_unit).
    pub(super) fn loss(&self, loss: f64) -> String {
        match self.unit {
            "gal" => self.units.difference(loss, near).figure,
            "money" => number(loss, 1),
            _ => number(loss, 2),
        }
    }

    /// The unit of what a level loses.
    pub(super) fn loss_unit(&self) -> &'static str {
        match self.unit {
            "gal" => self.units.volume(),
            unit => unit,
        }
    }

    /// A chance in words: "no", "under 1 %", "37 %".
    pub(super) fn chance(percent: f64) -> String {
        chance(percent)
    }
}

/// The spread as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn spread_json(f: &SpreadFigures) -> Result<String, serde_json::Error> {
    pretty(f)
}

/// The plan sample by sample as CSV; limits broken are parted by ";".
///
/// # Errors
/// Only if the text cannot be written to memory, which would be our bug.
pub fn spread_csv(f: &SpreadFigures) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        "sample",
        "wind_along_kt",
        "temperature_c",
        "time_min",
        "fuel_gal",
        "cost",
        "landing_fuel_gal",
        "top_of_descent_to_go_nm",
        "broken_limits",
    ])?;
    for s in &f.rows {
        let cost = f.cost.map_or_else(String::new, |_| s.cost.to_string());
        out.write_record([
            s.sample.to_string(),
            s.wind_along_kt.to_string(),
            s.temperature_c.to_string(),
            s.time_min.to_string(),
            s.fuel_gal.to_string(),
            cost,
            s.landing_fuel_gal.to_string(),
            s.top_of_descent_to_go_nm.to_string(),
            s.broken_limits.join(";"),
        ])?;
    }
    out.into_inner().map_err(|e| e.into_error().into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_every_value_is_counted_once_where_it_belongs() {
        let values = [0.1, 0.9, 1.0, 1.1, 3.05, 3.9];
        let bins = histogram(&values, |_, _| 1.0);
        assert_eq!(
            bins.iter().map(|b| b.count).collect::<Vec<_>>(),
            [2, 2, 0, 2]
        );
        assert_eq!((bins[3].from, bins[3].to), (3.0, 4.0));
        // All alike: one row, whatever the step would be.
        assert_eq!(histogram(&[2.5; 7], |_, _| 0.0).len(), 1);
        assert_eq!(histogram(&[], |_, _| 1.0), []);
    }

    #[test]
    fn closed_form_chances_are_not_rounded_to_never_or_always() {
        let words = [0.0, 0.2, 1.0, 49.6, 99.6, 100.0].map(chance);
        assert_eq!(
            words,
            ["no", "under 1 %", "1 %", "50 %", "over 99 %", "100 %"]
        );
    }
}
