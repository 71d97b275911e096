//! `fellrun schema`: what the JSON of a command is, as JSON Schema.

use super::Failure;
use super::output::{self, Target};
use crate::brief::{self, Document};
use clap::builder::PossibleValue;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Arguments of `schema` as typed.
#[derive(Debug, Args)]
pub struct SchemaArgs {
    /// The command whose JSON it is
    #[arg(value_enum, value_name = "COMMAND")]
    pub of: Document,
    /// Write it here instead of standard output
    #[arg(long, value_name = "PATH")]
    pub out: Option<PathBuf>,
}

impl ValueEnum for Document {
    fn value_variants<'a>() -> &'a [Self] {
        &Self::ALL
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        let command = self.command();
        Some(PossibleValue::new(command).help(format!("fellrun {command}")))
    }
}

/// Writes the schema.
///
/// # Errors
/// [`Failure`]; then no output file was touched.
pub fn run(args: &SchemaArgs) -> Result<(), Failure> {
    let target = args.out.as_deref().map_or(Target::Stdout, Target::new);
    let outputs = output::open(&[target], &[])?;
    let text = brief::schema(args.of).map_err(Failure::bug)?;
    output::commit(outputs, &[text.into_bytes()])
}
