//! An assembly as the page tells it: texts with their units, as the command line takes them.

use super::answer::Failed;
use crate::job::assembly::Said;
use crate::schema::{Condition, SuspectKind};
use crate::units::{AsWritten, Measured};
use schemars::JsonSchema;
use serde::Deserialize;

/// An assembly to be recorded with the photos of the next trial. Lengths and torques are texts with their unit, as
/// `11 thou`; what is not told stays as in the trial before.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub(super) struct TrialTold {
    /// Pinion pack.
    pinion_shim: Option<String>,
    /// Pack behind the ring gear.
    ring_side_shim: Option<String>,
    /// Pack on the other side.
    far_side_shim: Option<String>,
    /// Threaded adjusters: notches from any zero of the job, + = ring gear away from the pinion.
    notches: Option<i32>,
    /// Backlash, once for each place round the gear.
    backlash: Vec<String>,
    /// Pack between the pinion's bearings.
    preload_pack: Option<String>,
    /// Rotating torque of the pinion, once for each turn.
    pinion_torque: Vec<String>,
    /// Torque to turn pinion and carrier, once for each turn.
    total_torque: Vec<String>,
    /// Torque the pinion nut was brought to.
    nut_torque: Option<String>,
    /// The axle as it came in.
    as_found: Option<bool>,
    /// New or used gears.
    condition: Option<Condition>,
    /// New or used pinion bearings.
    bearings: Option<Condition>,
    /// The seal was fitted when the torque was read.
    seal: Option<bool>,
    /// The side bearings carry their preload.
    side_preload: Option<bool>,
    /// Assembled with the final parts.
    final_parts: Option<bool>,
    /// Anything to note.
    note: Option<String>,
    /// What the advice suspected, was looked at again and is as it was told.
    looked: Vec<SuspectKind>,
    /// What tells this trial from every other: sent twice with it, it is recorded once.
    pub once: Option<String>,
    /// Who; the job's mechanic when not told.
    pub by: Option<String>,
    /// Unusual numbers are taken as they are written.
    as_written: bool,
    /// No packs are taken over from the trial before.
    pub fresh: bool,
}

impl TrialTold {
    /// What was said of the assembly.
    ///
    /// # Errors
    /// A text that is no number with its unit.
    pub(super) fn said(&self) -> Result<Said, Failed> {
        Ok(Said {
            pinion_shim: one("pinion pack", self.pinion_shim.as_deref())?,
            ring_side_shim: one("pack behind the ring gear", self.ring_side_shim.as_deref())?,
            far_side_shim: one("pack on the other side", self.far_side_shim.as_deref())?,
            notches: self.notches,
            backlash: several("backlash", &self.backlash)?,
            preload_pack: one("preload pack", self.preload_pack.as_deref())?,
            pinion_torque: several("pinion torque", &self.pinion_torque)?,
            total_torque: several("total torque", &self.total_torque)?,
            nut_torque: one("pinion nut", self.nut_torque.as_deref())?,
            as_found: self.as_found,
            condition: self.condition,
            bearings: self.bearings,
            seal: self.seal,
            side_preload: self.side_preload,
            final_parts: self.final_parts,
            note: self.note.clone(),
            looked: self.looked.clone(),
            as_written: self.as_written,
        })
    }
}

fn one<T: Measured>(name: &str, text: Option<&str>) -> Result<Option<AsWritten<T>>, Failed> {
    text.map(|text| read(name, text)).transpose()
}

fn several<T: Measured>(name: &str, texts: &[String]) -> Result<Vec<AsWritten<T>>, Failed> {
    texts.iter().map(|text| read(name, text)).collect()
}

fn read<T: Measured>(name: &str, text: &str) -> Result<AsWritten<T>, Failed> {
    text.parse()
        .map_err(|error| Failed::new(422, format!("{name}: {error}")))
}
