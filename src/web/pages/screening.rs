//! Danger signs, with the person of a new client.

use maud::{Markup, html};

use super::shell::page;
use crate::records::DangerSign;
use crate::web::text;
use crate::web::view::{FormView, NewClientView, ScreeningFormView};

/// `/clients/new`.
#[must_use]
pub fn render_new(view: &NewClientView) -> Markup {
    page(
        "New client",
        &[],
        html! {
            form method="post" action="/clients" {
                (questions(&view.signs, &view.form))
                @for field in ["code", "affected_side", "stature_mm", "arm_length_mm"] { (input(&view.form, field)) }
                button { "Save" }
            }
        },
    )
}

/// `/clients/{code}/screening`.
#[must_use]
pub fn render_again(view: &ScreeningFormView) -> Markup {
    page(
        "Danger signs",
        &[],
        html! {
            form method="post" action={ "/clients/" (view.code) "/screening" } {
                (questions(&view.signs, &view.form))
                button { "Save" }
            }
        },
    )
}

fn questions(signs: &[DangerSign], form: &FormView) -> Markup {
    html! {
        @for sign in signs {
            @let name = format!("sign_{}", sign.name());
            fieldset {
                legend { (text::danger_sign(*sign)) }
                @for word in ["no", "yes"] {
                    label { input type="radio" name=(name) value=(word) checked[form.value(&name) == word]; (word) }
                }
                @if let Some(error) = form.error(&name) { p { (error) } }
            }
        }
        @for field in ["answered_by", "reason"] { (input(form, field)) }
    }
}

fn input(form: &FormView, field: &str) -> Markup {
    html! {
        label { (field) input name=(field) value=(form.value(field)); }
        @if let Some(error) = form.error(field) { p { (error) } }
    }
}
