//! Where the fit of a gear and a camera starts from.

use super::camera::Camera;
use super::gear_fit::GearFit;
use super::gear_form::{Flank, FlankKind, RingForm, SHAPE_NUMBERS};
use crate::flank::marked_flank::CORNERS;
use crate::frames::PhotoPoint;
use crate::schema::Hand;
use nalgebra::{Matrix3, Rotation3, Vector3};

/// A gear and a camera to start from.
pub(crate) struct StartingPose {
    /// Kind of the flanks.
    pub kind: FlankKind,
    /// The camera.
    pub camera: Camera,
    /// Shape of the flanks as standard deviations from usual gears.
    pub offsets: [f64; SHAPE_NUMBERS],
}

impl From<&GearFit> for StartingPose {
    fn from(fit: &GearFit) -> Self {
        Self {
            kind: fit.kind,
            camera: fit.camera.clone(),
            offsets: fit.offsets,
        }
    }
}

impl StartingPose {
    /// Usual gears of both hands from all round, as a far camera sees them, turned, shifted and scaled onto the
    /// corners of a flank that looks along increasing (+1) or decreasing (−1) angle; best match first.
    pub(crate) fn all_round(
        corners: &[PhotoPoint; 4],
        sense: f64,
        focal_px: f64,
        centre: PhotoPoint,
    ) -> Vec<Self> {
        let seen_middle = middle(corners);
        let mut starts = Vec::new();
        for hand in [Hand::Left, Hand::Right] {
            let kind = FlankKind::facing(hand, sense);
            let usual = Flank::new(&RingForm::USUAL, kind);
            let solid = CORNERS.map(|at| usual.point(0.0, at));
            for elevation in [15.0f64, 30.0, 45.0, 60.0, 75.0, 88.0] {
                for azimuth in (0..360).step_by(15) {
                    let view = view_from(elevation.to_radians(), f64::from(azimuth).to_radians());
                    let flat = solid.map(|point| {
                        let turned = view * point;
                        PhotoPoint::new(turned.x, turned.y)
                    });
                    let flat_middle = middle(&flat);
                    // Least-squares similarity between two point sets, as complex numbers.
                    let (mut re, mut im, mut square, mut total) = (0.0, 0.0, 0.0, 0.0);
                    for (a, b) in flat.iter().zip(corners) {
                        let (ax, ay) = (a.x - flat_middle.x, a.y - flat_middle.y);
                        let (bx, by) = (b.x - seen_middle.x, b.y - seen_middle.y);
                        re += ax * bx + ay * by;
                        im += ax * by - ay * bx;
                        square += ax * ax + ay * ay;
                        total += bx * bx + by * by;
                    }
                    let (re, im) = (re / square, im / square);
                    let scale = re.hypot(im);
                    let mismatch = 1.0 - scale * scale * square / total;
                    let roll = Rotation3::from_axis_angle(&Vector3::z_axis(), im.atan2(re));
                    let rotation = roll.into_inner() * view;
                    let anchor = rotation * (solid[0] + solid[1] + solid[2] + solid[3]) / 4.0;
                    let distance = focal_px / scale;
                    let origin = Vector3::new(
                        (seen_middle.x - centre.x) / scale - anchor.x,
                        (seen_middle.y - centre.y) / scale - anchor.y,
                        (distance - anchor.z).max(0.5),
                    );
                    let start = Self {
                        kind,
                        camera: Camera {
                            rotation,
                            origin,
                            focal_px,
                            centre,
                        },
                        offsets: [0.0; SHAPE_NUMBERS],
                    };
                    starts.push((mismatch, start));
                }
            }
        }
        starts.sort_by(|a, b| a.0.total_cmp(&b.0));
        starts.into_iter().map(|(_, start)| start).collect()
    }
}

/// Rotation of a camera that looks at the origin from `elevation` above the gear's plane.
fn view_from(elevation: f64, azimuth: f64) -> Matrix3<f64> {
    let away = -Vector3::new(
        elevation.cos() * azimuth.cos(),
        elevation.cos() * azimuth.sin(),
        elevation.sin(),
    );
    let right = away.cross(&Vector3::z()).normalize();
    let down = away.cross(&right);
    Matrix3::from_rows(&[right.transpose(), down.transpose(), away.transpose()])
}

fn middle(points: &[PhotoPoint; 4]) -> PhotoPoint {
    let sum = points
        .iter()
        .fold((0.0, 0.0), |sum, p| (sum.0 + p.x, sum.1 + p.y));
    PhotoPoint::new(sum.0 / 4.0, sum.1 / 4.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_camera_looks_at_the_middle_of_the_gear() {
        let view = view_from(0.5, 1.2);
        let identity = view * view.transpose();
        assert!((identity - Matrix3::identity()).norm() < 1e-12);
        assert!((view.determinant() - 1.0).abs() < 1e-12, "no mirror");
        // A point on the axis above the gear appears higher up (y runs down).
        assert!((view * Vector3::z()).y < 0.0);
    }

    #[test]
    fn the_best_start_has_the_corners_where_they_are_seen() {
        let kind = FlankKind::facing(Hand::Right, 1.0);
        let usual = Flank::new(&RingForm::USUAL, kind);
        let view = view_from(45f64.to_radians(), 30f64.to_radians());
        let corners = CORNERS.map(|at| {
            let turned = view * usual.point(0.0, at);
            PhotoPoint::new(700.0 + 90.0 * turned.x, 500.0 + 90.0 * turned.y)
        });
        // So far a camera sees a flank as from infinity.
        let starts = StartingPose::all_round(&corners, 1.0, 1e6, PhotoPoint::new(800.0, 600.0));
        let best = &starts[0];
        for (at, seen) in CORNERS.into_iter().zip(corners) {
            let placed = best.camera.project(usual.point(0.0, at));
            assert!(placed.distance(seen) < 0.1, "{placed:?} {seen:?}");
        }
        assert_eq!(best.kind, kind);
        assert_eq!(starts.len(), 2 * 6 * 24);
    }
}
