//! `/clients/{code}/log`: what is due, entered with one press; mornings after; what was done; the log as a table.

use maud::{Markup, html};

use super::parts::{Scale, choose, choose_as, day, file, lines};
use super::shell::{Choice, Crumbs, Input, errors, page, stopped};
use crate::plan::DangerSign;
use crate::plan::pain::PAIN_MAX;
use crate::plan::words::{CAUTIONS, decision_words};
use crate::web::text::{self, log as words, plan as plan_words};
use crate::web::view::{DueView, EntryFormView, EntryView, FormView, LogView, MorningView};

/// Renders the page.
#[must_use]
pub fn render(view: &LogView) -> Markup {
    let address = format!("/clients/{}/log", view.code);
    page(
        words::TITLE,
        &Crumbs::client(&view.code),
        &[],
        &html! {
            (errors(&view.form))
            @if let Some(refusal) = &view.stopped { (stopped(refusal, &view.code)) }
            @if view.needs_intake {
                div.nextstep {
                    p { (words::INTAKE_FIRST) }
                    a.button.main href={ "/clients/" (view.code) "/intake" } { (words::TO_INTAKE) }
                }
            } @else {
                @if view.is_to_mend && view.stopped.is_none() { (to_mend(&view.code)) }
                (clinician(&view.see_clinician, &view.code))
                @if !view.mornings.is_empty() { (mornings(view, &address)) }
                @if view.stopped.is_none() && !view.is_to_mend { (due(view, &address)) }
                (entries(view, &address))
                section { h2 { (words::ADHERENCE) } p { (view.adherence) } }
                (files(view, &address))
            }
        },
    )
}

/// What comes before anything that is due.
fn clinician(reasons: &[String], code: &str) -> Markup {
    html! {
        @if !reasons.is_empty() {
            div.caution role="alert" {
                h2 { (plan_words::CLINICIAN) }
                @for reason in reasons { p { strong { (reason) } } }
                p { a href={ "/clients/" (code) "/plan" } { (plan_words::TITLE) } }
            }
        }
    }
}

/// The plan comes first.
fn to_mend(code: &str) -> Markup {
    html! {
        div.caution role="alert" {
            h2 { (plan_words::TO_MEND) }
            p { (plan_words::TO_MEND_TEXT) }
            p.small { (CAUTIONS) }
            p { a href={ "/clients/" (code) "/plan" } { (plan_words::TITLE) } }
        }
    }
}

fn mornings(view: &LogView, address: &str) -> Markup {
    html! {
        section {
            h2 { (words::MORNINGS) }
            @for morning in &view.mornings { (asked(morning, address, &view.form)) }
        }
    }
}

fn asked(morning: &MorningView, address: &str, form: &FormView) -> Markup {
    let empty = FormView::default();
    let is_refused = form.value("day") == morning.day && form.error("pain").is_some();
    let of_this = if is_refused { form } else { &empty };
    let id = if is_refused { "pain".to_owned() } else { format!("pain-{}", morning.day) };
    html! {
        form.morning method="post" action={ (address) "/morning" } novalidate {
            input type="hidden" name="day" value=(morning.day);
            (Scale { name: "pain", legend: &words::morning_after(&morning.date, &morning.stages), hint: words::MORNING_HINT }
                .render_as(of_this, &id))
            button { (words::SAVE) span.sr { ", " (morning.date) } }
        }
    }
}

fn due(view: &LogView, address: &str) -> Markup {
    html! {
        section {
            h2 { (words::DUE) }
            @if view.due.is_empty() {
                @if view.see_clinician.is_empty() { p { (words::NOTHING_DUE) } }
                @else { p { (words::NOTHING_BEFORE_CLINICIAN) } }
            }
            div.dues { @for due in &view.due { (one_due(view, due, address)) } }
            @if !view.not_due.is_empty() {
                details {
                    summary { (words::NOT_DUE) }
                    ul.findings {
                        @for (name, state, reason) in &view.not_due { li { p { b { (name) } ": " (state) } p.small { (reason) } } }
                    }
                }
            }
        }
    }
}

fn one_due(view: &LogView, due: &DueView, address: &str) -> Markup {
    // one that was refused is shown with what was typed
    let is_refused = view.form.value("stage") == due.stage && !view.form.errors.is_empty();
    let mut proposed = FormView::default();
    for (name, cell) in ["load", "sets", "repetitions", "seconds"].iter().zip(&due.cells) {
        proposed.values.insert((*name).to_owned(), cell.clone());
    }
    let form = if is_refused { &view.form } else { &proposed };
    html! {
        article.due id={ "due-" (due.stage) } {
            h3 { (due.name) }
            p.decision { (decision_words(due.decision)) }
            p.dose { (due.dose.1) }
            p.small { (due.dose.0) }
            p.next { (due.reason) }
            details {
                summary { (words::HOW) span.sr { ", " (due.name) } }
                p { (due.how[0]) }
                p { b { (plan_words::FELT) ": " } (due.how[1]) }
                p { b { (plan_words::STOP) ": " } (due.how[2]) }
                p { b { (plan_words::PAIN_TAKEN) ": " } (due.pain) }
            }
            form method="post" action=(address) {
                (hidden(&due.stage, &view.today, "yes"))
                @for (name, cell) in ["load", "sets", "repetitions", "seconds"].iter().zip(&due.cells) {
                    input type="hidden" name=(name) value=(cell);
                }
                input type="hidden" name="pain_during" value="0";
                button.main { (words::AS_PROPOSED) span.sr { ", " (due.name) } }
            }
            details open[is_refused] {
                summary.button { (words::DIFFERENT) span.sr { ", " (due.name) } }
                form method="post" action=(address) novalidate {
                    (hidden(&due.stage, &view.today, "yes"))
                    (Scale { name: "pain_during", legend: words::PAIN, hint: words::PAIN_HINT }
                        .render_as(form, &name_in(due, "pain_during", is_refused)))
                    div.fields {
                        @if let Some(hint) = &due.load_hint { (typed(due, form, "load", words::LOAD, hint, is_refused)) }
                        (typed(due, form, "sets", words::SETS, "", is_refused))
                        (typed(due, form, "repetitions", words::REPETITIONS, "", is_refused))
                        @if due.has_seconds { (typed(due, form, "seconds", words::SECONDS, "", is_refused)) }
                    }
                    (signs(form, &name_in(due, "danger_sign", is_refused)))
                    button.main { (words::SAVE) span.sr { ", " (due.name) } }
                }
            }
            form method="post" action=(address) {
                (hidden(&due.stage, &view.today, "no"))
                button.link { (words::NOT_TODAY) span.sr { ", " (due.name) } }
            }
        }
    }
}

/// The id of a field among those of all stages; that of a refused entry is the one that its fault leads to.
fn name_in(due: &DueView, name: &str, is_refused: bool) -> String {
    if is_refused { name.to_owned() } else { format!("{name}-{}", due.stage) }
}

fn typed(due: &DueView, form: &FormView, name: &str, label: &str, hint: &str, is_refused: bool) -> Markup {
    let (id, hint_id, error_id) = super::shell::ids(&name_in(due, name, is_refused));
    let error = form.error(name);
    let mode = if name == "load" { "text" } else { "numeric" };
    html! {
        div.field {
            label for=(id) { (label) }
            @if !hint.is_empty() { span.hint id=(hint_id) { (hint) } }
            input type="text" id=(id) name=(name) value=(form.value(name)) inputmode=(mode) autocomplete="off"
                aria-describedby=[super::shell::describes(hint, error, &hint_id, &error_id)]
                aria-invalid=[error.map(|_| "true")];
            (super::shell::error_text(error, &error_id))
        }
    }
}

fn hidden(stage: &str, today: &str, done: &str) -> Markup {
    html! {
        input type="hidden" name="stage" value=(stage);
        input type="hidden" name="day" value=(today);
        input type="hidden" name="done" value=(done);
    }
}

fn signs(form: &FormView, id: &str) -> Markup {
    let mut values = vec![("", words::SIGN_NONE)];
    values.extend(DangerSign::ALL.map(|sign| (sign.name(), text::danger_sign(sign))));
    choose_as(form, id, "danger_sign", words::SIGN, "", &values)
}

fn entries(view: &LogView, address: &str) -> Markup {
    html! {
        section {
            h2 { (words::LATEST) }
            @if view.entries.is_empty() { p { (words::NO_ENTRY) } }
            ul.findings.entries { @for entry in &view.entries { (one_entry(entry, address)) } }
            div.actions {
                a.button href={ (address) "/new" } { (words::CATCH_UP) }
                @if view.has_more { a href={ (address) "?all=yes" } { (words::ALL) } }
            }
        }
    }
}

fn one_entry(entry: &EntryView, address: &str) -> Markup {
    html! {
        li {
            p { b { (entry.stage) } }
            p { (entry.words) }
            @if let Some(sign) = entry.sign { p { span.status.fail { (text::danger::SIGN) } (text::danger_sign(sign)) } }
            @if !entry.note.is_empty() { p.small { (entry.note) } }
            p.actions { a href={ (address) "/" (entry.id) } { (words::CORRECT) span.sr { ", " (entry.stage) ", " (entry.words) } } }
        }
    }
}

fn files(view: &LogView, address: &str) -> Markup {
    let of_file = FormView {
        errors: view.form.errors.iter().filter(|error| error.field == "file").cloned().collect(),
        ..FormView::default()
    };
    html! {
        section {
            h2 { (words::FILES) }
            p { (words::FILES_TEXT) }
            p { a.button href={ (address) ".csv" } { (words::DOWNLOAD) } }
            form.space method="post" enctype="multipart/form-data" action={ (address) "/file" } {
                (file(&of_file, words::FILE, words::FILE_HINT, ".csv,text/csv"))
                button { (words::UPLOAD) }
            }
        }
    }
}

/// Renders the form of one entry.
#[must_use]
pub fn render_entry(view: &EntryFormView) -> Markup {
    let form = &view.form;
    let address = format!("/clients/{}/log", view.code);
    let action = view.id.map_or_else(|| address.clone(), |id| format!("{address}/{id}"));
    let stages: Vec<(&str, &str)> = view.stages.iter().map(|(id, name)| (id.as_str(), name.as_str())).collect();
    let pains: Vec<String> = (0..=PAIN_MAX).map(|pain| pain.to_string()).collect();
    let mut scale = vec![("", words::NOT_KNOWN)];
    scale.extend(pains.iter().map(|pain| (pain.as_str(), pain.as_str())));
    let input = |name, label, hint, mode| Input { name, label, hint, mode, is_required: false }.render(form);
    page(
        if view.id.is_some() { words::TITLE_ENTRY } else { words::TITLE_NEW },
        &Crumbs::log(&view.code),
        &[],
        &html! {
            @if let Some(refusal) = &view.stopped { (stopped(refusal, &view.code)) }
            (errors(form))
            form method="post" action=(action) novalidate {
                @if view.id.is_none() { input type="hidden" name="form" value="entry"; }
                @if !form.value("was").is_empty() { input type="hidden" name="was" value=(form.value("was")); }
                div.fields {
                    (day(form, "day", words::DAY, "", &view.today))
                    (choose(form, "stage", words::STAGE, "", &stages))
                }
                (Choice { name: "done", legend: words::DONE, hint: "", values: &[("yes", text::YES), ("no", text::NO)] }.render(form))
                div.fields {
                    (choose(form, "pain_during", words::PAIN, words::PAIN_HINT, &scale))
                    (choose(form, "pain_next_morning", words::MORNING, words::PAIN_HINT, &scale))
                    (input("load", words::LOAD, words::EMPTY_HINT, "text"))
                    (input("sets", words::SETS, words::EMPTY_HINT, "numeric"))
                    (input("repetitions", words::REPETITIONS, words::EMPTY_HINT, "numeric"))
                    (input("seconds", words::SECONDS, words::EMPTY_HINT, "numeric"))
                }
                @if let Some(told) = form.error("mistaken").or(Some(form.value("mistaken")).filter(|told| !told.is_empty())) {
                    (Choice { name: "mistaken", legend: words::MISTAKEN, hint: "", values: &[(told, words::MISTAKEN_AGREED)] }.render(form))
                }
                (signs(form, "danger_sign"))
                (lines(form, "note", words::NOTE, ""))
                div.actions { button.main { (words::SAVE) } a href=(address) { (text::BACK) } }
            }
            @if let Some(id) = view.id {
                section {
                    details {
                        summary { (words::DELETE) }
                        p { (words::DELETE_HOW) }
                        form method="post" action={ (address) "/" (id) "/delete" } { button.grave { (words::DELETE_DO) } }
                    }
                }
            }
        },
    )
}
