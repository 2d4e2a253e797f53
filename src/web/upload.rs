//! A clip that a browser sends: streamed to the disk within bounds, looked at by a child, and only then taken.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::Multipart;
use axum::extract::multipart::{Field, MultipartError};
use axum::http::StatusCode;
use tempfile::TempPath;
use tokio::io::AsyncWriteExt as _;
use tokio::time::timeout;

use super::decode::parent;
use super::decode::program::Report;
use super::error::WebError;
use super::request::Form;
use super::state::{App, blocking};
use crate::records::{Accepted, Media, MediaHash, ReachFacts};

/// Fields of an upload, the file included, at most.
const FIELDS_MAX: usize = 16;

/// The longest text of a field, bytes.
const TEXT_BYTES_MAX: usize = 4096;

/// How long an upload may take in all, and without a byte.
const UPLOAD_TIME: Duration = Duration::from_secs(3600);
const SILENCE: Duration = Duration::from_secs(60);

/// What was sent.
pub(super) struct Upload {
    /// The fields beside the file.
    pub(super) form: Form,
    /// The files, without empty ones.
    pub(super) files: Vec<Received>,
}

/// A file that was sent, under a temporary name.
pub(super) struct Received {
    path: TempPath,
    hash: String,
    bytes: u64,
}

impl Received {
    /// Where it is until it is dropped.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }
}

/// Takes an upload of at most `files_max` files, which together are as large as one may be. Fields that are wrong are noted in its
/// form.
pub(super) async fn receive(app: &App, multipart: Multipart, files_max: usize) -> Result<Upload, WebError> {
    let _place =
        app.uploads.try_acquire().map_err(|_| WebError::Busy { what: "uploads are", most: app.limits.uploads })?;
    match timeout(UPLOAD_TIME, receive_fields(app, multipart, files_max)).await {
        Ok(upload) => upload,
        Err(_) => Err(too_slow()),
    }
}

async fn receive_fields(app: &App, mut multipart: Multipart, files_max: usize) -> Result<Upload, WebError> {
    let mut upload = Upload { form: Form::default(), files: Vec::new() };
    let mut room_bytes = app.limits.upload_bytes;
    let (mut fields, mut files) = (0, 0);
    while let Some(field) = within_silence(multipart.next_field()).await? {
        fields += 1;
        if fields > FIELDS_MAX + files_max {
            let problem = format!("an upload has more than {} fields", FIELDS_MAX + files_max);
            return Err(WebError::Malformed { problem, status: StatusCode::BAD_REQUEST });
        }
        let Some(name) = field.name().map(str::to_owned) else {
            let problem = "a field of the upload has no name".to_owned();
            return Err(WebError::Malformed { problem, status: StatusCode::BAD_REQUEST });
        };
        if name != "file" {
            let text = text_of(field, &name).await?;
            upload.form.add(name, text)?;
            continue;
        }
        files += 1;
        if files > files_max {
            return Err(super::request::field("file", too_many(files_max)));
        }
        if let Some(file) = file_of(app, field, room_bytes).await? {
            room_bytes -= file.bytes;
            upload.files.push(file);
        }
    }
    Ok(upload)
}

async fn text_of(mut field: Field<'_>, name: &str) -> Result<String, WebError> {
    let mut bytes = Vec::new();
    while let Some(chunk) = within_silence(field.chunk()).await? {
        bytes.extend_from_slice(&chunk);
        if bytes.len() > TEXT_BYTES_MAX {
            return Err(super::request::field(name, format!("is longer than {TEXT_BYTES_MAX} bytes")));
        }
    }
    String::from_utf8(bytes).map_err(|_| super::request::field(name, "is not UTF-8 text".to_owned()))
}

fn too_many(files_max: usize) -> String {
    if files_max == 1 {
        "is there twice, expected one clip or still".to_owned()
    } else {
        format!("is there more than {files_max} times: choose fewer files")
    }
}

/// Writes the file to the disk. Its name is not looked at.
async fn file_of(app: &App, mut field: Field<'_>, room_bytes: u64) -> Result<Option<Received>, WebError> {
    let failed = |source| WebError::Io { step: "keep an upload", source };
    let (file, path) = app.records.incoming()?.into_parts();
    let mut file = tokio::fs::File::from_std(file);
    let mut hash = MediaHash::default();
    let mut bytes = 0;
    while let Some(chunk) = within_silence(field.chunk()).await? {
        bytes += u64::try_from(chunk.len()).unwrap_or(u64::MAX);
        if bytes > room_bytes {
            let most = app.limits.upload_bytes;
            let problem = format!("the file is larger than {most} bytes, cut it to what is needed");
            return Err(WebError::Malformed { problem, status: StatusCode::PAYLOAD_TOO_LARGE });
        }
        hash.update(&chunk);
        file.write_all(&chunk).await.map_err(failed)?;
    }
    file.flush().await.map_err(failed)?;
    Ok((bytes > 0).then(|| Received { path, hash: hash.finish(), bytes }))
}

/// Has the file looked at and takes it into the records as a reach of a visit. `Err` in `Ok` says why the file is refused.
pub(super) async fn accept(
    app: Arc<App>,
    visit: i64,
    facts: ReachFacts,
    received: Received,
) -> Result<Result<i64, String>, WebError> {
    let previews = app.records.incoming()?.into_temp_path();
    let report = {
        let stopped = |_| WebError::Stopped { task: "the queue of uploads" };
        let _place = app.checks.acquire().await.map_err(stopped)?;
        parent::check(&app.decoder, &received.path, &previews).await?
    };
    let facts_of_media = match report {
        Report::Accepted(facts) => facts,
        Report::Refused(reason) => return Ok(Err(reason)),
    };
    if facts_of_media.frame_times_s.is_empty() {
        return Ok(Err("this file has no frame that can be shown".to_owned()));
    }
    let media = Media { hash: received.hash, bytes: received.bytes, facts: facts_of_media };
    blocking(move || {
        let accepted = Accepted { media, file: &received.path, previews: &previews };
        app.records.add_reach(visit, &facts, &accepted).map(Ok).map_err(WebError::from)
    })
    .await
}

/// Keeps bytes that are in the program as if they had been sent.
pub(super) fn receive_bytes(app: &App, bytes: &[u8]) -> Result<Received, WebError> {
    use std::io::Write as _;
    let failed = |source| WebError::Io { step: "keep an upload", source };
    let mut file = app.records.incoming()?;
    file.write_all(bytes).map_err(failed)?;
    let bytes_count = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
    Ok(Received { path: file.into_temp_path(), hash: crate::records::hash_words(bytes), bytes: bytes_count })
}

async fn within_silence<T>(step: impl Future<Output = Result<T, MultipartError>>) -> Result<T, WebError> {
    match timeout(SILENCE, step).await {
        Ok(done) => done.map_err(|error| {
            let problem = format!("the upload was cut off or is malformed: {}", error.body_text());
            WebError::Malformed { problem, status: StatusCode::BAD_REQUEST }
        }),
        Err(_) => Err(too_slow()),
    }
}

fn too_slow() -> WebError {
    let problem = "the upload took too long".to_owned();
    WebError::Malformed { problem, status: StatusCode::REQUEST_TIMEOUT }
}
