//! HOW the question is answered: settings envelope, level search, refinement, rounding, ideal flight.
//!
//! [`plan`] tells the story: options at each level, level sequences by dynamic programming, climb and descent candidates, each
//! sequence flown in full and refined, rounded to what a pilot can set, the best kept, re-flown and set beside the ideal flight.
//!
//! Same input, same answer, bit for bit: nothing here draws a random number or depends on the clock or the number of threads.

mod advice;
mod alternate;
mod as_flown;
mod bounded;
pub mod cruise;
mod descent;
mod frontier;
mod ideal;
mod infeasible;
mod later;
mod least;
mod levels;
mod plan;
mod refine;
mod search;
mod two_speeds;
mod why;

pub use alternate::{AlternateError, AlternateFlight};
pub use as_flown::{AsFlown, LegFlown, NotSteady, Steady, TotalFlown, as_flown};
pub use frontier::{
    APART_M3, APART_S, Frontier, FrontierPlan, Quicker, frontier, frontier_of_trip, threads,
};
pub use later::{Later, LaterPlan, NotPlanned, later};
pub use least::{TripError, plan_trip};
pub use levels::stretch_ends;
pub use plan::{
    Alternative, AlternativeKind, Ideal, LeftOut, NO_DIFFERENCE_M3, NO_DIFFERENCE_S, NotFlown,
    Part, Plan, Sensitivity, Shifted, Termination, Totals, Warning, Workings, open_part,
};
pub use search::{SolveError, charged, on_schedule, plan, plan_with_workings, prepared};
pub use why::{Because, CHANGES, DescentMeans, Reason, because, explained, planned_anew};
