//! The command line: arguments in, exit status out.

use clap::Parser;
use flankread::ErrorKind;
use flankread::command::{Cli, Outcome};
use std::process::ExitCode;

/// Pictures are large and short-lived: the system's allocator gives each one's memory back and has it
/// cleared again for the next, a quarter of a reading's time.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    match Cli::parse().run() {
        Ok(Outcome::Answered) => ExitCode::SUCCESS,
        Ok(Outcome::NothingReadable) => ExitCode::from(1),
        Ok(Outcome::Interrupted) => ExitCode::from(130),
        Err(error) => {
            eprintln!("flankread: {error}");
            ExitCode::from(match error.kind() {
                ErrorKind::Machine => 3,
                _ => 2,
            })
        }
    }
}
