//! What a photo is asked for: the flank, the compound, what is done wrong.

use super::noise::share;
use crate::frames::Side;

/// Marking compounds by their colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Compound {
    /// Yellow oxide.
    Yellow,
    /// White grease.
    White,
    /// Red oxide.
    Red,
    /// Blue.
    Blue,
}

impl Compound {
    const ALL: [Self; 4] = [Self::Yellow, Self::White, Self::Red, Self::Blue];

    /// The compound that a seed takes: yellow is by far the usual one.
    pub(crate) fn usual(seed: u64) -> Self {
        let k = (share(seed, 104) * 6.0) as usize;
        Self::ALL[k.saturating_sub(2).min(3)]
    }

    /// Linear reflectance; common practice, no source.
    pub(super) const fn colour(self) -> [f64; 3] {
        match self {
            Self::Yellow => [0.72, 0.47, 0.04],
            Self::White => [0.72, 0.70, 0.65],
            Self::Red => [0.52, 0.06, 0.03],
            Self::Blue => [0.04, 0.13, 0.46],
        }
    }
}

/// What spoils a photo or its pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mistake {
    /// Out of focus, or shaken.
    Blurred,
    /// The flash mirrored in the flanks.
    Glare,
    /// Hardly any light.
    TooDark,
    /// The flanks run out of the picture.
    TooNear,
    /// The teeth are tiny in the picture.
    TooFar,
    /// Straight into the slots: the flanks are not turned to the camera.
    FromAbove,
    /// Painted and not rolled.
    NotRolled,
    /// Compound so thick that contact smears it instead of wiping it.
    TooThick,
    /// One tooth only.
    OneTooth,
}

/// What to photograph, and how.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Shot {
    /// The flank that is turned to the camera.
    pub side: Side,
    /// Width and height, pixels.
    pub size: (u32, u32),
    /// What decides viewpoint, lamp, brush strokes and compound.
    pub seed: u64,
    /// The compound; by the seed when `None`.
    pub compound: Option<Compound>,
    /// What the photographer or the painter does wrong, if anything.
    pub mistake: Option<Mistake>,
}

impl Shot {
    /// A good photo of a side.
    pub(crate) const fn new(side: Side, size: (u32, u32), seed: u64) -> Self {
        Self {
            side,
            size,
            seed,
            compound: None,
            mistake: None,
        }
    }
}
