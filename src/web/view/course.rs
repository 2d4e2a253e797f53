//! The course of a case.

/// `/clients/{code}/course`.
#[derive(Debug, Clone)]
pub struct CourseView {
    /// The client's code.
    pub code: String,
    /// Each chart as SVG, and how to read it.
    pub charts: Vec<(String, String)>,
    /// The same in numbers.
    pub rows: Vec<CourseRowView>,
    /// Screens that are left out, as a sentence.
    pub left_out: Option<String>,
}

/// One quantity over time; a pair is a value and what stands below it.
#[derive(Debug, Clone)]
pub struct CourseRowView {
    /// What it is.
    pub name: String,
    /// The first value and its day.
    pub first: [String; 2],
    /// The latest value and its day.
    pub latest: [String; 2],
    /// The change and what it means.
    pub change: [String; 2],
    /// The change a week and its interval.
    pub trend: [String; 2],
    /// The change is told from error.
    pub is_detected: bool,
}
