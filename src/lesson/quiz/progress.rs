//! What a learner has answered so far, kept in a file.

use super::{Answer, QuizError, Score};
use crate::files;
use crate::{Error, Result};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/lesson_progress/2";
/// The version before, whose backlash is that at the outer diameter in the plane of rotation; its answers and points
/// are kept.
const BEFORE: &str = "flankread/lesson_progress/1";

/// A file of answers is smaller than this.
const MOST_BYTES: u64 = 64 << 20;

/// A learner's answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub(crate) struct Progress {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// What the learner is called.
    pub learner: String,
    /// The quiz.
    pub seed: u64,
    /// In the order they were given.
    pub answers: Vec<Answered>,
}

/// One answer with its score.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub(crate) struct Answered {
    /// The question's number.
    pub question: u32,
    /// Its level.
    pub level: u32,
    /// The answer.
    pub answer: Answer,
    /// Its score.
    pub score: Score,
}

impl Progress {
    /// Reads a file, or begins afresh where there is none.
    ///
    /// # Errors
    /// A file that cannot be read, is none of ours, or is of another quiz.
    pub(crate) fn open(path: &Path, learner: Option<&str>, seed: u64) -> Result<Self> {
        let text = match files::read_text(path, MOST_BYTES) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Ok(Self {
                    schema: SCHEMA.into(),
                    learner: learner.unwrap_or_default().to_owned(),
                    seed,
                    answers: Vec::new(),
                });
            }
            Err(error) => return Err(Error::input(path, error)),
        };
        let bad = |cause: String| QuizError::Progress {
            path: path.display().to_string(),
            cause,
        };
        let mut progress: Self =
            serde_json::from_str(&text).map_err(|error| bad(error.to_string()))?;
        if progress.schema == BEFORE {
            progress.schema = SCHEMA.into();
        }
        if progress.schema != SCHEMA {
            return Err(bad(format!("its schema is `{}`", progress.schema)).into());
        }
        if progress.seed != seed {
            return Err(QuizError::OtherSeed {
                path: path.display().to_string(),
                theirs: progress.seed,
                ours: seed,
            }
            .into());
        }
        if let Some(learner) = learner {
            if !progress.learner.is_empty() && progress.learner != learner {
                let cause = format!("it is that of `{}`", progress.learner);
                return Err(bad(cause).into());
            }
            progress.learner = learner.to_owned();
        }
        Ok(progress)
    }

    /// The number of the next question.
    pub(crate) fn next(&self) -> u32 {
        self.answers.iter().map(|a| a.question).max().unwrap_or(0) + 1
    }

    /// Mean points of the answers so far.
    pub(crate) fn mean(&self) -> Option<f64> {
        let sum: u32 = self.answers.iter().map(|a| a.score.points).sum();
        (!self.answers.is_empty()).then(|| f64::from(sum) / self.answers.len() as f64)
    }

    /// Keeps it.
    ///
    /// # Errors
    /// The file cannot be written.
    pub(crate) fn save(&self, path: &Path) -> Result<()> {
        let text = serde_json::to_string_pretty(self)
            .map_err(|error| Error::machine(path, error.into()))?;
        // The program's own file: kept up to date, not overwritten.
        files::write(path, format!("{text}\n").as_bytes(), true)
    }
}
