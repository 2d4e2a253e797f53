//! The cells of a visit's sheet: how far each is, and the one next thing to do.

use crate::pose::Rotation;
use crate::records::{Reach, ReachMarks, Records, VisitCase};
use crate::screen::{Occasion, VisitResult, needed_landmarks};

use super::error::WebError;
use super::measured::{left_out_words, reach_figures, still_url};
use super::text;
use super::view::{CellState, CellView, NextStep, ReachView};

/// One cell.
pub(super) fn cell(
    records: &Records,
    occasion: Occasion,
    rotation: Rotation,
    reaches: &[&Reach],
    case: &VisitCase,
    result: Option<&VisitResult>,
) -> Result<CellView, WebError> {
    let mut views = Vec::new();
    let mut steps = Vec::new();
    for reach in reaches {
        let marks = records.marks(reach.id)?;
        let view = reach_view(reach, &marks, case, result);
        steps.push((view.state, next_step(reach, &marks, view.state)));
        views.push(view);
    }
    // of several views the one that is furthest counts
    let (state, next) = steps.into_iter().max_by_key(|(state, _)| *state).unwrap_or((CellState::Empty, NextStep::Film));
    Ok(CellView { occasion, rotation, state, next, reaches: views })
}

fn reach_view(reach: &Reach, marks: &ReachMarks, case: &VisitCase, result: Option<&VisitResult>) -> ReachView {
    let figures = case
        .index_of(reach.id)
        .zip(result)
        .and_then(|(index, result)| Some(reach_figures(reach, result.reaches.get(index)?, &case.reaches[index])));
    let has_elevation = figures.as_ref().is_some_and(|figures| figures.elevation.is_some());
    let is_marked = marks.markings.iter().any(|marking| !marking.points.is_empty());
    let state = match (has_elevation, is_marked) {
        _ if reach.is_contrary() => CellState::Contrary,
        (true, _) => CellState::Measured,
        (false, true) => CellState::Marked,
        (false, false) => CellState::Filmed,
    };
    let facts = &reach.media.facts;
    let marked_s = marks.markings.iter().find(|marking| !marking.points.is_empty()).map(|marking| marking.time_s);
    let still = figures.as_ref().map(|figures| figures.still_url.clone()).filter(|url| !url.is_empty());
    let still = still.unwrap_or_else(|| {
        let frame = marked_s.map_or(facts.frame_times_s.len() / 2, |time_s| facts.frame_at(time_s));
        still_url(reach.id, frame)
    });
    let left_out = || case.left_out.iter().find(|left_out| left_out.id == reach.id);
    let reason = figures.as_ref().map_or_else(
        || left_out().filter(|_| is_marked || reach.is_contrary()).map(|_| left_out_words(case, reach)),
        |figures| figures.reason.clone(),
    );
    let [width, height] = facts.upright_size;
    let length = if facts.frame_times_s.len() > 1 { format!("{:.1}\u{a0}s, ", facts.end_s) } else { String::new() };
    ReachView {
        id: reach.id,
        view: reach.facts.view,
        near_side: reach.facts.near_side,
        mirrored: reach.facts.mirrored,
        state,
        elevation: figures.as_ref().and_then(|figures| figures.elevation.clone()),
        interval: figures.and_then(|figures| figures.interval),
        reason,
        still_url: still,
        clip: format!("{length}{width}\u{a0}×\u{a0}{height}"),
        warning: facts.damage.map(|damage| text::damaged(damage.time_s)),
        has_unclear_palms: reach.has_unclear_palms(),
        repeats: marks
            .markings
            .iter()
            .filter(|marking| !marking.points.is_empty())
            .map(|marking| marking.repeat)
            .max()
            .unwrap_or(0),
    }
}

/// Repeats of a marking that are asked for: two tell a first spread. Common practice, no source.
const REPEATS_ASKED: u32 = 2;

fn next_step(reach: &Reach, marks: &ReachMarks, state: CellState) -> NextStep {
    let reach_id = reach.id;
    // palms that the picture does not show are no reason to stop: that the cell's word stands is said beside every call
    if reach.palms.is_none() {
        return NextStep::ConfirmPalms { reach: reach_id };
    } else if reach.is_contrary() {
        return NextStep::FilmAgain { reach: reach_id };
    }
    let marked = |landmark| marks.markings.iter().any(|marking| marking.points.contains_key(landmark));
    let needed = needed_landmarks(reach.facts.view, reach.facts.near_side);
    let missing: Vec<_> = needed.iter().filter(|landmark| !marked(*landmark)).copied().collect();
    let feel = &marks.feel;
    if state == CellState::Filmed {
        NextStep::Mark { reach: reach_id }
    } else if !missing.is_empty() {
        NextStep::FinishMarks { reach: reach_id, missing }
    } else if feel.pain.is_none() || feel.limited_by.is_none() || feel.back_flat.is_none() {
        NextStep::AnswerQuestions { reach: reach_id }
    } else {
        let repeats = marks.markings.iter().map(|marking| marking.repeat).max().unwrap_or(0);
        if repeats < REPEATS_ASKED {
            NextStep::MarkAgain { reach: reach_id, repeat: repeats + 1 }
        } else {
            NextStep::Done
        }
    }
}
