//! Jobs: begun, looked at, taken on by a trial, advised, struck; all by the rooms that the command line uses.

use super::answer::{Answer, Failed, file, json, made_page};
use super::bench::{Bench, RecordedOnce};
use super::body;
use super::fields::fields;
use super::folder::{SetFolder, SetId, number_of};
use super::photos::clear;
use super::routes::At;
use super::told::TrialTold;
use crate::card::ask::{QUESTIONS, asked, both_teeth, check_answer, written};
use crate::frames::Side;
use crate::job::answers::JobAnswer;
use crate::job::assembly::{self, By};
use crate::job::begin::{self, Called, not_found_note};
use crate::job::clock::now;
use crate::job::next::next;
use crate::job::open::Purpose;
use crate::job::photos::{self, PhotoOptions};
use crate::report::job::build_sheet::{Sheet, build_sheet};
use crate::report::job::build_sheet_pdf::{Paper, build_sheet_pdf};
use crate::report::reading::overlay::overlay;
use crate::schema::record::{Note, Shows};
use crate::schema::{Card, SuspectKind};
use axum::body::Body;
use axum::extract::State;
use axum::http::HeaderMap;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;

/// A job to be begun.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct JobTold {
    /// What it is called.
    name: String,
    /// Vehicle and axle.
    #[serde(default)]
    axle: String,
    /// Who works on it.
    #[serde(default)]
    by: String,
    /// Answers to the questions of a card, by their names; without any the card that the program was started with.
    #[serde(default)]
    answers: BTreeMap<String, String>,
}

/// A note to be added.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct NoteTold {
    /// The words.
    #[serde(default)]
    text: String,
    /// The axle as found cannot be had any more.
    #[serde(default)]
    not_found: bool,
}

/// Why a trial is struck out.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct StrikeTold {
    /// Why.
    because: String,
}

/// What was looked at again and is as it was told.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LookedTold {
    /// What the advice suspected.
    what: SuspectKind,
}

/// One question of a card, and whether an answer would do.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct AnswerTold {
    /// The question's name.
    name: String,
    /// The answer.
    answer: String,
}

/// The questions that make a card.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Questions {
    /// Always `flankread/page-questions/1`.
    schema: &'static str,
    /// In the order they are asked.
    questions: Vec<Asked>,
}

/// One of them.
#[derive(Debug, Serialize, JsonSchema)]
struct Asked {
    name: &'static str,
    ask: &'static str,
    find: &'static str,
    required: bool,
}

/// What an answer answers.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Understood {
    /// Always `flankread/page-answers/1`.
    schema: &'static str,
    /// The question's own answer, and others that were given with it.
    answers: BTreeMap<String, String>,
}

fn job_of(at: &At) -> Result<i64, Failed> {
    number_of(&at.job).map_err(|_| Failed::nothing_here("job"))
}

/// `GET /api/jobs`
pub(super) async fn list(State(bench): State<Arc<Bench>>) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let jobs = match shared.store(Purpose::Look) {
            // A workshop begins with its first job.
            Err(failed) if failed.status() == 404 => Vec::new(),
            store => store?.jobs()?,
        };
        json(&JobAnswer::List { jobs })
    };
    bench.records.work(work).await
}

/// `GET /api/card/questions`
pub(super) async fn questions(_: State<Arc<Bench>>) -> Answer {
    let questions = asked(true).into_iter().map(|place| &QUESTIONS[place]);
    let questions = questions.map(|question| Asked {
        name: question.name,
        ask: question.ask,
        find: question.find,
        required: question.required(),
    });
    json(&Questions {
        schema: "flankread/page-questions/1",
        questions: questions.collect(),
    })
}

fn place_of(name: &str) -> Result<usize, Failed> {
    let place = QUESTIONS.iter().position(|question| question.name == name);
    place.ok_or_else(|| Failed::nothing_here("question"))
}

fn sound(place: usize, answer: &str) -> Result<(), Failed> {
    let question = &QUESTIONS[place];
    check_answer(question.table, question.name, answer)
        .map_err(|error| Failed::new(422, error.to_string()))
}

/// `POST /api/card/check`
pub(super) async fn check(_: State<Arc<Bench>>, headers: HeaderMap, body: Body) -> Answer {
    let told: AnswerTold = body::document(&headers, body).await?;
    let place = place_of(&told.name)?;
    let mut answers = BTreeMap::new();
    match both_teeth(&told.answer).filter(|_| told.name == "ring_teeth") {
        Some([ring, pinion]) => {
            sound(place, &ring)?;
            sound(place_of("pinion_teeth")?, &pinion)?;
            answers.insert(told.name, ring);
            answers.insert("pinion_teeth".to_owned(), pinion);
        }
        None => {
            sound(place, &told.answer)?;
            answers.insert(told.name, told.answer);
        }
    }
    json(&Understood {
        schema: "flankread/page-answers/1",
        answers,
    })
}

/// The card that a job is begun with.
fn card_of(bench: &Bench, told: &JobTold) -> Result<Card, Failed> {
    if told.answers.is_empty() {
        let card = bench.settings.card.clone();
        return card.ok_or_else(|| {
            Failed::new(
                422,
                "a job needs a card: answer its questions, or read photos without a job",
            )
        });
    }
    let mut answers = BTreeMap::new();
    for (name, answer) in &told.answers {
        answers.insert(place_of(name)?, answer.clone());
    }
    let of_card = |error: crate::card::CardError| Failed::new(422, error.to_string());
    Card::from_toml(&written(&answers).map_err(of_card)?).map_err(of_card)
}

/// `POST /api/jobs`
pub(super) async fn new(State(bench): State<Arc<Bench>>, headers: HeaderMap, body: Body) -> Answer {
    let told: JobTold = body::document(&headers, body).await?;
    let shared = Arc::clone(&bench);
    let work = move || {
        let card = card_of(&shared, &told)?;
        begin::meshes(&card)?;
        let mut store = shared.store(Purpose::Begin)?;
        let called = Called {
            name: told.name,
            axle: told.axle,
            mechanic: told.by,
        };
        let job = begin::begin(&mut store, called, &card, now())?;
        json(&JobAnswer::New { job })
    };
    bench.records.work(work).await
}

/// `GET /api/jobs/{job}`
pub(super) async fn look(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || json(&shared.store(Purpose::Look)?.record(job_of(&at)?)?);
    bench.records.work(work).await
}

/// `GET /api/jobs/{job}/next`
pub(super) async fn what_next(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let job = job_of(&at)?;
        let record = shared.store(Purpose::Look)?.record(job)?;
        let next = next(&record, &(shared.settings.shown)(Some(&record.card)));
        json(&JobAnswer::Next { job, next })
    };
    bench.records.work(work).await
}

/// `GET /api/jobs/{job}/fields`
pub(super) async fn ask_for(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let record = shared.store(Purpose::Look)?.record(job_of(&at)?)?;
        json(&fields(
            &record,
            &(shared.settings.shown)(Some(&record.card)),
        ))
    };
    bench.records.work(work).await
}

/// `POST /api/jobs/{job}/notes`
pub(super) async fn note(
    State(bench): State<Arc<Bench>>,
    at: At,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    let told: NoteTold = body::document(&headers, body).await?;
    let shared = Arc::clone(&bench);
    let work = move || {
        let job = job_of(&at)?;
        let mut store = shared.store(Purpose::Change)?;
        let by = store.record(job)?.head.mechanic;
        let text = match (told.not_found, told.text.trim()) {
            (true, words) => not_found_note(words),
            (false, "") => return Err(Failed::new(422, "a note needs words")),
            (false, words) => words.to_owned(),
        };
        let at = now();
        store.note(job, &Note { at, by, text })?;
        json(&JobAnswer::Note { job })
    };
    bench.records.work(work).await
}

/// `POST /api/jobs/{job}/trials`: the assembly as told, with the photos that wait for it.
pub(super) async fn trial(
    State(bench): State<Arc<Bench>>,
    at: At,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    let told: TrialTold = body::document(&headers, body).await?;
    let shared = Arc::clone(&bench);
    let work = move || record(&shared, job_of(&at)?, &told);
    bench.reading.work(work).await
}

fn record(bench: &Bench, job: i64, told: &TrialTold) -> Answer {
    let mut recorded = bench.recording();
    let once = told.once.as_deref().unwrap_or_default();
    let before = recorded
        .iter()
        .find(|r| r.job == job && r.once == once && !once.is_empty());
    if let Some(before) = before {
        return json(&before.answer);
    }
    let set = bench.set(SetId::Job(job))?;
    let mut store = bench.store(Purpose::Change)?;
    let said = told.said()?;
    let at = now();
    let by = By {
        at: &at,
        who: told.by.as_deref(),
    };
    let shown = (bench.settings.shown)(set.card.as_ref());
    let take = |card: &Card, new: &mut _| take_photos(&set.folder, card, new);
    let done = assembly::record(&mut store, job, &said, told.fresh, by, &shown, take)?;
    clear(bench, &set)?;
    let answer = JobAnswer::Trial {
        job,
        trial: done.number,
        drive: done.trial.trial.drive,
        coast: done.trial.trial.coast,
        remarks: done.remarks,
    };
    let told = json(&answer);
    let once = once.to_owned();
    recorded.push_back(RecordedOnce { job, once, answer });
    told
}

/// Takes the photos that wait into a trial, read as `flankread job trial` reads them.
fn take_photos(
    folder: &SetFolder,
    card: &Card,
    new: &mut crate::job::new_trial::NewTrial,
) -> crate::Result<Vec<String>> {
    let waiting = folder.next_trial().map_err(|_| {
        crate::Error::usage("the photos of this trial cannot be told; take them again")
    })?;
    let mut paths = Vec::new();
    let mut taken = Vec::new();
    for (side, shows) in [(Side::Drive, Shows::Drive), (Side::Coast, Shows::Coast)] {
        let Some(one) = waiting.of(side) else {
            continue;
        };
        let path = folder.photo(one.photo).map_err(|_| {
            crate::Error::usage(format!(
                "the photo of the {} flanks is gone; take it again",
                side.word()
            ))
        })?;
        let options = PhotoOptions {
            mirrored: one.mirrored,
            ..PhotoOptions::default()
        };
        paths.push((path, shows, options));
        taken.push(one);
    }
    let given: Vec<_> = (paths.iter())
        .map(|(path, shows, options)| (path.as_path(), *shows, *options))
        .collect();
    let photos = photos::take_all(&given, card, |photo, read| Ok(overlay(photo, read)?))?;
    let mut remarks = Vec::new();
    for (mut photo, taken) in photos.into_iter().zip(taken) {
        photo.original_sha256 = Some(taken.original_sha256.clone());
        remarks.extend(photos::put(new, photo, taken.use_unsure));
    }
    Ok(remarks)
}

/// `POST /api/jobs/{job}/trials/{trial}/strike`
pub(super) async fn strike(
    State(bench): State<Arc<Bench>>,
    at: At,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    let told: StrikeTold = body::document(&headers, body).await?;
    let shared = Arc::clone(&bench);
    let work = move || {
        let job = job_of(&at)?;
        let trial = number_of(&at.trial).map_err(|_| Failed::nothing_here("trial"))?;
        let mut store = shared.store(Purpose::Change)?;
        store.strike(job, trial, &told.because)?;
        json(&JobAnswer::Strike { job, trial })
    };
    bench.records.work(work).await
}

/// `POST /api/jobs/{job}/trials/{trial}/looked`
pub(super) async fn looked(
    State(bench): State<Arc<Bench>>,
    at: At,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    let told: LookedTold = body::document(&headers, body).await?;
    let shared = Arc::clone(&bench);
    let work = move || {
        let job = job_of(&at)?;
        let trial = number_of(&at.trial).map_err(|_| Failed::nothing_here("trial"))?;
        let mut store = shared.store(Purpose::Change)?;
        let why = (&*now(), "looked at again, said on the page");
        let amended = store.looked(job, trial, told.what, why)?;
        json(&JobAnswer::Amend {
            job,
            trial,
            amended,
            remarks: Vec::new(),
        })
    };
    bench.records.work(work).await
}

/// `POST /api/jobs/{job}/advice`: as `flankread job advise` gives and keeps it.
pub(super) async fn advice(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let job = job_of(&at)?;
        let mut store = shared.store(Purpose::Change)?;
        let card = store.record(job)?.card;
        let units = (shared.settings.shown)(Some(&card)).units;
        let (advice, _) = begin::advise(&mut store, job, units, &now())?;
        json(&advice)
    };
    bench.reading.work(work).await
}

/// `GET /api/jobs/{job}/trials/{trial}/photos/{place}`: the picture with its outlines.
pub(super) async fn picture(State(bench): State<Arc<Bench>>, at: At) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let here = |text: &str| number_of(text).map_err(|_| Failed::nothing_here("picture"));
        let place =
            usize::try_from(here(&at.place)?).map_err(|_| Failed::nothing_here("picture"))?;
        let store = shared.store(Purpose::Look)?;
        let picture = store.picture(job_of(&at)?, here(&at.trial)?, place)?;
        let bytes = picture.ok_or_else(|| Failed::nothing_here("picture"))?;
        Ok(file(bytes, "image/jpeg", "private, max-age=86400"))
    };
    bench.records.work(work).await
}

/// `GET /api/jobs/{job}/sheet.html` and `sheet.pdf`, as `flankread job sheet` writes them.
pub(super) async fn sheet(bench: Arc<Bench>, at: At, pdf: bool) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let store = shared.store(Purpose::Look)?;
        let record = store.record(job_of(&at)?)?;
        let sheet = Sheet {
            pictures: &store.pictures(&record)?,
            shown: (shared.settings.shown)(Some(&record.card)),
            record: &record,
        };
        if pdf {
            let bytes = build_sheet_pdf(&sheet, Paper::A4).map_err(crate::Error::from)?;
            Ok(file(bytes, "application/pdf", "no-store"))
        } else {
            made_page(build_sheet(&sheet), "'none'")
        }
    };
    bench.records.work(work).await
}
