//! The bench's arithmetic: one file a station, each with its formula, its numbers and its result.
//!
//! Inside, lengths are millimetres, torques newton-metres, forces newtons. Nothing here knows of
//! photos or of stored jobs.

pub mod backlash_ratio;
pub mod case_spread;
pub mod fasteners;
pub mod pinion_shim;
pub mod preload;
pub mod round_the_gear;
pub mod side_packs;
pub mod sleeve;
pub mod threads;
pub mod turning_torque;
pub mod usual;

use serde::Serialize;

/// Value of the `schema` field of what a station prints.
pub const SCHEMA: &str = "flankread/setup/1";

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
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Step {
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
    pub fn new(
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

/// What a station answers: its numbers for machines, its working and remarks for people.
#[derive(Debug, Clone, Serialize)]
pub struct Answer {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Which station.
    pub station: &'static str,
    /// The numbers, the unit in the key.
    pub result: serde_json::Value,
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
    /// An answer of `station`; what is not serialisable becomes `null`, which no result is.
    pub fn new(station: &'static str, result: &impl Serialize, says: impl Into<String>) -> Self {
        Self {
            schema: SCHEMA,
            station,
            result: serde_json::to_value(result).unwrap_or_default(),
            says: says.into(),
            steps: Vec::new(),
            remarks: Vec::new(),
            cautions: Vec::new(),
        }
    }
}

/// What stands under every answer that ends in a torque or a fit.
pub const MANUAL: &str = "The limits and torques of your axle's manual go before anything printed \
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
