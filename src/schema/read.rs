//! What `read --json` prints, whatever was asked: `flankread/read/1`.

use super::direction::Direction;
use super::{Advice, Reading};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/read/1";

/// Readings, and what follows from them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct ReadAnswer {
    /// `flankread/read/1`; of a photo alone, without a card, `flankread/reading/1`: what its reading says then stands in the
    /// document itself as well.
    pub schema: String,
    /// The reading of each photo; two of a photo that shows both flanks.
    pub readings: Vec<Reading>,
    /// The advice, with a card and both flanks read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub advice: Option<Advice>,
    /// Why there is no advice in spite of a card.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_advice: Option<String>,
    /// Which way to move the gears, without a card.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub direction: Option<Direction>,
}

/// The document as it is printed.
#[derive(Debug, Serialize)]
#[serde(untagged)]
pub(crate) enum ReadDocument<'a> {
    /// Of a photo alone: its reading, with the rest beside.
    Alone(PhotoAlone<'a>),
    /// Of all else.
    Answer(&'a ReadAnswer),
}

/// A reading with what follows from it beside.
#[derive(Debug, Serialize)]
pub(crate) struct PhotoAlone<'a> {
    #[serde(flatten)]
    reading: &'a Reading,
    readings: &'a [Reading],
    #[serde(skip_serializing_if = "Option::is_none")]
    direction: &'a Option<Direction>,
}

impl ReadAnswer {
    /// The document as it is printed.
    pub(crate) fn document(&self, with_card: bool) -> ReadDocument<'_> {
        match self.readings.as_slice() {
            [reading] if !with_card => ReadDocument::Alone(PhotoAlone {
                reading,
                readings: &self.readings,
                direction: &self.direction,
            }),
            _ => ReadDocument::Answer(self),
        }
    }
}
