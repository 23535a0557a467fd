//! Files that are written whole or not at all, and never over another one without being asked.

use crate::{Error, Result};
use std::io::Write;
use std::path::Path;

/// Writes `bytes` to a temporary file beside `path` and gives it that name.
///
/// # Errors
/// The file exists and `overwrite` is not given; the folder cannot be written.
pub fn write(path: &Path, bytes: &[u8], overwrite: bool) -> Result<()> {
    let exists = || {
        Error::Usage(format!(
            "{} exists; add --force to overwrite it, or choose another name",
            path.display()
        ))
    };
    if !overwrite && path.exists() {
        return Err(exists());
    }
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let failed = |source| Error::machine(path, source);
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
    file.write_all(bytes).map_err(failed)?;
    if overwrite {
        file.persist(path).map_err(|e| failed(e.error))?;
    } else {
        file.persist_noclobber(path)
            .map_err(|e| match e.error.kind() {
                std::io::ErrorKind::AlreadyExists => exists(),
                _ => failed(e.error),
            })?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_overwritten_without_being_asked() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("plot.svg");
        write(&path, b"one", false).unwrap();
        let error = write(&path, b"two", false).unwrap_err().to_string();
        assert!(error.contains("--force"), "{error}");
        assert_eq!(std::fs::read(&path).unwrap(), b"one");
        write(&path, b"two", true).unwrap();
        assert_eq!(std::fs::read(&path).unwrap(), b"two");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
    }
}
