//! Points of flanks seen in a photo, and how well a gear and a camera explain them: the sum of
//! squares that the fits lower, and its derivatives, worked out instead of tried.

use super::camera::{Camera, FocalPrior};
use super::gear_form::{Flank, FlankKind, RingForm};
use super::hidden_end::{EDGE_PRIOR, HiddenEnd};
use super::known_gear::ShapePrior;
use super::parameters::{
    CameraParameters, EDGE_NUMBERS, FLANK_NUMBERS, Layout, PackedRow, PoseParameters, ResidualRow,
};
use crate::flank::calibration::CALIBRATION;
use crate::flank::correspondence::Correspondence;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::least_squares::{Minimum, Normal, descend};
use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Vector2, Vector3};

/// A point farther off than this many tolerances is taken for a mistake: the scale of the Cauchy loss.
const CAUCHY_SCALE: f64 = CALIBRATION.pose.cauchy_scale;

/// Relative gain below which a step is not worth its time: points scatter by far more than what is left moves them.
const ENOUGH_GAIN: f64 = 1e-3;

/// Step of the difference quotients over the camera's turn.
const DIFFERENCE: f64 = 1e-6;

/// The same over a length.
const LENGTH_DIFFERENCE: f64 = 1e-5;

/// One point of a flank, and how exactly it is known.
#[derive(Debug, Clone)]
pub(crate) struct WeightedPoint {
    /// Where on the flank and in the photo.
    pub point: Correspondence,
    /// Distances in the photo → tolerances.
    pub per_tolerance: Matrix2<f64>,
}

/// The points seen of one flank.
#[derive(Debug, Clone)]
pub(crate) struct SeenFlank {
    /// The tooth's angle, as parts of the angles that are fitted: which, the lower one first, and how often …
    pub angle: [(usize, f64); 2],
    /// … and what is known of it, radians.
    pub turned: f64,
    /// Its place in the row of the flanks, −½ … ½.
    pub step: f64,
    /// The points.
    pub points: Vec<WeightedPoint>,
}

/// How the fitted angles are held still: a turn of all teeth is the same as a turn of the camera.
#[derive(Debug)]
pub(crate) struct AngleHold {
    /// So much of each angle …
    pub weights: Vec<f64>,
    /// … gives this sum, radians.
    pub sum: f64,
}

/// All points, and what is known before: the least-squares problem of a gear and a camera.
#[derive(Debug)]
pub(crate) struct PoseProblem {
    /// The flanks with their points.
    pub flanks: Vec<SeenFlank>,
    /// Whether some of the points may be mistaken: then distances count by the Cauchy loss.
    pub robust: bool,
    /// Kind of the flanks.
    pub kind: FlankKind,
    /// The camera's rotation that turns are counted from.
    pub rotation: Matrix3<f64>,
    /// Middle of the photo.
    pub centre: PhotoPoint,
    /// The focal length as far as it is known.
    pub focal: FocalPrior,
    /// The shape as far as it is known.
    pub shape: ShapePrior,
    /// The end that something hides: lengths of points are those of the part that shows.
    pub hidden: Option<HiddenEnd>,
    /// How the angles are held still.
    pub hold: AngleHold,
}

impl PoseProblem {
    /// The parameters that explain the points best, packed, from `start` in at most `steps` steps.
    pub(crate) fn solve(&self, start: Vec<f64>, steps: usize) -> Minimum {
        descend(
            start,
            steps,
            ENOUGH_GAIN,
            |at| self.cost(&PoseParameters::unpack(at)),
            |at| self.normal(at),
        )
    }

    /// The camera of some parameters.
    pub(crate) fn camera(&self, parameters: &CameraParameters) -> Camera {
        parameters.camera(&self.rotation, self.centre)
    }

    /// Half the sum of the squares.
    fn cost(&self, parameters: &PoseParameters) -> f64 {
        let camera = self.camera(&parameters.camera);
        let flank = Flank::new(&RingForm::from_offsets(&parameters.offsets), self.kind);
        let focal_off = self.focal.deviations(parameters.camera.log_focal_px);
        let mut square = focal_off.powi(2) + self.hold_off(parameters.angles).powi(2);
        let shape_off = self.shape.deviations(&parameters.offsets);
        square += shape_off.iter().map(|off| off * off).sum::<f64>();
        square += (EDGE_PRIOR.iter().zip(parameters.edge))
            .map(|(weight, at)| (weight * at).powi(2))
            .sum::<f64>();
        for seen in &self.flanks {
            let angle = angle_of(seen, parameters.angles);
            let squares = seen.points.iter().map(|weighted| {
                let Correspondence { on_flank, in_photo } = weighted.point;
                let on_flank = match self.hidden {
                    Some(end) => end.on_whole(on_flank, seen.step, &parameters.edge),
                    None => on_flank,
                };
                let placed = camera.project(flank.point(angle, on_flank));
                (weighted.per_tolerance * offset(placed, in_photo)).norm_squared()
            });
            square += if self.robust {
                cauchy_loss(squares)
            } else {
                squares.sum()
            };
        }
        0.5 * square
    }

    /// How far off the angles are from how they are held.
    fn hold_off(&self, angles: &[f64]) -> f64 {
        let held = self.hold.weights.iter().zip(angles);
        held.map(|(times, angle)| times * angle).sum::<f64>() - self.hold.sum
    }

    /// The normal equations; of the matrix the lower half.
    fn normal(&self, vector: &[f64]) -> Normal {
        let count = vector.len();
        let (mut square, mut slope) = (DMatrix::zeros(count, count), DVector::zeros(count));
        let parameters = PoseParameters::unpack(vector);
        let layout = Layout::of(vector);
        self.add_prior(&parameters, layout, &mut square, &mut slope);
        let model = Model::new(self, &parameters);
        for seen in &self.flanks {
            let products = model.products(seen, angle_of(seen, parameters.angles));
            let columns = layout.of_flank(&seen.angle);
            for (first, &(row, i, a)) in columns.iter().enumerate() {
                slope[i] += a * products[row][ResidualRow::RESIDUAL];
                for &(column, j, b) in &columns[first..] {
                    square[(j, i)] += a * b * products[row][column];
                }
            }
        }
        (square, slope)
    }

    /// Adds what is known without the points to the normal equations.
    fn add_prior(
        &self,
        parameters: &PoseParameters,
        layout: Layout,
        square: &mut DMatrix<f64>,
        slope: &mut DVector<f64>,
    ) {
        let deviations = self.shape.deviations(&parameters.offsets);
        for ((i, off), weight) in layout.offsets().zip(deviations).zip(self.shape.weight) {
            square[(i, i)] += weight * weight;
            slope[i] += off * weight;
        }
        for ((i, weight), at) in layout.edge().zip(EDGE_PRIOR).zip(parameters.edge) {
            square[(i, i)] += weight * weight;
            slope[i] += weight * weight * at;
        }
        let spread = self.focal.log_spread;
        let focal = Layout::LOG_FOCAL_PX;
        square[(focal, focal)] += 1.0 / (spread * spread);
        slope[focal] += self.focal.deviations(parameters.camera.log_focal_px) / spread;
        let off = self.hold_off(parameters.angles);
        let angles = layout.angles();
        for (i, a) in angles.clone().zip(&self.hold.weights) {
            slope[i] += a * off;
            for (j, b) in (angles.start..=i).zip(&self.hold.weights) {
                square[(i, j)] += a * b;
            }
        }
    }
}

/// The angle of a flank's tooth, radians.
fn angle_of(seen: &SeenFlank, angles: &[f64]) -> f64 {
    let parts = seen.angle.iter();
    let fitted: f64 = parts.map(|&(which, times)| times * angles[which]).sum();
    seen.turned + fitted
}

/// Products of the derivatives of a flank's residuals with each other, from the diagonal on, and with the
/// residuals, last; one column more than needed, for rows of whole pairs.
type Products = [PackedRow; FLANK_NUMBERS];

/// A gear before a camera, and how both move with the parameters.
struct Model {
    robust: bool,
    hidden: Option<HiddenEnd>,
    edge: [f64; EDGE_NUMBERS],
    camera: Camera,
    flank: Flank,
    /// How the camera's rotation moves with each number of its turn.
    turned: [Matrix3<f64>; 3],
}

impl Model {
    fn new(problem: &PoseProblem, parameters: &PoseParameters) -> Self {
        let camera = problem.camera(&parameters.camera);
        let turned = std::array::from_fn(|axis| {
            let mut more = parameters.camera;
            more.turn[axis] += DIFFERENCE;
            (more.rotation(&problem.rotation) - camera.rotation) / DIFFERENCE
        });
        let form = RingForm::from_offsets(&parameters.offsets);
        Self {
            robust: problem.robust,
            hidden: problem.hidden,
            edge: parameters.edge,
            camera,
            flank: Flank::new(&form, problem.kind),
            turned,
        }
    }

    /// The products over all points of a flank on the tooth at an angle.
    fn products(&self, seen: &SeenFlank, angle: f64) -> Products {
        let mut products = [[0.0; FLANK_NUMBERS + 2]; FLANK_NUMBERS];
        for weighted in &seen.points {
            let [x, y] = self.residual_rows(weighted, angle, seen.step);
            for (i, row) in products.iter_mut().enumerate() {
                // From an even column on, so that two columns at a time are worked out.
                for j in i & !1..FLANK_NUMBERS + 2 {
                    row[j] += x[i] * x[j] + y[i] * y[j];
                }
            }
        }
        products
    }

    /// How a point moves away from the axis, about and along it with each of the edge's numbers: `seen` on what shows, `whole` on all.
    fn moved_by_edge(
        &self,
        end: HiddenEnd,
        seen: FlankPoint,
        whole: FlankPoint,
        step: f64,
    ) -> [[f64; 3]; EDGE_NUMBERS] {
        let at = |length: f64| {
            self.flank
                .cylinder(FlankPoint::new(whole.length + length, whole.height))
        };
        let (before, after) = (at(-LENGTH_DIFFERENCE), at(LENGTH_DIFFERENCE));
        let along: [f64; 3] =
            std::array::from_fn(|i| (after[i] - before[i]) / (2.0 * LENGTH_DIFFERENCE));
        end.length_by_edge(seen, step)
            .map(|by| along.map(|along| along * by))
    }

    /// The two residuals of a point with their derivatives.
    fn residual_rows(&self, weighted: &WeightedPoint, angle: f64, step: f64) -> [PackedRow; 2] {
        let camera = &self.camera;
        let Correspondence { on_flank, in_photo } = weighted.point;
        let (on_flank, by_edge) = match self.hidden {
            Some(end) => {
                let whole = end.on_whole(on_flank, step, &self.edge);
                (whole, self.moved_by_edge(end, on_flank, whole, step))
            }
            None => (on_flank, [[0.0; 3]; EDGE_NUMBERS]),
        };
        let ([radius, about, level], shaped) = self.flank.cylinder_by_offsets(on_flank);
        let (sine, cosine) = (angle + about).sin_cos();
        let point = Vector3::new(radius * cosine, radius * sine, level);
        let seen = camera.rotation * point + camera.origin;
        let per_depth = 1.0 / seen.z;
        let (x, y) = (seen.x * per_depth, seen.y * per_depth);
        let focal = camera.focal_px;
        let placed = PhotoPoint::new(camera.centre.x + focal * x, camera.centre.y + focal * y);
        let off = weighted.per_tolerance * offset(placed, in_photo);
        let (share, bend) = if self.robust {
            cauchy_weight(off)
        } else {
            (1.0, Matrix2::identity())
        };
        let by_place = bend * weighted.per_tolerance * focal;
        // Along the circle about the axis, away from it, and along it.
        let round = camera.rotation * Vector3::new(-sine, cosine, 0.0) * radius;
        let out = camera.rotation * Vector3::new(cosine, sine, 0.0);
        let up = camera.rotation.column(2);
        let turned = self.turned.map(|turned| turned * point);
        [0, 1].map(|axis| {
            let (by_x, by_y) = (by_place[(axis, 0)], by_place[(axis, 1)]);
            let by_seen = Vector3::new(by_x, by_y, -(by_x * x + by_y * y)) * per_depth;
            let (by_out, by_angle, by_up) =
                (by_seen.dot(&out), by_seen.dot(&round), by_seen.dot(&up));
            let row = ResidualRow {
                by_camera: CameraParameters {
                    turn: turned.map(|turned| by_seen.dot(&turned)).into(),
                    shift_per_distance: [by_seen.x * camera.origin.z, by_seen.y * camera.origin.z],
                    log_distance: by_seen.dot(&camera.origin),
                    log_focal_px: by_x * x + by_y * y,
                },
                by_angle,
                by_offsets: shaped
                    .map(|[out, about, up]| by_out * out + by_angle * about + by_up * up),
                by_edge: by_edge
                    .map(|[out, about, up]| by_out * out + by_angle * about + by_up * up),
                residual: off[axis] * share,
            };
            row.pack()
        })
    }
}

/// The way from where a point is seen to where it is placed, pixels.
pub(crate) fn offset(placed: PhotoPoint, seen: PhotoPoint) -> Vector2<f64> {
    Vector2::new(placed.x - seen.x, placed.y - seen.y)
}

/// A distance in tolerances as it counts when it may be a mistake: as it is when small, growing
/// ever more slowly beyond [`CAUCHY_SCALE`]. Its square is the Cauchy loss.
pub(crate) fn cauchy_residual(off: f64) -> f64 {
    CAUCHY_SCALE * (off / CAUCHY_SCALE).powi(2).ln_1p().sqrt()
}

/// The Cauchy loss of distances: the sum of the squares of their [`cauchy_residual`], from the distances' squares.
/// The logarithm of a product is taken once for all of them.
fn cauchy_loss(squares: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut product) = (0.0, 1.0);
    for square in squares {
        product *= 1.0 + square / (CAUCHY_SCALE * CAUCHY_SCALE);
        if product > 1e200 {
            sum += f64::ln(product);
            product = 1.0;
        }
    }
    CAUCHY_SCALE * CAUCHY_SCALE * (sum + product.ln())
}

/// By what an offset is multiplied to count as its [`cauchy_residual`], and how the result moves with it.
fn cauchy_weight(off: Vector2<f64>) -> (f64, Matrix2<f64>) {
    let square = off.norm_squared();
    let share_square = square / (CAUCHY_SCALE * CAUCHY_SCALE);
    if share_square < 1e-8 {
        return (1.0, Matrix2::identity());
    }
    // Nothing is lost to `ln_1p` here, which takes longer.
    let share = ((1.0 + share_square).ln() / share_square).sqrt();
    // The derivative of `cauchy_residual`.
    let grows = 1.0 / (share * (1.0 + share_square));
    let along = (grows - share) / square;
    let bend = Matrix2::identity() * share + off * off.transpose() * along;
    (share, bend)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::Hand;
    use nalgebra::Rotation3;

    /// Points of two teeth, some of them far off, and parameters near those that explain them, packed.
    fn example(robust: bool, hidden: Option<HiddenEnd>) -> (PoseProblem, Vec<f64>) {
        let look = Rotation3::new(Vector3::new(2.4, 0.3, -0.2)).into_inner();
        let mut problem = PoseProblem {
            flanks: Vec::new(),
            robust,
            kind: FlankKind::facing(Hand::Left, 1.0),
            rotation: look,
            centre: PhotoPoint::new(800.0, 600.0),
            focal: FocalPrior {
                px: 1200.0,
                log_spread: 0.2,
            },
            shape: ShapePrior {
                middle: std::array::from_fn(|i| 0.1 * i as f64),
                weight: std::array::from_fn(|i| 1.0 + i as f64),
            },
            hidden,
            hold: AngleHold {
                weights: vec![1.0, 0.5],
                sum: 0.1,
            },
        };
        let parameters = PoseParameters {
            camera: CameraParameters {
                turn: Vector3::new(0.02, -0.03, 0.05),
                shift_per_distance: [0.1, -0.05],
                log_distance: 2.3,
                log_focal_px: 7.1,
            },
            angles: &[0.05, 0.16],
            offsets: std::array::from_fn(|i| 0.3 - 0.1 * i as f64),
            edge: match hidden {
                Some(_) => [0.15, 0.05, -0.1, 0.04],
                None => [0.0; EDGE_NUMBERS],
            },
        };
        let camera = problem.camera(&parameters.camera);
        let flank = Flank::new(&RingForm::USUAL, problem.kind);
        problem.flanks.extend((0..3).map(|step| SeenFlank {
            angle: [(0, 1.0), (1, f64::from(step))],
            turned: 0.0,
            step: f64::from(step) / 2.0 - 0.5,
            points: Vec::new(),
        }));
        for i in 0..40 {
            let on_flank = FlankPoint::new(f64::from(i % 10) / 9.0, f64::from(i / 10) / 3.0);
            let step = f64::from(i % 3);
            let placed = camera.project(flank.point(0.05 + 0.15 * step, on_flank));
            let off = if i % 7 == 0 { 60.0 } else { 2.0 };
            problem.flanks[i as usize % 3].points.push(WeightedPoint {
                point: Correspondence {
                    on_flank,
                    in_photo: PhotoPoint::new(placed.x + off, placed.y - 0.5 * off),
                },
                per_tolerance: Matrix2::new(0.3, 0.05, -0.02, 0.2),
            });
        }
        (problem, parameters.pack())
    }

    fn cost(problem: &PoseProblem, vector: &[f64]) -> f64 {
        problem.cost(&PoseParameters::unpack(vector))
    }

    #[test]
    fn the_slope_is_that_of_the_cost() {
        let kinds = [
            (false, None),
            (true, None),
            (true, Some(HiddenEnd::Toe)),
            (false, Some(HiddenEnd::Heel)),
        ];
        for (robust, hidden) in kinds {
            let (problem, vector) = example(robust, hidden);
            assert!(cost(&problem, &vector).is_finite());
            let (_, slope) = problem.normal(&vector);
            for i in 0..vector.len() {
                let cost = |step: f64| {
                    let mut there = vector.clone();
                    there[i] += step;
                    cost(&problem, &there)
                };
                let tried = (cost(1e-5) - cost(-1e-5)) / 2e-5;
                let scale = slope[i].abs().max(1.0);
                assert!(
                    (tried - slope[i]).abs() < 1e-3 * scale,
                    "{i}: {tried} {}",
                    slope[i]
                );
            }
        }
    }

    #[test]
    fn the_loss_of_distances_is_the_sum_of_the_squares_of_their_residuals() {
        let distances: Vec<f64> = (0..500).map(f64::from).collect();
        let loss = cauchy_loss(distances.iter().map(|off| off * off));
        let squares: f64 = distances
            .iter()
            .map(|&off| cauchy_residual(off).powi(2))
            .sum();
        assert!((loss / squares - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_parameters_behind_the_points_are_found() {
        let (mut problem, vector) = example(false, None);
        let parameters = PoseParameters::unpack(&vector);
        let camera = problem.camera(&parameters.camera);
        let flank = Flank::new(&RingForm::from_offsets(&parameters.offsets), problem.kind);
        for seen in &mut problem.flanks {
            let angle = angle_of(seen, parameters.angles);
            for weighted in &mut seen.points {
                let placed = flank.point(angle, weighted.point.on_flank);
                weighted.point.in_photo = camera.project(placed);
                weighted.per_tolerance *= 100.0;
            }
        }
        problem.hold.sum = 0.05 + 0.5 * 0.16;
        problem.shape = ShapePrior::USUAL;
        let mut start = vector.clone();
        for (i, value) in start.iter_mut().enumerate() {
            *value += 0.01 * (i as f64).sin();
        }
        let before = cost(&problem, &start);
        let found = problem.solve(start, 40);
        assert!(
            found.cost < 2.0 && before > 1e3,
            "{before} → {}",
            found.cost
        );
    }
}
