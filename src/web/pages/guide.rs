//! `/guide`: how to film.

use maud::{Markup, html};

use super::drawings;
use super::shell::{Crumbs, page};
use crate::web::text::guide as words;

/// Renders the page.
#[must_use]
pub fn render() -> Markup {
    page(
        words::TITLE,
        &Crumbs::default(),
        &[],
        &html! {
            p.lead { (words::LEAD) }
            ol.steps.space {
                (step(words::STAND, words::STAND_TEXT, &drawings::plan()))
                (step(words::PICTURE, words::PICTURE_TEXT, &drawings::framing()))
                (step(words::SIT, words::SIT_TEXT, &pair([
                    (drawings::back(true), words::SIT_GOOD, words::SIT_GOOD_TEXT),
                    (drawings::back(false), words::SIT_BAD, words::SIT_BAD_TEXT),
                ])))
                (step(words::HANDS, words::HANDS_TEXT, &pair([
                    (drawings::hands(false), words::DOWN, words::DOWN_TEXT),
                    (drawings::hands(true), words::UP, words::UP_TEXT),
                ])))
                (step(words::RAISE, words::RAISE_TEXT, &drawings::raises()))
                (step(words::AGAIN, words::AGAIN_TEXT, &drawings::four_clips()))
            }
        },
    )
}

fn step(heading: &str, text: &str, drawing: &Markup) -> Markup {
    html! {
        li {
            div { h2 { (heading) } p { (text) } }
            (drawing)
        }
    }
}

/// Two drawings to compare.
pub(super) fn pair(drawings: [(Markup, &str, &str); 2]) -> Markup {
    html! {
        div.pairs {
            @for (drawing, name, text) in drawings {
                figure { (drawing) figcaption { b { (name) } (text) } }
            }
        }
    }
}
