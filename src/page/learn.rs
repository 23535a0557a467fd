//! What other rooms make: the page to try, the quiz, a batch with its replies.

use super::answer::{Answer, Failed, json, made_page};
use super::bench::Bench;
use crate::files;
use crate::lesson::explore as gears;
use crate::lesson::quiz::{self, Quiz};
use axum::extract::State;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use std::sync::Arc;

/// Questions of the quiz on the page, and the size of their photos: what a phone on a workshop's network loads in a moment.
const QUESTIONS: u32 = 5;
const QUIZ_PHOTO_PX: (u32, u32) = (400, 300);
const QUIZ_SEED: u64 = 7;

/// A page with its scripts named by their hash, so that nothing else in it runs.
fn with_its_scripts(page: String) -> Answer {
    let mut run = Vec::new();
    let mut rest = page.as_str();
    while let Some((_, after)) = rest.split_once("<script>") {
        let (script, after) = after.split_once("</script>").ok_or_else(Failed::broken)?;
        let hash = STANDARD.encode(Sha256::digest(script.as_bytes()));
        run.push(format!("'sha256-{hash}'"));
        rest = after;
    }
    let run = run.join(" ");
    made_page(page, &run)
}

/// `GET /learn/explore`: as `flankread lesson explore` writes it.
pub(super) async fn explore(State(bench): State<Arc<Bench>>) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let units = (shared.settings.shown)(shared.settings.card.as_ref()).units;
        let sets = gears::examples().map_err(crate::Error::from)?;
        let page = gears::page(&sets, units).map_err(|_| Failed::broken())?;
        with_its_scripts(page)
    };
    bench.reading.work(work).await
}

/// `GET /learn/quiz`: as `flankread lesson quiz --page` writes it, shorter.
pub(super) async fn quiz(State(bench): State<Arc<Bench>>) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let units = (shared.settings.shown)(shared.settings.card.as_ref()).units;
        let quiz = Quiz::new(QUIZ_SEED).map_err(crate::Error::from)?;
        let page = quiz::page::page(&quiz, QUESTIONS, QUIZ_PHOTO_PX, units, &mut |_| {})?;
        with_its_scripts(page)
    };
    bench.reading.work(work).await
}

/// A batch as it was made last.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct BatchAnswer {
    /// Always `flankread/page-batch/1`.
    schema: &'static str,
    /// The sets with their replies, the most urgent first, as `sets.jsonl` has them.
    sets: Vec<Value>,
}

const MOST_BYTES: u64 = 32 << 20;

/// `GET /api/batch`: what `flankread batch` wrote beside the photos of the folder that was named at the start.
pub(super) async fn batch(State(bench): State<Arc<Bench>>) -> Answer {
    let shared = Arc::clone(&bench);
    let work = move || {
        let inbox = shared.settings.inbox.as_ref();
        let inbox = inbox.ok_or_else(|| Failed::nothing_here("batch"))?;
        let out = inbox.join("flankread-batch");
        let lines = files::read_text(&out.join("sets.jsonl"), MOST_BYTES).map_err(|_| {
            Failed::new(
                404,
                "this folder has no batch yet: run `flankread batch FOLDER` on the computer, then look again",
            )
        })?;
        let sets = lines
            .lines()
            .filter_map(|line| serde_json::from_str(line).ok());
        json(&BatchAnswer {
            schema: "flankread/page-batch/1",
            sets: sets.collect(),
        })
    };
    bench.records.work(work).await
}
