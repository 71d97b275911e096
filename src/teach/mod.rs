//! Lessons: the glide without power, and worksheets of exercises with their answers.

pub mod glide;
pub mod worksheet;
