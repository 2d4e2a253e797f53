//! The near arm of a reach followed through its clip, as it is asked for, kept and shown.
//!
//! Of all marks only the arm's and the hip are followed: no other one bears on the arm's angle. The angle is the plain one on the
//! picture, a cross-check and no elevation. What was followed from other marks than those of today cannot be told from here.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::case::ReachEntry;
use super::error::ScreenError;
use super::follow_starts::{facing, needed_to_follow};
use super::marks::MarksFile;
use super::track_marks::{ClipCurve, TrackedClip, placed_marks};
use crate::geometry::{ImagePoint, Landmark, Side};
use crate::track::{PlacedMarks, Raise};

/// An arm with the marks that it is followed from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ArmToFollow {
    /// The side of the arm, which is towards the camera.
    pub side: Side,
    /// The person faces the picture's right.
    pub faces_right: bool,
    /// The frames that were marked, in the order of time.
    pub frames: Vec<ArmMarks>,
}

/// The marks of an arm and the hip on a frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ArmMarks {
    /// Time of the frame, s.
    pub time_s: f64,
    /// The marks by their names, px.
    pub points: BTreeMap<String, [f64; 2]>,
}

/// An arm that was followed through a clip.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FollowedArm {
    /// The side of the arm.
    pub side: Side,
    /// Times of the clip's frames, s.
    pub times_s: Vec<f64>,
    /// The plain angle on the picture from trunk to arm, deg, in each frame where its marks are followed.
    pub angles_deg: Vec<Option<f64>>,
    /// The same smoothed, deg.
    pub smoothed_deg: Vec<Option<f64>>,
    /// Its raises, in order.
    pub raises: Vec<Raise>,
    /// When a mark that the angle takes was not seen.
    pub unseen: Vec<UnseenSpan>,
}

/// A time for which a mark was not seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnseenSpan {
    /// The mark.
    #[serde(with = "by_name")]
    pub landmark: Landmark,
    /// It is hidden, and the arm as a whole tells where it must be; else it is lost or out of the picture.
    pub is_hidden: bool,
    /// Time of the first such frame, s.
    pub from_s: f64,
    /// Time of the last one, s.
    pub to_s: f64,
}

impl ArmToFollow {
    /// What the near arm of a reach can be followed from: all frames with marks of it, of which one at least has all that the angle
    /// takes.
    ///
    /// # Errors
    /// The landmarks that are missing on the frame with most of them; none where the reach has no side towards the camera.
    pub fn of(entry: &ReachEntry, marks: &MarksFile) -> Result<Self, Vec<Landmark>> {
        let side = entry.near_side.ok_or_else(Vec::new)?;
        let needed = needed_to_follow(side);
        let bears = |landmark: &Landmark| needed.contains(landmark) || *landmark == Landmark::Elbow(side);
        let mut frames = Vec::new();
        let mut missing = needed.to_vec();
        for PlacedMarks { time_s, marks } in placed_marks(marks) {
            let points: BTreeMap<Landmark, ImagePoint> = marks.into_iter().filter(|(mark, _)| bears(mark)).collect();
            let lacks: Vec<Landmark> = needed.into_iter().filter(|landmark| !points.contains_key(landmark)).collect();
            if lacks.len() < missing.len() {
                missing = lacks;
            }
            if !points.is_empty() {
                let points = points.iter().map(|(landmark, at)| (landmark.name().to_owned(), [at.x, at.y])).collect();
                frames.push(ArmMarks { time_s, points });
            }
        }
        match missing.is_empty() {
            true => Ok(Self { side, faces_right: facing(entry, side) > 0.0, frames }),
            false => Err(missing),
        }
    }

    /// Follows the arm through the clip at `path`. `progress` is told how many frames of how many are done.
    ///
    /// # Errors
    /// [`ScreenError::Video`] where the clip cannot be decoded, or holds no frame at one of the times.
    pub fn follow(&self, path: &Path, progress: impl FnMut(usize, usize)) -> Result<FollowedArm, ScreenError> {
        let mark = |(name, [x, y]): (&String, &[f64; 2])| Some((name.parse().ok()?, ImagePoint::new(*x, *y)));
        let placed: Vec<PlacedMarks> = self
            .frames
            .iter()
            .map(|frame| PlacedMarks { time_s: frame.time_s, marks: frame.points.iter().filter_map(mark).collect() })
            .collect();
        let facing = if self.faces_right { 1.0 } else { -1.0 };
        TrackedClip::follow(path, &placed, Some(ClipCurve::ArmAngle { side: self.side, facing }), progress)
            .map(|clip| FollowedArm::of(self.side, clip))
    }
}

impl FollowedArm {
    fn of(side: Side, clip: TrackedClip) -> Self {
        let mut unseen = Vec::new();
        for landmark in needed_to_follow(side) {
            for (is_hidden, spans) in
                [(true, clip.track.hidden_spans_s(landmark)), (false, clip.track.lost_spans_s(landmark))]
            {
                let span = |(from_s, to_s)| UnseenSpan { landmark, is_hidden, from_s, to_s };
                unseen.extend(spans.into_iter().map(span));
            }
        }
        Self {
            side,
            times_s: clip.track.times_s,
            angles_deg: clip.values,
            smoothed_deg: clip.course.smoothed,
            raises: clip.course.raises,
            unseen,
        }
    }
}

/// A landmark as its name.
mod by_name {
    use serde::{Deserialize as _, Deserializer, Serializer, de::Error as _};

    use crate::geometry::Landmark;

    #[allow(clippy::trivially_copy_pass_by_ref, reason = "serde calls it so")]
    pub(super) fn serialize<S: Serializer>(landmark: &Landmark, out: S) -> Result<S::Ok, S::Error> {
        out.serialize_str(landmark.name())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(given: D) -> Result<Landmark, D::Error> {
        String::deserialize(given)?.parse().map_err(D::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screen::CaseFile;

    fn reach() -> (ReachEntry, MarksFile) {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side");
        let entry = CaseFile::read(&folder.join("case.toml")).unwrap().reaches.swap_remove(0);
        let marks = MarksFile::read(&folder.join(&entry.marks)).unwrap();
        (entry, marks)
    }

    #[test]
    fn the_near_arm_and_the_hip_alone_are_followed_from_the_mean_of_repeats() {
        let (entry, marks) = reach();
        let arm = ArmToFollow::of(&entry, &marks).unwrap();
        assert_eq!((arm.side, arm.faces_right, arm.frames.len()), (Side::Right, true, 1));
        let names: Vec<&str> = arm.frames[0].points.keys().map(String::as_str).collect();
        assert_eq!(names, ["right_elbow", "right_hip", "right_shoulder", "right_wrist"]);
        let mean = marks.by_hand(arm.frames[0].time_s)[&Landmark::Hip(Side::Right)];
        let [x, y] = arm.frames[0].points["right_hip"];
        assert!((x - mean.x).hypot(y - mean.y) < 1e-9, "[{x}, {y}] and {mean:?}");
        let mirrored = ReachEntry { mirrored: true, ..entry };
        assert!(!ArmToFollow::of(&mirrored, &marks).unwrap().faces_right);
    }

    #[test]
    fn what_is_missing_is_named_and_marks_of_two_frames_do_not_add_up() {
        let (entry, mut marks) = reach();
        marks.frames.truncate(1);
        let hip = Landmark::Hip(Side::Right);
        let point = marks.frames[0].points.remove(&hip).unwrap();
        assert_eq!(ArmToFollow::of(&entry, &marks), Err(vec![hip]));
        let mut other = marks.frames[0].clone();
        other.time_s += 0.5;
        other.points = BTreeMap::from([(hip, point)]);
        marks.frames.push(other);
        assert_eq!(ArmToFollow::of(&entry, &marks), Err(vec![hip]));
        marks.frames.clear();
        assert_eq!(ArmToFollow::of(&entry, &marks), Err(needed_to_follow(Side::Right).to_vec()));
        let front = ReachEntry { near_side: None, ..entry };
        assert_eq!(ArmToFollow::of(&front, &marks), Err(Vec::new()));
    }
}
