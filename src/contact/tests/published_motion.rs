//! How the contact of the pair of NASA CR-191009 moves, by this model and by tooth contact analysis.

use crate::contact::mesh::{Branch, Touch, conjugate_angle};
use crate::gear::face_milled::tests::{GEAR_CONVEX, PINION};
use crate::gear::flank::Surface;
use crate::gear::pitch::PitchPair;
use nalgebra::{Matrix2, Rotation3, Vector2, Vector3};

/// Mean cone distance of the gear, inches (NASA CR-191009, as quoted).
const MEAN_CONE: f64 = 3.191;
/// How far the pinion stands out, inches: where the patch of the published settings lies on the flank.
const PINION_OUT: f64 = 0.022;
/// Profile relief of the pinion, 1/inch, about this place on the cutter's generatrix.
const RELIEF: [f64; 2] = [0.10, 9.712_410];

/// The pair set up: gear about +z, pinion about +x, lengths in inches.
struct Pair {
    gear: Surface,
    pinion: Surface,
    axes: PitchPair,
    /// Turn of the pinion that brings the flanks together where the gap is counted from.
    phase: f64,
}

impl Pair {
    fn new() -> Self {
        let origin = Vector3::zeros();
        let (sin, cos) = GEAR_CONVEX.pitch.to_radians().sin_cos();
        let generatrix = Vector3::new(sin, 0.0, cos);
        let axes = PitchPair {
            ring_angle: GEAR_CONVEX.pitch.to_radians(),
            pinion_angle: PINION.pitch.to_radians(),
            offset_angle: 0.0,
            ring_spiral: 0.0,
            pinion_spiral: 0.0,
            mean_cone_mm: MEAN_CONE,
            ring_radius_mm: MEAN_CONE * sin,
            pinion_radius_mm: MEAN_CONE * cos,
            ratio: 3.0,
            mean_point: generatrix * MEAN_CONE,
            generatrix,
            outward: Vector3::new(cos, 0.0, -sin),
            pinion_axis: Vector3::x(),
            pinion_point: origin,
            crossing_point: origin,
            offset_direction: Vector3::y(),
        };
        let mut pair = Self {
            gear: Surface::Generated(GEAR_CONVEX.flank()),
            pinion: Surface::Generated(PINION.flank()),
            axes,
            phase: 0.0,
        };
        let (_, lag) = pair.touch(Vector2::new(MEAN_CONE, 0.0));
        pair.phase = lag;
        pair
    }

    /// The gear's point at a cone distance and a height at its mesh position, and how far the pinion, which has turned
    /// along, is from it: radians about the pinion's axis, + = apart.
    fn touch(&self, at: Vector2<f64>) -> (Touch, f64) {
        let start = [235f64.to_radians(), -12f64.to_radians()];
        let (point, _) = self
            .gear
            .locate(self.axes.ring_angle, at.x, at.y, start)
            .expect("a point of the gear");
        let branches = [Branch::Plus, Branch::Minus];
        let angle = branches
            .iter()
            .filter_map(|&b| conjugate_angle(&self.axes, &point.position, &point.normal, b))
            .min_by(|a, b| a.abs().total_cmp(&b.abs()))
            .expect("it touches");
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), angle);
        let (position, normal) = (turn * point.position, turn * point.normal);
        let (sin, cos) = self.axes.ring_angle.sin_cos();
        let outward = Vector3::new(position.x, position.y, 0.0).normalize();
        let gradients = [
            outward * sin + Vector3::z() * cos,
            outward * cos - Vector3::z() * sin,
        ];
        let touch = Touch::at(&position, normal, [at.x, at.y], gradients, &self.axes);
        (touch, self.lag(&position, &normal, angle))
    }

    fn lag(&self, position: &Vector3<f64>, normal: &Vector3<f64>, gear_angle: f64) -> f64 {
        // The pinion's own frame: its z is x here, its x is z.
        let seen = Vector3::new(position.z, -position.y, position.x - PINION_OUT);
        let (sin, cos) = self.axes.pinion_angle.sin_cos();
        let r = seen.xy().norm();
        let (met, [angle, roll]) = self
            .pinion
            .locate(
                self.axes.pinion_angle,
                r * sin + seen.z * cos,
                r * cos - seen.z * sin,
                [127f64.to_radians(), 0.0],
            )
            .expect("a point of the pinion at this radius");
        // About +x the pinion turns against the gear, and its own z is that axis.
        let own = met.position.y.atan2(met.position.x) - self.axes.ratio * gear_angle;
        let apart = own - seen.y.atan2(seen.x);
        let lever = self.axes.pinion_axis.dot(&position.cross(normal));
        let [relief, middle] = RELIEF;
        let relieved = relief * (PINION.generatrix(angle, roll) - middle).powi(2);
        apart * lever.signum() + relieved / lever.abs() - self.phase
    }

    /// Lag at a place of the gear's flank under a displacement of the pinion, as the model has it.
    fn displaced(&self, at: Vector2<f64>, [shift, turn]: [Vector3<f64>; 2]) -> f64 {
        let (touch, _) = self.touch(at);
        let faced = touch.faces(&shift, &turn);
        let (there, lag) = self.touch(Vector2::new(faced.length, faced.height));
        (lag * there.lever + touch.opens(&shift, &turn)) / touch.lever
    }

    /// Where the gears run at their nominal ratio: the lag stands still, by Newton's method on differences.
    fn mean_contact(&self, displacement: [Vector3<f64>; 2]) -> Vector2<f64> {
        const STEP: f64 = 1e-3;
        let mut at = Vector2::new(MEAN_CONE + 0.034, -0.031);
        for _ in 0..12 {
            let lag = |x: f64, y: f64| self.displaced(at + Vector2::new(x, y) * STEP, displacement);
            let here = lag(0.0, 0.0);
            let [e, w, n, s] = [lag(1.0, 0.0), lag(-1.0, 0.0), lag(0.0, 1.0), lag(0.0, -1.0)];
            let mixed = 0.25 * (lag(1.0, 1.0) - lag(1.0, -1.0) - lag(-1.0, 1.0) + lag(-1.0, -1.0));
            let second = Matrix2::new(e + w - 2.0 * here, mixed, mixed, n + s - 2.0 * here);
            let slope = Vector2::new(0.5 * (e - w), 0.5 * (n - s));
            at -= second.try_inverse().expect("a place that stands out") * slope * STEP;
        }
        at
    }
}

/// Shift of the contact point along the pitch cone and square to it, inches per inch (per radian) of pinion axial,
/// gear axial, offset and shaft angle, on the gear's convex flank: computed from the published settings of
/// NASA CR-191009, with the pinion moved out and relieved as above, by a separate program that knows nothing of ease-off.
const ANALYSED: [[f64; 2]; 4] = [[-0.01, 3.45], [2.55, -0.31], [-8.36, 2.28], [-4.37, 5.96]];

#[test]
fn contact_of_nasa_cr_191009_moves_as_tooth_contact_analysis_has_it() {
    let pair = Pair::new();
    let still = [Vector3::zeros(); 2];
    let right = pair.mean_contact(still);
    let from_mean = right - Vector2::new(MEAN_CONE, 0.0);
    assert!((from_mean - Vector2::new(0.0340, -0.0306)).abs().max() < 0.0002);
    let moves = [
        [Vector3::x(), Vector3::zeros()],
        [-Vector3::z(), Vector3::zeros()],
        [Vector3::y(), Vector3::zeros()],
        [Vector3::zeros(), Vector3::y()],
    ];
    for (by, [along, up]) in moves.into_iter().zip(ANALYSED) {
        let step = 0.001;
        let at = |sign: f64| pair.mean_contact(by.map(|v| v * (sign * step)));
        let rate = (at(1.0) - at(-1.0)) / (2.0 * step);
        let off = (rate - Vector2::new(along, up)).abs().max();
        assert!(off < 0.02, "{rate:?} {along} {up}");
    }
}
