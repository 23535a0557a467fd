//! What the short commands of a job print for machines.

use crate::job::JobLine;
use crate::job::next::Next;
use crate::schema::FlankReading;
use crate::schema::record::{Amendment, Followed, Item};
use schemars::JsonSchema;
use serde::Serialize;
use std::path::PathBuf;

/// One answer; its name is the schema.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(tag = "schema")]
pub(crate) enum JobAnswer {
    /// A job was opened.
    #[serde(rename = "flankread/job-new/1")]
    New {
        /// Its number.
        job: i64,
    },
    /// The workshop's jobs, newest first.
    #[serde(rename = "flankread/job-list/1")]
    List {
        /// One a line.
        jobs: Vec<JobLine>,
    },
    /// A trial was recorded.
    #[serde(rename = "flankread/job-trial/1")]
    Trial {
        /// Of this job …
        job: i64,
        /// … under this number.
        trial: i64,
        /// Where the drive patch stands.
        drive: Option<FlankReading>,
        /// Where the coast patch stands.
        coast: Option<FlankReading>,
        /// What is to be said of it.
        remarks: Vec<String>,
    },
    /// A trial was put right.
    #[serde(rename = "flankread/job-amend/1")]
    Amend {
        /// Of this job …
        job: i64,
        /// … the trial of this number.
        trial: i64,
        /// What stood there before, and what stands there now.
        amended: Vec<Amendment>,
        /// What is to be said of it.
        remarks: Vec<String>,
    },
    /// A trial was struck out.
    #[serde(rename = "flankread/job-strike/1")]
    Strike {
        /// Of this job …
        job: i64,
        /// … the trial of this number.
        trial: i64,
    },
    /// It was noted whether advice was followed.
    #[serde(rename = "flankread/job-followed/1")]
    Followed {
        /// Of this job …
        job: i64,
        /// … the advice after this trial.
        after: i64,
        /// Whether.
        followed: Followed,
    },
    /// What comes next.
    #[serde(rename = "flankread/job-next/1")]
    Next {
        /// In this job.
        job: i64,
        /// The station.
        next: Next,
    },
    /// Something was noted.
    #[serde(rename = "flankread/job-note/1")]
    Note {
        /// In this job.
        job: i64,
    },
    /// An item of the closing list was ticked off, or opened again.
    #[serde(rename = "flankread/job-check/1")]
    Check {
        /// Of this job …
        job: i64,
        /// … this item.
        item: Item,
        /// Whether it is done.
        done: bool,
        /// What is to be said of it.
        #[serde(skip_serializing_if = "Option::is_none")]
        remark: Option<String>,
    },
    /// A job was closed, or opened again.
    #[serde(rename = "flankread/job-close/1")]
    Close {
        /// This one.
        job: i64,
        /// Whether it is closed.
        closed: bool,
    },
    /// The build sheet was written.
    #[serde(rename = "flankread/job-sheet/1")]
    Sheet {
        /// Of this job …
        job: i64,
        /// … into this file …
        file: PathBuf,
        /// … of this size.
        bytes: usize,
    },
    /// A job was exported.
    #[serde(rename = "flankread/job-export/1")]
    Export {
        /// This one …
        job: i64,
        /// … into this file …
        file: PathBuf,
        /// … of this size.
        bytes: usize,
    },
    /// A job was imported.
    #[serde(rename = "flankread/job-import/1")]
    Import {
        /// Its number here.
        job: i64,
    },
    /// A job was given another card.
    #[serde(rename = "flankread/job-card/1")]
    Card {
        /// This one.
        job: i64,
        /// What differs, a value a line.
        changed: Vec<String>,
    },
    /// A card was written.
    #[serde(rename = "flankread/card-new/1")]
    CardNew {
        /// Into this file.
        file: PathBuf,
    },
    /// A card was completed.
    #[serde(rename = "flankread/card-complete/1")]
    CardComplete {
        /// This one …
        file: PathBuf,
        /// … by so many values.
        added: usize,
    },
}
