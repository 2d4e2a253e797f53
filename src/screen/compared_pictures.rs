//! Reaches held against each other by their pictures.
//!
//! The spots that were marked in one reach are looked for in the pictures of the others, as when marks are carried, and what is found
//! counts beside the mark that a person placed there: the same spot is then marked in both with one error, which cancels in the
//! difference. Marks that were followed to end range are compared as those placed there are: what they strayed by cancels in the
//! difference, too. What is looked for is told by [`super::looks`]. Nothing is where the case has carried marks already, for then somebody
//! chose what is carried.

use image::GrayImage;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use super::carry::end_range_times_s;
use super::case::ReachEntry;
use super::looks::{Look, Question, looks, one_recordings, with_answers};
use super::marks::{MarkedFrame, MarksFile, SAME_TIME_S, Source};
use super::visit::Visit;

/// How many marks were looked for in the pictures of other reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ComparedMarks {
    /// Marks placed by hand, or followed to end range, in both reaches.
    pub tried: usize,
    /// Those of them whose spot was found again, and counts beside the mark.
    pub found: usize,
}

impl ComparedMarks {
    /// As a result states it: `None` where nothing was looked for.
    #[must_use]
    pub fn stated(self) -> Option<Self> {
        (self.tried > 0).then_some(self)
    }

    /// What that did for the marks, as a sentence.
    #[must_use]
    pub fn words(self) -> String {
        let Self { tried, found } = self;
        match (tried, found) {
            (0, _) => "Pictures compared.".to_owned(),
            (_, 0) => format!(
                "Pictures compared: none of {tried} marks was found again in another reach, so the marks count alone."
            ),
            (_, 1) => format!(
                "Pictures compared: 1 of {tried} marks was found again in another reach, and counts there beside the mark."
            ),
            _ => format!(
                "Pictures compared: {found} of {tried} marks were found again in another reach, and count there beside the marks."
            ),
        }
    }
}

/// Compares the pictures of a visit's reaches, which it gives away for that, adds what is found to their marks, and notes the reaches that
/// are one recording.
pub(crate) fn compare_pictures(visit: &mut Visit) -> ComparedMarks {
    let times_s: Vec<Vec<f64>> =
        (0..visit.reaches.len()).map(|reach| end_range_times_s(visit.marks_of(reach))).collect();
    let pictures: Vec<Vec<(f64, GrayImage)>> =
        visit.reaches.iter_mut().zip(&times_s).map(|(loaded, times_s)| loaded.media.take_pictures(times_s)).collect();
    let is_carried = carried_marks(visit) > 0;
    let reaches: Vec<(&ReachEntry, &MarksFile)> =
        (0..visit.reaches.len()).map(|reach| (&visit.reaches[reach].entry, visit.marks_of(reach))).collect();
    let picture = |reach: usize, time_s: f64| {
        pictures[reach].iter().find(|(at_s, _)| (at_s - time_s).abs() < SAME_TIME_S).map(|(_, picture)| picture)
    };
    let is_wanted = |look: &Look| match look.question {
        Question::Spots { .. } => !is_carried,
        Question::OneMoment { .. } => true,
        Question::Bar { .. } => false,
    };
    let asked: Vec<Look> = looks(&reaches).into_iter().filter(is_wanted).collect();
    let answers: Vec<_> = asked
        .into_par_iter()
        .map(|look| {
            let (time_s, from_time_s) = look.question.times_s();
            let from = look.from_reach.zip(from_time_s).and_then(|(from, from_time_s)| picture(from, from_time_s));
            let answer = look.question.answer(picture(look.reach, time_s), from);
            (look, answer)
        })
        .collect();
    let answered = with_answers(&reaches, &answers, visit.case.marking.sd_px);
    // what was found comes after the frames that were there
    let placed: Vec<usize> = reaches.iter().map(|(_, marks)| marks.frames.len()).collect();
    visit.one_recordings = one_recordings(&answers);
    for (reach, marks) in answered.marks.into_iter().enumerate() {
        for frame in marks.frames.into_iter().skip(placed[reach]) {
            add(visit, reach, frame);
        }
    }
    answered.compared
}

fn add(visit: &mut Visit, reach: usize, frame: MarkedFrame) {
    let Some(from) = frame.from.clone() else { return };
    let Some(source) = visit.reaches.iter().find(|loaded| loaded.entry.marks == from.marks) else { return };
    visit.store.add_carried(visit.reaches[reach].marks, frame, (source.marks, from.time_s));
}

/// How many marks were carried from another reach, as the files of a visit have them.
pub(crate) fn carried_marks(visit: &Visit) -> usize {
    let frames = (0..visit.reaches.len()).flat_map(|reach| &visit.marks_of(reach).frames);
    frames.filter(|frame| frame.source == Source::Carried).map(|frame| frame.points.len()).sum()
}
