//! The aircraft model and the profiles that ship: each behaves as its kind, the bars of the model, and trade facts.

#[path = "aircraft/rig.rs"]
mod rig;
#[path = "aircraft/probe.rs"]
mod probe;
