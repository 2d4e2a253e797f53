//! Charts, annotated stills, HTML and PDF.
//!
//! The room says what [`crate::screen`] found and adds nothing to it: it computes no quantity and makes no call.

pub mod error;
pub mod input;
pub mod render;

pub use error::ReportError;
pub use input::{CaseFacts, Chart, PageSize, Report, ReportInput, ReportOptions, StillInput};
pub use render::render_report;
