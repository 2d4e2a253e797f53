//! The log: what is due, entries, mornings after, and the log as a file.

use std::path::Path;
use std::sync::Arc;

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};

use super::clients::client_path;
use super::intake::{day, whole};
use super::{onwards, page, page_again, state_of};
use crate::plan::load_words;
use crate::plan::log::COLUMNS;
use crate::plan::pain::{PAIN_MAX, Severe};
use crate::plan::words::{day_words, decision_words, entry_words};
use crate::plan::{Adherence, DangerSign, Day, Decision, EntryFault, LoadKind, Log, LogEntry, Progress, TypedEntry};
use crate::records::{AnsweredBy, Answers, LoggedEntry};
use crate::web::casework::{Casework, faults};
use crate::web::error::WebError;
use crate::web::pages;
use crate::web::request::{Code, CodeAndId, Form, Parameters};
use crate::web::state::{App, blocking};
use crate::web::text::log as words;
use crate::web::text_file::TextFile;
use crate::web::view::{DueView, EntryFormView, EntryView, FormView, LogView, MorningView};

/// Entries that are shown without being asked for.
const ENTRIES_SHOWN: usize = 20;

/// Mornings after that are asked for, of the latest days: what is older is entered as a correction.
const MORNINGS_ASKED: usize = 3;

/// Days that adherence looks back on.
const ADHERENCE_DAYS: i32 = 28;

/// Faults of a file that are told at once.
const FAULTS_TOLD: usize = 12;

/// `GET /clients/{code}/log?all=yes`.
pub async fn read(State(app): State<Arc<App>>, Code(code): Code, of: Parameters) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let shown = if of.text("all").is_some() { usize::MAX } else { ENTRIES_SHOWN };
        Ok(page(pages::log(&log_view(&case, shown, FormView::default()))))
    })
    .await
}

/// `POST /clients/{code}/log`: a new entry, from what is due or from the form of one entry.
pub async fn add(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let is_of_form = form.text("form").is_some();
        let entry = take_entry(&case, &mut form);
        if case.stopped.is_some() && entry.as_ref().is_some_and(|entry| entry.is_done && entry.day == case.today) {
            form.fault("day", words::STOPPED);
        }
        if let Some(entry) = &entry {
            refuse_double(&case, entry, None, &mut form);
        }
        let Some(entry) = entry.filter(|_| form.is_right()) else {
            form.name_faults(|name| Some(words::field(name)));
            return Ok(page_again(if is_of_form {
                pages::log_entry(&entry_form(&case, None, form.view))
            } else {
                pages::log(&log_view(&case, ENTRIES_SHOWN, form.view))
            }));
        };
        // what was proposed is kept with the entry: a plan that is changed later does not change it
        let entry = Progress::after(&case.plan, &case.facts(), &case.log(), entry.day).stated(entry);
        app.records.add_log_entry(case.client.id, &case.plan, &entry)?;
        note_sign(&app, &case, None, &entry)?;
        Ok(onwards(&log_path(&case)))
    })
    .await
}

/// `GET /clients/{code}/log/new`.
pub async fn new(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let mut form = FormView::default();
        form.values.insert("done".to_owned(), "yes".to_owned());
        Ok(page(pages::log_entry(&entry_form(&case, None, form))))
    })
    .await
}

/// `GET /clients/{code}/log/{id}`.
pub async fn entry(State(app): State<Arc<App>>, CodeAndId(code, id): CodeAndId) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let form = form_of(&case, &logged(&case, id)?.entry);
        Ok(page(pages::log_entry(&entry_form(&case, Some(id), form))))
    })
    .await
}

/// `POST /clients/{code}/log/{id}`: a correction.
pub async fn correct(
    State(app): State<Arc<App>>,
    CodeAndId(code, id): CodeAndId,
    mut form: Form,
) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let before = &logged(&case, id)?.entry;
        // another tab, or another person, may have corrected it since this form was filled
        let state = state_of(&before.cells(&case.plan));
        if form.text("was").is_some_and(|was| was != state) {
            form.fault("day", words::CHANGED_MEANWHILE);
            form.view.values.insert("was".to_owned(), state);
        }
        let entry = take_entry(&case, &mut form);
        if let Some(entry) = entry.as_ref().filter(|entry| (entry.day, entry.stage) != (before.day, before.stage)) {
            refuse_double(&case, entry, Some(id), &mut form);
        }
        // a slip of the finger has to be mended by whoever made it; pain that stops the plan is taken back in so many words, and stays
        // in the note
        let taken_back = entry.as_ref().map_or([None; 2], |entry| entry.takes_back(before));
        if let Some(told) = words::takes_back(taken_back)
            && form.text("mistaken").as_deref() != Some(told.as_str())
        {
            form.view.values.remove("mistaken");
            form.fault("mistaken", told);
        }
        let Some(mut entry) = entry.filter(|_| form.is_right()) else {
            // what is agreed to is the sentence as it stands
            form.name_faults(|name| (name != "mistaken").then(|| words::field(name)));
            return Ok(page_again(pages::log_entry(&entry_form(&case, Some(id), form.view))));
        };
        if taken_back != [None; 2] {
            entry = entry.with_note(&words::entered_first(taken_back));
        }
        // when it was entered first stays, unless its day is another now, or it tells of more than before
        if entry.day == before.day {
            let limits = case.plan.pain_limits(entry.stage);
            entry = entry.correcting(before, &limits, case.today);
        }
        let others = case.entries.iter().filter(|logged| logged.id != id).map(|logged| logged.entry.clone());
        let others = Log::from_entries(others.collect());
        let entry = Progress::after(&case.plan, &case.facts(), &others, entry.day).stated(entry);
        app.records.change_log_entry(case.client.id, id, &case.plan, &entry)?;
        note_sign(&app, &case, Some(before), &entry)?;
        Ok(onwards(&log_path(&case)))
    })
    .await
}

/// `POST /clients/{code}/log/{id}/delete`.
pub async fn delete(State(app): State<Arc<App>>, CodeAndId(code, id): CodeAndId) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let entry = &logged(&case, id)?.entry;
        if Severe::of(entry.pain_during, entry.pain_next_morning).is_some() {
            let mut form = Form { view: form_of(&case, entry) };
            form.fault("pain_during", words::STOPS_THE_PLAN);
            return Ok(page_again(pages::log_entry(&entry_form(&case, Some(id), form.view))));
        }
        app.records.delete_log_entry(case.client.id, id)?;
        Ok(onwards(&log_path(&case)))
    })
    .await
}

/// `POST /clients/{code}/log/morning`: pain on the morning after a day, for all that was done on it.
pub async fn morning(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let on = day(&mut form, "day", case.today);
        let pain = whole(&mut form, "pain", u16::from(PAIN_MAX)).and_then(|pain| u8::try_from(pain).ok());
        if on.is_some_and(|on| on >= case.today) {
            form.fault("day", words::NOT_YET_MORNING);
        }
        // a morning that was answered meanwhile is told anew only where it was worse: nothing that may stop the plan is turned away
        let of_day = || case.entries.iter().filter(|logged| logged.entry.is_done && Some(logged.entry.day) == on);
        let is_open = of_day().any(|logged| logged.entry.pain_next_morning.is_none());
        let is_told = || {
            of_day().filter(|logged| {
                let known = logged.entry.pain_next_morning;
                if is_open { known.is_none() } else { known < pain }
            })
        };
        if form.is_right() && is_told().next().is_none() && of_day().any(|logged| logged.entry.pain_next_morning > pain)
        {
            form.fault("pain", words::MORNING_WORSE);
        }
        let (Some(_), Some(pain), true) = (on, pain, form.is_right()) else {
            return Ok(page_again(pages::log(&log_view(&case, ENTRIES_SHOWN, form.view))));
        };
        for LoggedEntry { id, entry, .. } in is_told() {
            let told = LogEntry { pain_next_morning: Some(pain), ..entry.clone() };
            let entry = told.correcting(entry, &case.plan.pain_limits(entry.stage), case.today);
            app.records.change_log_entry(case.client.id, *id, &case.plan, &entry)?;
        }
        Ok(onwards(&log_path(&case)))
    })
    .await
}

/// `GET /clients/{code}/log.csv`.
pub async fn download(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let headers = [
            (header::CONTENT_TYPE, "text/csv; charset=utf-8"),
            (header::CONTENT_DISPOSITION, "attachment; filename=\"log.csv\""),
        ];
        Ok((headers, case.log().to_csv(&case.plan)?).into_response())
    })
    .await
}

/// `POST /clients/{code}/log/file`: a log as CSV. All of it is taken, or nothing.
pub async fn upload(State(app): State<Arc<App>>, Code(code): Code, file: TextFile) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let mut form = Form::default();
        let log = match file.0 {
            Ok(_) if case.intake.is_none() => Err(vec![words::INTAKE_FIRST.to_owned()]),
            Ok(text) => Log::parse(&text, Path::new("the file"), &case.plan, case.bounds())
                .map_err(|error| faults(&error, true))
                .and_then(|log| refuse_taking_back(&case, log)),
            Err(fault) => Err(vec![fault]),
        };
        match log {
            Ok(log) => {
                let log = log.told_today(&case.log(), &case.plan, &case.facts(), case.today).stated_beside(
                    &case.log(),
                    &case.plan,
                    &case.facts(),
                );
                app.records.take_in_log(case.client.id, &case.plan, &log)?;
                for entry in log.entries().iter().filter(|entry| entry.sign.is_some()) {
                    let known = case
                        .entries
                        .iter()
                        .find(|logged| (logged.entry.day, logged.entry.stage) == (entry.day, entry.stage));
                    note_sign(&app, &case, known.map(|logged| &logged.entry), entry)?;
                }
                Ok(onwards(&log_path(&case)))
            }
            Err(faults) => {
                faults.into_iter().take(FAULTS_TOLD).for_each(|fault| form.fault("file", fault));
                Ok(page_again(pages::log(&log_view(&case, ENTRIES_SHOWN, form.view))))
            }
        }
    })
    .await
}

/// The form of an entry that is there.
fn form_of(case: &Casework, entry: &LogEntry) -> FormView {
    let cells = entry.cells(&case.plan);
    let was = state_of(&cells);
    let values = COLUMNS.iter().map(|column| (*column).to_owned()).zip(cells).chain([("was".to_owned(), was)]);
    FormView { values: values.collect(), ..FormView::default() }
}

/// A log that came in takes the place of what is there, but takes no pain back that stops the plan.
fn refuse_taking_back(case: &Casework, log: Log) -> Result<Log, Vec<String>> {
    let mut faults = Vec::new();
    for LoggedEntry { entry: before, .. } in &case.entries {
        let of_day = || log.entries().iter().filter(|entry| (entry.day, entry.stage) == (before.day, before.stage));
        if of_day().next().is_some() && of_day().all(|entry| entry.takes_back(before) != [None; 2]) {
            faults.push(words::row_takes_back(&case.plan.stages()[before.stage].name, &day_words(before.day)));
        }
    }
    if faults.is_empty() { Ok(log) } else { Err(faults) }
}

fn log_path(case: &Casework) -> String {
    format!("{}/log", client_path(case.code()))
}

fn logged(case: &Casework, id: i64) -> Result<&LoggedEntry, WebError> {
    case.entries.iter().find(|logged| logged.id == id).ok_or(WebError::NotFound { what: "log entry" })
}

/// A danger sign that was not noted before stops filming and all else as one that was answered on its own page does.
fn note_sign(app: &App, case: &Casework, before: Option<&LogEntry>, entry: &LogEntry) -> Result<(), WebError> {
    let known = before.and_then(|before| before.sign);
    let Some(sign) = entry.sign.filter(|sign| Some(*sign) != known) else { return Ok(()) };
    let answers = Answers { answered_by: AnsweredBy::Client, signs: vec![sign], reason: None };
    Ok(app.records.add_screening(case.client.id, &answers)?)
}

/// The entry that a form holds. What cannot be is noted in the form, by field.
fn take_entry(case: &Casework, form: &mut Form) -> Option<LogEntry> {
    if case.intake.is_none() {
        form.fault("day", words::INTAKE_FIRST);
        return None;
    }
    let cells: Vec<String> = COLUMNS.iter().map(|column| form.text(column).unwrap_or_default()).collect();
    if !form.is_right() {
        return None;
    }
    let typed = TypedEntry { entered: "", ..TypedEntry::of_cells(&cells) };
    match typed.check(&case.plan, case.bounds()) {
        Ok(entry) => {
            let entered = (entry.day < case.today).then_some(case.today);
            Some(LogEntry { entered, ..entry })
        }
        Err(fault) => {
            form.fault(fault.column(), fault_words(&fault));
            None
        }
    }
}

/// The fault with the label that the page gives the field.
fn fault_words(fault: &EntryFault) -> String {
    let column = fault.column();
    fault.to_string().replacen(&format!("\"{column}\""), &words::field(column), 1)
}

/// A second press, or another tab: what is there is corrected, not doubled. An entry that tells of a danger sign, or of more pain
/// than is known of that day, is taken all the same: nothing that may have to stop the plan is turned away.
fn refuse_double(case: &Casework, entry: &LogEntry, id: Option<i64>, form: &mut Form) {
    let others = || {
        let entries = case.entries.iter().filter(|logged| Some(logged.id) != id).map(|logged| &logged.entry);
        entries.filter(|other| (other.day, other.stage) == (entry.day, entry.stage))
    };
    let is_worse = |pain: fn(&LogEntry) -> Option<u8>| pain(entry) > others().filter_map(pain).max();
    let tells_more = entry.sign.is_some()
        || is_worse(|entry| entry.pain_during) && entry.pain_during > Some(0)
        || is_worse(|entry| entry.pain_next_morning) && entry.pain_next_morning > Some(0);
    if others().next().is_some() && !tells_more {
        let stage = &case.plan.stages()[entry.stage].name;
        form.fault("stage", words::is_there(stage, &day_words(entry.day)));
    }
}

/// Entries whose morning after has come and is not known.
fn open_mornings(case: &Casework) -> impl Iterator<Item = &LoggedEntry> {
    case.entries.iter().filter(|logged| {
        let entry = &logged.entry;
        entry.is_done && entry.pain_next_morning.is_none() && entry.day < case.today
    })
}

fn mornings(case: &Casework) -> Vec<MorningView> {
    let mut days: Vec<(Day, Vec<&str>)> = Vec::new();
    for logged in open_mornings(case) {
        let name = case.plan.stages()[logged.entry.stage].name.as_str();
        match days.last_mut().filter(|(day, _)| *day == logged.entry.day) {
            Some((_, names)) if names.contains(&name) => {}
            Some((_, names)) => names.push(name),
            None => days.push((logged.entry.day, vec![name])),
        }
    }
    let latest = days.into_iter().rev().take(MORNINGS_ASKED);
    latest
        .map(|(day, names)| MorningView { day: day.to_string(), date: day_words(day), stages: names.join(", ") })
        .collect()
}

/// Why a clinician should look, each reason once.
pub(super) fn clinician_reasons(case: &Casework) -> Vec<String> {
    let mut reasons: Vec<String> = Vec::new();
    // a plan that is to be mended proposes nothing, and pain that stops it is told all the same
    let Some(proposal) = case.proposal_of_any_plan() else { return reasons };
    for stage in proposal.stages.iter().filter(|stage| stage.decision == Decision::SeeClinician) {
        if !reasons.contains(&stage.reason) {
            reasons.push(stage.reason.clone());
        }
    }
    reasons
}

fn log_view(case: &Casework, shown: usize, form: FormView) -> LogView {
    let proposal = case.proposal();
    let stages = proposal.as_ref().map_or(&[][..], |proposal| &proposal.stages);
    let (mut due, mut not_due) = (Vec::new(), Vec::new());
    for (at, stage) in stages.iter().enumerate() {
        let of_plan = &case.plan.stages()[at];
        let is_entered = case.entries.iter().any(|logged| (logged.entry.stage, logged.entry.day) == (at, case.today));
        match &stage.dose {
            Some(_) if is_entered => {
                not_due.push((stage.name.clone(), words::ENTERED_TODAY.to_owned(), stage.reason.clone()));
            }
            Some(dose) if stage.due_on.is_none_or(|on| on <= case.today) => {
                let kind = of_plan.load_kind();
                due.push(DueView {
                    stage: stage.stage.clone(),
                    name: stage.name.clone(),
                    decision: stage.decision,
                    reason: stage.reason.clone(),
                    dose: (dose.phase.clone(), dose.words.clone()),
                    pain: dose.pain.clone(),
                    how: [dose.how.clone(), dose.felt.clone(), dose.stop.clone()],
                    cells: [
                        dose.load.clone().unwrap_or_default(),
                        dose.sets.to_string(),
                        dose.repetitions.to_string(),
                        dose.hold_s.map(|seconds| seconds.to_string()).unwrap_or_default(),
                    ],
                    load_hint: (kind != LoadKind::None).then(|| words::load_hint(load_words(kind))),
                    has_seconds: dose.hold_s.is_some(),
                });
            }
            _ => {
                let state = match stage.due_on {
                    Some(on) => words::due_on(&day_words(on)),
                    None => decision_words(stage.decision).to_owned(),
                };
                not_due.push((stage.name.clone(), state, stage.reason.clone()));
            }
        }
    }
    let bands = &case.plan.equipment().bands;
    let entries = case.entries.iter().rev().take(shown).map(|LoggedEntry { id, entry, .. }| EntryView {
        id: *id,
        stage: case.plan.stages()[entry.stage].name.clone(),
        words: entry_words(entry, bands),
        sign: entry.sign,
        note: entry.note.clone(),
    });
    LogView {
        code: case.code().to_owned(),
        today: case.today.to_string(),
        stopped: case.stopped.clone(),
        needs_intake: case.intake.is_none(),
        is_to_mend: !case.to_mend.is_empty(),
        see_clinician: clinician_reasons(case),
        mornings: mornings(case),
        due,
        not_due,
        entries: entries.collect(),
        has_more: case.entries.len() > shown,
        adherence: Adherence::of(&case.plan, &case.facts(), &case.log(), case.today, ADHERENCE_DAYS).words,
        form,
    }
}

fn entry_form(case: &Casework, id: Option<i64>, mut form: FormView) -> EntryFormView {
    // a sign that a later version asks for is no choice here
    if form.value("danger_sign").parse::<DangerSign>().is_err() {
        form.values.insert("danger_sign".to_owned(), String::new());
    }
    EntryFormView {
        code: case.code().to_owned(),
        id,
        today: case.today.to_string(),
        stages: case.plan.stages().iter().map(|stage| (stage.id.clone(), stage.name.clone())).collect(),
        stopped: case.stopped.clone(),
        form,
    }
}
