//! A gear fitted again, to all teeth of a row that show, which stand at equal angles, and to the part of their length
//! that is taken to show.

use super::camera::FocalPrior;
use super::gear_fit::GearFit;
use super::gear_form::RingForm;
use super::known_gear::KnownGear;
use super::parameters::{CameraParameters, PoseParameters};
use super::problem::{AngleHold, PoseProblem, SeenFlank, WeightedPoint};
use super::regular_teeth::{Part, SeenTooth};
use crate::flank::calibration::CALIBRATION;
use crate::flank::correspondence::Correspondence;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::photo::Photo;
use nalgebra::{Matrix2, Vector2};

/// Most steps of a fit.
const MOST_STEPS: usize = 25;

/// The part of a flank's length that shows, shares of the whole length. The network takes what it sees of a flank for all
/// of it: its 0 … 1 are the ends of this part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct VisibleLength {
    /// Towards the toe.
    pub from: f64,
    /// Towards the heel.
    pub to: f64,
}

impl VisibleLength {
    /// All of it.
    pub(crate) const WHOLE: Self = Self { from: 0.0, to: 1.0 };

    /// How long it is.
    pub(crate) fn length(self) -> f64 {
        self.to - self.from
    }

    /// Where on the whole flank a point lies whose length is counted along this part.
    fn on_whole(self, at: FlankPoint) -> FlankPoint {
        FlankPoint::new(self.from + self.length() * at.length, at.height)
    }
}

/// The teeth of a row as they are seen, to be explained by a gear near a known fit.
pub(crate) struct Refit<'a> {
    photo: &'a Photo,
    known: &'a KnownGear,
    near: &'a GearFit,
    teeth: &'a [SeenTooth],
    /// Of each part of each tooth, steps in the photo → steps of length and height, as `near` has them.
    slopes: Vec<Vec<Matrix2<f64>>>,
}

/// What a fit again ends with.
pub(crate) struct Refitted {
    /// The gear; its misfit is in flank lengths of the part that shows.
    pub fit: GearFit,
    /// Half the sum of squares that it leaves.
    pub cost: f64,
}

impl<'a> Refit<'a> {
    /// `None` for fewer than two teeth. `near` must have their angles.
    pub(crate) fn of(
        photo: &'a Photo,
        known: &'a KnownGear,
        near: &'a GearFit,
        teeth: &'a [SeenTooth],
    ) -> Option<Self> {
        if teeth.len() < 2 {
            return None;
        }
        let flank = near.flank();
        let slopes_of = |(tooth, &angle): (&SeenTooth, &f64)| {
            let place = |at: FlankPoint| near.camera.project(flank.point(angle, at));
            let slopes = tooth.parts.iter();
            slopes.map(|part| slope(place, part.point.on_flank)).collect()
        };
        Some(Self {
            photo,
            known,
            near,
            teeth,
            slopes: teeth.iter().zip(&near.angles).map(slopes_of).collect(),
        })
    }

    /// The gear, camera, first angle and pitch that explain whole flanks best.
    pub(crate) fn free_pitch(&self) -> Option<GearFit> {
        let end = self.solve(self.near, VisibleLength::WHOLE, None)?;
        Some(end.fit)
    }

    /// The same, from a fit that is near, for flanks of which this part shows; the pitch is that of the gear where it is known.
    pub(crate) fn showing(&self, near: &GearFit, visible: VisibleLength) -> Option<Refitted> {
        self.solve(near, visible, self.known.pitch())
    }

    fn solve(
        &self,
        near: &GearFit,
        visible: VisibleLength,
        known_pitch: Option<f64>,
    ) -> Option<Refitted> {
        let teeth = self.teeth;
        let pitch = (near.angles[1] - near.angles[0]) / (teeth[1].step - teeth[0].step);
        let first = near.angles[0] - teeth[0].step * pitch;
        let free = [first, pitch];
        let angles = match known_pitch {
            Some(_) => &free[..1],
            None => &free[..],
        };
        let start = PoseParameters {
            camera: CameraParameters::unturned(&near.camera),
            angles,
            offsets: near.offsets,
        };
        // Only the first tooth is held.
        let mut weights = vec![0.0; angles.len()];
        weights[0] = 1.0;
        let problem = PoseProblem {
            flanks: (teeth.iter().zip(&self.slopes))
                .map(|(tooth, slopes)| seen_flank(tooth, slopes, visible, known_pitch))
                .collect(),
            robust: true,
            kind: near.kind,
            rotation: near.camera.rotation,
            centre: near.camera.centre,
            focal: FocalPrior::of(self.photo),
            shape: self.known.shape_prior(),
            hold: AngleHold {
                weights,
                sum: first,
            },
        };
        let solved = problem.solve(start.pack(), MOST_STEPS);
        let end = PoseParameters::unpack(&solved.at);
        let pitch = known_pitch.unwrap_or_else(|| end.angles[1]);
        let first = end.angles[0];
        let angles = teeth.iter().map(|tooth| first + tooth.step * pitch);
        let mut fit = GearFit {
            form: RingForm::from_offsets(&end.offsets),
            offsets: end.offsets,
            camera: problem.camera(&end.camera),
            angles: angles.collect(),
            ..near.clone()
        };
        fit.misfit = self.misfit(&fit, visible);
        fit.misfit.is_finite().then_some(Refitted {
            fit,
            cost: solved.cost,
        })
    }

    /// Root mean square distance of the parts from where a fit has them, in lengths of the part that shows.
    fn misfit(&self, fit: &GearFit, visible: VisibleLength) -> f64 {
        let (mut square, mut count) = (0.0, 0.0);
        let depth = fit.form.depth_over_length() / visible.length();
        for ((tooth, seen), slopes) in self.teeth.iter().enumerate().zip(&self.slopes) {
            for (part, slope) in seen.parts.iter().zip(slopes) {
                let Correspondence { on_flank, in_photo } = part.point;
                let placed = fit.place(tooth, visible.on_whole(on_flank));
                let off = slope * Vector2::new(in_photo.x - placed.x, in_photo.y - placed.y);
                // Heights in flank lengths, as the misfit counts.
                square += off.x.powi(2) + (off.y * depth).powi(2);
                count += 1.0;
            }
        }
        (square / f64::max(count, 1.0)).sqrt()
    }
}

/// A tooth's parts as the fit takes them: its angle is the first tooth's and so many pitches.
fn seen_flank(
    tooth: &SeenTooth,
    slopes: &[Matrix2<f64>],
    visible: VisibleLength,
    known_pitch: Option<f64>,
) -> SeenFlank {
    let weight = (tooth.parts.len() as f64 / CALIBRATION.pose.independent_points).sqrt();
    let weighted = |(part, slope): (&Part, &Matrix2<f64>)| WeightedPoint {
        point: Correspondence {
            on_flank: visible.on_whole(part.point.on_flank),
            ..part.point
        },
        per_tolerance: Matrix2::from_diagonal(&Vector2::new(
            1.0 / (part.error.length * weight),
            1.0 / (part.error.height * weight),
        )) * slope,
    };
    let (pitches, turned) = match known_pitch {
        Some(pitch) => ((0, 0.0), tooth.step * pitch),
        None => ((1, tooth.step), 0.0),
    };
    SeenFlank {
        angle: [(0, 1.0), pitches],
        turned,
        points: tooth.parts.iter().zip(slopes).map(weighted).collect(),
    }
}

/// Steps in the photo → steps of length and height, about a point of a flank that falls in the photo as
/// `place` says.
fn slope(place: impl Fn(FlankPoint) -> PhotoPoint, about: FlankPoint) -> Matrix2<f64> {
    const STEP: f64 = 0.02;
    let at = |length: f64, height: f64| {
        place(FlankPoint::new(
            about.length + length,
            about.height + height,
        ))
    };
    let (back, on) = (at(-STEP, 0.0), at(STEP, 0.0));
    let (low, high) = (at(0.0, -STEP), at(0.0, STEP));
    let per = 1.0 / (2.0 * STEP);
    Matrix2::new(
        (on.x - back.x) * per,
        (high.x - low.x) * per,
        (on.y - back.y) * per,
        (high.y - low.y) * per,
    )
    .try_inverse()
    .unwrap_or_else(Matrix2::zeros)
}
