//! Reaches that are marked by hand, held against each other by their pictures.
//!
//! The spots that were marked in one reach are looked for in the pictures of the others, as when marks are carried, and what is found
//! counts beside the mark that a person placed there: the same spot is then marked in both with one error, which cancels in the
//! difference. A mark is compared where a person placed it in both reaches and stated no spread of its own; none is where the case has
//! carried marks already, for then somebody chose what is carried. Ends of a bar that is seen in full are measured by
//! [`super::found_bar`] instead.

use std::collections::BTreeSet;

use crate::geometry::Landmark;
use crate::pose::View;

use super::carry::{Pictures, carry_all};
use super::error::ScreenError;
use super::marks::{FrameUse, MarkedFrame, MarksFile, PointSpread, SAME_TIME_S, Source};
use super::visit::Visit;

/// How many marks were looked for in the pictures of other reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ComparedMarks {
    /// Marks placed by hand in both reaches.
    pub tried: usize,
    /// Those of them whose spot was found again, and counts beside the mark.
    pub found: usize,
}

/// Compares the pictures of a visit's reaches and adds what is found to their marks.
///
/// # Errors
/// [`ScreenError::Video`] where a picture cannot be decoded.
pub(crate) fn compare_pictures(visit: &mut Visit) -> Result<ComparedMarks, ScreenError> {
    let mut compared = ComparedMarks::default();
    let reaches = 0..visit.reaches.len();
    let is_carried = |frame: &MarkedFrame| frame.source == Source::Carried;
    if reaches.clone().any(|reach| visit.marks_of(reach).frames.iter().any(is_carried)) {
        return Ok(compared);
    }
    let by_hand: Vec<MarksFile> = reaches.clone().map(|reach| comparable(visit.marks_of(reach))).collect();
    let mut pictures = Pictures::default();
    for loaded in &mut visit.reaches {
        for (time_s, picture) in loaded.media.take_pictures() {
            pictures.add(&loaded.entry.file, time_s, picture);
        }
    }
    let mut marks = by_hand.clone();
    let attempts = carry_all(&visit.case, &mut marks, &mut pictures)?;
    let is_compared = |reach: usize, time_s: f64, landmark: Landmark| {
        let is_measured_itself =
            matches!(landmark, Landmark::BarEnd(_)) && visit.case.reaches[reach].view != View::Side;
        !is_measured_itself && by_hand[reach].by_hand(time_s).contains_key(&landmark)
    };
    let tried: BTreeSet<(usize, u64, Landmark)> = attempts
        .iter()
        .filter(|attempt| is_compared(attempt.to_reach, attempt.time_s, attempt.landmark))
        .map(|attempt| (attempt.to_reach, attempt.time_s.to_bits(), attempt.landmark))
        .collect();
    compared.tried = tried.len();
    for (reach, marks) in marks.into_iter().enumerate() {
        for mut frame in marks.frames.into_iter().filter(is_carried) {
            frame.points.retain(|landmark, _| is_compared(reach, frame.time_s, *landmark));
            let Some(from) = frame.from.clone().filter(|_| !frame.points.is_empty()) else { continue };
            let Some(source) = visit.case.reaches.iter().position(|entry| entry.marks == from.marks) else { continue };
            compared.found += frame.points.len();
            let from_file = visit.reaches[source].marks;
            visit.library.add_carried(visit.reaches[reach].marks, frame, (from_file, from.time_s));
        }
    }
    Ok(compared)
}

/// How many marks were carried from another reach, as the files of a visit have them.
pub(crate) fn carried_marks(visit: &Visit) -> usize {
    let frames = (0..visit.reaches.len()).flat_map(|reach| &visit.marks_of(reach).frames);
    frames.filter(|frame| frame.source == Source::Carried).map(|frame| frame.points.len()).sum()
}

/// The marks of a file that are compared: placed by hand at end range, and as good as marks are.
fn comparable(known: &MarksFile) -> MarksFile {
    let mut marks = known.clone();
    marks.frames.retain(|frame| frame.source == Source::Hand && frame.used_as == FrameUse::EndRange);
    let states_spread = |landmark: Landmark, time_s: f64| {
        let at_that_time = known.frames.iter().filter(|frame| (frame.time_s - time_s).abs() < SAME_TIME_S);
        at_that_time.filter_map(|frame| frame.points.get(&landmark)).any(|point| point.spread != PointSpread::Usual)
    };
    for frame in &mut marks.frames {
        let time_s = frame.time_s;
        frame.points.retain(|landmark, _| !states_spread(*landmark, time_s));
    }
    marks.frames.retain(|frame| !frame.points.is_empty());
    marks
}
