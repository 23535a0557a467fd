//! Where the tip edge really lies: the line along which flank and top land meet is the sharpest
//! change of shade across the teeth, wherever the first fit put it.

use super::camera::Camera;
use super::gear_fit::GearFit;
use crate::frames::{FlankPoint, PhotoPoint};
use crate::photo::Photo;
use nalgebra::Vector3;

/// Heights of the first fit among which the edge is looked for, and the step.
const LOWEST: f64 = 0.5;
const STEP: f64 = 0.02;
const STEPS: usize = 35;

/// Places along the length, toe and heel left out.
const COLUMNS: usize = 40;

/// How far the first fit's edge may be off, heights. Judged on path-traced renders; no real photos
/// were to be had.
const USUAL_SPREAD: f64 = 0.12;

/// A rounded edge shines or is bare, and so changes the shade twice: back and forth within these
/// steps of height. Edge breaks of ring gears are up to a tenth of the depth wide (common practice,
/// no source).
const BREAK: (i32, i32) = (2, 7);

/// The lower side of a rounded edge changes the shade by at least this share of what the upper does.
const BREAK_SHARE: f64 = 0.45;

/// How far the edge goes from the first fit's towards the line that was found. On path-traced renders
/// the fit alone is better where edges are narrow and the line where they are broken wide, and a line
/// mistaken in one photo and not in the next makes heights jump; no real photos were to be had.
const TRUST: f64 = 0.65;

/// Heights of the first fit at which the tip edge lies, at the toe and at the heel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TipEdge {
    pub toe: f64,
    pub heel: f64,
}

impl TipEdge {
    /// The edge between the first fit's, at height 1, and a line from one height to another.
    fn towards(toe: f64, heel: f64) -> Self {
        let edge = |line: f64| 1.0 + TRUST * (line - 1.0);
        Self {
            toe: edge(toe),
            heel: edge(heel),
        }
    }

    /// The place in the first fit of a place on the flank as the edge bounds it.
    pub fn in_fit(self, at: FlankPoint) -> FlankPoint {
        let edge = self.toe + (self.heel - self.toe) * at.length;
        FlankPoint::new(at.length, at.height * edge)
    }
}

/// Looks for the edge on all teeth together: the straight line over length and height along which
/// the shade changes most, and if that is the upper side of a rounded edge, its lower side. The edge
/// is taken between that line and the first fit's.
pub(super) fn tip_edge(photo: &Photo, fit: &GearFit) -> TipEdge {
    let slopes = Slopes::new(photo, fit);
    let across = |edge: (usize, usize)| slopes.along(edge);
    let height = |step: usize| LOWEST + STEP * step as f64;
    let edge_of = |(toe, heel): (usize, usize)| TipEdge::towards(height(toe), height(heel));
    let all = || (0..STEPS).flat_map(|toe| (0..STEPS).map(move |heel| (toe, heel)));
    let score = |edge: (usize, usize)| {
        let change = total(&across(edge));
        let off = (height(edge.0) - 1.0).powi(2) + (height(edge.1) - 1.0).powi(2);
        change * (-0.25 * off / USUAL_SPREAD.powi(2)).exp()
    };
    let Some(best) = highest(all(), score).filter(|best| best.1 > 0.0) else {
        return TipEdge {
            toe: 1.0,
            heel: 1.0,
        };
    };
    let (upper, change) = (best.0, across(best.0));
    let most = total(&change);
    let below = |high: usize, low: usize| (BREAK.0..=BREAK.1).contains(&(high as i32 - low as i32));
    let lower = highest(
        all().filter(|edge| below(upper.0, edge.0) && below(upper.1, edge.1)),
        |edge| {
            let back = across(edge).into_iter().zip(&change);
            let back = back.map(|(here, there)| (-here * there.signum()).max(0.0));
            f64::from(back.sum::<f32>())
        },
    );
    match lower {
        Some((lower, back)) if back > BREAK_SHARE * most => edge_of(lower),
        _ => edge_of(upper),
    }
}

/// The edge with the highest value, and the value.
fn highest(
    edges: impl Iterator<Item = (usize, usize)>,
    value: impl Fn((usize, usize)) -> f64,
) -> Option<((usize, usize), f64)> {
    edges
        .map(|edge| (edge, value(edge)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
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
                        *change = change_over.clamp(-0.4, 0.4);
                    }
                }
            }
        }
        Self { channels, changes }
    }

    /// Change of shade of each channel of each tooth across a line from one height step at the toe to
    /// another at the heel, with its sign kept along the line: noise, streaks and short edges cancel.
    fn along(&self, (toe, heel): (usize, usize)) -> Vec<f32> {
        let mut sum = vec![0.0; self.channels];
        for (column, steps) in self.changes.chunks_exact(STEPS * self.channels).enumerate() {
            let share = (column as f64 + 0.5) / COLUMNS as f64;
            let at = toe as f64 + (heel as f64 - toe as f64) * share;
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
            log: std::array::from_fn(|value| (value as f32 + 8.0).ln()),
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
        let change = |toe, heel| total(&slopes.along((toe, heel)));
        assert!((change(22, 22) - 0.1 * COLUMNS as f64).abs() < 1e-4);
        assert!(change(10, 10) < 1e-4);
        assert!(change(15, 30) < change(22, 22));
    }

    #[test]
    fn the_edge_lies_nearly_two_thirds_of_the_way_to_the_line() {
        let edge = TipEdge::towards(0.8, 1.1);
        assert!((edge.toe - 0.87).abs() < 1e-12 && (edge.heel - 1.065).abs() < 1e-12);
    }

    #[test]
    fn the_edge_bounds_heights_and_leaves_lengths() {
        let edge = TipEdge {
            toe: 0.8,
            heel: 1.0,
        };
        let at = |height| edge.in_fit(FlankPoint::new(0.5, height));
        assert!((at(1.0).height - 0.9).abs() < 1e-12 && at(1.0).length == 0.5);
        assert!(at(0.0).height.abs() < 1e-12);
    }
}
