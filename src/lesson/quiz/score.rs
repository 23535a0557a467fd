//! Points for an answer: for what it says, and most of all for what would happen next.

use super::{Answer, Fault, Question, Quiz};
use crate::contact::Misalignment;
use crate::frames::Side;
use crate::lesson::case::Case;
use crate::schema::Card;
use serde::{Deserialize, Serialize};

/// Points for naming the flank, for the fault, and for an assembly that is right.
pub(crate) const POINTS: [u32; 3] = [15, 15, 70];
/// Points for an assembly that is nearly right though not quite.
pub(crate) const NEARLY: f64 = 60.0;
/// Badness where the teeth jam or a patch is gone.
pub(crate) const HOPELESS: f64 = 4.0;
/// A gear that stands off less than this is not off, mm.
pub(crate) const OFF_MM: f64 = 0.02;

/// How an assembly shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub(crate) struct Shows {
    /// Drive and coast patch in the trade's words; `gone` when there is none.
    pub words: [String; 2],
    /// Whether drive and coast patch are within their tolerance, whatever they are called.
    #[serde(default)]
    pub within: [bool; 2],
    /// Backlash as the card has it measured; 0 = jammed.
    pub backlash_mm: f64,
    /// Greatest share of its tolerance that any of the five limits takes; 1 and less is right.
    pub badness: f64,
    /// Whether all is right.
    pub right: bool,
}

impl Shows {
    /// How a case shows.
    pub(crate) fn new(case: &Case, card: &Card) -> Self {
        Self {
            words: Side::BOTH.map(|side| {
                let words = &case.words[side as usize];
                words.as_ref().map_or("gone".into(), |d| d.words.clone())
            }),
            within: Side::BOTH.map(|side| case.is_within(side, card)),
            backlash_mm: case.backlash_mm,
            badness: badness(case, card),
            right: case.is_right(card),
        }
    }

    /// A side's patch in words that do not contradict a verdict.
    pub(crate) fn patch_words(&self, side: Side) -> String {
        let words = &self.words[side as usize];
        if self.within[side as usize] && words != "centred" {
            format!("{words}, within tolerance")
        } else {
            words.clone()
        }
    }
}

/// Greatest share of its tolerance that any patch or the backlash takes.
pub(crate) fn badness(case: &Case, card: &Card) -> f64 {
    let tolerance = card.target.tolerance;
    let [low, high] = card.backlash_window_mm();
    let middle = 0.5 * (low + high);
    let mut worst = (case.backlash_mm - middle).abs() / (high - middle);
    for words in &case.words {
        worst = worst.max(words.as_ref().map_or(HOPELESS, |d| {
            (d.length.abs() / tolerance.length).max(d.height.abs() / tolerance.height)
        }));
    }
    if case.backlash_mm == 0.0 {
        worst = worst.max(HOPELESS);
    }
    worst
}

/// What an answer is worth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub(crate) struct Score {
    /// All points, of 100.
    pub points: u32,
    /// Whether the drive photo was named.
    pub flank: bool,
    /// Whether the fault was named.
    pub fault: bool,
    /// Points for what would happen next.
    pub outcome: u32,
    /// How it shows now.
    pub before: Shows,
    /// How it would show after the move.
    pub after: Shows,
}

/// The faults that are there, and those that alone would spoil the set.
fn faults(quiz: &Quiz, question: &Question) -> (Vec<Fault>, Vec<Fault>) {
    let card = &quiz.offered(question).set.card;
    let m = question.misalignment;
    let mut there = Vec::new();
    let mut spoiling = Vec::new();
    let pairs = [
        (m.pinion_mm, [Fault::PinionNear, Fault::PinionFar], true),
        (m.ring_mm, [Fault::RingNear, Fault::RingFar], false),
    ];
    for (off, [near, far], pinion) in pairs {
        if off.abs() < OFF_MM {
            continue;
        }
        let fault = if off < 0.0 { near } else { far };
        there.push(fault);
        let undo_other = Misalignment {
            pinion_mm: if pinion { 0.0 } else { -m.pinion_mm },
            ring_mm: if pinion { -m.ring_mm } else { 0.0 },
            ..Misalignment::default()
        };
        if !quiz.case(question, undo_other).is_right(card) {
            spoiling.push(fault);
        }
    }
    (there, spoiling)
}

/// Scores an answer.
pub(crate) fn score(quiz: &Quiz, question: &Question, answer: &Answer) -> Score {
    let card = &quiz.offered(question).set.card;
    let moved = Misalignment {
        pinion_mm: answer.pinion_mm,
        ring_mm: answer.ring_mm,
        ..Misalignment::default()
    };
    let before = Shows::new(&quiz.case(question, Misalignment::default()), card);
    let after = Shows::new(&quiz.case(question, moved), card);
    let (there, spoiling) = faults(quiz, question);
    let named = &answer.faults;
    // Where nothing is wrong as it stands, nothing is to be named.
    let fault = if before.right {
        named.is_empty()
    } else {
        !named.is_empty()
            && named.iter().all(|f| there.contains(f))
            && spoiling.iter().all(|f| named.contains(f))
    };
    let flank = answer.drive_first == question.drive_first;
    let outcome = if after.right {
        POINTS[2]
    } else if before.right {
        0
    } else {
        let gained = (before.badness - after.badness) / (before.badness - 1.0);
        (NEARLY * gained.clamp(0.0, 1.0)).round() as u32
    };
    Score {
        points: POINTS[0] * u32::from(flank) + POINTS[1] * u32::from(fault) + outcome,
        flank,
        fault,
        outcome,
        before,
        after,
    }
}
