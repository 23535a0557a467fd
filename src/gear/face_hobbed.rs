//! Flanks cut continuously: a blade line on an extended epicycloid.

use super::dimensions::Dimensions;
use super::parametric::Parametric;
use super::pitch::PitchPair;
use crate::schema::FlankForm;
use nalgebra::{Rotation3, Unit, Vector3};

/// The surface a straight blade sweeps in the blank while cutter and blank turn together, the blank
/// by `z_0 / z_2` of the cutter.
///
/// Uniform depth: the cutter's axis stands square on the pitch plane. The cutter's centre is where
/// its circle passes the mean point and the line from there to the instantaneous centre of rolling
/// is square to the tooth trace, which puts it at the lead angle `sin ν = z_0 m_mn / (2 r_c0)` from
/// the trace's normal (ISO 23509, face-hobbed).
#[derive(Debug, Clone)]
pub(crate) struct HobbedFlank {
    centre: Vector3<f64>,
    /// From the centre to the mean point.
    to_mean: Vector3<f64>,
    axis: Unit<Vector3<f64>>,
    /// The blade's direction at the mean point, one unit of height along it.
    blade: Vector3<f64>,
    /// z_0 / z_2.
    turn_ratio: f64,
    /// +1 convex, −1 concave.
    away: f64,
}

impl HobbedFlank {
    /// The flank through the mean point.
    pub(crate) fn new(dimensions: &Dimensions, pair: &PitchPair, form: FlankForm) -> Self {
        let lead = dimensions.lead_angle();
        let (sin_cutter, cos_cutter) = (pair.ring_spiral - lead).sin_cos();
        let to_mean = (pair.generatrix * sin_cutter - Vector3::y() * cos_cutter)
            * dimensions.cutter_radius_mm;
        let (sin_spiral, cos_spiral) = pair.ring_spiral.sin_cos();
        // Square to the trace, away from the centre of rolling.
        let across = pair.generatrix * sin_spiral - Vector3::y() * cos_spiral;
        let away = match form {
            FlankForm::Convex => 1.0,
            FlankForm::Concave => -1.0,
        };
        Self {
            centre: pair.mean_point - to_mean,
            to_mean,
            // About the inward normal a positive turn runs from toe to heel.
            axis: Unit::new_normalize(-pair.outward),
            blade: pair.outward - across * (away * dimensions.flank_angle(form).tan()),
            turn_ratio: f64::from(dimensions.blade_groups) / f64::from(dimensions.ring_teeth),
            away,
        }
    }

    /// The point at an angle the cutter has turned (radians from the mean point, toward the heel)
    /// and a height above the mean point along the cutter's axis (mm).
    pub(crate) fn at(&self, angle: f64, height_mm: f64) -> Parametric {
        let cutter = Rotation3::from_axis_angle(&self.axis, angle);
        let blank = Rotation3::from_axis_angle(&Vector3::z_axis(), angle * self.turn_ratio);
        let arm = cutter * (self.to_mean + self.blade * height_mm);
        let in_space = self.centre + arm;
        let velocity = self.axis.cross(&arm) + Vector3::z().cross(&in_space) * self.turn_ratio;
        let by_first = blank * velocity;
        let by_second = blank * (cutter * self.blade);
        let normal = by_second.cross(&by_first).normalize() * self.away;
        Parametric {
            position: blank * in_space,
            by_first,
            by_second,
            normal,
        }
    }
}
