//! What is shown in place of a page that cannot be.

use maud::{Markup, html};

use super::shell::page;
use crate::web::view::ErrorView;

/// Renders the page.
#[must_use]
pub fn render(view: &ErrorView) -> Markup {
    page(&view.status.to_string(), &[], html! { p { (view.text) } })
}
