//! Places of flanks seen in a photo, and how well a gear and a camera explain them: the sum of
//! squares that the fits lower, and its derivatives, worked out instead of tried.

use super::camera::Camera;
use super::gear_form::{Flank, FlankKind, RingForm, SHAPE_NUMBERS};
use super::least_squares::{Minimum, Normal, descend};
use crate::frames::{FlankPoint, PhotoPoint};
use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Rotation3, Vector2, Vector3};

/// Camera unknowns: turn (3), sideways shift over distance (2), log distance, log focal length.
pub(super) const CAMERA_NUMBERS: usize = 7;

/// A place farther off than this many tolerances is taken for a mistake.
const MISTAKE: f64 = 3.0;

/// Step of the difference quotients over the shape numbers.
const DIFFERENCE: f64 = 1e-6;

/// One place.
#[derive(Debug, Clone)]
pub(super) struct Sight {
    /// Where on its flank.
    pub at: FlankPoint,
    /// Where in the photo.
    pub seen: PhotoPoint,
    /// Distances in the photo → tolerances.
    pub tolerance: Matrix2<f64>,
    /// The tooth's angle, as parts of the unknown angles: which, and how often.
    pub angle: [(usize, f64); 2],
}

/// All places, and what is known before. The unknowns are those of the camera, the angles, and the
/// shape numbers.
#[derive(Debug)]
pub(super) struct Sights {
    /// The places.
    pub sights: Vec<Sight>,
    /// Whether some of them may be mistaken.
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
        descend(start, steps, |at| self.cost(at), |at| self.normal(at))
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

    fn angle(&self, sight: &Sight, unknowns: &[f64]) -> f64 {
        let parts = sight.angle.iter();
        parts
            .map(|&(which, times)| times * unknowns[CAMERA_NUMBERS + which])
            .sum()
    }

    /// Half the sum of the squares.
    fn cost(&self, unknowns: &[f64]) -> f64 {
        let offsets = self.offsets(unknowns);
        let camera = self.camera(unknowns);
        let flank = Flank::new(&RingForm::from_offsets(&offsets), self.kind);
        let mut square = self.prior(unknowns).map(|(_, off)| off * off).sum::<f64>();
        for sight in &self.sights {
            let placed = camera.project(flank.point(self.angle(sight, unknowns), sight.at));
            let off = (sight.tolerance * away(placed, sight.seen)).norm_squared();
            square += if self.doubtful {
                MISTAKE * MISTAKE * (off / (MISTAKE * MISTAKE)).ln_1p()
            } else {
                off
            };
        }
        0.5 * square
    }

    /// What is known without the places: factors of the unknowns, and how far off they are.
    fn prior(&self, unknowns: &[f64]) -> impl Iterator<Item = (Vec<(usize, f64)>, f64)> {
        let first = CAMERA_NUMBERS + self.angles();
        let shape = (first..first + SHAPE_NUMBERS).map(|i| (vec![(i, 1.0)], unknowns[i]));
        let (log, spread) = self.focal_log;
        let focal = (vec![(6, 1.0 / spread)], (unknowns[6] - log) / spread);
        let angles = (CAMERA_NUMBERS..).zip(self.held.0.iter().copied());
        let sum: f64 = angles.clone().map(|(i, times)| times * unknowns[i]).sum();
        let held = (angles.collect(), sum - self.held.1);
        shape.chain([focal, held])
    }

    /// The normal equations.
    fn normal(&self, unknowns: &[f64]) -> Normal {
        let count = unknowns.len();
        let (mut square, mut slope) = (DMatrix::zeros(count, count), DVector::zeros(count));
        let mut add = |factors: &[(usize, f64)], off: f64| {
            for &(i, a) in factors {
                slope[i] += a * off;
                for &(j, b) in factors {
                    square[(i, j)] += a * b;
                }
            }
        };
        for (factors, off) in self.prior(unknowns) {
            add(&factors, off);
        }
        let offsets = self.offsets(unknowns);
        let camera = self.camera(unknowns);
        let form = RingForm::from_offsets(&offsets);
        let flank = Flank::new(&form, self.kind);
        let shifted: [Flank; SHAPE_NUMBERS] = std::array::from_fn(|i| {
            let mut offsets = offsets;
            offsets[i] += DIFFERENCE;
            Flank::new(&RingForm::from_offsets(&offsets), self.kind)
        });
        let turned: [Matrix3<f64>; 3] = std::array::from_fn(|i| {
            let mut more = [unknowns[0], unknowns[1], unknowns[2]];
            more[i] += DIFFERENCE;
            (turn(&more).into_inner() * self.rotation - camera.rotation) / DIFFERENCE
        });
        let distance = camera.origin.z;
        for sight in &self.sights {
            let (radius, about, level) = flank.cylinder(sight.at);
            let theta = self.angle(sight, unknowns) + about;
            let (sine, cosine) = theta.sin_cos();
            let point = Vector3::new(radius * cosine, radius * sine, level);
            let seen = camera.rotation * point + camera.origin;
            let (x, y) = (seen.x / seen.z, seen.y / seen.z);
            let focal = camera.focal_px;
            let placed = PhotoPoint::new(camera.centre.x + focal * x, camera.centre.y + focal * y);
            let off = sight.tolerance * away(placed, sight.seen);
            let (share, bend) = if self.doubtful {
                softening(off)
            } else {
                (1.0, Matrix2::identity())
            };
            let off = off * share;
            let by_place = bend * sight.tolerance;
            let by_x = by_place.column(0) * (focal / seen.z);
            let by_y = by_place.column(1) * (focal / seen.z);
            let by_z = -(by_x * x + by_y * y);
            let by_seen = |step: Vector3<f64>| by_x * step.x + by_y * step.y + by_z * step.z;
            // Along the circle about the axis, and away from it.
            let round = camera.rotation * Vector3::new(-sine, cosine, 0.0);
            let out = camera.rotation * Vector3::new(cosine, sine, 0.0);
            let up = camera.rotation.column(2);
            let mut factors = [(0, Vector2::zeros()); CAMERA_NUMBERS + 2 + SHAPE_NUMBERS];
            for i in 0..3 {
                factors[i] = (i, by_seen(turned[i] * point));
            }
            factors[3] = (3, by_x * distance);
            factors[4] = (4, by_y * distance);
            factors[5] = (5, by_seen(camera.origin));
            factors[6] = (6, by_place * Vector2::new(focal * x, focal * y));
            let by_angle = by_seen(round * radius);
            for (factor, &(which, times)) in factors[CAMERA_NUMBERS..].iter_mut().zip(&sight.angle)
            {
                *factor = (CAMERA_NUMBERS + which, by_angle * times);
            }
            let first = CAMERA_NUMBERS + self.angles();
            for (i, shifted) in shifted.iter().enumerate() {
                let there = shifted.cylinder(sight.at);
                let step = out * (there.0 - radius)
                    + round * (radius * (there.1 - about))
                    + up * (there.2 - level);
                factors[CAMERA_NUMBERS + 2 + i] = (first + i, by_seen(step / DIFFERENCE));
            }
            for axis in 0..2 {
                add(&factors.map(|(i, by)| (i, by[axis])), off[axis]);
            }
        }
        (square, slope)
    }
}

fn turn(unknowns: &[f64]) -> Rotation3<f64> {
    Rotation3::new(Vector3::new(unknowns[0], unknowns[1], unknowns[2]))
}

fn away(placed: PhotoPoint, seen: PhotoPoint) -> Vector2<f64> {
    Vector2::new(placed.x - seen.x, placed.y - seen.y)
}

/// A distance in tolerances as it counts when it may be a mistake: as it is when small, growing
/// ever more slowly beyond [`MISTAKE`].
pub(super) fn softened(off: f64) -> f64 {
    MISTAKE * (off / MISTAKE).powi(2).ln_1p().sqrt()
}

/// By what an offset is multiplied to count as [`softened`], and how the result moves with it.
fn softening(off: Vector2<f64>) -> (f64, Matrix2<f64>) {
    let size = off.norm();
    if size < 1e-9 {
        return (1.0, Matrix2::identity());
    }
    let counts = softened(size);
    let share = counts / size;
    // The derivative of `softened`.
    let grows = size / (counts * (1.0 + (size / MISTAKE).powi(2)));
    let along = (grows - share) / (size * size);
    let bend = Matrix2::identity() * share + off * off.transpose() * along;
    (share, bend)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gear::set::Hand;

    /// Places of two teeth, some of them far off, and unknowns near those that explain them.
    fn example(doubtful: bool) -> (Sights, Vec<f64>) {
        let look = Rotation3::new(Vector3::new(2.4, 0.3, -0.2)).into_inner();
        let mut sights = Sights {
            sights: Vec::new(),
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
        for i in 0..40 {
            let at = FlankPoint::new(f64::from(i % 10) / 9.0, f64::from(i / 10) / 3.0);
            let angle = [(0, 1.0), (1, f64::from(i % 3))];
            let placed = camera.project(flank.point(0.05 + 0.15 * angle[1].1, at));
            let off = if i % 7 == 0 { 60.0 } else { 2.0 };
            sights.sights.push(Sight {
                at,
                seen: PhotoPoint::new(placed.x + off, placed.y - 0.5 * off),
                tolerance: Matrix2::new(0.3, 0.05, -0.02, 0.2),
                angle,
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
        for i in 0..sights.sights.len() {
            let angle = sights.angle(&sights.sights[i], &unknowns);
            sights.sights[i].seen = camera.project(flank.point(angle, sights.sights[i].at));
            sights.sights[i].tolerance *= 100.0;
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
