//! The lever card, its faces, and the descent begun elsewhere: limits by code of its own, late starts by brute force and re-flight.

mod faces;
mod late;
mod levers;
mod places;
