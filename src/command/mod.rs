//! The command line: one file per command with its arguments and the call, nothing else.

mod read;

use crate::Result;
use clap::{Parser, Subcommand};

/// How a command ended when nothing failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// The question was answered: exit status 0.
    Answered,
    /// Answered, but the answer is that nothing could be read: exit status 1.
    NothingReadable,
}

/// Reads the contact pattern on ring-gear flanks and says which shims to change.
#[derive(Debug, Parser)]
#[command(name = "flankread", version, about, propagate_version = true)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
    /// One JSON document on standard output, for machines.
    #[arg(long, global = true)]
    json: bool,
    /// No progress and no remarks on standard error.
    #[arg(long, short, global = true)]
    quiet: bool,
}

/// What every command may ask about how to talk.
#[derive(Debug, Clone, Copy)]
pub struct Talk {
    /// JSON on standard output.
    pub json: bool,
    /// Nothing on standard error but errors.
    pub quiet: bool,
}

#[derive(Debug, Subcommand)]
enum Command {
    Read(read::ReadArgs),
}

impl Cli {
    /// Carries the command out.
    ///
    /// # Errors
    /// Whatever the command met; [`crate::Error::exit_status`] gives the exit status.
    pub fn run(self) -> Result<Outcome> {
        let talk = Talk {
            json: self.json,
            quiet: self.quiet,
        };
        match self.command {
            Command::Read(args) => read::run(&args, talk),
        }
    }
}
