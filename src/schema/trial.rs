//! One assembly as the advice reads it: shims, backlash and what each flank showed.

use super::advice::SuspectKind;
use super::reading::Mean;
use crate::frames::{FlankPoint, Side};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// One assembly with its shims, backlash and readings. Shims are millimetres of pack; positions are
/// millimetres from any zero that stays the same through the job, + = away from the mating gear.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[non_exhaustive]
pub struct Trial {
    /// Pinion pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_shim_mm: Option<f64>,
    /// Pack on the side of the ring gear's back face.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_side_shim_mm: Option<f64>,
    /// Pack on the other side of the carrier.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub far_side_shim_mm: Option<f64>,
    /// Place of the pinion, instead of its pack.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_mm: Option<f64>,
    /// Place of the ring gear, instead of its packs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_mm: Option<f64>,
    /// Place of threaded adjusters in whole notches, + = ring gear away from the pinion.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_notches: Option<i32>,
    /// Backlash at any number of places round the gear; a single number may stand alone.
    #[serde(
        deserialize_with = "one_or_many",
        skip_serializing_if = "Vec::is_empty"
    )]
    pub backlash_mm: Vec<f64>,
    /// New or used gears.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub condition: Option<Condition>,
    /// New or used pinion bearings, which the window of the rotating torque goes by; as the gears where it is not said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bearings: Option<Condition>,
    /// The side bearings carried their preload.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub side_preload: bool,
    /// Struck out: it keeps its number and counts for nothing.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub struck: bool,
    /// The set as it came in, before anything was changed.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub as_found: bool,
    /// Rotating torque of the pinion.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pinion_torque_nm: Option<f64>,
    /// When the shims were last changed, RFC 3339 (`2026-05-04T10:30:00`).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub assembled: Option<String>,
    /// Reading of the drive flank.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drive: Option<FlankReading>,
    /// Reading of the coast flank.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coast: Option<FlankReading>,
    /// What was looked at again since advice suspected it, and is as it was told: of this trial, or of the whole job where the
    /// suspect is of that.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub looked: Vec<SuspectKind>,
    /// Fields this version does not know.
    #[serde(flatten)]
    #[schemars(skip)]
    pub other: Map<String, Value>,
}

/// New or used gears.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Condition {
    /// Never run.
    New,
    /// Run in another position or another axle's life before.
    Used,
}

/// Where the patch stands on one flank, in shares of the flank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct FlankReading {
    /// Centre of the patch.
    pub centre: FlankPoint,
    /// Size of the patch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub extent: Option<FlankPoint>,
    /// Lean of the patch, degrees, + = heel end nearer the tip.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lean_deg: Option<f64>,
    /// Half widths that hold the true centre in 90 % of readings, along length and height each.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<FlankPoint>,
    /// How much the teeth of the photo differ, one standard deviation.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spread: Option<FlankPoint>,
    /// When the photo was taken, RFC 3339.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken: Option<String>,
}

impl FlankReading {
    /// A reading of which nothing but the patch's centre is known.
    pub const fn at(centre: FlankPoint) -> Self {
        Self {
            centre,
            extent: None,
            lean_deg: None,
            uncertainty: None,
            spread: None,
            taken: None,
        }
    }

    /// The reading of a photo's mean over its teeth.
    pub fn from_mean(mean: &Mean, uncertainty: Option<FlankPoint>) -> Self {
        Self {
            centre: mean.centre,
            extent: Some(mean.extent),
            lean_deg: Some(mean.lean_deg),
            uncertainty,
            spread: (mean.teeth > 1).then_some(mean.spread),
            taken: None,
        }
    }
}

fn one_or_many<'de, D: serde::Deserializer<'de>>(
    deserializer: D,
) -> std::result::Result<Vec<f64>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum OneOrMany {
        None,
        One(f64),
        Many(Vec<f64>),
    }
    Ok(match OneOrMany::deserialize(deserializer)? {
        OneOrMany::None => Vec::new(),
        OneOrMany::One(one) => vec![one],
        OneOrMany::Many(many) => many,
    })
}

impl Trial {
    /// Puts down the reading of one flank.
    pub fn set_reading(&mut self, side: Side, reading: FlankReading) {
        match side {
            Side::Drive => self.drive = Some(reading),
            Side::Coast => self.coast = Some(reading),
        }
    }

    /// The reading of one flank.
    pub const fn reading(&self, side: Side) -> Option<&FlankReading> {
        match side {
            Side::Drive => self.drive.as_ref(),
            Side::Coast => self.coast.as_ref(),
        }
    }

    /// Mean of the backlash readings.
    pub fn mean_backlash_mm(&self) -> Option<f64> {
        let n = self.backlash_mm.len();
        (n > 0).then(|| self.backlash_mm.iter().sum::<f64>() / n as f64)
    }

    /// Greatest less least backlash round the gear; `None` with fewer than two readings.
    pub fn backlash_variation_mm(&self) -> Option<f64> {
        if self.backlash_mm.len() < 2 {
            return None;
        }
        let low = self
            .backlash_mm
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        let high = self
            .backlash_mm
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        Some(high - low)
    }
}
