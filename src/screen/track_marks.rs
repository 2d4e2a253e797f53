//! Marks of a clip followed through it: the arm's angle or the bar's height over time, raises and holds, and marks on the holds to
//! measure with.

use std::collections::BTreeMap;
use std::path::Path;

use nalgebra::Vector2;

use crate::geometry::{Angle, ImagePoint, Landmark, Side};
use crate::pose::Motion;
use crate::track::{
    ClipTrack, Course, Hold, MarkState, PlacedMarks, Raise, RaiseLimits, SHORTEST_HOLD_S, bar_heights, course,
    follow_clip,
};
use crate::video::TIME_TOLERANCE_S;

use super::error::ScreenError;
use super::follow_starts::{NEEDED_IN_FRONT, needed_to_follow};
use super::front_holds::mark_holds;
use super::marks::{
    FrameUse, MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarksFile, MarksOrigin, PointSpread, SAME_TIME_S, Source,
};
use super::pooled::number;
use super::seen::angle_through_front;

/// Where in a hold its marks are taken, as shares of its length: away from its ends, where the arm still moves.
const HOLD_SHARES: [f64; 3] = [0.25, 0.5, 0.75];

/// A mark stands for a hold where it was followed in this share of its frames at least. Common practice.
const FOLLOWED_SHARE_MIN: f64 = 0.5;

/// What shows the raises of a clip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClipCurve {
    /// The plain angle on the picture from trunk to arm, deg.
    ArmAngle {
        /// The arm.
        side: Side,
        /// +1 where the person faces the picture's right.
        facing: f64,
    },
    /// The height of the bar's middle above the shoulders as marked, in lengths of the bar: see [`bar_heights`].
    BarHeight,
}

/// How long an arm is in lengths of the bar, as [`RaiseLimits::BAR_HEIGHT`] has it. Common practice, no source.
const ARM_OF_BAR: f64 = 0.5;

/// Beyond this height, in lengths of the arm, a height tells no turn any more: 10 deg from upright.
const TURN_TELLS: f64 = 0.985;

/// A clip whose marks were followed.
#[derive(Debug, Clone, PartialEq)]
pub struct TrackedClip {
    /// The marks in every frame.
    pub track: ClipTrack,
    /// What is looked at; `None` where the marks show neither trunk and arm from the side nor shoulders and bar.
    pub shows: Option<ClipCurve>,
    /// Its value in each frame where its marks are followed.
    pub values: Vec<Option<f64>>,
    /// The same smoothed, and its raises.
    pub course: Course,
    /// Times of the frames that marks were placed on, s, as the marks file has them: those of [`ClipTrack::anchors`].
    pub starts_s: Vec<f64>,
}

/// Follows the marks of the file at `marks_path` through the clip at `clip`, and gives them and those followed to the holds as a
/// marks file. They are taken from all frames that were marked by hand.
///
/// # Errors
/// [`ScreenError::Invalid`] with the faults of the marks file, [`ScreenError::Video`] where the clip cannot be decoded,
/// [`ScreenError::NothingToFollow`] where no mark was placed by hand.
pub fn track_marks(
    clip: &Path,
    marks_path: &Path,
    progress: impl FnMut(usize, usize),
) -> Result<(TrackedClip, MarksFile), ScreenError> {
    let marks = MarksFile::read(marks_path)?;
    let placed = placed_marks(&marks);
    if placed.is_empty() {
        return Err(ScreenError::NothingToFollow { path: marks_path.to_owned() });
    }
    let all = placed.iter().flat_map(|frame| &frame.marks);
    let has = |needed: &[Landmark]| needed.iter().all(|landmark| all.clone().any(|(placed, _)| placed == landmark));
    let arm = Side::BOTH.into_iter().find(|side| has(&needed_to_follow(*side)));
    let arm = arm.map(|side| ClipCurve::ArmAngle { side, facing: side.sign() });
    // the view is not known here: who marks a hip films from the side
    let shows = arm.or_else(|| has(&NEEDED_IN_FRONT).then_some(ClipCurve::BarHeight));
    let tracked = TrackedClip::follow(clip, &placed, shows, progress)?;
    let origin = std::fs::canonicalize(marks_path).unwrap_or_else(|_| marks_path.to_owned());
    let marks = MarksFile {
        schema: MARKS_SCHEMA.to_owned(),
        image_size: marks.image_size,
        frames: match shows {
            Some(ClipCurve::BarHeight) => {
                let holds = mark_holds(clip, &tracked, &placed, &origin, |_| true);
                holds.map_err(|source| ScreenError::Video { source })?.frames
            }
            _ => tracked.frames_of_holds(&origin),
        },
    };
    Ok((tracked, marks))
}

/// The marks of all frames marked by hand, from the first frame to start from on, where there is one: each the mean over raters
/// and repeats, in the order of time.
pub(crate) fn placed_marks(marks: &MarksFile) -> Vec<PlacedMarks> {
    let from_s = starts(marks).map_or(f64::NEG_INFINITY, |start| start.time_s);
    let is_placed = |frame: &&MarkedFrame| {
        (frame.source == Source::Hand || frame.used_as == FrameUse::Start) && frame.time_s > from_s - SAME_TIME_S
    };
    let mut times_s: Vec<f64> = marks.frames.iter().filter(is_placed).map(|frame| frame.time_s).collect();
    times_s.sort_by(f64::total_cmp);
    times_s.dedup_by(|later, earlier| *later - *earlier < SAME_TIME_S);
    times_s.into_iter().filter_map(|time_s| marks_at(marks, time_s)).collect()
}

/// The marks of the first frame to start from.
pub(crate) fn starts(marks: &MarksFile) -> Option<PlacedMarks> {
    let starts = marks.frames.iter().filter(|frame| frame.used_as == FrameUse::Start);
    marks_at(marks, starts.min_by(|a, b| a.time_s.total_cmp(&b.time_s))?.time_s)
}

/// The marks at a time: those placed by hand, and where there is none those carried to it.
fn marks_at(marks: &MarksFile, time_s: f64) -> Option<PlacedMarks> {
    let mut sums: BTreeMap<Landmark, (bool, f64, f64, f64)> = BTreeMap::new();
    let frames = || marks.frames.iter().filter(|frame| (frame.time_s - time_s).abs() < SAME_TIME_S);
    for is_hand in [true, false] {
        for frame in frames().filter(|frame| (frame.source == Source::Hand) == is_hand) {
            for (landmark, mark) in &frame.points {
                let sum = sums.entry(*landmark).or_insert((is_hand, 0.0, 0.0, 0.0));
                if sum.0 == is_hand {
                    *sum = (is_hand, sum.1 + mark.point.x, sum.2 + mark.point.y, sum.3 + 1.0);
                }
            }
        }
    }
    let placed: Vec<_> = sums
        .into_iter()
        .map(|(landmark, (_, x, y, count))| (landmark, ImagePoint::new(x / count, y / count)))
        .collect();
    (!placed.is_empty()).then_some(PlacedMarks { time_s, marks: placed })
}

impl TrackedClip {
    /// Follows marks through the clip at `path`. `shows` is what is looked at.
    pub(crate) fn follow(
        path: &Path,
        placed: &[PlacedMarks],
        shows: Option<ClipCurve>,
        progress: impl FnMut(usize, usize),
    ) -> Result<Self, ScreenError> {
        let track = follow_clip(path, placed, progress).map_err(|source| ScreenError::Video { source })?;
        let (values, limits) = match shows {
            Some(ClipCurve::ArmAngle { side, facing }) => {
                let angle = |frame: usize| image_angle_deg(&track, frame, side, facing);
                ((0..track.times_s.len()).map(angle).collect(), RaiseLimits::ARM_ANGLE)
            }
            Some(ClipCurve::BarHeight) => {
                // of a mark that was placed more than once the first
                let placed: Vec<_> = placed.iter().flat_map(|frame| frame.marks.iter().copied()).collect();
                (bar_heights(&track.landmarks, &track.states, &placed), RaiseLimits::BAR_HEIGHT)
            }
            None => (vec![None; track.times_s.len()], RaiseLimits::ARM_ANGLE),
        };
        let course = course(&track.times_s, &values, &limits);
        // of times within one frame the first
        let shown = |time_s: f64| track.times_s.partition_point(|other| *other <= time_s + TIME_TOLERANCE_S);
        let mut starts_s: Vec<f64> = placed.iter().map(|placed| placed.time_s).collect();
        starts_s.dedup_by(|later, earlier| shown(*later) == shown(*earlier));
        Ok(Self { track, shows, values, course, starts_s })
    }

    /// The raises to measure: those with a hold, or all where none has one.
    pub(crate) fn measured_raises(&self) -> Vec<Raise> {
        let raises = &self.course.raises;
        let held: Vec<Raise> = raises.iter().filter(|raise| raise.hold.is_some()).copied().collect();
        if held.is_empty() { raises.clone() } else { held }
    }

    /// The hold that a time, s, lies in.
    pub(crate) fn hold_at(&self, time_s: f64) -> Option<Hold> {
        self.course.raises.iter().filter_map(|raise| raise.hold).find(|hold| is_within(hold, time_s))
    }

    /// How the arm moves at the end range of a raise.
    pub(crate) fn motion(&self, raise: &Raise) -> Motion {
        let (from_s, to_s) = raise.hold.map_or_else(
            || (raise.peak_s - 0.5 * SHORTEST_HOLD_S, raise.peak_s + 0.5 * SHORTEST_HOLD_S),
            |hold| (hold.start_s, hold.end_s),
        );
        let within = self.frames_within(from_s, to_s).filter_map(|frame| self.course.smoothed[frame]);
        let within = within.map(|value| match self.shows {
            Some(ClipCurve::BarHeight) => turn_of_height_deg(value),
            _ => value,
        });
        let (low, high) =
            within.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), deg| (low.min(deg), high.max(deg)));
        Motion { is_held: raise.hold.is_some(), turned_deg: (high - low).max(0.0) }
    }

    /// One frame for each raise to measure: every mark where it lies on the mean over the middle of the hold.
    pub(crate) fn frames_of_raises(&self, origin: &Path) -> Vec<MarkedFrame> {
        let frames_of = |raise: Raise| {
            let frames: Vec<usize> = match raise.hold {
                Some(hold) => {
                    let at = |share: f64| hold.start_s + share * (hold.end_s - hold.start_s);
                    self.frames_within(at(HOLD_SHARES[0]), at(HOLD_SHARES[2])).collect()
                }
                None => self.frames_within(raise.peak_s, raise.peak_s).collect(),
            };
            frames.get(frames.len() / 2).map_or_else(Vec::new, |middle| self.marked(*middle, &frames, origin))
        };
        self.measured_raises().into_iter().flat_map(frames_of).collect()
    }

    /// The mean place of a mark over frames. What it strayed by is common to them: its spread is not that of a mean.
    fn mean(&self, place: usize, frames: &[usize]) -> Option<MarkedPoint> {
        let is_told = self.is_told_by_arm(place, frames);
        let followed: Vec<(ImagePoint, f64)> = frames
            .iter()
            .filter_map(|frame| match self.track.states[*frame][place] {
                MarkState::Followed { point, sd_px } => Some((point, sd_px)),
                MarkState::Hidden { point, sd_px } if is_told => Some((point, sd_px)),
                MarkState::Hidden { .. } | MarkState::Lost | MarkState::OutOfPicture => None,
            })
            .collect();
        let count = number(followed.len());
        if followed.is_empty() || count < FOLLOWED_SHARE_MIN * number(frames.len()) {
            return None;
        }
        let x = followed.iter().map(|(point, _)| point.x).sum::<f64>() / count;
        let y = followed.iter().map(|(point, _)| point.y).sum::<f64>() / count;
        let variance = followed.iter().map(|(_, sd_px)| sd_px.powi(2)).sum::<f64>() / count;
        Some(MarkedPoint { point: ImagePoint::new(x, y), spread: spread(variance.sqrt()) })
    }

    /// Whether the arm tells well enough where a hidden mark of a hold is. Of a wrist that is not seen in a hold it does not: it may be the
    /// other arm that was followed, and then it is that arm's elbow, too.
    fn is_told_by_arm(&self, place: usize, frames: &[usize]) -> bool {
        let wrist = match self.track.landmarks[place] {
            Landmark::Wrist(_) => Some(place),
            Landmark::Elbow(side) => self.track.landmarks.iter().position(|other| *other == Landmark::Wrist(side)),
            _ => None,
        };
        let is_seen = |wrist: usize| {
            let states = frames.iter().map(|frame| &self.track.states[*frame][wrist]);
            let seen = states.filter(|state| matches!(state, MarkState::Followed { .. })).count();
            number(seen) >= FOLLOWED_SHARE_MIN * number(frames.len())
        };
        wrist.is_none_or(is_seen)
    }

    /// Frames of the holds with the marks that were followed to them.
    fn frames_of_holds(&self, origin: &Path) -> Vec<MarkedFrame> {
        let holds = self.course.raises.iter().filter_map(|raise| raise.hold);
        let times_s =
            holds.flat_map(|hold| HOLD_SHARES.map(|share| hold.start_s + share * (hold.end_s - hold.start_s)));
        let frame_at = |time_s: f64| self.track.times_s.partition_point(|other| *other <= time_s).checked_sub(1);
        let is_marked = |frame: &usize| self.track.anchors.iter().any(|anchor| anchor.frame == *frame);
        let frames = times_s.filter_map(frame_at).filter(|frame| !is_marked(frame));
        frames.flat_map(|frame| self.marked(frame, &[frame], origin)).collect()
    }

    /// The mean marks over some frames as marks of one: in a frame of their own for each anchor whose error they share.
    fn marked(&self, frame: usize, frames: &[usize], origin: &Path) -> Vec<MarkedFrame> {
        let mut by_anchor: BTreeMap<usize, BTreeMap<Landmark, MarkedPoint>> = BTreeMap::new();
        for (place, landmark) in self.track.landmarks.iter().enumerate() {
            let nearest = self.track.nearest_anchor(frame, *landmark);
            if let (Some(anchor), Some(point)) = (nearest, self.mean(place, frames)) {
                by_anchor.entry(anchor).or_default().insert(*landmark, point);
            }
        }
        let marked = |(anchor, points): (usize, BTreeMap<Landmark, MarkedPoint>)| MarkedFrame {
            time_s: (self.track.times_s[frame] * 1e4).round() / 1e4,
            source: Source::Track,
            used_as: FrameUse::EndRange,
            rater: None,
            repeat: None,
            from: Some(MarksOrigin { marks: origin.to_owned(), time_s: self.starts_s[anchor] }),
            points,
        };
        by_anchor.into_iter().map(marked).collect()
    }

    /// Indices of the frames shown from a time to another, s.
    fn frames_within(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = usize> {
        let from = self.track.times_s.partition_point(|time_s| *time_s < from_s - SAME_TIME_S);
        let to = self.track.times_s.partition_point(|time_s| *time_s <= to_s + SAME_TIME_S);
        from..to
    }
}

/// About how far arms are turned from hanging where the bar is so high, in its lengths, deg.
fn turn_of_height_deg(height: f64) -> f64 {
    (height / ARM_OF_BAR).clamp(-TURN_TELLS, TURN_TELLS).asin().to_degrees() + 90.0
}

/// Whether a time, s, lies in a hold.
pub(crate) fn is_within(hold: &Hold, time_s: f64) -> bool {
    (hold.start_s - SAME_TIME_S..=hold.end_s + SAME_TIME_S).contains(&time_s)
}

fn spread(sd_px: f64) -> PointSpread {
    if sd_px > 0.0 { PointSpread::Sd(sd_px) } else { PointSpread::Usual }
}

fn image_angle_deg(track: &ClipTrack, frame: usize, side: Side, facing: f64) -> Option<f64> {
    let place = |landmark: Landmark| track.point(frame, landmark).map(|point| Vector2::new(point.x, point.y));
    let shoulder = place(Landmark::Shoulder(side))?;
    let trunk = place(Landmark::Hip(side))? - shoulder;
    let arm = place(Landmark::Wrist(side))? - shoulder;
    angle_through_front(&trunk, &arm, facing).map(Angle::deg)
}
