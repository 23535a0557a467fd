//! What goes back to the page: documents, files, and failures as the command line has them.

use crate::job::JobError;
use crate::photo::PhotoError;
use crate::schema::failure::{self, Failure, FailureKind};
use crate::{Error, ErrorKind};
use axum::body::Body;
use axum::http::{HeaderName, HeaderValue, Response, StatusCode, header};
use serde::Serialize;

/// What a handler gives back.
pub(super) type Answer = Result<Response<Body>, Failed>;

/// Something that was not done: a status and a sentence or more for the one who asked.
#[derive(Debug)]
pub(super) struct Failed {
    status: StatusCode,
    messages: Vec<String>,
    /// When to come again, seconds.
    retry_s: Option<u64>,
}

/// What the page may load and run: its own files, nothing written into them.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; \
     base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

impl Failed {
    pub(super) fn new(status: u16, message: impl Into<String>) -> Self {
        Self {
            status: StatusCode::from_u16(status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR),
            messages: vec![message.into()],
            retry_s: None,
        }
    }

    /// An address or a thing that is not here.
    pub(super) fn nothing_here(what: &str) -> Self {
        Self::new(404, format!("there is no such {what} here"))
    }

    /// Too many at a time.
    pub(super) fn busy() -> Self {
        Self {
            retry_s: Some(2),
            ..Self::new(
                503,
                "several photos are being read already; try again in a moment",
            )
        }
    }

    /// A work that did not come to its end.
    pub(super) fn broken() -> Self {
        Self::new(500, "the program failed at this; what is recorded is safe")
    }

    /// The same, with the seconds after which it may be tried again.
    pub(super) fn retry_after(self, seconds: u64) -> Self {
        Self {
            retry_s: Some(seconds),
            ..self
        }
    }

    pub(super) fn status(&self) -> u16 {
        self.status.as_u16()
    }
}

impl From<Error> for Failed {
    fn from(error: Error) -> Self {
        let status = match error.kind() {
            ErrorKind::Input => 422,
            ErrorKind::Machine => 500,
        };
        Self {
            messages: error.messages(),
            ..Self::new(status, "")
        }
    }
}

impl From<JobError> for Failed {
    fn from(error: JobError) -> Self {
        match error {
            JobError::NoJob { .. } | JobError::NoOpenJob | JobError::NoStore { .. } => {
                Self::new(404, error.to_string())
            }
            other => Error::from(other).into(),
        }
    }
}

impl From<PhotoError> for Failed {
    fn from(error: PhotoError) -> Self {
        Error::from(error).into()
    }
}

impl From<Failed> for Response<Body> {
    fn from(failed: Failed) -> Self {
        let is_machine = failed.status.is_server_error();
        let document = Failure {
            schema: failure::SCHEMA.to_owned(),
            status: failure::status(),
            kind: if is_machine {
                FailureKind::Machine
            } else {
                FailureKind::Input
            },
            messages: failed.messages,
            exit_status: if is_machine { 3 } else { 2 },
        };
        let mut answer = json(&document).unwrap_or_else(|_| Response::new(Body::empty()));
        *answer.status_mut() = failed.status;
        if let Some(seconds) = failed.retry_s {
            let headers = answer.headers_mut();
            headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        answer
    }
}

/// A document.
///
/// # Errors
/// It cannot be written, which plain data can.
pub(super) fn json(document: &impl Serialize) -> Answer {
    let text = serde_json::to_vec(document).map_err(|_| Failed::broken())?;
    Ok(file(text, "application/json", "no-store"))
}

/// Bytes of a type, and how long they may be kept.
pub(super) fn file(
    bytes: impl Into<Body>,
    kind: &'static str,
    kept: &'static str,
) -> Response<Body> {
    let mut answer = Response::new(bytes.into());
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(kept));
    answer
}

/// A page made by another room, which has its style inside it: nothing in it is run but the scripts that `run` names by
/// their hash.
pub(super) fn made_page(html: String, run: &str) -> Answer {
    let mut answer = file(html, "text/html; charset=utf-8", "no-store");
    let policy = format!(
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src {run}; base-uri 'none'; form-action 'none'; \
         frame-ancestors 'none'"
    );
    let policy = HeaderValue::from_str(&policy).map_err(|_| Failed::broken())?;
    answer
        .headers_mut()
        .insert(header::CONTENT_SECURITY_POLICY, policy);
    Ok(answer)
}

/// Headers of every answer: what it may load, that its type is as said, that nobody frames it or takes it elsewhere.
pub(super) fn guarded(mut answer: Response<Body>) -> Response<Body> {
    let headers = answer.headers_mut();
    let mut put = |name: HeaderName, value: &'static str| {
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    };
    put(header::CONTENT_SECURITY_POLICY, POLICY);
    put(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    put(header::X_FRAME_OPTIONS, "DENY");
    put(header::REFERRER_POLICY, "no-referrer");
    put(
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    );
    put(
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    );
    answer
}
