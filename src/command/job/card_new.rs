//! `flankread job card new`: asks for what a card needs and saves it.

use crate::card::ask::{QUESTIONS, check_answer, written};
use crate::command::{Outcome, OutputOptions};
use crate::files;
use crate::{Error, Result};
use clap::{Args, Subcommand};
use serde_json::json;
use std::collections::BTreeMap;
use std::io::{BufRead as _, Write as _};
use std::path::{Path, PathBuf};

/// Cards of gear sets.
#[derive(Debug, Args)]
pub(super) struct CardArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Asks for each value, says where to find it on the axle, checks it, and saves the card with comments.
    #[command(
        after_help = "Example: flankread job card new --out axle.toml\nAnswers may come from a file, one a line: flankread job card new --out axle.toml < answers.txt"
    )]
    New(New),
}

#[derive(Debug, Args)]
struct New {
    /// The file to save.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Overwrite the file if it is there.
    #[arg(long)]
    force: bool,
}

impl CardArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        match &self.what {
            What::New(new) => new.run(output),
        }
    }
}

impl New {
    fn run(&self, output: OutputOptions) -> Result<Outcome> {
        if !self.force && self.out.exists() {
            return Err(Error::usage(format!(
                "{} is there already; choose another name or overwrite with --force",
                self.out.display()
            )));
        }
        let answers = self.ask()?;
        let text = written(&answers).map_err(|error| error.of(self.out.display()))?;
        files::write(&self.out, text.as_bytes(), self.force)?;
        super::say(
            output,
            &format!(
                "wrote {}. Look it over, and check the limits against the axle's manual.",
                self.out.display()
            ),
            &json!({"schema": "flankread/card-new/1", "file": self.out}),
        )
    }

    /// Asks question after question on standard error; an answer that cannot be is asked again.
    fn ask(&self) -> Result<BTreeMap<usize, String>> {
        let mut input = std::io::stdin().lock();
        let mut answers = BTreeMap::new();
        let mut out = std::io::stderr();
        let mut say = |text: &str| {
            // A terminal that has gone away is no reason to lose the answers.
            let _ = out.write_all(text.as_bytes());
            let _ = out.flush();
        };
        say(
            "Answer each question, with the unit where it asks for a length or a torque. Empty: skip.\n",
        );
        for (number, question) in QUESTIONS.iter().enumerate() {
            say(&format!("\n{}\n  {}\n", question.ask, question.find));
            loop {
                say(&format!("  {} > ", question.name));
                let mut line = String::new();
                let ended = input
                    .read_line(&mut line)
                    .map_err(|source| Error::input(Path::new("standard input"), source))?
                    == 0;
                let line = line.trim();
                if !line.is_empty() {
                    match check_answer(question.table, question.name, line) {
                        Ok(()) => {
                            answers.insert(number, line.to_owned());
                            break;
                        }
                        Err(error) => say(&format!("  {error}\n")),
                    }
                } else if !question.required() {
                    break;
                } else if ended {
                    return Err(Error::usage(format!(
                        "a card needs `{}`; the answers ended before it",
                        question.name
                    )));
                } else {
                    say("  This one is needed.\n");
                }
            }
        }
        say("\n");
        Ok(answers)
    }
}
