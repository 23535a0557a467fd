//! What can go wrong with the workshop's record.

use crate::units::ImpossibleNumber;
use rusqlite::ErrorCode;

/// An error of the workshop's database or of a job in it.
#[derive(Debug, thiserror::Error)]
pub enum JobError {
    /// Disk, quota or the database's own limit.
    #[error(
        "{path}: the disk is full; nothing was written and everything recorded before is still there. Make room and try again"
    )]
    Full {
        /// The database.
        path: String,
    },
    /// Another process held the database for too long.
    #[error(
        "{path} is in use by another program that does not let go; nothing was written, try again"
    )]
    Busy {
        /// The database.
        path: String,
    },
    /// A file that is no workshop database.
    #[error("{path} is not a workshop's record of this program; give another file with --db")]
    NotAStore {
        /// The file.
        path: String,
    },
    /// No file of that name.
    #[error(
        "no job is open: there is no workshop's record at {path}; look whether --db or FLANKREAD_DB is spelt right, or begin with `flankread job new`"
    )]
    NoStore {
        /// The file.
        path: String,
    },
    /// Written by a newer program.
    #[error(
        "{path} was written by a newer version (layout {found}, this one knows {known}); use that version"
    )]
    TooNew {
        /// The database.
        path: String,
        /// Its layout.
        found: i64,
        /// The newest this program knows.
        known: i64,
    },
    /// Damaged by something outside.
    #[error(
        "{path} is damaged ({detail}); copy it away before anything else, then restore it from a backup or import the jobs' archives"
    )]
    Damaged {
        /// The database.
        path: String,
        /// What the database said.
        detail: String,
    },
    /// May not be read or written.
    #[error("{path} cannot be opened for reading and writing: {detail}")]
    Closed {
        /// The database.
        path: String,
        /// What the system said.
        detail: String,
    },
    /// Any other answer of the database.
    #[error("{path}: the database answered: {detail}")]
    Database {
        /// The database.
        path: String,
        /// What it said.
        detail: String,
    },
    /// No job of that number.
    #[error("there is no job {number}; `flankread job list` shows those there are")]
    NoJob {
        /// The number asked for.
        number: i64,
    },
    /// No job at all, or none open.
    #[error("no job is open; start one with `flankread job new`, or name one with --job")]
    NoOpenJob,
    /// A row that cannot be read.
    #[error("job {number} holds a record that cannot be read ({detail}); nothing was changed")]
    Record {
        /// The job.
        number: i64,
        /// What is wrong.
        detail: String,
    },
    /// A time that is none.
    #[error("{0}")]
    Time(String),
    /// An archive that cannot be used.
    #[error("the archive cannot be used: {0}")]
    Archive(String),
    /// A job that is here already.
    #[error("this job is here already as job {number}; import it a second time with --again")]
    Here {
        /// Its number here.
        number: i64,
    },
    /// A number that no axle has.
    #[error("nothing was recorded: {0}")]
    Number(String),
    /// Something asked of a job that it cannot do.
    #[error("{0}")]
    Use(String),
    /// A photo from which the place cannot be taken out.
    #[error(
        "the photo {name} cannot be freed of what the camera wrote into it: {detail}; the job was not exported"
    )]
    Metadata {
        /// The photo.
        name: String,
        /// What is wrong with it.
        detail: String,
    },
}

impl From<ImpossibleNumber> for JobError {
    fn from(error: ImpossibleNumber) -> Self {
        Self::Number(error.to_string())
    }
}

impl From<JobError> for crate::Error {
    fn from(error: JobError) -> Self {
        let kind = if error.is_machine() {
            crate::error::ErrorKind::Machine
        } else {
            crate::error::ErrorKind::Input
        };
        Self::of(kind, error)
    }
}

impl JobError {
    /// What the database said, in words.
    pub(super) fn of(path: &str, error: &rusqlite::Error) -> Self {
        let path = path.to_owned();
        let detail = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full { path },
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy { path },
            // A file of something else was told before it was opened.
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                Self::Damaged { path, detail }
            }
            Some(ErrorCode::CannotOpen | ErrorCode::PermissionDenied | ErrorCode::ReadOnly) => {
                Self::Closed { path, detail }
            }
            // A write that the system refuses in the middle is nearly always want of room.
            Some(ErrorCode::SystemIoFailure) => Self::Database {
                path,
                detail: format!("{detail} (is the disk full or gone?)"),
            },
            _ => Self::Database { path, detail },
        }
    }

    /// Whether the machine failed, not the user.
    pub const fn is_machine(&self) -> bool {
        matches!(
            self,
            Self::Full { .. } | Self::Busy { .. } | Self::Database { .. } | Self::Damaged { .. }
        )
    }
}
