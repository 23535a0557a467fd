//! What all requests share: where things lie, the photos that were decoded last, and how much is done at a time.

use super::answer::Failed;
use super::folder::{PhotoId, SetFolder, SetId};
use super::gate::Gate;
use super::queue::Queue;
use crate::job::Store;
use crate::job::answers::JobAnswer;
use crate::job::open::Purpose;
use crate::photo::{self, Limits, Photo};
use crate::schema::Card;
use crate::units::Shown;
use std::collections::VecDeque;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// The units of texts with a card or without.
pub(crate) type Units = Box<dyn Fn(Option<&Card>) -> Shown + Send + Sync>;

/// Hears of the code for the next phone and the page's port.
pub(crate) type NewCode = Box<dyn Fn(&str, u16) + Send + Sync>;

/// How the page is served.
pub(crate) struct Settings {
    /// The workshop's database.
    pub database: PathBuf,
    /// The folder of photos.
    pub photos: PathBuf,
    /// The card that was given at the start.
    pub card: Option<Card>,
    /// Open to the network, behind a code.
    pub lan: bool,
    /// The port; 0 for any that is free.
    pub port: u16,
    /// The units of texts with a card.
    pub shown: Units,
    /// The folder of photos that a batch was made of.
    pub inbox: Option<PathBuf>,
    /// Told the code for the next phone when one was used.
    pub new_code: NewCode,
}

impl fmt::Debug for Settings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Settings")
            .field("database", &self.database)
            .field("photos", &self.photos)
            .finish_non_exhaustive()
    }
}

/// Photos that are read at a time. With two, the second core is busy while the first one decodes.
const READ_AT_A_TIME: usize = 2;
/// Readings that may wait.
const READINGS_WAITING: usize = 24;
/// Looks into the record, which are short, and do not wait for photos.
const RECORDS_AT_A_TIME: usize = 4;
const RECORDS_WAITING: usize = 64;
/// Photos that are on their way in at a time: each may hold its whole body.
const UPLOADS_AT_A_TIME: usize = 4;
/// Uploads that may wait, with nothing of their bodies taken.
const UPLOADS_WAITING: usize = 24;
/// How long anything waits.
const PATIENCE: Duration = Duration::from_secs(30);

/// Decoded photos that are kept: the two of each of four jobs. One holds at most 12.6 MB.
const DECODED_KEPT: usize = 8;

/// What is decoded at most of a file. JPEG, which phones write, is decoded small; other formats take up to eight bytes a
/// pixel, two at a time.
pub(super) fn limits_for(bytes: &[u8]) -> Limits {
    Limits {
        bytes: super::body::MOST_PHOTO_BYTES as u64,
        pixels: if bytes.starts_with(b"\xff\xd8") {
            64_000_000
        } else {
            25_000_000
        },
        side: 65_535,
    }
}

/// What all requests share.
#[derive(Debug)]
pub(super) struct Bench {
    pub settings: Settings,
    pub gate: Gate,
    pub reading: Queue,
    pub records: Queue,
    pub uploads: Queue,
    decoded: Mutex<VecDeque<Decoded>>,
    /// Held while the photos of the next trial are changed: read, changed and written as one.
    next_trial: Mutex<()>,
    /// Held while a trial is recorded, so that photos that wait go into one; the trials that were recorded last.
    recorded: Mutex<VecDeque<RecordedOnce>>,
}

/// A trial that was recorded, by what its phone told it from every other with.
#[derive(Debug)]
pub(super) struct RecordedOnce {
    pub job: i64,
    pub once: String,
    pub answer: JobAnswer,
}

/// Trials that are known again when a phone sends them twice.
const RECORDED_KEPT: usize = 32;

#[derive(Debug)]
struct Decoded {
    set: SetId,
    id: PhotoId,
    photo: Arc<Photo>,
}

/// A set with what is known of its gears.
#[derive(Debug, Clone)]
pub(super) struct Set {
    pub id: SetId,
    pub folder: SetFolder,
    pub card: Option<Card>,
}

impl Bench {
    pub(super) fn new(settings: Settings) -> Result<Self, Failed> {
        Ok(Self {
            gate: Gate::new(settings.lan)?,
            settings,
            reading: Queue::new(READ_AT_A_TIME, READINGS_WAITING, PATIENCE),
            records: Queue::new(RECORDS_AT_A_TIME, RECORDS_WAITING, PATIENCE),
            uploads: Queue::new(UPLOADS_AT_A_TIME, UPLOADS_WAITING, PATIENCE),
            decoded: Mutex::default(),
            next_trial: Mutex::default(),
            recorded: Mutex::default(),
        })
    }

    /// The workshop's database.
    ///
    /// # Errors
    /// It is not there, unless a job is to be begun in it.
    pub(super) fn store(&self, purpose: Purpose) -> Result<Store, Failed> {
        Ok(Store::open(&self.settings.database, purpose)?)
    }

    /// A set by its name.
    ///
    /// # Errors
    /// There is no such job.
    pub(super) fn set(&self, id: SetId) -> Result<Set, Failed> {
        let root = &self.settings.photos;
        match id {
            SetId::Job(number) => {
                let record = self.store(Purpose::Look)?.record(number)?;
                Ok(Set {
                    id,
                    folder: SetFolder::of(root, id, &record.head.uid),
                    card: Some(record.card),
                })
            }
            SetId::Loose(_) => Ok(Set {
                id,
                folder: SetFolder::of(root, id, ""),
                card: None,
            }),
        }
    }

    /// A photo of a set, decoded now or kept from before; and where it lies.
    ///
    /// # Errors
    /// It is not there, or is no photo.
    pub(super) fn photo(&self, set: &Set, id: PhotoId) -> Result<(Arc<Photo>, PathBuf), Failed> {
        let path = set.folder.photo(id)?;
        let kept = {
            let mut decoded = self.decoded();
            let at = decoded.iter().position(|d| d.set == set.id && d.id == id);
            at.and_then(|at| decoded.remove(at))
        };
        let photo = match kept {
            Some(kept) => self.keep(set, id, kept.photo),
            None => self.remember(set, id, photo::open_with(&path, Limits::default())?, &path),
        };
        Ok((photo, path))
    }

    /// Keeps a photo that was decoded from a file in the folder; its name is told from that folder on, for where that lies
    /// is nobody's business.
    pub(super) fn remember(
        &self,
        set: &Set,
        id: PhotoId,
        mut photo: Photo,
        path: &Path,
    ) -> Arc<Photo> {
        let told = path.strip_prefix(&self.settings.photos).unwrap_or(path);
        photo.path = told.display().to_string();
        self.keep(set, id, Arc::new(photo))
    }

    fn keep(&self, set: &Set, id: PhotoId, photo: Arc<Photo>) -> Arc<Photo> {
        let mut decoded = self.decoded();
        decoded.push_back(Decoded {
            set: set.id,
            id,
            photo: Arc::clone(&photo),
        });
        while decoded.len() > DECODED_KEPT {
            decoded.pop_front();
        }
        photo
    }

    fn decoded(&self) -> MutexGuard<'_, VecDeque<Decoded>> {
        self.decoded.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Held while a trial is recorded.
    pub(super) fn recording(&self) -> MutexGuard<'_, VecDeque<RecordedOnce>> {
        let mut recorded = self.recorded.lock().unwrap_or_else(PoisonError::into_inner);
        while recorded.len() >= RECORDED_KEPT {
            recorded.pop_front();
        }
        recorded
    }

    /// Held while the photos of a next trial are changed.
    pub(super) fn changing(&self) -> MutexGuard<'_, ()> {
        self.next_trial
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
    }
}
