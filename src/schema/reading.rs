//! What one photo says: `flankread/reading/1`.
//!
//! Fields may be added; renaming or re-meaning one bumps [`SCHEMA`].

use super::gear::{Cutting, Hand};
use crate::frames::{FlankPoint, PhotoPoint, Side};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/reading/1";

/// The reading of one photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Reading {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// The photo that was read.
    pub photo: PhotoFacts,
    /// Whether the numbers may be used.
    pub status: Status,
    /// Why the status is not `read`, and remarks that go with a reading.
    pub reasons: Vec<Reason>,
    /// Which flank the numbers belong to, if that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flank: Option<FlankSide>,
    /// Hand of the ring gear's spiral, if the picture tells; of a mirrored photo, that of the gear itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hand: Option<Hand>,
    /// How the ring gear was cut, if the picture tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cutting: Option<SeenCutting>,
    /// The marking compound, if any was found.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub compound: Option<Compound>,
    /// Each flank that was outlined, in order along the gear.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub teeth: Vec<Tooth>,
    /// Robust mean over the teeth.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean: Option<Mean>,
    /// Half widths that hold the true mean centre in 90 % of photos, along length and height each.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<FlankPoint>,
}

impl Reading {
    /// That of a photo on which no flanks are known, with the reasons for it.
    pub(crate) fn unreadable(photo: PhotoFacts, reasons: Vec<Reason>) -> Self {
        Self {
            schema: SCHEMA.to_owned(),
            photo,
            status: Status::Unreadable,
            reasons,
            flank: None,
            hand: None,
            cutting: None,
            compound: None,
            teeth: Vec::new(),
            mean: None,
            uncertainty: None,
        }
    }
}

/// Facts of the photo file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct PhotoFacts {
    /// The path as it was given.
    pub path: String,
    /// Width of the upright photo, pixels; 0 when it could not be opened.
    pub width: u32,
    /// Height of the upright photo, pixels; 0 when it could not be opened.
    pub height: u32,
    /// SHA-256 of the file's bytes, hexadecimal.
    pub sha256: String,
    /// What of the picture was read, where bars or other photos stand about it. Corners are in pixels of the whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub area: Option<PhotoArea>,
}

impl PhotoFacts {
    /// The photo's name as people are told: its path, and which photo of a collage it is.
    #[cfg(feature = "cli")]
    pub(crate) fn name(&self) -> String {
        match self.area.and_then(|area| area.part) {
            Some(PhotoPart { number, of }) => format!("{}, photo {number} of {of}", self.path),
            None => self.path.clone(),
        }
    }
}

/// A part of a picture, pixels of the upright photo at full size.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct PhotoArea {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// Which photo of a collage it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<PhotoPart>,
}

/// One photo of several in a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct PhotoPart {
    /// Its number, from 1, row by row.
    pub number: u32,
    /// How many there are.
    pub of: u32,
}

/// Whether a reading may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
#[non_exhaustive]
pub enum Status {
    /// Good enough to choose shims by.
    Read,
    /// Numbers are shown, but no shim is advised on them without the user's word.
    Unsure,
    /// No numbers.
    Unreadable,
}

impl Status {
    /// The word printed everywhere, as JSON has it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Unsure => "unsure",
            Self::Unreadable => "unreadable",
        }
    }
}

/// One named reason, with what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Reason {
    /// Which reason.
    pub code: ReasonCode,
    /// One plain sentence or two: what is wrong and what to do.
    pub message: String,
}

/// The reasons a photo can be refused or doubted for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum ReasonCode {
    /// The file is no picture that can be opened.
    NotAnImage,
    /// Too few pixels on the gear.
    TooSmall,
    /// Not sharp on the gear.
    Blurred,
    /// Too dark.
    TooDark,
    /// Burnt out on the gear.
    BurntOut,
    /// No ring gear was found.
    NoGear,
    /// Several photos in one picture: each is to be read by itself.
    Collage,
    /// The flanks carry no marking compound.
    NoCompound,
    /// Compound, but no patch in it.
    NoPatch,
    /// The flanks are cut off by the edge of the photo.
    FlankCropped,
    /// The flanks' ends, root or tip lie behind something.
    FlankHidden,
    /// The file is damaged where the flanks lie.
    Damaged,
    /// The patch lies in two islands.
    TwoPatches,
    /// The photos are not of one gear, or not of two flanks of it.
    TwoGears,
    /// Reflections cover the patch.
    Glare,
    /// Fewer teeth than a sure reading needs.
    FewTeeth,
    /// The teeth do not agree with each other.
    TeethDisagree,
    /// Where the patch stands on the flanks is not sure enough.
    PlaceUnsure,
    /// It cannot be told whether this is the drive or the coast flank.
    WhichFlank,
    /// It cannot be told which end is the toe.
    WhichEnd,
    /// It cannot be told whether the ring gear or the pinion was painted.
    Polarity,
    /// The gear's hand is not that of the card: the photo seems mirrored, or is said to be and is not.
    Mirrored,
    /// The teeth look cut by the other method than the card's. A remark: the numbers stand.
    CuttingDiffers,
}

/// Which flank was read and who said so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct FlankSide {
    /// Drive or coast.
    pub side: Side,
    /// Who said so.
    pub source: Source,
}

/// How a ring gear was cut, as a photo tells.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct SeenCutting {
    /// The cutting method.
    pub method: Cutting,
    /// How likely it is that one, 0 … 1; before the photo was looked at both were equally likely.
    pub probability: f64,
}

/// Who said which flank it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// The command line.
    Given,
    /// The marks file.
    Marked,
    /// The picture.
    Inferred,
}

/// The marking compound on the flanks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Compound {
    /// A plain colour word: yellow, white, orange, red, blue, green.
    pub colour: String,
    /// How contact shows.
    pub polarity: Polarity,
    /// Share of the outlined flanks that compound covers, the patch counted as covered.
    pub coverage: f64,
}

/// How contact shows on the ring gear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "lowercase")]
pub enum Polarity {
    /// The ring gear was painted: contact wiped the compound off.
    Wiped,
    /// The pinion was painted: contact left compound on bare steel.
    Transferred,
}

/// One flank of one tooth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Tooth {
    /// The four corners of the flank.
    pub corners: Corners,
    /// The root side, toe to heel (`corners` included).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub root: Vec<PhotoPoint>,
    /// The tip side, toe to heel (`corners` included).
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tip: Vec<PhotoPoint>,
    /// The contact patch, if one was found on this flank.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub patch: Option<Patch>,
    /// Where the patch lies in two islands, each of them, the larger first; `patch` is then both together.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub islands: Vec<Patch>,
    /// 0 … 1: how far this flank's numbers are to be trusted.
    pub confidence: f64,
}

/// The corners of a flank in the photo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Corners {
    /// Inner end, root.
    pub toe_root: PhotoPoint,
    /// Inner end, tip.
    pub toe_tip: PhotoPoint,
    /// Outer end, tip.
    pub heel_tip: PhotoPoint,
    /// Outer end, root.
    pub heel_root: PhotoPoint,
}

impl Corners {
    /// The corners round the flank.
    pub(crate) fn ring(self) -> [PhotoPoint; 4] {
        [self.toe_root, self.toe_tip, self.heel_tip, self.heel_root]
    }

    /// Each corner moved in the same way.
    pub(crate) fn map(self, moved: impl Fn(PhotoPoint) -> PhotoPoint) -> Self {
        Self {
            toe_root: moved(self.toe_root),
            toe_tip: moved(self.toe_tip),
            heel_tip: moved(self.heel_tip),
            heel_root: moved(self.heel_root),
        }
    }
}

/// The contact patch of one flank, in shares of the flank.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Patch {
    /// Centroid over (length, height) with equal weight.
    pub centre: FlankPoint,
    /// Size of the patch's bounding box.
    pub extent: FlankPoint,
    /// Share of the flank's (length, height) square.
    pub area: f64,
    /// Angle of the long axis to the flank's length, positive when the heel end is nearer the tip,
    /// on the flank drawn at its true proportions.
    pub lean_deg: f64,
    /// Bare distance from the patch to each edge.
    pub margin: Margin,
}

/// Distance from the patch to each edge of the flank, in shares of the flank.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Margin {
    /// To the inner end.
    pub toe: f64,
    /// To the outer end.
    pub heel: f64,
    /// To the tip.
    pub tip: f64,
    /// To the root.
    pub root: f64,
}

/// Robust mean over the teeth of one photo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[non_exhaustive]
pub struct Mean {
    /// Mean centre.
    pub centre: FlankPoint,
    /// Mean extent.
    pub extent: FlankPoint,
    /// Mean lean, degrees.
    pub lean_deg: f64,
    /// Standard deviation of the centres among the teeth.
    pub spread: FlankPoint,
    /// How many teeth the mean is over.
    pub teeth: usize,
}

impl Reason {
    /// A reason with what to do about it in a plain sentence or two.
    pub fn new(code: ReasonCode, message: impl Into<String>) -> Self {
        Self {
            code,
            message: message.into(),
        }
    }
}
