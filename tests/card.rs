//! The lever card, its faces, and the descent begun elsewhere: limits by code of its own, late starts by brute force and re-flight.

mod common;

#[path = "card/faces.rs"]
mod faces;
#[path = "card/late.rs"]
mod late;
#[path = "card/levers.rs"]
mod levers;
#[path = "card/places.rs"]
mod places;
