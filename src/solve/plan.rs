//! The answer: one plan, from which every face is made.

use super::alternate::AlternateFlight;
use super::later::Later;
use super::refine::Tried;
use super::search::SolveError;
use crate::aircraft::Throttle;
use crate::flight::{FlightError, Flown, Limit, Script, SegmentKind, TrackPoint};
use crate::reflight::Mismatch;
use crate::trip::{Change, Note, Objective, Problem};

/// Times, fuel and money of one plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Totals {
    /// Lift-off to landing, s.
    pub time_s: f64,
    /// Start of the take-off run to landing, kg.
    pub fuel_kg: f64,
    /// Start-up to shutdown, s.
    pub block_time_s: f64,
    /// Start-up to shutdown, kg.
    pub block_fuel_kg: f64,
    /// Money at the trip's prices, block time where the basis is the clock.
    pub money: f64,
    /// Route, m.
    pub distance_m: f64,
    /// Left at landing, kg.
    pub landing_fuel_kg: f64,
    /// What is left at landing lasts this long at the planned cruise flow, s.
    pub reserve_s: f64,
    /// Reserve asked for, kg.
    pub reserve_required_kg: f64,
    /// Legal least (14 CFR 91.151 by day 30 min, by night 45 min at cruise flow; IFR 91.167 45 min), kg.
    pub legal_reserve_kg: f64,
    /// To go on to the alternate from a go-around at the destination, kg; zero without one.
    pub alternate_kg: f64,
    /// Block fuel, the fuel for the alternate and the reserve asked for, kg.
    pub fuel_required_kg: f64,
}

/// The cheapest flight of this aircraft on this route in the model, with levels, comfort and few lever moves dropped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ideal {
    /// Objective (s, kg or money) over the flown part.
    pub objective_value: f64,
    /// Money over the flown part at the trip's prices.
    pub money: f64,
    /// Time, s.
    pub time_s: f64,
    /// Fuel, kg.
    pub fuel_kg: f64,
    /// Plan objective over ideal objective, less one.
    pub margin: f64,
}

/// The one choice that is other than in the plan; everything else is chosen anew for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AlternativeKind {
    /// Cruise RPM kept and MAP reduced to hold cruise IAS at 500 fpm; nothing else is chosen anew.
    OrdinaryDescent,
    /// Another first or last level, m indicated.
    Level(f64),
    /// Climb at Vy, where the plan climbs faster: indicated airspeed, m/s.
    ClimbVy(f64),
    /// A faster climb, where the plan climbs at Vy: indicated airspeed, m/s.
    CruiseClimb(f64),
    /// RPM of cruise kept in the descent, where the plan has less.
    CruiseRevDown,
    /// The least RPM allowed in the descent, where the plan keeps that of cruise; rev/s.
    CoarseDown(f64),
    /// Another throttle in a cruise stretch (by index).
    CruiseThrottle(usize, Throttle),
    /// Another crankshaft speed in a cruise stretch (by index), rev/s.
    CruiseRev(usize, f64),
    /// Fixed pitch: another RPM held in a cruise stretch (by index), rev/s.
    CruiseRpmHeld(usize, f64),
}

/// Another way to fly the trip.
#[derive(Debug, Clone, PartialEq)]
pub struct Alternative {
    /// What was changed.
    pub kind: AlternativeKind,
    /// Its totals.
    pub totals: Totals,
    /// Its objective (s, kg or money) less that of the plan.
    pub difference: f64,
    /// The same with lever changes charged, as the search compares plans.
    pub charged_difference: f64,
    /// The flight, path recorded.
    pub flown: Flown,
}

/// A choice for which no flight keeps every limit.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// The choice.
    pub kind: AlternativeKind,
    /// Limits in the way of the best such flight; none named where none could be flown to name them by.
    pub limits: Vec<Limit>,
}

/// The trip when something is other than planned with.
#[derive(Debug, Clone)]
pub struct Sensitivity {
    /// What is other.
    pub change: Change,
    /// Whether the plan was made anew for it; else the same settings were flown with the top of descent moved.
    pub anew: bool,
    /// What it comes to.
    pub outcome: Result<Shifted, NotFlown>,
}

/// What a change does to a plan.
#[derive(Debug, Clone)]
pub struct Shifted {
    /// Totals.
    pub totals: Totals,
    /// Objective (s, kg or money) less that of the plan.
    pub difference: f64,
    /// Limits that the settings then break.
    pub broken: Vec<Limit>,
    /// The flight, path recorded.
    pub flown: Flown,
}

/// Why a changed trip is not flown.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotFlown {
    /// Over the greatest take-off mass, kg over.
    #[error("over the greatest take-off weight")]
    TooHeavy(f64),
    /// The settings do not fly it to the end.
    #[error(transparent)]
    Flight(#[from] FlightError),
    /// No plan anew.
    #[error(transparent)]
    Solve(#[from] SolveError),
}

/// How the search ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Termination {
    /// The refinement met its tolerance and no rounded neighbour is better.
    Converged,
    /// The refinement ran out of steps; the rounded neighbours were still searched.
    StepsExhausted,
}

/// What the pilot must be told.
#[derive(Debug, Clone, PartialEq)]
pub enum Warning {
    /// From making the trip definite.
    Note(Note),
    /// The flight ends after the forecast does, s.
    ForecastEnds(f64),
    /// The forecast lasts to the landing, but not to that at the alternate, s short.
    ForecastEndsOnward(f64),
    /// Landing fuel is below the reserve asked for, kg short.
    BelowReserve(f64),
    /// Landing fuel is below the legal least, kg short.
    BelowLegalReserve(f64),
    /// The profile has no MAP/RPM limit line; RPM/100 was used.
    NoLimitLine,
    /// Pattern speed is above the speed at which gear may be extended.
    PatternAboveVlo,
    /// The flight circles over a field: no straight one was found.
    Circling {
        /// Greatest radius of the turns in still air, m.
        radius_m: f64,
        /// Over the departure.
        up: bool,
        /// Over the destination.
        down: bool,
    },
    /// The re-flight misses the plan by more than its bounds.
    Reflight,
    /// The search did not converge.
    NotConverged,
    /// Cold air or low pressure: lower than the altimeter reads.
    LowerThanRead {
        /// Leg, by index.
        leg: usize,
        /// By this much at the most, m.
        by_m: f64,
        /// Indicated altitude there, m.
        indicated_m: f64,
    },
    /// In cloud near freezing, or for an aircraft approved for it below.
    NearIce {
        /// Where it is coldest, m along the route.
        distance_m: f64,
        /// Temperature there, K.
        temperature_k: f64,
    },
    /// Above where oxygen is recommended, and none is on board.
    OxygenAdvised {
        /// Recommended above this pressure altitude, m.
        above_m: f64,
        /// Highest of the flight, m.
        highest_m: f64,
    },
    /// So high that each occupant must be provided with oxygen.
    OxygenForEach {
        /// Highest pressure altitude of the flight, m.
        highest_m: f64,
    },
    /// Strong wind at the height of ridges.
    RidgeWind {
        /// Leg, by index.
        leg: usize,
        /// Where, m along the route.
        at_m: f64,
        /// Wind there at the height of the ground, m/s.
        wind_m_s: f64,
        /// The ground, m.
        ground_m: f64,
        /// The part of the route in its lee, m along it, where the wind blows along the route.
        lee_m: Option<(f64, f64)>,
    },
}

/// One plan.
#[derive(Debug, Clone)]
pub struct Plan {
    /// What was least.
    pub objective: Objective,
    /// The flight, rounded to what a pilot can set, path recorded. Its script is what the pilot gets.
    pub flown: Flown,
    /// Totals.
    pub totals: Totals,
    /// Objective of the flown part (s, kg or money).
    pub objective_value: f64,
    /// The same before rounding.
    pub unrounded_value: f64,
    /// Ideal flight and margin.
    pub ideal: Ideal,
    /// Re-flight.
    pub reflight: Mismatch,
    /// Other ways, the cheapest first.
    pub alternatives: Vec<Alternative>,
    /// Other ways that no flight within the limits goes.
    pub left_out: Vec<LeftOut>,
    /// The trip with wind, load and temperature other than planned with.
    pub sensitivity: Vec<Sensitivity>,
    /// The trip at later times of departure, where these were asked for.
    pub later: Vec<Later>,
    /// On to the alternate, if the trip has one.
    pub alternate: Option<AlternateFlight>,
    /// Limits the plan lies on.
    pub binding: Vec<Limit>,
    /// Warnings.
    pub warnings: Vec<Warning>,
    /// How the search ended.
    pub termination: Termination,
    /// Full flights flown in the search.
    pub flights: usize,
}

/// Whole gain over ordinary flying below which there is no real difference: 2 min and 0.5 gal (at 6 lb/gal 1.36 kg).
pub const NO_DIFFERENCE_S: f64 = 120.0;
/// See [`NO_DIFFERENCE_S`]; m³.
pub const NO_DIFFERENCE_M3: f64 = 0.5 * crate::quantity::M3_PER_GAL;

/// The part of a flight that is open to choice: from the end of the initial climb to the pattern point; of a flight that circles, what
/// lies between the turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Objective, its own unit.
    pub cost: f64,
    /// Time, s.
    pub time_s: f64,
    /// Fuel, kg.
    pub fuel_kg: f64,
}

/// A plan in the making.
#[derive(Debug, Clone)]
pub(super) struct Draft {
    /// The flight, as in [`Plan`].
    pub flown: Flown,
    /// Its re-flight.
    pub mismatch: Mismatch,
    /// Its script before rounding, and whether the search for that ended by itself; none where it has not been looked for.
    pub unrounded: Option<(Script, bool)>,
    /// The best flights of other sequences of levels.
    pub others: Vec<Flown>,
    /// Full flights flown in the search.
    pub flights: usize,
    /// What changes of a part of a script came to in it.
    pub tried: Tried,
}

/// Flights behind a plan.
#[derive(Debug, Clone)]
pub struct Workings {
    /// The flight before rounding, path recorded; the plan itself where rounding found better.
    pub unrounded: Flown,
    /// The ideal flight; none where its grid holds no flight.
    pub ideal: Option<Part>,
}

/// Where what is open to choice begins: the end of the initial climb, that of the turns over the departure, or where a flight begins
/// in the air.
pub(super) fn open_from(flown: &Flown) -> Option<&TrackPoint> {
    if let Some(circled) = flown.circling_climb() {
        return flown.track.iter().find(|t| **t == circled.end);
    }
    let mut segments = flown.segments.iter();
    match segments.find(|s| s.kind == SegmentKind::InitialClimb) {
        Some(initial) => flown.track.get(initial.last),
        None => flown.track.first(),
    }
}

/// The open part of a recorded flight. A flight that meets pattern speed a little before the pattern point is charged for the way
/// there as it flies it.
///
/// `None` without a recorded path.
pub fn open_part(problem: &Problem, flown: &Flown) -> Option<Part> {
    let begin = open_from(flown)?.state;
    if let Some(circled) = flown.circling_descent() {
        let end = circled.begin.state;
        let (time_s, fuel_kg) = (end.time_s - begin.time_s, end.fuel_kg - begin.fuel_kg);
        let revolutions = end.revolutions - begin.revolutions;
        return Some(Part {
            cost: problem.cost_rates().of(time_s, fuel_kg, revolutions),
            time_s,
            fuel_kg,
        });
    }
    let end_m = problem.pattern_point_m(false);
    let i = flown
        .track
        .partition_point(|t| t.state.distance_m < end_m)
        .min(flown.track.len() - 1);
    let (a, b) = (
        flown.track.get(i.checked_sub(1)?)?.state,
        flown.track[i].state,
    );
    let x = (end_m - a.distance_m) / (b.distance_m - a.distance_m);
    let since = |begin: f64, a: f64, b: f64| a + x * (b - a) - begin;
    let time_s = since(begin.time_s, a.time_s, b.time_s);
    let fuel_kg = since(begin.fuel_kg, a.fuel_kg, b.fuel_kg);
    let revolutions = since(begin.revolutions, a.revolutions, b.revolutions);
    Some(Part {
        cost: problem.cost_rates().of(time_s, fuel_kg, revolutions),
        time_s,
        fuel_kg,
    })
}
