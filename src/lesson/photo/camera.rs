//! A pinhole camera.

use crate::frames::PhotoPoint;
use nalgebra::Vector3;

/// Where the camera stands and how it looks.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Camera {
    /// The pinhole, mm.
    pub eye: Vector3<f64>,
    /// Unit vectors right, down and forward in the picture.
    pub axes: [Vector3<f64>; 3],
    /// Focal length, pixels.
    pub focal_px: f64,
    /// The picture's middle, pixels.
    pub middle: [f64; 2],
}

/// Nearer than this to the pinhole's plane nothing is drawn, mm.
pub(crate) const NEAREST_MM: f64 = 10.0;

impl Camera {
    /// Pixel and depth (mm) of a point; `None` behind or beside the pinhole.
    pub(crate) fn see(&self, point: &Vector3<f64>) -> Option<([f64; 2], f64)> {
        let from_eye = point - self.eye;
        let [right, down, forward] = self.axes.map(|axis| axis.dot(&from_eye));
        (forward > NEAREST_MM).then(|| {
            let scale = self.focal_px / forward;
            (
                [
                    self.middle[0] + scale * right,
                    self.middle[1] + scale * down,
                ],
                forward,
            )
        })
    }

    /// As a point of the photo; a point behind the pinhole lies nowhere.
    pub(crate) fn place(&self, point: &Vector3<f64>) -> Option<PhotoPoint> {
        self.see(point).map(|([x, y], _)| PhotoPoint::new(x, y))
    }

    /// Direction of the ray through a pixel, forward part 1.
    pub(crate) fn ray(&self, x: f64, y: f64) -> Vector3<f64> {
        let [right, down, forward] = self.axes;
        forward
            + right * ((x - self.middle[0]) / self.focal_px)
            + down * ((y - self.middle[1]) / self.focal_px)
    }
}
