//! What a fit ends with: a gear and a camera.

use super::camera::Camera;
use super::gear_form::{Flank, FlankKind, RingForm, SHAPE_NUMBERS};
use crate::frames::{FlankPoint, PhotoPoint};
use std::f64::consts::TAU;

/// Angles from one tooth to the next, radians: ring gears have some 20 … 80 teeth (common practice, no source).
pub(crate) const PITCHES: (f64, f64) = (TAU / 80.0, TAU / 20.0);

/// A gear and camera that explain marked or proposed flanks.
#[derive(Debug, Clone)]
pub(crate) struct GearFit {
    /// Shape of the flanks.
    pub form: RingForm,
    /// The same as standard deviations from usual gears.
    pub(crate) offsets: [f64; SHAPE_NUMBERS],
    /// Hand and lengthwise form of the flanks.
    pub kind: FlankKind,
    /// The camera.
    pub camera: Camera,
    /// Angle of each tooth about the gear's axis, radians, in the order of the flanks.
    pub angles: Vec<f64>,
    /// Root mean square distance of the places from the fitted ones, in flank lengths.
    pub misfit: f64,
    /// How much worse the best gear of the other hand fits: its cost over this one's.
    pub other_hand_cost_ratio: f64,
}

impl GearFit {
    /// Where a point of the flank of the `tooth`-th tooth falls in the photo.
    pub(crate) fn place(&self, tooth: usize, at: FlankPoint) -> PhotoPoint {
        self.camera
            .project(self.flank().point(self.angles[tooth], at))
    }

    /// The flanks of the fitted gear.
    pub(crate) fn flank(&self) -> Flank {
        Flank::new(&self.form, self.kind)
    }

    /// Angle from one tooth to the next, radians, as the teeth's angles have it; `None` with fewer than two.
    pub(crate) fn pitch(&self) -> Option<f64> {
        let mut angles = self.angles.clone();
        angles.sort_by(f64::total_cmp);
        let steps: Vec<f64> = angles.windows(2).map(|pair| pair[1] - pair[0]).collect();
        // Anything nearer is the same tooth marked twice.
        let smallest = steps
            .iter()
            .copied()
            .filter(|&s| s > PITCHES.0)
            .min_by(f64::total_cmp)?;
        let teeth: f64 = steps.iter().map(|step| (step / smallest).round()).sum();
        let pitch = steps.iter().sum::<f64>() / teeth;
        (pitch < PITCHES.1).then_some(pitch)
    }
}
