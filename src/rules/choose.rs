//! The change with the greatest chance that the next assembly is right.
//!
//! The chance of a change is the weight of all sets the bench's could be that would be right after it, each
//! blurred by the contact model's own error.

use super::calibration::CALIBRATION;
use super::explained::Explained;
use super::outlook::{Goal, JudgedVector, Outlook};
use super::places::{Choice, Choices};
use super::posterior::Draw;
use crate::schema::{Move, RunnerUp};

/// What was chosen.
#[derive(Debug, Clone)]
pub(crate) struct Chosen {
    /// The pinion's change.
    pub pinion: Choice,
    /// The ring gear's change.
    pub ring: Choice,
    /// What it should show.
    pub outlook: Outlook,
    /// Its chance, without what nothing read so far could show: what it was chosen by.
    pub chance: f64,
    /// Its chance, all told.
    pub chance_of_all: f64,
    /// The next best pair of changes and its chance.
    pub runner_up: Option<RunnerUp>,
    /// Whether the ring gear was held though moving it too would have been a little better.
    pub second_change_spared: bool,
}

impl Chosen {
    /// Whether both gears stay.
    pub(crate) fn stays(&self) -> bool {
        self.pinion.move_mm == 0.0 && self.ring.move_mm == 0.0
    }
}

/// Everything that a choice is made from.
pub(crate) struct Bench<'a> {
    /// What explains the trials, likeliest first.
    pub explained: &'a [Explained],
    /// Every set it could be.
    pub draws: &'a [Draw],
    /// What is right.
    pub goal: &'a Goal,
    /// Where the gears stand against the first trial.
    pub now: Move,
}

/// A pair of changes and how good it is.
#[derive(Clone, Copy)]
struct Rated<'a> {
    pinion: &'a Choice,
    ring: &'a Choice,
    chance: f64,
    score: f64,
}

impl Rated<'_> {
    const fn change(&self) -> Move {
        Move {
            pinion_mm: self.pinion.move_mm,
            ring_mm: self.ring.move_mm,
        }
    }

    fn is_another_than(&self, other: &Self) -> bool {
        let apart = self.change() - other.change();
        apart.pinion_mm.abs().max(apart.ring_mm.abs()) > CALIBRATION.choice.another_change_mm
    }
}

impl Bench<'_> {
    /// The change of greatest chance, looked for about where each likely explanation aims at.
    pub(crate) fn choose(&self, choices: &Choices) -> Option<Chosen> {
        let likely = CALIBRATION.choice.worth_an_aim;
        let aims = self
            .explained
            .iter()
            .enumerate()
            .filter(|(k, one)| *k == 0 || one.weight >= likely)
            .take(CALIBRATION.choice.most_aims)
            .map(|(_, one)| self.aim(one));
        aims.filter_map(|aimed| self.choose_about(choices, aimed))
            .reduce(|best, next| {
                let margin = CALIBRATION.choice.worth_a_second_change;
                if next.chance > best.chance + margin {
                    next
                } else {
                    best
                }
            })
    }

    fn choose_about(&self, choices: &Choices, aimed: Move) -> Option<Chosen> {
        let all = Outlook::about(self.explained, self.draws, aimed);
        let outlook = all.without_unseen();
        let of_all = |rated: &Rated| all.chance_at(self.now + rated.change(), self.goal);
        let rated = self.rate(choices, aimed, &outlook);
        let best = rated.first()?;
        let taken = rated
            .iter()
            .find(|r| r.pinion.move_mm == 0.0 || r.ring.move_mm == 0.0)
            .filter(|held| held.score >= best.score - CALIBRATION.choice.worth_a_second_change)
            .unwrap_or(best);
        // A second that is surer is second for its many shims or its place at the edge of all tolerances: it would only
        // confuse.
        let runner_up = rated
            .iter()
            .find(|r| {
                let surer = r.chance > taken.chance || of_all(r) > of_all(taken);
                r.is_another_than(taken) && !surer
            })
            .map(|r| RunnerUp {
                pinion_mm: r.pinion.move_mm,
                ring_mm: r.ring.move_mm,
                chance: of_all(r),
            });
        Some(Chosen {
            pinion: taken.pinion.clone(),
            ring: taken.ring.clone(),
            chance: taken.chance,
            chance_of_all: of_all(taken),
            outlook: outlook.moved(self.now + taken.change()),
            runner_up,
            second_change_spared: taken.change() != best.change(),
        })
    }

    /// Every pair of changes near the one aimed at, best first.
    fn rate<'c>(&self, choices: &'c Choices, aimed: Move, outlook: &Outlook) -> Vec<Rated<'c>> {
        let weights = &CALIBRATION.choice;
        let (middle, reach) = (self.goal.middle(), self.goal.reach());
        let aimed = aimed - self.now;
        let mut rated = Vec::new();
        for pinion in near(&choices.pinion, aimed.pinion_mm) {
            for ring in near(&choices.ring, aimed.ring_mm) {
                let mut pair = Rated {
                    pinion,
                    ring,
                    chance: 0.0,
                    score: 0.0,
                };
                let at = self.now + pair.change();
                pair.chance = outlook.chance_at(at, self.goal);
                let off = (outlook.mean_at(at) - middle).component_div(&reach);
                let pieces = (pinion.pieces + ring.pieces) as f64;
                pair.score = pair.chance
                    - weights.worth_the_middle * off.norm_squared()
                    - weights.worth_a_piece * pieces;
                rated.push(pair);
            }
        }
        rated.sort_by(|a, b| b.score.total_cmp(&a.score));
        rated
    }

    /// The place, as it would be told, whose state by an explanation's most likely set is nearest to the middle of all
    /// tolerances, by a few weighted Gauss–Newton steps from the estimated right place.
    fn aim(&self, by: &Explained) -> Move {
        let numerics = &CALIBRATION.numerics;
        let (middle, reach) = (self.goal.middle(), self.goal.reach());
        let parameters = &by.estimate.parameters;
        let values = by.model.values(parameters);
        let priors = by.model.priors();
        let mut at = self.within_reach(by.doubt.really(Move {
            pinion_mm: -values.pinion,
            ring_mm: -values.ring,
        }));
        for _ in 0..numerics.place_steps {
            let (shown, slopes) = by
                .model
                .predict_with_slopes(parameters, by.doubt.really(at));
            let column = |slope, scale_mm: f64| -> JudgedVector {
                (by.model.judged(slope).to_vector() / scale_mm).component_div(&reach)
            };
            let off = (by.model.judged(&shown).to_vector() - middle).component_div(&reach);
            let pinion = column(&slopes.pinion, priors.pinion);
            let ring = column(&slopes.ring, priors.ring);
            let (aa, ab, bb) = (pinion.dot(&pinion), pinion.dot(&ring), ring.dot(&ring));
            let determinant = aa * bb - ab * ab;
            if determinant <= f64::EPSILON * aa * bb {
                break;
            }
            let (fa, fb) = (pinion.dot(&off), ring.dot(&off));
            let step = by.doubt.really(Move {
                pinion_mm: (bb * fa - ab * fb) / determinant,
                ring_mm: (aa * fb - ab * fa) / determinant,
            });
            at = self.within_reach(at - step);
            if step.pinion_mm.abs().max(step.ring_mm.abs()) < numerics.place_step_mm {
                break;
            }
        }
        at
    }

    /// The nearest place that one change may go to.
    fn within_reach(&self, at: Move) -> Move {
        let most_mm = CALIBRATION.choice.most_move_mm;
        let clamp = |mm: f64, now_mm: f64| mm.clamp(now_mm - most_mm, now_mm + most_mm);
        Move {
            pinion_mm: clamp(at.pinion_mm, self.now.pinion_mm),
            ring_mm: clamp(at.ring_mm, self.now.ring_mm),
        }
    }
}

/// The changes that come near the one aimed at, and "as it is".
fn near(choices: &[Choice], aimed_mm: f64) -> Vec<&Choice> {
    let mut sorted: Vec<&Choice> = choices.iter().collect();
    sorted.sort_by(|a, b| {
        (a.move_mm - aimed_mm)
            .abs()
            .total_cmp(&(b.move_mm - aimed_mm).abs())
    });
    sorted.truncate(CALIBRATION.choice.kept);
    if !sorted.iter().any(|c| c.move_mm == 0.0) {
        sorted.extend(choices.iter().find(|c| c.move_mm == 0.0));
    }
    sorted
}

#[cfg(test)]
mod tests;
