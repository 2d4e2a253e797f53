//! `/clients/{code}/course`: charts by day, and the same in numbers.

use maud::{Markup, PreEscaped, html};

use super::shell::{Crumbs, page};
use crate::report::CourseRow;
use crate::web::text::course as words;
use crate::web::view::CourseView;

/// Renders the page.
#[must_use]
pub fn render(view: &CourseView) -> Markup {
    page(
        words::TITLE,
        &Crumbs::client(&view.code),
        &[],
        &html! {
            p.lead { (words::LEAD) }
            @if view.rows.is_empty() && view.charts.is_empty() { section { p { (words::EMPTY) } } }
            @else {
                section {
                    h2 { (words::CHARTS) }
                    div.charts {
                        @for (svg, caption) in &view.charts { figure { (PreEscaped(svg)) figcaption.small { (caption) } } }
                    }
                }
                section {
                    h2 { (words::NUMBERS) }
                    ul.findings.courses { @for row in &view.rows { (one_row(row)) } }
                    @if let Some(left_out) = &view.left_out { p { (left_out) } }
                    p.small { (words::HOW) }
                }
            }
        },
    )
}

fn one_row(row: &CourseRow) -> Markup {
    html! {
        li {
            h3 { (row.name) }
            dl.numbers {
                (pair(words::FIRST, &row.first, false))
                @if !row.latest[0].is_empty() {
                    (pair(words::LATEST, &row.latest, false))
                    (pair(words::CHANGE, &row.change, row.is_detected))
                }
                @if !row.trend[0].is_empty() { (pair(words::TREND, &row.trend, false)) }
            }
        }
    }
}

fn pair(label: &str, [value, below]: &[String; 2], is_marked: bool) -> Markup {
    html! {
        div {
            dt { (label) ": " (below) }
            dd class=[is_marked.then_some("marked")] { (value) }
        }
    }
}
