//! The aircraft model on the profiles that ship: each behaves as its kind, the bars of the model, and trade facts.

mod bars;
mod kinds;
mod rig;
mod trade;
