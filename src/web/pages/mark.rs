//! `/reaches/{id}/mark`: the marking page.

use maud::{Markup, html};

use super::shell::page;
use crate::web::view::MarkView;

/// Renders the page.
#[must_use]
pub fn render(view: &MarkView) -> Markup {
    page(
        "Marks",
        &[],
        html! {
            div data-reach=(view.reach) data-repeat=(view.repeat) data-raise=(view.raise) {}
            p { a href={ "/visits/" (view.visit) } { "Visit" } }
        },
    )
}
