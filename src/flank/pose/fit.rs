//! The ring gear and the camera under which marked flanks look as they do in the photo.
//!
//! Marks alone do not say how lengths shrink towards the far end of a flank or how its curved
//! profile bulges in the picture. The gear is a known kind of solid: a handful of shape numbers
//! near those of usual gears, one angle a tooth, and a camera, fitted to the corners and sides.

use super::camera::FocalPrior;
use super::gear_fit::GearFit;
use super::gear_form::{Flank, RingForm};
use super::known_gear::{KnownGear, ShapePrior};
use super::parameters::{CameraParameters, EDGE_NUMBERS, PoseParameters};
use super::problem::{AngleHold, PoseProblem, SeenFlank, WeightedPoint, cauchy_residual, offset};
use super::starting_poses::StartingPose;
use crate::flank::calibration::CALIBRATION;
use crate::flank::correspondence::Correspondence;
use crate::flank::marked_flank::{CORNERS, MarkedFlank};
use crate::frames::{FlankPoint, PhotoPoint};
use crate::least_squares::{Minimum, minimise};
use crate::photo::Photo;
use crate::schema::Hand;
use nalgebra::Matrix2;

/// Angles at which a starting pose may have a tooth, degrees.
const START_DEGREES: (i32, i32) = (-84, 84);

/// How much is tried to find the best fit.
struct Effort {
    /// Starting poses tried, for each hand.
    starting_poses: usize,
    /// After [`ROUGH_STEPS`] so many of them are followed on.
    followed: usize,
    /// Until the best of all is known, only every so-many'th point is asked: they tell the poses apart as well
    /// as all do.
    stride: usize,
}

const FOR_MARKS: Effort = Effort {
    starting_poses: 4,
    followed: 3,
    stride: 1,
};
const FOR_PROPOSALS: Effort = Effort {
    starting_poses: 6,
    followed: 2,
    stride: 4,
};

/// Steps until the best starting poses are followed on, steps until the best of those is told, and most steps from
/// there to its end.
const ROUGH_STEPS: usize = 7;
const FEW_STEPS: usize = 25;
const MOST_STEPS: usize = 40;

/// Fits a gear to the flanks marked on `photo`; `None` when there are none or nothing fits.
/// All flanks must be of the same side of their teeth.
pub(crate) fn fit_marked(
    photo: &Photo,
    flanks: &[MarkedFlank],
    known: &KnownGear,
) -> Option<GearFit> {
    PoseSearch::new(photo, flanks, None, known)?.all_round()
}

/// Fits a gear to flanks seen roughly: many points of each, some of them mistaken, and the corners
/// they suggest. The result's angles are in the order of the flanks. From a gear and camera that are known to
/// be near, poses are not tried all round, nor the other hand again.
pub(crate) fn fit_proposed(
    photo: &Photo,
    flanks: &[MarkedFlank],
    points: &[Vec<Correspondence>],
    known: &KnownGear,
    near: Option<&GearFit>,
) -> Option<GearFit> {
    let search = PoseSearch::new(photo, flanks, Some(points), known)?;
    match near {
        Some(near) => search.next_to(near),
        None => search.all_round(),
    }
}

/// The search for the gear and camera that explain some flanks best.
struct PoseSearch<'a> {
    flanks: &'a [MarkedFlank],
    /// Points of each flank that the fit must meet.
    points: Vec<Vec<Correspondence>>,
    /// Whether the points are proposed by the network, and may be mistaken, or marked.
    proposed: bool,
    centre: PhotoPoint,
    focal: FocalPrior,
    shape: ShapePrior,
    length_px: f64,
    /// How exact a point is taken to be, pixels.
    tolerance_px: f64,
    /// +1 when the flanks look along increasing angle, else −1.
    sense: f64,
}

impl<'a> PoseSearch<'a> {
    fn new(
        photo: &Photo,
        flanks: &'a [MarkedFlank],
        proposed: Option<&[Vec<Correspondence>]>,
        known: &KnownGear,
    ) -> Option<Self> {
        let length = flanks.iter().map(MarkedFlank::length_px).sum::<f64>() / flanks.len() as f64;
        if !(length.is_finite() && length > 1.0) {
            return None;
        }
        let pose = &CALIBRATION.pose;
        let (points, tolerance) = match proposed {
            Some(points) => {
                let most = points.iter().map(Vec::len).max().unwrap_or(0) as f64;
                let each = pose.proposed_tolerance * (most / pose.independent_points).sqrt();
                (points.to_vec(), each)
            }
            None => {
                let corners = flanks.iter().map(|f| f.corner_points().to_vec());
                (corners.collect(), pose.mark_tolerance)
            }
        };
        Some(Self {
            flanks,
            points,
            proposed: proposed.is_some(),
            centre: PhotoPoint::new(f64::from(photo.width) / 2.0, f64::from(photo.height) / 2.0),
            focal: FocalPrior::of(photo),
            shape: known.shape_prior(),
            length_px: length,
            tolerance_px: tolerance * length,
            // With y down, a flank that looks along increasing angle shows a positive turn.
            sense: flanks.iter().map(MarkedFlank::turn).sum::<f64>().signum(),
        })
    }

    /// The gear of either hand that fits best, from starting poses all round.
    fn all_round(&self) -> Option<GearFit> {
        let middle_flank = &self.flanks[self.flanks.len() / 2];
        let corners = middle_flank.corner_points().map(|corner| corner.in_photo);
        let starts = StartingPose::all_round(&corners, self.sense, self.focal.px, self.centre);
        let effort = if self.proposed {
            FOR_PROPOSALS
        } else {
            FOR_MARKS
        };
        let best_of = |hand: Hand| {
            let mut ends: Vec<(&StartingPose, Minimum)> = starts
                .iter()
                .filter(|start| start.kind.hand == hand)
                .take(effort.starting_poses)
                .map(|start| {
                    let from = self.starting_vector(start);
                    (start, self.solve(start, from, ROUGH_STEPS, effort.stride))
                })
                .collect();
            ends.sort_by(|a, b| a.1.cost.total_cmp(&b.1.cost));
            ends.into_iter()
                .take(effort.followed)
                .map(|(start, end)| {
                    let end = self.solve(start, end.at, FEW_STEPS - ROUGH_STEPS, effort.stride);
                    (start, end)
                })
                .min_by(|a, b| a.1.cost.total_cmp(&b.1.cost))
        };
        let (left, right) = (best_of(Hand::Left)?, best_of(Hand::Right)?);
        let (best, other) = if left.1.cost <= right.1.cost {
            (left, right)
        } else {
            (right, left)
        };
        // A cost below half a square is chance.
        let other_hand_cost_ratio = other.1.cost / best.1.cost.max(0.5);
        let start = best.0;
        let end = if self.proposed {
            self.solve(start, best.1.at, MOST_STEPS, 1)
        } else {
            self.solve_with_sides(start, best.1.at, MOST_STEPS)
        };
        self.fitted(start, &end.at, other_hand_cost_ratio)
    }

    /// The gear next to a known one that fits best.
    fn next_to(&self, near: &GearFit) -> Option<GearFit> {
        if near.kind.sense() != self.sense {
            return None;
        }
        let start = StartingPose::from(near);
        let stride = FOR_PROPOSALS.stride;
        let rough = self.solve(&start, self.starting_vector(&start), FEW_STEPS, stride);
        let end = self.solve(&start, rough.at, MOST_STEPS, 1);
        self.fitted(&start, &end.at, near.other_hand_cost_ratio)
    }

    /// The solver's vector at a start: the camera as it is, every tooth at the angle that suits it best.
    fn starting_vector(&self, start: &StartingPose) -> Vec<f64> {
        let flank = Flank::new(&RingForm::from_offsets(&start.offsets), start.kind);
        let solid = CORNERS.map(|at| flank.point(0.0, at));
        let corners_at = |degrees: i32| {
            let turned = start.camera.before_turned(f64::from(degrees).to_radians());
            solid.map(|corner| turned.project(corner))
        };
        let (least, most) = START_DEGREES;
        let placed: Vec<[PhotoPoint; 4]> = (least..=most).map(corners_at).collect();
        let angle_of = |flank: &MarkedFlank| {
            let corners = flank.corner_points();
            let off = |degrees: i32| {
                let placed = &placed[(degrees - least) as usize];
                let off: f64 = placed
                    .iter()
                    .zip(&corners)
                    .map(|(placed, corner)| offset(*placed, corner.in_photo).norm())
                    .sum();
                if off.is_finite() { off } else { f64::MAX }
            };
            let nearest = |degrees: &mut dyn Iterator<Item = i32>| {
                degrees
                    .map(|degrees| (off(degrees), degrees))
                    .min_by(|a, b| a.0.total_cmp(&b.0))
                    .map_or(0, |(_, degrees)| degrees)
            };
            let rough = nearest(&mut (least + 4..=most - 4).step_by(5));
            f64::from(nearest(&mut (rough - 4..=rough + 4))).to_radians()
        };
        let angles: Vec<f64> = self.flanks.iter().map(angle_of).collect();
        let parameters = PoseParameters {
            camera: CameraParameters::unturned(&start.camera),
            angles: &angles,
            offsets: start.offsets,
            edge: [0.0; EDGE_NUMBERS],
        };
        parameters.pack()
    }

    /// The gear and camera of a solver's vector; how well they fit is not asked.
    fn gear_of(&self, start: &StartingPose, vector: &[f64]) -> GearFit {
        let PoseParameters {
            camera,
            angles,
            offsets,
            ..
        } = PoseParameters::unpack(vector);
        GearFit {
            form: RingForm::from_offsets(&offsets),
            offsets,
            kind: start.kind,
            camera: camera.camera(&start.camera.rotation, self.centre),
            angles: angles.to_vec(),
            misfit: 0.0,
            other_hand_cost_ratio: 0.0,
        }
    }

    /// The same with how well they fit; `None` if that cannot be said.
    fn fitted(
        &self,
        start: &StartingPose,
        vector: &[f64],
        other_hand_cost_ratio: f64,
    ) -> Option<GearFit> {
        let fit = self.gear_of(start, vector);
        let mut square = 0.0;
        let mut count = 0;
        let flank = fit.flank();
        for (&angle, points) in fit.angles.iter().zip(&self.points) {
            for point in points {
                let placed = fit.camera.project(flank.point(angle, point.on_flank));
                let off = placed.distance(point.in_photo) / self.tolerance_px;
                square += if self.proposed {
                    cauchy_residual(off)
                } else {
                    off
                }
                .powi(2);
                count += 1;
            }
        }
        let misfit = (square / f64::from(count)).sqrt() * self.tolerance_px / self.length_px;
        misfit.is_finite().then_some(GearFit {
            misfit,
            other_hand_cost_ratio,
            ..fit
        })
    }

    /// The parameters that explain every `stride`'th of the points best.
    fn solve(&self, start: &StartingPose, from: Vec<f64>, steps: usize, stride: usize) -> Minimum {
        let per_tolerance = Matrix2::identity() / self.tolerance_px;
        let seen_flank = |(tooth, points): (usize, &Vec<Correspondence>)| {
            let weighted = |&point: &Correspondence| WeightedPoint {
                point,
                per_tolerance,
            };
            SeenFlank {
                angle: [(tooth, 1.0), (tooth, 0.0)],
                turned: 0.0,
                step: 0.0,
                // From one flank to the next other ones.
                points: points
                    .iter()
                    .skip(tooth % stride)
                    .step_by(stride)
                    .map(weighted)
                    .collect(),
            }
        };
        let angles = PoseParameters::unpack(&from).angles;
        let problem = PoseProblem {
            flanks: self.points.iter().enumerate().map(seen_flank).collect(),
            robust: self.proposed,
            kind: start.kind,
            rotation: start.camera.rotation,
            centre: self.centre,
            focal: self.focal,
            shape: self.shape,
            hidden: None,
            hold: AngleHold {
                weights: vec![1.0; angles.len()],
                sum: angles.iter().sum(),
            },
        };
        problem.solve(from, steps)
    }

    /// The parameters that explain marked corners and the points along the sides best.
    fn solve_with_sides(&self, start: &StartingPose, from: Vec<f64>, steps: usize) -> Minimum {
        let first_angles: f64 = PoseParameters::unpack(&from).angles.iter().sum();
        minimise(from, steps, |vector| {
            let fit = self.gear_of(start, vector);
            let mut off = Vec::new();
            for (tooth, flank) in self.flanks.iter().enumerate() {
                for point in &self.points[tooth] {
                    let placed = fit.place(tooth, point.on_flank);
                    off.push((placed.x - point.in_photo.x) / self.tolerance_px);
                    off.push((placed.y - point.in_photo.y) / self.tolerance_px);
                }
                for (points, height) in [(&flank.root, 0.0), (&flank.tip, 1.0)] {
                    let curve = side_curve(&fit, tooth, height);
                    let distances = points.iter().map(|&p| distance_to_curve(&curve, p));
                    off.extend(distances.map(|px| px / self.tolerance_px));
                }
            }
            let parameters = PoseParameters::unpack(vector);
            off.extend(self.shape.deviations(&parameters.offsets));
            off.extend(parameters.edge);
            off.push(self.focal.deviations(parameters.camera.log_focal_px));
            // A turn of all teeth together is the same as a turn of the camera: hold it still.
            off.push(parameters.angles.iter().sum::<f64>() - first_angles);
            off
        })
    }
}

/// Points of a fitted long side from a little before the toe to a little past the heel.
fn side_curve(fit: &GearFit, tooth: usize, height: f64) -> Vec<PhotoPoint> {
    (-1..=25)
        .map(|i| fit.place(tooth, FlankPoint::new(f64::from(i) / 24.0, height)))
        .collect()
}

/// Signed distance from `point` to the nearest piece of a curve, pixels.
fn distance_to_curve(curve: &[PhotoPoint], point: PhotoPoint) -> f64 {
    let mut best = (f64::INFINITY, 0.0);
    for pair in curve.windows(2) {
        let (dx, dy) = (pair[1].x - pair[0].x, pair[1].y - pair[0].y);
        let length = dx.hypot(dy).max(1e-9);
        let (px, py) = (point.x - pair[0].x, point.y - pair[0].y);
        let along = ((px * dx + py * dy) / length).clamp(0.0, length);
        let foot = PhotoPoint::new(
            pair[0].x + dx * along / length,
            pair[0].y + dy * along / length,
        );
        let away = foot.distance(point);
        if away < best.0 {
            best = (away, (dx * py - dy * px) / length);
        }
    }
    best.1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flank::pose::camera::Camera;
    use crate::flank::pose::gear_form::{FlankKind, SHAPE_NUMBERS};
    use crate::schema::Corners;
    use nalgebra::{Rotation3, Vector3};

    #[test]
    fn the_distance_to_a_curve_has_a_side() {
        let curve = [0.0, 1.0, 2.0].map(|x| PhotoPoint::new(x, 0.0));
        let above = distance_to_curve(&curve, PhotoPoint::new(1.4, -3.0));
        let below = distance_to_curve(&curve, PhotoPoint::new(1.4, 3.0));
        assert!((above.abs() - 3.0).abs() < 1e-12 && (above + below).abs() < 1e-12);
    }

    #[test]
    fn from_a_gear_that_is_near_the_fit_ends_where_it_does_from_all_round() {
        let photo = Photo::from_pixels("drawn", image::RgbImage::new(1600, 1200));
        let (sine, cosine) = 0.7f64.sin_cos();
        let gear = |tilt: f64| GearFit {
            form: RingForm::USUAL,
            offsets: [0.0; SHAPE_NUMBERS],
            kind: FlankKind::facing(Hand::Right, -1.0),
            camera: Camera {
                rotation: Rotation3::new(Vector3::new(2.3 + tilt, 0.2, -0.3)).into_inner(),
                origin: Vector3::new(-3.0 * cosine, 3.0 * sine, 9.0),
                focal_px: FocalPrior::of(&photo).px,
                centre: PhotoPoint::new(800.0, 600.0),
            },
            angles: vec![0.5, 0.65, 0.8, 0.95],
            misfit: 0.0,
            other_hand_cost_ratio: 3.0,
        };
        let truth = gear(0.0);
        let (marked, points): (Vec<MarkedFlank>, Vec<Vec<Correspondence>>) = (0..truth
            .angles
            .len())
            .map(|tooth| {
                let corner = |i: usize| truth.place(tooth, CORNERS[i]);
                let corners = Corners {
                    toe_root: corner(0),
                    toe_tip: corner(1),
                    heel_tip: corner(2),
                    heel_root: corner(3),
                };
                let points = (0..32).map(|i| {
                    let on_flank = FlankPoint::new(f64::from(i % 8) / 7.0, f64::from(i / 8) / 3.0);
                    Correspondence {
                        on_flank,
                        in_photo: truth.place(tooth, on_flank),
                    }
                });
                let (root, tip) = (Vec::new(), Vec::new());
                (MarkedFlank { corners, root, tip }, points.collect())
            })
            .unzip();
        let (near, usual) = (gear(0.03), KnownGear::default());
        let all_round = fit_proposed(&photo, &marked, &points, &usual, None).unwrap();
        let next = fit_proposed(&photo, &marked, &points, &usual, Some(&near)).unwrap();
        assert!(next.misfit < 0.005 && all_round.misfit < 0.005);
        assert_eq!((all_round.kind, next.kind), (truth.kind, truth.kind));
        assert_eq!(next.other_hand_cost_ratio, near.other_hand_cost_ratio);
        let facing_away = GearFit {
            kind: FlankKind::facing(Hand::Right, 1.0),
            ..near
        };
        assert!(fit_proposed(&photo, &marked, &points, &usual, Some(&facing_away)).is_none());
    }

    #[test]
    fn no_marks_have_no_gear() {
        let photo = Photo::from_pixels("drawn", image::RgbImage::new(40, 30));
        assert!(fit_marked(&photo, &[], &KnownGear::default()).is_none());
    }
}
