//! A folder's tree → the photos in it, and what stands in the way.

use super::BatchError;
use super::shown::shown;
use ignore::overrides::OverrideBuilder;
use ignore::{DirEntry, WalkBuilder};
use serde::Serialize;
use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

/// Endings of files that are taken for photos. Those after `heif` are kinds that are not read: who
/// sends one should be told so.
const ENDINGS: [&str; 13] = [
    "jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif", "avif", "bmp", "gif", "jxl", "dng",
];

/// The file that marks a folder as the results of a batch. None of what a batch writes is taken for a photo, so that photos
/// of a customer that lie in such a folder are.
pub(crate) const STORE_NAME: &str = "flankread-store.jsonl";

/// How to walk.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct WalkRules {
    /// Patterns of files to take; those that start with `!` are left out. None takes all.
    pub globs: Vec<String>,
    /// Take hidden files and folders.
    pub hidden: bool,
    /// Mind no `.ignore` and `.gitignore` files.
    pub no_ignore: bool,
    /// Go into folders behind symbolic links.
    pub follow: bool,
}

/// Something on the way that could not be used.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, schemars::JsonSchema)]
pub(crate) struct Trouble {
    /// What it is about.
    pub path: String,
    /// What is wrong and what to do.
    pub message: String,
}

/// What was found.
#[derive(Debug, Default)]
pub(crate) struct Walked {
    /// The photos, sorted by the bytes of their paths.
    pub photos: Vec<PathBuf>,
    /// Folders and links that could not be used.
    pub troubles: Vec<Trouble>,
    /// Folders behind symbolic links that were not gone into.
    pub links: usize,
}

/// Walks the tree under `folder`.
///
/// # Errors
/// `folder` is none, or a pattern is none. Anything broken further down is a [`Trouble`].
pub(crate) fn walk(folder: &Path, rules: &WalkRules) -> Result<Walked, BatchError> {
    let about = std::fs::metadata(folder).map_err(|source| BatchError::Folder {
        path: shown(folder),
        source,
    })?;
    if !about.is_dir() {
        return Err(BatchError::NoFolder {
            path: shown(folder),
        });
    }
    let mut globs = OverrideBuilder::new(folder);
    for glob in &rules.globs {
        globs.add(glob).map_err(|error| BatchError::Glob {
            glob: glob.clone(),
            detail: error.to_string(),
        })?;
    }
    let globs = globs.build().map_err(|error| BatchError::Glob {
        glob: rules.globs.join(" "),
        detail: error.to_string(),
    })?;
    let walker = WalkBuilder::new(folder)
        .standard_filters(!rules.no_ignore)
        .hidden(!rules.hidden)
        .follow_links(rules.follow)
        .overrides(globs)
        .build();
    let mut walked = Walked::default();
    for entry in walker {
        match entry {
            Ok(entry) => take(&entry, &mut walked),
            Err(error) => walked.troubles.push(trouble(&error, folder)),
        }
    }
    walked.photos.sort_unstable();
    walked.troubles.sort_unstable();
    Ok(walked)
}

fn take(entry: &DirEntry, walked: &mut Walked) {
    // The walker says so of an ignore file that it could not use; the walk itself goes on.
    if let Some(error) = entry.error() {
        walked.troubles.push(trouble(error, entry.path()));
    }
    let Some(kind) = entry.file_type() else {
        return;
    };
    if kind.is_dir() {
        return;
    }
    let path = entry.path();
    if kind.is_symlink() {
        match std::fs::metadata(path) {
            Ok(about) if about.is_dir() => walked.links += 1,
            Ok(about) if about.is_file() && is_photo(path) => walked.photos.push(path.into()),
            Ok(_) => {}
            Err(error) if has_photo_ending(path) => walked.troubles.push(Trouble {
                path: shown(path),
                message: dead_link(&error),
            }),
            Err(_) => {}
        }
    } else if kind.is_file() {
        if is_photo(path) {
            walked.photos.push(path.into());
        }
    } else if has_photo_ending(path) {
        walked.troubles.push(Trouble {
            path: shown(path),
            message: "This is a pipe, a socket or a device, not a photo.".into(),
        });
    }
}

fn dead_link(error: &std::io::Error) -> String {
    let why = match error.kind() {
        std::io::ErrorKind::NotFound => "what it names is not there".to_owned(),
        _ => error.to_string(),
    };
    format!("This link leads nowhere ({why}): copy the photo here instead.")
}

pub(super) fn has_photo_ending(path: &Path) -> bool {
    path.extension().is_some_and(|ending| {
        ENDINGS
            .iter()
            .any(|known| ending.eq_ignore_ascii_case(known))
    })
}

/// By its ending; a file without one, as messengers write them, by its first bytes.
fn is_photo(path: &Path) -> bool {
    if path.extension().is_some() {
        return has_photo_ending(path);
    }
    let mut first = [0; 16];
    let Ok(count) = File::open(path).and_then(|mut file| file.read(&mut first)) else {
        return false;
    };
    let first = &first[..count];
    image::guess_format(first).is_ok() || first.get(4..8) == Some(b"ftyp")
}

fn trouble(error: &ignore::Error, near: &Path) -> Trouble {
    let mut inner = error;
    let mut path = None;
    loop {
        match inner {
            ignore::Error::WithPath { path: at, err } => {
                path = Some(at.clone());
                inner = err;
            }
            ignore::Error::WithDepth { err, .. } | ignore::Error::WithLineNumber { err, .. } => {
                inner = err;
            }
            ignore::Error::Loop { ancestor, child } => {
                return Trouble {
                    path: shown(child),
                    message: format!(
                        "This link leads back to {}; it was not gone into again.",
                        shown(ancestor)
                    ),
                };
            }
            ignore::Error::Io(source) => {
                let path = path.unwrap_or_else(|| near.to_owned());
                let is_link = path.is_symlink();
                return Trouble {
                    message: match source.kind() {
                        std::io::ErrorKind::PermissionDenied => "This may not be looked into; what lies in it was not read. Ask its owner for the right to read it.".into(),
                        _ if is_link => dead_link(source),
                        _ => format!("This cannot be looked into: {source}"),
                    },
                    path: shown(&path),
                };
            }
            other => {
                return Trouble {
                    path: shown(&path.unwrap_or_else(|| near.to_owned())),
                    message: other.to_string(),
                };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn touch(path: &Path, bytes: &[u8]) {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }

    fn names(folder: &Path, rules: &WalkRules) -> Vec<String> {
        let walked = walk(folder, rules).unwrap();
        let inside = |path: &PathBuf| shown(path.strip_prefix(folder).unwrap());
        walked.photos.iter().map(inside).collect()
    }

    #[test]
    fn photos_are_known_by_ending_or_by_first_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        touch(&at("b/two.JPG"), b"");
        touch(&at("a one.png"), b"");
        touch(&at("b/notes.txt"), b"\xff\xd8\xff\xe0");
        touch(&at("messenger"), b"\xff\xd8\xff\xe0\0\x10JFIF\0\0\0\0\0");
        touch(&at("plain"), b"hello");
        touch(&at(".hidden.jpg"), b"");
        touch(&at("done").join(STORE_NAME), b"");
        touch(&at("done/customer.jpg"), b"");
        for ours in [
            "sheet.html",
            "readings.csv",
            "readings/0a.svg",
            "readings/0a.html",
        ] {
            touch(&at("done").join(ours), b"");
        }
        let rules = WalkRules::default();
        assert_eq!(
            names(folder.path(), &rules),
            ["a one.png", "b/two.JPG", "done/customer.jpg", "messenger"]
        );
        let hidden = WalkRules {
            hidden: true,
            ..rules.clone()
        };
        assert!(names(folder.path(), &hidden).contains(&".hidden.jpg".to_owned()));
        let some = WalkRules {
            globs: vec!["*.JPG".into(), "*.png".into(), "!a*".into()],
            ..rules
        };
        assert_eq!(names(folder.path(), &some), ["b/two.JPG"]);
    }

    #[test]
    fn ignore_files_count_unless_told_otherwise() {
        let folder = tempfile::tempdir().unwrap();
        touch(&folder.path().join(".ignore"), b"old/\n");
        touch(&folder.path().join("old/a.jpg"), b"");
        assert!(names(folder.path(), &WalkRules::default()).is_empty());
        let all = WalkRules {
            no_ignore: true,
            ..WalkRules::default()
        };
        assert_eq!(names(folder.path(), &all), ["old/a.jpg"]);
    }

    #[cfg(unix)]
    #[test]
    fn loops_and_dead_links_are_named_and_do_no_harm() {
        use std::os::unix::fs::symlink;
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        touch(&at("sub/a.jpg"), b"");
        symlink("..", at("sub/up")).unwrap();
        symlink("nowhere.jpg", at("dead.jpg")).unwrap();
        symlink("self.jpg", at("self.jpg")).unwrap();
        symlink("sub/a.jpg", at("link.jpg")).unwrap();
        let plain = walk(folder.path(), &WalkRules::default()).unwrap();
        assert_eq!((plain.photos.len(), plain.links), (2, 1));
        assert_eq!(plain.troubles.len(), 2, "{:?}", plain.troubles);
        let rules = WalkRules {
            follow: true,
            ..WalkRules::default()
        };
        let followed = walk(folder.path(), &rules).unwrap();
        assert_eq!(followed.photos.len(), 2);
        let told: Vec<&str> = followed
            .troubles
            .iter()
            .filter(|trouble| trouble.path.ends_with("sub/up"))
            .map(|trouble| trouble.message.as_str())
            .collect();
        assert!(told[0].contains("leads back to"), "{told:?}");
        assert_eq!(followed.troubles.len(), 3, "{:?}", followed.troubles);
    }

    #[test]
    fn a_file_is_no_folder_and_a_bad_pattern_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("a.jpg");
        touch(&file, b"");
        let error = walk(&file, &WalkRules::default()).unwrap_err().to_string();
        assert!(error.contains("a.jpg is a file"), "{error}");
        let rules = WalkRules {
            globs: vec!["[".into()],
            ..WalkRules::default()
        };
        let error = walk(folder.path(), &rules).unwrap_err().to_string();
        assert!(error.contains("--glob ["), "{error}");
    }
}
