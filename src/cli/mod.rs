//! The command line: arguments as typed, checked into options, handed to the library, and the answer to `brief`.
//!
//! Standard output is data, standard error is talk. Exit 0: done; 1: what the user gave does not work or cannot be flown;
//! 2: our bug.

mod ask;
mod beside;
mod check;
mod compare;
mod descend;
mod fit;
mod frontier;
mod glide;
mod grid;
mod interrupt;
mod new;
mod output;
mod plan;
mod profile;
mod schema;
mod season;
mod season_results;
mod settings;
mod shell;
mod spread;
mod what_if;
mod winds;
mod worksheet;

pub use ask::AskArgs;
pub use check::CheckArgs;
pub use compare::CompareArgs;
pub use descend::{Air, DescendArgs, Over};
pub use fit::FitArgs;
pub use frontier::FrontierArgs;
pub use glide::GlideArgs;
pub use grid::{GridArgs, Span};
pub use new::NewArgs;
pub use plan::PlanArgs;
pub use schema::SchemaArgs;
pub use season::{HourWord, SeasonArgs};
pub use settings::SettingsArgs;
pub use shell::{CompletionsArgs, ManArgs};
pub use spread::SpreadArgs;
pub use winds::WindsArgs;
pub use worksheet::WorksheetArgs;

use crate::brief::Units;
use clap::{Parser, Subcommand, ValueEnum};
use std::fmt;
use std::io::Write;
use std::panic::AssertUnwindSafe;
use std::process::ExitCode;
use std::sync::{Mutex, PoisonError};

/// Arguments as typed.
#[derive(Debug, Parser)]
#[command(
    name = "fellrun",
    version,
    about = "Plans a trip for a piston aeroplane with a constant-speed propeller",
    long_about = "Plans a trip for a single-engined piston aeroplane with a constant-speed propeller: how high, what manifold \
                  pressure, RPM and mixture, where to start down and how.\n\nIt advises. The approved flight manual, a weather \
                  briefing, notices, local rules and the pilot in command decide.",
    after_help = "Exit status: 0 done, 1 the input does not work or cannot be flown, 2 a bug of fellrun.\nColour is left out \
                  when the output is not a terminal or NO_COLOR is set.",
    arg_required_else_help = true
)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Plan a trip and print its trip sheet.
    Plan(Box<PlanArgs>),
    /// Show the plans of a trip that no other beats in both time and fuel.
    Frontier(Box<FrontierArgs>),
    /// Show how sure a plan is: flown in many winds that the forecast may be wrong by, at its own level and at others.
    Spread(Box<SpreadArgs>),
    /// Fly one trip with several aircraft, or with one whose profile is changed, side by side.
    Compare(Box<CompareArgs>),
    /// Add up a year of trips over a spread of winds, by four ways to fly: fuel, hours, money, and what is saved.
    Season(Box<SeasonArgs>),
    /// Show the wind along and across the course of a trip, by height and stretch.
    Winds(WindsArgs),
    /// Print a table of power settings of an aircraft, or show what one lever does alone.
    Settings(SettingsArgs),
    /// Write thrust, drag, fuel flow and power over every axis as CSV.
    Grid(GridArgs),
    /// Show the glide without power: best speed, ratio, what the propeller lever does.
    Glide(GlideArgs),
    /// Fly ways down side by side: what each saves, what it asks, and where coarse and fast pays.
    Descend(Box<DescendArgs>),
    /// Write exercises with an answer key, or mark a student's answers.
    Worksheet(WorksheetArgs),
    /// Fit an aircraft profile to rows of a flight manual or to what was measured in flight.
    Fit(FitArgs),
    /// Write a commented file to begin with.
    New(NewArgs),
    /// Write the JSON Schema of what a command writes as JSON.
    Schema(SchemaArgs),
    /// Tell what files are, by their content, and whether they are in order.
    Check(CheckArgs),
    /// Write a completion script for a shell.
    Completions(CompletionsArgs),
    /// Write manual pages.
    Man(ManArgs),
}

/// In which units volumes, weights and air pressures are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub enum UnitsArg {
    /// US gallons, pounds, inches of mercury
    #[default]
    Us,
    /// Litres, kilograms, hectopascals; feet, knots, nautical miles, °C and manifold pressure in inches stay
    Metric,
}

impl From<UnitsArg> for Units {
    fn from(units: UnitsArg) -> Self {
        match units {
            UnitsArg::Us => Self::Us,
            UnitsArg::Metric => Self::Metric,
        }
    }
}

/// How a command failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// The user's input, or a trip that cannot be flown: exit 1.
    Input,
    /// Our bug: exit 2.
    Bug,
}

/// A failure as the user sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// Whose fault.
    pub fault: Fault,
    /// What went wrong, with the action, the value and the unit; may have several lines.
    pub message: String,
    /// What to do about it.
    pub hint: Option<String>,
    /// The message draws itself, "error:" included.
    pub drawn: bool,
}

impl Failure {
    /// The user's input does not work.
    pub fn input(message: impl fmt::Display) -> Self {
        Self {
            fault: Fault::Input,
            message: message.to_string(),
            hint: None,
            drawn: false,
        }
    }

    /// An error that is already drawn for the reader, with file, line and key.
    pub fn drawn(message: impl fmt::Display) -> Self {
        Self {
            drawn: true,
            ..Self::input(message)
        }
    }

    /// Our bug.
    pub fn bug(message: impl fmt::Display) -> Self {
        Self {
            fault: Fault::Bug,
            hint: Some(
                "this is a bug of fellrun; please report it with the files you gave".to_owned(),
            ),
            ..Self::input(message)
        }
    }

    /// With advice.
    #[must_use]
    pub fn hint(mut self, hint: impl fmt::Display) -> Self {
        self.hint = Some(hint.to_string());
        self
    }

    /// Exit status.
    pub fn status(&self) -> u8 {
        match self.fault {
            Fault::Input => 1,
            Fault::Bug => 2,
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.drawn {
            write!(f, "{}", self.message.trim_end())?;
        } else {
            write!(f, "error: {}", self.message)?;
        }
        if let Some(hint) = &self.hint {
            write!(f, "\n\nhint: {hint}")?;
        }
        Ok(())
    }
}

/// Does what the arguments ask for.
///
/// # Errors
/// [`Failure`] with the exit status.
pub fn run(args: &Args) -> Result<(), Failure> {
    match &args.command {
        Command::Plan(args) => plan::run(args),
        Command::Frontier(args) => frontier::run(args),
        Command::Spread(args) => spread::run(args),
        Command::Compare(args) => compare::run(args),
        Command::Season(args) => season::run(args),
        Command::Winds(args) => winds::run(args),
        Command::Settings(args) => settings::run(args),
        Command::Grid(args) => grid::run(args),
        Command::Glide(args) => glide::run(args),
        Command::Descend(args) => descend::run(args),
        Command::Worksheet(args) => worksheet::run(args),
        Command::Fit(args) => fit::run(args),
        Command::New(args) => new::run(args),
        Command::Schema(args) => schema::run(args),
        Command::Check(args) => check::run(args),
        Command::Completions(args) => shell::completions(args),
        Command::Man(args) => shell::man(args),
    }
}

/// What the last panic said.
static LAST_PANIC: Mutex<String> = Mutex::new(String::new());
/// What the standard library says of a number that cannot be read.
const NOT_A_NUMBER: [&str; 4] = [
    "invalid float literal",
    "cannot parse float from empty string",
    "invalid digit found in string",
    "cannot parse integer from empty string",
];

/// Parses the arguments of the process, runs, and tells how it ended.
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(e) => {
            // Help and version are answers, a wrong argument is the user's input. Nothing is left to do if printing fails.
            let words = e.render().ansi().to_string();
            let plain = NOT_A_NUMBER.iter().fold(words.clone(), |words, from| {
                words.replace(from, "not a number")
            });
            if plain == words {
                let _ = e.print();
            } else {
                let _ = write!(anstream::stderr(), "{plain}");
            }
            return if e.use_stderr() {
                ExitCode::from(1)
            } else {
                ExitCode::SUCCESS
            };
        }
    };
    // A panic is our bug and is told as one; one that is caught further in, on a damaged field of a forecast, is no news.
    std::panic::set_hook(Box::new(|info| {
        let mut last = LAST_PANIC.lock().unwrap_or_else(PoisonError::into_inner);
        *last = info.to_string();
    }));
    let done = std::panic::catch_unwind(AssertUnwindSafe(|| run(&args))).unwrap_or_else(|_| {
        let last = LAST_PANIC.lock().unwrap_or_else(PoisonError::into_inner);
        Err(Failure::bug(&*last))
    });
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            let _ = writeln!(anstream::stderr(), "{failure}");
            ExitCode::from(failure.status())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn closed_form_arguments_are_consistent() {
        Args::command().debug_assert();
    }

    #[test]
    fn closed_form_every_argument_has_help() {
        let mut checked = 0;
        for c in Args::command().get_subcommands() {
            for a in c
                .get_arguments()
                .filter(|a| a.get_id() != "help" && a.get_id() != "version")
            {
                assert!(a.get_help().is_some(), "{}", a.get_id());
                checked += 1;
            }
        }
        assert!(checked >= 4);
    }

    #[test]
    fn closed_form_failures_read_and_exit_as_promised() {
        let f = Failure::input("no trip file at x.toml").hint("look again");
        assert_eq!(
            f.to_string(),
            "error: no trip file at x.toml\n\nhint: look again"
        );
        assert_eq!(f.status(), 1);
        assert_eq!(Failure::bug("x").status(), 2);
        assert_eq!(
            Failure::drawn("error: a\n --> b\n").to_string(),
            "error: a\n --> b"
        );
    }
}
