//! `flankread job new`, `job note` and `job strike`.

use super::{Common, Database, WhenWho, say};
use crate::Result;
use crate::command::{Outcome, OutputOptions};
use crate::job::answers::JobAnswer;
use crate::job::begin::{Called, begin, meshes, not_found_note};
use crate::job::clock::given_or_now;
use crate::job::open::Purpose;
use crate::schema::Card;
use crate::schema::record::Note;
use clap::Args;
use std::path::PathBuf;

/// Opens a job.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job new 'Rear axle, blue pickup' --card axle.toml --axle '8-inch, 11 x 41' --by Robin"
)]
pub(super) struct New {
    /// What you call the job.
    name: String,
    /// The card of the gear set.
    #[arg(long, value_name = "FILE")]
    card: PathBuf,
    /// Vehicle and axle, tag numbers, whatever tells it from others.
    #[arg(long, default_value = "")]
    axle: String,
    #[command(flatten)]
    who: WhenWho,
    #[command(flatten)]
    database: Database,
}

/// Adds a note to a job.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job note 'Caps marked L and R; burr dressed off the flange'"
)]
pub(super) struct NoteArgs {
    /// What to note.
    #[arg(required_unless_present = "not_found")]
    text: Option<String>,
    /// The axle as found cannot be had any more (it came in pieces).
    #[arg(long)]
    not_found: bool,
    #[command(flatten)]
    who: WhenWho,
    #[command(flatten)]
    common: Common,
}

/// Strikes a trial out that was written down or assembled wrong: it stays in the record and counts no more.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job strike 3 --because 'pinion pack was 0.032in'")]
pub(super) struct Strike {
    /// Which trial.
    trial: i64,
    /// Why.
    #[arg(long)]
    because: String,
    #[command(flatten)]
    common: Common,
}

impl Strike {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let (mut store, job) = self.common.open()?;
        store.strike(job, self.trial, &self.because)?;
        say(
            output,
            &format!("Trial {} of job {job} is struck out.", self.trial),
            JobAnswer::Strike {
                job,
                trial: self.trial,
            },
        )
    }
}

impl New {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let card = Card::read(&self.card)?;
        // Before the database is touched.
        meshes(&card)?;
        let opened = given_or_now(self.who.at.as_deref())?;
        let mut store = self.database.open(Purpose::Begin)?;
        let called = Called {
            name: self.name.clone(),
            axle: self.axle.clone(),
            mechanic: self.who.by.clone().unwrap_or_default(),
        };
        let number = begin(&mut store, called, &card, opened)?;
        say(
            output,
            &format!(
                "Job {number} is open: {}. `flankread job next` says where to begin.",
                self.name
            ),
            JobAnswer::New { job: number },
        )
    }
}

impl NoteArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.who.at.as_deref())?;
        let (mut store, job) = self.common.open()?;
        let by = match &self.who.by {
            Some(by) => by.clone(),
            None => store.record(job)?.head.mechanic,
        };
        let words = self.text.as_deref().unwrap_or_default();
        let text = if self.not_found {
            not_found_note(words)
        } else {
            words.to_owned()
        };
        store.note(job, &Note { at, by, text })?;
        say(
            output,
            &format!("Noted in job {job}."),
            JobAnswer::Note { job },
        )
    }
}
