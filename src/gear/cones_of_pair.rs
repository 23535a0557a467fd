//! The pitch cones of a pair under the standard's symbols.

use super::blank::PitchCones;
use super::pitch::PitchPair;

/// The pair's cones, the calculation point in the middle of the face.
pub(super) fn cones_of_pair(pair: &PitchPair) -> PitchCones {
    PitchCones {
        rm1: pair.pinion_radius_mm / pair.pinion_angle.sin(),
        rm2: pair.mean_cone_mm,
        delta1: pair.pinion_angle,
        delta2: pair.ring_angle,
        bm1: pair.pinion_spiral,
        bm2: pair.ring_spiral,
        cbe2: 0.5,
    }
}
