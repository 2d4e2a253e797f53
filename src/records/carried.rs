//! Marks carried from one reach of a visit to another: where they can come from, and whether they still share its error.
//!
//! A carried mark keeps the place of the mark that it came from. When that one was moved or taken back since, their errors are
//! no longer one: the carried mark then counts as one placed by hand, with an error of its own.

use std::path::PathBuf;

use super::case::entry;
use super::error::RecordsError;
use super::model::{CarriedFrom, Marking, Reach, ReachMarks};
use super::store::Records;
use crate::geometry::{ImagePoint, Landmark};
use crate::screen::case::ReachEntry;
use crate::screen::marks::{FrameUse, MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarksOrigin, PointSpread, Source};
use crate::screen::{CarryLink, MarksFile, carry_links};

/// A mark that is farther from where it was is another mark, px: less than a mark is ever moved by.
const SAME_PLACE_PX: f64 = 0.001;

/// A reach with its marks.
pub(super) struct RecordedReach {
    pub(super) reach: Reach,
    pub(super) marks: ReachMarks,
    pub(super) entry: ReachEntry,
}

/// A reach that marks can be carried from.
#[derive(Debug, Clone)]
pub struct CarrySource {
    /// The reach.
    pub reach: Reach,
    /// Its marks.
    pub link: CarryLink,
}

/// Marks of a raise that come from marks which were moved since.
#[derive(Debug, Clone, PartialEq)]
pub struct OlderMarks {
    /// The reach that they were carried to.
    pub reach: i64,
    /// Its raise.
    pub raise: u32,
    /// The reach that they came from.
    pub from_reach: i64,
    /// Which.
    pub landmarks: Vec<Landmark>,
}

impl Records {
    /// The reaches of a visit with their marks.
    pub(super) fn recorded_reaches(&self, visit: i64) -> Result<Vec<RecordedReach>, RecordsError> {
        let reaches = self.reaches(visit)?.into_iter();
        let recorded = reaches.map(|reach| {
            let marks = self.marks(reach.id)?;
            let entry = entry(&reach, &marks);
            Ok(RecordedReach { reach, marks, entry })
        });
        recorded.collect()
    }

    /// Where marks for a raise of a reach can be carried from; the first for trunk, bar and room, then for the arms.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn carry_sources(&self, reach: &Reach, raise: u32) -> Result<Vec<CarrySource>, RecordsError> {
        let recorded = self.recorded_reaches(reach.visit)?;
        let Some(to) = recorded.iter().position(|of| of.reach.id == reach.id) else { return Ok(Vec::new()) };
        // what was carried is no source, whatever became of the mark that it comes from
        let marks: Vec<MarksFile> = recorded.iter().map(|of| of.marks_by_origin(&recorded)).collect();
        let reaches: Vec<_> = recorded.iter().map(|of| &of.entry).zip(&marks).collect();
        let place = usize::try_from(raise).unwrap_or(usize::MAX).saturating_sub(1);
        let links = carry_links(&reaches, to, place).into_iter();
        Ok(links.map(|link| CarrySource { reach: recorded[link.from_reach].reach.clone(), link }).collect())
    }

    /// The carried marks of a visit that come from marks which were moved or taken back since.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn older_marks(&self, visit: i64) -> Result<Vec<OlderMarks>, RecordsError> {
        let recorded = self.recorded_reaches(visit)?;
        let mut found: Vec<OlderMarks> = Vec::new();
        for of in &recorded {
            for marking in &of.marks.markings {
                for (landmark, from) in marking.carried.iter().filter(|(of, from)| !is_current(&recorded, from, **of)) {
                    let (reach, raise, from_reach) = (of.reach.id, marking.raise, from.reach);
                    let known = found
                        .iter_mut()
                        .find(|older| (older.reach, older.raise, older.from_reach) == (reach, raise, from_reach));
                    match known {
                        Some(older) => older.landmarks.push(*landmark),
                        None => found.push(OlderMarks { reach, raise, from_reach, landmarks: vec![*landmark] }),
                    }
                }
            }
        }
        Ok(found)
    }
}

impl RecordedReach {
    /// Its marks as a file, with all that were carried told from those placed by hand, whatever became of the marks that they come from.
    pub(super) fn marks_by_origin(&self, recorded: &[RecordedReach]) -> MarksFile {
        self.marks_file(|(_, from)| Some(name_of_marks(recorded, from.reach).unwrap_or_default()))
    }

    /// Its marks as a file. `marks_of` names the file that a carried mark comes from; without one it counts as placed by hand.
    pub(super) fn marks_file(&self, marks_of: impl Fn((Landmark, CarriedFrom)) -> Option<PathBuf>) -> MarksFile {
        let mut frames = Vec::new();
        for marking in &self.marks.markings {
            let (mut by_hand, mut carried) = (frame(marking, Source::Hand, None), Vec::<MarkedFrame>::new());
            for (landmark, [x, y]) in &marking.points {
                let point = ImagePoint::new(*x, *y);
                let from = marking.carried.get(landmark);
                let origin = from.and_then(|from| {
                    let origin = MarksOrigin { marks: marks_of((*landmark, *from))?, time_s: from.time_s };
                    Some((origin, PointSpread::Covariance(from.covariance_px2)))
                });
                let Some((origin, spread)) = origin else {
                    by_hand.points.insert(*landmark, MarkedPoint { point, spread: PointSpread::Usual });
                    continue;
                };
                let place = carried.iter().position(|frame| frame.from.as_ref() == Some(&origin));
                let place = place.unwrap_or_else(|| {
                    carried.push(frame(marking, Source::Carried, Some(origin)));
                    carried.len() - 1
                });
                carried[place].points.insert(*landmark, MarkedPoint { point, spread });
            }
            // a marking whose marks were all taken back says nothing
            frames.extend(std::iter::once(by_hand).filter(|frame| !frame.points.is_empty()));
            frames.append(&mut carried);
        }
        let image_size = self.reach.media.facts.upright_size;
        MarksFile { schema: MARKS_SCHEMA.to_owned(), image_size, frames }
    }
}

/// A frame of a marking, without marks.
fn frame(marking: &Marking, source: Source, from: Option<MarksOrigin>) -> MarkedFrame {
    let repeat = (source == Source::Hand).then_some(marking.repeat);
    let (time_s, points) = (marking.time_s, std::collections::BTreeMap::new());
    MarkedFrame { time_s, source, used_as: FrameUse::EndRange, rater: None, repeat, from, points }
}

/// Whether the mark that a carried one comes from is still where it was.
pub(super) fn is_current(recorded: &[RecordedReach], from: &CarriedFrom, landmark: Landmark) -> bool {
    let source = recorded.iter().find(|of| of.reach.id == from.reach);
    let marks = source.map(|of| of.marks_file(|_| Some(PathBuf::new())).by_hand(from.time_s));
    marks.and_then(|marks| marks.get(&landmark).copied()).is_some_and(|now| {
        let [x, y] = from.source;
        (now.x - x).hypot(now.y - y) <= SAME_PLACE_PX
    })
}

/// The name of a reach's marks file beside the case.
pub(super) fn name_of_marks(recorded: &[RecordedReach], reach: i64) -> Option<PathBuf> {
    recorded.iter().find(|of| of.reach.id == reach).map(|of| of.entry.marks.clone())
}
