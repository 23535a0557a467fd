//! The body of a request, within a size and a time.

use super::answer::Failed;
use axum::body::{Body, HttpBody as _, to_bytes};
use axum::http::{HeaderMap, header};
use serde::de::DeserializeOwned;
use std::future::poll_fn;
use std::pin::Pin;
use std::time::Duration;

/// What a photo may weigh: phones write 2 to 25 MB.
pub(super) const MOST_PHOTO_BYTES: usize = 40_000_000;

/// What a document may weigh: marks of many flanks take some kilobytes.
const MOST_DOCUMENT_BYTES: usize = 1 << 20;

/// Longest time for a body: a photo of 8 MB at a megabit a second.
#[cfg(not(test))]
const MOST_TIME: Duration = Duration::from_secs(65);
/// As long as a test has patience.
#[cfg(test)]
const MOST_TIME: Duration = Duration::from_secs(2);

/// Longest time in which a body that is not wanted passes by.
#[cfg(not(test))]
const PASS_TIME: Duration = Duration::from_secs(20);
#[cfg(test)]
const PASS_TIME: Duration = Duration::from_millis(500);

/// A body's bytes. One that says it is too large is not read at all.
///
/// # Errors
/// It is too large, too slow, or breaks off.
async fn bytes(headers: &HeaderMap, body: Body, most: usize) -> Result<Vec<u8>, Failed> {
    let too_large = || {
        Failed::new(
            413,
            format!(
                "at most {} MB are taken; choose a smaller photo",
                most.div_ceil(1_000_000)
            ),
        )
    };
    let said = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|length| length.to_str().ok()?.parse::<usize>().ok());
    if said.is_some_and(|said| said > most) {
        return Err(too_large());
    }
    match tokio::time::timeout(MOST_TIME, to_bytes(body, most)).await {
        Err(_) => Err(Failed::new(
            408,
            "the photo took too long to arrive; go nearer to the access point and send it again",
        )),
        Ok(Ok(bytes)) => Ok(bytes.into()),
        // The one limit of `to_bytes` is the size; all else is a connection that broke.
        Ok(Err(error)) if is_too_long(&error) => Err(too_large()),
        Ok(Err(_)) => Err(Failed::new(
            400,
            "the photo broke off on its way; send it again",
        )),
    }
}

/// Lets a body that is not wanted now pass by, a piece at a time: whoever is cut off while sending does not hear the answer.
pub(super) async fn pass_by(mut body: Body) {
    let pieces = async {
        let mut passed = 0;
        while let Some(Ok(piece)) = poll_fn(|of| Pin::new(&mut body).poll_frame(of)).await {
            passed += piece.data_ref().map_or(0, |bytes| bytes.len());
            if passed > MOST_PHOTO_BYTES {
                return;
            }
        }
    };
    let _ = tokio::time::timeout(PASS_TIME, pieces).await;
}

fn is_too_long(error: &axum::Error) -> bool {
    std::error::Error::source(error)
        .is_some_and(|source| source.to_string().contains("length limit"))
}

/// A photo's bytes.
///
/// # Errors
/// As of any body; a type that is no picture's.
pub(super) async fn photo(headers: &HeaderMap, body: Body) -> Result<Vec<u8>, Failed> {
    let kind = content_type(headers);
    if !(kind.starts_with("image/") || kind == "application/octet-stream") {
        return Err(Failed::new(
            415,
            "this is not sent as a picture; send a JPEG, PNG, WebP, TIFF or HEIC file",
        ));
    }
    bytes(headers, body, MOST_PHOTO_BYTES).await
}

/// The text of a document.
///
/// # Errors
/// As of any body; a type that is not JSON's, bytes that are no text.
pub(super) async fn text(headers: &HeaderMap, body: Body) -> Result<String, Failed> {
    if content_type(headers) != "application/json" {
        return Err(Failed::new(415, "a document is sent as application/json"));
    }
    let bytes = bytes(headers, body, MOST_DOCUMENT_BYTES).await?;
    String::from_utf8(bytes).map_err(|_| Failed::new(400, "the document is no text (UTF-8)"))
}

/// A document.
///
/// # Errors
/// As [`text`]; a document of another shape.
pub(super) async fn document<T: DeserializeOwned>(
    headers: &HeaderMap,
    body: Body,
) -> Result<T, Failed> {
    let text = text(headers, body).await?;
    serde_json::from_str(&text)
        .map_err(|error| Failed::new(400, format!("the document is not as expected: {error}")))
}

fn content_type(headers: &HeaderMap) -> String {
    let said = headers.get(header::CONTENT_TYPE);
    let said = said.and_then(|said| said.to_str().ok()).unwrap_or_default();
    let kind = said.split(';').next().unwrap_or_default();
    kind.trim().to_ascii_lowercase()
}
