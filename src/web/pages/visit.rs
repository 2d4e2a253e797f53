//! `/visits/{id}`: the two-by-two sheet.

use maud::{Markup, html};

use super::drawings;
use super::shell::{Crumbs, Input, describes, elevation, error_text, errors, ids, page, stopped};
use crate::pose::Rotation;
use crate::screen::Occasion;
use crate::web::state::UploadLimits;
use crate::web::text::{self, visit as words};
use crate::web::view::{CellState, CellView, NextStep, ReachView, SteadinessView, VisitView};

/// Renders the page.
#[must_use]
pub fn render(view: &VisitView) -> Markup {
    page(
        &format!("{}, {}", view.client_code, view.date),
        &Crumbs::client(&view.client_code),
        &["upload.js"],
        &html! {
            p.lead {
                (text::side(view.affected_side)) @if view.is_demo { ", " (text::DEMO) }
            }
            @if view.is_alone { p { a href={ "/visits/" (view.id) "/alone" } { (text::alone::BACK) } } }
            (errors(&view.upload))
            @match &view.stopped {
                Some(refusal) => { (stopped(refusal, &view.client_code)) (result_link(view)) },
                None => (next(view)),
            }
            section {
                h2 { (words::SHEET) }
                div.four {
                    h3.column.internal { (text::rotation(Rotation::Internal)) small { (text::palms(Rotation::Internal)) } }
                    h3.column.external { (text::rotation(Rotation::External)) small { (text::palms(Rotation::External)) } }
                    @for occasion in [Occasion::Before, Occasion::After] {
                        h3.row { (text::occasion(occasion)) }
                        @for cell in view.cells.iter().filter(|cell| cell.occasion == occasion) { (cell_of(view, cell)) }
                    }
                }
            }
            @if let Some(steadiness) = &view.steadiness { (steady(steadiness)) }
            (settings(view))
            @if view.has_result {
                section {
                    h2 { (words::EXPORT_HEADING) }
                    p { (words::EXPORT_TEXT) }
                    p { a.button href={ "/visits/" (view.id) "/export.zip" } { (words::EXPORT) } }
                }
            }
            section { p { a href={ "/visits/" (view.id) "/delete" } { (words::DELETE) } } }
        },
    )
}

/// The first thing to do, in one line.
fn next(view: &VisitView) -> Markup {
    let open = open_cell(view);
    html! {
        @if view.is_painful && open.is_some() { div.caution { p { (words::PAIN_STOPS) } } }
        div.nextstep {
            @match open {
                Some(cell) => {
                    p { (words::NEXT) ": " strong { (place(cell)) } ", " (step_words(&cell.next).to_lowercase()) }
                    @match link(&cell.next) {
                        Some(address) => a.button.main href=(address) { (step_words(&cell.next)) },
                        None => a.button.main href={ "#" (id_of(cell)) } { (step_words(&cell.next)) },
                    }
                }
                None if view.is_painful => p { (words::PAIN_STOPS) },
                None if view.cells.iter().any(|cell| cell.state != CellState::Measured) => p { (words::NOT_ALL_MEASURED) },
                None => p { (words::ALL_DONE) },
            }
            @if view.has_result {
                a class=(if open.is_none() { "button main" } else { "button" }) href={ "/visits/" (view.id) "/result" } { (words::RESULT) }
            }
        }
    }
}

/// The first cell in which something is to be done; nothing is filmed after too much pain.
fn open_cell(view: &VisitView) -> Option<&CellView> {
    let is_open = |cell: &&CellView| match cell.next {
        NextStep::Done | NextStep::MarkAgain { .. } => false,
        NextStep::Film | NextStep::FilmAgain { .. } => !view.is_painful,
        _ => true,
    };
    view.cells.iter().find(is_open)
}

/// The numbers may be looked at when nothing goes on.
fn result_link(view: &VisitView) -> Markup {
    html! { @if view.has_result { p { a.button href={ "/visits/" (view.id) "/result" } { (words::RESULT) } } } }
}

fn steady(view: &SteadinessView) -> Markup {
    html! {
        section {
            h2 { (words::STEADY) }
            p { (words::steady(&view.spread, &view.interval)) }
            @if let Some((sem, least)) = &view.angle { p { (words::steady_angle(sem, least)) } }
            p.small { @if view.is_worse { (words::worse_than_assumed(&view.assumed)) } @else { (words::as_assumed(&view.assumed)) } }
        }
    }
}

fn cell_of(view: &VisitView, cell: &CellView) -> Markup {
    let is_refused = is_refused(view, cell);
    // one thing stands out: the next one
    let is_next = open_cell(view).is_some_and(|open| (open.occasion, open.rotation) == (cell.occasion, cell.rotation));
    let class = cell.reaches.is_empty().then_some(if is_next { "button main" } else { "button" });
    html! {
        div.cell #(id_of(cell)) {
            @if cell.reaches.is_empty() {
                div.picture.none { (drawings::hands(cell.rotation == Rotation::External)) }
                p.state { (words::EMPTY) }
            }
            @for reach in &cell.reaches { (reach_of(cell, reach, view.stopped.is_some())) }
            @if view.stopped.is_none() {
                details open[is_refused] {
                    summary class=[class] {
                        (if cell.reaches.is_empty() { words::FILM } else { words::ANOTHER_VIEW })
                        span.sr { ", " (place(cell)) }
                    }
                    (upload(view, cell))
                }
            }
        }
    }
}

fn reach_of(cell: &CellView, reach: &ReachView, is_stopped: bool) -> Markup {
    let place = place(cell);
    let next = link(&cell.next).filter(|_| reach_of_step(&cell.next) == Some(reach.id) && !is_stopped);
    let is_optional = matches!(cell.next, NextStep::MarkAgain { .. });
    html! {
        a.picture href=[(!is_stopped).then(|| format!("/reaches/{}/mark", reach.id))] {
            img src=(reach.still_url) alt={ (words::STILL) ", " (place) };
        }
        p.state { (state(reach.state)) ", " (text::view(reach.view)) }
        @if let Some(figure) = &reach.elevation { p.figure { (elevation(figure)) } }
        @if let Some(interval) = &reach.interval { p.small { (text::result::INTERVAL) " " (interval) } }
        @if let Some(reason) = &reach.reason { p.small { (reason) } }
        @if let Some(warning) = &reach.warning { p.small { (warning) } }
        p.small { (reach.clip) }
        @if reach.has_unclear_palms {
            p.small {
                (words::PALMS_UNCLEAR)
                @if !is_stopped { " " a href={ "/reaches/" (reach.id) "/palms" } { (words::PALMS_AGAIN) span.sr { ", " (place) } } }
            }
        }
        @if let Some(address) = next.as_ref().filter(|_| !is_optional) {
            @if let NextStep::FinishMarks { missing, .. } = &cell.next {
                p.small { (words::missing(&text::landmarks(missing))) }
            }
            p { a.button.main href=(address) { (step_words(&cell.next)) span.sr { ", " (place) } } }
        }
        div.actions {
            @if reach.state == CellState::Measured && !is_stopped {
                a href={ "/reaches/" (reach.id) "/mark" } { (words::CORRECT) span.sr { ", " (place) } }
            }
            @if let Some(address) = next.as_ref().filter(|_| is_optional) {
                a href=(address) { (step_words(&cell.next)) span.sr { ", " (place) } }
            }
            @if !is_stopped { a href={ "/reaches/" (reach.id) "/facts" } { (words::FACTS) span.sr { ", " (place) } } }
            a href={ "/reaches/" (reach.id) "/delete" } { (words::REMOVE) span.sr { ", " (place) } }
        }
    }
}

/// Whether the upload that was refused was meant for this cell.
fn is_refused(view: &VisitView, cell: &CellView) -> bool {
    !view.upload.errors.is_empty()
        && view.upload.value("occasion") == occasion_word(cell.occasion)
        && view.upload.value("rotation") == rotation_word(cell.rotation)
}

pub(super) fn upload(view: &VisitView, cell: &CellView) -> Markup {
    let id = id_of(cell);
    let error = view.upload.error("file").filter(|_| is_refused(view, cell));
    let hint_id = format!("{id}-hint");
    let error_id = format!("{id}-error");
    let chosen = |field: &str, value: &str, default: bool| match view.upload.value(field) {
        "" => default,
        typed => typed == value,
    };
    let near = match view.affected_side {
        crate::screen::ResultSide::Left => "left",
        crate::screen::ResultSide::Right | crate::screen::ResultSide::Both => "right",
    };
    html! {
        form method="post" enctype="multipart/form-data" action={ "/visits/" (view.id) "/reaches" } data-upload
            data-uploading=(words::UPLOADING) data-checking=(words::CHECKING) data-failed=(words::UPLOAD_FAILED)
            data-most=(UploadLimits::default().upload_bytes) data-too-large=(words::TOO_LARGE) {
            input type="hidden" name="occasion" value=(occasion_word(cell.occasion));
            input type="hidden" name="rotation" value=(rotation_word(cell.rotation));
            p.placed { (place(cell)) }
            div.fields {
                div.field {
                    label for={ (id) "-view" } { (words::VIEW) }
                    select id={ (id) "-view" } name="view" {
                        @for (value, view) in [("side", crate::pose::View::Side), ("front", crate::pose::View::Front), ("oblique", crate::pose::View::Oblique)] {
                            option value=(value) selected[chosen("view", value, value == "side")] { (text::view(view)) }
                        }
                    }
                }
                div.field {
                    label for={ (id) "-near" } { (words::NEAR) }
                    select id={ (id) "-near" } name="near_side" {
                        @for (value, label) in [("right", words::NEAR_RIGHT), ("left", words::NEAR_LEFT), ("", words::NEAR_NONE)] {
                            option value=(value) selected[chosen("near_side", value, value == near)] { (label) }
                        }
                    }
                }
            }
            label.choice { input type="checkbox" name="mirrored" value="on" checked[view.upload.value("mirrored") == "on"]; (words::MIRRORED) }
            div.field {
                label for={ (id) "-file" } { (words::FILE) }
                span.hint id=(hint_id) { (words::FILE_HINT) }
                input id={ (id) "-file" } type="file" name="file" accept="video/*,image/jpeg,image/png" required
                    aria-describedby=[describes(words::FILE_HINT, error, &hint_id, &error_id)] aria-invalid=[error.map(|_| "true")];
                (error_text(error, &error_id))
            }
            div.sending hidden {
                progress max="100" value="0" aria-label=(words::UPLOAD) {}
                p role="status" {}
            }
            button.main { (words::UPLOAD) }
        }
    }
}

fn settings(view: &VisitView) -> Markup {
    let form = &view.settings.form;
    let (profile_id, profile_hint, profile_error) = ids("profile");
    let error = form.error("profile");
    html! {
        section {
            h2 { (words::SETTINGS) }
            (errors(form))
            form method="post" action={ "/visits/" (view.id) "/settings" } novalidate {
                div.fields {
                    (Input { name: "bar_length_mm", label: words::BAR, hint: words::BAR_HINT, mode: "decimal", is_required: false }.render(form))
                    (Input { name: "margin_deg", label: words::MARGIN, hint: words::MARGIN_HINT, mode: "decimal", is_required: false }.render(form))
                }
                label.choice { input type="checkbox" name="taped_grips" value="on" checked[form.value("taped_grips") == "on"]; (words::TAPED) }
                details open[error.is_some() || form.error("lens").is_some()] {
                    summary {
                        (words::PROFILE) ": "
                        (view.settings.profile_name.as_deref().unwrap_or(words::NONE))
                    }
                    @if view.settings.profile_name.is_none() { p { (words::PROFILE_NONE) } }
                    @if view.settings.lenses.is_empty() {
                        p { a href="/lenses/new" { (words::PROFILE_MAKE) } }
                    } @else {
                        div.field {
                            label for="field-lens" { (words::PROFILE_KEPT) }
                            select #field-lens name="lens" {
                                option value="" { (text::lens::KEEP) }
                                @for lens in &view.settings.lenses {
                                    option value=(lens.id) selected[form.value("lens") == lens.id.to_string()] {
                                        (lens.name) ", " (lens.size) ", " (lens.date)
                                    }
                                }
                            }
                            (error_text(form.error("lens"), "error-lens"))
                        }
                    }
                    div.field {
                        label for=(profile_id) { (words::PROFILE) }
                        span.hint id=(profile_hint) { (words::PROFILE_HINT) }
                        textarea id=(profile_id) name="profile" rows="4" spellcheck="false"
                            aria-describedby=[describes(words::PROFILE_HINT, error, &profile_hint, &profile_error)]
                            aria-invalid=[error.map(|_| "true")] { (form.value("profile")) }
                        (error_text(error, &profile_error))
                    }
                    div.field data-profile-file hidden {
                        label for="profile-file" { (words::PROFILE_FILE) }
                        input #profile-file type="file" accept=".json,application/json";
                    }
                    @if view.settings.profile_name.is_some() {
                        label.choice { input type="checkbox" name="remove_profile" value="on"; (words::REMOVE_PROFILE) }
                    }
                }
                div.actions { button { (words::SAVE) } }
            }
        }
    }
}

/// The cell in words, such as "Before the stretch, palms up".
fn place(cell: &CellView) -> String {
    format!("{}, {}", text::occasion(cell.occasion), text::palms(cell.rotation))
}

fn id_of(cell: &CellView) -> String {
    format!("{}-{}", occasion_word(cell.occasion), rotation_word(cell.rotation))
}

const fn occasion_word(occasion: Occasion) -> &'static str {
    match occasion {
        Occasion::Before => "before",
        Occasion::After => "after",
    }
}

const fn rotation_word(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => "internal",
        Rotation::External => "external",
    }
}

const fn state(state: CellState) -> &'static str {
    match state {
        CellState::Empty => words::EMPTY,
        CellState::Filmed => words::FILMED,
        CellState::Contrary => words::CONTRARY,
        CellState::Marked => words::MARKED,
        CellState::Measured => words::MEASURED,
    }
}

const fn step_words(next: &NextStep) -> &'static str {
    match next {
        NextStep::Film => words::FILM,
        NextStep::ConfirmPalms { .. } => words::CONFIRM_PALMS,
        NextStep::FilmAgain { .. } => words::FILM_AGAIN,
        NextStep::Mark { .. } => words::MARK,
        NextStep::FinishMarks { .. } => words::FINISH_MARKS,
        NextStep::AnswerQuestions { .. } => words::ANSWER,
        NextStep::MarkAgain { .. } => words::MARK_AGAIN,
        NextStep::Done => words::MEASURED,
    }
}

/// The reach that a step is about.
const fn reach_of_step(next: &NextStep) -> Option<i64> {
    match next {
        NextStep::Film | NextStep::Done => None,
        NextStep::ConfirmPalms { reach }
        | NextStep::FilmAgain { reach }
        | NextStep::Mark { reach }
        | NextStep::FinishMarks { reach, .. }
        | NextStep::AnswerQuestions { reach }
        | NextStep::MarkAgain { reach, .. } => Some(*reach),
    }
}

fn link(next: &NextStep) -> Option<String> {
    match next {
        NextStep::Film | NextStep::Done => None,
        NextStep::ConfirmPalms { reach } | NextStep::FilmAgain { reach } => Some(format!("/reaches/{reach}/palms")),
        NextStep::Mark { reach } | NextStep::FinishMarks { reach, .. } => Some(format!("/reaches/{reach}/mark")),
        NextStep::AnswerQuestions { reach } => Some(format!("/reaches/{reach}/mark#questions")),
        NextStep::MarkAgain { reach, repeat } => Some(format!("/reaches/{reach}/mark?repeat={repeat}")),
    }
}
