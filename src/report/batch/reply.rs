//! What a person could send back to the owner of a set: what is seen, what cannot be told, what to
//! send next and how to take it, and what to mind.

use crate::batch::ask::ProblemKind;
use crate::batch::group::Item;
use crate::batch::judge::{FlankSeen, SetVerdict, Verdict};
use crate::batch::summary::BatchResult;
use crate::frames::{FlankPoint, Side};
use crate::report::advice::gear_move;
use crate::schema::{Advice, CheckCode, Pack, Reason, ReasonCode, Target, advice};
use crate::units::Units;
use std::fmt::Write as _;
use std::path::Path;

/// How to take a photo. Common practice, no source.
const HOW: &str = "How to take it: clean four or five teeth in a row, paint them thinly with marking compound, and turn \
     the gears through the mesh both ways under a light brake. Then fill the picture with the painted \
     teeth, look squarely at one kind of flank, light from the side without flash, tap on the teeth to \
     focus, and send the picture at its full size.";

/// What a reply is made of; every part ends with a newline or is empty.
pub(crate) struct ReplyParts {
    /// What is seen, what cannot be told, what to send and how, what to mind.
    pub parts: [String; 4],
}

/// The parts of the reply for one set.
pub(crate) fn reply_parts(lot: &BatchResult, set: usize) -> ReplyParts {
    let mut parts = Parts::default();
    seen(lot, set, &mut parts);
    unread(lot, set, &mut parts);
    missing(lot, set, &mut parts);
    cautions(lot, set, &mut parts);
    let how = if parts.photo {
        format!("{HOW}\n")
    } else {
        String::new()
    };
    let written = |title: &str, lines: Vec<String>, after: &str| {
        let lines = once(lines);
        if lines.is_empty() {
            return String::new();
        }
        let mut out = format!("{title}\n");
        for line in lines {
            // Writing to a string cannot fail.
            let _ = writeln!(out, "- {line}");
        }
        out + after
    };
    ReplyParts {
        parts: [
            written("What we see", parts.see, ""),
            written("What we cannot tell", parts.cannot, ""),
            written("Please send", parts.send, &how),
            written("Cautions", parts.cautions, ""),
        ],
    }
}

#[derive(Default)]
struct Parts {
    see: Vec<String>,
    cannot: Vec<String>,
    send: Vec<String>,
    cautions: Vec<String>,
    /// A photo is asked for.
    photo: bool,
}

/// Each line once, in its first place.
fn once(lines: Vec<String>) -> Vec<String> {
    let mut out: Vec<String> = Vec::with_capacity(lines.len());
    for line in lines {
        if !out.contains(&line) {
            out.push(line);
        }
    }
    out
}

fn seen(lot: &BatchResult, set: usize, parts: &mut Parts) {
    let verdict = &lot.sets[set];
    let card = lot.plan.sets[set].card.as_ref();
    let target = card.map_or_else(Target::default, |card| card.target);
    for (side, seen) in Side::BOTH.into_iter().zip(&verdict.flanks) {
        let Some(seen) = seen else { continue };
        let word = side.word();
        if seen.contradicted {
            parts.cannot.push(format!(
                "Photos of the {word} flank show the patch in different places. Which of them is of the gears as they stand now?"
            ));
            parts
                .send
                .push(format!("which photo of the {word} flank is the last one"));
            continue;
        }
        let is_guess = |reason: &Reason| reason.code == ReasonCode::WhichFlank;
        let word = if lot.found[seen.photo].reasons.iter().any(is_guess) {
            format!("flank, which may be the {word} flank")
        } else {
            format!("{word} flank")
        };
        parts.see.push(flank_line(&word, seen, target.of(side)));
    }
    if verdict.flanks.iter().all(Option::is_none) {
        parts
            .see
            .push("No contact pattern that we could read.".into());
    } else if card.is_none() && !directs(verdict) {
        parts.see.push(
            "This is against the place that is usual for a patch. The manual of your axle may want another: it decides.".into(),
        );
    }
    if let Some(advice) = &verdict.advice {
        advised(advice, lot.units[set], parts);
    }
    if let Some(direction) = verdict.direction.as_ref().filter(|_| directs(verdict)) {
        parts.see.extend(direction.why.iter().cloned());
        // Where our words come from is nothing to a customer.
        let plain = |caution: &String| caution.replace(" (common practice, no source)", "");
        parts.cautions.extend(direction.cautions.iter().map(plain));
    } else if verdict.advice.is_none() && verdict.verdict == Verdict::Right {
        parts.see.push(
            "Both patches stand about where they should. Whether the set is right also depends on the backlash, which a photo does not show.".into(),
        );
    }
}

/// Whether a way to go is told without a card.
fn directs(verdict: &SetVerdict) -> bool {
    let direction = verdict.direction.as_ref();
    direction.is_some_and(|direction| direction.pinion.is_some())
}

fn flank_line(word: &str, seen: &FlankSeen, target: FlankPoint) -> String {
    let percent = |share: f64| (100.0 * share).round();
    let place = match seen.diagnosis.words.as_str() {
        "centred" => "about in the middle of where it should be".to_owned(),
        words => words
            .split(' ')
            .map(|word| match word {
                "high" => "high (towards the tip)",
                "low" => "low (towards the root)",
                "toe" => "towards the toe (the inner end)",
                _ => "towards the heel (the outer end)",
            })
            .collect::<Vec<_>>()
            .join(" and "),
    };
    let how_far = match seen.distance {
        far if far > 1.0 => ", farther off than the centre may stand",
        _ if seen.diagnosis.words == "centred" => "",
        _ => ", still where the centre may stand",
    };
    let sure = if seen.sure {
        ""
    } else {
        " We are not sure of this one; take it as a hint only."
    };
    format!(
        "Patch on the {word}: {place}{how_far}. Its middle is at {} % of the way from toe to heel and {} % from root to tip; wanted is {} % and {} %.{sure}",
        percent(seen.centre.length),
        percent(seen.centre.height),
        percent(target.length),
        percent(target.height)
    )
}

fn advised(advice: &Advice, units: Units, parts: &mut Parts) {
    match advice.verdict {
        advice::Verdict::Good => parts.see.push(
            "With the backlash you gave, this is right as it stands: leave the shims as they are."
                .into(),
        ),
        advice::Verdict::Change => {
            if let Some(change) = advice.change {
                let mut line = format!(
                    "What should bring it right: pinion {}; ring gear {}.",
                    gear_move(change.pinion_mm, "ring gear", units),
                    gear_move(change.ring_mm, "pinion", units)
                );
                if let Some(shims) = &advice.shims {
                    for (name, pack) in [
                        ("Pinion pack", &shims.pinion),
                        ("Pack behind the ring gear", &shims.ring_side),
                        ("Pack on the other side", &shims.far_side),
                    ] {
                        line.push_str(&pack_words(name, pack.as_ref(), units));
                    }
                }
                if let Some(chance) = advice.chance {
                    let _ = write!(
                        line,
                        " We give this a {:.0} % chance of being right at the next assembly.",
                        100.0 * chance
                    );
                }
                parts.see.push(line);
                parts.send.push(
                    "after the change: backlash at four places or more, and a new photo of each flank".into(),
                );
                parts.photo = true;
            }
        }
        advice::Verdict::BeyondShims => {
            parts
                .see
                .push("No change of shims would bring this right.".into());
            parts
                .cannot
                .push("What the cause is, from photos alone.".into());
        }
        advice::Verdict::Measure => {}
    }
    for check in &advice.checks {
        if check.code == CheckCode::BacklashMissing {
            parts.cannot.push(
                "How far the ring gear should move: its place hardly shows in the patch, the backlash shows it.".into(),
            );
        } else {
            parts.cannot.push(without_keys(&check.message));
        }
    }
}

/// A check's words without the key by which a look is told on the command line: the owner says it in words.
fn without_keys(message: &str) -> String {
    match message.split_once(" (looked: ") {
        Some((before, after)) => {
            before.to_owned() + after.split_once(')').map_or("", |(_, after)| after)
        }
        None => message.to_owned(),
    }
}

fn pack_words(name: &str, pack: Option<&Pack>, units: Units) -> String {
    match pack {
        Some(pack) if (pack.to_mm - pack.from_mm).abs() > 1e-9 => format!(
            " {name}: from {} to {}.",
            units.shim(pack.from_mm),
            units.shim(pack.to_mm)
        ),
        Some(pack) => format!(" {name}: {} stays.", units.shim(pack.from_mm)),
        None => String::new(),
    }
}

/// Each photo that gave no sure numbers, and each that came twice.
fn unread(lot: &BatchResult, set: usize, parts: &mut Parts) {
    for &at in &lot.plan.sets[set].photos {
        let found = &lot.found[at];
        let name = item_name(&lot.plan.items[at]);
        let first = |other: usize| {
            (lot.plan.items[other].set == set).then(|| item_name(&lot.plan.items[other]))
        };
        match (lot.same_as[at].map(first), lot.like[at].map(first)) {
            (Some(Some(first)), _) => {
                parts.cannot.push(format!(
                    "{name} is the same file as {first}; it adds nothing."
                ));
                continue;
            }
            (None, Some(Some(first))) => parts.cannot.push(format!(
                "{name} looks like the same picture as {first}, saved once more. If it is another photo, please say so."
            )),
            // That we have the same picture from elsewhere is ours to sort out: the sheet says it.
            _ => {}
        }
        match found.problem.as_ref().map(|problem| problem.kind) {
            Some(ProblemKind::Marks | ProblemKind::Program) => {
                parts.cannot.push(format!(
                    "{name}: we could not read it, and the fault is on our side."
                ));
                continue;
            }
            Some(ProblemKind::Photo) | None => {}
        }
        for reason in &found.reasons {
            let (wrong, send, photo) = words_of(reason.code);
            parts.cannot.push(format!("{name}: {wrong}"));
            parts.send.push(send.into());
            parts.photo |= photo;
        }
    }
}

/// What is wrong, what to send, and whether that is a photo. The owner has no command line: the
/// words of the reading itself would not do.
pub(super) const fn words_of(code: ReasonCode) -> (&'static str, &'static str, bool) {
    match code {
        ReasonCode::NotAnImage => (
            "the file does not open as a picture.",
            "the photo again, as a JPEG and as a file",
            false,
        ),
        ReasonCode::TooSmall => (
            "the teeth are too small in the picture.",
            "a photo from nearer by, at its full size",
            true,
        ),
        ReasonCode::Blurred => (
            "the teeth are not sharp.",
            "a sharp photo: tap on the painted teeth to focus, and hold still",
            true,
        ),
        ReasonCode::TooDark => (
            "it is too dark to tell steel from compound.",
            "a photo with a lamp beside the gear",
            true,
        ),
        ReasonCode::BurntOut => (
            "the teeth are burnt out.",
            "a photo without flash, exposed for the gear",
            true,
        ),
        ReasonCode::NoGear => (
            "we do not find the ring gear's teeth in it.",
            "a photo that looks squarely at the painted flanks, with the teeth filling the picture",
            true,
        ),
        ReasonCode::Collage => (
            "several photos stand in one picture.",
            "each photo as a picture of its own, at its full size",
            false,
        ),
        ReasonCode::NoCompound => (
            "we see no marking compound on the flanks.",
            "a photo of painted teeth that were rolled through the mesh",
            true,
        ),
        ReasonCode::NoPatch => (
            "there is compound, but no clear patch in it.",
            "a photo after painting thinly and evenly and rolling again",
            true,
        ),
        ReasonCode::FlankCropped => (
            "the flanks are cut off by the edge of the picture.",
            "a photo from farther back, the painted teeth in the middle",
            true,
        ),
        ReasonCode::FlankHidden => (
            "something hides a part of the flanks.",
            "a photo with both ends of the painted teeth in view, the gear turned or the camera moved aside",
            true,
        ),
        ReasonCode::Damaged => (
            "the file is damaged.",
            "the photo again, sent as a file",
            false,
        ),
        ReasonCode::TwoPatches => (
            "the contact lies in two places on the flank.",
            "a photo after painting and rolling afresh, and word whether the gears were lapped or are worn",
            true,
        ),
        ReasonCode::TwoGears => (
            "the photos do not show one gear.",
            "one photo of each flank of the one gear",
            true,
        ),
        ReasonCode::Glare => (
            "reflections cover the patch.",
            "a photo with the lamp moved until the patch does not shine",
            true,
        ),
        ReasonCode::FewTeeth => (
            "it shows too few teeth whole.",
            "a photo with four or five painted teeth in a row",
            true,
        ),
        ReasonCode::TeethDisagree => (
            "the teeth do not show the same patch.",
            "a photo after painting and rolling afresh; if it stays so, the run-out of the ring gear",
            true,
        ),
        ReasonCode::PlaceUnsure => (
            "where the patch stands on the teeth is not plain enough.",
            "a photo nearer and squarer to the painted teeth, at the size that the camera made it",
            true,
        ),
        ReasonCode::WhichFlank => (
            "we cannot tell whether it shows the drive or the coast flank.",
            "with each photo, whether it is the drive flank (it works when the engine pulls) or the coast flank",
            false,
        ),
        ReasonCode::WhichEnd => (
            "we cannot tell which end of the teeth is the toe.",
            "on which side of the picture the inner end of the teeth is",
            false,
        ),
        ReasonCode::Polarity => (
            "we cannot tell whether compound was wiped off or left there.",
            "whether you painted the ring gear or the pinion",
            false,
        ),
        ReasonCode::Mirrored => (
            "the ring gear in it spirals to the other hand than yours.",
            "whether the camera or an app mirrored the photo, or a mirror was used",
            false,
        ),
        ReasonCode::CuttingDiffers => (
            "its teeth look cut by the other method than your card says.",
            "how deep a tooth of the ring gear is at its inner and at its outer end",
            false,
        ),
    }
}

fn missing(lot: &BatchResult, set: usize, parts: &mut Parts) {
    let about = &lot.plan.sets[set];
    let verdict = &lot.sets[set];
    let any = verdict.flanks.iter().any(Option::is_some);
    for (side, seen) in Side::BOTH.into_iter().zip(&verdict.flanks) {
        let word = side.word();
        match seen {
            None if any => {
                parts.cannot.push(format!(
                    "Anything about the {word} flank: one flank alone cannot tell a pinion out of place from a gear that differs."
                ));
                parts
                    .send
                    .push(format!("a photo of the {word} flanks of the same assembly"));
                parts.photo = true;
            }
            Some(seen) if !seen.sure => {
                parts
                    .send
                    .push(format!("a better photo of the {word} flanks"));
                parts.photo = true;
            }
            _ => {}
        }
    }
    if !any {
        parts
            .send
            .push("one photo of the drive flanks and one of the coast flanks".into());
        parts.photo = true;
    }
    if about.card.is_none() && verdict.verdict != Verdict::PhotoAgain {
        parts
            .cannot
            .push("How far to move anything: that depends on the gear set.".into());
        parts.send.push(
            "the gear set: teeth of pinion and ring gear, ring gear diameter, face width and offset, or the maker's part number".into(),
        );
    }
    if about.bench.backlash_mm.is_empty() {
        parts
            .send
            .push("the backlash in four places round the ring gear, with its unit".into());
    }
    if about.bench.pinion_shim_mm.is_none() {
        parts
            .send
            .push("the thickness of the shims that are in, pinion and both sides".into());
    }
}

fn cautions(lot: &BatchResult, set: usize, parts: &mut Parts) {
    if let Some(advice) = &lot.sets[set].advice {
        parts.cautions.extend(advice.cautions.iter().cloned());
    }
    parts.cautions.push(
        "A photo shows the pattern only: no bearing preload, no torque, no wear, no cracks. Someone with the trade's training should close the axle.".into(),
    );
    for (said, line) in [
        (
            "safety-critical",
            "A drive axle is safety-critical: the limits and torques of its manual decide.",
        ),
        (
            "licensed",
            "Local rules and licensed practice go before this letter: have the work done, or at least checked, by a licensed shop.",
        ),
        (
            "Measure backlash again",
            "After every change measure backlash and rotating torque again, and paint and roll afresh.",
        ),
        (
            "on stands",
            "Vehicle on stands, wheels chocked, fingers out of the mesh while gears are turned.",
        ),
    ] {
        if !parts.cautions.iter().any(|caution| caution.contains(said)) {
            parts.cautions.push(line.into());
        }
    }
}

/// A photo's name: the file's, and which photo of a collage it is.
pub(super) fn item_name(item: &Item) -> String {
    let name = item.path.file_name().unwrap_or(item.path.as_os_str());
    let name = crate::batch::shown::shown(Path::new(name));
    match item.part {
        Some((number, of)) => format!("{name}, photo {number} of {of}"),
        None => name,
    }
}
