//! A folder of photos → a reading of each, the sets they make, and what is known of the lot.
//!
//! The way: [`walk`] finds the photos; [`manifest`] and [`group`] put them into sets; [`run`] reads
//! what the [`store`] does not have, each through [`ask`]; [`likeness`] finds pictures that came
//! twice; [`judge`] sorts sets by urgency; [`summary`] counts. [`worker`] answers requests one by one
//! for programs that spread work over machines.

pub(crate) mod ask;
#[cfg(feature = "cloud")]
mod cloud;
pub(crate) mod fetch;
pub(crate) mod group;
pub(crate) mod judge;
pub(crate) mod likeness;
pub(crate) mod manifest;
mod memory_budget;
mod parts;
pub(crate) mod run;
mod settled;
pub(crate) mod shown;
pub(crate) mod store;
pub(crate) mod summary;
pub(crate) mod walk;
pub(crate) mod watch;
pub(crate) mod worker;

use std::io;

/// What readings depend on beside photo and words: the source of the rooms that make them with every number in it, the
/// networks, and the crates that decode and compute. Made when the program is built (`batch/build`).
pub(crate) const READING_REVISION: &str = env!("FLANKREAD_READING_REVISION");

/// Why a batch could not be run. What is wrong with single photos is in their readings, what is
/// wrong with folders and links in [`walk::Trouble`].
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BatchError {
    /// The folder is missing or may not be looked into.
    #[error("cannot look into {path}: {source}")]
    Folder {
        /// The folder as it was given.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// A file where a folder was expected.
    #[error("{path} is a file: give the folder it is in, or read it with `flankread read`")]
    NoFolder {
        /// The path as it was given.
        path: String,
    },
    /// A pattern that is none.
    #[error("--glob {glob} is no pattern: {detail}")]
    Glob {
        /// The pattern.
        glob: String,
        /// What is wrong with it.
        detail: String,
    },
    /// The list is missing or may not be read.
    #[error("cannot read the list {path}: {source}")]
    Manifest {
        /// The list.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// A row of the list that cannot be used.
    #[error("the list {path} cannot be used: {detail}")]
    ManifestRow {
        /// The list.
        path: String,
        /// Which row and why.
        detail: String,
    },
    /// The store of results cannot be read or written.
    #[error("cannot use {path}: {source}")]
    Store {
        /// The store.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// Another run has the store open.
    #[error(
        "{path} is in use by another run: wait until it is done, or give another folder with --out"
    )]
    Busy {
        /// The store.
        path: String,
    },
    /// The store is of another program or version, or no store.
    #[error(
        "{path} is not a store of this version ({said}): move it away, or give another folder with --out"
    )]
    OtherStore {
        /// The store.
        path: String,
        /// What it says it is.
        said: String,
    },
    /// Threads cannot be started.
    #[error("cannot start {count} threads: {detail}")]
    Threads {
        /// How many were asked for.
        count: usize,
        /// What the system said.
        detail: String,
    },
    /// A folder cannot be watched.
    #[error("cannot watch {path}: {detail}")]
    Watch {
        /// The folder.
        path: String,
        /// What the system said.
        detail: String,
    },
    /// The system gives no notice of an interrupt.
    #[error("cannot be told of an interrupt: {detail}")]
    Interrupt {
        /// What the system said.
        detail: String,
    },
    /// A template of replies that cannot be used.
    #[error("{path} is no template of a reply: {detail}")]
    ReplyTemplate {
        /// The file.
        path: String,
        /// What is wrong with it.
        detail: String,
    },
    /// A request that cannot be answered.
    #[error("{0}")]
    Request(String),
}

impl From<BatchError> for crate::Error {
    fn from(error: BatchError) -> Self {
        let kind = if error.is_of_machine() {
            crate::error::ErrorKind::Machine
        } else {
            crate::error::ErrorKind::Input
        };
        Self::of(kind, error)
    }
}

impl BatchError {
    /// Whether the machine failed, and not what was asked.
    pub const fn is_of_machine(&self) -> bool {
        matches!(
            self,
            Self::Store { .. } | Self::Threads { .. } | Self::Interrupt { .. }
        )
    }
}
