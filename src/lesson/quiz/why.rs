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

fn stands(gear: &str, mate: &str, mm: f64, units: Units) -> String {
    let way = if mm < 0.0 {
        "too near the"
    } else {
        "too far from the"
    };
    format!("a {gear} {} {way} {mate}", units.shim(mm.abs()))
}

fn gears(at: Misalignment) -> [(&'static str, &'static str, f64); 2] {
    [
        ("pinion", "ring gear", at.pinion_mm),
        ("ring gear", "pinion", at.ring_mm),
    ]
}

/// Why the patterns of a question stand as they do.
pub(crate) fn cause(quiz: &Quiz, question: &Question, units: Units) -> String {
    let off = gears(question.misalignment)
        .into_iter()
        .filter(|g| g.2 != 0.0);
    let causes: Vec<String> = off
        .map(|(gear, mate, mm)| {
            let effect = effect(quiz, question, gear == "pinion", units);
            format!("{} {effect}", stands(gear, mate, mm, units))
        })
        .collect();
    if causes.is_empty() {
        "As it stood both patches were within their tolerance and the backlash in its window, so nothing was to be moved.".into()
    } else {
        format!("As it stood: {}.", causes.join("; "))
    }
}

/// Why the patterns stood as they did, then what the move leaves.
pub(crate) fn why(quiz: &Quiz, question: &Question, answer: &Answer, units: Units) -> [String; 2] {
    let card = &quiz.offered(question).set.card;
    let m = question.misalignment;
    let moved = Misalignment {
        pinion_mm: answer.pinion_mm,
        ring_mm: answer.ring_mm,
        ..Misalignment::default()
    };
    let now = Misalignment {
        pinion_mm: m.pinion_mm + answer.pinion_mm,
        ring_mm: m.ring_mm + answer.ring_mm,
        ..Misalignment::default()
    };
    let left = gears(now).map(|(gear, mate, mm)| {
        if mm.abs() < 5e-4 {
            format!("a {gear} in its place")
        } else {
            stands(gear, mate, mm, units)
        }
    });
    let out = quiz.case(question, moved).what_is_out(card);
    let before = quiz.case(question, Misalignment::default());
    let verdict = match (out.is_empty(), before.is_right(card)) {
        (true, true) => "all stays right".to_owned(),
        (true, false) => "all is right".to_owned(),
        (false, _) => listed(&out),
    };
    [
        cause(quiz, question, units),
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
