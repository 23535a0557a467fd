//! Words for how a gear set is cut and which way it turns.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How the ring gear's teeth were cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "kebab-case")]
pub enum Cutting {
    /// One slot at a time with a face-mill cutter: circular lengthwise curve, tapered depth.
    FaceMilled,
    /// Continuously with blade groups: extended-epicycloid lengthwise curve, uniform depth.
    FaceHobbed,
}

/// Hand of the ring gear's spiral.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "lowercase")]
pub enum Hand {
    /// Left-hand spiral.
    Left,
    /// Right-hand spiral.
    Right,
}

impl Hand {
    /// The other hand: what a mirror makes of it.
    pub const fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }
}

/// Lengthwise form of a ring-gear flank.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "lowercase")]
pub enum FlankForm {
    /// Cut by the inside blade; the drive flank on the usual rear axle.
    Convex,
    /// Cut by the outside blade; the coast flank on the usual rear axle.
    Concave,
}

/// How a face-milled ring gear's flanks came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum RingCut {
    /// By the cutter alone: the flank is the cutter's cone.
    #[default]
    #[serde(rename = "plunged", alias = "non-generated")]
    NonGenerated,
    /// Cutter and blank rolled together.
    #[serde(rename = "rolled", alias = "generated")]
    Generated,
}

/// How the depth changes along the tooth (ISO 23509, Annex C.5).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Taper {
    /// Root cones meet at the pitch apex.
    Standard,
    /// The slot is as wide at the toe as at the heel.
    Duplex,
    /// Duplex, but at most 1.3 times standard.
    Modified,
    /// No taper.
    Uniform,
}
