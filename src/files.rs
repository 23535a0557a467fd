//! Files: read within a size, written whole or not at all.

#[cfg(feature = "cli")]
mod written;

#[cfg(feature = "cli")]
pub(crate) use written::{Folder, clear_but, csv_delimiter, sweep, write, write_at, write_with};

use std::io::{self, Read as _};
use std::path::Path;

/// Most bytes of a file of text that a person writes: a card, a trial, settings.
pub(crate) const MOST_TEXT_BYTES: u64 = 1 << 20;

/// A file that was named as input, if it is a regular one of at most `most_bytes`: a device may never end, and opening
/// a pipe would wait for ever.
///
/// # Errors
/// It cannot be read, is something else, or is longer.
pub(crate) fn read(path: &Path, most_bytes: u64) -> io::Result<Vec<u8>> {
    let about = std::fs::metadata(path)?;
    if about.is_dir() {
        return Err(io::Error::other("it is a folder"));
    }
    if !about.is_file() {
        return Err(io::Error::other(
            "it is a pipe, a socket or a device, not a file",
        ));
    }
    let mut bytes = Vec::new();
    // What a system calls regular may still grow, or say that it is empty and never end.
    std::fs::File::open(path)?
        .take(most_bytes + 1)
        .read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most_bytes {
        return Err(io::Error::other(format!(
            "it has more than {}, which no such file needs",
            size(most_bytes)
        )));
    }
    Ok(bytes)
}

/// As [`read()`], of text.
///
/// # Errors
/// As [`read()`], and bytes that are no text.
pub(crate) fn read_text(path: &Path, most_bytes: u64) -> io::Result<String> {
    String::from_utf8(read(path, most_bytes)?)
        .map_err(|_| io::Error::new(io::ErrorKind::InvalidData, "it is no text (UTF-8)"))
}

fn size(bytes: u64) -> String {
    if bytes < 10_000_000 {
        format!("{} kB", bytes / 1000)
    } else {
        format!("{} MB", bytes / 1_000_000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_regular_files_within_their_size_are_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.txt");
        std::fs::write(&path, [7; 100]).unwrap();
        assert_eq!(read(&path, 100).unwrap(), [7; 100]);
        let refused = |path: &Path, most| read(path, most).unwrap_err().to_string();
        assert!(refused(&path, 99).contains("more than"));
        assert!(refused(folder.path(), 99).contains("folder"));
        #[cfg(unix)]
        for device in ["/dev/zero", "/dev/null"] {
            assert!(refused(Path::new(device), 99).contains("device"));
        }
    }
}
