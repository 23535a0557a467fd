//! Doors for `tests/fuzz`, which throws bytes at everything that takes them. Compiled with `--cfg fuzzing` only, which
//! `cargo fuzz` sets: no build that anybody uses has them.
//!
//! A door goes as far as the program goes with such input. It may refuse; it may not panic, hang or fill the memory.

#![allow(missing_docs)]

use crate::batch::{fetch::Fetcher, manifest, worker};
use crate::flank::marks;
use crate::job::health::checkup;
use crate::job::next::next;
use crate::job::open::Purpose;
use crate::job::strip_metadata::without_metadata;
use crate::job::{Store, archive};
use crate::page::{Listening, Settings};
use crate::photo::{Limits, Photo, from_bytes};
use crate::report::job::build_sheet::build_sheet;
use crate::report::job::build_sheet_parts::Sheet;
use crate::report::job::text::{job_text, next_text};
use crate::rules::Job;
use crate::schema::Card;
use crate::schema::record::Record;
use crate::units::{Shown, Units};
use std::io::{Read as _, Write as _};
use std::net::{Shutdown, TcpStream};
use std::path::PathBuf;
use std::sync::LazyLock;
use std::sync::atomic::{AtomicUsize, Ordering};
use tempfile::TempDir;

/// Small, so that a run takes milliseconds. What is larger is refused, as the program's own limits refuse it.
const LIMITS: Limits = Limits {
    bytes: 1 << 20,
    pixels: 300_000,
    side: 65_535,
};

/// The folder of this process.
static FOLDER: LazyLock<TempDir> = LazyLock::new(|| tempfile::tempdir().expect("a folder"));

fn card_text() -> &'static str {
    include_str!("../examples/larchfield/card.toml")
}

fn write(name: &str, bytes: &[u8]) -> PathBuf {
    let path = FOLDER.path().join(name);
    std::fs::write(&path, bytes).expect("room");
    path
}

/// A workshop without jobs.
fn fresh(name: &str) -> Store {
    let path = FOLDER.path().join(name);
    for beside in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{beside}", path.display()));
    }
    Store::open(&path, Purpose::Begin).expect("a new database")
}

/// A photo's file: its pictures, and the copy without notes that an archive takes.
pub fn photo(bytes: &[u8]) {
    if let Ok(photo) = from_bytes(bytes.to_vec(), "photo".into(), LIMITS) {
        let _ = photo.parts();
    }
    // Reads HEIC and TIFF with the usual limits, which take longer than a run may.
    if bytes.starts_with(b"\xff\xd8") || bytes.starts_with(b"\x89PNG") || bytes.starts_with(b"RIFF")
    {
        let _ = without_metadata(bytes, "photo");
    }
}

/// What a camera wrote, inside the smallest JPEG that can hold it.
pub fn exif(bytes: &[u8]) {
    let mut jpeg = b"\xff\xd8\xff\xe1".to_vec();
    let Ok(length) = u16::try_from(bytes.len() + 8) else {
        return;
    };
    jpeg.extend(length.to_be_bytes());
    jpeg.extend(b"Exif\0\0");
    jpeg.extend(bytes);
    jpeg.extend(b"\xff\xda\x00\x02\xff\xd9");
    photo(&jpeg);
}

/// A file of marks.
pub fn marks(text: &str) {
    let photo = Photo::from_rgb("photo", 64, 48, vec![128; 64 * 48 * 3]).expect("a photo");
    if let Ok(marks) = marks::parse(text, "marks", &photo) {
        let again = marks.document().to_string();
        assert!(marks::parse(&again, "marks", &photo).is_ok(), "{again}");
    }
}

/// A card in TOML, and its gear set.
pub fn card(text: &str) {
    if let Ok(card) = Card::from_toml(text) {
        let again = serde_json::to_value(&card).expect("a card is JSON");
        assert!(Card::from_json(&again).is_ok(), "{again}");
        let _ = card.model();
    }
}

/// A log of assemblies in JSON.
pub fn job(text: &str) {
    let _ = Job::from_json(text, FOLDER.path());
}

/// An archive of a job.
pub fn job_archive(bytes: &[u8]) {
    let mut store = fresh("archive.db");
    if let Ok(job) = archive::import(&mut store, bytes, true) {
        look_through(&store, job);
    }
}

/// The record of an archive, without its photos.
pub fn record(text: &[u8]) {
    let Ok(record) = archive::read_record(text) else {
        return;
    };
    let mut store = fresh("record.db");
    let photos = vec![Vec::new(); record.trials.len()];
    if let Ok(job) = store.insert(&record, &photos) {
        look_through(&store, job);
        let _ = archive::export(&store, job);
    }
}

/// A workshop's database.
pub fn database(bytes: &[u8]) {
    let path = write("workshop.db", bytes);
    for beside in ["-wal", "-shm", "-journal"] {
        let _ = std::fs::remove_file(format!("{}{beside}", path.display()));
    }
    let _ = checkup(&path);
    for purpose in [Purpose::Look, Purpose::Change] {
        let Ok(store) = Store::open(&path, purpose) else {
            continue;
        };
        for line in store.jobs().unwrap_or_default().iter().take(3) {
            look_through(&store, line.number);
        }
    }
}

fn look_through(store: &Store, job: i64) {
    let Ok(record) = store.record(job) else {
        return;
    };
    told(&record);
    let pictures = store.pictures(&record).unwrap_or_default();
    let _ = build_sheet(&Sheet {
        record: &record,
        pictures: &pictures,
        shown: Shown::from(Units::In),
    });
    for photo in record.trials.iter().flat_map(|trial| &trial.photos) {
        let _ = store.photo(&photo.sha256);
    }
}

fn told(record: &Record) {
    let shown = Shown::from(Units::Mm);
    let _ = job_text(record, &shown);
    let _ = next_text(record, &next(record, &shown));
    let _ = record.as_job();
}

/// A list of a batch's photos, as CSV or JSON.
pub fn manifest(bytes: &[u8]) {
    let is_json = bytes.first() == Some(&b'[');
    let path = write(if is_json { "list.json" } else { "list.csv" }, bytes);
    let _ = manifest::read(&path);
}

/// Lines of requests to the worker. Their photos are not there: reading one takes longer than a run may.
pub fn worker(bytes: &[u8]) {
    let mut answers = Vec::new();
    let served = worker::serve(bytes, &mut answers, &mut Fetcher::default()).expect("answers");
    let lines = answers.iter().filter(|byte| **byte == b'\n').count();
    assert_eq!(lines as u64, served.lines);
    assert!(
        !answers
            .windows(16)
            .any(|part| part == br#""kind":"Program""#)
    );
}

/// The port of the page that is asked.
pub const PORT: u16 = 7399;

/// Runs after which the page's workshop is a new one.
const RENEWED_AFTER: usize = 200;

static PAGE: LazyLock<()> = LazyLock::new(|| {
    renew();
    let settings = Settings {
        database: FOLDER.path().join("page.db"),
        photos: FOLDER.path().join("page-photos"),
        card: Card::from_toml(card_text()).ok(),
        lan: false,
        port: PORT,
        shown: Box::new(|_| Shown::from(Units::Mm)),
        inbox: None,
        new_code: Box::new(|_, _| {}),
    };
    let listening = Listening::bind(settings).expect("the port");
    std::thread::spawn(move || listening.serve(std::future::pending()));
});

/// A workshop with a job of one trial, as seeds name them.
fn renew() {
    let mut store = fresh("page.db");
    let card = Card::from_toml(card_text()).expect("a card");
    let job = store.new_job(&Default::default(), &card).expect("a job");
    let trial = Default::default();
    let (at, by) = ("2026-05-04T08:00:00Z", "Robin");
    store.add_trial(job, &trial, at, by).expect("a trial");
    let _ = std::fs::remove_dir_all(FOLDER.path().join("page-photos"));
}

/// What comes over a connection to the page.
pub fn page(bytes: &[u8]) {
    static RUNS: AtomicUsize = AtomicUsize::new(1);
    LazyLock::force(&PAGE);
    if RUNS
        .fetch_add(1, Ordering::Relaxed)
        .is_multiple_of(RENEWED_AFTER)
    {
        renew();
    }
    let Ok(mut stream) = TcpStream::connect(("127.0.0.1", PORT)) else {
        return;
    };
    let _ = stream.write_all(bytes);
    let _ = stream.shutdown(Shutdown::Write);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    assert!(!answer.starts_with(b"HTTP/1.1 500"), "the page broke");
}
