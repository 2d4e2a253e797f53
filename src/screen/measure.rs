//! From a case file to a result: reads, fits, evaluates.

use std::path::{Path, PathBuf};

use image::RgbImage;

use crate::geometry::ImagePoint;
use crate::pose::{Overlay, VisitFit, VisitObservations, Zero, fit_visit};
use crate::uncertainty::MonteCarloOptions;

use super::case::CaseFile;
use super::compared_pictures::{ComparedMarks, carried_marks, compare_pictures};
use super::contradictions::DoubtedSpot;
use super::error::ScreenError;
use super::evaluation::{Evaluation, Evidence, SINGLE_RAISE};
use super::follow_starts::{FollowProgress, follow_starts, follow_warnings};
use super::found_bar::{FoundBar, bar_warnings, found_bars};
use super::marks::SAME_TIME_S;
use super::media::Viewing;
use super::observe::observe;
use super::pooled::Combine;
use super::result::{RESULT_SCHEMA, ReachResult, VisitResult};
use super::simulation::simulated;
use super::track_marks::TrackedClip;
use super::visit::{Visit, damage_warnings, far_wrist_warnings, load_visit};

/// How a visit is measured.
#[derive(Clone, Copy, Default)]
pub struct MeasureOptions<'a> {
    /// Also give the picture of each reach at end range, for the report.
    pub with_stills: bool,
    /// Measure the marks as they were placed: look for no bar in the pictures, and compare none.
    pub marks_alone: bool,
    /// Also repeat the measurement with drawn errors.
    pub monte_carlo: Option<MonteCarloOptions>,
    /// Is told how many draws are done, from any thread.
    pub on_draw: Option<&'a (dyn Fn(usize) + Sync)>,
    /// Is told how far marks have been followed.
    pub on_frame: Option<&'a (dyn Fn(FollowProgress) + Sync)>,
}

/// A measured visit.
#[derive(Debug)]
pub struct MeasuredVisit {
    /// What was found.
    pub result: VisitResult,
    /// The case that was measured.
    pub case: CaseFile,
    /// Per reach, the picture to show and what to draw on it; empty without [`MeasureOptions::with_stills`].
    pub stills: Vec<Still>,
    /// The bars that were found in the pictures and measured in place of the marks on them.
    pub found_bars: Vec<FoundBar>,
    /// Marks that were carried from another reach, as the files have them.
    pub carried_marks: usize,
    /// The clips of the reaches whose marks were followed.
    pub followed: Vec<FollowedReach>,
    /// What was wrong with the input but could be worked with, each a sentence.
    pub warnings: Vec<String>,
    /// What the fit was given.
    pub observations: VisitObservations,
    /// The fit.
    pub fit: VisitFit,
}

/// A reach whose marks were followed through its clip.
#[derive(Debug, Clone)]
pub struct FollowedReach {
    /// Index into the result's reaches.
    pub reach: usize,
    /// The file of its clip.
    pub path: PathBuf,
    /// Its clip.
    pub clip: TrackedClip,
}

/// The picture of a reach at its end range.
#[derive(Debug, Clone)]
pub struct Still {
    /// Index into the result's reaches.
    pub reach: usize,
    /// The upright picture.
    pub image: RgbImage,
    /// What to draw, px.
    pub overlay: Overlay,
}

/// Measures the visit of a case file.
///
/// # Errors
/// [`ScreenError::Invalid`] with every fault of the case and of the files that it names; [`ScreenError::Video`] when a
/// picture cannot be decoded after all.
pub fn measure_case(path: &Path, options: MeasureOptions<'_>) -> Result<MeasuredVisit, ScreenError> {
    let mut visit = load_visit(path, Viewing { is_close: !options.marks_alone, keeps_frame: options.with_stills })?;
    follow_starts(&mut visit, options.on_frame.unwrap_or(&|_| {}))?;
    let carried_marks = carried_marks(&visit);
    let compared = if options.marks_alone { ComparedMarks::default() } else { compare_pictures(&mut visit) };
    let mut measured = MeasuredVisit { carried_marks, ..measure_visit(&visit, options) };
    measured.result.compared_pictures = compared.stated();
    if options.with_stills {
        for (reach, loaded) in visit.reaches.iter_mut().enumerate() {
            let Some((time_s, overlay)) = measured.shown(reach) else { continue };
            let image = loaded.media.show(time_s).map_err(|source| ScreenError::Video { source })?;
            measured.stills.push(Still { reach, image, overlay });
        }
    }
    let followed = visit.reaches.iter_mut().enumerate();
    measured.followed = followed
        .filter_map(|(reach, loaded)| {
            let path = loaded.media.path().to_owned();
            Some(FollowedReach { reach, path, clip: loaded.followed.take()? })
        })
        .collect();
    Ok(measured)
}

/// Measures a visit that was read, without stills.
pub(crate) fn measure_visit(visit: &Visit, options: MeasureOptions<'_>) -> MeasuredVisit {
    let doubted = visit.doubted_spots();
    let observations = observe(visit, &doubted);
    let fit = fit_visit(&observations);
    let on_draw = options.on_draw.unwrap_or(&|_| {});
    let draws = options.monte_carlo.and_then(|options| fit.simulate(options, on_draw));
    let evidence = Evidence { case: &visit.case, observations: &observations, one_recordings: &visit.one_recordings };
    let result = match &draws {
        Some(draws) => simulated(&fit, draws, |simulated| evaluate(evidence, simulated)),
        None => evaluate(evidence, &fit),
    };
    let mut warnings = warnings(visit, &doubted, &fit);
    warnings.extend(result.monte_carlo.iter().filter_map(|simulated| simulated.note.clone()));
    MeasuredVisit {
        result,
        case: visit.case.clone(),
        stills: Vec::new(),
        found_bars: found_bars(visit),
        carried_marks: carried_marks(visit),
        followed: Vec::new(),
        warnings,
        observations,
        fit,
    }
}

fn warnings(visit: &Visit, doubted: &[DoubtedSpot], fit: &VisitFit) -> Vec<String> {
    let mut warnings = damage_warnings(&visit.reaches);
    warnings.extend(follow_warnings(visit));
    warnings.extend(far_wrist_warnings(&visit.reaches, &visit.store));
    warnings.extend(bar_warnings(visit));
    let sentences = doubted.iter().flat_map(|spot| spot.sentences(|reach| &visit.reaches[reach].entry));
    warnings.extend(sentences.map(|(_, sentence)| sentence));
    if !fit.outcome().is_converged {
        warnings.push(format!(
            "The marks do not go together (the fit did not settle in {} steps), so nothing is reported: look for marks that are \
             swapped, on the wrong landmark or on the wrong side.",
            fit.outcome().iterations
        ));
    }
    warnings
}

/// Turns a fit into a result.
pub(crate) fn evaluate<F: Combine>(evidence: Evidence<'_>, fit: &F) -> VisitResult {
    let evaluation = Evaluation::new(evidence, fit);
    let comparisons = evaluation.comparisons();
    let retest = evaluation.retest(&comparisons);
    VisitResult {
        schema: RESULT_SCHEMA.to_owned(),
        tool_version: env!("CARGO_PKG_VERSION").to_owned(),
        reaches: evaluation.reaches,
        comparisons,
        retest,
        compared_pictures: None,
        monte_carlo: None,
    }
}

impl MeasuredVisit {
    /// The time of the frame at which a reach is shown, s, and what to draw on it; `None` where nothing is marked.
    #[must_use]
    pub fn shown(&self, reach: usize) -> Option<(f64, Overlay)> {
        let time_s = self.result.reaches.get(reach)?.end_range_time_s?;
        Some((time_s, self.overlay_at(reach, time_s)?))
    }

    /// What to draw on the frame of a reach at a time, s; `None` where that frame is not marked. Marks are where they were placed, also
    /// those in whose place the bar was found; what disagrees with the others is where it was found.
    #[must_use]
    pub fn overlay_at(&self, reach: usize, time_s: f64) -> Option<Overlay> {
        let mut overlay = self.fit.overlay(reach, self.frame_at(reach, time_s)?);
        let bars = self.found_bars.iter().filter(|bar| bar.reach == reach && (bar.time_s - time_s).abs() < SAME_TIME_S);
        for end in bars.flat_map(|bar| &bar.ends) {
            // a carried mark of the same end stays where it was carried to
            for mark in overlay.marks.iter_mut().filter(|mark| **mark == (end.landmark, end.found)) {
                mark.1 = end.placed;
            }
        }
        Some(overlay)
    }

    /// Where arms at these elevations (deg) would be seen on the frame of a reach at a time, s, from the near shoulder outward; `None`
    /// where that frame is not marked or the fit did not settle.
    #[must_use]
    pub fn rays_at(
        &self,
        reach: usize,
        time_s: f64,
        zero: Zero,
        elevations_deg: &[f64],
    ) -> Option<Vec<[ImagePoint; 2]>> {
        self.fit.rays(reach, self.frame_at(reach, time_s)?, zero, elevations_deg)
    }

    fn frame_at(&self, reach: usize, time_s: f64) -> Option<usize> {
        let frames = &self.observations.reaches.get(reach)?.frames;
        frames.iter().position(|frame| (frame.time_s - time_s).abs() < SAME_TIME_S)
    }

    /// Whether some reach rests on a single raise, so that its interval covers the measurement alone.
    #[must_use]
    pub fn has_single_raise(&self) -> bool {
        let is_single = |reach: &ReachResult| reach.basis.iter().any(|word| word == SINGLE_RAISE);
        let is_measured = |reach: &ReachResult| {
            reach.elevation_deg.is_some()
                || reach.elevation_from_vertical_deg.is_some()
                || reach.bar_height_mm.is_some()
        };
        self.result.reaches.iter().any(|reach| is_measured(reach) && is_single(reach))
    }
}
