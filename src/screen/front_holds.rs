//! The holds of a clip filmed from the front, marked from a frame of one of them.
//!
//! The arms rise towards the camera and show another side on the way, so that nothing is followed from hold to hold but the bar, which
//! is found in each frame. Between holds the person is in nearly the same pose: shoulders, arms and room are brought from the marked
//! frame to the middle of each hold by image matching, as between two reaches that are turned alike, and what does not surely match is
//! left out and told. It assumes what carrying assumes, and that a frame between the beginning and the end of a hold shows it.

use std::collections::BTreeMap;
use std::path::Path;

use crate::geometry::Landmark;
use crate::track::{ArmTurn, Carried, Hold, MarkState, NotCarried, PlacedMarks, carry_marks_beside};
use crate::video::{Media, VideoError};

use super::marks::{FrameUse, MarkedFrame, MarkedPoint, MarksOrigin, PointSpread, Source};
use super::track_marks::TrackedClip;

/// What became of the marks of a front view.
#[derive(Debug, Clone, PartialEq)]
pub struct HoldMarks {
    /// One frame for each hold to which marks were brought.
    pub frames: Vec<MarkedFrame>,
    /// The marks that were not, with the time in the hold, s, and why.
    pub refusals: Vec<(f64, Landmark, NotCarried)>,
    /// No marked frame lies in a hold.
    pub is_outside: bool,
}

/// Brings the marks of placed frames that lie in a hold to every hold that is wanted of a followed clip, of whose file `path` is the name.
/// `origin` is the name of their marks file.
///
/// # Errors
/// [`VideoError`] where the clip cannot be decoded after all.
pub(crate) fn mark_holds(
    path: &Path,
    clip: &TrackedClip,
    placed: &[PlacedMarks],
    origin: &Path,
    is_wanted: impl Fn(&Hold) -> bool,
) -> Result<HoldMarks, VideoError> {
    let holds: Vec<Hold> = clip.course.raises.iter().filter_map(|raise| raise.hold).filter(is_wanted).collect();
    let sources: Vec<&PlacedMarks> = placed.iter().filter(|placed| clip.hold_at(placed.time_s).is_some()).collect();
    let mut marked = HoldMarks { frames: Vec::new(), refusals: Vec::new(), is_outside: sources.is_empty() };
    if sources.is_empty() {
        return Ok(marked);
    }
    let mut media = Media::open(path)?;
    for hold in &holds {
        let frame = clip.track.times_s.partition_point(|time_s| *time_s <= 0.5 * (hold.start_s + hold.end_s));
        let frame = frame.saturating_sub(1);
        let time_s = clip.track.times_s[frame];
        let nearest = sources.iter().min_by(|a, b| (a.time_s - time_s).abs().total_cmp(&(b.time_s - time_s).abs()));
        let Some(source) = nearest else { continue };
        let from = media.luma_at(source.time_s)?.image;
        let to = media.luma_at(time_s)?.image;
        let bar: Vec<(Landmark, Carried)> = source
            .marks
            .iter()
            .filter_map(|(landmark, _)| Some((*landmark, followed_end(clip, frame, *landmark)?)))
            .collect();
        let mut points = BTreeMap::new();
        for (landmark, result) in carry_marks_beside(&from, &to, ArmTurn::Same, &source.marks, &bar).marks {
            match result {
                Ok(Carried { point, covariance_px2: c, .. }) => {
                    let spread = PointSpread::Covariance([c.m11, c.m12, c.m22]);
                    points.insert(landmark, MarkedPoint { point, spread });
                }
                // the head is drawn alone, and turns by itself
                Err(NotCarried::HeadTurns) => {}
                Err(why) => marked.refusals.push((time_s, landmark, why)),
            }
        }
        if !points.is_empty() {
            marked.frames.push(MarkedFrame {
                time_s: (time_s * 1e4).round() / 1e4,
                source: Source::Track,
                used_as: FrameUse::EndRange,
                rater: None,
                repeat: None,
                from: Some(MarksOrigin { marks: origin.to_owned(), time_s: source.time_s }),
                points,
            });
        }
    }
    Ok(marked)
}

/// An end of the bar where it was followed to in a frame.
fn followed_end(clip: &TrackedClip, frame: usize, landmark: Landmark) -> Option<Carried> {
    if !matches!(landmark, Landmark::BarEnd(_)) {
        return None;
    }
    let place = clip.track.landmarks.iter().position(|other| *other == landmark)?;
    match clip.track.states[frame].get(place)? {
        MarkState::Followed { point, sd_px } | MarkState::Hidden { point, sd_px } if *sd_px > 0.0 => {
            let covariance_px2 = nalgebra::Matrix2::identity() * sd_px.powi(2);
            Some(Carried { point: *point, covariance_px2, likeness: 1.0 })
        }
        _ => None,
    }
}
