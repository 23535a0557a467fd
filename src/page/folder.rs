//! Where photos lie until and after their trial is recorded: a folder a job beside the database, with the marks beside each
//! photo, as `flankread read` looks for them.

use super::answer::Failed;
use crate::files;
use crate::flank::marks::{self, Marks};
use crate::frames::Side;
use crate::job::new_trial::sha256;
use crate::photo::Photo;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

/// What photos are taken for: a job's next trial, or nothing that is recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum SetId {
    /// The job of this number.
    Job(i64),
    /// Photos without a job.
    Loose(u64),
}

impl fmt::Display for SetId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Job(number) => write!(f, "job-{number}"),
            Self::Loose(id) => write!(f, "loose-{id:016x}"),
        }
    }
}

/// A text that is no name of ours.
#[derive(Debug)]
pub(super) struct NotOurs;

impl FromStr for SetId {
    type Err = NotOurs;

    fn from_str(text: &str) -> Result<Self, NotOurs> {
        if let Some(number) = text.strip_prefix("job-") {
            return Ok(Self::Job(number_of(number)?));
        }
        let id = text.strip_prefix("loose-").ok_or(NotOurs)?;
        Ok(Self::Loose(hexadecimal(id)?))
    }
}

/// A number of a job, a trial or a place: digits and nothing else.
pub(super) fn number_of(text: &str) -> Result<i64, NotOurs> {
    let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    digits.then(|| text.parse().ok()).flatten().ok_or(NotOurs)
}

fn hexadecimal(text: &str) -> Result<u64, NotOurs> {
    let is_hex = |b: u8| b.is_ascii_digit() || (b'a'..=b'f').contains(&b);
    if text.len() != 16 || !text.bytes().all(is_hex) {
        return Err(NotOurs);
    }
    u64::from_str_radix(text, 16).map_err(|_| NotOurs)
}

/// A photo in a set: the beginning of the hash of the file as it was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(super) struct PhotoId(u64);

impl JsonSchema for PhotoId {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "PhotoId".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({"type": "string", "pattern": "^[0-9a-f]{16}$"})
    }
}

impl PhotoId {
    /// Of a file whose SHA-256 is given.
    pub(super) fn of(sha256: &str) -> Option<Self> {
        sha256.get(..16)?.parse().ok()
    }
}

impl fmt::Display for PhotoId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016x}", self.0)
    }
}

impl FromStr for PhotoId {
    type Err = NotOurs;

    fn from_str(text: &str) -> Result<Self, NotOurs> {
        hexadecimal(text).map(Self)
    }
}

impl TryFrom<String> for PhotoId {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
            .map_err(|NotOurs| "a photo's name is 16 digits of a hash".to_owned())
    }
}

impl From<PhotoId> for String {
    fn from(id: PhotoId) -> Self {
        id.to_string()
    }
}

/// The schema of [`NextTrial`].
const NEXT_TRIAL: &str = "flankread/page-next-trial/1";

/// The photos of a trial that is not recorded yet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(super) struct NextTrial {
    /// Always `flankread/page-next-trial/1`.
    pub schema: String,
    /// The photo of the drive flanks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drive: Option<TakenPhoto>,
    /// The photo of the coast flanks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coast: Option<TakenPhoto>,
}

/// A photo of a trial that is not recorded yet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(super) struct TakenPhoto {
    /// Its name here.
    pub photo: PhotoId,
    /// SHA-256 of the file as the phone sent it.
    pub original_sha256: String,
    /// The user looked at it and takes it.
    #[serde(default)]
    pub confirmed: bool,
    /// An unsure reading is taken for the advice.
    #[serde(default)]
    pub use_unsure: bool,
    /// The photo shows the gear mirrored.
    #[serde(default)]
    pub mirrored: bool,
}

impl Default for NextTrial {
    fn default() -> Self {
        Self {
            schema: NEXT_TRIAL.into(),
            drive: None,
            coast: None,
        }
    }
}

impl NextTrial {
    pub(super) const fn of(&self, side: Side) -> Option<&TakenPhoto> {
        match side {
            Side::Drive => self.drive.as_ref(),
            Side::Coast => self.coast.as_ref(),
        }
    }

    pub(super) const fn place(&mut self, side: Side) -> &mut Option<TakenPhoto> {
        match side {
            Side::Drive => &mut self.drive,
            Side::Coast => &mut self.coast,
        }
    }

    /// The flank that a photo was taken of.
    pub(super) fn side_of(&self, id: PhotoId) -> Option<Side> {
        let is_of = |side: &Side| self.of(*side).is_some_and(|taken| taken.photo == id);
        Side::BOTH.into_iter().find(is_of)
    }
}

/// The folder of one set.
#[derive(Debug, Clone)]
pub(super) struct SetFolder {
    path: PathBuf,
}

/// The endings of photos that are kept: what cleaning leaves.
const ENDINGS: [&str; 3] = ["jpg", "png", "webp"];
const MOST_NEXT_BYTES: u64 = 1 << 16;

impl SetFolder {
    /// Of a set; a job's is told from that of another database's job of the same number by its `uid`.
    pub(super) fn of(root: &Path, set: SetId, uid: &str) -> Self {
        let name = match set {
            SetId::Job(_) => format!("{set}-{}", &sha256(uid.as_bytes())[..8]),
            SetId::Loose(_) => set.to_string(),
        };
        Self {
            path: root.join(name),
        }
    }

    /// Where a photo lies.
    ///
    /// # Errors
    /// It is not here.
    pub(super) fn photo(&self, id: PhotoId) -> Result<PathBuf, Failed> {
        let mut places = ENDINGS.iter().map(|e| self.path.join(format!("{id}.{e}")));
        places
            .find(|path| path.is_file())
            .ok_or_else(|| Failed::nothing_here("photo"))
    }

    /// Keeps a photo; one that is here already stays with its marks.
    ///
    /// # Errors
    /// The folder cannot be written.
    pub(super) fn keep(&self, id: PhotoId, bytes: &[u8], ending: &str) -> Result<PathBuf, Failed> {
        if let Ok(path) = self.photo(id) {
            return Ok(path);
        }
        let path = self.path.join(format!("{id}.{ending}"));
        std::fs::create_dir_all(&self.path)
            .map_err(|source| crate::Error::machine(&self.path, source))?;
        files::write(&path, bytes, true)?;
        Ok(path)
    }

    /// The marks beside a photo.
    ///
    /// # Errors
    /// They cannot be used.
    pub(super) fn marks(&self, path: &Path, photo: &Photo) -> Result<Option<Marks>, Failed> {
        let found = marks::beside(path).map(|path| marks::load(&path, photo));
        Ok(found.transpose().map_err(crate::Error::from)?)
    }

    /// Puts marks beside a photo.
    ///
    /// # Errors
    /// The folder cannot be written.
    pub(super) fn mark(&self, path: &Path, marks: &Marks) -> Result<(), Failed> {
        let mut name = path.as_os_str().to_owned();
        name.push(".marks.json");
        let text = format!("{}\n", marks.document());
        Ok(files::write(Path::new(&name), text.as_bytes(), true)?)
    }

    fn next_path(&self) -> PathBuf {
        self.path.join("next-trial.json")
    }

    /// The photos of the trial that is not recorded yet.
    ///
    /// # Errors
    /// The file that names them cannot be read.
    pub(super) fn next_trial(&self) -> Result<NextTrial, Failed> {
        let path = self.next_path();
        if !path.is_file() {
            return Ok(NextTrial::default());
        }
        let text = files::read_text(&path, MOST_NEXT_BYTES)
            .map_err(|source| crate::Error::input(&path, source))?;
        serde_json::from_str(&text).map_err(|error| {
            let words = format!(
                "{} is not as this program writes it: {error}",
                path.display()
            );
            crate::Error::usage(words).into()
        })
    }

    /// Keeps them.
    ///
    /// # Errors
    /// The folder cannot be written.
    pub(super) fn set_next_trial(&self, next: &NextTrial) -> Result<(), Failed> {
        let text = serde_json::to_string_pretty(next).map_err(|_| Failed::broken())?;
        std::fs::create_dir_all(&self.path)
            .map_err(|source| crate::Error::machine(&self.path, source))?;
        Ok(files::write(&self.next_path(), text.as_bytes(), true)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_of_ours_are_names() {
        assert_eq!("job-12".parse::<SetId>().ok(), Some(SetId::Job(12)));
        let loose = SetId::Loose(0xab);
        assert_eq!(loose.to_string().parse::<SetId>().ok(), Some(loose));
        for text in [
            "job-",
            "job--1",
            "job-+1",
            "job-1/..",
            "..",
            "loose-..",
            "loose-AB",
            "job-１",
            "job-99999999999999999999",
            "loose-000000000000000",
            "/etc/passwd",
            "",
        ] {
            assert!(text.parse::<SetId>().is_err(), "{text}");
            assert!(text.parse::<PhotoId>().is_err(), "{text}");
        }
        let id = PhotoId::of("00ff00ff00ff00ff99").unwrap();
        assert_eq!(id.to_string(), "00ff00ff00ff00ff");
        assert!(serde_json::from_str::<PhotoId>("\"../../etc/passwd\"").is_err());
    }
}
