//! `/guide`: how to film.

use maud::{Markup, html};

use super::shell::page;

/// Renders the page.
#[must_use]
pub fn render() -> Markup {
    page("How to film", &[], html! {})
}
