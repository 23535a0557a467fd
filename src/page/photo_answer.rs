//! What the page is told of a photo: its reading, and where the patches lie in the picture.

use super::bench::{Bench, Set};
use super::folder::{PhotoId, TakenPhoto};
use crate::flank::marks::Marks;
use crate::frames::{PhotoPoint, Side};
use crate::photo::Photo;
use crate::reading::{OutlinedReading, ReadOptions, read_photo};
use crate::report::reading::overlay::patch_edges;
use crate::rules::trial::usable;
use crate::schema::{FlankReading, Reading};
use schemars::JsonSchema;
use serde::Serialize;

const SCHEMA: &str = "flankread/page-photo/1";

/// A photo with its reading.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct PhotoAnswer {
    /// Always `flankread/page-photo/1`.
    schema: &'static str,
    /// The set it is of.
    set: String,
    /// Its name there.
    photo: PhotoId,
    /// The flank it was taken of.
    #[serde(skip_serializing_if = "Option::is_none")]
    side: Option<Side>,
    /// The user looked at it and takes it.
    confirmed: bool,
    /// An unsure reading is taken for the advice.
    use_unsure: bool,
    /// It shows the gear mirrored.
    mirrored: bool,
    /// Flanks were marked by hand.
    marked: bool,
    /// What was read, as `flankread read --json` has it.
    reading: Reading,
    /// Edges of the patch on each of the reading's teeth, pixels of the upright photo, one of each island.
    patches: Vec<Vec<Vec<PhotoPoint>>>,
    /// The reading as a trial would hold it.
    #[serde(skip_serializing_if = "Option::is_none")]
    used: Option<FlankReading>,
    /// Why no advice is made of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    not_used: Option<String>,
}

/// Reads a photo with these marks.
pub(super) fn read(
    bench: &Bench,
    set: &Set,
    photo: &Photo,
    marks: Option<Marks>,
    mirrored: bool,
) -> OutlinedReading {
    let card = set.card.as_ref().or(bench.settings.card.as_ref());
    let asked = ReadOptions {
        marks,
        mirrored,
        ..card.map(ReadOptions::of_card).unwrap_or_default()
    };
    read_photo(photo, &asked)
}

/// What is told of a photo with these marks.
pub(super) fn answer(
    bench: &Bench,
    set: &Set,
    id: PhotoId,
    photo: &Photo,
    marks: Option<Marks>,
) -> Result<PhotoAnswer, super::answer::Failed> {
    let next = set.folder.next_trial()?;
    let side = next.side_of(id);
    let taken: Option<&TakenPhoto> = side.and_then(|side| next.of(side));
    let (use_unsure, mirrored, confirmed) = taken.map_or((false, false, false), |t| {
        (t.use_unsure, t.mirrored, t.confirmed)
    });
    let marked = marks.as_ref().is_some_and(|marks| !marks.teeth.is_empty());
    let read = read(bench, set, photo, marks, mirrored);
    let used = usable(&read.reading, use_unsure);
    Ok(PhotoAnswer {
        schema: SCHEMA,
        set: set.id.to_string(),
        photo: id,
        side,
        confirmed,
        use_unsure,
        mirrored,
        marked,
        patches: patch_edges(&read),
        not_used: used.as_ref().err().map(ToString::to_string),
        used: used.ok(),
        reading: read.reading,
    })
}
