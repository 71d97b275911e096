//! Lessons: the glide without power, what one lever does alone, and worksheets of exercises with their answers.

pub mod glide;
pub mod what_if;
pub mod worksheet;
