//! `flankread job`: the record of a job in the workshop's database.

mod amend;
mod archive;
mod card_new;
mod closing;
mod measured;
mod new;
mod show;
mod trial;
mod trial_ask;

use super::{Outcome, OutputOptions};
use crate::Result;
use crate::job::answers::JobAnswer;
use crate::job::open::{Purpose, usual_place};
use crate::job::{JobError, Store};
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// The record of a job: its card, every assembly with photos, the advice, the closing list, the build sheet.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job new 'Rear axle, blue pickup' --card axle.toml && flankread job next"
)]
pub(crate) struct Job {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    New(new::New),
    List(show::List),
    Show(show::Show),
    Trial(Box<trial::TrialArgs>),
    Amend(Box<amend::AmendArgs>),
    Advise(show::Advise),
    Next(show::NextArgs),
    Note(new::NoteArgs),
    Strike(new::Strike),
    Check(closing::Check),
    Close(closing::Close),
    Sheet(archive::Sheet),
    Export(archive::Export),
    Import(archive::Import),
    Card(card_new::CardArgs),
}

/// What every subcommand on one job may be told.
#[derive(Debug, Args)]
struct Common {
    /// The job's number; the newest open job when not given.
    #[arg(long, value_name = "NUMBER")]
    job: Option<i64>,
    #[command(flatten)]
    database: Database,
}

/// Where the workshop's database is.
#[derive(Debug, Args)]
pub(super) struct Database {
    /// The workshop's database; else FLANKREAD_DB, else a file in your data folder.
    #[arg(long, value_name = "FILE")]
    db: Option<PathBuf>,
}

impl Database {
    /// The file: as it was named, else the usual one.
    pub(super) fn path(&self) -> PathBuf {
        self.db.clone().unwrap_or_else(|| usual_place().path)
    }

    fn open(&self, purpose: Purpose) -> Result<Store> {
        Ok(Store::open(&self.path(), purpose)?)
    }

    /// Whether nobody named a database and none is in the usual place yet.
    fn is_to_begin(&self) -> bool {
        let usual = usual_place();
        self.db.is_none() && !usual.named && !usual.path.exists()
    }
}

impl Common {
    /// The job, to record in it.
    fn open(&self) -> Result<(Store, i64)> {
        self.open_to(Purpose::Change)
    }

    /// The job, only to be read.
    fn look(&self) -> Result<(Store, i64)> {
        self.open_to(Purpose::Look)
    }

    fn open_to(&self, purpose: Purpose) -> Result<(Store, i64)> {
        if self.database.is_to_begin() {
            return Err(JobError::NoOpenJob.into());
        }
        let store = self.database.open(purpose)?;
        let job = store.job(self.job)?;
        Ok((store, job))
    }
}

/// When something was done and by whom.
#[derive(Debug, Args)]
struct WhenWho {
    /// When, as 2026-05-04T10:30:00; now when not given.
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Who; the job's mechanic when not given.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

impl Job {
    /// Carries the subcommand out.
    ///
    /// # Errors
    /// Whatever it met.
    pub(crate) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        match &self.what {
            What::New(what) => what.run(output),
            What::List(what) => what.run(output),
            What::Show(what) => what.run(output),
            What::Trial(what) => what.run(output),
            What::Amend(what) => what.run(output),
            What::Advise(what) => what.run(output),
            What::Next(what) => what.run(output),
            What::Note(what) => what.run(output),
            What::Strike(what) => what.run(output),
            What::Check(what) => what.run(output),
            What::Close(what) => what.run(output),
            What::Sheet(what) => what.run(output),
            What::Export(what) => what.run(output),
            What::Import(what) => what.run(output),
            What::Card(what) => what.run(output),
        }
    }
}

/// A short answer: words for people, a document for machines.
fn say(output: OutputOptions, words: &str, document: JobAnswer) -> Result<Outcome> {
    if output.json {
        super::print_json(&document)?;
    } else {
        super::print(&format!("{words}\n"))?;
    }
    Ok(Outcome::Answered)
}
