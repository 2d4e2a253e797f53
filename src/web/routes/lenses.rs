//! Lens profiles: the list, a new one, one, and the board.

use std::sync::Arc;

use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::documents::{document_headers, paper};
use super::{onwards, page, page_again, parts};
use crate::camera::Board;
use crate::records::MadeLens;
use crate::report::wording::{fixed, typeset};
use crate::report::{BoardSheet, render_board_page};
use crate::web::dates::day_words;
use crate::web::decode::calibrate::{CalibrateOutcome, CalibrateRequest};
use crate::web::decode::parent;
use crate::web::error::{WebError, chain_words};
use crate::web::pages;
use crate::web::request::{Form, Id, Parameters};
use crate::web::state::{App, blocking};
use crate::web::upload::{self, Received, Upload};
use crate::web::view::{FormView, LensLine, LensView, LensesView, NewLensView};

/// The board that `tworeach board` prints: inner corners along a row and a column, and the side of a square, mm.
const COLS: usize = 9;
const ROWS: usize = 6;
const SQUARE_MM: f64 = 25.0;

/// Bounds on what is typed of a board.
const CORNERS: [f64; 2] = [3.0, 40.0];
const SQUARE_MM_RANGE: [f64; 2] = [2.0, 500.0];

/// The longest name of a profile, characters.
const NAME_LENGTH_MAX: usize = 60;

/// Pictures of one calibration at most. More than forty tell no more of a lens (common practice, no source).
const FILES_MAX: usize = 60;

/// `GET /lenses`.
pub async fn all(State(app): State<Arc<App>>) -> Result<Response, WebError> {
    blocking(move || {
        let lenses = app.records.lenses()?.iter().map(line_of).collect();
        Ok(page(pages::lenses(&LensesView { lenses })))
    })
    .await
}

/// A lens profile in a list.
pub(super) fn line_of(lens: &MadeLens) -> LensLine {
    let [width, height] = lens.facts.image_size;
    LensLine {
        id: lens.id,
        name: lens.facts.name.clone(),
        size: format!("{width}\u{a0}×\u{a0}{height}"),
        date: day_words(&lens.made_on),
        has_warnings: !lens.facts.warnings.is_empty(),
    }
}

/// `GET /lenses/new`.
pub async fn new() -> Response {
    let mut form = FormView::default();
    for (field, value) in [("square_mm", SQUARE_MM.to_string()), ("cols", COLS.to_string()), ("rows", ROWS.to_string())]
    {
        form.values.insert(field.to_owned(), value);
    }
    page(pages::new_lens(&NewLensView { form }))
}

/// `POST /lenses`: a clip or pictures of the board.
pub async fn add(
    State(app): State<Arc<App>>,
    multipart: Result<Multipart, MultipartRejection>,
) -> Result<Response, WebError> {
    let Upload { mut form, files } = upload::receive(&app, parts(multipart)?, FILES_MAX).await?;
    let name = form.line_up_to("name", NAME_LENGTH_MAX);
    if name.is_none() && form.view.error("name").is_none() {
        form.fault("name", "say what it is of, such as the phone and its video mode");
    }
    let board = board_of(&mut form);
    if files.is_empty() {
        form.fault("file", "choose a clip or pictures of the board; an empty file is none");
    }
    if form.is_right()
        && let (Some(name), Some(board)) = (name, board)
    {
        match make(&app, &board, name, &files).await? {
            CalibrateOutcome::Made { facts, profile, sheet } => {
                let lens = blocking(move || Ok(app.records.add_lens(&facts, &profile, &sheet)?)).await?;
                return Ok(onwards(&format!("/lenses/{lens}")));
            }
            CalibrateOutcome::Refused(reason) => form.fault("file", typeset(&reason)),
        }
    }
    Ok(page_again(pages::new_lens(&NewLensView { form: form.view })))
}

fn board_of(form: &mut Form) -> Option<Board> {
    let square_mm = form.number("square_mm", SQUARE_MM_RANGE, "mm");
    if square_mm.is_none() && form.view.error("square_mm").is_none() {
        form.fault("square_mm", "say how large a square is");
    }
    let (cols, rows) = (corners(form, "cols"), corners(form, "rows"));
    match Board::new(cols?, rows?, square_mm?) {
        Ok(board) => Some(board),
        Err(error) => {
            form.fault("cols", chain_words(&error));
            None
        }
    }
}

/// How many inner corners a side of the board has.
fn corners(form: &mut Form, field: &str) -> Option<usize> {
    let typed = form.number(field, CORNERS, "corners").map(|number| number.to_string().parse());
    match typed {
        Some(Ok(count)) => Some(count),
        _ if form.view.error(field).is_some() => None,
        _ => {
            form.fault(field, "count the inner corners, where four squares meet");
            None
        }
    }
}

async fn make(app: &App, board: &Board, name: String, files: &[Received]) -> Result<CalibrateOutcome, WebError> {
    let stopped = |_| WebError::Stopped { task: "the queue of uploads" };
    let _place = app.checks.acquire().await.map_err(stopped)?;
    let called = |number: usize| if files.len() == 1 { "this file".to_owned() } else { format!("file {number}") };
    let files = (1..).zip(files).map(|(number, file)| (file.path().to_owned(), called(number))).collect();
    let Board { cols, rows, square_mm } = *board;
    parent::calibrate(&app.decoder, &CalibrateRequest { files, cols, rows, square_mm, name }).await
}

/// `GET /lenses/{id}`.
pub async fn one(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        let lens = app.records.lens(id)?;
        let facts = &lens.facts;
        let sentences = |texts: &[String]| texts.iter().map(|text| typeset(&format!("{text}."))).collect();
        Ok(page(pages::lens(&LensView {
            line: line_of(&lens),
            rms: format!("{}\u{a0}px", fixed(facts.rms_px, 2)),
            views: facts.views,
            covered: format!("{}\u{a0}%", fixed(facts.covered_percent, 0)),
            tilt: format!("{}°", fixed(facts.widest_tilt_deg, 0)),
            warnings: sentences(&facts.warnings),
            left_out: sentences(&facts.left_out),
        })))
    })
    .await
}

/// `GET /lenses/{id}/sheet.html`.
pub async fn sheet(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    let sheet = blocking(move || Ok(app.records.lens_sheet(id)?)).await?;
    Ok((document_headers("text/html; charset=utf-8"), sheet).into_response())
}

/// `GET /lenses/{id}/profile.json`.
pub async fn profile(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    let lens = blocking(move || Ok(app.records.lens(id)?)).await?;
    let headers = [
        (header::CONTENT_TYPE, "application/json"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"phone.camera.json\""),
    ];
    Ok((headers, lens.profile).into_response())
}

/// `GET /lenses/{id}/delete`.
pub async fn before_delete(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || Ok(page(pages::delete_lens(&line_of(&app.records.lens(id)?))))).await
}

/// `POST /lenses/{id}/delete`.
pub async fn delete(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        app.records.delete_lens(id)?;
        Ok(onwards("/lenses"))
    })
    .await
}

/// `GET /lenses/board`.
pub async fn board() -> Result<Response, WebError> {
    Ok(page(pages::board(&printed_board()?)))
}

/// `GET /lenses/board.html`: the same in one file, for a tablet, which this machine's page does not reach.
pub async fn board_file() -> Result<Response, WebError> {
    let headers = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"calibration-board.html\""),
    ];
    Ok((headers, render_board_page(&printed_board()?)).into_response())
}

/// `GET /lenses/board.pdf?paper=letter`.
pub async fn board_pdf(parameters: Parameters) -> Result<Response, WebError> {
    let page = paper(&parameters)?;
    let board = printed_board()?;
    let pdf = blocking(move || {
        let refused = |error: crate::report::BoardTooLarge| WebError::Refused { reason: error.to_string() };
        Ok(BoardSheet::new(&board, page).map_err(refused)?.to_pdf()?)
    })
    .await?;
    let headers = [
        (header::CONTENT_TYPE, "application/pdf"),
        (header::CONTENT_DISPOSITION, "inline; filename=\"calibration-board.pdf\""),
        // as for the report
        (header::CONTENT_SECURITY_POLICY, "frame-ancestors 'none'; base-uri 'none'"),
    ];
    Ok((headers, pdf).into_response())
}

fn printed_board() -> Result<Board, WebError> {
    Board::new(COLS, ROWS, SQUARE_MM).map_err(|error| WebError::Refused { reason: error.to_string() })
}
