//! What was read so far: JSON Lines that are only ever appended to.
//!
//! A line goes out in one write, after the pictures that belong to it. A process killed at any
//! instant leaves at most one partial line, the last, which is cut off when the store is opened
//! again: nothing else can be damaged, nothing needs repair, and the file can be read with any
//! tool. A database would keep the same promise with a journal beside it and more work a photo.

use super::BatchError;
use super::ask::Problem;
use super::shown::shown;
use crate::schema::Reading;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// The first line of a store.
const HEAD: &str = "{\"schema\":\"flankread/batch-store/1\"}\n";

/// Longer lines are no readings.
const MOST_LINE_BYTES: u64 = 32 << 20;

/// What is kept of one photo.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Record {
    /// [`super::ask::PhotoRequest::key`].
    pub key: String,
    /// The reading.
    pub reading: Reading,
    /// What went wrong beside it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub problem: Option<Problem>,
    /// How many photos stand in it, where it is a collage.
    #[serde(default, skip_serializing_if = "is_none")]
    pub parts: u32,
    /// [`super::likeness::Likeness`] as text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub likeness: Option<String>,
}

// The form that serde asks for.
#[allow(clippy::trivially_copy_pass_by_ref)]
const fn is_none(parts: &u32) -> bool {
    *parts == 0
}

/// Where a record stands in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct RecordPlace {
    offset: u64,
    bytes: u64,
}

/// An open store. Only one process at a time has it open.
#[derive(Debug)]
pub(crate) struct Store {
    path: PathBuf,
    inner: Mutex<Inner>,
}

#[derive(Debug)]
struct Inner {
    file: File,
    end: u64,
    places: HashMap<String, RecordPlace>,
}

impl Store {
    /// Opens the store, or makes an empty one. A partial last line is cut off; lines that are
    /// none, as a power cut may leave them, are passed over.
    ///
    /// # Errors
    /// Another run has it open, it is something else, or it cannot be read and written.
    pub(crate) fn open(path: &Path) -> Result<Self, BatchError> {
        let failed = |source| BatchError::Store {
            path: shown(path),
            source,
        };
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path)
            .map_err(failed)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(std::fs::TryLockError::WouldBlock) => {
                return Err(BatchError::Busy { path: shown(path) });
            }
            Err(std::fs::TryLockError::Error(source)) => return Err(failed(source)),
        }
        let mut inner = Inner {
            end: 0,
            places: HashMap::new(),
            file: file.try_clone().map_err(failed)?,
        };
        inner.index(BufReader::new(&mut file), path)?;
        inner.file.set_len(inner.end).map_err(failed)?;
        if inner.end == 0 {
            inner.append(HEAD.as_bytes()).map_err(failed)?;
        }
        Ok(Self {
            path: path.to_owned(),
            inner: Mutex::new(inner),
        })
    }

    /// Forgets everything.
    ///
    /// # Errors
    /// The file cannot be written.
    pub(crate) fn forget(&self) -> Result<(), BatchError> {
        let mut inner = self.inner();
        inner.places.clear();
        inner.end = 0;
        let failed = |source| self.failed(source);
        inner.file.set_len(0).map_err(failed)?;
        inner.append(HEAD.as_bytes()).map_err(failed)
    }

    /// Whether there is a record of that key.
    #[cfg(test)]
    fn has(&self, key: &str) -> bool {
        self.inner().places.contains_key(key)
    }

    /// How many records there are.
    #[cfg(test)]
    fn len(&self) -> usize {
        self.inner().places.len()
    }

    /// The record of a key, if there is one.
    ///
    /// # Errors
    /// The file cannot be read.
    pub(crate) fn get(&self, key: &str) -> Result<Option<Record>, BatchError> {
        let mut inner = self.inner();
        let Some(&place) = inner.places.get(key) else {
            return Ok(None);
        };
        let mut line = vec![0; place.bytes as usize];
        inner
            .file
            .seek(SeekFrom::Start(place.offset))
            .and_then(|_| inner.file.read_exact(&mut line))
            .and_then(|()| Ok(serde_json::from_slice(&line)?))
            .map(Some)
            .map_err(|source| self.failed(source))
    }

    /// Adds a record and gives it back as it will be read again: a number may differ in its last
    /// digit from the one that was written, and every run must show the same.
    ///
    /// # Errors
    /// The file cannot be written.
    pub(crate) fn add(&self, record: &Record) -> Result<Record, BatchError> {
        let mut line = serde_json::to_vec(record).map_err(|error| self.failed(error.into()))?;
        line.push(b'\n');
        let again = serde_json::from_slice(&line).map_err(|error| self.failed(error.into()))?;
        let mut inner = self.inner();
        let place = RecordPlace {
            offset: inner.end,
            bytes: line.len() as u64,
        };
        inner.append(&line).map_err(|source| self.failed(source))?;
        inner.places.insert(record.key.clone(), place);
        Ok(again)
    }

    fn failed(&self, source: std::io::Error) -> BatchError {
        BatchError::Store {
            path: shown(&self.path),
            source,
        }
    }

    fn inner(&self) -> std::sync::MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Inner {
    fn append(&mut self, line: &[u8]) -> std::io::Result<()> {
        self.file.seek(SeekFrom::Start(self.end))?;
        self.file.write_all(line)?;
        self.end += line.len() as u64;
        Ok(())
    }

    /// Finds every whole line and what it is about.
    fn index(&mut self, mut lines: impl BufRead, path: &Path) -> Result<(), BatchError> {
        #[derive(Deserialize)]
        struct Head {
            schema: String,
        }
        let failed = |source| BatchError::Store {
            path: shown(path),
            source,
        };
        let mut line = Vec::new();
        loop {
            line.clear();
            let bytes = lines
                .by_ref()
                .take(MOST_LINE_BYTES)
                .read_until(b'\n', &mut line)
                .map_err(failed)? as u64;
            if self.end == 0 && bytes > 0 && !HEAD.as_bytes().starts_with(&line) {
                let head: Option<Head> = serde_json::from_slice(&line).ok();
                let said = head.map_or_else(|| "no store at all".into(), |head| head.schema);
                return Err(BatchError::OtherStore {
                    path: shown(path),
                    said,
                });
            }
            if line.last() != Some(&b'\n') {
                return Ok(());
            }
            if let Ok(record) = serde_json::from_slice::<Record>(&line) {
                let place = RecordPlace {
                    offset: self.end,
                    bytes,
                };
                self.places.insert(record.key, place);
            }
            self.end += bytes;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::PhotoFacts;
    use proptest::prelude::*;

    fn record(key: &str) -> Record {
        Record {
            key: key.into(),
            reading: Reading::unreadable(
                PhotoFacts {
                    path: "p".into(),
                    width: 1,
                    height: 1,
                    sha256: String::new(),
                    area: None,
                },
                Vec::new(),
            ),
            problem: None,
            parts: 0,
            likeness: None,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]

        /// A kill leaves a beginning of what would have been written; whatever its length, all
        /// whole records are there and the store goes on.
        #[test]
        fn a_store_cut_anywhere_keeps_its_whole_lines(share in 0.0_f64..1.0) {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("s");
            let store = Store::open(&path).unwrap();
            for key in ["a", "b", "c"] {
                store.add(&record(key)).unwrap();
            }
            drop(store);
            let bytes = std::fs::read(&path).unwrap();
            let cut = &bytes[..(share * bytes.len() as f64) as usize];
            std::fs::write(&path, cut).unwrap();
            let whole = cut.iter().filter(|byte| **byte == b'\n').count().saturating_sub(1);
            let store = Store::open(&path).unwrap();
            prop_assert_eq!(store.len(), whole);
            store.add(&record("d")).unwrap();
            drop(store);
            let store = Store::open(&path).unwrap();
            prop_assert_eq!(store.len(), whole + 1);
            prop_assert_eq!(store.get("d").unwrap().unwrap().key, "d");
        }
    }

    #[test]
    fn a_broken_line_in_the_middle_is_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("s");
        let store = Store::open(&path).unwrap();
        store.add(&record("a")).unwrap();
        drop(store);
        let mut file = OpenOptions::new().append(true).open(&path).unwrap();
        file.write_all(b"\0\0\0\0\n").unwrap();
        drop(file);
        let store = Store::open(&path).unwrap();
        store.add(&record("b")).unwrap();
        drop(store);
        let store = Store::open(&path).unwrap();
        assert!(store.has("a") && store.has("b") && store.len() == 2);
    }

    #[test]
    fn two_runs_cannot_have_it_and_another_file_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("s");
        let store = Store::open(&path).unwrap();
        let error = Store::open(&path).unwrap_err();
        assert!(matches!(error, BatchError::Busy { .. }), "{error}");
        drop(store);
        Store::open(&path).unwrap();
        let other = folder.path().join("other");
        std::fs::write(&other, "my own notes\n").unwrap();
        assert!(matches!(
            Store::open(&other),
            Err(BatchError::OtherStore { .. })
        ));
        assert_eq!(std::fs::read(&other).unwrap(), b"my own notes\n");
    }
}
