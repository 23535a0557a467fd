//! `flankread job amend`: puts a recorded assembly right; what stood there before stays in the record.

use super::measured::{Numbers, Photos};
use super::trial::readings;
use super::{Common, WhenWho};
use crate::command::{Outcome, OutputOptions};
use crate::job::JobError;
use crate::job::answers::JobAnswer;
use crate::job::assembly::sentence;
use crate::job::clock::given_or_now;
use crate::job::limits::of_assembly;
use crate::job::new_trial::NewTrial;
use crate::report::job::text::mended_words;
use crate::schema::record::{Amendment, Assembly, Bench, Shows};
use crate::units::Shown;
use crate::{Error, Result};
use clap::Args;
use serde_json::{Value, json};

/// Puts a recorded assembly right: a value, a shim, a photo. What stood there before stays in the record.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job amend 3 --pinion-shim 0.032in --because 'misread the micrometer'\n         flankread job amend 3 --coast coast-again.jpg"
)]
pub(super) struct AmendArgs {
    /// Which trial.
    trial: i64,
    #[command(flatten)]
    numbers: Numbers,
    #[command(flatten)]
    photos: Photos,
    /// Why.
    #[arg(long, value_name = "WORDS", default_value = "")]
    because: String,
    #[command(flatten)]
    who: WhenWho,
    #[command(flatten)]
    common: Common,
}

/// The values that are kept when they are put right: those that a person writes, not what is worked out from them.
const KEPT: [&str; 17] = [
    "pinion_shim_mm",
    "ring_side_shim_mm",
    "far_side_shim_mm",
    "ring_notches",
    "backlash_mm",
    "condition",
    "as_found",
    "preload_pack_mm",
    "pinion_readings_nm",
    "total_readings_nm",
    "pinion_nut_nm",
    "bearings",
    "seal",
    "side_preload",
    "final_parts",
    "note",
    "looked",
];

/// What changed from one to the other, by key: what was written and what is.
fn changes(was: &NewTrial, now: &NewTrial) -> Vec<(String, Value, Value)> {
    let of = |new: &NewTrial| [json!(new.trial), json!(new.bench)];
    let (was, now) = (of(was), of(now));
    let value = |of: &[Value; 2], key: &str| of.iter().find_map(|o| o.get(key)).cloned();
    KEPT.iter()
        .map(|key| (key, value(&was, key), value(&now, key)))
        .filter(|(_, was, now)| was != now)
        .map(|(key, was, now)| {
            let or_null = |value: Option<Value>| value.unwrap_or(Value::Null);
            ((*key).to_owned(), or_null(was), or_null(now))
        })
        .collect()
}

/// The photo of a flank that was replaced by a newer one: its place among the trial's photos.
fn shown_before(assembly: &Assembly, side: Shows) -> Option<usize> {
    assembly
        .photos
        .iter()
        .rposition(|photo| photo.shows == side)
}

impl AmendArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.who.at.as_deref())?;
        self.numbers.put_into(&mut NewTrial::default())?;
        let (mut store, job) = self.common.open()?;
        let record = store.record(job)?;
        let shown = &output.shown(Some(&record.card));
        let found = record.trials.iter().find(|a| a.number == self.trial);
        let assembly =
            found.ok_or_else(|| JobError::Use(format!("job {job} has no trial {}", self.trial)))?;
        let was = NewTrial {
            trial: assembly.trial.clone(),
            bench: Bench {
                amended: Vec::new(),
                ..assembly.bench.clone()
            },
            photos: Vec::new(),
        };
        let mut now = was.clone();
        self.numbers.put_into(&mut now)?;
        let by = self.who.by.as_ref().unwrap_or(&record.head.mechanic);
        let amendment = |(what, was, now)| Amendment {
            at: at.clone(),
            by: by.clone(),
            what,
            was,
            now,
            because: self.because.clone(),
        };
        let mut amended: Vec<Amendment> = changes(&was, &now).into_iter().map(amendment).collect();
        // A new photo counts for its flank even where it cannot be read: the old one was taken back.
        let mut replaced = Vec::new();
        for side in self.photos.sides() {
            let before = shown_before(assembly, side);
            let name = before.map_or(Value::Null, |place| json!(assembly.photos[place].name));
            replaced.extend(before);
            match side {
                Shows::Coast => now.trial.coast = None,
                Shows::Drive | Shows::Other => now.trial.drive = None,
            }
            amended.push(amendment((side.word().to_owned(), name, Value::Null)));
        }
        let mut remarks = self.photos.take(&record.card, &mut now)?;
        for one in amended
            .iter_mut()
            .filter(|one| ["drive", "coast"].contains(&one.what.as_str()))
        {
            let photo = now.photos.iter().find(|p| p.shows.word() == one.what);
            one.now = photo.map_or(Value::Null, |photo| json!(photo.name));
        }
        if amended.is_empty() && now.photos.is_empty() {
            return Err(Error::usage(format!(
                "nothing to put right in trial {}: give what it should have been, as --pinion-shim 0.032in",
                self.trial
            )));
        }
        now.bench.amended = [assembly.bench.amended.clone(), amended.clone()].concat();
        store.amend(job, self.trial, &now, &replaced)?;
        let record = store.record(job)?;
        if let Some(assembly) = record.trials.iter().find(|a| a.number == self.trial) {
            let outside = of_assembly(&record, assembly, shown).into_iter();
            remarks.extend(outside.map(|outside| sentence(&outside.says)));
        }
        self.tell(job, &amended, &now, &remarks, shown, output)
    }

    fn tell(
        &self,
        job: i64,
        amended: &[Amendment],
        now: &NewTrial,
        remarks: &[String],
        shown: &Shown,
        output: OutputOptions,
    ) -> Result<Outcome> {
        if output.json {
            crate::command::print_json(&JobAnswer::Amend {
                job,
                trial: self.trial,
                amended: amended.to_vec(),
                remarks: remarks.to_vec(),
            })?;
            return Ok(Outcome::Answered);
        }
        let mut text = format!("Trial {} of job {job} is put right.\n", self.trial);
        for one in amended {
            text += &format!("  {}\n", mended_words(one, shown));
        }
        if !self.photos.sides().is_empty() {
            text += &readings(now);
        }
        for remark in remarks {
            text += &format!("  - {remark}\n");
        }
        text +=
            "Advice that was made with it is out of date: ask again with `flankread job advise`.\n";
        crate::command::print(&text)?;
        Ok(Outcome::Answered)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::Trial;

    #[test]
    fn what_changed_is_kept_and_what_is_worked_out_is_not() {
        let was = NewTrial {
            trial: Trial {
                pinion_shim_mm: Some(0.762),
                backlash_mm: vec![0.2],
                ..Trial::default()
            },
            ..NewTrial::default()
        };
        let mut now = was.clone();
        assert!(changes(&was, &now).is_empty());
        now.trial.pinion_shim_mm = Some(0.813);
        now.bench.pinion_readings_nm = vec![1.5];
        now.trial.pinion_torque_nm = Some(1.5);
        now.bench.side_preload = true;
        let found = changes(&was, &now);
        let keys: Vec<&str> = found.iter().map(|(key, ..)| key.as_str()).collect();
        assert_eq!(
            keys,
            ["pinion_shim_mm", "pinion_readings_nm", "side_preload"]
        );
        assert_eq!(found[0].1, json!(0.762));
        assert_eq!(found[1].1, Value::Null);
    }
}
