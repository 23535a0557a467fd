//! A job that is complete enough for amounts: where it stands, what is left unexplained, and the parts of its advice.

use super::calibration::CALIBRATION;
use super::choose::Chosen;
use super::estimate::{Estimate, fit};
use super::forward_model::ForwardModel;
use super::observation::Observation;
use super::outlook::{Goal, Judged, Outlook};
use super::{explain, places};
use crate::frames::{FlankPoint, Side};
use crate::schema::{
    Advice, Band, Card, Check, CheckCode, Move, Predicted, Share, Trial, Unexplained, Verdict,
};
use crate::units::Units;
use nalgebra::{Matrix2, Vector2};

/// Whether backlash varies round the gear by more than its limit.
pub(crate) fn varies_too_much(card: &Card, last: &Trial) -> bool {
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
pub(crate) fn improbable(estimate: &Estimate) -> bool {
    let n = estimate.numbers.max(1) as f64;
    let width = 2.0 / (9.0 * n);
    let deviations = ((estimate.misfit / n).cbrt() - (1.0 - width)) / width.sqrt();
    deviations > CALIBRATION.verdict.beyond_chance
}

/// To so many decimals.
pub(crate) fn round(value: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    // Adding zero turns −0 into 0.
    (value * scale).round() / scale + 0.0
}

fn round_point(p: FlankPoint) -> FlankPoint {
    FlankPoint::new(round(p.length, 4), round(p.height, 4))
}

fn round_move(m: Move) -> Move {
    Move {
        pinion_mm: round(m.pinion_mm, 4),
        ring_mm: round(m.ring_mm, 4),
    }
}

/// Everything known of a job that is complete enough for amounts.
pub(crate) struct Case<'a> {
    /// The gear set.
    pub card: &'a Card,
    /// The last trial.
    pub last: &'a Trial,
    /// The card's gears.
    pub model: &'a ForwardModel,
    /// What was read, trial by trial.
    pub observations: &'a [Observation],
    /// The most likely set.
    pub estimate: Estimate,
    /// Where the gears stand against the first trial.
    pub now: Move,
    /// What is right.
    pub goal: Goal,
    /// What sentences are worded in.
    pub units: Units,
}

impl<'a> Case<'a> {
    /// Fits the set to what was read.
    pub(crate) fn new(
        card: &'a Card,
        last: &'a Trial,
        model: &'a ForwardModel,
        observations: &'a [Observation],
        units: Units,
    ) -> Self {
        Self {
            card,
            last,
            model,
            observations,
            estimate: fit(model, observations),
            now: observations.last().map_or(Move::default(), |o| o.moved),
            goal: Goal::of(card, last),
            units,
        }
    }

    /// Trials that cannot all be true while the last one by itself can.
    pub(crate) fn contradiction(&self) -> Option<Check> {
        let [_, .., last] = self.observations else {
            return None;
        };
        let alone = || fit(self.model, std::slice::from_ref(last));
        (improbable(&self.estimate) && !improbable(&alone()))
            .then(|| explain::contradiction(&self.estimate, self.units, self.last))
    }

    /// Where the gears stand, how sure that is, what is left unexplained, and who decided it.
    pub(crate) fn state(&self, advice: &mut Advice) {
        let values = self.model.values(&self.estimate.parameters);
        let (priors, variances) = (self.model.priors(), self.estimate.variances());
        advice.stands = Some(round_move(Move {
            pinion_mm: values.pinion + self.now.pinion_mm,
            ring_mm: values.ring + self.now.ring_mm,
        }));
        advice.uncertainty = Some(round_move(Move {
            pinion_mm: variances.pinion.sqrt() * priors.pinion,
            ring_mm: variances.ring.sqrt() * priors.ring,
        }));
        advice.unexplained = Some(self.unexplained());
        advice.shares = self
            .estimate
            .shares
            .iter()
            .map(|share| Share {
                trial: share.trial,
                reading: share.reading,
                share: round(share.part, 3),
            })
            .collect();
    }

    /// The four offsets of the last trial that moving pinion and ring gear alone cannot take up, with the patch
    /// sizes as estimated and everything else as the card says.
    fn unexplained(&self) -> Unexplained {
        let numerics = &CALIBRATION.numerics;
        let mut sound = self.model.without_faults(&self.estimate.parameters);
        let read = Judged::read(&self.observations[self.observations.len() - 1]);
        // Gauss–Newton on the two places.
        for _ in 0..numerics.place_steps {
            let (shown, slopes) = self.model.predict_with_slopes(&sound, self.now);
            let shown = Judged::of(&shown).to_vector();
            let pinion = Judged::of(&slopes.pinion).to_vector();
            let ring = Judged::of(&slopes.ring).to_vector();
            let mut normal = Matrix2::zeros();
            let mut pull = Vector2::zeros();
            for (i, measured) in read.iter().enumerate() {
                let Some(measured) = measured else { continue };
                let slope = Vector2::new(pinion[i], ring[i]) / measured.deviation;
                normal += slope * slope.transpose();
                pull += slope * ((measured.value - shown[i]) / measured.deviation);
            }
            let Some(inverse) = normal.try_inverse() else {
                break;
            };
            let step = inverse * pull;
            let most = numerics.place_step_most;
            sound.pinion += step.x.clamp(-most, most);
            sound.ring += step.y.clamp(-most, most);
        }
        let mut left = Judged::of(&self.model.predict(&sound, self.now)).to_vector();
        for (left, measured) in left.iter_mut().zip(read) {
            *left = measured.map_or(0.0, |measured| measured.value - *left);
        }
        let left = Judged::from_vector(&left);
        Unexplained {
            drive: round_point(left.drive),
            coast: round_point(left.coast),
        }
    }

    /// Whether the last trial's own readings are right as they stand.
    pub(crate) fn reads_right(&self) -> bool {
        let tolerance = self.goal.tolerance;
        let flank = |side: Side, target: FlankPoint| {
            self.last.reading(side).is_some_and(|r| {
                (r.centre.length - target.length).abs() <= tolerance.length
                    && (r.centre.height - target.height).abs() <= tolerance.height
            })
        };
        let [low, high] = self.card.backlash_window_mm();
        flank(Side::Drive, self.goal.drive)
            && flank(Side::Coast, self.goal.coast)
            && self
                .last
                .mean_backlash_mm()
                .is_some_and(|mm| (low..=high).contains(&mm))
    }

    /// What the next assembly should show.
    pub(crate) fn predict(advice: &mut Advice, outlook: &Outlook) {
        let (expected, band) = (outlook.expected(), outlook.band());
        advice.predicted = Some(Predicted {
            drive: round_point(expected.drive),
            coast: round_point(expected.coast),
            backlash_mm: round(expected.backlash_mm, 4),
            band: Band {
                drive: round_point(band.drive),
                coast: round_point(band.coast),
                backlash_mm: round(band.backlash_mm, 4),
            },
        });
    }

    /// The change and what it should show.
    pub(crate) fn fill(&self, advice: &mut Advice, chosen: &Chosen, choices: &places::Choices) {
        advice.change = Some(round_move(Move {
            pinion_mm: chosen.pinion.move_mm,
            ring_mm: chosen.ring.move_mm,
        }));
        advice.shims = choices.shims(self.last, &chosen.pinion, &chosen.ring);
        advice.chance = Some(round(chosen.chance, 3));
        advice.runner_up = chosen.runner_up.map(|mut next| {
            next.pinion_mm = round(next.pinion_mm, 4);
            next.ring_mm = round(next.ring_mm, 4);
            next.chance = round(next.chance, 3);
            next
        });
        Self::predict(advice, &chosen.outlook);
    }

    /// No shim cures it: what it looks like and how to check.
    pub(crate) fn beyond(&self, advice: &mut Advice, chosen: Option<&Chosen>) {
        advice.verdict = Verdict::BeyondShims;
        let mut checks = Vec::new();
        if varies_too_much(self.card, self.last) {
            checks.push(explain::run_out(self.card, self.last, self.units));
        }
        if improbable(&self.estimate) {
            checks.extend(explain::faults(&self.estimate));
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
        explain::beyond(advice, &checks, chosen, self.units);
        advice.checks = checks;
    }
}
