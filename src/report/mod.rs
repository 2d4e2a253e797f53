//! Charts, annotated stills, HTML and PDF.
//!
//! The room says what [`crate::screen`] found and adds nothing to it: it computes no quantity and makes no call. HTML and
//! PDF render the same content, so that they cannot say different things.

pub mod board_page;
pub mod board_sheet;
pub mod calibration_sheet;
pub mod error;
pub mod film;
pub mod input;
pub mod render;

pub(crate) mod case_course;
pub(crate) mod chart;
mod checks;
mod content;
mod finite;
mod font;
mod gauge;
mod html;
mod overlay;
mod palette;
mod pdf;
mod picture;
mod stills;
mod tables;
mod terms;
mod verdicts;
pub(crate) mod wording;

pub use board_page::{BOARD_CSS, BOARD_MODULE, board_page_content, render_board_page};
pub use board_sheet::{BoardSheet, BoardTooLarge};
pub use calibration_sheet::render_calibration_sheet;
pub use case_course::CourseRow;
pub(crate) use chart::Curve;
pub use chart::{
    CallCurve, CallDrawings, CallShares, course_chart_name, draw_comparison, draw_retest, render_agreement_chart,
    render_call_curves, render_course_chart,
};
pub use error::ReportError;
pub use film::{FilmInput, HeldReach, film_name, write_film};
pub use font::letters_not_in_print;
pub use input::{CaseFacts, Chart, CourseInput, DangerNote, PageSize, Report, ReportInput, ReportOptions, StillInput};
pub use render::{render_charts, render_report, render_still};
