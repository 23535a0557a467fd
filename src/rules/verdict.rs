//! The advice: the estimate judged, the change chosen, the words put together.

use super::advice::{
    Advice, Band, Check, CheckCode, Diagnosis, Move, Predicted, RunnerUp, SCHEMA, Share,
    Unexplained, Verdict,
};
use super::choose::{Bench, Chosen, Goal, Outlook};
use super::estimate::{Estimate, Seen, fit};
use super::job::{Condition, Trial};
use super::posterior::draws;
use super::unknowns::{Observer, PINION, Priors, RING, SHOWN, SHOWN_BACKLASH, SHOWN_OF_A_FLANK};
use super::{Noise, RulesError, checks, diagnose, explain, places};
use crate::Result;
use crate::frames::{FlankPoint, Side};
use crate::gear::card::Card;
use crate::units::Units;
use nalgebra::Matrix2;

/// An assembly this likely to be right is left alone.
const SURE_ENOUGH: f64 = 0.90;
/// An assembly that reads right is left alone unless a change is better by this much.
const WORTH_AN_ASSEMBLY: f64 = 0.15;
/// Readings that a sound set gives once in a million are taken for something else than shims.
/// In standard deviations.
const BEYOND_CHANCE: f64 = 4.75;
/// Backlash below this may be none at all: the teeth jam before the gears stand where their shims
/// would have them. Three times the scatter of a reading.
const NO_PLAY_MM: f64 = 0.015;
/// Where the best change has less than this chance, shims are not the cure.
const HOPELESS: f64 = 0.10;

/// Advice on the trials so far, oldest first, worded in millimetres.
///
/// # Errors
/// Gears that cannot mesh; numbers that are not finite.
pub fn advise(card: &Card, trials: &[Trial]) -> Result<Advice> {
    advise_in(card, trials, Units::Mm)
}

/// Advice worded in the units asked for.
///
/// # Errors
/// As [`advise`].
pub fn advise_in(card: &Card, trials: &[Trial], units: Units) -> Result<Advice> {
    advise_with(card, trials, units, Priors::default(), &Noise::default())
}

/// Advice with other assumptions on the set and on the readings.
///
/// # Errors
/// As [`advise`].
pub fn advise_with(
    card: &Card,
    trials: &[Trial],
    units: Units,
    priors: Priors,
    noise: &Noise,
) -> Result<Advice> {
    let card = &as_it_ran(card, trials);
    let checks = checks::before_amounts(card, trials, units)?;
    let mut advice = blank(diagnosis(card, trials));
    let Some(last) = trials.last() else {
        return Ok(measure(advice, checks));
    };
    explain::where_it_stands(&mut advice, card, last, trials.len(), units);
    if !checks.is_empty() {
        return Ok(measure(advice, checks));
    }
    let (used, left_out) = checks::comparable(card, trials);
    advice.cautions.extend(left_out);
    let seen: Vec<Seen> = used
        .iter()
        .map(|(i, moved_mm)| see(i + 1, &trials[*i], *moved_mm, noise))
        .collect();
    let observer = Observer::new(card, priors).map_err(RulesError::from)?;
    let estimate = fit(&observer, &seen);
    let now_mm = seen.last().map_or([0.0; 2], |s| s.moved_mm);
    let case = Case {
        card,
        last,
        observer: &observer,
        estimate: &estimate,
        seen: &seen,
        now_mm,
        goal: goal(card, last),
        units,
    };
    case.state(&mut advice);
    if seen.len() > 1
        && improbable(&estimate)
        && !improbable(&fit(&observer, &seen[seen.len() - 1..]))
    {
        let contradiction = explain::contradiction(&estimate, units, last);
        return Ok(measure(advice, vec![contradiction]));
    }
    let choices = places::choices(card, last);
    let draws = draws(&observer, &estimate, &seen);
    let now = Outlook::now(&draws, noise, now_mm);
    let chance_now = now.chance(&case.goal);
    advice.chance_now = Some(round(chance_now, 3));
    let bench = Bench {
        observer: &observer,
        estimate: &estimate,
        draws: &draws,
        noise,
        goal: &case.goal,
        now_mm,
    };
    let Some(chosen) = bench.choose(&choices) else {
        return Ok(case.beyond(advice, None));
    };
    let varies = varies_too_much(card, last);
    let stays = chosen.pinion.move_mm == 0.0 && chosen.ring.move_mm == 0.0;
    let reads_right = case.reads_right();
    let good = chance_now >= SURE_ENOUGH
        || reads_right && (stays || chosen.chance < chance_now + WORTH_AN_ASSEMBLY);
    if good && !varies {
        advice.verdict = Verdict::Good;
        advice.change = Some(Move::default());
        advice.chance = advice.chance_now;
        case.predict(&mut advice, &now);
        explain::good(&mut advice, reads_right);
    } else if good || improbable(&estimate) || stays || chosen.chance < HOPELESS {
        case.fill(&mut advice, &chosen, &choices);
        return Ok(case.beyond(advice, Some(&chosen)));
    } else {
        advice.verdict = Verdict::Correct;
        case.fill(&mut advice, &chosen, &choices);
        explain::change(&mut advice, card, &chosen, units);
    }
    explain::cautions(&mut advice, card, last, units);
    Ok(advice)
}

/// The card with the target of a used set: the pattern and backlash it ran with.
fn as_it_ran(card: &Card, trials: &[Trial]) -> Card {
    let mut card = card.clone();
    let used = trials.last().and_then(|t| t.condition) == Some(Condition::Used);
    let Some(found) = trials.iter().find(|t| t.as_found).filter(|_| used) else {
        return card;
    };
    if let Some(drive) = &found.drive {
        card.target.drive = drive.centre;
    }
    if let Some(coast) = &found.coast {
        card.target.coast = coast.centre;
    }
    if let Some(mean_mm) = found.mean_backlash_mm() {
        let [low, high] = card.backlash_window_mm();
        let half = 0.5 * (high - low);
        card.limits.backlash_mm = Some([mean_mm - half, mean_mm + half]);
    }
    card
}

fn diagnosis(card: &Card, trials: &[Trial]) -> Diagnosis {
    trials
        .last()
        .map(|last| diagnose::trial(last, &card.target))
        .unwrap_or_default()
}

fn blank(diagnosis: Diagnosis) -> Advice {
    Advice {
        schema: SCHEMA.into(),
        verdict: Verdict::Measure,
        diagnosis,
        checks: Vec::new(),
        change: None,
        shims: None,
        predicted: None,
        chance: None,
        chance_now: None,
        runner_up: None,
        uncertainty: None,
        stands: None,
        unexplained: None,
        shares: Vec::new(),
        why: Vec::new(),
        cautions: Vec::new(),
    }
}

fn measure(mut advice: Advice, checks: Vec<Check>) -> Advice {
    advice.verdict = Verdict::Measure;
    advice
        .why
        .extend(checks.iter().map(|check| check.message.clone()));
    advice.checks = checks;
    advice
}

/// The numbers of a trial with their standard uncertainties.
fn see(number: usize, trial: &Trial, moved_mm: [f64; 2], noise: &Noise) -> Seen {
    let mut read = [None; SHOWN];
    for (i, side) in Side::BOTH.into_iter().enumerate() {
        let Some(reading) = trial.reading(side) else {
            continue;
        };
        let first = i * SHOWN_OF_A_FLANK;
        let u = reading
            .uncertainty
            .unwrap_or(FlankPoint::new(noise.length, noise.height));
        read[first] = Some((reading.centre.length, u.length.hypot(noise.model_length)));
        read[first + 1] = Some((reading.centre.height, u.height.hypot(noise.model_height)));
        if let Some(extent) = reading.extent {
            read[first + 2] = Some((extent.length, (2.0 * u.length).hypot(noise.extent)));
            read[first + 3] = Some((extent.height, (2.0 * u.height).hypot(noise.extent)));
        }
        if let Some(lean_deg) = reading.lean_deg {
            read[first + 4] = Some((lean_deg.to_radians(), noise.lean));
        }
    }
    if let Some(mean_mm) = trial.mean_backlash_mm() {
        let n = trial.backlash_mm.len() as f64;
        let spread_mm = trial.backlash_variation_mm().unwrap_or(0.0) / 2.0;
        let deviation_mm = noise.backlash_mm.max(spread_mm) / n.sqrt();
        read[SHOWN_BACKLASH] = Some((mean_mm, deviation_mm.hypot(noise.model_backlash_mm)));
    }
    Seen {
        trial: number,
        moved_mm,
        read,
        jammed: trial
            .mean_backlash_mm()
            .is_some_and(|mm| (0.0..NO_PLAY_MM).contains(&mm)),
    }
}

/// The target, with room in the backlash window for its variation round the gear.
fn goal(card: &Card, last: &Trial) -> Goal {
    let [low, high] = card.backlash_window_mm();
    // A window that variation would close keeps half its width: the verdict on run-out says the rest.
    let margin = (0.5 * last.backlash_variation_mm().unwrap_or(0.0)).min(0.25 * (high - low));
    Goal {
        centres: [card.target.drive, card.target.coast],
        tolerance: card.target.tolerance,
        window_mm: [low + margin, high - margin],
    }
}

/// Whether backlash varies round the gear by more than its limit.
fn varies_too_much(card: &Card, last: &Trial) -> bool {
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
fn improbable(estimate: &Estimate) -> bool {
    let n = estimate.numbers.max(1) as f64;
    let width = 2.0 / (9.0 * n);
    let deviations = ((estimate.misfit / n).cbrt() - (1.0 - width)) / width.sqrt();
    deviations > BEYOND_CHANCE
}

fn round(value: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    // Adding zero turns −0 into 0.
    (value * scale).round() / scale + 0.0
}

fn round_point(p: FlankPoint) -> FlankPoint {
    FlankPoint::new(round(p.length, 4), round(p.height, 4))
}

/// Everything known of a job that is complete enough for amounts.
struct Case<'a> {
    card: &'a Card,
    last: &'a Trial,
    observer: &'a Observer,
    estimate: &'a Estimate,
    seen: &'a [Seen],
    now_mm: [f64; 2],
    goal: Goal,
    units: Units,
}

impl Case<'_> {
    /// Where the gears stand, how sure that is, what is left unexplained, and who decided it.
    fn state(&self, advice: &mut Advice) {
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
        let sound = self.observer.without_faults(&self.estimate.unknowns);
        let (show, slopes) = self.observer.show_with_slopes(&sound, self.now_mm);
        let read = &self.seen[self.seen.len() - 1].read;
        let mut normal = Matrix2::zeros();
        let mut pull = nalgebra::Vector2::zeros();
        let rows = [0, 1, SHOWN_OF_A_FLANK, SHOWN_OF_A_FLANK + 1, SHOWN_BACKLASH];
        let off = |row: usize| read[row].map_or(0.0, |(value, _)| value - show[row]);
        for row in rows {
            let Some((_, deviation)) = read[row] else {
                continue;
            };
            let slope = nalgebra::Vector2::new(slopes[row][PINION], slopes[row][RING]) / deviation;
            normal += slope * slope.transpose();
            pull += slope * (off(row) / deviation);
        }
        let step = normal
            .try_inverse()
            .map_or_else(nalgebra::Vector2::zeros, |inverse| inverse * pull);
        let left =
            |row: usize| off(row) - slopes[row][PINION] * step[0] - slopes[row][RING] * step[1];
        let point = |first: usize| round_point(FlankPoint::new(left(first), left(first + 1)));
        Unexplained {
            drive: point(0),
            coast: point(SHOWN_OF_A_FLANK),
        }
    }

    /// Whether the last trial's own readings are right as they stand.
    fn reads_right(&self) -> bool {
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

    fn predict(&self, advice: &mut Advice, outlook: &Outlook) {
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
    fn fill(&self, advice: &mut Advice, chosen: &Chosen, choices: &places::Choices) {
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
    fn beyond(&self, mut advice: Advice, chosen: Option<&Chosen>) -> Advice {
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
