//! What each address does, one file a subject.

pub(super) mod carry;
pub(super) mod clients;
pub(super) mod demo;
pub(super) mod documents;
pub(super) mod frames;
pub(super) mod marks;
pub(super) mod reaches;
pub(super) mod visits;

use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use maud::Markup;

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
