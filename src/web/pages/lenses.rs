//! `/lenses` and below: lens profiles, and how one is made.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::shell::{Crumbs, Input, describes, error_text, errors, ids, page};
use crate::camera::Board;
use crate::report::board_page_content;
use crate::web::state::UploadLimits;
use crate::web::text::{self, lens as words, visit as upload_words};
use crate::web::view::{LensLine, LensView, LensesView, NewLensView};

/// `/lenses`.
#[must_use]
pub fn render_all(view: &LensesView) -> Markup {
    page(
        words::TITLE,
        &Crumbs::default(),
        &[],
        &html! {
            p.lead { (words::LEAD) }
            section {
                h2 { (words::LIST) }
                @if view.lenses.is_empty() {
                    p { (words::NONE_YET) }
                } @else {
                    ul.rows { @for lens in &view.lenses { li { (row(lens)) } } }
                    p.small { (words::CHOOSE) }
                }
                p.actions { a.button.main href="/lenses/new" { (words::NEW) } }
            }
        },
    )
}

fn row(lens: &LensLine) -> Markup {
    html! {
        a href={ "/lenses/" (lens.id) } {
            b { (lens.name) }
            span { (lens.size) @if lens.has_warnings { ", " (words::WARNINGS.to_lowercase()) } }
            span.end.small { (lens.date) }
        }
    }
}

/// `/lenses/new`.
#[must_use]
pub fn render_new(view: &NewLensView) -> Markup {
    page(
        words::NEW,
        &Crumbs::lenses(),
        &["upload.js"],
        &html! {
            p.lead { (words::LEAD) }
            (errors(&view.form))
            ol.steps.space {
                li {
                    div { h2 { (words::BOARD) } p { (words::BOARD_TEXT) } }
                    div.actions {
                        a.button href="/lenses/board.pdf" { (words::PRINT_A4) }
                        a.button href="/lenses/board.pdf?paper=letter" { (words::PRINT_LETTER) }
                        a.button href="/lenses/board" { (words::ON_SCREEN) }
                        a.button href="/lenses/board.html" download="calibration-board.html" { (words::FOR_TABLET) }
                    }
                }
                li {
                    div { h2 { (words::FILM) } p { (words::FILM_TEXT) } }
                    (views())
                }
                li {
                    div { h2 { (words::BRING) } }
                    (form(view))
                }
            }
        },
    )
}

fn form(view: &NewLensView) -> Markup {
    let form = &view.form;
    let (file_id, file_hint, file_error) = ids("file");
    let error = form.error("file");
    let has_other_board = form.error("cols").is_some() || form.error("rows").is_some();
    html! {
        form method="post" enctype="multipart/form-data" action="/lenses" novalidate data-upload
            data-uploading=(upload_words::UPLOADING) data-checking=(words::CHECKING) data-failed=(upload_words::UPLOAD_FAILED)
            data-most=(UploadLimits::default().upload_bytes) data-too-large=(upload_words::TOO_LARGE) {
            (Input { name: "name", label: words::NAME, hint: words::NAME_HINT, mode: "text", is_required: true }.render(form))
            (Input { name: "square_mm", label: words::SQUARE, hint: words::SQUARE_HINT, mode: "decimal", is_required: true }.render(form))
            details open[has_other_board] {
                summary { (words::OTHER_BOARD) }
                div.fields {
                    (Input { name: "cols", label: words::COLS, hint: "", mode: "numeric", is_required: true }.render(form))
                    (Input { name: "rows", label: words::ROWS, hint: "", mode: "numeric", is_required: true }.render(form))
                }
            }
            div.field {
                label for=(file_id) { (words::FILES) }
                span.hint id=(file_hint) { (words::FILES_HINT) }
                input id=(file_id) type="file" name="file" accept="video/*,image/jpeg,image/png" multiple required
                    aria-describedby=[describes(words::FILES_HINT, error, &file_hint, &file_error)]
                    aria-invalid=[error.map(|_| "true")];
                (error_text(error, &file_error))
            }
            div.sending hidden {
                progress max="100" value="0" aria-label=(words::MAKE) {}
                p role="status" {}
            }
            button.main { (words::MAKE) }
        }
    }
}

/// The board as it should come into the picture: corners of its outline in a picture of 60 by 40.
fn views() -> Markup {
    const OUTLINES: [[[f64; 2]; 4]; 6] = [
        [[15.0, 10.0], [45.0, 10.0], [45.0, 30.0], [15.0, 30.0]],
        [[16.0, 6.0], [42.0, 11.0], [42.0, 29.0], [16.0, 34.0]],
        [[18.0, 11.0], [44.0, 6.0], [44.0, 34.0], [18.0, 29.0]],
        [[20.0, 10.0], [40.0, 10.0], [47.0, 30.0], [13.0, 30.0]],
        [[13.0, 10.0], [47.0, 10.0], [40.0, 30.0], [20.0, 30.0]],
        [[36.0, 3.0], [57.0, 5.0], [56.0, 18.0], [36.0, 17.0]],
    ];
    html! {
        svg.drawing viewBox="0 0 210 96" role="img" aria-label=(words::VIEWS_ALT) {
            @for (index, outline) in (0_u8..).zip(OUTLINES) {
                g transform={ "translate(" (5 + 70 * (index % 3)) " " (4 + 48 * (index / 3)) ")" } {
                    rect.paper width="60" height="40" rx="2" {}
                    path.fine d=(outline_path(&outline)) {}
                    @for square in squares(&outline) { path.ink d=(square) {} }
                }
            }
        }
    }
}

fn outline_path(corners: &[[f64; 2]; 4]) -> String {
    let points: Vec<String> = corners.iter().map(|[x, y]| format!("{x:.1} {y:.1}")).collect();
    format!("M{}z", points.join("L"))
}

/// The dark squares of a small board of 4 by 3 within an outline.
fn squares([a, b, c, d]: &[[f64; 2]; 4]) -> Vec<String> {
    let at = |across: f64, down: f64| -> [f64; 2] {
        std::array::from_fn(|axis| {
            let top = a[axis] + (b[axis] - a[axis]) * across;
            let bottom = d[axis] + (c[axis] - d[axis]) * across;
            top + (bottom - top) * down
        })
    };
    let cells = (0_u8..3).flat_map(|row| (0_u8..4).map(move |column| (row, column)));
    cells
        .filter(|(row, column)| (row + column) % 2 == 0)
        .map(|(row, column)| {
            let edge = |count: u8, of: f64| f64::from(count) / of;
            let (left, right) = (edge(column, 4.0), edge(column + 1, 4.0));
            let (top, bottom) = (edge(row, 3.0), edge(row + 1, 3.0));
            outline_path(&[at(left, top), at(right, top), at(right, bottom), at(left, bottom)])
        })
        .collect()
}

/// `/lenses/{id}`.
#[must_use]
pub fn render_one(view: &LensView) -> Markup {
    let address = format!("/lenses/{}", view.line.id);
    page(
        &view.line.name,
        &Crumbs::lenses(),
        &[],
        &html! {
            @if view.warnings.is_empty() {
                p.lead { (words::GOOD) }
            } @else {
                div.caution {
                    h2 { (words::WARNINGS) }
                    ul { @for warning in &view.warnings { li { (warning) } } }
                }
            }
            section {
                h2 { (words::FIGURES) }
                dl.titleblock {
                    @for (name, value) in [
                        (words::FIT, view.rms.clone()),
                        (words::VIEWS, view.views.to_string()),
                        (words::COVERED, view.covered.clone()),
                        (words::TILT, view.tilt.clone()),
                        (words::SIZE, view.line.size.clone()),
                        (words::MADE, view.line.date.clone()),
                    ] {
                        div { dt { (name) } dd { (value) } }
                    }
                }
                p.actions {
                    a.button href={ (address) "/sheet.html" } { (words::SHEET) }
                    a.button href={ (address) "/profile.json" } download="phone.camera.json" { (words::SAVE) }
                }
            }
            section {
                h2 { (words::USE_HEADING) }
                p { (words::CHOOSE) }
                p { (words::USE_TEXT) }
            }
            @if !view.left_out.is_empty() {
                section {
                    h2 { (words::LEFT_OUT) }
                    ul { @for picture in &view.left_out { li { (picture) } } }
                }
            }
            section { p { a href={ (address) "/delete" } { (words::DELETE) } } }
        },
    )
}

/// `/lenses/{id}/delete`.
#[must_use]
pub fn render_delete(lens: &LensLine) -> Markup {
    let address = format!("/lenses/{}", lens.id);
    page(
        words::DELETE,
        &Crumbs::lenses(),
        &[],
        &html! {
            p.lead { (lens.name) ", " (lens.date) }
            div.caution { p { (words::DELETE_TEXT) } }
            form method="post" action={ (address) "/delete" } {
                div.actions {
                    button.grave { (words::DO_DELETE) }
                    a href=(address) { (text::CANCEL) }
                }
            }
        },
    )
}

/// `/lenses/board`: white in every scheme, since the board is what the camera looks at.
#[must_use]
pub fn render_board(board: &Board) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (words::BOARD_PAGE) " · " (text::NAME) }
                link rel="icon" href="/assets/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="/assets/board.css";
                script type="module" src="/assets/board.js" {}
            }
            body {
                header { nav.measure aria-label=(text::MAIN_LINKS) { a href="/lenses/new" { (words::BOARD_BACK) } } }
                (PreEscaped(board_page_content(board)))
            }
        }
    }
}
