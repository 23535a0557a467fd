//! A class's answers as a table, graded.

use super::answer::{movement, photo};
use super::{Answer, Fault, Quiz, QuizError, Score, score};
use crate::files::csv_delimiter;
use crate::trade_words::understood;
use crate::units::Units;
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::Path;

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/lesson_grades/1";
/// The columns of the table; `seed` may be left out.
pub(crate) const COLUMNS: [&str; 6] = [
    "learner",
    "question",
    "drive_photo",
    "fault",
    "pinion",
    "ring",
];

/// All grades of a table.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Grades {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// One for each answer, in the table's order.
    pub answers: Vec<Graded>,
    /// One for each learner, by name.
    pub learners: Vec<Learner>,
    /// Lines that could not be graded, and why.
    pub refused: Vec<Refused>,
}

/// One graded answer.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Graded {
    /// Line of the table, the header being 1.
    pub line: u64,
    /// Who answered.
    pub learner: String,
    /// The question's number.
    pub question: u32,
    /// Its level.
    pub level: u32,
    /// What was answered.
    pub answer: Answer,
    /// What it is worth.
    pub score: Score,
}

/// A line that could not be graded.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Refused {
    /// Line of the table, the header being 1.
    pub line: u64,
    /// Why.
    pub why: String,
}

/// One learner's answers together.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Learner {
    /// The name.
    pub learner: String,
    /// How many answers.
    pub answers: usize,
    /// Mean points.
    pub mean_points: f64,
    /// Share of answers that named the drive flank.
    pub flank: f64,
    /// Share of answers that named the fault.
    pub fault: f64,
    /// Share of answers after which all would be right.
    pub right_next: f64,
}

/// Grades a table.
///
/// # Errors
/// A table without its columns. Single bad lines are listed in the result.
pub(crate) fn grade(
    quiz: &Quiz,
    text: &str,
    path: &Path,
    units: Units,
) -> Result<Grades, QuizError> {
    let bad = |cause: String| QuizError::Table {
        path: path.display().to_string(),
        cause,
    };
    let bytes = text.trim_start_matches('\u{feff}').as_bytes();
    let mut table = csv::ReaderBuilder::new()
        .delimiter(csv_delimiter(bytes))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(bytes);
    let header = table.headers().map_err(|e| bad(e.to_string()))?.clone();
    let place = |name: &str| {
        header
            .iter()
            .position(|head| understood("", head, &[name]).is_some())
    };
    let mut places = [0; COLUMNS.len()];
    for (own, name) in places.iter_mut().zip(COLUMNS) {
        *own = place(name).ok_or_else(|| {
            bad(format!(
                "it has no column `{name}`; its first line must name {}",
                COLUMNS.join(", ")
            ))
        })?;
    }
    let seed_place = place("seed");
    let mut grades = Grades {
        schema: SCHEMA,
        answers: Vec::new(),
        learners: Vec::new(),
        refused: Vec::new(),
    };
    for (k, row) in table.records().enumerate() {
        let mut line = k as u64 + 2;
        let graded = row
            .map_err(|e| QuizError::Answer(e.to_string()))
            .and_then(|row| {
                line = row.position().map_or(line, csv::Position::line);
                let cells = places.map(|p| row.get(p).unwrap_or(""));
                let seed = seed_place.and_then(|p| row.get(p)).unwrap_or("");
                one(quiz, line, cells, seed, units)
            });
        match graded {
            Ok(graded) => grades.answers.push(graded),
            Err(error) => grades.refused.push(Refused {
                line,
                why: error.to_string(),
            }),
        }
    }
    grades.learners = learners(&grades.answers);
    Ok(grades)
}

fn one(
    quiz: &Quiz,
    line: u64,
    [learner, number, drive, fault, pinion, ring]: [&str; 6],
    seed: &str,
    units: Units,
) -> Result<Graded, QuizError> {
    if learner.is_empty() {
        return Err(QuizError::Answer("it names no learner".into()));
    }
    if !seed.is_empty() && seed != quiz.seed.to_string() {
        return Err(QuizError::Answer(format!(
            "it answers the quiz of seed {seed}; grade that with --seed {seed}"
        )));
    }
    let number: u32 = number
        .parse()
        .map_err(|_| QuizError::Answer(format!("`{number}` is no number of a question")))?;
    let question = quiz.question(number)?;
    let answer = Answer {
        drive_first: photo(drive)?,
        faults: Fault::several(fault)?,
        pinion_mm: movement(pinion, units)?,
        ring_mm: movement(ring, units)?,
    };
    Ok(Graded {
        line,
        learner: learner.to_owned(),
        question: number,
        level: question.level,
        score: score(quiz, &question, &answer),
        answer,
    })
}

fn learners(answers: &[Graded]) -> Vec<Learner> {
    let mut by_name: BTreeMap<&str, Vec<&Score>> = BTreeMap::new();
    for graded in answers {
        by_name
            .entry(&graded.learner)
            .or_default()
            .push(&graded.score);
    }
    by_name
        .into_iter()
        .map(|(learner, scores)| {
            let n = scores.len() as f64;
            let share =
                |of: &dyn Fn(&Score) -> bool| scores.iter().filter(|s| of(s)).count() as f64 / n;
            Learner {
                learner: learner.to_owned(),
                answers: scores.len(),
                mean_points: scores.iter().map(|s| f64::from(s.points)).sum::<f64>() / n,
                flank: share(&|s| s.flank),
                fault: share(&|s| s.fault),
                right_next: share(&|s| s.after.right),
            }
        })
        .collect()
}
