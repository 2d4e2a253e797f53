//! `/reaches/{id}/palms`: which way the palms face.

use maud::{Markup, html};

use super::shell::page;
use crate::web::view::PalmsView;

/// Renders the page.
#[must_use]
pub fn render(view: &PalmsView) -> Markup {
    page(
        "Palms",
        &[],
        html! {
            @if let Some(error) = &view.error { p { (error) } }
            img src=(view.still_url) alt="The still";
            form method="post" action={ "/reaches/" (view.reach) "/palms" } {
                @for word in ["down", "up", "unclear"] {
                    label { input type="radio" name="palms" value=(word); (word) }
                }
                button { "Confirm" }
                @if view.is_contrary { button name="swap" value="on" { "Exchange" } }
            }
        },
    )
}
