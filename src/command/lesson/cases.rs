//! `flankread lesson cases`: ten graded cases to print, with and without answers.

use super::{Outcome, OutputOptions, say_written};
use crate::Result;
use crate::files::Folder;
use crate::lesson::case::Set;
use crate::lesson::cases::{COUNT, CaseAnswer, cases};
use crate::lesson::quiz::Quiz;
use crate::report::draw::pdf::pdf;
use crate::schema::Card;
use clap::Args;
use serde::Serialize;
use std::path::PathBuf;

/// Ten cases of growing difficulty to print, with and without the answers.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  flankread lesson cases --out cases --seed 7 --units in

Writes cases.pdf for the class and answers.pdf for the teacher. The cases are the first ten questions of the quiz of
that seed: a class's answers as a table are graded with lesson quiz --grade FILE --seed 7 --count 10.")]
pub(crate) struct CasesArgs {
    /// Folder to write into.
    #[arg(long, value_name = "FOLDER")]
    out: PathBuf,
    /// The card of a gear set; invented axles when left out.
    #[arg(long, value_name = "FILE")]
    card: Option<PathBuf>,
    /// Decides the cases: the same seed asks the same.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Width of the photos in pixels; larger takes longer.
    #[arg(long, value_name = "PIXELS", default_value_t = 800, value_parser = clap::value_parser!(u32).range(160..=4000))]
    photo_width: u32,
    /// Overwrite files that exist.
    #[arg(long)]
    force: bool,
}

/// What `lesson cases --json` prints.
#[derive(Serialize, schemars::JsonSchema)]
pub(crate) struct CasesDocument<'a> {
    schema: &'static str,
    seed: u64,
    cases: &'a [CaseAnswer],
    files: &'a [PathBuf],
}

impl CasesArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let card = self.card.as_ref().map(Card::read).transpose()?;
        let units = output.units(card.as_ref());
        let names = ["cases.pdf".to_owned(), "answers.pdf".to_owned()];
        let folder = Folder::new(&self.out, self.force);
        folder.check(&names)?;
        let quiz = match card {
            Some(card) => Quiz::of_card(Set::new(card)?, self.seed),
            None => Quiz::new(self.seed)?,
        };
        let mut done = |number| {
            if !output.quiet {
                eprintln!("drew case {number} of {COUNT}");
            }
        };
        let size = (self.photo_width, self.photo_width * 3 / 4);
        let made = cases(&quiz, size, units, &mut done)?;
        let files = [
            pdf("Contact pattern cases", &made.pages)?,
            pdf("Contact pattern cases, answers", &made.answered)?,
        ];
        let written = names
            .iter()
            .zip(&files)
            .map(|(name, bytes)| folder.write(name, bytes))
            .collect::<Result<Vec<PathBuf>>>()?;
        if output.json {
            super::super::print_json(&CasesDocument {
                schema: "flankread/lesson_cases/1",
                seed: self.seed,
                cases: &made.answers,
                files: &written,
            })?;
        }
        say_written(&written, output);
        Ok(Outcome::Answered)
    }
}
