//! `fellrun schema`: what the JSON of a command is, as JSON Schema.

use super::Failure;
use super::output::{self, Target};
use crate::brief::{self, Document};
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Arguments of `schema` as typed.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// The command whose JSON it is
    #[arg(value_enum, value_name = "COMMAND")]
    pub of: Writer,
    /// Write it here instead of standard output
    #[arg(long, value_name = "PATH")]
    pub out: Option<PathBuf>,
}

/// Commands that write JSON.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Writer {
    /// fellrun plan
    Plan,
    /// fellrun winds
    Winds,
    /// fellrun settings
    Settings,
    /// fellrun glide
    Glide,
    /// fellrun frontier
    Frontier,
    /// fellrun spread
    Spread,
    /// fellrun compare
    Compare,
    /// fellrun season
    Season,
}

/// Writes the schema.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &SchemaArgs) -> Result<(), Failure> {
    let target = args.out.as_deref().map_or(Target::Stdout, Target::new);
    let outputs = output::open(&[target], &[])?;
    let text = brief::schema(match args.of {
        Writer::Plan => Document::Plan,
        Writer::Winds => Document::Winds,
        Writer::Settings => Document::Settings,
        Writer::Glide => Document::Glide,
        Writer::Frontier => Document::Frontier,
        Writer::Spread => Document::Spread,
        Writer::Compare => Document::Compare,
        Writer::Season => Document::Season,
    })
    .map_err(Failure::bug)?;
    output::commit(outputs, &[text.into_bytes()])
}
