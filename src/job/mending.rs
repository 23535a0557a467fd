//! What may be put right in a job's record: trials, what became of advice, the card. What stood there before stays.

use super::new_trial::NewTrial;
use super::record::follows;
use super::store::Store;
use super::writes::{insert_note, insert_photos, must_be_open, outdate};
use super::{JobError, rows};
use crate::schema::record::{Amendment, Assembly, Followed, Note, Shows};
use crate::schema::{Card, SuspectKind};
use rusqlite::{OptionalExtension as _, params};
use serde_json::{Value, json};

impl Store {
    /// Strikes a trial out: it stays in the record and counts no more. Advice that it was taken to follow is open
    /// again, and advice that was made with it is out of date.
    ///
    /// # Errors
    /// No trial of that number, or struck already; what the database says.
    pub(crate) fn strike(&mut self, job: i64, number: i64, why: &str) -> Result<(), JobError> {
        let mut bench = self.standing_trial(job, number)?.bench;
        bench.struck = Some(why.to_owned());
        self.write(|t| {
            must_be_open(t, job)?;
            t.execute(
                "UPDATE trial SET bench = ?3 WHERE job = ?1 AND number = ?2",
                params![job, number, rows::json(&bench)],
            )?;
            t.execute(
                "UPDATE advice SET followed = NULL WHERE id =
                 (SELECT max(id) FROM advice WHERE job = ?1 AND after < ?2) AND remark = ''",
                params![job, number],
            )?;
            outdate(t, job, number, &format!("trial {number} was struck out"))
        })
    }

    /// A trial that counts.
    fn standing_trial(&self, job: i64, number: i64) -> Result<Assembly, JobError> {
        let trials = self.record(job)?.trials;
        match trials.into_iter().find(|a| a.number == number) {
            None => Err(JobError::Use(format!("job {job} has no trial {number}"))),
            Some(a) if a.bench.struck.is_some() => Err(JobError::Use(format!(
                "trial {number} is struck out already"
            ))),
            Some(a) => Ok(a),
        }
    }

    /// Puts a trial right: `amended` holds its numbers as they are now, with what was written before in
    /// [`Bench::amended`](crate::schema::record::Bench), and photos to be added; `replaced` are the photos, by their
    /// place, that show their flank no more. Advice that it was taken to follow is judged anew, and advice that was
    /// made with it is out of date.
    ///
    /// # Errors
    /// No trial of that number, or struck out; the job is closed; what the database says.
    pub(crate) fn amend(
        &mut self,
        job: i64,
        number: i64,
        amended: &NewTrial,
        replaced: &[usize],
    ) -> Result<(), JobError> {
        amended.possible()?;
        let had = self.standing_trial(job, number)?.photos.len();
        let record = self.record(job)?;
        let given = (record.advice.iter()).rfind(|g| g.after < number && g.remark.is_empty());
        let followed = given.and_then(|given| {
            let before = record.trials.iter().find(|a| a.number == given.after)?;
            follows(&given.advice, &before.trial, &amended.trial)
        });
        self.write(|t| {
            must_be_open(t, job)?;
            let row: i64 = t.query_row(
                "SELECT id FROM trial WHERE job = ?1 AND number = ?2",
                [job, number],
                |row| row.get(0),
            )?;
            t.execute(
                "UPDATE trial SET numbers = ?2, bench = ?3 WHERE id = ?1",
                params![row, rows::json(&amended.trial), rows::json(&amended.bench)],
            )?;
            for place in replaced {
                t.execute(
                    "UPDATE trial_photo SET shows = ?3 WHERE trial = ?1 AND place = ?2",
                    params![row, *place as i64, rows::json(&Shows::Other)],
                )?;
            }
            insert_photos(t, row, had as i64, &amended.photos)?;
            if let (Some(given), Some(followed)) = (given, followed) {
                t.execute(
                    "UPDATE advice SET followed = ?3 WHERE job = ?1 AND after = ?2 AND remark = ''
                     AND id = (SELECT max(id) FROM advice WHERE job = ?1 AND after = ?2)",
                    params![job, given.after, rows::json(&followed)],
                )?;
            }
            outdate(t, job, number, &format!("trial {number} was put right"))
        })
    }

    /// Notes that what advice suspected was looked at again and is as it was told. Said twice it is noted once.
    ///
    /// # Errors
    /// As [`Self::amend`].
    pub(crate) fn looked(
        &mut self,
        job: i64,
        number: i64,
        what: SuspectKind,
        (at, because): (&str, &str),
    ) -> Result<Vec<Amendment>, JobError> {
        let Assembly { trial, bench, .. } = self.standing_trial(job, number)?;
        if trial.looked.contains(&what) {
            return Ok(Vec::new());
        }
        let mut now = NewTrial {
            trial,
            bench,
            photos: Vec::new(),
        };
        let was = if now.trial.looked.is_empty() {
            Value::Null
        } else {
            json!(now.trial.looked)
        };
        now.trial.looked.push(what);
        let amendment = Amendment {
            at: at.to_owned(),
            by: self.record(job)?.head.mechanic,
            what: "looked".to_owned(),
            was,
            now: json!(now.trial.looked),
            because: because.to_owned(),
        };
        now.bench.amended.push(amendment.clone());
        self.amend(job, number, &now, &[])?;
        Ok(vec![amendment])
    }

    /// Puts another card in the place of the job's, and a note beside it of what changed. Advice given before is out of
    /// date.
    ///
    /// # Errors
    /// The job is closed or not there; what the database says.
    pub(crate) fn set_card(&mut self, job: i64, card: &Card, note: &Note) -> Result<(), JobError> {
        let card = rows::json(card);
        self.write(|t| {
            must_be_open(t, job)?;
            t.execute("UPDATE job SET card = ?2 WHERE id = ?1", params![job, card])?;
            insert_note(t, job, note)?;
            outdate(t, job, 0, "the card was changed")
        })
    }

    /// Says what became of an advice: the newest that was given on the trial `after`, or the newest of all. Gives the
    /// trial it was given on.
    ///
    /// # Errors
    /// No such advice; the job is closed.
    pub(crate) fn set_followed(
        &mut self,
        job: i64,
        after: Option<i64>,
        followed: Followed,
        remark: &str,
    ) -> Result<i64, JobError> {
        self.write(|t| {
            must_be_open(t, job)?;
            let found: Option<(i64, i64)> = t
                .query_row(
                    "SELECT id, after FROM advice WHERE job = ?1 AND after = coalesce(?2, after)
                     ORDER BY id DESC LIMIT 1",
                    params![job, after],
                    |row| Ok((row.get(0)?, row.get(1)?)),
                )
                .optional()?;
            let Some((id, given_on)) = found else {
                return Err(JobError::Use(match after {
                    Some(trial) => format!("job {job} has no advice after trial {trial}"),
                    None => format!("job {job} has no advice yet"),
                })
                .into());
            };
            t.execute(
                "UPDATE advice SET followed = ?2, remark = ?3 WHERE id = ?1",
                params![id, rows::json(&followed), remark],
            )?;
            Ok(given_on)
        })
    }
}
