//! Results → bytes: a folder for what is reported, a file for each format.

pub(crate) mod advice;
pub(crate) mod batch;
pub(crate) mod direction;
pub(crate) mod draw;
pub(crate) mod job;
pub(crate) mod reading;
pub(crate) mod setup;
pub(crate) mod simulation;

/// A picture that could not be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the picture cannot be drawn: {0}")]
pub struct PictureError(String);

impl From<PictureError> for crate::Error {
    fn from(error: PictureError) -> Self {
        Self::of(crate::error::ErrorKind::Machine, error)
    }
}

impl PictureError {
    pub(crate) fn new(cause: impl std::fmt::Display) -> Self {
        Self(cause.to_string())
    }
}
