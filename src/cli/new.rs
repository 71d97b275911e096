//! `fellrun new`: commented files to begin with.

use super::Failure;
use super::ask::{self, AskArgs};
use super::output::{self, Target};
use super::plan::Least;
use crate::files::shipped::PROFILES;
use crate::files::{handbook, shipped};
use clap::builder::PossibleValuesParser;
use clap::{Args, Subcommand};
use std::path::{Path, PathBuf};

/// Arguments of `new` as typed.
#[derive(Debug, Args)]
pub struct NewArgs {
    /// What to begin
    #[command(subcommand)]
    pub what: New,
}

/// What `new` writes.
#[derive(Debug, Subcommand)]
pub enum New {
    /// A commented handbook file for `fellrun fit`.
    Handbook {
        /// Write it here instead of standard output
        #[arg(long, value_name = "HANDBOOK.toml")]
        out: Option<PathBuf>,
    },
    /// A copy of an aircraft profile that comes with fellrun, to be edited.
    Profile {
        /// Which
        #[arg(value_name = "NAME", value_parser = PossibleValuesParser::new(PROFILES.map(|(name, _)| name)))]
        name: String,
        /// Write it here instead of standard output
        #[arg(long, value_name = "PROFILE.toml")]
        out: Option<PathBuf>,
    },
    /// A commented trip file for `fellrun plan`, filled with what is typed.
    Trip(Box<NewTripArgs>),
}

/// Arguments of `new trip` as typed.
#[derive(Debug, Args)]
pub struct NewTripArgs {
    /// Write it here instead of standard output
    #[arg(long, value_name = "TRIP.toml")]
    pub out: Option<PathBuf>,
    /// The aircraft profile
    #[arg(long, value_name = "PROFILE.toml")]
    pub profile: Option<PathBuf>,
    /// What is to be least [default: money where prices are given, else time]
    #[arg(long, value_enum, value_name = "WHAT")]
    pub objective: Option<Least>,
    /// What the trip is.
    #[command(flatten)]
    pub ask: AskArgs,
}

/// Writes a commented file.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &NewArgs) -> Result<(), Failure> {
    let (out, text) = match &args.what {
        New::Handbook { out } => (out, handbook::template().to_owned()),
        New::Profile { name, out } => {
            // Invariant: the argument is one of the names.
            let text = shipped::profile(name).unwrap_or_default();
            (out, text.to_owned())
        }
        New::Trip(args) => {
            let folder = args.out.as_deref().and_then(Path::parent);
            let profile = args.profile.as_deref();
            (
                &args.out,
                ask::template(&args.ask, profile, args.objective, folder)?,
            )
        }
    };
    let target = out.as_deref().map_or(Target::Stdout, Target::new);
    let outputs = output::open(&[target], &[])?;
    output::commit(outputs, &[text.into_bytes()])
}
