//! The plan: what it proposes, its form, its file, and a clinician's decision to go on.

use std::path::Path;
use std::sync::Arc;

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};

use super::clients::client_path;
use super::intake::whole;
use super::log::clinician_reasons;
use super::{onwards, page, page_again, state_of};
use crate::plan::load::WEIGHT_MAX;
use crate::plan::pain::PAIN_MAX;
use crate::plan::words::{day_words, entry_of_stage_words, exit_of_stage_words, phase_words};
use crate::plan::{Action, Clearance, Draft, PainLimits, PainRule, Plan, Proposal, StageProposal, TEXT_MAX, Unit};
use crate::records::Word as _;
use crate::web::casework::{Casework, faults, kept_entries};
use crate::web::dates;
use crate::web::error::WebError;
use crate::web::pages;
use crate::web::request::{Code, Form};
use crate::web::state::{App, blocking};
use crate::web::text::plan as words;
use crate::web::text_file::TextFile;
use crate::web::view::{FormView, PhaseFormView, PlanFormView, PlanView, ProposedView, StageFormView, StageView};

/// The largest count of a form's field; the plan's own check is narrower.
const COUNT_MAX: u16 = 999;

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
            Ok(text) => Plan::parse(&text, Path::new("the file")).map_err(|error| faults(&error, true)),
            Err(fault) => Err(vec![fault]),
        };
        match plan.and_then(|plan| fits_log(&app, &case, plan)) {
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
            case.plan.with(draft).map_err(|error| faults(&error, false)).and_then(|plan| fits_log(&app, &case, plan))
        });
        match changed {
            Some(Ok(plan)) => return keep(&app, &case, &plan),
            Some(Err(found)) => found.into_iter().for_each(|fault| form.fault("file", fault)),
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
            let changed = case.plan.with(draft).map_err(|error| faults(&error, false));
            match changed.and_then(|plan| fits_log(&app, &case, plan)) {
                Ok(plan) => return keep(&app, &case, &plan),
                Err(found) => found.into_iter().take(FAULTS_TOLD).for_each(|fault| form.fault("plan", fault)),
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
        let intake = case.intake.clone().ok_or(WebError::NotFound { what: "intake" })?;
        if let (Some(reason), true) = (reason, form.is_right()) {
            let mut intake = intake;
            intake.put_clearance(Clearance { on: case.today, reason });
            let intake = intake.checked(case.today)?;
            app.records.keep_intake(case.client.id, &intake)?;
            app.records.look_at_log(case.client.id)?;
            return Ok(onwards(&plan_path(&case)));
        }
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

/// The plan, if it takes what the client's log holds: what was done must stay readable.
fn fits_log(app: &App, case: &Casework, plan: Plan) -> Result<Plan, Vec<String>> {
    match kept_entries(&app.records, case.client.id, &plan, case.today) {
        Ok(_) => Ok(plan),
        Err(error) => Err(vec![words::not_of_log(&cause_words(&error))]),
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
    let proposal = (case.intake.is_some() && case.stopped.is_none()).then(|| case.proposal());
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
        pain: words::pain_limits(plan.pain_limits(at)),
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
        cautions: proposal.as_ref().map_or_else(String::new, |proposal: &Proposal| proposal.cautions.clone()),
        see_clinician: proposal.as_ref().map(clinician_reasons).unwrap_or_default(),
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

fn form_view(case: &Casework, form: FormView) -> PlanFormView {
    let stages = case.plan.stages().iter().map(|stage| {
        let id = &stage.id;
        let phases = stage.phases.iter().map(|phase| {
            let both =
                |name: &str| vec![format!("{name}_from.{id}.{}", phase.id), format!("{name}_to.{id}.{}", phase.id)];
            let mut fields = vec![(words::SETS, both("sets")), (words::REPETITIONS, both("repetitions"))];
            if phase.hold_s.is_some() {
                fields.push((words::HOLD, both("hold")));
            }
            if phase.lowering_s.is_some() {
                fields.push((words::LOWERING, vec![format!("lowering.{id}.{}", phase.id)]));
            }
            if phase.weight_kg.is_some() {
                fields.push((words::WEIGHT, both("weight")));
            }
            PhaseFormView { name: phase.name.clone(), fields }
        });
        StageFormView {
            name: stage.name.clone(),
            fields: vec![
                (format!("days_between.{id}"), words::DAYS_BETWEEN),
                (format!("sessions_to_rise.{id}"), words::TO_RISE),
                (format!("exit_sessions.{id}"), words::EXIT_SESSIONS),
            ],
            phases: phases.collect(),
        }
    });
    PlanFormView { code: case.code().to_owned(), stages: stages.collect(), form }
}

fn filled(plan: &Plan) -> FormView {
    let mut form = FormView::default();
    let mut set = |name: String, value: String| form.values.insert(name, value);
    let Draft { pain, stages, .. } = plan.draft();
    set("pain_rule".to_owned(), pain.rule.word().to_owned());
    set("safe_at_most".to_owned(), pain.safe_at_most.to_string());
    set("acceptable_at_most".to_owned(), pain.acceptable_at_most.to_string());
    set("morning_at_most".to_owned(), pain.morning_at_most.to_string());
    for stage in &stages {
        let id = &stage.id;
        set(format!("days_between.{id}"), stage.days_between.to_string());
        set(format!("sessions_to_rise.{id}"), stage.sessions_to_rise.to_string());
        set(format!("exit_sessions.{id}"), stage.exit.sessions.to_string());
        for phase in &stage.phases {
            let mut range = |name: &str, [from, to]: [String; 2]| {
                set(format!("{name}_from.{id}.{}", phase.id), from);
                set(format!("{name}_to.{id}.{}", phase.id), to);
            };
            range("sets", phase.sets.map(|count| count.to_string()));
            range("repetitions", phase.repetitions.map(|count| count.to_string()));
            if let Some(hold_s) = phase.hold_s {
                range("hold", hold_s.map(|seconds| seconds.to_string()));
            }
            if let Some(weight_kg) = phase.weight_kg {
                range("weight", weight_kg.map(|kg| kg.to_string()));
            }
            if let Some(lowering_s) = phase.lowering_s {
                set(format!("lowering.{id}.{}", phase.id), lowering_s.to_string());
            }
        }
    }
    form
}

/// The draft that a form holds. What is no number is noted in the form, by field.
fn take_draft(plan: &Plan, form: &mut Form) -> Draft {
    let mut draft = plan.draft();
    let rule: Option<PainRule> = form.word("pain_rule");
    let mut limit = |name: &str| whole(form, name, u16::from(PAIN_MAX)).and_then(|limit| u8::try_from(limit).ok());
    let limits = (limit("safe_at_most"), limit("acceptable_at_most"), limit("morning_at_most"));
    match (rule, limits) {
        (Some(rule @ PainRule::Own), (Some(safe_at_most), Some(acceptable_at_most), Some(morning_at_most))) => {
            draft.pain = PainLimits { rule, safe_at_most, acceptable_at_most, morning_at_most };
        }
        (Some(rule), _) => draft.pain = PainLimits::of(rule),
        (None, _) => {}
    }
    for stage in &mut draft.stages {
        let id = stage.id.clone();
        let mut count = |name: String, into: &mut u16| {
            if let Some(number) = counted(form, &name, &stage.name) {
                *into = number;
            }
        };
        count(format!("days_between.{id}"), &mut stage.days_between);
        count(format!("sessions_to_rise.{id}"), &mut stage.sessions_to_rise);
        count(format!("exit_sessions.{id}"), &mut stage.exit.sessions);
        for phase in &mut stage.phases {
            let ends = ["from", "to"];
            let place = format!("{}, {}", stage.name, phase.name);
            let mut range = |name: &str, into: &mut [u16; 2]| {
                let is_right = form.is_right();
                for (end, into) in ends.iter().zip(into.iter_mut()) {
                    if let Some(number) = counted(form, &format!("{name}_{end}.{id}.{}", phase.id), &place) {
                        *into = number;
                    }
                }
                if is_right && form.is_right() && into[0] > into[1] {
                    let name = format!("{name}_to.{id}.{}", phase.id);
                    form.fault(&name, words::runs_backward(&place, words::field(&name), into.map(f64::from)));
                }
            };
            range("sets", &mut phase.sets);
            range("repetitions", &mut phase.repetitions);
            if let Some(hold_s) = &mut phase.hold_s {
                range("hold", hold_s);
            }
            if let Some(lowering_s) = &mut phase.lowering_s
                && let Some(number) = counted(form, &format!("lowering.{id}.{}", phase.id), &place)
            {
                *lowering_s = number;
            }
            if let Some(weight_kg) = &mut phase.weight_kg {
                for (end, into) in ends.iter().zip(weight_kg.iter_mut()) {
                    let name = format!("weight_{end}.{id}.{}", phase.id);
                    match form.number(&name, [0.0, WEIGHT_MAX], "kg") {
                        Some(kg) => *into = kg,
                        None if form.view.error(&name).is_none() => form.fault(&name, words::nothing_typed(&place)),
                        None => {}
                    }
                }
                if form.is_right() && weight_kg[0] > weight_kg[1] {
                    let name = format!("weight_to.{id}.{}", phase.id);
                    form.fault(&name, words::runs_backward(&place, words::field(&name), *weight_kg));
                }
            }
        }
    }
    draft
}

/// A whole number of a plan's field, which must be there; `place` says whose it is.
fn counted(form: &mut Form, name: &str, place: &str) -> Option<u16> {
    let text = form.text(name);
    let number = text.as_deref().and_then(|text| text.parse::<u16>().ok()).filter(|number| *number <= COUNT_MAX);
    if number.is_none() && form.view.error(name).is_none() {
        form.fault(
            name,
            match text {
                Some(found) => words::not_a_count(place, words::field(name), &found, COUNT_MAX),
                None => words::nothing_typed(place),
            },
        );
    }
    number
}
