//! Photos: in, read, marked, confirmed; and what follows from two of them without a card.

use super::answer::{Answer, Failed, file, json};
use super::bench::{Bench, Set, limits_for};
use super::body;
use super::folder::{NextTrial, PhotoId, SetId, TakenPhoto};
use super::photo_answer::{answer, read};
use super::routes::{At, parsed};
use crate::flank::marks::{self, Marks};
use crate::frames::Side;
use crate::job::new_trial::sha256;
use crate::job::strip_metadata::without_metadata;
use crate::photo::{self, Photo};
use crate::reading::{OutlinedReading, doubt_set};
use crate::report::draw::page::jpeg;
use crate::report::reading::overlay::shrunk;
use crate::rules::direction::direction;
use crate::rules::trial::usable;
use crate::schema::Polarity;
use crate::schema::read::{ReadAnswer, SCHEMA as READ_SCHEMA};
use axum::body::Body;
use axum::extract::State;
use axum::http::HeaderMap;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// A new set of photos without a job.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct NewSet {
    /// Always `flankread/page-set/1`.
    schema: &'static str,
    /// Its name.
    set: String,
}

/// What the user says of a photo; what is not said stays.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub(super) struct PhotoWords {
    /// It was looked at and is taken.
    confirmed: Option<bool>,
    /// An unsure reading is taken for the advice.
    use_unsure: Option<bool>,
    /// It shows the gear mirrored.
    mirrored: Option<bool>,
    /// How contact shows; kept with the marks.
    polarity: Option<Polarity>,
}

/// Longest side of the picture on the screen.
const SHOWN_PX: u32 = 1600;

/// `POST /api/sets`
pub(super) async fn new_set(_: State<Arc<Bench>>) -> Answer {
    let mut bytes = [0_u8; 8];
    getrandom::fill(&mut bytes).map_err(|_| Failed::broken())?;
    json(&NewSet {
        schema: "flankread/page-set/1",
        set: SetId::Loose(u64::from_be_bytes(bytes)).to_string(),
    })
}

fn set_of(bench: &Bench, at: &At) -> Result<Set, Failed> {
    bench.set(parsed(&at.set, "set")?)
}

fn photo_of(at: &At) -> Result<PhotoId, Failed> {
    parsed(&at.photo, "photo")
}

/// `GET /api/sets/{set}`
pub(super) async fn next_trial(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let next = bench
        .records
        .work(move || set_of(&shared, &at)?.folder.next_trial());
    json(&next.await?)
}

/// `POST /api/sets/{set}/photos?flank=drive`
pub(super) async fn upload(
    State(bench): State<Arc<Bench>>,
    at: At,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    let side = match at.query.as_deref() {
        Some("flank=drive") => Side::Drive,
        Some("flank=coast") => Side::Coast,
        _ => {
            return Err(Failed::new(
                400,
                "say which flank: ?flank=drive or ?flank=coast",
            ));
        }
    };
    // Before the body is taken: what waits holds nothing.
    let place = match bench.uploads.enter().await {
        Ok(place) => place,
        Err(busy) => {
            body::pass_by(body).await;
            return Err(busy);
        }
    };
    let bytes = body::photo(&headers, body).await?;
    let shared = Arc::clone(&bench);
    let told = bench.reading.work(move || {
        let set = set_of(&shared, &at)?;
        take_in(&shared, &set, side, bytes)
    });
    let told = told.await;
    drop(place);
    told
}

/// Takes a photo in: cleaned of what the camera wrote into it, with the flank that it was taken of beside it.
fn take_in(bench: &Bench, set: &Set, side: Side, bytes: Vec<u8>) -> Answer {
    let original_sha256 = sha256(&bytes);
    let id = PhotoId::of(&original_sha256).ok_or_else(Failed::broken)?;
    let (clean, ending) = cleaned(bytes)?;
    {
        let _held = bench.changing();
        let next = set.folder.next_trial()?;
        if next.side_of(id).is_some_and(|there| there != side) {
            return Err(Failed::new(
                422,
                "this is the photo of the other flanks already; take a photo of each",
            ));
        }
    }
    // Nothing is kept that cannot be opened.
    let limits = limits_for(&clean);
    let photo = photo::from_bytes(clean.clone(), "the photo".into(), limits)?;
    let path = set.folder.keep(id, &clean, ending)?;
    drop(clean);
    let photo = bench.remember(set, id, photo, &path);
    {
        let _held = bench.changing();
        let marks = set.folder.marks(&path, &photo)?;
        let of_side = Marks {
            flank: Some(side),
            ..marks.unwrap_or_default()
        };
        set.folder.mark(&path, &of_side)?;
        let mut next = set.folder.next_trial()?;
        *next.place(side) = Some(TakenPhoto {
            photo: id,
            original_sha256,
            confirmed: false,
            use_unsure: false,
            mirrored: false,
        });
        set.folder.set_next_trial(&next)?;
    }
    told(bench, set, id)
}

/// A photo's bytes without what the camera wrote into them about place and owner, and the ending of their file.
fn cleaned(bytes: Vec<u8>) -> Result<(Vec<u8>, &'static str), Failed> {
    const NAME: &str = "the photo";
    let is_whole = |bytes: &[u8]| photo::from_bytes(bytes.to_vec(), NAME.into(), limits_for(bytes));
    // Formats that are not copied part by part are drawn anew: whether there is room for that is looked at first.
    let is_copied = [&b"\xff\xd8"[..], b"\x89PNG", b"RIFF"]
        .iter()
        .any(|start| bytes.starts_with(start));
    if !is_copied || !photo::looks_like_photo(&bytes) {
        is_whole(&bytes)?;
    }
    without_metadata(&bytes, NAME).or_else(|_| {
        // The photo room says better what is wrong with a file.
        is_whole(&bytes)?;
        Err(Failed::new(
            422,
            "the photo cannot be freed of the place that the camera wrote into it; take it with the camera of this page",
        ))
    })
}

/// What is told of a photo as it lies there.
fn told(bench: &Bench, set: &Set, id: PhotoId) -> Answer {
    let (photo, path) = bench.photo(set, id)?;
    let marks = set.folder.marks(&path, &photo)?;
    json(&answer(bench, set, id, &photo, marks)?)
}

/// `GET /api/sets/{set}/photos/{photo}`
pub(super) async fn look(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || told(&shared, &set_of(&shared, &at)?, photo_of(&at)?);
    bench.reading.work(work).await
}

/// `GET /api/sets/{set}/photos/{photo}/picture`: drawn anew, so that nothing of the file but its pixels leaves.
pub(super) async fn picture(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let (photo, _) = shared.photo(&set_of(&shared, &at)?, photo_of(&at)?)?;
        Ok(jpeg(&shrunk(&photo.working, SHOWN_PX)))
    };
    let bytes = bench.reading.work(work).await?;
    Ok(file(bytes, "image/jpeg", "private, max-age=86400"))
}

/// Marks that were sent, with the flank and the polarity that are known where they do not say.
fn sent_marks(
    set: &Set,
    path: &std::path::Path,
    photo: &Photo,
    text: &str,
) -> Result<Marks, Failed> {
    let sent = marks::parse(text, "of this photo", photo).map_err(crate::Error::from)?;
    let known = set.folder.marks(path, photo)?.unwrap_or_default();
    Ok(Marks {
        flank: sent.flank.or(known.flank),
        polarity: sent.polarity.or(known.polarity),
        teeth: sent.teeth,
    })
}

/// `POST /api/sets/{set}/photos/{photo}/try`: what the reading would be; nothing is kept.
pub(super) async fn try_marks(
    State(bench): State<Arc<Bench>>,
    at: At,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    with_marks(bench, at, headers, body, false).await
}

/// `PUT /api/sets/{set}/photos/{photo}/marks`
pub(super) async fn put_marks(
    State(bench): State<Arc<Bench>>,
    at: At,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    with_marks(bench, at, headers, body, true).await
}

async fn with_marks(
    bench: Arc<Bench>,
    at: At,
    headers: HeaderMap,
    body: Body,
    keep: bool,
) -> Answer {
    let text = body::text(&headers, body).await?;
    let shared = Arc::clone(&bench);
    let work = move || {
        let (set, id) = (set_of(&shared, &at)?, photo_of(&at)?);
        let (photo, path) = shared.photo(&set, id)?;
        let marks = sent_marks(&set, &path, &photo, &text)?;
        if keep {
            let _held = shared.changing();
            set.folder.mark(&path, &marks)?;
        }
        json(&answer(&shared, &set, id, &photo, Some(marks))?)
    };
    bench.reading.work(work).await
}

/// `DELETE /api/sets/{set}/photos/{photo}/marks`: back to the outlines that the program finds.
pub(super) async fn drop_marks(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let (set, id) = (set_of(&shared, &at)?, photo_of(&at)?);
        let (photo, path) = shared.photo(&set, id)?;
        let known = set.folder.marks(&path, &photo)?.unwrap_or_default();
        let words = Marks {
            teeth: Vec::new(),
            ..known
        };
        set.folder.mark(&path, &words)?;
        json(&answer(&shared, &set, id, &photo, Some(words))?)
    };
    bench.reading.work(work).await
}

/// `PUT /api/sets/{set}/photos/{photo}/words`
pub(super) async fn put_words(
    State(bench): State<Arc<Bench>>,
    at: At,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    let words: PhotoWords = body::document(&headers, body).await?;
    let shared = Arc::clone(&bench);
    let work = move || {
        let (set, id) = (set_of(&shared, &at)?, photo_of(&at)?);
        let (photo, path) = shared.photo(&set, id)?;
        {
            let _held = shared.changing();
            let mut next = set.folder.next_trial()?;
            let gone = || Failed::new(409, "this photo is not of the next trial any more");
            let side = next.side_of(id).ok_or_else(gone)?;
            let taken = next.place(side).as_mut().ok_or_else(gone)?;
            let put = |place: &mut bool, said: Option<bool>| *place = said.unwrap_or(*place);
            put(&mut taken.confirmed, words.confirmed);
            put(&mut taken.use_unsure, words.use_unsure);
            put(&mut taken.mirrored, words.mirrored);
            set.folder.set_next_trial(&next)?;
            if words.polarity.is_some() {
                let known = set.folder.marks(&path, &photo)?.unwrap_or_default();
                let marks = Marks {
                    polarity: words.polarity,
                    ..known
                };
                set.folder.mark(&path, &marks)?;
            }
        }
        told(&shared, &set, id)
    };
    bench.reading.work(work).await
}

/// `GET /api/sets/{set}/answer`: what two photos say without a job.
pub(super) async fn without_job(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let set = set_of(&shared, &at)?;
        let next = set.folder.next_trial()?;
        let mut reads = Vec::new();
        for taken in Side::BOTH.into_iter().filter_map(|side| next.of(side)) {
            let (photo, path) = shared.photo(&set, taken.photo)?;
            let marks = set.folder.marks(&path, &photo)?;
            let read = read(&shared, &set, &photo, marks, taken.mirrored);
            reads.push((read, taken.use_unsure));
        }
        doubt_set(&mut reads.iter_mut().map(|(read, _)| read).collect::<Vec<_>>());
        let centre = |side| {
            let of_side =
                |r: &&(OutlinedReading, bool)| r.0.reading.flank.is_some_and(|f| f.side == side);
            let (read, use_unsure) = reads.iter().find(of_side)?;
            usable(&read.reading, *use_unsure).ok().map(|r| r.centre)
        };
        let centres = Side::BOTH.map(centre);
        let readings = reads.into_iter().map(|(read, _)| read.reading).collect();
        let units = (shared.settings.shown)(None).units;
        json(&ReadAnswer {
            schema: READ_SCHEMA.into(),
            readings,
            advice: None,
            no_advice: None,
            direction: direction(centres, None, units),
        })
    };
    bench.reading.work(work).await
}

/// Nothing is waiting to be recorded any more.
pub(super) fn clear(bench: &Bench, set: &Set) -> Result<(), Failed> {
    let _held = bench.changing();
    set.folder.set_next_trial(&NextTrial::default())
}
