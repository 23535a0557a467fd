//! The advice: the estimate judged, the change chosen, the words put together.

use super::calibration::CALIBRATION;
use super::case::{Case, round, varies_too_much};
use super::choose::{Bench, Chosen};
use super::forward_model::ForwardModel;
use super::observation::Observation;
use super::outlook::Outlook;
use super::places::Choices;
use super::{RulesError, checks, diagnose, explain, places, summary, warm};
use crate::Result;
use crate::schema::advice::SCHEMA;
use crate::schema::{Advice, Card, Check, Condition, Diagnosis, Move, Trial, Verdict};
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
    let card = &as_it_ran(asked, trials);
    let checks = checks::before_amounts(card, trials, units)?;
    let mut advice = blank(diagnosis(card, trials));
    let Some(last) = trials.last() else {
        return Ok(measure(advice, checks));
    };
    explain::as_it_ran(&mut advice, asked, card, units);
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
    advice.chance_now = Some(round(weighed.chance_now, 3));
    let blamed = advice.suspects.first().and_then(|suspect| suspect.trial);
    let settled = case.settled() && blamed != Some(trials.len());
    let second_look = second_look.filter(|_| !settled);
    write_judgement(&mut advice, &case, &weighed, settled, second_look);
    explain::preload_moved(&mut advice, &used, units);
    warm::caution(&mut advice, &case);
    explain::cautions(&mut advice, card, last, units);
    summary::write(&mut advice, card, units);
    Ok(advice)
}

/// The trials that can be put on one scale with what was read of them, and what to say of the others.
fn observe<'a>(
    card: &Card,
    trials: &'a [Trial],
) -> (Vec<&'a Trial>, Vec<Observation>, Vec<String>) {
    let (used, left_out) = checks::comparable(card, trials);
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

/// What the shims at hand can do, and what leaving them would.
struct Weighed {
    /// What the shims at hand allow.
    choices: Choices,
    /// The outlook if nothing is changed.
    now: Outlook,
    /// Its chance.
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
    let now = Outlook::now(&case.draws, case.now);
    let chosen = Bench {
        explained: &case.explained,
        draws: &case.draws,
        goal: &case.goal,
        now: case.now,
    }
    .choose(&choices);
    Weighed {
        choices,
        chance_now: now.chance(&case.goal),
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
    let good = chance_now >= limits.sure_enough
        || case.reads_right() && not_worth_it && chance_now >= limits.even
        || settled;
    if good && !varies_too_much(case.card, case.last) {
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
            Case::predict(advice, &weighed.now);
            if weighed.chance_now < CALIBRATION.verdict.even {
                explain::settled(advice);
            } else {
                explain::good(advice, case.reads_right());
            }
        }
        Judgement::Change(chosen) => {
            advice.verdict = Verdict::Change;
            case.fill(advice, chosen, &weighed.choices);
            explain::change(advice, case.card, chosen, case.units);
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

/// The card with the target of a used set: the pattern and backlash it ran with.
pub(crate) fn as_it_ran(card: &Card, trials: &[Trial]) -> Card {
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
        card.limits.backlash_mm = Some([(mean_mm - half).max(0.0), mean_mm + half]);
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
        summary: String::new(),
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
    advice.cautions.push(explain::SAFETY.into());
    advice
        .why
        .extend(checks.iter().map(|check| check.message.clone()));
    advice.checks = checks;
    advice
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::FlankPoint;
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
                        spread: None,
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
                spread: None,
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
                spread: None,
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

    /// Two trials that no set shows together: the same packs, the patches a third of the flank apart. As it will be driven,
    /// with the side bearings preloaded, the last one is right and decides.
    #[test]
    fn an_assembly_that_is_right_with_its_preload_is_good_whatever_came_before() {
        let card = Card::from_toml(CARD).unwrap();
        let before = assembly(0.81, 0.35, 0.24);
        let mut last = assembly(0.81, 0.0, 0.20);
        let contradicted = advise(&card, &[before.clone(), last.clone()]).unwrap();
        assert_ne!(contradicted.verdict, Verdict::Good);
        last.side_preload = true;
        let settled = advise(&card, &[before, last]).unwrap();
        assert_eq!(settled.verdict, Verdict::Good, "{:?}", settled.why);
        let why = settled.why.join(" ");
        assert!(
            why.contains("with it 0.200 mm: preload moves it a little"),
            "{why}"
        );
    }

    #[test]
    fn a_used_set_says_that_its_own_pattern_and_backlash_are_the_target() {
        let card = Card::from_toml(CARD).unwrap();
        let mut found = assembly(0.81, 0.1, 0.30);
        found.as_found = true;
        let mut last = assembly(0.81, 0.1, 0.30);
        for trial in [&mut found, &mut last] {
            trial.condition = Some(Condition::Used);
        }
        let advice = advise(&card, &[found, last.clone()]).unwrap();
        let first = &advice.why[0];
        assert!(
            first.contains("0.250 mm to 0.350 mm (the card has 0.150 mm to 0.250 mm)"),
            "{first}"
        );
        let alone = advise(&card, &[last]).unwrap();
        assert!(
            alone
                .why
                .iter()
                .all(|why| !why.contains("The gears are used"))
        );
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
