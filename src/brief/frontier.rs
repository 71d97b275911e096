//! Fuel against time: the plans that no other beats in both, as figures, JSON and CSV.

use super::figures::{
    StartFigures, cautions, levels_ft, mixture_name, places, totals, warning_words,
};
use super::json::pretty;
use super::measure::Units;
use super::units::{Fuel, fpm, ft, inhg, kt, min, nm, percent, plain, rpm};
use super::{Said, TotalsFigures};
use crate::aircraft::Throttle;
use crate::flight::{Flown, PathRule, SegmentKind, ThrottleRule, TrackPoint};
use crate::quantity::M3_PER_GAL;
use crate::solve::{APART_M3, APART_S, Frontier, FrontierPlan};
use crate::trip::{HourBasis, Prices, Problem};
use schemars::JsonSchema;
use serde::Serialize;

/// The title of this face.
pub const FRONTIER_TITLE: &str =
    "Fuel against time: advice, not a weather briefing, not a filed flight plan";

/// One stretch of level cruise.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FrontierCruiseFigures {
    /// Indicated altitude.
    pub altitude_ft: f64,
    /// Full throttle: the manifold pressure is what it gives.
    pub full_throttle: bool,
    /// Manifold pressure; at fixed pitch computed, not to be set.
    pub map_inhg: f64,
    /// Crankshaft speed.
    pub rpm: f64,
    /// Mixture.
    pub mixture: String,
    /// Brake power over rated power.
    pub power_percent: f64,
    /// Fuel flow.
    pub fuel_flow_gph: f64,
    /// True airspeed.
    pub tas_kt: f64,
}

/// How a plan comes down.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct DescentFigures {
    /// Where it begins, to go.
    pub top_of_descent_to_go_nm: f64,
    /// full, held or left_alone; at fixed pitch rpm_held, untouched or full.
    pub throttle: &'static str,
    /// Manifold pressure set; none at full throttle and at fixed pitch.
    pub map_inhg: Option<f64>,
    /// Crankshaft speed; at fixed pitch what is held, else the greatest allowed.
    pub rpm: f64,
    /// Mixture.
    pub mixture: String,
    /// Rate of descent, where that is held.
    pub rate_fpm: Option<f64>,
    /// Indicated airspeed, where that is held.
    pub ias_kt: Option<f64>,
    /// Indicated altitude at which a second part begins, if there is one.
    pub second_from_ft: Option<f64>,
}

/// What the next minute saved costs, on the way to the next quicker plan.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct MinuteFigures {
    /// Time that the next quicker plan saves.
    pub saved_min: f64,
    /// Fuel for each minute of it.
    pub minute_gal: f64,
    /// Money for each minute of it, at the trip's prices; below zero the quicker plan is the cheaper. None without prices.
    pub minute_cost: Option<f64>,
}

/// What an hour must be worth for a plan to be the best: all that goes by time, the hourly price and your own time together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct HourFigures {
    /// From this much fuel.
    pub from_gal: f64,
    /// To this much; none for the quickest, which is best however much an hour is worth.
    pub to_gal: Option<f64>,
    /// From this much money at the trip's price of fuel; none without one.
    pub from_cost: Option<f64>,
    /// To this much money.
    pub to_cost: Option<f64>,
}

/// One plan of the frontier.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FrontierPlanFigures {
    /// From one, the quickest.
    pub order: usize,
    /// Totals, as those of a plan.
    pub totals: TotalsFigures,
    /// Levels, first to last.
    pub levels_ft: Vec<f64>,
    /// Indicated airspeed of the climb, at first.
    pub climb_ias_kt: f64,
    /// Crankshaft speed of the climb.
    pub climb_rpm: f64,
    /// Cruise, stretch by stretch.
    pub cruise: Vec<FrontierCruiseFigures>,
    /// Descent.
    pub descent: DescentFigures,
    /// To the next quicker plan; none for the quickest.
    pub next_minute: Option<MinuteFigures>,
    /// When it is the best; none for a plan in a hollow, which no value of time makes the best, but a bound on time or fuel does.
    pub hour_worth: Option<HourFigures>,
    /// The plan of best value.
    pub best_value: bool,
    /// The cheapest at the trip's prices.
    pub cheapest: bool,
}

/// Prices the plans are reckoned at.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct PriceFigures {
    /// Of an hour, without fuel.
    pub hour_cost: f64,
    /// clock, airborne or tachometer.
    pub basis: &'static str,
    /// Of a gallon.
    pub gallon_cost: f64,
}

impl PriceFigures {
    /// Prices at which a gallon of fuel weighs so much.
    pub(super) fn of(prices: &Prices, density_kg_m3: f64) -> Self {
        let per_gal = density_kg_m3 * M3_PER_GAL;
        Self {
            hour_cost: plain(3_600.0 * prices.per_s),
            basis: match prices.basis {
                HourBasis::Clock => "clock",
                HourBasis::Airborne => "airborne",
                HourBasis::Tachometer(_) => "tachometer",
            },
            gallon_cost: plain(prices.fuel_per_kg * per_gal),
        }
    }
}

/// Plans that differ by less than both are shown as one.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ApartFigures {
    /// In time.
    pub time_min: f64,
    /// In fuel.
    pub fuel_gal: f64,
}

/// The frontier of a trip in cockpit figures.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct FrontierFigures {
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
    /// Start-up, or where the flight begins in the air.
    pub departure_utc: String,
    /// Where the flight begins in the air: height and speed there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_in_flight: Option<StartFigures>,
    /// Fixed pitch: power is set by RPM, and MAP is only computed.
    pub fixed_pitch: bool,
    /// Fuel on board then, the same for every plan.
    pub fuel_on_board_gal: f64,
    /// Prices; none where the trip has none.
    pub prices: Option<PriceFigures>,
    /// Plans found before those that differ too little were merged.
    pub found: usize,
    /// Plans that differ by less than both are shown as one.
    pub merged_within: ApartFigures,
    /// Plans, quickest first.
    pub plans: Vec<FrontierPlanFigures>,
    /// What the pilot must know, of all plans or of some.
    pub warnings: Vec<Said>,
    /// What is not checked and who decides.
    pub cautions: Vec<String>,
}

/// The cruise of a recorded flight, stretch by stretch.
pub(super) fn cruises(flown: &Flown, problem: &Problem, fuel: Fuel) -> Vec<FrontierCruiseFigures> {
    let fixed = problem.aircraft.propeller.is_fixed();
    let stretches = flown
        .segments
        .iter()
        .filter(|s| s.kind == SegmentKind::Cruise);
    let settled = stretches.filter_map(|s| {
        // At a fixed pitch RPM and speed settle only in the stretch.
        flown.track.get(if fixed { s.last } else { s.first })
    });
    let one = |(c, t): (&crate::flight::Cruise, &TrackPoint)| FrontierCruiseFigures {
        altitude_ft: ft(c.level_m),
        full_throttle: c.throttle == Throttle::Full,
        map_inhg: inhg(t.map_pa),
        rpm: rpm(t.rev_s),
        mixture: mixture_name(problem, c.mixture),
        power_percent: percent(t.power_fraction),
        fuel_flow_gph: fuel.gph(t.fuel_kg_s),
        tas_kt: kt(t.state.tas_m_s),
    };
    flown.script.cruise.iter().zip(settled).map(one).collect()
}

/// How a flight comes down.
pub(super) fn descent(flown: &Flown, problem: &Problem) -> DescentFigures {
    let d = &flown.script.descent;
    let fixed = problem.aircraft.propeller.is_fixed();
    let limit_pa = problem.aircraft.map_limit_pa(d.first.rev_s);
    DescentFigures {
        top_of_descent_to_go_nm: nm(d.to_go_m),
        throttle: match d.first.throttle {
            ThrottleRule::Full => "full",
            ThrottleRule::Held(_) => "held",
            ThrottleRule::LeftAlone(_) => "left_alone",
            ThrottleRule::Rpm => "rpm_held",
            ThrottleRule::Untouched => "untouched",
        },
        // What is set: the flight keeps every reading under the limit line.
        map_inhg: d
            .first
            .throttle
            .set_map_pa()
            .filter(|_| !fixed)
            .map(|pa| inhg(pa.min(limit_pa))),
        rpm: rpm(d.first.rev_s),
        mixture: mixture_name(problem, d.first.mixture),
        rate_fpm: match d.first.path {
            PathRule::Rate(m_s) => Some(fpm(m_s)),
            PathRule::Ias(_) => None,
        },
        ias_kt: match d.first.path {
            PathRule::Rate(_) => None,
            PathRule::Ias(m_s) => Some(kt(m_s)),
        },
        second_from_ft: d.second.map(|(from_m, _)| ft(from_m)),
    }
}

/// "plan 4", "plans 1, 2 and 5 to 9".
fn listed(numbers: &[usize]) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for &n in numbers {
        match runs.last_mut() {
            Some(run) if run.1 + 1 == n => run.1 = n,
            _ => runs.push((n, n)),
        }
    }
    let words: Vec<String> = runs
        .iter()
        .map(|&(a, b)| {
            if a == b {
                a.to_string()
            } else {
                format!("{a} to {b}")
            }
        })
        .collect();
    let plans = if numbers.len() == 1 { "plan" } else { "plans" };
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => {
            format!("{plans} {} and {last}", rest.join(", "))
        }
        _ => format!("{plans} {}", words.concat()),
    }
}

/// What is said of every plan once, what of some with their numbers. One kind of warning in several words is said with the numbers from the
/// least to the greatest.
fn warnings(frontier: &Frontier, problem: &Problem, fuel: Fuel, units: Units) -> Vec<Said> {
    let words = |p: &FrontierPlan| -> Vec<Said> {
        let of = p.warnings.iter();
        of.map(|w| warning_words(w, problem, fuel, units)).collect()
    };
    together(&frontier.plans.iter().map(words).collect::<Vec<_>>())
}

/// Texts, plan by plan, that differ in a few words as one. Of numbers the least and the greatest: "ends 2 to 28 min after"; of other words those of the
/// first and the last plan. Where they differ otherwise, the first and the last, one after the other.
fn together_said(texts: &[&str]) -> String {
    let (Some(&first), Some(&last)) = (texts.first(), texts.last()) else {
        return String::new();
    };
    let words: Vec<Vec<&str>> = texts
        .iter()
        .map(|t| t.split_whitespace().collect())
        .collect();
    if words.iter().any(|w| w.len() != words[0].len()) {
        return format!("{first}; or {last}");
    }
    let value = |word: &str| word.replace(',', "").parse::<f64>().ok();
    let word = |i: usize| {
        let of_plans = || words.iter().map(|w| w[i]);
        let numbers: Option<Vec<(f64, &str)>> = of_plans().map(|w| Some((value(w)?, w))).collect();
        let (from, to) = match numbers {
            Some(mut numbers) => {
                numbers.sort_by(|a, b| a.0.total_cmp(&b.0));
                (numbers[0].1, numbers[numbers.len() - 1].1)
            }
            None => (words[0][i], words[words.len() - 1][i]),
        };
        if from == to {
            from.to_owned()
        } else {
            format!("{from} to {to}")
        }
    };
    (0..words[0].len()).map(word).collect::<Vec<_>>().join(" ")
}

/// The warnings of plans, plan by plan, said once.
fn together(plans: &[Vec<Said>]) -> Vec<Said> {
    let mut kinds: Vec<&'static str> = Vec::new();
    for said in plans.iter().flatten() {
        if !kinds.contains(&said.kind) {
            kinds.push(said.kind);
        }
    }
    let mut out = Vec::new();
    for kind in kinds {
        // By its words, the plans they are said of.
        let mut texts: Vec<(&str, Vec<usize>)> = Vec::new();
        for (i, plan) in plans.iter().enumerate() {
            for said in plan.iter().filter(|s| s.kind == kind) {
                match texts.iter_mut().find(|t| t.0 == said.text) {
                    Some(t) => t.1.push(i + 1),
                    None => texts.push((&said.text, vec![i + 1])),
                }
            }
        }
        let mut say = |text: String| out.push(Said { kind, text });
        let by_plan = plans
            .iter()
            .all(|p| p.iter().filter(|s| s.kind == kind).count() <= 1);
        if texts.len() > 1 && by_plan {
            let mut all: Vec<usize> = texts.iter().flat_map(|t| t.1.iter().copied()).collect();
            all.sort_unstable();
            let of = |number: usize| {
                let said = texts.iter().find(|t| t.1.contains(&number));
                said.map_or("", |t| t.0)
            };
            let whole = all.len() == plans.len();
            let text = together_said(&all.iter().map(|&n| of(n)).collect::<Vec<_>>());
            say(if whole {
                text
            } else {
                format!("{}: {text}", listed(&all))
            });
            continue;
        }
        for (text, numbers) in texts {
            say(if numbers.len() == plans.len() {
                text.to_owned()
            } else {
                format!("{}: {text}", listed(&numbers))
            });
        }
    }
    out
}

impl FrontierFigures {
    /// The figures of a frontier, its words in US units.
    pub fn new(frontier: &Frontier, problem: &Problem) -> Self {
        Self::in_units(frontier, problem, Units::Us)
    }

    /// The figures of a frontier. Figures are in the units of their keys whatever is asked for; words, and the faces made of them,
    /// are in `units`.
    pub fn in_units(frontier: &Frontier, problem: &Problem, units: Units) -> Self {
        let aircraft = &problem.aircraft;
        let fuel = Fuel::new(aircraft.fuel.density_kg_m3);
        let prices = problem.prices;
        // Money for a volume of fuel that weighs so much.
        let money = |kg: f64| (prices.fuel_per_kg > 0.0).then(|| plain(prices.fuel_per_kg * kg));
        let hour_worth = |(from, to): (f64, f64)| {
            let (from_kg, to_kg) = (3_600.0 * from, 3_600.0 * to);
            let ends = to.is_finite();
            HourFigures {
                from_gal: fuel.gal(from_kg),
                to_gal: ends.then(|| fuel.gal(to_kg)),
                from_cost: money(from_kg),
                to_cost: money(to_kg).filter(|_| ends),
            }
        };
        let plans = frontier
            .plans
            .iter()
            .enumerate()
            .map(|(i, p)| FrontierPlanFigures {
                order: i + 1,
                totals: totals(problem, fuel, &p.totals, p.flown.cruise_fuel_kg_s),
                levels_ft: levels_ft(&p.flown),
                climb_ias_kt: kt(p.flown.script.climb.ias_m_s),
                climb_rpm: rpm(p.flown.script.climb.rev_s),
                cruise: cruises(&p.flown, problem, fuel),
                descent: descent(&p.flown, problem),
                next_minute: p.quicker.map(|q| MinuteFigures {
                    saved_min: min(q.saved_s),
                    minute_gal: fuel.gal(60.0 * q.fuel_kg_s),
                    minute_cost: q.money_per_s.map(|m| plain(60.0 * m)),
                }),
                hour_worth: p.best_kg_s.map(hour_worth),
                best_value: frontier.best_value == Some(i),
                cheapest: frontier.cheapest == Some(i),
            })
            .collect();
        Self {
            units,
            title: FRONTIER_TITLE,
            name: problem.title.clone(),
            aircraft: aircraft.name.clone(),
            places: places(problem),
            departure_utc: problem.departure_time.to_string(),
            start_in_flight: StartFigures::of(problem),
            fixed_pitch: aircraft.propeller.is_fixed(),
            fuel_on_board_gal: fuel.gal(problem.fuel_kg),
            prices: prices
                .are_given()
                .then(|| PriceFigures::of(&prices, aircraft.fuel.density_kg_m3)),
            found: frontier.found,
            merged_within: ApartFigures {
                time_min: min(APART_S),
                fuel_gal: plain(APART_M3 / M3_PER_GAL),
            },
            plans,
            warnings: warnings(frontier, problem, fuel, units),
            cautions: cautions(aircraft),
        }
    }

    /// Whether plans are reckoned in money.
    pub(super) fn priced(&self) -> bool {
        self.prices.is_some()
    }
}

/// The frontier as JSON, a newline at the end.
///
/// # Errors
/// Only if the figures cannot be written as JSON, which would be our bug.
pub fn frontier_json(f: &FrontierFigures) -> Result<String, serde_json::Error> {
    pretty(f)
}

/// The frontier as CSV, one line for each plan; where it cruises at several levels, those of one column are parted by ";".
///
/// # Errors
/// Only if the text cannot be written to memory, which would be our bug.
pub fn frontier_csv(f: &FrontierFigures) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record([
        "order",
        "time_min",
        "fuel_gal",
        "block_time_min",
        "block_fuel_gal",
        "cost",
        "landing_fuel_gal",
        "levels_ft",
        "full_throttle",
        "map_inhg",
        "rpm",
        "mixture",
        "power_percent",
        "fuel_flow_gph",
        "tas_kt",
        "climb_ias_kt",
        "top_of_descent_to_go_nm",
        "descent_throttle",
        "descent_map_inhg",
        "descent_rpm",
        "descent_mixture",
        "descent_rate_fpm",
        "descent_ias_kt",
        "next_minute_gal",
        "next_minute_cost",
        "hour_worth_from_gal",
        "hour_worth_to_gal",
        "hour_worth_from_cost",
        "hour_worth_to_cost",
        "best_value",
        "cheapest",
    ])?;
    let some = |x: Option<f64>| x.map_or_else(String::new, |x| x.to_string());
    for p in &f.plans {
        let (t, d) = (&p.totals, &p.descent);
        let each = |word: &dyn Fn(&FrontierCruiseFigures) -> String| {
            let all: Vec<String> = p.cruise.iter().map(word).collect();
            all.join(";")
        };
        out.write_record([
            p.order.to_string(),
            t.time_min.to_string(),
            t.fuel_gal.to_string(),
            t.block_time_min.to_string(),
            t.block_fuel_gal.to_string(),
            some(f.priced().then_some(t.cost)),
            t.landing_fuel_gal.to_string(),
            each(&|c| c.altitude_ft.to_string()),
            each(&|c| c.full_throttle.to_string()),
            each(&|c| c.map_inhg.to_string()),
            each(&|c| c.rpm.to_string()),
            each(&|c| c.mixture.clone()),
            each(&|c| c.power_percent.to_string()),
            each(&|c| c.fuel_flow_gph.to_string()),
            each(&|c| c.tas_kt.to_string()),
            p.climb_ias_kt.to_string(),
            d.top_of_descent_to_go_nm.to_string(),
            d.throttle.to_owned(),
            some(d.map_inhg),
            d.rpm.to_string(),
            d.mixture.clone(),
            some(d.rate_fpm),
            some(d.ias_kt),
            some(p.next_minute.map(|m| m.minute_gal)),
            some(p.next_minute.and_then(|m| m.minute_cost)),
            some(p.hour_worth.map(|h| h.from_gal)),
            some(p.hour_worth.and_then(|h| h.to_gal)),
            some(p.hour_worth.and_then(|h| h.from_cost)),
            some(p.hour_worth.and_then(|h| h.to_cost)),
            p.best_value.to_string(),
            p.cheapest.to_string(),
        ])?;
    }
    out.into_inner().map_err(|e| e.into_error().into())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(kind: &'static str, text: &str) -> Said {
        Said {
            kind,
            text: text.to_owned(),
        }
    }

    #[test]
    fn closed_form_warnings_of_many_plans_are_said_once() {
        let plans = [
            vec![said("ice", "cold on leg A"), said("ice", "cold on leg B")],
            vec![
                said("ice", "cold on leg A"),
                said("late", "the flight ends 2 min after it"),
            ],
            vec![
                said("ice", "cold on leg A"),
                said("late", "the flight ends 5 min after it"),
            ],
            vec![
                said("ice", "cold on leg A"),
                said("late", "the flight ends 28 min after it"),
            ],
        ];
        assert_eq!(
            together(&plans),
            [
                said("ice", "cold on leg A"),
                said("ice", "plan 1: cold on leg B"),
                said("late", "plans 2 to 4: the flight ends 2 to 28 min after it"),
            ]
        );
        assert_eq!(listed(&[1, 2, 3, 5, 7, 8]), "plans 1 to 3, 5 and 7 to 8");
        assert_eq!(together_said(&["a b", "c"]), "a b; or c");
        // From the least to the greatest, whichever plan has them; other words as the first and the last have them.
        assert_eq!(
            together_said(&["to 11,367 ft", "to 9,412 ft", "to 11,366 ft"]),
            "to 9,412 to 11,367 ft"
        );
        assert_eq!(
            together_said(&["of A, 3 ft", "of B, 3 ft"]),
            "of A, to B, 3 ft"
        );
    }
}
