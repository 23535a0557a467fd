//! The advice: the estimate judged, the change chosen, the words put together.

use super::case::{Case, improbable, round, varies_too_much};
use super::choose::{Bench, Goal, Outlook};
use super::estimate::{Seen, fit};
use super::posterior::draws;
use super::unknowns::{Observer, Priors, SHOWN, SHOWN_BACKLASH, SHOWN_OF_A_FLANK};
use super::{Noise, RulesError, checks, diagnose, explain, places};
use crate::Result;
use crate::frames::{FlankPoint, Side};
use crate::reading::deviation;
use crate::schema::advice::SCHEMA;
use crate::schema::{Advice, Card, Check, Condition, Diagnosis, Move, Trial, Verdict};
use crate::units::Units;

/// An assembly this likely to be right is left alone.
const SURE_ENOUGH: f64 = 0.90;
/// An assembly that reads right is left alone unless a change is better by this much.
const WORTH_AN_ASSEMBLY: f64 = 0.15;
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
            .map_or(FlankPoint::new(noise.length, noise.height), deviation);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::FlankReading;
    use proptest::prelude::*;

    const CARD: &str = r#"
[gear]
ring_teeth = 39
pinion_teeth = 10
ring_diameter = "220mm"
face_width = "33mm"
offset = "38mm"
spiral_angle_deg = 31
cutting = "face-hobbed"
[limits]
backlash = ["0.15mm", "0.25mm"]
backlash_variation = "0.05mm"
[kit]
pinion_shims = ["0.05mm", "0.13mm", "0.50mm"]
side_shims = ["0.05mm", "0.13mm", "0.50mm"]
"#;

    fn reading() -> impl Strategy<Value = Option<FlankReading>> {
        let share = -0.2..1.2_f64;
        let extent = prop::option::of((0.0..1.1_f64, 0.0..1.1_f64));
        let uncertainty = prop::option::of((0.0..0.1_f64, 0.0..0.1_f64));
        prop::option::weighted(
            0.9,
            (
                share.clone(),
                share,
                extent,
                uncertainty,
                prop::option::of(-90.0..90.0_f64),
            )
                .prop_map(|(length, height, extent, uncertainty, lean_deg)| {
                    FlankReading {
                        centre: FlankPoint::new(length, height),
                        extent: extent.map(|(l, h)| FlankPoint::new(l, h)),
                        lean_deg,
                        uncertainty: uncertainty.map(|(l, h)| FlankPoint::new(l, h)),
                        taken: None,
                    }
                }),
        )
    }

    /// A trial that passes every check and may say anything.
    fn believable() -> impl Strategy<Value = Trial> {
        let share = 0.0..1.0_f64;
        let flank = (
            share.clone(),
            share.clone(),
            prop::option::of((share.clone(), share)),
        );
        let flank = flank.prop_map(|(length, height, extent)| {
            Some(FlankReading {
                centre: FlankPoint::new(length, height),
                extent: extent.map(|(l, h)| FlankPoint::new(l, h)),
                lean_deg: None,
                uncertainty: None,
                taken: None,
            })
        });
        (
            0.1..2.0_f64,
            0.1..3.0_f64,
            0.0..0.7_f64,
            flank.clone(),
            flank,
        )
            .prop_map(|(pinion, ring, backlash_mm, drive, coast)| Trial {
                pinion_shim_mm: Some(pinion),
                ring_side_shim_mm: Some(ring),
                far_side_shim_mm: Some(3.2 - ring),
                backlash_mm: vec![backlash_mm],
                drive,
                coast,
                ..Trial::default()
            })
    }

    fn trial() -> impl Strategy<Value = Trial> {
        (
            prop::option::of(prop_oneof![0.0..3.0_f64, -1.0..50.0_f64]),
            prop::option::of(0.0..4.0_f64),
            prop::option::of(0.0..4.0_f64),
            prop::collection::vec(prop_oneof![0.05..0.5_f64, -1.0..10.0_f64], 0..5),
            reading(),
            reading(),
        )
            .prop_map(|(pinion, ring, far, backlash_mm, drive, coast)| Trial {
                pinion_shim_mm: pinion,
                ring_side_shim_mm: ring,
                far_side_shim_mm: far,
                backlash_mm,
                drive,
                coast,
                ..Trial::default()
            })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]

        #[test]
        fn no_input_makes_a_wild_shim(
            trials in prop_oneof![
                prop::collection::vec(trial(), 0..4),
                prop::collection::vec(believable(), 1..4),
            ],
        ) {
            let card = Card::from_toml(CARD).unwrap();
            let advice = advise(&card, &trials).unwrap();
            if let Some(change) = advice.change {
                prop_assert!(change.pinion_mm.abs() <= 1.0 && change.ring_mm.abs() <= 1.0);
            }
            let shims = advice.shims.clone().unwrap_or_default();
            for pack in [shims.pinion, shims.ring_side, shims.far_side].into_iter().flatten() {
                prop_assert!(pack.to_mm >= 0.0);
                let stacked: f64 = pack.stack_mm.iter().sum();
                let unchanged = pack.to_mm == pack.from_mm;
                prop_assert!(unchanged || (stacked - pack.to_mm).abs() < 1e-4, "{pack:?}");
            }
            for chance in [advice.chance, advice.chance_now].into_iter().flatten() {
                prop_assert!((0.0..=1.0).contains(&chance));
            }
            let share: f64 = advice.shares.iter().map(|s| s.share).sum();
            prop_assert!(advice.shares.is_empty() || (share - 1.0).abs() < 0.01);
            prop_assert!(!advice.why.is_empty());
            prop_assert_eq!(advice.change.is_none(), advice.verdict == Verdict::Measure);
        }
    }

    /// Readings of one assembly, without extents.
    fn assembly(pinion_shim_mm: f64, height: f64, backlash_mm: f64) -> Trial {
        let flank = |height: f64| {
            Some(FlankReading {
                centre: FlankPoint::new(0.52, height),
                extent: None,
                lean_deg: None,
                uncertainty: None,
                taken: None,
            })
        };
        Trial {
            pinion_shim_mm: Some(pinion_shim_mm),
            ring_side_shim_mm: Some(2.0),
            far_side_shim_mm: Some(2.0),
            backlash_mm: vec![backlash_mm],
            drive: flank(0.5 + 0.5 * height),
            coast: flank(0.5 + height),
            ..Trial::default()
        }
    }

    #[test]
    fn a_second_trial_narrows_what_is_known() {
        let card = Card::from_toml(CARD).unwrap();
        let first = assembly(0.81, 0.2, 0.24);
        let second = assembly(0.94, 0.05, 0.20);
        let one = advise(&card, std::slice::from_ref(&first)).unwrap();
        let two = advise(&card, &[first, second]).unwrap();
        let sure = |advice: &Advice| advice.uncertainty.unwrap().pinion_mm;
        assert!(sure(&two) < sure(&one), "{} {}", sure(&two), sure(&one));
    }

    #[test]
    fn the_same_job_gets_the_same_advice() {
        let card = Card::from_toml(CARD).unwrap();
        let trials = [assembly(0.81, 0.2, 0.24)];
        assert_eq!(
            advise(&card, &trials).unwrap(),
            advise(&card, &trials).unwrap()
        );
    }

    #[test]
    fn the_zero_of_the_positions_does_not_matter() {
        let card = Card::from_toml(CARD).unwrap();
        let at = |zero_mm: f64| {
            let mut trial = assembly(0.0, 0.2, 0.24);
            trial.pinion_shim_mm = None;
            trial.ring_side_shim_mm = None;
            trial.far_side_shim_mm = None;
            trial.pinion_mm = Some(zero_mm);
            trial.ring_mm = Some(-zero_mm);
            advise(&card, &[trial]).unwrap().change
        };
        assert!(at(0.0).is_some());
        assert_eq!(at(0.0), at(7.3));
    }

    #[test]
    fn threaded_adjusters_turn_by_whole_notches() {
        let text = format!(
            "{CARD}\n[carrier]\nadjust = \"threaded\"\npitch = \"1.5mm\"\nnotches_per_turn = 20\n"
        );
        let card = Card::from_toml(&text).unwrap();
        let mut trial = assembly(0.81, 0.0, 0.42);
        trial.ring_notches = Some(0);
        let advice = advise(&card, &[trial]).unwrap();
        let notches = advice.shims.unwrap().ring_notches.unwrap();
        assert!(notches < 0, "{notches}");
        let ring_mm = advice.change.unwrap().ring_mm;
        assert!((ring_mm - f64::from(notches) * 0.075).abs() < 1e-9);
    }
}
