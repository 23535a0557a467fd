//! Whether the workshop's database is whole, and a copy of it; the database itself is only read.

use super::new_trial::sha256;
use super::open::{has_log, is_ours, keeps, log_of, read_only};
use super::{JobError, layout};
use crate::files;
use crate::{Error, Result};
use rusqlite::Connection;
use rusqlite::backup::Backup;
use rusqlite::types::ValueRef;
use std::path::Path;
use std::time::Duration;

/// What was found of the workshop's database.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Health {
    /// There is none yet.
    Absent,
    /// Every page, index and reference is sound, and every photo has the bytes it was recorded with.
    Whole,
    /// Something outside has changed it.
    Damaged,
    /// Not a workshop's record, from the future, in use, or may not be read.
    Unusable,
}

/// A look through the workshop's database.
#[derive(Debug)]
pub(crate) struct Checkup {
    /// What was found.
    pub health: Health,
    /// What is wrong.
    pub fault: Option<JobError>,
    /// What it holds, where that can be told.
    pub holds: Option<Holdings>,
}

/// What a workshop's database holds.
#[derive(Debug, Clone, Copy, serde::Serialize, schemars::JsonSchema)]
pub(crate) struct Holdings {
    /// Its layout.
    pub layout: i64,
    /// Jobs, closed ones too.
    pub jobs: i64,
    /// Jobs that are open.
    pub open_jobs: i64,
    /// Photos.
    pub photos: i64,
}

/// Pages that are copied before others may write again.
const PAGES_AT_ONCE: i32 = 256;

/// Looks the database through. Nothing is created, brought to a newer layout or written.
pub(crate) fn checkup(path: &Path) -> Checkup {
    let found = |health, fault, holds| Checkup {
        health,
        fault,
        holds,
    };
    match looked_through(path) {
        Ok(None) => found(Health::Absent, None, None),
        Ok(Some(holds)) => found(Health::Whole, None, Some(holds)),
        Err(fault @ JobError::Damaged { .. }) => found(Health::Damaged, Some(fault), None),
        Err(fault) => found(Health::Unusable, Some(fault), None),
    }
}

fn looked_through(path: &Path) -> std::result::Result<Option<Holdings>, JobError> {
    keeps(path)?;
    let closed = |detail: String| JobError::Closed {
        path: path.display().to_string(),
        detail,
    };
    match std::fs::metadata(path) {
        // What a first job finds, and begins in.
        Ok(about) if about.is_file() && about.len() == 0 => return Ok(None),
        Ok(about) if about.is_file() => is_ours(path, &about)?,
        Ok(_) => return Err(closed("it is no file".into())),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(closed(error.to_string())),
    }
    undisturbed(path, |alone| held(path, alone)).map(Some)
}

/// Reads without locks, which leaves nothing beside the file, if nobody writes meanwhile; else as one of many.
fn undisturbed<T>(
    path: &Path,
    look: impl Fn(bool) -> std::result::Result<T, JobError>,
) -> std::result::Result<T, JobError> {
    let now = || {
        let about = std::fs::metadata(path).ok()?;
        Some((about.len(), about.modified().ok()?))
    };
    if !has_log(path) {
        let before = now();
        let seen = look(true);
        if before.is_some() && !has_log(path) && now() == before {
            return seen;
        }
    }
    look(false)
}

fn held(path: &Path, alone: bool) -> std::result::Result<Holdings, JobError> {
    let name = path.display().to_string();
    let of = |error: rusqlite::Error| JobError::of(&name, &error);
    let connection = read_only(path, alone).map_err(of)?;
    let (layout, _) = layout::versions(&connection).map_err(of)?;
    layout::known(layout, &name)?;
    if let Some(detail) = fault(&connection).map_err(of)? {
        return Err(JobError::Damaged { path: name, detail });
    }
    let count = |sql: &str| connection.query_row(sql, [], |row| row.get(0)).map_err(of);
    Ok(Holdings {
        layout,
        jobs: count("SELECT count(*) FROM job")?,
        open_jobs: count("SELECT count(*) FROM job WHERE closed IS NULL")?,
        photos: count("SELECT count(*) FROM photo")?,
    })
}

/// The first thing that is not as it was recorded.
fn fault(connection: &Connection) -> rusqlite::Result<Option<String>> {
    let said: String = connection.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
    if said != "ok" {
        return Ok(Some(said));
    }
    let mut dangling = connection.prepare("PRAGMA foreign_key_check")?;
    let table = dangling
        .query([])?
        .next()?
        .map(|row| row.get(0))
        .transpose()?;
    if let Some(table) = table {
        let table: String = table;
        return Ok(Some(format!("a row of `{table}` points to nothing")));
    }
    // Pages have no sums of their own; photos are named by theirs.
    let mut photos = connection.prepare("SELECT sha256, bytes FROM photo")?;
    let mut rows = photos.query([])?;
    while let Some(row) = rows.next()? {
        let named: String = row.get(0)?;
        let whole = match row.get_ref(1)? {
            ValueRef::Blob(bytes) => sha256(bytes) == named,
            _ => false,
        };
        if !whole {
            let short = &named[..named.len().min(12)];
            return Ok(Some(format!("the photo {short}… is not what was recorded")));
        }
    }
    Ok(None)
}

/// Copies the database as it stands between two commits into a new file, looks the copy through and gives its size in
/// bytes; others may go on recording.
///
/// # Errors
/// There is none, it is not whole, the file is there and `force` is not given, or it cannot be written.
pub(crate) fn back_up(path: &Path, to: &Path, force: bool) -> Result<u64> {
    let checkup = checkup(path);
    if let Some(fault) = checkup.fault {
        return Err(fault.into());
    }
    if checkup.health == Health::Absent {
        return Err(JobError::NoStore {
            path: path.display().to_string(),
        }
        .into());
    }
    not_in_use(path, to)?;
    files::write_at(to, force, |copy| {
        undisturbed(path, |alone| copied(path, copy, alone))?;
        let size = std::fs::metadata(copy).map_err(|error| Error::machine(to, error))?;
        Ok(size.len())
    })
}

/// A copy never takes the place of a database that something belongs to: what lies beside it would be played into the copy.
fn not_in_use(path: &Path, to: &Path) -> std::result::Result<(), JobError> {
    let itself = match (path.canonicalize(), to.canonicalize()) {
        (Ok(path), Ok(to)) => path == to,
        _ => false,
    };
    let mut journal = to.as_os_str().to_owned();
    journal.push("-journal");
    if itself || log_of(to).exists() || Path::new(&journal).exists() {
        return Err(JobError::Use(format!(
            "{} is a database in use; give the copy another name",
            to.display()
        )));
    }
    Ok(())
}

fn copied(path: &Path, copy: &Path, alone: bool) -> std::result::Result<(), JobError> {
    let of =
        |path: &Path, error: rusqlite::Error| JobError::of(&path.display().to_string(), &error);
    let source = read_only(path, alone).map_err(|error| of(path, error))?;
    let mut target = Connection::open(copy).map_err(|error| of(copy, error))?;
    Backup::new(&source, &mut target)
        .and_then(|backup| backup.run_to_completion(PAGES_AT_ONCE, Duration::ZERO, None))
        .map_err(|error| of(copy, error))?;
    target.close().map_err(|(_, error)| of(copy, error))?;
    held(copy, true).map(|_| ())
}

#[cfg(test)]
mod tests;
