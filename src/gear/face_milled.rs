//! Flanks cut one slot at a time: the ring gear's flank is the cutter's own cone.

use super::dimensions::Dimensions;
use super::flank::Parametric;
use super::pitch::PitchPair;
use super::set::FlankForm;
use nalgebra::Vector3;

/// The cone a straight blade sweeps about the cutter's axis, in the ring gear's frame.
///
/// The axis stands square on the root plane; at the height of the mean point the blade runs on a
/// circle of the cutter's radius whose tangent there has the spiral angle. Above it the radius
/// grows (outside blade, concave flank) or shrinks (inside blade, convex flank) by `tan α` a unit of
/// height.
#[derive(Debug, Clone)]
pub struct MilledFlank {
    centre: Vector3<f64>,
    /// From the centre to the mean point, in the root plane.
    to_mean: Vector3<f64>,
    /// Along the tooth at the mean point, toward the heel.
    along: Vector3<f64>,
    /// The cutter's axis, out of the ring gear.
    axis: Vector3<f64>,
    radius_mm: f64,
    /// +1 the normal points away from the cutter's axis (convex), −1 toward it (concave).
    away: f64,
    sin_pressure: f64,
    cos_pressure: f64,
}

impl MilledFlank {
    /// The flank through the mean point.
    pub fn new(dimensions: &Dimensions, pair: &PitchPair, form: FlankForm) -> Self {
        let (sin_root, cos_root) = (pair.ring_angle - dimensions.dedendum_angle).sin_cos();
        let generatrix = Vector3::new(sin_root, 0.0, cos_root);
        let axis = Vector3::new(cos_root, 0.0, -sin_root);
        let (sin_spiral, cos_spiral) = pair.ring_spiral.sin_cos();
        let to_mean = generatrix * sin_spiral - Vector3::y() * cos_spiral;
        let (sin_pressure, cos_pressure) = dimensions.pressure_angle.sin_cos();
        Self {
            centre: pair.mean_point - to_mean * dimensions.cutter_radius_mm,
            to_mean,
            along: generatrix * cos_spiral + Vector3::y() * sin_spiral,
            axis,
            radius_mm: dimensions.cutter_radius_mm,
            away: match form {
                FlankForm::Convex => 1.0,
                FlankForm::Concave => -1.0,
            },
            sin_pressure,
            cos_pressure,
        }
    }

    /// The point at an angle about the cutter's axis (radians from the mean point, toward the heel)
    /// and a height above the mean point along the axis (mm).
    pub(crate) fn at(&self, angle: f64, height_mm: f64) -> Parametric {
        let (sin, cos) = angle.sin_cos();
        let radial = self.to_mean * cos + self.along * sin;
        let tangent = self.along * cos - self.to_mean * sin;
        let slope = -self.away * self.sin_pressure / self.cos_pressure;
        let radius = self.radius_mm + slope * height_mm;
        Parametric {
            position: self.centre + radial * radius + self.axis * height_mm,
            by_first: tangent * radius,
            by_second: radial * slope + self.axis,
            normal: radial * (self.away * self.cos_pressure) + self.axis * self.sin_pressure,
        }
    }
}
