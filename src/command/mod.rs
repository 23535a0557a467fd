//! The command line: one file per command with its arguments and the call, nothing else.

mod advise;
mod ask;
mod batch;
mod job;
mod lesson;
mod read;
mod schema;
mod set_folder;
mod setup;
mod simulate;
mod worker;

use crate::{Error, ErrorKind, Result};
use clap::{Parser, Subcommand};
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
    /// Interrupted by the user: exit status 130, as shells have it for an interrupt.
    Interrupted,
}

/// Reads the contact pattern on ring-gear flanks and says which shims to change.
#[derive(Debug, Parser)]
#[command(name = "flankread", version, about, propagate_version = true)]
struct Cli {
    #[command(subcommand)]
    command: Command,
    /// One JSON document on standard output, for machines.
    #[arg(long, global = true)]
    json: bool,
    /// No progress and no remarks on standard error.
    #[arg(long, short, global = true)]
    quiet: bool,
}

/// How a command prints.
#[derive(Debug, Clone, Copy)]
pub(crate) struct OutputOptions {
    /// JSON on standard output.
    pub json: bool,
    /// Nothing on standard error but errors.
    pub quiet: bool,
}

#[derive(Debug, Subcommand)]
enum Command {
    Advise(advise::Advise),
    Job(job::Job),
    Batch(Box<batch::BatchArgs>),
    Lesson(lesson::Lesson),
    Read(read::ReadArgs),
    Schema(schema::Schema),
    Setup(Box<setup::Setup>),
    Simulate(Box<simulate::Simulate>),
    Worker(worker::Worker),
}

/// Writes to standard output. A reader that has gone away is no failure.
fn print(text: &str) -> Result<()> {
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
    print(&format!("{text}\n"))
}

/// Carries out what the process's arguments say and gives its exit status.
pub fn run() -> ExitCode {
    match Cli::parse().run() {
        Ok(Outcome::Answered) => ExitCode::SUCCESS,
        Ok(Outcome::NothingReadable) => ExitCode::from(1),
        Ok(Outcome::Interrupted) => ExitCode::from(130),
        Err(error) => {
            eprintln!("flankread: {error}");
            ExitCode::from(match error.kind() {
                ErrorKind::Machine => 3,
                ErrorKind::Input => 2,
            })
        }
    }
}

impl Cli {
    /// Carries the command out.
    ///
    /// # Errors
    /// Whatever the command met; `main` makes the exit status of its [kind](crate::Error::kind).
    fn run(self) -> Result<Outcome> {
        let output = OutputOptions {
            json: self.json,
            quiet: self.quiet,
        };
        match self.command {
            Command::Advise(command) => command.run(output),
            Command::Batch(args) => batch::run(&args, output),
            Command::Worker(command) => command.run(),
            Command::Lesson(command) => command.run(output),
            Command::Simulate(command) => command.run(output),
            Command::Job(command) => command.run(output),
            Command::Read(args) => read::run(&args, output),
            Command::Schema(command) => command.run(output),
            Command::Setup(command) => command.run(output),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Cli;
    use clap::CommandFactory;

    #[test]
    fn no_command_has_two_options_of_one_name() {
        Cli::command().debug_assert();
    }
}
