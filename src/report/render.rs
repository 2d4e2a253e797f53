//! From a result to a report: checks what was given, then has every part rendered.

use crate::report::chart::{self, Drawing};
use crate::report::content;
use crate::report::error::ReportError;
use crate::report::finite::finite_only;
use crate::report::html;
use crate::report::input::{CaseFacts, Chart, Report, ReportInput, ReportOptions, StillInput};
use crate::report::pdf;
use crate::report::stills;
use crate::screen::VisitResult;

/// Renders the report of a visit as HTML and PDF, and its charts as SVG.
///
/// # Errors
/// [`ReportError`] when a still does not belong to the result, is the second of its reach or has no pixels, or when a
/// part cannot be rendered.
pub fn render_report(input: &ReportInput, options: &ReportOptions) -> Result<Report, ReportError> {
    refuse_bad_stills(input.result, &input.stills)?;
    let content = content::assemble(input)?;
    Ok(Report {
        html: html::render(&content, options.page),
        pdf: pdf::render(&content, options.page)?,
        charts: content.chart_files(),
    })
}

/// Renders the charts of a visit alone.
///
/// # Errors
/// [`ReportError`] when a chart cannot be rendered.
pub fn render_charts(result: &VisitResult, case: &CaseFacts) -> Result<Vec<Chart>, ReportError> {
    let result = &finite_only(result);
    let drawings = [chart::rotations(result)?, chart::retest_delta(result, case)?];
    Ok(drawings.iter().flatten().map(Drawing::to_file).collect())
}

/// Renders the still of one reach with what is drawn on it, as SVG with the picture in it.
///
/// # Errors
/// [`ReportError`] as [`render_report`].
pub fn render_still(result: &VisitResult, still: StillInput) -> Result<Option<String>, ReportError> {
    let stills = [still];
    refuse_bad_stills(result, &stills)?;
    let rows = stills::render_rows(&finite_only(result), &stills)?;
    let pictures = rows.into_iter().flat_map(|row| row.tiles).filter_map(|tile| tile.picture);
    Ok(pictures.map(|picture| picture.svg).next())
}

fn refuse_bad_stills(result: &VisitResult, stills: &[StillInput]) -> Result<(), ReportError> {
    for (index, still) in stills.iter().enumerate() {
        let reach = still.reach;
        if reach >= result.reaches.len() {
            return Err(ReportError::StillWithoutReach { reach, reaches: result.reaches.len() });
        }
        if still.image.width() == 0 || still.image.height() == 0 {
            return Err(ReportError::EmptyStill { reach });
        }
        if stills[..index].iter().any(|earlier| earlier.reach == reach) {
            return Err(ReportError::DuplicateStill { reach });
        }
    }
    Ok(())
}
