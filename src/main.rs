//! The `fellrun` command.
fn main() {}
