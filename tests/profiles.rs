//! The aircraft model on the profiles that ship: each behaves as its kind, the bars of the model, and trade facts.

mod common;

#[path = "profiles/bars.rs"]
mod bars;
#[path = "profiles/kinds.rs"]
mod kinds;
#[path = "profiles/rig.rs"]
mod rig;
#[path = "profiles/trade.rs"]
mod trade;
