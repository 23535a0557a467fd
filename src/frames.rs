//! Points of the two planes the program works in, as types that cannot be mixed up.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A point of the upright photo (EXIF orientation applied) at full size, in pixels: `x` right, `y`
/// down, (0, 0) the outer corner of the top-left pixel. Written as `[x, y]` in JSON.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(from = "[f64; 2]", into = "[f64; 2]")]
pub struct PhotoPoint {
    /// Pixels from the left edge.
    pub x: f64,
    /// Pixels from the upper edge.
    pub y: f64,
}

impl PhotoPoint {
    /// A point from its two pixel coordinates.
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// Straight distance to `other`, in pixels.
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }

    /// The point a share `t` of the way to `other`.
    pub fn lerp(self, other: Self, t: f64) -> Self {
        Self::new(
            self.x + (other.x - self.x) * t,
            self.y + (other.y - self.y) * t,
        )
    }

    /// The point so many pixels to the right and down.
    pub(crate) fn shifted(self, right: f64, down: f64) -> Self {
        Self::new(self.x + right, self.y + down)
    }

    /// The same point of the same picture shown `factor` times as large.
    pub fn scaled(self, factor: f64) -> Self {
        Self::new(self.x * factor, self.y * factor)
    }
}

impl From<[f64; 2]> for PhotoPoint {
    fn from([x, y]: [f64; 2]) -> Self {
        Self { x, y }
    }
}

impl From<PhotoPoint> for [f64; 2] {
    fn from(p: PhotoPoint) -> Self {
        [p.x, p.y]
    }
}

/// A point of one tooth flank: `length` 0 at the toe … 1 at the heel, linear in cone distance;
/// `height` 0 at the root end of the flank … 1 at the tip, relative to the local depth.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FlankPoint {
    /// Share of the face width, toe 0 … heel 1.
    pub length: f64,
    /// Share of the flank's depth, root 0 … tip 1.
    pub height: f64,
}

impl FlankPoint {
    /// A point from its two shares.
    pub const fn new(length: f64, height: f64) -> Self {
        Self { length, height }
    }
}

/// Which of the two flanks of a tooth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[cfg_attr(feature = "cli", derive(clap::ValueEnum))]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The flank loaded when the vehicle is driven forward.
    Drive,
    /// The flank loaded when the vehicle rolls against the engine.
    Coast,
}

impl Side {
    /// Both sides, drive first: the order of every report.
    pub const BOTH: [Self; 2] = [Self::Drive, Self::Coast];

    /// The word printed and read everywhere.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Drive => "drive",
            Self::Coast => "coast",
        }
    }
}
