//! The `fellrun` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    fellrun::cli::main()
}
