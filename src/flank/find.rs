//! Finding the flanks without marks.

use super::Outline;
use crate::frames::Side;
use crate::photo::Photo;
use crate::reading::{Reason, ReasonCode, reason};

/// The end of the flanks that is the toe, as it lies in the photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum ToeEnd {
    /// Towards the left edge.
    Left,
    /// Towards the right edge.
    Right,
    /// Towards the upper edge.
    Up,
    /// Towards the lower edge.
    Down,
}

/// What the user says to help finding.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Help {
    /// Which flank the photo shows.
    pub flank: Option<Side>,
    /// Which end is the toe.
    pub toe: Option<ToeEnd>,
    /// Number of teeth of the ring gear.
    pub ring_teeth: Option<u32>,
}

/// The flanks found in a photo.
#[derive(Debug, Clone)]
pub struct Found {
    /// Their outlines, in order along the gear.
    pub outlines: Vec<Outline>,
    /// Which flank they are, if that can be told.
    pub side: Option<Side>,
}

/// Finds the painted flanks of the ring gear in a photo.
///
/// # Errors
/// The reasons for which none can be outlined.
pub fn find(_photo: &Photo, _help: &Help) -> Result<Found, Vec<Reason>> {
    Err(vec![reason(
        ReasonCode::NoGear,
        "The flanks are not found without marks: put the corners of one or more flanks into PHOTO.marks.json, or give them with --marks.",
    )])
}
