//! `/reaches/{id}/palms`: which way the palms face, which catches clips in the wrong cell.

use maud::{Markup, html};

use super::drawings;
use super::shell::{Crumbs, page};
use crate::web::text::{self, palms as words};
use crate::web::view::PalmsView;

/// Renders the page.
#[must_use]
pub fn render(view: &PalmsView) -> Markup {
    let choices = [
        ("down", words::DOWN, words::DOWN_HOW, drawings::hands(false)),
        ("up", words::UP, words::UP_HOW, drawings::hands(true)),
    ];
    page(
        words::TITLE,
        &Crumbs::visit(&view.client_code, view.visit),
        &["palms.js"],
        &html! {
            p.lead { (text::occasion(view.occasion)) ". " (words::LEAD) }
            @if let Some(warning) = &view.warning { p.note { (warning) } }
            @if let Some(error) = &view.error { div.errors role="alert" { p { (error) } } }
            @if view.is_contrary { (contrary(view)) }
            div.palms.space {
                figure class=[view.is_wide.then_some("wide")] {
                    div.pan { a href=(view.still_url) { img src=(view.still_url) alt=(words::STILL); } }
                    figcaption { a href=(view.still_url) { (words::LARGER) } }
                }
                form method="post" action={ "/reaches/" (view.reach) "/palms" } {
                    fieldset.plain {
                        legend.sr { (words::TITLE) }
                        @for (value, name, how, drawing) in choices {
                            label.hand {
                                input type="radio" name="palms" value=(value) required checked[view.answered == Some(value)];
                                span { b { (name) } span.hint { (how) } }
                                (drawing)
                            }
                        }
                        label.hand {
                            input type="radio" name="palms" value="unclear" checked[view.answered == Some("unclear")];
                            span { b { (words::UNCLEAR) } }
                        }
                    }
                    button.main { (words::CONFIRM) }
                }
            }
        },
    )
}

/// The answer was the other way.
fn contrary(view: &PalmsView) -> Markup {
    html! {
        div.caution role="alert" {
            h2 { (words::CONTRARY) }
            p {
                (words::contrary(&text::rotation(view.rotation).to_lowercase(), text::palms(view.rotation))) " "
                (if view.has_other { words::TO_EXCHANGE } else { words::TO_MOVE })
            }
            form.actions method="post" action={ "/reaches/" (view.reach) "/palms" } {
                button.main name="swap" value="on" {
                    (if view.has_other { words::SWAP } else { words::MOVE })
                }
                a href={ "/reaches/" (view.reach) "/delete" } { (words::FILM_AGAIN) }
            }
        }
    }
}
