//! What to change next: `flankread/advice/2`. What is written as `flankread/advice/1`, where the verdict
//! `change` was `correct`, is read too.
//!
//! The types here are the published JSON. Fields may be added; renaming or re-meaning one bumps
//! [`SCHEMA`].

use crate::frames::{FlankPoint, Side};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::ops::{Add, Sub};

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/advice/2";

/// The schema of older advice that is still read.
const BEFORE: &str = "flankread/advice/1";

/// The advice on one job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Advice {
    /// Always [`SCHEMA`].
    #[serde(deserialize_with = "raised")]
    pub schema: String,
    /// What kind of advice it is.
    pub verdict: Verdict,
    /// What to do, in one line: which pack, by how much, where. Empty in advice written before there was one.
    #[serde(default)]
    pub summary: String,
    /// The same for a small screen: what to do, without what is in. Empty in advice written before there was one.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub instruction: String,
    /// Where the patches stand against their targets.
    pub diagnosis: Diagnosis,
    /// What is missing or contradictory, when the verdict is `measure`; what to check, when it is
    /// `beyond_shims`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<Check>,
    /// How far to move the two gears.
    #[serde(rename = "move", skip_serializing_if = "Option::is_none")]
    pub change: Option<Move>,
    /// The same as shims, where the card and the trial say where they sit and what is in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shims: Option<Shims>,
    /// What the next assembly should show.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub predicted: Option<Predicted>,
    /// Chance that the next assembly is right: both centres within tolerance and backlash in its
    /// window, 0 … 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chance: Option<f64>,
    /// Chance that the assembly as it stands is right, 0 … 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chance_now: Option<f64>,
    /// The next best change.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runner_up: Option<RunnerUp>,
    /// Half the width that holds nine in ten of where the gears may stand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<Move>,
    /// Where the gears are estimated to stand, from the right place of a faultless axle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stands: Option<Move>,
    /// What no shim explains: the measured centre less the nearest that moving the two gears
    /// alone gives.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unexplained: Option<Unexplained>,
    /// What may be wrong with what was told, likeliest first; only what explains the trials at least as well as that
    /// everything is as told.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub suspects: Vec<Suspect>,
    /// Share of each reading in what is known of where the gears stand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub shares: Vec<Share>,
    /// One plain sentence a step.
    pub why: Vec<String>,
    /// What to mind.
    pub cautions: Vec<String>,
}

/// Older advice, once read, is advice of today.
fn raised<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<String, D::Error> {
    let schema = String::deserialize(deserializer)?;
    Ok(if schema == BEFORE {
        SCHEMA.into()
    } else {
        schema
    })
}

/// The kinds of advice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Verdict {
    /// Right as it stands.
    Good,
    /// Change shims.
    #[serde(alias = "correct")]
    Change,
    /// Something is missing or contradictory; measure before changing anything.
    Measure,
    /// No shim cures it.
    BeyondShims,
}

/// Where the patches stand.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Diagnosis {
    /// The drive flank, when it was read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive: Option<FlankDiagnosis>,
    /// The coast flank, when it was read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coast: Option<FlankDiagnosis>,
}

impl Diagnosis {
    /// Of what is known of the two flanks.
    pub(crate) const fn of(drive: Option<FlankDiagnosis>, coast: Option<FlankDiagnosis>) -> Self {
        Self { drive, coast }
    }
}

/// One flank against its target.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct FlankDiagnosis {
    /// The trade's words: `centred`, or `high`/`low` and `toe`/`heel`.
    pub words: String,
    /// Measured less target, share of the flank's length, + = to the heel.
    pub length: f64,
    /// Measured less target, share of the flank's height, + = to the tip.
    pub height: f64,
}

/// Millimetres along each gear's own axis, + = away from the mating gear.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub struct Move {
    /// The pinion.
    pub pinion_mm: f64,
    /// The ring gear; + = more backlash.
    pub ring_mm: f64,
}

impl Add for Move {
    type Output = Self;

    fn add(self, by: Self) -> Self {
        Self {
            pinion_mm: self.pinion_mm + by.pinion_mm,
            ring_mm: self.ring_mm + by.ring_mm,
        }
    }
}

impl Sub for Move {
    type Output = Self;

    fn sub(self, by: Self) -> Self {
        Self {
            pinion_mm: self.pinion_mm - by.pinion_mm,
            ring_mm: self.ring_mm - by.ring_mm,
        }
    }
}

/// The change in shims.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Shims {
    /// The pinion's pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion: Option<Pack>,
    /// The pack behind the ring gear.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_side: Option<Pack>,
    /// The pack on the other side of the carrier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub far_side: Option<Pack>,
    /// Notches to turn threaded adjusters by, both the same way: + = ring gear away from the pinion.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_notches: Option<i32>,
}

/// One pack before and after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Pack {
    /// What is in.
    pub from_mm: f64,
    /// What to put in.
    pub to_mm: f64,
    /// The shims of the kit that make it up, thickest first; empty when the kit is unknown.
    pub stack_mm: Vec<f64>,
}

/// What the next assembly should show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Predicted {
    /// Centre of the drive patch.
    pub drive: FlankPoint,
    /// Centre of the coast patch.
    pub coast: FlankPoint,
    /// Mean backlash, measured as the card says.
    pub backlash_mm: f64,
    /// Half the width that holds nine in ten of each.
    pub band: Band,
}

/// Half the widths that hold nine in ten of what the next assembly may show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Band {
    /// Of the drive centre.
    pub drive: FlankPoint,
    /// Of the coast centre.
    pub coast: FlankPoint,
    /// Of the backlash.
    pub backlash_mm: f64,
}

/// The next best change.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct RunnerUp {
    /// The pinion, + = away.
    pub pinion_mm: f64,
    /// The ring gear, + = away.
    pub ring_mm: f64,
    /// Its chance of being right.
    pub chance: f64,
}

/// What no shim explains, per flank.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Unexplained {
    /// Drive flank.
    pub drive: FlankPoint,
    /// Coast flank.
    pub coast: FlankPoint,
}

/// Something to measure or to check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Check {
    /// Which.
    pub code: CheckCode,
    /// What to do, in a plain sentence or two.
    pub message: String,
}

/// The things that may be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum CheckCode {
    /// No assembly was recorded.
    NoTrial,
    /// The drive flank was not read.
    DriveMissing,
    /// The coast flank was not read.
    CoastMissing,
    /// Backlash was not measured.
    BacklashMissing,
    /// A backlash that no axle has, or in another unit.
    BacklashImpossible,
    /// Backlash varies more round the gear than the limit.
    BacklashVaries,
    /// A shim that cannot be, or in another unit.
    ShimImpossible,
    /// The trials do not all say where the gears stood.
    PlaceMissing,
    /// A torque that cannot be, or in another unit.
    TorqueImpossible,
    /// A reading outside the flank.
    ReadingImpossible,
    /// A photo older than the last change of shims.
    PhotoOlder,
    /// Readings of one trial, or of different trials, contradict each other; written until 2026.
    Contradiction,
    /// One thing that was told explains the trials far better if it was wrong: look at it again.
    SecondLook,
    /// How the dial indicator stands, before the assembly is called right.
    DialSetting,
    /// No pack of the kit and no place within reach is right.
    OutOfReach,
    /// Offset or shaft angle of the housing.
    Housing,
    /// Run-out of the ring gear.
    RunOut,
    /// Pinion and ring gear of different sets.
    MixedParts,
}

/// Something that may be wrong with what was told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Suspect {
    /// What.
    pub what: SuspectKind,
    /// Which trial, from 1; absent where it is of the whole job.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trial: Option<usize>,
    /// How many times as likely it is as that everything is as told.
    pub odds: f64,
}

/// The things that are doubted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum SuspectKind {
    /// The drive flank's reading.
    DriveMisread,
    /// The coast flank's reading.
    CoastMisread,
    /// The dial's reading.
    BacklashMisread,
    /// Drive and coast taken for each other.
    FlanksSwapped,
    /// Toe and heel taken for each other.
    EndsSwapped,
    /// A photo from before the change.
    OldPhoto,
    /// The side of the bearing on which the pinion's shims sit.
    ShimPlace,
    /// Which way the indicator stands.
    DialSetting,
    /// The pack that was written down.
    PackNotedWrong,
    /// The cutting method.
    Cutting,
}

impl SuspectKind {
    /// How a trial and the command line name it.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::DriveMisread => "drive-misread",
            Self::CoastMisread => "coast-misread",
            Self::BacklashMisread => "backlash-misread",
            Self::FlanksSwapped => "flanks-swapped",
            Self::EndsSwapped => "ends-swapped",
            Self::OldPhoto => "old-photo",
            Self::ShimPlace => "shim-place",
            Self::DialSetting => "dial-setting",
            Self::PackNotedWrong => "pack-noted-wrong",
            Self::Cutting => "cutting",
        }
    }
}

/// Share of one reading in what is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Share {
    /// Which trial, from 1.
    pub trial: usize,
    /// Which reading.
    pub reading: ReadingKind,
    /// 0 … 1; all shares together are 1.
    pub share: f64,
}

/// Kinds of readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ReadingKind {
    /// The photo of the drive flank.
    Drive,
    /// The photo of the coast flank.
    Coast,
    /// The dial indicator.
    Backlash,
}

impl From<Side> for ReadingKind {
    fn from(side: Side) -> Self {
        match side {
            Side::Drive => Self::Drive,
            Side::Coast => Self::Coast,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn advice_of_the_schema_before_is_read_and_written_as_today_s() {
        let old = r#"{"schema":"flankread/advice/1","verdict":"correct","diagnosis":{},"why":[],"cautions":[]}"#;
        let advice: Advice = serde_json::from_str(old).unwrap();
        assert_eq!(advice.verdict, Verdict::Change);
        let new = serde_json::to_value(&advice).unwrap();
        assert_eq!(new["schema"], "flankread/advice/2");
        assert_eq!(new["verdict"], "change");
        assert_eq!(serde_json::from_value::<Advice>(new).unwrap(), advice);
    }
}
