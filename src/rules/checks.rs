//! What must be there and believable before any amount is computed.

use super::RulesError;
use super::calibration::{CALIBRATION, CheckLimits};
use crate::frames::Side;
use crate::schema::{Card, Check, CheckCode, FlankReading, Trial};
use crate::units::{INCH_MM, THOU_MM, Units, possible_numbers};

/// What no axle shows.
const LIMITS: CheckLimits = CALIBRATION.checks;

fn check(code: CheckCode, message: String) -> Check {
    Check { code, message }
}

/// Everything that stands in the way of an amount, worst first; empty when nothing does.
///
/// # Errors
/// A number that no axle has, or a time that is none.
pub(crate) fn before_amounts(
    card: &Card,
    trials: &[Trial],
    units: Units,
) -> Result<Vec<Check>, RulesError> {
    let Some(last) = trials.last() else {
        return Ok(vec![check(
            CheckCode::NoTrial,
            "No assembly is recorded yet: assemble, set the backlash, paint, roll both ways, and \
             record shims, backlash and a photo of each flank."
                .into(),
        )]);
    };
    let mut checks = Vec::new();
    for (number, trial) in (1..).zip(trials) {
        numbers(number, trial)?;
        readings(number, trial, &mut checks);
        backlash(number, trial, trials, card, units, &mut checks);
        packs(number, trial, card, units, &mut checks);
        torque(number, trial, &mut checks);
    }
    pack_changes(trials, units, &mut checks);
    for side in Side::BOTH {
        if last.photo_is_stale(side)? {
            checks.push(check(
                CheckCode::PhotoOlder,
                format!(
                    "The photo of the {} flank is older than the last change of shims: roll the gears \
                     again and take a new one.",
                    side.word()
                ),
            ));
        }
    }
    missing(last, &mut checks);
    Ok(checks)
}

fn missing(last: &Trial, checks: &mut Vec<Check>) {
    if last.drive.is_none() && last.coast.is_none() {
        checks.push(check(
            CheckCode::DriveMissing,
            "No photo of this assembly was read: paint four or five teeth, roll them through both ways, and photograph the \
             drive flanks."
                .into(),
        ));
        checks.push(check(
            CheckCode::CoastMissing,
            "The coast flanks need a photo too.".into(),
        ));
    }
    let one_flank = last.drive.is_some() || last.coast.is_some();
    let gone = [
        (
            one_flank && last.drive.is_none(),
            CheckCode::DriveMissing,
            "The drive flank was not read: one flank alone cannot tell a pinion out of place from a \
             gear that is not as the card says. Photograph the drive flanks of the same assembly.",
        ),
        (
            one_flank && last.coast.is_none(),
            CheckCode::CoastMissing,
            "The coast flank was not read: one flank alone cannot tell a pinion out of place from a \
             gear that is not as the card says. Photograph the coast flanks of the same assembly.",
        ),
        (
            last.backlash_mm.is_empty(),
            CheckCode::BacklashMissing,
            "Backlash was not measured: the ring gear's place hardly shows in the patches, the dial \
             indicator shows it. Measure at four places round the gear or more.",
        ),
    ];
    checks.extend(
        gone.into_iter()
            .filter(|(is, ..)| *is)
            .map(|(_, code, message)| check(code, message.into())),
    );
}

fn numbers(number: usize, trial: &Trial) -> Result<(), RulesError> {
    let known = Trial {
        other: serde_json::Map::new(),
        ..trial.clone()
    };
    possible_numbers(&known).map_err(|error| RulesError::Job(format!("trial {number}: {error}")))
}

fn readings(number: usize, trial: &Trial, checks: &mut Vec<Check>) {
    let on_flank = |x: f64| (0.0..=1.0).contains(&x);
    for side in Side::BOTH {
        let Some(FlankReading {
            centre,
            extent,
            uncertainty,
            ..
        }) = trial.reading(side)
        else {
            continue;
        };
        let mut say = |what: String| {
            checks.push(check(
                CheckCode::ReadingImpossible,
                format!("Trial {number}, {} flank: {what}", side.word()),
            ));
        };
        if !on_flank(centre.length) || !on_flank(centre.height) {
            let percent = on_flank(centre.length / 100.0) && on_flank(centre.height / 100.0);
            say(format!(
                "the centre ({}, {}) is not on the flank, where both numbers run from 0 to 1.{}",
                centre.length,
                centre.height,
                if percent { " Were percent meant?" } else { "" }
            ));
        }
        if extent.is_some_and(|e| !on_flank(e.length) || !on_flank(e.height)) {
            say("the extent is larger than the flank, which is 1 long and 1 high.".into());
        }
        if uncertainty.is_some_and(|u| u.length < 0.0 || u.height < 0.0) {
            say("the uncertainty is below zero.".into());
        }
    }
}

fn backlash(
    number: usize,
    trial: &Trial,
    trials: &[Trial],
    card: &Card,
    units: Units,
    checks: &mut Vec<Check>,
) {
    let Some(mean_mm) = trial.mean_backlash_mm() else {
        return;
    };
    let [low_mm, high_mm] = card.backlash_window_mm();
    let [below, above] = LIMITS.near_window;
    let near_window = |mm: f64| (below * low_mm..=above * high_mm).contains(&mm);
    let mut say = |message: String| {
        checks.push(check(
            CheckCode::BacklashImpossible,
            format!("Trial {number}: {message}"),
        ));
    };
    if trial
        .backlash_mm
        .iter()
        .any(|mm| *mm < LIMITS.negative_backlash_mm)
    {
        say(format!(
            "backlash {} is below zero; write the free movement the indicator shows.",
            units.shim(mean_mm)
        ));
    } else if mean_mm > 0.0
        && mean_mm < LIMITS.tight_backlash_mm
        && near_window(mean_mm * INCH_MM)
        && trial.backlash_mm.iter().all(|mm| on_inch_dial(*mm))
        && trials.iter().all(|t| {
            t.mean_backlash_mm()
                .is_none_or(|mm| mm < LIMITS.tight_backlash_mm)
        })
    {
        say(format!(
            "a backlash of {mean_mm:.4} mm would be almost none; was {mean_mm:.4} in ({:.3} mm) meant? \
             If it is inches, write {:.3} mm; if the gears really are that tight, back the ring gear off \
             until there is play and measure again.",
            mean_mm * INCH_MM,
            mean_mm * INCH_MM
        ));
    } else if mean_mm > LIMITS.loose_backlash_mm {
        say(format!(
            "a backlash of {mean_mm:.2} mm is more than any axle has; {}",
            if near_window(mean_mm * THOU_MM) {
                format!(
                    "were {mean_mm:.1} thousandths of an inch ({:.3} mm) meant?",
                    mean_mm * THOU_MM
                )
            } else {
                "measure again.".into()
            }
        ));
    }
    if let Some(limit_mm) = card.limits.backlash_variation_mm
        && let Some(variation_mm) = trial.backlash_variation_mm()
        && variation_mm > LIMITS.variation_limits * limit_mm
    {
        checks.push(check(
            CheckCode::BacklashVaries,
            format!(
                "Trial {number}: backlash varies by {} round the gear, the limit is {}; one of the \
                 readings must be wrong. Measure again at every place, the indicator's foot square to \
                 the tooth each time.",
                units.shim(variation_mm),
                units.shim(limit_mm)
            ),
        ));
    }
}

/// Whether a number could have been read off a dial with half-thou graduations.
fn on_inch_dial(value: f64) -> bool {
    let graduations = value / 0.000_5;
    (graduations - graduations.round()).abs() < 1e-6
}

fn packs(number: usize, trial: &Trial, card: &Card, units: Units, checks: &mut Vec<Check>) {
    let kinds = [
        (
            "pinion pack",
            trial.pinion_shim_mm,
            &card.kit.pinion_shims_mm,
            LIMITS.most_pinion_pack_mm,
        ),
        (
            "ring-side pack",
            trial.ring_side_shim_mm,
            &card.kit.side_shims_mm,
            LIMITS.most_side_pack_mm,
        ),
        (
            "far-side pack",
            trial.far_side_shim_mm,
            &card.kit.side_shims_mm,
            LIMITS.most_side_pack_mm,
        ),
    ];
    for (name, pack, kit, most_mm) in kinds {
        let Some(pack_mm) = pack else { continue };
        let mut say = |message: String| {
            checks.push(check(
                CheckCode::ShimImpossible,
                format!("Trial {number}: {message}"),
            ));
        };
        let thinnest_mm = kit.iter().copied().fold(f64::INFINITY, f64::min);
        let least_mm = if thinnest_mm.is_finite() {
            LIMITS.least_of_thinnest * thinnest_mm
        } else {
            LIMITS.least_pack_mm
        };
        if pack_mm < 0.0 {
            say(format!(
                "the {name} is {}, but a pack cannot be thinner than nothing.",
                units.shim(pack_mm)
            ));
        } else if pack_mm > 0.0 && pack_mm < least_mm {
            say(format!(
                "a {name} of {pack_mm} mm is thinner than any shim; was {pack_mm} in ({:.3} mm) meant?",
                pack_mm * INCH_MM
            ));
        } else if pack_mm > most_mm {
            say(format!(
                "a {name} of {pack_mm} mm is thicker than any axle takes; {}",
                if pack_mm * THOU_MM > LIMITS.least_pack_mm {
                    format!(
                        "were {pack_mm} thousandths of an inch ({:.3} mm) meant?",
                        pack_mm * THOU_MM
                    )
                } else {
                    "measure it again.".into()
                }
            ));
        }
    }
}

fn torque(number: usize, trial: &Trial, checks: &mut Vec<Check>) {
    let Some(torque_nm) = trial.pinion_torque_nm else {
        return;
    };
    if !(0.0..=LIMITS.most_rotating_torque_nm).contains(&torque_nm) {
        checks.push(check(
            CheckCode::TorqueImpossible,
            format!(
                "Trial {number}: a rotating torque of {torque_nm} N·m cannot be right for pinion \
                 bearings; was {torque_nm} lb-in ({}) meant?",
                Units::Mm.torque(torque_nm * crate::units::POUND_FORCE_N * INCH_MM / 1000.0)
            ),
        ));
    }
}

/// Packs of one job that differ by more than any correction were not written in one unit.
fn pack_changes(trials: &[Trial], units: Units, checks: &mut Vec<Check>) {
    let mut run = |name: &str, there: Vec<f64>| {
        let low = there.iter().copied().fold(f64::INFINITY, f64::min);
        let high = there.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if high - low > LIMITS.most_pack_change_mm {
            checks.push(check(
                CheckCode::ShimImpossible,
                format!(
                    "The {name} of this job run from {} to {}; no correction is that large. Was one \
                     written in another unit?",
                    units.shim(low),
                    units.shim(high)
                ),
            ));
        }
    };
    let all = |of: fn(&Trial) -> Option<f64>| trials.iter().filter_map(of).collect();
    run("pinion packs", all(|t| t.pinion_shim_mm));
    run("ring-side packs", all(|t| t.ring_side_shim_mm));
    run("far-side packs", all(|t| t.far_side_shim_mm));
    run("pinion places", all(|t| t.pinion_mm));
    run("ring-gear places", all(|t| t.ring_mm));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_assembly_without_photos_is_not_one_flank_alone() {
        let mut checks = Vec::new();
        let measured = Trial {
            backlash_mm: vec![0.2],
            ..Trial::default()
        };
        missing(&measured, &mut checks);
        let codes: Vec<CheckCode> = checks.iter().map(|check| check.code).collect();
        assert_eq!(codes, [CheckCode::DriveMissing, CheckCode::CoastMissing]);
        assert!(
            checks
                .iter()
                .all(|check| !check.message.contains("one flank alone"))
        );
    }

    /// What is said of the backlash of the last of these trials.
    fn said_of(backlash_mm: &[&[f64]]) -> String {
        let card = Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap();
        let trials: Vec<Trial> = (backlash_mm.iter())
            .map(|mm| Trial {
                backlash_mm: mm.to_vec(),
                ..Trial::default()
            })
            .collect();
        let mut checks = Vec::new();
        let last = trials.last().unwrap();
        backlash(trials.len(), last, &trials, &card, Units::Mm, &mut checks);
        checks.into_iter().map(|check| check.message).collect()
    }

    #[test]
    fn inches_are_suspected_where_all_of_the_job_reads_like_them() {
        assert!(said_of(&[&[0.008, 0.0085, 0.0085, 0.009]]).contains("in (0.216 mm) meant?"));
        assert!(said_of(&[&[0.0085], &[0.008]]).contains("meant?"));
        // Millimetres before, no play at all, and what would be no window in inches either.
        assert_eq!(said_of(&[&[0.2], &[0.0085]]), "");
        assert_eq!(said_of(&[&[0.0, 0.0]]), "");
        assert_eq!(said_of(&[&[0.001]]), "");
        assert!(said_of(&[&[8.5]]).contains("thousandths of an inch (0.216 mm) meant?"));
        assert!(said_of(&[&[99.0]]).contains("measure again"));
        assert_eq!(said_of(&[&[LIMITS.loose_backlash_mm]]), "");
    }

    #[test]
    fn packs_of_one_job_differ_by_no_more_than_a_correction() {
        let told = |by_mm: f64| {
            let trials = [2.0, 2.0 + by_mm].map(|mm| Trial {
                ring_side_shim_mm: Some(mm),
                ..Trial::default()
            });
            let mut checks = Vec::new();
            pack_changes(&trials, Units::Mm, &mut checks);
            checks.len()
        };
        assert_eq!((told(0.4), told(-0.4)), (0, 0));
        let most = LIMITS.most_pack_change_mm;
        assert_eq!((told(most + 0.1), told(-most - 0.1)), (1, 1));
    }
}
