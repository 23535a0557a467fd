//! The one public error: in plain words what was wrong, where, and what to do.
//!
//! Each area has an error type of its own and says in its own file how it becomes this one, so that the
//! ground floor knows of no room above it.

use std::error::Error as StdError;
use std::fmt;
use std::io;
use std::path::Path;

/// Whose fault an error is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum ErrorKind {
    /// What was asked makes no sense, or an input cannot be used as it is.
    Input,
    /// The machine failed: disk full, no permission to write, out of memory.
    Machine,
}

/// Everything that can stop the program.
///
/// The area's own error is the source: `error.source()` downcasts to [`PhotoError`](crate::PhotoError) and its like.
#[derive(Debug)]
pub struct Error {
    kind: ErrorKind,
    said: Said,
}

#[derive(Debug)]
enum Said {
    By(Box<dyn StdError + Send + Sync>),
    Words(String),
    Several(Vec<Error>),
}

/// Shorthand for results with [`Error`].
pub type Result<T> = std::result::Result<T, Error>;

impl Error {
    /// An area's error as this one.
    pub(crate) fn of(kind: ErrorKind, source: impl StdError + Send + Sync + 'static) -> Self {
        Self {
            kind,
            said: Said::By(Box::new(source)),
        }
    }

    /// An input file that cannot be used as it is: missing, no permission, a folder.
    pub(crate) fn input(path: &Path, source: io::Error) -> Self {
        let words = format!("cannot read {}: {source}", path.display());
        Self::words(ErrorKind::Input, words)
    }

    /// A file or stream that cannot be written: disk full, no permission.
    pub(crate) fn machine(path: &Path, source: io::Error) -> Self {
        let words = format!("cannot write {}: {source}", path.display());
        Self::words(ErrorKind::Machine, words)
    }

    /// Something asked for that makes no sense together.
    pub(crate) fn usage(words: impl fmt::Display) -> Self {
        Self::words(ErrorKind::Input, words.to_string())
    }

    /// Several inputs that cannot be used, a sentence each.
    #[cfg(feature = "cli")]
    pub(crate) fn several(errors: Vec<Self>) -> Self {
        Self {
            kind: ErrorKind::Input,
            said: Said::Several(errors),
        }
    }

    const fn words(kind: ErrorKind, words: String) -> Self {
        Self {
            kind,
            said: Said::Words(words),
        }
    }

    /// A sentence for each input that cannot be used.
    #[cfg(feature = "cli")]
    pub(crate) fn messages(&self) -> Vec<String> {
        match &self.said {
            Said::Several(errors) => errors.iter().flat_map(Self::messages).collect(),
            Said::By(_) | Said::Words(_) => vec![self.to_string()],
        }
    }

    /// Whose fault it is.
    pub const fn kind(&self) -> ErrorKind {
        self.kind
    }
}

impl fmt::Display for Error {
    /// One line for each error.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.said {
            Said::By(source) => source.fmt(f),
            Said::Words(words) => f.write_str(words),
            Said::Several(errors) => {
                let lines: Vec<String> = errors.iter().map(Self::to_string).collect();
                f.write_str(&lines.join("\n"))
            }
        }
    }
}

impl StdError for Error {
    fn source(&self) -> Option<&(dyn StdError + 'static)> {
        match &self.said {
            Said::By(source) => Some(source.as_ref()),
            Said::Words(_) | Said::Several(_) => None,
        }
    }
}
