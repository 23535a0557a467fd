//! A job that is complete enough for amounts: where it stands, what is left unexplained, and the
//! parts of its advice.

use super::choose::{Chosen, Goal, Outlook};
use super::estimate::{Estimate, Seen};
use super::unknowns::{Observer, PINION, RING, SHOWN_BACKLASH, SHOWN_OF_A_FLANK};
use super::{explain, places};
use crate::frames::{FlankPoint, Side};
use crate::schema::{
    Advice, Band, Card, Check, CheckCode, Move, Predicted, RunnerUp, Share, Trial, Unexplained,
    Verdict,
};
use crate::units::Units;
use nalgebra::{Matrix2, Vector2};

/// Readings that a sound set gives once in a million are taken for something else than shims.
/// In standard deviations.
const BEYOND_CHANCE: f64 = 4.75;

/// Whether backlash varies round the gear by more than its limit.
pub fn varies_too_much(card: &Card, last: &Trial) -> bool {
    match (
        last.backlash_variation_mm(),
        card.limits.backlash_variation_mm,
    ) {
        (Some(variation), Some(limit)) => variation > limit,
        _ => false,
    }
}

/// Whether what was read is further from what a sound set can show than chance makes it.
///
/// The misfit is chi-squared with one degree of freedom per number; its cube root is nearly normal
/// (Wilson and Hilferty, 1931).
pub fn improbable(estimate: &Estimate) -> bool {
    let n = estimate.numbers.max(1) as f64;
    let width = 2.0 / (9.0 * n);
    let deviations = ((estimate.misfit / n).cbrt() - (1.0 - width)) / width.sqrt();
    deviations > BEYOND_CHANCE
}

/// To so many decimals.
pub fn round(value: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    // Adding zero turns −0 into 0.
    (value * scale).round() / scale + 0.0
}

fn round_point(p: FlankPoint) -> FlankPoint {
    FlankPoint::new(round(p.length, 4), round(p.height, 4))
}

/// Everything known of a job that is complete enough for amounts.
pub struct Case<'a> {
    /// The gear set.
    pub card: &'a Card,
    /// The last trial.
    pub last: &'a Trial,
    /// The card's gears.
    pub observer: &'a Observer,
    /// The most likely set.
    pub estimate: &'a Estimate,
    /// What was read, trial by trial.
    pub seen: &'a [Seen],
    /// Where the gears stand, millimetres from the first trial.
    pub now_mm: [f64; 2],
    /// What is right.
    pub goal: Goal,
    /// What sentences are worded in.
    pub units: Units,
}

impl Case<'_> {
    /// Where the gears stand, how sure that is, what is left unexplained, and who decided it.
    pub fn state(&self, advice: &mut Advice) {
        let unknowns = &self.estimate.unknowns;
        let (pinion_mm, ring_mm) = self.observer.place_deviation_mm();
        let deviation = |unknown: usize| self.estimate.covariance[(unknown, unknown)].sqrt();
        advice.stands = Some(Move {
            pinion_mm: round(self.observer.value(PINION, unknowns) + self.now_mm[0], 4),
            ring_mm: round(self.observer.value(RING, unknowns) + self.now_mm[1], 4),
        });
        advice.uncertainty = Some(Move {
            pinion_mm: round(deviation(PINION) * pinion_mm, 4),
            ring_mm: round(deviation(RING) * ring_mm, 4),
        });
        advice.unexplained = Some(self.unexplained());
        advice.shares = self
            .estimate
            .shares
            .iter()
            .map(|(trial, reading, share)| Share {
                trial: *trial,
                reading: *reading,
                share: round(*share, 3),
            })
            .collect();
    }

    /// The four offsets of the last trial that moving pinion and ring gear alone cannot take up, with
    /// the patch sizes as estimated and everything else as the card says.
    fn unexplained(&self) -> Unexplained {
        let mut sound = self.observer.without_faults(&self.estimate.unknowns);
        let read = &self.seen[self.seen.len() - 1].read;
        let rows = [0, 1, SHOWN_OF_A_FLANK, SHOWN_OF_A_FLANK + 1, SHOWN_BACKLASH];
        // Gauss–Newton on the two places; the first step does nearly all.
        for _ in 0..3 {
            let (show, slopes) = self.observer.show_with_slopes(&sound, self.now_mm);
            let mut normal = Matrix2::zeros();
            let mut pull = Vector2::zeros();
            for row in rows {
                let Some((value, deviation)) = read[row] else {
                    continue;
                };
                let slope = Vector2::new(slopes[row][PINION], slopes[row][RING]) / deviation;
                normal += slope * slope.transpose();
                pull += slope * ((value - show[row]) / deviation);
            }
            let Some(inverse) = normal.try_inverse() else {
                break;
            };
            let step = inverse * pull;
            // No further than the slopes can be trusted.
            sound[PINION] += step[0].clamp(-0.5, 0.5);
            sound[RING] += step[1].clamp(-0.5, 0.5);
        }
        let show = self.observer.show(&sound, self.now_mm);
        let left = |row: usize| read[row].map_or(0.0, |(value, _)| value - show[row]);
        let point = |first: usize| round_point(FlankPoint::new(left(first), left(first + 1)));
        Unexplained {
            drive: point(0),
            coast: point(SHOWN_OF_A_FLANK),
        }
    }

    /// Whether the last trial's own readings are right as they stand.
    pub fn reads_right(&self) -> bool {
        let tolerance = self.goal.tolerance;
        let flanks = Side::BOTH
            .into_iter()
            .zip(self.goal.centres)
            .all(|(side, target)| {
                self.last.reading(side).is_some_and(|r| {
                    (r.centre.length - target.length).abs() <= tolerance.length
                        && (r.centre.height - target.height).abs() <= tolerance.height
                })
            });
        let [low, high] = self.card.backlash_window_mm();
        flanks
            && self
                .last
                .mean_backlash_mm()
                .is_some_and(|mm| (low..=high).contains(&mm))
    }

    pub fn predict(&self, advice: &mut Advice, outlook: &Outlook) {
        let ([drive, coast], backlash_mm) = outlook.expected();
        let ([drive_band, coast_band], backlash_band_mm) = outlook.band();
        advice.predicted = Some(Predicted {
            drive: round_point(drive),
            coast: round_point(coast),
            backlash_mm: round(backlash_mm, 4),
            band: Band {
                drive: round_point(drive_band),
                coast: round_point(coast_band),
                backlash_mm: round(backlash_band_mm, 4),
            },
        });
    }

    /// The change and what it should show.
    pub fn fill(&self, advice: &mut Advice, chosen: &Chosen, choices: &places::Choices) {
        advice.change = Some(Move {
            pinion_mm: round(chosen.pinion.move_mm, 4),
            ring_mm: round(chosen.ring.move_mm, 4),
        });
        advice.shims = choices.shims(self.last, &chosen.pinion, &chosen.ring);
        advice.chance = Some(round(chosen.chance, 3));
        advice.runner_up = chosen
            .runner_up
            .map(|([pinion_mm, ring_mm], chance)| RunnerUp {
                pinion_mm: round(pinion_mm, 4),
                ring_mm: round(ring_mm, 4),
                chance: round(chance, 3),
            });
        self.predict(advice, &chosen.outlook);
    }

    /// No shim cures it: what it looks like and how to check.
    pub fn beyond(&self, mut advice: Advice, chosen: Option<&Chosen>) -> Advice {
        advice.verdict = Verdict::BeyondShims;
        let mut checks = Vec::new();
        if varies_too_much(self.card, self.last) {
            checks.push(explain::run_out(self.card, self.last, self.units));
        }
        if improbable(self.estimate) {
            checks.extend(explain::faults(self.observer, self.estimate));
        }
        if checks.is_empty() {
            checks.push(explain::out_of_reach(
                self.card, chosen, &self.goal, self.units,
            ));
            checks.push(Check {
                code: CheckCode::Housing,
                message: explain::HOUSING_CHECK.into(),
            });
        }
        explain::beyond(&mut advice, &checks, chosen, self.units);
        advice.checks = checks;
        explain::cautions(&mut advice, self.card, self.last, self.units);
        advice
    }
}
