//! Which way to move the gears where no card says what they are: `flankread/direction/1`.

use super::Diagnosis;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/direction/1";

/// What holds for every gear set whose patches stand so.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Direction {
    /// Always `flankread/direction/1`.
    pub schema: String,
    /// What to do first, in one line.
    pub summary: String,
    /// Where the patches stand against the place that is usual.
    pub diagnosis: Diagnosis,
    /// Which way the pinion goes; absent when the patches do not tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pinion: Option<Way>,
    /// Which way the ring gear goes after that, as far as backlash allows; absent when the patches do not tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ring_gear: Option<Way>,
    /// A first move of the pinion on a usual set of this size, without sign; absent without the sizes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_pinion_mm: Option<f64>,
    /// One plain sentence a step.
    pub why: Vec<String>,
    /// What a card would add.
    pub card_would_add: String,
    /// What to mind.
    pub cautions: Vec<String>,
}

/// Which way a gear goes, seen from its mate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Way {
    /// Toward the other gear.
    Toward,
    /// Away from it.
    Away,
    /// It stays.
    Stays,
}

impl Way {
    /// `toward`, `away from`; nothing for a gear that stays.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Toward => "toward",
            Self::Away => "away from",
            Self::Stays => "where it is, seen from",
        }
    }
}
