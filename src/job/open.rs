//! Opening the workshop's database: first a look that changes nothing, then the file itself.

use super::layout::{self, APPLICATION_ID, NEWEST};
use super::{JobError, Store};
use rusqlite::{Connection, OpenFlags};
use std::fs::Metadata;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// How long one process waits for another.
const PATIENCE: Duration = Duration::from_secs(30);

/// How every database of this kind begins (SQLite file format, 1.3).
const MAGIC: &[u8] = b"SQLite format 3\0";
/// Where the number of the program stands in it (the same).
const ID_AT: usize = 68;
/// How much is looked through for what only a workshop's record holds.
const LOOKED_THROUGH_BYTES: u64 = 1 << 20;
/// What only a workshop's record holds: its tables, its cards.
const OURS: [&[u8]; 2] = [b"CREATE TABLE trial_photo", b"\"ring_teeth\""];

/// What a database is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// Only to be read; a copy that may not be written will do.
    Look,
    /// To record in a workshop that is there.
    Change,
    /// To record the first job of a workshop, which may not be there yet.
    Begin,
}

/// Where the workshop's database is when nothing is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct UsualPlace {
    /// `FLANKREAD_DB`, else a file in the user's data folder.
    pub path: PathBuf,
    /// The variable named it.
    pub named: bool,
}

/// Where the workshop's database is when nothing is said.
pub(crate) fn usual_place() -> UsualPlace {
    let set = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty());
    if let Some(path) = set("FLANKREAD_DB") {
        return UsualPlace {
            path: path.into(),
            named: true,
        };
    }
    let folder = set("XDG_DATA_HOME")
        .or_else(|| set("APPDATA"))
        .map(PathBuf::from)
        .or_else(|| set("HOME").map(|home| Path::new(&home).join(".local/share")))
        .unwrap_or_default();
    UsualPlace {
        path: folder.join("flankread").join("workshop.db"),
        named: false,
    }
}

impl Store {
    /// Opens the database and brings it to the newest layout. Only [`Purpose::Begin`] makes one, and a folder for it only
    /// in the usual place: a name that was mistyped leaves nothing behind.
    ///
    /// # Errors
    /// It is not there, cannot be opened, is no workshop's database, is damaged, or is from the future.
    pub(crate) fn open(path: &Path, purpose: Purpose) -> Result<Self, JobError> {
        keeps(path)?;
        let closed = |detail: String| closed(path, detail);
        match std::fs::metadata(path) {
            Ok(about) if about.len() == 0 && about.is_file() && purpose != Purpose::Begin => {
                return Err(nothing_there(path));
            }
            Ok(about) if about.is_file() => {
                is_ours(path, &about)?;
                if purpose == Purpose::Look && about.permissions().readonly() && !has_log(path) {
                    return as_it_stands(path);
                }
            }
            Ok(_) => return Err(closed("it is no file".into())),
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(closed(error.to_string()));
            }
            Err(_) if purpose != Purpose::Begin => return Err(nothing_there(path)),
            Err(_) => make_folder(path)?,
        }
        match ready(path, purpose) {
            Err(JobError::Closed { .. }) if purpose == Purpose::Look => as_it_stands(path),
            other => other,
        }
    }
}

fn closed(path: &Path, detail: String) -> JobError {
    JobError::Closed {
        path: path.display().to_string(),
        detail,
    }
}

fn nothing_there(path: &Path) -> JobError {
    JobError::NoStore {
        path: path.display().to_string(),
    }
}

/// Names that the database takes for something else than a file, which would be gone at the end of the command.
pub(super) fn keeps(path: &Path) -> Result<(), JobError> {
    let name = path.to_string_lossy();
    if name.is_empty() || name.starts_with(':') || name.starts_with("file:") {
        return Err(JobError::Use(format!(
            "`{name}` is no file that keeps a record; give the path of a file, as --db workshop.db"
        )));
    }
    Ok(())
}

/// The folder of a new database: the usual one is made, one that was named must be there.
fn make_folder(path: &Path) -> Result<(), JobError> {
    let Some(folder) = path.parent().filter(|f| !f.as_os_str().is_empty()) else {
        return Ok(());
    };
    let usual = usual_place();
    if !usual.named && usual.path == path {
        return std::fs::create_dir_all(folder).map_err(|error| closed(path, error.to_string()));
    }
    if folder.is_dir() {
        return Ok(());
    }
    Err(closed(
        path,
        format!(
            "there is no folder {}; make it first if that is its name",
            folder.display()
        ),
    ))
}

/// Whether the file is a workshop's record, or new; nothing of it is changed.
pub(super) fn is_ours(path: &Path, about: &Metadata) -> Result<(), JobError> {
    if about.len() == 0 {
        return Ok(());
    }
    let name = path.display().to_string();
    let mut start = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(LOOKED_THROUGH_BYTES).read_to_end(&mut start))
        .map_err(|error| closed(path, error.to_string()))?;
    let not_whole = || {
        let ours = |mark: &&[u8]| start.windows(mark.len()).any(|window| window == *mark);
        if OURS.iter().any(ours) {
            JobError::Damaged {
                path: name.clone(),
                detail: "its first page cannot be read".into(),
            }
        } else {
            JobError::NotAStore { path: name.clone() }
        }
    };
    let id = start
        .get(ID_AT..ID_AT + 4)
        .and_then(|id| id.try_into().ok())
        .map(u32::from_be_bytes);
    match id {
        Some(id) if start.starts_with(MAGIC) => match i64::from(id) {
            APPLICATION_ID => Ok(()),
            // Its number may still be in the log.
            0 => match numbered(path) {
                Ok(true) => Ok(()),
                Ok(false) => Err(not_whole()),
                Err(error) => match JobError::of(&name, &error) {
                    JobError::Damaged { .. } => Err(not_whole()),
                    // Opening it says what is the matter.
                    _ => Ok(()),
                },
            },
            _ => Err(JobError::NotAStore { path: name }),
        },
        _ => Err(not_whole()),
    }
}

/// Whether a database has our number, or neither a number nor anything in it.
fn numbered(path: &Path) -> rusqlite::Result<bool> {
    let connection = read_only(path, !has_log(path))?;
    let (found, id) = layout::versions(&connection)?;
    Ok(id == APPLICATION_ID || (found == 0 && id == 0 && layout::is_empty(&connection)?))
}

/// Whether commits lie beside the database that are not in it yet.
pub(super) fn has_log(path: &Path) -> bool {
    std::fs::metadata(log_of(path)).is_ok_and(|about| about.len() > 0)
}

pub(super) fn log_of(path: &Path) -> PathBuf {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    log.into()
}

/// A connection that writes nothing; `alone` when nobody else can be writing, so that not even a file of locks is made.
pub(super) fn read_only(path: &Path, alone: bool) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = match path.to_str().filter(|_| alone) {
        Some(text) => {
            // Signs that have a meaning in an address (RFC 3986, 2.1).
            let text = text
                .replace('%', "%25")
                .replace('?', "%3f")
                .replace('#', "%23");
            let address = format!("file:{text}?immutable=1");
            Connection::open_with_flags(address, flags | OpenFlags::SQLITE_OPEN_URI)?
        }
        None => Connection::open_with_flags(path, flags)?,
    };
    connection.busy_timeout(PATIENCE)?;
    Ok(connection)
}

/// The database for reading alone, where it may not be written: a copy on a medium, another user's file.
fn as_it_stands(path: &Path) -> Result<Store, JobError> {
    let name = path.display().to_string();
    let of = |error: rusqlite::Error| JobError::of(&name, &error);
    if has_log(path) {
        return Err(closed(
            path,
            format!(
                "what was recorded last lies beside it in {}; copy both into a folder that can be written",
                log_of(path).display()
            ),
        ));
    }
    let connection = read_only(path, true).map_err(of)?;
    let (found, _) = layout::versions(&connection).map_err(of)?;
    if layout::known(found, &name)? < NEWEST {
        return Err(closed(
            path,
            format!(
                "it has the older layout {found}; copy it into a folder that can be written, where it is brought to layout {NEWEST}"
            ),
        ));
    }
    Ok(Store {
        connection,
        path: name,
    })
}

/// The database for reading and writing, in the newest layout.
fn ready(path: &Path, purpose: Purpose) -> Result<Store, JobError> {
    let name = path.display().to_string();
    let of = |error: rusqlite::Error| JobError::of(&name, &error);
    let mut flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    if purpose == Purpose::Begin {
        flags |= OpenFlags::SQLITE_OPEN_CREATE;
    }
    let mut connection = Connection::open_with_flags(path, flags).map_err(of)?;
    connection.busy_timeout(PATIENCE).map_err(of)?;
    // The change to a write-ahead log asks for the file alone and does not wait by itself.
    let begun = Instant::now();
    while let Err(error) = settings(&connection) {
        let busy = matches!(JobError::of(&name, &error), JobError::Busy { .. });
        if !busy || begun.elapsed() > PATIENCE {
            return Err(of(error));
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    layout::migrate(&mut connection, &name)?;
    Ok(Store {
        connection,
        path: name,
    })
}

/// A write-ahead log lets readers read while one writes; every commit reaches the disk before it returns.
fn settings(connection: &Connection) -> rusqlite::Result<()> {
    connection.pragma_update(None, "journal_mode", "WAL")?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", "ON")
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::job::archive::fresh_uid;
    use crate::schema::Card;
    use crate::schema::record::Head;

    fn workshop(path: &Path) {
        begin_job(&mut Store::open(path, Purpose::Begin).unwrap());
    }

    /// Begins the example's job.
    pub(in crate::job) fn begin_job(store: &mut Store) {
        let head = Head {
            uid: fresh_uid("a"),
            name: "Rear axle".into(),
            ..Head::default()
        };
        let card = Card::from_toml(include_str!("../../examples/larchfield/card.toml")).unwrap();
        store.new_job(&head, &card).unwrap();
    }

    /// What lies in a folder, sorted.
    pub(in crate::job) fn names(folder: &Path) -> Vec<String> {
        let entries = std::fs::read_dir(folder).unwrap();
        let mut names: Vec<String> = entries
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_foreign_database_is_refused_and_stays_bit_for_bit() {
        let folder = tempfile::tempdir().unwrap();
        for (name, sql) in [
            ("plain.sqlite", "CREATE TABLE t (a)"),
            (
                "numbered.sqlite",
                "PRAGMA application_id = 7; CREATE TABLE t (a)",
            ),
            ("layout.sqlite", "PRAGMA user_version = 2"),
        ] {
            let path = folder.path().join(name);
            Connection::open(&path).unwrap().execute_batch(sql).unwrap();
            let before = std::fs::read(&path).unwrap();
            for purpose in [Purpose::Look, Purpose::Change, Purpose::Begin] {
                let error = Store::open(&path, purpose).unwrap_err();
                assert!(matches!(error, JobError::NotAStore { .. }), "{error}");
                assert_eq!(std::fs::read(&path).unwrap(), before, "{name}");
            }
        }
        assert_eq!(
            names(folder.path()),
            ["layout.sqlite", "numbered.sqlite", "plain.sqlite"]
        );
    }

    #[test]
    fn a_mistyped_name_leaves_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("typo/x.db");
        for purpose in [Purpose::Look, Purpose::Change] {
            let error = Store::open(&path, purpose).unwrap_err();
            assert!(matches!(error, JobError::NoStore { .. }), "{error}");
        }
        let error = Store::open(&path, Purpose::Begin).unwrap_err().to_string();
        assert!(error.contains("there is no folder"), "{error}");
        assert!(names(folder.path()).is_empty());
    }

    #[test]
    fn a_name_that_keeps_nothing_is_refused() {
        for name in [":memory:", "file:x?mode=memory", "file::memory:", ""] {
            let error = Store::open(Path::new(name), Purpose::Begin).unwrap_err();
            assert!(error.to_string().contains("no file that keeps"), "{error}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_read_only_copy_is_looked_at_and_gets_no_neighbours() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let (path, copy) = (folder.path().join("w.db"), folder.path().join("c #1?.db"));
        workshop(&path);
        std::fs::copy(&path, &copy).unwrap();
        std::fs::set_permissions(&copy, std::fs::Permissions::from_mode(0o444)).unwrap();
        let store = Store::open(&copy, Purpose::Look).unwrap();
        assert_eq!(store.jobs().unwrap().len(), 1);
        assert_eq!(names(folder.path()), ["c #1?.db", "w.db"]);
    }

    #[test]
    fn a_damaged_first_page_is_called_damaged() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("w.db");
        workshop(&path);
        let whole = std::fs::read(&path).unwrap();
        for (from, to) in [(0, 16), (0, 100), (0, 4096), (16, 24), (64, 80), (100, 200)] {
            let mut damaged = whole.clone();
            damaged[from..to].fill(0);
            std::fs::write(&path, &damaged).unwrap();
            for purpose in [Purpose::Look, Purpose::Begin] {
                let error = Store::open(&path, purpose).and_then(|store| store.jobs());
                let error = error.unwrap_err();
                let named = matches!(error, JobError::Damaged { .. });
                assert!(named, "{from} to {to}: {error}");
            }
        }
        std::fs::write(&path, b"notes of my own, no database").unwrap();
        let error = Store::open(&path, Purpose::Look).unwrap_err();
        assert!(matches!(error, JobError::NotAStore { .. }), "{error}");
    }
}
