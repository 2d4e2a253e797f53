//! Clients: the list, one client, danger signs, deletion.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;

use super::{onwards, page, page_again};
use crate::plan::{Day, Decision, Proposal, call_of};
use crate::records::{Answers, Client, ClientFacts, DangerSign, RecordsError, Screening, VisitSummary, Word as _};
use crate::screen::Occasion;
use crate::screen::case::{ARM_LENGTH_MM, CODE_LENGTH_MAX, STATURE_MM};
use crate::web::casework::Casework;
use crate::web::dates::{day_words, size_words};
use crate::web::error::WebError;
use crate::web::pages;
use crate::web::request::{Code, Form};
use crate::web::state::{App, blocking};
use crate::web::text::{self, client as words};
use crate::web::view::{
    ClientLine, ClientView, ClientsView, CorrectClientView, DeleteClientView, FormView, NewClientView,
    ScreeningFormView, ScreeningView, VisitLine, WayView,
};

/// `GET /`.
pub async fn all(State(app): State<Arc<App>>) -> Result<Response, WebError> {
    blocking(move || {
        let clients = app.records.clients()?.into_iter().map(|summary| ClientLine {
            code: summary.client.facts.code,
            side: summary.client.facts.affected_side,
            visits: summary.visits,
            last_visit: summary.last_visit.as_deref().map(day_words),
            is_demo: summary.client.facts.is_demo,
        });
        let clients: Vec<ClientLine> = clients.collect();
        let offers_demo = clients.is_empty();
        Ok(page(pages::clients(&ClientsView { clients, offers_demo })))
    })
    .await
}

/// `GET /guide`.
pub async fn guide() -> Response {
    page(pages::guide())
}

/// `GET /clients/new`.
pub async fn new() -> Response {
    page(pages::new_client(&new_view(FormView::default())))
}

fn new_view(form: FormView) -> NewClientView {
    NewClientView { signs: DangerSign::ALL.to_vec(), form }
}

/// `POST /clients`.
pub async fn add(State(app): State<Arc<App>>, mut form: Form) -> Result<Response, WebError> {
    let answers = answers(&mut form);
    let facts = client_facts(&mut form);
    let (Some(answers), Some(facts), true) = (answers, facts, form.is_right()) else {
        return Ok(page_again(pages::new_client(&new_view(form.view))));
    };
    blocking(move || match app.records.add_client(&facts, &answers) {
        Ok(client) => Ok(onwards(&client_path(&client.facts.code))),
        Err(RecordsError::CodeTaken { code }) => {
            form.fault("code", format!("another client has the code {code}"));
            Ok(page_again(pages::new_client(&new_view(form.view))))
        }
        Err(error) => Err(error.into()),
    })
    .await
}

/// What is known of a client who is no demo; faults are noted in the form.
pub(super) fn client_facts(form: &mut Form) -> Option<ClientFacts> {
    let code = form.line_up_to("code", CODE_LENGTH_MAX);
    match &code {
        None if form.view.error("code").is_none() => form.fault("code", "give the client a code, never a name"),
        // a space is the first sign of a name, and other signs would change the meaning of an address
        Some(code)
            if !code.chars().all(|sign| sign.is_alphanumeric() || "-_.".contains(sign))
                || [".", "..", "new"].contains(&code.as_str()) =>
        {
            form.fault(
                "code",
                "must be made of letters, digits and hyphens, without a space, and not be . or .. or new",
            );
        }
        _ => {}
    }
    let affected_side = form.word("affected_side");
    let stature_mm = form.number("stature_mm", STATURE_MM, "mm");
    let arm_length_mm = form.number("arm_length_mm", ARM_LENGTH_MM, "mm");
    Some(ClientFacts { code: code?, affected_side: affected_side?, stature_mm, arm_length_mm, is_demo: false })
}

/// `GET /clients/{code}/facts`.
pub async fn facts(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let facts = app.records.client(&code)?.facts;
        let mut form = FormView::default();
        let mut set = |name: &str, value: String| form.values.insert(name.to_owned(), value);
        set("code", facts.code.clone());
        set("affected_side", facts.affected_side.word().to_owned());
        for (name, length_mm) in [("stature_mm", facts.stature_mm), ("arm_length_mm", facts.arm_length_mm)] {
            if let Some(length_mm) = length_mm {
                set(name, length_mm.to_string());
            }
        }
        Ok(page(pages::client_facts(&CorrectClientView { code: facts.code, form })))
    })
    .await
}

/// `POST /clients/{code}/facts`.
pub async fn correct(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let client = app.records.client(&code)?;
        let again = |form: Form| {
            let view = CorrectClientView { code: client.facts.code.clone(), form: form.view };
            Ok(page_again(pages::client_facts(&view)))
        };
        let Some(facts) = client_facts(&mut form).filter(|_| form.is_right()) else { return again(form) };
        match app.records.correct_client(client.id, &facts) {
            Ok(()) => Ok(onwards(&client_path(&facts.code))),
            Err(RecordsError::CodeTaken { code }) => {
                form.fault("code", format!("another client has the code {code}"));
                again(form)
            }
            Err(error) => Err(error.into()),
        }
    })
    .await
}

/// The answers on danger signs. Every sign must be answered: one that was passed over must not read as none.
pub(super) fn answers(form: &mut Form) -> Option<Answers> {
    let mut signs = Vec::new();
    for sign in DangerSign::ALL {
        let field = format!("sign_{}", sign.name());
        match form.text(&field).as_deref() {
            Some("yes") => signs.push(sign),
            Some("no") => {}
            Some(found) => {
                let fault = format!("found {found:?}, expected yes or no");
                form.fault(&field, fault);
            }
            None => form.fault(&field, "answer yes or no"),
        }
    }
    let answered_by = form.word("answered_by");
    let reason = form.text("reason");
    Some(Answers { answered_by: answered_by?, signs, reason }).filter(|_| form.is_right())
}

/// `GET /clients/{code}`.
pub async fn one(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let client = app.records.client(&code)?;
        Ok(page(pages::client(&client_view(&app, client, None)?)))
    })
    .await
}

/// One client as it is shown; `refused` says why a visit was not started.
pub(super) fn client_view(app: &App, client: Client, refused: Option<String>) -> Result<ClientView, WebError> {
    let screening = app.records.screening(client.id)?;
    let case = Casework::of_client(&app.records, client)?;
    let ways = ways(&case);
    let Casework { client, visits: history, .. } = case;
    let affected = client.facts.affected_side;
    let visits = history.into_iter().map(|VisitSummary { visit, reaches, result }| {
        let called = |occasion| result.as_ref().and_then(|of| call_of(&of.comparisons, occasion, affected));
        VisitLine {
            id: visit.id,
            date: day_words(&visit.made_on),
            reaches,
            call: called(Occasion::After).or_else(|| called(Occasion::Before)),
            retest: result.and_then(|result| result.retest).map(|retest| retest.outcome),
        }
    });
    let millimetres = |mm: f64| format!("{mm:.0}\u{a0}mm");
    Ok(ClientView {
        code: client.facts.code,
        side: client.facts.affected_side,
        stature: client.facts.stature_mm.map(millimetres),
        arm_length: client.facts.arm_length_mm.map(millimetres),
        is_demo: client.facts.is_demo,
        may_visit: screening.as_ref().is_some_and(|screening| screening.answers.may_visit()),
        screening: screening.map(screening_view),
        refused,
        ways,
        visits: visits.collect(),
    })
}

/// The ways into a case, with how far each is.
fn ways(case: &Casework) -> Vec<WayView> {
    let way = |path, name, state: String| WayView { path, name, state };
    let Some(intake) = &case.intake else {
        return vec![
            way("intake", text::intake::TITLE, words::NO_INTAKE.to_owned()),
            way("plan", text::plan::TITLE, words::AFTER_INTAKE.to_owned()),
            way("log", text::log::TITLE, words::AFTER_INTAKE.to_owned()),
            way("course", text::course::TITLE, text::course::screens(case.screens())),
        ];
    };
    let latest = |day: Option<Day>| day.map(|day| day_words(&day.to_string())).unwrap_or_default();
    let proposal = case.proposal();
    let needs_clinician =
        |proposal: &Proposal| proposal.stages.iter().any(|stage| stage.decision == Decision::SeeClinician);
    let due = |proposal: &Proposal| {
        proposal.stages.iter().filter(|stage| stage.dose.is_some() && stage.due_on <= Some(case.today)).count()
    };
    let of_plan = match &proposal {
        None if case.stopped.is_none() => words::TO_MEND.to_owned(),
        None => words::STOPPED.to_owned(),
        Some(proposal) if needs_clinician(proposal) => words::CLINICIAN.to_owned(),
        Some(proposal) => match due(proposal) {
            0 => words::NOTHING_DUE.to_owned(),
            count => words::due(count),
        },
    };
    let of_log = match case.entries.last() {
        None => words::NO_ENTRY.to_owned(),
        Some(logged) => words::latest_entry(&latest(Some(logged.entry.day))),
    };
    let visits = intake.visits.len();
    vec![
        way("intake", text::intake::TITLE, words::intake(visits, &latest(intake.visits.last().map(|visit| visit.on)))),
        way("plan", text::plan::TITLE, of_plan),
        way("log", text::log::TITLE, of_log),
        way("course", text::course::TITLE, text::course::screens(case.screens())),
    ]
}

fn screening_view(screening: Screening) -> ScreeningView {
    ScreeningView {
        date: day_words(&screening.made_on),
        answered_by: screening.answers.answered_by,
        outcome: screening.answers.outcome(),
        signs: screening.answers.signs,
        reason: screening.answers.reason,
    }
}

/// `GET /clients/{code}/screening`.
pub async fn screening(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let code = app.records.client(&code)?.facts.code;
        let view = ScreeningFormView { code, signs: DangerSign::ALL.to_vec(), form: FormView::default() };
        Ok(page(pages::screening(&view)))
    })
    .await
}

/// `POST /clients/{code}/screening`.
pub async fn screen_again(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let client = app.records.client(&code)?;
        let Some(answers) = answers(&mut form) else {
            let signs = DangerSign::ALL.to_vec();
            let view = ScreeningFormView { code: client.facts.code, signs, form: form.view };
            return Ok(page_again(pages::screening(&view)));
        };
        app.records.add_screening(client.id, &answers)?;
        Ok(onwards(&client_path(&client.facts.code)))
    })
    .await
}

/// `GET /clients/{code}/delete`.
pub async fn before_delete(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let client = app.records.client(&code)?;
        Ok(page(pages::delete_client(&delete_view(&app, &client, FormView::default())?)))
    })
    .await
}

/// `POST /clients/{code}/delete`.
pub async fn delete(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let client = app.records.client(&code)?;
        let typed = form.text_up_to("code", CODE_LENGTH_MAX);
        if typed.as_deref() != Some(client.facts.code.as_str()) {
            form.fault("code", format!("type {} to delete it", client.facts.code));
            return Ok(page_again(pages::delete_client(&delete_view(&app, &client, form.view)?)));
        }
        let mut hashes = Vec::new();
        for visit in app.records.visits(client.id)? {
            app.looks.stop(visit.id);
            for reach in app.records.reaches(visit.id)? {
                app.follows.stop(reach.id);
                hashes.push(reach.media.hash);
            }
        }
        app.records.delete_client(client.id)?;
        hashes.iter().for_each(|hash| app.frames.forget(hash));
        Ok(onwards("/"))
    })
    .await
}

fn delete_view(app: &App, client: &Client, form: FormView) -> Result<DeleteClientView, WebError> {
    let removal = app.records.removal_of_client(client.id)?;
    Ok(DeleteClientView {
        code: client.facts.code.clone(),
        visits: removal.visits,
        reaches: removal.reaches,
        marks: removal.marks,
        log_entries: removal.log_entries,
        media: removal.media,
        media_kept: removal.media_kept,
        size: size_words(removal.media_bytes),
        form,
    })
}

/// The address of a client's page.
pub(super) fn client_path(code: &str) -> String {
    let code: String = form_urlencoded::byte_serialize(code.as_bytes()).collect();
    // a space is + in forms and %20 in paths
    format!("/clients/{}", code.replace('+', "%20"))
}
