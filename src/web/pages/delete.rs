//! What deleting removes, said before it is done.

use maud::{Markup, html};

use super::shell::{Crumbs, Input, errors, page};
use crate::web::text::{self, delete as words};
use crate::web::view::{DeleteClientView, DeleteReachView, DeleteVisitView};

/// `/clients/{code}/delete`.
#[must_use]
pub fn render_client(view: &DeleteClientView) -> Markup {
    let back = format!("/clients/{}", view.code);
    page(
        &words::title(&view.code),
        &Crumbs::client(&view.code),
        &[],
        &html! {
            (errors(&view.form))
            div.caution {
                h2 { (words::WHAT_GOES) }
                ul {
                    li { (words::count(view.visits, "visit", "visits")) }
                    li { (words::count(view.reaches, "reach", "reaches")) }
                    li { (words::count(view.marks, "saved change of marks", "saved changes of marks")) }
                    li { (words::CASE) ", " (words::count(view.log_entries, "log entry", "log entries")) }
                    li { (words::count(view.media, "clip or picture", "clips and pictures")) ", " (view.size) }
                    @if view.media_kept > 0 {
                        li { (words::count(view.media_kept, "file stays: another client uses it", "files stay: another client uses them")) }
                    }
                }
                p { (words::FOREVER) }
            }
            form method="post" action={ "/clients/" (view.code) "/delete" } novalidate {
                (Input { name: "code", label: words::CODE, hint: "", mode: "text", is_required: true }.render(&view.form))
                div.actions {
                    button.grave { (words::DO_CLIENT) }
                    a href=(back) { (text::CANCEL) }
                }
            }
        },
    )
}

/// `/visits/{id}/delete`.
#[must_use]
pub fn render_visit(view: &DeleteVisitView) -> Markup {
    page(
        words::TITLE_VISIT,
        &Crumbs::visit(&view.client_code, view.visit),
        &[],
        &html! {
            p.lead { (view.client_code) ", " (view.date) }
            div.caution {
                h2 { (words::WHAT_GOES) }
                ul {
                    li { (words::count(view.reaches, "reach", "reaches")) }
                    li { (words::count(view.marks, "saved change of marks", "saved changes of marks")) }
                    li { (words::count(view.media, "clip or picture", "clips and pictures")) ", " (view.size) }
                    @if view.media_kept > 0 {
                        li { (words::count(view.media_kept, "file stays: another visit uses it", "files stay: another visit uses them")) }
                    }
                }
                p { (words::FOREVER) }
            }
            form.actions method="post" action={ "/visits/" (view.visit) "/delete" } {
                button.grave { (words::DO_VISIT) }
                a href={ "/visits/" (view.visit) } { (text::CANCEL) }
            }
        },
    )
}

/// `/reaches/{id}/delete`.
#[must_use]
pub fn render_reach(view: &DeleteReachView) -> Markup {
    page(
        words::TITLE_REACH,
        &Crumbs::visit(&view.client_code, view.visit),
        &[],
        &html! {
            p.lead {
                (text::occasion(view.occasion)) ", " (text::rotation(view.rotation).to_lowercase()) ", " (text::palms(view.rotation))
            }
            div.caution {
                h2 { (words::WHAT_GOES) }
                ul {
                    li { (words::count(view.marks, "saved change of marks", "saved changes of marks")) }
                    li {
                        @match &view.size {
                            Some(size) => { (words::CLIP) ", " (size) },
                            None => (words::KEPT),
                        }
                    }
                }
                p { (words::FOREVER) }
            }
            form.actions method="post" action={ "/reaches/" (view.reach) "/delete" } {
                button.grave { (words::DO_REACH) }
                a href={ "/visits/" (view.visit) } { (text::CANCEL) }
            }
        },
    )
}
