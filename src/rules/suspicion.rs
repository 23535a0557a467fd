//! What may be wrong with what was told, in words: which, how much better that explains the trials, and the one look that
//! would settle it.

use super::calibration::CALIBRATION;
use super::doubts::{Doubt, Misread};
use super::explained::Explained;
use super::observation::{Gear, Observation};
use crate::schema::{BacklashDirection, Card, Check, CheckCode, Cutting, Suspect, SuspectKind};

/// The suspects, likeliest first, each once with all that it may be.
pub(crate) fn suspects(explained: &[Explained], told: &[Observation]) -> Vec<Suspect> {
    let limits = &CALIBRATION.doubts;
    let as_told: f64 = explained
        .iter()
        .filter(|one| one.doubt == Doubt::None)
        .map(|one| one.weight)
        .sum();
    let mut found: Vec<Suspect> = Vec::new();
    for one in explained {
        let Some((what, at)) = one.doubt.named() else {
            continue;
        };
        let trial = at.map(|at| told[at].trial);
        let odds = one.weight / as_told.max(f64::MIN_POSITIVE);
        match found
            .iter_mut()
            .find(|s| (s.what, s.trial) == (what, trial))
        {
            Some(same) => same.odds += odds,
            None => found.push(Suspect { what, trial, odds }),
        }
    }
    found.retain(|suspect| suspect.odds >= limits.named_at);
    found.sort_by(|a, b| b.odds.total_cmp(&a.odds));
    for suspect in &mut found {
        suspect.odds = super::case::round(suspect.odds.min(limits.most_odds), 1);
    }
    found
}

/// The likeliest doubt of a suspect's kind, for its particulars.
fn particulars(explained: &[Explained], suspect: &Suspect, told: &[Observation]) -> Option<Doubt> {
    explained.iter().map(|one| one.doubt).find(|doubt| {
        doubt.named().is_some_and(|(what, at)| {
            (what, at.map(|at| told[at].trial)) == (suspect.what, suspect.trial)
        })
    })
}

/// What to look at, for the suspect that explains the trials far better.
pub(crate) fn second_look(
    suspects: &[Suspect],
    explained: &[Explained],
    told: &[Observation],
    card: &Card,
) -> Option<Check> {
    let suspect = suspects
        .first()
        .filter(|s| s.odds >= CALIBRATION.doubts.said_at)?;
    let doubt = particulars(explained, suspect, told)?;
    let trial = suspect
        .trial
        .map_or_else(String::new, |trial| format!(" of trial {trial}"));
    let (what, look) = sentence(doubt, card);
    let odds = suspect.odds;
    let odds = if odds >= 10.0 {
        format!("{odds:.0}")
    } else {
        format!("{odds:.1}")
    };
    Some(Check {
        code: CheckCode::SecondLook,
        message: format!(
            "Look again before taking anything apart. That {what}{trial} explains what was read {odds} times as well as \
             everything being as told. {look} If it is as it was told, say so (looked: {}) and ask again.",
            suspect.what.word()
        ),
    })
}

/// The one look before an assembly is called right whose dial may stand the other way: that one `shows` so many times as
/// much.
pub(crate) fn look_at_dial(told: BacklashDirection, shows: f64) -> Check {
    let (told, other) = match told {
        BacklashDirection::Square => ("square to the tooth", "along the circle"),
        BacklashDirection::Tangential => ("along the circle", "square to the tooth"),
    };
    let percent = 100.0 * (shows - 1.0).abs();
    let more = if shows > 1.0 { "more" } else { "less" };
    Check {
        code: CheckCode::DialSetting,
        message: format!(
            "Look once how the dial's foot stands, since no move of the ring gear has shown it yet: the card has the backlash \
             measured {told}, and {other} the dial shows {percent:.0} % {more}. If it stands {other}, turn it and measure again \
             at four places round the gear; if it stands as the card has it, say so (looked: {}).",
            SuspectKind::DialSetting.word()
        ),
    }
}

/// What a chance counts that nothing read so far could show.
pub(crate) fn unseen(chance: f64, doubts: &[Doubt]) -> Option<String> {
    let mut may_be: Vec<&str> = doubts
        .iter()
        .map(|doubt| match doubt {
            Doubt::PackNotedWrong { .. } => "a pack written down wrong",
            Doubt::ShimPlace => "shims on the other side of the bearing than the card has them",
            _ => "a dial that stands the other way than the card has it",
        })
        .collect();
    may_be.sort_unstable();
    may_be.dedup();
    (!may_be.is_empty()).then(|| {
        format!(
            "That chance counts {:.0} in 100 for what nothing read so far could show: {}. How often such things happen nobody has \
             counted.",
            (100.0 * chance).max(1.0),
            may_be.join(", ")
        )
    })
}

fn sides_word(sides: [bool; 2]) -> &'static str {
    match sides {
        [true, false] => "drive photo",
        [false, true] => "coast photo",
        _ => "photos",
    }
}

/// What is doubted, and the look that settles it.
fn sentence(doubt: Doubt, card: &Card) -> (String, &'static str) {
    let photo_again = "Lay the photo beside the gear and read it again, with marks at the flank's corners, or take \
                       another of the same assembly.";
    match doubt {
        Doubt::None | Doubt::Fault(_) => (String::new(), ""),
        Doubt::Misread { side, what, .. } => {
            let number = match what {
                Misread::Length => "the length",
                Misread::Height => "the height",
                Misread::Place => "the place",
            };
            (
                format!("{number} on the {} flank was misread in the photo", side.word()),
                photo_again,
            )
        }
        Doubt::Dial { .. } => (
            "the dial was misread at the backlash".into(),
            "Measure the backlash again at four places round the gear.",
        ),
        Doubt::FlanksSwapped { .. } => (
            "drive and coast were taken for each other in the photos".into(),
            "See which way the gear turns when the axle drives forward: the pinion pushes on the drive flanks, which on \
             most sets are the bulging ones.",
        ),
        Doubt::EndsSwapped { sides, .. } => (
            format!("toe and heel were taken for each other in the {}", sides_word(sides)),
            "The toe is the inner end of the tooth, nearer the gear's axis; check which end the photo has on which side.",
        ),
        Doubt::OldPhoto { sides, .. } => (
            format!("the {} from before the change of shims stood for those", sides_word(sides)),
            "Look at the time of the photos, or roll the gears again and take new ones.",
        ),
        Doubt::PackNotedWrong { gear, .. } => (
            format!(
                "another {} than was written down was in at the assembly",
                match gear {
                    Gear::Pinion => "pinion pack",
                    Gear::Ring => "side pack",
                }
            ),
            "Measure the packs that are in, and those that came out, with a micrometer.",
        ),
        Doubt::ShimPlace => (
            format!(
                "the pinion's shims sit {} (the card has them {})",
                match card.pinion.shim_place {
                    crate::schema::ShimPlace::BehindHeadBearing => "where a thicker pack moves it away from the ring gear",
                    crate::schema::ShimPlace::UnderCage => "where a thicker pack moves it toward the ring gear",
                },
                match card.pinion.shim_place {
                    crate::schema::ShimPlace::BehindHeadBearing => "behind the head bearing",
                    crate::schema::ShimPlace::UnderCage => "under the cage",
                }
            ),
            "Look at the pinion or in the axle's manual, and put the card right.",
        ),
        Doubt::DialSetting => (
            "the dial indicator stands the other way than the card says (square to the tooth, or along the circle)".into(),
            "Look at how its foot stands, and put the card right.",
        ),
        Doubt::Cutting => (
            format!(
                "the teeth are {} (the card has the other)",
                match card.gear.cutting {
                    Cutting::FaceMilled => "face-hobbed",
                    Cutting::FaceHobbed => "face-milled",
                }
            ),
            "Teeth that are as deep at the toe as at the heel were face-hobbed, teeth that taper face-milled; put the \
             card right.",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dial_that_stands_the_other_way_is_told_by_what_it_shows_more_or_less() {
        let more = look_at_dial(BacklashDirection::Square, 1.2).message;
        assert!(more.contains("20 % more"), "{more}");
        let less = look_at_dial(BacklashDirection::Tangential, 0.85).message;
        assert!(less.contains("15 % less"), "{less}");
    }

    #[test]
    fn a_doubted_photo_is_told_by_its_flank() {
        let words = [[true, false], [false, true], [true, true]].map(sides_word);
        assert_eq!(words, ["drive photo", "coast photo", "photos"]);
    }
}
