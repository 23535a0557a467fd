//! The advice: the estimate judged, the change chosen, the words put together.

use super::calibration::CALIBRATION;
use super::case::{Case, round, varies_too_much};
use super::choose::{Bench, Chosen};
use super::comparable::comparable;
use super::forward_model::ForwardModel;
use super::observation::Observation;
use super::outlook::Outlook;
use super::places::Choices;
use super::{RulesError, cautions, checks, diagnose, explain, places, summary, used_set, warm};
use crate::Result;
use crate::schema::advice::SCHEMA;
use crate::schema::{Advice, Card, Check, Diagnosis, Move, SuspectKind, Trial, Verdict};
use crate::units::Units;
use std::rc::Rc;

/// Advice on the trials so far, oldest first, worded in the units the card is written in.
///
/// # Errors
/// Gears that cannot mesh; numbers that are not finite.
pub fn advise(card: &Card, trials: &[Trial]) -> Result<Advice> {
    advise_in(card, trials, card.units.unwrap_or_default())
}

/// Advice worded in the units asked for.
///
/// # Errors
/// As [`advise`].
pub fn advise_in(card: &Card, trials: &[Trial], units: Units) -> Result<Advice> {
    let asked = card;
    let card = &used_set::as_it_ran(asked, trials);
    let checks = checks::before_amounts(card, trials, units)?;
    let mut advice = blank(diagnosis(card, trials));
    let Some(last) = trials.last() else {
        return Ok(measure(advice, checks));
    };
    used_set::explain(&mut advice, asked, card, units);
    explain::where_it_stands(&mut advice, card, last, trials.len(), units);
    if !checks.is_empty() {
        return Ok(measure(advice, checks));
    }
    let (used, observations, left_out) = observe(card, trials);
    advice.cautions.extend(left_out);
    let model = Rc::new(ForwardModel::new(card).map_err(RulesError::from)?);
    let case = Case::new(card, last, model, (&used, &observations), units);
    case.state(&mut advice);
    let second_look = case.suspect(&mut advice);
    let weighed = weigh(&case);
    advice.chance_now = Some(round(weighed.now.chance(&case.goal), 3));
    let settled = case.settled() && !doubts_the_last(&advice, trials.len());
    let second_look = second_look.filter(|_| !settled);
    write_judgement(&mut advice, &case, &weighed, settled, second_look);
    explain::preload_moved(&mut advice, &used, units);
    warm::caution(&mut advice, &case);
    cautions::write(&mut advice, card, last, units);
    summary::write(&mut advice, card, units);
    Ok(advice)
}

/// The trials that can be put on one scale with what was read of them, and what to say of the others.
fn observe<'a>(
    card: &Card,
    trials: &'a [Trial],
) -> (Vec<&'a Trial>, Vec<Observation>, Vec<String>) {
    let (mut used, mut left_out) = comparable(card, trials);
    let most = CALIBRATION.numerics.most_weighed;
    if used.len() > most {
        used.drain(..used.len() - most);
        left_out.push(format!("Only the newest {most} assemblies are weighed."));
    }
    let preloaded = trials.last().is_some_and(|last| last.side_preload);
    let observations = used
        .iter()
        .map(|(i, moved)| {
            let told = Observation::of(i + 1, &trials[*i], *moved);
            if trials[*i].side_preload == preloaded {
                told
            } else {
                told.of_another_preload()
            }
        })
        .collect();
    let used = used.iter().map(|(i, _)| &trials[*i]).collect();
    (used, observations, left_out)
}

/// Whether what is suspected first would make the last trial's own readings wrong: its photos, or how the dial stands. A
/// pack noted wrong does not, nor does a backlash that is odd beside those without preload.
fn doubts_the_last(advice: &Advice, last: usize) -> bool {
    advice
        .suspects
        .first()
        .is_some_and(|suspect| match suspect.what {
            SuspectKind::DriveMisread
            | SuspectKind::CoastMisread
            | SuspectKind::FlanksSwapped
            | SuspectKind::EndsSwapped
            | SuspectKind::OldPhoto => suspect.trial == Some(last),
            SuspectKind::DialSetting => true,
            _ => false,
        })
}

/// What the shims at hand can do, and what leaving them would.
struct Weighed {
    /// What the shims at hand allow.
    choices: Choices,
    /// The outlook if nothing is changed.
    now: Outlook,
    /// Its chance, without what nothing read so far could show.
    chance_now: f64,
    /// The best change; `None` where there is none at all.
    chosen: Option<Chosen>,
}

impl Weighed {
    /// Whether some pack or notch at hand brings the backlash into its window, the pinion where it is chosen to be.
    fn reaches_window(&self, case: &Case, chosen: &Chosen) -> bool {
        let [low_mm, high_mm] = case.goal.window_mm;
        let backlash_mm = chosen.outlook.expected().backlash_mm;
        let per_ring = case.model.backlash_per_ring();
        self.choices.ring.iter().any(|ring| {
            let change_mm = per_ring * (ring.move_mm - chosen.ring.move_mm);
            (low_mm..=high_mm).contains(&(backlash_mm + change_mm))
        })
    }
}

fn weigh(case: &Case) -> Weighed {
    let choices = places::choices(case.card, case.last);
    let now = Outlook::now(&case.explained, &case.draws, case.now);
    let chosen = Bench {
        explained: &case.explained,
        draws: &case.draws,
        goal: &case.goal,
        now: case.now,
    }
    .choose(&choices);
    Weighed {
        choices,
        chance_now: now.without_unseen().chance(&case.goal),
        now,
        chosen,
    }
}

/// The verdicts that amounts lead to.
enum Judgement<'a> {
    /// Right as it stands.
    Good,
    /// This change.
    Change(&'a Chosen),
    /// Look again before anything is changed.
    LookAgain,
    /// No shim cures it; the best that shims alone can do, if anything.
    BeyondShims(Option<&'a Chosen>),
}

fn judge<'a>(case: &Case, weighed: &'a Weighed, settled: bool) -> Judgement<'a> {
    let limits = &CALIBRATION.verdict;
    let Some(chosen) = &weighed.chosen else {
        return Judgement::BeyondShims(None);
    };
    let chance_now = weighed.chance_now;
    let not_worth_it = chosen.stays() || chosen.chance < chance_now + limits.worth_an_assembly;
    // Run-out narrows what is left of the window, and no shim takes it out: it comes before the last thou.
    let varies = varies_too_much(case.card, case.last);
    let good = chance_now >= limits.sure_enough
        || case.reads_right() && (not_worth_it || varies) && chance_now >= limits.even
        || settled;
    if good && !varies {
        return Judgement::Good;
    }
    if good {
        return Judgement::BeyondShims(Some(chosen));
    }
    if !chosen.stays() && chosen.chance >= limits.hopeless {
        return Judgement::Change(chosen);
    }
    // No change helps much. A set is given up when nothing else is left: what was told is believed, and it was seen
    // twice or is beyond doubt; or when no pack at hand brings the backlash into its window.
    let no_pack = !weighed.reaches_window(case, chosen);
    let believed = case.doubted() < limits.doubtful;
    let seen_enough = if case.observations.len() < 2 {
        case.faulty() >= limits.fault_at_first_sight
    } else {
        case.faulty() >= limits.even || no_pack
    };
    if believed && (seen_enough || no_pack && case.faulty() < limits.even) {
        Judgement::BeyondShims(Some(chosen))
    } else if chosen.stays() {
        Judgement::LookAgain
    } else {
        Judgement::Change(chosen)
    }
}

fn write_judgement(
    advice: &mut Advice,
    case: &Case,
    weighed: &Weighed,
    settled: bool,
    second_look: Option<Check>,
) {
    match judge(case, weighed, settled) {
        Judgement::Good => {
            advice.verdict = Verdict::Good;
            advice.change = Some(Move::default());
            advice.chance = advice.chance_now;
            Case::predict(advice, &weighed.now.without_unseen());
            if weighed.chance_now < CALIBRATION.verdict.even {
                explain::settled(advice);
            } else {
                explain::good(advice, case.reads_right());
            }
            if let Some(look) = case.look_at_dial() {
                advice.why.push(look.message.clone());
                advice.checks.push(look);
            }
        }
        Judgement::Change(chosen) => {
            advice.verdict = Verdict::Change;
            case.fill(advice, chosen, &weighed.choices);
            explain::change(advice, case.card, chosen, case.units);
            advice.why.extend(case.unseen_sentence());
        }
        Judgement::LookAgain => {
            advice.verdict = Verdict::Measure;
            if second_look.is_none() {
                let check = explain::look_again();
                advice.why.push(check.message.clone());
                advice.checks.push(check);
            }
        }
        Judgement::BeyondShims(chosen) => {
            if let Some(chosen) = chosen {
                case.fill(advice, chosen, &weighed.choices);
            }
            case.beyond(advice, chosen);
        }
    }
    if let Some(look) = second_look {
        advice.why.insert(0, look.message.clone());
        advice.checks.insert(0, look);
    }
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
        summary: String::new(),
        instruction: String::new(),
        diagnosis,
        checks: Vec::new(),
        change: None,
        shims: None,
        predicted: None,
        chance: None,
        chance_now: None,
        runner_up: None,
        uncertainty: None,
        suspects: Vec::new(),
        stands: None,
        unexplained: None,
        shares: Vec::new(),
        why: Vec::new(),
        cautions: Vec::new(),
    }
}

fn measure(mut advice: Advice, checks: Vec<Check>) -> Advice {
    advice.verdict = Verdict::Measure;
    advice.summary = summary::measure(checks.first());
    advice.instruction = summary::measure_first(checks.first());
    advice.cautions.push(explain::SAFETY.into());
    advice
        .why
        .extend(checks.iter().map(|check| check.message.clone()));
    advice.checks = checks;
    advice
}

#[cfg(test)]
mod tests;
