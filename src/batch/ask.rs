//! One photo and what is said about it → its reading, whatever the file holds.

use crate::files;
use crate::flank::KnownGear;
use crate::flank::find::{FindHints, ToeEnd};
use crate::flank::marks::{self, Marks};
use crate::frames::Side;
use crate::photo::{self, Limits, Photo, PhotoError};
use crate::reading::{OutlinedReading, ReadOptions, read_photo};
use crate::schema::{FlankForm, Hand, PhotoFacts, Polarity, Reading, Reason, ReasonCode};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

/// What is said about a photo before it is looked at.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct PhotoSettings {
    /// Which flank; goes before marks and file name.
    pub flank: Option<Side>,
    /// Which flank the file's name speaks of; marks go before it.
    pub named: Option<Side>,
    /// Which end is the toe.
    pub toe: Option<ToeEnd>,
    /// How contact shows.
    pub polarity: Option<Polarity>,
    /// Which form drives; convex when nothing is said.
    pub drives_on: Option<FlankForm>,
    /// Hand of the ring gear, if a card says it.
    pub hand: Option<Hand>,
    /// The ring gear's sizes, as far as a card says them.
    pub gear: KnownGear,
    /// The photo is mirrored.
    pub mirrored: bool,
    /// Where the marks are; `None` looks beside the photo.
    pub marks: Option<MarksFrom>,
}

/// Where the marks of a photo come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum MarksFrom {
    /// A file.
    File(PathBuf),
    /// JSON text.
    Text(String),
}

/// What kept a photo from being read as it was asked, beside what its reading says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
pub(crate) struct Problem {
    /// Which kind.
    pub kind: ProblemKind,
    /// What is wrong and what to do.
    pub message: String,
}

/// The kinds of problems.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum ProblemKind {
    /// The file could not be opened as a photo.
    Photo,
    /// The marks cannot be used.
    Marks,
    /// The program itself broke on this photo.
    Program,
}

/// A photo's file, hashed, with the marks that belong to it: everything its reading depends on.
#[derive(Debug)]
pub(crate) struct PhotoRequest<'a> {
    path: &'a Path,
    said: &'a PhotoSettings,
    marks: Result<Option<String>, Problem>,
    /// The file's bytes, where they were read for their hash.
    bytes: Option<Vec<u8>>,
    /// Which photo of a collage is meant.
    part: Option<(u32, u32)>,
    /// SHA-256 of the file's bytes, hexadecimal; empty when it could not be read.
    pub sha256: String,
}

/// What became of a photo.
#[derive(Debug)]
pub(crate) struct Answer {
    /// The reading; of a photo that could not be opened, `unreadable`.
    pub read: OutlinedReading,
    /// The photo, when it was opened and read.
    pub photo: Option<Photo>,
    /// How many photos the file holds, where it is a collage.
    pub parts: u32,
    /// What went wrong beside the reading.
    pub problem: Option<Problem>,
    /// Whether the same bytes would give the same answer again. A missing permission may be
    /// mended without any byte changing.
    pub lasting: bool,
}

impl Answer {
    /// Whether the file ended too early.
    pub(super) fn is_cut_short(&self) -> bool {
        let mut reasons = self.read.reading.reasons.iter();
        self.photo.is_none() && reasons.any(|reason| reason.code == ReasonCode::Damaged)
    }

    /// Says that the rest of the file may still come; the same bytes are then looked at again.
    pub(super) fn may_be_on_its_way(&mut self) {
        const REST: &str = " If it is still being copied, run this again once it has arrived.";
        let reasons = self.read.reading.reasons.iter_mut();
        let messages = reasons.map(|reason| &mut reason.message);
        for message in messages.chain(self.problem.as_mut().map(|problem| &mut problem.message)) {
            message.push_str(REST);
        }
        self.lasting = false;
    }
}

impl<'a> PhotoRequest<'a> {
    /// Hashes the file and fetches its marks. Nothing here fails: what is wrong is said by
    /// [`PhotoRequest::answer`].
    pub(crate) fn new(path: &'a Path, said: &'a PhotoSettings) -> Self {
        let bytes = photo::read_bytes(path, Limits::default()).ok();
        let sha256 = bytes
            .as_ref()
            .map(|bytes| format!("{:x}", Sha256::digest(bytes)));
        Self {
            bytes,
            ..Self::hashed(path, said, sha256.unwrap_or_default())
        }
    }

    /// The same for one photo of a collage: its number, and how many there are.
    pub(crate) fn of_part(self, part: Option<(u32, u32)>) -> Self {
        Self { part, ..self }
    }

    /// As [`PhotoRequest::new`] for a file whose SHA-256 is known.
    pub(crate) fn hashed(path: &'a Path, said: &'a PhotoSettings, sha256: String) -> Self {
        let marks = match &said.marks {
            Some(MarksFrom::Text(text)) => Ok(Some(text.clone())),
            Some(MarksFrom::File(file)) => marks_text(file).map(Some),
            None => marks::beside(path)
                .map(|file| marks_text(&file))
                .transpose(),
        };
        Self {
            path,
            said,
            marks,
            sha256,
            bytes: None,
            part: None,
        }
    }

    /// The photo is read as this name tells: the same for the same bytes, the same words about
    /// them, and the same program. `None` when the file could not be hashed.
    pub(crate) fn key(&self) -> Option<String> {
        let marks = match &self.marks {
            Ok(text) => text.as_deref().unwrap_or_default(),
            Err(_) => return None,
        };
        if self.sha256.is_empty() {
            return None;
        }
        let said = self.said;
        let mut text = format!(
            "{}\n{}\n{:?}\n",
            super::READING_REVISION,
            self.sha256,
            self.part
        );
        // Writing to a string cannot fail. The marks come last, so that no text in them can pass
        // for another field.
        let _ = write!(
            text,
            "{:?}\n{:?}\n{:?}\n{:?}\n{:?}\n{:?}\n{:?}\n{:?}\n{marks}",
            said.flank,
            said.named,
            said.toe,
            said.polarity,
            said.drives_on,
            said.hand,
            said.gear,
            said.mirrored
        );
        Some(format!("{:x}", Sha256::digest(text.as_bytes())))
    }

    /// About how much memory opening the photo takes, bytes; from its header alone.
    pub(crate) fn memory_bytes(&self) -> u64 {
        // A decoder holds the picture once or twice, the shrunk copy and its maps are the rest.
        const A_PIXEL: u64 = 6;
        const THE_REST: u64 = 100_000_000;
        let pixels = (self.bytes.as_ref())
            .map(|bytes| image::ImageReader::new(std::io::Cursor::new(bytes)))
            .and_then(|reader| reader.with_guessed_format().ok())
            .and_then(|reader| reader.into_dimensions().ok())
            .map_or(50_000_000, |(width, height)| {
                u64::from(width) * u64::from(height)
            });
        pixels.min(Limits::default().pixels) * A_PIXEL + THE_REST
    }

    /// Reads the photo. `shown` is the path that the reading gives.
    pub(crate) fn answer(mut self, shown: &str) -> Answer {
        let bytes = self.bytes.take();
        // A decoder that breaks on a strange file must not take the other photos with it.
        let attempt = catch_unwind(AssertUnwindSafe(|| self.attempt(bytes, shown)));
        attempt.unwrap_or_else(|_| {
            self.failed(
                shown,
                Problem {
                    kind: ProblemKind::Program,
                    message:
                        "The program broke off on this photo. That is a fault of the program: \
                              keep the photo, and save it again as a JPEG to have it read."
                            .into(),
                },
                Vec::new(),
                true,
            )
        })
    }

    /// The photo, of the bytes that were hashed if they are at hand.
    fn open(&self, bytes: Option<Vec<u8>>) -> Result<Photo, PhotoError> {
        let photo = match bytes {
            Some(bytes) => {
                let name = self.path.display().to_string();
                photo::open_bytes(bytes, name, self.sha256.clone(), Limits::default())?
            }
            None => photo::open(self.path)?,
        };
        let Some((number, _)) = self.part else {
            return Ok(photo);
        };
        let part = photo.parts().into_iter().nth(number as usize - 1);
        Ok(part.unwrap_or(photo))
    }

    fn attempt(&self, bytes: Option<Vec<u8>>, shown: &str) -> Answer {
        let photo = match self.open(bytes) {
            Ok(photo) => photo,
            Err(error) => {
                let message = without_name(&error.to_string(), self.path, "the file");
                let lasting = !matches!(error, PhotoError::Unreadable { .. });
                let why = Reason::new(error.code(), message.clone());
                let kind = ProblemKind::Photo;
                return self.failed(shown, Problem { kind, message }, vec![why], lasting);
            }
        };
        let photo = Photo {
            path: shown.to_owned(),
            ..photo
        };
        let marks = match self.parsed_marks(&photo) {
            Ok(marks) => marks,
            Err(problem) => {
                let mut answer = self.failed(shown, problem, Vec::new(), true);
                let facts = &mut answer.read.reading.photo;
                (facts.width, facts.height) = (photo.width, photo.height);
                return answer;
            }
        };
        let read = read_photo(&photo, &self.asked(marks));
        let is_collage = |reason: &Reason| reason.code == ReasonCode::Collage;
        let parts = if read.reading.reasons.iter().any(is_collage) {
            photo.parts().len() as u32
        } else {
            0
        };
        Answer {
            parts,
            // A file that was written to in between is another one the next time.
            lasting: photo.sha256 == self.sha256,
            read,
            photo: Some(photo),
            problem: None,
        }
    }

    fn asked(&self, marks: Option<Marks>) -> ReadOptions {
        let marked = marks.as_ref().and_then(|marks| marks.flank);
        let named = self.said.named.filter(|_| marked.is_none());
        let mut asked = ReadOptions {
            marks,
            polarity: self.said.polarity,
            flank: self.said.flank.or(named),
            hints: FindHints {
                toe: self.said.toe,
                form: None,
            },
            hand: self.said.hand,
            gear: self.said.gear,
            mirrored: self.said.mirrored,
            ..ReadOptions::default()
        };
        if let Some(form) = self.said.drives_on {
            asked.drives_on = form;
        }
        asked
    }

    fn parsed_marks(&self, photo: &Photo) -> Result<Option<Marks>, Problem> {
        const NAME: &str = "MARKS";
        let marks = self.marks.as_ref().map_err(Clone::clone)?;
        // Those beside a collage are for who reads it whole.
        let Some(text) = marks.as_ref().filter(|_| self.part.is_none()) else {
            return Ok(None);
        };
        marks::parse(text, NAME, photo)
            .map(Some)
            .map_err(|error| Problem {
                kind: ProblemKind::Marks,
                message: capital(&error.to_string().replace(&format!(" {NAME}"), "")),
            })
    }

    /// Of a file that is still being written.
    pub(super) fn unfinished(&self) -> Answer {
        let message = "The file is still being written. Run this again once it has arrived.";
        let problem = Problem {
            kind: ProblemKind::Photo,
            message: message.into(),
        };
        self.failed(
            "",
            problem,
            vec![Reason::new(ReasonCode::Damaged, message)],
            false,
        )
    }

    fn failed(
        &self,
        shown: &str,
        problem: Problem,
        reasons: Vec<crate::schema::Reason>,
        lasting: bool,
    ) -> Answer {
        Answer {
            read: OutlinedReading {
                reading: Reading::unreadable(
                    PhotoFacts {
                        path: shown.to_owned(),
                        width: 0,
                        height: 0,
                        sha256: self.sha256.clone(),
                        area: None,
                    },
                    reasons,
                ),
                regions: Vec::new(),
                outlines: Vec::new(),
            },
            photo: None,
            parts: 0,
            problem: Some(problem),
            lasting: lasting && !self.sha256.is_empty(),
        }
    }
}

fn marks_text(path: &Path) -> Result<String, Problem> {
    files::read_text(path, marks::MOST_BYTES).map_err(|error| Problem {
        kind: ProblemKind::Marks,
        message: format!("Cannot read the marks {}: {error}", path.display()),
    })
}

/// The words of an error without the file's name: the same for the same bytes wherever they lie.
fn without_name(message: &str, path: &Path, instead: &str) -> String {
    capital(&message.replace(&path.display().to_string(), instead))
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}

/// The word under which JSON has a reason.
pub(crate) fn code_word(code: ReasonCode) -> String {
    serde_json::to_value(code)
        .ok()
        .and_then(|word| word.as_str().map(str::to_owned))
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::Status;

    fn painted(name: &str) -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures/painted")
            .join(name)
    }

    #[test]
    fn the_key_follows_bytes_and_words_and_not_the_name() {
        let folder = tempfile::tempdir().unwrap();
        let photo = painted("drive-yellow.jpg");
        let copy = folder.path().join("copy.jpg");
        std::fs::copy(&photo, &copy).unwrap();
        let marks = MarksFrom::File(painted("drive-yellow.jpg.marks.json"));
        let said = PhotoSettings {
            marks: Some(marks),
            ..PhotoSettings::default()
        };
        let key = |path: &Path, said: &PhotoSettings| PhotoRequest::new(path, said).key().unwrap();
        let plain = key(&photo, &PhotoSettings::default());
        assert_eq!(plain, key(&copy, &said));
        // The copy has no marks beside it.
        assert_ne!(plain, key(&copy, &PhotoSettings::default()));
        let coast = PhotoSettings {
            flank: Some(Side::Coast),
            ..said.clone()
        };
        let named = PhotoSettings {
            named: Some(Side::Coast),
            ..said.clone()
        };
        assert_ne!(key(&copy, &said), key(&copy, &coast));
        assert_ne!(key(&copy, &named), key(&copy, &coast));
        assert_ne!(key(&copy, &said), key(&painted("coast-white.jpg"), &said));
    }

    #[test]
    fn marks_go_before_the_file_s_name_and_words_before_both() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("coast.jpg");
        std::fs::copy(painted("drive-yellow.jpg"), &path).unwrap();
        let marks = MarksFrom::File(painted("drive-yellow.jpg.marks.json"));
        let side = |said: &PhotoSettings| {
            let answer = PhotoRequest::new(&path, said).answer("coast.jpg");
            assert!(answer.problem.is_none(), "{:?}", answer.problem);
            answer.read.reading.flank.unwrap().side
        };
        let mut said = PhotoSettings {
            named: Some(Side::Coast),
            marks: Some(marks),
            ..PhotoSettings::default()
        };
        assert_eq!(side(&said), Side::Drive);
        said.flank = Some(Side::Coast);
        assert_eq!(side(&said), Side::Coast);
    }

    #[test]
    fn what_cannot_be_opened_is_said_without_the_name() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.jpg");
        std::fs::write(&path, b"no picture at all").unwrap();
        let said = PhotoSettings::default();
        let answer = PhotoRequest::new(&path, &said).answer("a.jpg");
        let reading = &answer.read.reading;
        assert_eq!(reading.status, Status::Unreadable);
        assert_eq!(reading.reasons[0].code, ReasonCode::NotAnImage);
        let message = &reading.reasons[0].message;
        assert!(message.starts_with("The file is not a picture"));
        assert!(answer.lasting && reading.photo.sha256.len() == 64);
        let gone = folder.path().join("gone.jpg");
        let answer = PhotoRequest::new(&gone, &said).answer("gone.jpg");
        assert!(!answer.lasting);
        assert_eq!(answer.problem.unwrap().kind, ProblemKind::Photo);
    }

    #[test]
    fn unusable_marks_are_a_problem_and_no_guess() {
        let said = PhotoSettings {
            marks: Some(MarksFrom::Text(r#"{"flnk":"drive"}"#.into())),
            ..PhotoSettings::default()
        };
        let path = painted("drive-yellow.jpg");
        let answer = PhotoRequest::new(&path, &said).answer("p");
        let problem = answer.problem.unwrap();
        assert_eq!(problem.kind, ProblemKind::Marks);
        assert!(
            problem
                .message
                .starts_with("The marks have an unknown key `flnk`")
        );
        assert_eq!(answer.read.reading.status, Status::Unreadable);
        assert!(answer.read.reading.photo.width > 0);
    }
}
