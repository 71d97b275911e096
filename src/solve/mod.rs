//! HOW the question is answered: settings envelope, level search, refinement, rounding, ideal flight.
//!
//! [`plan`] tells the story: options at each level, level sequences by dynamic programming, climb and descent candidates, each
//! sequence flown in full and refined, rounded to what a pilot can set, the best kept, re-flown and set beside the ideal flight.
//!
//! Same input, same answer, bit for bit: nothing here depends on the clock or the number of threads, and only [`spread`] draws numbers, from
//! the seed it is given.

mod advice;
mod alternate;
mod as_flown;
mod because;
mod bounded;
mod circling;
mod compare;
pub mod cruise;
mod descent;
mod descent_map;
mod foresight;
mod frontier;
mod ideal;
mod if_changed;
mod infeasible;
mod late;
mod later;
mod least;
mod levels;
mod percentiles;
mod plan;
mod power;
mod refine;
mod reserve;
mod search;
mod season;
mod season_year;
mod spread;
mod study;
mod study_rig;
mod two_speeds;
mod usual;
mod why;
mod workers;

pub use alternate::{AlternateError, AlternateFlight};
pub use as_flown::{AsFlown, LegFlown, NotSteady, Steady, TotalFlown, as_flown};
pub use because::{Because, DescentMeans, Reason, because};
pub use compare::{Fitted, KeptOff, compare, plan_as_fits};
pub use descent_map::{BestOf, DescentMap, MapAxes, MapPanel, best_of, descent_map};
pub use frontier::{
    APART_M3, APART_S, Frontier, FrontierPlan, Quicker, frontier, frontier_of_trip,
};
pub use if_changed::{CHANGES, planned_anew};
pub use late::{Early, HalfWay, Late, LateMeans, LateStart, Rough, late, rough};
pub use later::{Later, LaterPlan, NotPlanned, later};
pub use least::{TripError, flight_of_trip, plan_trip};
pub use levels::stretch_ends;
pub use percentiles::Percentiles;
pub use plan::{
    Alternative, AlternativeKind, Ideal, LeftOut, NO_DIFFERENCE_M3, NO_DIFFERENCE_S, NotFlown,
    Part, Plan, Sensitivity, Shifted, Termination, Totals, Warning, Workings, open_part,
};
pub use search::{
    SolveError, charged, on_schedule, plan, plan_with_workings, prepared, totals as totals_of,
};
pub use season::{
    Charges, FlightOf, POLICIES, Policy, SeasonError, SeasonFlights, SeasonTrip, fly_season,
    season_flights,
};
pub use season_year::{MEASURES, Measure, SeasonYear, YearOf, Yearly, season_year};
pub use spread::{Choice, SampleFlown, Spread, SpreadAsk, WayFlown, error_field, sampled, spread};
pub use study::{
    CruiseAsk, Down, Family, NoCoarse, SHALLOW_M_S, STEEP_M_S, Study, StudyError, Style, Thumbs,
    Way, cruise_of, five_times_m_s, room_m, study, three_per_thousand_m, two_minutes_m,
};
pub use usual::{Usual, usual_flight};
pub use why::{best_of_levels, explained};
pub use workers::threads;
