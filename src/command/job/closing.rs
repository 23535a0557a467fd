//! `flankread job check` and `job close`.

use super::{Common, WhenWho, say};
use crate::Result;
use crate::command::{Outcome, OutputOptions};
use crate::job::JobError;
use crate::job::answers::JobAnswer;
use crate::job::clock::given_or_now;
use crate::job::closing::{outside, torque_nm};
use crate::job::next::{Station, next};
use crate::job::open::Purpose;
use crate::schema::record::{Item, Note, Tick};
use clap::Args;

/// Ticks an item of the closing list off.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job check ring-bolts --value 55lb-ft\n         flankread job check vent --value 'none on this axle'"
)]
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
    /// Take a torque outside its limit, or an unusual one, as it is written; the sheet prints it in red.
    #[arg(long, requires = "because")]
    as_written: bool,
    /// Why a torque outside its limit stands.
    #[arg(long, value_name = "WORDS", default_value = "")]
    because: String,
    #[command(flatten)]
    who: WhenWho,
    #[command(flatten)]
    common: Common,
}

/// Closes a job: nothing more is recorded in it.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread job close")]
pub(super) struct Close {
    /// Close it although work is left; the sheet says so in red.
    #[arg(long, conflicts_with = "reopen", requires = "because")]
    anyway: bool,
    /// Why it is closed with work left; kept as a note.
    #[arg(long, value_name = "WORDS", conflicts_with = "reopen")]
    because: Option<String>,
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
                because: String::new(),
            };
            store.tick(job, &tick, true)?;
            return say(
                output,
                &format!("{word} is open again."),
                JobAnswer::Check {
                    job,
                    item: self.item,
                    done: false,
                    remark: None,
                },
            );
        }
        let shown = &output.shown(Some(&record.card));
        let nm = torque_nm(self.item, self.value.as_deref(), self.as_written)?;
        let found = nm.and_then(|nm| outside(&record, self.item, nm, shown));
        if let (Some(says), false) = (&found, self.as_written) {
            return Err(JobError::Use(format!(
                "{word} stays open: {says}. Put it right and tick it off then; where the axle's manual has it so, add \
                 --as-written --because 'why'"
            ))
            .into());
        }
        let mut remark =
            found.map(|says| format!("Outside its limit, printed in red on the sheet: {says}."));
        if nm.is_some() && self.item.limit(&record, shown).is_none() {
            remark =
                Some("The card has no limit for it: hold it against the axle's manual.".into());
        }
        let by = self.who.by.clone().unwrap_or(record.head.mechanic);
        let value = self.value.clone().unwrap_or_default();
        store.tick(
            job,
            &Tick {
                item: self.item,
                at,
                by,
                value,
                because: self.because.clone(),
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
            JobAnswer::Check {
                job,
                item: self.item,
                done: true,
                remark: remark.clone(),
            },
        )
    }
}

impl Close {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.at.as_deref())?;
        let mut store = self.common.database.open(Purpose::Change)?;
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
                JobAnswer::Close { job, closed: false },
            );
        }
        let record = store.record(job)?;
        let next = next(&record, &output.shown(Some(&record.card)));
        if next.station != Station::Done {
            let Some(because) = self.because.as_ref().filter(|_| self.anyway) else {
                return Err(JobError::Use(format!(
                    "job {job} is not finished: {} Missing: {}. To close it all the same, say why: --anyway --because 'why'",
                    next.says,
                    next.missing.join("; ")
                ))
                .into());
            };
            let note = Note {
                at: at.clone(),
                by: record.head.mechanic,
                text: format!("Closed with work left, because: {because}"),
            };
            store.note(job, &note)?;
        }
        store.close(job, Some(&at))?;
        say(
            output,
            &format!("Job {job} is closed."),
            JobAnswer::Close { job, closed: true },
        )
    }
}
