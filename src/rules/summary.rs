//! The first line: what to do, with which pack.

use super::explain::way;
use crate::schema::{
    Adjust, Advice, Card, Check, CheckCode, Move, Pack, ShimPlace, Shims, Verdict,
};
use crate::units::Units;

/// Writes it for a verdict that amounts led to.
pub(crate) fn write(advice: &mut Advice, card: &Card, units: Units) {
    advice.summary = match advice.verdict {
        Verdict::Good if asks(advice, CheckCode::DialSetting) => {
            "RIGHT, if the dial stands as the card has it (see why): leave the shims as they are."
                .into()
        }
        Verdict::Good => "RIGHT: leave the shims as they are.".into(),
        Verdict::Change => change(advice, card, units),
        Verdict::Measure => measure(advice.checks.first()),
        Verdict::BeyondShims => {
            "BEYOND SHIMS: no shim at hand cures this; see what to check below.".into()
        }
    };
    advice.instruction = match advice.verdict {
        Verdict::Good if asks(advice, CheckCode::DialSetting) => {
            "Look how the dial's foot stands. If it stands as the card has it, it is right: leave the shims as they are.".into()
        }
        Verdict::Good => "It is right: leave the shims as they are.".into(),
        Verdict::Change => instruction(advice, card, units),
        Verdict::Measure => measure_first(advice.checks.first()),
        Verdict::BeyondShims => "No shim at hand cures this: see what to check.".into(),
    };
}

fn asks(advice: &Advice, code: CheckCode) -> bool {
    advice.checks.iter().any(|check| check.code == code)
}

/// The instruction when something has to be measured first.
pub(crate) fn measure_first(first: Option<&Check>) -> String {
    let what = first_sentence(first).trim_end_matches('.');
    let stop = if what.is_empty() { "" } else { "." };
    format!("Change nothing yet. {what}{stop}")
        .trim_end()
        .to_owned()
}

/// `Add 8.0 thou behind the head bearing (5.0 + 3.0). Leave the side shims.`
fn instruction(advice: &Advice, card: &Card, units: Units) -> String {
    let moved = advice.change.unwrap_or_default();
    let shims = advice.shims.clone().unwrap_or_default();
    let place = match card.pinion.shim_place {
        ShimPlace::BehindHeadBearing => "behind the head bearing",
        ShimPlace::UnderCage => "under the cage",
    };
    let threaded = card.carrier.adjust == Adjust::Threaded;
    let mut parts = Vec::new();
    if moved.pinion_mm == 0.0 {
        parts.push("Leave the pinion pack.".to_owned());
    } else if let Some(pack) = &shims.pinion {
        parts.push(put_or_take(pack, place, units));
    } else {
        let by = units.shim(moved.pinion_mm.abs());
        parts.push(format!(
            "Move the pinion {by} {} the ring gear.",
            way(moved.pinion_mm)
        ));
    }
    let sides = [
        (&shims.ring_side, "behind the ring gear"),
        (&shims.far_side, "on the other side"),
    ];
    let sides = sides
        .into_iter()
        .filter_map(|(pack, place)| Some(put_or_take(pack.as_ref()?, place, units)));
    let sides: Vec<String> = sides.collect();
    if moved.ring_mm == 0.0 {
        parts.push(
            if threaded {
                "Leave the adjusters."
            } else {
                "Leave the side shims."
            }
            .to_owned(),
        );
    } else if let Some(notches) = shims.ring_notches {
        let words = adjusters(notches);
        parts.push(format!("{}{}.", words[..1].to_uppercase(), &words[1..]));
    } else if sides.is_empty() {
        let by = units.shim(moved.ring_mm.abs());
        parts.push(format!(
            "Move the ring gear {by} {} the pinion.",
            way(moved.ring_mm)
        ));
    } else {
        parts.extend(sides);
    }
    let first = if asks(advice, CheckCode::SecondLook) {
        "Look again first, see why. If nothing else is found: "
    } else {
        ""
    };
    format!("{first}{}", parts.join(" "))
}

/// `Add 8.0 thou behind the head bearing (5.0 + 3.0).` What was in is left out of the sum where it stays whole; else the sum
/// is that of the new pack.
fn put_or_take(pack: &Pack, place: &str, units: Units) -> String {
    let by_mm = pack.to_mm - pack.from_mm;
    let does = if by_mm < 0.0 { "Take out" } else { "Add" };
    let number = |mm: f64| {
        let text = units.shim(mm);
        text.split_once(' ')
            .map_or(text.clone(), |(n, _)| n.to_owned())
    };
    let sum = |parts: &[f64]| {
        parts
            .iter()
            .map(|mm| number(*mm))
            .collect::<Vec<_>>()
            .join(" + ")
    };
    let mut added = pack.stack_mm.clone();
    let stays = added.iter().position(|mm| (mm - pack.from_mm).abs() < 1e-6);
    let stack = match stays {
        _ if added.is_empty() => String::new(),
        Some(at) if by_mm > 0.0 => {
            added.remove(at);
            if added.len() > 1 {
                format!(" ({})", sum(&added))
            } else {
                String::new()
            }
        }
        _ => format!(
            ": the new pack is {} ({})",
            units.shim(pack.to_mm),
            sum(&added)
        ),
    };
    format!("{does} {} {place}{stack}.", units.shim(by_mm.abs()))
}

/// The first sentence of what is to be measured.
fn first_sentence(first: Option<&Check>) -> &str {
    let what = first.map_or("", |check| {
        let mut sentences = check.message.split_inclusive(['.', ':']);
        sentences.next().unwrap_or_default()
    });
    what.trim_end_matches(':')
}

/// The same when something has to be measured first.
pub(crate) fn measure(first: Option<&Check>) -> String {
    let what = first_sentence(first);
    format!("MEASURE before anything is changed. {what}")
        .trim_end()
        .to_owned()
}

fn change(advice: &Advice, card: &Card, units: Units) -> String {
    let moved = advice.change.unwrap_or_default();
    let shims = advice.shims.clone().unwrap_or_default();
    let mut parts = Vec::new();
    parts.extend(pinion(moved, &shims, card, units));
    parts.extend(ring(moved, &shims, units));
    let rest = match (moved.pinion_mm == 0.0, moved.ring_mm == 0.0) {
        (true, _) => " Leave the pinion pack.",
        (_, true) => match card.carrier.adjust {
            Adjust::Shims => " Leave the side packs.",
            Adjust::Threaded => " Leave the adjusters.",
        },
        _ => "",
    };
    let first = if asks(advice, CheckCode::SecondLook) {
        "LOOK AGAIN first (see why); if nothing else is found, CHANGE"
    } else {
        "CHANGE"
    };
    format!("{first} {}.{rest}", parts.join("; and "))
}

fn pinion(moved: Move, shims: &Shims, card: &Card, units: Units) -> Option<String> {
    if moved.pinion_mm == 0.0 {
        return None;
    }
    let place = match card.pinion.shim_place {
        ShimPlace::BehindHeadBearing => "behind the head bearing",
        ShimPlace::UnderCage => "under the cage",
    };
    Some(match &shims.pinion {
        Some(pack) => format!("the pinion pack: {} {place}", from_to(pack, units)),
        None => format!(
            "the pinion's place: {} {} the ring gear",
            units.shim(moved.pinion_mm.abs()),
            way(moved.pinion_mm)
        ),
    })
}

fn ring(moved: Move, shims: &Shims, units: Units) -> Option<String> {
    if moved.ring_mm == 0.0 {
        return None;
    }
    if let Some(notches) = shims.ring_notches {
        return Some(format!("the adjusters: {}", adjusters(notches)));
    }
    let packs: Vec<String> = [
        ("the ring-side pack", &shims.ring_side),
        ("the far-side pack", &shims.far_side),
    ]
    .into_iter()
    .filter_map(|(name, pack)| Some(format!("{name}: {}", from_to(pack.as_ref()?, units))))
    .collect();
    Some(if packs.is_empty() {
        format!(
            "the ring gear's place: {} {} the pinion",
            units.shim(moved.ring_mm.abs()),
            way(moved.ring_mm)
        )
    } else {
        packs.join(", ")
    })
}

/// Which adjuster to turn which way, + = ring gear away from the pinion. The one that gives way comes first; the other
/// then holds the preload.
pub(crate) fn adjusters(notches: i32) -> String {
    let (loosen, tighten) = if notches >= 0 {
        ("ring-side", "far-side")
    } else {
        ("far-side", "ring-side")
    };
    let by = match notches.abs() {
        0 => return "leave both adjusters".into(),
        1 => "1 notch".to_owned(),
        count => format!("{count} notches"),
    };
    format!(
        "loosen the {loosen} adjuster by {by}, then tighten the {tighten} one by {by}; the ring gear goes {} the pinion",
        way(f64::from(notches))
    )
}

/// `30.0 thou → 38.0 thou (30.0 + 5.0 + 3.0), add 8.0 thou`.
fn from_to(pack: &Pack, units: Units) -> String {
    let by_mm = pack.to_mm - pack.from_mm;
    let does = if by_mm < 0.0 { "take out" } else { "add" };
    let stack = if pack.stack_mm.is_empty() {
        String::new()
    } else {
        // The unit stands beside the sum.
        let number = |mm: &f64| {
            let text = units.shim(*mm);
            text.split_once(' ')
                .map_or(text.clone(), |(n, _)| n.to_owned())
        };
        let parts: Vec<String> = pack.stack_mm.iter().map(number).collect();
        format!(" ({})", parts.join(" + "))
    };
    format!(
        "{} → {}{stack}, {does} {}",
        units.shim(pack.from_mm),
        units.shim(pack.to_mm),
        units.shim(by_mm.abs())
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pack_that_stays_is_not_in_the_sum_and_a_new_one_is_told_whole() {
        let pack = |from_mm: f64, stack_mm: &[f64]| Pack {
            from_mm,
            to_mm: stack_mm.iter().sum(),
            stack_mm: stack_mm.to_vec(),
        };
        let says = |pack: &Pack| put_or_take(pack, "behind the head bearing", Units::In);
        let thou = 0.0254;
        assert_eq!(
            says(&pack(30.0 * thou, &[30.0 * thou, 5.0 * thou, 3.0 * thou])),
            "Add 8.0 thou behind the head bearing (5.0 + 3.0)."
        );
        assert_eq!(
            says(&pack(30.0 * thou, &[30.0 * thou, 5.0 * thou])),
            "Add 5.0 thou behind the head bearing."
        );
        assert_eq!(
            says(&pack(30.0 * thou, &[20.0 * thou, 3.0 * thou])),
            "Take out 7.0 thou behind the head bearing: the new pack is 23.0 thou (20.0 + 3.0)."
        );
    }

    #[test]
    fn what_goes_in_and_what_comes_out_is_told_by_its_own_word() {
        let thou = 0.0254;
        let pack = |from: f64, to: f64| Pack {
            from_mm: from * thou,
            to_mm: to * thou,
            stack_mm: Vec::new(),
        };
        assert_eq!(
            from_to(&pack(30.0, 38.0), Units::In),
            "30.0 thou → 38.0 thou, add 8.0 thou"
        );
        assert_eq!(
            from_to(&pack(30.0, 23.0), Units::In),
            "30.0 thou → 23.0 thou, take out 7.0 thou"
        );
        let bare = put_or_take(&pack(30.0, 38.0), "under the cage", Units::In);
        assert_eq!(bare, "Add 8.0 thou under the cage.");
    }
}
