//! A trial on its way into the record, with the photos as the camera wrote them.

use crate::schema::record::{Bench, Shows};
use crate::schema::{Reading, Trial};
use crate::units::{ImpossibleNumber, possible_numbers};
use sha2::{Digest as _, Sha256};

/// A photo to be kept with a trial.
#[derive(Debug, Clone)]
pub(crate) struct NewPhoto {
    /// The file's name, without its folder.
    pub name: String,
    /// The file as it is.
    pub bytes: Vec<u8>,
    /// SHA-256 of the file as the camera wrote it; of `bytes` unless it comes out of an archive.
    pub original_sha256: Option<String>,
    /// What it shows.
    pub shows: Shows,
    /// What was read in it.
    pub reading: Option<Reading>,
    /// The photo with its reading drawn on it, for sheets; JPEG.
    pub picture: Option<Vec<u8>>,
}

/// A trial to be recorded.
#[derive(Debug, Clone, Default)]
pub(crate) struct NewTrial {
    /// Shims, backlash, readings.
    pub trial: Trial,
    /// What else was measured.
    pub bench: Bench,
    /// Photos.
    pub photos: Vec<NewPhoto>,
}

impl NewTrial {
    /// Whether every number in it can be, and can be stored.
    ///
    /// # Errors
    /// The first that cannot be.
    pub(crate) fn possible(&self) -> Result<(), ImpossibleNumber> {
        let known = Trial {
            other: serde_json::Map::new(),
            ..self.trial.clone()
        };
        possible_numbers(&known)?;
        // What was put right may have been nothing before.
        let bench = Bench {
            amended: Vec::new(),
            ..self.bench.clone()
        };
        possible_numbers(&bench)
    }
}

/// SHA-256 of bytes, lower-case hexadecimal.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    format!("{:x}", Sha256::digest(bytes))
}
