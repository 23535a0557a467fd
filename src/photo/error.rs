//! Why a photo could not be opened.

use crate::schema::ReasonCode;
use std::io;

/// Why a photo could not be opened; every message names the file and says what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PhotoError {
    /// The file is missing or may not be read.
    #[error("cannot read {path}: {source}")]
    Unreadable {
        /// The file as it was given.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// A folder where a photo was expected.
    #[error("{path} is a folder, not a photo: give the photos in it")]
    Folder {
        /// The path as it was given.
        path: String,
    },
    /// The file holds nothing.
    #[error("{path} is empty (0 bytes): copy the photo again")]
    Empty {
        /// The file as it was given.
        path: String,
    },
    /// The content is no picture of a kind that can be opened.
    #[error("{path} is not a picture ({looks_like}): give a JPEG, PNG, WebP, TIFF or HEIC file")]
    NotAPicture {
        /// The file as it was given.
        path: String,
        /// What its first bytes look like.
        looks_like: &'static str,
    },
    /// The file ends too early.
    #[error(
        "{path} is cut short: the {kind} data end before the picture does; copy or send the photo again"
    )]
    CutShort {
        /// The file as it was given.
        path: String,
        /// The file format.
        kind: &'static str,
    },
    /// The content is damaged.
    #[error("{path} is damaged ({detail}): copy or send the photo again")]
    Damaged {
        /// The file as it was given.
        path: String,
        /// What the decoder said.
        detail: String,
    },
    /// More pixels than will be decoded.
    #[error(
        "{path} says it is {width} × {height} pixels; at most {limit_megapixels} megapixels are opened: save it smaller (12 megapixels are plenty)"
    )]
    TooManyPixels {
        /// The file as it was given.
        path: String,
        /// Width the header claims, pixels.
        width: u32,
        /// Height the header claims, pixels.
        height: u32,
        /// The limit, megapixels.
        limit_megapixels: u64,
    },
    /// A side longer than any camera's.
    #[error(
        "{path} says it is {width} × {height} pixels; sides of at most {limit} pixels are opened: this is no photo of a camera"
    )]
    TooLong {
        /// The file as it was given.
        path: String,
        /// Width the header claims, pixels.
        width: u32,
        /// Height the header claims, pixels.
        height: u32,
        /// The limit, pixels.
        limit: u32,
    },
    /// More bytes than will be read.
    #[error(
        "{path} has {megabytes} MB; at most {limit_megabytes} MB are opened: save it as a JPEG"
    )]
    TooManyBytes {
        /// The file as it was given.
        path: String,
        /// Size of the file, megabytes.
        megabytes: u64,
        /// The limit, megabytes.
        limit_megabytes: u64,
    },
}

impl From<PhotoError> for crate::Error {
    fn from(error: PhotoError) -> Self {
        Self::of(crate::error::ErrorKind::Input, error)
    }
}

impl PhotoError {
    /// The code under which a reading reports this.
    pub const fn code(&self) -> ReasonCode {
        match self {
            Self::CutShort { .. } | Self::Damaged { .. } => ReasonCode::Damaged,
            _ => ReasonCode::NotAnImage,
        }
    }
}
