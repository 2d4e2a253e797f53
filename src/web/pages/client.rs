//! `/clients/{code}`: one client.

use maud::{Markup, html};

use super::shell::{Crumbs, page};
use crate::records::{AnsweredBy, ScreeningOutcome};
use crate::web::text::{self, client as words};
use crate::web::view::{ClientView, ScreeningView, VisitLine};

/// Renders the page.
#[must_use]
pub fn render(view: &ClientView) -> Markup {
    page(
        &view.code,
        &Crumbs::clients(),
        &[],
        &html! {
            (facts(view))
            @if let Some(refused) = &view.refused { div.errors role="alert" { p { (refused) } } }
            (screening(view))
            section {
                h2 { (words::CASE) }
                ul.ways {
                    @for way in &view.ways {
                        li { a href={ "/clients/" (view.code) "/" (way.path) } { b { (way.name) } span.small { (way.state) } } }
                    }
                }
            }
            section {
                h2 { (words::VISITS) }
                @if view.visits.is_empty() { p { (words::NO_VISITS) } }
                @else { ul.rows { @for visit in &view.visits { (line(visit)) } } }
                @if view.may_visit {
                    form.actions method="post" action={ "/clients/" (view.code) "/visits" } {
                        button.main { (words::START) }
                        button name="alone" value="on" { (text::alone::VISIT_BUTTON) }
                    }
                }
            }
            section { p { a href={ "/clients/" (view.code) "/delete" } { (words::REMOVE) } } }
        },
    )
}

fn facts(view: &ClientView) -> Markup {
    html! {
        dl.titleblock {
            div { dt { (words::SIDE) } dd { (text::side(view.side)) } }
            @if let Some(stature) = &view.stature { div { dt { (words::STATURE) } dd { (stature) } } }
            @if let Some(arm) = &view.arm_length { div { dt { (words::ARM) } dd { (arm) } } }
            @if view.is_demo { div { dt { (text::KIND) } dd { (text::DEMO) } } }
        }
        p.space { a href={ "/clients/" (view.code) "/facts" } { (words::CORRECT) } }
    }
}

fn screening(view: &ClientView) -> Markup {
    let address = format!("/clients/{}/screening", view.code);
    html! {
        section {
            h2 { (words::SIGNS) }
            @match &view.screening {
                None => {
                    p { (words::NOT_ASKED) }
                    p { a.button.main href=(address) { (words::ASK) } }
                }
                Some(screening) => {
                    (outcome(screening))
                    p { a href=(address) { (words::ASK_AGAIN) } }
                }
            }
        }
    }
}

fn outcome(screening: &ScreeningView) -> Markup {
    let by = match screening.answered_by {
        AnsweredBy::Client => words::ANSWERED_CLIENT,
        AnsweredBy::Clinician => words::ANSWERED_CLINICIAN,
    };
    let verdict = match screening.outcome {
        ScreeningOutcome::Clear => words::CLEAR,
        ScreeningOutcome::SeeClinician => words::SEE_CLINICIAN,
        ScreeningOutcome::Emergency => words::EMERGENCY,
        ScreeningOutcome::ClinicianGoesOn => words::GOES_ON,
    };
    let content = html! {
        p { strong { (verdict) } }
        @if let Some(reason) = &screening.reason {
            @if screening.outcome == ScreeningOutcome::Emergency { p { (words::REASON_LIFTS_NOTHING) } }
            blockquote { (reason) }
        }
        @if !screening.signs.is_empty() {
            p { (words::YES_TO) }
            ul { @for sign in &screening.signs { li { (text::danger_sign(*sign)) } } }
        }
        p.small { (screening.date) ", " (by) }
    };
    html! {
        @if screening.outcome == ScreeningOutcome::Clear { (content) } @else { div.caution { (content) } }
    }
}

fn line(visit: &VisitLine) -> Markup {
    html! {
        li {
            a href={ "/visits/" (visit.id) } {
                span { (visit.date) }
                span.small { (words::reaches(visit.reaches)) }
                @match visit.call {
                    Some(call) => b.end {
                        (text::call(call))
                        @if let Some(retest) = visit.retest { ", " (text::outcome(retest).to_lowercase()) }
                    },
                    None => span.end.small { (words::NOT_MEASURED) },
                }
            }
        }
    }
}
