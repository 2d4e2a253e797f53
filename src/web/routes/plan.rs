//! The plan: what it proposes, its form, its file, and a clinician's decision to go on.

use std::path::Path;
use std::sync::Arc;

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};

use super::clients::client_path;
use super::log::clinician_reasons;
use super::plan_form::{filled, form_faults, form_view, take_draft};
use super::{onwards, page, page_again, state_of};
use crate::plan::words::{day_words, entry_of_stage_words, exit_of_stage_words, pain_limits_words, phase_words};
use crate::plan::{Action, Clearance, Draft, Plan, PlanError, Proposal, StageProposal, TEXT_MAX, Unit};
use crate::web::casework::{Casework, faults, kept_entries};
use crate::web::dates;
use crate::web::error::WebError;
use crate::web::pages;
use crate::web::request::{Code, Form};
use crate::web::state::{App, blocking};
use crate::web::text::plan as words;
use crate::web::text_file::TextFile;
use crate::web::view::{FieldError, FormView, PlanView, ProposedView, StageView};

/// Faults of a file that are told at once.
const FAULTS_TOLD: usize = 12;

/// `GET /clients/{code}/plan`.
pub async fn read(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        Ok(page(pages::plan(&plan_view(&case, FormView::default(), FormView::default()))))
    })
    .await
}

/// `GET /clients/{code}/plan.toml`.
pub async fn download(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let headers = [
            (header::CONTENT_TYPE, "application/toml; charset=utf-8"),
            (header::CONTENT_DISPOSITION, "attachment; filename=\"plan.toml\""),
        ];
        // the default has comments that tell how to edit it
        let text = if case.has_own_plan { case.plan.to_toml()? } else { Plan::default_text(Unit::Kg) };
        Ok((headers, text).into_response())
    })
    .await
}

/// `POST /clients/{code}/plan/file`: a plan as TOML. All of it is taken, or nothing.
pub async fn upload(State(app): State<Arc<App>>, Code(code): Code, file: TextFile) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let plan = match file.0 {
            // a file is mended in its own words
            Ok(text) => Plan::parse(&text, Path::new("the file")).map_err(|error| faults(&error, true)),
            Err(fault) => Err(vec![fault]),
        };
        match plan.and_then(|plan| fits_log(&app, &case, plan).map_err(|fault| vec![fault])) {
            Ok(plan) => keep(&app, &case, &plan),
            Err(found) => {
                let mut form = Form::default();
                found.into_iter().take(FAULTS_TOLD).for_each(|fault| form.fault("file", fault));
                Ok(page_again(pages::plan(&plan_view(&case, FormView::default(), form.view))))
            }
        }
    })
    .await
}

/// `POST /clients/{code}/plan/unit`.
pub async fn unit(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let unit: Option<Unit> = form.word("unit");
        let changed = unit.map(|unit| {
            let mut draft = case.plan.draft();
            draft.change_unit(unit);
            changed(&app, &case, draft)
        });
        match changed {
            Some(Ok(plan)) => return keep(&app, &case, &plan),
            // there is but one field here: what is to be changed first is in the form
            Some(Err(found)) => found.into_iter().for_each(|FieldError { message, .. }| form.fault("unit", message)),
            None => {}
        }
        Ok(page_again(pages::plan(&plan_view(&case, FormView::default(), form.view))))
    })
    .await
}

/// `GET /clients/{code}/plan/edit`.
pub async fn form(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let mut filled = filled(&case.plan);
        filled.values.insert("was".to_owned(), state_of(&case.plan.to_toml()?));
        filled.errors = form_faults(&case.plan, &case.to_mend);
        Ok(page(pages::plan_form(&form_view(&case, filled))))
    })
    .await
}

/// `POST /clients/{code}/plan/edit`.
pub async fn edit(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        // another tab, or another person, may have changed the plan since this form was filled
        let state = state_of(&case.plan.to_toml()?);
        if form.text("was").is_some_and(|was| was != state) {
            form.fault("plan", words::CHANGED_MEANWHILE);
            form.view.values.insert("was".to_owned(), state);
        }
        let draft = take_draft(&case.plan, &mut form);
        if form.is_right() {
            match changed(&app, &case, draft) {
                Ok(plan) => return keep(&app, &case, &plan),
                Err(found) => form.view.errors.extend(found.into_iter().take(FAULTS_TOLD)),
            }
        }
        Ok(page_again(pages::plan_form(&form_view(&case, form.view))))
    })
    .await
}

/// `POST /clients/{code}/plan/clearance`: a licensed clinician lets the plan go on.
pub async fn clear(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let reason = form.text_up_to("reason", TEXT_MAX);
        if reason.is_none() && form.is_right() {
            form.fault("reason", words::CLEAR_NO_REASON);
        }
        if !form.flag("is_clinician") {
            form.fault("is_clinician", words::CLEAR_NOT_CLINICIAN);
        }
        // the sign is answered where it was asked, and that lets the plan go on as well
        if case.stopped.is_some() {
            form.fault("stopped", words::CLEAR_STOPPED);
        }
        // what a clinician lets go on is what the plan proposes, and this one proposes nothing
        if !case.to_mend.is_empty() {
            form.fault("stopped", words::CLEAR_TO_MEND);
        }
        let intake = case.intake.clone().ok_or(WebError::NotFound { what: "intake" })?;
        if let (Some(reason), true) = (reason, form.is_right()) {
            let mut intake = intake;
            intake.put_clearance(Clearance { on: case.today, reason });
            let intake = intake.checked(case.today)?;
            app.records.keep_intake(case.client.id, &intake)?;
            app.records.look_at_log(case.client.id)?;
            return Ok(onwards(&plan_path(&case)));
        }
        form.name_faults(|name| (name == "reason").then(|| words::CLEAR_REASON.to_owned()));
        Ok(page_again(pages::plan(&plan_view(&case, form.view, FormView::default()))))
    })
    .await
}

fn plan_path(case: &Casework) -> String {
    format!("{}/plan", client_path(case.code()))
}

fn keep(app: &App, case: &Casework, plan: &Plan) -> Result<Response, WebError> {
    app.records.keep_plan(case.client.id, plan)?;
    Ok(onwards(&plan_path(case)))
}

/// The plan with a draft in its place, or what is wrong with that, by field of the form.
fn changed(app: &App, case: &Casework, draft: Draft) -> Result<Plan, Vec<FieldError>> {
    let of_plan = |message: String| vec![FieldError { field: "plan".to_owned(), message }];
    match case.plan.with(draft) {
        Ok(plan) => fits_log(app, case, plan).map_err(of_plan),
        Err(PlanError::Invalid { problems }) => Err(form_faults(&case.plan, &problems)),
        Err(error) => Err(of_plan(error.to_string())),
    }
}

/// The plan, if it takes what the client's log holds: what was done must stay readable.
fn fits_log(app: &App, case: &Casework, plan: Plan) -> Result<Plan, String> {
    match kept_entries(&app.records, case.client.id, &plan, case.today) {
        Ok(_) => Ok(plan),
        Err(error) => Err(words::not_of_log(&cause_words(&error))),
    }
}

/// The innermost cause: what is wrong with an entry.
fn cause_words(error: &dyn std::error::Error) -> String {
    let mut innermost = error;
    while let Some(source) = innermost.source() {
        innermost = source;
    }
    innermost.to_string()
}

fn plan_view(case: &Casework, clearing: FormView, upload: FormView) -> PlanView {
    let proposal = case.proposal();
    let plan = &case.plan;
    let stages = plan.stages().iter().enumerate().map(|(at, stage)| StageView {
        id: stage.id.clone(),
        name: stage.name.clone(),
        proposed: proposal.as_ref().and_then(|proposal| proposal.stages.get(at)).map(|stage| proposed(case, stage)),
        // that of the dose that is proposed: another phase may be done otherwise
        how: (proposal.as_ref())
            .and_then(|proposal| proposal.stages.get(at)?.dose.as_ref())
            .map_or_else(|| stage.how.clone(), |dose| dose.how.clone()),
        felt: stage.felt.clone(),
        stop: stage.stop.clone(),
        pain: pain_limits_words(plan.pain_limits(at)),
        entry: entry_of_stage_words(stage, plan),
        exit: exit_of_stage_words(stage),
        phases: (0..stage.phases.len())
            .map(|phase| {
                let doses = phase_words(stage, phase, plan);
                let own = stage.phases[phase].how.as_ref().map(|how| format!(". {how}"));
                (stage.phases[phase].name.clone(), doses + &own.unwrap_or_default())
            })
            .collect(),
    });
    PlanView {
        code: case.code().to_owned(),
        name: plan.name().to_owned(),
        stopped: case.stopped.clone(),
        needs_intake: case.intake.is_none(),
        to_mend: form_faults(plan, &case.to_mend),
        cautions: proposal.as_ref().map_or_else(String::new, |proposal: &Proposal| proposal.cautions.clone()),
        see_clinician: clinician_reasons(case),
        cleared: case
            .clearance()
            .map(|clearance| (dates::day_words(&clearance.on.to_string()), clearance.reason.clone())),
        clearing,
        stages: stages.collect(),
        rules: plan.rules().iter().map(|rule| (action_words(rule.then), rule.because.clone())).collect(),
        is_in_pounds: plan.equipment().unit == Unit::Lb,
        upload,
    }
}

fn proposed(case: &Casework, stage: &StageProposal) -> ProposedView {
    let due = stage.due_on.map(|on| if on <= case.today { words::NOW.to_owned() } else { words::due(&day_words(on)) });
    ProposedView {
        decision: stage.decision,
        reason: stage.reason.clone(),
        dose: stage.dose.as_ref().map(|dose| (dose.phase.clone(), dose.words.clone())),
        due,
        step: stage.step.map(|step| words::step(step.at, step.of)),
    }
}

const fn action_words(action: Action) -> &'static str {
    use crate::plan::Decision;
    use crate::plan::words::decision_words;
    match action {
        Action::Up => decision_words(Decision::Up),
        Action::Hold => decision_words(Decision::Hold),
        Action::Down => decision_words(Decision::Down),
        Action::SeeClinician => decision_words(Decision::SeeClinician),
    }
}
