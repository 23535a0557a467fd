//! The layout of the workshop's database, step by step.

use super::JobError;
use rusqlite::{Connection, TransactionBehavior};

/// Marks the file as ours ("FLKR").
pub(crate) const APPLICATION_ID: i64 = 0x464c_4b52;

/// One step a layout; a step once released is never changed, another is added.
///
/// Photos are rows of the same file as the trials that show them, not files in a folder beside it: a trial, its
/// photos and their readings become visible in one commit or not at all, so that no kill at any instant can
/// leave a trial pointing to a missing photo, and one file is the whole workshop to copy or to back up.
const STEPS: &[&str] = &[
    "CREATE TABLE job (
        id INTEGER PRIMARY KEY,
        uid TEXT NOT NULL UNIQUE,
        name TEXT NOT NULL,
        axle TEXT NOT NULL,
        mechanic TEXT NOT NULL,
        opened TEXT NOT NULL,
        closed TEXT,
        card TEXT NOT NULL
    ) STRICT;
    CREATE TABLE photo (
        sha256 TEXT PRIMARY KEY,
        bytes BLOB NOT NULL
    ) STRICT;
    CREATE TABLE trial (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job(id),
        number INTEGER NOT NULL,
        recorded TEXT NOT NULL,
        by TEXT NOT NULL,
        numbers TEXT NOT NULL,
        bench TEXT NOT NULL,
        UNIQUE (job, number)
    ) STRICT;
    CREATE TABLE trial_photo (
        trial INTEGER NOT NULL REFERENCES trial(id),
        place INTEGER NOT NULL,
        sha256 TEXT NOT NULL REFERENCES photo(sha256),
        original_sha256 TEXT NOT NULL,
        name TEXT NOT NULL,
        shows TEXT NOT NULL,
        reading TEXT,
        picture BLOB,
        PRIMARY KEY (trial, place)
    ) STRICT;",
    "CREATE TABLE advice (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job(id),
        after INTEGER NOT NULL,
        at TEXT NOT NULL,
        advice TEXT NOT NULL,
        followed TEXT,
        remark TEXT NOT NULL DEFAULT ''
    ) STRICT;
    CREATE TABLE tick (
        job INTEGER NOT NULL REFERENCES job(id),
        item TEXT NOT NULL,
        at TEXT NOT NULL,
        by TEXT NOT NULL,
        value TEXT NOT NULL,
        PRIMARY KEY (job, item)
    ) STRICT;
    CREATE TABLE note (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job(id),
        at TEXT NOT NULL,
        by TEXT NOT NULL,
        text TEXT NOT NULL
    ) STRICT;",
    "ALTER TABLE tick ADD COLUMN because TEXT NOT NULL DEFAULT '';
    ALTER TABLE advice ADD COLUMN outdated TEXT NOT NULL DEFAULT '';",
];

/// The newest layout this program knows.
pub(crate) const NEWEST: i64 = STEPS.len() as i64;

/// Brings the database to the newest layout. Each step and its number are one transaction; the number is read
/// again inside it, for another process may have been quicker.
///
/// # Errors
/// A file of another program, a layout from the future, or what the database says.
pub(crate) fn migrate(connection: &mut Connection, path: &str) -> Result<(), JobError> {
    migrate_to(connection, path, NEWEST)
}

fn migrate_to(connection: &mut Connection, path: &str, wanted: i64) -> Result<(), JobError> {
    let of = |error: rusqlite::Error| JobError::of(path, &error);
    loop {
        let (found, id) = versions(connection).map_err(of)?;
        if id != APPLICATION_ID && (found != 0 || id != 0 || !is_empty(connection).map_err(of)?) {
            return Err(JobError::NotAStore { path: path.into() });
        }
        if known(found, path)? >= wanted {
            return Ok(());
        }
        let transaction = connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(of)?;
        let (now, _) = versions(&transaction).map_err(of)?;
        let step = usize::try_from(now).ok().and_then(|now| STEPS.get(now));
        if let (true, Some(step)) = (now < wanted, step) {
            transaction.execute_batch(step).map_err(of)?;
            transaction
                .pragma_update(None, "user_version", now + 1)
                .map_err(of)?;
            transaction
                .pragma_update(None, "application_id", APPLICATION_ID)
                .map_err(of)?;
        }
        transaction.commit().map_err(of)?;
    }
}

/// The layout, if this program can know it.
///
/// # Errors
/// A layout from the future, or one that no program wrote.
pub(super) fn known(found: i64, path: &str) -> Result<i64, JobError> {
    if found > NEWEST {
        return Err(JobError::TooNew {
            path: path.into(),
            found,
            known: NEWEST,
        });
    }
    if found < 0 {
        return Err(JobError::Damaged {
            path: path.into(),
            detail: format!("its layout would be number {found}"),
        });
    }
    Ok(found)
}

pub(super) fn versions(connection: &Connection) -> rusqlite::Result<(i64, i64)> {
    let read = |name| connection.pragma_query_value(None, name, |row| row.get(0));
    Ok((read("user_version")?, read("application_id")?))
}

pub(super) fn is_empty(connection: &Connection) -> rusqlite::Result<bool> {
    connection.query_row("SELECT count(*) = 0 FROM sqlite_schema", [], |row| {
        row.get(0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_database_of_the_first_layout_keeps_its_jobs() {
        let mut connection = Connection::open_in_memory().unwrap();
        migrate_to(&mut connection, "a", 1).unwrap();
        connection
            .execute(
                "INSERT INTO job (uid, name, axle, mechanic, opened, card) VALUES ('u','n','','','','{}')",
                [],
            )
            .unwrap();
        migrate(&mut connection, "a").unwrap();
        assert_eq!(versions(&connection).unwrap(), (NEWEST, APPLICATION_ID));
        let jobs: i64 = connection
            .query_row("SELECT count(*) FROM job", [], |row| row.get(0))
            .unwrap();
        assert_eq!(jobs, 1);
        let notes: i64 = connection
            .query_row("SELECT count(*) FROM note", [], |row| row.get(0))
            .unwrap();
        assert_eq!(notes, 0);
    }

    #[test]
    fn files_of_others_and_of_the_future_are_refused() {
        let mut other = Connection::open_in_memory().unwrap();
        other.execute_batch("CREATE TABLE t (a)").unwrap();
        assert!(matches!(
            migrate(&mut other, "a").unwrap_err(),
            JobError::NotAStore { .. }
        ));
        let mut newer = Connection::open_in_memory().unwrap();
        migrate(&mut newer, "a").unwrap();
        newer
            .pragma_update(None, "user_version", NEWEST + 5)
            .unwrap();
        let error = migrate(&mut newer, "a").unwrap_err().to_string();
        assert!(error.contains("newer version"), "{error}");
    }

    #[test]
    fn a_layout_below_the_first_is_damage_and_no_endless_wait() {
        let mut damaged = Connection::open_in_memory().unwrap();
        migrate(&mut damaged, "a").unwrap();
        damaged.pragma_update(None, "user_version", -1).unwrap();
        let error = migrate(&mut damaged, "a").unwrap_err();
        assert!(matches!(error, JobError::Damaged { .. }), "{error}");
    }
}
