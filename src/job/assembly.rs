//! An assembly as it is told → a trial in the record, whether it was told on the command line or on the page.

use super::limits::of_assembly;
use super::new_trial::NewTrial;
use super::{JobError, Store};
use crate::schema::record::{Bench, Record};
use crate::schema::{Card, Condition, SuspectKind, Trial};
use crate::setup::turning_torque::{TotalLimits, readings, total};
use crate::setup::usual::{
    BACKLASH, PINION_NUT, PINION_PACK, PRELOAD_PACK, ROTATING, SIDE_PACK, TOTAL_ROTATING, Usual,
};
use crate::units::{AsWritten, Length, Measured, Shown, Torque};
use crate::{Error, Result};

/// What was said of an assembly: shims, torques, backlash, and the state it was in. What was not said stays as it was.
#[derive(Debug, Clone, Default)]
pub(crate) struct Said {
    /// Pinion pack.
    pub pinion_shim: Option<AsWritten<Length>>,
    /// Pack behind the ring gear.
    pub ring_side_shim: Option<AsWritten<Length>>,
    /// Pack on the other side.
    pub far_side_shim: Option<AsWritten<Length>>,
    /// Threaded adjusters: notches from any zero of the job.
    pub notches: Option<i32>,
    /// Backlash, once for each place round the gear.
    pub backlash: Vec<AsWritten<Length>>,
    /// Pack between the pinion's bearings.
    pub preload_pack: Option<AsWritten<Length>>,
    /// Rotating torque of the pinion, each turn's reading.
    pub pinion_torque: Vec<AsWritten<Torque>>,
    /// Torque to turn pinion and carrier, each turn's reading.
    pub total_torque: Vec<AsWritten<Torque>>,
    /// Torque the pinion nut was brought to.
    pub nut_torque: Option<AsWritten<Torque>>,
    /// The axle as it came in.
    pub as_found: Option<bool>,
    /// New or used gears.
    pub condition: Option<Condition>,
    /// New or used pinion bearings.
    pub bearings: Option<Condition>,
    /// The seal was fitted when the torque was read.
    pub seal: Option<bool>,
    /// The side bearings carry their preload.
    pub side_preload: Option<bool>,
    /// Assembled with the final parts.
    pub final_parts: Option<bool>,
    /// Anything to note.
    pub note: Option<String>,
    /// What was looked at again and is as it was told.
    pub looked: Vec<SuspectKind>,
    /// Unusual numbers are taken as they are written.
    pub as_written: bool,
}

/// Puts a value in the place of another where one was given.
fn put<T>(place: &mut T, given: Option<T>) {
    if let Some(given) = given {
        *place = given;
    }
}

impl Said {
    /// Puts what was said in the place of what stands in a trial.
    ///
    /// # Errors
    /// A number that was probably meant otherwise, or numbers that cannot be together.
    pub(crate) fn put_into(&self, new: &mut NewTrial) -> Result<()> {
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
        put(&mut trial.ring_notches, self.notches.map(Some));
        put(&mut trial.condition, self.condition.map(Some));
        put(&mut trial.as_found, self.as_found);
        put(&mut bench.bearings, self.bearings.map(Some));
        put(&mut bench.seal, self.seal);
        put(&mut bench.side_preload, self.side_preload);
        put(&mut bench.final_parts, self.final_parts);
        put(&mut bench.note, self.note.clone());
        if !self.looked.is_empty() {
            trial.looked.clone_from(&self.looked);
        }
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

/// What a new trial takes over from the one before it: what is in the axle and stays unless it is changed. Nothing of the
/// axle as found, which was taken apart.
pub(crate) fn carried(record: &Record) -> Option<(i64, NewTrial)> {
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

/// A trial that was recorded.
pub(crate) struct Recorded {
    /// Its number.
    pub number: i64,
    /// What it holds.
    pub trial: NewTrial,
    /// The trial that packs were taken over from, and what was.
    pub before: Option<(i64, NewTrial)>,
    /// What is to be said of it, a sentence each.
    pub remarks: Vec<String>,
}

/// When an assembly was recorded and by whom; the job's mechanic when nobody is named.
#[derive(Debug, Clone, Copy)]
pub(crate) struct By<'a> {
    /// When, RFC 3339.
    pub at: &'a str,
    /// Who.
    pub who: Option<&'a str>,
}

/// Records an assembly: what was said of it, what stays of the trial before unless it is to be `fresh`, and the photos that
/// `photos` puts in with what it has to say of them.
///
/// # Errors
/// A number that was probably meant otherwise; a photo that cannot be used; nothing to record; what the database says.
pub(crate) fn record(
    store: &mut Store,
    job: i64,
    said: &Said,
    fresh: bool,
    by: By,
    shown: &Shown,
    photos: impl FnOnce(&Card, &mut NewTrial) -> Result<Vec<String>>,
) -> Result<Recorded> {
    let mut alone = NewTrial::default();
    // Numbers are looked at before any photo is touched.
    said.put_into(&mut alone)?;
    let record = store.record(job)?;
    let as_found = said.as_found == Some(true);
    let before = carried(&record).filter(|_| !fresh && !as_found);
    let mut trial = (before.as_ref()).map_or_else(NewTrial::default, |(_, new)| new.clone());
    said.put_into(&mut trial)?;
    let mut remarks = photos(&record.card, &mut trial)?;
    let nothing = alone.trial == Trial::default() && alone.bench == Bench::default();
    if nothing && trial.photos.is_empty() {
        return Err(nothing_said());
    }
    trial.trial.assembled = Some(by.at.to_owned());
    let who = by.who.unwrap_or(&record.head.mechanic);
    let number = store.add_trial(job, &trial, by.at, who)?;
    let record = store.record(job)?;
    if let Some(recorded) = record.trials.iter().find(|a| a.number == number) {
        let outside = of_assembly(&record, recorded, shown).into_iter();
        remarks.extend(outside.map(|outside| sentence(&outside.says)));
    }
    Ok(Recorded {
        number,
        trial,
        before,
        remarks,
    })
}

/// Nothing was said of an assembly.
pub(crate) fn nothing_said() -> Error {
    JobError::Use("nothing to record: give at least a shim, a torque, a backlash or a photo".into())
        .into()
}

/// With a capital at its start and a full stop.
pub(crate) fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}
