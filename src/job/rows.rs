//! Rows of the database ↔ the record's types.

use super::JobError;
use super::store::Line;
use crate::schema::record::{Assembly, Given, Head, Note, PhotoOf, Record, SCHEMA, Tick};
use crate::schema::{Card, Trial};
use rusqlite::{Connection, OptionalExtension as _};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// A value as JSON. The record's types are plain data, so this does not fail; a `null` would be refused by every
/// reader below.
pub(super) fn json(value: &impl Serialize) -> String {
    serde_json::to_string(value).unwrap_or_else(|_| "null".into())
}

/// A value out of JSON.
pub(super) fn read<T: DeserializeOwned>(text: &str, job: i64) -> Result<T, JobError> {
    serde_json::from_str(text).map_err(|error| JobError::Record {
        number: job,
        detail: error.to_string(),
    })
}

pub(super) fn jobs(connection: &Connection) -> rusqlite::Result<Vec<Line>> {
    let mut statement = connection.prepare(
        "SELECT id, name, axle, mechanic, opened, closed,
                (SELECT count(*) FROM trial WHERE job = job.id),
                (SELECT count(*) FROM trial_photo JOIN trial ON trial.id = trial_photo.trial WHERE job = job.id)
         FROM job ORDER BY id DESC",
    )?;
    let lines = statement.query_map([], |row| {
        Ok(Line {
            number: row.get(0)?,
            name: row.get(1)?,
            axle: row.get(2)?,
            mechanic: row.get(3)?,
            opened: row.get(4)?,
            closed: row.get(5)?,
            trials: row.get(6)?,
            photos: row.get(7)?,
        })
    })?;
    lines.collect()
}

/// The numbers of one trial.
pub(super) fn trial_numbers(
    connection: &Connection,
    job: i64,
    number: i64,
) -> rusqlite::Result<Option<Trial>> {
    let text: Option<String> = connection
        .query_row(
            "SELECT numbers FROM trial WHERE job = ?1 AND number = ?2",
            [job, number],
            |row| row.get(0),
        )
        .optional()?;
    Ok(text.and_then(|text| serde_json::from_str(&text).ok()))
}

/// Reads all rows of one query; a row is a tuple of texts and numbers.
fn all<T>(
    connection: &Connection,
    sql: &str,
    key: i64,
    row: impl FnMut(&rusqlite::Row) -> rusqlite::Result<T>,
) -> rusqlite::Result<Vec<T>> {
    connection.prepare(sql)?.query_map([key], row)?.collect()
}

pub(super) fn record(connection: &Connection, path: &str, number: i64) -> Result<Record, JobError> {
    let of = |error: rusqlite::Error| JobError::of(path, &error);
    // One read transaction: another process may be writing between two of the queries.
    let snapshot = connection.unchecked_transaction().map_err(of)?;
    let connection = &*snapshot;
    let (head, card): (Head, String) = connection
        .query_row(
            "SELECT id, uid, name, axle, mechanic, opened, closed, card FROM job WHERE id = ?1",
            [number],
            |row| {
                let head = Head {
                    number: row.get(0)?,
                    uid: row.get(1)?,
                    name: row.get(2)?,
                    axle: row.get(3)?,
                    mechanic: row.get(4)?,
                    opened: row.get(5)?,
                    closed: row.get(6)?,
                };
                Ok((head, row.get(7)?))
            },
        )
        .optional()
        .map_err(of)?
        .ok_or(JobError::NoJob { number })?;
    let card: Card = read(&card, number)?;
    type TrialRow = (i64, i64, String, String, String, String);
    let trial_rows: Vec<TrialRow> = all(
        connection,
        "SELECT id, number, recorded, by, numbers, bench FROM trial WHERE job = ?1 ORDER BY number",
        number,
        |row| {
            Ok((
                row.get(0)?,
                row.get(1)?,
                row.get(2)?,
                row.get(3)?,
                row.get(4)?,
                row.get(5)?,
            ))
        },
    )
    .map_err(of)?;
    let mut trials = Vec::with_capacity(trial_rows.len());
    for (id, counted, recorded, by, numbers, bench) in trial_rows {
        type PhotoRow = (String, String, String, String, Option<String>);
        let photo_rows: Vec<PhotoRow> = all(
            connection,
            "SELECT original_sha256, sha256, name, shows, reading FROM trial_photo WHERE trial = ?1 ORDER BY place",
            id,
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?)),
        )
        .map_err(of)?;
        let photos = photo_rows
            .into_iter()
            .map(|(original_sha256, sha256, name, shows, reading)| {
                Ok(PhotoOf {
                    original_sha256,
                    sha256,
                    name,
                    shows: read(&shows, number)?,
                    reading: reading.map(|text| read(&text, number)).transpose()?,
                })
            })
            .collect::<Result<_, JobError>>()?;
        trials.push(Assembly {
            number: counted,
            recorded,
            by,
            trial: read(&numbers, number)?,
            bench: read(&bench, number)?,
            photos,
        });
    }
    type GivenRow = (i64, String, String, Option<String>, String);
    let given: Vec<GivenRow> = all(
        connection,
        "SELECT after, at, advice, followed, remark FROM advice WHERE job = ?1 ORDER BY id",
        number,
        |row| {
            Ok((
                row.get(0)?,
                row.get(1)?,
                row.get(2)?,
                row.get(3)?,
                row.get(4)?,
            ))
        },
    )
    .map_err(of)?;
    let advice = given
        .into_iter()
        .map(|(after, at, advice, followed, remark)| {
            Ok(Given {
                after,
                at,
                advice: read(&advice, number)?,
                followed: followed.map(|text| read(&text, number)).transpose()?,
                remark,
            })
        })
        .collect::<Result<_, JobError>>()?;
    let ticks: Vec<(String, String, String, String)> = all(
        connection,
        "SELECT item, at, by, value FROM tick WHERE job = ?1 ORDER BY at, item",
        number,
        |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
    )
    .map_err(of)?;
    let closing = ticks
        .into_iter()
        .map(|(item, at, by, value)| {
            Ok(Tick {
                item: read(&item, number)?,
                at,
                by,
                value,
            })
        })
        .collect::<Result<_, JobError>>()?;
    let notes = all(
        connection,
        "SELECT at, by, text FROM note WHERE job = ?1 ORDER BY id",
        number,
        |row| {
            Ok(Note {
                at: row.get(0)?,
                by: row.get(1)?,
                text: row.get(2)?,
            })
        },
    )
    .map_err(of)?;
    Ok(Record {
        schema: SCHEMA.into(),
        head,
        card,
        trials,
        advice,
        closing,
        notes,
    })
}
