//! The course of a reach as the page draws it: what the chart shows, frame by frame, in figures ready to be drawn.

use std::ops::Range;

use serde::Serialize;

use super::canvas::ticks;
use super::course::{CoursePlan, CurveWords};
use crate::geometry::Landmark;
use crate::report::wording::fixed;
use crate::screen::FollowedArm;
use crate::video::TIME_TOLERANCE_S;

/// Lines across the drawing at the most: it is low.
const ANGLE_TICKS_MAX: usize = 4;
/// Times named along it at the most.
const TIME_TICKS_MAX: usize = 8;

/// The course of a reach, to be drawn.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct Curve {
    /// The angle's axis, deg.
    low_deg: f64,
    high_deg: f64,
    /// Angles and times to be named, deg and s.
    angle_ticks_deg: Vec<f64>,
    time_ticks_s: Vec<f64>,
    /// The angle of each frame of the clip and the same smoothed, deg, to a hundredth.
    angles_deg: Vec<Option<f64>>,
    smoothed_deg: Vec<Option<f64>>,
    /// The holds, each with its mean angle.
    holds: Vec<CurveHold>,
    /// When the raises begin, s.
    starts_s: Vec<f64>,
    /// Frames in which a mark is not seen.
    pub spans: Vec<CurveSpan>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
struct CurveHold {
    from_s: f64,
    to_s: f64,
    label: String,
}

/// Frames one after the other in which the same marks are not seen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct CurveSpan {
    /// The first and the last one.
    from: usize,
    to: usize,
    /// There is no angle; else the marks are hidden, and the arm as a whole tells where they are.
    pub is_lost: bool,
    /// The marks.
    #[serde(skip)]
    pub marks: Vec<Landmark>,
    /// What is said of it.
    pub words: String,
}

impl Curve {
    /// The curve of an arm over the frames of its clip, whose times (s) increase; `None` where there is nothing to draw. The words of
    /// its spans are empty.
    pub fn of(arm: &FollowedArm, frame_times_s: &[f64]) -> Option<Self> {
        let plan = CoursePlan::of(&arm.times_s, &arm.angles_deg, &arm.raises, &CurveWords::ARM_ANGLE)?;
        let at_frames = |values: &[Option<f64>]| -> Vec<Option<f64>> {
            frame_times_s.iter().map(|time_s| values[frame_at(&arm.times_s, *time_s)?].map(hundredth)).collect()
        };
        let angles_deg = at_frames(&arm.angles_deg);
        let times_s = Range { start: *frame_times_s.first()?, end: *frame_times_s.last()? };
        let hold = |hold: &crate::track::Hold| CurveHold {
            from_s: hold.start_s,
            to_s: hold.end_s,
            label: format!("{}°", fixed(hold.mean, 1)),
        };
        Some(Self {
            low_deg: plan.values.start,
            high_deg: plan.values.end,
            angle_ticks_deg: ticks(&plan.values, ANGLE_TICKS_MAX),
            time_ticks_s: ticks(&times_s, TIME_TICKS_MAX),
            smoothed_deg: at_frames(&arm.smoothed_deg),
            holds: plan.holds.iter().map(hold).collect(),
            starts_s: arm.raises.iter().map(|raise| raise.start_s).collect(),
            spans: spans(arm, frame_times_s, &angles_deg),
            angles_deg,
        })
    }
}

fn spans(arm: &FollowedArm, frame_times_s: &[f64], angles_deg: &[Option<f64>]) -> Vec<CurveSpan> {
    let mut spans: Vec<CurveSpan> = Vec::new();
    for (frame, (time_s, angle)) in frame_times_s.iter().zip(angles_deg).enumerate() {
        let is_lost = angle.is_none();
        let is_within = |from_s: f64, to_s: f64| (from_s - TIME_TOLERANCE_S..=to_s + TIME_TOLERANCE_S).contains(time_s);
        let here = arm.unseen.iter().filter(|span| span.is_hidden != is_lost && is_within(span.from_s, span.to_s));
        let marks: Vec<Landmark> = here.map(|span| span.landmark).collect();
        if !is_lost && marks.is_empty() {
            continue;
        }
        match spans.last_mut().filter(|last| last.to + 1 == frame && last.is_lost == is_lost && last.marks == marks) {
            Some(last) => last.to = frame,
            None => spans.push(CurveSpan { from: frame, to: frame, is_lost, marks, words: String::new() }),
        }
    }
    spans
}

/// The place of a time among times.
fn frame_at(times_s: &[f64], time_s: f64) -> Option<usize> {
    let place = times_s.partition_point(|other| *other <= time_s + TIME_TOLERANCE_S).checked_sub(1)?;
    (time_s - times_s[place] <= TIME_TOLERANCE_S).then_some(place)
}

fn hundredth(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Side;
    use crate::screen::UnseenSpan;
    use crate::track::{Hold, Raise};

    /// Six frames, 0.5 s apart: up to 100 degrees, hidden in one, lost in the last two.
    fn arm() -> FollowedArm {
        let wrist = Landmark::Wrist(Side::Right);
        let unseen = |landmark, is_hidden, from_s, to_s| UnseenSpan { landmark, is_hidden, from_s, to_s };
        let hold = Hold { start_s: 1.0, end_s: 1.5, mean: 99.96, sd: 0.1 };
        let angles_deg = vec![Some(20.004), Some(60.0), Some(100.0), Some(99.0), None, None];
        FollowedArm {
            side: Side::Right,
            times_s: vec![0.0, 0.5, 1.0, 1.5, 2.0, 2.5],
            smoothed_deg: angles_deg.clone(),
            angles_deg,
            raises: vec![Raise { start_s: 0.0, peak_s: 1.0, peak: 100.0, end_s: 1.5, hold: Some(hold) }],
            unseen: vec![
                unseen(wrist, true, 0.5, 0.5),
                unseen(wrist, false, 2.0, 2.5),
                unseen(Landmark::Hip(Side::Right), false, 2.5, 2.5),
            ],
        }
    }

    #[test]
    fn every_frame_has_its_angle_and_what_is_not_seen_there() {
        let arm = arm();
        let curve = Curve::of(&arm, &arm.times_s).unwrap();
        // rounded to a hundredth from the values above; the axis has the chart's margin of 4 degrees
        assert_eq!(curve.angles_deg, [Some(20.0), Some(60.0), Some(100.0), Some(99.0), None, None]);
        assert!((curve.low_deg - 16.004).abs() < 1e-9 && (curve.high_deg - 104.0).abs() < 1e-9);
        assert_eq!((curve.holds[0].from_s, curve.holds[0].label.as_str()), (1.0, "100.0°"));
        let wrist = Landmark::Wrist(Side::Right);
        let spans: Vec<_> =
            curve.spans.iter().map(|span| (span.from, span.to, span.is_lost, span.marks.clone())).collect();
        let both = vec![wrist, Landmark::Hip(Side::Right)];
        assert_eq!(spans, [(1, 1, false, vec![wrist]), (4, 4, true, vec![wrist]), (5, 5, true, both)]);
    }

    #[test]
    fn frames_that_were_not_followed_have_no_angle() {
        let arm = arm();
        let mut times_s = arm.times_s.clone();
        times_s[1] = 0.7;
        times_s.push(3.0);
        let curve = Curve::of(&arm, &times_s).unwrap();
        assert_eq!(curve.angles_deg, [Some(20.0), None, Some(100.0), Some(99.0), None, None, None]);
        let lost: Vec<_> = curve.spans.iter().filter(|span| span.is_lost).map(|span| (span.from, span.to)).collect();
        assert_eq!(lost, [(1, 1), (4, 4), (5, 5), (6, 6)]);
    }

    #[test]
    fn nothing_is_drawn_where_no_angle_is_known() {
        let mut arm = arm();
        arm.angles_deg = vec![None; 6];
        assert_eq!(Curve::of(&arm, &arm.times_s), None);
        assert_eq!(Curve::of(&arm, &[]), None);
    }
}
