//! Flying: a [`Script`] of settings, speeds and triggers becomes a [`Flown`] flight through wind and weight.
//!
//! # Equations
//! Point mass, lift equal to weight: `(T - D) V / (m g) = dh/dt + (V/g)(dV/dt + (dw/dh_p) dh_p/dt)`, with `h` geometric,
//! `h_p` pressure altitude, `dh/dt = (dh_p/dt) T/T_std(h_p)`, `V` true airspeed and `w` the wind along the course, whose change with
//! distance and time is left out. Ground speed is
//! `sqrt((V cos g)² - w_x²) + w`. Mass falls with fuel. Classical Runge-Kutta steps of fourth order; cruise between wind nodes is
//! quasi-steady with the transient after setting power added in closed form.
//!
//! Circling over a field ([`Circle`]) is a steady turn at a bank: lift is weight times the load factor, so the induced drag grows with its
//! square and the least speed with its root ([`crate::air::turn`]); no ground is gained, and over whole turns wind and shear add nothing.
//!
//! **Invariant:** nothing here chooses; `solve` does. `reflight` shares no code with this module.

mod arrive;
mod audit;
mod climb;
mod cruise;
mod descend;
mod flown;
mod fly;
mod flyer;
mod kernel;
mod memory;
mod script;
#[cfg(test)]
pub(crate) mod testbed;
mod waymark;

pub use audit::{Audit, Limit};
pub use climb::{FieldClimb, field_climb};
pub use flown::{Circled, FlightError, Flown, Hint, Mark, Segment, SegmentKind, TrackPoint, turns};
pub use fly::{
    ClimbState, LetDown, SHORTEST_CRUISE_M, climb_states, fly, fly_fine, fly_recorded, fly_within,
    joined, let_down, let_down_recorded,
};
pub(crate) use kernel::{Nearness, steady_level};
pub use kernel::{State, Vertical, level_speed_m_s};
pub use memory::Memory;
pub use script::{
    Circle, Climb, Cruise, Descent, DescentPart, PathRule, Reduction, Script, ThrottleRule,
    trigger_m,
};
pub use waymark::{Waymark, WaymarkKind, point_at, waymarks};
