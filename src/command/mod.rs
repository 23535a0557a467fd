//! The command line: one file per command with its arguments and the call, nothing else.

mod advise;
mod arguments;
mod ask;
mod batch;
mod doctor;
mod failure;
mod globals;
mod job;
mod lesson;
mod page;
mod pages;
mod photo_words;
mod read;
mod schema;
mod set_folder;
mod settings;
mod setup;
mod simulate;
mod terminal;
mod worker;

use crate::{Error, Result};
use clap::{CommandFactory as _, FromArgMatches as _, Parser, Subcommand};
pub(crate) use globals::OutputOptions;
use std::ffi::OsString;
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

/// How a command ended when nothing failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outcome {
    /// The question was answered: exit status 0.
    Answered,
    /// Answered, but the answer is that nothing, or of a batch not everything, could be read: exit
    /// status 1.
    NothingReadable,
    /// Advice was asked for and could not be given: exit status 1.
    NoAdvice,
    /// The workshop's database cannot be used: exit status 2.
    Unusable,
    /// The workshop's database is damaged: exit status 3.
    Damaged,
    /// Interrupted by the user: exit status 130, as shells have it for an interrupt.
    Interrupted,
}

/// Reads the contact pattern on ring-gear flanks and says which shims to change.
#[derive(Debug, Parser)]
#[command(
    name = "flankread",
    version,
    about,
    propagate_version = true,
    after_help = "Example: flankread read --card axle.toml --drive drive.jpg --coast coast.jpg --out pictures

Settings: units, length_unit and torque_unit in flankread/config.toml in your folder of settings,
or in the file that FLANKREAD_CONFIG names. FLANKREAD_UNITS goes before the file."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    globals: globals::Globals,
}

// In the order of the work: the bench, what is seen there, the record of it; many sets; learning; machines.
#[derive(Debug, Subcommand)]
enum Command {
    Setup(Box<setup::Setup>),
    Read(Box<read::ReadArgs>),
    Advise(advise::Advise),
    Job(job::Job),
    Page(Box<page::PageArgs>),
    Batch(Box<batch::BatchArgs>),
    Simulate(Box<simulate::Simulate>),
    Lesson(lesson::Lesson),
    Doctor(doctor::Doctor),
    Worker(worker::Worker),
    Schema(schema::Schema),
    Completions(pages::Completions),
    Man(pages::Man),
}

/// Writes a text for people to standard output.
fn print(text: &str) -> Result<()> {
    print_as_is(&terminal::harmless(text))
}

/// Writes to standard output. A reader that has gone away is no failure.
fn print_as_is(text: &str) -> Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Error::machine(Path::new("standard output"), error))
        }
        _ => Ok(()),
    }
}

/// Writes one JSON document to standard output.
fn print_json(document: &impl serde::Serialize) -> Result<()> {
    let text = serde_json::to_string_pretty(document)
        .map_err(|error| Error::machine(Path::new("standard output"), error.into()))?;
    print_as_is(&terminal::harmless_json(&format!("{text}\n")))
}

/// The program with all its commands and options.
fn program() -> clap::Command {
    Cli::command()
}

/// Carries out what the process's arguments say and gives its exit status.
pub fn run() -> ExitCode {
    let root = arguments::with_negatives(program());
    let typed: Vec<OsString> = std::env::args_os().collect();
    let arguments = arguments::understood_arguments(&root, typed);
    let parsed = root
        .try_get_matches_from(&arguments)
        .and_then(|matches| Cli::from_arg_matches(&matches));
    let cli = match parsed {
        Ok(cli) => cli,
        Err(error) => return failure::of_usage(error, &arguments),
    };
    let json = failure::asked_for_json(&arguments);
    match cli.run(&arguments) {
        Ok(Outcome::Answered) => ExitCode::SUCCESS,
        Ok(Outcome::NothingReadable | Outcome::NoAdvice) => ExitCode::from(1),
        Ok(Outcome::Unusable) => ExitCode::from(2),
        Ok(Outcome::Damaged) => ExitCode::from(3),
        Ok(Outcome::Interrupted) => ExitCode::from(130),
        Err(error) => failure::of_run(&error, json),
    }
}

impl Cli {
    /// Carries the command out.
    ///
    /// # Errors
    /// Whatever the command met; `run` makes the exit status of its [kind](crate::Error::kind).
    fn run(self, arguments: &[OsString]) -> Result<Outcome> {
        let output = self.globals.output(arguments)?;
        match self.command {
            Command::Setup(command) => command.run(output),
            Command::Read(args) => read::run(&args, output),
            Command::Advise(command) => command.run(output),
            Command::Job(command) => command.run(output),
            Command::Page(args) => page::run(&args, output),
            Command::Batch(args) => batch::run(&args, output),
            Command::Simulate(command) => command.run(output),
            Command::Lesson(command) => command.run(output),
            Command::Doctor(command) => command.run(output),
            Command::Worker(command) => command.run(),
            Command::Schema(command) => command.run(output),
            Command::Completions(command) => command.run(),
            Command::Man(command) => command.run(output),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{arguments, program};

    #[test]
    fn no_command_has_two_options_of_one_name() {
        arguments::with_negatives(program()).debug_assert();
    }
}
