//! What brings a backlash that is outside its window to the middle of it.

use super::adjusters::Notches;
use super::side_packs::SidePacks;
use crate::rules::adjusters;
use crate::units::Shown;
use schemars::JsonSchema;
use serde::Serialize;

/// What brings the backlash to the middle of its window, everything else left as it is.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Cure {
    /// A move of the ring gear, where the packs are not known.
    Move {
        /// Millimetres, + = away from the pinion.
        away_mm: f64,
    },
    /// Notches of threaded adjusters.
    Notches(Notches),
    /// Side packs.
    Packs(Box<SidePacks>),
}

impl Cure {
    pub(super) fn words(&self, shown: &Shown) -> String {
        let s = |mm: f64| shown.shim(mm);
        match self {
            Self::Move { away_mm } => format!(
                "Move the ring gear {} {} the pinion.",
                s(away_mm.abs()),
                if *away_mm < 0.0 {
                    "toward"
                } else {
                    "away from"
                }
            ),
            Self::Notches(turn) => format!(
                "With the adjusters: {}: expect {}.",
                adjusters(turn.notches),
                s(turn.backlash_mm)
            ),
            Self::Packs(packs) => match &packs.from_kit {
                Some(built) => format!(
                    "Change the ring side to {} and the far side to {}: expect {}.",
                    built.ring_side.words(shown),
                    built.far_side.words(shown),
                    s(built.backlash_mm)
                ),
                None => format!(
                    "Change the ring side to {} and the far side to {}: expect {}.",
                    s(packs.ring_side_mm),
                    s(packs.far_side_mm),
                    s(packs.backlash_mm)
                ),
            },
        }
    }
}
