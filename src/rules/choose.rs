//! The change with the greatest chance that the next assembly is right.
//!
//! Right = both centres within the target's tolerance and mean backlash inside its window, less half
//! the variation round the gear. The chance of a change is the weight of all sets the bench's could be
//! that would be right after it, each blurred by the contact model's own error.

use super::Noise;
use super::estimate::Estimate;
use super::places::{Choice, Choices, MOST_MOVE_MM};
use super::posterior::Draw;
use super::unknowns::{Observer, PINION, RING, SHOWN_BACKLASH, SHOWN_OF_A_FLANK, Show};
use crate::frames::FlankPoint;
use nalgebra::SVector;

/// Two centres and the backlash.
const WATCHED: [usize; 5] = [0, 1, SHOWN_OF_A_FLANK, SHOWN_OF_A_FLANK + 1, SHOWN_BACKLASH];

type Watched = SVector<f64, 5>;

/// A change of one gear is preferred to a change of both when the chance suffers by no more.
const WORTH_A_SECOND_CHANGE: f64 = 0.005;

/// Chance that a change may give up for every shim less in its packs: each surface between two shims
/// is one more place for dirt and for settling.
const WORTH_A_PIECE: f64 = 0.001;

/// A chance is never printed higher: no model of an axle is that good.
const SUREST: f64 = 0.99;

/// A runner-up differs from what was chosen by more than this in one gear, millimetres.
const ANOTHER_CHANGE_MM: f64 = 0.03;

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
}

/// What the next assembly will show at one place, by every set that the bench's could be.
#[derive(Debug, Clone)]
pub struct Outlook {
    /// Pinion and ring gear, millimetres from the first trial.
    at_mm: [f64; 2],
    /// Each set's weight, what it shows, and its change per millimetre of pinion and of ring gear.
    sets: Vec<(f64, Watched, [Watched; 2])>,
    /// The contact model's own error.
    model: Watched,
}

fn watched(show: &Show) -> Watched {
    Watched::from_fn(|i, _| show[WATCHED[i]])
}

fn model_error(noise: &Noise) -> Watched {
    let Noise {
        model_length,
        model_height,
        model_backlash_mm,
        ..
    } = *noise;
    Watched::new(
        model_length,
        model_height,
        model_length,
        model_height,
        model_backlash_mm,
    )
}

impl Outlook {
    /// The last trial's place.
    pub fn now(draws: &[Draw], noise: &Noise, at_mm: [f64; 2]) -> Self {
        let sets = draws
            .iter()
            .map(|d| (d.weight, watched(&d.now), [Watched::zeros(); 2]))
            .collect();
        Self {
            at_mm,
            sets,
            model: model_error(noise),
        }
    }

    /// What is expected at a place nearby.
    fn at(&self, at_mm: [f64; 2]) -> impl Iterator<Item = (f64, Watched)> + '_ {
        let [dp, dr] = [at_mm[0] - self.at_mm[0], at_mm[1] - self.at_mm[1]];
        self.sets
            .iter()
            .map(move |(weight, show, [pinion, ring])| (*weight, show + pinion * dp + ring * dr))
    }

    fn mean_at(&self, at_mm: [f64; 2]) -> Watched {
        self.at(at_mm)
            .fold(Watched::zeros(), |sum, (weight, show)| sum + show * weight)
    }

    /// Chance of being right at a place nearby.
    fn chance_at(&self, at_mm: [f64; 2], goal: &Goal) -> f64 {
        let (middle, reach) = (goal.middle(), goal.reach());
        self.at(at_mm)
            .map(|(weight, show)| {
                let inside: f64 = (0..5)
                    .map(|i| {
                        let off = show[i] - middle[i];
                        normal_below((reach[i] - off) / self.model[i])
                            - normal_below((-reach[i] - off) / self.model[i])
                    })
                    .product();
                weight * inside
            })
            .sum::<f64>()
            .min(SUREST)
    }

    /// The outlook at a place nearby.
    fn moved(&self, at_mm: [f64; 2]) -> Self {
        let sets = self
            .at(at_mm)
            .zip(&self.sets)
            .map(|((weight, show), (_, _, slopes))| (weight, show, *slopes))
            .collect();
        Self {
            at_mm,
            sets,
            model: self.model,
        }
    }

    /// Chance of being right here.
    pub fn chance(&self, goal: &Goal) -> f64 {
        self.chance_at(self.at_mm, goal)
    }

    /// Expected centres and backlash.
    pub fn expected(&self) -> ([FlankPoint; 2], f64) {
        let m = self.mean_at(self.at_mm);
        (
            [FlankPoint::new(m[0], m[1]), FlankPoint::new(m[2], m[3])],
            m[4],
        )
    }

    /// One standard uncertainty of the same.
    pub fn band(&self) -> ([FlankPoint; 2], f64) {
        let mean = self.mean_at(self.at_mm);
        let d = self
            .at(self.at_mm)
            .fold(
                self.model.component_mul(&self.model),
                |sum, (weight, show)| {
                    let off = show - mean;
                    sum + off.component_mul(&off) * weight
                },
            )
            .map(f64::sqrt);
        (
            [FlankPoint::new(d[0], d[1]), FlankPoint::new(d[2], d[3])],
            d[4],
        )
    }
}

/// Share of a standard normal below `x`: the logistic fit of Bowling et al. (2009), within 0.0002.
fn normal_below(x: f64) -> f64 {
    1.0 / (1.0 + (-(0.070_56 * x * x * x + 1.597_6 * x)).exp())
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

/// Everything that a choice is made from.
pub struct Bench<'a> {
    /// The card's gears.
    pub observer: &'a Observer,
    /// The most likely set.
    pub estimate: &'a Estimate,
    /// Every set it could be.
    pub draws: &'a [Draw],
    /// The model's own error.
    pub noise: &'a Noise,
    /// What is right.
    pub goal: &'a Goal,
    /// Where the gears stand, millimetres from the first trial.
    pub now_mm: [f64; 2],
}

impl Bench<'_> {
    /// The change of greatest chance.
    pub fn choose(&self, choices: &Choices) -> Option<Chosen> {
        let aimed_mm = self.aim();
        let outlook = self.outlook(aimed_mm);
        let (middle, reach) = (self.goal.middle(), self.goal.reach());
        let place = |pinion: &Choice, ring: &Choice| {
            [
                self.now_mm[0] + pinion.move_mm,
                self.now_mm[1] + ring.move_mm,
            ]
        };
        let mut rated: Vec<(&Choice, &Choice, f64, f64)> = Vec::new();
        for pinion in near(&choices.pinion, aimed_mm[0] - self.now_mm[0]) {
            for ring in near(&choices.ring, aimed_mm[1] - self.now_mm[1]) {
                let at_mm = place(pinion, ring);
                let chance = outlook.chance_at(at_mm, self.goal);
                // Where many changes are equally sure, or none has a chance, the nearer to the
                // middle of the tolerances is the better one.
                let off = (outlook.mean_at(at_mm) - middle).component_div(&reach);
                let pieces = (pinion.pieces + ring.pieces) as f64;
                let score = chance - 0.002 * off.norm_squared() - WORTH_A_PIECE * pieces;
                rated.push((pinion, ring, chance, score));
            }
        }
        rated.sort_by(|a, b| b.3.total_cmp(&a.3));
        let best = *rated.first()?;
        let taken = rated
            .iter()
            .find(|(pinion, ring, ..)| pinion.move_mm == 0.0 || ring.move_mm == 0.0)
            .filter(|held| held.3 >= best.3 - WORTH_A_SECOND_CHANGE)
            .copied()
            .unwrap_or(best);
        let runner_up = rated
            .iter()
            .find(|r| {
                let apart = |a: &Choice, b: &Choice| (a.move_mm - b.move_mm).abs();
                apart(r.0, taken.0).max(apart(r.1, taken.1)) > ANOTHER_CHANGE_MM
            })
            .map(|r| ([r.0.move_mm, r.1.move_mm], r.2));
        let there = outlook.moved(place(taken.0, taken.1));
        Some(Chosen {
            pinion: taken.0.clone(),
            ring: taken.1.clone(),
            chance: taken.2,
            outlook: there,
            runner_up,
            second_change_spared: taken.0.move_mm != best.0.move_mm
                || taken.1.move_mm != best.1.move_mm,
        })
    }

    /// Every set the bench's could be, at a place.
    fn outlook(&self, at_mm: [f64; 2]) -> Outlook {
        /// As wide as the steps that are weighed against each other.
        const STEP_MM: f64 = 0.05;
        let sets = self
            .draws
            .iter()
            .map(|draw| {
                let show = |p: f64, r: f64| {
                    watched(
                        &self
                            .observer
                            .show(&draw.unknowns, [at_mm[0] + p, at_mm[1] + r]),
                    )
                };
                let here = show(0.0, 0.0);
                let pinion = (show(STEP_MM, 0.0) - show(-STEP_MM, 0.0)) / (2.0 * STEP_MM);
                let ring = (show(0.0, STEP_MM) - here) / STEP_MM;
                (draw.weight, here, [pinion, ring])
            })
            .collect();
        Outlook {
            at_mm,
            sets,
            model: model_error(self.noise),
        }
    }

    /// The place whose state by the most likely set is nearest to the middle of all tolerances, by a
    /// few weighted Gauss–Newton steps from the estimated right place.
    fn aim(&self) -> [f64; 2] {
        let (middle, reach) = (self.goal.middle(), self.goal.reach());
        let unknowns = &self.estimate.unknowns;
        let (pinion_mm, ring_mm) = self.observer.place_deviation_mm();
        let clamp = |at_mm: [f64; 2]| {
            [0, 1].map(|i| {
                at_mm[i].clamp(self.now_mm[i] - MOST_MOVE_MM, self.now_mm[i] + MOST_MOVE_MM)
            })
        };
        let mut at_mm = clamp([
            -self.observer.value(PINION, unknowns),
            -self.observer.value(RING, unknowns),
        ]);
        for _ in 0..3 {
            let (show, slopes) = self.observer.show_with_slopes(unknowns, at_mm);
            let column = |unknown: usize, scale_mm: f64| {
                Watched::from_fn(|i, _| slopes[WATCHED[i]][unknown] / scale_mm / reach[i])
            };
            let off = (watched(&show) - middle).component_div(&reach);
            let (a, b) = (column(PINION, pinion_mm), column(RING, ring_mm));
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
            if step[0].abs().max(step[1].abs()) < 0.002 {
                break;
            }
        }
        at_mm
    }
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
