//! A job that is complete enough for amounts: where it stands, what is left unexplained, and the parts of its advice.

use super::calibration::CALIBRATION;
use super::choose::Chosen;
use super::doubts::{Doubt, Fault};
use super::explained::{Explained, explain as weigh_explanations};
use super::forward_model::ForwardModel;
use super::observation::Observation;
use super::outlook::{Goal, Judged, Outlook};
use super::posterior::{Draw, draws};
use super::{explain, places, suspicion};
use crate::frames::{FlankPoint, Side};
use crate::reading::HALF_WIDTH_90;
use crate::schema::{
    Advice, Band, Card, Check, CheckCode, Move, Predicted, Share, Trial, Unexplained, Verdict,
};
use crate::units::Units;
use nalgebra::{Matrix2, Vector2};
use std::rc::Rc;

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
    pub model: Rc<ForwardModel>,
    /// What was read, trial by trial.
    pub observations: &'a [Observation],
    /// What explains it, likeliest first.
    pub explained: Vec<Explained>,
    /// The sets that could have shown it.
    pub draws: Vec<Draw>,
    /// Where the gears stand against the first trial.
    pub now: Move,
    /// What is right.
    pub goal: Goal,
    /// What sentences are worded in.
    pub units: Units,
}

impl<'a> Case<'a> {
    /// Fits the set to what was read. `trials` are those that the observations are of.
    pub(crate) fn new(
        card: &'a Card,
        last: &'a Trial,
        model: Rc<ForwardModel>,
        (trials, observations): (&[&Trial], &'a [Observation]),
        units: Units,
    ) -> Self {
        let explained = weigh_explanations(card, &model, trials, observations);
        Self {
            card,
            last,
            model,
            observations,
            draws: draws(&explained),
            explained,
            now: observations.last().map_or(Move::default(), |o| o.moved),
            goal: Goal::of(card, last),
            units,
        }
    }

    /// How likely it is that something that was told is wrong, as far as it could show.
    pub(crate) fn doubted(&self) -> f64 {
        let doubted = |one: &&Explained| one.doubts_what_was_told() && !one.unseen;
        self.explained
            .iter()
            .filter(doubted)
            .map(|one| one.weight)
            .sum()
    }

    /// How likely it is that something is wrong which nothing read so far could show, and what it may be.
    pub(crate) fn unseen(&self) -> (f64, Vec<Doubt>) {
        let unseen = || self.explained.iter().filter(|one| one.unseen);
        (
            unseen().map(|one| one.weight).sum(),
            unseen().map(|one| one.doubt).collect(),
        )
    }

    /// How likely each fault is, likeliest first.
    pub(crate) fn faults(&self) -> Vec<(Fault, f64)> {
        let fault = |one: &Explained| Some((one.fault()?, one.weight));
        self.explained.iter().filter_map(fault).collect()
    }

    /// How likely it is that no shim cures it.
    pub(crate) fn faulty(&self) -> f64 {
        self.faults().iter().map(|(_, weight)| weight).sum()
    }

    /// What may be wrong with what was told, and the look that would settle it.
    pub(crate) fn suspect(&self, advice: &mut Advice) -> Option<Check> {
        advice.suspects = suspicion::suspects(&self.explained, self.observations);
        suspicion::second_look(
            &advice.suspects,
            &self.explained,
            self.observations,
            self.card,
        )
    }

    /// A look at the dial's foot, where no move of the ring gear has shown yet how it stands.
    pub(crate) fn look_at_dial(&self) -> Option<Check> {
        let weight = |doubt: Doubt| -> f64 {
            let of = self.explained.iter().filter(|one| one.doubt == doubt);
            of.map(|one| one.weight).sum()
        };
        let unseen = CALIBRATION.doubts.dial_unseen * weight(Doubt::None);
        let told = self.card.carrier.backlash_direction?;
        let shows = self.model.by_the_other_dial().shown_per_judged();
        (weight(Doubt::DialSetting) >= unseen).then(|| suspicion::look_at_dial(told, shows))
    }

    /// What the chance counts that nothing read so far could show; `None` where all of it has shown.
    pub(crate) fn unseen_sentence(&self) -> Option<String> {
        let (chance, doubts) = self.unseen();
        suspicion::unseen(chance, &doubts)
    }

    /// Where the gears stand, how sure that is, what is left unexplained, and who decided it.
    pub(crate) fn state(&self, advice: &mut Advice) {
        let stood = |draw: &Draw| {
            let by = &self.explained[draw.explained];
            let values = by.model.values(&draw.parameters);
            let last = by.observations.last();
            let moved = last.map_or(Move::default(), |last| last.stood(&values));
            Vector2::new(values.pinion + moved.pinion_mm, values.ring + moved.ring_mm)
        };
        let mean = (self.draws.iter()).fold(Vector2::zeros(), |sum, draw| {
            sum + stood(draw) * draw.weight
        });
        let variance = self.draws.iter().fold(Vector2::zeros(), |sum, draw| {
            let off = stood(draw) - mean;
            sum + off.component_mul(&off) * draw.weight
        });
        let width = variance.map(|v: f64| HALF_WIDTH_90 * v.sqrt());
        let of = |v: Vector2<f64>| {
            round_move(Move {
                pinion_mm: v.x,
                ring_mm: v.y,
            })
        };
        advice.stands = Some(of(mean));
        advice.uncertainty = Some(of(width));
        advice.unexplained = Some(self.unexplained());
        advice.shares = self.explained[0]
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
        let told = self.explained.iter().find(|one| one.doubt == Doubt::None);
        let parameters = told.map_or_else(Default::default, |one| one.estimate.parameters);
        let mut sound = self.model.without_faults(&parameters);
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

    /// Whether the last trial reads right as it will be driven, its side bearings preloaded. What earlier trials without
    /// that preload showed does not count against it.
    pub(crate) fn settled(&self) -> bool {
        self.last.side_preload && self.reads_right() && !varies_too_much(self.card, self.last)
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
        advice.chance = Some(round(chosen.chance_of_all, 3));
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
        if self.faulty() > 0.5 {
            checks.extend(explain::faults(&self.faults()));
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
