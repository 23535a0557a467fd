//! Graded cases of growing difficulty for a class: one set of pages to work on, one with the answers. They are the
//! quiz's questions, so that a class's answers are graded alike.

use super::case::form;
use super::flat::flank_picture;
use super::quiz::why::cause;
use super::quiz::{Question, Quiz};
use super::sheet::{CAUTION, begin};
use crate::Result;
use crate::contact::Misalignment;
use crate::frames::Side;
use crate::report::draw::page::{A4, Page};
use crate::units::Units;
use serde::Serialize;

/// How many cases a set of pages has.
pub(crate) const COUNT: u32 = 10;
const MARGIN: f64 = 36.0;
const WIDTH: f64 = A4[0] - 2.0 * MARGIN;
const GAP: f64 = 12.0;
const HALF: f64 = (WIDTH - GAP) / 2.0;
const BODY: f64 = 8.5;

/// One case's answer, for machines.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct CaseAnswer {
    /// Its number; that of the quiz's question.
    pub number: u32,
    /// 1 is easiest, 4 hardest.
    pub level: u32,
    /// The photo of the drive flanks, `a` or `b`.
    pub drive_photo: &'static str,
    /// Where the pinion stands, + = too far from the ring gear; the answer is to undo it.
    pub pinion_mm: f64,
    /// Where the ring gear stands, + = too far from the pinion.
    pub ring_mm: f64,
    /// Backlash as measured.
    pub backlash_mm: f64,
}

/// The cases as pages.
pub(crate) struct Cases {
    /// To work on.
    pub pages: Vec<Page>,
    /// The same with the answers.
    pub answered: Vec<Page>,
    /// The answers.
    pub answers: Vec<CaseAnswer>,
}

/// Makes the cases; photos of a size in pixels. `done` hears of every case that is drawn.
///
/// # Errors
/// Teeth that cannot be cut.
pub(crate) fn cases(
    quiz: &Quiz,
    size: (u32, u32),
    units: Units,
    done: &mut dyn FnMut(u32),
) -> Result<Cases> {
    let mut all = Cases {
        pages: Vec::new(),
        answered: Vec::new(),
        answers: Vec::new(),
    };
    for first in (1..=COUNT).step_by(2) {
        let mut both = [false, true].map(|answered| {
            let what = if answered { ", answers" } else { "" };
            begin(&format!("Cases {first} and {}{what}", first + 1))
        });
        for number in [first, first + 1] {
            let question = quiz.question(number)?;
            let photos = quiz.photos(&question, size)?.map(|photo| photo.picture);
            for (page, answered) in both.iter_mut().zip([false, true]) {
                asked(page, quiz, &question, &photos, units);
                if answered {
                    answer(page, quiz, &question, units);
                } else {
                    blanks(page);
                }
            }
            all.answers.push(CaseAnswer {
                number,
                level: question.level,
                drive_photo: if question.drive_first { "a" } else { "b" },
                pinion_mm: question.misalignment.pinion_mm,
                ring_mm: question.misalignment.ring_mm,
                backlash_mm: quiz.case(&question, Misalignment::default()).backlash_mm,
            });
            done(number);
        }
        let [mut page, mut answered] = both;
        for page in [&mut page, &mut answered] {
            page.paragraph([MARGIN, A4[1] - 44.0], WIDTH, 7.0, CAUTION);
        }
        all.pages.push(page);
        all.answered.push(answered);
    }
    Ok(all)
}

/// The case as a class sees it.
fn asked(
    page: &mut Page,
    quiz: &Quiz,
    question: &Question,
    photos: &[image::RgbImage; 2],
    units: Units,
) {
    let offered = quiz.offered(question);
    let card = &offered.set.card;
    let title = format!(
        "Case {}, level {} of 4: {} gears",
        question.number, question.level, offered.title
    );
    page.text([MARGIN, page.y + 12.0], 11.0, true, &title);
    page.y += 17.0;
    let mut lowest = page.y;
    for (k, (photo, letter)) in photos.iter().zip(["a", "b"]).enumerate() {
        let left = MARGIN + k as f64 * (HALF + GAP);
        let wide = 0.84 * HALF;
        let name = format!("Photo {letter}");
        page.text([left, page.y + 9.0], BODY, true, &name);
        lowest = lowest.max(page.picture([left, page.y + 12.0], wide, photo.clone(), &name));
    }
    let [low, high] = card.backlash_window_mm();
    let backlash = quiz.case(question, Misalignment::default()).backlash_mm;
    let t = card.target.tolerance;
    let words = format!(
        "Backlash {}, measured {}. Right: backlash from {} to {}, the middle of each patch within {:.0}\u{a0}% of the length and {:.0}\u{a0}% of the height \
         of its target.",
        units.shim(backlash),
        offered.set.dial.words,
        units.shim(low),
        units.shim(high),
        100.0 * t.length,
        100.0 * t.height
    );
    page.y = page.paragraph([MARGIN, lowest + 4.0], WIDTH, BODY, &words);
}

/// Where a class writes.
fn blanks(page: &mut Page) {
    let lines = [
        "Drive flanks: photo  a   b          What is wrong:",
        "Move the pinion by                                   toward / away from the ring gear",
        "Move the ring gear by                                toward / away from the pinion",
        "Why:",
    ];
    for line in lines {
        page.y += 24.0;
        page.text([MARGIN, page.y], BODY + 0.5, false, line);
        page.line(
            vec![[MARGIN, page.y + 5.0], [MARGIN + WIDTH, page.y + 5.0]],
            0.4,
        );
    }
    page.y += 18.0;
}

fn undone(gear: &str, mate: &str, mm: f64, units: Units) -> String {
    if mm == 0.0 {
        format!("the {gear} stays")
    } else {
        let way = if mm > 0.0 { "toward" } else { "away from" };
        format!("the {gear} {} {way} the {mate}", units.shim(mm.abs()))
    }
}

/// The answer: which photo, why, what to move, and both flanks as they are.
fn answer(page: &mut Page, quiz: &Quiz, question: &Question, units: Units) {
    let set = &quiz.offered(question).set;
    let m = question.misalignment;
    let case = quiz.case(question, Misalignment::default());
    let mut lowest = page.y;
    for side in Side::BOTH {
        let left = MARGIN + side as u8 as f64 * (HALF + GAP);
        let named = case.words[side as usize].as_ref();
        let named = named.map_or("gone", |d| d.words.as_str());
        let words = format!("{}: {named}", side.word());
        page.text([left, page.y + 8.0], BODY, true, &words);
        let flat = flank_picture(set, &case, side, 800);
        lowest = lowest.max(page.picture([left, page.y + 12.0], 0.84 * HALF, flat, &words));
    }
    page.y = lowest + 2.0;
    let first = if question.drive_first { "a" } else { "b" };
    let lines = [
        format!(
            "Photo {first} shows the drive flanks: they are {}.",
            form(&set.card, Side::Drive)
        ),
        cause(quiz, question, units),
        format!(
            "Move: {}; {}. Any move that brings both patches within tolerance and the backlash into its window is as good.",
            undone("pinion", "ring gear", m.pinion_mm, units),
            undone("ring gear", "pinion", m.ring_mm, units)
        ),
    ];
    for line in lines {
        page.y = page.paragraph([MARGIN, page.y], WIDTH, BODY, &line);
    }
    page.y += 4.0;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::draw::page::Item;

    fn words(pages: &[Page]) -> String {
        let items = pages.iter().flat_map(|page| &page.items);
        let texts = items.filter_map(|item| match item {
            Item::Text { words, .. } => Some(words.as_str()),
            _ => None,
        });
        texts.collect::<Vec<_>>().join(" ")
    }

    /// What a class gets does not hold the answers; what the teacher gets does; each answer makes all right.
    #[test]
    #[ignore = "slow: by .ci/run"]
    fn ten_cases_get_harder_and_the_answers_stand_apart() {
        let quiz = Quiz::new(3).unwrap();
        let mut heard = Vec::new();
        let made = cases(&quiz, (160, 120), Units::Mm, &mut |n| heard.push(n)).unwrap();
        assert_eq!(heard, (1..=COUNT).collect::<Vec<_>>());
        assert_eq!((made.pages.len(), made.answered.len()), (5, 5));
        let levels: Vec<u32> = made.answers.iter().map(|a| a.level).collect();
        assert!(levels.is_sorted() && levels[0] == 1 && levels[9] == 4);
        let (open, answered) = (words(&made.pages), words(&made.answered));
        assert!(!open.contains("shows the drive flanks") && !open.contains("As it stood"));
        assert_eq!(answered.matches("shows the drive flanks").count(), 10);
        for answer in &made.answers {
            let question = quiz.question(answer.number).unwrap();
            let undo = Misalignment {
                pinion_mm: -answer.pinion_mm,
                ring_mm: -answer.ring_mm,
                ..Misalignment::default()
            };
            let card = &quiz.offered(&question).set.card;
            assert!(quiz.case(&question, undo).is_right(card), "{answer:?}");
        }
        for page in made.pages.iter().chain(&made.answered) {
            assert!(page.y < A4[1] - 44.0, "{}", page.y);
        }
    }
}
