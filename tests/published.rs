//! Checks against published numbers; each module names its set and its SOURCE.md.

#[path = "common/naca658.rs"]
mod naca658;
#[path = "published/propeller.rs"]
mod propeller;
