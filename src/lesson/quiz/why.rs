//! What an answer teaches: why the patterns stood as they did, and what the move leaves, in two sentences; the patterns
//! before and after it, drawn.

use super::{Answer, Question, Quiz};
use crate::Result;
use crate::contact::Misalignment;
use crate::frames::Side;
use crate::lesson::case::Case;
use crate::lesson::flat::flank_picture;
use crate::report::draw::page::Page;
use crate::units::Units;

fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// What one gear's standing off does to both patches or the backlash.
fn effect(quiz: &Quiz, question: &Question, pinion: bool, units: Units) -> String {
    let m = question.misalignment;
    let undone = Misalignment {
        pinion_mm: -m.pinion_mm,
        ring_mm: -m.ring_mm,
        ..Misalignment::default()
    };
    let alone = Misalignment {
        pinion_mm: if pinion { 0.0 } else { undone.pinion_mm },
        ring_mm: if pinion { undone.ring_mm } else { 0.0 },
        ..Misalignment::default()
    };
    let [right, off] = [undone, alone].map(|moved| quiz.case(question, moved));
    if !pinion {
        let change = off.backlash_mm - right.backlash_mm;
        let way = if change < 0.0 { "less" } else { "more" };
        return format!("makes the backlash {} {way}", units.shim(change.abs()));
    }
    let shifts: Vec<String> = Side::BOTH
        .iter()
        .filter_map(|&side| {
            let height = |case: &Case| case.state.side(side).patch.map(|p| p.centre.height);
            let shift = height(&off)? - height(&right)?;
            let end = if shift < 0.0 { "root" } else { "tip" };
            Some(format!(
                "the {} patch {:.0}\u{a0}% toward the {end}",
                side.word(),
                100.0 * shift.abs()
            ))
        })
        .collect();
    format!("takes {}", listed(&shifts))
}

/// Why the patterns stood as they did, then what the move leaves.
pub(crate) fn why(quiz: &Quiz, question: &Question, answer: &Answer, units: Units) -> [String; 2] {
    let card = &quiz.offered(question).set.card;
    let m = question.misalignment;
    let before = quiz.case(question, Misalignment::default());
    let moved = Misalignment {
        pinion_mm: answer.pinion_mm,
        ring_mm: answer.ring_mm,
        ..Misalignment::default()
    };
    let after = quiz.case(question, moved);
    let stands = |gear: &str, mate: &str, mm: f64| {
        let way = if mm < 0.0 {
            "too near the"
        } else {
            "too far from the"
        };
        format!("a {gear} {} {way} {mate}", units.shim(mm.abs()))
    };
    let pairs = [
        ("pinion", "ring gear", m.pinion_mm, true),
        ("ring gear", "pinion", m.ring_mm, false),
    ];
    let causes: Vec<String> = pairs
        .iter()
        .filter(|(_, _, mm, _)| *mm != 0.0)
        .map(|&(gear, mate, mm, pinion)| {
            let effect = effect(quiz, question, pinion, units);
            format!("{} {effect}", stands(gear, mate, mm))
        })
        .collect();
    let cause = if causes.is_empty() {
        "As it stood both patches were within their tolerance and the backlash in its window, so nothing was to be moved.".into()
    } else {
        format!("As it stood: {}.", causes.join("; "))
    };
    let left: Vec<String> = pairs
        .iter()
        .map(|&(gear, mate, mm, pinion)| {
            let mm = mm + if pinion { answer.pinion_mm } else { answer.ring_mm };
            if mm.abs() < 5e-4 {
                format!("a {gear} in its place")
            } else {
                stands(gear, mate, mm)
            }
        })
        .collect();
    let out = after.what_is_out(card);
    let verdict = if out.is_empty() && before.is_right(card) {
        "all stays right".to_owned()
    } else if out.is_empty() {
        "all is right".to_owned()
    } else {
        listed(&out)
    };
    [
        cause,
        format!("Your move leaves {}: {verdict}.", listed(&left)),
    ]
}

/// Both flanks as they stood and as they would stand next, as PNG.
///
/// # Errors
/// The drawing failed.
pub(crate) fn drawn(quiz: &Quiz, question: &Question, answer: &Answer) -> Result<Vec<u8>> {
    const WIDE: f64 = 250.0;
    let set = &quiz.offered(question).set;
    let moved = Misalignment {
        pinion_mm: answer.pinion_mm,
        ring_mm: answer.ring_mm,
        ..Misalignment::default()
    };
    let rows = [
        ("as it stood", Misalignment::default()),
        ("after your move", moved),
    ];
    let mut page = Page::new([2.0 * WIDE + 36.0, 0.0]);
    page.y = 8.0;
    for (when, moved) in rows {
        let case = quiz.case(question, moved);
        let mut lowest = page.y;
        for side in Side::BOTH {
            let left = 12.0 + side as u8 as f64 * (WIDE + 12.0);
            let title = format!("{} {when}", side.word());
            page.text([left, page.y + 10.0], 9.0, true, &title);
            let flat = flank_picture(set, &case, side, 800);
            lowest = lowest.max(page.picture([left, page.y + 15.0], WIDE, flat, &title));
        }
        page.y = lowest + 8.0;
    }
    let words = "Toe left, heel right, tip above. The cross is the target; a middle within the dashed box is right.";
    page.y = page.paragraph([12.0, page.y], 2.0 * WIDE, 7.0, words);
    page.size[1] = page.y + 6.0;
    Ok(page.png(2.0)?)
}
