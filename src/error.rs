//! One public error with a kind per area, each in plain words: what was wrong, where, what to do.

use std::io;
use std::path::Path;

/// Everything that can stop the program. Areas add their own kind with `#[from]`.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// An input file cannot be used as it is: missing, no permission, a directory.
    #[error("cannot read {path}: {source}")]
    Input {
        /// The file as it was given.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// The machine failed while writing: disk full, no permission, out of memory.
    #[error("cannot write {path}: {source}")]
    Machine {
        /// The file that was being written.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// A photo cannot be opened.
    #[error(transparent)]
    Photo(#[from] crate::photo::PhotoError),
    /// Marks cannot be used.
    #[error(transparent)]
    Marks(#[from] crate::flank::marks::MarksError),
    /// A card that cannot be used.
    #[error("{path}: {error}")]
    Card {
        /// The card's file, or where else it stood.
        path: String,
        /// What is wrong with it.
        error: crate::gear::card_read::CardError,
    },
    /// The gear set of a card cannot be made or cannot mesh.
    #[error(transparent)]
    Contact(#[from] crate::contact::ContactError),
    /// No advice can be made of a job.
    #[error(transparent)]
    Rules(#[from] crate::rules::RulesError),
    /// A station of the bench cannot answer.
    #[error(transparent)]
    Setup(#[from] crate::setup::SetupError),
    /// The workshop's record.
    #[error(transparent)]
    Job(#[from] crate::job::JobError),
    /// A batch could not be run.
    #[error(transparent)]
    Batch(#[from] crate::batch::BatchError),
    /// Answers to a quiz that cannot be used.
    #[error(transparent)]
    Quiz(#[from] crate::lesson::quiz::QuizError),
    /// A picture could not be drawn.
    #[error(transparent)]
    Picture(#[from] crate::report::PictureError),
    /// Several inputs that cannot be used, a sentence each.
    #[error("{}", sentences(.0))]
    Several(Vec<Error>),
    /// The command line asks for something that makes no sense together.
    #[error("{0}")]
    Usage(String),
}

impl Error {
    /// An input that cannot be read.
    pub fn input(path: &Path, source: io::Error) -> Self {
        Self::Input {
            path: path.display().to_string(),
            source,
        }
    }

    /// An output that cannot be written.
    pub fn machine(path: &Path, source: io::Error) -> Self {
        Self::Machine {
            path: path.display().to_string(),
            source,
        }
    }

    /// The exit status a command ends with on this error: 2 wrong use or unusable input, 3 the
    /// machine failed.
    pub fn exit_status(&self) -> u8 {
        match self {
            Self::Machine { .. } | Self::Picture(_) => 3,
            Self::Job(error) if error.is_machine() => 3,
            Self::Batch(error) if error.is_of_machine() => 3,
            _ => 2,
        }
    }
}

/// One line for each error, the program's name before all but the first as `main` prints it.
fn sentences(errors: &[Error]) -> String {
    let lines: Vec<String> = errors.iter().map(Error::to_string).collect();
    lines.join("\nflankread: ")
}

/// Shorthand for results with [`enum@Error`].
pub type Result<T> = std::result::Result<T, Error>;
