//! What the answers on danger signs mean for everything that follows them: a visit's start, sheet, uploads, marks, result and
//! report all ask here, and get the same answer. Common practice, no source.

use super::dates::day_words;
use super::error::WebError;
use super::text;
use crate::records::{AnsweredBy, Records, Screening, ScreeningOutcome};
use crate::report::DangerNote;

/// Why nothing may go on with a client, as a sentence; `None` where it may.
pub(super) fn refusal(records: &Records, client: i64) -> Result<Option<String>, WebError> {
    Ok(refusal_of(records.screening(client)?.as_ref()))
}

/// Why nothing may go on with a visit, as a sentence; `None` where it may. A sign that came up after its start counts.
pub(super) fn refusal_of_visit(records: &Records, visit: i64) -> Result<Option<String>, WebError> {
    refusal(records, records.visit(visit)?.client)
}

/// The refusal of a visit as an error.
pub(super) fn must_not_be_stopped(records: &Records, visit: i64) -> Result<(), WebError> {
    match refusal_of_visit(records, visit)? {
        Some(refusal) => Err(WebError::DangerSign { refusal }),
        None => Ok(()),
    }
}

/// What a visit's report says of danger signs; `None` where there is none.
pub(super) fn note(records: &Records, visit: i64) -> Result<Option<DangerNote>, WebError> {
    let screening = records.screening(records.visit(visit)?.client)?;
    if let Some(text) = refusal_of(screening.as_ref()) {
        return Ok(Some(DangerNote { text, is_stop: true }));
    }
    let goes_on = screening.filter(|screening| screening.answers.outcome() == ScreeningOutcome::ClinicianGoesOn);
    Ok(goes_on.map(|Screening { answers, made_on }| {
        let asked: Vec<&str> = answers.signs.iter().map(|sign| text::danger_sign(*sign)).collect();
        let reason = answers.reason.unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" ");
        DangerNote { text: text::danger::goes_on(&day_words(&made_on), &asked.join(" "), &reason), is_stop: false }
    }))
}

fn refusal_of(screening: Option<&Screening>) -> Option<String> {
    let Some(Screening { answers, .. }) = screening else {
        return Some(text::danger::NOT_ASKED.to_owned());
    };
    let refusal = match answers.outcome() {
        ScreeningOutcome::Clear | ScreeningOutcome::ClinicianGoesOn => return None,
        ScreeningOutcome::Emergency => text::danger::EMERGENCY,
        ScreeningOutcome::SeeClinician if answers.answered_by == AnsweredBy::Clinician => text::danger::NO_REASON,
        ScreeningOutcome::SeeClinician => text::danger::SEE_CLINICIAN,
    };
    Some(refusal.to_owned())
}
