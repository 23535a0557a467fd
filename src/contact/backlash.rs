//! The trade's arithmetic of axial moves and backlash.

use super::Model;
use nalgebra::Vector3;

/// Backlash that one unit of axial move of a member adds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BacklashRatio {
    /// In the plane of rotation, at the radius asked for.
    pub transverse: f64,
    /// Square to the tooth, at the mean radius.
    pub square: f64,
}

impl Model {
    /// Backlash added by each unit the ring gear is backed off, by the model to first order at the
    /// flanks' centres; in the plane of rotation at `radius_mm`, and square to the tooth at the mean
    /// radius.
    ///
    /// The normal section at the mean point gives `2 tan α sin Γ / cos ψ · R / r_2` and
    /// `2 sin α sin Γ` for flanks of one angle; else twice the tangent is the sum of both flanks'.
    pub fn ring_backlash_ratio(&self, radius_mm: f64) -> BacklashRatio {
        self.backlash_ratio(&-Vector3::z(), radius_mm)
    }

    /// Backlash added by each unit the pinion is withdrawn, read on the ring gear; as
    /// [`Model::ring_backlash_ratio`].
    pub fn pinion_backlash_ratio(&self, radius_mm: f64) -> BacklashRatio {
        let axis = self.pair().pinion_axis;
        self.backlash_ratio(&axis, radius_mm)
    }

    fn backlash_ratio(&self, shift: &Vector3<f64>, radius_mm: f64) -> BacklashRatio {
        let angle: f64 = self.flanks.iter().map(|f| f.lag_at_centre(shift)).sum();
        BacklashRatio {
            transverse: angle * radius_mm,
            square: angle * self.square_radius_mm(),
        }
    }

    /// Backlash square to the tooth at the mean radius is the ring gear's free angle times this
    /// length: `r_2 cos α cos ψ`, mm. The foot rests on either flank, so that the cosine is the mean of both.
    pub fn square_radius_mm(&self) -> f64 {
        let (pair, d) = (self.pair(), self.dimensions());
        let cosine = 0.5 * (d.convex_angle.cos() + d.concave_angle.cos());
        pair.ring_radius_mm * cosine * pair.ring_spiral.cos()
    }
}
