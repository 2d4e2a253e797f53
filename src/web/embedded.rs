//! The files of the page, embedded in the binary and served under `/assets/`.

use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::error::WebError;
use crate::report::{BOARD_CSS, BOARD_MODULE};

const CSS: &str = "text/css; charset=utf-8";
const MODULE: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";
const FONT: &str = "font/woff2";

/// Name, media type and content of every file.
const FILES: &[(&str, &str, &[u8])] = &[
    ("board.css", CSS, BOARD_CSS.as_bytes()),
    ("board.js", MODULE, BOARD_MODULE.as_bytes()),
    ("sheet.css", CSS, include_bytes!("assets/sheet.css")),
    ("case.css", CSS, include_bytes!("assets/case.css")),
    ("mark.css", CSS, include_bytes!("assets/mark.css")),
    ("icon.svg", SVG, include_bytes!("assets/icon.svg")),
    ("mark.js", MODULE, include_bytes!("assets/mark.js")),
    ("mark-carry.js", MODULE, include_bytes!("assets/mark-carry.js")),
    ("mark-curve.js", MODULE, include_bytes!("assets/mark-curve.js")),
    ("mark-draw.js", MODULE, include_bytes!("assets/mark-draw.js")),
    ("mark-follow.js", MODULE, include_bytes!("assets/mark-follow.js")),
    ("mark-frames.js", MODULE, include_bytes!("assets/mark-frames.js")),
    ("mark-model.js", MODULE, include_bytes!("assets/mark-model.js")),
    ("mark-numbers.js", MODULE, include_bytes!("assets/mark-numbers.js")),
    ("mark-pictures.js", MODULE, include_bytes!("assets/mark-pictures.js")),
    ("mark-save.js", MODULE, include_bytes!("assets/mark-save.js")),
    ("mark-stage.js", MODULE, include_bytes!("assets/mark-stage.js")),
    ("mark-view.js", MODULE, include_bytes!("assets/mark-view.js")),
    ("palms.js", MODULE, include_bytes!("assets/palms.js")),
    ("upload.js", MODULE, include_bytes!("assets/upload.js")),
    // The report's own typeface, so that page and report look alike; its licence lies beside the files.
    ("inter-400.woff2", FONT, include_bytes!("../report/fonts/Inter-Regular.subset.woff2")),
    ("inter-600.woff2", FONT, include_bytes!("../report/fonts/Inter-SemiBold.subset.woff2")),
];

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
