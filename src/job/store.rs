//! The workshop's database: one file, safe with several processes and against a kill at any instant.

use super::new_trial::{self, NewPhoto, NewTrial};
use super::record::follows;
use super::rows::JobLine;
use super::writes::{
    Failure, insert_given, insert_job, insert_note, insert_tick, insert_trial, must_be_open,
};
use super::{JobError, rows};
use crate::schema::record::{Assembly, Head, Note, Record, Tick};
use crate::schema::{Advice, Card};
use crate::units::possible_numbers;
use rusqlite::{Connection, OptionalExtension as _, Transaction, TransactionBehavior, params};

/// An open workshop database.
#[derive(Debug)]
pub(crate) struct Store {
    pub(super) connection: Connection,
    pub(super) path: String,
}

impl Store {
    pub(super) fn failed(&self, error: &rusqlite::Error) -> JobError {
        JobError::of(&self.path, error)
    }

    /// A transaction that holds the write lock from its start, so that it cannot fail half-way for want of it.
    pub(super) fn write<T>(
        &mut self,
        work: impl FnOnce(&Transaction) -> Result<T, Failure>,
    ) -> Result<T, JobError> {
        let path = self.path.clone();
        let of = |error: rusqlite::Error| JobError::of(&path, &error);
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(of)?;
        // Dropping the transaction on an error rolls it back.
        let done = work(&transaction).map_err(|failure| match failure {
            Failure::Database(error) => of(error),
            Failure::Job(error) => error,
        })?;
        transaction.commit().map_err(of)?;
        Ok(done)
    }

    /// Opens a job and gives its number. `head.number` is not used.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn new_job(&mut self, head: &Head, card: &Card) -> Result<i64, JobError> {
        let head = head.clone();
        let card = rows::json(card);
        self.write(move |t| insert_job(t, &head, &card))
    }

    /// All jobs, newest first.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn jobs(&self) -> Result<Vec<JobLine>, JobError> {
        rows::jobs(&self.connection).map_err(|error| self.failed(&error))
    }

    /// The job asked for, or the newest that is open.
    ///
    /// # Errors
    /// There is none.
    pub(crate) fn job(&self, number: Option<i64>) -> Result<i64, JobError> {
        let found = match number {
            Some(number) => self
                .connection
                .query_row("SELECT id FROM job WHERE id = ?1", [number], |row| {
                    row.get(0)
                })
                .optional(),
            None => self
                .connection
                .query_row(
                    "SELECT id FROM job WHERE closed IS NULL ORDER BY id DESC LIMIT 1",
                    [],
                    |row| row.get(0),
                )
                .optional(),
        };
        found
            .map_err(|error| self.failed(&error))?
            .ok_or(match number {
                Some(number) => JobError::NoJob { number },
                None => JobError::NoOpenJob,
            })
    }

    /// The whole job.
    ///
    /// # Errors
    /// There is none, or it cannot be read.
    pub(crate) fn record(&self, number: i64) -> Result<Record, JobError> {
        rows::record(&self.connection, &self.path, number)
    }

    /// A stored photo as it was recorded.
    ///
    /// # Errors
    /// It is not there, or not what was recorded.
    pub(crate) fn photo(&self, sha256: &str) -> Result<Vec<u8>, JobError> {
        let bytes: Vec<u8> = self
            .connection
            .query_row(
                "SELECT bytes FROM photo WHERE sha256 = ?1",
                [sha256],
                |row| row.get(0),
            )
            .map_err(|error| self.failed(&error))?;
        if new_trial::sha256(&bytes) == sha256 {
            return Ok(bytes);
        }
        Err(JobError::Damaged {
            path: self.path.clone(),
            detail: format!("the stored photo {sha256} is not what was recorded"),
        })
    }

    /// The drawn-on picture of a trial's photo, counted from 0.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn picture(
        &self,
        job: i64,
        trial: i64,
        place: usize,
    ) -> Result<Option<Vec<u8>>, JobError> {
        let picture: Option<Option<Vec<u8>>> = self
            .connection
            .query_row(
                "SELECT picture FROM trial_photo JOIN trial ON trial.id = trial_photo.trial
                 WHERE job = ?1 AND number = ?2 AND place = ?3",
                params![job, trial, place as i64],
                |row| row.get(0),
            )
            .optional()
            .map_err(|error| self.failed(&error))?;
        Ok(picture.flatten())
    }

    /// The pictures of all trials of a job, in the order of their photos.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn pictures(&self, record: &Record) -> Result<Vec<Vec<Option<Vec<u8>>>>, JobError> {
        let of_trial = |assembly: &Assembly| {
            let places = 0..assembly.photos.len();
            places
                .map(|place| self.picture(record.head.number, assembly.number, place))
                .collect()
        };
        record.trials.iter().map(of_trial).collect()
    }

    /// Records a trial with its photos in one commit and gives its number. Advice that was open is judged by it.
    ///
    /// # Errors
    /// The job is closed or not there; what the database says.
    pub(crate) fn add_trial(
        &mut self,
        job: i64,
        new: &NewTrial,
        at: &str,
        by: &str,
    ) -> Result<i64, JobError> {
        let open = self.open_advice(job)?;
        let before = match &open {
            Some((_, after, _)) => rows::trial_numbers(&self.connection, job, *after)
                .map_err(|error| self.failed(&error))?,
            None => None,
        };
        let judged = open.and_then(|(id, _, advice)| {
            let followed = follows(&advice, &before?, &new.trial)?;
            Some((id, followed))
        });
        self.write(|t| {
            must_be_open(t, job)?;
            let number: i64 = t.query_row(
                "SELECT coalesce(max(number), 0) + 1 FROM trial WHERE job = ?1",
                [job],
                |row| row.get(0),
            )?;
            insert_trial(t, job, number, at, by, new)?;
            if let Some((id, followed)) = judged {
                t.execute(
                    "UPDATE advice SET followed = ?2 WHERE id = ?1 AND followed IS NULL",
                    params![id, rows::json(&followed)],
                )?;
            }
            Ok(number)
        })
    }

    /// The last advice of a job that nothing was said of yet.
    fn open_advice(&self, job: i64) -> Result<Option<(i64, i64, Advice)>, JobError> {
        let row: Option<(i64, i64, String)> = self
            .connection
            .query_row(
                "SELECT id, after, advice FROM advice WHERE job = ?1 AND followed IS NULL ORDER BY id DESC LIMIT 1",
                [job],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
            )
            .optional()
            .map_err(|error| self.failed(&error))?;
        row.map(|(id, after, text)| Ok((id, after, rows::read(&text, job)?)))
            .transpose()
    }

    /// Keeps advice given on the assembly `after`; the same advice on the same assembly is kept once.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn add_advice(
        &mut self,
        job: i64,
        after: i64,
        advice: &Advice,
        at: &str,
    ) -> Result<(), JobError> {
        possible_numbers(advice)?;
        let text = rows::json(advice);
        self.write(|t| {
            must_be_open(t, job)?;
            let same: i64 = t.query_row(
                "SELECT count(*) FROM advice WHERE job = ?1 AND after = ?2 AND advice = ?3 AND outdated = ''",
                params![job, after, text],
                |row| row.get(0),
            )?;
            if same == 0 {
                t.execute(
                    "INSERT INTO advice (job, after, at, advice) VALUES (?1, ?2, ?3, ?4)",
                    params![job, after, at, text],
                )?;
            }
            Ok(())
        })
    }

    /// Ticks an item of the closing list, or takes the tick away.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn tick(&mut self, job: i64, tick: &Tick, undo: bool) -> Result<(), JobError> {
        let item = rows::json(&tick.item);
        self.write(|t| {
            must_be_open(t, job)?;
            if undo {
                t.execute(
                    "DELETE FROM tick WHERE job = ?1 AND item = ?2",
                    params![job, item],
                )?;
            } else {
                insert_tick(t, job, tick)?;
            }
            Ok(())
        })
    }

    /// Adds a note.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn note(&mut self, job: i64, note: &Note) -> Result<(), JobError> {
        self.write(|t| {
            must_be_open(t, job)?;
            Ok(insert_note(t, job, note)?)
        })
    }

    /// Closes a job, or opens it again.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn close(&mut self, job: i64, at: Option<&str>) -> Result<(), JobError> {
        self.write(|t| {
            t.execute("UPDATE job SET closed = ?2 WHERE id = ?1", params![job, at])?;
            Ok(())
        })
    }

    /// The number of a job here by its uid.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn by_uid(&self, uid: &str) -> Result<Option<i64>, JobError> {
        self.connection
            .query_row("SELECT id FROM job WHERE uid = ?1", [uid], |row| row.get(0))
            .optional()
            .map_err(|error| self.failed(&error))
    }

    /// Puts a whole job in, in one commit. `photos` holds those of each assembly, in order.
    ///
    /// # Errors
    /// What the database says.
    pub(crate) fn insert(
        &mut self,
        record: &Record,
        photos: &[Vec<NewPhoto>],
    ) -> Result<i64, JobError> {
        self.write(|t| {
            let job = insert_job(t, &record.head, &rows::json(&record.card))?;
            for (assembly, photos) in record.trials.iter().zip(photos) {
                let new = NewTrial {
                    trial: assembly.trial.clone(),
                    bench: assembly.bench.clone(),
                    photos: photos.clone(),
                };
                let Assembly {
                    number,
                    recorded,
                    by,
                    ..
                } = assembly;
                insert_trial(t, job, *number, recorded, by, &new)?;
            }
            for given in &record.advice {
                insert_given(t, job, given)?;
            }
            for tick in &record.closing {
                insert_tick(t, job, tick)?;
            }
            for note in &record.notes {
                insert_note(t, job, note)?;
            }
            Ok(job)
        })
    }
}

#[cfg(test)]
mod replay;
#[cfg(test)]
mod tests;
