//! `fellrun fit`: rows of a flight manual in, an aircraft profile out.

use super::Failure;
use super::output::{self, Target};
use crate::files::handbook;
use crate::files::profile::parse_profile;
use crate::fit::fit;
use clap::Args;
use std::path::PathBuf;

/// Arguments of `fit` as typed.
#[derive(Debug, Args)]
pub struct FitArgs {
    /// The rows: a TOML file (see `fellrun new handbook`)
    #[arg(value_name = "HANDBOOK.toml")]
    pub handbook: PathBuf,
    /// Write the aircraft profile; - for standard output
    #[arg(long, value_name = "PROFILE.toml")]
    pub out: Option<PathBuf>,
}

/// Fits a profile to the rows, writes it if asked, and prints the report.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &FitArgs) -> Result<(), Failure> {
    let targets: Vec<Target> = args.out.iter().map(|p| Target::new(p)).collect();
    let outputs = output::open(&targets, &[&args.handbook])?;
    let file = handbook::load(&args.handbook).map_err(|e| Failure::drawn(e.render_for_stderr()))?;
    let fitted = fit(&file.handbook)
        .map_err(|e| Failure::input(format!("{}: {e}", args.handbook.display())))?;
    let text = handbook::profile_text(&file, &fitted);
    // A figure fitted may contradict one typed: say so rather than hand over a profile that will not load.
    parse_profile(&text, &args.handbook).map_err(|e| {
        Failure::input(format!(
            "the profile fitted to {} does not hold together: {e}",
            args.handbook.display()
        ))
        .hint("a figure typed in the handbook contradicts its rows; correct it or leave it out")
    })?;
    let contents: Vec<Vec<u8>> = args.out.iter().map(|_| text.clone().into_bytes()).collect();
    output::commit(outputs, &contents)?;
    output::talk(&handbook::report_text(&file, &fitted), &targets)
}
