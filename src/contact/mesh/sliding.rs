//! How a displaced pinion slides over a point of the ring gear's flank, to first order.

use super::Travel;
use crate::gear::pitch::PitchPair;
use nalgebra::Vector3;

/// The motion of the pinion's flank over one point of the ring gear's, everything at the point's mesh position.
///
/// A displacement moves the pinion's point there by `d = shift + turn × arm`, and the pinion turns about its own axis until
/// the flanks touch again: `D = d − (n·d)/(n·k) k`, `k = a_1 × (r − O_1)`. The point then no longer comes nearest to the
/// pinion at its own mesh position φ but later by `(n·D)′ / (n·v_12)′`, where the prime is the derivative by φ, and
/// until then the flanks have slid by so much of `v_12` on each other. That puts a displacement which only turns
/// the mesh further (the pinion carried about the ring gear's axis) at rest, as it must be.
pub(super) struct Sliding {
    normal: Vector3<f64>,
    arm: Vector3<f64>,
    /// k.
    own_turn: Vector3<f64>,
    /// n · k.
    lever: f64,
    /// `v_12 / (n·v_12)′`.
    slid: Vector3<f64>,
    /// How `(n·D)′` follows from shift and turn.
    later_by_shift: Vector3<f64>,
    later_by_turn: Vector3<f64>,
}

/// Least `|(n·v_12)′|` over the size of its parts: where it vanishes the flanks touch for long and the first order
/// ends, which is at the border of the corner that no pinion can touch.
const LEAST_RATE: f64 = 0.02;

impl Sliding {
    pub(super) fn at(
        position: &Vector3<f64>,
        normal: &Vector3<f64>,
        arm: &Vector3<f64>,
        pair: &PitchPair,
    ) -> Self {
        let (z, axis) = (Vector3::z(), &pair.pinion_axis);
        let own_turn = axis.cross(arm);
        let lever = normal.dot(&own_turn);
        let (position_rate, normal_rate) = (z.cross(position), z.cross(normal));
        let velocity = position_rate + own_turn * pair.ratio;
        let own_turn_rate = axis.cross(&position_rate);
        let parts = [
            normal_rate.dot(&velocity),
            normal.dot(&z.cross(&position_rate)),
            normal.dot(&own_turn_rate) * pair.ratio,
        ];
        let rate: f64 = parts.iter().sum();
        let least = LEAST_RATE * parts.iter().map(|part| part.abs()).sum::<f64>();
        // n′·d + n·d′ less the same of the turn about the own axis, which is −(n·d)/(n·k).
        let own_rate = normal_rate.dot(&own_turn) + normal.dot(&own_turn_rate);
        let later_by_shift = normal_rate - normal * (own_rate / lever);
        let later_by_turn = arm.cross(&later_by_shift) + position_rate.cross(normal);
        Self {
            normal: *normal,
            arm: *arm,
            own_turn,
            lever,
            slid: velocity * (rate / (rate * rate).max(least * least)),
            later_by_shift,
            later_by_turn,
        }
    }

    /// The travel along a gradient.
    pub(super) fn travel(&self, gradient: &Vector3<f64>) -> Travel {
        let touching = gradient - self.normal * (gradient.dot(&self.own_turn) / self.lever);
        let slid = gradient.dot(&self.slid);
        Travel {
            by_shift: touching - self.later_by_shift * slid,
            by_turn: self.arm.cross(&touching) - self.later_by_turn * slid,
        }
    }
}
