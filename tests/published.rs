//! Checks against published numbers; each module names its set and its SOURCE.md.

#[path = "published/propeller.rs"]
mod propeller;
