//! Why the descent of a plan pays against the ordinary one.

use crate::flight::{Flown, SegmentKind, TrackPoint, point_at};
use crate::trip::{CostRates, Problem};

/// Share of the gain in ground speed that must be wind for wind to be the reason.
const MOSTLY: f64 = 0.5;

/// Why a descent pays against the ordinary one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// Height given up buys speed with the power on.
    HeightBuysSpeed,
    /// More of the tail wind aloft.
    MoreTailWind,
    /// Less head wind.
    LessHeadWind,
    /// Less fuel flow.
    LessFuelFlow,
    /// Fewer revolutions, where the hour is counted by the tachometer.
    FewerRevolutions,
}

/// A reason and the means it rests on: of the plan, and of the ordinary descent, from the first top of descent of the two to the
/// pattern point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Because {
    /// The reason.
    pub reason: Reason,
    /// Of the plan.
    pub plan: DescentMeans,
    /// Of the ordinary descent.
    pub ordinary: DescentMeans,
}

/// Means over the end of a flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DescentMeans {
    /// Time, s.
    pub time_s: f64,
    /// Fuel, kg.
    pub fuel_kg: f64,
    /// Revolutions.
    pub revolutions: f64,
    /// Brake power over rated power, by time, in the descent alone.
    pub power_fraction: f64,
    /// Ground speed, m/s.
    pub ground_speed_m_s: f64,
    /// Wind along the course by time, a tail wind positive, m/s.
    pub wind_along_m_s: f64,
}

impl DescentMeans {
    fn fuel_kg_s(&self) -> f64 {
        self.fuel_kg / self.time_s
    }

    /// From a distance to another, m; `None` without a recorded path over them.
    fn of(flown: &Flown, from_m: f64, to_m: f64) -> Option<Self> {
        let (a, b) = (
            point_at(&flown.track, from_m)?,
            point_at(&flown.track, to_m)?,
        );
        let time_s = b.state.time_s - a.state.time_s;
        let mean = |of: &dyn Fn(&TrackPoint) -> Option<f64>| {
            let (mut sum, mut whole_s) = (0.0, 0.0);
            for pair in flown.track.windows(2) {
                let middle_m = 0.5 * (pair[0].state.distance_m + pair[1].state.distance_m);
                let (Some(x), Some(y)) = (of(&pair[0]), of(&pair[1])) else {
                    continue;
                };
                if (from_m..=to_m).contains(&middle_m) {
                    let dt = pair[1].state.time_s - pair[0].state.time_s;
                    sum += 0.5 * (x + y) * dt;
                    whole_s += dt;
                }
            }
            (whole_s > 0.0).then_some(sum / whole_s)
        };
        let down = |t: &TrackPoint| {
            (flown.segments.get(t.segment)?.kind == SegmentKind::Descent)
                .then_some(t.power_fraction)
        };
        (time_s > 0.0).then_some(())?;
        Some(Self {
            time_s,
            fuel_kg: b.state.fuel_kg - a.state.fuel_kg,
            revolutions: b.state.revolutions - a.state.revolutions,
            power_fraction: mean(&down)?,
            ground_speed_m_s: (to_m - from_m) / time_s,
            wind_along_m_s: mean(&|t| Some(t.wind_along_m_s))?,
        })
    }
}

/// The reason why one descent is cheaper than another, `None` where it is not or the figures name none.
///
/// The greatest of what is saved by time, by fuel and by revolutions leads. Time is saved by ground speed: by wind where at least
/// half the gain is wind, else by speed through the air, which counts as bought by height only if more power is kept.
fn reason(rates: CostRates, plan: &DescentMeans, ordinary: &DescentMeans) -> Option<Reason> {
    let by_time = rates.per_s * (ordinary.time_s - plan.time_s);
    let by_fuel = rates.per_kg * (ordinary.fuel_kg - plan.fuel_kg);
    let by_revolutions = rates.per_rev * (ordinary.revolutions - plan.revolutions);
    if by_time + by_fuel + by_revolutions <= 0.0 {
        return None;
    }
    if by_revolutions > by_time.max(by_fuel) {
        return Some(Reason::FewerRevolutions);
    }
    let gain = plan.ground_speed_m_s - ordinary.ground_speed_m_s;
    let wind = plan.wind_along_m_s - ordinary.wind_along_m_s;
    let less_flow = plan.fuel_kg_s() < ordinary.fuel_kg_s();
    if by_fuel > by_time && less_flow {
        return Some(Reason::LessFuelFlow);
    }
    if gain <= 0.0 {
        return None;
    }
    if wind >= MOSTLY * gain {
        return Some(if plan.wind_along_m_s > 0.0 {
            Reason::MoreTailWind
        } else {
            Reason::LessHeadWind
        });
    }
    (plan.power_fraction > ordinary.power_fraction).then_some(Reason::HeightBuysSpeed)
}

/// Why the descent of a plan is cheaper than the ordinary one beside it; `None` where they let down circling, which is not done for cheapness.
pub fn because(problem: &Problem, plan: &Flown, ordinary: &Flown) -> Option<Because> {
    let from_m = plan
        .top_of_descent
        .distance_m
        .min(ordinary.top_of_descent.distance_m);
    if plan.script.descent.circle.is_some() {
        return None;
    }
    let to_m = problem.pattern_point_m(false);
    let plan = DescentMeans::of(plan, from_m, to_m)?;
    let ordinary = DescentMeans::of(ordinary, from_m, to_m)?;
    let reason = reason(problem.cost_rates(), &plan, &ordinary)?;
    Some(Because {
        reason,
        plan,
        ordinary,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const MONEY: CostRates = CostRates {
        per_s: 0.03,
        per_kg: 2.0,
        per_rev: 0.0,
    };

    fn means(time_s: f64, fuel_kg: f64, power: f64, wind_m_s: f64) -> DescentMeans {
        DescentMeans {
            time_s,
            fuel_kg,
            revolutions: 33.0 * time_s,
            power_fraction: power,
            ground_speed_m_s: 60_000.0 / time_s,
            wind_along_m_s: wind_m_s,
        }
    }

    #[test]
    fn closed_form_the_reason_is_where_the_saving_lies() {
        let ordinary = means(800.0, 4.0, 0.3, 5.0);
        let of = |plan: DescentMeans| reason(MONEY, &plan, &ordinary);
        // 60 km in 750 s are 80 m/s against 75: 5 m/s gained, none of it wind, at more power.
        assert_eq!(
            of(means(750.0, 4.0, 0.5, 5.0)),
            Some(Reason::HeightBuysSpeed)
        );
        // The same gain with less power is not bought by height at power: no reason is made up.
        assert_eq!(of(means(750.0, 4.0, 0.2, 5.0)), None);
        // 2.5 of the 5 m/s are wind, just half; with 2.4 they are not.
        assert_eq!(of(means(750.0, 4.0, 0.5, 7.5)), Some(Reason::MoreTailWind));
        assert_eq!(
            of(means(750.0, 4.0, 0.5, 7.4)),
            Some(Reason::HeightBuysSpeed)
        );
        // Against the wind it is less of it.
        assert_eq!(
            reason(
                MONEY,
                &means(750.0, 4.0, 0.5, -5.0),
                &means(800.0, 4.0, 0.3, -10.0)
            ),
            Some(Reason::LessHeadWind)
        );
        // 1 kg saved is 2.0 in money, 10 s are 0.3.
        assert_eq!(of(means(790.0, 3.0, 0.5, 5.0)), Some(Reason::LessFuelFlow));
        // Fuel saved at a greater flow is saved by time: 640 s at 3.3 kg are 0.00516 kg/s against 0.005.
        assert_eq!(
            of(means(640.0, 3.3, 0.5, 5.0)),
            Some(Reason::HeightBuysSpeed)
        );
        // Dearer, or the same: no reason.
        assert_eq!(of(means(800.0, 4.1, 0.5, 5.0)), None);
        assert_eq!(of(ordinary), None);
    }

    #[test]
    fn closed_form_a_tachometer_hour_is_saved_by_revolutions() {
        let rates = CostRates {
            per_s: 0.0,
            per_kg: 2.0,
            per_rev: 0.001,
        };
        let ordinary = means(800.0, 4.0, 0.3, 5.0);
        let mut plan = means(800.0, 4.0, 0.3, 5.0);
        plan.revolutions = 25.0 * 800.0;
        assert_eq!(
            reason(rates, &plan, &ordinary),
            Some(Reason::FewerRevolutions)
        );
    }
}
