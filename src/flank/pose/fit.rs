//! The ring gear and the camera under which marked flanks look as they do in the photo.
//!
//! Marks alone do not say how lengths shrink towards the far end of a flank or how its curved
//! profile bulges in the picture. The gear is a known kind of solid: a handful of shape numbers
//! near those of usual gears, one angle a tooth, and a camera, fitted to the corners and sides.

use super::camera::Camera;
use super::gear_form::{Flank, FlankKind, RingForm, SHAPE_NUMBERS};
use super::problem::{CAMERA_NUMBERS, SeenFlank, Sight, Sights, away, softened};
use super::starting_poses::Start;
use crate::flank::marked_flank::{CORNERS, MarkedFlank};
use crate::frames::{FlankPoint, PhotoPoint};
use crate::least_squares::{Minimum, minimise};
use crate::photo::Photo;
use crate::schema::Hand;
use nalgebra::{Matrix2, Rotation3, Vector3};

/// A gear and camera that explain marked flanks.
#[derive(Debug, Clone)]
pub struct GearFit {
    /// Shape of the flanks.
    pub form: RingForm,
    /// The same as standard deviations from usual gears.
    pub(crate) offsets: [f64; SHAPE_NUMBERS],
    /// Hand and lengthwise form of the marked flanks.
    pub kind: FlankKind,
    /// The camera.
    pub camera: Camera,
    /// Angle of each marked tooth about the gear's axis, radians, in the order of the marks.
    pub angles: Vec<f64>,
    /// Root mean square distance of the marked corners from the fitted ones, in flank lengths.
    pub misfit: f64,
    /// How much worse the best gear of the other hand fits: its cost over this one's.
    pub other_hand: f64,
}

/// How exact marks are taken to be, flank lengths.
const MARK_SHARE: f64 = 0.006;

/// How exact seen places are taken to be, flank lengths; the places of one flank err together, so
/// that all of them weigh as much as a few marks.
const SEEN_SHARE: f64 = 0.02;
pub(crate) const SEEN_WEIGHT: f64 = 8.0;

/// Starting poses tried for marks and for seen places.
const STARTS: (usize, usize) = (4, 6);

/// Angles at which a starting pose may have a tooth, degrees.
const START_DEGREES: (i32, i32) = (-84, 84);

/// After so many steps the best of them are followed to their end, for marks and for seen places.
const ROUGH_STEPS: usize = 7;
const FOLLOWED: (usize, usize) = (3, 2);

/// Most steps to tell which start is the best, and from there to its end.
const FEW_STEPS: usize = 25;
const MOST_STEPS: usize = 40;

/// Until the best of all is known, only every so-many'th of the seen places is asked: they tell the
/// poses apart as well as all do.
const SPARSE: usize = 4;

/// Known places of one flank in the photo.
pub type Places = Vec<(FlankPoint, PhotoPoint)>;

/// Focal length assumed when the camera does not say, millimetres for a 36 mm wide frame, and how
/// far phones lie around it (natural logarithm). Common practice, no source.
const USUAL_FOCAL_35MM: f64 = 28.0;
const FOCAL_LOG_SPREAD: (f64, f64) = (0.04, 0.2);

/// Focal length in pixels as far as it is known before the fit, and the spread of its logarithm.
pub(crate) fn usual_focal(photo: &Photo) -> (f64, f64) {
    let longest = f64::from(photo.width.max(photo.height));
    let (focal_35mm, spread) = match photo.focal_35mm {
        Some(known) => (known, FOCAL_LOG_SPREAD.0),
        None => (USUAL_FOCAL_35MM, FOCAL_LOG_SPREAD.1),
    };
    (focal_35mm / 36.0 * longest, spread)
}

/// Fits a gear to the flanks marked on `photo`; `None` when there are none or nothing fits.
/// All flanks must be of the same side of their teeth.
pub fn fit(photo: &Photo, flanks: &[MarkedFlank]) -> Option<GearFit> {
    Problem::new(photo, flanks, None)?.best()
}

/// Fits a gear to flanks seen roughly: many places of each, some of them mistaken, and the corners
/// they suggest. The result's angles are in the order of the flanks. From a gear and camera that are known to
/// be near, poses are not tried all round, nor the other hand again.
pub(crate) fn fit_seen(
    photo: &Photo,
    flanks: &[MarkedFlank],
    places: &[Places],
    near: Option<&GearFit>,
) -> Option<GearFit> {
    let problem = Problem::new(photo, flanks, Some(places))?;
    match near {
        Some(near) => problem.next_to(near),
        None => problem.best(),
    }
}

impl GearFit {
    /// Where a point of the flank of the `tooth`-th marked tooth falls in the photo.
    pub fn place(&self, tooth: usize, at: FlankPoint) -> PhotoPoint {
        self.place_at(self.angles[tooth], at)
    }

    /// Where a point of the flank of a tooth at an angle falls in the photo.
    pub fn place_at(&self, angle: f64, at: FlankPoint) -> PhotoPoint {
        self.camera.project(self.flank().point(angle, at))
    }

    /// The flanks of the fitted gear.
    pub(crate) fn flank(&self) -> Flank {
        Flank::new(&self.form, self.kind)
    }
}

struct Problem<'a> {
    flanks: &'a [MarkedFlank],
    /// Places of each flank that the fit must meet.
    places: Vec<Places>,
    /// Whether the places are seen, and may be mistaken, or marked.
    seen: bool,
    centre: PhotoPoint,
    focal_px: f64,
    focal_log_spread: f64,
    length_px: f64,
    mark_px: f64,
    sense: f64,
}

impl<'a> Problem<'a> {
    fn new(photo: &Photo, flanks: &'a [MarkedFlank], seen: Option<&[Places]>) -> Option<Self> {
        let length = flanks.iter().map(MarkedFlank::length_px).sum::<f64>() / flanks.len() as f64;
        if !(length.is_finite() && length > 1.0) {
            return None;
        }
        let (focal_px, focal_log_spread) = usual_focal(photo);
        let (places, mark_share) = match seen {
            Some(places) => {
                let most = places.iter().map(Vec::len).max().unwrap_or(0) as f64;
                (places.to_vec(), SEEN_SHARE * (most / SEEN_WEIGHT).sqrt())
            }
            None => {
                let corners = flanks.iter().map(|f| f.corner_points().to_vec());
                (corners.collect(), MARK_SHARE)
            }
        };
        Some(Self {
            flanks,
            places,
            seen: seen.is_some(),
            centre: PhotoPoint::new(f64::from(photo.width) / 2.0, f64::from(photo.height) / 2.0),
            focal_px,
            focal_log_spread,
            length_px: length,
            mark_px: mark_share * length,
            // With y down, a flank that looks along increasing angle shows a positive turn.
            sense: flanks.iter().map(MarkedFlank::turn).sum::<f64>().signum(),
        })
    }

    /// The gear of either hand that fits best.
    fn best(&self) -> Option<GearFit> {
        let middle_flank = &self.flanks[self.flanks.len() / 2];
        let corners = middle_flank.corner_points().map(|(_, point)| point);
        let starts = Start::all_round(&corners, self.sense, self.focal_px, self.centre);
        let (tried, followed, sparse) = if self.seen {
            (STARTS.1, FOLLOWED.1, SPARSE)
        } else {
            (STARTS.0, FOLLOWED.0, 1)
        };
        let best_of = |hand: Hand| {
            let mut ends: Vec<(&Start, Minimum)> = starts
                .iter()
                .filter(|start| start.kind.hand == hand)
                .take(tried)
                .map(|start| {
                    let from = self.unknowns(start);
                    (start, self.solve(start, from, ROUGH_STEPS, sparse))
                })
                .collect();
            ends.sort_by(|a, b| a.1.cost.total_cmp(&b.1.cost));
            ends.into_iter()
                .take(followed)
                .map(|(start, end)| {
                    let end = self.solve(start, end.at, FEW_STEPS - ROUGH_STEPS, sparse);
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
        let other_hand = other.1.cost / best.1.cost.max(0.5);
        let start = best.0;
        let end = if self.seen {
            self.solve(start, best.1.at, MOST_STEPS, 1)
        } else {
            self.solve_with_sides(start, best.1.at, MOST_STEPS)
        };
        self.fitted(start, &end.at, other_hand)
    }

    /// The gear next to a known one that fits best.
    fn next_to(&self, near: &GearFit) -> Option<GearFit> {
        if near.kind.sense() != self.sense {
            return None;
        }
        let start = Start::from(near);
        let rough = self.solve(&start, self.unknowns(&start), FEW_STEPS, SPARSE);
        let end = self.solve(&start, rough.at, MOST_STEPS, 1);
        self.fitted(&start, &end.at, near.other_hand)
    }

    /// The unknowns at a start: the camera as it is, every tooth at the angle that suits it best.
    fn unknowns(&self, start: &Start) -> Vec<f64> {
        let Camera {
            origin, focal_px, ..
        } = start.camera;
        let mut unknowns = vec![
            0.0,
            0.0,
            0.0,
            origin.x / origin.z,
            origin.y / origin.z,
            origin.z.ln(),
            focal_px.ln(),
        ];
        let flank = Flank::new(&RingForm::from_offsets(&start.offsets), start.kind);
        let solid = CORNERS.map(|at| flank.point(0.0, at));
        let corners_at = |degrees: i32| {
            let turned = start.camera.before_turned(f64::from(degrees).to_radians());
            solid.map(|corner| turned.project(corner))
        };
        let (least, most) = START_DEGREES;
        let placed: Vec<[PhotoPoint; 4]> = (least..=most).map(corners_at).collect();
        for flank in self.flanks {
            let corners = flank.corner_points();
            let off = |degrees: i32| {
                let placed = &placed[(degrees - least) as usize];
                let off: f64 = placed
                    .iter()
                    .zip(&corners)
                    .map(|(placed, (_, seen))| away(*placed, *seen).norm())
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
            let angle = f64::from(nearest(&mut (rough - 4..=rough + 4)));
            unknowns.push(angle.to_radians());
        }
        unknowns.extend(start.offsets);
        unknowns
    }

    /// The gear and camera of some unknowns; how well they fit is not asked.
    fn unpack(&self, start: &Start, unknowns: &[f64]) -> GearFit {
        let teeth = self.flanks.len();
        let turn = Rotation3::new(Vector3::new(unknowns[0], unknowns[1], unknowns[2]));
        let distance = unknowns[5].exp();
        let mut offsets = [0.0; SHAPE_NUMBERS];
        offsets.copy_from_slice(&unknowns[CAMERA_NUMBERS + teeth..]);
        GearFit {
            form: RingForm::from_offsets(&offsets),
            offsets,
            kind: start.kind,
            camera: Camera {
                rotation: turn.into_inner() * start.camera.rotation,
                origin: Vector3::new(unknowns[3] * distance, unknowns[4] * distance, distance),
                focal_px: unknowns[6].exp(),
                centre: self.centre,
            },
            angles: unknowns[CAMERA_NUMBERS..CAMERA_NUMBERS + teeth].to_vec(),
            misfit: 0.0,
            other_hand: 0.0,
        }
    }

    /// The same with how well they fit; `None` if that cannot be said.
    fn fitted(&self, start: &Start, unknowns: &[f64], other_hand: f64) -> Option<GearFit> {
        let fit = self.unpack(start, unknowns);
        let mut square = 0.0;
        let mut count = 0;
        let flank = fit.flank();
        for (&angle, places) in fit.angles.iter().zip(&self.places) {
            for &(at, seen) in places {
                let placed = fit.camera.project(flank.point(angle, at));
                let off = placed.distance(seen) / self.mark_px;
                square += if self.seen { softened(off) } else { off }.powi(2);
                count += 1;
            }
        }
        let misfit = (square / f64::from(count)).sqrt() * self.mark_px / self.length_px;
        misfit.is_finite().then_some(GearFit {
            misfit,
            other_hand,
            ..fit
        })
    }

    /// The unknowns that explain every `sparse`'th of the places best.
    fn solve(&self, start: &Start, from: Vec<f64>, steps: usize, sparse: usize) -> Minimum {
        let teeth = self.flanks.len();
        let angles = vec![1.0; teeth];
        let sum = from[CAMERA_NUMBERS..CAMERA_NUMBERS + teeth].iter().sum();
        let tolerance = Matrix2::identity() / self.mark_px;
        let seen_flank = |(tooth, places): (usize, &Places)| {
            let sight = |&(at, seen): &(FlankPoint, PhotoPoint)| Sight {
                at,
                seen,
                tolerance,
            };
            SeenFlank {
                angle: [(tooth, 1.0), (tooth, 0.0)],
                // From one flank to the next other ones.
                sights: places
                    .iter()
                    .skip(tooth % sparse)
                    .step_by(sparse)
                    .map(sight)
                    .collect(),
            }
        };
        let sights = Sights {
            flanks: self.places.iter().enumerate().map(seen_flank).collect(),
            doubtful: self.seen,
            kind: start.kind,
            rotation: start.camera.rotation,
            centre: self.centre,
            focal_log: (self.focal_px.ln(), self.focal_log_spread),
            held: (angles, sum),
        };
        sights.explain(from, steps)
    }

    /// The unknowns that explain marked places and the points along the sides best.
    fn solve_with_sides(&self, start: &Start, from: Vec<f64>, steps: usize) -> Minimum {
        let teeth = self.flanks.len();
        let first_angle: f64 = from[CAMERA_NUMBERS..CAMERA_NUMBERS + teeth].iter().sum();
        minimise(from, steps, |unknowns| {
            let fit = self.unpack(start, unknowns);
            let mut off = Vec::new();
            for (tooth, flank) in self.flanks.iter().enumerate() {
                for &(at, seen) in &self.places[tooth] {
                    let placed = fit.place(tooth, at);
                    off.push((placed.x - seen.x) / self.mark_px);
                    off.push((placed.y - seen.y) / self.mark_px);
                }
                for (points, height) in [(&flank.root, 0.0), (&flank.tip, 1.0)] {
                    let curve = side_curve(&fit, tooth, height);
                    let distances = points.iter().map(|&p| distance_to_curve(&curve, p));
                    off.extend(distances.map(|px| px / self.mark_px));
                }
            }
            off.extend_from_slice(&unknowns[CAMERA_NUMBERS + teeth..]);
            off.push((unknowns[6] - self.focal_px.ln()) / self.focal_log_spread);
            // A turn of all teeth together is the same as a turn of the camera: hold it still.
            let angles: f64 = unknowns[CAMERA_NUMBERS..CAMERA_NUMBERS + teeth]
                .iter()
                .sum();
            off.push(angles - first_angle);
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
    use crate::schema::Corners;

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
                focal_px: usual_focal(&photo).0,
                centre: PhotoPoint::new(800.0, 600.0),
            },
            angles: vec![0.5, 0.65, 0.8, 0.95],
            misfit: 0.0,
            other_hand: 3.0,
        };
        let truth = gear(0.0);
        let (marked, places): (Vec<MarkedFlank>, Vec<Places>) = (0..truth.angles.len())
            .map(|tooth| {
                let corner = |i: usize| truth.place(tooth, CORNERS[i]);
                let corners = Corners {
                    toe_root: corner(0),
                    toe_tip: corner(1),
                    heel_tip: corner(2),
                    heel_root: corner(3),
                };
                let places = (0..32).map(|i| {
                    let at = FlankPoint::new(f64::from(i % 8) / 7.0, f64::from(i / 8) / 3.0);
                    (at, truth.place(tooth, at))
                });
                let (root, tip) = (Vec::new(), Vec::new());
                (MarkedFlank { corners, root, tip }, places.collect())
            })
            .unzip();
        let near = gear(0.03);
        let all_round = fit_seen(&photo, &marked, &places, None).unwrap();
        let next = fit_seen(&photo, &marked, &places, Some(&near)).unwrap();
        assert!(next.misfit < 0.005 && all_round.misfit < 0.005);
        assert_eq!((all_round.kind, next.kind), (truth.kind, truth.kind));
        assert_eq!(next.other_hand, near.other_hand);
        let facing_away = GearFit {
            kind: FlankKind::facing(Hand::Right, 1.0),
            ..near
        };
        assert!(fit_seen(&photo, &marked, &places, Some(&facing_away)).is_none());
    }

    #[test]
    fn no_marks_have_no_gear() {
        let photo = Photo::from_pixels("drawn", image::RgbImage::new(40, 30));
        assert!(fit(&photo, &[]).is_none());
    }
}
