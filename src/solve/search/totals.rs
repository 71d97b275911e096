//! What a flown flight comes to: totals, warnings, and by how much its re-flight misses it.

use crate::flight::{Flown, Script, fly_recorded};
use crate::reflight::{self, Mismatch};
use crate::solve::advice::advice;
use crate::solve::plan::{Alternative, AlternativeKind, Totals, Warning};
use crate::solve::refine::Pilot;
use crate::trip::{HourBasis, Problem, Rules};

/// Totals of a flown flight.
pub fn totals(problem: &Problem, flown: &Flown) -> Totals {
    let p = &problem.aircraft.procedures;
    let block_time_s = flown.time_s + p.taxi_time_s;
    let block_fuel_kg = flown.fuel_kg + p.taxi_fuel_kg;
    let landing_fuel_kg = problem.fuel_kg - block_fuel_kg;
    let flow = flown.cruise_fuel_kg_s;
    let reserve_required_kg = problem.reserve_kg(flow);
    let hours_cost = match problem.prices.basis {
        HourBasis::Clock => problem.prices.per_s * block_time_s,
        HourBasis::Airborne => problem.prices.per_s * flown.time_s,
        HourBasis::Tachometer(reference) => problem.prices.per_s * flown.revolutions / reference,
    };
    Totals {
        time_s: flown.time_s,
        fuel_kg: flown.fuel_kg,
        block_time_s,
        block_fuel_kg,
        money: hours_cost + problem.prices.fuel_per_kg * block_fuel_kg,
        distance_m: problem.length_m,
        landing_fuel_kg,
        reserve_s: landing_fuel_kg.max(0.0) / flow,
        reserve_required_kg,
        legal_reserve_kg: problem.rules.reserve_s(problem.night) * flow,
        alternate_kg: problem.alternate_kg,
        fuel_required_kg: block_fuel_kg + problem.alternate_kg + reserve_required_kg,
    }
}

/// How long a flight of this time \[s\] from take-off goes on after the period its forecasts are for, s; `None` where it does not.
pub(in crate::solve) fn past_forecast_s(problem: &Problem, time_s: f64) -> Option<f64> {
    let until = problem.valid_until?;
    #[expect(clippy::cast_precision_loss, reason = "seconds of a few days")]
    let left_s = (until.as_second() - problem.departure_time.as_second()) as f64;
    let over_s = problem.aircraft.procedures.taxi_time_s + time_s - left_s;
    (over_s > 0.0).then_some(over_s)
}

pub(in crate::solve) fn warnings(
    problem: &Problem,
    flown: &Flown,
    totals: &Totals,
    mismatch: &Mismatch,
) -> Vec<Warning> {
    let mut out: Vec<Warning> = problem.notes.iter().cloned().map(Warning::Note).collect();
    out.extend(past_forecast_s(problem, totals.time_s).map(Warning::ForecastEnds));
    let short = totals.alternate_kg + totals.reserve_required_kg - totals.landing_fuel_kg;
    if short > 0.0 {
        out.push(Warning::BelowReserve(short));
    }
    // The legal least is to be left at the alternate where the rules are those of instruments (14 CFR 91.167).
    let onward_kg = match problem.rules {
        Rules::UsIfr | Rules::IcaoIfr => totals.alternate_kg,
        Rules::UsVfr | Rules::IcaoVfr | Rules::None => 0.0,
    };
    let short = onward_kg + totals.legal_reserve_kg - totals.landing_fuel_kg;
    if short > 0.0 {
        out.push(Warning::BelowLegalReserve(short));
    }
    if problem.aircraft.procedures.map_limit.is_empty() && !problem.aircraft.propeller.is_fixed() {
        out.push(Warning::NoLimitLine);
    }
    if problem.aircraft.procedures.pattern_m_s > problem.aircraft.speeds.vlo_extend_m_s {
        out.push(Warning::PatternAboveVlo);
    }
    if !mismatch.within_bounds(problem.aircraft.fuel.density_kg_m3) {
        out.push(Warning::Reflight);
    }
    out.extend(advice(problem, flown));
    out
}

/// By how much the re-flight of a flight misses it; not a number where it cannot be re-flown at all.
pub(in crate::solve) fn reflown(problem: &Problem, flown: &Flown) -> Mismatch {
    match reflight::refly(problem, &flown.script) {
        Ok(r) => Mismatch::between(problem, flown, &r),
        Err(_) => Mismatch {
            time_s: f64::NAN,
            fuel_kg: f64::NAN,
            height_m: f64::NAN,
            speed_m_s: f64::NAN,
            barred_m: f64::NAN,
        },
    }
}

/// The flight of a script with its path and its re-flight; `None` where it cannot be flown.
pub(super) fn recorded_flight(problem: &Problem, script: &Script) -> Option<(Flown, Mismatch)> {
    let flown = fly_recorded(problem, script).ok()?;
    let mismatch = reflown(problem, &flown);
    Some((flown, mismatch))
}

/// [`recorded_flight`], if it keeps every limit and the re-flight confirms it.
pub(in crate::solve) fn confirmed_flight(
    problem: &Problem,
    script: &Script,
) -> Option<(Flown, Mismatch)> {
    recorded_flight(problem, script).filter(|(flown, mismatch)| {
        flown.audit.violation() == 0.0
            && mismatch.within_bounds(problem.aircraft.fuel.density_kg_m3)
    })
}

/// A flight set beside the plan.
pub(in crate::solve) fn alternative(
    problem: &Problem,
    kind: AlternativeKind,
    flown: Flown,
    plan: &Flown,
) -> Alternative {
    Alternative {
        kind,
        totals: totals(problem, &flown),
        difference: flown.cost - plan.cost,
        charged_difference: Pilot::charged(&flown) - Pilot::charged(plan),
        flown,
    }
}
