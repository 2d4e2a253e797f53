//! Reaches marked on a frame to start from: their marks are followed through the clip, and its raises are measured.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::time::Instant;

use nalgebra::Vector2;

use crate::geometry::{Landmark, Side};
use crate::pose::View;
use crate::track::{Anchor, Hold, PlacedMarks, Raise};

use super::case::ReachEntry;
use super::error::ScreenError;
use super::front_holds::{HoldMarks, mark_holds};
use super::marks::MarkedFrame;
use super::spread::scale;
use super::track_marks::{ClipCurve, TrackedClip, is_within, placed_marks, starts};
use super::visit::{LoadedReach, Visit};

/// A mark that strayed by more than this up to where it was placed again is told, px at a long side of [`super::case::SD_PX_AT`]: skin that
/// slides over the joint comes to 15 px at the most in rendered raises.
const STRAYED_PX: f64 = 15.0;

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

/// Follows the marks of every reach that has a frame to start from, and adds marks at end range of each raise to its marks. A frame to
/// start from that lies in a hold is at end range itself: that hold is measured by the marks placed there, and its picture is compared as
/// that of any frame marked at end range.
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
        let shows = match (loaded.entry.view, loaded.entry.near_side) {
            (View::Front, _) => Some(ClipCurve::BarHeight),
            (_, near) => near.map(|side| ClipCurve::ArmAngle { side, facing: facing(&loaded.entry, side) }),
        };
        let begun = Instant::now();
        let clip = TrackedClip::follow(loaded.media.path(), &placed, shows, |done, all| {
            on_frame(FollowProgress { reach, done, all, begun });
        })?;
        let marks = &visit.store.files[loaded.marks].path;
        let name = marks.file_name().map(PathBuf::from).unwrap_or_default();
        let holds = if loaded.entry.view == View::Front {
            let marked = mark_holds(loaded.media.path(), &clip, &placed, &name, |hold| !is_marked(hold, &placed));
            Some(marked.map_err(|source| ScreenError::Video { source })?)
        } else {
            None
        };
        let mut frames = holds.as_ref().map_or_else(|| clip.frames_of_raises(&name), |holds| holds.frames.clone());
        // a hold that was marked is measured by its own marks
        let is_by_hand = |time_s: f64| clip.hold_at(time_s).is_some_and(|hold| is_marked(&hold, &placed));
        frames.retain(|frame| !is_by_hand(frame.time_s));
        let file = loaded.marks;
        visit.store.count_starts_at_end(file, is_by_hand);
        visit.store.add_followed(file, frames);
        visit.reaches[reach].followed = Some(clip);
        visit.reaches[reach].holds = holds;
    }
    let mut problems = Vec::new();
    visit.store.trace(&mut problems);
    if problems.is_empty() { Ok(()) } else { Err(ScreenError::Invalid { problems }) }
}

/// Whether all that was marked anywhere was marked on a frame of a hold.
fn is_marked(hold: &Hold, placed: &[PlacedMarks]) -> bool {
    let landmarks = |placed: &PlacedMarks| -> BTreeSet<Landmark> { placed.marks.iter().map(|mark| mark.0).collect() };
    let all: BTreeSet<Landmark> = placed.iter().flat_map(landmarks).collect();
    placed.iter().filter(|placed| is_within(hold, placed.time_s)).any(|placed| landmarks(placed) == all)
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
        warnings.extend(strayed_words(clip, &file.to_string(), scale(visit.marks_of(reach).image_size)));
        if raises.is_empty() {
            let needed = match (loaded.entry.view, loaded.entry.near_side) {
                (View::Front, _) => NEEDED_IN_FRONT.to_vec(),
                (_, near) => near.into_iter().flat_map(needed_to_follow).collect(),
            };
            let lost: Vec<String> = needed.into_iter().filter_map(|landmark| lost_words(clip, landmark)).collect();
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
        if loaded.holds.as_ref().is_some_and(|holds| holds.is_outside) {
            warnings.push(outside_words(loaded, clip));
            continue;
        }
        warnings.extend(loaded.holds.iter().flat_map(|holds| refusal_words(holds, &file.to_string())));
        let followed = if loaded.holds.is_none() { &clip.track.landmarks[..] } else { &[] };
        for landmark in followed.iter().filter(|landmark| !landmark.is_of_head()) {
            let frames = &visit.marks_of(reach).frames;
            let is_seen = |raise: &&Raise| {
                frames.iter().filter(|frame| is_in(raise, frame)).any(|frame| frame.points.contains_key(landmark))
            };
            let missing = raises.iter().filter(|raise| !is_seen(raise)).count();
            if missing > 0 {
                warnings.push(format!(
                    "{file}: the {} could not be followed to end range in {missing} of {} {}, and is missing there: mark it on a \
                     frame in that hold, too.",
                    landmark.words(),
                    raises.len(),
                    if raises.len() == 1 { "raise" } else { "raises" }
                ));
            }
        }
    }
    warnings
}

/// A sentence for each mark that had strayed far from where it was placed again.
fn strayed_words(clip: &TrackedClip, file: &str, scale: f64) -> Vec<String> {
    let of_anchor = |anchor: &Anchor| {
        let time_s = clip.track.times_s[anchor.frame];
        let far = anchor.strayed_px.iter().filter(|(_, strayed)| strayed.norm() > STRAYED_PX * scale);
        let words = |(landmark, strayed): &(Landmark, Vector2<f64>)| {
            format!(
                "{file}: the {} had strayed by {:.0} px at {time_s:.2} s, where it is marked again; that is spread over the frames \
                 between. See that both marks are on one spot.",
                landmark.words(),
                strayed.norm()
            )
        };
        far.map(words).collect::<Vec<_>>()
    };
    clip.track.anchors.iter().flat_map(of_anchor).collect()
}

/// The marks of a front view that were not brought to some holds, each with their times and why.
fn refusal_words(holds: &HoldMarks, file: &str) -> Vec<String> {
    let mut by_landmark: BTreeMap<Landmark, Vec<String>> = BTreeMap::new();
    for (time_s, landmark, why) in &holds.refusals {
        by_landmark.entry(*landmark).or_default().push(format!("{time_s:.2} s: {why}"));
    }
    let words = |(landmark, refusals): (Landmark, Vec<String>)| {
        format!(
            "{file}: the {} is not surely found again in {} {} ({}), and is missing there.",
            landmark.words(),
            refusals.len(),
            if refusals.len() == 1 { "hold" } else { "holds" },
            refusals.join("; ")
        )
    };
    by_landmark.into_iter().map(words).collect()
}

/// That marks of a front view are not in a hold, and where the holds are.
fn outside_words(loaded: &LoadedReach, clip: &TrackedClip) -> String {
    let file = loaded.entry.file.display();
    let holds = clip.course.raises.iter().filter_map(|raise| raise.hold);
    let holds: Vec<String> = holds.map(|hold| format!("{:.2} to {:.2} s", hold.start_s, hold.end_s)).collect();
    let starts: Vec<String> = clip.starts_s.iter().map(|time_s| format!("{time_s:.2}")).collect();
    let at = starts.join(" and ");
    let mut lost = loaded.media.bars.iter().filter_map(|bar| Some((bar.time_s, bar.why_not_found()?)));
    if let (true, Some((time_s, why))) = (holds.is_empty(), lost.next()) {
        return format!(
            "{file}: no raise that is held was found, so the reach is not measured. The bar is not surely found between the marks on \
             its ends at {time_s:.2} s ({why}), and it is the bar that shows raises: look at these marks, or mark end range by hand."
        );
    }
    if holds.is_empty() {
        return format!(
            "{file}: no raise of the clip is held, so the reach is not measured: from the front, marks count where the bar is held \
             still at its highest. Film again and hold for a second, or mark end range by hand."
        );
    }
    format!(
        "{file}: the marks at {at} s are not in a hold, and the arms show another side there, so the reach is not measured. Place them on \
         a frame in a hold: held from {}.",
        holds.join(", from ")
    )
}

fn lost_words(clip: &TrackedClip, landmark: Landmark) -> Option<String> {
    let spans = clip.track.lost_spans_s(landmark);
    let (from_s, to_s) = (spans.first()?.0, spans.last()?.1);
    Some(format!("the {} is lost between {from_s:.2} and {to_s:.2} s", landmark.name().replace('_', " ")))
}
