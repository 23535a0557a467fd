//! What `--json` prints when a command fails.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Value of the `schema` field.
pub(crate) const SCHEMA: &str = "flankread/error/1";

/// Why a command was not carried out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Failure {
    /// Always `flankread/error/1`.
    pub schema: String,
    /// Always `error`: a reading's status is another word, so that a program may ask any answer for it.
    #[serde(default = "status")]
    pub status: String,
    /// Whose fault it is.
    pub kind: FailureKind,
    /// A sentence for each input that cannot be used: what is wrong, where, what would do.
    pub messages: Vec<String>,
    /// The exit status that goes with it.
    pub exit_status: u8,
}

/// What a failure's `status` says.
pub(crate) fn status() -> String {
    "error".to_owned()
}

/// Whose fault a failure is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum FailureKind {
    /// The command line is not understood.
    Usage,
    /// What was asked makes no sense, or an input cannot be used as it is.
    Input,
    /// The machine failed: disk full, no permission to write, out of memory.
    Machine,
}
