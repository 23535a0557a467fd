//! The change with the greatest chance that the next assembly is right.
//!
//! Right = both centres within the target's tolerance and mean backlash inside its window, less half
//! the variation round the gear. What the next assembly will show is a Gaussian in five numbers (two
//! centres, backlash): the contact model's slopes at the place aimed at carry the estimate's
//! covariance over. The chance is the share of a fixed set of draws that are right.

use super::estimate::Estimate;
use super::places::{Choice, Choices, MOST_MOVE_MM};
use super::unknowns::{COUNT, Observer, PINION, RING, SHOWN_BACKLASH, SHOWN_OF_A_FLANK};
use super::Noise;
use crate::frames::FlankPoint;
use nalgebra::{SMatrix, SVector};

/// Two centres and the backlash.
const WATCHED: [usize; 5] = [
    0,
    1,
    SHOWN_OF_A_FLANK,
    SHOWN_OF_A_FLANK + 1,
    SHOWN_BACKLASH,
];

type Watched = SVector<f64, 5>;

/// A change of one gear is preferred to a change of both when the chance suffers by no more.
const WORTH_A_SECOND_CHANGE: f64 = 0.015;

/// Draws the chance is counted over: its own scatter stays under 0.013.
const DRAWS: usize = 1500;

/// What makes an assembly right.
#[derive(Debug, Clone, Copy)]
pub struct Goal {
    /// Target centres, drive then coast.
    pub centres: [FlankPoint; 2],
    /// Both centres within this.
    pub tolerance: FlankPoint,
    /// Mean backlash inside this, millimetres.
    pub window_mm: [f64; 2],
}

impl Goal {
    fn middle(&self) -> Watched {
        let [drive, coast] = self.centres;
        Watched::new(
            drive.length,
            drive.height,
            coast.length,
            coast.height,
            0.5 * (self.window_mm[0] + self.window_mm[1]),
        )
    }

    fn reach(&self) -> Watched {
        let FlankPoint { length, height } = self.tolerance;
        let half = 0.5 * (self.window_mm[1] - self.window_mm[0]);
        Watched::new(length, height, length, height, half)
    }

    /// Whether a state is right.
    fn holds(&self, state: &Watched) -> bool {
        let (middle, reach) = (self.middle(), self.reach());
        (0..5).all(|i| (state[i] - middle[i]).abs() <= reach[i])
    }
}

/// What the next assembly will show at one place, and how sure that is.
#[derive(Debug, Clone)]
pub struct Outlook {
    /// Pinion and ring gear, millimetres from the first trial.
    at_mm: [f64; 2],
    mean: Watched,
    /// Change per millimetre of pinion and of ring gear.
    per_mm: [Watched; 2],
    covariance: SMatrix<f64, 5, 5>,
}

impl Outlook {
    /// Looks at a place.
    pub fn new(observer: &Observer, estimate: &Estimate, noise: &Noise, at_mm: [f64; 2]) -> Self {
        let (show, slopes) = observer.show_with_slopes(&estimate.unknowns, at_mm);
        let (pinion_mm, ring_mm) = observer.place_deviation_mm();
        let column = |unknown: usize, scale: f64| {
            Watched::from_iterator(WATCHED.iter().map(|&row| slopes[row][unknown] / scale))
        };
        let watched = SMatrix::<f64, 5, COUNT>::from_fn(|i, j| slopes[WATCHED[i]][j]);
        let mut covariance: SMatrix<f64, 5, 5> =
            watched * &estimate.covariance * watched.transpose();
        let model = [
            noise.model_length,
            noise.model_height,
            noise.model_length,
            noise.model_height,
            noise.model_backlash_mm,
        ];
        for (i, deviation) in model.iter().enumerate() {
            covariance[(i, i)] += deviation * deviation;
        }
        Self {
            at_mm,
            mean: Watched::from_iterator(WATCHED.iter().map(|&row| show[row])),
            per_mm: [column(PINION, pinion_mm), column(RING, ring_mm)],
            covariance,
        }
    }

    /// What is expected at a place nearby.
    fn mean_at(&self, at_mm: [f64; 2]) -> Watched {
        self.mean
            + self.per_mm[0] * (at_mm[0] - self.at_mm[0])
            + self.per_mm[1] * (at_mm[1] - self.at_mm[1])
    }

    /// Expected centres and backlash.
    pub fn expected(&self) -> ([FlankPoint; 2], f64) {
        let m = &self.mean;
        (
            [FlankPoint::new(m[0], m[1]), FlankPoint::new(m[2], m[3])],
            m[4],
        )
    }

    /// One standard uncertainty of the same.
    pub fn band(&self) -> ([FlankPoint; 2], f64) {
        let d = |i: usize| self.covariance[(i, i)].sqrt();
        (
            [FlankPoint::new(d(0), d(1)), FlankPoint::new(d(2), d(3))],
            d(4),
        )
    }

    /// Chance of being right here.
    pub fn chance(&self, goal: &Goal) -> f64 {
        let draws = self.draws();
        share_right(&draws, &self.mean, goal)
    }

    /// Deviations from the mean, as they scatter.
    fn draws(&self) -> Vec<Watched> {
        let root = self
            .covariance
            .cholesky()
            .map_or_else(SMatrix::zeros, |c| c.l());
        let mut normal = Normal::new();
        (0..DRAWS)
            .map(|_| root * Watched::from_fn(|_, _| normal.next()))
            .collect()
    }
}

fn share_right(draws: &[Watched], mean: &Watched, goal: &Goal) -> f64 {
    let right = draws.iter().filter(|d| goal.holds(&(*d + mean))).count();
    right as f64 / draws.len() as f64
}

/// The same standard normal numbers every time, so that two changes differ by what they do and the
/// same job gets the same advice.
struct Normal {
    state: u64,
    spare: Option<f64>,
}

impl Normal {
    fn new() -> Self {
        Self {
            state: 0x9e37_79b9_7f4a_7c15,
            spare: None,
        }
    }

    /// Uniform in (0, 1), by a 64-bit multiply-and-mix of a counter.
    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut x = self.state;
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        x ^= x >> 31;
        ((x >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Box and Muller's pair of normals from a pair of uniforms.
    fn next(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        let angle = std::f64::consts::TAU * self.uniform();
        self.spare = Some(radius * angle.sin());
        radius * angle.cos()
    }
}

/// What was chosen.
#[derive(Debug, Clone)]
pub struct Chosen {
    /// The pinion's change.
    pub pinion: Choice,
    /// The ring gear's change.
    pub ring: Choice,
    /// What it should show.
    pub outlook: Outlook,
    /// Its chance.
    pub chance: f64,
    /// The next best pair of changes, pinion and ring gear in millimetres, and its chance.
    pub runner_up: Option<([f64; 2], f64)>,
    /// Whether the ring gear was held though moving it too would have been a little better.
    pub second_change_spared: bool,
}

/// The change of greatest chance from where the gears stand (`now_mm`, from the first trial).
pub fn choose(
    observer: &Observer,
    estimate: &Estimate,
    noise: &Noise,
    goal: &Goal,
    choices: &Choices,
    now_mm: [f64; 2],
) -> Option<Chosen> {
    let outlook = aim(observer, estimate, noise, goal, now_mm);
    let draws = outlook.draws();
    let aimed_mm = [
        outlook.at_mm[0] - now_mm[0],
        outlook.at_mm[1] - now_mm[1],
    ];
    let pinions = near(&choices.pinion, aimed_mm[0]);
    let rings = near(&choices.ring, aimed_mm[1]);
    let (middle, reach) = (goal.middle(), goal.reach());
    let mut rated: Vec<(&Choice, &Choice, f64, f64)> = Vec::new();
    for &pinion in &pinions {
        for &ring in &rings {
            let at_mm = [now_mm[0] + pinion.move_mm, now_mm[1] + ring.move_mm];
            let mean = outlook.mean_at(at_mm);
            let chance = share_right(&draws, &mean, goal);
            // Where many changes are equally sure, or none has a chance, the nearer to the middle
            // of the tolerances is the better one.
            let off = (mean - middle).component_div(&reach).norm_squared();
            rated.push((pinion, ring, chance, chance - 0.002 * off));
        }
    }
    rated.sort_by(|a, b| b.3.total_cmp(&a.3));
    let best = *rated.first()?;
    let held = rated
        .iter()
        .find(|(pinion, ring, ..)| pinion.move_mm == 0.0 || ring.move_mm == 0.0)
        .filter(|r| r.3 >= best.3 - WORTH_A_SECOND_CHANGE);
    let taken = held.copied().unwrap_or(best);
    let runner_up = rated
        .iter()
        .find(|r| !(std::ptr::eq(r.0, taken.0) && std::ptr::eq(r.1, taken.1)))
        .map(|r| ([r.0.move_mm, r.1.move_mm], r.2));
    let at_mm = [
        now_mm[0] + taken.0.move_mm,
        now_mm[1] + taken.1.move_mm,
    ];
    let there = Outlook::new(observer, estimate, noise, at_mm);
    Some(Chosen {
        pinion: taken.0.clone(),
        ring: taken.1.clone(),
        chance: there.chance(goal),
        outlook: there,
        runner_up,
        second_change_spared: taken.0.move_mm != best.0.move_mm
            || taken.1.move_mm != best.1.move_mm,
    })
}

/// The changes that come near the one aimed at, and "as it is".
fn near(choices: &[Choice], aimed_mm: f64) -> Vec<&Choice> {
    /// Enough for steps of 0.001 in to ±0.1 mm.
    const KEPT: usize = 9;
    let mut sorted: Vec<&Choice> = choices.iter().collect();
    sorted.sort_by(|a, b| {
        (a.move_mm - aimed_mm)
            .abs()
            .total_cmp(&(b.move_mm - aimed_mm).abs())
    });
    sorted.truncate(KEPT);
    if !sorted.iter().any(|c| c.move_mm == 0.0) {
        sorted.extend(choices.iter().find(|c| c.move_mm == 0.0));
    }
    sorted
}

/// The place whose expected state is nearest to the middle of all tolerances, by a few weighted
/// Gauss–Newton steps from the estimated right place.
fn aim(
    observer: &Observer,
    estimate: &Estimate,
    noise: &Noise,
    goal: &Goal,
    now_mm: [f64; 2],
) -> Outlook {
    let (middle, reach) = (goal.middle(), goal.reach());
    let clamp = |at_mm: [f64; 2]| {
        [0, 1].map(|i| at_mm[i].clamp(now_mm[i] - MOST_MOVE_MM, now_mm[i] + MOST_MOVE_MM))
    };
    let mut at_mm = clamp([
        -observer.value(PINION, &estimate.unknowns),
        -observer.value(RING, &estimate.unknowns),
    ]);
    let mut outlook = Outlook::new(observer, estimate, noise, at_mm);
    for _ in 0..3 {
        // Each offset counts in units of the room it leaves for its own uncertainty.
        let weight = Watched::from_fn(|i, _| 1.0 / reach[i].hypot(outlook.covariance[(i, i)].sqrt()));
        let off = (outlook.mean - middle).component_mul(&weight);
        let [a, b] = outlook.per_mm.map(|slope| slope.component_mul(&weight));
        let (aa, ab, bb) = (a.dot(&a), a.dot(&b), b.dot(&b));
        let determinant = aa * bb - ab * ab;
        if determinant <= f64::EPSILON * aa * bb {
            break;
        }
        let (fa, fb) = (a.dot(&off), b.dot(&off));
        let step = [
            (bb * fa - ab * fb) / determinant,
            (aa * fb - ab * fa) / determinant,
        ];
        at_mm = clamp([at_mm[0] - step[0], at_mm[1] - step[1]]);
        outlook = Outlook::new(observer, estimate, noise, at_mm);
        if step[0].abs().max(step[1].abs()) < 0.002 {
            break;
        }
    }
    outlook
}
