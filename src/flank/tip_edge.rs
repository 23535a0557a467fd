//! Where the tip edge really lies: the line along which flank and top land meet is the sharpest
//! change of shade across the teeth, wherever the first fit put it.

use super::calibration::CALIBRATION;
use super::pose::camera::Camera;
use super::pose::gear_fit::GearFit;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::photo::Photo;
use nalgebra::Vector3;

/// Heights of the first fit among which the edge is looked for, and the step.
const LOWEST: f64 = 0.5;
const STEP: f64 = 0.02;
const STEPS: usize = 35;

/// Places along the length, toe and heel left out.
const COLUMNS: usize = 40;

/// Heights of the first fit at which the tip edge lies, at the toe and at the heel, and the standard deviation
/// between them: how far the lines that look like it lie from each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TipEdge {
    pub toe: f64,
    pub heel: f64,
    pub doubt: f64,
}

impl TipEdge {
    /// The edge between the first fit's, at height 1, and the likely line.
    fn towards(line: Likely) -> Self {
        let share = CALIBRATION.tip_edge.share_of_way;
        let edge = |line: f64| 1.0 + share * (line - 1.0);
        Self {
            toe: edge(line.toe),
            heel: edge(line.heel),
            doubt: share * line.variance.sqrt(),
        }
    }

    /// The same edge over other lengths: `seen` says which length of this one each of them is.
    pub(crate) fn over(self, seen: impl Fn(f64) -> f64) -> Self {
        let at = |length: f64| self.toe + (self.heel - self.toe) * seen(length);
        Self {
            toe: at(0.0),
            heel: at(1.0),
            ..self
        }
    }

    /// The place in the first fit of a place on the flank as the edge bounds it.
    pub(crate) fn in_fit(self, at: FlankPoint) -> FlankPoint {
        let edge = self.toe + (self.heel - self.toe) * at.length;
        FlankPoint::new(at.length, at.height * edge)
    }
}

/// Looks for the edge on all teeth together: the straight line over length and height along which
/// the shade changes most, and if that is the upper side of a rounded edge, its lower side. The edge
/// is taken between that line and the first fit's.
pub(crate) fn tip_edge(photo: &Photo, fit: &GearFit) -> TipEdge {
    let slopes = Slopes::new(photo, fit);
    let edges = &CALIBRATION.tip_edge;
    let all = || (0..STEPS).flat_map(|toe| (0..STEPS).map(move |heel| Line { toe, heel }));
    let upper = Likely::of(all().map(|line| {
        let off = (height(line.toe) - 1.0).powi(2) + (height(line.heel) - 1.0).powi(2);
        let near = (-0.25 * off / edges.fit_spread.powi(2)).exp();
        (line, total(&slopes.along(line)) * near)
    }));
    let Some(upper) = upper else {
        return TipEdge {
            toe: 1.0,
            heel: 1.0,
            doubt: 0.0,
        };
    };
    let change = slopes.along(upper.best);
    let within = |high: usize, low: usize| edges.break_steps.contains(&(high as i32 - low as i32));
    let below =
        |line: &Line| within(upper.best.toe, line.toe) && within(upper.best.heel, line.heel);
    let lower = Likely::of(all().filter(below).map(|line| {
        let back = slopes.along(line).into_iter().zip(&change);
        let back = back.map(|(here, there)| (-here * there.signum()).max(0.0));
        (line, f64::from(back.sum::<f32>()))
    }));
    TipEdge::towards(match lower {
        Some(lower) => {
            let beyond = lower.value / total(&change) - edges.lower_side_share;
            upper.mixed(lower, 1.0 / (1.0 + (-beyond / edges.lower_side_step).exp()))
        }
        None => upper,
    })
}

/// A height step in heights of the first fit.
fn height(step: usize) -> f64 {
    LOWEST + STEP * step as f64
}

/// A straight line from one height step at the toe to another at the heel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Line {
    toe: usize,
    heel: usize,
}

/// Where a line lies that several may be: the mean of all, by their likeness to the best.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Likely {
    /// Mean heights.
    toe: f64,
    heel: f64,
    /// Of the height in the middle of the length.
    variance: f64,
    /// The best of them and its value.
    best: Line,
    value: f64,
}

impl Likely {
    /// Of lines with their values; `None` where none has one above zero.
    fn of(lines: impl Iterator<Item = (Line, f64)>) -> Option<Self> {
        let lines: Vec<_> = lines.collect();
        let (best, value) = lines.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1))?;
        if value <= 0.0 {
            return None;
        }
        let mean = |power: f64, of: &dyn Fn(Line) -> f64| {
            let (sum, all) = lines.iter().fold((0.0, 0.0), |(sum, all), &(line, one)| {
                let weight = (one / value).powf(power);
                (sum + weight * of(line), all + weight)
            });
            sum / all
        };
        let powers = &CALIBRATION.tip_edge;
        let toe = mean(powers.place_power, &|line| height(line.toe));
        let heel = mean(powers.place_power, &|line| height(line.heel));
        let off = |line: Line| (height(line.toe) + height(line.heel) - toe - heel) / 2.0;
        let variance = mean(powers.doubt_power, &|line| off(line).powi(2));
        Some(Self {
            toe,
            heel,
            variance,
            best,
            value,
        })
    }

    /// Where the line lies if it is the other one with some probability. The other was looked for from this one's
    /// best, and so is in doubt as well wherever this one is.
    fn mixed(self, other: Self, probability: f64) -> Self {
        let mean = |own: f64, others: f64| own + probability * (others - own);
        let apart = (other.toe + other.heel - self.toe - self.heel) / 2.0;
        Self {
            toe: mean(self.toe, other.toe),
            heel: mean(self.heel, other.heel),
            variance: self.variance
                + probability * other.variance
                + probability * (1.0 - probability) * apart.powi(2),
            ..self
        }
    }
}

/// All changes together, whatever their sign.
fn total(changes: &[f32]) -> f64 {
    f64::from(changes.iter().map(|change| change.abs()).sum::<f32>())
}

/// Change of shade from the height step before to the one after on all teeth, held to what a plain edge has.
struct Slopes {
    /// Channels of all teeth, side by side.
    channels: usize,
    /// So many numbers for each height step, and all height steps for each column; nothing where a
    /// column is outside the photo.
    changes: Vec<f32>,
}

impl Slopes {
    fn new(photo: &Photo, fit: &GearFit) -> Self {
        let channels = 3 * fit.angles.len();
        let most = CALIBRATION.tip_edge.most_change;
        let mut changes = vec![0.0; COLUMNS * STEPS * channels];
        let flank = fit.flank();
        let shade = Shades::new(photo);
        let cameras: Vec<Camera> = fit
            .angles
            .iter()
            .map(|&angle| fit.camera.before_turned(angle))
            .collect();
        for (column, changes) in changes.chunks_exact_mut(STEPS * channels).enumerate() {
            let length = (column as f64 + 0.5) / COLUMNS as f64;
            let solid: [Vector3<f64>; STEPS + 2] = std::array::from_fn(|i| {
                let height = LOWEST + STEP * (i as f64 - 1.0);
                flank.point(0.0, FlankPoint::new(length, height))
            });
            for (tooth, camera) in cameras.iter().enumerate() {
                let shades = solid.iter().map(|&point| shade.at(camera.project(point)));
                let Some(shades) = shades.collect::<Option<Vec<[f32; 3]>>>() else {
                    continue;
                };
                for (step, changes) in changes.chunks_exact_mut(channels).enumerate() {
                    for (channel, change) in changes[3 * tooth..][..3].iter_mut().enumerate() {
                        let change_over = shades[step + 2][channel] - shades[step][channel];
                        *change = change_over.clamp(-most, most);
                    }
                }
            }
        }
        Self { channels, changes }
    }

    /// Change of shade of each channel of each tooth across a line from one height step at the toe to
    /// another at the heel, with its sign kept along the line: noise, streaks and short edges cancel.
    fn along(&self, line: Line) -> Vec<f32> {
        let mut sum = vec![0.0; self.channels];
        for (column, steps) in self.changes.chunks_exact(STEPS * self.channels).enumerate() {
            let share = (column as f64 + 0.5) / COLUMNS as f64;
            let at = line.toe as f64 + (line.heel as f64 - line.toe as f64) * share;
            let step = (at + 0.5) as usize;
            let changes = &steps[step * self.channels..][..self.channels];
            for (total, change) in sum.iter_mut().zip(changes) {
                *total += change;
            }
        }
        sum
    }
}

/// Shades of a photo.
struct Shades<'a> {
    photo: &'a Photo,
    /// The logarithm of each value a channel can have, so that an edge counts alike in light and shade.
    log: [f32; 256],
}

impl<'a> Shades<'a> {
    fn new(photo: &'a Photo) -> Self {
        Self {
            photo,
            log: std::array::from_fn(|value| {
                (value as f32 + CALIBRATION.tip_edge.level_offset).ln()
            }),
        }
    }

    /// The shade of each channel between the four pixels about a point; `None` outside the photo.
    fn at(&self, point: PhotoPoint) -> Option<[f32; 3]> {
        let Self { photo, log } = self;
        let (x, y) = (point.x * photo.scale - 0.5, point.y * photo.scale - 0.5);
        if !(x >= 0.0 && y >= 0.0) {
            return None;
        }
        let (left, top) = (x as u32, y as u32);
        if left + 1 >= photo.working.width() || top + 1 >= photo.working.height() {
            return None;
        }
        let (fx, fy) = ((x - f64::from(left)) as f32, (y - f64::from(top)) as f32);
        let pixel = |dx: u32, dy: u32| photo.working.get_pixel(left + dx, top + dy).0;
        let corners = [pixel(0, 0), pixel(1, 0), pixel(0, 1), pixel(1, 1)];
        Some([0, 1, 2].map(|c| {
            let [a, b, below_a, below_b] = corners.map(|pixel| log[usize::from(pixel[c])]);
            let upper = a * (1.0 - fx) + b * fx;
            let lower = below_a * (1.0 - fx) + below_b * fx;
            upper * (1.0 - fy) + lower * fy
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edge_along_the_line_counts_and_streaks_cancel() {
        let mut slopes = Slopes {
            channels: 1,
            changes: vec![0.0; STEPS * COLUMNS],
        };
        for (column, changes) in slopes.changes.chunks_exact_mut(STEPS).enumerate() {
            changes[22] = 0.1;
            changes[10] = if column % 2 == 0 { 0.4 } else { -0.4 };
        }
        let change = |toe, heel| total(&slopes.along(Line { toe, heel }));
        assert!((change(22, 22) - 0.1 * COLUMNS as f64).abs() < 1e-4);
        assert!(change(10, 10) < 1e-4);
        assert!(change(15, 30) < change(22, 22));
    }

    fn likely(toe: f64, heel: f64, variance: f64) -> Likely {
        Likely {
            toe,
            heel,
            variance,
            best: Line { toe: 0, heel: 0 },
            value: 1.0,
        }
    }

    #[test]
    fn the_edge_lies_nearly_two_thirds_of_the_way_to_the_line() {
        let edge = TipEdge::towards(likely(0.8, 1.1, 0.01));
        assert!((edge.toe - 0.87).abs() < 1e-12 && (edge.heel - 1.065).abs() < 1e-12);
        assert!((edge.doubt - 0.065).abs() < 1e-12);
    }

    #[test]
    fn lines_as_good_as_the_best_share_the_place_and_widen_the_doubt() {
        let line = |step| Line {
            toe: step,
            heel: step,
        };
        let alone = Likely::of([(line(20), 1.0), (line(30), 0.01)].into_iter()).unwrap();
        assert!((alone.toe - height(20)).abs() < 1e-6 && alone.variance < 1e-6);
        // One that is half as good hardly moves the place, but might be it.
        let doubted = Likely::of([(line(20), 1.0), (line(30), 0.5)].into_iter()).unwrap();
        assert!((doubted.toe - height(20)).abs() < 0.1 * STEP);
        assert!(doubted.variance.sqrt() > 3.0 * STEP, "{doubted:?}");
        let both = Likely::of([(line(20), 1.0), (line(30), 1.0)].into_iter()).unwrap();
        assert!((both.toe - height(25)).abs() < 1e-9);
        // Two places of equal weight, ten steps apart.
        assert!((both.variance - (5.0 * STEP).powi(2)).abs() < 1e-9);
        assert!(Likely::of([(line(20), 0.0)].into_iter()).is_none());
    }

    #[test]
    fn of_two_lines_the_place_goes_from_one_to_the_other_and_between_them_is_most_in_doubt() {
        let (upper, lower) = (likely(1.0, 1.0, 0.0), likely(0.9, 0.8, 0.0));
        let half = upper.mixed(lower, 0.5);
        assert!((half.toe - 0.95).abs() < 1e-12 && (half.heel - 0.9).abs() < 1e-12);
        assert!((half.variance - 0.075f64.powi(2)).abs() < 1e-12);
        assert!(upper.mixed(lower, 1.0).variance < 1e-12);
        assert!(upper.mixed(lower, 0.0).variance < 1e-12);
    }

    #[test]
    fn the_edge_bounds_heights_and_leaves_lengths() {
        let edge = TipEdge {
            toe: 0.8,
            heel: 1.0,
            doubt: 0.0,
        };
        let at = |height| edge.in_fit(FlankPoint::new(0.5, height));
        assert!((at(1.0).height - 0.9).abs() < 1e-12 && at(1.0).length == 0.5);
        assert!(at(0.0).height.abs() < 1e-12);
    }
}
