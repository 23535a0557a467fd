//! A folder that holds one set: `card.toml`, a photo of each flank, and `trial.json` with what was measured.

use crate::files::{MOST_TEXT_BYTES, read_text};
use crate::frames::Side;
use crate::schema::Trial;
use crate::units::possible;
use crate::{Error, Result};
use std::path::{Path, PathBuf};

/// Endings of photos, small letters.
const ENDINGS: [&str; 8] = ["jpg", "jpeg", "png", "webp", "tif", "tiff", "heic", "heif"];

/// What a folder says of a set.
pub(super) struct SetFolder {
    /// The card, if there is one.
    pub card: Option<PathBuf>,
    /// The photos named after their flank, drive first.
    pub photos: Vec<(PathBuf, Side)>,
    /// Shims and backlash; nothing without `trial.json`.
    pub measured: Trial,
}

impl SetFolder {
    /// Looks into a folder.
    ///
    /// # Errors
    /// The folder or its `trial.json` cannot be read; no photo is named after a flank.
    pub(super) fn look(folder: &Path) -> Result<Self> {
        let entries = std::fs::read_dir(folder).map_err(|source| Error::input(folder, source))?;
        let mut names: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
        names.sort();
        let is = |path: &Path, word: &str| {
            let part = |part: Option<&std::ffi::OsStr>| {
                part.map(|part| part.to_string_lossy().to_lowercase())
            };
            part(path.file_stem()).as_deref() == Some(word)
                && part(path.extension()).is_some_and(|ending| ENDINGS.contains(&ending.as_str()))
        };
        let photos: Vec<(PathBuf, Side)> = Side::BOTH
            .into_iter()
            .flat_map(|side| {
                let of_side = names.iter().filter(move |path| is(path, side.word()));
                of_side.map(move |path| (path.clone(), side))
            })
            .collect();
        if photos.is_empty() {
            return Err(Error::usage(format!(
                "{} is a folder without a photo named drive or coast (drive.jpg, coast.heic): name them so, give the photos themselves, or read the whole folder with `flankread batch`",
                folder.display()
            )));
        }
        let card = folder.join("card.toml");
        Ok(Self {
            card: card.is_file().then_some(card),
            photos,
            measured: measured(&folder.join("trial.json"))?,
        })
    }
}

/// The numbers of `trial.json`, keys as in a trial of a job.
fn measured(path: &Path) -> Result<Trial> {
    if !path.is_file() {
        return Ok(Trial::default());
    }
    let text = read_text(path, MOST_TEXT_BYTES).map_err(|source| Error::input(path, source))?;
    let bad = |error: &dyn std::fmt::Display| {
        Error::usage(format!("{} is no trial: {error}", path.display()))
    };
    let written: serde_json::Value = serde_json::from_str(&text).map_err(|error| bad(&error))?;
    possible(&written).map_err(|error| bad(&error))?;
    let trial: Trial = serde_json::from_value(written).map_err(|error| bad(&error))?;
    match trial.other.keys().next() {
        Some(key) => Err(Error::usage(format!(
            "{}: a trial has no `{key}`; shims are `pinion_shim_mm`, `ring_side_shim_mm`, `far_side_shim_mm`, backlash is `backlash_mm`",
            path.display()
        ))),
        None => Ok(trial),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_says_card_photos_and_numbers() {
        let folder = tempfile::tempdir().unwrap();
        let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
        assert!(SetFolder::look(folder.path()).is_err());
        for name in ["Coast.HEIC", "drive.jpg", "drive.json", "other.jpg"] {
            put(name, "");
        }
        let bare = SetFolder::look(folder.path()).unwrap();
        let sides: Vec<Side> = bare.photos.iter().map(|(_, side)| *side).collect();
        assert_eq!(sides, Side::BOTH);
        assert!(bare.card.is_none() && bare.measured == Trial::default());
        put("card.toml", "");
        put(
            "trial.json",
            r#"{"pinion_shim_mm": 0.762, "backlash_mm": 0.28}"#,
        );
        let full = SetFolder::look(folder.path()).unwrap();
        assert!(full.card.is_some());
        assert_eq!(full.measured.backlash_mm, [0.28]);
        put("trial.json", r#"{"pinion_shim": 0.762}"#);
        let error = SetFolder::look(folder.path()).err().unwrap().to_string();
        assert!(error.contains("`pinion_shim_mm`"), "{error}");
    }
}
