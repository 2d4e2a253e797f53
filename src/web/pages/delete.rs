//! What deleting removes, said before it is done.

use maud::{Markup, html};

use super::shell::page;
use crate::web::view::{DeleteClientView, DeleteReachView};

/// `/clients/{code}/delete`.
#[must_use]
pub fn render_client(view: &DeleteClientView) -> Markup {
    page(
        &format!("Delete {}", view.code),
        &[],
        html! {
            p { (view.visits) " visits, " (view.reaches) " reaches, " (view.marks) " edits of marks, " (view.media) " clips (" (view.size) ")" }
            form method="post" action={ "/clients/" (view.code) "/delete" } {
                label { "code" input name="code" value=(view.form.value("code")); }
                @if let Some(error) = view.form.error("code") { p { (error) } }
                button { "Delete" }
            }
        },
    )
}

/// `/reaches/{id}/delete`.
#[must_use]
pub fn render_reach(view: &DeleteReachView) -> Markup {
    page(
        "Delete reach",
        &[],
        html! {
            p { (view.marks) " edits of marks, " (view.size.as_deref().unwrap_or("no clip")) }
            form method="post" action={ "/reaches/" (view.reach) "/delete" } { button { "Delete" } }
        },
    )
}
