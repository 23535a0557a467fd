//! One flank set up for meshing: where each point touches its conjugate, and along which lines.

mod sliding;
mod table;

use super::patch::{self, Field};
use super::{ContactError, EaseOff, FlankContact, undercut};
use crate::frames::{FlankPoint, Side};
use crate::gear::dimensions::Dimensions;
use crate::gear::flank::FlankGrid;
use crate::gear::pitch::PitchPair;
use nalgebra::{Rotation3, Vector3};
use sliding::Sliding;
use std::f64::consts::TAU;
pub(crate) use table::FlankTable;

/// Mesh positions looked at in one pitch. The lag between two of them is taken as straight; at 32 a
/// pitch that costs a thousandth of the lag's own rise within the pitch.
pub(super) const STEPS_PER_PITCH: usize = 32;

/// What is needed of a flank point to get its gap under any displacement of the pinion.
#[derive(Debug, Clone, Copy)]
pub(super) struct Touch {
    length: f64,
    height: f64,
    /// Normal in space at the mesh position of the point.
    normal: Vector3<f64>,
    /// Moment of the normal about the crossing point of the pinion's axis, mm.
    moment: Vector3<f64>,
    /// Lever arm of the normal about the pinion's axis, mm.
    pub(super) lever: f64,
    /// How far the pinion's flank travels along this one's length.
    along: Travel,
    /// How far it travels up this one's height.
    up: Travel,
}

/// How far, in shares of the flank, the pinion's flank and the ease-off that is cut into it travel over a point of the
/// ring gear's flank when the pinion is displaced. It is linear in the displacement.
#[derive(Debug, Clone, Copy)]
struct Travel {
    by_shift: Vector3<f64>,
    by_turn: Vector3<f64>,
}

impl Travel {
    #[inline]
    fn of(&self, shift: &Vector3<f64>, turn: &Vector3<f64>) -> f64 {
        self.by_shift.dot(shift) + self.by_turn.dot(turn)
    }

    fn between(&self, other: &Self, t: f64) -> Self {
        Self {
            by_shift: self.by_shift.lerp(&other.by_shift, t),
            by_turn: self.by_turn.lerp(&other.by_turn, t),
        }
    }
}

impl Touch {
    /// The touch of a point of the ring gear's flank at its mesh position. `gradients` say how fast length and height
    /// change when it moves.
    pub(super) fn at(
        position: &Vector3<f64>,
        normal: Vector3<f64>,
        [length, height]: [f64; 2],
        gradients: [Vector3<f64>; 2],
        pair: &PitchPair,
    ) -> Self {
        let arm = position - pair.crossing_point;
        let moment = arm.cross(&normal);
        let sliding = Sliding::at(position, &normal, &arm, pair);
        let [along, up] = gradients.map(|gradient| sliding.travel(&gradient));
        Self {
            length,
            height,
            normal,
            moment,
            lever: pair.pinion_axis.dot(&moment).abs(),
            along,
            up,
        }
    }

    /// The place of the ease-off that faces this point under a displacement.
    #[inline]
    pub(super) fn faces(&self, shift: &Vector3<f64>, turn: &Vector3<f64>) -> FlankPoint {
        FlankPoint::new(
            self.length - self.along.of(shift, turn),
            self.height - self.up.of(shift, turn),
        )
    }

    /// What the displacement by itself adds to the gap, mm.
    #[inline]
    pub(super) fn opens(&self, shift: &Vector3<f64>, turn: &Vector3<f64>) -> f64 {
        self.normal.dot(shift) + self.moment.dot(turn)
    }

    #[inline]
    fn gap(&self, ease_off: &EaseOff, shift: &Vector3<f64>, turn: &Vector3<f64>) -> f64 {
        let faced = self.faces(shift, turn);
        ease_off.at(faced.length, faced.height) + self.opens(shift, turn)
    }

    fn between(&self, other: &Self, t: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * t;
        Self {
            length: mix(self.length, other.length),
            height: mix(self.height, other.height),
            normal: self.normal.lerp(&other.normal, t),
            moment: self.moment.lerp(&other.moment, t),
            lever: mix(self.lever, other.lever),
            along: self.along.between(&other.along, t),
            up: self.up.between(&other.up, t),
        }
    }
}

/// One sampled contact line: the points of the flank that touch at one mesh position.
#[derive(Debug, Clone)]
struct ContactLine {
    /// Which of the steps of a pitch the mesh position is, counted over whole pitches.
    step: usize,
    /// The points in order along the line, with how far along each one is.
    points: Vec<(f64, Touch)>,
}

/// A flank with everything that does not depend on the state of assembly.
#[derive(Debug, Clone)]
pub(super) struct FlankMesh {
    nu: usize,
    nv: usize,
    nodes: Vec<Touch>,
    /// Mesh position of each node in steps of a pitch: whole part modulo the pitch, and the rest;
    /// `None` for a corner that no pinion can touch.
    position: Vec<Option<(usize, f64)>>,
    lines: Vec<ContactLine>,
    /// Length of the flank along the tooth and its height along the profile, mm.
    pub(super) size_mm: [f64; 2],
    /// z_2 / z_1.
    ratio: f64,
    /// The flank's centre, for first-order backlash.
    centre: Touch,
}

impl FlankMesh {
    pub(super) fn new(
        grid: &FlankGrid,
        pair: &PitchPair,
        dimensions: &Dimensions,
        side: Side,
    ) -> Result<Self, ContactError> {
        let (nu, nv) = (grid.nu, grid.nv);
        let middle = (nv / 2) * nu + nu / 2;
        let branch = Branch::through(pair, grid);
        let angles: Vec<f64> = grid
            .points
            .iter()
            .map(|p| conjugate_angle(pair, &p.position, &p.normal, branch).unwrap_or(f64::NAN))
            .collect();
        refuse_gaps(grid, pair, &angles, side)?;
        let nodes: Vec<Touch> = (0..nu * nv)
            .map(|k| {
                let p = &grid.points[k];
                let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), angles[k]);
                let (position, normal) = (turn * p.position, turn * p.normal);
                let length = (k % nu) as f64 / (nu - 1) as f64;
                let height = (k / nu) as f64 / (nv - 1) as f64;
                let gradients = dimensions
                    .place_gradients(pair.ring_angle, &p.position, height)
                    .map(|gradient| turn * gradient);
                Touch::at(&position, normal, [length, height], gradients, pair)
            })
            .collect();
        let pitch = TAU / f64::from(dimensions.ring_teeth);
        let steps: Vec<f64> = angles
            .iter()
            .map(|a| a / pitch * STEPS_PER_PITCH as f64)
            .collect();
        let (low, high) = steps
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &s| {
                (l.min(s), h.max(s))
            });
        let lines: Vec<ContactLine> = (low.ceil() as i64..=high.floor() as i64)
            .filter_map(|step| contact_line(&nodes, &steps, nu, nv, step))
            .collect();
        let mut met = [false; STEPS_PER_PITCH];
        for line in &lines {
            met[line.step] = true;
        }
        if met.contains(&false) {
            return Err(ContactError::ContactRatio {
                side: side.word(),
                ratio: (high - low) / STEPS_PER_PITCH as f64,
                advice: String::new(),
            });
        }
        let position = steps
            .iter()
            .map(|s| {
                let whole = s.floor();
                s.is_finite().then_some((
                    (whole as i64).rem_euclid(STEPS_PER_PITCH as i64) as usize,
                    s - whole,
                ))
            })
            .collect();
        Ok(Self {
            nu,
            nv,
            centre: nodes[middle],
            nodes,
            position,
            lines,
            size_mm: [grid.length_mm(), grid.height_mm()],
            ratio: pair.ratio,
        })
    }

    /// Angle of the ring gear that a displacement frees at the flank's centre, to first order.
    pub(super) fn lag_at_centre(&self, shift: &Vector3<f64>) -> f64 {
        self.centre.normal.dot(shift) / self.centre.lever / self.ratio
    }

    /// The contact under an ease-off, a displacement of the pinion and a film (mm).
    pub(super) fn contact(
        &self,
        ease_off: &EaseOff,
        shift: &Vector3<f64>,
        turn: &Vector3<f64>,
        film_mm: f64,
    ) -> FlankContact {
        let mut lag = [f64::INFINITY; STEPS_PER_PITCH];
        let mut along = Vec::with_capacity(self.nu + self.nv);
        for line in &self.lines {
            along.clear();
            along.extend(
                line.points
                    .iter()
                    .map(|(s, p)| (*s, p.gap(ease_off, shift, turn) / p.lever)),
            );
            lag[line.step] = lag[line.step].min(least(&along));
        }
        let clearance = |k: usize| {
            let node = &self.nodes[k];
            let Some((step, rest)) = self.position[k] else {
                return f64::INFINITY;
            };
            let here = lag[step] + (lag[(step + 1) % STEPS_PER_PITCH] - lag[step]) * rest;
            node.gap(ease_off, shift, turn) - node.lever * here
        };
        let left: Vec<f64> = (0..self.nodes.len()).map(clearance).collect();
        let field = Field::new(self.nu, self.nv, &left, film_mm);
        let patch = patch::measure(&field, &left, film_mm, self.size_mm);
        let transmission_error: Vec<f64> = lag.iter().map(|t| t / self.ratio).collect();
        let least_lag = transmission_error
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        FlankContact {
            patch,
            field,
            clearance_mm: left,
            transmission_error,
            least_lag,
        }
    }
}

/// Share of a flank, at a corner, that no pinion need touch: usual sets with few pinion teeth lose
/// the concave flank's toe at the tip, and contact is kept away from there anyway.
const LOST_CORNER: f64 = 0.10;
/// Share of a flank that may lie beyond the pinion's undercut before the set is refused.
const UNDERCUT_CORNER: f64 = 0.25;

fn refuse_gaps(
    grid: &FlankGrid,
    pair: &PitchPair,
    angles: &[f64],
    side: Side,
) -> Result<(), ContactError> {
    let all = angles.len() as f64;
    let missing = angles.iter().filter(|a| a.is_nan()).count() as f64 / all;
    if missing > LOST_CORNER {
        return Err(ContactError::NoConjugate {
            side: side.word(),
            share: 100.0 * missing,
            advice: String::new(),
        });
    }
    let undercut = undercut::count(grid, pair, angles) as f64 / all;
    if undercut > UNDERCUT_CORNER {
        return Err(ContactError::Undercut {
            side: side.word(),
            share: 100.0 * undercut,
            advice: String::new(),
        });
    }
    Ok(())
}

/// Which of the two solutions of the meshing equation is the tooth's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Branch {
    Plus,
    Minus,
}

impl Branch {
    /// The branch on which the point nearest to the mean point touches without a turn.
    fn through(pair: &PitchPair, grid: &FlankGrid) -> Self {
        let nearest = grid
            .points
            .iter()
            .min_by(|a, b| {
                let d = |p: &Vector3<f64>| (p - pair.mean_point).norm_squared();
                d(&a.position).total_cmp(&d(&b.position))
            })
            .expect("a grid has points");
        let angle = |branch| {
            conjugate_angle(pair, &nearest.position, &nearest.normal, branch)
                .map_or(f64::INFINITY, f64::abs)
        };
        if angle(Self::Plus) <= angle(Self::Minus) {
            Self::Plus
        } else {
            Self::Minus
        }
    }
}

/// Ring-gear rotation at which a flank point touches its conjugate: the root of `n · v12 = 0`.
///
/// Position and normal only turn about z with the rotation φ, so the equation is
/// `A cos φ + B sin φ + C = 0`. `None` when it has no root.
pub(super) fn conjugate_angle(
    pair: &PitchPair,
    position: &Vector3<f64>,
    normal: &Vector3<f64>,
    branch: Branch,
) -> Option<f64> {
    let moment = position.cross(normal);
    let axis = &pair.pinion_axis;
    let arm = axis.cross(&pair.pinion_point);
    // a1 · ((r − O1) × n) = a1 · (r × n) − n · (a1 × O1); the z parts do not turn.
    let cos_part =
        pair.ratio * (axis.x * moment.x + axis.y * moment.y - arm.x * normal.x - arm.y * normal.y);
    let sin_part =
        pair.ratio * (axis.y * moment.x - axis.x * moment.y - arm.y * normal.x + arm.x * normal.y);
    let constant = moment.z + pair.ratio * (axis.z * moment.z - arm.z * normal.z);
    let size = cos_part.hypot(sin_part);
    if constant.abs() > size {
        return None;
    }
    let middle = sin_part.atan2(cos_part);
    let half = (-constant / size).acos();
    let angle = match branch {
        Branch::Plus => middle + half,
        Branch::Minus => middle - half,
    };
    Some((angle + TAU / 2.0).rem_euclid(TAU) - TAU / 2.0)
}

/// The points where the contact line of a mesh position crosses the lines of the grid.
fn contact_line(
    nodes: &[Touch],
    steps: &[f64],
    nu: usize,
    nv: usize,
    step: i64,
) -> Option<ContactLine> {
    let level = step as f64;
    let mut found = Vec::new();
    let mut look = |a: usize, b: usize| {
        let (da, db) = (steps[a] - level, steps[b] - level);
        if da.is_finite() && db.is_finite() && (da < 0.0) != (db < 0.0) {
            found.push(nodes[a].between(&nodes[b], da / (da - db)));
        }
    };
    for j in 0..nv {
        for i in 0..nu {
            let k = j * nu + i;
            if i + 1 < nu {
                look(k, k + 1);
            }
            if j + 1 < nv {
                look(k, k + nu);
            }
        }
    }
    if found.is_empty() {
        return None;
    }
    let n = found.len() as f64;
    let mean = |f: &dyn Fn(&Touch) -> f64| found.iter().map(f).sum::<f64>() / n;
    let (u0, v0) = (mean(&|p| p.length), mean(&|p| p.height));
    let uu = mean(&|p| (p.length - u0).powi(2));
    let vv = mean(&|p| (p.height - v0).powi(2));
    let uv = mean(&|p| (p.length - u0) * (p.height - v0));
    let (sin, cos) = (0.5 * (2.0 * uv).atan2(uu - vv)).sin_cos();
    let mut points: Vec<(f64, Touch)> = found
        .into_iter()
        .map(|p| ((p.length - u0) * cos + (p.height - v0) * sin, p))
        .collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    Some(ContactLine {
        step: step.rem_euclid(STEPS_PER_PITCH as i64) as usize,
        points,
    })
}

/// Least value along a sampled line, by the parabola through the lowest sample and its neighbours,
/// so that it is smooth in whatever the samples depend on.
fn least(samples: &[(f64, f64)]) -> f64 {
    let Some((at, &(_, lowest))) = samples
        .iter()
        .enumerate()
        .min_by(|a, b| a.1.1.total_cmp(&b.1.1))
    else {
        return f64::INFINITY;
    };
    if at == 0 || at + 1 == samples.len() {
        return lowest;
    }
    // A line may cross two grid lines almost at once; a parabola wants points well apart.
    let apart = (samples[samples.len() - 1].0 - samples[0].0) * 1.5 / samples.len() as f64;
    let here = samples[at].0;
    let before = samples[..at].iter().rev().find(|s| here - s.0 > apart);
    let after = samples[at + 1..].iter().find(|s| s.0 - here > apart);
    let (Some(&(s0, y0)), Some(&(s2, y2))) = (before, after) else {
        return lowest;
    };
    let (d0, d2) = (s0 - here, s2 - here);
    let (e0, e2) = ((y0 - lowest) / d0, (y2 - lowest) / d2);
    let second = (e2 - e0) / (d2 - d0);
    let first = e0 - second * d0;
    if second <= 0.0 {
        return lowest;
    }
    lowest - first * first / (4.0 * second)
}
