//! The course of a case.

use crate::report::CourseRow;

/// `/clients/{code}/course`.
#[derive(Debug, Clone)]
pub struct CourseView {
    /// The client's code.
    pub code: String,
    /// Each chart as SVG, and how to read it.
    pub charts: Vec<(String, String)>,
    /// The same in numbers.
    pub rows: Vec<CourseRow>,
    /// Screens that are left out, as a sentence.
    pub left_out: Option<String>,
}
