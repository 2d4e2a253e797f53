//! Screening alone: the start, the steps, the answer.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;

use super::clients::{answers, client_facts, client_path};
use super::marks::landmarks_of_view;
use super::visits::{RESULT_WAIT, result_view, visit_view};
use super::{onwards, page, page_again};
use crate::geometry::Side;
use crate::pose::View;
use crate::records::{AnsweredBy, Answers, DangerSign, Records, RecordsError};
use crate::screen::{Call, Occasion, ResultSide};
use crate::web::danger;
use crate::web::error::WebError;
use crate::web::looks::Looks;
use crate::web::pages;
use crate::web::request::{Form, Id};
use crate::web::state::{App, blocking};
use crate::web::text::alone as words;
use crate::web::view::{AloneResultView, AloneStartView, AloneView, AnswerView, FormView, LandmarkView, VisitView};

/// `GET /alone`.
pub async fn start() -> Response {
    page(pages::alone_start(&start_view(FormView::default())))
}

/// `POST /alone`: a client with a visit that is done alone.
pub async fn begin(State(app): State<Arc<App>>, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let (answers, facts) = (answers(&mut form), client_facts(&mut form));
        let (Some(answers), Some(facts), true) = (answers, facts, form.is_right()) else {
            return Ok(page_again(pages::alone_start(&start_view(form.view))));
        };
        // whoever is alone answers for themselves
        let answers = Answers { answered_by: AnsweredBy::Client, reason: None, ..answers };
        let client = match app.records.add_client(&facts, &answers) {
            Ok(client) => client,
            Err(RecordsError::CodeTaken { code }) => {
                form.fault("code", words::code_taken(&code));
                return Ok(page_again(pages::alone_start(&start_view(form.view))));
            }
            Err(error) => return Err(error.into()),
        };
        if !answers.may_visit() {
            return Ok(onwards(&client_path(&client.facts.code)));
        }
        let visit = app.records.add_visit(client.id)?.id;
        app.records.set_alone(visit)?;
        Ok(onwards(&alone_path(visit)))
    })
    .await
}

/// `GET /visits/{id}/alone`.
pub async fn steps(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        let visit = visit_view(&app.records, id, None, FormView::default())?;
        Ok(page(pages::alone(&alone_view(&app.records, visit)?)))
    })
    .await
}

/// `GET /visits/{id}/alone/result`.
pub async fn result(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    Looks::settle(&app, id, RESULT_WAIT).await?;
    blocking(move || Ok(page(pages::alone_result(&alone_result_view(&app, id)?)))).await
}

/// The address of a visit's steps.
pub(super) fn alone_path(visit: i64) -> String {
    format!("/visits/{visit}/alone")
}

fn start_view(form: FormView) -> AloneStartView {
    AloneStartView { signs: DangerSign::ALL.to_vec(), form }
}

/// The steps of a visit as its sheet has it, with an upload that was refused.
pub(super) fn alone_view(records: &Records, visit: VisitView) -> Result<AloneView, WebError> {
    let near_side = match visit.affected_side {
        ResultSide::Left => Side::Left,
        ResultSide::Right | ResultSide::Both => Side::Right,
    };
    let landmarks = landmarks_of_view(View::Side, Some(near_side))
        .map(|(landmark, is_required)| LandmarkView { landmark, is_required })
        .collect();
    let note = danger::note(records, visit.id)?;
    let goes_on = note.filter(|note| !note.is_stop).map(|note| note.text);
    Ok(AloneView { visit, goes_on, landmarks })
}

fn alone_result_view(app: &App, id: i64) -> Result<AloneResultView, WebError> {
    let result = result_view(app, id)?;
    let is_painful = result.is_painful;
    let has_after = result.comparisons.iter().any(|comparison| comparison.occasion == Occasion::After);
    let before = result.comparisons.into_iter().filter(|comparison| comparison.occasion == Occasion::Before);
    // several where both sides were compared: that of the affected side, else the first
    let mut comparisons: Vec<_> = before.collect();
    comparisons.sort_by_key(|comparison| comparison.side != result.affected_side);
    let answer = comparisons.into_iter().next().map(|comparison| AnswerView {
        call: comparison.call,
        difference: comparison.difference,
        margin: comparison.margin,
        reason: comparison.reason,
        next_step: comparison.next_step,
        is_to_stretch: comparison.call == Call::Positive && !has_after && !is_painful,
    });
    Ok(AloneResultView {
        visit: id,
        client_code: result.client_code,
        date: result.date,
        stopped: result.stopped,
        answer,
    })
}
