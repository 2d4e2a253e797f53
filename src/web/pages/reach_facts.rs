//! `/reaches/{id}/facts`: which reach a clip is and how it was filmed, to be corrected.

use maud::{Markup, html};

use super::shell::{Choice, Crumbs, errors, page};
use crate::screen::Occasion;
use crate::web::text::{self, reach_facts as words, visit};
use crate::web::view::ReachFactsView;

/// Renders the page.
#[must_use]
pub fn render(view: &ReachFactsView) -> Markup {
    use crate::pose::View;
    let form = &view.form;
    let choices: [Choice<'_>; 4] = [
        Choice {
            name: "occasion",
            legend: words::OCCASION,
            hint: "",
            values: &[("before", text::occasion(Occasion::Before)), ("after", text::occasion(Occasion::After))],
        },
        Choice {
            name: "rotation",
            legend: words::ROTATION,
            hint: "",
            values: &[("internal", words::INTERNAL), ("external", words::EXTERNAL)],
        },
        Choice {
            name: "view",
            legend: words::VIEW,
            hint: "",
            values: &[
                ("side", text::view(View::Side)),
                ("front", text::view(View::Front)),
                ("oblique", text::view(View::Oblique)),
            ],
        },
        Choice {
            name: "near_side",
            legend: visit::NEAR,
            hint: words::NEAR_HINT,
            values: &[("right", visit::NEAR_RIGHT), ("left", visit::NEAR_LEFT), ("", visit::NEAR_NONE)],
        },
    ];
    page(
        words::TITLE,
        &Crumbs::visit(&view.client_code, view.visit),
        &[],
        &html! {
            p.lead { (words::LEAD) }
            (errors(form))
            div.palms.space {
                figure { img src=(view.still_url) alt=(words::STILL); }
                form method="post" action={ "/reaches/" (view.reach) "/facts" } novalidate {
                    @for choice in choices { (choice.render(form)) }
                    label.choice {
                        input type="checkbox" name="mirrored" value="on" checked[form.value("mirrored") == "on"];
                        (visit::MIRRORED)
                    }
                    div.actions {
                        button.main { (words::SAVE) }
                        a href={ "/visits/" (view.visit) } { (text::BACK) }
                    }
                }
            }
        },
    )
}
