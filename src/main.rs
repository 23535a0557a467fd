//! The command line: arguments in, exit status out.

use clap::Parser;
use flankread::command::{Cli, Outcome};
use flankread::large_pages::LargePages;
use std::process::ExitCode;

#[global_allocator]
static MEMORY: LargePages = LargePages;

fn main() -> ExitCode {
    match Cli::parse().run() {
        Ok(Outcome::Answered) => ExitCode::SUCCESS,
        Ok(Outcome::NothingReadable) => ExitCode::from(1),
        Ok(Outcome::Interrupted) => ExitCode::from(130),
        Err(error) => {
            eprintln!("flankread: {error}");
            ExitCode::from(error.exit_status())
        }
    }
}
