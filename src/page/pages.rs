//! The page's own files, which are part of the program.

use super::answer::{Answer, Failed, file, json};
use super::bench::Bench;
use super::body::MOST_PHOTO_BYTES;
use axum::body::Body;
use axum::extract::State;
use axum::http::Response;
use schemars::JsonSchema;
use serde::Serialize;
use std::sync::Arc;

const HTML: &str = "text/html; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";

/// The files by their names.
pub(super) const ASSETS: [(&str, &str, &str); 12] = [
    ("page.css", STYLE, include_str!("assets/page.css")),
    ("pair.js", SCRIPT, include_str!("assets/pair.js")),
    ("words.js", SCRIPT, include_str!("assets/words.js")),
    ("ask.js", SCRIPT, include_str!("assets/ask.js")),
    ("build.js", SCRIPT, include_str!("assets/build.js")),
    ("outline.js", SCRIPT, include_str!("assets/outline.js")),
    ("flank.js", SCRIPT, include_str!("assets/flank.js")),
    ("start.js", SCRIPT, include_str!("assets/start.js")),
    ("photo.js", SCRIPT, include_str!("assets/photo.js")),
    ("numbers.js", SCRIPT, include_str!("assets/numbers.js")),
    ("advice.js", SCRIPT, include_str!("assets/advice.js")),
    ("page.js", SCRIPT, include_str!("assets/page.js")),
];

/// What the page must know before anything else.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Start {
    /// Always `flankread/page-start/1`.
    schema: &'static str,
    /// The program's version.
    version: &'static str,
    /// The name of the card that the program was started with.
    #[serde(skip_serializing_if = "Option::is_none")]
    card: Option<String>,
    /// What a photo may weigh.
    most_photo_bytes: usize,
    /// Whether a batch's folder was named.
    has_batch: bool,
}

/// `GET /`
pub(super) fn front() -> Response<Body> {
    file(include_str!("assets/page.html"), HTML, "no-cache")
}

/// `GET /pair`
pub(super) fn pairing() -> Response<Body> {
    file(include_str!("assets/pair.html"), HTML, "no-cache")
}

/// `GET /assets/{name}`
pub(super) fn asset(name: &str) -> Answer {
    let found = ASSETS.iter().find(|(own, ..)| *own == name);
    let (_, kind, text) = found.ok_or_else(|| Failed::nothing_here("file"))?;
    Ok(file(*text, kind, "no-cache"))
}

/// `GET /api/start`
pub(super) async fn start(State(bench): State<Arc<Bench>>) -> Answer {
    let card = bench.settings.card.as_ref();
    json(&Start {
        schema: "flankread/page-start/1",
        version: env!("CARGO_PKG_VERSION"),
        card: card.map(|card| match card.name.as_str() {
            "" => "the card".to_owned(),
            name => name.to_owned(),
        }),
        most_photo_bytes: MOST_PHOTO_BYTES,
        has_batch: bench.settings.inbox.is_some(),
    })
}
