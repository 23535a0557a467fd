//! What is measured and photographed of an assembly, as `job trial` and `job amend` take it.

use crate::Result;
use crate::command::photo_words::PhotoWords;
use crate::job::new_trial::NewTrial;
use crate::job::photos::{self, PhotoOptions};
use crate::reading::ONE_PHOTO;
use crate::report::reading::overlay::overlay;
use crate::rules;
use crate::schema::record::Shows;
use crate::schema::{Card, Condition};
use crate::setup::turning_torque::{TotalLimits, readings, total};
use crate::setup::usual::{
    BACKLASH, PINION_NUT, PINION_PACK, PRELOAD_PACK, ROTATING, SIDE_PACK, TOTAL_ROTATING, Usual,
};
use crate::units::{AsWritten, Length, Measured, Torque};
use clap::{Args, ValueEnum};
use std::path::{Path, PathBuf};

/// Shims, torques, backlash, and what state the assembly was in.
#[derive(Debug, Args)]
pub(super) struct Numbers {
    /// Pinion pack, with its unit; an oil slinger or baffle between pinion head and bearing is part of it.
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
    #[arg(long, value_name = "YES", num_args = 0..=1, require_equals = true, default_missing_value = "yes")]
    as_found: Option<YesNo>,
    /// New or used gears.
    #[arg(long, value_enum)]
    condition: Option<Wear>,
    /// New or used pinion bearings.
    #[arg(long, value_enum)]
    bearings: Option<Wear>,
    /// The seal was fitted when the torque was read.
    #[arg(long, value_name = "YES", num_args = 0..=1, require_equals = true, default_missing_value = "yes")]
    seal: Option<YesNo>,
    /// The side bearings carry their preload.
    #[arg(long, value_name = "YES", num_args = 0..=1, require_equals = true, default_missing_value = "yes")]
    side_preload: Option<YesNo>,
    /// Assembled with the final parts.
    #[arg(long, value_name = "YES", num_args = 0..=1, require_equals = true, default_missing_value = "yes")]
    final_parts: Option<YesNo>,
    /// Anything to note.
    #[arg(long, value_name = "WORDS")]
    note: Option<String>,
    /// Take unusual numbers as they are written.
    #[arg(long)]
    as_written: bool,
}

/// Photos, and what to know of them.
#[derive(Debug, Args)]
pub(super) struct Photos {
    /// A photo of the drive flanks.
    #[arg(long, value_name = "PHOTO")]
    drive: Option<PathBuf>,
    /// A photo of the coast flanks.
    #[arg(long, value_name = "PHOTO")]
    coast: Option<PathBuf>,
    /// Another photo worth keeping; any number.
    #[arg(long, value_name = "PHOTO")]
    photo: Vec<PathBuf>,
    #[command(flatten)]
    words: PhotoWords,
    /// Take unsure readings for the advice: you have looked at the pictures.
    #[arg(long)]
    use_unsure: bool,
    /// Keep the photos without reading them.
    #[arg(long)]
    no_read: bool,
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

/// Whether something is so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum YesNo {
    /// It is.
    Yes,
    /// It is not.
    No,
}

/// Puts a value in the place of another where one was given.
fn put<T>(place: &mut T, given: Option<T>) {
    if let Some(given) = given {
        *place = given;
    }
}

impl Numbers {
    /// Whether the axle is recorded as it came in.
    pub(super) fn as_found(&self) -> bool {
        self.as_found == Some(YesNo::Yes)
    }

    /// Puts what was given in the place of what stands in a trial.
    ///
    /// # Errors
    /// A number that was probably meant otherwise, or numbers that cannot be together.
    pub(super) fn put_into(&self, new: &mut NewTrial) -> Result<()> {
        let sure = self.as_written;
        let pack =
            |usual: &Usual, said: &Option<AsWritten<Length>>| one(usual, said.as_ref(), sure);
        let (trial, bench) = (&mut new.trial, &mut new.bench);
        for (place, given) in [
            (
                &mut trial.pinion_shim_mm,
                pack(&PINION_PACK, &self.pinion_shim)?,
            ),
            (
                &mut trial.ring_side_shim_mm,
                pack(&SIDE_PACK, &self.ring_side_shim)?,
            ),
            (
                &mut trial.far_side_shim_mm,
                pack(&SIDE_PACK, &self.far_side_shim)?,
            ),
            (
                &mut bench.preload_pack_mm,
                pack(&PRELOAD_PACK, &self.preload_pack)?,
            ),
            (
                &mut bench.pinion_nut_nm,
                one(&PINION_NUT, self.nut_torque.as_ref(), sure)?,
            ),
        ] {
            if given.is_some() {
                *place = given;
            }
        }
        if !self.backlash.is_empty() {
            trial.backlash_mm = BACKLASH.check_all(&self.backlash, sure)?;
        }
        if !self.pinion_torque.is_empty() {
            bench.pinion_readings_nm = ROTATING.check_all(&self.pinion_torque, sure)?;
            trial.pinion_torque_nm = Some(readings(&bench.pinion_readings_nm)?.mean_nm);
        }
        if !self.total_torque.is_empty() {
            bench.total_readings_nm = TOTAL_ROTATING.check_all(&self.total_torque, sure)?;
        }
        let yes = |said: Option<YesNo>| said.map(|said| said == YesNo::Yes);
        put(&mut trial.ring_notches, self.notches.map(Some));
        put(
            &mut trial.condition,
            self.condition.map(|wear| Some(wear.into())),
        );
        put(&mut trial.as_found, yes(self.as_found));
        put(
            &mut bench.bearings,
            self.bearings.map(|wear| Some(wear.into())),
        );
        put(&mut bench.seal, yes(self.seal));
        put(&mut bench.side_preload, yes(self.side_preload));
        put(&mut bench.final_parts, yes(self.final_parts));
        put(&mut bench.note, self.note.clone());
        if !sure && !bench.pinion_readings_nm.is_empty() && !bench.total_readings_nm.is_empty() {
            let pinion = readings(&bench.pinion_readings_nm)?;
            total(
                pinion,
                readings(&bench.total_readings_nm)?,
                &TotalLimits::default(),
            )?;
        }
        Ok(())
    }
}

fn one<T: Measured>(usual: &Usual, said: Option<&AsWritten<T>>, sure: bool) -> Result<Option<f64>> {
    Ok(said.map(|said| usual.check(said, sure)).transpose()?)
}

impl Photos {
    /// The flanks that a photo was given of.
    pub(super) fn sides(&self) -> Vec<Shows> {
        let given = [(&self.drive, Shows::Drive), (&self.coast, Shows::Coast)];
        let sides = given.into_iter().filter(|(path, _)| path.is_some());
        sides.map(|(_, shows)| shows).collect()
    }

    /// The first that is not there.
    pub(super) fn missing(&self) -> Option<&Path> {
        let given = self.drive.iter().chain(&self.coast).chain(&self.photo);
        given.map(PathBuf::as_path).find(|path| !path.is_file())
    }

    /// Whether any was given.
    pub(super) fn any(&self) -> bool {
        self.drive.is_some() || self.coast.is_some() || !self.photo.is_empty()
    }

    /// Takes the photos in and puts their readings into the trial; returns what to say of them.
    ///
    /// # Errors
    /// A photo that cannot be opened, one for both flanks that does not show both.
    pub(super) fn take(&self, card: &Card, new: &mut NewTrial) -> Result<Vec<String>> {
        let options = PhotoOptions {
            toe: self.words.toe,
            polarity: self.words.polarity,
            mirrored: self.words.mirrored,
            unread: self.no_read,
        };
        let of_flanks = [(&self.drive, Shows::Drive), (&self.coast, Shows::Coast)];
        let of_flanks = of_flanks
            .into_iter()
            .filter_map(|(path, shows)| Some((path.as_deref()?, shows)));
        let others = self.photo.iter().map(|path| (path.as_path(), Shows::Other));
        let given: Vec<(&Path, Shows)> = of_flanks.chain(others).collect();
        let photos = photos::take_all(&given, options, card, |photo, read| {
            Ok(overlay(photo, read)?)
        })?;
        let mut remarks = Vec::new();
        for photo in &photos {
            let Some(reading) = &photo.reading else {
                continue;
            };
            let place = match photo.shows {
                Shows::Coast => &mut new.trial.coast,
                Shows::Drive | Shows::Other => &mut new.trial.drive,
            };
            let usable = rules::trial::usable(reading, self.use_unsure);
            let used = usable.map(|reading| *place = Some(reading));
            remarks.extend(photos::remarks_on(reading, photo.shows, &used));
        }
        if self.drive.is_some() && self.drive == self.coast {
            remarks.push(ONE_PHOTO.into());
        }
        new.photos.extend(photos);
        Ok(remarks)
    }
}
