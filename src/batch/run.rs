//! Reading all photos of a plan on all cores, each once, whatever stops the run.

use super::BatchError;
use super::ask::{Answer, PhotoRequest, Problem};
use super::group::{Item, Plan};
use super::likeness::Likeness;
use super::memory_budget::MemoryBudget;
use super::settled::{Stamp, has_grown, is_settled, may_grow, stamp};
use super::store::{Record, Store};
use crate::files;
use crate::frames::FlankPoint;
use crate::photo::Photo;
use crate::reading::OutlinedReading;
use crate::schema::{FlankSide, Mean, Reason, Status};
use crate::{Error, Result};
use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The two files that show one photo's reading.
#[derive(Debug)]
pub(crate) struct Drawn {
    /// A small picture with outlines and patches, SVG.
    pub thumbnail: String,
    /// The full reading, HTML.
    pub page: String,
}

/// What is kept in memory of each photo: a kilobyte or two, the rest is in the store.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    /// Name of its record and its pictures; `None` when the file could not be hashed.
    pub key: Option<String>,
    /// SHA-256 of the file; empty when it could not be read.
    pub sha256: String,
    /// Size of the upright photo, pixels.
    pub size: (u32, u32),
    /// Whether the numbers may be used.
    pub status: Status,
    /// Why not, and remarks.
    pub reasons: Vec<Reason>,
    /// Which flank.
    pub flank: Option<FlankSide>,
    /// Mean patch.
    pub mean: Option<Mean>,
    /// Half widths that hold its centre in 90 % of photos.
    pub uncertainty: Option<FlankPoint>,
    /// What went wrong beside the reading.
    pub problem: Option<Problem>,
    /// How many photos stand in it, where it is a collage.
    pub parts: u32,
    /// Which photo of a collage it is; 0 of a photo by itself.
    pub part: u32,
    /// Small copy to find it again by.
    pub likeness: Option<Likeness>,
    /// The record itself where the store does not have it, as of a file without permission.
    pub unkept: Option<Box<Record>>,
}

impl Found {
    fn new(record: Record, kept: bool, key: Option<String>) -> Self {
        Self {
            key,
            unkept: (!kept).then(|| Box::new(record.clone())),
            ..Self::of(&record)
        }
    }

    /// What a record says.
    pub(crate) fn of(record: &Record) -> Self {
        let reading = &record.reading;
        Self {
            key: (!record.key.is_empty()).then(|| record.key.clone()),
            sha256: reading.photo.sha256.clone(),
            size: match reading.photo.area {
                Some(area) => (area.width as u32, area.height as u32),
                None => (reading.photo.width, reading.photo.height),
            },
            status: reading.status,
            reasons: reading.reasons.clone(),
            flank: reading.flank,
            mean: reading.mean,
            uncertainty: reading.uncertainty,
            problem: record.problem.clone(),
            parts: record.parts,
            part: (reading.photo.area)
                .and_then(|area| area.part)
                .map_or(0, |part| part.number),
            likeness: record.likeness.as_deref().and_then(Likeness::from_text),
            unkept: None,
        }
    }

    /// Whether there are pictures of it: it could be opened, and was read or refused.
    pub(crate) const fn has_pictures(&self) -> bool {
        self.likeness.is_some()
    }
}

/// Name of the small picture of a record.
pub(crate) fn thumbnail_name(key: &str) -> String {
    format!("{}.svg", &key[..key.len().min(32)])
}

/// Name of the page of a record.
pub(crate) fn page_name(key: &str) -> String {
    format!("{}.html", &key[..key.len().min(32)])
}

/// Whether a file may be one of these two.
pub(crate) fn is_picture_name(name: &str) -> bool {
    let stem = (name.strip_suffix(".svg")).or_else(|| name.strip_suffix(".html"));
    let is_hexadecimal = |byte: u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte);
    stem.is_some_and(|stem| stem.len() == 32 && stem.bytes().all(is_hexadecimal))
}

/// How a plan is read.
pub(crate) struct Reader<'a> {
    /// What was read before, and where new readings go.
    pub store: &'a Store,
    /// Folder of the small pictures and pages.
    pub pictures: &'a Path,
    /// How many photos are read at the same time.
    pub threads: usize,
    /// Memory that open photos may take together, bytes.
    pub memory_bytes: u64,
    /// Set to end after the photos being read.
    pub stop: &'a AtomicBool,
    /// Draws a photo's reading.
    pub draw: &'a (dyn Fn(&Photo, &OutlinedReading) -> Drawn + Sync),
    /// Called with each photo as it is done: its place in the plan, its record, and whether it was
    /// read just now.
    pub done: &'a (dyn Fn(usize, &Record, bool) + Sync),
    /// Sizes, times and hashes of files seen before, so that a watched folder is not hashed anew
    /// for each photo that comes in.
    pub hashes: Mutex<HashMap<PathBuf, (Stamp, String)>>,
}

/// What goes round among the threads.
struct Round<'a> {
    items: &'a [Item],
    budget: MemoryBudget,
    next: AtomicUsize,
    claimed: Mutex<HashSet<String>>,
    found: Mutex<Vec<Option<Found>>>,
    later: Mutex<Vec<usize>>,
    failure: Mutex<Option<Error>>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Reader<'_> {
    /// Reads every photo of the plan. Where the run was stopped, the rest is `None`.
    ///
    /// # Errors
    /// The store or a picture cannot be written; threads cannot be started.
    pub(crate) fn read(&self, plan: &Plan) -> Result<Vec<Option<Found>>> {
        let round = Round {
            items: &plan.items,
            budget: MemoryBudget::new(self.memory_bytes),
            next: AtomicUsize::new(0),
            claimed: Mutex::default(),
            found: Mutex::new(vec![None; plan.items.len()]),
            later: Mutex::default(),
            failure: Mutex::default(),
        };
        // A pool of its own, a photo on each of its threads: whatever runs in parallel inside a
        // reading stays within the pool and takes no further core.
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(self.threads)
            .build()
            .map_err(|error| BatchError::Threads {
                count: self.threads,
                detail: error.to_string(),
            })?;
        pool.broadcast(|_| self.work(&round));
        // Copies of photos that were being read: these are in the store by now, unless the file
        // changed meanwhile.
        let later = std::mem::take(&mut *locked(&round.later));
        for at in later {
            locked(&round.claimed).clear();
            if !self.stop.load(Ordering::SeqCst) {
                self.one(&round, at);
            }
        }
        match locked(&round.failure).take() {
            Some(error) => Err(error),
            None => Ok(std::mem::take(&mut *locked(&round.found))),
        }
    }

    fn work(&self, round: &Round) {
        while !self.stop.load(Ordering::SeqCst) && locked(&round.failure).is_none() {
            let at = round.next.fetch_add(1, Ordering::SeqCst);
            if at >= round.items.len() {
                return;
            }
            self.one(round, at);
        }
    }

    fn one(&self, round: &Round, at: usize) {
        match self.found(round, at) {
            Ok(Some(found)) => locked(&round.found)[at] = Some(found),
            Ok(None) => locked(&round.later).push(at),
            Err(error) => {
                locked(&round.failure).get_or_insert(error);
            }
        }
    }

    /// `None` when another thread is at a photo of the same bytes.
    fn found(&self, round: &Round, at: usize) -> Result<Option<Found>> {
        let item = &round.items[at];
        if !is_settled(&item.path) {
            let answer = PhotoRequest::hashed(&item.path, &item.said, String::new()).unfinished();
            let record = self.record(String::new(), &answer)?;
            (self.done)(at, &record, true);
            return Ok(Some(Found::new(record, false, None)));
        }
        let was = stamp(&item.path);
        let ready = self.ready(item);
        let key = ready.key();
        if let Some(key) = &key {
            if let Some(record) = self.kept(key)? {
                (self.done)(at, &record, false);
                return Ok(Some(Found::new(record, true, Some(key.clone()))));
            }
            if !locked(&round.claimed).insert(key.clone()) {
                return Ok(None);
            }
        }
        let _place = round.budget.enter(ready.memory_bytes());
        // Copies share a record, so that a path has no place in it.
        let mut answer = ready.answer("");
        if answer.is_cut_short() && may_grow(was) {
            if has_grown(&item.path, was) {
                return self.found(round, at);
            }
            answer.may_be_on_its_way();
        }
        let record = self.record(key.clone().unwrap_or_default(), &answer)?;
        let keeps = answer.lasting && key.is_some();
        let record = if keeps {
            self.store.add(&record)?
        } else {
            record
        };
        (self.done)(at, &record, true);
        Ok(Some(Found::new(record, keeps, key)))
    }

    fn ready<'i>(&self, item: &'i Item) -> PhotoRequest<'i> {
        let stamp = stamp(&item.path);
        let known = locked(&self.hashes).get(&item.path).cloned();
        if let Some((_, sha256)) = known.filter(|(seen, _)| stamp.is_some() && stamp == *seen) {
            return PhotoRequest::hashed(&item.path, &item.said, sha256).of_part(item.part);
        }
        let ready = PhotoRequest::new(&item.path, &item.said).of_part(item.part);
        if !ready.sha256.is_empty() {
            let seen = (stamp, ready.sha256.clone());
            locked(&self.hashes).insert(item.path.clone(), seen);
        }
        ready
    }

    /// The record of an earlier reading, if it is whole: someone may have thrown pictures away.
    fn kept(&self, key: &str) -> Result<Option<Record>> {
        let record = self.store.get(key)?;
        Ok(record.filter(|record| {
            record.likeness.is_none()
                || [thumbnail_name(key), page_name(key)]
                    .iter()
                    .all(|name| self.pictures.join(name).is_file())
        }))
    }

    /// The record of an answer; its pictures are written first, so that a record in the store is
    /// never without them.
    fn record(&self, key: String, answer: &Answer) -> Result<Record> {
        let mut likeness = None;
        if let (Some(photo), false) = (&answer.photo, key.is_empty()) {
            let drawn = (self.draw)(photo, &answer.read);
            for (name, text) in [
                (thumbnail_name(&key), drawn.thumbnail),
                (page_name(&key), drawn.page),
            ] {
                files::write(&self.pictures.join(name), text.as_bytes(), true)?;
            }
            likeness = Some(Likeness::of(&photo.seen()).to_text());
        }
        Ok(Record {
            key,
            reading: answer.read.reading.clone(),
            problem: answer.problem.clone(),
            parts: answer.parts,
            likeness,
        })
    }
}
