//! Danger signs, with the person of a new client.

use maud::{Markup, html};

use super::shell::{Choice, Crumbs, Input, describes, error_text, errors, ids, page, radios};
use crate::records::DangerSign;
use crate::web::text::{self, screening as words};
use crate::web::view::{CorrectClientView, FormView, NewClientView, ScreeningFormView};

/// `/clients/new`.
#[must_use]
pub fn render_new(view: &NewClientView) -> Markup {
    page(
        words::TITLE_NEW,
        &Crumbs::clients(),
        &[],
        &html! {
            p.lead { (words::LEAD) }
            (errors(&view.form))
            form method="post" action="/clients" novalidate {
                (questions(&view.signs, &view.form))
                fieldset {
                    legend { (words::PERSON) }
                    (person(&view.form))
                }
                button.main { (words::SAVE_NEW) }
            }
        },
    )
}

/// `/clients/{code}/screening`.
#[must_use]
pub fn render_again(view: &ScreeningFormView) -> Markup {
    page(
        words::TITLE_AGAIN,
        &Crumbs::client(&view.code),
        &[],
        &html! {
            p.lead { (words::LEAD) }
            (errors(&view.form))
            form method="post" action={ "/clients/" (view.code) "/screening" } novalidate {
                (questions(&view.signs, &view.form))
                button.main { (words::SAVE_AGAIN) }
            }
        },
    )
}

/// `/clients/{code}/facts`.
#[must_use]
pub fn render_facts(view: &CorrectClientView) -> Markup {
    page(
        words::TITLE_FACTS,
        &Crumbs::client(&view.code),
        &[],
        &html! {
            p.lead { (words::LEAD_FACTS) }
            (errors(&view.form))
            form method="post" action={ "/clients/" (view.code) "/facts" } novalidate {
                (person(&view.form))
                div.actions {
                    button.main { (words::SAVE_FACTS) }
                    a href={ "/clients/" (view.code) } { (text::BACK) }
                }
            }
        },
    )
}

/// Code and side of the client.
pub(super) fn who_and_code(form: &FormView, hint: &str) -> Markup {
    html! {
        (input(form, "code", words::CODE, hint, "text", true))
        (Choice {
            name: "affected_side",
            legend: words::SIDE,
            hint: "",
            values: &[("left", words::LEFT), ("right", words::RIGHT), ("both", words::BOTH)],
        }.render(form))
    }
}

fn person(form: &FormView) -> Markup {
    html! {
        (who_and_code(form, words::CODE_HINT))
        div.fields {
            (input(form, "stature_mm", words::STATURE, words::LENGTHS_HINT, "decimal", false))
            (input(form, "arm_length_mm", words::ARM, words::LENGTHS_HINT, "decimal", false))
        }
    }
}

/// The questions alone, under a heading.
pub(super) fn asked(signs: &[DangerSign], heading: &str, form: &FormView) -> Markup {
    html! {
        div.caution { p { (words::EMERGENCY) } }
        section {
            h2 #signs { (heading) }
            @for sign in signs { (question(*sign, form)) }
        }
    }
}

/// The questions, who answers them, and a clinician's reason to go on.
fn questions(signs: &[DangerSign], form: &FormView) -> Markup {
    let (reason_id, hint_id, error_id) = ids("reason");
    let error = form.error("reason");
    html! {
        (asked(signs, words::SIGNS, form))
        fieldset.space {
            legend { (words::WHO) }
            (Choice {
                name: "answered_by",
                legend: words::WHO_ANSWERED,
                hint: "",
                values: &[("client", words::CLIENT), ("clinician", words::CLINICIAN)],
            }.render(form))
            div.field {
                label for=(reason_id) { (words::REASON) }
                span.hint id=(hint_id) { (words::REASON_HINT) }
                textarea id=(reason_id) name="reason" rows="3"
                    aria-describedby=[describes(words::REASON_HINT, error, &hint_id, &error_id)]
                    aria-invalid=[error.map(|_| "true")] { (form.value("reason")) }
                (error_text(error, &error_id))
            }
        }
    }
}

fn question(sign: DangerSign, form: &FormView) -> Markup {
    let name = format!("sign_{}", sign.name());
    let (id, _, error_id) = ids(&name);
    let error = form.error(&name);
    html! {
        fieldset.question id=(id) aria-describedby=[error.map(|_| &error_id)] {
            legend { span.asked { (text::danger_sign(sign)) } }
            (radios(&name, &[("no", text::NO), ("yes", text::YES)], form.value(&name)))
            (error_text(error, &error_id))
        }
    }
}

fn input(form: &FormView, name: &str, label: &str, hint: &str, mode: &str, is_required: bool) -> Markup {
    Input { name, label, hint, mode, is_required }.render(form)
}
