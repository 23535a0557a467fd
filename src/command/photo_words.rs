//! What can be said of photos: the same options for every command that reads some.

use crate::flank::find::ToeEnd;
use crate::schema::Polarity;
use clap::Args;

/// What is known of the photos.
#[derive(Debug, Clone, Copy, Args)]
pub(super) struct PhotoWords {
    /// Which end of the flanks in the photos is the toe (the inner end).
    #[arg(long, value_name = "END")]
    pub(super) toe: Option<ToeEnd>,
    /// How contact shows: wiped out of compound on the ring gear, or transferred from the pinion.
    #[arg(long)]
    pub(super) polarity: Option<Polarity>,
    /// The photos show the gear mirrored, as front cameras, some apps and inspection mirrors do.
    #[arg(long)]
    pub(super) mirrored: bool,
}
