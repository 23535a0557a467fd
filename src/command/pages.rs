//! `flankread completions` and `flankread man`: what a shell and its manual want of a program.

use super::{Outcome, OutputOptions, print_as_is, program};
use crate::files::Folder;
use crate::{Error, Result};
use clap::Args;
use clap_complete::Shell;
use std::path::{Path, PathBuf};

/// Completions of commands, options and words for a shell, on standard output.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  flankread completions bash > ~/.local/share/bash-completion/completions/flankread
  flankread completions zsh > ~/.zfunc/_flankread
  flankread completions fish > ~/.config/fish/completions/flankread.fish")]
pub(super) struct Completions {
    /// The shell.
    #[arg(value_enum, ignore_case = true)]
    shell: Shell,
}

/// Manual pages of the program and each of its commands, into a folder.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread man --out ~/.local/share/man/man1 && man flankread-read"
)]
pub(super) struct Man {
    /// Folder to write into.
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// Overwrite pages that are there.
    #[arg(long)]
    force: bool,
}

impl Completions {
    pub(super) fn run(&self) -> Result<Outcome> {
        let mut bytes = Vec::new();
        clap_complete::generate(self.shell, &mut program(), "flankread", &mut bytes);
        print_as_is(&String::from_utf8_lossy(&bytes))?;
        Ok(Outcome::Answered)
    }
}

/// What `man --json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct ManDocument {
    /// `flankread/files/1`.
    schema: &'static str,
    /// What was written.
    files: Vec<PathBuf>,
}

impl Man {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let mut root = program();
        // Names the pages, and gives each command the options of every command.
        root.build();
        let mut pages = Vec::new();
        page(&root, "flankread".to_owned(), &mut pages)
            .map_err(|error| Error::machine(Path::new("a manual page"), error))?;
        let folder = Folder::new(&self.out, self.force);
        let names: Vec<String> = pages.iter().map(|(name, _)| name.clone()).collect();
        folder.check(&names)?;
        for (name, bytes) in &pages {
            folder.write(name, bytes)?;
        }
        if !output.quiet {
            eprintln!("wrote {} pages into {}", pages.len(), self.out.display());
        }
        if output.json {
            super::print_json(&ManDocument {
                schema: "flankread/files/1",
                files: names.iter().map(|name| self.out.join(name)).collect(),
            })?;
        }
        Ok(Outcome::Answered)
    }
}

/// The page of a command and those of all below it.
fn page(
    command: &clap::Command,
    name: String,
    pages: &mut Vec<(String, Vec<u8>)>,
) -> std::io::Result<()> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command.clone())
        .title(name.to_uppercase())
        .render(&mut bytes)?;
    let below = command
        .get_subcommands()
        .filter(|below| below.get_name() != "help");
    for below in below {
        page(below, format!("{name}-{}", below.get_name()), pages)?;
    }
    pages.push((format!("{name}.1"), bytes));
    Ok(())
}
