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
    /// Always `flankread/read/1`.
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
