//! What is taken off the pinion's exact conjugate so that contact stays inside the flank.

use crate::frames::FlankPoint;

/// Ease-off of one flank: crowning along the length, crowning along the profile, and bias.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EaseOff {
    /// Taken off at toe and heel of a centred flank, mm.
    pub length_mm: f64,
    /// Taken off at tip and root of a centred flank, mm.
    pub height_mm: f64,
    /// Taken off at the heel-tip and toe-root corners, added at the two others, mm.
    pub bias_mm: f64,
    /// Taken off at the heel beside that, and added at the toe, growing with the third power: what a cutter's own curvature
    /// leaves, mm.
    pub third_length_mm: f64,
    /// The same at tip and root, mm.
    pub third_height_mm: f64,
    /// Where nothing is taken off.
    pub centre: FlankPoint,
}

impl EaseOff {
    /// δ at a point of the flank, mm:
    /// `c_l x² + c_h y² + c_t x y + c_3l x³ + c_3h y³` with `x = 2 (u − u0)`, `y = 2 (v − v0)`.
    #[inline]
    pub fn at(&self, length: f64, height: f64) -> f64 {
        let x = 2.0 * (length - self.centre.length);
        let y = 2.0 * (height - self.centre.height);
        self.length_mm * x * x
            + self.height_mm * y * y
            + self.bias_mm * x * y
            + self.third_length_mm * x * x * x
            + self.third_height_mm * y * y * y
    }
}
