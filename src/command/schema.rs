//! `flankread schema`: the JSON Schema of what the program prints and reads.

use super::{Outcome, OutputOptions};
use crate::Result;
use crate::schema::advice;
use crate::schema::record::Record;
use crate::schema::simulation::Simulation;
use crate::schema::{Card, Reading};
use clap::{Args, ValueEnum};

/// The JSON Schema of a document, for programs that check what they are given.
#[derive(Debug, Args)]
#[command(after_help = "Example: flankread schema advice > advice.schema.json")]
pub(crate) struct Schema {
    /// Which document.
    document: Document,
}

/// The documents with a schema.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Document {
    /// What `read --json` prints for a photo.
    Reading,
    /// What `advise --json` prints.
    Advice,
    /// A card as it stands in a job.
    Card,
    /// What `simulate --json` prints.
    Simulation,
    /// What `job show --json` prints, and `record.json` of an exported job.
    Record,
}

impl Schema {
    /// Prints the schema.
    ///
    /// # Errors
    /// Standard output cannot be written.
    pub(crate) fn run(&self, _talk: OutputOptions) -> Result<Outcome> {
        let schema = match self.document {
            Document::Reading => schemars::schema_for!(Reading).to_value(),
            Document::Advice => advice::json_schema(),
            Document::Card => schemars::schema_for!(Card).to_value(),
            Document::Record => schemars::schema_for!(Record).to_value(),
            Document::Simulation => schemars::schema_for!(Simulation).to_value(),
        };
        super::print_json(&schema)?;
        Ok(Outcome::Answered)
    }
}
