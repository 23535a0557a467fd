//! The record's types → rows, inside a transaction of [`super::store`].

use super::new_trial::{NewPhoto, NewTrial, sha256};
use super::{JobError, rows};
use crate::schema::record::{Given, Head, Note, Tick};
use rusqlite::{OptionalExtension as _, Transaction, params};

/// What stops a transaction.
pub(super) enum Failure {
    Database(rusqlite::Error),
    Job(JobError),
}

impl From<rusqlite::Error> for Failure {
    fn from(error: rusqlite::Error) -> Self {
        Self::Database(error)
    }
}

impl From<JobError> for Failure {
    fn from(error: JobError) -> Self {
        Self::Job(error)
    }
}

pub(super) fn must_be_open(t: &Transaction, job: i64) -> Result<(), Failure> {
    let closed: Option<Option<String>> = t
        .query_row("SELECT closed FROM job WHERE id = ?1", [job], |row| {
            row.get(0)
        })
        .optional()?;
    match closed {
        None => Err(JobError::NoJob { number: job }.into()),
        Some(Some(at)) => Err(JobError::Use(format!(
            "job {job} was closed on {at}; open it again with `flankread job close --job {job} --reopen`"
        ))
        .into()),
        Some(None) => Ok(()),
    }
}

/// Advice given on trial `from` or a later one holds no more.
pub(super) fn outdate(t: &Transaction, job: i64, from: i64, why: &str) -> Result<(), Failure> {
    t.execute(
        "UPDATE advice SET outdated = ?3 WHERE job = ?1 AND after >= ?2 AND outdated = ''",
        params![job, from, why],
    )?;
    Ok(())
}

pub(super) fn insert_job(t: &Transaction, head: &Head, card: &str) -> Result<i64, Failure> {
    t.execute(
        "INSERT INTO job (uid, name, axle, mechanic, opened, closed, card) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![head.uid, head.name, head.axle, head.mechanic, head.opened, head.closed, card],
    )?;
    Ok(t.last_insert_rowid())
}

pub(super) fn insert_trial(
    t: &Transaction,
    job: i64,
    number: i64,
    at: &str,
    by: &str,
    new: &NewTrial,
) -> Result<(), Failure> {
    new.possible().map_err(JobError::from)?;
    t.execute(
        "INSERT INTO trial (job, number, recorded, by, numbers, bench) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        params![job, number, at, by, rows::json(&new.trial), rows::json(&new.bench)],
    )?;
    insert_photos(t, t.last_insert_rowid(), 0, &new.photos)
}

/// Photos of the trial with this row, the first of them at `place`.
pub(super) fn insert_photos(
    t: &Transaction,
    trial: i64,
    place: i64,
    photos: &[NewPhoto],
) -> Result<(), Failure> {
    for (place, photo) in (place..).zip(photos) {
        let hash = sha256(&photo.bytes);
        t.execute(
            "INSERT INTO photo (sha256, bytes) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
            params![hash, photo.bytes],
        )?;
        t.execute(
            "INSERT INTO trial_photo (trial, place, sha256, original_sha256, name, shows, reading, picture)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            params![
                trial,
                place,
                hash,
                photo.original_sha256.as_ref().unwrap_or(&hash),
                photo.name,
                rows::json(&photo.shows),
                photo.reading.as_ref().map(rows::json),
                photo.picture,
            ],
        )?;
    }
    Ok(())
}

pub(super) fn insert_given(t: &Transaction, job: i64, given: &Given) -> Result<(), Failure> {
    t.execute(
        "INSERT INTO advice (job, after, at, advice, followed, remark, outdated) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![
            job,
            given.after,
            given.at,
            rows::json(&given.advice),
            given.followed.as_ref().map(rows::json),
            given.remark,
            given.outdated
        ],
    )?;
    Ok(())
}

pub(super) fn insert_tick(t: &Transaction, job: i64, tick: &Tick) -> rusqlite::Result<usize> {
    t.execute(
        "INSERT INTO tick (job, item, at, by, value, because) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
         ON CONFLICT DO UPDATE SET at = ?3, by = ?4, value = ?5, because = ?6",
        params![
            job,
            rows::json(&tick.item),
            tick.at,
            tick.by,
            tick.value,
            tick.because
        ],
    )
}

pub(super) fn insert_note(t: &Transaction, job: i64, note: &Note) -> rusqlite::Result<()> {
    t.execute(
        "INSERT INTO note (job, at, by, text) VALUES (?1, ?2, ?3, ?4)",
        params![job, note.at, note.by, note.text],
    )?;
    Ok(())
}
