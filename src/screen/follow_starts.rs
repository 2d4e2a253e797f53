//! Reaches marked on a frame to start from: their marks are followed through the clip, and its raises are measured.

use std::path::PathBuf;
use std::time::Instant;

use crate::geometry::{Landmark, Side};
use crate::track::Raise;

use super::case::ReachEntry;
use super::error::ScreenError;
use super::marks::MarkedFrame;
use super::track_marks::{ClipCurve, TrackedClip, placed_marks, starts};
use super::visit::Visit;

/// How far the following has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FollowProgress {
    /// Index of the reach.
    pub reach: usize,
    /// Frames done.
    pub done: usize,
    /// Frames of its clip.
    pub all: usize,
    /// When its clip was begun.
    pub begun: Instant,
}

/// The marks that an arm's angle on the picture takes.
pub(crate) const fn needed_to_follow(side: Side) -> [Landmark; 3] {
    [Landmark::Shoulder(side), Landmark::Wrist(side), Landmark::Hip(side)]
}

/// The marks that the bar's height in a front view takes.
pub(crate) const NEEDED_IN_FRONT: [Landmark; 4] = [
    Landmark::Shoulder(Side::Left),
    Landmark::Shoulder(Side::Right),
    Landmark::BarEnd(Side::Left),
    Landmark::BarEnd(Side::Right),
];

/// Follows the marks of every reach that has a frame to start from, and adds marks at end range of each raise to its marks.
///
/// # Errors
/// [`ScreenError::Video`] where a clip cannot be decoded.
pub(crate) fn follow_starts(visit: &mut Visit, on_frame: &(dyn Fn(FollowProgress) + Sync)) -> Result<(), ScreenError> {
    for reach in 0..visit.reaches.len() {
        if starts(visit.marks_of(reach)).is_none() {
            continue;
        }
        let placed = placed_marks(visit.marks_of(reach));
        let loaded = &visit.reaches[reach];
        let arm = loaded.entry.near_side;
        let shows = arm.map(|side| ClipCurve::ArmAngle { side, facing: facing(&loaded.entry, side) });
        let begun = Instant::now();
        let clip = TrackedClip::follow(loaded.media.path(), &placed, shows, |done, all| {
            on_frame(FollowProgress { reach, done, all, begun });
        })?;
        let marks = &visit.library.files[loaded.marks].path;
        let name = marks.file_name().map(PathBuf::from).unwrap_or_default();
        let frames = clip.frames_of_raises(&name);
        visit.library.add_followed(loaded.marks, frames);
        visit.reaches[reach].followed = Some(clip);
    }
    let mut problems = Vec::new();
    visit.library.trace(&mut problems);
    if problems.is_empty() { Ok(()) } else { Err(ScreenError::Invalid { problems }) }
}

/// +1 where the person faces the picture's right.
pub(crate) fn facing(entry: &ReachEntry, near: Side) -> f64 {
    if entry.mirrored { -near.sign() } else { near.sign() }
}

/// A sentence for every followed reach that cannot be measured as it was meant to be: no raise, a raise without a hold, marks that
/// were lost before end range.
pub(crate) fn follow_warnings(visit: &Visit) -> Vec<String> {
    let mut warnings = Vec::new();
    for (reach, loaded) in visit.reaches.iter().enumerate() {
        let Some(clip) = &loaded.followed else { continue };
        let file = loaded.entry.file.display();
        let is_in = |raise: &Raise, frame: &&MarkedFrame| (raise.start_s..=raise.end_s).contains(&frame.time_s);
        let raises = clip.measured_raises();
        if raises.is_empty() {
            let lost = loaded.entry.near_side.into_iter().flat_map(needed_to_follow);
            let lost: Vec<String> = lost.filter_map(|landmark| lost_words(clip, landmark)).collect();
            let why = if lost.is_empty() { String::new() } else { format!(" ({})", lost.join("; ")) };
            warnings.push(format!(
                "{file}: no raise was found by following the marks from {:.2} s{why}, so the reach is not measured. Mark end \
                 range by hand.",
                clip.starts_s[0]
            ));
            continue;
        }
        let all = clip.course.raises.len();
        for (number, raise) in clip.course.raises.iter().enumerate() {
            if raise.hold.is_none() && raises.len() < all {
                warnings.push(format!(
                    "{file}: raise {} of {all}, at {:.2} s, is a swing without a hold, and is left out.",
                    number + 1,
                    raise.peak_s
                ));
            }
        }
        for landmark in &clip.track.landmarks {
            let frames = &visit.marks_of(reach).frames;
            let is_seen = |raise: &&Raise| {
                frames.iter().filter(|frame| is_in(raise, frame)).any(|frame| frame.points.contains_key(landmark))
            };
            let missing = raises.iter().filter(|raise| !is_seen(raise)).count();
            if missing > 0 {
                warnings.push(format!(
                    "{file}: the {} could not be followed to end range in {missing} of {} {}, and is missing there.",
                    landmark.name().replace('_', " "),
                    raises.len(),
                    if raises.len() == 1 { "raise" } else { "raises" }
                ));
            }
        }
    }
    warnings
}

fn lost_words(clip: &TrackedClip, landmark: Landmark) -> Option<String> {
    let spans = clip.track.lost_spans_s(landmark);
    let (from_s, to_s) = (spans.first()?.0, spans.last()?.1);
    Some(format!("the {} is lost between {from_s:.2} and {to_s:.2} s", landmark.name().replace('_', " ")))
}
