//! A class's answers as a table, graded.

use super::answer::{movement, photo};
use super::{Answer, Fault, MOST, Quiz, QuizError, Score, score};
use crate::files::csv_delimiter;
use crate::trade_words::understood;
use crate::units::Units;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/lesson_grades/2";
/// The columns of the table; `seed` and `questions`, how many the quiz has, may be left out.
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
    /// How many questions the quiz has.
    pub questions: u32,
    /// What a teacher must know before believing the grades.
    pub notes: Vec<String>,
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
    /// How many questions were answered.
    pub answers: usize,
    /// Mean points of all questions; one that was not answered counts as 0. In version 1 only answers counted.
    pub mean_points: f64,
    /// Share of questions whose drive flank was named.
    pub flank: f64,
    /// Share of questions whose fault was named.
    pub fault: f64,
    /// Share of questions after whose answer all would be right.
    pub right_next: f64,
}

/// A table's text, whatever spreadsheet saved it: UTF-8, else Latin-1, whose every byte is its character.
pub(crate) fn decoded(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.trim_start_matches('\u{feff}').to_owned(),
        Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
    }
}

/// A table whose columns are found.
pub(crate) struct Table {
    /// Line and cells, in the order of [`COLUMNS`], then seed and number of questions; or why a line is none.
    rows: Vec<Result<(u64, [String; 8]), Refused>>,
}

impl Table {
    /// Finds the columns and cuts the lines up.
    ///
    /// # Errors
    /// A table without its columns.
    pub(crate) fn read(text: &str, path: &Path) -> Result<Self, QuizError> {
        let bad = |cause: String| QuizError::Table {
            path: path.display().to_string(),
            cause,
        };
        let mut table = csv::ReaderBuilder::new()
            .delimiter(csv_delimiter(text.as_bytes()))
            .trim(csv::Trim::All)
            .flexible(true)
            .from_reader(text.as_bytes());
        let header = table.headers().map_err(|e| bad(e.to_string()))?.clone();
        let place = |name: &str| {
            header
                .iter()
                .position(|head| understood("", head, &[name]).is_some())
        };
        let mut places = [None; 8];
        for (own, name) in places.iter_mut().zip(COLUMNS) {
            *own = Some(place(name).ok_or_else(|| {
                bad(format!(
                    "it has no column `{name}`; its first line must name {}",
                    COLUMNS.join(", ")
                ))
            })?);
        }
        places[6] = place("seed");
        places[7] = place("questions");
        let mut rows = Vec::new();
        for (k, row) in table.records().enumerate() {
            let line = k as u64 + 2;
            rows.push(match row {
                Ok(row) => Ok((
                    row.position().map_or(line, csv::Position::line),
                    places.map(|p| p.and_then(|p| row.get(p)).unwrap_or("").to_owned()),
                )),
                Err(error) => Err(Refused {
                    line,
                    why: error.to_string(),
                }),
            });
        }
        Ok(Self { rows })
    }

    fn cells(&self, column: usize) -> impl Iterator<Item = &str> {
        self.rows
            .iter()
            .flatten()
            .map(move |(_, cells)| cells[column].as_str())
            .filter(|cell| !cell.is_empty())
    }

    /// The one seed that all lines name, if they name one.
    pub(crate) fn seed(&self) -> Option<u64> {
        let named: BTreeSet<&str> = self.cells(6).collect();
        match named.len() {
            1 => named.first()?.parse().ok(),
            _ => None,
        }
    }

    /// How many questions the lines say that the quiz has.
    fn questions(&self) -> Option<u32> {
        self.cells(7).filter_map(|cell| cell.parse().ok()).max()
    }

    fn highest_answered(&self) -> Option<u32> {
        let numbers = self.cells(1).filter_map(|cell| cell.parse().ok());
        numbers.filter(|number| (1..=MOST).contains(number)).max()
    }
}

/// What the teacher says of the quiz.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Told {
    /// How many questions it has.
    pub count: Option<u32>,
    /// Whether the seed was given, not taken as usual.
    pub seed: bool,
    /// Of numbers without a unit.
    pub units: Units,
}

/// Grades a table. Single bad lines are listed in the result.
pub(crate) fn grade(quiz: &Quiz, table: &Table, told: Told) -> Grades {
    let mut notes = Vec::new();
    if !told.seed && table.seed().is_none() {
        notes.push(format!(
            "Nobody said which quiz this is: graded as that of seed {}. If it was another, say it with --seed; against a wrong one no grade is worth anything.",
            quiz.seed
        ));
    }
    let questions = told.count.or_else(|| table.questions()).unwrap_or_else(|| {
        let highest = table.highest_answered().unwrap_or(1);
        notes.push(format!(
            "Nobody said how many questions the quiz has: {highest} taken, the highest that is answered. Say it with --count."
        ));
        highest
    });
    let mut grades = Grades {
        schema: SCHEMA,
        answers: Vec::new(),
        learners: Vec::new(),
        refused: Vec::new(),
        questions,
        notes,
    };
    let mut first_in: BTreeMap<(String, u32), u64> = BTreeMap::new();
    for row in &table.rows {
        let graded = row.clone().and_then(|(line, cells)| {
            let refused = |error: QuizError| Refused {
                line,
                why: error.to_string(),
            };
            let graded = one(quiz, line, &cells, questions, told.units).map_err(refused)?;
            let key = (graded.learner.to_lowercase(), graded.question);
            match first_in.get(&key) {
                Some(first) => Err(Refused {
                    line,
                    why: format!(
                        "{} has answered question {} already, in line {first}; the first answer counts",
                        graded.learner, graded.question
                    ),
                }),
                None => {
                    first_in.insert(key, line);
                    Ok(graded)
                }
            }
        });
        match graded {
            Ok(graded) => grades.answers.push(graded),
            Err(refused) => grades.refused.push(refused),
        }
    }
    grades.learners = learners(&grades.answers, questions);
    grades.notes.extend(guessing(&grades.answers, quiz.seed));
    grades
}

/// A class that names the drive photo as often as by guessing answers another quiz.
fn guessing(answers: &[Graded], seed: u64) -> Option<String> {
    const FEWEST: usize = 8;
    let right = answers.iter().filter(|a| a.score.flank).count();
    (answers.len() >= FEWEST && 3 * right < 2 * answers.len()).then(|| {
        format!(
            "Only {right} of {} answers name the drive photo, hardly more than guessing would: is this the quiz of seed {seed}, and of this card?",
            answers.len()
        )
    })
}

fn one(
    quiz: &Quiz,
    line: u64,
    cells: &[String; 8],
    questions: u32,
    units: Units,
) -> Result<Graded, QuizError> {
    let [learner, number, drive, fault, pinion, ring, seed, _] = cells;
    if learner.is_empty() {
        return Err(QuizError::Answer("it names no learner".into()));
    }
    if !seed.is_empty() && *seed != quiz.seed.to_string() {
        return Err(QuizError::Answer(format!(
            "it answers the quiz of seed {seed}; grade that with --seed {seed}"
        )));
    }
    let number: u32 = number
        .parse()
        .map_err(|_| QuizError::Answer(format!("`{number}` is no number of a question")))?;
    let question = quiz.question(number)?;
    if number > questions {
        return Err(QuizError::Answer(format!(
            "there is no question {number}: the quiz has {questions}"
        )));
    }
    let answer = Answer {
        drive_first: photo(drive)?,
        faults: Fault::several(fault)?,
        pinion_mm: movement(pinion, units)?,
        ring_mm: movement(ring, units)?,
    };
    Ok(Graded {
        line,
        learner: learner.clone(),
        question: number,
        level: question.level,
        score: score(quiz, &question, &answer),
        answer,
    })
}

fn learners(answers: &[Graded], questions: u32) -> Vec<Learner> {
    let mut by_name: BTreeMap<String, Vec<&Graded>> = BTreeMap::new();
    for graded in answers {
        by_name
            .entry(graded.learner.to_lowercase())
            .or_default()
            .push(graded);
    }
    by_name
        .into_values()
        .map(|graded| {
            let n = f64::from(questions);
            let share = |of: &dyn Fn(&Score) -> bool| {
                graded.iter().filter(|g| of(&g.score)).count() as f64 / n
            };
            Learner {
                learner: graded[0].learner.clone(),
                answers: graded.len(),
                mean_points: graded
                    .iter()
                    .map(|g| f64::from(g.score.points))
                    .sum::<f64>()
                    / n,
                flank: share(&|s| s.flank),
                fault: share(&|s| s.fault),
                right_next: share(&|s| s.after.right),
            }
        })
        .collect()
}
