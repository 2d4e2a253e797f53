//! From a result to a report: checks what was given, then has every part rendered.

use crate::report::content;
use crate::report::error::ReportError;
use crate::report::html;
use crate::report::input::{Report, ReportInput, ReportOptions};
use crate::report::pdf;

/// Renders the report of a visit as HTML and PDF, and its charts as SVG.
///
/// # Errors
/// [`ReportError`] when a still does not belong to the result, is the second of its reach or has no pixels, or when a
/// part cannot be rendered.
pub fn render_report(input: &ReportInput, options: &ReportOptions) -> Result<Report, ReportError> {
    refuse_bad_stills(input)?;
    let content = content::assemble(input)?;
    Ok(Report {
        html: html::render(&content, options.page),
        pdf: pdf::render(&content, options.page)?,
        charts: content.chart_files(),
    })
}

fn refuse_bad_stills(input: &ReportInput) -> Result<(), ReportError> {
    for (index, still) in input.stills.iter().enumerate() {
        let reach = still.reach;
        if reach >= input.result.reaches.len() {
            return Err(ReportError::StillWithoutReach { reach, reaches: input.result.reaches.len() });
        }
        if still.image.width() == 0 || still.image.height() == 0 {
            return Err(ReportError::EmptyStill { reach });
        }
        if input.stills[..index].iter().any(|earlier| earlier.reach == reach) {
            return Err(ReportError::DuplicateStill { reach });
        }
    }
    Ok(())
}
