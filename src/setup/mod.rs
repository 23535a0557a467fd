//! The bench's arithmetic: one file a station, each with its formula, its numbers and its result.
//!
//! Inside, lengths are millimetres, torques newton-metres, forces newtons. Nothing here knows of
//! photos or of stored jobs.

pub(crate) mod adjusters;
pub(crate) mod backlash_cure;
pub(crate) mod backlash_ratio;
pub(crate) mod case_spread;
pub(crate) mod fasteners;
pub(crate) mod friction;
pub(crate) mod kit_packs;
pub(crate) mod pinion_shim;
pub(crate) mod preload;
pub(crate) mod round_the_gear;
pub(crate) mod side_packs;
pub(crate) mod sleeve;
pub(crate) mod sum;
pub(crate) mod threads;
pub(crate) mod turning_torque;
pub(crate) mod usual;

use schemars::JsonSchema;
use serde::Serialize;

/// Value of the `schema` field of what a station prints.
pub(crate) const SCHEMA: &str = "flankread/setup/1";

/// Why a station cannot answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SetupError {
    /// A number the station cannot do without.
    #[error("{0}")]
    Missing(String),
    /// Numbers that cannot be.
    #[error("{0}")]
    Impossible(String),
    /// A number that was probably meant otherwise.
    #[error("{0}")]
    Question(String),
    /// No screw thread of that name.
    #[error(
        "`{text}` is no thread this program knows: {why}; write it like `3/8-24` or `M10x1.25`"
    )]
    Thread {
        /// What was written.
        text: String,
        /// What is wrong with it.
        why: String,
    },
}

impl From<SetupError> for crate::Error {
    fn from(error: SetupError) -> Self {
        Self::of(crate::error::ErrorKind::Input, error)
    }
}

/// One line of working, worded in the units asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub(crate) struct Step {
    /// What is worked out.
    pub what: String,
    /// How, in words and letters.
    pub formula: String,
    /// The same with the numbers in.
    pub numbers: String,
    /// What comes out.
    pub result: String,
}

impl Step {
    /// A line of working.
    pub(crate) fn new(
        what: impl Into<String>,
        formula: impl Into<String>,
        numbers: impl Into<String>,
        result: impl Into<String>,
    ) -> Self {
        Self {
            what: what.into(),
            formula: formula.into(),
            numbers: numbers.into(),
            result: result.into(),
        }
    }
}

/// A station and its numbers, the unit in the key.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(tag = "station", content = "result", rename_all = "snake_case")]
pub(crate) enum StationResult {
    /// Notches of threaded adjusters.
    Adjusters(adjusters::Notches),
    /// Backlash round the gear.
    Backlash(round_the_gear::Round),
    /// How far the case is spread.
    CaseSpread(case_spread::Spread),
    /// Torque and tension of a fastener.
    Fasteners(fasteners::Bolt),
    /// The pack to start with.
    PinionShim(pinion_shim::StartingPack),
    /// The pack between the pinion's bearings.
    Preload(preload::PreloadFit),
    /// The packs beside the carrier.
    SideShims(side_packs::SidePacks),
    /// The nut on a crush sleeve.
    Sleeve(sleeve::SleeveNext),
    /// What a pack comes to.
    Sum(sum::Sum),
    /// Rotating torque.
    TurningTorque(TurningTorque),
}

/// Rotating torque of the pinion alone, or of pinion and carrier.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(untagged)]
pub(crate) enum TurningTorque {
    /// The pinion alone.
    Pinion(turning_torque::Readings),
    /// Pinion and carrier, and what the carrier adds.
    Total(turning_torque::TotalTorque),
}

/// What a station answers: its numbers for machines, its working and remarks for people.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(crate) struct Answer {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Which station, and its numbers.
    #[serde(flatten)]
    pub result: StationResult,
    /// The answer in one sentence.
    pub says: String,
    /// The working.
    pub steps: Vec<Step>,
    /// What else to know.
    pub remarks: Vec<String>,
    /// What to mind.
    pub cautions: Vec<String>,
}

impl Answer {
    /// An answer with the caution that every station ends with.
    pub(crate) fn new(result: StationResult, says: impl Into<String>) -> Self {
        Self {
            schema: SCHEMA,
            result,
            says: says.into(),
            steps: Vec::new(),
            remarks: Vec::new(),
            cautions: vec![MANUAL.to_owned()],
        }
    }
}

/// What stands under every answer.
pub(crate) const MANUAL: &str = "The limits and torques of your axle's manual go before anything printed \
    here; a drive axle is safety-critical work for people trained and, where local rules ask for \
    it, licensed to do it.";

/// A number against its window, in words.
pub(crate) fn verdict(value: f64, window: [f64; 2]) -> &'static str {
    let slack = 1e-9 * window[1].abs();
    if value < window[0] - slack {
        "below"
    } else if value > window[1] + slack {
        "above"
    } else {
        "within"
    }
}
