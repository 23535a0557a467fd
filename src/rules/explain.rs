//! Why: plain sentences with numbers, from the diagnosis to the shim, that an apprentice follows.

use super::calibration::CALIBRATION;
use super::choose::Chosen;
use super::doubts::Fault;
use super::outlook::Goal;
use super::places::Means;
use super::summary;
use crate::frames::{FlankPoint, Side};
use crate::schema::{
    Adjust, Advice, Card, Check, CheckCode, Cutting, Pack, ReadingKind, ShimPlace, Trial,
};
use crate::units::Units;

/// How to check the housing when nothing else is found.
pub(crate) const HOUSING_CHECK: &str = "Check the housing: bearing caps on their own sides, bearings fully \
    seated, no burr or dirt under the ring gear; then with a mandrel and a dial indicator the distance \
    between pinion axis and carrier axis, and their squareness over the width of the case.";

/// What goes with every verdict.
pub(crate) const SAFETY: &str = "Support the axle on stands and chock the wheels; keep fingers out of the mesh. A drive axle is \
    safety-critical: limits and torques come from the manual of your axle, local rules and licensed practice go before \
    anything said here.";

pub(super) fn place(p: FlankPoint) -> String {
    format!(
        "{:.0} % of the length from the toe and {:.0} % of the height from the root",
        100.0 * p.length,
        100.0 * p.height
    )
}

/// `15 % to the heel and 21 % to the tip of its target`.
fn offset(length: f64, height: f64) -> String {
    let along = if length < 0.0 { "toe" } else { "heel" };
    let up = if height < 0.0 { "root" } else { "tip" };
    format!(
        "{:.0} % to the {along} and {:.0} % to the {up} of its target",
        100.0 * length.abs(),
        100.0 * height.abs()
    )
}

/// `toward` or `away from`.
pub(super) fn way(move_mm: f64) -> &'static str {
    if move_mm < 0.0 { "toward" } else { "away from" }
}

/// Preload of the side bearings moves backlash a little; says by how much where the shims did not.
pub(crate) fn preload_moved(advice: &mut Advice, used: &[&Trial], units: Units) {
    let Some((last, earlier)) = used.split_last() else {
        return;
    };
    let before = earlier
        .iter()
        .rev()
        .find(|t| !t.side_preload && !t.as_found);
    let Some(before) = before.filter(|_| last.side_preload) else {
        return;
    };
    if let (Some(was_mm), Some(is_mm)) = (before.mean_backlash_mm(), last.mean_backlash_mm())
        && last.pinion_shim_mm == before.pinion_shim_mm
        && (was_mm - is_mm).abs() > CALIBRATION.noise.backlash_mm
    {
        advice.why.push(format!(
            "Without preload on the side bearings the backlash was {}, with it {}: preload moves it a little, so trials \
             without it count less for the backlash.",
            units.shim(was_mm),
            units.shim(is_mm)
        ));
    }
}

/// It is right as it reads, whatever trials without side-bearing preload showed.
pub(crate) fn settled(advice: &mut Advice) {
    advice.why.push(
        "With the side bearings preloaded both patches are inside the target's tolerance and the backlash inside its \
         window. Earlier trials without that preload do not fit it well; the assembly as it will be driven decides. Leave \
         the shims, and look at the outlines on both photos once more."
            .into(),
    );
}

/// What was read of the last trial.
pub(crate) fn where_it_stands(
    advice: &mut Advice,
    card: &Card,
    last: &Trial,
    trials: usize,
    units: Units,
) {
    for side in Side::BOTH {
        let found = match side {
            Side::Drive => &advice.diagnosis.drive,
            Side::Coast => &advice.diagnosis.coast,
        };
        if let (Some(found), Some(reading)) = (found, last.reading(side)) {
            advice.why.push(format!(
                "Trial {trials}: the {} patch stands at {}, {}: {}.",
                side.word(),
                place(reading.centre),
                offset(found.length, found.height),
                found.words
            ));
        }
    }
    if let Some(mean_mm) = last.mean_backlash_mm() {
        let [low, high] = card.backlash_window_mm();
        let judged = if mean_mm < low {
            "too little"
        } else if mean_mm > high {
            "too much"
        } else {
            "inside"
        };
        let places = last.backlash_mm.len();
        advice.why.push(format!(
            "Backlash is {} ({}); the window is {} to {}: {judged}.",
            units.shim(mean_mm),
            if places == 1 {
                "one place".into()
            } else {
                format!("mean of {places} places")
            },
            units.shim(low),
            units.shim(high)
        ));
    }
}

/// Where the trials put the gears, and the reading that counted most.
fn estimate_sentences(advice: &mut Advice, units: Units) {
    if let (Some(stands), Some(u)) = (advice.stands, advice.uncertainty) {
        let far = |mm: f64| if mm < 0.0 { "too near" } else { "too far from" };
        let trials = advice
            .shares
            .iter()
            .map(|s| s.trial)
            .collect::<std::collections::BTreeSet<_>>()
            .len();
        advice.why.push(format!(
            "{} put the pinion {} ± {} {} the ring gear, and the ring gear {} ± {} {} the pinion.",
            if trials == 1 {
                "The readings together".into()
            } else {
                format!("All {trials} trials together")
            },
            units.shim(stands.pinion_mm.abs()),
            units.shim(u.pinion_mm),
            far(stands.pinion_mm),
            units.shim(stands.ring_mm.abs()),
            units.shim(u.ring_mm),
            far(stands.ring_mm),
        ));
    }
    let share = |kind: ReadingKind| {
        100.0
            * advice
                .shares
                .iter()
                .filter(|s| s.reading == kind)
                .map(|s| s.share)
                .sum::<f64>()
    };
    if !advice.shares.is_empty() {
        advice.why.push(format!(
            "Of that, the drive photos decided {:.0} %, the coast photos {:.0} %, the backlash {:.0} %.",
            share(ReadingKind::Drive),
            share(ReadingKind::Coast),
            share(ReadingKind::Backlash)
        ));
    }
}

fn stack(pack: &Pack, units: Units) -> String {
    if pack.stack_mm.is_empty() {
        return String::new();
    }
    let parts: Vec<String> = pack.stack_mm.iter().map(|mm| units.shim(*mm)).collect();
    format!(" ({})", parts.join(" + "))
}

fn pack_sentence(name: &str, pack: &Pack, units: Units) -> String {
    if (pack.to_mm - pack.from_mm).abs() < 1e-9 {
        return format!("{name} stays at {}", units.shim(pack.from_mm));
    }
    format!(
        "{name} from {} to {}{}",
        units.shim(pack.from_mm),
        units.shim(pack.to_mm),
        stack(pack, units)
    )
}

/// The change, step by step.
pub(crate) fn change(advice: &mut Advice, card: &Card, chosen: &Chosen, units: Units) {
    estimate_sentences(advice, units);
    let method = match card.gear.cutting {
        Cutting::FaceMilled => "face-milled",
        Cutting::FaceHobbed => "face-hobbed",
    };
    let (pinion_mm, ring_mm) = (chosen.pinion.move_mm, chosen.ring.move_mm);
    if pinion_mm == 0.0 {
        advice
            .why
            .push("The pinion stays where it is: moving it would not help.".into());
    } else {
        let effect = if pinion_mm < 0.0 { "lowers" } else { "raises" };
        let mut sentence = format!(
            "Move the pinion {} {} the ring gear: on this {method} set that {effect} both patches.",
            units.shim(pinion_mm.abs()),
            way(pinion_mm)
        );
        if let Some(pack) = advice.shims.as_ref().and_then(|s| s.pinion.as_ref()) {
            let (sits, does) = match card.pinion.shim_place {
                ShimPlace::BehindHeadBearing => ("behind the head bearing", "toward"),
                ShimPlace::UnderCage => ("under the cage", "away from"),
            };
            sentence.push_str(&format!(
                " Its shims sit {sits}, where thicker moves it {does} the ring gear: {}.",
                pack_sentence("pinion pack", pack, units)
            ));
        }
        advice.why.push(sentence);
    }
    advice
        .why
        .push(ring_sentence(advice, chosen, ring_mm, units));
    if let (Some(predicted), Some(chance)) = (&advice.predicted, advice.chance) {
        advice.why.push(format!(
            "The next assembly should show drive at {}, coast at {}, and a backlash of {}; the chance \
             that all three are right is {:.0} %.",
            place(predicted.drive),
            place(predicted.coast),
            units.shim(predicted.backlash_mm),
            100.0 * chance
        ));
    }
    if let Some(next) = advice.runner_up {
        let of = |gear: &str, mm: f64, mate: &str| {
            if mm == 0.0 {
                format!("{gear} as it is")
            } else {
                format!("{gear} {} {} the {mate}", units.shim(mm.abs()), way(mm))
            }
        };
        advice.why.push(format!(
            "Next best would be {} and {}, with {:.0} %.",
            of("pinion", next.pinion_mm, "ring gear"),
            of("ring gear", next.ring_mm, "pinion"),
            100.0 * next.chance
        ));
    }
}

fn ring_sentence(advice: &Advice, chosen: &Chosen, ring_mm: f64, units: Units) -> String {
    if ring_mm == 0.0 {
        return if chosen.second_change_spared {
            "The ring gear stays where it is: moving it too would gain next to nothing.".into()
        } else {
            "The ring gear stays where it is.".into()
        };
    }
    let mut sentence = format!(
        "Move the ring gear {} {} the pinion for {} backlash.",
        units.shim(ring_mm.abs()),
        way(ring_mm),
        if ring_mm < 0.0 { "less" } else { "more" }
    );
    let shims = advice.shims.as_ref();
    match &chosen.ring.by {
        Means::Notches(n) => {
            sentence.push_str(&format!(" By the adjusters: {}.", summary::adjusters(*n)))
        }
        _ => {
            let packs: Vec<String> = [
                ("ring-side pack", shims.and_then(|s| s.ring_side.as_ref())),
                ("far-side pack", shims.and_then(|s| s.far_side.as_ref())),
            ]
            .into_iter()
            .filter_map(|(name, pack)| pack.map(|p| pack_sentence(name, p, units)))
            .collect();
            if packs.len() == 2 {
                sentence.push_str(&format!(
                    " Both packs together stay as thick, which holds the preload: {}.",
                    packs.join(", ")
                ));
            } else if let Some(pack) = packs.first() {
                sentence.push_str(&format!(
                    " {}; take the same amount out of the other side to hold the preload.",
                    pack
                ));
            }
        }
    }
    sentence
}

/// It is right.
pub(crate) fn good(advice: &mut Advice, reads_right: bool) {
    let chance = 100.0 * advice.chance_now.unwrap_or(0.0);
    advice.why.push(if reads_right {
        format!(
            "Both patches are inside the target's tolerance and the backlash inside its window; \
             allowing for reading error the chance that it is right is {chance:.0} %. Leave the shims. The final preload and \
             new parts move backlash and patches a little: measure and paint once more when the nut is final."
        )
    } else {
        format!(
            "One reading is just outside, but all readings together give {chance:.0} % that the \
             assembly is right. Leave the shims; take another photo if in doubt."
        )
    });
}

/// No change is better than none, and it is not right as it reads.
pub(crate) fn look_again() -> Check {
    Check {
        code: CheckCode::SecondLook,
        message: "No change of shims at hand is likelier to be right than leaving them, though it does not read right. \
                  Before anything is taken apart, roll the gears again, take both photos anew and measure the backlash \
                  at four places round the gear."
            .into(),
    }
}

/// Backlash varies more than its limit.
pub(crate) fn run_out(card: &Card, last: &Trial, units: Units) -> Check {
    let variation_mm = last.backlash_variation_mm().unwrap_or(0.0);
    let limit_mm = card.limits.backlash_variation_mm.unwrap_or(0.0);
    Check {
        code: CheckCode::RunOut,
        message: format!(
            "Backlash varies by {} round the gear, the limit is {}: that is run-out, and no shim takes it \
             out. Set a dial indicator on the ring gear's back face and turn it once; then on the \
             carrier's flange with the ring gear off. Look for a burr or dirt under the ring gear, and for \
             bolts tightened out of order.",
            units.shim(variation_mm),
            units.shim(limit_mm)
        ),
    }
}

/// What a fault that shims cannot cure looks like, likeliest first.
pub(crate) fn faults(likely: &[(Fault, f64)]) -> Vec<Check> {
    let mut found: Vec<Check> = Vec::new();
    for (fault, _) in likely {
        let (code, message) = match fault {
            Fault::Offset => (
                CheckCode::Housing,
                format!(
                    "It looks like axes that are not at the gears' offset: such an error moves drive and coast patch \
                     opposite ways along the tooth. {HOUSING_CHECK}"
                ),
            ),
            Fault::ShaftAngle => (
                CheckCode::Housing,
                format!(
                    "It looks like axes that are not square: a bent case, swapped caps or a bearing not seated. \
                     {HOUSING_CHECK}"
                ),
            ),
            Fault::Mates => (
                CheckCode::MixedParts,
                "It looks like a pinion and a ring gear that do not belong together, or a card of another set: compare \
                 the set numbers etched on both, count the teeth, and check the cutting method on the card. A slanted \
                 patch of a face-hobbed set is not squared by shims."
                    .into(),
            ),
        };
        if found.iter().all(|check| check.code != code) {
            found.push(Check { code, message });
        }
    }
    found
}

/// Nothing at hand is right.
pub(crate) fn out_of_reach(
    card: &Card,
    chosen: Option<&Chosen>,
    goal: &Goal,
    units: Units,
) -> Check {
    let [low, high] = goal.window_mm;
    let backlash_mm = chosen.map(|c| c.outlook.expected().backlash_mm);
    let message = match backlash_mm {
        Some(mm) if !(low..=high).contains(&mm) => format!(
            "The nearest that the {} at hand come to is a backlash of {}, outside {} to {}: the window is \
             narrower than their step, or the packs run out. {}",
            match card.carrier.adjust {
                Adjust::Shims => "side shims",
                Adjust::Threaded => "notches",
            },
            units.shim(mm),
            units.shim(low),
            units.shim(high),
            "Get shims in between, or check the window against the axle's manual."
        ),
        _ => {
            "No change of shims at hand brings both patches and the backlash right together.".into()
        }
    };
    Check {
        code: CheckCode::OutOfReach,
        message,
    }
}

/// No shim cures it.
pub(crate) fn beyond(advice: &mut Advice, checks: &[Check], chosen: Option<&Chosen>, units: Units) {
    estimate_sentences(advice, units);
    if let Some(left) = advice.unexplained {
        advice.why.push(format!(
            "What no move of pinion and ring gear explains: drive {:+.0} % along (+ to the heel) and {:+.0} % up, coast \
             {:+.0} % along and {:+.0} % up.",
            100.0 * left.drive.length,
            100.0 * left.drive.height,
            100.0 * left.coast.length,
            100.0 * left.coast.height
        ));
    }
    advice
        .why
        .extend(checks.iter().map(|check| check.message.clone()));
    if let Some(chosen) = chosen {
        let (pinion_mm, ring_mm) = (chosen.pinion.move_mm, chosen.ring.move_mm);
        if pinion_mm != 0.0 || ring_mm != 0.0 {
            advice.why.push(format!(
                "The best that shims alone can do is pinion {} {} the ring gear and ring gear {} {} the \
                 pinion; its chance is {:.0} %.",
                units.shim(pinion_mm.abs()),
                way(pinion_mm),
                units.shim(ring_mm.abs()),
                way(ring_mm),
                100.0 * chosen.chance
            ));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_fault_that_no_shim_cures_has_its_own_check_and_two_of_the_axes_share_one() {
        let codes = |likely: &[Fault]| -> Vec<CheckCode> {
            let likely: Vec<(Fault, f64)> = likely.iter().map(|fault| (*fault, 0.3)).collect();
            faults(&likely).iter().map(|check| check.code).collect()
        };
        assert_eq!(
            codes(&[Fault::Offset, Fault::ShaftAngle]),
            [CheckCode::Housing]
        );
        let all = [Fault::Mates, Fault::ShaftAngle];
        assert_eq!(codes(&all), [CheckCode::MixedParts, CheckCode::Housing]);
    }

    #[test]
    fn ways_are_told_by_their_own_words() {
        assert_eq!(
            offset(0.15, 0.21),
            "15 % to the heel and 21 % to the tip of its target"
        );
        assert_eq!(
            offset(-0.15, -0.21),
            "15 % to the toe and 21 % to the root of its target"
        );
        assert_eq!((way(-0.1), way(0.1)), ("toward", "away from"));
    }

    #[test]
    fn a_pack_stays_where_it_is_the_same_and_not_where_it_is_any() {
        let pack = |to_mm: f64| Pack {
            from_mm: 0.7,
            to_mm,
            stack_mm: Vec::new(),
        };
        let stays = pack_sentence("The pinion pack", &pack(0.7), Units::Mm);
        assert!(stays.contains("stays at"), "{stays}");
        let changes = pack_sentence("The pinion pack", &pack(0.8), Units::Mm);
        assert!(
            changes.contains("from") && changes.contains("to"),
            "{changes}"
        );
    }
}
