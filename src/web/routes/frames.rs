//! Frames of clips as JPEG.

use std::sync::Arc;

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::records::{Media, Reach, Records};
use crate::web::decode::previews::read_preview;
use crate::web::error::{ApiError, WebError};
use crate::web::frames::ClipFrames;
use crate::web::request::{IdAndName, Parameters, field};
use crate::web::state::{App, blocking};

const NO_FRAME: WebError = WebError::NotFound { what: "frame" };

/// `GET /api/reaches/{id}/frames/{index}.jpg?size=preview|full`.
pub async fn frame(
    State(app): State<Arc<App>>,
    IdAndName(id, name): IdAndName,
    parameters: Parameters,
) -> Result<Response, ApiError> {
    let index: usize = name.strip_suffix(".jpg").and_then(|index| index.parse().ok()).ok_or(NO_FRAME)?;
    let is_preview = match parameters.text("size") {
        None | Some("full") => false,
        Some("preview") => true,
        Some(found) => return Err(field("size", format!("found {found:?}, expected preview or full")).into()),
    };
    let known = app.clone();
    let (reach, preview) = blocking(move || {
        let reach = known.records.reach(id)?;
        let preview = is_preview.then(|| preview(&known.records, &reach, index)).transpose()?;
        Ok((reach, preview))
    })
    .await?;
    let jpeg = match preview {
        Some(jpeg) => axum::body::Bytes::from(jpeg),
        None => app.frames.frame(&clip_frames(&app.records, &reach.media), index).await?.ok_or(NO_FRAME)?,
    };
    Ok(([(header::CONTENT_TYPE, "image/jpeg")], jpeg).into_response())
}

fn preview(records: &Records, reach: &Reach, index: usize) -> Result<Vec<u8>, WebError> {
    let failed = |source| WebError::Io { step: "read a small picture", source };
    let index = u64::try_from(index).map_err(|_| NO_FRAME)?;
    read_preview(&records.previews_path(&reach.media), index).map_err(failed)?.ok_or(NO_FRAME)
}

/// A clip as the walkers need it.
pub(super) fn clip_frames(records: &Records, media: &Media) -> ClipFrames {
    ClipFrames {
        hash: media.hash.clone(),
        path: records.media_path(media),
        times_s: media.facts.frame_times_s.clone().into(),
    }
}
