//! From a case file to a result: reads, fits, evaluates.

use std::path::{Path, PathBuf};

use crate::pose::{Overlay, VisitFit, VisitObservations, fit_visit};

use super::case::CaseFile;
use super::error::ScreenError;
use super::evaluation::{Evaluation, SINGLE_RAISE};
use super::observe::observe;
use super::pooled::Combine;
use super::result::{RESULT_SCHEMA, VisitResult};
use super::visit::load_visit;

/// A measured visit.
#[derive(Debug)]
pub struct MeasuredVisit {
    /// What was found.
    pub result: VisitResult,
    /// The case that was measured.
    pub case: CaseFile,
    /// Per reach, the frame to show and what to draw on it.
    pub stills: Vec<StillToShow>,
    /// What was wrong with the input but could be worked with, each a sentence.
    pub warnings: Vec<String>,
    /// The fit.
    pub fit: VisitFit,
}

/// The frame of a reach that shows its end range.
#[derive(Debug, Clone, PartialEq)]
pub struct StillToShow {
    /// Index into the result's reaches.
    pub reach: usize,
    /// The clip or still.
    pub media: PathBuf,
    /// Presentation time of the frame, s.
    pub time_s: f64,
    /// What to draw, px.
    pub overlay: Overlay,
}

/// Measures the visit of a case file.
///
/// # Errors
/// [`ScreenError::Invalid`] with every fault of the case and of the files that it names.
pub fn measure_case(path: &Path) -> Result<MeasuredVisit, ScreenError> {
    let visit = load_visit(path)?;
    let observations = observe(&visit);
    let fit = fit_visit(&observations);
    let result = evaluate(&visit.case, &observations, &fit);
    let stills = result
        .reaches
        .iter()
        .enumerate()
        .filter_map(|(reach, measured)| {
            let time_s = measured.end_range_time_s?;
            let frames = &observations.reaches[reach].frames;
            let frame = frames.iter().position(|frame| frame.time_s.total_cmp(&time_s).is_eq())?;
            let overlay = fit.overlay(reach, frame);
            Some(StillToShow { reach, media: visit.reaches[reach].media_path.clone(), time_s, overlay })
        })
        .collect();
    let mut warnings: Vec<String> = visit.reaches.iter().filter_map(|reach| reach.media.warning.clone()).collect();
    if !fit.outcome.is_converged {
        warnings.push(format!(
            "The fit did not settle in {} steps, so nothing is reported: look for a mark on the wrong landmark or side.",
            fit.outcome.iterations
        ));
    }
    Ok(MeasuredVisit { result, case: visit.case, stills, warnings, fit })
}

/// Turns a fit into a result.
pub(crate) fn evaluate<F: Combine>(case: &CaseFile, observations: &VisitObservations, fit: &F) -> VisitResult {
    let evaluation = Evaluation::new(case, observations, fit);
    let comparisons = evaluation.comparisons();
    let retest = evaluation.retest(&comparisons);
    VisitResult {
        schema: RESULT_SCHEMA.to_owned(),
        tool_version: env!("CARGO_PKG_VERSION").to_owned(),
        reaches: evaluation.reaches,
        comparisons,
        retest,
    }
}

impl MeasuredVisit {
    /// Whether some reach rests on a single raise, so that its interval covers the measurement alone.
    #[must_use]
    pub fn has_single_raise(&self) -> bool {
        self.result.reaches.iter().any(|reach| reach.basis.iter().any(|word| word == SINGLE_RAISE))
    }
}
