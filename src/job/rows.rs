//! Rows of the database ↔ the record's types.

use super::JobError;
use crate::schema::record::{Assembly, Given, Head, Note, PhotoOf, Record, SCHEMA, Tick};
use crate::schema::{Card, Trial};
use rusqlite::{Connection, OptionalExtension as _, Row};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// One line of the list of jobs.
#[derive(Debug, Clone, PartialEq, serde::Serialize, schemars::JsonSchema)]
pub(crate) struct JobLine {
    /// The job's number.
    pub number: i64,
    /// What people call it.
    pub name: String,
    /// Vehicle and axle.
    pub axle: String,
    /// Who works on it.
    pub mechanic: String,
    /// When it was opened.
    pub opened: String,
    /// When it was closed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub closed: Option<String>,
    /// How many assemblies it has.
    pub trials: i64,
    /// How many photos.
    pub photos: i64,
}

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

pub(super) fn jobs(connection: &Connection) -> rusqlite::Result<Vec<JobLine>> {
    let mut statement = connection.prepare(
        "SELECT id, name, axle, mechanic, opened, closed,
                (SELECT count(*) FROM trial WHERE job = job.id),
                (SELECT count(*) FROM trial_photo JOIN trial ON trial.id = trial_photo.trial WHERE job = job.id)
         FROM job ORDER BY id DESC",
    )?;
    let lines = statement.query_map([], |row| {
        Ok(JobLine {
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

pub(super) fn record(connection: &Connection, path: &str, number: i64) -> Result<Record, JobError> {
    let of = |error: rusqlite::Error| JobError::of(path, &error);
    // One read transaction: another process may be writing between two of the queries.
    let snapshot = connection.unchecked_transaction().map_err(of)?;
    let reader = JobReader {
        connection: &snapshot,
        path,
        job: number,
    };
    let (head, card) = reader.head_and_card()?;
    Ok(Record {
        schema: SCHEMA.into(),
        head,
        card,
        trials: reader.trials()?,
        advice: reader.advice()?,
        closing: reader.closing()?,
        notes: reader.notes()?,
    })
}

/// Reads the parts of one job, a table each.
struct JobReader<'c> {
    connection: &'c Connection,
    /// Of the database, for messages.
    path: &'c str,
    job: i64,
}

impl JobReader<'_> {
    /// Reads all rows of a query with one parameter.
    fn all<T>(
        &self,
        sql: &str,
        key: i64,
        row: impl FnMut(&Row) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, JobError> {
        let rows = || {
            self.connection
                .prepare(sql)?
                .query_map([key], row)?
                .collect::<rusqlite::Result<Vec<T>>>()
        };
        rows().map_err(|error| JobError::of(self.path, &error))
    }

    fn read<T: DeserializeOwned>(&self, text: &str) -> Result<T, JobError> {
        read(text, self.job)
    }

    fn read_some<T: DeserializeOwned>(&self, text: Option<String>) -> Result<Option<T>, JobError> {
        text.map(|text| self.read(&text)).transpose()
    }

    fn head_and_card(&self) -> Result<(Head, Card), JobError> {
        let (head, card): (Head, String) = self
            .connection
            .query_row(
                "SELECT id, uid, name, axle, mechanic, opened, closed, card FROM job WHERE id = ?1",
                [self.job],
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
            .map_err(|error| JobError::of(self.path, &error))?
            .ok_or(JobError::NoJob { number: self.job })?;
        Ok((head, self.read(&card)?))
    }

    fn trials(&self) -> Result<Vec<Assembly>, JobError> {
        type TrialRow = (i64, i64, String, String, String, String);
        let rows: Vec<TrialRow> = self.all(
            "SELECT id, number, recorded, by, numbers, bench FROM trial WHERE job = ?1 ORDER BY number",
            self.job,
            |row| row.try_into(),
        )?;
        rows.into_iter()
            .map(|(id, number, recorded, by, numbers, bench)| {
                let photos = self.photos(id)?;
                Ok(Assembly {
                    number,
                    recorded,
                    by,
                    trial: self.read(&numbers)?,
                    bench: self.read(&bench)?,
                    photos,
                })
            })
            .collect()
    }

    fn photos(&self, trial_id: i64) -> Result<Vec<PhotoOf>, JobError> {
        type PhotoRow = (String, String, String, String, Option<String>);
        let rows: Vec<PhotoRow> = self.all(
            "SELECT original_sha256, sha256, name, shows, reading FROM trial_photo WHERE trial = ?1 ORDER BY place",
            trial_id,
            |row| row.try_into(),
        )?;
        rows.into_iter()
            .map(|(original_sha256, sha256, name, shows, reading)| {
                Ok(PhotoOf {
                    original_sha256,
                    sha256,
                    name,
                    shows: self.read(&shows)?,
                    reading: self.read_some(reading)?,
                })
            })
            .collect()
    }

    fn advice(&self) -> Result<Vec<Given>, JobError> {
        type GivenRow = (i64, String, String, Option<String>, String, String);
        let rows: Vec<GivenRow> = self.all(
            "SELECT after, at, advice, followed, remark, outdated FROM advice WHERE job = ?1 ORDER BY id",
            self.job,
            |row| row.try_into(),
        )?;
        rows.into_iter()
            .map(|(after, at, advice, followed, remark, outdated)| {
                Ok(Given {
                    after,
                    at,
                    advice: self.read(&advice)?,
                    followed: self.read_some(followed)?,
                    remark,
                    outdated,
                })
            })
            .collect()
    }

    fn closing(&self) -> Result<Vec<Tick>, JobError> {
        let rows: Vec<(String, String, String, String, String)> = self.all(
            "SELECT item, at, by, value, because FROM tick WHERE job = ?1 ORDER BY at, item",
            self.job,
            |row| row.try_into(),
        )?;
        rows.into_iter()
            .map(|(item, at, by, value, because)| {
                Ok(Tick {
                    item: self.read(&item)?,
                    at,
                    by,
                    value,
                    because,
                })
            })
            .collect()
    }

    fn notes(&self) -> Result<Vec<Note>, JobError> {
        self.all(
            "SELECT at, by, text FROM note WHERE job = ?1 ORDER BY id",
            self.job,
            |row| {
                Ok(Note {
                    at: row.get(0)?,
                    by: row.get(1)?,
                    text: row.get(2)?,
                })
            },
        )
    }
}
