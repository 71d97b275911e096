//! Checks against published numbers; each module names its set and its SOURCE.md.

mod propeller;
