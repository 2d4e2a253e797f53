//! What can go wrong between a request and its answer, and the status that each gets.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use super::pages;
use super::view::{ErrorView, FieldError};
use crate::records::RecordsError;
use crate::screen::words::capitalized;

/// Why a request was not done.
#[derive(Debug, thiserror::Error)]
pub enum WebError {
    /// There is nothing at this address.
    #[error("there is no such {what}")]
    NotFound {
        /// What was looked for.
        what: &'static str,
    },
    /// The browser has no session: the address that the server printed was not opened in it.
    #[error("open the address that tworeach printed when it was started")]
    NoSession,
    /// The request comes from another page or for another host.
    #[error("the request does not come from this page: {header} is {found:?}")]
    NotOurPage {
        /// The header that tells.
        header: &'static str,
        /// Its value.
        found: String,
    },
    /// The request is malformed.
    #[error("{problem}")]
    Malformed {
        /// What is wrong with it.
        problem: String,
        /// The status that names the fault best.
        status: StatusCode,
    },
    /// A field has a value that is not accepted.
    #[error("{}: {}", .0.field, .0.message)]
    Field(FieldError),
    /// The marks were changed meanwhile.
    #[error("the marks were changed meanwhile: they are at revision {current}, the request is at {found}")]
    Stale {
        /// The revision that is there.
        current: i64,
        /// The revision that the request was made from.
        found: i64,
    },
    /// What was asked for cannot be done as things are.
    #[error("{reason}")]
    Refused {
        /// Why, as a sentence without a full stop.
        reason: String,
    },
    /// A danger sign stands open: nothing goes on.
    #[error("{}", refusal.trim_end_matches('.'))]
    DangerSign {
        /// What to do instead, in sentences.
        refusal: String,
    },
    /// As many of these requests as are accepted at once are under way.
    #[error("{what} under way already, at most {most} at once: try again in a moment")]
    Busy {
        /// What is under way, in the plural.
        what: &'static str,
        /// How many are accepted.
        most: usize,
    },
    /// The records cannot do it.
    #[error(transparent)]
    Records(#[from] RecordsError),
    /// The screen cannot do it.
    #[error(transparent)]
    Screen(#[from] crate::screen::ScreenError),
    /// A plan, intake or log cannot be written.
    #[error(transparent)]
    Plan(#[from] crate::plan::PlanError),
    /// The report cannot be rendered.
    #[error(transparent)]
    Report(#[from] crate::report::ReportError),
    /// A file cannot be written or read.
    #[error("cannot {step}")]
    Io {
        /// What was being done.
        step: &'static str,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// A part of the program stopped unexpectedly.
    #[error("{task} stopped unexpectedly")]
    Stopped {
        /// Which part.
        task: &'static str,
    },
}

impl WebError {
    /// The status of the answer.
    #[must_use]
    pub fn status(&self) -> StatusCode {
        match self {
            Self::NotFound { .. } => StatusCode::NOT_FOUND,
            Self::NoSession => StatusCode::UNAUTHORIZED,
            Self::NotOurPage { .. } => StatusCode::FORBIDDEN,
            Self::Malformed { status, .. } => *status,
            Self::Field(_) | Self::DangerSign { .. } => StatusCode::UNPROCESSABLE_ENTITY,
            Self::Stale { .. } | Self::Refused { .. } => StatusCode::CONFLICT,
            Self::Busy { .. } => StatusCode::TOO_MANY_REQUESTS,
            Self::Records(error) => match error {
                RecordsError::NotFound { .. } => StatusCode::NOT_FOUND,
                RecordsError::CodeTaken { .. } | RecordsError::ReachTaken | RecordsError::ClipTaken { .. } => {
                    StatusCode::UNPROCESSABLE_ENTITY
                }
                _ => StatusCode::INTERNAL_SERVER_ERROR,
            },
            Self::Screen(_) | Self::Plan(_) | Self::Report(_) | Self::Io { .. } | Self::Stopped { .. } => {
                StatusCode::INTERNAL_SERVER_ERROR
            }
        }
    }

    /// What the person at the screen is told: the fault, or nothing internal.
    fn told(&self) -> String {
        if self.status().is_server_error() {
            return "Something went wrong on this machine; what was confirmed before is saved. The terminal in which \
                    tworeach runs says more."
                .to_owned();
        }
        capitalized(&self.to_string()) + "."
    }
}

/// The text of a 5xx, for the log; an extension of the response.
#[derive(Debug, Clone)]
pub(super) struct LoggedFault(pub(super) String);

/// An error and its causes in one line.
pub(in crate::web) fn chain_words(error: &dyn std::error::Error) -> String {
    let mut words = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let text = error.to_string();
        if !words.ends_with(&text) {
            words.push_str(": ");
            words.push_str(&text);
        }
        cause = error.source();
    }
    words
}

fn with_fault(mut response: Response, error: &WebError) -> Response {
    if error.status().is_server_error() {
        response.extensions_mut().insert(LoggedFault(chain_words(error)));
    }
    response
}

impl IntoResponse for WebError {
    fn into_response(self) -> Response {
        let view = ErrorView { status: self.status().as_u16(), text: self.told() };
        with_fault((self.status(), Html(pages::error(&view).into_string())).into_response(), &self)
    }
}

/// An error of the JSON interface: `{ "message" }`, with `field` where one is at fault and `revision` where it is stale.
#[derive(Debug)]
pub(super) struct ApiError(pub(super) WebError);

impl<E: Into<WebError>> From<E> for ApiError {
    fn from(error: E) -> Self {
        Self(error.into())
    }
}

impl IntoResponse for ApiError {
    fn into_response(self) -> Response {
        let body = match &self.0 {
            WebError::Field(error) => serde_json::json!({ "field": error.field, "message": error.message }),
            WebError::Stale { current, .. } => serde_json::json!({ "message": self.0.told(), "revision": current }),
            _ => serde_json::json!({ "message": self.0.told() }),
        };
        with_fault((self.0.status(), Json(body)).into_response(), &self.0)
    }
}
