//! What a request says, taken apart with faults that name the field.

use std::collections::BTreeMap;

use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, PathRejection};
use axum::extract::{FromRequest, FromRequestParts, Path, RawQuery, Request};
use axum::http::request::Parts;
use axum::http::{StatusCode, header};

use super::error::WebError;
use super::view::{FieldError, FormView};
use crate::records::Word;

/// The longest text of a field, characters, unless a field says otherwise.
const TEXT_LENGTH_MAX: usize = 2000;

/// The number in a path such as `/visits/{id}`.
pub(super) struct Id(pub(super) i64);

impl<S: Send + Sync> FromRequestParts<S> for Id {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        let Path(text) = path::<String, S>(parts, state).await?;
        number(&text).map(Self)
    }
}

/// The number and the name in a path such as `/api/reaches/{id}/frames/{name}`.
pub(super) struct IdAndName(pub(super) i64, pub(super) String);

impl<S: Send + Sync> FromRequestParts<S> for IdAndName {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        let Path((text, name)) = path::<(String, String), S>(parts, state).await?;
        Ok(Self(number(&text)?, name))
    }
}

/// A client's code in a path.
pub(super) struct Code(pub(super) String);

impl<S: Send + Sync> FromRequestParts<S> for Code {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        path::<String, S>(parts, state).await.map(|Path(code)| Self(code))
    }
}

/// A client's code and a number in a path such as `/clients/{code}/log/{id}`.
pub(super) struct CodeAndId(pub(super) String, pub(super) i64);

impl<S: Send + Sync> FromRequestParts<S> for CodeAndId {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        let Path((code, text)) = path::<(String, String), S>(parts, state).await?;
        Ok(Self(code, number(&text)?))
    }
}

async fn path<T, S>(parts: &mut Parts, state: &S) -> Result<Path<T>, WebError>
where
    T: serde::de::DeserializeOwned + Send,
    S: Send + Sync,
{
    let found: Result<Path<T>, PathRejection> = Path::from_request_parts(parts, state).await;
    found.map_err(|_| WebError::NotFound { what: "page" })
}

fn number(text: &str) -> Result<i64, WebError> {
    text.parse().map_err(|_| WebError::NotFound { what: "page" })
}

/// What follows the question mark; of a name given twice the last counts.
pub(super) struct Parameters(BTreeMap<String, String>);

impl Parameters {
    pub(super) fn text(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(String::as_str)
    }

    /// A whole number from 1; 1 where there is none.
    pub(super) fn count(&self, name: &'static str, most: u32) -> Result<u32, WebError> {
        let Some(text) = self.text(name) else { return Ok(1) };
        match text.parse() {
            Ok(number) if (1..=most).contains(&number) => Ok(number),
            _ => Err(field(name, format!("found {text:?}, expected a whole number from 1 to {most}"))),
        }
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Parameters {
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        let RawQuery(query) = RawQuery::from_request_parts(parts, state).await.unwrap_or(RawQuery(None));
        Ok(Self(form_urlencoded::parse(query.unwrap_or_default().as_bytes()).into_owned().collect()))
    }
}

/// A body within the bound.
pub(super) struct Body(pub(super) Bytes);

impl<S: Send + Sync> FromRequest<S> for Body {
    type Rejection = WebError;

    async fn from_request(request: Request, state: &S) -> Result<Self, WebError> {
        let body: Result<Bytes, BytesRejection> = Bytes::from_request(request, state).await;
        body.map(Self).map_err(|rejection| {
            let status = rejection.status();
            let (problem, status) = if status == StatusCode::PAYLOAD_TOO_LARGE {
                ("the request is too long", status)
            } else {
                ("the request was cut off", StatusCode::BAD_REQUEST)
            };
            WebError::Malformed { problem: problem.to_owned(), status }
        })
    }
}

/// A JSON document of at most the usual size.
pub(super) struct JsonBody(pub(super) serde_json::Value);

impl<S: Send + Sync> FromRequest<S> for JsonBody {
    type Rejection = super::error::ApiError;

    async fn from_request(request: Request, state: &S) -> Result<Self, Self::Rejection> {
        let is_json = has_type(&request, "application/json");
        let Body(bytes) = Body::from_request(request, state).await?;
        if !is_json {
            let problem = "expected a body of type application/json".to_owned();
            return Err(WebError::Malformed { problem, status: StatusCode::UNSUPPORTED_MEDIA_TYPE }.into());
        }
        serde_json::from_slice(&bytes).map(Self).map_err(|error| {
            let problem = format!("the body is not JSON: {error}");
            WebError::Malformed { problem, status: StatusCode::BAD_REQUEST }.into()
        })
    }
}

fn has_type(request: &Request, wanted: &str) -> bool {
    let found = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    found.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case(wanted))
}

/// A form, field by field: each that is taken is checked, and what is wrong is kept for the page.
#[derive(Debug, Default)]
pub(super) struct Form {
    pub(super) view: FormView,
}

impl<S: Send + Sync> FromRequest<S> for Form {
    type Rejection = WebError;

    async fn from_request(request: Request, state: &S) -> Result<Self, WebError> {
        let is_form = has_type(&request, "application/x-www-form-urlencoded");
        let has_no_type = !request.headers().contains_key(header::CONTENT_TYPE);
        let Body(bytes) = Body::from_request(request, state).await?;
        if bytes.is_empty() && (is_form || has_no_type) {
            return Ok(Self::default());
        }
        if !is_form {
            let problem = "expected a body of type application/x-www-form-urlencoded".to_owned();
            return Err(WebError::Malformed { problem, status: StatusCode::UNSUPPORTED_MEDIA_TYPE });
        }
        let mut form = Self::default();
        for (name, value) in form_urlencoded::parse(&bytes).into_owned() {
            form.add(name, value)?;
        }
        Ok(form)
    }
}

impl Form {
    /// Adds a field as it was sent.
    pub(super) fn add(&mut self, name: String, value: String) -> Result<(), WebError> {
        if self.view.values.contains_key(&name) {
            return Err(field(&name, "is there twice".to_owned()));
        }
        self.view.values.insert(name, value);
        Ok(())
    }

    /// Whether all fields taken so far are right.
    pub(super) fn is_right(&self) -> bool {
        self.view.errors.is_empty()
    }

    /// Notes what is wrong with a field.
    pub(super) fn fault(&mut self, field: &str, message: impl Into<String>) {
        self.view.errors.push(FieldError { field: field.to_owned(), message: message.into() });
    }

    /// Says in each fault whose it is, where it does not say so yet. `label` gives the label of a field; a field without one keeps
    /// its faults as they are.
    pub(super) fn name_faults(&mut self, label: impl Fn(&str) -> Option<String>) {
        for FieldError { field, message } in &mut self.view.errors {
            let Some(label) = label(field).filter(|label| !says(message, label)) else { continue };
            // a predicate goes on from its subject, all else is set apart
            let is_predicate =
                ["is ", "has ", "holds ", "must ", "rates "].iter().any(|verb| message.starts_with(verb));
            *message = if is_predicate { format!("{label} {message}") } else { format!("{label}: {message}") };
        }
    }

    /// What was typed, trimmed; `None` where nothing was.
    pub(super) fn text(&mut self, name: &str) -> Option<String> {
        self.text_up_to(name, TEXT_LENGTH_MAX)
    }

    /// The same, of at most `length_max` characters.
    pub(super) fn text_up_to(&mut self, name: &str, length_max: usize) -> Option<String> {
        let text = self.view.value(name).trim().to_owned();
        let length = text.chars().count();
        if length > length_max {
            self.fault(name, format!("{length} characters are too many: at most {length_max}"));
            return None;
        }
        if let Some(letter) = text.chars().find(|letter| is_control(*letter) && !matches!(letter, '\n' | '\r' | '\t')) {
            self.fault(name, unseen_words(letter));
            return None;
        }
        (!text.is_empty()).then_some(text)
    }

    /// What was typed on one line, without ends of lines and tabs; `None` where nothing was.
    pub(super) fn line_up_to(&mut self, name: &str, length_max: usize) -> Option<String> {
        let text = self.text_up_to(name, length_max)?;
        if text.contains(['\n', '\r', '\t']) {
            self.fault(name, "must be one line, without tabs");
            return None;
        }
        if let Some(letter) = text.chars().find(|letter| is_unseen(*letter)) {
            self.fault(name, unseen_words(letter));
            return None;
        }
        Some(text)
    }

    /// One of several words.
    pub(super) fn word<T: Word>(&mut self, name: &str) -> Option<T> {
        let word = self.optional_word(name);
        if word.is_none() && self.view.error(name).is_none() {
            self.fault(name, format!("choose {}", words::<T>()));
        }
        word
    }

    /// One of several words, or nothing.
    pub(super) fn optional_word<T: Word>(&mut self, name: &str) -> Option<T> {
        let text = self.text(name)?;
        let word = T::of_word(&text).ok();
        if word.is_none() {
            self.fault(name, format!("found {text:?}, expected {}", words::<T>()));
        }
        word
    }

    /// A number within `[least, most]`, or nothing; a decimal comma is taken.
    pub(super) fn number(&mut self, name: &str, [least, most]: [f64; 2], unit: &str) -> Option<f64> {
        let text = self.text(name)?;
        let number = text.replace(',', ".").parse::<f64>().ok().filter(|number| (least..=most).contains(number));
        if number.is_none() {
            self.fault(
                name,
                format!("found {text:?}, expected a number from {least} to {most} {unit}").trim().to_owned(),
            );
        }
        number
    }

    /// A box that is ticked or not.
    pub(super) fn flag(&mut self, name: &str) -> bool {
        match self.text(name).as_deref() {
            Some("on") => true,
            None => false,
            Some(found) => {
                let found = format!("found {found:?}, expected on or nothing");
                self.fault(name, found);
                false
            }
        }
    }
}

fn says(message: &str, label: &str) -> bool {
    message.to_lowercase().contains(&label.to_lowercase())
}

/// Whether a character controls, or turns the direction of what follows.
fn is_control(letter: char) -> bool {
    letter.is_control() || matches!(letter, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Whether a character shows nothing: two codes that look the same must be the same.
fn is_unseen(letter: char) -> bool {
    let is_formatting = matches!(
        letter,
        '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2060}'..='\u{206f}' | '\u{feff}'
            | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}'
    );
    is_control(letter) || is_formatting
}

fn unseen_words(letter: char) -> String {
    format!("holds a character that cannot be seen, U+{:04X}: type it anew", u32::from(letter))
}

fn words<T: Word>() -> String {
    let words: Vec<&str> = T::WORDS.iter().map(|(word, _)| *word).collect();
    match words.split_last() {
        Some((last, others)) if !others.is_empty() => format!("{} or {last}", others.join(", ")),
        _ => words.concat(),
    }
}

/// An error that names a field.
pub(super) fn field(name: &str, message: String) -> WebError {
    WebError::Field(FieldError { field: name.to_owned(), message })
}
