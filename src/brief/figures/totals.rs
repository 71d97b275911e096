//! What the trip comes to: time, fuel, money and reserve, what it gains over ordinary flying, and how far it is from the ideal flight.

use crate::brief::measure::Units;
use crate::brief::units::{Fuel, min, nm, plain};
use crate::brief::words::{down, number, up};
use crate::solve::{Alternative, AlternativeKind, NO_DIFFERENCE_M3, NO_DIFFERENCE_S, Plan, Totals};
use crate::trip::{Objective, Problem, Rules};
use schemars::JsonSchema;
use serde::Serialize;

/// Totals of one plan.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TotalsFigures {
    /// Take-off to landing.
    pub time_min: f64,
    /// Take-off to landing.
    pub fuel_gal: f64,
    /// Start-up to shutdown.
    pub block_time_min: f64,
    /// Start-up to shutdown.
    pub block_fuel_gal: f64,
    /// Money at the trip's prices.
    pub cost: f64,
    /// Length of the route.
    pub distance_nm: f64,
    /// Left at landing.
    pub landing_fuel_gal: f64,
    /// That lasts so long at planned cruise flow.
    pub reserve_min: f64,
    /// Reserve asked for.
    pub reserve_required_gal: f64,
    /// Reserve asked for.
    pub reserve_required_min: f64,
    /// Least by the rule that applies.
    pub legal_reserve_gal: f64,
    /// Least by the rule that applies.
    pub legal_reserve_min: f64,
    /// To go on to the alternate; zero without one.
    pub alternate_fuel_gal: f64,
    /// Block fuel, fuel for the alternate and the reserve asked for.
    pub fuel_required_gal: f64,
}

/// The rule the legal least of the reserve comes from.
pub(super) fn legal_rule(problem: &Problem) -> &'static str {
    match problem.rules {
        Rules::UsIfr => "14 CFR 91.167",
        Rules::IcaoIfr => "NCO.OP.125, IFR",
        Rules::IcaoVfr if problem.night => "NCO.OP.125, night",
        Rules::IcaoVfr => "NCO.OP.125, day",
        Rules::UsVfr | Rules::None if problem.night => "14 CFR 91.151, night",
        Rules::UsVfr | Rules::None => "14 CFR 91.151, day",
    }
}

/// What the plan gains over ordinary flying; below zero it costs more.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Gain {
    /// Quicker by.
    pub time_min: f64,
    /// Thriftier by.
    pub fuel_gal: f64,
    /// Cheaper by.
    pub cost: f64,
    /// Start-down point of the ordinary descent, to go.
    pub ordinary_top_of_descent_to_go_nm: f64,
    /// Less than 2 min and less than 0.5 gal gained.
    pub small_gain: bool,
    /// The two flights differ by less than 2 min and less than 0.5 gal.
    pub no_real_difference: bool,
}

/// The ideal flight.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct IdealFigures {
    /// In the unit of the objective.
    pub objective_value: f64,
    /// Money at the trip's prices.
    pub cost: f64,
    /// Time.
    pub time_min: f64,
    /// Fuel.
    pub fuel_gal: f64,
    /// Margin of the plan over it.
    pub margin_percent: f64,
}

/// What the independent re-flight misses.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Reflight {
    /// Re-flown less planned time.
    pub time_error_s: f64,
    /// Re-flown less planned fuel.
    pub fuel_error_gal: f64,
    /// Above pattern altitude at the pattern point.
    pub height_error_ft: f64,
    /// Above pattern speed at the pattern point.
    pub speed_error_kt: f64,
}

pub(in crate::brief) fn totals(
    problem: &Problem,
    fuel: Fuel,
    t: &Totals,
    cruise_kg_s: f64,
) -> TotalsFigures {
    TotalsFigures {
        time_min: min(t.time_s),
        fuel_gal: fuel.gal(t.fuel_kg),
        block_time_min: min(t.block_time_s),
        block_fuel_gal: fuel.gal(t.block_fuel_kg),
        cost: plain(t.money),
        distance_nm: nm(t.distance_m),
        landing_fuel_gal: fuel.gal(t.landing_fuel_kg),
        reserve_min: min(t.reserve_s),
        reserve_required_gal: fuel.gal(t.reserve_required_kg),
        reserve_required_min: min(problem.limits.reserve_s),
        legal_reserve_gal: fuel.gal(t.legal_reserve_kg),
        legal_reserve_min: if cruise_kg_s > 0.0 {
            min(t.legal_reserve_kg / cruise_kg_s)
        } else {
            0.0
        },
        alternate_fuel_gal: fuel.gal(t.alternate_kg),
        fuel_required_gal: fuel.gal(t.fuel_required_kg),
    }
}

/// What is least, in a word.
pub(in crate::brief) fn objective_word(objective: Objective) -> &'static str {
    match objective {
        Objective::Time => "time",
        Objective::Fuel => "fuel",
        Objective::Money => "money",
    }
}

/// The unit of [`objective_value`].
pub(in crate::brief) fn objective_unit(objective: Objective) -> &'static str {
    match objective {
        Objective::Time => "min",
        Objective::Fuel => "gal",
        Objective::Money => "money",
    }
}

pub(in crate::brief) fn objective_value(objective: Objective, fuel: Fuel, si: f64) -> f64 {
    match objective {
        Objective::Time => min(si),
        Objective::Fuel => fuel.gal(si),
        Objective::Money => plain(si),
    }
}

pub(super) fn ordinary(plan: &Plan) -> Option<&Alternative> {
    plan.alternatives
        .iter()
        .find(|a| a.kind == AlternativeKind::OrdinaryDescent)
}

pub(super) fn gain(plan: &Plan, problem: &Problem, fuel: Fuel) -> Option<Gain> {
    let other = ordinary(plan)?;
    let time_s = other.totals.time_s - plan.totals.time_s;
    let fuel_kg = other.totals.fuel_kg - plan.totals.fuel_kg;
    let least_kg = NO_DIFFERENCE_M3 * problem.aircraft.fuel.density_kg_m3;
    Some(Gain {
        time_min: min(time_s),
        fuel_gal: fuel.gal(fuel_kg),
        cost: plain(other.totals.money - plan.totals.money),
        ordinary_top_of_descent_to_go_nm: nm(
            problem.length_m - other.flown.top_of_descent.distance_m
        ),
        small_gain: time_s < NO_DIFFERENCE_S && fuel_kg < least_kg,
        no_real_difference: time_s.abs() < NO_DIFFERENCE_S && fuel_kg.abs() < least_kg,
    })
}

/// "saves 1.8 min and 0.1 gal", or what it costs instead.
pub(in crate::brief) fn saves(gain: &Gain, units: Units) -> String {
    let (min, gal) = (gain.time_min, gain.fuel_gal);
    // What is lost is rounded up, so that it is never none.
    let (quicker, thriftier) = (min >= 0.0, gal >= 0.0);
    let shown = if quicker { down(min, 1) } else { up(-min, 1) };
    let time = format!("{} min", number(shown, 1));
    let fuel = if thriftier {
        units.left(gal)
    } else {
        units.burned(-gal)
    };
    match (quicker, thriftier) {
        (true, true) => format!("saves {time} and {fuel}"),
        (true, false) => format!("saves {time}, burns {fuel} more"),
        (false, true) => format!("saves {fuel}, takes {time} more"),
        (false, false) => format!("takes {time} and {fuel} more"),
    }
}
