//! Refinement on the fully flown plan: continuous by argmin, rounded by search of the neighbours. Here what flights are charged; the parts are
//! the pilot who flies scripts ([`pilot`]), what is set by a figure and rounded ([`knobs`]), the changes a pilot could make ([`moves`]), the walk
//! along them ([`mod@settle`]), what they came to before ([`tried`]), levers that follow others ([`alike`]), and the simplex ([`simplex`]).

mod alike;
mod knobs;
mod moves;
mod pilot;
mod reckon;
mod settle;
mod simplex;
mod tried;

pub(super) use knobs::{CLIMB_AT_STEP_M, clear_both_ways, second_climb_from_m};
pub use knobs::{by_steps, keep_tied, reduction_by_steps, rounded, to_step};
pub(super) use pilot::{COARSE_ERROR, key};
pub use pilot::{Kept, Pilot, with_trigger};
pub use settle::{Reach, settle, settle_within};
pub(super) use settle::{clear_of_ground, settle_loosely, settle_strictly};
pub use simplex::continuous;
pub(super) use tried::Tried;

use crate::aircraft::Throttle;
use crate::flight::{Script, ThrottleRule};

/// A flight that breaks limits is charged this share of its cost for each scale unit of violation.
pub const PENALTY: f64 = 0.02;
/// Each lever change must be worth this share of the objective (DESIGN section 5: 0.1 %).
pub const MOVE_WORTH: f64 = 1e-3;
/// Lever changes of a change of level: one to begin it, and manifold pressure, RPM and mixture set anew after it.
pub const LEVEL_CHANGE_MOVES: f64 = 4.0;
/// What a flight that cannot be flown is charged, in the objective's own unit (s, kg or money): far above any flight.
const UNFLYABLE: f64 = 1e9;

/// Whether two crankshaft speeds [rev/s] are one setting.
pub(super) fn same_rev(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

/// Lever changes of a script that a plainer one would not have: in the descent a new RPM, a new mixture, a manifold pressure to
/// hold, an early reduction and an early gear; a second speed of the climb; and those of each change of level on the way.
pub fn lever_changes(script: &Script) -> f64 {
    let last = *script.last_cruise();
    let d = &script.descent.first;
    let mut n = usize::from(script.climb.second.is_some());
    n += usize::from(script.descent.last().gear_down);
    n += usize::from(d.throttle != ThrottleRule::Rpm && !same_rev(d.rev_s, last.rev_s));
    n += usize::from(d.mixture != last.mixture);
    // A manifold pressure set for the descent: held, or left alone where cruise had full throttle.
    n += usize::from(match d.throttle {
        ThrottleRule::Held(_) | ThrottleRule::Rpm => true,
        ThrottleRule::LeftAlone(_) => last.throttle == Throttle::Full,
        ThrottleRule::Full | ThrottleRule::Untouched => false,
    });
    if let Some((_, second)) = script.descent.second {
        // What the second part sets anew; another path is a change of its own.
        n += usize::from(
            second.throttle.set_map_pa().is_some() || second.throttle == ThrottleRule::Rpm,
        );
        n += usize::from(second.throttle != ThrottleRule::Rpm && !same_rev(second.rev_s, d.rev_s));
        n += usize::from(second.mixture != d.mixture);
        n += usize::from(second.path != d.path);
    }
    #[expect(clippy::cast_precision_loss, reason = "a few")]
    {
        n as f64 + LEVEL_CHANGE_MOVES * (script.cruise.len() - 1) as f64
    }
}
