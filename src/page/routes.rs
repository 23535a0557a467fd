//! Every address of the page, once: what the server answers, and what the description of the addresses lists.

use super::answer::{Answer, Failed, file, guarded};
use super::bench::Bench;
use super::gate::{Ends, cookie_name};
use super::{body, jobs, learn, openapi, pages, photos};
use axum::Router;
use axum::body::Body;
use axum::extract::{FromRequestParts, RawPathParams, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderValue, Response, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::IntoResponse;
use axum::routing::{get, post, put};
use schemars::JsonSchema;
use serde::Deserialize;
use std::str::FromStr;
use std::sync::Arc;
use std::time::Instant;

/// The parts of an address that name something, as they were written.
#[derive(Debug, Default)]
pub(super) struct At {
    pub set: String,
    pub photo: String,
    pub job: String,
    pub trial: String,
    pub place: String,
    pub query: Option<String>,
}

impl FromRequestParts<Arc<Bench>> for At {
    type Rejection = Failed;

    async fn from_request_parts(parts: &mut Parts, state: &Arc<Bench>) -> Result<Self, Failed> {
        let mut at = Self {
            query: parts.uri.query().map(str::to_owned),
            ..Self::default()
        };
        let named = RawPathParams::from_request_parts(parts, state).await;
        let named = named.map_err(|_| Failed::nothing_here("address"))?;
        for (name, value) in &named {
            let place = match name {
                "set" => &mut at.set,
                "photo" => &mut at.photo,
                "job" => &mut at.job,
                "trial" => &mut at.trial,
                _ => &mut at.place,
            };
            value.clone_into(place);
        }
        Ok(at)
    }
}

/// A part of an address as the type it must be of.
pub(super) fn parsed<T: FromStr>(text: &str, what: &str) -> Result<T, Failed> {
    text.parse().map_err(|_| Failed::nothing_here(what))
}

impl IntoResponse for Failed {
    fn into_response(self) -> Response<Body> {
        self.into()
    }
}

/// The server's addresses behind the gate.
pub(super) fn router(bench: Arc<Bench>) -> Router {
    Router::new()
        .route("/", get(|| async { pages::front() }))
        .route("/pair", get(|| async { pages::pairing() }))
        .route(
            "/assets/{place}",
            get(|at: At| async move { pages::asset(&at.place) }),
        )
        .route("/learn/explore", get(learn::explore))
        .route("/learn/quiz", get(learn::quiz))
        .nest("/api", api())
        .fallback(|| async { Failed::nothing_here("address") })
        .method_not_allowed_fallback(|| async {
            Failed::new(405, "this address takes no such request")
        })
        .layer(from_fn_with_state(Arc::clone(&bench), guard))
        .with_state(bench)
}

fn api() -> Router<Arc<Bench>> {
    Router::new()
        .route("/openapi.json", get(|| async { openapi::answer() }))
        .route("/start", get(pages::start))
        .route("/pair", post(pair))
        .route("/card/questions", get(jobs::questions))
        .route("/card/check", post(jobs::check))
        .route("/jobs", get(jobs::list).post(jobs::new))
        .route("/jobs/{job}", get(jobs::look))
        .route("/jobs/{job}/next", get(jobs::what_next))
        .route("/jobs/{job}/fields", get(jobs::ask_for))
        .route("/jobs/{job}/notes", post(jobs::note))
        .route("/jobs/{job}/trials", post(jobs::trial))
        .route("/jobs/{job}/trials/{trial}/strike", post(jobs::strike))
        .route("/jobs/{job}/trials/{trial}/looked", post(jobs::looked))
        .route(
            "/jobs/{job}/trials/{trial}/photos/{place}",
            get(jobs::picture),
        )
        .route("/jobs/{job}/advice", post(jobs::advice))
        .route(
            "/jobs/{job}/sheet.html",
            get(|State(bench): State<Arc<Bench>>, at: At| jobs::sheet(bench, at, false)),
        )
        .route(
            "/jobs/{job}/sheet.pdf",
            get(|State(bench): State<Arc<Bench>>, at: At| jobs::sheet(bench, at, true)),
        )
        .route("/sets", post(photos::new_set))
        .route("/sets/{set}", get(photos::next_trial))
        .route("/sets/{set}/answer", get(photos::without_job))
        .route("/sets/{set}/photos", post(photos::upload))
        .route("/sets/{set}/photos/{photo}", get(photos::look))
        .route("/sets/{set}/photos/{photo}/picture", get(photos::picture))
        .route("/sets/{set}/photos/{photo}/try", post(photos::try_marks))
        .route(
            "/sets/{set}/photos/{photo}/marks",
            put(photos::put_marks).delete(photos::drop_marks),
        )
        .route("/sets/{set}/photos/{photo}/words", put(photos::put_words))
        .route("/batch", get(learn::batch))
}

/// Holds every request against the gate, and every answer to the rules of the page.
async fn guard(State(bench): State<Arc<Bench>>, request: Request, next: Next) -> Response<Body> {
    let ends = request.extensions().get::<Ends>().copied();
    let checked = match ends {
        Some(ends) => {
            let (method, uri) = (request.method(), request.uri());
            bench.gate.check(ends, method, uri, request.headers())
        }
        None => Err(Failed::broken()),
    };
    let answer = match checked {
        Ok(()) => next.run(request).await,
        // Whoever opens the page unpaired is asked for the code there and then.
        Err(failed) if failed.status() == 401 && request.uri().path() == "/" => {
            let mut page = pages::pairing();
            *page.status_mut() = axum::http::StatusCode::UNAUTHORIZED;
            page
        }
        Err(failed) => failed.into(),
    };
    guarded(answer)
}

/// A code as it was typed.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct CodeTold {
    /// The code on the computer's screen.
    code: String,
}

/// `POST /api/pair`
async fn pair(
    State(bench): State<Arc<Bench>>,
    ends: axum::Extension<Ends>,
    headers: HeaderMap,
    body: Body,
) -> Answer {
    let told: CodeTold = body::document(&headers, body).await?;
    let let_in = bench.gate.pair(*ends, &told.code, Instant::now())?;
    if let Some(next) = &let_in.next {
        (bench.settings.new_code)(next, ends.here.port());
    }
    let mut answer = file(
        "{\"schema\":\"flankread/page-paired/1\"}",
        "application/json",
        "no-store",
    );
    let name = cookie_name(ends.here.port());
    let cookie = format!(
        "{name}={}; HttpOnly; SameSite=Strict; Path=/; Max-Age=604800",
        let_in.token
    );
    let cookie = HeaderValue::from_str(&cookie).map_err(|_| Failed::broken())?;
    answer.headers_mut().insert(header::SET_COOKIE, cookie);
    Ok(answer)
}
