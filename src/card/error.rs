//! Why a card cannot be used.

use crate::error::{Error, ErrorKind};
use std::fmt::Display;

/// A card that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CardError {
    /// The file is no TOML.
    #[error("the card is not valid TOML: {0}")]
    Syntax(String),
    /// The file is no text.
    #[error(
        "this is no card but a file without text, such as a photo; a card is a TOML file, made with `flankread job card new`"
    )]
    NoText,
    /// A plain value stands where a table belongs.
    #[error("{0} must be a table")]
    NoTable(String),
    /// A key that a card does not have.
    #[error("unknown key `{key}` {table} of the card; {hint}")]
    UnknownKey {
        /// The key as written.
        key: String,
        /// Where it stands.
        table: String,
        /// The nearest known key, or where it belongs.
        hint: String,
    },
    /// A key every card needs.
    #[error("the card has no {place}; add it")]
    Missing {
        /// The key and its table.
        place: String,
    },
    /// A value of the wrong kind, unit or size.
    #[error("{place} of the card {message}")]
    Value {
        /// The key and its table.
        place: String,
        /// What is wrong and what would do.
        message: String,
    },
    /// Values that do not go together.
    #[error("the card's values do not go together: {0}")]
    Together(String),
}

/// A card that cannot be used, and where it stood.
#[derive(Debug, thiserror::Error)]
#[error("{place}: {error}")]
struct CardOf {
    place: String,
    error: CardError,
}

impl CardError {
    /// The same with the card's file, or where else it stood.
    pub(crate) fn of(self, place: impl Display) -> Error {
        let place = place.to_string();
        Error::of(ErrorKind::Input, CardOf { place, error: self })
    }
}
