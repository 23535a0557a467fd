//! The pinhole camera that a photo is taken to be made with.

use crate::flank::calibration::CALIBRATION;
use crate::frames::PhotoPoint;
use crate::photo::Photo;
use nalgebra::{Matrix3, Rotation3, Vector3};

/// A pinhole camera before the gear.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Camera {
    /// Gear axes → camera axes (x right, y down, z away).
    pub(crate) rotation: Matrix3<f64>,
    /// Where the gear's origin stands before the camera, face widths.
    pub(crate) origin: Vector3<f64>,
    /// Focal length, full-size pixels.
    pub(crate) focal_px: f64,
    /// Middle of the photo.
    pub(crate) centre: PhotoPoint,
}

impl Camera {
    /// The camera as it stands before the gear turned by `angle` radians about its axis: it has the tooth
    /// at angle 0 where this one has the tooth at `angle`.
    pub(crate) fn before_turned(&self, angle: f64) -> Self {
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), angle);
        Self {
            rotation: self.rotation * turn.into_inner(),
            ..self.clone()
        }
    }

    /// Where a point of space falls in the photo. Points behind the camera give coordinates that
    /// are not finite.
    pub(crate) fn project(&self, point: Vector3<f64>) -> PhotoPoint {
        let seen = self.rotation * point + self.origin;
        let per_depth = if seen.z > 1e-6 {
            self.focal_px / seen.z
        } else {
            f64::NAN
        };
        PhotoPoint::new(
            self.centre.x + seen.x * per_depth,
            self.centre.y + seen.y * per_depth,
        )
    }
}

/// Focal length as far as it is known before a fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FocalPrior {
    /// Likeliest focal length, full-size pixels.
    pub px: f64,
    /// Standard deviation of its logarithm.
    pub log_spread: f64,
}

impl FocalPrior {
    /// What the camera said, else what phones usually have.
    pub(crate) fn of(photo: &Photo) -> Self {
        let longest = f64::from(photo.width.max(photo.height));
        let focal = &CALIBRATION.pose.focal;
        let (focal_35mm, log_spread) = match photo.focal_35mm {
            Some(known) => (known, focal.log_spread_known),
            None => (focal.usual_35mm, focal.log_spread_usual),
        };
        Self {
            px: focal_35mm / 36.0 * longest,
            log_spread,
        }
    }

    /// How far off the logarithm of a focal length is, standard deviations.
    pub(crate) fn deviations(&self, log_focal_px: f64) -> f64 {
        (log_focal_px - self.px.ln()) / self.log_spread
    }
}
