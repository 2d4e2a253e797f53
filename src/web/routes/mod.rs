//! What each address does, one file a subject.

pub(super) mod alone;
pub(super) mod carry;
pub(super) mod clients;
pub(super) mod course;
pub(super) mod demo;
pub(super) mod documents;
pub(super) mod follow;
pub(super) mod frames;
pub(super) mod lenses;
pub(super) mod intake;
pub(super) mod log;
pub(super) mod marks;
pub(super) mod plan;
mod plan_form;
pub(super) mod reaches;
pub(super) mod visits;

use std::hash::{DefaultHasher, Hash, Hasher as _};

use axum::extract::Multipart;
use axum::extract::multipart::MultipartRejection;
use axum::http::{StatusCode, Uri};
use axum::response::{Html, IntoResponse, Redirect, Response};
use maud::Markup;

use super::error::WebError;

/// A page.
fn page(markup: Markup) -> Response {
    Html(markup.into_string()).into_response()
}

/// A page with its form again, because a field is wrong.
fn page_again(markup: Markup) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, Html(markup.into_string())).into_response()
}

/// On to another page, after something was done.
fn onwards(path: &str) -> Response {
    Redirect::to(path).into_response()
}

/// `GET` on an address that only takes something, as when a page that was refused is opened again: on to the page above it.
pub(super) async fn upwards(uri: Uri) -> Response {
    let above = uri.path().rsplit_once('/').map_or("", |(above, _)| above);
    onwards(if above.is_empty() { "/" } else { above })
}

/// Tells what a form was filled with from what it is by now.
fn state_of<T: Hash + ?Sized>(content: &T) -> String {
    let mut hasher = DefaultHasher::new();
    content.hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

/// The parts of an upload's body.
fn parts(multipart: Result<Multipart, MultipartRejection>) -> Result<Multipart, WebError> {
    multipart.map_err(|_| {
        let problem = "expected a body of type multipart/form-data".to_owned();
        WebError::Malformed { problem, status: StatusCode::UNSUPPORTED_MEDIA_TYPE }
    })
}
