//! Questions from simulated photos: which flank, what is wrong, what to move.

pub(crate) mod answer;
pub(crate) mod grade;
pub(crate) mod page;
pub(crate) mod progress;
pub(crate) mod score;
pub(crate) mod why;

use super::case::{Case, SLANT_BIAS_MM, Set};
use super::explore::{Offered, of_card};
use super::photo::noise::share;
use super::photo::{Rendered, Shot, Studio};
use crate::contact::{ContactError, Misalignment};
use crate::frames::Side;
use crate::schema::Cutting;
pub(crate) use answer::{Answer, Fault};
pub(crate) use score::{Score, score};

/// What cannot be used of a quiz's answers or progress.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QuizError {
    /// An answer that cannot be understood.
    #[error("{0}")]
    Answer(String),
    /// A progress file that is not one.
    #[error("{path} is no learner's progress: {cause}; choose another file with --progress")]
    Progress {
        /// The file.
        path: String,
        /// What is wrong with it.
        cause: String,
    },
    /// Progress of another quiz.
    #[error(
        "{path} holds answers to the quiz of seed {theirs}, not {ours}: go on with --seed {theirs}, or choose another file with --progress"
    )]
    OtherSeed {
        /// The file.
        path: String,
        /// Its seed.
        theirs: u64,
        /// The seed asked for.
        ours: u64,
    },
    /// Questions are counted from 1 to [`MOST`].
    #[error("there is no question {0}: they are numbered from 1 to {MOST}")]
    NoQuestion(u32),
    /// A table of answers that cannot be read.
    #[error("{path} cannot be graded: {cause}")]
    Table {
        /// The file.
        path: String,
        /// What is wrong with it.
        cause: String,
    },
}

impl From<QuizError> for crate::Error {
    fn from(error: QuizError) -> Self {
        Self::of(crate::error::ErrorKind::Input, error)
    }
}

/// No quiz goes on beyond this.
pub(crate) const MOST: u32 = 1000;

/// One question.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Question {
    /// From 1.
    pub number: u32,
    /// 1: pinion alone, far off; 2: pinion or ring gear; 3: both; 4: both, less far off, or nothing.
    pub level: u32,
    /// Which of the quiz's sets.
    pub set: usize,
    /// Where the gears stand.
    pub misalignment: Misalignment,
    /// Whether photo a shows the drive flanks.
    pub drive_first: bool,
    /// What decides the photos.
    photo_seed: u64,
}

/// A quiz: all its questions follow from the seed.
pub(crate) struct Quiz {
    /// The gear sets it asks about.
    pub sets: Vec<Offered>,
    /// The seed.
    pub seed: u64,
}

impl Quiz {
    /// The quiz on the invented axles.
    ///
    /// # Errors
    /// As [`Set::new`].
    pub(crate) fn new(seed: u64) -> Result<Self, ContactError> {
        let offered = |title: &str, cutting, bias_mm| -> Result<Offered, ContactError> {
            Ok(Offered {
                title: title.into(),
                about: String::new(),
                set: Set::example(cutting)?,
                bias_mm,
            })
        };
        Ok(Self {
            sets: vec![
                offered("face-milled", Cutting::FaceMilled, 0.0)?,
                offered("face-hobbed", Cutting::FaceHobbed, 0.0)?,
                offered("face-hobbed", Cutting::FaceHobbed, SLANT_BIAS_MM)?,
            ],
            seed,
        })
    }

    /// A quiz on one card.
    pub(crate) fn of_card(set: Set, seed: u64) -> Self {
        Self {
            sets: vec![of_card(set)],
            seed,
        }
    }

    /// The set of a question.
    pub(crate) fn offered(&self, question: &Question) -> &Offered {
        &self.sets[question.set]
    }

    /// The state of a question, with the gears moved from where they stand.
    pub(crate) fn case(&self, question: &Question, moved: Misalignment) -> Case {
        let offered = self.offered(question);
        let at = Misalignment {
            pinion_mm: question.misalignment.pinion_mm + moved.pinion_mm,
            ring_mm: question.misalignment.ring_mm + moved.ring_mm,
            ..Misalignment::default()
        };
        Case::new(&offered.set, at, offered.bias_mm)
    }

    /// The question of a number.
    ///
    /// # Errors
    /// A number that no question has.
    pub(crate) fn question(&self, number: u32) -> Result<Question, QuizError> {
        if !(1..=MOST).contains(&number) {
            return Err(QuizError::NoQuestion(number));
        }
        let level = match number {
            1..=2 => 1,
            3..=4 => 2,
            5..=7 => 3,
            _ => 4,
        };
        // A place that jams, leaves no patch, or is no question at its level is drawn again. At the most
        // far-off card something is left of the patches nearer in: every turn draws less far out.
        let mut question = self.draw(number, level, 0);
        for turn in 1..400 {
            if self.is_fair(&question) {
                break;
            }
            question = self.draw(number, level, turn);
        }
        Ok(question)
    }

    fn draw(&self, number: u32, level: u32, turn: u64) -> Question {
        let random = |k: u64| {
            let place = 1_000 * (u64::from(number) * 1_000 + turn) + k;
            share(self.seed ^ 0x9_0125, place)
        };
        let shrink = 1.0 - turn as f64 / 500.0;
        let sign = |k| if random(k) < 0.5 { -1.0 } else { 1.0 };
        let between = |k, low: f64, high: f64| shrink * (low + (high - low) * random(k));
        let pinion = |low, high| sign(1) * between(2, low, high);
        let ring = if sign(3) < 0.0 {
            -between(4, 0.10, 0.18)
        } else {
            between(4, 0.09, 0.26)
        };
        let (pinion_mm, ring_mm) = match level {
            1 => (pinion(0.17, 0.28), 0.0),
            2 if random(5) < 0.5 => (pinion(0.14, 0.25), 0.0),
            2 => (0.0, ring),
            3 => (pinion(0.12, 0.25), ring),
            _ if random(5) < 0.25 => (0.0, 0.0),
            _ => (pinion(0.08, 0.18), 0.8 * ring),
        };
        let reach = match level {
            1 => 1,
            2 | 3 => 2,
            _ => 3,
        };
        let choices = self.sets.len().min(reach);
        Question {
            number,
            level,
            set: ((random(6) * choices as f64) as usize).min(choices - 1),
            misalignment: Misalignment {
                pinion_mm,
                ring_mm,
                ..Misalignment::default()
            },
            drive_first: random(7) < 0.5,
            photo_seed: (random(8) * 1e9) as u64,
        }
    }

    /// Patches to be seen, backlash to be measured, and something wrong unless nothing was meant to be.
    fn is_fair(&self, question: &Question) -> bool {
        let case = self.case(question, Misalignment::default());
        let right = case.is_right(&self.offered(question).set.card);
        let meant_right = question.misalignment == Misalignment::default();
        case.words.iter().all(Option::is_some) && case.backlash_mm > 0.02 && right == meant_right
    }

    /// The photos a and b of a question.
    ///
    /// # Errors
    /// Teeth that cannot be cut.
    pub(crate) fn photos(
        &self,
        question: &Question,
        size: (u32, u32),
    ) -> Result<[Rendered; 2], ContactError> {
        let model = &self.offered(question).set.model;
        let case = self.case(question, Misalignment::default());
        let studio = Studio::new(model)?;
        let photo = |side| {
            let seed = question.photo_seed + side as u64;
            // Both photos are of one painting: the same compound.
            let shot = Shot {
                compound: Some(super::photo::Compound::usual(question.photo_seed)),
                ..Shot::new(side, size, seed)
            };
            studio.render(model, &case.state, &shot)
        };
        let [a, b] = if question.drive_first {
            [Side::Drive, Side::Coast]
        } else {
            [Side::Coast, Side::Drive]
        };
        Ok([photo(a)?, photo(b)?])
    }
}

#[cfg(test)]
mod tests;
