//! `flankread advise`: advice from a job, without any photo.

use super::{Outcome, OutputOptions};
use crate::files;
use crate::report::advice::advice_text;
use crate::rules::{self, Job};
use crate::{Error, Result};
use clap::Args;
use std::io::Read as _;
use std::path::{Path, PathBuf};

/// A job is a file of a few kilobytes; more than this is something else.
const MOST_BYTES: u64 = 16 << 20;

/// Advice on what to change next, from a job's card and trials.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread advise --units in fixtures/jobs/high-heel.json")]
pub(crate) struct Advise {
    /// The job (JSON, flankread/job/1); `-` reads standard input.
    job: PathBuf,
}

impl Advise {
    /// Reads the job and prints the advice.
    ///
    /// # Errors
    /// A job or a card that cannot be used.
    pub(crate) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let job = Job::from_json(&self.text()?, self.folder())?;
        let units = output.units(Some(&job.card));
        let mut advice = rules::advise_in(&job.card, &job.trials, units)?;
        advice.cautions.extend(job.remarks);
        if output.json {
            super::print_json(&advice)?;
        } else {
            super::print(&advice_text(&advice, units))?;
        }
        Ok(Outcome::Answered)
    }

    fn is_standard_input(&self) -> bool {
        self.job == Path::new("-")
    }

    /// Where a card given by path is looked for.
    fn folder(&self) -> &Path {
        if self.is_standard_input() {
            return Path::new(".");
        }
        self.job.parent().unwrap_or(Path::new("."))
    }

    fn text(&self) -> Result<String> {
        let unread = |source| Error::input(&self.job, source);
        let bytes = if self.is_standard_input() {
            let mut bytes = Vec::new();
            std::io::stdin()
                .take(MOST_BYTES)
                .read_to_end(&mut bytes)
                .map_err(unread)?;
            bytes
        } else {
            files::read(&self.job, MOST_BYTES).map_err(unread)?
        };
        let wrong = |what: &str| {
            Error::usage(format!(
                "{}: this is {what}; `advise` reads a job, JSON with `card` and `trials`. Photos go to `flankread read`",
                self.job.display()
            ))
        };
        let text =
            String::from_utf8(bytes).map_err(|_| wrong("a file without text, such as a photo"))?;
        if text.lines().any(|line| line.trim() == "[gear]") {
            return Err(wrong("a card"));
        }
        Ok(text)
    }
}
