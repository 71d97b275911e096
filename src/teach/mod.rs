//! What a lesson shows: so far, the glide without power.

pub mod glide;
