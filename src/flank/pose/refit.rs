//! A gear fitted again, to all teeth of a row that show, which stand at equal angles, and whose ends may be hidden.

use super::camera::FocalPrior;
use super::gear_fit::GearFit;
use super::gear_form::RingForm;
use super::hidden_end::HiddenEnd;
use super::known_gear::{KnownGear, ShapePrior};
use super::parameters::{CameraParameters, EDGE_NUMBERS, PoseParameters};
use super::problem::{AngleHold, PoseProblem, SeenFlank, WeightedPoint};
use super::regular_teeth::{Part, SeenTooth};
use crate::flank::calibration::CALIBRATION;
use crate::flank::correspondence::Correspondence;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::photo::Photo;
use nalgebra::{Matrix2, Vector2};

/// Most steps of a fit.
const MOST_STEPS: usize = 25;

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
    /// The gear; its misfit is in lengths of the part that shows.
    pub fit: GearFit,
    /// Where the edge of what hides one end runs.
    pub edge: [f64; EDGE_NUMBERS],
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
            slopes
                .map(|part| slope(place, part.point.on_flank))
                .collect()
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
        let end = self.solve(None, None, self.known.shape_prior())?;
        Some(end.fit)
    }

    /// The same for flanks of which nothing or one end is hidden; the pitch is that of the gear where it is known.
    pub(crate) fn hidden(&self, hidden: Option<HiddenEnd>) -> Option<Refitted> {
        self.solve(
            hidden,
            self.known.pitch(),
            self.known.shape_prior().of_any_gear(),
        )
    }

    fn solve(
        &self,
        hidden: Option<HiddenEnd>,
        known_pitch: Option<f64>,
        shape: ShapePrior,
    ) -> Option<Refitted> {
        let (near, teeth) = (self.near, self.teeth);
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
            edge: [0.0; EDGE_NUMBERS],
        };
        // Only the first tooth is held.
        let mut weights = vec![0.0; angles.len()];
        weights[0] = 1.0;
        let problem = PoseProblem {
            flanks: (teeth.iter().zip(&self.slopes))
                .map(|(tooth, slopes)| {
                    seen_flank(tooth, self.place_in_row(tooth), slopes, known_pitch)
                })
                .collect(),
            robust: true,
            kind: near.kind,
            rotation: near.camera.rotation,
            centre: near.camera.centre,
            focal: FocalPrior::of(self.photo),
            shape,
            hidden,
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
        fit.misfit = self.misfit(&fit, hidden, &end.edge);
        fit.misfit.is_finite().then_some(Refitted {
            fit,
            edge: end.edge,
            cost: solved.cost,
        })
    }

    /// The place of a tooth in the row, −½ … ½.
    pub(crate) fn place_in_row(&self, tooth: &SeenTooth) -> f64 {
        let (first, last) = (self.teeth[0].step, self.teeth[self.teeth.len() - 1].step);
        (tooth.step - first) / (last - first) - 0.5
    }

    /// Root mean square distance of the parts from where a fit has them, in lengths of the part that shows.
    fn misfit(&self, fit: &GearFit, hidden: Option<HiddenEnd>, edge: &[f64; EDGE_NUMBERS]) -> f64 {
        let (mut square, mut count) = (0.0, 0.0);
        let shows = 1.0 - hidden.map_or(0.0, |_| HiddenEnd::share(0.5, 0.0, edge));
        let depth = fit.form.depth_over_length() / shows;
        for ((tooth, seen), slopes) in self.teeth.iter().enumerate().zip(&self.slopes) {
            for (part, slope) in seen.parts.iter().zip(slopes) {
                let Correspondence { on_flank, in_photo } = part.point;
                let whole = hidden.map_or(on_flank, |end| {
                    end.on_whole(on_flank, self.place_in_row(seen), edge)
                });
                let placed = fit.place(tooth, whole);
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
    step: f64,
    slopes: &[Matrix2<f64>],
    known_pitch: Option<f64>,
) -> SeenFlank {
    let weight = (tooth.parts.len() as f64 / CALIBRATION.pose.independent_points).sqrt();
    let weighted = |(part, slope): (&Part, &Matrix2<f64>)| WeightedPoint {
        point: part.point,
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
        step,
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
