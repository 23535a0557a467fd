//! `flankread job trial`: records an assembly with its photos.

use super::answers::JobAnswer;
use super::measured::{Numbers, Photos};
use super::{Common, WhenWho, trial_ask};
use crate::command::{Outcome, OutputOptions};
use crate::job::clock::given_or_now;
use crate::job::limits::of_assembly;
use crate::job::new_trial::NewTrial;
use crate::report::job::text::carried_over;
use crate::schema::Trial;
use crate::schema::record::{Bench, Record};
use crate::{Error, Result};
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

/// What a new trial takes over from the one before it: what is in the axle and stays unless it is changed. Nothing of the
/// axle as found, which was taken apart.
pub(super) fn carried(record: &Record) -> Option<(i64, NewTrial)> {
    let last = record.built().next_back()?;
    let (trial, bench) = (&last.trial, &last.bench);
    let carried = NewTrial {
        trial: Trial {
            pinion_shim_mm: trial.pinion_shim_mm,
            ring_side_shim_mm: trial.ring_side_shim_mm,
            far_side_shim_mm: trial.far_side_shim_mm,
            ring_notches: trial.ring_notches,
            condition: trial.condition,
            ..Trial::default()
        },
        bench: Bench {
            preload_pack_mm: bench.preload_pack_mm,
            bearings: bench.bearings,
            ..Bench::default()
        },
        photos: Vec::new(),
    };
    Some((last.number, carried))
}

impl TrialArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        given_or_now(self.who.at.as_deref())?;
        if !self.given.is_empty()? {
            return self.record(&self.given, output);
        }
        let (store, job) = self.common.open()?;
        let record = store.record(job)?;
        let asked = trial_ask::ask(&record, &output.shown(Some(&record.card)))?;
        match asked {
            Some(given) => self.record(&given, output),
            None => Err(Error::usage(
                "nothing to record: give at least a shim, a torque, a backlash or a photo",
            )),
        }
    }

    fn record(&self, given: &Given, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.who.at.as_deref())?;
        // Numbers are looked at before any file is touched.
        given.numbers.put_into(&mut NewTrial::default())?;
        let (mut store, job) = self.common.open()?;
        let record = store.record(job)?;
        let shown = &output.shown(Some(&record.card));
        let before = carried(&record).filter(|_| !given.fresh && !given.numbers.as_found());
        let mut new = before
            .as_ref()
            .map_or_else(NewTrial::default, |(_, new)| new.clone());
        given.numbers.put_into(&mut new)?;
        let over = before.map(|(number, before)| carried_over(number, &before, &new, shown));
        let mut remarks = given.photos.take(&record.card, &mut new)?;
        new.trial.assembled = Some(at.clone());
        let by = self.who.by.as_ref().unwrap_or(&record.head.mechanic);
        let number = store.add_trial(job, &new, &at, by)?;
        let record = store.record(job)?;
        if let Some(recorded) = record.trials.iter().find(|a| a.number == number) {
            let outside = of_assembly(&record, recorded, shown).into_iter();
            remarks.extend(outside.map(|outside| sentence(&outside.says)));
        }
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
        if let Some(over) = over.flatten() {
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

/// With a capital at its start and a full stop.
pub(super) fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}
