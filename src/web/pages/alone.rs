//! `/alone`, `/visits/{id}/alone` and its answer: the screen by oneself, one step after the other, in plain words.

use maud::{Markup, html};

use super::figure::figure;
use super::screening::{asked, who_and_code};
use super::shell::{Crumbs, errors, page, stopped};
use super::visit::upload;
use crate::geometry::Side;
use crate::pose::{Rotation, View};
use crate::screen::{Call, Occasion, ResultSide};
use crate::web::text::{self, alone as words};
use crate::web::view::{AloneResultView, AloneStartView, AloneView, AnswerView, CellState, CellView, NextStep};

/// Renders `/alone`.
#[must_use]
pub fn render_start(view: &AloneStartView) -> Markup {
    page(
        words::TITLE_START,
        &Crumbs::clients(),
        &[],
        &html! {
            p.lead { (words::LEAD_START) }
            (errors(&view.form))
            form method="post" action="/alone" novalidate {
                (asked(&view.signs, words::SIGNS, &view.form))
                input type="hidden" name="answered_by" value="client";
                fieldset { legend { (words::YOU) } (who_and_code(&view.form, words::CODE_HINT)) }
                button.main { (words::START) }
            }
        },
    )
}

/// How far a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    Done,
    Now,
    Later,
}

/// Renders the steps of a visit.
#[must_use]
pub fn render(view: &AloneView) -> Markup {
    let visit = &view.visit;
    let cells: Vec<&CellView> = visit.cells.iter().filter(|cell| cell.occasion == Occasion::Before).collect();
    let filmed = |cell: &CellView| cell.state > CellState::Empty;
    let marked = |cell: &CellView| cell.state == CellState::Measured && !asks(&cell.next);
    let mut is_open = true;
    let mut standing = |is_done: bool| match (is_done, is_open) {
        (true, _) => Standing::Done,
        (false, true) => {
            is_open = false;
            Standing::Now
        }
        (false, false) => Standing::Later,
    };
    let clips: Vec<(&CellView, Standing)> = cells.iter().map(|cell| (*cell, standing(filmed(cell)))).collect();
    let marks: Vec<(&CellView, Standing)> = cells.iter().map(|cell| (*cell, standing(marked(cell)))).collect();
    let result = standing(false);
    page(
        words::TITLE,
        &Crumbs::visit(&visit.client_code, visit.id),
        &["upload.js"],
        &html! {
            p.lead { (visit.client_code) ", " (visit.date) }
            (errors(&visit.upload))
            @match &visit.stopped {
                Some(refusal) => (stopped(refusal, &visit.client_code)),
                None => {
                    ol.steps.alone.space {
                        (step(words::STEP_SIGNS, Standing::Done, &html! {
                            p { (view.goes_on.as_deref().unwrap_or(words::STEP_SIGNS_DONE)) }
                        }))
                        @if cells.iter().all(|cell| filmed(cell)) { (step(words::STEP_FILM, Standing::Done, &html! {})) }
                        @else { (step(words::STEP_FILM, Standing::Now, &film())) }
                        @for (cell, standing) in &clips {
                            (step(clip_words(cell.rotation), *standing, &html! {
                                @if *standing == Standing::Now { (upload(visit, cell)) }
                            }))
                        }
                        @for (cell, standing) in &marks {
                            (step(mark_words(cell.rotation), *standing, &html! {
                                @if *standing == Standing::Now { (mark(view, cell)) }
                                @else if *standing == Standing::Done { (again(cell)) }
                            }))
                        }
                        (step(words::STEP_RESULT, result, &html! {
                            @if result == Standing::Now {
                                p { a.button.main href={ "/visits/" (visit.id) "/alone/result" } { (words::RESULT) } }
                            }
                        }))
                    }
                }
            }
            p.space { a href={ "/visits/" (visit.id) } { (words::TO_SHEET) } }
        },
    )
}

/// Something is asked before the reach counts; marking again is not.
const fn asks(next: &NextStep) -> bool {
    !matches!(next, NextStep::Done | NextStep::MarkAgain { .. })
}

fn step(heading: &str, standing: Standing, content: &Markup) -> Markup {
    let (class, state) = match standing {
        Standing::Done => ("done", words::DONE),
        Standing::Now => ("now", words::NOW),
        Standing::Later => ("later", words::LATER),
    };
    html! {
        li class=(class) aria-current=[(standing == Standing::Now).then_some("step")] {
            div { h2 { (heading) } p.small { (state) } }
            div { @if standing != Standing::Later { (content) } }
        }
    }
}

fn film() -> Markup {
    html! {
        ul { @for line in words::FILM { li { (line) } } }
        p { a href="/guide" { (words::FILM_MORE) } }
    }
}

const fn clip_words(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => words::STEP_DOWN,
        Rotation::External => words::STEP_UP,
    }
}

const fn mark_words(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => words::STEP_MARK_DOWN,
        Rotation::External => words::STEP_MARK_UP,
    }
}

fn mark(view: &AloneView, cell: &CellView) -> Markup {
    let (address, label) = match &cell.next {
        NextStep::ConfirmPalms { reach } | NextStep::FilmAgain { reach } => {
            (format!("/reaches/{reach}/palms"), words::PALMS)
        }
        NextStep::Mark { reach } | NextStep::FinishMarks { reach, .. } => {
            (format!("/reaches/{reach}/mark"), words::MARK)
        }
        NextStep::AnswerQuestions { reach } => (format!("/reaches/{reach}/mark#questions"), text::visit::ANSWER),
        NextStep::Film | NextStep::MarkAgain { .. } | NextStep::Done => (String::new(), ""),
    };
    let near = match view.visit.affected_side {
        ResultSide::Left => Side::Left,
        ResultSide::Right | ResultSide::Both => Side::Right,
    };
    html! {
        @for reach in &cell.reaches { @if let Some(reason) = &reach.reason { p { (reason) } } }
        @if let NextStep::FinishMarks { missing, .. } = &cell.next { p { (words::missing(&text::landmarks(missing))) } }
        p { (words::MARK_HOW) }
        @if !address.is_empty() { p { a.button.main href=(address) { (label) } } }
        details open {
            summary { (words::MARK_HELP) }
            ul.help {
                @for landmark in view.landmarks.iter().filter(|landmark| landmark.is_required) {
                    li {
                        (figure(View::Side, Some(near), &[landmark.landmark]))
                        div { h3 { (landmark.landmark.words()) } p { (text::find_landmark(landmark.landmark)) } }
                    }
                }
            }
        }
    }
}

fn again(cell: &CellView) -> Markup {
    html! {
        @for reach in &cell.reaches {
            @if let Some(elevation) = &reach.elevation { p.dose { (elevation) } }
            p { a href={ "/reaches/" (reach.id) "/mark" } { (text::visit::CORRECT) span.sr { ", " (text::palms(cell.rotation)) } } }
        }
    }
}

/// Renders the answer.
#[must_use]
pub fn render_result(view: &AloneResultView) -> Markup {
    let mut crumbs = Crumbs::visit(&view.client_code, view.visit);
    crumbs.push(format!("/visits/{}/alone", view.visit), words::TITLE);
    page(
        words::TITLE_RESULT,
        &crumbs,
        &[],
        &html! {
            p.lead { (view.client_code) ", " (view.date) }
            @if let Some(refusal) = &view.stopped { (stopped(refusal, &view.client_code)) }
            @match &view.answer {
                None => section { p { (words::NOTHING_YET) } },
                Some(answer) => (told(answer, view)),
            }
            section {
                h2 { (words::MEANS_NOT) }
                ul { @for line in words::MEANS_NOT_TEXT { li { (line) } } }
            }
            section {
                h2 { (words::SEE) }
                ul { @for line in words::SEE_TEXT { li { (line) } } }
            }
            div.actions {
                a.button href={ "/visits/" (view.visit) "/alone" } { (words::BACK) }
                @if view.answer.is_some() { a href={ "/visits/" (view.visit) "/result" } { (words::REPORT) } }
            }
        },
    )
}

fn told(answer: &AnswerView, view: &AloneResultView) -> Markup {
    let is_stopped = view.stopped.is_some();
    let (heading, means) = match answer.call {
        Call::Positive => (words::POSITIVE, words::POSITIVE_MEANS),
        Call::Negative => (words::NEGATIVE, words::NEGATIVE_MEANS),
        Call::Inconclusive => (words::INCONCLUSIVE, words::OPEN_MEANS),
        Call::NotComparable => (words::NOT_COMPARABLE, words::OPEN_MEANS),
    };
    html! {
        section.answer {
            h2 { (heading) }
            p.small { (text::call(answer.call)) ", " (text::call_trade(answer.call)) }
            @if let Some(difference) = answer.difference.as_ref().filter(|_| answer.call != Call::NotComparable) {
                h3 { (words::MEASURED) }
                p.dose { (difference.value) }
                p { (words::difference(&difference.value, &difference.interval)) }
                p.small { (words::margin(&answer.margin)) }
            }
            // what it means speaks of stretching and filming: not while a danger sign stands open
            @if !is_stopped { h3 { (words::MEANS) } p { (means) } }
            @if matches!(answer.call, Call::Positive | Call::Negative) {
                details { summary { (words::DECIDED) } p { (answer.reason) } }
            } @else { p { (answer.reason) } }
            @if answer.is_to_stretch && !is_stopped {
                p.note { b { (words::NEXT) ": " } (words::STRETCH_NEXT) " " a href={ "/visits/" (view.visit) } { (words::TO_AFTER) } }
            } @else if !answer.next_step.is_empty() && !is_stopped { p.note { b { (words::NEXT) ": " } (answer.next_step) } }
        }
    }
}
