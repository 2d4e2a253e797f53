//! What every page has around its content.

use maud::{DOCTYPE, Markup, html};

use crate::web::text;

/// A page with its title, content and ES modules (names under `/assets/`).
pub(super) fn page(title: &str, modules: &[&str], content: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · " (text::NAME) }
                link rel="stylesheet" href="/assets/sheet.css";
                @for module in modules {
                    script type="module" src={ "/assets/" (module) } {}
                }
            }
            body {
                header { a href="/" { (text::NAME) } }
                main { h1 { (title) } (content) }
            }
        }
    }
}
