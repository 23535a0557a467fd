//! Where the camera stands.

use super::camera::Camera;
use super::noise::share;
use super::shot::{Mistake, Shot};
use super::solid::GearSolid;
use crate::contact::{Model, form_of};
use crate::frames::FlankPoint;
use nalgebra::{Rotation3, Unit, Vector3};

/// A camera with the flank it is pointed at.
#[derive(Debug, Clone, Copy)]
pub(crate) struct View {
    pub camera: Camera,
    /// The middle of the flank that is looked at, mm.
    pub target: Vector3<f64>,
    /// Unit normal of the flank there.
    pub normal: Vector3<f64>,
    /// Unit vector along the flank, toe to heel.
    pub along: Vector3<f64>,
}

impl View {
    /// A place from which slots are seen into down to the root of the wanted flanks.
    pub(crate) fn choose(solid: &GearSolid, model: &Model, shot: &Shot) -> Self {
        let random = |k: u64| share(shot.seed, k);
        let spread = |k: u64| 2.0 * random(k) - 1.0;
        let point =
            |length, height| solid.flank_point(shot.side, 0, FlankPoint::new(length, height));
        let [target, normal] = point(0.5, 0.5);
        let along = (point(0.85, 0.5)[0] - point(0.15, 0.5)[0]).normalize();
        let front = -Vector3::z();
        let sideways = (normal - front * normal.dot(&front)).normalize();
        // Steeper than this and the next tooth hides the root; what faces the flank leans at an angle of its own.
        let d = model.dimensions();
        let mean = 0.5 * (d.convex_angle + d.concave_angle);
        let leaning = mean - d.flank_angle(form_of(d, shot.side));
        let tilt = match shot.mistake {
            Some(Mistake::FromAbove) => -0.16,
            _ => (13.0 + 11.0 * random(1)).to_radians() + leaning,
        };
        let along_flat = (along - front * along.dot(&front)).normalize();
        let look = (front + sideways * tilt.tan() + along_flat * 0.28 * spread(2)).normalize();
        let width_mm = match shot.mistake {
            Some(Mistake::TooNear) => 0.62 * model.flank_size_mm(shot.side)[0],
            Some(Mistake::TooFar) => 9.0 * model.flank_size_mm(shot.side)[0],
            _ => (2.1 + 0.7 * random(3)) * model.flank_size_mm(shot.side)[0],
        };
        // A phone's longer lens, or a step back and a crop.
        let focal_35mm = 45.0 + 25.0 * random(4);
        let (width, height) = (f64::from(shot.size.0), f64::from(shot.size.1));
        let focal_px = focal_35mm / 36.0 * width.max(height);
        let distance_mm = width_mm * focal_px / width.max(height);
        let forward = -look;
        let turned = if random(5) < 0.5 { along } else { -along };
        let right = (turned - forward * turned.dot(&forward)).normalize();
        let roll = Rotation3::from_axis_angle(&Unit::new_normalize(forward), 0.26 * spread(6));
        let right = roll * right;
        let camera = Camera {
            eye: target + look * distance_mm,
            axes: [right, forward.cross(&right), forward],
            focal_px,
            middle: [
                width * (0.5 + 0.05 * spread(7)),
                height * (0.5 + 0.05 * spread(8)),
            ],
        };
        Self {
            camera,
            target,
            normal,
            along,
        }
    }
}
