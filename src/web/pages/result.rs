//! `/visits/{id}/result`: the call.

use maud::{Markup, html};

use super::shell::page;
use crate::web::view::ResultView;

/// Renders the page.
#[must_use]
pub fn render(view: &ResultView) -> Markup {
    page(
        "Result",
        &[],
        html! {
            @for comparison in &view.comparisons { p { (comparison.call_words) } p { (comparison.reason) } p { (comparison.next_step) } }
            @if let Some(retest) = &view.retest { p { (retest.outcome_words) } p { (retest.reason) } }
            @for reach in &view.reaches { p { (reach.elevation.as_deref().unwrap_or("–")) } }
            @for chart in &view.charts { img src=(chart.url) alt=(chart.name); }
            @for sentence in view.warnings.iter().chain(&view.left_out) { p { (sentence) } }
            p { a href={ "/visits/" (view.visit) "/report.pdf" } { "PDF" } }
        },
    )
}
