//! `fellrun completions` and `fellrun man`: what a shell and a manual reader want to know of the commands.

use super::output::{self, Target};
use super::{Args, Failure};
use clap::{Args as Arguments, Command, CommandFactory};
use clap_complete::Shell;
use std::path::PathBuf;

/// Arguments of `completions` as typed.
#[derive(Debug, Arguments)]
pub struct CompletionsArgs {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    pub shell: Shell,
}

/// Arguments of `man` as typed.
#[derive(Debug, Arguments)]
pub struct ManArgs {
    /// Write a page for every command into this folder, instead of that of fellrun to standard output
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
}

/// Writes a completion script to standard output.
///
/// # Errors
/// [`Failure`] if it cannot be written.
pub fn completions(args: &CompletionsArgs) -> Result<(), Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Args::command(), "fellrun", &mut script);
    let outputs = output::open(&[Target::Stdout], &[])?;
    output::commit(outputs, &[script])
}

/// Writes manual pages.
///
/// # Errors
/// [`Failure`]; then no page was touched.
pub fn man(args: &ManArgs) -> Result<(), Failure> {
    let mut whole = Args::command();
    // Gives every command its whole name.
    whole.build();
    let mut pages = Vec::new();
    match &args.out {
        None => pages.push((Target::Stdout, page(&whole)?)),
        Some(folder) => {
            let mut add = |command: &Command, name: String| {
                let path = folder.join(format!("{name}.1"));
                pages.push((Target::File(path), page(command)?));
                Ok::<_, Failure>(())
            };
            add(&whole, "fellrun".to_owned())?;
            for command in whole.get_subcommands().filter(|c| c.get_name() != "help") {
                let name = format!("fellrun-{}", command.get_name());
                for part in command.get_subcommands().filter(|c| c.get_name() != "help") {
                    add(part, format!("{name}-{}", part.get_name()))?;
                }
                add(command, name)?;
            }
        }
    }
    let (targets, texts): (Vec<Target>, Vec<Vec<u8>>) = pages.into_iter().unzip();
    let outputs = output::open(&targets, &[])?;
    output::commit(outputs, &texts)
}

fn page(command: &Command) -> Result<Vec<u8>, Failure> {
    let mut text = Vec::new();
    clap_mangen::Man::new(command.clone())
        .render(&mut text)
        .map_err(Failure::bug)?;
    Ok(text)
}
