//! `flankread job trial`: records an assembly with its photos.

use super::{Common, WhenWho};
use crate::command::{Outcome, OutputOptions};
use crate::flank::find::ToeEnd;
use crate::job::clock::given_or_now;
use crate::job::new_trial::{NewPhoto, NewTrial};
use crate::job::photos::{self, PhotoOptions};
use crate::report::reading::overlay::overlay;
use crate::rules;
use crate::schema::record::{Bench, Shows};
use crate::schema::{Card, Condition, Polarity, Trial};
use crate::setup::turning_torque::readings;
use crate::setup::usual::{
    BACKLASH, PINION_NUT, PINION_PACK, PRELOAD_PACK, ROTATING, SIDE_PACK, TOTAL_ROTATING, Usual,
};
use crate::units::{AsWritten, Length, Measured, Torque};
use crate::{Error, Result};
use clap::{Args, ValueEnum};
use serde_json::json;
use std::path::{Path, PathBuf};

/// Records an assembly: shims, torques, backlash, photos of both flanks, which are read at once.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: flankread job trial --pinion-shim 0.030in --ring-side-shim 2.10mm --far-side-shim 2.35mm --pinion-torque 13lb-in --backlash 0.20mm --backlash 0.21mm --drive drive.jpg --coast coast.jpg"
)]
pub(super) struct TrialArgs {
    /// Pinion pack, with its unit.
    #[arg(long, value_name = "LENGTH")]
    pinion_shim: Option<AsWritten<Length>>,
    /// Pack behind the ring gear.
    #[arg(long, value_name = "LENGTH")]
    ring_side_shim: Option<AsWritten<Length>>,
    /// Pack on the other side.
    #[arg(long, value_name = "LENGTH")]
    far_side_shim: Option<AsWritten<Length>>,
    /// Threaded adjusters: notches from any zero of this job, + = ring gear away from the pinion.
    #[arg(long, value_name = "COUNT", allow_hyphen_values = true)]
    notches: Option<i32>,
    /// Backlash, once for each place round the gear.
    #[arg(long, value_name = "LENGTH")]
    backlash: Vec<AsWritten<Length>>,
    /// Pack between the pinion's bearings.
    #[arg(long, value_name = "LENGTH")]
    preload_pack: Option<AsWritten<Length>>,
    /// Rotating torque of the pinion, once for each turn it was read.
    #[arg(long, value_name = "TORQUE")]
    pinion_torque: Vec<AsWritten<Torque>>,
    /// Torque to turn pinion and carrier, once for each turn it was read.
    #[arg(long, value_name = "TORQUE")]
    total_torque: Vec<AsWritten<Torque>>,
    /// Torque the pinion nut was brought to.
    #[arg(long, value_name = "TORQUE")]
    nut_torque: Option<AsWritten<Torque>>,
    /// The axle as it came in.
    #[arg(long)]
    as_found: bool,
    /// New or used gears.
    #[arg(long, value_enum)]
    condition: Option<Wear>,
    /// New or used pinion bearings.
    #[arg(long, value_enum)]
    bearings: Option<Wear>,
    /// The seal was fitted when the torque was read.
    #[arg(long)]
    seal: bool,
    /// The side bearings carry their preload.
    #[arg(long)]
    side_preload: bool,
    /// Assembled with the final parts.
    #[arg(long)]
    final_parts: bool,
    /// A photo of the drive flanks.
    #[arg(long, value_name = "PHOTO")]
    drive: Option<PathBuf>,
    /// A photo of the coast flanks.
    #[arg(long, value_name = "PHOTO")]
    coast: Option<PathBuf>,
    /// Another photo worth keeping; any number.
    #[arg(long, value_name = "PHOTO")]
    photo: Vec<PathBuf>,
    /// Which end of the flanks in the photos is the toe.
    #[arg(long, value_name = "END")]
    toe: Option<ToeEnd>,
    /// How contact shows.
    #[arg(long)]
    polarity: Option<Polarity>,
    /// The photos show the gear mirrored, as front cameras, some apps and inspection mirrors do.
    #[arg(long)]
    mirrored: bool,
    /// Take unsure readings for the advice: you have looked at the pictures.
    #[arg(long)]
    use_unsure: bool,
    /// Keep the photos without reading them.
    #[arg(long)]
    no_read: bool,
    /// Anything to note.
    #[arg(long, default_value = "")]
    note: String,
    /// Take unusual numbers as they are written.
    #[arg(long)]
    as_written: bool,
    #[command(flatten)]
    who: WhenWho,
    #[command(flatten)]
    common: Common,
}

/// New or used, as the command line writes it.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Wear {
    /// Never run.
    New,
    /// Run before.
    Used,
}

impl From<Wear> for Condition {
    fn from(wear: Wear) -> Self {
        match wear {
            Wear::New => Self::New,
            Wear::Used => Self::Used,
        }
    }
}

impl TrialArgs {
    pub(super) fn run(&self, output: OutputOptions) -> Result<Outcome> {
        let at = given_or_now(self.who.at.as_deref())?;
        let mut new = self.numbers()?;
        let (mut store, job) = self.common.open()?;
        let record = store.record(job)?;
        let mut remarks = self.photos(&record.card, &mut new)?;
        if new.trial == Trial::default() && new.bench == Bench::default() && new.photos.is_empty() {
            return Err(Error::usage(
                "nothing to record: give at least a shim, a torque, a backlash or a photo",
            ));
        }
        new.trial.assembled = Some(at.clone());
        let by = self.who.by.as_ref().unwrap_or(&record.head.mechanic);
        let number = store.add_trial(job, &new, &at, by)?;
        remarks.extend(self.remarks(&record.card, &new, output));
        if output.json {
            crate::command::print_json(&json!({
                "schema": "flankread/job-trial/1",
                "job": job,
                "trial": number,
                "drive": new.trial.drive,
                "coast": new.trial.coast,
                "remarks": remarks,
            }))?;
        } else {
            let mut text = format!("Trial {number} of job {job} is recorded.\n");
            for (word, reading) in [("drive", &new.trial.drive), ("coast", &new.trial.coast)] {
                if let Some(reading) = reading {
                    text += &format!(
                        "  {word}  patch at {:.0} % of the length from the toe, {:.0} % of the height from the root\n",
                        100.0 * reading.centre.length,
                        100.0 * reading.centre.height
                    );
                }
            }
            for remark in &remarks {
                text += &format!("  - {remark}\n");
            }
            crate::command::print(&text)?;
        }
        Ok(Outcome::Answered)
    }

    /// Everything but the photos.
    fn numbers(&self) -> Result<NewTrial> {
        let sure = self.as_written;
        fn one<T: Measured>(
            usual: &Usual,
            said: Option<&AsWritten<T>>,
            sure: bool,
        ) -> Result<Option<f64>> {
            Ok(said.map(|said| usual.check(said, sure)).transpose()?)
        }
        let pinion_readings_nm = ROTATING.check_all(&self.pinion_torque, sure)?;
        let total_readings_nm = TOTAL_ROTATING.check_all(&self.total_torque, sure)?;
        let pinion_torque_nm = match pinion_readings_nm.as_slice() {
            [] => None,
            some => Some(readings(some)?.mean_nm),
        };
        Ok(NewTrial {
            trial: Trial {
                pinion_shim_mm: one(&PINION_PACK, self.pinion_shim.as_ref(), sure)?,
                ring_side_shim_mm: one(&SIDE_PACK, self.ring_side_shim.as_ref(), sure)?,
                far_side_shim_mm: one(&SIDE_PACK, self.far_side_shim.as_ref(), sure)?,
                ring_notches: self.notches,
                backlash_mm: BACKLASH.check_all(&self.backlash, sure)?,
                condition: self.condition.map(Condition::from),
                as_found: self.as_found,
                pinion_torque_nm,
                ..Trial::default()
            },
            bench: Bench {
                preload_pack_mm: one(&PRELOAD_PACK, self.preload_pack.as_ref(), sure)?,
                pinion_readings_nm,
                total_readings_nm,
                pinion_nut_nm: one(&PINION_NUT, self.nut_torque.as_ref(), sure)?,
                bearings: self.bearings.map(Condition::from),
                seal: self.seal,
                side_preload: self.side_preload,
                final_parts: self.final_parts,
                struck: None,
                note: self.note.clone(),
            },
            photos: Vec::new(),
        })
    }

    /// Takes the photos in and puts their readings into the trial; returns what to say of them.
    fn photos(&self, card: &Card, new: &mut NewTrial) -> Result<Vec<String>> {
        let options = PhotoOptions {
            toe: self.toe,
            polarity: self.polarity,
            mirrored: self.mirrored,
            unread: self.no_read,
        };
        let take = |path: &Path, shows| {
            photos::take(path, shows, options, card, |photo, read| {
                Ok(overlay(photo, read)?)
            })
        };
        let mut remarks = Vec::new();
        for (path, shows) in [(&self.drive, Shows::Drive), (&self.coast, Shows::Coast)] {
            let Some(path) = path else { continue };
            let photo = take(path, shows)?;
            if let Some(reading) = &photo.reading {
                match rules::trial::usable(reading, self.use_unsure) {
                    Ok(reading) if shows == Shows::Drive => new.trial.drive = Some(reading),
                    Ok(reading) => new.trial.coast = Some(reading),
                    Err(why) => remarks.push(format!(
                        "The photo of the {} flanks {}.",
                        shows.word(),
                        photos::why_not_used(&why)
                    )),
                }
            }
            new.photos.push(photo);
        }
        let others: Vec<NewPhoto> = self
            .photo
            .iter()
            .map(|path| take(path, Shows::Other))
            .collect::<Result<_>>()?;
        new.photos.extend(others);
        Ok(remarks)
    }

    fn remarks(&self, card: &Card, new: &NewTrial, output: OutputOptions) -> Vec<String> {
        let shown = output.shown(Some(card));
        let mut remarks = Vec::new();
        let used = new.bench.bearings == Some(Condition::Used);
        let window = if used {
            card.limits.pinion_torque_used_nm
        } else {
            card.limits.pinion_torque_new_nm
        };
        if let (Some(nm), Some(window)) = (new.trial.pinion_torque_nm, window) {
            let is = crate::setup::verdict(nm, window);
            if is != "within" && !self.as_found {
                remarks.push(format!(
                    "The pinion's rotating torque is {}, {is} {} to {}.",
                    shown.torque(nm),
                    shown.torque(window[0]),
                    shown.torque(window[1])
                ));
            }
        }
        if let (Some(variation), Some(limit)) = (
            new.trial.backlash_variation_mm(),
            card.limits.backlash_variation_mm,
        ) && variation > limit + 1e-9
        {
            remarks.push(format!(
                "Backlash varies by {} round the gear, the limit is {}.",
                shown.shim(variation),
                shown.shim(limit)
            ));
        }
        remarks
    }
}
