//! The whole of one job, as it is stored, printed and carried to another workshop:
//! `flankread/record/1`.

use super::advice::Advice;
use super::card::Card;
use super::reading::Reading;
use super::trial::{Condition, Trial};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/record/1";

/// One job with everything that was recorded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Record {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// Who, what and when.
    pub head: Head,
    /// The gear set.
    pub card: Card,
    /// The assemblies, oldest first.
    pub trials: Vec<Assembly>,
    /// Advice given, oldest first.
    pub advice: Vec<Given>,
    /// What was ticked off at the end.
    pub closing: Vec<Tick>,
    /// Notes, oldest first.
    pub notes: Vec<Note>,
}

/// Who, what and when.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Head {
    /// The job's number in its workshop; another workshop gives it its own.
    #[serde(skip)]
    pub number: i64,
    /// What tells this job from every other in every workshop.
    pub uid: String,
    /// What people call the job.
    pub name: String,
    /// Vehicle and axle.
    pub axle: String,
    /// Who works on it.
    pub mechanic: String,
    /// When it was opened.
    pub opened: String,
    /// When it was closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
}

/// One assembly: the numbers the advice reads, and what the bench notes beside them.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Assembly {
    /// Counted from 1.
    pub number: i64,
    /// When it was recorded.
    pub recorded: String,
    /// Who recorded it.
    pub by: String,
    /// Shims, backlash, readings.
    pub trial: Trial,
    /// What else was measured.
    pub bench: Bench,
    /// The photos, in the order they were given.
    pub photos: Vec<PhotoOf>,
}

/// What the bench notes of an assembly beside the numbers that the advice reads.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
pub(crate) struct Bench {
    /// Pack between the pinion bearings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub preload_pack_mm: Option<f64>,
    /// Each reading of the pinion's rotating torque.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub pinion_readings_nm: Vec<f64>,
    /// Each reading of the torque to turn pinion and carrier.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub total_readings_nm: Vec<f64>,
    /// Torque the pinion nut was brought to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_nut_nm: Option<f64>,
    /// Whether the pinion's bearings have run before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bearings: Option<Condition>,
    /// The seal was fitted.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub seal: bool,
    /// The side bearings carried their preload.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub side_preload: bool,
    /// Pressed bearings, seal, new nut or sleeve: as it will be driven.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub final_parts: bool,
    /// What was put right later, oldest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub amended: Vec<Amendment>,
    /// Why the assembly does not count: written down wrong, or assembled wrong.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub struck: Option<String>,
    /// What the mechanic wrote.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub note: String,
}

/// A value that was put right: what stood there before stays in the record.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Amendment {
    /// When.
    pub at: String,
    /// Who.
    pub by: String,
    /// Which value, by its key in the trial or the bench.
    pub what: String,
    /// What was written before; null where nothing was.
    pub was: Value,
    /// What is written now.
    pub now: Value,
    /// Why.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub because: String,
}

/// What a photo shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "lowercase")]
pub(crate) enum Shows {
    /// Drive flanks.
    Drive,
    /// Coast flanks.
    Coast,
    /// Something else worth keeping.
    Other,
}

impl Shows {
    /// The word it is printed with.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Drive => "drive",
            Self::Coast => "coast",
            Self::Other => "other",
        }
    }
}

/// A photo of an assembly.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct PhotoOf {
    /// SHA-256 of the file as the camera wrote it; an imported job's photo keeps it.
    pub original_sha256: String,
    /// SHA-256 of the bytes that are stored.
    pub sha256: String,
    /// The file's name, without its folder.
    pub name: String,
    /// What it shows.
    pub shows: Shows,
    /// What was read in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reading: Option<Reading>,
}

/// Advice that was given, and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Given {
    /// The assembly it was given on.
    pub after: i64,
    /// When.
    pub at: String,
    /// The advice.
    pub advice: Advice,
    /// Whether the next assembly followed it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub followed: Option<Followed>,
    /// How it differed, or why.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub remark: String,
    /// Why it holds no more: what it was given on was struck out or put right afterwards.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub outdated: String,
}

/// Whether advice was followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "lowercase")]
pub(crate) enum Followed {
    /// All of it.
    Yes,
    /// Some of it.
    Partly,
    /// None of it.
    No,
}

impl Followed {
    /// The word it is printed with.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Yes => "followed",
            Self::Partly => "partly followed",
            Self::No => "not followed",
        }
    }
}

/// A ticked item of the closing list.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Tick {
    /// Which.
    pub item: Item,
    /// When.
    pub at: String,
    /// Who.
    pub by: String,
    /// What was measured or used, as it was written.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub value: String,
    /// Why a value outside its limit stands all the same.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub because: String,
}

/// A note.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Note {
    /// When.
    pub at: String,
    /// Who.
    pub by: String,
    /// What.
    pub text: String,
}

/// One item. The order is that of the work.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "snake_case")]
pub(crate) enum Item {
    /// Oil slinger or baffle.
    Slinger,
    /// Pressed bearings in place of set-up bearings.
    FinalBearings,
    /// New seal, new nut or sleeve.
    SealAndNut,
    /// New crush washers.
    Washers,
    /// Thread locker on the ring-gear bolts.
    ThreadLocker,
    /// Torque of the ring-gear bolts.
    RingBolts,
    /// Caps on their own sides.
    CapSides,
    /// Torque of the cap bolts.
    CapBolts,
    /// Torque of the pinion nut.
    PinionNut,
    /// Rotating torque of the pinion, final parts.
    PinionTorque,
    /// Torque to turn pinion and carrier.
    TotalTorque,
    /// Locks: cap locks, adjuster locks, cotter or staked nut.
    Locks,
    /// The magnet.
    Magnet,
    /// The vent.
    Vent,
    /// Filled with oil.
    Oil,
    /// Dry after standing overnight.
    LeakCheck,
    /// The owner knows how to break it in.
    BreakIn,
}
