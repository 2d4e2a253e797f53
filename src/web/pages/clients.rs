//! `/`: all clients, or what to do first.

use maud::{Markup, html};

use super::shell::{Crumbs, page};
use crate::web::text::{self, clients as words};
use crate::web::view::ClientsView;

/// Renders the page.
#[must_use]
pub fn render(view: &ClientsView) -> Markup {
    if view.clients.is_empty() { first_start(view) } else { list(view) }
}

fn first_start(view: &ClientsView) -> Markup {
    page(
        words::WELCOME,
        &Crumbs::default(),
        &[],
        &html! {
            p.lead { (words::LEAD) }
            div.start.space {
                section {
                    h2 { (words::NEW_HEADING) }
                    p { (words::NEW_TEXT) }
                    p { a.button.main href="/clients/new" { (words::NEW) } }
                }
                @if view.offers_demo {
                    section {
                        h2 { (words::DEMO_HEADING) }
                        p { (words::DEMO_TEXT) }
                        form method="post" action="/demo" { button { (words::DEMO_BUTTON) } }
                    }
                }
                (alone())
                section {
                    h2 { (words::GUIDE_HEADING) }
                    p { (words::GUIDE_TEXT) }
                    p { a.button href="/guide" { (text::GUIDE) } }
                }
            }
        },
    )
}

fn alone() -> Markup {
    html! {
        section {
            h2 { (text::alone::OFFER) }
            p { (text::alone::OFFER_TEXT) }
            p { a.button href="/alone" { (text::alone::OFFER_BUTTON) } }
        }
    }
}

fn list(view: &ClientsView) -> Markup {
    page(
        words::TITLE,
        &Crumbs::default(),
        &[],
        &html! {
            section {
                h2 { (words::LIST) }
                ul.rows {
                    @for client in &view.clients {
                        li {
                            a href={ "/clients/" (client.code) } {
                                b { (client.code) }
                                span {
                                    (text::side(client.side))
                                    @if client.is_demo { ", " (text::DEMO) }
                                }
                                span.end.small {
                                    @match &client.last_visit {
                                        Some(date) => { (words::visits(client.visits)) ", " (date) },
                                        None => (words::NO_VISIT),
                                    }
                                }
                            }
                        }
                    }
                }
                p.actions { a.button.main href="/clients/new" { (words::NEW) } a.button href="/alone" { (text::alone::OFFER_BUTTON) } }
            }
            @if view.offers_demo {
                section {
                    h2 { (words::DEMO_HEADING) }
                    p { (words::DEMO_TEXT) }
                    form method="post" action="/demo" { button { (words::DEMO_BUTTON) } }
                }
            }
        },
    )
}
