//! `flankread job list`, `show`, `advise` and `next`.

use super::{Common, Database};
use crate::Result;
use crate::command::{Outcome, OutputOptions, print, print_json};
use crate::job::answers::JobAnswer;
use crate::job::begin::advise;
use crate::job::clock::given_or_now;
use crate::job::next::next;
use crate::job::open::Purpose;
use crate::report::advice::advice_text;
use crate::report::job::text::{job_text, list_text, next_text};
use crate::schema::record::Followed;
use clap::Args;

/// Lists the jobs of the workshop, newest first.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job list")]
pub(super) struct List {
    #[command(flatten)]
    database: Database,
}

/// Shows everything recorded of a job.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job show --job 3 --units in")]
pub(super) struct Show {
    /// As a document that `flankread advise` reads (flankread/job/1).
    #[arg(long)]
    as_job: bool,
    #[command(flatten)]
    common: Common,
}

/// Advice on what to change next, from all assemblies of the job; it is kept with the job.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job advise --units in\n         flankread job advise --followed no --because 'no 3 thou shim left'"
)]
pub(super) struct Advise {
    /// Instead of new advice, say what became of the last, or of that after the trial --after.
    #[arg(long, value_enum)]
    followed: Option<Followed>,
    /// The trial that the advice was given on.
    #[arg(long, value_name = "TRIAL", requires = "followed")]
    after: Option<i64>,
    /// Why.
    #[arg(long, default_value = "", requires = "followed")]
    because: String,
    /// When, as 2026-05-04T10:30:00; now when not given.
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    #[command(flatten)]
    common: Common,
}

/// Says what the next station is and what is missing there.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job next")]
pub(super) struct NextArgs {
    #[command(flatten)]
    common: Common,
}

impl List {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let jobs = if self.database.is_to_begin() {
            Vec::new()
        } else {
            self.database.open(Purpose::Look)?.jobs()?
        };
        if output.json {
            print_json(&JobAnswer::List { jobs })?;
        } else {
            print(&list_text(&jobs))?;
        }
        Ok(Outcome::Answered)
    }
}

impl Show {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let (store, job) = self.common.look()?;
        let record = store.record(job)?;
        if self.as_job {
            print_json(&record.as_job())?;
        } else if output.json {
            print_json(&record)?;
        } else {
            print(&job_text(&record, &output.shown(Some(&record.card))))?;
        }
        Ok(Outcome::Answered)
    }
}

impl Advise {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.at.as_deref())?;
        let (mut store, job) = self.common.open()?;
        if let Some(followed) = self.followed {
            let after = store.set_followed(job, self.after, followed, &self.because)?;
            return super::say(
                output,
                &format!(
                    "Noted: the advice after trial {after} of job {job} was {}.",
                    followed.word()
                ),
                JobAnswer::Followed {
                    job,
                    after,
                    followed,
                },
            );
        }
        let card = store.record(job)?.card;
        let units = output.units(Some(&card));
        let (advice, is_kept) = advise(&mut store, job, units, &at)?;
        if !is_kept && !output.quiet {
            eprintln!("job {job} is closed: this advice is not kept");
        }
        if output.json {
            print_json(&advice)?;
        } else {
            print(&advice_text(&advice, units))?;
        }
        Ok(Outcome::Answered)
    }
}

impl NextArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let (store, job) = self.common.look()?;
        let record = store.record(job)?;
        let next = next(&record, &output.shown(Some(&record.card)));
        if output.json {
            print_json(&JobAnswer::Next { job, next })?;
        } else {
            print(&next_text(&record, &next))?;
        }
        Ok(Outcome::Answered)
    }
}
