//! `flankread job trial`: records an assembly with its photos.

use super::measured::{Numbers, Photos};
use super::{Common, WhenWho, trial_ask};
use crate::Result;
use crate::command::{Outcome, OutputOptions};
use crate::job::answers::JobAnswer;
use crate::job::assembly::{self, By, Recorded, nothing_said};
use crate::job::clock::given_or_now;
use crate::job::new_trial::NewTrial;
use crate::report::job::text::carried_over;
use crate::schema::record::Bench;
use crate::schema::{Card, Trial};
use clap::Args;

/// Records an assembly: shims, torques, backlash, photos of both flanks, which are read at once. Packs that are not given
/// stay as in the trial before; without any option each value is asked for.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job trial --pinion-shim 0.030in --ring-side-shim 2.10mm --far-side-shim 2.35mm --pinion-torque 13lb-in --backlash 0.20mm --backlash 0.21mm --drive drive.jpg --coast coast.jpg"
)]
pub(super) struct TrialArgs {
    #[command(flatten)]
    pub(super) given: Given,
    #[command(flatten)]
    who: WhenWho,
    #[command(flatten)]
    common: Common,
}

/// What was given of the assembly.
#[derive(Debug, Args)]
pub(super) struct Given {
    #[command(flatten)]
    pub(super) numbers: Numbers,
    #[command(flatten)]
    pub(super) photos: Photos,
    /// Take no packs over from the trial before.
    #[arg(long)]
    fresh: bool,
}

impl Given {
    /// Whether nothing was given at all.
    fn is_empty(&self) -> Result<bool> {
        let mut alone = NewTrial::default();
        self.numbers.put_into(&mut alone)?;
        let nothing = alone.trial == Trial::default() && alone.bench == Bench::default();
        Ok(nothing && !self.photos.any())
    }
}

impl TrialArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        given_or_now(self.who.at.as_deref())?;
        if !self.given.is_empty()? {
            return self.record(&self.given, output);
        }
        let (store, job) = self.common.open()?;
        let record = store.record(job)?;
        match trial_ask::ask(&record, &output.shown(Some(&record.card)))? {
            Some(given) => self.record(&given, output),
            None => Err(nothing_said()),
        }
    }

    fn record(&self, given: &Given, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.who.at.as_deref())?;
        let said = given.numbers.said();
        // Numbers are looked at before any file is touched.
        said.put_into(&mut NewTrial::default())?;
        let (mut store, job) = self.common.open()?;
        let card = store.record(job)?.card;
        let shown = &output.shown(Some(&card));
        let by = By {
            at: &at,
            who: self.who.by.as_deref(),
        };
        let take = |card: &Card, new: &mut NewTrial| given.photos.take(card, new);
        let recorded = assembly::record(&mut store, job, &said, given.fresh, by, shown, take)?;
        let Recorded {
            number,
            trial: new,
            before,
            remarks,
        } = recorded;
        if output.json {
            crate::command::print_json(&JobAnswer::Trial {
                job,
                trial: number,
                drive: new.trial.drive,
                coast: new.trial.coast,
                remarks,
            })?;
            return Ok(Outcome::Answered);
        }
        let mut text = format!("Trial {number} of job {job} is recorded.\n");
        let over = before.and_then(|(number, before)| carried_over(number, &before, &new, shown));
        if let Some(over) = over {
            text += &format!("  {over}\n");
        }
        text += &readings(&new);
        for remark in &remarks {
            text += &format!("  - {remark}\n");
        }
        crate::command::print(&text)?;
        Ok(Outcome::Answered)
    }
}

/// Where the patches stand, a line a flank.
pub(super) fn readings(new: &NewTrial) -> String {
    let mut text = String::new();
    for (word, reading) in [("drive", &new.trial.drive), ("coast", &new.trial.coast)] {
        if let Some(reading) = reading {
            text += &format!(
                "  {word}  patch at {:.0} % of the length from the toe, {:.0} % of the height from the root\n",
                100.0 * reading.centre.length,
                100.0 * reading.centre.height
            );
        }
    }
    text
}
