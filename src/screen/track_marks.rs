//! Marks of a clip followed through it: the arm's angle over time, its raises and holds, and marks on the holds to measure with.

use std::collections::BTreeMap;
use std::path::Path;

use nalgebra::Vector2;

use crate::geometry::{ImagePoint, Landmark, Side};
use crate::track::{ClipTrack, Course, MarkState, course, follow_clip};

use super::error::ScreenError;
use super::marks::{
    FrameUse, MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarksFile, MarksOrigin, PointSpread, SAME_TIME_S, Source,
};
use super::seen::angle_through_front;

/// Where in a hold its marks are taken, as shares of its length: away from its ends, where the arm still moves.
const HOLD_SHARES: [f64; 3] = [0.25, 0.5, 0.75];

/// A clip whose marks were followed.
#[derive(Debug, Clone, PartialEq)]
pub struct TrackedClip {
    /// The marks in every frame.
    pub track: ClipTrack,
    /// The arm that the angle is of; `None` where the marks show no trunk and arm from the side.
    pub side: Option<Side>,
    /// The plain angle on the picture from trunk to arm, deg, in each frame where its marks are followed.
    pub image_angles_deg: Vec<Option<f64>>,
    /// The same smoothed, and its raises.
    pub course: Course,
    /// The marks placed by hand, and those followed to the holds, as a marks file for a case.
    pub marks: MarksFile,
    /// Time of the frame that the marks were placed on, s.
    pub start_s: f64,
}

/// Follows the marks of the file at `marks_path` through the clip at `clip`. They are taken from the first frame to start from, or
/// from the frame at end range with the most marks.
///
/// # Errors
/// [`ScreenError::Invalid`] with the faults of the marks file, [`ScreenError::Video`] where the clip cannot be decoded,
/// [`ScreenError::NothingToFollow`] where no mark was placed by hand.
pub fn track_marks(
    clip: &Path,
    marks_path: &Path,
    progress: impl FnMut(usize, usize),
) -> Result<TrackedClip, ScreenError> {
    let marks = MarksFile::read(marks_path)?;
    let (start_s, placed) =
        starting_marks(&marks).ok_or_else(|| ScreenError::NothingToFollow { path: marks_path.to_owned() })?;
    let track = follow_clip(clip, start_s, &placed, progress).map_err(|source| ScreenError::Video { source })?;
    let side = Side::BOTH.into_iter().find(|side| {
        [Landmark::Shoulder(*side), Landmark::Wrist(*side), Landmark::Hip(*side)]
            .iter()
            .all(|landmark| track.landmarks.contains(landmark))
    });
    let image_angles_deg: Vec<Option<f64>> =
        (0..track.times_s.len()).map(|frame| image_angle_deg(&track, frame, side?)).collect();
    let course = course(&track.times_s, &image_angles_deg);
    let origin = MarksOrigin {
        marks: std::fs::canonicalize(marks_path).unwrap_or_else(|_| marks_path.to_owned()),
        time_s: start_s,
    };
    let frames = hold_frames(&track, &course, &origin);
    let marks = MarksFile { schema: MARKS_SCHEMA.to_owned(), image_size: marks.image_size, frames };
    Ok(TrackedClip { track, side, image_angles_deg, course, marks, start_s })
}

/// The time and the marks to start from, each the mean over raters and repeats.
fn starting_marks(marks: &MarksFile) -> Option<(f64, Vec<(Landmark, ImagePoint)>)> {
    let by_hand = || marks.frames.iter().filter(|frame| frame.source == Source::Hand);
    let start = by_hand()
        .filter(|frame| frame.used_as == FrameUse::Start)
        .min_by(|a, b| a.time_s.total_cmp(&b.time_s))
        .or_else(|| by_hand().max_by_key(|frame| frame.points.len()))?;
    let mut sums: BTreeMap<Landmark, (f64, f64, f64)> = BTreeMap::new();
    for (landmark, mark) in
        by_hand().filter(|frame| (frame.time_s - start.time_s).abs() < SAME_TIME_S).flat_map(|frame| &frame.points)
    {
        let sum = sums.entry(*landmark).or_default();
        *sum = (sum.0 + mark.point.x, sum.1 + mark.point.y, sum.2 + 1.0);
    }
    let placed: Vec<_> =
        sums.into_iter().map(|(landmark, (x, y, count))| (landmark, ImagePoint::new(x / count, y / count))).collect();
    (!placed.is_empty()).then_some((start.time_s, placed))
}

fn image_angle_deg(track: &ClipTrack, frame: usize, side: Side) -> Option<f64> {
    let place = |landmark: Landmark| track.point(frame, landmark).map(|point| Vector2::new(point.x, point.y));
    let shoulder = place(Landmark::Shoulder(side))?;
    let trunk = place(Landmark::Hip(side))? - shoulder;
    let arm = place(Landmark::Wrist(side))? - shoulder;
    angle_through_front(&trunk, &arm, side.sign()).map(crate::geometry::Angle::deg)
}

/// Frames of the holds with the marks that were followed to them.
fn hold_frames(track: &ClipTrack, course: &Course, origin: &MarksOrigin) -> Vec<MarkedFrame> {
    let holds = course.raises.iter().filter_map(|raise| raise.hold);
    holds
        .flat_map(|hold| HOLD_SHARES.map(|share| hold.start_s + share * (hold.end_s - hold.start_s)))
        .filter_map(|time_s| {
            let frame = track.times_s.partition_point(|other| *other <= time_s).checked_sub(1)?;
            let points: BTreeMap<Landmark, MarkedPoint> = track
                .landmarks
                .iter()
                .zip(&track.states[frame])
                .filter_map(|(landmark, state)| match state {
                    MarkState::Followed { point, sd_px } => {
                        let spread = if *sd_px > 0.0 { PointSpread::Sd(*sd_px) } else { PointSpread::Usual };
                        Some((*landmark, MarkedPoint { point: *point, spread }))
                    }
                    MarkState::Lost | MarkState::OutOfPicture => None,
                })
                .collect();
            (frame != track.start && !points.is_empty()).then(|| MarkedFrame {
                time_s: (track.times_s[frame] * 1e4).round() / 1e4,
                source: Source::Track,
                used_as: FrameUse::EndRange,
                rater: None,
                repeat: None,
                from: Some(origin.clone()),
                points,
            })
        })
        .collect()
}
