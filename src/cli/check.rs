//! `fellrun check`: what files are, and whether they are in order.

use super::Failure;
use super::output;
use crate::files::check::check;
use clap::Args;
use std::io::Write as _;
use std::path::PathBuf;

/// Arguments of `check` as typed.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Files to look at: trips, aircraft profiles, handbooks, winds aloft, GRIB2, weather reports, SRTM tiles, keep-out volumes, GPX, places, notes of a flight, answers to a worksheet
    #[arg(value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,
}

/// Says of each file what it is and what was understood, one line each; what is wrong goes to standard error.
///
/// # Errors
/// [`Failure`] when any file is wrong or of no known kind; the others are told all the same.
pub fn run(args: &CheckArgs) -> Result<(), Failure> {
    let mut bad = 0;
    for path in &args.files {
        match check(path) {
            Ok(understood) => {
                let line = format!(
                    "{}: {}: {}\n",
                    path.display(),
                    understood.kind,
                    understood.line
                );
                output::text_to_stdout(&line)?;
            }
            Err(error) => {
                bad += 1;
                // Talk: nothing is left to do if it cannot be said.
                let _ = writeln!(
                    anstream::stderr(),
                    "{}\n",
                    error.render_for_stderr().trim_end()
                );
            }
        }
    }
    match bad {
        0 => Ok(()),
        n => Err(Failure::input(format!(
            "{n} of {} file(s) not in order",
            args.files.len()
        ))),
    }
}
