//! Places of flanks seen in a photo, and how well a gear and a camera explain them: the sum of
//! squares that the fits lower, and its derivatives, worked out instead of tried.

use super::camera::Camera;
use super::gear_form::{Flank, FlankKind, RingForm, SHAPE_NUMBERS};
use crate::frames::{FlankPoint, PhotoPoint};
use crate::least_squares::{Minimum, Normal, descend};
use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Rotation3, Vector2, Vector3};

/// Camera unknowns: turn (3), sideways shift over distance (2), log distance, log focal length.
pub(crate) const CAMERA_NUMBERS: usize = 7;

/// A place farther off than this many tolerances is taken for a mistake.
const MISTAKE: f64 = 3.0;

/// Relative gain below which a further step is not worth its time: places of a flank scatter by far more
/// than what is left moves it.
const ENOUGH: f64 = 1e-3;

/// Step of the difference quotients over the camera's turn.
const DIFFERENCE: f64 = 1e-6;

/// Unknowns that move the places of one flank: the camera, its angle, the shape numbers.
const OF_FLANK: usize = CAMERA_NUMBERS + 1 + SHAPE_NUMBERS;

/// One place.
#[derive(Debug, Clone)]
pub(crate) struct Sight {
    /// Where on its flank.
    pub at: FlankPoint,
    /// Where in the photo.
    pub seen: PhotoPoint,
    /// Distances in the photo → tolerances.
    pub tolerance: Matrix2<f64>,
}

/// The places seen of one flank.
#[derive(Debug, Clone)]
pub(crate) struct SeenFlank {
    /// The tooth's angle, as parts of the unknown angles: which, the lower one first, and how often.
    pub angle: [(usize, f64); 2],
    /// The places.
    pub sights: Vec<Sight>,
}

/// All places, and what is known before. The unknowns are those of the camera, the angles, and the
/// shape numbers.
#[derive(Debug)]
pub(crate) struct Sights {
    /// The flanks with their places.
    pub flanks: Vec<SeenFlank>,
    /// Whether some of the places may be mistaken.
    pub doubtful: bool,
    /// Kind of the flanks.
    pub kind: FlankKind,
    /// The camera that turns are counted from.
    pub rotation: Matrix3<f64>,
    /// Middle of the photo.
    pub centre: PhotoPoint,
    /// Focal length as far as it is known: logarithm of pixels, and its spread.
    pub focal_log: (f64, f64),
    /// How the unknown angles are held still: the sum of so much of each, and its value. A turn of
    /// all teeth is the same as a turn of the camera.
    pub held: (Vec<f64>, f64),
}

impl Sights {
    /// The unknowns that explain the places best, from `start` in at most `steps` steps.
    pub fn explain(&self, start: Vec<f64>, steps: usize) -> Minimum {
        descend(
            start,
            steps,
            ENOUGH,
            |at| self.cost(at),
            |at| self.normal(at),
        )
    }

    /// The camera of some unknowns.
    pub fn camera(&self, unknowns: &[f64]) -> Camera {
        let distance = unknowns[5].exp();
        Camera {
            rotation: turn(unknowns).into_inner() * self.rotation,
            origin: Vector3::new(unknowns[3] * distance, unknowns[4] * distance, distance),
            focal_px: unknowns[6].exp(),
            centre: self.centre,
        }
    }

    fn angles(&self) -> usize {
        self.held.0.len()
    }

    fn offsets(&self, unknowns: &[f64]) -> [f64; SHAPE_NUMBERS] {
        std::array::from_fn(|i| unknowns[CAMERA_NUMBERS + self.angles() + i])
    }

    fn angle(&self, seen: &SeenFlank, unknowns: &[f64]) -> f64 {
        let parts = seen.angle.iter();
        parts
            .map(|&(which, times)| times * unknowns[CAMERA_NUMBERS + which])
            .sum()
    }

    /// Half the sum of the squares.
    fn cost(&self, unknowns: &[f64]) -> f64 {
        let offsets = self.offsets(unknowns);
        let camera = self.camera(unknowns);
        let flank = Flank::new(&RingForm::from_offsets(&offsets), self.kind);
        let mut square = self.focal_off(unknowns).powi(2) + self.held_off(unknowns).powi(2);
        square += offsets.iter().map(|off| off * off).sum::<f64>();
        for seen in &self.flanks {
            let angle = self.angle(seen, unknowns);
            let offs = seen.sights.iter().map(|sight| {
                let placed = camera.project(flank.point(angle, sight.at));
                (sight.tolerance * away(placed, sight.seen)).norm_squared()
            });
            square += if self.doubtful {
                softened_squares(offs)
            } else {
                offs.sum()
            };
        }
        0.5 * square
    }

    /// How far off the focal length is, in its spreads.
    fn focal_off(&self, unknowns: &[f64]) -> f64 {
        (unknowns[6] - self.focal_log.0) / self.focal_log.1
    }

    /// How far off the angles are from how they are held.
    fn held_off(&self, unknowns: &[f64]) -> f64 {
        let angles = self.held.0.iter().zip(&unknowns[CAMERA_NUMBERS..]);
        angles.map(|(times, angle)| times * angle).sum::<f64>() - self.held.1
    }

    /// The normal equations; of the matrix the lower half.
    fn normal(&self, unknowns: &[f64]) -> Normal {
        let count = unknowns.len();
        let (mut square, mut slope) = (DMatrix::zeros(count, count), DVector::zeros(count));
        self.add_prior(unknowns, &mut square, &mut slope);
        let model = Model::new(self, unknowns);
        for seen in &self.flanks {
            let products = model.products(seen, self.angle(seen, unknowns));
            // Rows of the products, the unknowns they are of, and how often.
            let angles = seen.angle.iter().filter(|part| part.1 != 0.0);
            let parts: Vec<(usize, usize, f64)> = (0..CAMERA_NUMBERS)
                .map(|row| (row, row, 1.0))
                .chain(
                    angles.map(|&(which, times)| (CAMERA_NUMBERS, CAMERA_NUMBERS + which, times)),
                )
                .chain(
                    (CAMERA_NUMBERS + 1..OF_FLANK).map(|row| (row, row - 1 + self.angles(), 1.0)),
                )
                .collect();
            for (first, &(row, i, a)) in parts.iter().enumerate() {
                slope[i] += a * products[row][OF_FLANK];
                for &(column, j, b) in &parts[first..] {
                    square[(j, i)] += a * b * products[row][column];
                }
            }
        }
        (square, slope)
    }

    /// Adds what is known without the places to the normal equations.
    fn add_prior(&self, unknowns: &[f64], square: &mut DMatrix<f64>, slope: &mut DVector<f64>) {
        for i in CAMERA_NUMBERS + self.angles()..unknowns.len() {
            square[(i, i)] += 1.0;
            slope[i] += unknowns[i];
        }
        let spread = self.focal_log.1;
        square[(6, 6)] += 1.0 / (spread * spread);
        slope[6] += self.focal_off(unknowns) / spread;
        let off = self.held_off(unknowns);
        for (i, a) in (CAMERA_NUMBERS..).zip(&self.held.0) {
            slope[i] += a * off;
            for (j, b) in (CAMERA_NUMBERS..=i).zip(&self.held.0) {
                square[(i, j)] += a * b;
            }
        }
    }
}

/// Products of the derivatives of a flank's residuals with each other, from the diagonal on, and with the
/// residuals, last; one column more than needed, for rows of whole pairs.
type Products = [[f64; OF_FLANK + 2]; OF_FLANK];

/// A gear before a camera, and how both move with the unknowns.
struct Model {
    doubtful: bool,
    camera: Camera,
    flank: Flank,
    /// How the camera's rotation moves with each number of its turn.
    turned: [Matrix3<f64>; 3],
}

impl Model {
    fn new(sights: &Sights, unknowns: &[f64]) -> Self {
        let camera = sights.camera(unknowns);
        let turned = std::array::from_fn(|i| {
            let mut more = [unknowns[0], unknowns[1], unknowns[2]];
            more[i] += DIFFERENCE;
            (turn(&more).into_inner() * sights.rotation - camera.rotation) / DIFFERENCE
        });
        let form = RingForm::from_offsets(&sights.offsets(unknowns));
        Self {
            doubtful: sights.doubtful,
            camera,
            flank: Flank::new(&form, sights.kind),
            turned,
        }
    }

    /// The products over all places of a flank on the tooth at an angle.
    fn products(&self, seen: &SeenFlank, angle: f64) -> Products {
        let mut products = [[0.0; OF_FLANK + 2]; OF_FLANK];
        for sight in &seen.sights {
            let [x, y] = self.residual(sight, angle);
            for (i, row) in products.iter_mut().enumerate() {
                // From an even column on, so that two columns at a time are worked out.
                for j in i & !1..OF_FLANK + 2 {
                    row[j] += x[i] * x[j] + y[i] * y[j];
                }
            }
        }
        products
    }

    /// The derivatives of the two residuals of a place, and the residuals last.
    fn residual(&self, sight: &Sight, angle: f64) -> [[f64; OF_FLANK + 2]; 2] {
        let camera = &self.camera;
        let ([radius, about, level], shaped) = self.flank.cylinder_by_offsets(sight.at);
        let (sine, cosine) = (angle + about).sin_cos();
        let point = Vector3::new(radius * cosine, radius * sine, level);
        let seen = camera.rotation * point + camera.origin;
        let per_depth = 1.0 / seen.z;
        let (x, y) = (seen.x * per_depth, seen.y * per_depth);
        let focal = camera.focal_px;
        let placed = PhotoPoint::new(camera.centre.x + focal * x, camera.centre.y + focal * y);
        let off = sight.tolerance * away(placed, sight.seen);
        let (share, bend) = if self.doubtful {
            softening(off)
        } else {
            (1.0, Matrix2::identity())
        };
        let by_place = bend * sight.tolerance * focal;
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
            let mut by = [0.0; OF_FLANK + 2];
            for (by, turned) in by.iter_mut().zip(&turned) {
                *by = by_seen.dot(turned);
            }
            by[3] = by_seen.x * camera.origin.z;
            by[4] = by_seen.y * camera.origin.z;
            by[5] = by_seen.dot(&camera.origin);
            by[6] = by_x * x + by_y * y;
            by[CAMERA_NUMBERS] = by_angle;
            for (by, [out, about, up]) in by[CAMERA_NUMBERS + 1..].iter_mut().zip(&shaped) {
                *by = by_out * out + by_angle * about + by_up * up;
            }
            by[OF_FLANK] = off[axis] * share;
            by
        })
    }
}

fn turn(unknowns: &[f64]) -> Rotation3<f64> {
    Rotation3::new(Vector3::new(unknowns[0], unknowns[1], unknowns[2]))
}

/// The way from where something is seen to where it is placed, pixels.
pub(crate) fn away(placed: PhotoPoint, seen: PhotoPoint) -> Vector2<f64> {
    Vector2::new(placed.x - seen.x, placed.y - seen.y)
}

/// A distance in tolerances as it counts when it may be a mistake: as it is when small, growing
/// ever more slowly beyond [`MISTAKE`].
pub(crate) fn softened(off: f64) -> f64 {
    MISTAKE * (off / MISTAKE).powi(2).ln_1p().sqrt()
}

/// The sum of the squares of distances as [`softened`], from the distances' squares. The logarithm of
/// a product is taken once for all of them.
fn softened_squares(squares: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut product) = (0.0, 1.0);
    for square in squares {
        product *= 1.0 + square / (MISTAKE * MISTAKE);
        if product > 1e200 {
            sum += f64::ln(product);
            product = 1.0;
        }
    }
    MISTAKE * MISTAKE * (sum + product.ln())
}

/// By what an offset is multiplied to count as [`softened`], and how the result moves with it.
fn softening(off: Vector2<f64>) -> (f64, Matrix2<f64>) {
    let square = off.norm_squared();
    let share_square = square / (MISTAKE * MISTAKE);
    if share_square < 1e-8 {
        return (1.0, Matrix2::identity());
    }
    // Nothing is lost to `ln_1p` here, which takes longer.
    let share = ((1.0 + share_square).ln() / share_square).sqrt();
    // The derivative of `softened`.
    let grows = 1.0 / (share * (1.0 + share_square));
    let along = (grows - share) / square;
    let bend = Matrix2::identity() * share + off * off.transpose() * along;
    (share, bend)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::Hand;

    /// Places of two teeth, some of them far off, and unknowns near those that explain them.
    fn example(doubtful: bool) -> (Sights, Vec<f64>) {
        let look = Rotation3::new(Vector3::new(2.4, 0.3, -0.2)).into_inner();
        let mut sights = Sights {
            flanks: Vec::new(),
            doubtful,
            kind: FlankKind::facing(Hand::Left, 1.0),
            rotation: look,
            centre: PhotoPoint::new(800.0, 600.0),
            focal_log: (1200f64.ln(), 0.2),
            held: (vec![1.0, 0.5], 0.1),
        };
        let mut unknowns = vec![0.02, -0.03, 0.05, 0.1, -0.05, 2.3, 7.1, 0.05, 0.16];
        unknowns.extend((0..SHAPE_NUMBERS).map(|i| 0.3 - 0.1 * i as f64));
        let camera = sights.camera(&unknowns);
        let flank = Flank::new(&RingForm::USUAL, sights.kind);
        sights.flanks.extend((0..3).map(|step| SeenFlank {
            angle: [(0, 1.0), (1, f64::from(step))],
            sights: Vec::new(),
        }));
        for i in 0..40 {
            let at = FlankPoint::new(f64::from(i % 10) / 9.0, f64::from(i / 10) / 3.0);
            let step = f64::from(i % 3);
            let placed = camera.project(flank.point(0.05 + 0.15 * step, at));
            let off = if i % 7 == 0 { 60.0 } else { 2.0 };
            sights.flanks[i as usize % 3].sights.push(Sight {
                at,
                seen: PhotoPoint::new(placed.x + off, placed.y - 0.5 * off),
                tolerance: Matrix2::new(0.3, 0.05, -0.02, 0.2),
            });
        }
        (sights, unknowns)
    }

    #[test]
    fn the_slope_is_that_of_the_cost() {
        for doubtful in [false, true] {
            let (sights, unknowns) = example(doubtful);
            assert!(sights.cost(&unknowns).is_finite());
            let (_, slope) = sights.normal(&unknowns);
            for i in 0..unknowns.len() {
                let cost = |step: f64| {
                    let mut there = unknowns.clone();
                    there[i] += step;
                    sights.cost(&there)
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
    fn the_unknowns_behind_the_places_are_found() {
        let (mut sights, unknowns) = example(false);
        let camera = sights.camera(&unknowns);
        let flank = Flank::new(
            &RingForm::from_offsets(&sights.offsets(&unknowns)),
            sights.kind,
        );
        for i in 0..sights.flanks.len() {
            let angle = sights.angle(&sights.flanks[i], &unknowns);
            for sight in &mut sights.flanks[i].sights {
                sight.seen = camera.project(flank.point(angle, sight.at));
                sight.tolerance *= 100.0;
            }
        }
        sights.held.1 = 0.05 + 0.5 * 0.16;
        let mut start = unknowns.clone();
        for (i, value) in start.iter_mut().enumerate() {
            *value += 0.01 * (i as f64).sin();
        }
        let before = sights.cost(&start);
        let found = sights.explain(start, 40);
        assert!(
            found.cost < 2.0 && before > 1e3,
            "{before} → {}",
            found.cost
        );
    }
}
