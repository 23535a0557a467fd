//! Writing results: whole or not at all, and never over another file without being asked.

use crate::{Error, Result};
use std::collections::HashSet;
use std::io::{self, BufWriter, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{LazyLock, Mutex};
use std::time::{Duration, SystemTime};

/// How temporary names begin.
const TEMPORARY: &str = ".flankread-part-";

/// A temporary file younger than this may be one whose writer has not locked it yet.
const SURELY_LOCKED: Duration = Duration::from_secs(5);

/// Files to be written into one folder, all checked before the first is written.
#[derive(Debug)]
pub(crate) struct Folder<'a> {
    path: &'a Path,
    force: bool,
}

impl<'a> Folder<'a> {
    /// A folder to write into; `force` allows overwriting.
    pub(crate) const fn new(path: &'a Path, force: bool) -> Self {
        Self { path, force }
    }

    /// Refuses names that are taken, unless overwriting is allowed.
    ///
    /// # Errors
    /// Names the first file that is in the way.
    pub(crate) fn check(&self, names: &[String]) -> Result<()> {
        if self.path.exists() && !self.path.is_dir() {
            return Err(Error::usage(format!(
                "{} is a file; --out takes a folder",
                self.path.display()
            )));
        }
        for name in names {
            free(&self.path.join(name), self.force)?;
        }
        Ok(())
    }

    /// Writes one file and says where it is.
    ///
    /// # Errors
    /// The folder cannot be made or the file not written.
    pub(crate) fn write(&self, name: &str, bytes: &[u8]) -> Result<PathBuf> {
        let path = self.path.join(name);
        std::fs::create_dir_all(self.path).map_err(|source| Error::machine(&path, source))?;
        write(&path, bytes, self.force)?;
        Ok(path)
    }
}

/// Writes `bytes` to a temporary file beside `path` and gives it that name.
///
/// # Errors
/// The file exists and `force` is not given; the folder cannot be written.
pub(crate) fn write(path: &Path, bytes: &[u8], force: bool) -> Result<()> {
    write_with(path, force, |file| {
        file.write_all(bytes)
            .map_err(|source| Error::machine(path, source))
    })
}

/// As [`write()`], for what is too long to be held in memory: `put` writes it piece by piece.
///
/// # Errors
/// As [`write()`], and whatever `put` met.
pub(crate) fn write_with(
    path: &Path,
    force: bool,
    put: impl FnOnce(&mut dyn std::io::Write) -> Result<()>,
) -> Result<()> {
    whole(path, force, |file| {
        let mut buffer = BufWriter::new(file);
        put(&mut buffer)?;
        buffer
            .flush()
            .map_err(|source| Error::machine(path, source))
    })
}

/// As [`write()`], for what is written by those who open files themselves: `put` fills the file of the name that it is given.
///
/// # Errors
/// As [`write()`], and whatever `put` met.
pub(crate) fn write_at<T>(
    path: &Path,
    force: bool,
    put: impl FnOnce(&Path) -> Result<T>,
) -> Result<T> {
    whole(path, force, |file| put(file.path()))
}

/// A temporary file that gets its name when it has been filled.
fn whole<T>(
    path: &Path,
    force: bool,
    fill: impl FnOnce(&mut tempfile::NamedTempFile) -> Result<T>,
) -> Result<T> {
    free(path, force)?;
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let failed = |source| Error::machine(path, source);
    clear_once(folder);
    let mut file = tempfile::Builder::new()
        .prefix(TEMPORARY)
        .tempfile_in(folder)
        .map_err(failed)?;
    // It tells others that somebody is writing; where files cannot be locked nobody clears any.
    let _ = file.as_file().try_lock();
    let filled = fill(&mut file)?;
    make_readable(file.path()).map_err(failed)?;
    if force {
        file.persist(path).map_err(|e| failed(e.error))?;
    } else {
        file.persist_noclobber(path)
            .map_err(|e| match e.error.kind() {
                std::io::ErrorKind::AlreadyExists => taken(path),
                _ => failed(e.error),
            })?;
    }
    Ok(filled)
}

/// What parts the columns of a table, by its head line: spreadsheets of countries with a decimal comma write semicolons.
pub(crate) fn csv_delimiter(table: &[u8]) -> u8 {
    let head = table.split(|byte| *byte == b'\n').next().unwrap_or(table);
    let count = |sign| head.iter().filter(|byte| **byte == sign).count();
    if count(b';') > count(b',') {
        b';'
    } else {
        b','
    }
}

/// Removes what writers that were killed left behind in a folder of ours: files under a temporary
/// name. The folder must not be written to by others at the same time.
///
/// # Errors
/// The folder cannot be looked through, or a file not removed.
pub(crate) fn sweep(folder: &Path) -> Result<()> {
    let failed = |source| Error::machine(folder, source);
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let is_ours = entry.file_name().to_string_lossy().starts_with(TEMPORARY);
        if is_ours && entry.file_type().map_err(failed)?.is_file() {
            std::fs::remove_file(entry.path()).map_err(failed)?;
        }
    }
    Ok(())
}

/// Removes the files of a folder of ours whose names are ours and not among those kept.
///
/// # Errors
/// The folder cannot be looked through, or a file not removed.
pub(crate) fn clear_but(
    folder: &Path,
    kept: &HashSet<String>,
    is_ours: impl Fn(&str) -> bool,
) -> Result<()> {
    let failed = |source| Error::machine(folder, source);
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if is_ours(&name) && !kept.contains(name.as_ref()) {
            std::fs::remove_file(entry.path()).map_err(failed)?;
        }
    }
    Ok(())
}

/// Removes what writers that were killed left in a folder that others may write into: temporary files that nobody
/// holds. Once a process and folder, for a folder may be full of files; what stands in the way is left for another time.
fn clear_once(folder: &Path) {
    static CLEARED: LazyLock<Mutex<HashSet<PathBuf>>> = LazyLock::new(Mutex::default);
    let is_new = CLEARED
        .lock()
        .is_ok_and(|mut cleared| cleared.insert(folder.to_owned()));
    if is_new {
        clear(folder);
    }
}

fn clear(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let is_part = entry.file_name().to_string_lossy().starts_with(TEMPORARY)
            && entry.file_type().is_ok_and(|kind| kind.is_file());
        if is_part && is_left_behind(&entry.path()).unwrap_or(false) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Whether nobody writes a temporary file any more.
fn is_left_behind(path: &Path) -> io::Result<bool> {
    let file = std::fs::File::open(path)?;
    let changed = file.metadata()?.modified()?;
    let age = SystemTime::now().duration_since(changed);
    Ok(age.is_ok_and(|age| age > SURELY_LOCKED) && file.try_lock().is_ok())
}

fn taken(path: &Path) -> Error {
    Error::usage(format!(
        "{} is there already; choose another name or overwrite with --force",
        path.display()
    ))
}

fn free(path: &Path, force: bool) -> Result<()> {
    if !force && path.exists() {
        return Err(taken(path));
    }
    Ok(())
}

/// Temporary files are made for their owner alone; results are for everybody.
#[cfg(unix)]
fn make_readable(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn make_readable(_path: &Path) -> std::io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_overwritten_unasked() {
        let folder = tempfile::tempdir().unwrap();
        let names = ["a.txt".to_owned()];
        let out = Folder::new(folder.path(), false);
        out.check(&names).unwrap();
        out.write("a.txt", b"one").unwrap();
        let message = out.check(&names).unwrap_err().to_string();
        assert!(message.contains("--force"), "{message}");
        assert!(out.write("a.txt", b"two").is_err());
        assert_eq!(std::fs::read(folder.path().join("a.txt")).unwrap(), b"one");
        let forced = Folder::new(folder.path(), true);
        forced.check(&names).unwrap();
        forced.write("a.txt", b"two").unwrap();
        assert_eq!(std::fs::read(folder.path().join("a.txt")).unwrap(), b"two");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn what_a_killed_writer_left_is_cleared_and_what_is_being_written_stays() {
        let folder = tempfile::tempdir().unwrap();
        let part = |name: &str, old: bool| {
            let path = folder.path().join(format!("{TEMPORARY}{name}"));
            let file = std::fs::File::create(&path).unwrap();
            if old {
                let hour_ago = SystemTime::now() - Duration::from_secs(3600);
                file.set_modified(hour_ago).unwrap();
            }
            (path, file)
        };
        let (left, _) = part("left", true);
        let (held, holder) = part("held", true);
        holder.lock().unwrap();
        let (young, _) = part("young", false);
        let mine = folder.path().join("part.txt");
        std::fs::write(&mine, b"mine").unwrap();
        write(&folder.path().join("a.txt"), b"one", false).unwrap();
        assert!(!left.exists());
        assert!(held.exists() && young.exists() && mine.exists());
    }
}
