//! What is shown in place of a page that cannot be.

use maud::{Markup, html};

use super::shell::{Crumbs, page};
use crate::web::text::error as words;
use crate::web::view::ErrorView;

/// Renders the page.
#[must_use]
pub fn render(view: &ErrorView) -> Markup {
    page(
        words::title(view.status),
        &Crumbs::default(),
        &[],
        &html! {
            p.lead { (view.text) }
            p { a.button href="/" { (words::BACK) } }
            p.small { (words::code(view.status)) }
        },
    )
}
