//! Trip planner for piston aeroplanes with a constant-speed propeller: level, climb, descent and lever settings for least
//! time, fuel or money.
//!
//! It advises. The approved flight manual, a weather briefing, notices, local rules and the pilot in command decide. What the
//! model leaves out is listed in the README.
//!
//! # The story of one plan
//! 1. **Read.** [`files`] turns a trip, the aircraft profile and the winds-aloft bulletins it names into domain types, cockpit
//!    units into SI, and notes everything that is wrong with a file before it refuses it.
//! 2. **Ask.** [`trip::resolve`] makes the question definite: legs, courses, weight, legal levels, and the air along the route,
//!    sampled once. The answer to "what is asked" is a [`trip::Problem`].
//! 3. **Search.** [`solve::plan`] finds the settings worth having at each level, lets dynamic programming propose level
//!    sequences, tries descents over the whole lever space, flies each candidate in full ([`flight`]), refines the best,
//!    and rounds it to what a hand can set.
//! 4. **Doubt.** [`reflight`] flies the rounded card again with equations and an integrator of its own; an ideal flight by another
//!    method says how much any plan could still gain. Both are part of the [`solve::Plan`].
//! 5. **Tell.** [`brief`] turns the plan into cockpit figures once, and those into a trip sheet, a lever card, a chart and JSON.
//!
//! ```
//! use fellrun::{brief, files::trip::load_trip, solve, trip::resolve};
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let file = load_trip("examples/first-trip.toml".as_ref(), None)?;
//! let problem = resolve(&file.trip, file.aircraft)?;
//! let plan = solve::plan(&problem)?;
//! let figures = brief::Figures::new(&plan, &problem);
//! assert!(brief::terminal(&figures, 100).starts_with(brief::TITLE));
//! # Ok(())
//! # }
//! ```
//!
//! # The map
//! Arrows point downwards only: a module uses those below it, never those above.
//!
//! | module | what |
//! | --- | --- |
//! | [`cli`] | arguments, options, errors to exit status |
//! | [`brief`] | one plan, many faces |
//! | [`solve`] | HOW the question is answered |
//! | [`files`] | input formats to domain types; beside `solve`, neither uses the other |
//! | [`reflight`] | the independent integrator; of `flight` it takes data types only |
//! | [`flight`] | a script of settings and triggers, flown; chooses nothing |
//! | [`teach`], [`tables`] | lessons and worksheets; the aircraft written out |
//! | [`trip`] | WHAT is asked |
//! | [`aircraft`] | airframe, engine, propeller, governor, procedures |
//! | [`air`], [`earth`] | atmosphere, airspeeds, wind; geodesics, variation, places |
//! | [`quantity`] | unit newtypes, factors, allowed ranges |
//!
//! Numbers inside are SI and carry their unit in the name; `DEVELOPERS.md` has the unit table, the invariants and the reasons.

// What tests share says `fellrun::` wherever it is taken in.
#[cfg(test)]
extern crate self as fellrun;

pub mod air;
pub mod aircraft;
pub mod brief;
pub mod cli;
pub mod earth;
pub mod files;
pub mod fit;
pub mod flight;
pub mod quantity;
pub mod reflight;
pub mod solve;
pub mod tables;
pub mod teach;
pub mod trip;
