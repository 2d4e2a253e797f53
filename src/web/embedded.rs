//! The files of the page, embedded in the binary and served under `/assets/`.

use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::error::WebError;

const CSS: &str = "text/css; charset=utf-8";
#[allow(dead_code, reason = "the table below takes modules as they come")]
const MODULE: &str = "text/javascript; charset=utf-8";
#[allow(dead_code, reason = "the table below takes drawings as they come")]
const SVG: &str = "image/svg+xml";

/// Name, media type and content of every file.
const FILES: &[(&str, &str, &[u8])] = &[("sheet.css", CSS, include_bytes!("assets/sheet.css"))];

/// `GET /assets/{name}`. The browser keeps it, and asks each time whether it is still the same.
pub(super) async fn asset(Path(name): Path<String>, headers: HeaderMap) -> Result<Response, WebError> {
    let (_, kind, bytes) =
        FILES.iter().find(|(known, _, _)| *known == name).ok_or(WebError::NotFound { what: "file" })?;
    let tag = format!("\"{}\"", crate::records::hash_words(bytes));
    let caching = [(header::ETAG, tag.clone()), (header::CACHE_CONTROL, "no-cache".to_owned())];
    let known = headers.get(header::IF_NONE_MATCH).and_then(|value| value.to_str().ok());
    if known.is_some_and(|known| known.contains(&tag)) {
        return Ok((StatusCode::NOT_MODIFIED, caching).into_response());
    }
    Ok((caching, [(header::CONTENT_TYPE, *kind)], *bytes).into_response())
}
