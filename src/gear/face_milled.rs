//! Flanks cut one slot at a time with a face-mill cutter: the ring gear's flank is the cutter's own
//! cone, or what that cone envelops while cradle and blank roll together.

use super::dimensions::Dimensions;
use super::parametric::Parametric;
use super::pitch::PitchPair;
use crate::schema::FlankForm;
use nalgebra::{Rotation3, Unit, Vector3};

/// The cone a straight blade sweeps about the cutter's axis.
#[derive(Debug, Clone)]
pub(crate) struct CutterCone {
    /// A point of the cutter's axis, mm.
    pub centre: Vector3<f64>,
    /// Unit vector from the centre to where the angle about the axis is 0.
    pub first: Vector3<f64>,
    /// Unit vector to where that angle is a right one.
    pub second: Vector3<f64>,
    /// Unit vector along the axis; heights are counted along it from the centre.
    pub axis: Vector3<f64>,
    /// Radius at the centre, mm.
    pub radius_mm: f64,
    /// Growth of the radius with height.
    pub slope: f64,
    /// +1 the normal out of the tooth points away from the cutter's axis (convex flank), −1 toward it
    /// (concave).
    pub away: f64,
}

impl CutterCone {
    /// The cone for a ring gear's flank: its axis stands square on the root plane; at the height of
    /// the mean point the blade runs on a circle of the cutter's radius whose tangent there has the
    /// spiral angle. Above it the radius grows (outside blade, concave flank) or shrinks (inside
    /// blade, convex flank) by the
    /// tangent of the flank's own angle a unit of height.
    pub(crate) fn new(dimensions: &Dimensions, pair: &PitchPair, form: FlankForm) -> Self {
        let (sin_root, cos_root) = (pair.ring_angle - dimensions.dedendum_angle).sin_cos();
        let generatrix = Vector3::new(sin_root, 0.0, cos_root);
        let (sin_spiral, cos_spiral) = pair.ring_spiral.sin_cos();
        let first = generatrix * sin_spiral - Vector3::y() * cos_spiral;
        let away = match form {
            FlankForm::Convex => 1.0,
            FlankForm::Concave => -1.0,
        };
        Self {
            centre: pair.mean_point - first * dimensions.cutter_radius_mm,
            first,
            second: generatrix * cos_spiral + Vector3::y() * sin_spiral,
            axis: Vector3::new(cos_root, 0.0, -sin_root),
            radius_mm: dimensions.cutter_radius_mm,
            slope: -away * dimensions.flank_angle(form).tan(),
            away,
        }
    }

    fn radial(&self, angle: f64) -> Vector3<f64> {
        self.first * angle.cos() + self.second * angle.sin()
    }

    fn normal(&self, radial: &Vector3<f64>) -> Vector3<f64> {
        (radial - self.axis * self.slope) * (self.away / self.slope.hypot(1.0))
    }

    /// The point at an angle about the axis (radians) and a height along it (mm).
    pub(crate) fn at(&self, angle: f64, height_mm: f64) -> Parametric {
        let radial = self.radial(angle);
        let tangent = self.second * angle.cos() - self.first * angle.sin();
        let radius = self.radius_mm + self.slope * height_mm;
        Parametric {
            position: self.centre + radial * radius + self.axis * height_mm,
            by_first: tangent * radius,
            by_second: radial * self.slope + self.axis,
            normal: self.normal(&radial),
        }
    }
}

/// The surface a cutter cone envelops while the cradle that carries it rolls with the blank.
#[derive(Debug, Clone)]
pub(crate) struct GeneratedFlank {
    /// The cutter in the blank's frame when the cradle stands at 0.
    pub cutter: CutterCone,
    /// A point of the cradle's axis, mm.
    pub cradle_point: Vector3<f64>,
    /// The cradle's axis.
    pub cradle_axis: Unit<Vector3<f64>>,
    /// Turn of the blank about its own axis (+z) for each turn of the cradle.
    pub blank_per_cradle: f64,
}

impl GeneratedFlank {
    /// The flank for which the cradle's axis passes square to the root plane through the pitch apex,
    /// and cradle and blank move alike at the mean point: the cradle turns by `sin Γ / cos θ_f` of the
    /// blank.
    pub(crate) fn new(dimensions: &Dimensions, pair: &PitchPair, form: FlankForm) -> Self {
        let cutter = CutterCone::new(dimensions, pair, form);
        Self {
            cradle_point: Vector3::zeros(),
            // About the inward normal the cradle turns the same way as the blank about +z.
            cradle_axis: Unit::new_normalize(-cutter.axis),
            blank_per_cradle: dimensions.dedendum_angle.cos() / pair.ring_angle.sin(),
            cutter,
        }
    }

    /// The point that the cutter's generatrix at `angle` (radians) cuts when the cradle stands at
    /// `roll` (radians); `None` where that generatrix cuts nothing.
    ///
    pub(crate) fn point(&self, angle: f64, roll: f64) -> Option<(Vector3<f64>, Vector3<f64>)> {
        let (position, normal, _) = self.cut(angle, roll)?;
        Some((position, normal))
    }

    /// The point, its normal, and the height on the generatrix that cuts it, mm.
    ///
    /// The normal of a cone is the same all along a generatrix, and the relative velocity is linear
    /// along it, so that `n · v = 0` gives the height on it directly.
    fn cut(&self, angle: f64, roll: f64) -> Option<(Vector3<f64>, Vector3<f64>, f64)> {
        let c = &self.cutter;
        let radial = c.radial(angle);
        let cradle = Rotation3::from_axis_angle(&self.cradle_axis, roll);
        let start = cradle * (c.centre + radial * c.radius_mm - self.cradle_point);
        let along = cradle * (radial * c.slope + c.axis);
        let normal = cradle * c.normal(&radial);
        let axis = self.cradle_axis.into_inner();
        let spin = Vector3::z() * self.blank_per_cradle;
        let at_start = axis.cross(&start) - spin.cross(&(start + self.cradle_point));
        let per_height = axis.cross(&along) - spin.cross(&along);
        let rate = normal.dot(&per_height);
        if rate.abs() < 1e-12 {
            return None;
        }
        let height = -normal.dot(&at_start) / rate;
        let blank = Rotation3::from_axis_angle(&Vector3::z_axis(), -self.blank_per_cradle * roll);
        Some((
            blank * (start + along * height + self.cradle_point),
            blank * normal,
            height,
        ))
    }

    /// The point with its tangents by central differences, for Newton's method; the normal is exact.
    pub(crate) fn at(&self, angle: f64, roll: f64) -> Option<Parametric> {
        const STEP: f64 = 1e-6;
        let (position, normal) = self.point(angle, roll)?;
        let slope = |da: f64, dr: f64| {
            let plus = self.point(angle + da, roll + dr)?.0;
            let minus = self.point(angle - da, roll - dr)?.0;
            Some((plus - minus) / (2.0 * STEP))
        };
        Some(Parametric {
            position,
            by_first: slope(STEP, 0.0)?,
            by_second: slope(0.0, STEP)?,
            normal,
        })
    }
}

#[cfg(test)]
pub(crate) mod tests;
