//! What the next assembly will show at one place, by every set that the bench's could be, and how likely that is
//! right.
//!
//! Right = both centres within the target's tolerance and mean backlash inside its window, less half the variation
//! round the gear.

use super::calibration::CALIBRATION;
use super::explained::Explained;
use super::observation::{Measured, Observation, PredictedObservation};
use super::posterior::Draw;
use crate::frames::FlankPoint;
use crate::reading::HALF_WIDTH_90;
use crate::schema::{Card, Move, Trial};
use nalgebra::SVector;

/// The quantities that an assembly is judged by, in one order.
const JUDGED: usize = 5;

/// The same for linear algebra; from and to [`Judged`] only.
pub(crate) type JudgedVector = SVector<f64, JUDGED>;

/// What an assembly is judged by, or how far off it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Judged {
    /// Centre of the drive patch.
    pub drive: FlankPoint,
    /// Centre of the coast patch.
    pub coast: FlankPoint,
    /// Mean backlash, millimetres.
    pub backlash_mm: f64,
}

impl Judged {
    /// What of a prediction is judged.
    pub(crate) const fn of(shown: &PredictedObservation) -> Self {
        Self {
            drive: shown.drive.centre,
            coast: shown.coast.centre,
            backlash_mm: shown.backlash_mm,
        }
    }

    /// In order.
    pub(crate) fn to_vector(self) -> JudgedVector {
        JudgedVector::new(
            self.drive.length,
            self.drive.height,
            self.coast.length,
            self.coast.height,
            self.backlash_mm,
        )
    }

    /// The inverse of [`Self::to_vector`].
    pub(crate) fn from_vector(vector: &JudgedVector) -> Self {
        let [
            drive_length,
            drive_height,
            coast_length,
            coast_height,
            backlash_mm,
        ] = (*vector).into();
        Self {
            drive: FlankPoint::new(drive_length, drive_height),
            coast: FlankPoint::new(coast_length, coast_height),
            backlash_mm,
        }
    }

    /// What of it was read in a trial, `None` where it was not, in the same order.
    pub(crate) fn read(observation: &Observation) -> [Option<Measured>; JUDGED] {
        let drive = observation.drive.map(|patch| patch.centre);
        let coast = observation.coast.map(|patch| patch.centre);
        [
            drive.map(Measured::length),
            drive.map(Measured::height),
            coast.map(Measured::length),
            coast.map(Measured::height),
            observation.backlash_mm,
        ]
    }
}

/// What makes an assembly right.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Goal {
    /// Target of the drive patch's centre.
    pub drive: FlankPoint,
    /// Target of the coast patch's centre.
    pub coast: FlankPoint,
    /// Both centres within this.
    pub tolerance: FlankPoint,
    /// Mean backlash inside this, millimetres.
    pub window_mm: [f64; 2],
}

impl Goal {
    /// The target, with room in the backlash window for its variation round the gear.
    pub(crate) fn of(card: &Card, last: &Trial) -> Self {
        let [low, high] = card.backlash_window_mm();
        let margin = (0.5 * last.backlash_variation_mm().unwrap_or(0.0))
            .min(CALIBRATION.verdict.most_margin * (high - low));
        Self {
            drive: card.target.drive,
            coast: card.target.coast,
            tolerance: card.target.tolerance,
            window_mm: [low + margin, high - margin],
        }
    }

    /// The middle of all tolerances.
    pub(crate) fn middle(&self) -> JudgedVector {
        let [low, high] = self.window_mm;
        Judged {
            drive: self.drive,
            coast: self.coast,
            backlash_mm: 0.5 * (low + high),
        }
        .to_vector()
    }

    /// How far from it is still right.
    pub(crate) fn reach(&self) -> JudgedVector {
        let [low, high] = self.window_mm;
        Judged {
            drive: self.tolerance,
            coast: self.tolerance,
            backlash_mm: 0.5 * (high - low),
        }
        .to_vector()
    }
}

/// What one set that the bench's could be shows.
#[derive(Debug, Clone, Copy)]
struct Possible {
    /// How likely it is, all together 1.
    weight: f64,
    /// Whether it is of an explanation that nothing read so far could show.
    unseen: bool,
    /// What it shows.
    shown: JudgedVector,
    /// Its change per millimetre of pinion.
    per_pinion: JudgedVector,
    /// Its change per millimetre of ring gear.
    per_ring: JudgedVector,
}

/// What the next assembly will show at one place, by every set that the bench's could be.
#[derive(Debug, Clone)]
pub(crate) struct Outlook {
    /// The gears against where they stood in the first trial.
    at: Move,
    sets: Vec<Possible>,
}

/// The contact model's own error.
fn model_error() -> JudgedVector {
    let noise = &CALIBRATION.noise;
    let centre = FlankPoint::new(noise.model_length, noise.model_height);
    Judged {
        drive: centre,
        coast: centre,
        backlash_mm: noise.model_backlash_mm,
    }
    .to_vector()
}

impl Outlook {
    /// The last trial's place.
    pub(crate) fn now(explained: &[Explained], draws: &[Draw], at: Move) -> Self {
        let sets = draws
            .iter()
            .map(|draw| Possible {
                weight: draw.weight,
                unseen: explained[draw.explained].unseen,
                shown: explained[draw.explained]
                    .model
                    .judged(&draw.now)
                    .to_vector(),
                per_pinion: JudgedVector::zeros(),
                per_ring: JudgedVector::zeros(),
            })
            .collect();
        Self { at, sets }
    }

    /// Another place, with how it changes about there.
    pub(crate) fn about(explained: &[Explained], draws: &[Draw], at: Move) -> Self {
        let step_mm = CALIBRATION.numerics.outlook_step_mm;
        let sets = draws
            .iter()
            .map(|draw| {
                let by = &explained[draw.explained];
                let shown = |pinion_mm: f64, ring_mm: f64| {
                    let there = by.doubt.really(at + Move { pinion_mm, ring_mm });
                    let shown = by.model.predict(&draw.parameters, there);
                    by.model.judged(&shown).to_vector()
                };
                let here = shown(0.0, 0.0);
                Possible {
                    weight: draw.weight,
                    unseen: by.unseen,
                    shown: here,
                    per_pinion: (shown(step_mm, 0.0) - shown(-step_mm, 0.0)) / (2.0 * step_mm),
                    per_ring: (shown(0.0, step_mm) - here) / step_mm,
                }
            })
            .collect();
        Self { at, sets }
    }

    /// The same without the explanations that nothing read so far could show: what a change is chosen by. To hold a gear
    /// because its pack may be noted wrong would only put off that it shows.
    pub(crate) fn without_unseen(&self) -> Self {
        let mut sets = self.sets.clone();
        sets.retain(|set| !set.unseen);
        let left: f64 = sets.iter().map(|set| set.weight).sum();
        if left == 0.0 {
            return self.clone();
        }
        for set in &mut sets {
            set.weight /= left;
        }
        Self { at: self.at, sets }
    }

    /// What each set shows at a place nearby, with its weight.
    fn at(&self, at: Move) -> impl Iterator<Item = (f64, JudgedVector)> + '_ {
        let by = at - self.at;
        self.sets.iter().map(move |set| {
            (
                set.weight,
                set.shown + set.per_pinion * by.pinion_mm + set.per_ring * by.ring_mm,
            )
        })
    }

    /// What is expected at a place nearby.
    pub(crate) fn mean_at(&self, at: Move) -> JudgedVector {
        self.at(at)
            .fold(JudgedVector::zeros(), |sum, (weight, shown)| {
                sum + shown * weight
            })
    }

    /// Chance of being right at a place nearby.
    pub(crate) fn chance_at(&self, at: Move, goal: &Goal) -> f64 {
        let (middle, reach, model) = (goal.middle(), goal.reach(), model_error());
        self.at(at)
            .map(|(weight, shown)| {
                let inside: f64 = (0..JUDGED)
                    .map(|i| {
                        let off = shown[i] - middle[i];
                        normal_below((reach[i] - off) / model[i])
                            - normal_below((-reach[i] - off) / model[i])
                    })
                    .product();
                weight * inside
            })
            .sum::<f64>()
            .min(CALIBRATION.choice.surest)
    }

    /// The outlook at a place nearby.
    pub(crate) fn moved(&self, at: Move) -> Self {
        let sets = self
            .at(at)
            .zip(&self.sets)
            .map(|((_, shown), set)| Possible { shown, ..*set })
            .collect();
        Self { at, sets }
    }

    /// Chance of being right here.
    pub(crate) fn chance(&self, goal: &Goal) -> f64 {
        self.chance_at(self.at, goal)
    }

    /// Expected centres and backlash.
    pub(crate) fn expected(&self) -> Judged {
        Judged::from_vector(&self.mean_at(self.at))
    }

    /// Half the width that holds nine in ten of the same.
    pub(crate) fn band(&self) -> Judged {
        let mean = self.mean_at(self.at);
        let model = model_error();
        let variance =
            self.at(self.at)
                .fold(model.component_mul(&model), |sum, (weight, shown)| {
                    let off = shown - mean;
                    sum + off.component_mul(&off) * weight
                });
        Judged::from_vector(&variance.map(|v| HALF_WIDTH_90 * v.sqrt()))
    }
}

/// Share of a standard normal below `x`: the logistic fit of Bowling et al. (2009), within 0.0002.
fn normal_below(x: f64) -> f64 {
    1.0 / (1.0 + (-(0.070_56 * x * x * x + 1.597_6 * x)).exp())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Four figures of the table of the standard normal distribution, from memory.
    #[test]
    fn shares_of_the_normal_distribution() {
        for (x, share) in [(-1.0, 0.1587), (0.0, 0.5), (0.5, 0.6915), (1.96, 0.9750)] {
            let found = normal_below(x);
            assert!((found - share).abs() < 3e-4, "{x}: {found}");
        }
    }
}
