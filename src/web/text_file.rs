//! A text file that a form sends, such as a log or a plan.

use axum::extract::multipart::{Multipart, MultipartError};
use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;

use super::error::WebError;

/// The largest file, bytes: a year of sessions takes some tens of kilobytes.
pub(super) const TEXT_FILE_BYTES_MAX: usize = 1 << 20;

/// The largest request that holds one.
pub(super) const TEXT_FILE_BODY_MAX: usize = TEXT_FILE_BYTES_MAX + (16 << 10);

/// The text, or why there is none, as a sentence without a full stop.
pub(super) struct TextFile(pub(super) Result<String, String>);

impl<S: Send + Sync> FromRequest<S> for TextFile {
    type Rejection = WebError;

    async fn from_request(request: Request, state: &S) -> Result<Self, WebError> {
        let mut multipart = Multipart::from_request(request, state).await.map_err(|_| {
            let problem = "expected a body of type multipart/form-data".to_owned();
            WebError::Malformed { problem, status: StatusCode::UNSUPPORTED_MEDIA_TYPE }
        })?;
        let mut found = None;
        while let Some(field) = multipart.next_field().await.map_err(|error| cut_off(&error))? {
            if field.name() != Some("file") {
                continue;
            }
            let bytes = field.bytes().await.map_err(|error| cut_off(&error))?;
            if found.is_some() {
                return Err(super::request::field("file", "is there twice, expected one file".to_owned()));
            }
            found = Some(bytes);
        }
        Ok(Self(match found {
            None => Err("choose a file".to_owned()),
            Some(bytes) if bytes.is_empty() => Err("choose a file; an empty one is none".to_owned()),
            Some(bytes) if bytes.len() > TEXT_FILE_BYTES_MAX => {
                Err(format!("the file is larger than {TEXT_FILE_BYTES_MAX} bytes"))
            }
            Some(bytes) => String::from_utf8(bytes.to_vec()).map_err(|_| "the file is not UTF-8 text".to_owned()),
        }))
    }
}

fn cut_off(error: &MultipartError) -> WebError {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE {
        let problem = format!("the file is larger than {TEXT_FILE_BYTES_MAX} bytes");
        return WebError::Malformed { problem, status: StatusCode::PAYLOAD_TOO_LARGE };
    }
    let problem = format!("the upload was cut off or is malformed: {}", error.body_text());
    WebError::Malformed { problem, status: StatusCode::BAD_REQUEST }
}
