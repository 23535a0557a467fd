//! `flankread job check` and `job close`.

use super::{Common, WhenWho, say};
use crate::Result;
use crate::command::{Outcome, OutputOptions};
use crate::job::JobError;
use crate::job::clock::given_or_now;
use crate::job::closing::check;
use crate::job::next::{Station, next};
use crate::schema::Condition;
use crate::schema::record::Item;
use crate::schema::record::Tick;
use clap::Args;
use serde_json::json;

/// Ticks an item of the closing list off.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job check ring-bolts --value 55lb-ft")]
pub(super) struct Check {
    /// Which item.
    #[arg(value_enum)]
    item: Item,
    /// What was measured or used: a torque with its unit, or words.
    #[arg(long, value_name = "VALUE")]
    value: Option<String>,
    /// Take the tick away again.
    #[arg(long, conflicts_with = "value")]
    undo: bool,
    /// Take an unusual torque as it is written.
    #[arg(long)]
    as_written: bool,
    #[command(flatten)]
    who: WhenWho,
    #[command(flatten)]
    common: Common,
}

/// Closes a job: nothing more is recorded in it.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job close")]
pub(super) struct Close {
    /// Close it although something is missing.
    #[arg(long, conflicts_with = "reopen")]
    anyway: bool,
    /// Open a closed job again.
    #[arg(long)]
    reopen: bool,
    /// When, as 2026-05-04T10:30:00; now when not given.
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    #[command(flatten)]
    common: Common,
}

impl Check {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.who.at.as_deref())?;
        let (mut store, job) = self.common.open()?;
        let record = store.record(job)?;
        let word = self.item.word();
        if self.undo {
            let tick = Tick {
                item: self.item,
                at,
                by: String::new(),
                value: String::new(),
            };
            store.tick(job, &tick, true)?;
            return say(
                output,
                &format!("{word} is open again."),
                &json!({"schema": "flankread/job-check/1", "job": job, "item": self.item, "done": false}),
            );
        }
        let used = record.counting().rev().find_map(|a| a.bench.bearings) == Some(Condition::Used);
        let remark = check(
            self.item,
            self.value.as_deref(),
            self.item.window_nm(&record.card, used),
            self.as_written,
            &output.shown(Some(&record.card)),
        )?;
        let by = self.who.by.clone().unwrap_or(record.head.mechanic);
        let value = self.value.clone().unwrap_or_default();
        store.tick(
            job,
            &Tick {
                item: self.item,
                at,
                by,
                value,
            },
            false,
        )?;
        let mut words = format!("{word}: {} – done.", self.item.asks());
        if let Some(remark) = &remark {
            words += &format!("\n  - {remark}");
        }
        say(
            output,
            &words,
            &json!({"schema": "flankread/job-check/1", "job": job, "item": self.item, "done": true, "remark": remark}),
        )
    }
}

impl Close {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.at.as_deref())?;
        let mut store = self.common.database.open()?;
        let job = match (self.reopen, self.common.job) {
            (true, None) => {
                return Err(JobError::Use("say which job to open again, with --job".into()).into());
            }
            (_, number) => store.job(number)?,
        };
        if self.reopen {
            store.close(job, None)?;
            return say(
                output,
                &format!("Job {job} is open again."),
                &json!({"schema": "flankread/job-close/1", "job": job, "closed": false}),
            );
        }
        let record = store.record(job)?;
        let next = next(&record, &output.shown(Some(&record.card)));
        if next.station != Station::Done && !self.anyway {
            return Err(JobError::Use(format!(
                "job {job} is not finished: {} Missing: {}. Close it all the same with --anyway",
                next.says,
                next.missing.join("; ")
            ))
            .into());
        }
        store.close(job, Some(&at))?;
        say(
            output,
            &format!("Job {job} is closed."),
            &json!({"schema": "flankread/job-close/1", "job": job, "closed": true}),
        )
    }
}
