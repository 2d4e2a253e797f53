//! `/clients/{code}/plan`: what is proposed for the next session, the stages, and the clinician's changes.

use maud::{Markup, html};

use super::parts::{choose, file, tick};
use super::shell::{Crumbs, Input, errors, ids, page, stopped};
use crate::plan::Decision;
use crate::plan::PainRule;
use crate::plan::words::{CAUTIONS, decision_words};
use crate::records::Word as _;
use crate::web::text::{self, plan as words};
use crate::web::view::{FormView, PlanFormView, PlanView, ProposedView, StageView};

/// Renders the page.
#[must_use]
pub fn render(view: &PlanView) -> Markup {
    let address = format!("/clients/{}/plan", view.code);
    page(
        words::TITLE,
        &Crumbs::client(&view.code),
        &[],
        &html! {
            p.lead { (view.name) }
            @if let Some(refusal) = &view.stopped {
                (errors(&view.clearing))
                div #field-stopped { (stopped(refusal, &view.code)) }
            }
            @else if view.needs_intake {
                div.nextstep {
                    p { (words::INTAKE_FIRST) }
                    a.button.main href={ "/clients/" (view.code) "/intake" } { (words::TO_INTAKE) }
                }
            }
            @else if !view.to_mend.is_empty() {
                (errors(&view.clearing))
                (to_mend(view, &address))
            }
            @else if !view.see_clinician.is_empty() { (see_clinician(view, &address)) }
            @else {
                div.caution { p { (view.cautions) } }
                div.nextstep { p { (words::NEXT) } a.button.main href={ "/clients/" (view.code) "/log" } { (words::TO_LOG) } }
            }
            section {
                h2 { (words::STAGES) }
                ol.stages { @for stage in &view.stages { (one_stage(stage)) } }
            }
            @if let Some((day, reason)) = &view.cleared { section { p { (words::CLEARED) } blockquote { (reason) } p.small { (day) } } }
            (change(view, &address))
        },
    )
}

/// A plan that was kept and cannot be used as it is: what is wrong, each linked to its field in the form.
fn to_mend(view: &PlanView, address: &str) -> Markup {
    html! {
        div.caution role="alert" {
            h2 { (words::TO_MEND) }
            ul { @for fault in &view.to_mend { li { a href={ (address) "/edit#field-" (fault.field) } { (fault.message) } } } }
            p { (words::TO_MEND_TEXT) }
            p { a.button.main href={ (address) "/edit" } { (words::MEND) } }
            @if !view.see_clinician.is_empty() {
                h2 { (words::CLINICIAN) }
                @for reason in &view.see_clinician { p { strong { (reason) } } }
            }
            p.small { (CAUTIONS) }
        }
    }
}

fn see_clinician(view: &PlanView, address: &str) -> Markup {
    let (id, _, error_id) = ids("reason");
    let form = &view.clearing;
    let error = form.error("reason");
    html! {
        (errors(form))
        div.caution role="alert" {
            h2 { (words::CLINICIAN) }
            @for reason in &view.see_clinician { p { strong { (reason) } } }
            p { (words::CLINICIAN_TEXT) }
            p.small { (view.cautions) }
        }
        details open[!form.errors.is_empty()] {
            summary { (words::CLEAR) }
            p { (words::CLEAR_TEXT) }
            form method="post" action={ (address) "/clearance" } novalidate {
                div.field {
                    label for=(id) { (words::CLEAR_REASON) }
                    textarea id=(id) name="reason" rows="3" aria-describedby=[error.map(|_| &error_id)] aria-invalid=[error.map(|_| "true")] {
                        (form.value("reason"))
                    }
                    (super::shell::error_text(error, &error_id))
                }
                (tick(form, "is_clinician", words::CLEAR_TICK))
                (super::shell::error_text(form.error("is_clinician"), "error-is_clinician"))
                div.actions { button { (words::CLEAR_DO) } }
            }
        }
    }
}

fn one_stage(stage: &StageView) -> Markup {
    let is_running = stage.proposed.as_ref().is_some_and(|proposed| proposed.dose.is_some());
    html! {
        li id={ "stage-" (stage.id) } {
            h3 { (stage.name) }
            @if let Some(proposed) = &stage.proposed { (proposal(proposed)) }
            details open[is_running] {
                summary { (words::ALL_OF_IT) span.sr { ", " (stage.name) } }
                dl.told {
                    @for (label, said) in [
                        (words::HOW, &stage.how), (words::FELT, &stage.felt), (words::STOP, &stage.stop), (words::PAIN_TAKEN, &stage.pain),
                        (words::ENTRY, &stage.entry), (words::EXIT, &stage.exit),
                    ] {
                        div { dt { (label) } dd { (said) } }
                    }
                    @for (name, doses) in &stage.phases { div { dt { (name) } dd { (doses) } } }
                }
            }
        }
    }
}

fn proposal(proposed: &ProposedView) -> Markup {
    let class = if proposed.decision == Decision::SeeClinician { "decision grave" } else { "decision" };
    html! {
        p class=(class) { (decision_words(proposed.decision)) }
        @if let Some((phase, dose)) = &proposed.dose {
            p.dose { (dose) }
            p.small { (phase) @if let Some(step) = &proposed.step { ", " (step) } @if let Some(due) = &proposed.due { ". " (words::DUE) " " (due) } }
        }
        p.next { (proposed.reason) }
    }
}

fn change(view: &PlanView, address: &str) -> Markup {
    let (unit, unit_label) = if view.is_in_pounds { ("kg", words::IN_KG) } else { ("lb", words::IN_LB) };
    html! {
        section {
            h2 { (words::RULES) }
            details {
                summary { (words::SHOW_RULES) }
                p { (words::RULES_TEXT) }
                ol { @for (action, because) in &view.rules { li { b { (action) } ", because " (because) } } }
            }
        }
        section {
            h2 { (words::CHANGE) }
            p { (words::CHANGE_TEXT) }
            (errors(&view.upload))
            div.actions {
                a.button href={ (address) "/edit" } { (words::EDIT) }
                a.button href={ "/clients/" (view.code) "/plan.toml" } { (words::DOWNLOAD) }
                form method="post" action={ (address) "/unit" } {
                    input type="hidden" name="unit" value=(unit);
                    button #field-unit aria-describedby="unit-text" { (unit_label) }
                }
            }
            p.small #unit-text { (words::UNIT_TEXT) }
            form.space method="post" enctype="multipart/form-data" action={ (address) "/file" } {
                (file(&view.upload, words::FILE, words::FILE_HINT, ".toml"))
                button { (words::UPLOAD) }
            }
        }
    }
}

/// Renders the form of doses and limits.
#[must_use]
pub fn render_form(view: &PlanFormView) -> Markup {
    let form = &view.form;
    let rules: Vec<(&str, &str)> =
        PainRule::WORDS.iter().map(|(word, rule)| (*word, words::pain_rule(*rule))).collect();
    page(
        words::TITLE_EDIT,
        &Crumbs::plan(&view.code),
        &[],
        &html! {
            p.lead { (words::LEAD_EDIT) }
            (errors(form))
            form #field-plan method="post" action={ "/clients/" (view.code) "/plan/edit" } novalidate {
                @if !form.value("was").is_empty() { input type="hidden" name="was" value=(form.value("was")); }
                fieldset.space {
                    legend { (words::PAIN) }
                    (choose(form, "pain_rule", words::PAIN_RULE, "", &rules))
                    p.hint { (words::PAIN_OWN_HINT) }
                    div.fields {
                        (number(form, "safe_at_most", words::SAFE, ""))
                        (number(form, "acceptable_at_most", words::ACCEPTABLE, ""))
                        (number(form, "morning_at_most", words::MORNING, ""))
                    }
                }
                @for stage in &view.stages {
                    fieldset {
                        legend { (stage.name) }
                        div.fields { @for (name, label) in &stage.fields { (number(form, name, label, "")) } }
                        div.fields { @for (name, label) in &stage.optional { (number(form, name, label, words::EMPTY_HINT)) } }
                        (own_pain(form, &stage.id, &stage.name, &rules))
                        @for phase in &stage.phases {
                            h3.label { (phase.name) }
                            div.ranges {
                                @for (label, names) in &phase.fields { (range(form, &phase.name, label, names)) }
                                @if !phase.bands.is_empty() { (band_range(form, &phase.name, &phase.bands, &view.bands)) }
                            }
                        }
                    }
                }
                p { (words::IN_FILE) }
                div.actions { button.main { (words::SAVE) } a href={ "/clients/" (view.code) "/plan" } { (text::BACK) } }
            }
        },
    )
}

fn number(form: &FormView, name: &str, label: &str, hint: &str) -> Markup {
    Input { name, label, hint, mode: "decimal", is_required: false }.render(form)
}

/// The limits of pain of one stage, where they are other than the plan's.
fn own_pain(form: &FormView, id: &str, stage: &str, rules: &[(&str, &str)]) -> Markup {
    let of = |name: &str| format!("{name}.{id}");
    let limits =
        [("safe_at_most", words::SAFE), ("acceptable_at_most", words::ACCEPTABLE), ("morning_at_most", words::MORNING)];
    let rule = of("pain_rule");
    let is_wrong =
        limits.iter().map(|(name, _)| of(name)).chain([rule.clone()]).any(|name| form.error(&name).is_some());
    let choices: Vec<(&str, &str)> =
        [(words::AS_PLAN, words::AS_PLAN_LABEL)].into_iter().chain(rules.iter().copied()).collect();
    html! {
        details open[is_wrong || form.value(&rule) != words::AS_PLAN] {
            summary { (words::PAIN_STAGE) span.sr { ", " (stage) } }
            (choose(form, &rule, words::PAIN_RULE, "", &choices))
            p.hint { (words::PAIN_OWN_HINT) }
            div.fields { @for (name, label) in limits { (number(form, &of(name), label, "")) } }
        }
    }
}

/// The bands of a phase, from the lightest to the firmest.
fn band_range(form: &FormView, phase: &str, names: &[String], bands: &[String]) -> Markup {
    html! {
        fieldset.field.plain {
            legend.label { span.sr { (phase) ", " } (words::BAND) }
            div.range {
                @for (name, end) in names.iter().zip([words::FROM, words::TO]) {
                    @let (id, _, error_id) = ids(name);
                    @let error = form.error(name);
                    label for=(id) { (end) }
                    select id=(id) name=(name) aria-describedby=[error.map(|_| &error_id)] aria-invalid=[error.map(|_| "true")] {
                        @for band in bands { option value=(band) selected[form.value(name) == *band] { (band) } }
                    }
                    (super::shell::error_text(error, &error_id))
                }
            }
        }
    }
}

/// One quantity: a field, or two for its range.
fn range(form: &FormView, phase: &str, label: &str, names: &[String]) -> Markup {
    html! {
        fieldset.field.plain {
            legend.label { span.sr { (phase) ", " } (label) }
            div.range {
                @for (name, end) in names.iter().zip([words::FROM, words::TO]) {
                    @let (id, _, error_id) = ids(name);
                    @let error = form.error(name);
                    label for=(id) class=(if names.len() == 1 { "sr" } else { "" }) { (if names.len() == 1 { label } else { end }) }
                    input type="text" id=(id) name=(name) value=(form.value(name)) inputmode="decimal" autocomplete="off"
                        aria-describedby=[error.map(|_| &error_id)] aria-invalid=[error.map(|_| "true")];
                    (super::shell::error_text(error, &error_id))
                }
            }
        }
    }
}
