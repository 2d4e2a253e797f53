//! `/`: all clients.

use maud::{Markup, html};

use super::shell::page;
use crate::web::view::ClientsView;

/// Renders the page.
#[must_use]
pub fn render(view: &ClientsView) -> Markup {
    page(
        "Clients",
        &[],
        html! {
            p { a href="/clients/new" { "New client" } }
            ul { @for client in &view.clients { li { a href={ "/clients/" (client.code) } { (client.code) } } } }
            @if view.offers_demo { form method="post" action="/demo" { button { "Try the demo case" } } }
        },
    )
}
