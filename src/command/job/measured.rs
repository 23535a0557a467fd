//! What is measured and photographed of an assembly, as `job trial` and `job amend` take it.

use crate::Result;
use crate::command::photo_words::PhotoWords;
use crate::job::assembly::Said;
use crate::job::new_trial::NewTrial;
use crate::job::photos::{self, PhotoOptions};
use crate::reading::ONE_PHOTO;
use crate::report::reading::overlay::overlay;
use crate::schema::record::Shows;
use crate::schema::{Card, Condition, SuspectKind};
use crate::units::{AsWritten, Length, Torque};
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
    /// What the advice suspected, was looked at again and is as it was told; once for each.
    #[arg(long, value_name = "WHAT", value_enum, hide_possible_values = true)]
    looked: Vec<SuspectKind>,
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

impl Numbers {
    /// What was said of the assembly.
    pub(super) fn said(&self) -> Said {
        let yes = |said: Option<YesNo>| said.map(|said| said == YesNo::Yes);
        let wear = |said: Option<Wear>| said.map(Condition::from);
        Said {
            pinion_shim: self.pinion_shim.clone(),
            ring_side_shim: self.ring_side_shim.clone(),
            far_side_shim: self.far_side_shim.clone(),
            notches: self.notches,
            backlash: self.backlash.clone(),
            preload_pack: self.preload_pack.clone(),
            pinion_torque: self.pinion_torque.clone(),
            total_torque: self.total_torque.clone(),
            nut_torque: self.nut_torque.clone(),
            as_found: yes(self.as_found),
            condition: wear(self.condition),
            bearings: wear(self.bearings),
            seal: yes(self.seal),
            side_preload: yes(self.side_preload),
            final_parts: yes(self.final_parts),
            note: self.note.clone(),
            looked: self.looked.clone(),
            as_written: self.as_written,
        }
    }

    /// Puts what was given in the place of what stands in a trial.
    ///
    /// # Errors
    /// A number that was probably meant otherwise, or numbers that cannot be together.
    pub(super) fn put_into(&self, new: &mut NewTrial) -> Result<()> {
        self.said().put_into(new)
    }
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
        let given: Vec<(&Path, Shows, PhotoOptions)> = (of_flanks.chain(others))
            .map(|(path, shows)| (path, shows, options))
            .collect();
        let photos = photos::take_all(&given, card, |photo, read| Ok(overlay(photo, read)?))?;
        let mut remarks = Vec::new();
        for photo in photos {
            remarks.extend(photos::put(new, photo, self.use_unsure));
        }
        if self.drive.is_some() && self.drive == self.coast {
            remarks.push(ONE_PHOTO.into());
        }
        Ok(remarks)
    }
}
