//! `/clients/{code}`: one client.

use maud::{Markup, html};

use super::shell::page;
use crate::web::view::ClientView;

/// Renders the page.
#[must_use]
pub fn render(view: &ClientView) -> Markup {
    page(
        &view.code,
        &[],
        html! {
            @if let Some(refused) = &view.refused { p { (refused) } }
            @if view.may_visit {
                form method="post" action={ "/clients/" (view.code) "/visits" } { button { "New visit" } }
            }
            ul { @for visit in &view.visits { li { a href={ "/visits/" (visit.id) } { (visit.date) } } } }
            p { a href={ "/clients/" (view.code) "/screening" } { "Danger signs" } }
            p { a href={ "/clients/" (view.code) "/delete" } { "Delete" } }
        },
    )
}
